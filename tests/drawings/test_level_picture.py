"""The box from above shows what the levelling says; its cards keep their order and the page."""

from dataclasses import replace
from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.lines import Line2D
from matplotlib.patches import Circle, FancyArrowPatch, Polygon

from dbox.drawings.level_picture import Face, headline, level_figure, shared_out, words
from dbox.drawings.plan import Plan
from dbox.drawings.style import TITLE, spread_out, text_width, wrap
from dbox.errors import DomainError
from dbox.fieldwork.levelling import level
from dbox.fieldwork.site import Box, Flow
from dbox.lengths import PLAIN
from dbox.report.level_report import worth_lifting
from dbox.units import clock_text
from tests.drawings import paper
from tests.drawings.cases import NAMES, box, level_drawn, sites
from tests.fieldwork.sites import LITRE_PER_MINUTE
from tests.fieldwork.sites import box as lips_of


def angle(middle, point):
    """Angle from straight down, clockwise, of a point about a middle. [rad]"""
    return np.arctan2(middle[0] - point[0], middle[1] - point[1])


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", NAMES)
def test_holes_stand_where_the_clock_says(name):
    levelling, figure = level_drawn(name)
    for i, outlet in enumerate(levelling.site.outlets):
        known = outlet.hole_offset and not outlet.capped and outlet.clock is not None
        for when, wanted in (("now", levelling.angle_before), ("to be", levelling.angle_after)):
            holes = paper.named(figure, Circle, f"{when} {outlet.label}")
            shown = when == "now" or levelling.verdict != "re-bed"
            assert len(holes) == bool(known and shown)
            for hole in holes:
                (leader,) = paper.named(figure, Line2D, f"leader {outlet.label}")
                middle = leader.get_xydata()[-1]
                off = angle(middle, hole.center) - wanted[i]
                assert np.isclose(np.cos(off), 1.0)
                assert hole.get_facecolor()[:3] == ((1, 1, 1) if when == "now" else (0, 0, 0))


def test_seen_from_inside_six_is_down_and_nine_is_left():
    face = Face(1.0, 1.0, 0.5)
    assert face.at(0.0, 1.0) == pytest.approx((1.0, 0.5))
    assert face.at(np.pi / 2, 1.0) == pytest.approx((0.5, 1.0))
    assert clock_text(np.pi / 2) == "9:00"


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", NAMES)
def test_cards_give_clock_turn_and_move(name):
    levelling, figure = level_drawn(name)
    written = paper.texts(figure)
    for i, outlet in enumerate(levelling.site.outlets):
        lines = words(levelling, i)
        assert all(line in written for line in lines)
        if outlet.capped:
            assert lines == ["no flow"]
        elif not outlet.hole_offset:
            assert lines[0].startswith("lip ")
        elif outlet.clock is None:
            assert lines[0] == "clock not known"
        elif levelling.verdict == "re-bed":
            assert lines[0] == clock_text(levelling.angle_before[i])
            assert lines[1].startswith("lip ")
            assert not any("clockwise" in line or "raise" in line for line in lines)
        elif i in levelling.order:
            before, after = lines[0].split(" → ")
            assert before == clock_text(levelling.angle_before[i])
            assert after == clock_text(levelling.angle_after[i])
            degrees, way = lines[1].split("° ")
            # told in whole degrees
            assert float(degrees) == pytest.approx(abs(np.degrees(levelling.turn[i])), abs=0.5)
            assert way == ("clockwise" if levelling.turn[i] > 0 else "counterclockwise")
        else:
            assert lines[0] == clock_text(levelling.angle_before[i])


def test_moves_are_those_that_the_turns_give():
    levelling, _ = level_drawn("off-level")
    # 5/32 in at the goal is 46.6 degrees of the hole of outlet 2, to five minutes of a clock 47.5,
    # which lift it by 1/2 in (1 - cos 47.5), 4.1 mm
    rise = 12.7 * (1 - np.cos(np.radians(47.5)))
    assert words(levelling, 1) == ["6:00 → 7:35", "48° clockwise", f"raise 5/32 in ({rise:.1f} mm)"]


