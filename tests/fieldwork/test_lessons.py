"""Sweeps, comparisons and benches say what single splits of the same boxes say."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq

from dbox import Circle, DomainError, Notch, PipeEnd, Slot, split
from dbox.fieldwork.lessons import (
    LESSON_FLOWS,
    SIDES,
    Bench,
    Kind,
    choose,
    compare,
    exercise,
    leaning_lips,
    lesson_site,
    lip_table,
    sweep,
)
from dbox.fieldwork.levelling import level
from dbox.fieldwork.site import Box, Flow, Outlet, Site, Target, Tolerance
from dbox.units import INCH, LITRE_PER_MINUTE

PRACTICE = {
    1: (0.12, 35, 47, 70, 100, 0),
    4: (0.24, 30, 35, 46, 69, 9),
    20: (0.54, 27, 29, 34, 43, 17),
    120: (1.44, 26, 26, 28, 31, 22),
}
"""How much an error matters: 4 outlets, 2 in holes, one lip wrong. Total flow [L/min], head [in],
share [%] of that line with its lip 1/32, 1/16, 1/8, 1/4 in low and 1/8 in high. Computed apart from
this code, from the ideal thin-plate integral with C = 0.6; the author's own table."""


@pytest.mark.parametrize("litres", PRACTICE)
def test_published_how_much_an_error_matters(litres):
    flow = Flow(name="", inflow=litres * LITRE_PER_MINUTE)
    table = lip_table(Circle(2 * INCH, coefficient=0.6), 4, [flow])
    head, *shares = PRACTICE[litres]
    assert table.level_head[0] / INCH == pytest.approx(head, abs=0.006)
    assert 100 * table.share[0] == pytest.approx(shares, abs=0.55)
    assert table.fair == 0.25


def plane(site: Site, far: float, right: float) -> list[float]:
    """Lips of a leaning box, written out: a fall from wall to wall over its own span."""
    length, width = site.box.inside
    return [
        np.inf if o.capped else far * (0.5 - o.position[0] / length)
        + right * (0.5 - o.position[1] / width)
        for o in site.outlets
    ]  # fmt: skip


def boxes() -> list[Site]:
    """Boxes of several sorts; invented."""
    six = lesson_site(6, Notch(np.pi / 2))
    mixed = tuple(
        Outlet(label=o.label, opening=hole, position=o.position, capped=i == 2)
        for i, (o, hole) in enumerate(
            zip(lesson_site(5).outlets, (Circle(0.05), Slot(0.02), Circle(0.05), PipeEnd(0.1),
                                         Circle(0.04)), strict=True))
    )  # fmt: skip
    odd = Site(box=Box(inside=(0.5, 0.3)), outlets=mixed, flows=LESSON_FLOWS)
    return [lesson_site(), six, odd]


@pytest.mark.everyday(2)
@pytest.mark.parametrize("site", boxes())
@pytest.mark.parametrize("toward", SIDES)
def test_a_sweep_is_single_splits(site, toward):
    swept = sweep(site, toward=toward, most=0.3 * INCH, steps=7, grid=5)
    openings = [o.opening for o in site.outlets]
    far, right = SIDES[toward]
    for i, flow in enumerate(site.flows):
        for k, lean in enumerate(swept.tilt):
            one = split(flow.inflow, plane(site, far * lean, right * lean), openings)
            assert swept.share[i, k] == pytest.approx(one.share, abs=1e-9)
        for a, low_far in enumerate(swept.low):
            for b, low_right in enumerate(swept.low):
                one = split(flow.inflow, plane(site, low_far, low_right), openings)
                assert swept.map_share[i, a, b] == pytest.approx(one.share, abs=1e-9)


def test_the_worst_line_is_the_one_that_gets_most_for_its_target():
    swept = sweep(lesson_site(), toward="right", most=0.2 * INCH, steps=5)
    assert swept.over_target[:, 0] == pytest.approx(1.0, abs=1e-9)
    assert (swept.worst[:, 1:] == 3).all()
    assert swept.over_target == pytest.approx(4 * swept.share.max(-1), rel=1e-12)
    assert swept.equal_targets
    assert swept.scale == 0.25


def test_unequal_targets_are_shown_over_target():
    outlets = tuple(
        Outlet(label=o.label, opening=o.opening, position=o.position, line_length=10.0 + 2 * i)
        for i, o in enumerate(lesson_site(3).outlets)
    )
    wanted = Target(by="length")
    site = Site(box=lesson_site().box, outlets=outlets, flows=LESSON_FLOWS, target=wanted)
    swept = sweep(site, steps=3, grid=3)
    assert not swept.equal_targets
    assert swept.scale == 1.0
    assert swept.over_target[0, 0] == pytest.approx((1 / 3) / (10 / 36))
    assert (swept.limit == 0.0).all()


