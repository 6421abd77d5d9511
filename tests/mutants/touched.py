"""A pytest plugin that notes which lines of `dbox` each test runs, and how long each test takes.

Needs `coverage`. LINES_TOUCHED names the file that the notes go to; the seconds go beside it, with
.json after its name. What functions remember is forgotten before each test, so that a test is noted
wherever it would have to run a line by itself.
"""

import functools
import gc
import json
import os
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(Touched(os.environ["LINES_TOUCHED"]))


class Touched:
    """Takes the notes of one run of tests."""

    def __init__(self, notes: str) -> None:
        from coverage import Coverage

        self.notes = notes
        self.coverage = Coverage(data_file=notes, config_file=False, source_pkgs=["dbox"])
        self.coverage.set_option("run:relative_files", True)
        self.coverage.start()
        self.seconds: dict[str, float] = defaultdict(float)
        self.remembering: list[Any] = []

    def pytest_collection_finish(self) -> None:
        """Find the functions of ours that remember."""
        kind = functools._lru_cache_wrapper
        found = [each for each in gc.get_objects() if isinstance(each, kind)]
        self.remembering = [f for f in found if str(f.__module__).startswith(("dbox", "tests"))]

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[None]:
        """Note what follows under the name of the test."""
        for function in self.remembering:
            function.cache_clear()
        self.coverage.switch_context(item.nodeid)
        return (yield)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Add up what a test takes."""
        self.seconds[report.nodeid] += report.duration

    def pytest_unconfigure(self) -> None:
        """Write the notes down."""
        self.coverage.stop()
        self.coverage.save()
        Path(f"{self.notes}.json").write_text(json.dumps(self.seconds))
