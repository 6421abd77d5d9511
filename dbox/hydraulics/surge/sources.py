"""What sends water to the box: household fixtures, pumps and siphons.

[EPA] US Environmental Protection Agency 1980, Design Manual: Onsite Wastewater Treatment and
Disposal Systems, EPA 625/1-80-012, section 5.2.2: 4.3 gal a flush and 3.5 flushes a person a day;
its other volumes and uses (bathing 24.5 gal, 0.43; clothes washing 37.4 gal, 0.29; dishwashing
8.8 gal, 0.35; 45.6 gal a person a day in all) are from memory.
[USDA] US Department of Agriculture, Water Systems Handbook, table of home requirements, as a later
page quotes it: washer 5 gpm and 30 to 50 gal a load, shower or tub 5 gpm and 25 to 60 gal, toilet
3 gpm and 4 to 7 gal, dishwasher 2 gpm and 7 to 15 gal, kitchen sink 3 gpm and 2 to 4 gal a use.
When in the day people use water is invented: two humps, morning and evening, and a quiet night.

A pump works at the rate at which the head of its curve is the lift plus what the pressure pipe
loses by Manning's formula running full. What runs back into the chamber after a dose must first be
filled again: the dose is late and less by it.

A chamber of plan area A that drains through a siphon of area a and coefficient C under the head h
obeys A dh/dt = -C a sqrt(2 g h) (Torricelli; any text on hydraulics), so sqrt(h) and with it the
rate fall as straight lines until the low level breaks the siphon.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import MappingProxyType

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError
from dbox.hydraulics.pipes import full_flow
from dbox.hydraulics.surge.inflow import Inflow, pulses
from dbox.units import DAY, GALLON, MINUTE

_GPM = GALLON / MINUTE


@dataclass(frozen=True, kw_only=True)
class Fixture:
    """Something in the house that sends water."""

    volume: float  # What one use sends. [m3]
    rate: float  # How fast. [m3/s]
    uses: float  # Uses a person a day. [-]
    source: str  # Where the numbers are from.


FIXTURES = MappingProxyType(
    {
        "toilet": Fixture(volume=4.3 * GALLON, rate=3 * _GPM, uses=3.5,
                          source="EPA; rate USDA"),
        "shower": Fixture(volume=24.5 * GALLON, rate=5 * _GPM, uses=0.43,
                          source="EPA (from memory); rate USDA"),
        "bath": Fixture(volume=42.5 * GALLON, rate=5 * _GPM, uses=0.0,
                        source="middle of USDA's 25 to 60 gal; EPA counts it with the shower"),
        "washer": Fixture(volume=37.4 * GALLON, rate=5 * _GPM, uses=0.29,
                          source="EPA (from memory), within USDA's range; rate USDA"),
        "dishwasher": Fixture(volume=8.8 * GALLON, rate=2 * _GPM, uses=0.35,
                              source="EPA (from memory), within USDA's range; rate USDA"),
        "sink": Fixture(volume=3.0 * GALLON, rate=3 * _GPM, uses=2.0,
                        source="middle of USDA's 2 to 4 gal; uses invented"),
    }
)  # fmt: skip
"""The fixtures of a house by name; the sources are those of the module."""

PER_PERSON = sum(fixture.volume * fixture.uses for fixture in FIXTURES.values())
"""What a person sends in a mean day. [m3]"""

HOURLY = np.array([1, 1, 1, 1, 1, 3, 8, 10, 8, 5, 4, 4, 5, 4, 3, 3, 4, 6, 8, 8, 7, 6, 4, 2.0])
"""Weight of each hour of the day, from midnight. [-] (invented)"""


@dataclass(frozen=True, kw_only=True)
class Use:
    """One use of a fixture: which, when it starts [s], its volume [m3] and rate [m3/s]."""

    fixture: str
    start: float
    volume: float
    rate: float


def use(fixture: str, start: float = 0.0) -> Use:
    """One use of a fixture; start [s].

    >>> round(use("toilet").volume * 1e3, 2)
    16.28
    """
    if fixture not in FIXTURES:
        raise DomainError(f"there is no fixture {fixture!r}; use {', '.join(FIXTURES)}")
    kind = FIXTURES[fixture]
    return Use(fixture=fixture, start=start, volume=kind.volume, rate=kind.rate)


def household_day(people: int, seed: int, day: int = 0) -> tuple[Use, ...]:
    """A plausible day of a household, drawn from a seed.

    Notes
    -----
    The number of uses of each fixture is drawn from a Poisson distribution, their times from the
    weights of the hours.

    >>> [u.fixture for u in household_day(1, seed=4)][:3] == [
    ...     u.fixture for u in household_day(1, seed=4)][:3]
    True
    """
    if people < 1:
        raise DomainError(f"people is {people}; a household has 1 or more")
    rng = np.random.default_rng([seed, day])
    uses = []
    for name, fixture in FIXTURES.items():
        count = int(rng.poisson(people * fixture.uses))
        hours = rng.choice(24, count, p=HOURLY / HOURLY.sum()) + rng.random(count)
        latest = DAY - fixture.volume / fixture.rate - 1.0
        uses += [use(name, min(float(hour) * 3600.0, latest)) for hour in hours]
    return tuple(sorted(uses, key=lambda one: one.start))


def to_inflow(uses: Sequence[Use], name: str = "") -> Inflow:
    """What uses send to the tank; where they meet they add up.

    >>> shower = to_inflow([use("shower", 60.0)])
    >>> shower.entry, bool(shower.end > 60.0)
    ('house', True)
    """
    return pulses(
        [one.start for one in uses],
        [one.volume / one.rate for one in uses],
        [one.rate for one in uses],
        entry="house",
        name=name,
    )


@dataclass(frozen=True, kw_only=True)
class Pump:
    """A dosing pump and what its pressure pipe gives back."""

    volume: float  # What it lifts in one dose. [m3]
    rate: float | None = None  # Its rate, where it is known. [m3/s]
    # Where the rate is not: rates and the heads that the pump gives at them. [m3/s, m]
    curve: tuple[tuple[float, float], ...] = ()
    lift: float = 0.0  # Height from the water in the chamber to the box. [m]
    main_length: float = 0.0  # Of the pressure pipe from pump to box; 0 where left out. [m]
    main_diameter: float = 0.0  # Its inside diameter; 0 where left out. [m]
    # What runs back from the pressure pipe after a dose and must be filled first. [m3]
    drain_back: float = 0.0

    def working_rate(self) -> float:
        """Rate at which the pump's head is what lift and pressure pipe ask for. [m3/s]

        Notes
        -----
        The pressure pipe loses head by Manning's formula, running full. Between the points of the
        curve the head falls straight; beyond its ends nothing is known of the pump.
        """
        if self.rate is not None:
            return self.rate
        if len(self.curve) < 2:
            raise DomainError("the pump has neither a rate nor a curve of two or more points")
        points = sorted(self.curve)
        rates, heads = np.array([q for q, _ in points]), np.array([h for _, h in points])
        if not np.all(np.diff(rates) > 0) or not np.all(np.diff(heads) <= 0):
            raise DomainError("the pump's heads must fall as its rates rise")
        flows = np.linspace(rates[0], rates[-1], 4001)
        asked = self.lift + self._friction(flows)
        spare = np.interp(flows, rates, heads) - asked
        if spare[0] <= 0:
            raise DomainError(
                f"at the lowest rate of its curve, {rates[0]:.3g} m3/s, the pump gives "
                f"{heads[0]:.3g} m of head; lift and pressure pipe ask for {asked[0]:.3g} m: give "
                "points at lower rates, or a pump that lifts more"
            )
        if spare[-1] <= 0:
            return float(np.interp(0.0, -spare, flows))
        raise DomainError(
            f"at the highest rate of its curve, {rates[-1]:.3g} m3/s, the pump gives "
            f"{heads[-1]:.3g} m of head, and lift and pressure pipe ask for {asked[-1]:.3g} m "
            "only: it runs beyond its curve; give points at higher rates, or its rate"
        )

    def _friction(self, flows: Array) -> Array:
        if not (self.main_length and self.main_diameter):
            return np.zeros_like(flows)
        return np.asarray(self.main_length * (flows / full_flow(self.main_diameter, 1.0)) ** 2)

    def dose(self) -> Inflow:
        """One dose as the box sees it: late and less by what drains back.

        >>> dose = Pump(volume=0.2, rate=2e-3, drain_back=0.02).dose()
        >>> dose.begin.round(6).tolist(), round(dose.volume(1e4), 9)
        ([0.0, 10.0, 100.0], 0.18)
        """
        rate = self.working_rate()
        delivered = self.volume - self.drain_back
        if not (delivered > 0 and self.drain_back >= 0):
            raise DomainError(
                f"the pump lifts {self.volume:g} m3 and {self.drain_back:g} m3 drain back: "
                "no dose is left"
            )
        late = self.drain_back / rate
        dose = pulses([late], [delivered / rate], [rate], entry="box", name="pump dose")
        return replace(dose, pumped=True)


@dataclass(frozen=True, kw_only=True)
class Siphon:
    """A dosing siphon, which empties its chamber by its own head."""

    area: float  # Plan area of the chamber. [m2]
    diameter: float  # Inside diameter of the siphon. [m]
    high: float  # Head over its outlet where it starts. [m]
    low: float  # Head over its outlet where air breaks it. [m]
    coefficient: float = 0.6  # Discharge coefficient of the whole siphon, its losses within. [-]

    def dose(self) -> Inflow:
        """One dose, its rate falling straight.

        >>> dose = Siphon(area=2.0, diameter=0.075, high=0.5, low=0.2).dose()
        >>> round(dose.volume(1e4), 9)
        0.6
        """
        sizes = (self.area, self.diameter, self.coefficient, self.low, self.high - self.low)
        if not all(np.isfinite(size) and size > 0 for size in sizes):
            raise DomainError("a siphon needs sizes above 0 and a high level over its low one")
        k = self.coefficient * np.pi / 4 * self.diameter**2 * np.sqrt(2 * GRAVITY)
        rates = k * np.sqrt([self.high, self.low])
        seconds = 2 * self.area * (np.sqrt(self.high) - np.sqrt(self.low)) / k
        return Inflow(
            begin=np.array([0.0, seconds]),
            first=np.array([rates[0], 0.0]),
            last=np.array([rates[1], 0.0]),
            entry="supply",
            name="siphon dose",
        )
