"""The diagnosis of a wet line: ranked causes, next looks, how hard the line is worked.

The causes are ranked, none is proved. `diagnose` puts together what the other modules of this
package work out from one set of drawn boxes: the weights and what speaks for and against
(`posterior`), the next look (`next_look`), what may be normal and the lines in numbers.

What may be normal is asked about before a fault is named: serial and drop boxes fill one line after
the other; lines are capped or alternated to rest; a box read just after laundry or a dose is not at
rest (common practice, no source).

A line's share of an ordinary day is that of the boxes that fit; share times the day's water over
the bottom of the trench is the load per area, held against the acceptance rate that the user
enters. What a trench cannot take it stores: storage up to the pipe over what is too much is the
time in which it fills, so a trench that stands full has been over for at least as long. One of n
equal lines capped for a rest gives each of the others n/(n-1) of what it had. A sealed line gets
little now; what filled it is the share that the same boxes gave it before its water stood against
its outlet.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError, outlets_text
from dbox.fieldwork.diagnosis.causes import CAUSES, Cause, both, feed_is_strong
from dbox.fieldwork.diagnosis.next_look import Look, next_looks
from dbox.fieldwork.diagnosis.posterior import (
    SURPRISED,
    Finding,
    Keystone,
    Seen,
    Weighing,
    fit_of,
    keystones,
    pours_done,
    weigh,
    word_of,
)
from dbox.fieldwork.diagnosis.visible import AT_REST
from dbox.fieldwork.diagnosis.worlds import day_shares, outlet_places
from dbox.fieldwork.evidence import WORDED
from dbox.fieldwork.pour import held_notes, order_notes, water_over_dry
from dbox.fieldwork.readings import reduce_readings, without_placeholders
from dbox.fieldwork.shares import gains_most, target_shares
from dbox.fieldwork.site import Site
from dbox.hydraulics.surge.inflow import PER_PERSON
from dbox.hydraulics.surge.parts import Trench
from dbox.keys import said
from dbox.notes import Note
from dbox.units import DAY

DRAWS = 60
"""Boxes drawn for each cause at each outlet; those that lead get more. [-] (numerical)"""

MOST_ROWS = 60_000
"""Boxes drawn at most in all: many outlets get fewer each. [-] (numerical)"""

_LEAST_DRAWS = 60
"""Boxes drawn at least for each cause at each outlet of a box with many. [-] (numerical)"""

_FEW = 12.0
"""Boxes under the leading cause, by the spread of their weights, below which probabilities are
rough. [-] (numerical)"""

_SPILT = 1.15
"""Catches over what was poured from which a volume or a time must be wrong: more than a timing
error of 5 to 10 % explains. [-] (judgement)"""

_LIGHT = 1e-4
"""Weight of a box, over that of the heaviest, below which it tells nothing. [-] (numerical)"""

_TRIFLE = 0.01
"""Probability from which an outlet is one that a cause may sit at. [-] (judgement)"""

_STEPS = 97
"""Hold-backs that boxes are given in turn, from least to most. [-] (numerical)"""

_BAND = (0.05, 0.95)
"""Percentiles of a band. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Normal:
    """One normal explanation, and where it stands."""

    topic: str  # `system`, `caps` or `use`.
    # `ask` where nobody has looked, `explains` where it may be all there is to it, `ruled out`.
    state: str
    what: str = ""  # The kind of system, the outlets that are capped, or the feed.


