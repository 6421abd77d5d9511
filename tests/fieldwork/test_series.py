"""Boxes in series: shares multiply, bands come from drawing both, a surge runs through both."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dbox import Circle, Notch, assess, split, surge
from dbox.errors import DomainError
from dbox.fieldwork.series import through
from dbox.fieldwork.site import Box, Works
from dbox.fieldwork.surge import run
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.parts import SupplyPipe
from tests.fieldwork.sites import HOLE, LITRE_PER_MINUTE, box

MM = 1e-3
FIRST, NEXT = (0.0, 2 * MM, 1 * MM, 0.5 * MM), (1 * MM, 0.0, 0.4 * MM)
INSIDE = Box(inside=(0.4, 0.5))
SPREAD = 0.8 * MM


def pair(fed=2, first=FIRST, behind=NEXT, **site):
    """A box of four lines, one of whose outlets feeds a box of three."""
    site = {"spread": SPREAD, "box": INSIDE, **site}
    last = box(behind, openings=Notch(np.pi / 2), **site)
    whole = box(first, **site)
    outlets = [replace(o, feeds=last if i == fed else None) for i, o in enumerate(whole.outlets)]
    return replace(whole, outlets=tuple(outlets))


def products(site, fed, lips, lips_behind):
    """Shares by hand: of the first box, and of the next one split at what its outlet gives it.

    lips [m] (..., n) of each box -> [-] (flows, ..., lines).
    """
    inflow = np.array([flow.inflow for flow in site.flows])
    inflow = inflow.reshape(-1, *[1] * (np.ndim(lips) - 1))
    first = split(inflow, lips, HOLE)
    last = split(first.share[..., fed] * inflow, lips_behind, Notch(np.pi / 2))
    parts = [first.share[..., i, None] for i in range(4)]
    parts[fed] = first.share[..., fed, None] * last.share
    return np.concatenate(parts, axis=-1)


def test_shares_are_the_products_of_two_splits():
    """Exact: the second box is split at the flow that the outlet before it gives."""
    found = through(pair(), samples=100)
    assert found.labels == ("1", "2", "3/1", "3/2", "3/3", "4")
    assert np.abs(found.share - products(pair(), 2, FIRST, NEXT)).max() < 1e-9
    assert found.share.sum(-1) == pytest.approx(1.0, abs=1e-12)
    assert found.target == pytest.approx([1 / 4, 1 / 4, 1 / 12, 1 / 12, 1 / 12, 1 / 4])


def test_what_spills_over_the_first_rim_never_comes_to_the_next_box():
    """Exact: the second box is split at what its outlet passes, less than a share of all."""
    site = pair(box=Box(inside=(0.4, 0.5), rim=0.012))
    inflow = site.flows[2].inflow
    first = split(inflow, FIRST, HOLE, rim=0.012)
    assert first.overflow > 0.5 * inflow
    last = split(first.flow[2], NEXT, Notch(np.pi / 2), rim=0.012)
    found = through(site, samples=100).share[2]
    assert found[2:5] == pytest.approx(first.share[2] * last.share, abs=1e-9)


def test_bands_come_from_drawing_both_boxes_apart():
    """Two ways: against plain draws of every lip of both boxes, 8,000 of them."""
    rng = np.random.default_rng(1)
    drawn = products(pair(), 2, FIRST + SPREAD * rng.standard_normal((8000, 4)),
                     NEXT + SPREAD * rng.standard_normal((8000, 3)))  # fmt: skip
    wanted = np.percentile(drawn, (5, 95), axis=1)
    found = through(pair(), samples=2000)
    assert np.abs(found.share_low - wanted[0]).max() < 0.008
    assert np.abs(found.share_high - wanted[1]).max() < 0.008


def test_the_first_box_alone_is_told_as_ever():
    """Exact: what feeds another box is an outlet like any other there."""
    alone = box(FIRST, spread=SPREAD, box=INSIDE)
    chained = assess(pair(), samples=200).to_dict()
    first, line = chained["cases"][0]["outlets"][0], chained["cases"][0]["lines"][0]
    assert [line[key] for key in ("share", "share_low", "share_high")] == pytest.approx(
        [first[key] for key in ("share", "share_low", "share_high")]
    )
    assert all(len(case.pop("lines")) == 6 for case in chained["cases"])
    assert chained["cases"] == assess(alone, samples=200).to_dict()["cases"]
    assert through(alone) is None


def test_a_row_of_three_boxes_and_a_capped_one():
    """Exact: level boxes of two share by halves; nothing comes behind a capped outlet."""
    last = box((0.0, 0.0), flows=())
    second = box((0.0, 0.0), capped=(0,), flows=())
    second = replace(second, outlets=(replace(second.outlets[0], feeds=last), second.outlets[1]))
    third = replace(last, outlets=(last.outlets[0], replace(last.outlets[1], feeds=last)))
    first = box((0.0, 0.0, 0.0))
    feeds = (second, third, None)
    outlets = [replace(o, feeds=f) for o, f in zip(first.outlets, feeds, strict=True)]
    found = through(replace(first, outlets=tuple(outlets)), samples=100)
    assert found.labels == ("1/1/1", "1/1/2", "1/2", "2/1", "2/2/1", "2/2/2", "3")
    assert found.share[0] == pytest.approx([0, 0, 1 / 3, 1 / 6, 1 / 12, 1 / 12, 1 / 3])


def test_what_is_wrong_with_a_box_behind_names_it():
    site = pair(behind=(0.0, None, 0.0))
    with pytest.raises(DomainError, match="box behind outlet 3: no reading for open outlet 2"):
        assess(site, samples=100)
    bare = replace(site.outlets[2].feeds, box=Box())
    outlets = (*site.outlets[:2], replace(site.outlets[2], feeds=bare), site.outlets[3])
    with pytest.raises(DomainError, match="box behind outlet 3: "):
        surge(replace(site, outlets=outlets), dose="10 gal at 5 gpm")
    weak = assess(pair(), samples=100).to_dict()["warnings"]
    assert any(each.startswith("box behind outlet 3: trickle: heads of") for each in weak)


RATE, SECONDS = 6 * LITRE_PER_MINUTE, 300.0


def plain_run(until):
    """Both boxes as four ordinary equations: two levels, and what came to each line. [m3]"""
    one, other, area = HOLE, Notch(np.pi / 2), 0.2

    def change(time, state):
        flow = one.discharge(state[0] - np.array(FIRST))
        behind = other.discharge(state[1] - np.array(NEXT))
        came = RATE if time < SECONDS else 0.0
        levels = (came - flow.sum()) / area, (flow[2] - behind.sum()) / area
        return np.concatenate([levels, flow, behind])

    state = np.zeros(9)
    for span in ((0.0, SECONDS), (SECONDS, until)):
        state = solve_ivp(change, span, state, rtol=1e-8, atol=1e-10).y[:, -1]
    return state[2:6], state[6:]


def test_a_surge_runs_through_both_boxes():
    """Two ways: against scipy's solver on the equations of both boxes together."""
    until = SECONDS + 1800.0
    found = run(pair(), steady(RATE, SECONDS), seconds=until)
    first, behind = plain_run(until)
    ((outlet, last),) = found.behind
    assert outlet == 2
    assert found.surge.volume[-1] == pytest.approx(first, rel=5e-4)
    assert last.surge.volume[-1] == pytest.approx(behind, rel=2e-3)
    lines = found.lines
    assert list(lines) == ["1", "2", "3/1", "3/2", "3/3", "4"]
    stood = 0.2 * sum(float(each.level[-1] - each.level[0]) for each in found.runs)
    assert sum(lines.values()) + stood == pytest.approx(RATE * SECONDS, rel=1e-9)
    assert max(each.balance_error for each in found.runs) < 1e-9


