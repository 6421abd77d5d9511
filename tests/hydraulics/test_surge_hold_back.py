"""A surge through a box whose dry lips hold water back."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from dbox import Circle, DomainError, Slot, split
from dbox.hydraulics.surge.inflow import (
    concatenate,
    household_day,
    measured,
    pulses,
    steady,
    to_inflow,
)
from dbox.hydraulics.surge.stepper import surge
from dbox.units import DAY
from tests.hydraulics.surges import BALANCE, assert_physical, box_alone, inflows, powers, systems
from tests.hydraulics.test_surge import family

HOLE = Circle(0.045, coefficient=0.6)
LIPS = [0.0, -0.003, 0.0004, 0.0015, -0.0005]
LITRE_PER_MINUTE = 1e-3 / 60


def held(hold_back, lips=LIPS, **parts):
    return replace(box_alone(lips, [HOLE] * len(lips)), hold_back=hold_back, **parts)


def run_with_events(system, event, seconds):
    """The same by scipy, stopped at each jump of the inflow and each start or stop of a lip.

    The plain definition: dry lips pass nothing, one starts when the level has risen to its lip
    and hold-back, and stops when it has fallen to its lip. Only the box, no tank, pipe or trench.
    """
    lips, holds = system.lips, np.broadcast_to(system.hold_back, system.lips.shape)
    openings, n = system.openings, system.lips.size
    running, started = holds == 0, np.full(n, np.nan)
    time, state, starts, stops = 0.0, np.array([system.still_level, *[0.0] * n]), [], []
    jumps = [*[b for b in event.begin.tolist() if 0 < b < seconds], seconds]
    while time < seconds:
        piece = int(np.searchsorted(event.begin, time, side="right")) - 1
        inflow = float(event.first[piece])

        def rates(_, y, on=tuple(running), inflow=inflow):
            heads = np.where(on, y[0] - lips, 0.0)
            flow = [float(o.discharge(head)) for o, head in zip(openings, heads, strict=True)]
            return np.array([(inflow - sum(flow)) / system.area, *flow])

        events = []
        for i in range(n):
            at = lips[i] if running[i] else lips[i] + holds[i]

            def crossed(_, y, at=at, i=i):
                return y[0] - at if holds[i] else 1.0

            crossed.terminal = True
            crossed.direction = -1.0 if running[i] else 1.0
            events.append(crossed)
        end = min(j for j in jumps if j > time)
        part = solve_ivp(rates, (time, end), state, events=events, rtol=1e-9, atol=1e-13,
                         max_step=20.0, method="LSODA")  # fmt: skip
        time, state = float(part.t[-1]), part.y[:, -1]
        for i in range(n):
            if part.t_events[i].size:
                running[i] = not running[i]
                (starts if running[i] else stops).append((time, i))
                if running[i] and np.isnan(started[i]):
                    started[i] = time
    return state[1:], started, starts, stops


EVENTS = {
    "trickle": steady(2 * LITRE_PER_MINUTE, 900.0),
    "dose": steady(100 * LITRE_PER_MINUTE, 90.0),
    "two": pulses([0.0, 1200.0], [300.0, 300.0], [3 * LITRE_PER_MINUTE] * 2),
    "many": pulses([0, 400, 900, 1000], [200, 300, 60, 900], np.array([4, 9, 30, 1.5]) / 6e4),
}
HOLDS = [0.001, 0.003, 0.004, np.array([0.004, 0.0, 0.001, 0.002, 0.003])]


@pytest.mark.everyday(6)
@pytest.mark.parametrize("hold_back", HOLDS, ids=["1 mm", "3 mm", "4 mm", "each its own"])
@pytest.mark.parametrize("name", EVENTS)
def test_lips_start_and_pass_as_in_the_plain_definition(name, hold_back):
    system, seconds = held(hold_back), 2400.0
    volume, started, starts, _ = run_with_events(system, EVENTS[name], seconds)
    run = surge(system, EVENTS[name], seconds=seconds)
    assert run.share == pytest.approx(volume / volume.sum(), abs=3e-4)
    assert run.volume[-1].sum() == pytest.approx(volume.sum(), rel=2e-3)
    known = np.broadcast_to(hold_back, (5,)) > 0
    assert np.array_equal(np.isnan(run.first_flow[known]), np.isnan(started[known]))
    np.testing.assert_allclose(run.first_flow[known], started[known], rtol=2e-3, atol=0.3)
    assert_physical(run)
    # each start is one jump of the flow from nothing, no more and no less
    jumped = (run.flow[:-1] == 0) & (run.flow[1:] > 0)
    counted = np.bincount([i for _, i in starts], minlength=5)
    assert jumped.sum(0)[known].tolist() == counted[known].tolist()


@pytest.mark.parametrize(
    ("system", "event", "seconds"),
    [
        (family(), to_inflow(household_day(4, 0, 0)), DAY),
        (family(ponding=0.3), steady(1e-3, 600.0), 3600.0),
        (box_alone(LIPS, [HOLE] * 5), EVENTS["many"], 2400.0),
    ],
)
def test_no_hold_back_is_the_run_without(system, event, seconds):
    today = surge(system, event, seconds=seconds)
    n = system.lips.size
    for none in (0.0, np.zeros(n)):
        run = surge(replace(system, hold_back=none), event, seconds=seconds)
        for name, part in vars(today).items():
            if isinstance(part, np.ndarray):
                assert np.array_equal(part, getattr(run, name), equal_nan=True), name
        assert run.steps == today.steps
        assert run.balance_error == today.balance_error


def apart_from_none(system, hold_backs, max_change=None):
    """Greatest difference of a share from the run without, for each hold-back."""
    event = steady(3e-5, 3600.0)

    def share(hold):
        run = surge(replace(system, hold_back=hold), event, seconds=9000.0, max_change=max_change)
        return run.share

    return [np.abs(share(hold) - share(0.0)).max() for hold in hold_backs]


@pytest.mark.parametrize("system", [box_alone(LIPS, [HOLE] * 5), family()], ids=["box", "family"])
def test_it_tends_to_the_run_without_as_the_hold_back_goes_to_nothing(system):
    apart = apart_from_none(system, (3e-3, 1e-3, 3e-4, 3e-5, 1e-7))
    assert apart[0] > 0.01
    assert apart[1] < 5e-4
    assert max(apart[2:]) < 1e-5


@pytest.mark.slow
def test_where_trenches_drown_every_lip_it_hardly_matters():
    """There the steps are of first order, so short ones are taken."""
    assert max(apart_from_none(family(ponding=0.3), (3e-3, 3e-5), max_change=0.02)) < 2e-5


def test_a_steady_inflow_from_rest_comes_to_the_rising_state_of_split():
    for inflow in (0.5, 1.0, 2.0, 4.0, 20.0):
        rate = inflow * LITRE_PER_MINUTE
        run = surge(held(0.003), steady(rate), seconds=20_000.0)
        rising = split(rate, LIPS, HOLE, hold_back=0.003, rising=True)
        assert run.flow[-1] / rate == pytest.approx(rising.share, abs=2e-4)
        assert run.level[-1] == pytest.approx(float(rising.level), abs=2e-6)


def test_after_a_dose_the_trickle_runs_over_every_wet_lip():
    rate = LITRE_PER_MINUTE
    event = pulses([0.0, 0.0], [60.0, np.inf], [20 * rate, rate])
    run = surge(held(0.003), event, seconds=4000.0)
    falling, rising = (
        split(rate, LIPS, HOLE, hold_back=0.003, rising=up).share for up in (False, True)
    )
    assert run.flow[-1] / rate == pytest.approx(falling, abs=2e-3)
    assert np.abs(falling - rising).max() > 0.1


def test_a_level_box_starts_when_it_has_filled_to_the_hold_back_and_shares_equally():
    """Exact: 0.2 m2 filled by 3 mm at 1e-5 m3/s lasts 60 s."""
    run = surge(held(0.003, lips=[0.01] * 4), steady(1e-5, 600.0), seconds=3600.0)
    assert run.first_flow == pytest.approx([60.0] * 4, abs=0.1)
    assert run.share.tolist() == [0.25] * 4


def test_a_lip_that_stopped_holds_back_again():
    """The high lip, dry between two pulses, starts anew, late both times; the low one stays wet."""
    pulse = 20 * LITRE_PER_MINUTE
    event = pulses([0.0, 3000.0], [120.0, 120.0], [pulse, pulse])
    run = surge(held(0.003, lips=[0.0, 0.004]), event, seconds=6000.0)
    starts = [run.time[np.flatnonzero((f[:-1] == 0) & (f[1:] > 0))] for f in run.flow.T]
    assert [s.size for s in starts] == [1, 2]
    for time in starts[1]:
        assert run.at(float(time)).level == pytest.approx(0.007, abs=5e-6)
    stop = np.flatnonzero((run.flow[:-1, 1] > 0) & (run.flow[1:, 1] == 0))
    assert run.level[stop + 1] == pytest.approx([0.004] * 2, abs=4e-4)
    assert np.all(run.level[stop + 1] <= 0.004)


def test_starts_do_not_chatter():
    """An inflow that swings about what one lip takes at the threshold of the next."""
    between = float(HOLE.discharge(0.004))
    times = np.linspace(0.0, 3600.0, 73)
    event = measured(times, between * (1.0 + 0.05 * np.sin(times / 60.0)))
    run = surge(held(0.003, lips=[0.0, 0.001]), event, seconds=3600.0)
    started = (run.flow[:-1] == 0) & (run.flow[1:] > 0)
    assert started.sum(0).tolist() == [1, 1]
    assert run.steps < 1500


def test_no_lip_starts_while_the_box_fills_to_its_rim():
    run = surge(held(0.05, lips=[0.0, 0.001], rim=0.02), steady(1e-4, 600.0), seconds=900.0)
    assert not run.volume[-1].any()
    assert run.spilled[-1] == pytest.approx(600 * 1e-4 - 0.2 * 0.02, rel=0.02)
    assert run.balance_error <= 1e-9


def test_a_box_that_holds_all_lets_nothing_out():
    run = surge(held(0.05), steady(1e-5, 100.0), seconds=300.0)
    assert not run.flow.any()
    assert run.level[-1] == pytest.approx(-0.003 + 1e-3 / 0.2)
    assert run.balance_error <= 1e-9


holds = st.sampled_from([1e-12, 1e-6, 1e-3, 4e-3, 0.02]) | st.floats(0, 0.005)


@given(systems(), holds, inflows(), powers(60, 2e4))
def test_volumes_balance_with_every_hold_back(system, hold_back, event, seconds):
    assert_physical(surge(replace(system, hold_back=hold_back), event, seconds=seconds))


@pytest.mark.slow
@settings(max_examples=3000, deadline=None, suppress_health_check=list(HealthCheck), database=None)
@given(systems(), st.lists(holds, min_size=8, max_size=8), inflows(), powers(60, 3e4))
def test_three_thousand_systems(system, each, event, seconds):
    own = np.array(each)[: system.lips.size]
    assert_physical(surge(replace(system, hold_back=own), event, seconds=seconds))


def test_a_day_costs_about_as_many_steps():
    event = to_inflow(household_day(4, 0, 0))
    today = surge(family(), event, seconds=DAY)
    run = surge(family(hold_back=0.003), event, seconds=DAY)
    assert run.steps < 1.5 * today.steps


def test_other_openings_start_too():
    system = replace(box_alone([0.0, 0.0], [Slot(0.05), HOLE]), hold_back=[0.001, 0.003])
    run = surge(system, steady(5e-5, 600.0), seconds=1200.0)
    assert run.first_flow[0] == pytest.approx(0.001 * 0.2 / 5e-5, abs=0.1)
    assert run.first_flow[1] > run.first_flow[0]


@pytest.mark.parametrize("hold_back", [-0.001, np.nan, np.inf, [0.001], [0.001, 0.002, -1.0]])
def test_a_hold_back_that_cannot_be_is_refused(hold_back):
    with pytest.raises(DomainError, match=r"hold_back \[m\] is"):
        held(hold_back, lips=[0.0, 0.001, 0.002])


def test_a_box_that_settles_balances_too():
    days = [to_inflow(household_day(4, 0, day)) for day in range(4)]
    sinks = np.array([-1, 0, 0, -1, 0, 0]) * 1e-3 / DAY
    event = concatenate(days, DAY)
    run = surge(family(hold_back=0.003), event, seconds=4 * DAY, settling=sinks)
    assert run.balance_error <= BALANCE
    assert np.all(np.diff(run.volume, axis=0) >= 0)
    # what sinks gains
    assert run.share[0] > surge(family(hold_back=0.003), event, seconds=4 * DAY).share[0]
