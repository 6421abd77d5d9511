"""Names cut to a width: at words, within it, never two alike; widths against a general library.

The names are invented.
"""

import string

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rich.cells import cell_len

from dbox.report.text import CUT, cells, fitted, letters, narrowed, shortened, wrapped

TRENCHES = [f"north-west trench behind the barn {i}" for i in range(1, 13)]
NAMES = {
    "many": TRENCHES,
    "one word": [f"{'x' * 36}{i}" for i in range(10, 22)],
    "wide": [f"北西の溝、納屋の後ろの{c}番目の線" for c in "一二三四五六七八九十百千"],
    "marks": [f"co\u0302te\u0301 nord du verger n\u00b0 {i}" for i in range(1, 13)],
    "right to left": [f"הקו הצפוני מאחורי האסם {c}" for c in "אבגדהוזחטיכל"],
    "joined": [f"👨\u200d👩\u200d👧 family's meadow trench {i}" for i in range(1, 13)],
    "mixed": [*TRENCHES[:6], *(f"south field line {i}" for i in range(1, 5)), "7", "barn"],
    "begins": ["long barn side", "long barn side line", "long barn side line two"],
}


def narrow(names: list[str], width: int) -> list[str]:
    return shortened(names, lambda name: cell_len(name) <= width)


@pytest.mark.parametrize("kind", NAMES)
@pytest.mark.parametrize("width", [6, 8, 11, 18, 30])
def test_long_names_are_cut_to_their_width_and_stay_apart(kind, width):
    """Exact: what is to hold of them; a name that fits is whole."""
    names = NAMES[kind]
    short = narrow(names, width)
    assert len({*short}) == len(names)
    assert max(map(cell_len, short)) <= width
    assert [s for n, s in zip(names, short, strict=True) if cell_len(n) <= width and s != n] == []


@pytest.mark.parametrize("width", [18, 24, 30])
def test_names_are_cut_between_words(width):
    """Exact: all that is left of a name are words of it, where the width holds one."""
    for name, short in zip(NAMES["mixed"], narrow(NAMES["mixed"], width), strict=True):
        assert {*short.replace(CUT, " ").split()} <= {*name.split()}


@settings(max_examples=150, deadline=None)
@given(st.lists(st.text("ab 1é水\u0301א", min_size=1, max_size=20), max_size=9), st.integers(3, 15))
def test_names_that_differ_never_become_the_same(names, width):
    """Exact: two names are told by one text only where they are one name."""
    names = [" ".join(name.split()) for name in names]
    short = narrow(names, width)
    assert len({*short}) == len({*names})
    assert all(cell_len(each) <= width for each in short)


@pytest.mark.parametrize("text", [string.printable, *NAMES["wide"], *NAMES["marks"], "Ａ½ｱ각…ﷺ",
                                  *NAMES["right to left"], *NAMES["joined"]])  # fmt: skip
def test_columns_are_counted_as_terminals_do(text):
    """Two ways: against `cell_len` of rich, which follows the tables of Unicode."""
    assert cells("".join(filter(str.isprintable, text))) == cell_len(
        "".join(filter(str.isprintable, text))
    )


@pytest.mark.parametrize("width", [24, 40, 72])
@pytest.mark.parametrize("kind", NAMES)
def test_sentences_are_broken_between_words(kind, width):
    """Exact: within the width, every word whole that has room in a line."""
    text = f"wrote /a/path/of/{'x' * 80} for {', '.join(NAMES[kind])}"
    lines = wrapped(text, first="! ", indent="  ", width=width)
    path = text.split()[1]
    assert all(cell_len(line) <= width for line in lines if path not in line)
    told = {word for line in lines for word in line.split()}
    assert {word for word in text.split() if cell_len(word) <= width - 2 or "/" in word} <= told
    assert "".join("".join(lines)[2:].split()) == "".join(text.split())


def test_a_mark_stays_on_its_letter():
    """Exact: e with its accent is one letter."""
    assert [len(letter) for letter in letters("e\u0301te")] == [2, 1, 1]
    (short,) = narrow(["e\u0301" * 30], 8)
    assert short == "e\u0301" * 7 + CUT


def test_a_narrow_terminal_is_heeded_and_a_wide_one_is_not():
    """Exact."""
    text = "the water stands at the lowest open lip " * 5
    with narrowed(40):
        assert 34 < max(map(len, wrapped(text))) <= 40
        assert fitted("a   b") == ["a   b"]
    with narrowed(200):
        assert 60 < max(map(len, wrapped(text))) <= 72
