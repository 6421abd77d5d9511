"""Many boxes at once give what each box gives alone, and quick verdicts what drawn ones give."""

from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle, Notch, PipeEnd, Slot, split
from dbox.fieldwork import setup, shares
from dbox.fieldwork.estimate import normal_points
from dbox.fieldwork.levelling import level
from dbox.fieldwork.many_boxes import (
    EDGES,
    WORK,
    Boxes,
    Tally,
    judge_drawn,
    judge_first_order,
    overall,
    work_at,
)
from dbox.fieldwork.shares import VERDICTS, assess, chances, verdict_codes

from .sites import DOSE, HOLE, INCH, POUR, TRICKLE, box

FLOWS = (TRICKLE, POUR, DOSE)
INFLOW = np.array([flow.inflow for flow in FLOWS])
SAMPLES = 150
OFFSET = 0.5 * INCH
WITHIN, OUTSIDE, NEITHER = range(3)
HOLES = (HOLE,) * 5
MIXED = (HOLE, Circle(1.5 * INCH), Notch(1.5), PipeEnd(4 * INCH), HOLE)


def some_boxes(openings, count, scatter, spread=0.4e-3, seed=1):
    """Boxes with lips scattered by `scatter`, some capped, some clocks unknown."""
    rng = np.random.default_rng(seed)
    shape = count, len(openings)
    lip = rng.normal(0.0, scatter, shape)
    lip -= lip.min(-1, keepdims=True)
    lip[rng.random(shape) < 0.15] = np.inf
    lip[~np.isfinite(lip).any(-1), 0] = 0.0
    circles = np.array([isinstance(o, Circle) for o in openings])
    turnable = circles & (rng.random(shape) < 0.9)
    clock = rng.uniform(-3.0, 3.0, shape)
    clock[rng.random(shape) < 0.15] = np.nan
    return Boxes(
        openings=openings,
        lip=lip,
        error=np.where(np.isfinite(lip), spread, 0.0),
        tolerance=rng.choice([0.05, 0.1, 0.2], count),
        hole_offset=np.where(turnable, OFFSET, 0.0),
        clock=clock,
    )


def level_boxes(openings, spread, tolerance=0.1, lip=0.0):
    """Boxes with lips at one height, or as given, that cannot be turned; one for each spread."""
    shape = len(spread), len(openings)
    return Boxes(
        openings=openings,
        lip=np.broadcast_to(lip, shape),
        error=np.repeat(np.array(spread)[:, None], len(openings), axis=1),
        tolerance=np.full(len(spread), tolerance),
        hole_offset=np.zeros(shape),
        clock=np.full(shape, np.nan),
    )


def alone(boxes, row, spread=0.4e-3):
    """The site of one of the boxes."""
    lip = boxes.lip[row]
    return box(
        [float(height) if np.isfinite(height) else None for height in lip],
        openings=boxes.openings,
        clocks=[None if np.isnan(a) else float(a) for a in boxes.clock[row]],
        offset=[float(e) or None for e in boxes.hole_offset[row]],
        capped=np.flatnonzero(np.isinf(lip)).tolist(),
        tolerance=float(boxes.tolerance[row]),
        spread=spread,
        flows=FLOWS,
    )


@pytest.mark.parametrize("openings", [HOLES, MIXED, HOLES[:2]])
def test_a_drawn_verdict_is_that_of_the_box_alone(openings):
    boxes = some_boxes(openings, 25, 1.0e-3)
    judged = judge_drawn(boxes, INFLOW, samples=SAMPLES, seed=3)
    for row in range(25):
        one = assess(alone(boxes, row), seed=3, samples=SAMPLES)
        np.testing.assert_allclose(judged.share[:, row], one.result.share, rtol=1e-9, atol=1e-15)
        np.testing.assert_allclose(judged.worst_over_target[:, row], one.worst_over_target)
        np.testing.assert_array_equal(judged.within_probability[:, row], one.within_probability)
        assert [VERDICTS[code] for code in judged.verdict[:, row]] == [*one.verdicts]
        worst = judged.worst[:, row]
        over = one.over_target[range(3), worst]
        np.testing.assert_allclose(over, one.worst_over_target)


TOLD = {"turn": "adjust", "re-bed": "re-bed", "stop": "nothing to do"}
"""What a list says of a box that is told so by itself; all else: read again."""

CONCLUDED = {
    "turn": {"adjust"}, "re-bed": {"re-bed"}, "read again": {"again"}, "finer rule": {"ruler"},
    "pour": {"ruler"}, "stop": {"within", "level", "hand"},
}  # fmt: skip


def drawn(boxes, inflow):
    """As thoroughly as one box is judged alone."""
    return judge_drawn(boxes, inflow, samples=shares.SAMPLES, seed=0)


def first_pass(site):
    """The guided set-up of the same box, its readings given one outlet after the other."""
    empty = replace(site, outlets=tuple(replace(o, readings=()) for o in site.outlets))
    events = [
        event
        for i, outlet in enumerate(site.outlets)
        if not outlet.capped
        for event in (setup.Read(outlet=i, heights=outlet.readings), setup.Settled(outlet=i))
    ]
    return setup.replay(setup.begin(empty), [setup.Still(method="rule"), *events]).now


