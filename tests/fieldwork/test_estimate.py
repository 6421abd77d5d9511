"""What is known of the lips, against plain filters and least squares; what to turn, against trying
every goal and every set of inserts."""

from dataclasses import replace
from itertools import product

import mpmath
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import special

from dbox.fieldwork.estimate import (
    HAND_ERROR,
    Estimate,
    decide,
    level_chance,
    normal_points,
    turn_variance,
)
from dbox.fieldwork.readings import mark_variance, reading_variance, reduce_readings
from dbox.fieldwork.turning import Reach, lip_rise
from tests.fieldwork.sites import INCH, box

E = 0.5 * INCH
seeds = st.integers(0, 2**32 - 1)


def of_marks(ratio):
    """The part that the marks leave, over their distance squared, to 60 digits: a bias b(x) at x
    between two marks has the series (1/pi) sum (-1)^(j+1) exp(-2 (pi j s)^2) sin(2 pi j x) / j."""
    with mpmath.workdps(60):
        s, total, j = mpmath.mpf(ratio), mpmath.mpf(0), 1
        if not ratio:
            return mpmath.mpf(1) / 12
        while (term := mpmath.exp(-((2 * mpmath.pi * j * s) ** 2)) / j**2) > mpmath.mpf(10) ** -62:
            total, j = total + term, j + 1
        return total / (2 * mpmath.pi**2)


@pytest.mark.parametrize("ratio", [0.0, 0.01, 0.05, 0.07, 0.08, 0.1, 0.25, 0.5, 1.0])
def test_what_the_marks_leave_against_the_exact_sum(ratio):
    mark = INCH / 16
    left = float(of_marks(ratio)) * mark**2
    assert mark_variance(ratio * mark, mark) == pytest.approx(left, rel=1e-12)
    single = (ratio * mark) ** 2 + mark**2 / 12
    wanted = (single - left) / 9 + left
    assert reading_variance(ratio * mark, mark, 9) == pytest.approx(wanted, rel=1e-12)


@pytest.mark.parametrize("ratio", [0.1, 0.3])
def test_what_the_marks_leave_is_the_mean_square_of_the_bias_between_two_marks(ratio):
    """The bias at a place, from the chance of every mark, squared and averaged over all places."""

    def bias(x):
        marks = range(-4, 6)
        chance = [mpmath.ncdf((k + 0.5 - x) / ratio) - mpmath.ncdf((k - 0.5 - x) / ratio)
                  for k in marks]  # fmt: skip
        return mpmath.fsum(k * p for k, p in zip(marks, chance, strict=True)) - x

    left = mpmath.quad(lambda x: bias(x) ** 2, [0, 0.5, 1])
    assert mark_variance(ratio, 1.0) == pytest.approx(float(left), rel=1e-9)


@pytest.mark.everyday(4)
@pytest.mark.parametrize("repeats", [1, 4, 9, 20])
@pytest.mark.parametrize("parts", [8, 16, 32])
def test_the_band_of_a_mean_covers_nine_in_ten_of_rounded_readings(parts, repeats):
    """Heights anywhere between two marks, read with an error of 1/32 in, to the nearest mark."""
    rng = np.random.default_rng(100 * parts + repeats)
    mark, spread, off = INCH / parts, INCH / 32, []
    for _ in range(10):
        height = rng.uniform(0.0, 1.0, 400) * 8 * mark
        read = height[:, None] + rng.normal(0.0, spread, (height.size, repeats))
        lips = reduce_readings(
            box((np.round(read / mark) * mark).tolist(), spread=spread, mark=mark)
        )
        off.append((lips.height - height) / lips.error)
    covered = np.mean(np.abs(off) <= special.ndtri(0.95))
    assert 0.87 <= covered <= 0.95 + 0.01


