"""Shares of a box that fills from rest, dry lips holding water back: told, and deciding nothing."""

from dataclasses import fields, replace

import numpy as np
import pytest

from dbox import Circle, split
from dbox.fieldwork.diagnosis.diagnose import diagnose
from dbox.fieldwork.levelling import level
from dbox.fieldwork.readings import measured_lips
from dbox.fieldwork.shares import assess
from dbox.fieldwork.site import DEFAULT_HOLD_BACK, Box, Flow
from dbox.fieldwork.surge import run
from dbox.hydraulics.surge.inflow import steady
from dbox.report.diagnose_report import diagnosis_json
from dbox.report.split_report import split_json
from dbox.report.wording import sentences

from .sites import DOSE, INCH, LITRE_PER_MINUTE, POUR, SIDES, TRICKLE, box, same_bytes

FIVE = box(
    [0.0, -0.003, 0.0004, 0.0015, -0.0005],
    openings=Circle(0.045, coefficient=0.6),
    spread=0.0004,
    flows=[Flow(name="trickle", inflow=LITRE_PER_MINUTE), POUR, DOSE],
)
RISING = ("share_rising_low", "share_rising_high")


def dry(warnings):
    return [said for said in sentences(warnings) if "dry lips hold water back" in said]


def told(site, **options):
    return dry(assess(site, **options).warnings)


def test_five_holes_at_three_millimetres():
    """61 to 100 %, middle 77, at 1 L/min (computed apart, set by set, lips drawn within 0.4 mm)."""
    found = assess(replace(FIVE, hold_back=(0.003, 0.003)))
    assert found.share_rising_low[0, 1] == pytest.approx(0.61, abs=0.015)
    assert found.share_rising_high[0, 1] == pytest.approx(1.0, abs=0.005)
    middle = split(FIVE.flows[0].inflow, found.lips.height, found.result.openings,
                   hold_back=0.003, rising=True).share  # fmt: skip
    assert middle[1] == pytest.approx(0.77, abs=0.005)


@pytest.mark.slow
def test_the_range_is_that_of_boxes_drawn_and_filled_one_by_one():
    """Two ways: hold-back and lips drawn anew at random, each box split alone."""
    rng, found = np.random.default_rng(7), assess(FIVE)
    lips, shares = measured_lips(FIVE), []
    for _ in range(3000):
        drawn = rng.normal(lips.height, lips.error)
        hold = rng.uniform(*DEFAULT_HOLD_BACK)
        shares.append(split(FIVE.flows[0].inflow, drawn, found.result.openings,
                            hold_back=hold, rising=True).share)  # fmt: skip
    for name, per_cent in zip(RISING, (5, 95), strict=True):
        expected = np.percentile(shares, per_cent, axis=0)
        assert getattr(found, name)[0] == pytest.approx(expected, abs=0.02), name


@pytest.mark.parametrize("flow", [POUR, DOSE], ids=lambda flow: flow.name)
@pytest.mark.parametrize(
    "lips",
    [[0.0, 0.003, 0.0, 0.003], [0.003, 0.0, 0.001], [0.0, 0.0, 0.003, 0.002, 0.001, 0.0]],
    ids=len,
)
def test_lips_within_3_mm_show_none_at_a_bucket_or_a_dose(lips, flow):
    site = box(lips, flows=[flow], spread=0.0008)
    found = assess(site)
    assert found.share_rising_low == pytest.approx(found.share_low, abs=0.005)
    assert found.share_rising_high == pytest.approx(found.share_high, abs=0.005)
    assert told(site) == []


def test_it_changes_no_verdict_and_no_other_number():
    none, held = (assess(replace(FIVE, hold_back=h)) for h in ((0.0, 0.0), (0.0, 0.02)))
    for each in fields(none):
        if each.name not in (*RISING, "warnings"):
            one, other = getattr(none, each.name), getattr(held, each.name)
            if isinstance(one, np.ndarray):
                assert np.array_equal(one, other, equal_nan=True), each.name
            elif each.name not in ("lips", "result"):
                assert one == other, each.name
    assert not np.array_equal(none.share_rising_high, held.share_rising_high)


def test_switched_off_the_range_is_the_band():
    site = replace(FIVE, hold_back=(0.0, 0.0))
    found = assess(site)
    assert np.array_equal(found.share_rising_low, found.share_low)
    assert np.array_equal(found.share_rising_high, found.share_high)
    assert told(site) == []


