"""A weak flow held against a strong one: which two are taken, and whom the weak one favours."""

import numpy as np
import pytest

from dbox import split
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.shares import contrast, over_target
from dbox.fieldwork.site import Flow, Target

from .sites import HOLE, INCH, box

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
