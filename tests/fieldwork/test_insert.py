"""Turning an off-centre hole: exact angles, round trips, and the smallest turn by brute force."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.fieldwork.turning import angle_for_move, lip_rise

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
