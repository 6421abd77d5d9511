"""A discharge at one site: the system in SI, the run, and which line it loads too much.

Heights are over the still water that the readings were taken from. The bottom of a trench lies
under the lip of its outlet by the drop of the header and the height of its pipe; what the lip
stands over the pipe's invert is left out.

Events of the house, doses and pours run through the site's system, every lip running once the water
stands over it. The outcome says what the volumes mean: each line's share against its target, and
what it would be if dry lips held water back; its load against what its trench takes; when a trench
stands full to its pipe, and how much sooner than in a level box.

A run of days tells when each trench first stood full to its pipe. The same water is then dealt out
as a level box would, split at the mean flow between kept rows, and the trenches are filled with
that alone: until one is full to its pipe nothing backs up, so the box need not be run again. Only
the jet of a straight inlet, which level lips do not end, asks for that.

What an outlet lets out in time is the inflow of the box that it feeds. That box is run next, to the
same end; it does not back up into the one before it.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.inlet import (
    NOTICED,
    Mouth,
    Ways,
    jet_from,
    jet_note,
    mouths,
    placed,
    pumped_mouth,
    strike,
)
from dbox.fieldwork.readings import lips_or_plan, odd_notes
from dbox.fieldwork.series import behind, fed
from dbox.fieldwork.shares import NOTABLE, gains_most, over_target, target_shares
from dbox.fieldwork.site import Box, Site, plan_area
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.pipes import CAPACITY
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import (
    PER_PERSON,
    Inflow,
    concatenate,
    household_day,
    steady,
    to_inflow,
)
from dbox.hydraulics.surge.parts import TrenchLine
from dbox.hydraulics.surge.stepper import Surge, surge
from dbox.notes import Note
from dbox.units import DAY, HOUR, MINUTE, TRICKLE

BEHIND_TANK, WITHOUT_TANK = 3 * HOUR, 30 * MINUTE
"""How long a run goes on after its inflow has ended. [s] (judgement)"""

FINE_MAX_CHANGE = 0.1
"""Greatest change a step of single events, whose rows are also drawn: close rows cost little. [-]
(judgement)"""

YEAR = 365.0 * DAY
"""[s] (by definition)"""

_SIDES = ("right", "left", "far", "inlet")

_LONGEST_HELD = 2.0 * DAY
"""Runs up to this long are run again with dry lips that hold water back. [s] (judgement)"""

SERIES_RECORD = 60.0
"""Time between the rows that such a longer run hands on to a next box. [s] (judgement: shares of
three days are those of every row to 1e-5; five minutes moved one by 0.015)"""

_MUCH = 0.05
"""Part of the water passed at heads of surface tension from which it is worth saying. [-]
(judgement)"""


def system_of(site: Site, line_flow: float, *, pumped: bool = False) -> System:
    """The system of a site; line_flow [m3/s]."""
    lips, n, works = lips_or_plan(site).height, len(site.outlets), site.works
    headers = works.headers or (None,) * n
    trenches = tuple(
        None if outlet.capped else trench
        for outlet, trench in zip(site.outlets, works.trenches or (None,) * n, strict=True)
    )
    drops = [pipe.fall * pipe.length if pipe else 0.0 for pipe in headers]
    bottoms = [
        lip - drop - trench.pipe_height if trench else -np.inf
        for lip, drop, trench in zip(lips, drops, trenches, strict=True)
    ]
    area, rim_length = plan(site.box)
    throws = site.box.inlet == "straight" and placed(site)
    return System(
        area=area,
        lips=np.array(lips),
        openings=tuple(outlet.opening for outlet in site.outlets),
        rim=site.box.rim,
        rim_length=rim_length,
        tank=works.tank,
        supply=works.supply,
        jet=jet_from(site, _mouth(site, pumped)) if throws else None,
        delays=np.array([pipe.delay(line_flow) if pipe else 0.0 for pipe in headers]),
        trenches=trenches,
        bottoms=np.array(bottoms),
    )


def _mouth(site: Site, pumped: bool) -> Mouth:
    """The pipe that the water comes through."""
    return pumped_mouth(site) if pumped else mouths(site)[0]


def line_flow(site: Site, event: Inflow) -> float:
    """Flow of one line that is typical of an event, for the travel time in its header.

    event [m3/s] -> [m3/s].
    """
    lines = sum(not outlet.capped for outlet in site.outlets)
    total = TRICKLE
    if event.entry != "house" or site.works.tank is None:
        total = max(float(event.first.max()), float(event.last.max()), 1e-6)
    return total / max(lines, 1)


def plan(box: Box) -> tuple[float, float]:
    """Plan area and length of the rim of a box.

    >>> plan(Box(inside=(0.4, 0.5)))
    (0.2, 1.8)
    """
    if not box.inside:
        raise DomainError(
            'the inside of the box is not measured; add inside = ["16 in", "20 in"] under [box]'
        )
    rim = np.pi * box.inside[0] if box.shape == "round" else 2 * sum(box.inside)
    return plan_area(box.inside), rim


def notes_on(site: Site, found: Surge) -> Iterator[Note]:
    """Where the model is weak, what was left out, and what went over in a run."""
    system, works, entry = found.system, site.works, found.event.entry
    labels = [outlet.label for outlet in site.outlets]
    yield from lips_or_plan(site).warnings
    if site.box.inlet == "straight":
        if not placed(site):
            yield Note(what="surge: jet not computed")
        elif taken := _mouth(site, found.event.pumped).taken:
            yield taken
    if states := {trench.soil for trench in works.trenches if trench} - {"biomat"}:
        yield Note(what="surge: soil invented", values={"states": " and ".join(sorted(states))})
    if system.jet is not None:
        peak, target = np.array([found.inflow.max()]), target_shares(site)
        heads = np.stack([system.jet.heads(peak), np.zeros((1, target.size))])
        strongest = strike(site, Ways(head=heads, calm=1), system.lips, peak, target)
        if strongest.changes(NOTICED if site.allowed is None else site.allowed).any():
            yield jet_note(site, strongest, 0, "jet: strikes")
    if entry == "house" and works.tank is None:
        yield Note(what="surge: no tank")
    if entry != "box" and works.supply is None:
        yield Note(what="surge: no supply")
    if not any(works.trenches):
        yield Note(what="surge: no trench")
    if found.spilled[-1] > 0:
        yield Note(what="surge: overtops", values={"volume": float(found.spilled[-1])})
    drop = site.box.inlet_drop
    if drop is not None and found.peak_level > system.still_level + drop:
        yield Note(what="surge: backs up")
    pipe = system.supply if entry != "box" else None
    if pipe and found.inflow.max() > CAPACITY * pipe.full:
        yield Note(what="surge: supply full")
    drowned = np.flatnonzero(np.any(found.trench_level > system.lips, axis=0))
    if drowned.size:
        named = ", ".join(labels[i] for i in drowned)
        yield Note(what="surge: drowned", values={"outlets": named})
    for i in np.flatnonzero(found.surfaced[-1] > 0).tolist():
        volume = float(found.surfaced[-1, i])
        yield Note(what="surge: surfaces", values={"outlet": labels[i], "volume": volume})
    # how much of the water passed at heads where surface tension decides
    passed = np.diff(found.volume.sum(-1))
    head = 0.5 * (found.level[1:] + found.level[:-1]) - system.still_level
    part = float(passed[head < CAPILLARY_HEAD].sum() / (passed.sum() or 1.0))
    if part >= _MUCH:
        yield Note(what="surge: capillary", values={"part": part, "head": CAPILLARY_HEAD})


@dataclass(frozen=True, kw_only=True, eq=False)
class Ponding:
    """Which line ponds first in a run of days."""

    line: int | None  # The outlet whose trench first stood full to its pipe; None where none did.
    time: float  # When it did; NaN where none did. [s]
    level_line: int | None  # The outlet that would be the first if all lips were level.
    level_time: float  # When it would; NaN where none would. [s]

    @property
    def sooner(self) -> float:
        """How much sooner than in the level box; inf where that has none in the run. [s]"""
        if self.line is None:
            return 0.0
        return np.inf if self.level_line is None else self.level_time - self.time


def ponding(found: Surge) -> Ponding:
    """Find the first trench that fills, in a run and in the same box with its lips level."""
    line, time = _first(found.time_full)
    level_line, level_time = _first(_full_when_level(found))
    return Ponding(line=line, time=time, level_line=level_line, level_time=level_time)


def _first(time_full: Array) -> tuple[int | None, float]:
    if np.all(np.isnan(time_full)):
        return None, np.nan
    line = int(np.nanargmin(time_full))
    return line, float(time_full[line])


def _full_when_level(found: Surge) -> Array:
    """When each trench would first stand full to its pipe. [s] (n,)."""
    system, seconds = found.system, np.diff(found.time)
    volume = np.diff(found.volume.sum(-1))
    uncapped = np.isfinite(system.lips)
    lips = np.where(uncapped, 0.0, np.inf)
    if system.jet is not None:
        # level lips do not end it, and what it does hangs on the flow of each moment
        bottoms = system.bottoms - np.where(uncapped, system.lips, 0.0)
        level = replace(system, lips=lips, bottoms=bottoms)
        return surge(level, found.event, seconds=found.seconds).time_full
    dealt = split(volume / seconds, lips, system.openings).share * volume[:, None]
    full = np.full(lips.size, np.nan)
    for i, trench in enumerate(system.trenches):
        if trench is not None:
            limit, line = trench.pipe_height, TrenchLine(trench)
            for part, span, end in zip(dealt[:, i], seconds, found.time[1:], strict=True):
                line.step(float(part), float(span))
                if line.depth > limit:
                    full[i] = end
                    break
    return full


@dataclass(frozen=True, kw_only=True, eq=False)
class SurgeOutcome:
    """A run at a site; arrays are read-only."""

    site: Site  # The site.
    surge: Surge  # The run.
    target: Array  # (n,) Wanted share of each line. [-]
    # (2, n) Least and greatest share of each line with the site's least and most hold-back; NaN in
    # runs of more than two days. [-]
    rising: Array
    # (n,) What each line gets in a day: that of the run where it lasts a day, else its share of
    # what the people of the house send; NaN where nobody said how many they are. [m3/s]
    load: Array
    # (n,) What each trench takes when full to its pipe; NaN where there is no trench. [m3/s]
    capacity: Array
    ponding: Ponding | None = None  # Which line ponds first; None where the run is no run of days.
    warnings: tuple[Note, ...]  # Where the model is weak, or something went over.
    # The runs of the boxes that outlets feed, each with its outlet.
    behind: tuple[tuple[int, "SurgeOutcome"], ...] = ()

    @property
    def labels(self) -> tuple[str, ...]:
        """Label of each line."""
        return tuple(outlet.label for outlet in self.site.outlets)

    @property
    def runs(self) -> tuple[Surge, ...]:
        """The run of this box and of every box behind it."""
        return (self.surge, *(run for _, box in self.behind for run in box.runs))

    @property
    def lines(self) -> dict[str, float]:
        """What came to every line behind all boxes, by the labels on its way. [m3]"""
        boxes = dict(self.behind)
        found: dict[str, float] = {}
        for i, label in enumerate(self.labels):
            if i in boxes:
                found |= {f"{label}/{line}": got for line, got in boxes[i].lines.items()}
            else:
                found[label] = float(self.surge.volume[-1, i])
        return found

    @property
    def line_shares(self) -> list[float]:
        """Share of each of those lines in what came to them all. [-]"""
        whole = sum(self.lines.values()) or 1.0
        return [got / whole for got in self.lines.values()]

    @property
    def overloaded(self) -> tuple[int, ...]:
        """Lines that get more in a day than their trench takes when full to its pipe."""
        with np.errstate(invalid="ignore"):
            return tuple(np.flatnonzero(self.load > self.capacity).tolist())

    @property
    def extremes(self) -> tuple[int, int] | None:
        """Lines that are most over and most under their target; None where all get theirs."""
        over = over_target(self.surge.share, self.target)
        return (int(np.argmax(over)), int(np.argmin(over))) if over.max() > NOTABLE else None


def house_event(fixtures: Sequence[str]) -> Inflow:
    """Fixtures that start together."""
    return to_inflow([(name, 0.0) for name in fixtures], " and ".join(fixtures))


def house_days(site: Site, days: int, seed: int) -> Inflow:
    """Plausible days of the house, drawn one after another."""
    people = site.works.people
    if people is None:
        raise DomainError(
            "how many live in the house is not said; add people = 4 under [house], or give "
            "--people 4"
        )
    name = "a day of the house" if days == 1 else f"{days} days of the house"
    each = [to_inflow(household_day(people, seed, day), name) for day in range(days)]
    return concatenate(each, DAY)


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
    over_days: bool = False,
    sent: float | None = None,
) -> SurgeOutcome:
    """Run an event through a site; seconds [s], settling [m/s].

    Over days of the house the loads are those of the run itself, and it is found which line ponds
    first.

    sent: What comes to the box in a day; None: what the people of the house send. [m3/s]
    """
    tank = event.entry == "house" and site.works.tank is not None
    until = seconds or event.end + (BEHIND_TANK if tank else WITHOUT_TANK)
    system = system_of(site, line_flow(site, event), pumped=event.pumped)
    fine = FINE_MAX_CHANGE if until <= DAY and not over_days else None
    boxes = fed(site)
    found = surge(system, event, seconds=until, max_change=fine, settling=settling,
                  record=SERIES_RECORD if boxes and until > _LONGEST_HELD else None,
                  progress=progress)  # fmt: skip
    people = site.works.people
    if sent is None:
        sent = np.nan if people is None else people * PER_PERSON / DAY
    load = found.volume[-1] / found.seconds if over_days else sent * found.share
    capacity = np.array([line.capacity if line else np.nan for line in system.trenches])
    target = target_shares(site)
    rising = np.full((2, target.size), np.nan)
    if until <= _LONGEST_HELD:
        each = [
            surge(replace(system, hold_back=hold), event, seconds=until, max_change=fine,
                  settling=settling).share if hold else found.share
            for hold in dict.fromkeys(site.hold_back)
        ]  # fmt: skip
        rising = np.array([np.min(each, axis=0), np.max(each, axis=0)])
    freeze(load, capacity, target, rising)
    held = gains_most(site, lips_or_plan(site), found.share, rising, found.share)
    next_ones = []
    for i, box in boxes:
        with behind(site.outlets[i].label):
            next_ones.append((i, run(box, found.outflow(i), seconds=until, over_days=over_days,
                                     sent=sent * float(found.share[i]))))  # fmt: skip
    return SurgeOutcome(
        site=site,
        surge=found,
        target=target,
        rising=rising,
        load=load,
        capacity=capacity,
        ponding=ponding(found) if over_days else None,
        warnings=(
            *odd_notes(site),
            *notes_on(site, found),
            *([Note(what="surge: held back", values=held)] if held else ()),
        ),
        behind=tuple(next_ones),
    )


def run_days(
    site: Site,
    days: int,
    *,
    seed: int = 0,
    settling: Array | None = None,
    progress: Callable[[float], None] | None = None,
) -> SurgeOutcome:
    """Run plausible days of the house through a site; settling [m/s]."""
    event = house_days(site, days, seed)
    return run(site, event, seconds=days * DAY, settling=settling, progress=progress,
               over_days=True)  # fmt: skip


def side_by_side(site: Site, volume: float) -> tuple[SurgeOutcome, ...]:
    """The same volume at each of the site's flows, straight into the box; volume [m3]."""
    events = [steady(f.inflow, volume / f.inflow, name=f.name) for f in site.flows]
    return tuple(run(site, event) for event in events)


