"""Shares with their bands, chances, targets and verdicts, and a weak flow against a strong one."""

from dataclasses import replace
from functools import cache
from math import sqrt

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import brentq

from dbox import Circle, DomainError, Notch, Slot, split
from dbox.arrays import GRAVITY
from dbox.fieldwork.levelling import lip_offsets
from dbox.fieldwork.readings import MOST_READINGS, reduce_readings
from dbox.fieldwork.shares import Assessment, assess, contrast, over_target, target_shares
from dbox.fieldwork.site import Box, Flow, Site, Target
from dbox.report.wording import sentences

from .sites import DOSE, HOLE, INCH, POUR, TRICKLE, arrays, box, same_bytes

SLOTS = [Slot(0.02, coefficient=0.6), Slot(0.03, coefficient=0.6), Slot(0.02, coefficient=0.6)]
DRAWS = 3000


def shares_by_hand(inflow: float, lips: list[float]) -> list[float]:
    """Q = C 2/3 sqrt(2 g) b h^1.5 for each slot, the level by bracketing."""

    def flows(level: float) -> list[float]:
        return [
            0.6 * 2 / 3 * sqrt(2 * GRAVITY) * slot.width * max(level - lip, 0.0) ** 1.5
            for slot, lip in zip(SLOTS, lips, strict=True)
        ]

    level = brentq(lambda y: sum(flows(y)) - inflow, min(lips), max(lips) + 0.5, xtol=1e-13)
    each = flows(level)
    return [q / sum(each) for q in each]


def slow_shares(site: Site, case: int, freedom: float) -> np.ndarray:
    """Shares of boxes that would give these readings, drawn at random and split one by one.

    A spread from few repeats is widened as Student's t is at 95 per cent.
    """
    rng = np.random.default_rng(1234)
    spread = reduce_readings(site).spread * stats.t.ppf(0.95, freedom) / stats.norm.ppf(0.95)
    shares = []
    for _ in range(DRAWS):
        lips = [rng.normal(np.mean(o.readings), spread / sqrt(len(o.readings)))
                for o in site.outlets]  # fmt: skip
        shares.append(shares_by_hand(site.flows[case].inflow, lips))
    return np.array(shares)


REPEATED = [(0.0, 0.003), (0.001, -0.002), (0.002, 0.0035)]


@pytest.mark.everyday(2)
@pytest.mark.parametrize("case", [0, 1])
@pytest.mark.parametrize(
    ("readings", "spread", "freedom"),
    [([0.0, 0.001, -0.0005], 0.0008, np.inf), ([0.0, REPEATED[1], 0.001], 0.002, np.inf),
     (REPEATED, None, 3)],
)  # fmt: skip
def test_bands_against_a_slow_monte_carlo(readings, spread, freedom, case):
    """3,000 draws against a fixed 4,000: four standard errors of a count are 0.016 at 5 %, 0.037
    at half; the fixed ones are as good as exact. The spread of REPEATED rests on three freedoms.
    """
    site = box(
        readings, openings=SLOTS, spread=spread, flows=[TRICKLE, POUR],
        target=Target(by="list", weights=(2.0, 3.0, 2.0)), tolerance=0.25,
    )  # fmt: skip
    result = assess(site)
    slow = slow_shares(site, case, freedom)
    for i in range(3):
        low, high = result.share_low[case, i], result.share_high[case, i]
        # many draws may share one value: a dry line has no share at all
        assert np.mean(slow[:, i] < low) <= 0.066
        assert np.mean(slow[:, i] <= low) >= 0.034
        assert np.mean(slow[:, i] > high) <= 0.066
        assert np.mean(slow[:, i] >= high) >= 0.034
    target = np.array([2, 3, 2]) / 7
    within = np.mean(np.all(np.abs(slow / target - 1) <= 0.25, axis=1))
    assert result.within_probability[case] == pytest.approx(within, abs=0.037)
    by_hand = shares_by_hand(site.flows[case].inflow, [float(np.mean(r)) for r in readings])
    np.testing.assert_allclose(result.result.share[case], by_hand, rtol=1e-8)


def test_without_reading_error_the_band_is_the_share():
    result = assess(box([0.0, 0.002, -0.001], spread=1e-12))
    np.testing.assert_allclose(result.share_low, result.result.share, rtol=1e-7)
    np.testing.assert_allclose(result.share_high, result.result.share, rtol=1e-7)
    assert set(result.within_probability) <= {0.0, 1.0}


def test_the_band_narrows_as_the_flow_grows():
    result = assess(box([0.0, 0.001, -0.001, 0.0], spread=0.001))
    width = (result.share_high - result.share_low).max(-1)
    assert width[0] > 2 * width[1] > 4 * width[2]


