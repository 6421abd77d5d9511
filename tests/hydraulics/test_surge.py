"""The fast scheme against scipy, exact symmetries, and thousands of drawn systems."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings

from dbox import Circle, Notch, split
from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import (
    Inflow,
    Siphon,
    household_day,
    measured,
    pulses,
    steady,
    to_inflow,
)
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.stepper import surge
from dbox.units import DAY
from tests.hydraulics.plain_surge import plain_surge
from tests.hydraulics.surges import assert_physical, box_alone, inflows, powers, systems

INCH, FOOT = 0.0254, 0.3048
GALLON = 231 * INCH**3
LIPS = np.array([0, 1 / 8, 1 / 16, 0, 1 / 32, 1 / 16]) * INCH
SHARES = 1e-4


def family(*, ponding: float = 0.0, acceptance: float = 0.45, n: int = 6, **parts) -> System:
    """Six trenches behind a tank, the box off level."""
    trench = Trench(
        length=60 * FOOT, width=3 * FOOT, depth=0.6, pipe_height=0.25,
        acceptance=acceptance * GALLON / DAY / FOOT**2,
    )  # fmt: skip
    system = System(
        area=16 * 20 * INCH**2, lips=LIPS.copy(), openings=(Circle(2 * INCH),) * n, rim=6 * INCH,
        rim_length=72 * INCH, tank=Tank(area=3.7, outlet=0.1022604),
        supply=SupplyPipe(length=9.0, diameter=0.1022604, fall=1 / 96), delays=np.zeros(n),
        trenches=(replace(trench, ponding=ponding),) * n, bottoms=LIPS - 0.03 - 0.25,
    )  # fmt: skip
    return replace(system, **parts)


def assert_two_ways(system: System, event: Inflow, seconds: float, shares: float = SHARES) -> None:
    plain = plain_surge(system, event, seconds, method="LSODA", rtol=1e-7, atol=1e-11)
    fast = surge(system, event, seconds=seconds)
    assert np.abs(fast.share - plain.share).max() < shares
    assert fast.volume[-1].sum() == pytest.approx(plain.volume.sum(), rel=5e-3)
    if system.trenches[0]:
        assert fast.depth[-1] == pytest.approx(plain.depth, rel=5e-3, abs=2e-5)
    assert_physical(fast)


def test_a_morning_through_tank_box_and_trenches() -> None:
    uses = [("toilet", 0.0), ("shower", 300.0), ("sink", 1500.0), ("washer", 2400.0)]
    assert_two_ways(family(), to_inflow(uses), 2 * 3600.0)


@pytest.mark.parametrize(
    "event",
    [
        steady(3e-4, 240.0),
        steady(1.9e-3, 120.0, entry="supply"),
        Siphon(area=1.5, diameter=0.05, high=0.45, low=0.15).dose(),
        measured([0, 60, 120, 300, 400], [0, 4e-4, 1e-4, 9e-4, 0]),
        pulses([0.0, 40.0], [90.0, 30.0], [5e-4, 1.5e-3]),
    ],
    ids=["bucket", "dose", "siphon", "measured", "pulses"],
)
def test_single_events(event: Inflow) -> None:
    assert_two_ways(family(), event, 1500.0)


@pytest.mark.slow
def test_one_drowned_outlet() -> None:
    """A trench standing 2 mm over its lip takes less and rises as it fills."""
    drowned = family(acceptance=0.1)
    ponded = replace(drowned.trenches[0], ponding=0.282)
    drowned = replace(drowned, trenches=(ponded, *drowned.trenches[1:]))
    assert_two_ways(drowned, steady(1.5e-3, 200.0), 900.0)
    assert_two_ways(drowned, to_inflow([("shower", 0.0), ("toilet", 900.0)]), 3600.0, 2e-4)


@pytest.mark.slow
def test_all_drowned() -> None:
    """Box and trenches stand level and rise together: micrometres decide; see `box_pool`."""
    level = family(acceptance=0.1, ponding=0.284)
    assert_two_ways(level, to_inflow([("shower", 0.0), ("toilet", 900.0)]), 3600.0, 1e-3)


def test_a_jet() -> None:
    pipe = family().supply
    assert pipe is not None
    jet = Jet(
        pipe=pipe,
        distance=np.array([0.2, 0.4, 0.4, 0.4, 0.4, 0.2]),
        offset=np.array([0.25, 0.15, 0.03, 0.03, 0.15, 0.25]),
        facing=np.array([0.0, 1, 1, 1, 1, 0]),
    )
    system = family(jet=jet, lips=np.zeros(6))
    for event in (steady(3e-4, 120.0), steady(1.9e-3, 120.0, entry="supply")):
        assert_two_ways(system, event, 600.0)


def test_a_steady_box_splits_as_split_does() -> None:
    """Once nothing changes, the flows are those of `split`."""
    system = box_alone(LIPS, (Circle(2 * INCH),) * 6)
    for inflow in (1e-5, 3e-4, 2e-3):
        run = surge(system, steady(inflow), seconds=20_000.0)
        wanted = split(inflow, LIPS, Circle(2 * INCH))
        assert run.flow[-1] == pytest.approx(wanted.flow, rel=2e-4, abs=1e-9)
        assert run.level[-1] == pytest.approx(float(wanted.level), rel=1e-4)


def test_a_smaller_change_a_step_changes_little() -> None:
    """The error falls with the square: to half the change belongs a quarter of the rest."""
    event = to_inflow(household_day(4, 0))
    runs = [surge(family(), event, seconds=DAY, max_change=v).share for v in (0.1, 0.02)]
    assert np.abs(runs[0] - runs[1]).max() < SHARES


def test_level_lips_share_equally() -> None:
    system = family(lips=np.zeros(6), bottoms=np.full(6, -0.28))
    run = surge(system, to_inflow(household_day(3, 1)), seconds=DAY)
    assert run.share == pytest.approx(np.full(6, 1 / 6), abs=1e-12)


ORDER = np.array([3, 0, 5, 1, 4, 2])


@pytest.mark.parametrize(
    ("parts", "order"),
    [
        ({"lips": LIPS[ORDER], "bottoms": LIPS[ORDER] - 0.28}, ORDER),
        ({"lips": LIPS + 0.1, "bottoms": LIPS - 0.18, "rim": 0.1 + 6 * INCH}, np.arange(6)),
        ({"delays": np.full(6, 90.0)}, np.arange(6)),
    ],
    ids=["outlets in another order", "all heights raised", "delays"],
)
def test_what_changes_no_share(parts, order) -> None:
    """Exact: symmetries of the equations."""
    event = to_inflow([("washer", 0.0)])
    run, same = (surge(system, event, seconds=4000.0) for system in (family(), family(**parts)))
    assert same.share == pytest.approx(run.share[order], abs=1e-9)
    assert same.balance_error < 1e-12


def test_what_the_outlets_cannot_take_goes_over_the_rim() -> None:
    box = box_alone([0.0] * 2, (Circle(0.02),) * 2, rim=0.05)
    run = surge(box, steady(0.01, 60.0), seconds=600.0)
    assert run.spilled[-1] > 0.5
    assert run.spilled[-1] + run.volume[-1].sum() == pytest.approx(0.6, rel=1e-3)
    # over a rim 1 m long 0.01 m3/s stand about 3 cm high
    assert 0.05 < run.peak_level < 0.10


def test_a_capped_outlet_gets_nothing() -> None:
    box = box_alone([0.0, np.inf, 0.0], (Circle(0.05),) * 3)
    run = surge(box, steady(3e-4, 60.0), seconds=600.0)
    assert run.share.tolist() == [0.5, 0.0, 0.5]
    assert np.isnan(run.first_flow[1])


def test_first_flow_is_when_the_box_has_risen_to_the_lip() -> None:
    """Exact: with the other outlet capped by height, area times rise over inflow."""
    box = box_alone([0.05, 0.0], (Circle(0.05), Circle(0.001)))
    run = surge(box, steady(2e-4, 120.0), seconds=200.0, max_change=0.02)
    lost = run.volume[np.searchsorted(run.time, run.first_flow[0]), 1]
    assert run.first_flow[0] == pytest.approx((0.2 * 0.05 + lost) / 2e-4, rel=0.02)


def test_settling_moves_shares_toward_the_side_that_sinks() -> None:
    flat = family(lips=np.zeros(6), bottoms=np.full(6, -0.28))
    event = to_inflow([("washer", 0.0), ("shower", 5000.0)])
    sinks = np.array([0.0, 0, 0, 1, 1, 1]) * -0.004 / DAY
    run = surge(flat, event, seconds=DAY, settling=sinks)
    assert run.share[3] > 1 / 6 > run.share[0]
    assert run.lips_end == pytest.approx(sinks * 0.5 * DAY)


def test_long_runs_keep_fewer_rows_and_the_same_volumes() -> None:
    event = to_inflow([("washer", 0.0), ("shower", 30_000.0)])
    whole = surge(family(), event, seconds=3 * DAY, record=0.0)
    kept = surge(family(), event, seconds=3 * DAY)
    assert kept.time.size < whole.time.size == whole.steps + 1
    assert kept.volume[-1].tolist() == whole.volume[-1].tolist()
    assert kept.peak_flow.tolist() == whole.flow.max(0).tolist()
    assert kept.time[-1] == 3 * DAY


def tight(n: int = 1, **parts) -> System:
    """Lines whose trenches hold 0.6 m3 to their pipes, 1.2 m3 in all, and lose next to nothing."""
    trench = Trench(length=10.0, width=0.5, depth=0.4, pipe_height=0.2, voids=0.6, acceptance=1e-15)
    box = System(
        area=0.2, lips=np.zeros(n), openings=(Circle(0.05, coefficient=0.6),) * n,
        delays=np.zeros(n), trenches=(trench,) * n, bottoms=np.full(n, -0.3),
    )  # fmt: skip
    return replace(box, **parts)


def test_when_a_trench_is_full_to_its_pipe() -> None:
    """What came by then fills the trench to its pipe and the box to the level of that flow."""
    inflow, box = 2e-4, tight()
    level = float(split(inflow, [0.0], Circle(0.05, coefficient=0.6)).level)
    found = surge(box, steady(inflow), seconds=7200.0)
    assert found.time_full[0] == pytest.approx((0.6 + 0.2 * level) / inflow, rel=1e-5)


def test_what_surfaces_is_what_the_trenches_cannot_hold() -> None:
    """Three trenches of 1.2 m3 get 6 m3 in a box that is no store to speak of."""
    found = surge(tight(3, area=1e-3), pulses([0.0], [3000.0], [2e-3]), seconds=7200.0)
    assert found.surfaced[-1] == pytest.approx(2.0 - 1.2, rel=1e-4)
    assert found.depth[-1] == pytest.approx(0.4)
    assert found.balance_error <= 1e-9


def test_trenches_at_their_brim_take_what_is_wet_and_the_rest_surfaces() -> None:
    """Exact: two trenches below the box, full from the start, in steps up to half an hour long.

    Each takes its bottom, 5 m2, and its walls, 21 m by 0.4 m, at 1e-5 m/s: 1.34e-4 m3/s.
    """
    full = replace(tight().trenches[0], acceptance=1e-5, ponding=0.4)
    system = tight(2, trenches=(full, full), bottoms=np.full(2, -0.5))
    found = surge(system, steady(4e-4), seconds=6 * 3600.0)
    kept = 0.2 * float(split(4e-4, np.zeros(2), Circle(0.05, coefficient=0.6)).level)
    went = found.volume[-1].sum()
    assert went == pytest.approx(4e-4 * 6 * 3600.0 - kept, rel=1e-6)
    # until the box has filled they fall below their brims and fill again: by less than 1 litre
    assert found.surfaced[-1].sum() == pytest.approx(went - 2 * 1.34e-4 * 6 * 3600.0, abs=1e-3)


@pytest.mark.parametrize("delay", [0.0, 60.0])
def test_a_trench_that_surfaces_stands_at_its_brim(delay: float) -> None:
    """However much is under way to it: the box then stands where the split says, 0.1 m outside."""
    inflow, hole = 2e-4, Circle(0.05, coefficient=0.6)
    found = surge(tight(delays=np.full(1, delay)), steady(inflow), seconds=4 * 3600.0)
    level = split(inflow, [0.0], hole, tailwater=[0.1]).level
    assert found.surfaced[-1, 0] > 1.0
    assert found.level[-1] - 0.1 == pytest.approx(level - 0.1, rel=0.02)


@pytest.mark.parametrize("delay", [0.0, 60.0, 900.0])
def test_a_header_behind_a_drowned_outlet_passes_at_once(delay: float) -> None:
    """A full pipe gives at its end what enters it: 0.18 m3 raise the 3 m2 of the trench by 60 mm.

    The box then stands where the split says against that level, however long its water would be
    under way in a header that runs part full. Trench and lip as in `tight`: 20 mm over it at first.
    """
    inflow, seconds, hole = 5e-4, 360.0, Circle(0.05, coefficient=0.6)
    ponded = replace(tight().trenches[0], ponding=0.32)
    system = tight(area=1e-3, trenches=(ponded,), delays=np.full(1, delay))
    found = surge(system, steady(inflow), seconds=seconds, max_change=0.02)
    outside = 0.02 + inflow * seconds / 3.0
    fall = float(split(inflow, [0.0], hole, tailwater=[outside]).level) - outside
    assert found.level[-1] - outside == pytest.approx(fall, abs=3e-4)


@pytest.mark.parametrize("seconds", [3600.0, 3650.0])
def test_a_thinned_run_ends_where_the_whole_one_does(seconds: float) -> None:
    event = to_inflow([("shower", 100.0), ("toilet", 3500.0)])
    whole, thin = (surge(family(), event, seconds=seconds, record=r) for r in (0.0, 600.0))
    assert thin.seconds == seconds
    assert thin.time.size < whole.time.size / 3
    assert set(thin.time) <= set(whole.time)
    np.testing.assert_array_equal(thin.volume[-1], whole.volume[-1])
    low, high = thin.level_range
    assert high.max() == whole.level.max() == thin.peak_level
    for row in (5, thin.time.size - 1):
        since = (whole.time > thin.time[row - 1]) & (whole.time <= thin.time[row])
        assert (low[row], high[row]) == (whole.level[since].min(), whole.level[since].max())


def test_an_inflow_that_begins_late_or_with_nothing() -> None:
    """Nothing runs before the first piece, so a first piece of nothing says the same."""
    rate, none = np.array([2e-4, 0.0]), np.array([0.0])
    late = Inflow(begin=np.array([600.0, 900.0]), first=rate, last=rate.copy())
    same = Inflow(
        begin=np.array([0.0, 600.0, 900.0]),
        first=np.append(none, rate), last=np.append(none, rate),
    )  # fmt: skip
    runs = [surge(family(), inflow, seconds=3600.0) for inflow in (late, same)]
    assert runs[0].inflow_volume == pytest.approx(300 * 2e-4, rel=1e-12)
    assert runs[0].volume[-1] == pytest.approx(runs[1].volume[-1], rel=1e-12)
    assert runs[0].first_flow.min() > 600.0


def test_progress_is_told_after_every_day() -> None:
    told: list[float] = []
    surge(family(), steady(1e-5), seconds=3 * DAY, progress=told.append)
    assert told == pytest.approx([1 / 3, 2 / 3, 1.0])


@pytest.mark.parametrize("seconds", [0.0, -1.0, np.inf, np.nan])
def test_a_run_of_no_length_is_refused(seconds: float) -> None:
    with pytest.raises(DomainError, match="run lasts"):
        surge(family(), steady(1e-4), seconds=seconds)


def test_parts_that_do_not_fit_are_refused() -> None:
    with pytest.raises(DomainError, match="fit 6 lips"):
        family(delays=np.zeros(5))
    with pytest.raises(DomainError, match="delay"):
        family(delays=np.full(6, -1.0))
    with pytest.raises(DomainError, match="plan area"):
        family(area=0.0)
    with pytest.raises(DomainError, match="way out"):
        surge(box_alone([np.inf], [Circle(0.05)]), steady(1e-4), seconds=10.0)


@given(systems(), inflows(), powers(60, 2e4))
def test_volume_balances_and_nothing_is_negative(
    system: System, event: Inflow, seconds: float
) -> None:
    assert_physical(surge(system, event, seconds=seconds))


@pytest.mark.slow
@settings(
    max_examples=10_000, deadline=None, suppress_health_check=list(HealthCheck), database=None
)
@given(systems(), inflows(), powers(60, 3e4))
def test_ten_thousand_systems(system: System, event: Inflow, seconds: float) -> None:
    assert_physical(surge(system, event, seconds=seconds))


def shares_of(event: Inflow) -> Array:
    return surge(family(), event, seconds=3000.0).share


def test_a_strong_flow_hides_what_a_weak_one_shows() -> None:
    """Exact: the low lips' share falls as the flow grows."""
    weak, strong = shares_of(steady(3e-5, 1200.0)), shares_of(steady(2e-3, 60.0))
    assert weak[0] > 1.3 * strong[0]
    assert weak[1] < 0.7 * strong[1]