@pytest.mark.everyday(2)
@pytest.mark.parametrize("spread", [0.0002, 0.0008, 0.0016])
@pytest.mark.parametrize("off", [0.0, 0.0001])
def test_a_level_box_is_told_nothing(spread, off):
    for inflow in (0.5, 1.0, 2.0, 4.0, 20.0):
        flow = Flow(name="trickle", inflow=inflow * LITRE_PER_MINUTE)
        assert told(box([0.0, off, 0.0, off], spread=spread, flows=[flow])) == []


def test_one_sentence_for_the_outlet_that_gains_and_only_where_it_does():
    low, high = (getattr(assess(FIVE), name)[0, 1] for name in RISING)
    assert told(FIVE) == [
        f"trickle: outlet 2 gets 65 %, or {100 * low:.0f} to {100 * high:.0f} % while dry lips "
        "hold water back; verdict and advice are for lips that are all wet, as after a surge"
    ]


def test_json_holds_the_range_of_every_outlet_at_every_flow():
    found = assess(FIVE)
    for case, said in enumerate(split_json(FIVE, found)["cases"]):
        for name in RISING:
            assert [o[name] for o in said["outlets"]] == getattr(found, name)[case].tolist()


def test_the_same_seed_draws_the_same():
    assert same_bytes(assess(FIVE, seed=3), assess(FIVE, seed=3))
    one, other = (assess(FIVE, seed=seed).share_rising_low for seed in (3, 4))
    assert not np.array_equal(one, other)


def test_a_capped_outlet_takes_no_part():
    site = box([0.0, 0.0, 0.004], capped=[1], spread=0.0004, flows=[TRICKLE])
    found = assess(site)
    assert found.share_rising_high[:, 1].tolist() == [0.0]
    alone = assess(box([0.0, 0.004], spread=0.0004, flows=[TRICKLE]))
    assert found.share_rising_high[0, [0, 2]] == pytest.approx(alone.share_rising_high[0], abs=0.03)


IN_A_BOX = Box(inside=(16 * INCH, 20 * INCH), inlet="tee")


def test_a_surge_says_the_range_of_a_lines_share_where_it_differs():
    site, event = replace(FIVE, box=IN_A_BOX), steady(LITRE_PER_MINUTE, 300.0)
    found = run(site, event)
    assert dry(found.warnings) == [
        f"outlet 2 gets {100 * found.surge.share[1]:.0f} % of this run, or "
        f"{100 * found.rising[0, 1]:.0f} to {100 * found.rising[1, 1]:.0f} % while dry lips hold "
        "water back; all else here is for lips that are all wet"
    ]
    assert found.rising[1, 1] > found.surge.share[1] + 0.2
    assert dry(run(replace(site, hold_back=(0.0, 0.0)), event).warnings) == []
    assert dry(run(site, steady(DOSE.inflow, 60.0)).warnings) == []


@pytest.mark.everyday(1)
@pytest.mark.parametrize("off", [0.0, 0.0003])
def test_a_level_box_is_never_condemned_for_what_dry_lips_do(off):
    """Not in shares, advice, a surge or a diagnosis: no word of it, and the same verdicts."""
    site = box([0.0, off, 0.0, off], spread=0.0008, positions=SIDES, clocks=np.pi / 2,
               flows=[TRICKLE], box=IN_A_BOX)  # fmt: skip
    without = replace(site, hold_back=(0.0, 0.0))
    assert assess(site).verdicts == assess(without).verdicts
    assert level(site).verdict == level(without).verdict == "nothing to do"
    surge = run(site, steady(TRICKLE.inflow, 300.0))
    for found in (assess(site), level(site), level(site).after, surge, diagnose(site, draws=60)):
        assert dry(found.warnings) == []


@pytest.mark.slow
def test_a_diagnosis_says_it_of_a_lip_that_was_read_low_and_ranks_nothing_by_it():
    found, without = (
        diagnose(replace(FIVE, hold_back=hold), draws=100) for hold in ((0.001, 0.004), (0.0, 0.0))
    )
    assert [a.probability for a in found.answers] == [a.probability for a in without.answers]
    over, none = found.overload, without.overload
    assert np.array_equal(over.share, none.share)
    assert np.array_equal(none.share_rising_high, none.share_high)
    assert over.share_rising_high[1] > over.share_high[1] + 0.05
    (said,) = dry(found.warnings)
    assert said.startswith(f"outlet 2 gets {100 * over.share[1]:.0f} % of an ordinary day")
    assert dry(without.warnings) == []
    outlets = diagnosis_json(found)["overload"]["outlets"]
    for name in RISING:
        assert [o[name] for o in outlets] == getattr(over, name).tolist()