def test_fixed_points_are_spread_as_normal_errors_are():
    points = normal_points(4000, 8)
    np.testing.assert_allclose(points.mean(0), 0.0, atol=1e-12)
    np.testing.assert_allclose(np.cov(points.T), np.eye(8), atol=0.02)
    wanted = special.ndtri([0.05, 0.25, 0.75, 0.95])
    for column in np.percentile(points, [5, 25, 75, 95], axis=0).T:
        np.testing.assert_allclose(column, wanted, atol=0.02)
    np.testing.assert_array_equal(points, normal_points(4000, 8))
    assert not np.array_equal(points, normal_points(4000, 8, seed=1))


def plain_filter(estimate, mean, variance):
    """A Kalman filter for heights and still water, that water known to 1 km2 before; 50 digits."""
    n = len(mean)
    with mpmath.workdps(50):
        p = mpmath.zeros(n + 1)
        for i, j in product(range(n), range(n)):
            p[i, j] = mpmath.mpf(estimate.covariance[i, j])
        p[n, n] = mpmath.mpf(10) ** 6
        x = mpmath.matrix([*estimate.height.tolist(), 0.0])
        for i in np.flatnonzero(np.isfinite(mean)):
            h = mpmath.zeros(1, n + 1)
            h[int(i)], h[n] = 1, -1
            gain = p * h.T / ((h * p * h.T)[0] + mpmath.mpf(variance[i]))
            x, p = x + gain * (mpmath.mpf(mean[i]) - (h * x)[0]), p - gain * h * p
        height = [float(x[i] - x[n]) for i in range(n)]
        return np.array(height), np.array(p.tolist(), float)[:n, :n]


def filled(seed, n=5, fillings=4):
    """Readings of invented lips, turned between fillings; some are not read again."""
    rng = np.random.default_rng(seed)
    lips, told = rng.normal(0.0, 0.002, n), []
    for filling in range(fillings):
        variance = rng.uniform(0.2e-3, 1e-3, n) ** 2
        mean = lips + rng.normal(0.0, np.sqrt(variance)) - lips.min()
        mean[rng.random(n) < (0.2 if filling else 0.0)] = np.nan
        rise = np.where(rng.random(n) < 0.5, rng.normal(0.0, 0.003, n), 0.0)
        spoiled = np.where(rise != 0.0, rng.uniform(0.2e-3, 1e-3, n) ** 2, 0.0)
        told.append((mean, variance, rise, spoiled))
        lips = lips + rise + rng.normal(0.0, np.sqrt(spoiled))
    return told


def known_of(told):
    first, *others = told
    estimate = Estimate(height=first[0], covariance=np.diag(first[1]))
    for before, (mean, variance, *_) in zip(told, others, strict=False):
        estimate = estimate.turned(*before[2:]).read(mean, variance)
    return estimate


@given(seeds)
def test_a_filling_read_against_a_plain_filter(seed):
    told = filled(seed)
    before = known_of(told[:-1]).turned(*told[-2][2:])
    mean, variance, *_ = told[-1]
    after = before.read(mean, variance)
    if after.slipped or not np.isfinite(mean).any():
        return
    height, covariance = plain_filter(before, mean, variance)
    np.testing.assert_allclose(after.height, height, rtol=0, atol=1e-9)
    np.testing.assert_allclose(after.covariance, covariance, rtol=0, atol=1e-6 * 1e-6)


