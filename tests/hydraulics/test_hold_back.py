"""Dry lips that hold water back: the split in the rising state."""

import numpy as np
import pytest
from scipy.optimize import brentq

from dbox import Circle, DomainError, Notch, PipeEnd, Slot, split

LITRE_PER_MINUTE = 1e-3 / 60
HOLE = Circle(0.045, coefficient=0.6)
LIPS = np.array([0.0, -3.0, 0.4, 1.5, -0.5]) / 1e3
KINDS = [
    HOLE,
    Circle(0.0508),
    Notch(np.pi / 2),
    Slot(0.03, coefficient=0.6),
    Slot(0.04, 0.02),
    PipeEnd(0.1),
]
MICROMETRE = 1e-6


def shares(inflow, **options):
    return split(inflow * LITRE_PER_MINUTE, LIPS, HOLE, **options).share * 100


def level_of(inflow, lips, openings, tails, rim, running):
    """Level at which the running lips alone pass the inflow, or the rim; inf where none does."""

    def missing(level):
        parts = [float(openings[i].discharge(level - lips[i], tails[i] - lips[i])) for i in running]
        return sum(parts) - inflow

    if rim is not None and missing(rim) <= 0:
        return rim
    if not running:
        return np.inf
    low = min(lips[i] for i in running)
    high = 5.0 if rim is None else rim
    return brentq(missing, low, high, xtol=1e-16, rtol=8.9e-16, maxiter=500)


def tried_set_by_set(inflow, lips, holds, openings, tails, rim):
    """The definition, heights and hold-backs in whole micrometres: which lips run, and the level.

    Lips in the order of lip + hold-back, those of one threshold together; the first of the growing
    sets whose level does not exceed the next threshold.
    """
    starts = [a + b for a, b in zip(lips, holds, strict=True)]
    steps = sorted(s for s in set(starts) if s < np.inf)
    metres = [a * MICROMETRE for a in lips]
    top = None if rim is None else rim * MICROMETRE
    for count in range(len(steps) + 1):
        running = [i for i, s in enumerate(starts) if s in steps[:count]]
        level = level_of(inflow, metres, openings, tails, top, running)
        following = steps[count] * MICROMETRE if count < len(steps) else np.inf
        if level <= following and (running or top is not None):
            return running, level
    raise AssertionError("no set stands")


