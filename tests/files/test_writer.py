"""Scenarios written back: what is read again is what was written."""

import tomllib
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.errors import ScenarioError
from dbox.files.place import finish_text, write_text_new
from dbox.files.shipped import shipped_names
from dbox.files.starter import starter
from dbox.files.writer import toml_text

SHIPPED = [
    (resources.files("dbox_scenarios") / f"{name}.toml").read_text() for name in shipped_names()
]

text = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
value = st.one_of(
    text, st.booleans(), st.integers(-(10**12), 10**12), st.floats(allow_nan=False),
    st.dates(), st.lists(text, max_size=3),
)  # fmt: skip
table = st.dictionaries(text, value, max_size=4)
documents = st.dictionaries(
    text, st.one_of(value, table, st.lists(table, min_size=1, max_size=3)), max_size=5
)


@pytest.mark.parametrize("written", [*SHIPPED, starter()])
def test_exact_a_scenario_comes_back_as_it_was(written):
    document = tomllib.loads(written)
    assert tomllib.loads(toml_text(document)) == document


@given(documents)
def test_exact_any_document_comes_back_as_it_was(document):
    assert tomllib.loads(toml_text(document)) == document


def test_exact_nothing_is_overwritten(tmp_path: Path):
    path = tmp_path / "box.toml"
    write_text_new(path, "a = 1\n")
    for write in (write_text_new, finish_text):
        with pytest.raises(ScenarioError, match="left alone"):
            write(path, "b = 1\n")
    assert path.read_text() == "a = 1\n"


@pytest.mark.parametrize("cut", range(7))
def test_exact_a_file_torn_off_while_it_was_written_is_finished(tmp_path: Path, cut):
    path = tmp_path / "box.toml"
    path.write_text("a = 1\n"[:cut])
    finish_text(path, "a = 1\n")
    assert path.read_text() == "a = 1\n"


def test_exact_a_place_that_cannot_be_written_is_told(tmp_path: Path):
    for write in (write_text_new, finish_text):
        with pytest.raises(ScenarioError, match="cannot be written"):
            write(tmp_path / "nowhere" / "box.toml", "a = 1\n")