# What of a run is worth showing.

THROUGH = 0.99
"""Part of all water that has left the box when a picture of the run ends. [-] (judgement)"""

MOVING = 0.05
"""Flow over the greatest flow from which on a run is worth watching. [-] (judgement)"""

FRAMES, STARTING = 120, 26
"""Frames of a film, and how many it takes from the first start of a line to the last. [-]
(judgement)"""

_MOST_STARTING = 0.5
"""Part of a film that the starting takes at most. [-] (judgement)"""

EARLY = 0.1
"""Part of all water: before it has passed, the running shares mean little. [-] (judgement)"""


def shown_until(run: Surge) -> float:
    """When hardly any water of a run is left to pass the box. [s]"""
    passed = run.volume.sum(1) + run.spilled
    last = int(np.argmax(passed >= THROUGH * passed[-1])) if passed[-1] > 0 else -1
    return float(run.time[last]) if run.time[last] > 0 else run.seconds


def daily_shares(run: Surge) -> Array:
    """Share of each line in what passed on each day; NaN where nothing did. [-] (days, n)."""
    ends = np.minimum(np.arange(np.ceil(run.seconds / DAY) + 1) * DAY, run.seconds)
    passed = np.diff([np.interp(ends, run.time, volume) for volume in run.volume.T], axis=1).T
    whole = passed.sum(1, keepdims=True)
    share: Array = np.divide(passed, whole, out=np.full_like(passed, np.nan), where=whole > 0)
    return share


