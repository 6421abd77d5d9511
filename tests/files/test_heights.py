"""Heights as people at a box type them, several on a line."""

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.errors import ScenarioError
from dbox.files.typed import read_heights

INCH = 0.0254


@pytest.mark.parametrize(
    ("typed", "inches"),
    [
        ("1/8", [1 / 8]),
        ("1/8 3/16", [1 / 8, 3 / 16]),
        ("1/8, 3/16", [1 / 8, 3 / 16]),
        ("1/8,3/16", [1 / 8, 3 / 16]),
        ("1/8; 0; -1/16", [1 / 8, 0, -1 / 16]),
        ("1 3/16", [1 + 3 / 16]),
        ("1, 3/16", [1, 3 / 16]),
        ("1-3/16 1-1/4", [1 + 3 / 16, 1.25]),
        ("1 3/16 1 1/4", [1 + 3 / 16, 1.25]),
        ("0 1/16", [0, 1 / 16]),
        ("- 1/8", [-1 / 8]),
        ("−1/8 +1/8", [-1 / 8, 1 / 8]),
        (".125 0.25", [0.125, 0.25]),
        ('1/8" 3/16"', [1 / 8, 3 / 16]),
        ("1/8 3/16 in", [1 / 8, 3 / 16]),
        ("1½ ⅛", [1.5, 1 / 8]),
        ("25.4 mm 12.7 mm", [1, 0.5]),
        ("25.4 12.7 mm", [1, 0.5]),
        ("1 in 25.4 mm", [1, 1]),
    ],
)
def test_heights(typed, inches):
    assert read_heights(typed, "in") == pytest.approx([i * INCH for i in inches], abs=1e-12)


@pytest.mark.parametrize(
    ("typed", "mend"),
    [
        ("", "empty"),
        ("1,5", "decimals take a point"),
        ("3,5 mm", "decimals take a point"),
        ("3 mm 4", "give each reading its unit"),
        ("1/8 - 1/16", "fraction"),
        ("1/8-3/16", "fraction"),
        ("13/16/2", "fraction"),
        ("1/0", "0 below the line"),
        ("1/8 1/0", "0 below the line"),
        ("1/8 2 m", "less than 1 m"),
        ("1/8 60", "less than 1 m"),
        ("1e999", "check the unit"),
        ("nan", "one number"),
        ("about 1/8", "fraction"),
        ("1/8 3 gal", "not known here"),
    ],
)
def test_what_is_no_height_is_refused_with_its_mend(typed, mend):
    with pytest.raises(ScenarioError, match=mend):
        read_heights(typed, "in")


def test_without_a_unit_of_the_file_each_height_needs_its_own():
    with pytest.raises(ScenarioError, match="unit"):
        read_heights("1/8 3/16", None)
    assert read_heights("3 4 mm", None) == (0.003, 0.004)
    assert read_heights("0", None) == (0.0,)


@given(st.text(max_size=30))
def test_any_text_is_read_or_refused(text):
    with contextlib.suppress(ScenarioError):
        assert all(-1 <= height <= 1 for height in read_heights(text, "in"))


@given(st.lists(st.integers(-40, 40), min_size=1, max_size=6))
def test_sixteenths_written_with_commas_come_back(sixteenths):
    line = ", ".join(f"{s}/16" for s in sixteenths)
    assert read_heights(line, "in") == pytest.approx([s / 16 * INCH for s in sixteenths])