def normal_things(site: Site) -> tuple[Normal, ...]:
    """What may be normal at a site, asked or answered."""
    seen = site.evidence
    caps = [seen.of_outlet(i).cap for i in range(len(site.outlets))]
    pairs = zip(site.outlets, caps, strict=True)
    labels = [o.label for o, cap in pairs if o.capped or cap == "capped"]
    capped = outlets_text(labels) if labels else ""
    since = seen.since_use
    found = (
        ("system", seen.system is not None, seen.system not in (None, "distribution box"),
         seen.system or ""),
        ("caps", all(cap is not None for cap in caps), bool(capped), capped),
        ("use", since is not None, since is not None and since < AT_REST,
         "dosed" if feed_is_strong(site) else ""),
    )  # fmt: skip
    return tuple(
        Normal(
            topic=topic,
            state="explains" if explains else "ruled out" if looked_at else "ask",
            what=what,
        )
        for topic, looked_at, explains, what in found
    )


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Two observations that water does not show together."""

    one: Seen
    other: Seen


AGAINST_WATER = (
    {"plugged": "falls", "at_rest": "above all lips"},
    {"port": "dry", "drain_back": "long"},
    {"cap": "capped", "drain_back": "long"},
)
"""What water does not show at one outlet, whatever the cause: it runs back for long only from a
trench that stands over the lip, and so over the pipe in its port (common practice, no source)."""

OPEN_AND_FULL = {"mouth": "full", "rod": "clear", "drain_back": "none"}
"""Nor this: from an open pipe that is full water runs back. One wrong word makes it at any outlet,
so it is told only of one that may be the trouble."""

_SUSPECT = 0.10
"""Probability from which an outlet may be the trouble. [-] (judgement)"""


def contradictions(site: Site, suspicion: Array) -> tuple[Contradiction, ...]:
    """Observations that water does not show together; suspicion: of the outlets. (n,) [-]"""
    uncapped = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    found = []
    mouths = {word_of(site, WORDED["mouth"], i) for i in uncapped}
    over = Seen(kind=WORDED["at_rest"], word="above all lips")
    if word_of(site, over.kind) == over.word and mouths == {"dry"}:
        found.append((over, Seen(kind=WORDED["mouth"], word="dry")))
    for i in uncapped:
        rules = (*AGAINST_WATER, *([OPEN_AND_FULL] if suspicion[i] >= _SUSPECT else []))
        for rule in rules:
            kinds = [WORDED[name] for name in rule]
            seen = [
                Seen(kind=kind, outlet=i if kind.of_outlet else -1, word=rule[kind.name])
                for kind in kinds
            ]
            if all(word_of(site, each.kind, each.outlet) == each.word for each in seen):
                found.append((seen[0], seen[-1]))
    return tuple(Contradiction(one=one, other=other) for one, other in dict.fromkeys(found))


@dataclass(frozen=True, kw_only=True, eq=False)
class Overload:
    """The lines in numbers, as they stand; arrays are read-only, one entry per outlet."""

    outlet: int  # The line that is the most over its target.
    share: Array  # (n,) Share of an ordinary day. [-]
    share_low: Array  # (n,) Its 5th percentile. [-]
    share_high: Array  # (n,) Its 95th percentile. [-]
    share_rising_low: Array  # (n,) The 5th percentile while dry lips hold water back. [-]
    share_rising_high: Array  # (n,) The 95th of that. [-]
    target: Array  # (n,) Share that each should get, and would in a re-leveled box. [-]
    # (n,) Share of each where that line is capped for a rest and the others get their targets. [-]
    share_rested: Array
    daily_flow: float  # What the house sends in a day; NaN where nobody said. [m3/s]
    from_people: bool  # Whether that comes from the number of people alone.
    # (n,) Load on the bottom of each trench now; NaN where area or day are not known.
    load: Array = said("m/s")
    load_reset: Array = said("m/s")  # (n,) The same in a re-leveled box.
    load_rested: Array = said("m/s")  # (n,) The same with the line capped.
    acceptance: Array = said("m/s")  # (n,) What the soil takes over the long term; NaN: not known.
    # How long the line takes to fill to its pipe; inf where it keeps up, NaN where not known. [s]
    fills_in: float
    # The outlet whose line, by itself and more probably than not, is full and backs up; -1: none.
    sealed: int = -1
    # Share that it got before it backed up: 5th percentile, mean, 95th; NaN for none. [-]
    before: tuple[float, float, float] = (np.nan, np.nan, np.nan)


def overload_of(weighing: Weighing) -> Overload | None:
    """Work out the lines in numbers; None where their targets are not known."""
    site = weighing.site
    try:
        target = target_shares(site)
    except DomainError:
        return None
    low, share, high = _bands(weighing.states.day_share, weighing.weight)
    rising_low, _, rising_high = _bands(_rising_shares(weighing), weighing.weight)
    sealed, before = _sealed(weighing)
    outlet = int(np.argmax(np.where(target > 0, share / np.where(target > 0, target, 1.0), 0.0)))
    daily, people = site.evidence.daily_flow, site.works.people
    from_people = daily is None and people is not None
    if daily is None:
        daily = people * PER_PERSON / DAY if people is not None else np.nan
    area, acceptance = _trenches(site)
    rested = np.where(np.arange(target.size) == outlet, 0.0, target)
    rested = rested / rested.sum() if rested.sum() > 0 else rested
    loads = [part * daily / area for part in (share, target, rested)]
    freeze(low, share, high, rising_low, rising_high, target, rested, acceptance, *loads)
    return Overload(
        outlet=outlet,
        share=share,
        share_low=low,
        share_high=high,
        share_rising_low=rising_low,
        share_rising_high=rising_high,
        target=target,
        share_rested=rested,
        daily_flow=daily,
        from_people=from_people,
        load=loads[0],
        load_reset=loads[1],
        load_rested=loads[2],
        acceptance=acceptance,
        fills_in=_fill_time(_trench(site, outlet), share[outlet] * daily),
        sealed=sealed,
        before=before,
    )


def _rising_shares(weighing: Weighing) -> Array:
    """Shares of an ordinary day that comes to dry lips, of the boxes that count. [-] (r, n)"""
    states, weight, hold = weighing.states, weighing.weight, weighing.site.hold_back
    rows = np.flatnonzero(weight > _LIGHT * weight.max())
    share, then = states.day_share.copy(), states.take(rows)
    each = np.linspace(*hold, _STEPS)[rows % _STEPS]
    share[rows] = day_shares(weighing.water, then, then.day, each)
    return share


def _sealed(weighing: Weighing) -> tuple[int, tuple[float, float, float]]:
    """The line that is full by itself, and the share it got while its trench still took it."""
    states, weight = weighing.states, weighing.weight
    full = np.isfinite(states.tail) & states.own
    chance = weight @ full
    outlet = int(np.argmax(chance))
    if not chance[outlet] > 0.5:
        return -1, (np.nan, np.nan, np.nan)
    rows = np.flatnonzero(full[:, outlet] & (weight > _LIGHT * weight.max()))
    then = states.take(rows)
    flow = weighing.water.flows(replace(then, tail=np.full_like(then.tail, -np.inf)), then.day)
    share = flow / np.maximum(flow.sum(-1, keepdims=True), 1e-12)
    low, mean, high = (float(each[outlet]) for each in _bands(share, weight[rows]))
    return outlet, (low, mean, high)


def _bands(share: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Weighted 5th percentile, mean and 95th percentile of the shares of a day. (n,) each."""
    low, high = _percentiles(share, weight, _BAND)
    return low, np.asarray(weight @ share) / weight.sum(), high