def test_what_one_box_lets_out_comes_to_the_next_one_late():
    """Exact: as late as the header takes, and no drop of it is lost."""
    header = SupplyPipe(length=12.0, diameter=0.1, fall=0.01)
    site = replace(pair(), works=Works(headers=(None, None, header, None)))
    found = run(site, steady(RATE, SECONDS), seconds=3600.0)
    ((_, last),) = found.behind
    late = found.surge.system.delays[2]
    assert late == pytest.approx(header.delay(RATE / 4))
    assert last.surge.event.begin[0] == pytest.approx(late)
    passed = np.interp(3600.0 - late, found.surge.time, found.surge.volume[:, 2])
    assert last.surge.inflow_volume == pytest.approx(passed, rel=1e-9)


def test_a_long_steady_flow_shares_as_the_split_does():
    """Two ways: levels that have come to rest, against the split at that flow."""
    site = pair(flows=pair().flows[1:2])
    rate = site.flows[0].inflow
    found = run(site, steady(rate, 4 * 3600.0))
    assert found.line_shares == pytest.approx(through(site, samples=100).share[0], abs=1e-3)


@pytest.mark.slow
def test_days_of_the_house_lose_no_water_between_the_boxes():
    """Exact: over three days, from the house to every line."""
    site = replace(pair(), works=Works(people=4))
    found = surge(site, days=3).result
    stood = 0.2 * sum(float(each.level[-1] - each.level[0]) for each in found.runs)
    came = found.surge.inflow_volume
    assert sum(found.lines.values()) + stood == pytest.approx(came, rel=1e-9)


def test_level_boxes_of_any_openings_share_equally():
    """Exact: 1/4 of the first and 1/3 of that behind it, at every flow."""
    site = pair(first=(0.0,) * 4, behind=(0.0,) * 3)
    share = through(site, samples=100).share
    assert share == pytest.approx(np.tile([1 / 4, 1 / 4, *[1 / 12] * 3, 1 / 4], (3, 1)))
    assert isinstance(site.outlets[0].opening, Circle)
