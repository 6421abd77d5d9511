"""Steps of a level pool: exact where straight, steady, never unstable, never negative."""

import math

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from dbox.hydraulics.surge.level_pool import Pool, fitted_weight
from tests.hydraulics.surges import route

flows = st.floats(0, 1e-2)
powers_of_ten = st.floats(-6, 6).map(lambda x: 10.0**x)


def power_rating(factor: float, power: float):
    def rating(level: float) -> tuple[float, float]:
        h = max(level, 0.0)
        return factor * h**power, factor * power * h ** (power - 1) if h > 0 else 0.0

    return rating


@given(powers_of_ten)
def test_step_for_a_straight_rating_at_any_length(stiffness: float) -> None:
    """Exact: dx/dt = i(t) - x has x = straight-line response + exp(-t) of the rest."""
    first, last = 2.0, 5.0
    pool = Pool(1.0, lambda x: (x, 1.0), 7.0, lowest=-1e9)
    out = pool.step(first, last, stiffness)
    slope = (last - first) / stiffness
    end = last - slope + (7.0 - first + slope) * math.exp(-stiffness)
    assert pool.next_level == pytest.approx(end, rel=1e-6)
    assert out * stiffness == pytest.approx(3.5 * stiffness + 7.0 - pool.next_level, rel=1e-9)


@given(st.floats(0, 1e6))
def test_weight_lies_between_a_half_and_one(stiffness: float) -> None:
    assert 0.5 <= fitted_weight(stiffness) <= 1.0


def test_weight_has_no_seam() -> None:
    for seam in (2e-3, 50.0):
        below, above = fitted_weight(seam * (1 - 1e-9)), fitted_weight(seam * (1 + 1e-9))
        assert below == pytest.approx(above, abs=1e-8)


@given(
    st.floats(0.4, 3.0), powers_of_ten, st.floats(1e-3, 10), st.floats(0, 1), flows, flows,
    st.floats(1e-3, 1e5),
)  # fmt: skip
def test_a_step_keeps_volume_and_never_draws_below_the_outlet(
    power: float, factor: float, area: float, level: float, first: float, last: float, dt: float
) -> None:
    """Exact: what came less what left is what stayed; level and outflow are never negative."""
    pool = Pool(area, power_rating(factor, power), level)
    out = pool.step(first, last, dt)
    assert out >= 0
    assert pool.next_level >= 0
    came, stayed = 0.5 * (first + last) * dt, area * (pool.next_level - level)
    assert came - out * dt == pytest.approx(stayed, abs=1e-12 * (came + area * level) + 1e-300)


def test_steady_pool_stays_as_it_is() -> None:
    rating = power_rating(2.0, 2.0)
    pool = Pool(0.3, rating, 0.05)
    outflow, level = route(np.full(20, rating(0.05)[0]), 1e4, pool)
    assert level == pytest.approx(0.05, rel=1e-12)
    assert outflow == pytest.approx(rating(0.05)[0], rel=1e-12)


def test_a_long_step_after_a_jump_does_not_overshoot() -> None:
    """Exact: from rest a steady inflow never lifts a pool over the level that passes it."""
    rating = power_rating(2.0, 2.0)
    for seconds in (1.0, 1e2, 1e4, 1e6):
        pool = Pool(0.2, rating, 0.0)
        _, level = route(np.full(5, 1e-3), seconds, pool)
        assert np.all(level <= math.sqrt(1e-3 / 2.0) * (1 + 1e-6))
        assert np.all(np.diff(level) >= -1e-7 * level[1:])


def bent_rating(bends: list[tuple[float, float]]):
    """A rating of straight lines, each given by its width and its slope."""

    def rating(level: float) -> tuple[float, float]:
        flow, rest, slope = 0.0, max(level, 0.0), 0.0
        for width, slope in bends:
            part = min(rest, width)
            flow, rest = flow + part * slope, rest - part
            if rest <= 0.0:
                return flow, slope if level > 0 else 0.0
        return flow + rest * slope, slope

    return rating


# flat, steep, flat: here Newton's steps go to and fro between 0.5 and 1.5 for ever
@example(bends=[(1.0, 0.0), (0.01, 100.0), (1.0, 0.0)], level=1.0, inflow=0.5, seconds=1.0)
@given(
    st.lists(
        st.tuples(st.floats(-3, 0), st.floats(-4, 3)).map(lambda x: (10.0 ** x[0], 10.0 ** x[1])),
        min_size=1, max_size=6,
    ),
    st.floats(0, 3), st.floats(0, 1), st.floats(-2, 4).map(lambda x: 10.0**x),
)  # fmt: skip
def test_the_level_of_a_step_by_bisection(bends, level, inflow, seconds) -> None:
    """x + dt F(x) = x0 + dt i, weighted on the end: one root, from the outlet up to the right side.

    Plain bisection finds it however the rating bends; the pool's search has to, in no more steps.
    """
    rating, asked = bent_rating(bends), []

    def counted(at: float) -> tuple[float, float]:
        asked.append(at)
        return rating(at)

    pool = Pool(1.0, counted, level)
    asked.clear()
    pool.step(inflow, inflow, seconds, 1.0)
    target = level + seconds * inflow
    low, high = 0.0, target
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (
            (low, middle) if middle + seconds * rating(middle)[0] > target else (middle, high)
        )
    assert pool.next_level == pytest.approx(high, rel=2e-3, abs=1e-12)
    # the first guess, which is free, may lie anywhere; the search stays between its ends
    assert all(-1e-12 <= at <= target * (1 + 1e-12) for at in asked[1:])
    assert len(asked) <= 60
