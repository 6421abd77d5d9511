"""The guided set-up on made-up boxes, beside plain practice: invented boxes, counted ends.

What is asked of it was written down before it was built; bounds are those of a lower 95 % bound
(Clopper and Pearson's, from scipy) of the counts.
"""

from functools import cache

import numpy as np
import pytest
from scipy.stats import binomtest

from .installer import INCH, guided, practised

SEEDS = (1, 2, 3)
BOXES = 200
"""Boxes for each seed."""


@cache
def ends(mark, repeats):
    return [
        guided(np.random.default_rng((seed, box)), mark * INCH, repeats)
        for seed in SEEDS
        for box in range(BOXES)
    ]


def at_least(hits):
    """Lower 95 % bound of the part that is true."""
    hits = np.asarray(hits)
    return binomtest(int(hits.sum()), hits.size, alternative="greater").proportion_ci(0.95).low


def mean(done, name):
    return np.mean([getattr(each, name) for each in done])


@pytest.mark.slow
def test_with_a_32nd_rule_most_boxes_end_within_2_mm():
    done = ends(1 / 32, 2)
    assert at_least([each.span <= 0.002 for each in done]) >= 0.86
    assert mean(done, "passes") <= 3.5
    assert mean(done, "turns") <= 7.0
    assert mean(done, "small") <= 0.02 * mean(done, "turns")
    assert np.mean([each.minutes(2) for each in done]) <= 60


@pytest.mark.slow
def test_with_a_64th_rule_nearly_all_end_within_2_mm():
    assert at_least([each.span <= 0.002 for each in ends(1 / 64, 2)]) >= 0.94


@pytest.mark.slow
def test_with_a_16th_rule_no_lip_is_left_far_off():
    done = ends(1 / 16, 1)
    assert np.mean([each.worst > INCH / 8 for each in done]) <= 0.02
    assert mean(done, "passes") <= 4.2


@pytest.mark.slow
def test_half_the_boxes_read_once_with_a_16th_rule_end_within_a_millimetre_and_a_half():
    assert np.mean([each.worst <= 0.0015 for each in ends(1 / 16, 1)]) >= 0.5


@pytest.mark.slow
@pytest.mark.parametrize("by_clock", [True, False])
@pytest.mark.parametrize("stop", [1 / 16, 3 / 32, 1 / 8])
def test_no_practice_is_as_good_for_less_work(stop, by_clock):
    plain = [
        practised(np.random.default_rng((seed, box)), INCH / 32, 2, stop * INCH, by_clock=by_clock)
        for seed in SEEDS
        for box in range(BOXES)
    ]
    ours = ends(1 / 32, 2)
    no_worse = mean(plain, "span") <= mean(ours, "span")
    assert not (no_worse and mean(plain, "passes") < mean(ours, "passes")
                and mean(plain, "turns") < mean(ours, "turns"))  # fmt: skip
    # held to the work of practice: as many passes at most
    most = int(mean(plain, "passes"))
    held = [
        guided(np.random.default_rng((1, box)), INCH / 32, 2, most=most) for box in range(BOXES)
    ]
    assert mean(held, "passes") <= mean(plain, "passes")
    assert mean(held, "turns") <= mean(plain, "turns")
    good = [np.mean([each.span <= 0.002 for each in done]) for done in (held, plain)]
    assert good[0] >= good[1] + 0.1


@pytest.mark.everyday(1)
@pytest.mark.parametrize(("mark", "repeats"), [(1 / 32, 2), (1 / 64, 2)])
def test_a_few_boxes_end_well(mark, repeats):
    done = [guided(np.random.default_rng((1, box)), mark * INCH, repeats) for box in range(12)]
    assert np.mean([each.span <= 0.002 for each in done]) >= 0.75
    assert {each.outcome for each in done} <= {"level", "ruler"}
    assert max(each.passes for each in done) <= 8


@pytest.mark.slow
@pytest.mark.parametrize(("mark", "repeats"), [(1 / 32, 2), (1 / 16, 1), (1 / 64, 2)])
def test_a_level_box_is_seldom_told_to_turn_anything(mark, repeats):
    """In the first pass, and in a whole job with its fillings read again."""
    done = [
        guided(np.random.default_rng((seed, box)), mark * INCH, repeats, level=True, most=most)
        for seed, most in ((7, 1), (8, None))
        for box in range(300)
    ]
    told = [each.turns > 0 or each.outcome == "stopped" for each in done]
    assert np.mean(told) <= 0.06
