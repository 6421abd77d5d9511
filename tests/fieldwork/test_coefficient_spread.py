"""A coefficient that is not known well at low heads: what it does to shares, and what it cannot."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from dbox import Circle, Notch, PipeEnd
from dbox.fieldwork.shares import assess
from dbox.fieldwork.site import Flow
from dbox.files.scenario import loads

from .sites import DOSE, HOLE, LITRE_PER_MINUTE, TRICKLE, box, same_bytes

UNLIKE = (HOLE, HOLE, Circle(0.03), Notch(np.pi / 2))
SURE_OF_LIPS = 1e-6


def widths(site):
    found = assess(site)
    return found.share_high - found.share_low


def doubted(site, spread=0.1):
    return replace(site, coefficient_spread=spread)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("opening", [HOLE, Notch(np.pi / 2), PipeEnd(0.1)])
def test_among_equal_holes_at_equal_heads_it_cancels(opening):
    """Exact: one factor on every flow is one factor on their sum."""
    site = box([0.002] * 4, openings=opening, spread=SURE_OF_LIPS)
    for name in ("share_low", "share_high", "share_rising_low", "share_rising_high"):
        assert getattr(assess(doubted(site)), name) == pytest.approx(
            getattr(assess(site), name), abs=1e-4
        )


def plain_shares(site, inflow, spread, count):
    """Boxes drawn and split one by one, the factor put on each flow before the level is sought."""
    rng, shares = np.random.default_rng(3), []
    openings = [o.opening for o in site.outlets]
    lips = np.array([o.readings[0] for o in site.outlets])
    for _ in range(count):
        normal = {kind: rng.standard_normal() for kind in openings}

        def flows(level, normal=normal):
            heads = np.maximum(level - lips, 0.0)
            off = [normal[kind] * spread * 2.0 / (1.0 + h / 0.005)
                   for kind, h in zip(openings, heads, strict=True)]  # fmt: skip
            each = [float(o.discharge(h)) for o, h in zip(openings, heads, strict=True)]
            return np.array(each) * np.exp(off)

        level = brentq(lambda y: flows(y).sum() - inflow, min(lips), max(lips) + 0.3, xtol=1e-12)
        shares.append(flows(level) / inflow)
    return np.array(shares)


@pytest.mark.slow
@pytest.mark.parametrize(
    "site",
    [
        box([0.0] * 4, openings=UNLIKE, spread=SURE_OF_LIPS),
        box([0.0, 0.003, 0.001, 0.006], spread=SURE_OF_LIPS),
    ],
    ids=["unlike holes", "unlike heads"],
)
def test_the_band_is_that_of_boxes_with_coefficients_of_their_own(site):
    site = doubted(replace(site, flows=(TRICKLE,)), 0.08)
    expected = np.percentile(plain_shares(site, TRICKLE.inflow, 0.08, 1500), (5, 95), axis=0)
    found = assess(site)
    assert found.share_low[0] == pytest.approx(expected[0], abs=0.006)
    assert found.share_high[0] == pytest.approx(expected[1], abs=0.006)


def test_it_widens_between_unlike_holes_and_fades_with_head():
    flows = [Flow(name=str(q), inflow=q * LITRE_PER_MINUTE) for q in (2, 20, 200)]
    site = box([0.0] * 4, openings=UNLIKE, spread=SURE_OF_LIPS, flows=flows)
    wider = widths(doubted(site)) - widths(site)
    assert wider[0].max() > 0.03
    assert wider[0].max() > wider[1].max() > wider[2].max() > 0


def test_unlike_heads_are_widened_less_than_unlike_holes():
    heads = box([0.0, 0.003, 0.0, 0.003], spread=SURE_OF_LIPS, flows=[TRICKLE, DOSE])
    holes = box([0.0] * 4, openings=UNLIKE, spread=SURE_OF_LIPS, flows=[TRICKLE, DOSE])
    by_head, by_hole = (widths(doubted(s))[0].max() for s in (heads, holes))
    assert 0.003 < by_head < 0.5 * by_hole


def test_none_is_typed_where_none_is_taken():
    site = box([0.0, 0.003, 0.001, 0.0], openings=UNLIKE)
    assert same_bytes(assess(site), assess(doubted(site, 0.0)))
    text = 'insert = {kind = "notch", angle = "90 deg"}\n[[outlet]]\n[readings]\n'
    assert loads(text).coefficient_spread == 0.0
    assert loads(text + 'coefficient_spread = "5 %"').coefficient_spread == pytest.approx(0.05)


def test_what_runs_over_the_rim_is_no_share():
    site = doubted(box([0.0] * 4, openings=UNLIKE, flows=[DOSE]))
    found = assess(replace(site, box=replace(site.box, rim=0.004)))
    assert found.share_high.sum() > 1 > found.share_low.sum()
    assert np.all(np.isfinite(found.share_high))
