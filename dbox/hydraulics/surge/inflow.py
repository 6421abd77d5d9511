"""What comes to the box: pieces of time in which the rate changes straight, and what sends them.

A fixture or a pump is a rate for a time, a measured series is straight lines between its rows; what
a dosing siphon sends is straight by itself.

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

from dbox.arrays import GRAVITY, Array, ArrayLike, freeze
from dbox.errors import DomainError
from dbox.hydraulics.pipes import full_flow
from dbox.units import DAY, GALLON, MINUTE

ENTRIES = ("house", "supply", "box")
"""Where an inflow enters: the tank, the pipe from the tank to the box, or the box itself."""

SHORTEST = 1e-6
"""Least time between two changes of an inflow; `pulses` rounds to it. [s] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Inflow:
    """Pieces of straight inflow; arrays are read-only."""

    # (k,) When each piece begins, rising; each ends where the next begins, the last never. [s]
    begin: Array
    first: Array  # (k,) Rate at the beginning of each piece, at least 0. [m3/s]
    last: Array  # (k,) Rate at its end; that of the last piece equals its first. [m3/s]
    # One of `ENTRIES`; where that part is missing, the next one down takes the inflow.
    entry: str = "box"
    name: str = ""  # What it is.
    pumped: bool = False  # Whether a pressure pipe brings it, which runs full.

    def __post_init__(self) -> None:
        rates = np.concatenate([self.first, self.last])
        if not np.all(np.isfinite(rates) & (rates >= 0)):
            raise DomainError("an inflow [m3/s] is not a finite number, 0 or more")
        apart = np.diff(self.begin) > 0.5 * SHORTEST
        if not np.all(np.isfinite(self.begin)) or not np.all(apart) or self.begin[0] < 0:
            raise DomainError(
                f"the times of an inflow [s] must be finite, 0 or more, and {SHORTEST:g} s apart"
            )
        if self.entry not in ENTRIES:
            raise DomainError(f"entry is {self.entry!r}; it must be one of {', '.join(ENTRIES)}")
        freeze(self.begin, self.first, self.last)

    @property
    def end(self) -> float:
        """When the last piece begins: after it the rate stays as it is. [s]"""
        return float(self.begin[-1])

    def volume(self, seconds: float) -> float:
        """Volume that has run in from the first piece on until a time. [m3]; seconds [s]."""
        ends = np.minimum(np.append(self.begin[1:], np.inf), seconds)
        spans = np.maximum(ends - self.begin, 0.0)
        whole = np.append(np.diff(self.begin), np.inf)
        reached = self.first + (self.last - self.first) * spans / whole
        return float(np.sum(0.5 * (self.first + reached) * spans))


def steady(rate: float, seconds: float = np.inf, *, entry: str = "box", name: str = "") -> Inflow:
    """An inflow of one rate; rate [m3/s], seconds [s].

    >>> round(steady(1e-3, 60.0).volume(100.0), 12)
    0.06
    """
    return pulses([0.0], [seconds], [rate], entry=entry, name=name)


def pulses(
    begin: ArrayLike, seconds: ArrayLike, rate: ArrayLike, *, entry: str = "box", name: str = ""
) -> Inflow:
    """An inflow of rates that each hold for a time and add up where they meet.

    begin [s], seconds [s], rate [m3/s].

    >>> both = pulses([0.0, 10.0], [20.0, 20.0], [1e-4, 2e-4])
    >>> both.begin.tolist(), (both.first * 1e4).round(9).tolist()
    ([0.0, 10.0, 20.0, 30.0], [1.0, 3.0, 2.0, 0.0])
    """
    start, span, rates = (np.asarray(a, np.float64) for a in (begin, seconds, rate))
    if not np.all(span >= SHORTEST) or not np.all(start >= 0):
        raise DomainError("an inflow [s] begins before 0 or lasts no time")
    digits = -round(np.log10(SHORTEST))
    start, stop = np.round(start, digits), np.round(start + span, digits)
    times = np.unique(np.concatenate([[0.0], start, stop[np.isfinite(stop)]]))
    # summed pulse by pulse, so that nothing is left of one when it has ended
    runs = np.zeros_like(times)
    for on, off, flow in zip(start, stop, rates, strict=True):
        runs[np.searchsorted(times, on) : np.searchsorted(times, off)] += flow
    return Inflow(begin=times, first=runs, last=runs.copy(), entry=entry, name=name)


