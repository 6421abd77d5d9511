"""The lessons' sheets show the numbers they were given, and every word can be read."""

import numpy as np
import pytest
from matplotlib.contour import QuadContourSet
from matplotlib.lines import Line2D
from matplotlib.patches import Rectangle
from scipy.interpolate import RegularGridInterpolator

from dbox import Circle, DomainError, Slot
from dbox.drawings.lesson_papers import case_key, case_pages, handout_key, handout_pages
from dbox.drawings.lesson_pictures import compare_figure, sweep_figure
from dbox.fieldwork.lesson_cases import MOST_GROUPS, make_cases
from dbox.fieldwork.lessons import (
    LESSON_FLOWS,
    LESSON_HOLE,
    Kind,
    compare,
    exercise,
    lesson_site,
    lip_table,
    sweep,
)
from dbox.fieldwork.site import Flow, Tolerance
from dbox.units import INCH
from tests.drawings import paper
from tests.drawings.cases import sites

BOXES = {
    "lesson": lesson_site(),
    "twenty": lesson_site(20),
    "slots": lesson_site(3, Slot(0.02), tolerance=Tolerance(share=0.05, source="permit 7")),
    "one flow": lesson_site(2, flows=(Flow(name="7 gpm", inflow=4e-4),)),
    "off level": sites()["off-level"],
    "unequal": sites()["unequal-lines"],
    "nine flows": sites()["nine flows"],
}
KINDS = tuple(Kind(f"circle {i} in", Circle(i * INCH)) for i in range(1, 9))


SLOW = ("twenty", "one flow", "off level")


def check(figure, largest=11.0) -> None:
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.smallest(figure) >= 8.0
    assert max(figure.get_size_inches()) <= largest


@pytest.mark.everyday(2)
@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] if n in SLOW else []) for n in BOXES]
)
def test_curves_and_dots_are_those_of_the_sweep_and_every_word_can_be_read(name):
    swept = sweep(BOXES[name])
    sheet = sweep_figure(swept)
    check(sheet)
    for i, flow in enumerate(swept.site.flows[:6]):
        (curve,) = paper.named(sheet, Line2D, flow.name)
        assert np.array_equal(curve.get_xdata(), swept.tilt)
        shown = swept.share[i].max(-1) if swept.equal_targets else swept.over_target[i]
        assert curve.get_ydata() == pytest.approx(100 * shown)
        dots = paper.named(sheet, Line2D, f"limit {flow.name}")
        inside = 0 < swept.limit[i] < np.inf
        assert [dot.get_xdata()[0] for dot in dots] == ([swept.limit[i]] if inside else [])


def test_the_tolerance_line_lies_where_the_tolerance_ends():
    swept = sweep(lesson_site())
    figure = sweep_figure(swept)
    drawn = {line.get_label(): line for line in figure.findobj(QuadContourSet)}
    for i, flow in enumerate(swept.site.flows):
        (path,) = drawn[f"tolerance {flow.name}"].get_paths()
        right, far = path.vertices.T
        off = RegularGridInterpolator((swept.low, swept.low), swept.map_off[i])
        assert off(np.column_stack([far, right])) == pytest.approx(0.1, abs=0.02)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("kinds", [None, KINDS, KINDS[:1]], ids=["usual", "eight", "one"])
def test_bars_and_water_are_those_of_the_comparison(kinds):
    compared = compare() if kinds is None else compare(kinds, error=INCH / 8, outlets=7)
    figure = compare_figure(compared)
    check(figure)
    for k, kind in enumerate(compared.kinds):
        for i, flow in enumerate(compared.flows):
            (bar,) = paper.named(figure, Rectangle, f"share {kind.name}: {flow.name}")
            assert bar.get_height() == pytest.approx(100 * compared.share[k, i])
            (line,) = paper.named(figure, Line2D, f"head {kind.name}: {flow.name}")
            assert set(line.get_ydata()) == {compared.head[k, i]}


def test_too_many_openings_are_refused():
    with pytest.raises(DomainError, match="at most 8"):
        compare_figure(compare([*KINDS, *KINDS]))


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("size", "hole", "n"),
    [("letter", LESSON_HOLE, 4), ("a4", Slot(0.02), 8), ("letter", Circle(0.05), 2)],
)
def test_the_handout_is_two_pages_and_its_key_one(size, hole, n):
    lips, lesson = lip_table(hole, n, LESSON_FLOWS), exercise(hole, n)
    pages, key = handout_pages(lips, lesson, size), handout_key(lips, lesson, size)
    assert (len(pages), len(key)) == (2, 1)
    for page in (*pages, *key):
        check(page, 11.7)
        assert "INVENTED DATA" in paper.texts(page)


def test_the_answers_stand_on_the_key_alone():
    lips, lesson = lip_table(LESSON_HOLE, 4, LESSON_FLOWS), exercise(LESSON_HOLE, 4)
    pages = " ".join(t for page in handout_pages(lips, lesson) for t in paper.texts(page))
    (key,) = handout_key(lips, lesson)
    answers = " ".join(paper.texts(key))
    for volume, share in zip(lesson.caught.ravel(), lesson.share.ravel(), strict=True):
        told = f"{1000 * volume:.3g} L, {100 * share:.0f} %"
        assert told in answers
        assert told not in pages
    for share in lips.share.ravel():
        assert f"{100 * share:.0f} %" in pages
    assert "Sewer gas kills" in pages


@pytest.mark.slow
@pytest.mark.parametrize(
    ("size", "groups"),
    [("letter", 3), pytest.param("a4", MOST_GROUPS, marks=pytest.mark.slow)],
)
def test_a_case_is_one_page_and_its_answer_is_on_the_key_alone(size, groups):
    cases = make_cases(3, groups)
    pages = case_pages(cases, size)
    assert len(pages) <= len(cases) + 2
    keys = case_key(cases, size)
    told = [" ".join(paper.texts(page)) for page in pages]
    key = " ".join(t for page in keys for t in paper.texts(page))
    for page in (*pages, *keys):
        check(page, 11.7)
    for case in cases:
        assert f"Cause: {case.cause_name}" in key
        assert not any(case.cause_name in words for words in told)
    assert all("INVENTED DATA" in words for words in told)
    assert any("Guess first" in words for words in told)