@given(seeds)
def test_all_fillings_against_least_squares_over_all_readings_at_once(seed):
    """Unknown: the first lips, every turn's rise and every still water but the first."""
    told = filled(seed)
    known, n = known_of(told), 5
    # nothing slips in what is held against it, now or in a filling before
    if known.suspects:
        return
    rows, wanted = [], []
    stills, rises = len(told) - 1, len(told) - 1
    size = n + n * rises + stills
    for k, (mean, variance, rise, spoiled) in enumerate(told):
        for i in range(n):
            row = np.zeros(size)
            row[i] = 1.0
            row[[n + n * j + i for j in range(k)]] = 1.0
            if k:
                row[n + n * rises + k - 1] = -1.0
            if np.isfinite(mean[i]):
                rows.append(row / np.sqrt(variance[i]))
                wanted.append(mean[i] / np.sqrt(variance[i]))
            if k < rises:
                # a lip that was not turned stands where it stood, to a thousandth of a micrometre
                error = max(np.sqrt(spoiled[i]), 1e-9)
                rows.append(np.eye(size)[n + n * k + i] / error)
                wanted.append(rise[i] / error)
    matrix = np.array(rows)
    found, *_ = np.linalg.lstsq(matrix, np.array(wanted), rcond=None)
    lips = found[:n] + found[n : n + n * rises].reshape(rises, n).sum(0)
    np.testing.assert_allclose(known.height - known.height.mean(), lips - lips.mean(), atol=1e-9)


def test_the_same_filling_read_again_narrows_what_is_known():
    variance = np.full(4, 1e-6)
    known = Estimate(height=np.zeros(4), covariance=np.diag(variance))
    again = known.turned(np.zeros(4), np.zeros(4)).read(np.full(4, 0.002), variance)
    across = np.array([1.0, -1.0, 0.0, 0.0])
    assert across @ again.covariance @ across == pytest.approx(1e-6, rel=1e-12)
    np.testing.assert_allclose(again.height, 0.002)
    assert (again.fillings, again.started, known.started) == (2, False, False)


def test_a_turn_moves_what_is_known_and_an_unknown_one_forgets_it():
    known = Estimate(height=np.array([0.0, 0.001, np.inf]), covariance=np.diag([1e-6, 1e-6, 0.0]))
    after = known.turned(np.array([0.004, np.nan, 0.0]), np.array([4e-7, np.nan, 0.0]))
    assert after.started
    np.testing.assert_allclose(after.height, [0.004, 0.001, np.inf])
    assert after.covariance[0, 0] == pytest.approx(1.4e-6)
    assert after.covariance[1, 1] > 1e3 * known.covariance[1, 1]
    read = after.read(np.array([0.0, 0.007, np.nan]), np.full(3, 1e-6))
    # no word of the lip that nobody knew counts but this one
    assert read.height[1] - read.height[0] == pytest.approx(0.007, abs=1e-5)
    assert np.isinf(read.height[2])


def four_up(moved):
    """Five lips read to 0.3 mm; one at 6:00 is told to rise by 4 mm and rises by `moved`."""
    heights, variance = np.array([-0.004, 0.0, 0.0, 0.0, 0.0]), np.full(5, 0.3e-3**2)
    after = np.arccos(1.0 - 0.004 / E)
    spoiled = np.array([turn_variance(0.0, after, E, HAND_ERROR), 0.0, 0.0, 0.0, 0.0])
    known = Estimate(height=heights, covariance=np.diag(variance))
    known = known.turned(np.array([0.004, 0.0, 0.0, 0.0, 0.0]), spoiled)
    return known.read(heights + np.eye(5)[0] * moved, variance)


def test_an_insert_that_did_not_move_is_named():
    stuck = four_up(0.0)
    assert stuck.slipped == (0,)
    # what it reads now is believed, not what it was told
    assert stuck.height[0] - stuck.height[1] == pytest.approx(-0.004, abs=1e-4)
    assert not replace(stuck, slipped=()).slipped


@pytest.mark.parametrize("degrees", [-3.0, 0.0, 3.0])
def test_an_insert_that_the_hand_left_within_its_error_is_not_named(degrees):
    left = np.arccos(1.0 - 0.004 / E) + np.radians(degrees)
    assert four_up(float(lip_rise(left, E) - lip_rise(0.0, E))).slipped == ()


