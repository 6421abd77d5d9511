"""Two visits held against each other: against closed forms, general libraries and made-up boxes."""

from collections import Counter

import numpy as np
import pytest
from scipy import stats

from dbox import split
from dbox.fieldwork.estimate import Estimate
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.recheck import FALSE_ALARM, SEEN, Standing, movement, share_change
from dbox.fieldwork.setup import Closed, Left, Read, Settled, Still, begin, replay
from dbox.fieldwork.site import Site
from tests.fieldwork.sites import HOLE, INCH, box

NEAR_CORNERS = tuple((x * INCH, y * INCH) for x, y in ((2, 0), (14, 0), (14, 20), (2, 20)))
SIZE = np.array([16, 20]) * INCH
RULE = {"spread": 0.0004, "mark": 0.0005}
"""A fine rule with a good eye. [m] (judgement)"""
FAR_RIGHT = 2
"""The outlet at the corner that settles."""


def standing(site: Site) -> Standing:
    lips = reduce_readings(site)
    return Standing(site=site, lips=Estimate(height=lips.height, covariance=lips.covariance))


def read(lips, rng, places=NEAR_CORNERS, repeats=3, **rule) -> Standing:
    """Read lips [m] over water that stands at the lowest: the eye errs, then the mark rounds."""
    rule = {**RULE, **rule}
    seen = lips - lips.min() + rng.normal(0.0, rule["spread"], (repeats, lips.size))
    seen = np.round(seen / rule["mark"]) * rule["mark"]
    return standing(box([tuple(each) for each in seen.T], positions=places, **rule))


def exact(lips, places=NEAR_CORNERS, **more) -> Standing:
    return standing(box([float(each) for each in lips], positions=places, spread=0.0005, **more))


def leaned(lips, lowest: float, places=NEAR_CORNERS):
    """The lips of a stiff box of which one corner goes down and the one across it stays. [m]"""
    part = np.array(places) / SIZE
    return lips - lowest * part.mean(-1)


def named(found) -> str:
    return " ".join([found.verdict, *(found.labels[i] for i in found.outlets_named)])


def calls(moves, draws: int, **rule) -> Counter:
    """What made-up boxes, whose lips move as `moves` says, are said to have done."""
    rng, told = np.random.default_rng(5), Counter()
    for _ in range(draws):
        lips = rng.normal(0.0, 0.001, 4)
        told[named(movement(read(lips, rng, **rule), read(moves(lips), rng, **rule)))] += 1
    return told


DRAWS = pytest.mark.parametrize("draws", [40, pytest.param(200, marks=pytest.mark.slow)])


@DRAWS
def test_a_corner_that_settled_is_a_box_that_leaned(draws):
    """3 mm, read with a fine rule."""
    told = calls(lambda lips: leaned(lips, 0.003), draws)
    assert told["box"] > 0.5 * draws
    # a wrong name is rarer than none
    assert sum(n for name, n in told.items() if name.startswith("outlet")) <= 0.1 * draws


@DRAWS
def test_an_insert_that_dropped_is_named(draws):
    """4 mm."""
    told = calls(lambda lips: lips - 0.004 * (np.arange(4) == FAR_RIGHT), draws)
    assert told["outlet 3"] > 0.9 * draws


@DRAWS
def test_a_box_that_stood_still_is_hardly_ever_said_to_have_moved(draws):
    """5 % asked for, and what so few draws may stray by: binomial, 99.9 %."""
    told = calls(lambda lips: lips, draws)
    assert draws - told["cannot tell"] <= stats.binom.ppf(0.999, draws, FALSE_ALARM)


@pytest.mark.slow
@pytest.mark.parametrize("rule", [{}, {"spread": INCH / 32, "mark": INCH / 16, "repeats": 1}])
def test_it_is_so_in_six_of_a_hundred_at_most(rule):
    told = calls(lambda lips: lips, 3000, **rule)
    assert 3000 - told["cannot tell"] <= 0.06 * 3000


@pytest.mark.slow
def test_the_least_lean_and_move_are_found_nine_times_in_ten():
    """They are of one test each, so both tests together find no fewer."""
    rng, still = np.random.default_rng(1), np.zeros(4)
    found = movement(read(still, rng), read(still, rng))
    for size, moves in (
        (found.least_move, lambda lips, d: lips - d * (np.arange(4) == 1)),
        # in this box a lean along the diagonal is over the outlets what it is over the corners
        (found.least_lean, lambda lips, d: leaned(lips, d * _corner_part())),
    ):
        told = calls(lambda lips, size=size, moves=moves: moves(lips, size), 200)
        assert 200 - told["cannot tell"] >= stats.binom.ppf(0.001, 200, SEEN)