@given(
    st.lists(st.floats(-0.004, 0.004), min_size=2, max_size=6),
    st.floats(2e-5, 0.002),
    st.floats(0.02, 0.5),
)
def test_verdicts_agree_with_their_probability(readings, spread, tolerance):
    result = assess(box(readings, spread=spread, tolerance=tolerance), samples=500)
    for verdict, chance in zip(result.verdicts, result.within_probability, strict=True):
        assert (verdict == "within") == (chance >= 0.95)
        assert verdict != "outside" or chance <= 0.05
    worst = result.worst_over_target - 1
    sure = np.array([v == "within" for v in result.verdicts])
    assert np.all(worst[sure] <= tolerance)


@pytest.mark.parametrize("n", [2, 4, 12])
def test_lips_read_level_are_never_called_outside(n):
    """At a trickle nobody can prove equal shares with a ruler, nor unequal ones from equal
    readings: the answer is that it cannot be told."""
    for spread in (INCH / 16, INCH / 32, 0.0003):
        for tolerance in (0.05, 0.1, 0.2):
            site = box([0.001] * n, spread=spread, tolerance=tolerance)
            assert "outside" not in assess(site, samples=400).verdicts


def test_a_reading_far_off_is_outside_and_a_fine_one_within():
    low = assess(box([0.0, 0.0, 0.0, -INCH / 4], spread=INCH / 32))
    assert low.verdicts[0] == "outside"
    high = assess(box([0.0, 0.0, 0.0, INCH / 4], spread=INCH / 32))
    assert high.verdicts[0] == "outside"
    fine = assess(box([0.0, 0.0, 0.0, 0.0], spread=1e-5))
    assert fine.verdicts == ("within",) * 3


def test_a_trickle_cannot_be_told_where_a_dose_can():
    result = assess(box([0.0, 0.0005, -0.0005, 0.0], spread=INCH / 32, tolerance=0.15))
    assert result.verdicts[0] == "cannot tell"
    assert result.verdicts[2] == "within"


SOME_SITES = (20, pytest.param(60, marks=pytest.mark.slow))
SAMPLES = 1000
"""What settles a verdict settles it for the boxes that are drawn, however many."""


@cache
def undecided(count: int) -> list[tuple[Site, Assessment]]:
    """Drawn sites that cannot be told at their one flow."""
    rng, sites = np.random.default_rng(11), []
    while len(sites) < count:
        n = int(rng.integers(2, 7))
        site = box(
            list(rng.normal(0, 10 ** rng.uniform(-4.5, -2.5), n)),
            spread=10 ** rng.uniform(-4, -2.8),
            tolerance=rng.uniform(0.05, 0.4),
            flows=[Flow(name="some", inflow=10 ** rng.uniform(-5, -3))],
        )
        result = assess(site, samples=SAMPLES)
        if result.verdicts == ("cannot tell",):
            sites.append((site, result))
    return sites


@pytest.mark.parametrize("count", SOME_SITES)
def test_the_settling_spread_settles(count):
    """Read that well, with the same means, the verdict is given; read for half the work, it is not.

    Half the readings have a spread larger by the root of two.
    """
    settled = 0
    for site, result in undecided(count):
        (spread,) = result.settling_spread
        if np.isnan(spread):
            continue
        settled += 1
        assert spread < site.spread
        again = assess(replace(site, spread=float(spread)), samples=SAMPLES)
        assert again.verdicts != ("cannot tell",), again.within_probability
        coarser = assess(replace(site, spread=float(np.sqrt(2.0) * spread)), samples=SAMPLES)
        assert coarser.verdicts == ("cannot tell",), coarser.within_probability
    assert settled > count / 2


@pytest.mark.parametrize("count", SOME_SITES)
def test_the_settling_repeats_settle(count):
    """As many readings of every outlet, their means the same, at the spread stated."""
    tried = 0
    for site, result in undecided(count):
        (repeats,) = result.settling_repeats
        wanted = np.ceil((site.spread / result.settling_spread[0]) ** 2 - 1e-9)
        if not wanted <= 10:
            assert np.isnan(repeats), "ten readings to one mark are as good as more"
            continue
        tried += 1
        assert repeats == wanted > 1
        more = tuple(replace(o, readings=o.readings * int(repeats)) for o in site.outlets)
        again = assess(replace(site, outlets=more), samples=SAMPLES)
        assert again.verdicts != ("cannot tell",), again.within_probability
    assert count / 4 < tried < count


