"""The guided set-up: events in, the state of the job out.

A job is nothing but its events: whoever plays them again stands where the person stood. So an event
carries all that the next state needs, and none is ever changed; `Undone` takes the last one back.

A pass is one filling of the box: still water, the readings of every open outlet over it, and the
turning that they ask for. Shares and turns come from `levelling`; how the job stands after it is

    within    every flow is within the tolerance
    inlet     so it is by the lips, but at some flow the jet of the inlet decides
    ruler     the readings cannot tell the lips apart any better
    hand      every turn that is left is smaller than a hand can set
    re-bed    no common height can be reached
    adjust    there is something to turn

The first pass turns what `levelling` asks for. From the second on, lips that differ no more than
reading errors alone often make them are left: turning them would only follow the ruler's errors.

None of them refuses: a box may stand as badly as it reads. Each asks once whether it is meant.

    under water   the lip lies so deep that water would still be running out over it
    reach         no turning of the inserts could bring this lip and the others together
    high          an insert that cannot be turned stands higher over the water than its hole is high
    apart         repeats of one outlet differ by more than reading errors do

events -> `replay` -> `Job` -> `Job.question`

Events lead from state to state by what they say alone; nothing that is computed decides whether
one fits. So a log plays back the same after the tolerance was edited, or by a later version of the
package. What is computed (shares, turns, whether to go on) decides only what is asked.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from typing import TypeVar

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.levelling import HAND_STEP, Levelling, level, lips_alike
from dbox.fieldwork.readings import reduce_readings, without_placeholders
from dbox.fieldwork.site import DEFAULT_SPREAD, Site
from dbox.fieldwork.turning import Reach, lip_rise
from dbox.hydraulics.openings.base import CAPILLARY_HEAD


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that was answered."""

    at: str = ""  # When, as ISO 8601 with the offset from UTC; empty where not known.


@dataclass(frozen=True, kw_only=True)
class ClockSet(Event):
    """Where the hole of an outlet stands before the readings; None: not known. [rad]"""

    outlet: int
    angle: float | None


@dataclass(frozen=True, kw_only=True)
class Still(Event):
    """The water stands still at the lowest lip, and how its heights are going to be read."""

    method: str


@dataclass(frozen=True, kw_only=True)
class Read(Event):
    """Heights of one outlet's point over still water, + above it. [m]

    `doubtful` ones count only once they are confirmed.
    """

    outlet: int
    heights: tuple[float, ...]
    doubtful: bool = False


@dataclass(frozen=True, kw_only=True)
class Confirmed(Event):
    """Whether the doubtful reading is meant as it was typed."""

    sure: bool


@dataclass(frozen=True, kw_only=True)
class Settled(Event):
    """No more readings of this outlet; what it has is kept."""

    outlet: int


@dataclass(frozen=True, kw_only=True)
class Skipped(Event):
    """Not measured for now: it is asked for again after the others."""

    outlet: int


@dataclass(frozen=True, kw_only=True)
class Correcting(Event):
    """The readings of this outlet are to be given anew; until then the old ones are kept."""

    outlet: int


@dataclass(frozen=True, kw_only=True)
class Left(Event):
    """The hole of an outlet was left elsewhere than told; None: not known. [rad]"""

    outlet: int
    angle: float | None


@dataclass(frozen=True, kw_only=True)
class Turned(Event):
    """Turning is done and the next pass begins: where every hole stands now. [rad]"""

    angles: tuple[float | None, ...]


@dataclass(frozen=True, kw_only=True)
class Closed(Event):
    """The job ends here."""