def _corner_part() -> float:
    """A lean at the corner over the same between the outlets that it moves apart most."""
    part = (np.array(NEAR_CORNERS) / SIZE).mean(-1)
    return 1.0 / float(np.ptp(part))


@pytest.mark.parametrize("places", [NEAR_CORNERS, (*NEAR_CORNERS, (16 * INCH, 10 * INCH))])
def test_a_plane_is_parted_as_least_squares_part_it(places):
    """The same fit written down with the unknown water beside the slopes (any textbook)."""
    rng, n = np.random.default_rng(3), len(places)
    old, new = rng.normal(0, 0.002, (2, n))
    found = movement(exact(old, places), exact(new, places))
    design = np.column_stack([np.ones(n), np.array(places)])
    variance = 2 * 0.0005**2
    root = np.linalg.inv(design.T @ design)
    fit = root @ design.T @ (new - old)
    assert found.slope == pytest.approx(fit[1:])
    assert found.slope_error == pytest.approx(np.sqrt(variance * np.diag(root))[1:])
    left = np.eye(n) - design @ root @ design.T
    assert found.own == pytest.approx(left @ (new - old))
    assert found.own_error == pytest.approx(np.sqrt(variance * np.diag(left)))
    assert found.moved == pytest.approx((new - new.mean()) - (old - old.mean()))
    # one against the mean of all others
    against = (new - old) - (np.sum(new - old) - (new - old)) / (n - 1)
    assert found.alone == pytest.approx(against)
    error = np.sqrt(variance * (1 + 1 / (n - 1)))
    assert found.alone_error == pytest.approx(np.full(n, error))
    # chances by a general library: half the alarm for the box, half for all outlets
    plane = (found.box**2).sum() / variance
    single = ((against / error) ** 2).max()
    chance = 2 * min(stats.chi2.sf(plane, 2), n * stats.chi2.sf(single, 1))
    assert found.chance == pytest.approx(min(1.0, chance))
    # how far the lean moved its lowest and its highest outlet apart
    middle = np.array(places) - np.mean(places, axis=0)
    apart = middle[found.box.argmax()] - middle[found.box.argmin()]
    assert found.lean == pytest.approx(apart @ fit[1:])
    assert found.lean_error == pytest.approx(np.sqrt(variance * apart @ root[1:, 1:] @ apart))
    # the least that would be seen, whichever way the box leans
    ways = [np.array([np.cos(a), np.sin(a)]) for a in np.linspace(0.0, np.pi, 721)]
    told = [np.sum((middle @ way) ** 2) / np.ptp(middle @ way) ** 2 / variance for way in ways]
    limit = stats.chi2.isf(FALSE_ALARM / 2, 2)
    assert stats.ncx2.sf(limit, 2, found.least_lean**2 * min(told)) == pytest.approx(SEEN, abs=0.01)
    limit = stats.chi2.isf(FALSE_ALARM / 2 / n, 1)
    assert stats.ncx2.sf(limit, 1, (found.least_move / error) ** 2) == pytest.approx(SEEN)


def test_what_moved_all_alike_is_not_seen():
    lips = np.array([0.0, 0.001, 0.002, 0.0])
    found = movement(exact(lips), exact(lips + 0.02))
    assert found.moved == pytest.approx(np.zeros(4), abs=1e-12)
    assert found.verdict == "cannot tell"


@pytest.mark.parametrize(
    "places", [NEAR_CORNERS[:3], None, tuple((0.4, 0.1) for _ in range(4))],
    ids=["three", "no places", "one place"],
)  # fmt: skip
def test_where_a_plane_fits_everything_nothing_is_named(places):
    n = 3 if places == NEAR_CORNERS[:3] else 4
    old = np.zeros(n)
    found = movement(exact(old, places), exact(old - 0.01 * (np.arange(n) == 0), places))
    assert found.verdict == "cannot part"
    assert found.outlets_named == ()


def test_two_inserts_that_moved_are_no_box_that_leaned():
    """A plane leaves what they moved (rise at 2, fall at 4) to no other outlet."""
    places, moved = (*NEAR_CORNERS, (16 * INCH, 10 * INCH)), np.array([0.0, 1.0, 0.0, 1.0, 0.0])
    for sign in (1.0, -1.0):
        moves = 0.006 * moved * np.array([1.0, 1.0, 1.0, sign, 1.0])
        found = movement(exact(np.zeros(5), places), exact(moves, places))
        assert named(found) == "outlet 2 4"


def test_outlets_in_one_line_show_a_lean_along_it():
    wall = tuple((16 * INCH, y * INCH) for y in (2, 7, 13, 18))
    old = np.zeros(4)
    found = movement(exact(old, wall), exact(old - 0.3 * INCH * np.arange(4) / 3, wall))
    assert (found.verdict, found.toward) == ("box", "4")


