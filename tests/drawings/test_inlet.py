"""Pictures and paper of a box whose straight inlet decides never say that it is within."""

from dataclasses import replace
from functools import lru_cache

import pytest

from dbox.drawings.level_picture import level_figure
from dbox.drawings.setup_sheet import setup_sheet
from dbox.drawings.split_picture import split_figure
from dbox.fieldwork.levelling import level
from dbox.fieldwork.pour import expect
from dbox.fieldwork.shares import assess
from dbox.fieldwork.site import Box, Pour, Site
from dbox.report.split_report import line_verdict, title
from tests.drawings import paper
from tests.fieldwork.sites import DOSE, INCH, TRICKLE, box

PLACES = ((4, 0), (16, 10), (4, 20))


@lru_cache(maxsize=2)
def site(inlet: str) -> Site:
    """Three level lips, read finely, the second across from the inlet."""
    return box(
        [0.0] * 3, positions=[(x * INCH, y * INCH) for x, y in PLACES], spread=1e-5, clocks=1.5,
        flows=(DOSE,), box=Box(inside=(16 * INCH, 20 * INCH), inlet=inlet),
    )  # fmt: skip


def drawn(kind: str, inlet: str) -> str:
    """All words of a picture, or of the pages of a record."""
    one = site(inlet)
    if kind == "split":
        figures = [split_figure(one, assess(one, samples=200))]
    elif kind == "level":
        figures = [level_figure(level(one, samples=200))]
    else:
        each = DOSE.inflow / 3
        done = expect(
            one, [Pour(name="pour", inflow=DOSE.inflow, catches=(each,) * 3)], samples=200
        )
        figures = list(setup_sheet([level(one, samples=200)], expectation=done))
    return " ".join(" ".join(" ".join(paper.texts(figure)).split()) for figure in figures)


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("kind", "within"),
    [
        ("split", "within (over 99 %)"),
        ("level", "every flow is within the tolerance already"),
        ("setup", "within all within: over 99 %"),
    ],
)
def test_within_is_drawn_only_where_no_jet_decides(kind, within):
    assert within in drawn(kind, "turned down")
    words = drawn(kind, "straight")
    assert within not in words
    assert "nan" not in words.split()
    assert "jet" in words
    assert "turn the inlet's end down" in words


def test_a_line_in_the_jet_is_over_its_share_and_none_within():
    one = replace(site("straight"), flows=(TRICKLE, DOSE))
    assessment = assess(one, samples=200)
    assert assessment.verdicts == ("within", "outside")
    assert [line_verdict(assessment, 1, i) for i in range(3)] == ["under", "over", "under"]
    assert "In the jet of the straight inlet outlet 2 gets " in title(one, assessment)


@pytest.mark.slow
def test_a_pour_in_a_jet_is_not_told_on_paper():
    assert drawn("setup", "turned down").count("as expected") == 3
    words = drawn("setup", "straight")
    assert "as expected" not in words
    assert words.count("% jet decides") == 3