def test_no_more_readings_are_asked_for_than_one_mark_of_a_rule_bears_out():
    """Lips anywhere, read to the nearest 1/16 in with 0.2 mm of jitter, 1/32 in stated: how often
    is the lip in the 5 to 95 % band of its mean? (made-up readings, drawn plainly)"""
    rng, mark = np.random.default_rng(5), INCH / 16
    covered = {}
    for count in (1, MOST_READINGS, 2 * MOST_READINGS):
        lips = rng.uniform(0, mark, 20_000)
        seen = lips[:, None] + rng.normal(0, 0.0002, (lips.size, count))
        read = np.round(seen / mark) * mark
        error = reduce_readings(box([read[0].tolist()], spread=INCH / 32)).error[0]
        off = np.abs(read.mean(-1) - lips)
        covered[count] = float(np.mean(off <= stats.norm.isf(0.05) * error))
    assert covered[1] > 0.99
    assert covered[MOST_READINGS] > 0.8
    assert covered[2 * MOST_READINGS] < 0.7


def test_what_many_readings_would_have_to_tell_is_left_to_a_finer_rule():
    """Two level lips of 1/16 in spread at a trickle: by hand, bands of half the spread leave it
    open, so that more than 10 readings are asked for, and none is promised."""
    result = assess(box([0.0, 0.0], spread=INCH / 16, tolerance=0.05, flows=[TRICKLE]))
    assert result.verdicts == ("cannot tell",)
    assert (result.lips.spread / result.settling_spread[0]) ** 2 > 10
    assert np.isnan(result.settling_repeats[0])


def test_the_outlet_read_most_often_tells_how_many_readings_settle_it():
    """An error that is to shrink s times asks for s^2 times the readings that it comes from."""
    site = box([[0.0] * 3, 0.0], spread=INCH / 22, flows=[POUR])
    result = assess(site)
    assert result.verdicts == ("cannot tell",)
    shrinks = site.spread / result.settling_spread[0]
    assert 1 < 3 * shrinks**2 <= 10
    assert result.settling_repeats[0] == np.ceil(3 * shrinks**2 - 1e-9)


def test_a_settled_flow_keeps_its_spread():
    result = assess(box([0.0, 0.0, 0.0, 0.0], spread=1e-5))
    np.testing.assert_array_equal(result.settling_spread, 1e-5)
    np.testing.assert_array_equal(result.settling_repeats, 1)


def test_without_a_tolerance_there_is_no_probability():
    result = assess(box([0.0, 0.001], tolerance=None))
    assert result.tolerance is None
    assert np.isnan(result.within_probability).all()
    assert np.isnan(result.settling_spread).all()
    assert result.verdicts == ("cannot tell",) * 3


def test_summary_numbers_by_hand():
    site = box([0.0, 0.002, 0.0, 0.001], capped=[2], target=Target(by="list", weights=(1, 2, 9, 1)))
    result = assess(site, samples=100)
    share = split([f.inflow for f in site.flows], [0.0, 0.002, np.inf, 0.001], HOLE).share
    over = share[:, [0, 1, 3]] / [0.25, 0.5, 0.25]
    np.testing.assert_allclose(result.over_target[:, [0, 1, 3]], over, rtol=1e-9)
    np.testing.assert_array_equal(result.over_target[:, 2], 1)
    np.testing.assert_allclose(result.worst_over_target, over.max(1), rtol=1e-9)
    deviation = np.sqrt(((over - over.mean(1, keepdims=True)) ** 2).mean(1))
    np.testing.assert_allclose(result.cv, deviation / over.mean(1), rtol=1e-9)
    assert result.target.tolist() == [0.25, 0.5, 0, 0.25]


def test_a_capped_outlet_gets_nothing_for_sure():
    result = assess(box([0.0, 0.001, None], capped=[2]))
    for shares in (result.share_low, result.share_high, result.result.share):
        np.testing.assert_array_equal(shares[:, 2], 0)
    np.testing.assert_allclose(result.result.share.sum(1), 1, rtol=1e-14)


def test_the_rim_of_the_box_is_minded():
    burst = Flow(name="burst", inflow=0.05)
    result = assess(box([0.0, 0.001], flows=[burst], box=Box(rim=0.06)))
    assert result.result.level[0] == pytest.approx(0.06)
    assert result.result.overflow[0] > 0
    assert any("burst" in w and "overtops" in w for w in sentences(result.warnings))


