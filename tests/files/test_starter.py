"""The starter scenario: valid as it stands, and never over someone's file."""

import re
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.files.scenario import load
from dbox.files.starter import starter
from dbox.files.tables import schema
from dbox.files.write_file import write_file


def test_the_starter_is_valid_and_its_readings_say_what_they_are(tmp_path: Path) -> None:
    """Exact: it loads, and its title, which every output shows, calls the readings placeholders."""
    path = tmp_path / "job.toml"
    write_file(path, starter())
    site = load(path)
    assert "PLACEHOLDER" in site.title
    assert all(outlet.readings for outlet in site.outlets)
    assert site.tolerance is None


def test_every_reading_of_the_starter_is_marked() -> None:
    """Exact: the comment stands on the line, or on the line before."""
    lines = starter().splitlines()
    for number, line in enumerate(lines):
        if line.startswith("reading"):
            assert "PLACEHOLDER" in line + lines[number - 1]


def test_the_starter_names_every_key_of_the_file() -> None:
    """Exact: the schema says which keys there are."""
    tables = schema()["$defs"].values()
    keys = {key for table in tables for key in table["properties"]}
    missing = {key for key in keys if not re.search(rf"\b{key}\b", starter())}
    # The coefficient is left to the published laws until someone knows better.
    assert missing == {"coefficient"}


def test_an_existing_file_is_left_alone(tmp_path: Path) -> None:
    """Exact: not a byte of it changes."""
    path = tmp_path / "job.toml"
    path.write_text("mine")
    with pytest.raises(ScenarioError, match="is there already"):
        write_file(path, starter())
    assert path.read_text() == "mine"
    with pytest.raises(ScenarioError, match="is a folder"):
        write_file(tmp_path, starter())


@pytest.mark.parametrize(
    ("name", "said"),
    [
        ("none/job.toml", "there is no folder"),
        ("a\0b", "cannot be written"),
        ("x" * 5000, "cannot be written"),
    ],
)
def test_a_file_that_cannot_be_made_is_told(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(ScenarioError, match=said):
        write_file(tmp_path / name, starter())