def test_chance_of_a_good_span_against_drawing():
    rng = np.random.default_rng(8)
    lip, covariance = np.array([0.0, 0.0008, 0.0003, 0.0]), np.diag([4e-7, 2e-7, 5e-7, 0.0])
    drawn = lip[:3] + rng.normal(0.0, np.sqrt(np.diag(covariance)[:3]), (200_000, 3))
    wanted = np.mean(np.ptp(drawn, axis=1) <= 0.002)
    found = level_chance(lip, covariance, np.array([True, True, True, False]))
    assert found == pytest.approx(wanted, abs=0.03)


# Numbers of the decision, written down once more: they are chosen (judgement).
WORTH, PRICE, READABLE, FINEST, LOST = 1.35, 0.45, 1.5, 0.0009, 0.005


def drawn_boxes(seed, count=40, n=6, error=0.3e-3):
    """Boxes of which a part of the inserts is fixed and a part of the outlets capped."""
    rng = np.random.default_rng(seed)
    shape = count, n
    lip = rng.normal(0.0, rng.choice([0.0005, 0.002, 0.006], (count, 1)), shape)
    lip[rng.random(shape) < 0.1] = np.inf
    lip[:, :2] = rng.normal(0.0, 0.002, (count, 2))
    hole = rng.choice([0.0, 0.006, E], shape, p=[0.15, 0.15, 0.7])
    reach = Reach.of_lips(lip, hole, rng.uniform(-np.pi, np.pi, shape))
    offset = rng.choice([0.0, 0.001], (count, 1)) * rng.uniform(0.0, 1.0, shape)
    variance = np.where(reach.uncapped, error**2, 0.0)
    return reach, variance[..., None] * np.eye(n), offset


def lost(reach, row, goals, inserts, offset, error):
    """What goals and a set of inserts leave of one box, added up outlet by outlet. [m2]

    What is left of a lip, squared, no more than a lost one; for a turn, the error of the hand at
    either end and the price of its time. A move too small to be worth a turn may not be chosen.
    """
    total = np.zeros(len(goals))
    for i in np.flatnonzero(reach.uncapped[row]):
        lip, e, angle = reach.lip[row, i], reach.offset[row, i], reach.angle[row, i]
        wanted = goals + offset[row, i]
        there = np.clip(wanted, reach.low[row, i], reach.high[row, i]) if inserts[i] else lip
        total += np.minimum((wanted - there) ** 2, LOST**2)
        if inserts[i]:
            spoil = e * HAND_ERROR
            cosine = np.clip(np.cos(angle) - (there - lip) / e, -1.0, 1.0)
            total += spoil**2 * (np.sin(angle) ** 2 + 1.0 - cosine**2 + PRICE**2)
            least = max(WORTH * spoil, min(FINEST, READABLE * error))
            total[np.abs(there - lip) < least] = np.inf
    return total


@pytest.mark.parametrize(
    "seed", [1, 2, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(3, 13))]
)
def test_no_goal_and_no_set_of_inserts_promises_much_more(seed):
    """900 goals and all sets of six inserts: once the goal is put to the mean of the lips that
    stay, one of them may be left by just under the least move that is worth a turn, no more."""
    reach, covariance, offset = drawn_boxes(seed, count=25)
    chosen, over = decide(reach, covariance, offset, started=True), []
    for row in np.flatnonzero(chosen.apart):
        lips, turns = (reach.lip - offset)[row][reach.uncapped[row]], reach.adjustable[row]
        goals = np.linspace(lips.min() - FINEST, lips.max() + FINEST, 900)
        sets = [s for s in product([False, True], repeat=6) if not np.any(s & ~turns)]
        least = min(lost(reach, row, goals, s, offset, 0.3e-3).min() for s in sets)
        mine = lost(reach, row, chosen.goal[row, None], chosen.turn[row], offset, 0.3e-3)[0]
        assert mine - least < FINEST**2
        over.append(mine / least)
    assert len(over) > 15
    assert np.percentile(over, 80) < 1.01