def drawn_box(rng):
    """Up to 8 outlets of mixed openings, some capped, with or without tailwater and rim."""
    n = int(rng.integers(1, 9))
    grid = rng.choice([1, 500])  # on the coarse one thresholds often meet
    lips = [int(v) * grid for v in rng.integers(-4000 // grid, 4000 // grid + 1, n)]
    holds = [int(v) * grid for v in rng.integers(0, 5000 // grid + 1, n)]
    if rng.random() < 0.5:
        holds = [holds[0]] * n
    kinds = rng.choice(len(KINDS), 2)
    openings = [KINDS[kinds[int(rng.random() < 0.3)]] for _ in range(n)]
    rim = int(rng.integers(1000, 30000)) + max(lips) if rng.random() < 0.3 else None
    lips = [np.inf if rng.random() < 0.1 and (rim or i) else v for i, v in enumerate(lips)]
    tails = np.full(n, -np.inf)
    if rng.random() < 0.4:
        wet = rng.random(n) < 0.4
        tails[wet] = rng.uniform(-0.004, 0.012, wet.sum())
    inflow = 10 ** rng.uniform(-0.5, 1.8) * LITRE_PER_MINUTE
    return inflow, lips, holds, openings, tails, rim


def agrees(box):
    inflow, lips, holds, openings, tails, rim = box
    running, level = tried_set_by_set(*box)
    found = split(
        inflow, np.array(lips) * MICROMETRE, openings, tails,
        rim=None if rim is None else rim * MICROMETRE,
        hold_back=np.array(holds) * MICROMETRE, rising=True,
    )  # fmt: skip
    held = [i for i in range(len(lips)) if i not in running]
    assert not found.flow[held].any(), box
    assert float(found.level) == pytest.approx(level, abs=1e-11), box
    metres = [lip * MICROMETRE for lip in lips]
    each = [float(openings[i].discharge(level - metres[i], tails[i] - metres[i])) for i in running]
    np.testing.assert_allclose(found.flow[running], each, rtol=0, atol=1e-7 * inflow)
    assert float(found.imbalance) <= 1e-10
    return len(running), sum(lip < np.inf for lip in lips)


@pytest.mark.slow
@pytest.mark.parametrize(
    "boxes", [range(200), pytest.param(range(200, 2000), marks=pytest.mark.slow)], ids=len
)
def test_the_lips_that_run_are_those_of_the_definition_tried_set_by_set(boxes):
    found = [agrees(drawn_box(np.random.default_rng(seed))) for seed in boxes]
    # boxes of every sort, else this says little
    assert {running for running, _ in found} >= {0, 1, 2, 3, 4, 5}
    assert 0.1 < np.mean([running == uncapped for running, uncapped in found]) < 0.9


@pytest.mark.parametrize(
    ("inflow", "hold_back", "expected"),
    [
        (1, 1, [10.8, 65.4, 7.0, 0, 16.8]),
        (1, 2, [12.4, 69.0, 0, 0, 18.7]),
        (1, 3, [0, 77.0, 0, 0, 23.0]),
        (1, 4, [0, 100, 0, 0, 0]),
        (2, 4, [18.3, 58.2, 0, 0, 23.4]),
    ],
)
def test_five_holes_worked_out_by_hand(inflow, hold_back, expected):
    """Lips 0, -3, 0.4, 1.5, -0.5 mm, 45 mm holes, C = 0.6 (computed apart, one set at a time)."""
    rising = shares(inflow, hold_back=hold_back / 1e3, rising=True)
    np.testing.assert_allclose(rising, expected, atol=0.051)


def test_a_bucket_breaks_through_every_lip():
    falling = shares(20)
    assert np.array_equal(shares(20, hold_back=0.004, rising=True), falling)


def test_the_falling_state_knows_no_hold_back():
    for inflow in (0.1, 1, 4, 20, 100):
        assert np.array_equal(shares(inflow, hold_back=0.004), shares(inflow))
        assert np.array_equal(shares(inflow, hold_back=0.0, rising=True), shares(inflow))
        assert np.array_equal(shares(inflow, hold_back=np.zeros(5), rising=True), shares(inflow))


def test_equal_lips_start_together():
    result = split(1e-6, [0.0, 0.0, 0.0], HOLE, hold_back=0.004, rising=True)
    assert result.flow.tolist() == [result.flow[0]] * 3


def test_thresholds_that_differ_by_rounding_are_one():
    """0.1 + 0.7 and 0.2 + 0.6 differ in the last digit of a float."""
    assert 0.1 + 0.7 != 0.2 + 0.6
    result = split(1e-3, [0.1, 0.2], Circle(1.0), hold_back=[0.7, 0.6], rising=True)
    assert result.flow[0] > 0
    raised = split(1e-3, [0.1, 0.15], Slot(0.01), hold_back=[0.75, 0.7], rising=True)
    assert (raised.flow > 0).all()


def test_a_held_lip_says_how_high_water_stands_over_it():
    result = split(LITRE_PER_MINUTE, LIPS, HOLE, hold_back=0.004, rising=True)
    np.testing.assert_allclose(result.head, result.level - LIPS, atol=1e-16)
    assert (result.head > 0).sum() > (result.flow > 0).sum() == 1


def test_the_inflow_spills_over_a_rim_that_lies_below_every_threshold():
    result = split(1e-5, [0.0, 0.001], HOLE, rim=0.002, hold_back=0.003, rising=True)
    assert result.flow.tolist() == [0, 0]
    assert float(result.overflow) == 1e-5
    assert float(result.level) == 0.002


def test_many_boxes_are_split_as_each_alone():
    rng = np.random.default_rng(5)
    lips = rng.normal(0, 0.002, (30, 4, 6))
    holds = rng.uniform(0, 0.004, (4, 1))
    inflow = 10 ** rng.uniform(-5.5, -3.5, (30, 1))
    found = split(inflow, lips, HOLE, hold_back=holds, rising=True)
    assert found.share.shape == (30, 4, 6)
    for i, j in np.ndindex(30, 4):
        alone = split(inflow[i, 0], lips[i, j], HOLE, hold_back=holds[j], rising=True)
        np.testing.assert_allclose(found.share[i, j], alone.share, atol=1e-9)


def test_the_more_is_held_back_the_fewer_run():
    holds = np.linspace(0, 0.006, 61)
    for inflow in (0.2, 1.0, 3.0):
        flow = split(
            inflow * LITRE_PER_MINUTE, LIPS, HOLE, hold_back=holds[:, None], rising=True
        ).flow
        assert np.all(np.diff((flow > 0).sum(-1)) <= 0)


@pytest.mark.parametrize("hold_back", [-0.001, np.nan, np.inf, [0.001, -1e-9]])
def test_a_hold_back_that_cannot_be_is_refused(hold_back):
    with pytest.raises(DomainError, match=r"hold_back \[m\] is .*; it must be a finite number"):
        split(1e-5, [0.0, 0.001], HOLE, hold_back=hold_back, rising=True)


def test_hold_backs_that_fit_no_lips_are_refused():
    with pytest.raises(DomainError, match=r"hold_back \(3,\) do not fit"):
        split(1e-5, [0.0, 0.001], HOLE, hold_back=[0.001] * 3, rising=True)
