"""What does a household send to its tank? Fixtures with volumes and rates, and a plausible day.

[EPA] US Environmental Protection Agency 1980, Design Manual: Onsite Wastewater Treatment and
Disposal Systems, EPA 625/1-80-012, section 5.2.2: 4.3 gal a flush and 3.5 flushes a person a day;
its other volumes and uses (bathing 24.5 gal, 0.43; clothes washing 37.4 gal, 0.29; dishwashing
8.8 gal, 0.35; 45.6 gal a person a day in all) are from memory.
[USDA] US Department of Agriculture, Water Systems Handbook, table of home requirements, as a later
page quotes it: washer 5 gpm and 30 to 50 gal a load, shower or tub 5 gpm and 25 to 60 gal, toilet
3 gpm and 4 to 7 gal, dishwasher 2 gpm and 7 to 15 gal, kitchen sink 3 gpm and 2 to 4 gal a use.
When in the day people use water is invented: two humps, morning and evening, and a quiet night.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from dbox.errors import DomainError
from dbox.hydraulics.surge.inflow import Inflow, pulses

DAY = 86400.0
"""[s]"""

_GALLON = 231 * 0.0254**3
_GPM = _GALLON / 60


@dataclass(frozen=True, kw_only=True)
class Fixture:
    """Something in the house that sends water.

    Parameters
    ----------
    volume : float
        What one use sends. [m3]
    rate : float
        How fast. [m3/s]
    uses : float
        Uses a person a day. [-]
    source : str
        Where the numbers are from.
    """

    volume: float
    rate: float
    uses: float
    source: str


FIXTURES = MappingProxyType(
    {
        "toilet": Fixture(volume=4.3 * _GALLON, rate=3 * _GPM, uses=3.5,
                          source="EPA; rate USDA"),
        "shower": Fixture(volume=24.5 * _GALLON, rate=5 * _GPM, uses=0.43,
                          source="EPA (from memory); rate USDA"),
        "bath": Fixture(volume=42.5 * _GALLON, rate=5 * _GPM, uses=0.0,
                        source="middle of USDA's 25 to 60 gal; EPA counts it with the shower"),
        "washer": Fixture(volume=37.4 * _GALLON, rate=5 * _GPM, uses=0.29,
                          source="EPA (from memory), within USDA's range; rate USDA"),
        "dishwasher": Fixture(volume=8.8 * _GALLON, rate=2 * _GPM, uses=0.35,
                              source="EPA (from memory), within USDA's range; rate USDA"),
        "sink": Fixture(volume=3.0 * _GALLON, rate=3 * _GPM, uses=2.0,
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
    """One use of a fixture.

    Parameters
    ----------
    fixture : str
        A name of `FIXTURES`.
    start : float
        When. [s]

    Returns
    -------
    Use
        With the fixture's volume and rate.

    Raises
    ------
    DomainError
        Where there is no such fixture.

    >>> round(use("toilet").volume * 1e3, 2)
    16.28
    """
    if fixture not in FIXTURES:
        raise DomainError(f"there is no fixture {fixture!r}; use {', '.join(FIXTURES)}")
    kind = FIXTURES[fixture]
    return Use(fixture=fixture, start=start, volume=kind.volume, rate=kind.rate)


def household_day(people: int, seed: int, day: int = 0) -> tuple[Use, ...]:
    """A plausible day of a household, drawn from a seed.

    Parameters
    ----------
    people : int
        How many live there, at least 1.
    seed : int
        Same seed, same days.
    day : int
        Which day; each is drawn anew.

    Returns
    -------
    tuple of Use
        In the order of their start; a use that would last over midnight starts that much earlier.

    Raises
    ------
    DomainError
        Where nobody lives there.

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

    Parameters
    ----------
    uses : sequence of Use
        The uses.
    name : str
        What to call it.

    Returns
    -------
    Inflow
        Entering at the house.

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
