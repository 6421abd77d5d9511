"""The lessons' sheets show the numbers they were given, and every word can be read."""

import re
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle
from scipy.optimize import brentq

from dbox import Circle, DomainError, Notch, PipeEnd, Slot, split
from dbox.drawings.lesson_papers import case_key, case_pages, handout_key, handout_pages
from dbox.drawings.lesson_pictures import compare_figure, sweep_figure
from dbox.fieldwork.lesson_cases import MOST_GROUPS, make_cases
from dbox.fieldwork.lessons import (
    LESSON_ERROR,
    LESSON_ERRORS,
    LESSON_FLOWS,
    LESSON_HOLE,
    Comparison,
    Kind,
    Sweep,
    compare,
    exercise,
    lesson_site,
    lip_table,
    sweep,
)
from dbox.fieldwork.site import Flow, Tolerance
from dbox.lengths import PLAIN, Lengths
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


@cache
def usual() -> tuple[Sweep, Figure, Comparison, Figure]:
    """The sweep and the comparison that come unasked, and their pictures."""
    swept, compared = sweep(lesson_site()), compare()
    return swept, sweep_figure(swept), compared, compare_figure(compared)


def check(figure, largest=11.0) -> None:
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.smallest(figure) >= 8.0
    assert max(figure.get_size_inches()) <= largest


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    "name", [pytest.param(n, marks=[pytest.mark.slow] if n in SLOW else []) for n in BOXES]
)
def test_curves_and_dots_are_those_of_the_sweep_and_every_word_can_be_read(name):
    swept, sheet, *_ = usual()
    if name != "lesson":
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


@pytest.mark.everyday(1)
@pytest.mark.parametrize("flow", LESSON_FLOWS, ids=lambda flow: flow.name)
def test_a_room_to_lean_ends_where_a_line_leaves_the_tolerance_and_its_corners_are_true(flow):
    """Two ways: a plain root search along a lean; corners where another line is the first out."""
    swept, figure, *_ = usual()
    site = swept.site
    hole, (length, width) = site.outlets[0].opening, site.box.inside

    def off(lean: float, way: float, inflow: float) -> np.ndarray:
        lips = [lean * np.sin(way) * (0.5 - o.position[0] / length)
                + lean * np.cos(way) * (0.5 - o.position[1] / width)
                for o in site.outlets]  # fmt: skip
        return 4 * split(inflow, lips, hole).share - 1

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
    figures = [usual()[1], usual()[3]]
    if (n, metric) != (4, False):
        swept = sweep(replace(lesson_site(n), metric=metric))
        figures = [sweep_figure(swept), compare_figure(compare(outlets=n), swept.site.lengths)]
    for figure in figures:
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
    *_, compared, figure = usual()
    if kinds:
        compared = compare(kinds, error=INCH / 8, outlets=7)
        figure = compare_figure(compared)
    check(figure)
    for k, kind in enumerate(compared.kinds):
        for i, flow in enumerate(compared.flows):
            (bar,) = paper.named(figure, Rectangle, f"share {kind.name}: {flow.name}")
            assert bar.get_height() == pytest.approx(100 * compared.share[k, i])
            (line,) = paper.named(figure, Line2D, f"head {kind.name}: {flow.name}")
            assert set(line.get_ydata()) == {compared.head[k, i]}


def test_the_most_forgiving_opening_stands_first_as_in_the_text():
    *_, compared, figure = usual()
    bars = [r for r in figure.findobj(Rectangle) if str(r.get_label()).startswith("share ")]
    drawn = [
        str(bar.get_label())[6:].partition(":")[0] for bar in sorted(bars, key=Rectangle.get_x)
    ]
    told = [line[2:].strip() for line in compare_report(compared) if line.endswith(" in")]
    assert list(dict.fromkeys(drawn)) == [row.partition("  ")[0] for row in told]


def test_a_picture_for_a_class_is_legible_from_its_last_row():
    """Capitals of DejaVu Sans are 0.73 of the letters' size; five heights away they take 9 minutes
    of arc at least, 5 being what good eyes make out (a chart's letters at 20/20, from memory)."""
    for figure in (usual()[1], usual()[3]):
        capital = 0.73 * paper.smallest(figure) / 72 / figure.get_size_inches()[1]
        assert np.degrees(np.arctan(capital / 5)) * 60 > 9


def test_too_many_openings_are_refused():
    with pytest.raises(DomainError, match="at most 8"):
        compare_figure(compare([*KINDS, *KINDS]))


METRIC = Lengths(metric=True)


