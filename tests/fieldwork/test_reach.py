"""How far lips can be brought, and the goal of least turning against plain trial."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.fieldwork.levelling import level
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import Site
from dbox.fieldwork.turning import Reach
from dbox.report.wording import sentences

from .sites import INCH, box

E = 0.5 * INCH


def reach_of(site: Site) -> Reach:
    return Reach.of(site, reduce_readings(site))


def asked_of(site: Site, goal: float, offset: list[float]) -> tuple[int, float]:
    """Open outlets that reach a goal and the turning of all, one insert at a time."""
    reached, turning = 0, 0.0
    for outlet, over in zip(site.outlets, offset, strict=True):
        if outlet.capped:
            continue
        move, e = goal + over - outlet.readings[0], outlet.hole_offset
        if not e:
            reached += abs(move) <= 1e-9
        elif outlet.clock is None:
            reached += abs(move) <= 2 * e + 1e-9
            turning += min(abs(move), 2 * e) * math.pi / (2 * e)
        else:
            cosine = math.cos(outlet.clock) - move / e
            reached += abs(cosine) <= 1 + 1e-9 / e
            there = math.acos(max(-1.0, min(1.0, cosine)))
            turning += min(
                abs(math.remainder(side * there - outlet.clock, 2 * math.pi)) for side in (-1, 1)
            )
    return reached, turning


# a ten-thousandth of a millimetre apart, so that none stands on the edge of a rounding
readings = st.integers(-200_000, 200_000).map(lambda steps: steps * 1e-7)
goals = st.integers(-500_000, 500_000).map(lambda steps: steps * 1e-7)
clocks = st.none() | st.floats(-np.pi, np.pi)


@st.composite
def sites(draw):
    n = draw(st.integers(2, 6))

    def each(values):
        return draw(st.lists(values, min_size=n, max_size=n))

    return box(
        each(readings),
        clocks=each(clocks),
        offset=each(st.sampled_from([None, 0.006, 0.0127, 0.02])),
        capped=[i for i in range(1, n) if draw(st.integers(0, 4)) == 0],
    ), each(st.sampled_from([0.0, 0.0, 0.002, 0.007]))


def open_count(site: Site) -> int:
    return sum(not o.capped for o in site.outlets)


@given(sites(), goals)
def test_what_a_goal_asks_for(drawn, goal):
    site, offset = drawn
    found = reach_of(site).goal(goal, np.array(offset))
    reached, turning = asked_of(site, goal, offset)
    assert found.height == goal
    assert found.turning == pytest.approx(turning, abs=1e-7)
    assert found.reached == reached, "outlets that can be brought there, capped ones not among them"


@given(sites())
def test_no_goal_tried_asks_for_less(drawn):
    """3,000 goals over the whole reach: none brings more outlets, or as many with less turning."""
    site, offset = drawn
    best = reach_of(site).least_turning(np.array(offset))
    reached, turning = asked_of(site, best.height, offset)
    lips = [o.readings[0] - w for o, w in zip(site.outlets, offset, strict=True) if not o.capped]
    for goal in [*lips, *np.linspace(min(lips) - 0.045, max(lips) + 0.045, 3000)]:
        many, less = asked_of(site, float(goal), offset)
        assert many <= reached
        # both grids are of some 0.05 mm: the least may fall between
        assert many < reached or less >= turning - 0.02 * open_count(site)


@given(sites())
def test_the_highest_goal_is_the_highest_lip(drawn):
    site, offset = drawn
    lips = [o.readings[0] - w for o, w in zip(site.outlets, offset, strict=True) if not o.capped]
    assert reach_of(site).highest(np.array(offset)).height == max(lips)


def test_reach_at_the_clock_positions():
    site = box(
        [0.01] * 6,
        clocks=[0.0, np.pi / 2, np.pi, -np.pi / 3, None, 0.0],
        offset=[E, E, E, E, E, None],
    )
    reach = reach_of(site)
    np.testing.assert_allclose(reach.low - 0.01, [0, -E, -2 * E, -E / 2, -2 * E, 0], atol=1e-17)
    np.testing.assert_allclose(reach.high - 0.01, [2 * E, E, 0, 1.5 * E, 2 * E, 0], atol=1e-17)
    assert reach.adjustable.tolist() == [True] * 5 + [False]


def test_two_alike_inserts_meet_at_either_lip_or_between():
    """At 9:00 and 9:00, 4 mm apart: turning one alone is worse than nothing gained by sharing."""
    site = box([0.0, 0.004], clocks=np.pi / 2)
    best = reach_of(site).least_turning(np.zeros(2))
    # asin(x) + asin(d - x) is least where the two share the way
    assert best.height == pytest.approx(0.002, abs=2e-5)
    assert best.turning == pytest.approx(2 * math.asin(0.002 / E), abs=1e-6)


def test_a_fixed_outlet_is_the_goal():
    site = box([0.0, 0.003, -0.002], clocks=np.pi / 2, offset=[E, None, E])
    assert reach_of(site).least_turning(np.zeros(3)).height == pytest.approx(0.003, abs=1e-12)


def test_a_capped_outlet_has_no_say():
    site = box([0.0, 0.5, 0.002], clocks=np.pi / 2, capped=[1])
    best = reach_of(site).least_turning(np.zeros(3))
    assert 0 <= best.height <= 0.002
    assert best.reached == 2
    assert reach_of(site).highest(np.zeros(3)).height == 0.002


@given(st.floats(-np.pi, np.pi), st.floats(-E, E), st.sampled_from([-4, -2, 2, 4]))
def test_a_clock_given_a_full_turn_away_is_the_same_clock(clock, move, half_turns):
    """9:00 may be written as 90 degrees or as -270: the hole stands where it stands."""
    near = reach_of(box([0.0], clocks=clock))
    far = reach_of(box([0.0], clocks=clock + half_turns * np.pi))
    wanted = near.brought(np.array([move]))
    assert abs(far.turns(wanted)[0]) == pytest.approx(abs(near.turns(wanted)[0]), abs=1e-6)


def test_a_highest_lip_out_of_reach_is_named_and_the_lips_meet_as_high_as_all_can():
    """By hand, offset 12.7 mm: hole 1 stands down and can rise by its full travel, 0 to 25.4 mm;
    hole 2 stands up at 30 mm and can sink by it, 4.6 to 30 mm. Lips can meet from 4.6 to 25.4."""
    site = box([0.0, 0.030], clocks=[0.0, np.pi], spread=2e-5)
    result = level(site, match_highest=True, hand_step=1e-9)
    assert result.highest.height == 0.030
    assert result.verdict == "adjust"
    assert result.goal.height == pytest.approx(0.0254, abs=1e-12)
    assert result.reachable.all()
    # the lip hardly moves near the top of its travel
    np.testing.assert_allclose(result.lip_after, 0.0254, atol=1e-9)
    (sentence,) = [w for w in sentences(result.warnings) if "highest lip" in w]
    assert "+30.0 mm, which outlet 1 cannot reach" in sentence
    assert "+25.4 mm, the highest that all can reach" in sentence
    # with more than the travel of both between them there is no such height
    apart = level(box([0.0, 0.052], clocks=[0.0, np.pi], spread=2e-5), match_highest=True)
    assert apart.verdict == "re-bed"
    assert apart.reachable.tolist() == [False, True]
    # a highest lip that all reach is the goal itself, and nothing is said
    near = level(box([0.0, 0.020], clocks=[0.0, np.pi], spread=2e-5), match_highest=True)
    assert near.goal.height == 0.020
    assert not [w for w in sentences(near.warnings) if "highest lip" in w]
