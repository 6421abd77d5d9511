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
from coverage import Coverage

NOTES = os.environ["LINES_TOUCHED"]
NOTED = Coverage(data_file=NOTES, config_file=False, source_pkgs=["dbox"])
NOTED.set_option("run:relative_files", True)
SECONDS: dict[str, float] = defaultdict(float)
REMEMBERING: list[Any] = []


def pytest_configure() -> None:
    NOTED.start()


def pytest_collection_finish() -> None:
    kind = functools._lru_cache_wrapper
    found = [each for each in gc.get_objects() if isinstance(each, kind)]
    ours = ("dbox", "tests")
    REMEMBERING.extend(f for f in found if str(f.__module__).split(".")[0] in ours)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    for function in REMEMBERING:
        function.cache_clear()
    NOTED.switch_context(item.nodeid)
    return (yield)


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    SECONDS[report.nodeid] += report.duration


def pytest_unconfigure() -> None:
    NOTED.stop()
    NOTED.save()
    Path(f"{NOTES}.json").write_text(json.dumps(SECONDS))
