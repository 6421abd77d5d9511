"""Inflows: what runs in adds up to what was asked for."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from dbox.arrays import GRAVITY
from dbox.errors import DomainError
from dbox.hydraulics.pipes import full_flow
from dbox.hydraulics.surge.inflow import (
    FIXTURES,
    PER_PERSON,
    Pump,
    Siphon,
    concatenate,
    household_day,
    measured,
    pulses,
    steady,
    to_inflow,
)
from dbox.units import DAY

GALLON = 231 * 0.0254**3
GPM = GALLON / 60


@given(st.lists(st.tuples(st.floats(0, 1e4), st.floats(0.1, 1e4), st.floats(0, 1e-2)), min_size=1))
def test_pulses_add_up(each) -> None:
    begin, seconds, rate = np.array(each).T
    both = pulses(begin, seconds, rate)
    assert both.volume(1e6) == pytest.approx(float(rate @ seconds), abs=1e-6 * (rate.sum() + 1e-9))
    assert both.first[-1] == 0.0


def test_steady_volume_until_a_time() -> None:
    assert steady(2e-4).volume(50.0) == pytest.approx(1e-2)
    assert steady(2e-4, 30.0).volume(50.0) == pytest.approx(6e-3)


def test_measured_series_is_straight_between_its_rows() -> None:
    flow = measured([10.0, 20.0, 40.0], [0.0, 1e-3, 0.5e-3])
    assert flow.entry == "box"
    assert flow.volume(10.0) == pytest.approx(5e-3)
    assert flow.volume(30.0) == pytest.approx(5e-3 + 20 * 0.75e-3)
    assert flow.volume(1e9) == flow.volume(30.0)


@pytest.mark.parametrize("part", [0.0, 0.25, 0.5, 1.0])
def test_volume_within_a_piece_that_rises_or_falls(part: float) -> None:
    """Up to 2 L/s in 10 s and down again in 20 s: triangles, and what is left of one."""
    flow = measured([0.0, 10.0, 30.0], [0.0, 2e-3, 0.0])
    assert flow.volume(10.0 * part) == pytest.approx(0.01 * part**2, abs=1e-15)
    assert flow.volume(10.0 + 20.0 * part) == pytest.approx(0.03 - 0.02 * (1 - part) ** 2)


@pytest.mark.parametrize(
    ("seconds", "rates"),
    [([0], [1]), ([0, 0], [1, 1]), ([0, 1], [1, -1]), ([0, 1], [1, np.nan]), ([0, 1], [1])],
)
def test_a_series_that_cannot_be_is_refused(seconds, rates) -> None:
    with pytest.raises(DomainError):
        measured(seconds, rates)


def test_pump_dose_is_late_and_less_by_what_drains_back() -> None:
    dose = Pump(volume=0.2, rate=2e-3, drain_back=0.05).dose()
    assert dose.volume(1e9) == pytest.approx(0.15)
    assert dose.begin[dose.first > 0] == pytest.approx([25.0])
    assert dose.end == pytest.approx(100.0)


def test_pump_works_where_its_curve_meets_lift_and_friction() -> None:
    """A straight curve against Manning's friction: a quadratic, solved by its formula."""
    full = float(full_flow(0.05, 1.0))
    pump = Pump(
        volume=0.2, curve=((0.0, 8.0), (4e-3, 0.0)), lift=3.0, main_length=30.0, main_diameter=0.05
    )
    a, b, c = 30.0 / full**2, 8.0 / 4e-3, 3.0 - 8.0
    exact = (-b + np.sqrt(b * b - 4 * a * c)) / (2 * a)
    assert pump.working_rate() == pytest.approx(exact, rel=1e-6)


def test_a_pump_is_not_guessed_at_beyond_its_curve() -> None:
    """A straight curve to 2 m at 4 L/s: at 1 m of lift it pumps more; at 2 m just that."""
    curve = ((0.0, 8.0), (4e-3, 2.0))
    assert Pump(volume=0.2, curve=curve, lift=2.0).working_rate() == pytest.approx(4e-3)
    with pytest.raises(DomainError, match="beyond its curve") as found:
        Pump(volume=0.2, curve=curve, lift=1.0).dose()
    for part in ("0.004 m3/s", "2 m of head", "ask for 1 m only", "higher rates"):
        assert part in str(found.value)
    with pytest.raises(DomainError, match=r"lowest rate of its curve, 0.001 m3/s.*lower rates"):
        Pump(volume=0.2, curve=((1e-3, 5.0), (2e-3, 3.0)), lift=6.0).dose()