@cache
def handout(hole, n, size="letter", lengths=PLAIN):
    """A handout, its pages and those of its key."""
    lips = lip_table(hole, n, LESSON_FLOWS, LESSON_ERRORS[lengths.metric])
    lesson = exercise(hole, n, error=LESSON_ERROR[lengths.metric])
    arguments = lips, lesson, size, lengths
    return lips, lesson, handout_pages(*arguments), handout_key(*arguments)


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("size", "hole", "n", "lengths"),
    [("letter", LESSON_HOLE, 4, PLAIN), ("a4", Slot(0.02), 8, METRIC),
     ("letter", Circle(0.05), 2, METRIC), ("a4", Notch(np.pi / 2), 4, PLAIN),
     ("letter", PipeEnd(0.1), 8, PLAIN)],
)  # fmt: skip
def test_the_handout_is_two_pages_and_its_key_one_with_a_page_of_notes(size, hole, n, lengths):
    """The key in the unit of the form, answers under the fold alone, an hour of sixty minutes."""
    lips, _, pages, key = handout(hole, n, size, lengths)
    assert (len(pages), len(key)) == (2, 2)
    for page in (*pages, *key):
        check(page, 11.7)
        assert "INVENTED DATA" in paper.texts(page)
    places = {text.get_text(): box.y0 for text, box in paper.words(pages[0]).items()}
    fold = next(y for words, y in places.items() if words.startswith("fold back"))
    answers = {f"{100 * share:.0f} %" for share in lips.share.ravel()}
    assert answers <= set(places)
    assert all(places[answer] < fold for answer in answers)
    above = " ".join(words for words, y in places.items() if y > fold)
    assert "Guess first" in above
    assert set(re.findall(r"[\d.]+ %", above)) == {f"{100 / n:.3g} %"}
    unit = " mL" if any(" mL, " in words for words in paper.texts(key[0])) else " L"
    assert f"caught,{unit}" in " ".join(" ".join(paper.texts(pages[1])).split())
    assert "Sewer gas kills" in " ".join(paper.texts(pages[1]))
    told = paper.texts(key[1])
    minutes = [int(words) for words in told if re.fullmatch(r"\d+", words)]
    assert sum(minutes[:-1]) == minutes[-1] == 60


def test_the_wrong_lip_is_drawn_as_low_as_it_is_and_round_holes_are_round():
    lips, _, (page, *_), _ = handout(LESSON_HOLE, 4, "letter", PLAIN)
    paper.words(page)
    whole, strip = (axes for axes in page.axes if paper_lips(axes))
    for axes, n in ((whole, 4), (strip, 2)):
        assert paper_lips(axes) == pytest.approx([-INCH / 8, *[0.0] * (n - 1)])
    for axes, scale in ((whole, 1.0), (strip, None)):
        (hole,) = [p for p in axes.findobj(Polygon) if p.get_label() == "hole 2"]
        wide, high = np.ptp(axes.transData.transform(hole.get_xy()), axis=0)
        if scale:
            assert wide == pytest.approx(high, rel=0.01)
    assert sum(words.startswith("Magnified: heights ") for words in paper.texts(page)) == 1
    levels = {line.get_label(): line.get_ydata()[0] for line in paper.lines(page)}
    for flow, head in list(zip(lips.flows, lips.level_head, strict=True))[:2]:
        assert levels[f"level {flow.name}"] == pytest.approx(head)


def paper_lips(axes) -> list[float]:
    """Heights of the lips drawn on axes. [m]"""
    drawn = [line for line in axes.get_lines() if str(line.get_label()).startswith("lip ")]
    return [float(line.get_ydata()[0]) for line in drawn]


def test_the_answers_of_the_bench_stand_on_the_key_alone():
    _, lesson, figures, (key, _) = handout(LESSON_HOLE, 4, "letter", PLAIN)
    pages = " ".join(t for page in figures for t in paper.texts(page))
    answers = " ".join(paper.texts(key))
    for volume, share in zip(lesson.caught.ravel(), lesson.share.ravel(), strict=True):
        told = f"{float(f'{1e6 * volume:.3g}'):.0f} mL, {100 * share:.0f} %"
        assert told in answers
        assert told not in pages


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("size", "seed", "difficulty"),
    [("letter", 3, "hard"), ("a4", 4, "usual"), ("letter", 5, "easy"), ("a4", 6, "hard")],
)
def test_a_case_is_one_page_with_what_was_seen_in_place_and_no_answer(size, seed, difficulty):
    cases = make_cases(seed, 1 if seed == 3 else MOST_GROUPS, (), difficulty)
    pages, keys = case_pages(cases, size), case_key(cases, size)
    assert len(pages) == len(cases)
    key = " ".join(t for page in keys for t in paper.texts(page))
    for page in (*pages, *keys):
        check(page, 11.7)
        assert "INVENTED DATA" in paper.texts(page)
    for case, page in zip(cases, pages, strict=True):
        assert case.cause_name in key
        words = " ".join(paper.texts(page))
        assert case.cause_name not in words
        assert "Guess first" in words
        seen = case.shown.evidence.outlets
        for kind in ("mouth", "port"):
            told = [getattr(outlet, kind) for outlet in seen]
            for word in {*told} - {None}:
                signs = [
                    a for a in page.findobj(Patch)
                    if a.get_label() == f"{kind} {word}" and a.axes is not None
                ]  # fmt: skip
                # one at each outlet, and one that tells what the sign means
                assert len(signs) == told.count(word) + 1
        for place in ("over the pipe", "head", "middle", "end"):
            spots = [a for a in page.findobj(Patch) if a.get_label() == f"wet {place}"]
            assert len(spots) == sum(place in (outlet.ground or ()) for outlet in seen)