def _percentiles(values: Array, weight: Array, parts: Sequence[float]) -> Array:
    """Weighted percentiles along the first axis. (parts, ...)"""
    order = np.argsort(values, axis=0, kind="stable")
    rising = np.take_along_axis(values, order, 0)
    reached = np.cumsum(weight[order], axis=0) / weight.sum()
    places = np.array([(reached >= part).argmax(0) for part in parts])
    return np.asarray(np.take_along_axis(rising, places, 0))


def _trench(site: Site, outlet: int) -> Trench | None:
    return site.works.trenches[outlet] if site.works.trenches else None


def _trenches(site: Site) -> tuple[Array, Array]:
    """Bottom area [m2] and acceptance rate [m/s] of every line, NaN where not known. (n,) each."""
    area, rate = np.full(len(site.outlets), np.nan), np.full(len(site.outlets), np.nan)
    for i, outlet in enumerate(site.outlets):
        if (trench := _trench(site, i)) is not None:
            area[i], rate[i] = trench.length * trench.width, trench.rate
        if outlet.line_area is not None:
            area[i] = outlet.line_area
    return area, rate


def _fill_time(trench: Trench | None, inflow: float) -> float:
    """Time in which a trench fills from dry to its pipe at a steady inflow. [s]"""
    if trench is None or np.isnan(inflow):
        return np.nan
    # its walls take more as it fills: in thirty steps of depth
    depths = np.linspace(0.0, trench.pipe_height, 31)
    middle = 0.5 * (depths[1:] + depths[:-1])
    walls = 2.0 * (trench.width + trench.length) * middle
    excess = inflow - trench.rate * (trench.width * trench.length + walls)
    if np.any(excess <= 0):
        return np.inf
    return float((trench.storage_area * np.diff(depths) / excess).sum())