def test_siphon_against_scipy() -> None:
    """Exact: the dose is the chamber between its levels; its rates are those of a drained tank."""
    siphon = Siphon(area=1.5, diameter=0.075, high=0.5, low=0.2)
    dose = siphon.dose()
    assert dose.volume(1e9) == pytest.approx(1.5 * 0.3, rel=1e-12)
    hole = 0.6 * np.pi / 4 * 0.075**2

    def change(_, h):
        return -hole * np.sqrt(2 * GRAVITY * h) / 1.5

    def broken(_, h):
        return h[0] - 0.2

    broken.terminal = True
    plain = solve_ivp(change, (0, 1e4), [0.5], rtol=1e-10, atol=1e-12, events=broken)
    assert dose.end == pytest.approx(plain.t[-1], rel=1e-7)
    assert dose.last[0] == pytest.approx(hole * np.sqrt(2 * GRAVITY * 0.2), rel=1e-12)


def test_published_flushes_and_fixtures() -> None:
    # US EPA 1980, EPA 625/1-80-012, section 5.2.2: 4.3 gal a flush, 3.5 uses a person a day.
    toilet = FIXTURES["toilet"]
    assert (toilet.volume / GALLON, toilet.uses) == pytest.approx((4.3, 3.5))
    # USDA, Water Systems Handbook, as a later page quotes it: gpm and gal a use.
    usda = {
        "toilet": (3, 4, 7), "washer": (5, 30, 50), "dishwasher": (2, 7, 15), "sink": (3, 2, 4),
        "bath": (5, 25, 60),
    }  # fmt: skip
    for name, (rate, least, most) in usda.items():
        assert FIXTURES[name].rate == pytest.approx(rate * GPM)
        assert least <= FIXTURES[name].volume / GALLON <= most
    # the same manual's total, 45.6 gal a person a day, is from memory
    assert pytest.approx(45.6, abs=0.5) == PER_PERSON / GALLON


def test_same_seed_same_day_and_another_day_another() -> None:
    assert household_day(4, seed=3, day=2) == household_day(4, seed=3, day=2)
    assert household_day(4, seed=3, day=2) != household_day(4, seed=3, day=3)
    assert household_day(4, seed=4, day=2) != household_day(4, seed=3, day=2)


def test_mean_day_sends_what_the_fixtures_say() -> None:
    """Poisson counts: the mean of many days, within four of its standard errors."""
    days = [to_inflow(household_day(4, 7, d)).volume(DAY) for d in range(400)]
    error = np.std(days) / np.sqrt(len(days))
    assert np.mean(days) == pytest.approx(4 * PER_PERSON, abs=4 * error)


def test_a_day_ends_at_midnight_and_days_follow_each_other() -> None:
    each = [to_inflow(household_day(6, 1, d)) for d in range(30)]
    assert all(flow.end <= DAY for flow in each)
    joined = concatenate(each, DAY)
    assert joined.volume(30 * DAY) == pytest.approx(sum(flow.volume(DAY) for flow in each))
    assert joined.volume(DAY) == pytest.approx(each[0].volume(DAY))


@pytest.mark.parametrize(
    ("make", "fault"),
    [
        (lambda: household_day(0, seed=1), "people is 0"),
        (lambda: to_inflow([("bidet", 0.0)]), "bidet"),
        (lambda: pulses([-1.0], [5.0], [1e-4]), "begins before 0 or lasts no time"),
        (lambda: pulses([0.0], [0.0], [1e-4]), "begins before 0 or lasts no time"),
        (lambda: pulses([0.0], [-5.0], [1e-4]), "begins before 0 or lasts no time"),
        (lambda: steady(1e-4, 10.0, entry="roof"), "one of house, supply, box"),
        (Siphon(area=1.5, diameter=0.075, high=0.2, low=0.2).dose, "a siphon needs sizes"),
        (Pump(volume=0.2, curve=((0.0, 2.0), (1e-3, 0.0)), lift=3.0).dose, "lift"),
        (Pump(volume=0.2, curve=((0.0, 2.0), (1e-3, 3.0))).dose, "must fall as its rates rise"),
        (Pump(volume=0.2).dose, "neither"),
        (Pump(volume=0.2, rate=1e-3, drain_back=0.2).dose, "no dose is left"),
    ],
)
def test_an_inflow_that_cannot_be_is_refused(make, fault: str) -> None:
    with pytest.raises(DomainError, match=fault):
        make()
