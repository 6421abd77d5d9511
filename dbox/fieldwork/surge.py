"""A discharge at one site: the system in SI, the run, and which line it loads too much.

Heights are over the still water that the readings were taken from. The bottom of a trench lies
under the lip of its outlet by the fall of the header and the height of its pipe; what the lip
stands over the pipe's invert is left out.

A run of days tells when each trench first stood full to its pipe. The same water is then dealt out
as a level box would, split at the mean flow between kept rows, and the trenches are filled with
that alone: until one is full to its pipe nothing backs up, so the box need not be run again.

Runs events of the house, doses and pours through the site's system, and says what the volumes
mean: each line's share against its target, its load against what its trench takes, when a trench
stands full to its pipe, and how much sooner than in a level box.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.inlet import (
    NOTICED,
    jet_from,
    jet_note,
    mouths,
    placed,
    pumped_mouth,
    strike,
)
from dbox.fieldwork.readings import measured_lips
from dbox.fieldwork.shares import target_shares
from dbox.fieldwork.site import Box, Site
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.pipes import CAPACITY
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Inflow, one_after_another, steady
from dbox.hydraulics.surge.march import Surge, surge
from dbox.hydraulics.surge.parts import TrenchLine
from dbox.hydraulics.surge.sources import DAY, PER_PERSON, household_day, to_inflow, use
from dbox.notes import Note

TRICKLE = 2.5e-3 / 60
"""What comes to a box on an ordinary day. [m3/s] (1 to 4 L/min: Water Science and Technology
51(10), 2005, p. 39)"""

BEHIND_TANK, WITHOUT_TANK = 3 * 3600.0, 1800.0
"""How long a run goes on after its inflow has ended. [s]"""


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """A system, and what the reader should know of it."""

    system: System
    warnings: tuple[Note | str, ...]


def prepare(
    site: Site, line_flow: float, lips: Array | None = None, *, pumped: bool = False
) -> Prepared:
    """Make the system of a site; line_flow [m3/s], lips [m]."""
    measured = measured_lips(site)
    heights, n = measured.height, len(site.outlets)
    works = site.works
    headers = works.headers or (None,) * n
    trenches = tuple(
        None if outlet.capped else trench
        for outlet, trench in zip(site.outlets, works.trenches or (None,) * n, strict=True)
    )
    drops = [pipe.fall * pipe.length if pipe else 0.0 for pipe in headers]
    bottoms = np.array(
        [
            lip - drop - line.pipe_height if line else -np.inf
            for lip, drop, line in zip(heights, drops, trenches, strict=True)
        ]
    )
    area, rim_length = plan(site.box)
    jet, jet_notes = _jet(site, pumped=pumped)
    return Prepared(
        system=System(
            area=area,
            lips=np.array(heights if lips is None else lips),
            openings=tuple(outlet.opening for outlet in site.outlets),
            rim=site.box.rim,
            rim_length=rim_length,
            tank=works.tank,
            supply=works.supply,
            jet=jet,
            delays=np.array([pipe.delay(line_flow) if pipe else 0.0 for pipe in headers]),
            trenches=trenches,
            bottoms=bottoms,
        ),
        warnings=(*measured.warnings, *jet_notes, *_soil_warnings(site)),
    )


def line_flow(site: Site, event: Inflow) -> float:
    """Flow of one line that is typical of an event, for the travel time in its header.

    event [m3/s] -> [m3/s].
    """
    lines = sum(not outlet.capped for outlet in site.outlets)
    total = TRICKLE
    if event.entry != "house" or site.works.tank is None:
        total = max(float(event.first.max()), float(event.last.max()), 1e-6)
    return total / max(lines, 1)


def natural_end(site: Site, event: Inflow) -> float:
    """When most of an event has passed. [s]; event [m3/s]."""
    tank = event.entry == "house" and site.works.tank is not None
    return event.end + (BEHIND_TANK if tank else WITHOUT_TANK)


def plan(box: Box) -> tuple[float, float]:
    """Plan area and length of the rim of a box.

    >>> plan(Box(inside=(0.4, 0.5)))
    (0.2, 1.8)
    """
    if not box.inside:
        raise DomainError(
            'the inside of the box is not measured; add inside = ["16 in", "20 in"] under [box]'
        )
    if box.shape == "round":
        diameter = box.inside[0]
        return np.pi / 4 * diameter**2, np.pi * diameter
    along, across = box.inside
    return along * across, 2 * (along + across)


def _jet(site: Site, *, pumped: bool) -> tuple[Jet | None, tuple[Note | str, ...]]:
    """The jet of a straight inlet, from the pipe that the water comes through."""
    if site.box.inlet != "straight":
        return None, ()
    if not placed(site):
        return None, (
            "the inlet is straight, but its jet is not computed: places of outlets are not given",
        )
    mouth = pumped_mouth(site) if pumped else mouths(site)[0]
    return jet_from(site, mouth), (mouth.taken,) if mouth.taken else ()


def _soil_warnings(site: Site) -> tuple[str, ...]:
    states = {line.soil for line in site.works.trenches if line} - {"biomat"}
    if not states:
        return ()
    return (
        f"soil is {' and '.join(sorted(states))}: how that changes the long-term acceptance rate "
        "is invented, not measured",
    )


_MUCH = 0.05


def run_warnings(site: Site, found: Surge) -> tuple[Note | str, ...]:
    """Sentences on one run."""
    return (
        *_struck(site, found),
        *_parts_left_out(site, found),
        *_gone_over(site, found),
        *_capillary(found),
    )


def _struck(site: Site, found: Surge) -> list[Note]:
    """What the jet does at the strongest inflow of the run."""
    system = found.system
    if system.jet is None:
        return []
    peak, target = np.array([found.inflow.max()]), target_shares(site)
    without = split(peak, system.lips, system.openings, rim=system.rim).share
    strongest = strike(site, (system.jet,), system.lips, peak, without, target)
    if not strongest.changes(site.tolerance.share if site.tolerance else NOTICED).any():
        return []
    return [jet_note(site, strongest, 0, "jet: strikes")]


def _parts_left_out(site: Site, found: Surge) -> list[str]:
    works, entry = site.works, found.event.entry
    said = []
    if entry == "house" and works.tank is None:
        said.append(
            "[tank] is not given: the water comes as it leaves the house, not smoothed by a tank"
        )
    if entry != "box" and works.supply is None:
        said.append("[supply] is not given: the water comes to the box without delay")
    if not any(works.trenches):
        said.append("[trench] is not given: every line takes what it gets, none can pond")
    return said


def _gone_over(site: Site, found: Surge) -> list[str]:
    said, system = [], found.system
    labels = [outlet.label for outlet in site.outlets]
    if found.spilled[-1] > 0:
        said.append(f"the box overtops at its rim: {1000 * found.spilled[-1]:.3g} L are spilled")
    drop = site.box.inlet_drop
    if drop is not None and found.peak_level > system.still_level + drop:
        said.append(
            "the water in the box rises over the inlet's invert and backs up toward the tank; "
            "that it then comes more slowly is not computed"
        )
    pipe = system.supply
    piped = pipe is not None and found.event.entry != "box"
    if piped and pipe and found.inflow.max() > CAPACITY * pipe.full:
        said.append("the supply pipe runs full: what flows is then decided by its head")
    drowned = np.any(found.trench_level > system.lips, axis=0)
    if np.any(drowned):
        named = ", ".join(labels[i] for i in np.flatnonzero(drowned))
        said.append(f"the trench of outlet {named} stands over its lip and drowns it")
    for i in np.flatnonzero(found.surfaced[-1] > 0).tolist():
        said.append(
            f"the trench of outlet {labels[i]} is full: {1000 * found.surfaced[-1, i]:.3g} L "
            "come to the surface"
        )
    return said


def _capillary(found: Surge) -> list[str]:
    """How much of the water passed at heads where surface tension decides."""
    passed = np.diff(found.volume.sum(-1))
    if not passed.sum() > 0:
        return []
    head = 0.5 * (found.level[1:] + found.level[:-1]) - found.system.still_level
    part = float(passed[head < CAPILLARY_HEAD].sum() / passed.sum())
    if part < _MUCH:
        return []
    return [
        f"{100 * part:.0f} % of the water passed at heads below {1000 * CAPILLARY_HEAD:.0f} mm, "
        "where surface tension decides and weir formulas are out of their range"
    ]


@dataclass(frozen=True, kw_only=True, eq=False)
class Ponding:
    """Which line ponds first in a run of days."""

    line: int | None  # The outlet whose trench first stood full to its pipe; None where none did.
    time: float  # When; NaN where none did. [s]
    level_line: int | None  # The same where all lips are level and stay so.
    level_time: float  # When; NaN where none did. [s]

    @property
    def sooner(self) -> float:
        """How much sooner than in the level box; inf where that has none in the run. [s]"""
        if self.line is None:
            return 0.0
        return np.inf if self.level_line is None else self.level_time - self.time


def ponding(found: Surge) -> Ponding:
    """Find the first trench that fills, in a run and in the same box with its lips level."""
    line, time = _first(found.filled)
    level_line, level_time = _first(_filled_when_level(found))
    return Ponding(line=line, time=time, level_line=level_line, level_time=level_time)


def _first(filled: Array) -> tuple[int | None, float]:
    if np.all(np.isnan(filled)):
        return None, np.nan
    line = int(np.nanargmin(filled))
    return line, float(filled[line])


def _filled_when_level(found: Surge) -> Array:
    """When each trench would first stand full to its pipe. [s] (n,)."""
    system, seconds = found.system, np.diff(found.time)
    volume = np.diff(found.volume.sum(-1))
    lips = np.where(np.isfinite(system.lips), 0.0, np.inf)
    dealt = split(volume / seconds, lips, system.openings).share * volume[:, None]
    filled = np.full(lips.size, np.nan)
    for i, trench in enumerate(system.trenches):
        if trench is not None:
            limit, line = trench.pipe_height, TrenchLine(trench)
            for part, span, end in zip(dealt[:, i], seconds, found.time[1:], strict=True):
                line.step(float(part), float(span))
                if line.depth > limit:
                    filled[i] = end
                    break
    return filled


FINE_VARIATION = 0.1
"""Variation of single events, whose rows are also drawn: close rows cost little. [-]"""

YEAR = 365.0 * DAY
_SIDES = ("right", "left", "far", "inlet")


@dataclass(frozen=True, kw_only=True, eq=False)
class Outcome:
    """A run at a site; arrays are read-only."""

    site: Site  # The site.
    surge: Surge  # The run.
    target: Array  # (n,) Wanted share of each line. [-]
    # (n,) What each line gets in a day: that of the run where it lasts a day, else its share of
    # what the people of the house send; NaN where nobody said how many they are. [m3/s]
    load: Array
    # (n,) What each trench takes when full to its pipe; NaN where there is no trench. [m3/s]
    capacity: Array
    ponding: Ponding | None = None  # Which line ponds first; None where the run is no run of days.
    warnings: tuple[Note | str, ...]  # Where the model is weak, or something went over.

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
    """Fixtures that start together."""
    return to_inflow([use(name) for name in fixtures], " and ".join(fixtures))


def house_days(site: Site, days: int, seed: int) -> Inflow:
    """Plausible days of the house, drawn one after another."""
    people = site.works.people
    if people is None:
        raise DomainError("how many live in the house is not said; add people = 4 under [house]")
    name = "a day of the house" if days == 1 else f"{days} days of the house"
    each = [to_inflow(household_day(people, seed, day), name) for day in range(days)]
    return one_after_another(each, DAY)


def settling_rates(site: Site, sinks: float, toward: str) -> Array:
    """How fast each lip sinks in a box that settles to one side; sinks [m] -> [m/s]."""
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
    """Run an event through a site; seconds [s], settling [m/s]."""
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

    settling [m/s].
    """
    event = house_days(site, days, seed)
    prepared = prepare(site, line_flow(site, event))
    found = surge(prepared.system, event, seconds=days * DAY, settling=settling, progress=progress)
    return _outcome(site, prepared, found, ponding(found))


def side_by_side(site: Site, volume: float) -> tuple[Outcome, ...]:
    """The same volume at each of the site's flows, straight into the box; volume [m3]."""
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