@dataclass(frozen=True, kw_only=True)
class Undone(Event):
    """The last event that still stands is taken back."""


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How turns are worked out; fields as the keywords of `levelling.level`."""

    match_highest: bool = False  # Whether the highest lip is the goal.
    design_flow: int = 0  # Index of the flow at which unequal targets are met.
    hand_step: float = HAND_STEP  # Turns are rounded to multiples of this. [rad]


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One pass; every tuple has one entry per outlet."""

    number: int  # From 1.
    # Where each hole stands while it is read; None where unknown. [rad]
    angles: tuple[float | None, ...]
    # Heights of each reading point over still water; empty where not measured. [m]
    readings: tuple[tuple[float, ...], ...]
    settled: tuple[bool, ...]  # Whether the readings of that outlet are complete.
    read_at: tuple[str, ...]  # When each outlet was last read.
    method: str | None = None  # How heights are read; None until the water stands still.
    still_at: str = ""  # When the water was called still, and when turning was done.
    done_at: str = ""  # When the water was called still, and when turning was done.
    # An outlet and its heights, waiting to be confirmed, and whether they are all. [m]
    doubtful: tuple[int, tuple[float, ...], bool] | None = None
    correcting: int | None = None  # Outlet that is to be read anew.
    # Outlets put off, in the order in which they are asked for again.
    skipped: tuple[int, ...] = ()
    # Outlets whose hole was left elsewhere than told, and where. [rad]
    left: tuple[tuple[int, float | None], ...] = ()
    # Where each hole stands after the turning; None while it is not done. [rad]
    turned: tuple[float | None, ...] | None = None
    # Lowest place where water could leave other than by the outlets, over the still water of the
    # pass before. [m]
    rim: float | None = None
    # Lips over that same water, once turned; NaN where unknown; empty for the first pass. [m]
    expected: tuple[float, ...] = ()

    def complete(self, site: Site) -> bool:
        """Whether every open outlet is read and nothing waits to be answered."""
        all_read = all(s or o.capped for s, o in zip(self.settled, site.outlets, strict=True))
        return all_read and self.doubtful is None and self.correcting is None

    def as_read(self, site: Site) -> Site:
        """The box with the readings, the clock positions and the rim of this pass."""
        outlets = tuple(
            replace(outlet, readings=heights, clock=angle)
            for outlet, heights, angle in zip(site.outlets, self.readings, self.angles, strict=True)
        )
        read = replace(site, outlets=outlets, box=replace(site.box, rim=self.rim))
        if self.rim is None or not self.expected:
            return read
        # the water rose with the lowest lip: the lips that were expected tell by how much
        expected, lips = np.array(self.expected), reduce_readings(read).height
        known = np.isfinite(expected) & np.isfinite(lips)
        risen = expected[known] - lips[known]
        rim = self.rim - float(risen.mean()) if risen.size else None
        return replace(read, box=replace(site.box, rim=rim))


def first_pass(site: Site, angles: tuple[float | None, ...]) -> Pass:
    """The pass that a job begins with; angles [rad]."""
    n = len(site.outlets)
    return Pass(
        number=1,
        angles=angles,
        readings=((),) * n,
        settled=(False,) * n,
        read_at=("",) * n,
        rim=site.box.rim,
    )


def next_pass(site: Site, done: Pass, turned: tuple[float | None, ...]) -> Pass:
    """The pass that follows one whose turning is done; turned [rad]."""
    read = done.as_read(site)
    return replace(
        first_pass(site, turned),
        number=done.number + 1,
        rim=read.box.rim,
        expected=tuple(_expected(read, turned).tolist()),
    )


def _expected(read: Site, turned: tuple[float | None, ...]) -> Array:
    """Lips after turning, over the water they were read from; NaN where a clock is unknown."""
    before = np.array([o.clock if o.clock is not None else np.nan for o in read.outlets])
    after = np.array([np.nan if angle is None else angle for angle in turned])
    offset = np.array([o.hole_offset or 0.0 for o in read.outlets])
    rise = np.where(offset > 0, lip_rise(after, offset) - lip_rise(before, offset), 0.0)
    expected: Array = reduce_readings(read).height + rise
    return expected


@lru_cache(maxsize=64)
def levelled(read: Site, rules: Rules) -> Levelling:
    """What the readings of a pass ask for; the same pass is worked out once."""
    return level(
        read,
        match_highest=rules.match_highest,
        design_flow=rules.design_flow,
        hand_step=rules.hand_step,
    )


def conclude(levelling: Levelling, number: int) -> str:
    """How the job stands after a pass."""
    before = levelling.before
    if all(verdict == "within" for verdict in before.verdicts):
        return "within"
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return "inlet"
    settled = levelling.verdict == "nothing to do"
    if (settled or number > 1) and lips_alike(before.lips, levelling.offset):
        return "ruler"
    return "hand" if settled else levelling.verdict


_T = TypeVar("_T")