def test_the_order_of_work_is_numbered_only_where_there_is_work():
    levelling, figure = level_drawn("off-level")
    white = [t for t in paper.words(figure) if t.get_color() == "white"]
    # one more explains the number in the key
    assert sorted(t.get_text() for t in white) == sorted("1" + "1234"[: len(levelling.order)])
    _, rebed = level_drawn("tilted-rebed")
    assert not [t for t in paper.words(rebed) if t.get_color() == "white"]
    assert "order of work" not in paper.texts(rebed)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", ["tilted-rebed", "twenty to re-bed, long", "round to re-bed"])
def test_who_cannot_reach_is_crossed_and_told(name):
    levelling, figure = level_drawn(name)
    lost = np.count_nonzero(~levelling.reachable)
    assert lost
    assert paper.texts(figure).count("cannot reach it") == lost
    crosses = [ln for ln in paper.lines(figure) if str(ln.get_label()).startswith("cross ")]
    assert len(crosses) == 2 * lost


def test_a_re_bed_shows_what_to_lift():
    levelling, figure = level_drawn("tilted-rebed")
    lift = levelling.lift
    assert lift.far_end < 0 < lift.right_side
    verdict, heading = headline(levelling)
    assert f"the inlet end {PLAIN.both(-lift.far_end)}" in heading
    assert f"the right side {PLAIN.both(lift.right_side)}" in heading
    assert verdict.startswith("Re-bed: 2 of 6 outlets cannot reach 7/16 in")
    words_drawn = " ".join(paper.texts(figure)).split()
    assert words_drawn.count("lift") == 1 + len(paper.named(figure, Polygon, "lift"))
    marks = paper.named(figure, Polygon, "lift")
    middle = 0.5 * figure.get_size_inches()[0]
    places = [np.mean(mark.get_xy()[:, 0]) for mark in marks]
    assert len(marks) == 2
    assert max(places) > middle + 0.5
    # an arrow means water or the way the box falls
    assert len(figure.findobj(FancyArrowPatch)) == 2


def test_small_lifts_are_left_out():
    assert worth_lifting(0.001, 0.0)
    assert not worth_lifting(-0.0004, 0.01)
    assert worth_lifting(None, -0.01)
    assert not worth_lifting(None, 1e-5)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", ["no clocks", "fixed", "unequal-lines"])
def test_no_arrow_where_the_fall_cannot_be_told(name):
    levelling, figure = level_drawn(name)
    assert not levelling.plane.told
    assert paper.named(figure, FancyArrowPatch, "fall") == []
    assert any("which way the box falls cannot be told" in text for text in paper.texts(figure))


@pytest.mark.parametrize("name", ["off-level", "tilted-curable", "tilted-rebed"])
def test_the_tilt_arrow_points_down_the_plane(name):
    levelling, figure = level_drawn(name)
    (arrow,) = paper.named(figure, FancyArrowPatch, "fall")
    start, end = (np.array(p) for p in arrow._posA_posB)
    across, along = end - start
    fall = across * levelling.plane.slope_y + along * levelling.plane.slope_x
    steepness = np.hypot(levelling.plane.slope_x, levelling.plane.slope_y)
    assert fall == pytest.approx(-np.hypot(across, along) * steepness)