def test_the_limit_is_where_a_line_leaves_the_tolerance():
    site = lesson_site(4, tolerance=Tolerance(share=0.2))
    swept = sweep(site, most=0.5 * INCH)
    hole = site.outlets[0].opening

    def beyond(lean: float, inflow: float) -> float:
        share = split(inflow, plane(site, 0.0, lean), hole).share
        return float(np.abs(4 * share - 1).max() - 0.2)

    step = swept.tilt[1]
    for flow, limit in zip(site.flows, swept.limit, strict=True):
        if np.isinf(limit):
            assert beyond(0.5 * INCH, flow.inflow) <= 0
        else:
            exact = brentq(beyond, 0.0, 0.5 * INCH, args=(flow.inflow,))
            assert limit == pytest.approx(exact, abs=0.1 * step)
    assert np.isfinite(swept.limit[:3]).all()


def test_a_mirrored_lean_gives_mirrored_shares():
    left, right = (sweep(lesson_site(), toward=side, steps=5, grid=3) for side in ("left", "right"))
    assert left.share == pytest.approx(right.share[..., ::-1], abs=1e-9)


@given(far=st.floats(-0.02, 0.02), right=st.floats(-0.02, 0.02), n=st.integers(2, 20))
def test_a_lean_is_a_plane_through_the_middle(far, right, n):
    site = lesson_site(n)
    lips = leaning_lips(site, far, right)
    assert lips == pytest.approx(plane(site, far, right), abs=1e-15)


def test_a_box_that_was_not_measured_leans_over_its_outlets():
    places = [(0.0, 0.1), (0.4, 0.1), (0.2, 0.5)]
    outlets = tuple(Outlet(label=str(p), opening=Circle(0.05), position=p) for p in places)
    site = Site(outlets=outlets, flows=LESSON_FLOWS)
    assert leaning_lips(site, 0.004, 0.0) == pytest.approx([0.002, -0.002, 0.0])
    assert leaning_lips(site, 0.0, 0.004) == pytest.approx([0.002, 0.002, -0.002])
    round_box = Site(box=Box(shape="round", inside=(0.4,)), outlets=outlets, flows=LESSON_FLOWS)
    assert leaning_lips(round_box, 0.004, 0.0)[0] == pytest.approx(0.002)


def test_what_cannot_be_swept_is_refused():
    lost = Site(outlets=(Outlet(label="A", opening=Circle(0.05)),), flows=LESSON_FLOWS)
    with pytest.raises(DomainError, match="no position of outlet A is given"):
        sweep(lost)
    with pytest.raises(DomainError, match="leans to far, inlet, right, left"):
        sweep(lesson_site(), toward="up")
    with pytest.raises(DomainError, match="above 0"):
        sweep(lesson_site(), most=0.0)
    with pytest.raises(DomainError, match="2 to 20"):
        lesson_site(21)


@pytest.mark.parametrize("error", [-INCH / 8, INCH / 16])
def test_a_comparison_is_single_splits(error):
    compared = compare(error=error)
    for k, kind in enumerate(compared.kinds):
        for i, flow in enumerate(compared.flows):
            one = split(flow.inflow, [0.0, error, 0.0, 0.0], kind.opening)
            assert compared.share[k, i] == pytest.approx(one.share[1], abs=1e-9)
            level = 4 * kind.opening.discharge(compared.head[k, i])
            assert level == pytest.approx(flow.inflow, rel=1e-9)
    assert compared.drop == pytest.approx(compared.head[:, -1])


def test_the_most_forgiving_comes_first():
    compared = compare()
    off = np.abs(compared.share[compared.order, 0] - 0.25)
    assert (np.diff(off) >= 0).all()
    # at a trickle a notch stands much higher than anything round, so it comes first
    assert compared.kinds[compared.order[0]].name == "V-notch"
    with pytest.raises(DomainError, match="no opening"):
        compare([])
    exact = compare([Kind("a slot", Slot(0.02, coefficient=0.6))], flows=LESSON_FLOWS[2:])
    assert exact.notes == ()


def test_what_is_caught_adds_up_to_what_is_poured():
    lesson = exercise(Circle(2 * INCH, coefficient=0.6), 5)
    poured = np.array([flow.inflow for flow in lesson.table.flows]) * lesson.seconds
    assert lesson.caught[:, 0] + 4 * lesson.caught[:, 1] == pytest.approx(poured, rel=1e-12)