def test_only_what_was_read_at_both_visits_is_compared():
    old = exact(np.zeros(4), capped=[1])
    found = movement(old, exact(np.array([0.0, 0.0, 0.0, 0.001])))
    assert found.labels == ("1", "3", "4")
    assert movement(exact(np.zeros(4), capped=[1, 2, 3]), old) is None


def test_shares_before_and_after_are_those_of_two_splits():
    old, new = np.array([0.0, 0.001, 0.002, 0.0]), np.array([0.001, 0.0, 0.002, 0.004])
    before, now = exact(old), exact(new, capped=[1])
    found = share_change(before, now, samples=4000)
    inflow = [flow.inflow for flow in now.site.flows]
    shut = np.where(np.arange(4) == 1, np.inf, new)
    assert found.before == pytest.approx(split(inflow, old, HOLE).share, abs=1e-9)
    assert found.after == pytest.approx(split(inflow, shut, HOLE).share, abs=1e-9)
    assert found.capped.tolist() == [[False] * 4, [False, True, False, False]]
    # the band, by drawing both boxes anew
    rng, count = np.random.default_rng(2), 20_000
    drawn = [lips + rng.normal(0.0, 0.0005, (count, 4)) for lips in (old, shut)]
    one, other = (split(inflow[0], lips, HOLE).share for lips in drawn)
    wanted = np.percentile(other - one, [5, 95], axis=0)
    assert np.stack([found.low[0], found.high[0]]) == pytest.approx(wanted, abs=0.005)


def test_a_carried_lip_ties_a_new_one_to_all_others():
    """By hand: the new lip stands over an old one as far as it was read over the tie, and the tie
    over it; errors add up."""
    old = np.array([0.0, 0.001, 0.003])
    before = exact(old, None, capped=[])
    site = box([None, None, None, None], spread=0.0005)
    tie, new = 0.0002, 0.0042
    known = before.carried_to(site).read(
        np.array([tie, np.nan, np.nan, new]), np.full(4, 0.0005**2)
    )
    assert known.height[3] - known.height[0] == pytest.approx(new - tie, abs=5e-6)
    assert known.height[3] - known.height[2] == pytest.approx(new - tie - 0.003, abs=5e-6)
    apart = np.array([0.0, 0.0, -1.0, 1.0])
    # readings of the new lip and of the tie, and of the tie and the third lip before
    assert apart @ known.covariance @ apart == pytest.approx(4 * 0.0005**2, rel=1e-3)


def test_shares_of_carried_lips_change_only_by_what_is_new():
    """By drawing plainly: the old lips once, and the new one over the tie as it was read."""
    error, old = 0.0005, np.array([0.0, 0.001, 0.003])
    before = exact(old, None)
    site = box([None, None, None, None], spread=error, capped=[1])
    known = before.carried_to(site).read(
        np.array([0.0, np.nan, np.nan, 0.002]), np.full(4, error**2)
    )
    now = Standing(site=site, lips=known)
    found = share_change(before, now, samples=4000, carried=True)
    rng, count = np.random.default_rng(4), 20_000
    lips = old + rng.normal(0.0, error, (count, 3))
    new = lips[:, :1] + 0.002 + rng.normal(0.0, np.sqrt(2) * error, (count, 1))
    shut = np.full((count, 1), np.inf)
    inflow = site.flows[0].inflow
    one = split(inflow, lips, HOLE).share
    other = split(inflow, np.concatenate([lips[:, :1], shut, lips[:, 2:], new], -1), HOLE).share
    wanted = np.percentile((other[:, :3] - one), [5, 95], axis=0)
    assert np.stack([found.low[0], found.high[0]])[:, :3] == pytest.approx(wanted, abs=0.007)
    assert np.isnan(found.low[0, 3])


def test_what_was_left_elsewhere_at_the_end_is_where_it_was_left():
    site = box([None] * 3, clocks=0.0, spread=0.0005)
    read_all = [
        each for i in range(3) for each in (Read(outlet=i, heights=(0.0,)), Settled(outlet=i))
    ]
    events = [Still(method="ruler"), *read_all, Left(outlet=1, angle=1.0), Closed()]
    left = replay(begin(site), events).left.lips.height
    assert left[1] - left[0] == pytest.approx(0.5 * INCH * (1.0 - np.cos(1.0)))


def test_water_stands_at_the_next_lip_once_the_lowest_is_capped():
    before = exact(np.array([0.0, 0.001, 0.003]), None)
    site = box([None, None, None], capped=[0], spread=0.0005)
    assert before.carried_to(site).height == pytest.approx([np.inf, 0.0, 0.002])