@pytest.mark.everyday(3)
@pytest.mark.parametrize("openings", [HOLES, MIXED[:2], HOLES[:1]])
@pytest.mark.parametrize("scatter", [0.3e-3, 2e-3, 12e-3])
@pytest.mark.parametrize("count", [3, pytest.param(60, marks=pytest.mark.slow)])
def test_level_setup_and_a_list_agree_on_what_is_to_be_done(openings, scatter, count):
    boxes = some_boxes(openings, count, scatter, seed=count)
    work = work_at(boxes, drawn(boxes, INFLOW), INFLOW, drawn)
    for row in range(count):
        site = alone(boxes, row)
        one, guided = level(site), first_pass(site)
        assert WORK[work.kind[row]] == TOLD.get(one.next_step, "read again")
        assert (one.verdict == "re-bed") == (one.next_step == "re-bed")
        assert guided.conclusion in CONCLUDED[one.next_step]
        np.testing.assert_array_equal(guided.levelling.turn, one.turn)
        np.testing.assert_array_equal(work.reachable[row], one.reachable)
        np.testing.assert_allclose(work.turn[row], one.turn, atol=1e-9)
        np.testing.assert_allclose(work.angle_after[row], one.angle_after, atol=1e-9)
        before = np.where(np.isfinite(boxes.lip[row]), boxes.lip[row], 0.0)
        after = np.where(np.isfinite(one.lip_after), one.lip_after, 0.0)
        np.testing.assert_allclose(work.move[row], after - before, atol=1e-12)


@pytest.mark.slow
@pytest.mark.parametrize(
    "spread", [0.8e-3, *(pytest.param(x, marks=pytest.mark.slow) for x in (0.4e-3, 1.6e-3))]
)
@pytest.mark.parametrize(
    "scatter", [1.0e-3, *(pytest.param(x, marks=pytest.mark.slow) for x in (0.3e-3, 4.0e-3))]
)
def test_quick_verdicts_agree_with_drawn_ones(spread, scatter):
    """First order against draws: in four of five at least, and never within against outside."""
    boxes = some_boxes((Circle(1.75 * INCH, coefficient=0.6),) * 6, 150, scatter, spread)
    exact = drawn(boxes, INFLOW)
    quick = judge_first_order(boxes, INFLOW)
    np.testing.assert_allclose(quick.share, exact.share, rtol=1e-9, atol=1e-15)
    assert np.isnan(quick.within_probability).all()
    assert np.mean(quick.verdict == exact.verdict, axis=1).min() >= 0.8
    opposite = {WITHIN, OUTSIDE}
    pairs = zip(quick.verdict.ravel().tolist(), exact.verdict.ravel().tolist(), strict=True)
    assert not any({*pair} == opposite for pair in pairs)


def test_what_to_turn_is_unknown_where_an_offset_is():
    boxes = some_boxes(HOLES, 20, 2e-3)
    offset = boxes.hole_offset.copy()
    offset[3, 2] = offset[7] = np.nan
    judged = judge_first_order(boxes, INFLOW)
    known = work_at(boxes, judged, INFLOW, judge_first_order)
    some = work_at(replace(boxes, hole_offset=offset), judged, INFLOW, judge_first_order)
    assert np.flatnonzero(some.kind == -1).tolist() == [3, 7]
    others = some.kind != -1
    np.testing.assert_array_equal(some.kind[others], known.kind[others])
    assert Tally.of(judged, some).work.sum() == 18


def test_a_level_box_read_without_error_is_within():
    boxes = level_boxes(HOLES, [1e-9], tolerance=0.01)
    for judged in (
        judge_first_order(boxes, INFLOW),
        judge_drawn(boxes, INFLOW, samples=50, seed=0),
    ):
        assert (judged.verdict == WITHIN).all()
        np.testing.assert_allclose(judged.share, 0.2)


@pytest.mark.everyday(2)
@pytest.mark.parametrize("count", [2, 3, 6, 12])
def test_quick_boxes_are_within_only_where_draws_say_so(count):
    """Level boxes read ever better, about where the verdict turns."""
    hole = Circle(1.75 * INCH, coefficient=0.6)
    boxes = level_boxes((hole,) * count, np.geomspace(0.05e-3, 1.5e-3, 20))
    quick = judge_first_order(boxes, INFLOW)
    exact = judge_drawn(boxes, INFLOW, samples=4000, seed=0)
    within = quick.verdict == WITHIN
    assert within.any()
    # three standard errors of a chance of 0.95 from 4000 draws
    assert exact.within_probability[within].min() >= 0.95 - 0.011


