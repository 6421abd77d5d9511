"""Which cases are longer checks, and how hypothesis draws: no time limit, the same in every CI run.

A slow machine is no fault of the code. New examples are drawn wherever a person runs the tests; CI
judges a change and must give the same verdict twice. `longer` draws more of them.
"""

import functools
import gc
import os
from collections import Counter

import pytest
import typer.main
from hypothesis import settings

everyday = settings(deadline=None, derandomize="CI" in os.environ, max_examples=25)
settings.register_profile("longer", everyday, max_examples=200)
settings.register_profile("everyday", everyday)
settings.load_profile("everyday")

collect_ignore = ["benchmarks", "mutants"]
"""Run by their own names and heavy to import; no test and no example stands in them."""

typer.main.get_command = functools.cache(typer.main.get_command)
"""A command is built once in a process, as where a person runs it, not once for each test."""


def pytest_collection_finish():
    """Leave what is imported and collected out of the rounds of the garbage collector."""
    gc.collect()
    gc.freeze()
    gc.set_threshold(10_000, 20, 10)


@pytest.fixture(autouse=True, scope="module")
def _figures():
    """Let go of what the figures of a module held: their parts name each other."""
    yield
    gc.collect()


@pytest.fixture(autouse=True)
def _disk(monkeypatch):
    """Wait for no disk: a power cut need not be survived here; commands run apart do wait."""
    monkeypatch.setattr(os, "fsync", lambda _: None)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items):
    """Leave all but the first cases of a test that is marked `everyday` to the longer checks."""
    seen = Counter()
    for item in items:
        mark = item.get_closest_marker("everyday")
        if mark and not item.get_closest_marker("slow"):
            test = item.nodeid.partition("[")[0]
            seen[test] += 1
            if seen[test] > mark.args[0]:
                item.add_marker("slow")