def step(site: Site, now: Pass, event: Event) -> Pass:
    """The present pass once an event of its own has happened."""
    if isinstance(event, ClockSet):
        return replace(now, angles=_with(now.angles, event.outlet, event.angle))
    if isinstance(event, Still):
        return replace(now, method=event.method, still_at=event.at)
    if now.method is None:
        raise DomainError("nothing is read before the water is still")
    if isinstance(event, Left):
        others = tuple(pair for pair in now.left if pair[0] != event.outlet)
        return replace(now, left=(*others, (event.outlet, event.angle)))
    if isinstance(event, Confirmed):
        return _confirmed(now, event)
    if isinstance(event, Read | Settled | Skipped | Correcting):
        if site.outlets[event.outlet].capped:
            raise DomainError(f"outlet {site.outlets[event.outlet].label} is capped")
        return _reading_step(now, event)
    raise DomainError(f"{type(event).__name__} has no meaning in a set-up")


def _reading_step(now: Pass, event: Read | Settled | Skipped | Correcting) -> Pass:
    outlet = event.outlet
    if isinstance(event, Correcting):
        return replace(now, correcting=outlet)
    if isinstance(event, Skipped):
        return replace(
            now,
            readings=_with(now.readings, outlet, ()),
            settled=_with(now.settled, outlet, False),
            skipped=(*(i for i in now.skipped if i != outlet), outlet),
            doubtful=None,
            correcting=None,
        )
    if isinstance(event, Settled):
        if not now.readings[outlet]:
            raise DomainError("an outlet without a reading cannot be done")
        return replace(now, settled=_with(now.settled, outlet, True), correcting=None)
    anew = now.correcting == outlet
    heights = event.heights if anew else now.readings[outlet] + event.heights
    waiting = replace(
        now,
        # several heights at once are all there are to come
        doubtful=(outlet, heights, len(event.heights) > 1),
        read_at=_with(now.read_at, outlet, event.at),
    )
    return waiting if event.doubtful else _taken(waiting)


def _confirmed(now: Pass, event: Confirmed) -> Pass:
    if now.doubtful is None:
        raise DomainError("there is no reading to confirm")
    return _taken(now) if event.sure else replace(now, doubtful=None)


def _taken(now: Pass) -> Pass:
    """The pass once the waiting reading counts."""
    if now.doubtful is None:
        return now
    outlet, heights, settles = now.doubtful
    return replace(
        now,
        readings=_with(now.readings, outlet, heights),
        settled=_with(now.settled, outlet, settles),
        skipped=tuple(i for i in now.skipped if i != outlet),
        doubtful=None,
        correcting=None,
    )


def _with(values: tuple[_T, ...], place: int, value: _T) -> tuple[_T, ...]:
    return (*values[:place], value, *values[place + 1 :])


_TALLEST = 0.1
_APART = 4.0
_SLACK = 2.0


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Why a reading is asked about."""

    why: str  # `under water`, `reach`, `high` or `apart`.
    # How deep the lip lies, how far from the reach of the inserts, how high it stands, or how far
    # the repeats differ. [m]
    amount: float
    # For `reach`, the outlet that it cannot be brought together with; None: still water.
    other: int | None = None


def doubt(site: Site, now: Pass, outlet: int, heights: tuple[float, ...]) -> Doubt | None:
    """What is odd about the heights of one outlet; heights [m]."""
    spread = site.spread or DEFAULT_SPREAD
    apart = max(heights) - min(heights)
    if apart > _APART * spread:
        return Doubt(why="apart", amount=apart)
    lip = float(np.mean(heights)) - site.outlets[outlet].point_over_lip
    if lip < -CAPILLARY_HEAD:
        return Doubt(why="under water", amount=-lip)
    travel = 2.0 * (site.outlets[outlet].hole_offset or 0.0)
    if not travel:
        high = min(site.outlets[outlet].opening.top, _TALLEST)
        return Doubt(why="high", amount=lip) if lip > high else None
    # still water stands at the lowest lip, so a full travel over it is out of reach
    if lip > travel + spread:
        return Doubt(why="reach", amount=lip - travel)
    return _out_of_reach(site, now, outlet, heights, _SLACK * spread)


def _out_of_reach(
    site: Site, now: Pass, outlet: int, heights: tuple[float, ...], slack: float
) -> Doubt | None:
    """The outlet read before that is the farthest from coming together with this one."""
    readings = tuple(heights if i == outlet else r for i, r in enumerate(now.readings))
    read = replace(now, readings=readings).as_read(site)
    reach = Reach.of(read, reduce_readings(read))
    gap = np.maximum(reach.low - reach.high[outlet], reach.low[outlet] - reach.high)
    gap = np.where(reach.adjustable & np.isfinite(gap), gap, -np.inf)
    other = int(np.argmax(gap))
    if gap[other] <= slack:
        return None
    return Doubt(why="reach", amount=float(gap[other]), other=other)


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked next."""

    kind: str  # `clock`, `still`, `reading`, `repeat`, `confirm`, `turn` or `close`.
    outlet: int | None = None  # The outlet that it is about.
    doubt: Doubt | None = None  # For `confirm`, what is odd.


