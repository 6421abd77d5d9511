"""What does a discharge do at this site, and which line does it load too much?

Runs events of the house, doses and pours through the site's system, and says what the volumes
mean: each line's share against its target, its load against what its trench takes, when a trench
stands full to its pipe, and how much sooner than in a level box.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.site import Site
from dbox.fieldwork.surge.ponding import Ponding, ponding
from dbox.fieldwork.surge.system import Prepared, line_flow, natural_end, prepare
from dbox.fieldwork.surge.warnings import run_warnings
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.surge.household import DAY, PER_PERSON, household_day, to_inflow, use
from dbox.hydraulics.surge.inflow import Inflow, one_after_another, steady
from dbox.hydraulics.surge.run import Surge, surge

FINE_VARIATION = 0.1
"""Variation of single events, whose rows are also drawn: close rows cost little. [-]"""

YEAR = 365.0 * DAY
_SIDES = ("right", "left", "far", "inlet")


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """A run at a site; arrays are read-only.

    Parameters
    ----------
    site : Site
        The site.
    surge : Surge
        The run.
    target : ndarray, shape (n,)
        Wanted share of each line. [-]
    load : ndarray, shape (n,)
        What each line gets in a day: that of the run where it lasts a day, else its share of what
        the people of the house send; NaN where nobody said how many they are. [m3/s]
    capacity : ndarray, shape (n,)
        What each trench takes when full to its pipe; NaN where there is no trench. [m3/s]
    ponding : Ponding or None
        Which line ponds first; None where the run is no run of days.
    warnings : tuple of str
        Where the model is weak, or something went over.
    """

    site: Site
    surge: Surge
    target: Array
    load: Array
    capacity: Array
    ponding: Ponding | None = None
    warnings: tuple[str, ...]

    @property
    def labels(self) -> tuple[str, ...]:
        """Label of each line."""
        return tuple(outlet.label for outlet in self.site.outlets)

    @property
    def overloaded(self) -> tuple[int, ...]:
        """Lines that get more in a day than their trench takes when full to its pipe."""
        with np.errstate(invalid="ignore"):
            return tuple(np.flatnonzero(self.load > self.capacity).tolist())


def house_event(fixtures: Sequence[str]) -> Inflow:
    """Fixtures that start together.

    Parameters
    ----------
    fixtures : sequence of str
        Names of `household.FIXTURES`, one or more times each.

    Returns
    -------
    Inflow
        Entering at the house at time 0.

    Raises
    ------
    DomainError
        Where a fixture is not known.
    """
    return to_inflow([use(name) for name in fixtures], " and ".join(fixtures))


def house_days(site: Site, days: int, seed: int) -> Inflow:
    """Plausible days of the house, drawn one after another.

    Parameters
    ----------
    site : Site
        Says how many people live there.
    days : int
        How many days, at least 1.
    seed : int
        Same seed, same days.

    Returns
    -------
    Inflow
        Entering at the house, from midnight.

    Raises
    ------
    DomainError
        Where it is not said how many people live there.
    """
    people = site.works.people
    if people is None:
        raise DomainError("how many live in the house is not said; add people = 4 under [house]")
    name = "a day of the house" if days == 1 else f"{days} days of the house"
    each = [to_inflow(household_day(people, seed, day), name) for day in range(days)]
    return one_after_another(each, DAY)


def settling_rates(site: Site, sinks: float, toward: str) -> Array:
    """How fast each lip sinks in a box that settles to one side.

    Parameters
    ----------
    site : Site
        The box, its inside and the places of its outlets measured.
    sinks : float
        How much that side sinks under the opposite one in a year. [m]
    toward : str
        `right` or `left` as seen from the inlet, `far` from the inlet, or `inlet`.

    Returns
    -------
    ndarray, shape (n,)
        Rise of each lip, at most 0; 0 where capped. [m/s]

    Raises
    ------
    DomainError
        Where a place is not measured, or there is no such side.
    """
    if toward not in _SIDES:
        raise DomainError(f"a box settles toward {', '.join(_SIDES)}; {toward!r} is none of them")
    inside, open_ones = site.box.inside, [o for o in site.outlets if not o.capped]
    if not inside or any(outlet.position is None for outlet in open_ones):
        raise DomainError("a box that settles needs its inside and the place of every open outlet")
    axis, size = (1, inside[-1]) if toward in ("right", "left") else (0, inside[0])
    parts = np.array([o.position[axis] / size if o.position else 0.0 for o in site.outlets])
    if toward in ("left", "inlet"):
        parts = 1.0 - parts
    return np.where([o.capped for o in site.outlets], 0.0, -sinks / YEAR * parts)


def run(
    site: Site,
    event: Inflow,
    *,
    seconds: float | None = None,
    settling: Array | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outcome:
    """Run an event through a site.

    Parameters
    ----------
    site : Site
        The site.
    event : Inflow
        What runs in.
    seconds : float, optional
        How long to go on; left out, until most of it has passed. [s]
    settling : ndarray, shape (n,), optional
        From `settling_rates`. [m/s]
    progress : callable, optional
        Told how much of the run is done, from 0 to 1.

    Returns
    -------
    Outcome
        Without ponding; see `run_days`.

    Raises
    ------
    DomainError
        Where something that a run needs is not measured.
    """
    prepared = prepare(site, line_flow(site, event), pumped=event.pumped)
    until = seconds or natural_end(site, event)
    fine = FINE_VARIATION if until <= DAY else None
    found = surge(
        prepared.system, event, seconds=until, variation=fine, settling=settling, progress=progress
    )
    return _outcome(site, prepared, found)


def run_days(
    site: Site,
    days: int,
    *,
    seed: int = 0,
    settling: Array | None = None,
    progress: Callable[[float], None] | None = None,
) -> Outcome:
    """Run plausible days of the house through a site, and find which line ponds first.

    Parameters
    ----------
    site : Site
        The site.
    days : int
        How many days, at least 1.
    seed : int
        Same seed, same days.
    settling : ndarray, shape (n,), optional
        From `settling_rates`. [m/s]
    progress : callable, optional
        Told after every day how much of the run is done, from 0 to 1.

    Returns
    -------
    Outcome
        With ponding.

    Raises
    ------
    DomainError
        Where something that a run needs is not measured.
    """
    event = house_days(site, days, seed)
    prepared = prepare(site, line_flow(site, event))
    found = surge(prepared.system, event, seconds=days * DAY, settling=settling, progress=progress)
    return _outcome(site, prepared, found, ponding(found))


def side_by_side(site: Site, volume: float) -> tuple[Outcome, ...]:
    """The same volume at each of the site's flows, straight into the box.

    Parameters
    ----------
    site : Site
        The site with its flows, such as trickle, bucket and dose.
    volume : float
        What is let in each time, above 0. [m3]

    Returns
    -------
    tuple of Outcome
        One for each flow, in their order.

    Raises
    ------
    DomainError
        Where something that a run needs is not measured.
    """
    events = [steady(f.inflow, volume / f.inflow, name=f.name) for f in site.flows]
    return tuple(run(site, event) for event in events)


def _outcome(
    site: Site, prepared: Prepared, found: Surge, first_to_pond: Ponding | None = None
) -> Outcome:
    people = site.works.people
    if first_to_pond is not None:
        load = found.volume[-1] / found.seconds
    elif people is not None:
        load = people * PER_PERSON / DAY * found.share
    else:
        load = np.full(len(site.outlets), np.nan)
    lines = found.system.trenches
    capacity = np.array([line.capacity if line else np.nan for line in lines])
    target = target_shares(site)
    freeze(load, capacity, target)
    return Outcome(
        site=site,
        surge=found,
        target=target,
        load=load,
        capacity=capacity,
        ponding=first_to_pond,
        warnings=(*prepared.warnings, *run_warnings(site, found)),
    )