def test_names_labels_and_warnings_come_along():
    result = assess(box([0.0, 0.001, 0.0, 0.0]), samples=100)
    assert result.names == ("trickle", "pour", "dose")
    assert result.labels == ("1", "2", "3", "4")
    assert any(w.startswith("trickle: heads of") for w in sentences(result.warnings))
    assert any("no spread stated" in w for w in sentences(result.warnings))


def test_same_seed_same_answer_to_the_last_bit():
    site = box([0.0, (0.001, 0.004, 0.002, 0.0035), -0.001])
    one, same, other = (assess(site, seed=seed, samples=200) for seed in (3, 3, 4))
    assert same_bytes(one, same)
    assert not same_bytes(one, other)


def test_read_only():
    for name, array in arrays(assess(box([0.0, 0.001]), samples=100)):
        assert not array.flags.writeable, name


def test_an_unmeasured_outlet_is_named():
    with pytest.raises(DomainError, match="no reading for open outlet 2, 3"):
        assess(box([0.0, None, None]))


def test_where_nothing_flows_no_share_is_made_up():
    result = assess(box([0.0, 0.001], flows=[Flow(name="none", inflow=0.0), DOSE]), samples=100)
    for shares in (result.result.share, result.share_low, result.share_high, result.over_target):
        np.testing.assert_array_equal(shares[0], 0)
    assert result.cv[1] > 0
    drowned = assess(box([0.01, 0.011], flows=[DOSE], box=Box(rim=0.005)), samples=100)
    np.testing.assert_array_equal(drowned.result.share, 0)
    assert drowned.cv.shape == (1,)


def lines(by: str, sizes: list[float | None], *, capped: list[int] | None = None) -> Site:
    site = box([0.0] * len(sizes), capped=capped or [], target=Target(by=by))
    outlets = [
        replace(o, **{f"line_{by}": size}) for o, size in zip(site.outlets, sizes, strict=True)
    ]
    return replace(site, outlets=tuple(outlets))


def listed(*weights: float, **site) -> Site:
    return box([0.0] * len(weights), target=Target(by="list", weights=weights), **site)


@given(st.integers(1, 20), st.integers(0, 19))
def test_equal_shares_of_the_open_outlets(n, last_capped):
    capped = list(range(1, min(n, last_capped)))
    shares = target_shares(box([0.0] * n, capped=capped))
    assert shares.sum() == pytest.approx(1, abs=1e-15)
    assert set(shares[capped]) <= {0.0}
    assert np.ptp(np.delete(shares, capped)) == 0


@pytest.mark.parametrize("by", ["length", "area"])
def test_in_proportion_to_the_lines(by):
    assert target_shares(lines(by, [30.0, 60.0, 10.0])).tolist() == [0.3, 0.6, 0.1]
    # a capped line needs no size, and its size counts for nothing
    assert target_shares(lines(by, [30.0, None, 10.0], capped=[1])).tolist() == [0.75, 0.0, 0.25]
    assert target_shares(lines(by, [30.0, 99.0, 10.0], capped=[1])).tolist() == [0.75, 0.0, 0.25]


def test_by_list():
    assert target_shares(listed(1, 2, 5)).tolist() == [0.125, 0.25, 0.625]
    assert target_shares(listed(1, 9, 3, capped=[1])).tolist() == [0.25, 0.0, 0.75]


@pytest.mark.parametrize("by", ["length", "area"])
def test_an_open_line_without_its_size_is_named(by):
    with pytest.raises(DomainError, match=f"outlet 2 has no line {by}"):
        target_shares(lines(by, [30.0, None, 10.0]))


@pytest.mark.parametrize(
    ("site", "message"),
    [
        (replace(listed(1, 2), target=Target(by="list", weights=(1.0,))), "1 weights for 2"),
        (listed(0, 0), "no open outlet has a target above 0"),
        (listed(0, 2, capped=[1]), "no open outlet has a target above 0"),
        (box([0.0, 0.0], capped=[0, 1]), "no open outlet has a target above 0"),
        (listed(-1, 3), "weight|target"),
        (listed(1, np.nan), "weight|target"),
        (listed(1, np.inf), "weight|target"),
    ],
)
def test_impossible_targets_are_refused(site, message):
    with pytest.raises(DomainError, match=message):
        target_shares(site)


def test_equal_lines_want_equal_lips():
    assert not lip_offsets(box([0.0, 0.01, -0.01]), 0).any()
    assert not lip_offsets(box([0.0, 0.01, -0.01], capped=[2]), 0).any()