def test_a_moment_goes_straight_between_rows() -> None:
    found = surge(family(), to_inflow([("shower", 0.0)]), seconds=3000.0)
    rows = slice(20, 22)
    halfway = found.at(float(found.time[rows].mean()))
    assert halfway.level == pytest.approx(found.level[rows].mean())
    assert halfway.flow == pytest.approx(found.flow[rows].mean(0))
    assert halfway.share == pytest.approx(found.volume[rows].sum(0) / found.volume[rows].sum())
    assert halfway.lips == pytest.approx(LIPS)


def test_before_and_after_a_run_it_stands_as_at_its_ends() -> None:
    found = surge(family(), steady(3e-4, 240.0), seconds=600.0)
    assert found.at(-5.0).level == found.level[0]
    assert found.at(1e6).level == found.level[-1]


def test_time_goes_on_while_a_trench_reaches_the_lip_of_its_notch():
    """Found by drawing: steps shrank under the last digit of the time, so that it stood still."""
    pipe = SupplyPipe(length=1.0, diameter=0.0546875, fall=float(np.exp(-2.0)))
    trench = Trench(length=1.0, width=1.0, depth=1.0, pipe_height=0.0, voids=1.0,
                    acceptance=float(np.exp(-12.0)))  # fmt: skip
    system = System(
        area=float(np.exp(-3.0)), lips=np.zeros(3), openings=(Notch(1.0),) * 3, rim=None,
        rim_length=1.5, tank=None, supply=pipe, delays=np.zeros(3),
        jet=Jet(pipe=pipe, distance=np.array([0.0, 0.0, 0.375]), offset=np.zeros(3),
                facing=np.array([0.0, 0.0, 0.5])),
        trenches=(trench, None, None), bottoms=np.array([0.0, -np.inf, -np.inf]),
    )  # fmt: skip
    event = Inflow(begin=np.array([0.0, 1.0]), first=np.exp([-4.0, -np.inf]),
                   last=np.exp([-5.0, -np.inf]), entry="box")  # fmt: skip
    assert_physical(surge(system, event, seconds=float(np.exp(5.0))))