@dataclass(frozen=True, kw_only=True)
class Job:
    """A guided set-up as it stands."""

    site: Site  # The box as the scenario gives it.
    passes: tuple[Pass, ...]  # At least one; the last is the present one.
    rules: Rules = field(default_factory=Rules)  # How turns are worked out.
    not_known: tuple[int, ...] = ()  # Outlets whose clock position was asked for and is not known.
    closed: bool = False  # Whether the job has ended.

    @property
    def now(self) -> Pass:
        """The present pass."""
        return self.passes[-1]

    @property
    def levelling(self) -> Levelling | None:
        """What the readings of the present pass ask for; None while it is not complete."""
        if not self.now.complete(self.site):
            return None
        return levelled(self.now.as_read(self.site), self.rules)

    @property
    def conclusion(self) -> str | None:
        """How the job stands after the present pass; None while it is not complete."""
        levelling = self.levelling
        return None if levelling is None else conclude(levelling, self.now.number)

    @property
    def question(self) -> Question | None:
        """What is asked next; None where the job has ended."""
        if self.closed:
            return None
        if self.now.method is None:
            unknown = self._clock_to_ask()
            return (
                Question(kind="still")
                if unknown is None
                else Question(kind="clock", outlet=unknown)
            )
        if not self.now.complete(self.site):
            return self._reading_question()
        return Question(kind="turn" if self.conclusion == "adjust" else "close")

    def _clock_to_ask(self) -> int | None:
        for i, outlet in enumerate(self.site.outlets):
            turns = bool(outlet.hole_offset) and not outlet.capped
            if turns and self.now.angles[i] is None and i not in self.not_known:
                return i
        return None

    def _reading_question(self) -> Question:
        now = self.now
        if now.doubtful is not None:
            outlet, heights, _ = now.doubtful
            odd = doubt(self.site, now, outlet, heights)
            return Question(kind="confirm", outlet=outlet, doubt=odd)
        if now.correcting is not None:
            return Question(kind="reading", outlet=now.correcting)
        left = [
            i
            for i, outlet in enumerate(self.site.outlets)
            if not outlet.capped and not now.settled[i] and i not in now.skipped
        ]
        outlet = (*left, *now.skipped)[0]
        return Question(kind="repeat" if now.readings[outlet] else "reading", outlet=outlet)

    @property
    def left_angles(self) -> tuple[float | None, ...]:
        """Where the holes stand if nothing is turned but what was said; None: unknown. [rad]"""
        return self._but_left(self.now.angles)

    @property
    def told_angles(self) -> tuple[float | None, ...]:
        """Where they stand once turned as told, but for what was left elsewhere. [rad]"""
        levelling = self.levelling
        angles = list(self.now.angles)
        if levelling is not None and self.conclusion == "adjust":
            for i in levelling.order:
                after = float(levelling.angle_after[i])
                angles[i] = None if np.isnan(after) else after
        return self._but_left(angles)

    def _but_left(self, angles: Sequence[float | None]) -> tuple[float | None, ...]:
        left = dict(self.now.left)
        return tuple(left.get(i, angle) for i, angle in enumerate(angles))

    def after(self, event: Event) -> "Job":
        """The job once an event has happened."""
        if self.closed:
            raise DomainError("the job has ended; nothing can follow")
        if isinstance(event, ClockSet) and event.angle is None:
            known = replace(self, not_known=(*self.not_known, event.outlet))
            return replace(known, passes=(*self.passes[:-1], step(self.site, self.now, event)))
        if not isinstance(event, Turned | Closed):
            return replace(self, passes=(*self.passes[:-1], step(self.site, self.now, event)))
        if not self.now.complete(self.site):
            raise DomainError("not every open outlet is read, so the pass cannot end")
        if isinstance(event, Closed):
            return replace(self, closed=True)
        following = next_pass(self.site, self.now, event.angles)
        done = replace(self.now, turned=event.angles, done_at=event.at)
        return replace(self, passes=(*self.passes[:-1], done, following))