def test_offsets_of_notches_from_their_own_law():
    """Q = k h^2.5, so each head is (q/k)^0.4 and the lip stands that much under the water."""
    angle, inflow = 1.2, 4e-4
    notch, flows = Notch(angle, coefficient=0.58), [Flow(name="dose", inflow=inflow)]
    site = listed(1, 2, 5, openings=notch, flows=flows)
    k = 0.58 * 8 / 15 * np.sqrt(2 * GRAVITY) * np.tan(angle / 2)
    heads = (np.array([0.125, 0.25, 0.625]) * inflow / k) ** 0.4
    np.testing.assert_allclose(lip_offsets(site, 0), heads.max() - heads, rtol=1e-10, atol=1e-16)


@given(st.lists(st.floats(0.2, 5), min_size=2, max_size=6), st.sampled_from([0, 1, 2]))
def test_lips_at_their_offsets_meet_the_targets_at_that_flow(weights, flow):
    kinds = [HOLE, Slot(0.03), Circle(0.04)]
    site = listed(*weights, openings=[kinds[i % 3] for i in range(len(weights))])
    offset = lip_offsets(site, flow)
    share = split(site.flows[flow].inflow, offset, [o.opening for o in site.outlets]).share
    np.testing.assert_allclose(share, target_shares(site), rtol=1e-9)
    assert offset.min() == 0


def test_a_line_of_weight_zero_has_its_lip_at_the_water():
    site = listed(1, 1, 0)
    head = float(split(POUR.inflow / 2, [0.0], HOLE).head[0])
    np.testing.assert_allclose(lip_offsets(site, 1), [0, 0, head], rtol=1e-12)


def test_unequal_holes_at_equal_targets_want_unequal_lips():
    site = box([0.0, 0.0], openings=[Circle(0.03, coefficient=0.6), HOLE], flows=[TRICKLE, DOSE])
    trickle, dose = lip_offsets(site, 0), lip_offsets(site, 1)
    assert trickle[0] == dose[0] == 0  # the small hole needs the most head
    assert 0 < trickle[1] < dose[1]


GPM = 231 * INCH**3 / 60


def contrast_of(*gpm: float, readings=(0.0, -0.003, 0.002, 0.0), **site):
    flows = [Flow(name=f"{q} gpm", inflow=q * GPM) for q in gpm]
    drawn = box(list(readings), flows=flows, **site)
    return contrast(drawn, reduce_readings(drawn))


@pytest.mark.parametrize(
    ("asked", "weak", "strong"),
    [
        ((3, 0.5, 25, 1), 0.5 * GPM, 25 * GPM),
        ((0.5, 4), 0.5 * GPM, 4 * GPM),  # eight times is contrast enough
        ((0.5,), 0.5 * GPM, 30 * GPM),
        ((0.5, 3.9), 0.5 * GPM, 30 * GPM),
        ((25,), 0.5 * GPM, 25 * GPM),
        ((10, 25), 0.5 * GPM, 25 * GPM),
    ],
)
def test_flows_too_much_alike_are_held_against_an_ordinary_one(asked, weak, strong):
    result = contrast_of(*asked)
    assert (result.weak.inflow, result.strong.inflow) == pytest.approx((weak, strong))


def test_shares_at_both_flows_and_who_is_favoured():
    result = contrast_of(0.5, 25)
    for share, gpm in ((result.weak_share, 0.5), (result.strong_share, 25)):
        by_hand = split(gpm * GPM, [0.0, -0.003, 0.002, 0.0], HOLE).share
        np.testing.assert_allclose(share, by_hand, rtol=1e-9)
        assert not share.flags.writeable
    assert (result.favoured, result.starved) == (1, 2)
    assert np.ptp(result.weak_share) > 5 * np.ptp(result.strong_share)


def test_favoured_is_told_over_each_lines_own_target():
    """The lowest lip feeds the longest line: it is the other low one that is favoured."""
    target = Target(by="list", weights=(1.0, 9.0, 1.0, 1.0))
    result = contrast_of(25, 200, readings=(-0.002, -0.003, 0.0, 0.0), target=target)
    assert result.favoured == 0
    assert result.starved == 1


def test_a_capped_outlet_is_neither_favoured_nor_starved():
    result = contrast_of(0.5, 25, readings=(-0.01, 0.0, 0.003, 0.001), capped=[0])
    assert result.weak_share[0] == 0
    assert (result.favoured, result.starved) == (1, 2)


def test_nothing_wanted_is_neither_over_nor_under():
    shares, target = np.array([[0.5, 0.5, 0.0]]), np.array([0.25, 0.75, 0.0])
    np.testing.assert_allclose(over_target(shares, target), [[2.0, 2 / 3, 1.0]])
    np.testing.assert_allclose(over_target(shares, target, without=0.0), [[2.0, 2 / 3, 0.0]])