def test_where_nothing_at_all_is_allowed_a_dry_line_is_within():
    boxes = level_boxes(HOLES[:2], [1e-4], tolerance=1.0, lip=[0.0, 0.05])
    assert judge_first_order(boxes, INFLOW[:1]).verdict[0, 0] == WITHIN
    assert judge_drawn(boxes, INFLOW[:1], samples=50, seed=0).verdict[0, 0] == WITHIN


@pytest.mark.parametrize("count", range(1, 13))
def test_level_boxes_are_counted_where_their_share_is_the_target(count):
    boxes = level_boxes((HOLE,) * count, [1e-4] * 3)
    tally = Tally.of(judge_first_order(boxes, INFLOW), None)
    assert (tally.worst.sum(-1) == 3).all()
    assert (tally.worst_at(0.5) < 1.02).all()


def test_tallies_of_parts_add_up():
    boxes = some_boxes(HOLES, 40, 1e-3)
    judged = judge_first_order(boxes, INFLOW)
    work = work_at(boxes, judged, INFLOW, judge_first_order)
    whole = Tally.of(judged, work)
    assert whole.boxes == 40 == whole.work.sum()
    assert (whole.by_flow.sum(-1) == 40).all()
    assert (whole.worst.sum(-1) == 40).all()
    twice = whole + whole + Tally.empty(3, refused=2)
    assert twice.boxes == 80
    np.testing.assert_array_equal(twice.worst, 2 * whole.worst)
    assert twice.refused.tolist() == [2]
    # half of the boxes are at most as bad as the middle one, to the width of a bin
    middle = np.median(judged.worst_over_target, axis=1)
    capped = np.minimum(middle, EDGES[-2])
    np.testing.assert_allclose(whole.worst_at(0.5), capped, atol=1.5 * (EDGES[1] - EDGES[0]))


def test_one_flow_outside_makes_a_box_outside():
    judged = judge_first_order(some_boxes(HOLES, 60, 1e-3, 0.2e-3), INFLOW)
    for codes, all_flows in zip(judged.verdict.T.tolist(), overall(judged).tolist(), strict=True):
        wanted = WITHIN if {*codes} == {WITHIN} else OUTSIDE if OUTSIDE in codes else NEITHER
        assert all_flows == wanted


def test_a_jet_takes_verdicts_and_gives_none():
    """Two ways: by drawing and to first order; one that holds whichever outlet is struck."""
    calm = some_boxes(HOLES, 60, 1.2e-3, spread=0.15e-3)
    jet = np.outer([1e-5, 1e-3, 0.02], np.ones(60))
    jet[:, ::3] = 0.0
    for judge in (judge_drawn, judge_first_order):
        options = {"samples": SAMPLES, "seed": 0} if judge is judge_drawn else {}
        without = judge(calm, INFLOW, **options)
        unsaid = judge(replace(calm, jet=jet, straight=jet[2] < 0), INFLOW, **options)
        struck = judge(replace(calm, jet=jet, straight=jet[2] >= 0), INFLOW, **options)
        np.testing.assert_array_equal(struck.lip_verdict, without.verdict)
        np.testing.assert_array_equal(struck.share, without.share)
        # no verdict is turned into another one
        kept = struck.verdict == without.verdict
        assert np.all(kept | (struck.verdict == NEITHER))
        # nothing changes without a jet, or with one of a hundredth of a millimetre
        assert kept[:, ::3].all()
        assert kept[0].all()
        # at 20 mm of head no box with more than one line is within
        several = (calm.uncapped.sum(-1) > 1) & (jet[2] > 0)
        assert WITHIN in without.verdict[2, several]
        assert WITHIN not in struck.verdict[2, several]
        # where nobody said that it is straight only within is taken back
        np.testing.assert_array_equal(unsaid.verdict == OUTSIDE, without.verdict == OUTSIDE)
        np.testing.assert_array_equal(unsaid.verdict == WITHIN, struck.verdict == WITHIN)
        # one whose lips differ by far more is outside all the same
        assert OUTSIDE in struck.verdict[1, 1::3]


@pytest.mark.parametrize("openings", [HOLES, MIXED, HOLES[:1], (Slot(INCH), Slot(INCH, INCH))])
@pytest.mark.parametrize("tolerance", [None, 0.02, 1.0])
def test_chances_are_those_of_drawing_every_box_to_all_digits(openings, tolerance):
    """Against the plain way: every drawn box split, each share held against its tolerance."""
    boxes = some_boxes(openings, 12, 1.5e-3, spread=0.7e-3, seed=5)
    if tolerance is not None:
        boxes = replace(boxes, tolerance=np.full(12, tolerance))
    judged = judge_drawn(boxes, INFLOW, samples=SAMPLES, seed=2)
    drawn = boxes.lip[:, None] + boxes.error[:, None] * normal_points(SAMPLES, len(openings), 2)
    for case, inflow in enumerate(INFLOW):
        share = split(inflow, drawn, openings).share
        within, beyond = chances(share, boxes.target[:, None], boxes.tolerance[:, None, None])
        np.testing.assert_array_equal(judged.within_probability[case], within)
        np.testing.assert_array_equal(judged.verdict[case], verdict_codes(within, beyond))