def measured(seconds: ArrayLike, rate: ArrayLike, *, name: str = "") -> Inflow:
    """A measured series that enters straight at the box, straight lines between its rows.

    seconds [s], rate [m3/s].

    >>> measured([0, 10, 30], [0.0, 1e-4, 0.0]).volume(30.0)
    0.0015
    """
    times, rates = np.asarray(seconds, np.float64), np.asarray(rate, np.float64)
    if times.ndim != 1 or times.shape != rates.shape or times.size < 2:
        raise DomainError("a measured inflow needs two or more rows of a time and a rate")
    last = np.append(rates[1:], 0.0)
    return Inflow(
        begin=times - times[0], first=np.append(rates[:-1], 0.0), last=last, entry="box", name=name
    )


def concatenate(inflows: Sequence[Inflow], every: float) -> Inflow:
    """The same kind of inflow again and again; every [s]."""
    return replace(
        inflows[0],
        begin=np.concatenate([i * every + flow.begin for i, flow in enumerate(inflows)]),
        first=np.concatenate([flow.first for flow in inflows]),
        last=np.concatenate([flow.last for flow in inflows]),
    )


@dataclass(frozen=True, kw_only=True)
class Fixture:
    """Something in the house that sends water."""

    volume: float  # What one use sends. [m3]
    rate: float  # How fast. [m3/s]
    uses: float  # Uses a person a day. [-]


FIXTURES = MappingProxyType(
    {
        name: Fixture(volume=gallons * GALLON, rate=gpm * (GALLON / MINUTE), uses=uses)
        for name, gallons, gpm, uses in (
            ("toilet", 4.3, 3, 3.5),  # EPA; rate USDA
            ("shower", 24.5, 5, 0.43),  # EPA (from memory); rate USDA
            ("bath", 42.5, 5, 0.0),  # middle of USDA's 25 to 60 gal; EPA counts it with the shower
            ("washer", 37.4, 5, 0.29),  # EPA (from memory), within USDA's range; rate USDA
            ("dishwasher", 8.8, 2, 0.35),  # EPA (from memory), within USDA's range; rate USDA
            ("sink", 3.0, 3, 2.0),  # middle of USDA's 2 to 4 gal; uses invented
        )
    }
)
"""The fixtures of a house by name; the sources are those of the module."""

PER_PERSON = sum(fixture.volume * fixture.uses for fixture in FIXTURES.values())
"""What a person sends in a mean day. [m3]"""

HOURLY = np.array([1, 1, 1, 1, 1, 3, 8, 10, 8, 5, 4, 4, 5, 4, 3, 3, 4, 6, 8, 8, 7, 6, 4, 2.0])
"""Weight of each hour of the day, from midnight. [-] (invented)"""


Use = tuple[str, float]
"""A fixture that is used, and when it starts. [s]"""


def household_day(people: int, seed: int, day: int = 0) -> tuple[Use, ...]:
    """A plausible day of a household, drawn from a seed.

    Notes
    -----
    The number of uses of each fixture is drawn from a Poisson distribution, their times from the
    weights of the hours.

    >>> household_day(1, seed=4) == household_day(1, seed=4)
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
        uses += [(name, min(float(hour) * 3600.0, latest)) for hour in hours]
    return tuple(sorted(uses, key=lambda use: use[1]))


def to_inflow(uses: Sequence[Use], name: str = "") -> Inflow:
    """What fixtures send to the tank; where their uses meet they add up.

    >>> toilet = to_inflow([("toilet", 60.0)])
    >>> toilet.entry, round(toilet.volume(3600.0) * 1e3, 2)
    ('house', 16.28)
    """
    unknown = [fixture for fixture, _ in uses if fixture not in FIXTURES]
    if unknown:
        raise DomainError(f"there is no fixture {unknown[0]!r}; use {', '.join(FIXTURES)}")
    used = [FIXTURES[fixture] for fixture, _ in uses]
    begin, seconds = [start for _, start in uses], [each.volume / each.rate for each in used]
    return pulses(begin, seconds, [each.rate for each in used], entry="house", name=name)


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
        friction = np.zeros_like(flows)
        if self.main_length and self.main_diameter:
            friction = self.main_length * (flows / full_flow(self.main_diameter, 1.0)) ** 2
        asked = self.lift + friction
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