def begin(
    site: Site, rules: Rules | None = None, angles: Sequence[float | None] | None = None
) -> Job:
    """A job before its first answer; angles [rad]."""
    site = without_placeholders(site)
    start = tuple(o.clock for o in site.outlets) if angles is None else tuple(angles)
    return Job(site=site, passes=(first_pass(site, start),), rules=rules or Rules())


def standing(events: Iterable[Event]) -> tuple[Event, ...]:
    """The events that were not taken back.

    >>> standing([Closed(at="9:00"), Closed(at="9:05"), Undone()])
    (Closed(at='9:00'),)
    """
    kept: list[Event] = []
    for event in events:
        if not isinstance(event, Undone):
            kept.append(event)
        elif kept:
            kept.pop()
        else:
            raise DomainError("there is nothing to take back")
    return tuple(kept)


def replay(start: Job, events: Iterable[Event]) -> Job:
    """Play events again."""
    job = start
    for event in standing(events):
        job = job.after(event)
    return job


STOPPED = "stopped"
"""Outcome of a job that was ended while there was still something to turn."""


@dataclass(frozen=True, kw_only=True)
class PassRecord:
    """One pass over the box; tuples have one entry per outlet."""

    number: int  # From 1.
    # The box with the readings and the clock positions of this pass, over its still water.
    site: Site
    method: str  # How the heights were read; empty while the water was not still.
    # When the water was called still and when turning was done; empty where it was not. ISO 8601.
    still_at: str
    # When the water was called still and when turning was done; empty where it was not. ISO 8601.
    done_at: str
    read_at: tuple[str, ...]  # When each outlet was read; empty where it was not. ISO 8601.
    # Shares with bands, and turns; None where an open outlet was not read.
    levelling: Levelling | None
    conclusion: str | None  # As `passes.conclude`; None with levelling.
    # Where each hole stood after the turning, None where unknown; None where there was none. [rad]
    angles_after: tuple[float | None, ...] | None


@dataclass(frozen=True, kw_only=True)
class SetupRecord:
    """A whole set-up."""

    site: Site  # The box as the scenario gives it.
    passes: tuple[PassRecord, ...]  # In order; the last one may be incomplete.
    finished: bool  # Whether the job has ended.
    # `within`, `inlet`, `ruler`, `hand`, `re-bed` or `stopped`; None while the job goes on.
    outcome: str | None
    asks: str | None  # Kind of the question that stands; None where the job has ended.
    # Which visit to the box this is, of how many there are, from 1; from the second on it is a re-
    # check of a box that was read before.
    visit: int = 1
    # Which visit to the box this is, of how many there are, from 1; from the second on it is a re-
    # check of a box that was read before.
    visits: int = 1
    begun_at: str = ""  # When it began, as ISO 8601; empty where not known.

    @property
    def last_complete(self) -> PassRecord | None:
        """The last pass in which every open outlet was read."""
        complete = [p for p in self.passes if p.levelling is not None]
        return complete[-1] if complete else None


def record(job: Job, *, visit: int = 1, visits: int = 1, begun_at: str = "") -> SetupRecord:
    """Write down a job as it stands."""
    question = job.question
    ended = STOPPED if job.conclusion == "adjust" else job.conclusion
    return SetupRecord(
        site=job.site,
        passes=tuple(_pass_record(job, number) for number in range(len(job.passes))),
        finished=job.closed,
        outcome=ended if job.closed else None,
        asks=None if question is None else question.kind,
        visit=visit,
        visits=visits,
        begun_at=begun_at,
    )


def _pass_record(job: Job, index: int) -> PassRecord:
    each = job.passes[index]
    read = each.as_read(job.site)
    levelling = levelled(read, job.rules) if each.complete(job.site) else None
    return PassRecord(
        number=each.number,
        site=read,
        method=each.method or "",
        still_at=each.still_at,
        done_at=each.done_at,
        read_at=each.read_at,
        levelling=levelling,
        conclusion=None if levelling is None else conclude(levelling, each.number),
        angles_after=each.turned,
    )
