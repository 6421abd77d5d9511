"""The lessons' sheets show the numbers they were given, and every word can be read."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from scipy.optimize import brentq

from dbox import Circle, DomainError, Slot, split
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
from dbox.report.teach_report import compare_report
from dbox.units import INCH, length
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
    "twelve, metric": replace(lesson_site(12), metric=True),
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


def test_a_room_to_lean_ends_where_a_line_leaves_the_tolerance_and_its_corners_are_true():
    """Two ways: a plain root search along a lean; corners where another line is the first out."""
    site = lesson_site(4)
    swept = sweep(site)
    figure = sweep_figure(swept)
    hole, (length, width) = site.outlets[0].opening, site.box.inside

    def off(lean: float, way: float, inflow: float) -> np.ndarray:
        lips = [lean * np.sin(way) * (0.5 - o.position[0] / length)
                + lean * np.cos(way) * (0.5 - o.position[1] / width)
                for o in site.outlets]  # fmt: skip
        return 4 * split(inflow, lips, hole).share - 1

    for flow in site.flows:
        (zone,) = paper.named(figure, Polygon, f"tolerance {flow.name}")
        right, far = zone.get_xy()[:-1].T
        first = []
        for x, y in zip(right[::12], far[::12], strict=True):
            way, q = np.arctan2(y, x), flow.inflow
            exact = brentq(lambda a, w=way, q=q: np.abs(off(a, w, q)).max() - 0.1, 0, 0.05)
            assert np.hypot(x, y) == pytest.approx(exact, rel=1e-6)
            first.append(int(np.abs(off(exact, way, q)).argmax()))
        assert len(set(first)) > 1
        # between two corners the line that leaves first is one and the same, and the edge is
        # straight to a hundredth of the room: no grid, no kink
        for i in np.flatnonzero(np.diff(first) == 0):
            part = np.column_stack([right, far])[12 * i : 12 * i + 13]
            chord = part[-1] - part[0]
            away = (part - part[0]) @ [-chord[1], chord[0]] / np.hypot(*chord)
            assert np.abs(away).max() < 0.02 * np.hypot(right, far).max()


@pytest.mark.everyday(2)
@pytest.mark.parametrize(
    ("n", "metric"),
    [(4, False), *(pytest.param(n, mm, marks=pytest.mark.slow)
                   for n, mm in ((2, False), (2, True), (4, True), (12, False), (12, True)))],
)  # fmt: skip
def test_ticks_are_true_and_numbers_that_people_use(n, metric):
    """Each tick says where it stands: halves of inches by halving again, or 1, 2, 5 of metric."""
    swept = sweep(replace(lesson_site(n), metric=metric))
    lengths = swept.site.lengths
    for figure in (sweep_figure(swept), compare_figure(compare(outlets=n), lengths)):
        paper.words(figure)
        told = 0
        for axes in figure.axes:
            for ticks in (axes.xaxis.get_major_ticks(), axes.yaxis.get_major_ticks()):
                for tick in ticks:
                    words = tick.label1.get_text()
                    if words.endswith(" mm" if metric else " in"):
                        assert length(words) == pytest.approx(abs(tick.get_loc()), abs=1e-9)
                        told += 1
                    elif words.endswith(" %"):
                        assert float(words[:-2]) == pytest.approx(tick.get_loc())
        assert told > 1


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


def test_the_most_forgiving_opening_stands_first_as_in_the_text():
    compared = compare()
    figure = compare_figure(compared)
    bars = [r for r in figure.findobj(Rectangle) if str(r.get_label()).startswith("share ")]
    drawn = [
        str(bar.get_label())[6:].partition(":")[0] for bar in sorted(bars, key=Rectangle.get_x)
    ]
    told = [line[2:].strip() for line in compare_report(compared) if line.endswith(" in")]
    assert list(dict.fromkeys(drawn)) == [row.partition("  ")[0] for row in told]


def test_a_picture_for_a_class_is_legible_from_its_last_row():
    """Capitals of DejaVu Sans are 0.73 of the letters' size; five heights away they take 9 minutes
    of arc at least, 5 being what good eyes make out (a chart's letters at 20/20, from memory)."""
    for figure in (sweep_figure(sweep(lesson_site(12))), compare_figure(compare())):
        capital = 0.73 * paper.smallest(figure) / 72 / figure.get_size_inches()[1]
        assert np.degrees(np.arctan(capital / 5)) * 60 > 9


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
