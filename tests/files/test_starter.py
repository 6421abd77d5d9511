"""The starter scenario: valid as it stands, and never over someone's file."""

import re
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.evidence import KINDS
from dbox.files.scenario import load, loads, starter
from dbox.files.scenario_tables import schema
from dbox.files.write_file import write_file


def test_the_starter_is_valid_and_its_readings_say_what_they_are(tmp_path: Path) -> None:
    """Exact: it loads, and says by a key that its readings are placeholders."""
    path = tmp_path / "job.toml"
    write_file(path, starter())
    site = load(path)
    assert site.placeholder
    assert not loads(starter().replace("placeholder = true\n", "")).placeholder
    assert all(outlet.readings for outlet in site.outlets)
    assert site.tolerance is None


@pytest.mark.parametrize(
    ("title", "key", "expected"),
    [
        ("PLACEHOLDER readings, not measured: put in your own", "", True),
        ("PLACEHOLDER readings, not measured: put in your own", "placeholder = false", False),
        ("Oak St", "placeholder = true", True),
        ("Oak St", "", False),
    ],
)
def test_a_title_of_version_0_1_says_it_where_no_key_does(title, key, expected) -> None:
    """Exact, as said: a starter of 0.1 has it in its title alone."""
    site = loads(
        f'''
        title = "{title}"
        insert = {{kind = "circle", diameter = "2 in"}}
        outlet = [{{reading = "1/8 in"}}, {{reading = "0 in"}}]
        [readings]
        {key}
        '''
    )
    assert site.placeholder is expected


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


def test_the_evidence_of_the_starter_is_read_where_its_marks_are_taken_out() -> None:
    """Exact: every key then has its example, and a comment within the page."""
    lines = starter().partition("# [evidence]\n")[2].partition("# How common")[0].splitlines()
    assert max(len(line) for line in lines) <= 100
    bare = "\n".join(line[2:] for line in lines if re.match(r"# (\w+ = |\[outlet)", line))
    bare = bare.replace("[outlet.evidence]", "[[outlet]]\n[outlet.evidence]")
    seen = loads(f"insert = {{kind = 'circle', diameter = '2 in'}}\n[evidence]\n{bare}").evidence
    assert seen.count == len([k for k in KINDS if k.said and k.name != "feed"])


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (".", "is a folder"),
        ("none/job.toml", "there is no folder"),
        ("a\0b", "cannot be written"),
        ("x" * 5000, "cannot be written"),
    ],
)
def test_a_file_that_cannot_be_made_is_told(tmp_path: Path, name: str, said: str) -> None:
    with pytest.raises(ScenarioError, match=said):
        write_file(tmp_path / name, starter())