@pytest.mark.parametrize(
    ("name", "begins"),
    [
        # lips 4 and 5 stand at 5/32 in, 3.97 mm
        ("off-level", "Adjust: turn 3 of 5 inserts, lips to 5/32 in (4.0 mm) over still water."),
        ("unequal-lines", "Adjust: turn 2 of 4 inserts."),
        ("level", "Nothing to do: every flow is within the tolerance already."),
        # two of six are fixed and one is capped
        ("fixed", "Adjust: turn 2 of 3 inserts, lips to 3/32 in (2.4 mm) over still water."),
        ("every hole", "Re-bed: 2 of 5 outlets cannot reach their own heights."),
    ],
)
def test_the_title_is_the_verdict_and_the_headline_what_to_do(name, begins):
    levelling, figure = level_drawn(name)
    assert headline(levelling)[0] == begins
    (title,) = [t for t in paper.words(figure) if t.get_fontsize() == TITLE]
    assert " ".join(title.get_text().split()) == begins
    drawn = " ".join(" ".join(paper.texts(figure)).split())
    assert all(line in drawn for line in headline(levelling))


def test_the_headline_of_unequal_lips_tells_what_they_meet():
    # read twice as well as they were, they can be told apart
    levelling = level(replace(sites()["unequal-lines"], spread=0.0005), samples=100)
    assert "meet all flows as nearly as can be." in headline(levelling)[1]


def test_the_headline_of_unequal_lips_names_the_flow_that_they_meet():
    levelling = level(sites()["unequal-lines"], samples=200, design_flow=2)
    assert levelling.site.flows[2].name == "dose"
    assert headline(levelling)[1].endswith("the others above it, to meet dose.")


def test_a_box_in_which_nothing_turns_is_told_so():
    site = lips_of([0.0, 0.012, 0.001, 0.0, 0.02], offset=None, spread=0.0004,
                   positions=FIVE_PLACES, flows=[Flow(name="dose", inflow=1e-3)],
                   box=Box(inside=(0.4, 0.5)))  # fmt: skip
    levelling = level(site, samples=200)
    assert levelling.verdict == "re-bed"
    assert headline(levelling)[0].endswith(" of 5 lips are off, and nothing here turns.")


@pytest.mark.slow
@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", ["five, no positions", "twenty, no positions"])
def test_missing_positions_are_told(name):
    _, figure = level_drawn(name)
    assert "not all positions are given" in " ".join(" ".join(paper.texts(figure)).split())
    _, figure = level_drawn("off-level")
    assert not any("not all positions" in text for text in paper.texts(figure))


def test_outlets_stand_at_their_places():
    site = sites()["off-level"]
    plan = Plan.fitted(site.box, site.outlets, 4.0, 4.0, (5.0, 5.0))
    along, across = site.box.inside
    assert plan.along / plan.across == pytest.approx(along / across)
    for outlet, mouth in zip(site.outlets, plan.mouths(site.outlets), strict=True):
        x, y = np.subtract(mouth.at, plan.middle) / plan.scale + [across / 2, along / 2]
        assert (y, x) == pytest.approx(outlet.position)


def test_without_positions_outlets_stand_in_order_along_the_far_wall():
    site = box(5, placed=False)
    plan = Plan.fitted(site.box, site.outlets, 4.0, 4.0, (0.0, 0.0))
    mouths = plan.mouths(site.outlets)
    assert [m.way for m in mouths] == [(0.0, 1.0)] * 5
    assert np.diff([m.at[0] for m in mouths]) == pytest.approx(plan.across / 5)


def test_a_place_in_the_corner_or_off_the_box_is_brought_to_the_wall():
    site = box(4, size=(16.0, 20.0))
    plan = Plan.fitted(site.box, site.outlets, 4.0, 4.0, (0.0, 0.0))
    for mouth in plan.mouths(box(9, size=(30.0, 40.0)).outlets):
        assert abs(mouth.at[0]) <= plan.across / 2 + 1e-12
        assert abs(mouth.at[1]) <= plan.along / 2 + 1e-12


def test_too_many_outlets_are_refused():
    with pytest.raises(DomainError, match="21 outlets"):
        level_figure(level(box(21), samples=10))


WISHES = st.lists(st.floats(-5, 15), min_size=1, max_size=20)
TEXTS = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60)


