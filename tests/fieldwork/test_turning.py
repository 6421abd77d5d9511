"""How far turning an insert brings its lip, and what a hand and a table make of it."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.errors import DomainError
from dbox.fieldwork.levelling import level
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import Site
from dbox.fieldwork.turning import Reach, angle_for_move, lip_rise, turn_tables
from dbox.report.wording import sentences
from tests.fieldwork.sites import INCH, box

angles = st.floats(-np.pi, np.pi)
offsets = st.floats(0.002, 0.03)
DEGREE = np.pi / 180


@pytest.mark.parametrize(
    ("clock", "over_e"),
    [(0, -1), (60, -0.5), (90, 0), (120, 0.5), (180, 1), (-60, -0.5), (-90, 0), (-180, 1)],
)
def test_lip_over_where_it_stands_a_quarter_turn_from_down(clock, over_e):
    assert lip_rise(clock * DEGREE, 0.0127) == pytest.approx(over_e * 0.0127, abs=1e-17)


@pytest.mark.parametrize(
    ("clock", "move_over_e", "new_clock"),
    [
        (0, 0, 0),
        (0, 0.5, 60),
        (0, 1, 90),
        (0, 2, 180),
        (90, -1, 0),
        (90, 0.5, 120),
        (-90, 0.5, -120),
        (-90, -0.5, -60),
        (180, -1, 90),
        (180, -2, 0),
        (-60, 1, -120),
    ],
)
def test_angles(clock, move_over_e, new_clock):
    angle = angle_for_move(clock * DEGREE, 0.0127, move_over_e * 0.0127)
    assert np.degrees(angle) == pytest.approx(new_clock, abs=1e-6)


def test_full_lift_is_twice_the_offset_and_no_more():
    assert angle_for_move(0.0, 0.01, 0.02) == pytest.approx(np.pi)
    assert np.isnan(angle_for_move(0.0, 0.01, [0.0201, -0.0001])).all()
    assert np.isnan(angle_for_move(np.pi, 0.01, [0.0001, -0.0201])).all()
    # a target missed by rounding is still its own top
    assert angle_for_move(0.0, 0.01, np.nextafter(0.02, 1)) == pytest.approx(np.pi)


def test_the_lip_moves_most_a_quarter_turn_from_down():
    """By e sin(a) a radian: nearly nothing at top and bottom."""
    step = 1e-5
    for angle in np.linspace(-np.pi, np.pi, 9):
        rate = (lip_rise(angle + step, 0.0127) - lip_rise(angle - step, 0.0127)) / (2 * step)
        assert rate == pytest.approx(0.0127 * np.sin(angle), abs=1e-11)
    assert abs(lip_rise(5 * DEGREE, 0.0127) - lip_rise(0, 0.0127)) < 5e-5
    assert lip_rise(95 * DEGREE, 0.0127) - lip_rise(90 * DEGREE, 0.0127) > 1.1e-3


@given(angles, angles, offsets)
def test_turning_there_gives_the_move(now, wanted, offset):
    move = lip_rise(wanted, offset) - lip_rise(now, offset)
    angle = angle_for_move(now, offset, move)
    assert lip_rise(angle, offset) - lip_rise(now, offset) == pytest.approx(move, abs=1e-15)


@given(st.floats(0.01, 3.13), st.floats(0.01, 3.13), offsets, st.sampled_from([-1, 1]))
def test_turning_back_gives_the_first_angle(now, wanted, offset, side):
    there = angle_for_move(side * now, offset, lip_rise(wanted, offset) - lip_rise(now, offset))
    back = angle_for_move(there, offset, lip_rise(now, offset) - lip_rise(wanted, offset))
    assert there == pytest.approx(side * wanted, abs=1e-11)
    assert back == pytest.approx(side * now, abs=1e-11)


@given(angles, angles, offsets)
def test_no_smaller_turn_does_it_either_way_round(now, wanted, offset):
    """Turns of both signs tried in steps of 0.1 degree: the lip passes its height at no lesser."""
    height = lip_rise(wanted, offset)
    turn = abs(float(angle_for_move(now, offset, height - lip_rise(now, offset))) - now)
    assert turn <= np.pi + 1e-12
    step = 0.1 * DEGREE
    tried = np.arange(0, max(turn - step, 0), step)
    for sign in (-1, 1):
        over = lip_rise(now + sign * tried, offset) - height
        passed = np.flatnonzero(np.sign(over[:-1]) * np.sign(over[1:]) < 0)
        assert not passed.size, f"a turn of {sign * tried[passed[0]]} would do"


@given(st.lists(angles, min_size=1, max_size=5), angles, offsets)
def test_arrays_or_one_by_one(many, wanted, offset):
    move = lip_rise(wanted, offset) - lip_rise(many, offset)
    together = angle_for_move(many, offset, move)
    singly = [float(angle_for_move(a, offset, m)) for a, m in zip(many, move, strict=True)]
    np.testing.assert_allclose(together, singly, rtol=1e-12)


def test_bottom_quarter_and_top():
    (table,) = turn_tables(box([0.0] * 4))
    assert table.labels == ("1", "2", "3", "4")
    assert table.angle.size == 25
    assert table.rise[[0, 12, 24]] == pytest.approx([0, 0.5 * INCH, INCH], abs=1e-15)
    assert np.all(np.diff(table.rise) > 0)


def test_inserts_of_different_offsets_have_tables_of_their_own():
    site = box([0.0] * 4, offset=[0.01, 0.02, None, 0.01], capped=(3,))
    tables = turn_tables(site)
    assert [(t.labels, t.offset) for t in tables] == [(("1",), 0.01), (("2",), 0.02)]
    assert turn_tables(box([0.0], offset=None)) == ()


@pytest.mark.parametrize("step", [0.0, -1.0, np.nan, 4.0])
def test_a_step_that_makes_no_table_is_refused(step):
    with pytest.raises(DomainError, match="step of a turn table"):
        turn_tables(box([0.0]), step=step)


def test_a_step_that_does_not_go_into_half_a_turn_ends_at_the_top():
    (table,) = turn_tables(box([0.0]), step=1.0)
    assert table.angle.tolist() == [0.0, 1.0, 2.0, 3.0, np.pi]


E = 0.5 * INCH


def reach_of(site: Site) -> Reach:
    return Reach.of(site, reduce_readings(site).height)


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
    assert result.highest.height == result.goal.height
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
