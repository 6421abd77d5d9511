"""Which cases are longer checks, and how hypothesis draws: no time limit, the same in every CI run.

A slow machine is no fault of the code. New examples are drawn wherever a person runs the tests; CI
judges a change and must give the same verdict twice. `longer` draws more of them.
"""

import os
from collections import Counter

import pytest
from hypothesis import settings

everyday = settings(deadline=None, derandomize="CI" in os.environ, max_examples=25)
settings.register_profile("longer", everyday, max_examples=200)
settings.register_profile("everyday", everyday)
settings.load_profile("everyday")

collect_ignore = ["benchmarks", "mutants"]
"""Run by their own names and heavy to import; no test and no example stands in them."""


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
