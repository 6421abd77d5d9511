"""Scenarios written back: what is read again is what was written."""

import tomllib
from importlib import resources

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.files.scenario import shipped_names, starter
from dbox.files.toml_file import toml_text, with_values

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


@given(documents, documents)
def test_any_document_takes_the_values_of_any_other(begun, wanted):
    assert tomllib.loads(with_values(toml_text(begun), wanted)) == wanted


@pytest.mark.parametrize("written", [*SHIPPED, starter()])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_text_with_its_own_values_is_not_touched(written, end):
    text = written.replace("\n", end)
    assert with_values(text, tomllib.loads(text)) == text


def test_comments_stay_where_they_stand():
    """What is added to a table comes before the comments that lead on to the next one."""
    document = tomllib.loads(starter())
    document["outlet"][3] |= {"reading": ["1 in", "2 in"], "evidence": {"mouth": "full"}}
    del document["readings"]["placeholder"]
    document["pour"] = [{"flow": "5 gpm", "catch": {"1": "dry"}}]
    text = with_values(starter(), document)
    assert tomllib.loads(text) == document
    assert 'reading = ["1 in", "2 in"]  # PLACEHOLDER\n' in text
    assert '[outlet.evidence]\nmouth = "full"\n\n# The flows to compute.' in text
    comments = [line for line in starter().splitlines() if line.startswith("#")]
    assert [line for line in text.splitlines() if line.startswith("#")] == comments