@pytest.mark.parametrize(("outlet", "n"), [(4, 4), (-1, 4), (0, 21)])
def test_a_bench_has_its_outlet_and_not_too_many(outlet, n):
    with pytest.raises(DomainError):
        Bench(site=lesson_site(n), outlet=outlet)


CHOICE = [Kind("hole", Circle(0.05)), Kind("notch", Notch(np.pi / 3)), Kind("slot", Slot(0.025))]
WEAK, STRONG = 2 * LITRE_PER_MINUTE, 110 * LITRE_PER_MINUTE
TWO_FLOWS = (Flow(name="dose", inflow=STRONG), Flow(name="day", inflow=WEAK))


def plain_shares(opening, inflow, lips):
    """Level by a root search, and what each lip passes over all."""
    lips = np.asarray(lips)
    root = brentq(lambda y: opening.discharge(y - lips).sum() - inflow, lips.min(), 2.0, xtol=1e-14)
    return root, opening.discharge(root - lips) / inflow


def test_a_choice_tells_what_plain_root_searches_find():
    """Two ways: water over the lips at both flows, and the most that one lip off moves a share."""
    site, spread = lesson_site(4, flows=TWO_FLOWS, tolerance=Tolerance(share=0.2)), INCH / 16
    found = choose(site, CHOICE, spread)
    assert [flow.name for flow in found.flows] == ["day", "dose"]
    for k, kind in enumerate(CHOICE):
        heads = [plain_shares(kind.opening, q, np.zeros(4))[0] for q in (WEAK, STRONG)]
        assert found.head[k] == pytest.approx(heads, rel=1e-9)
        moved = [
            np.abs(plain_shares(kind.opening, WEAK, [off, 0, 0, 0])[1] / 0.25 - 1).max()
            for off in (spread, -spread)
        ]
        assert found.error[k] == pytest.approx(max(moved), rel=1e-7)


def test_a_side_settles_till_the_first_line_is_outside():
    """Two ways: against a side let down by a twentieth of a millimetre after another."""
    site = lesson_site(5, flows=TWO_FLOWS, tolerance=Tolerance(share=0.2))
    found = choose(site, CHOICE, INCH / 16)
    for k, kind in enumerate(CHOICE):
        first = []
        for far, right in SIDES.values():
            for sunk in np.arange(0.0, 0.01, 5e-5):
                lips = leaning_lips(site, far * sunk, right * sunk)
                if np.abs(plain_shares(kind.opening, WEAK, lips)[1] / 0.2 - 1).max() > 0.2:
                    first.append(sunk)
                    break
        assert min(first) - 5e-5 <= found.settles[k] <= min(first)
    assert np.isnan(choose(Site(outlets=site.outlets, flows=TWO_FLOWS), CHOICE, 1e-3).settles).all()
    lengths = [replace(o, line_length=length) for o, length in
               zip(site.outlets, (10, 10, 20, 20, 20), strict=True)]  # fmt: skip
    unequal = replace(site, outlets=tuple(lengths), target=Target(by="length"))
    assert choose(unequal, CHOICE, 1e-3).settles.tolist() == [0.0] * 3
    easy = replace(site, tolerance=Tolerance(share=1.0), flows=(Flow(name="q", inflow=0.9),))
    assert choose(easy, [Kind("slot", Slot(0.05))], 1e-3).settles[0] == np.inf


def test_inserts_cure_pipes_that_differ_by_twice_their_offset():
    """Two ways: by the levelling, which lets a miss of a millimetre pass, 2 mm on either side."""
    offset = 0.012
    site = lesson_site(4, Circle(0.05), flows=TWO_FLOWS)
    outlets = tuple(replace(o, hole_offset=offset) for o in site.outlets)
    turning = replace(site, outlets=outlets, spread=1e-4)
    (cures, notch, _) = choose(turning, CHOICE, 1e-3).cures
    assert np.isnan(notch)
    assert np.isnan(choose(site, CHOICE, 1e-3).cures).all()
    for over, verdict in ((-2e-3, "adjust"), (2e-3, "re-bed")):
        # holes at 3:00 stand at the middle of their pipes
        heights = (0.0, 0.0, cures + over, 0.0)
        outlets = [
            replace(o, clock=np.pi / 2, readings=(h,))
            for o, h in zip(turning.outlets, heights, strict=True)
        ]
        assert level(replace(turning, outlets=tuple(outlets)), samples=100).verdict == verdict
    mixed = replace(turning, outlets=(site.outlets[0], *turning.outlets[1:]))
    assert np.isnan(choose(mixed, CHOICE, 1e-3).cures).all()
