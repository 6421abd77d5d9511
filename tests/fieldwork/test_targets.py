"""Targets by length, area and list, and the lip offsets that meet unequal ones at one flow."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import Circle, DomainError, Notch, Slot, split
from dbox.arrays import GRAVITY
from dbox.fieldwork.levelling import lip_offsets
from dbox.fieldwork.shares import target_shares
from dbox.fieldwork.site import Flow, Site, Target

from .sites import DOSE, HOLE, POUR, TRICKLE, box


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