@dataclass(frozen=True, kw_only=True)
class Size:
    """What was fitted to a cause, with its 5 to 95 per cent band."""

    # `drop` across the outlets of a leaning box [m], `fault` of a lip [m], or `leak` [m3/s].
    kind: str
    low: float
    middle: float  # The median.
    high: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One cause or two at once, how probable that is and why."""

    cause: Cause  # The cause, or the two put together.
    parts: tuple[tuple[Cause, int], ...]  # The one or two causes and their outlets; -1 for none.
    outlet: int  # Outlet of the first that has one, or that a leaning box leans toward; -1: none.
    probability: float  # Given all that was seen. [-]
    findings: tuple[Finding, ...]  # What speaks for it and against it, the loudest first.
    # How much more it is surprised than chance would have it, in standard deviations. [-]
    surprise: float
    size: Size | None  # What was fitted.

    @property
    def key(self) -> str:
        """Key of the cause, of two joined by "+"."""
        return self.cause.key

    @property
    def fits(self) -> bool:
        """Whether what was seen is no great surprise under it."""
        return self.surprise < SURPRISED


@dataclass(frozen=True, kw_only=True)
class Summed:
    """One cause that may sit at several outlets, which one not known."""

    cause: Cause  # The cause.
    probability: float  # At any of them, by itself. [-]
    outlets: tuple[int, ...]  # Where it may sit, the most probable first.


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """Ranked causes and what to do next."""

    site: Site  # What was asked about.
    answers: tuple[Answer, ...]  # Every cause at every outlet, the most probable first.
    looks: tuple[Look, ...]  # Looks not yet made, the one most worth making first.
    normal: tuple[Normal, ...]  # What may be normal, asked or answered.
    contradictions: tuple[Contradiction, ...]  # Observations that water does not show together.
    keystones: tuple[Keystone, ...]  # Looks on each of which alone the lead rests.
    off_level: Size  # Drop across the outlets as the box stands, whatever the cause. [m]
    overload: Overload | None  # The lines in numbers.
    warnings: tuple[Note, ...]  # Where the evidence or the drawing is weak.

    @property
    def fits_well(self) -> bool:
        """Whether the leading cause fits; else none of these is said to fit well."""
        return self.answers[0].fits

    @property
    def summed(self) -> tuple[Summed, ...]:
        """Single causes that more than one outlet may have, the most probable first."""
        found = []
        for cause in CAUSES:
            at = [a for a in self.answers if a.cause is cause and a.probability > _TRIFLE]
            if len(at) > 1:
                outlets, chance = tuple(a.outlet for a in at), sum(a.probability for a in at)
                found.append(Summed(cause=cause, probability=chance, outlets=outlets))
        return tuple(sorted(found, key=lambda each: -each.probability))

    @property
    def unexplained(self) -> tuple[Seen, ...]:
        """What the leading cause hardly expects."""
        return tuple(found.seen for found in self.answers[0].findings if found.fits_badly)


def diagnose(site: Site, *, seed: int = 0, draws: int = DRAWS) -> Diagnosis:
    """Rank the causes of a system in trouble by what was seen of it; draws [-]."""
    if draws < 20:
        raise DomainError(f"draws [-] is {draws}; take 20 or more")
    if all(outlet.capped for outlet in site.outlets):
        raise DomainError("every outlet is capped; leave at least one open")
    asked, site = site, without_placeholders(site)
    many = MOST_ROWS // (20 * len(site.outlets))
    weighing = weigh(site, draws=min(draws, max(many, _LEAST_DRAWS)), seed=seed)
    overload = overload_of(weighing)
    return Diagnosis(
        site=site,
        answers=_answers(weighing),
        looks=next_looks(weighing, seed=seed),
        normal=normal_things(site),
        contradictions=contradictions(site, weighing.suspicion),
        keystones=keystones(weighing),
        off_level=_size("drop", np.ptp(weighing.states.plane, axis=-1), weighing.weight),
        overload=overload,
        warnings=(*_warnings(asked, weighing), *_held_back(site, overload)),
    )


def _answers(weighing: Weighing) -> tuple[Answer, ...]:
    """Every answer with what speaks for it, the most probable first."""
    place = weighing.answer_of_row
    rows = np.split(np.argsort(place, kind="stable"), np.cumsum(np.bincount(place))[:-1])
    fit, probability, answers = fit_of(weighing), weighing.probability, []
    for number in np.argsort(-probability, kind="stable").tolist():
        parts = [(CAUSES[c], outlet) for c, outlet in weighing.hypotheses.answers[number]]
        cause = parts[0][0] if len(parts) == 1 else both(parts[0][0], parts[1][0])
        size, log_weight = None, weighing.log_weight[rows[number]]
        if np.isfinite(log_weight.max()):
            weight = np.exp(log_weight - log_weight.max())
            size = _fitted(cause, weighing.states.size[rows[number]], weight)
            if parts[0][0].tilted:
                plane = weighing.states.plane[rows[number]]
                parts[0] = parts[0][0], _toward(plane, weight)
        answers.append(Answer(
            cause=cause,
            parts=tuple(parts),
            outlet=next((outlet for _, outlet in parts if outlet >= 0), -1),
            probability=float(probability[number]),
            findings=fit.findings[number],
            surprise=float(fit.surprise[number]),
            size=size,
        ))  # fmt: skip
    return tuple(answers)


def _toward(plane: Array, weight: Array) -> int:
    """The outlet that a leaning box most probably has lowest; plane [m]."""
    return int(np.bincount(plane.argmin(-1), weight, plane.shape[-1]).argmax())


def _fitted(cause: Cause, size: Array, weight: Array) -> Size | None:
    if cause.leaks:
        weight = np.where(size > 0, weight, 0.0)
    if not (weight.sum() > 0 and (cause.leaks or cause.tilted or cause.fault)):
        return None
    return _size("leak" if cause.leaks else "drop" if cause.tilted else "fault", size, weight)


def _size(kind: str, size: Array, weight: Array) -> Size:
    low, middle, high = _percentiles(size, weight, (_BAND[0], 0.5, _BAND[1])).tolist()
    return Size(kind=kind, low=low, middle=middle, high=high)


def _held_back(site: Site, over: Overload | None) -> Iterator[Note]:
    """What dry lips did in the pours, and do to the line that gains most from them.

    Where every lip was read.
    """
    lips = reduce_readings(site)
    if np.isnan(lips.height).any():
        return
    waters = np.array([water_over_dry(site, pour, lips) for pour in site.pours])
    yield from held_notes(site, site.pours, waters)
    late = order_notes(site, site.pours, lips)
    yield from (note for note in late if note.what == "pour: order by dry lip")
    if over is None:
        return
    rising = np.stack([over.share_rising_low, over.share_rising_high])
    if held := gains_most(site, lips, over.share, rising, over.share_high):
        yield Note(what="diagnose: held back", values=held)


def _warnings(asked: Site, weighing: Weighing) -> tuple[Note, ...]:
    notes = [Note(what="diagnose: placeholders")] if asked.placeholder else []
    if not outlet_places(weighing.site)[1]:
        notes.append(Note(what="diagnose: places"))
    for pour in pours_done(weighing.site):
        caught = sum(c for c in pour.catches if c is not None)
        if caught > _SPILT * pour.inflow:
            values = {"pour": pour.name, "part": caught / pour.inflow}
            notes.append(Note(what="diagnose: spilt", values=values))
    lead = weighing.answer_of_row == int(np.argmax(weighing.probability))
    weight = weighing.weight[lead]
    if not weight.sum() ** 2 > _FEW * (weight**2).sum():
        notes.append(Note(what="diagnose: few boxes"))
    return tuple(notes)
