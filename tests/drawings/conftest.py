"""Tests of one drawing stand together, so that it is drawn once and not kept for long."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from py_mini_racer import MiniRacer

from .engine_js import engine


@pytest.fixture(scope="module")
def page() -> Iterator[MiniRacer]:
    """The engine of the pages."""
    with engine() as js:
        yield js


def drawing(item: pytest.Item) -> tuple[bool, str, str]:
    """Whether a test is of another folder, and name and kind of the drawing that it looks at."""
    told = item.callspec.params if hasattr(item, "callspec") else {}
    if Path(__file__).parent not in item.path.parents:
        return True, "", ""
    return False, str(told.get("name", "")), str(told.get("kind", ""))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=drawing)
