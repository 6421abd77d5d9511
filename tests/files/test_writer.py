"""Scenarios written back: what is read again is what was written."""

import tomllib
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.files.scenario import shipped_names, starter
from dbox.files.toml_file import toml_text

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
def test_a_scenario_comes_back_as_it_was(written):
    document = tomllib.loads(written)
    assert tomllib.loads(toml_text(document)) == document


@given(documents)
def test_any_document_comes_back_as_it_was(document):
    assert tomllib.loads(toml_text(document)) == document