@given(WISHES)
def test_spread_out_keeps_distance_order_and_limits(wishes):
    placed = spread_out(wishes, 0.5, 0.0, 10.0)
    assert min(placed) >= -1e-12
    assert max(placed) <= 10.0 + 1e-12
    in_order = [placed[i] for i in np.argsort(wishes, kind="stable")]
    assert all(np.diff(in_order) >= 0.5 - 1e-9)


@given(st.lists(st.integers(0, 19), min_size=1, max_size=9, unique=True))
def test_what_has_room_is_not_moved(steps):
    wishes = [float(step) for step in steps]
    assert spread_out(wishes, 0.5, 0.0, 20.0) == wishes


@given(st.lists(st.integers(0, 12), min_size=3, max_size=3),
       st.lists(st.integers(0, 12), min_size=3, max_size=3))  # fmt: skip
def test_cards_are_shared_out_without_loss(counts, room):
    if sum(counts) > sum(room):
        with pytest.raises(DomainError, match="room for"):
            shared_out(counts, room)
        return
    shared = shared_out(counts, room)
    assert sum(shared) == sum(counts)
    assert all(s <= r for s, r in zip(shared, room, strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_leaders_do_not_cross(name):
    _, figure = level_drawn(name)
    leaders = [ln for ln in paper.lines(figure) if str(ln.get_label()).startswith("leader ")]
    assert len(leaders) == len(sites()[name].outlets)
    pieces = []
    for leader in leaders:
        points = leader.get_xydata()
        # the last piece lies under a face and is not seen
        pieces += [(leader.get_label(), *ends) for ends in pairwise(points[:-1])]
    crossing = {
        (one, other)
        for (one, a, b), (other, c, d) in combinations(pieces, 2)
        if one != other and crosses(a, b, c, d)
    }
    assert crossing == set()


def crosses(a, b, c, d):
    """Whether the pieces a-b and c-d cross."""

    def side(p, q, r):
        return np.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


@given(TEXTS, st.floats(0.3, 5.0))
def test_wrapped_lines_fit_and_lose_no_letter(text, width):
    lines = wrap(text, width, 8.0)
    assert all(text_width(line, 8.0) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(TEXTS, st.integers(1, 3))
def test_what_is_cut_says_so(text, most):
    lines = wrap(text, 0.8, 8.0, most=most)
    assert len(lines) <= most
    assert all(text_width(line, 8.0) <= 0.8 for line in lines)
    lost = "".join("".join(lines).split()) != "".join(text.split())
    assert lost == any("…" in line for line in lines)


@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize("text", ["+1-3/16 in", "counterclockwise", "WWW", "ditch side, 2nd line"])
def test_a_text_is_no_wider_than_measured(text, weight):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 2), dpi=100)
    figure.text(0.1, 0.5, text, fontsize=8.0, weight=weight, family=["DejaVu Sans"])
    (box,) = paper.words(figure).values()
    width = box.width / figure.dpi
    assert width <= text_width(text, 8.0, weight) + 0.02
    assert width >= 0.9 * text_width(text, 8.0, weight)


@pytest.mark.parametrize(("low", "said"), [(-0.003, True), (0.0, False)])
def test_the_foot_says_what_dry_lips_do_to_a_box_that_cannot_be_set(low, said):
    site = lips_of([0.0, low, 0.0004, 0.0, 0.0], offset=None, spread=0.0004, positions=FIVE_PLACES,
                   flows=[Flow(name="trickle", inflow=LITRE_PER_MINUTE)],
                   box=Box(inside=(0.4, 0.5)))  # fmt: skip
    notes = " ".join(paper.texts(level_figure(level(site, samples=200))))
    assert ("while dry lips hold water back" in notes) == said


FIVE_PLACES = ((0.1, 0.0), (0.3, 0.0), (0.4, 0.25), (0.3, 0.5), (0.1, 0.5))