def same(one, other, order=slice(None), up=0.0):
    np.testing.assert_array_equal(other.turn, one.turn[..., order])
    np.testing.assert_array_equal(other.apart, one.apart)
    np.testing.assert_array_equal(other.off, one.off[..., order])
    np.testing.assert_allclose(other.goal, one.goal + up, atol=1e-9)


@given(seeds, st.booleans())
def test_a_decision_goes_by_the_box_alone(seed, highest):
    """Not by the height of the water, the order of the outlets or the boxes beside it."""
    reach, covariance, offset = drawn_boxes(seed, count=12)
    whole = decide(reach, covariance, offset, highest=highest)
    up = 0.00737
    raised = replace(reach, lip=reach.lip + up, low=reach.low + up, high=reach.high + up)
    same(whole, decide(raised, covariance, offset, highest=highest), up=up)
    order = np.random.default_rng(seed).permutation(6)
    moved = Reach(**{name: value[:, order] for name, value in vars(reach).items()})
    shuffled = covariance[:, order][:, :, order]
    same(whole, decide(moved, shuffled, offset[:, order], highest=highest), order=order)
    for row in range(12):
        alone = Reach(**{name: value[row] for name, value in vars(reach).items()})
        one = decide(alone, covariance[row], offset[row], highest=highest)
        np.testing.assert_array_equal(one.turn, whole.turn[row])
        np.testing.assert_allclose(one.wanted, whole.wanted[row], atol=1e-15)


@given(seeds, st.booleans())
def test_only_inserts_turn_and_no_further_than_they_reach(seed, highest):
    reach, covariance, offset = drawn_boxes(seed)
    chosen = decide(reach, covariance, offset, highest=highest)
    assert not np.any(chosen.turn & ~(reach.adjustable & reach.uncapped))
    assert not np.any(chosen.turn & ~chosen.apart[..., None])
    assert reach.allows(chosen.wanted).all()
    np.testing.assert_array_equal(chosen.wanted[~chosen.turn], reach.lip[~chosen.turn])


@given(seeds)
def test_where_all_reach_the_highest_lip_none_is_lowered(seed):
    reach, covariance, offset = drawn_boxes(seed)
    chosen = decide(reach, covariance, offset, highest=True)
    top = np.where(reach.uncapped, reach.lip - offset, -np.inf).max(-1)
    all_reach = reach.allows(top[:, None] + offset).all(-1)
    assume(all_reach.any())
    np.testing.assert_array_equal(chosen.goal[all_reach], top[all_reach])
    assert np.all((chosen.wanted >= reach.lip - 1e-12)[all_reach])


def test_one_that_stands_short_does_not_draw_the_others_after_it():
    """Four lips stand level and one can be turned to them; another cannot rise so far."""
    lip = np.array([-0.00428, 0.0, -0.0002, 0.0002, 0.0, 0.0015])
    angle = np.array([np.arccos(1.0 - 0.0215 / E), *[1.5] * 5])
    reach = Reach.of_lips(lip, np.full(6, E), angle)
    chosen = decide(reach, np.eye(6) * 1e-8, np.zeros(6))
    assert chosen.turn.tolist() == [True, False, False, False, False, True]
    assert chosen.wanted[0] == pytest.approx(reach.high[0])
    assert chosen.wanted[5] == pytest.approx(0.0, abs=2e-4)


def test_a_lost_lip_does_not_draw_the_others_after_it():
    """A fixed lip 10 mm down takes all of a trickle wherever the others stand."""
    lip, hole = np.array([-0.010, 0.0, 0.0002, -0.0002, 0.004]), np.array([0.0, E, E, E, E])
    reach = Reach.of_lips(lip, hole, np.array([0.0, 0.3, 0.3, 0.3, 1.5]))
    chosen = decide(reach, np.eye(5) * 1e-8, np.zeros(5))
    assert chosen.turn.tolist() == [False, False, False, False, True]
    assert chosen.wanted[4] == pytest.approx(0.0, abs=1e-9)
    assert chosen.off.tolist() == [True, False, False, False, False]