def is_moving(run: Surge) -> BoolArray:
    """Whether water moves in each step of a run, more than `MOVING` of its greatest flow."""
    flow = np.maximum(run.inflow, run.flow.sum(1) + run.overflow)
    busy = flow > MOVING * flow.max()
    return np.asarray(busy[1:] | busy[:-1])


def frame_times(*runs: Surge, frames: int = FRAMES) -> Array:
    """Choose the moments of a film of runs on one clock. [s]

    Notes
    -----
    The film is slow near the moments to look at, where lines start and where the water of a run
    turns, and faster with the time to the nearest of them: it lingers there and hurries through
    the recession. From the first start to the last it takes `STARTING` frames at least.
    """
    until = max(shown_until(run) for run in runs)
    starts = np.concatenate([run.first_flow[run.first_flow < until] for run in runs])
    moments = np.unique([*starts, *(min(run.peak_time, until) for run in runs)])
    first, last = (starts.min(), starts.max()) if starts.size else (0.0, 0.0)
    near = (last - first) / 12.0 or 1e-4 * until
    about = np.geomspace(0.1 * near, until, 100)
    each = [m + side * about for m in moments for side in (-1.0, 1.0)]
    time = np.unique(np.concatenate([[0.0, until], np.linspace(0.0, until, 500), moments, *each]))
    time = time[(time >= 0.0) & (time <= until)]
    steps, middle = np.diff(time), 0.5 * (time[1:] + time[:-1])
    # film over run, and what of it is in the starting
    film = steps / (np.abs(middle[:, None] - moments).min(1) + near)
    starting = (middle > first) & (middle < last)
    # more film the nearer to the starting, as much as it takes
    beyond = np.maximum(np.maximum(first - middle, middle - last), 0.0)
    more = film * (near / (beyond + near)) ** 2
    wanted = min(STARTING / (frames - 1), _MOST_STARTING)
    lacks = wanted * film.sum() - film[starting].sum()
    if last > first and lacks > 0.0:
        film += more * lacks / (film[starting].sum() - wanted * more.sum())
    played = np.append(0.0, np.cumsum(film))
    return np.asarray(np.interp(np.linspace(0.0, played[-1], frames), played, time))


def highest_share(outcomes: Sequence[SurgeOutcome]) -> float:
    """Greatest share to be shown of some runs, and twice the target at least. [-]"""
    most = max(2.0 * float(o.target.max()) for o in outcomes)
    for outcome in outcomes:
        # the first water all goes to one line
        passed = outcome.surge.volume.sum(1)
        late = passed > EARLY * passed[-1]
        most = max(most, float(np.max(outcome.surge.running_share[late], initial=0.0)))
    return min(1.05 * most, 1.0)
