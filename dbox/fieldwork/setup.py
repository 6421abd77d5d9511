"""The guided set-up: events in, the state of the job out.

A job is nothing but its events: whoever plays them again stands where the person stood, after the
tolerance was edited or by a later version of the package. So an event carries all that the next
state needs, and none is ever changed; `Undone` leads back to the job before the last one. What is
computed (shares, turns, whether to go on) decides only what is asked, never whether an event fits.

A pass is one filling of the box: still water, the readings of every open outlet over it, and the
turning that they ask for. Shares and turns come from `levelling`; how the job stands after it is

    within    every flow is within the tolerance
    inlet     so it is by the lips, but the jet of a straight inlet decides, or would if it is one
    level     nobody named a tolerance, and the lips stand as well as a good hand leaves them
    ruler     the readings cannot tell the lips apart any better
    hand      a line is outside, but what is left to turn is less than a hand can make good
    re-bed    what turning leaves is worse than asked
    adjust    there is something to turn
    again     nothing to turn for certain, but another filling read would tell

What every pass told of the lips stays known: see `estimate`. After `again` all is topped up and
read once more, with nothing turned. A reading that looks wrong is asked about once and never
refused: a box may stand as badly as it reads.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property, reduce
from typing import Any, TypeVar

import numpy as np

from dbox.arrays import Array, with_gaps
from dbox.errors import DomainError
from dbox.fieldwork.estimate import HAND_ERROR, Estimate
from dbox.fieldwork.levelling import HAND_STEP, Levelling, level
from dbox.fieldwork.readings import Doubt, doubt, reduce_readings, without_placeholders
from dbox.fieldwork.recheck import Recheck, Standing
from dbox.fieldwork.shares import SAMPLES
from dbox.fieldwork.site import Site
from dbox.fieldwork.turning import learned_offset
from dbox.notes import Note

Angles = tuple[float | None, ...]
"""Where the hole of each outlet stands; None where unknown. [rad]"""


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
class Stuck(Event):
    """From here on the inserts of these outlets do not turn, and those of all others do."""

    outlets: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Carried(Event):
    """These outlets are not read again: their lips are as the visit before left them."""

    outlets: tuple[int, ...]


@dataclass(frozen=True, kw_only=True)
class Turned(Event):
    """Turning is done and the next pass begins: where every hole stands now. [rad]"""

    angles: Angles


@dataclass(frozen=True, kw_only=True)
class Told(Event):
    """Something about the box that its file lacks, as `Site.lacks` names it; None: left out."""

    key: str
    value: Any = None  # As `Site.having` takes it.


@dataclass(frozen=True, kw_only=True)
class Closed(Event):
    """The job ends here."""


@dataclass(frozen=True, kw_only=True)
class Undone(Event):
    """The last event that still stands is taken back."""


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How turns are worked out: keywords of `levelling.level`."""

    match_highest: bool = False  # Whether the highest lip is the goal.
    # Index of the flow at which unequal targets are met; None: all flows have a say.
    design_flow: int | None = None
    hand_step: float = HAND_STEP  # Turns are rounded to multiples of this. [rad]
    samples: int = SAMPLES  # Points over which the bands are taken. [-]


_NEXT = {"turn": "adjust", "re-bed": "re-bed", "read again": "again"}


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One pass; every tuple has one entry per outlet."""

    entered: Site = field(repr=False, compare=False)  # The box as the scenario gives it.
    rules: Rules = field(repr=False, compare=False)  # How turns are worked out.
    number: int  # From 1.
    angles: Angles  # Where each hole stands while it is read. [rad]
    # Heights of each reading point over still water; empty where not measured. [m]
    readings: tuple[tuple[float, ...], ...]
    settled: tuple[bool, ...]  # Whether the readings of that outlet are complete.
    read_at: tuple[str, ...]  # When each outlet was last read, as ISO 8601.
    method: str | None = None  # How heights are read; None until the water stands still.
    still_at: str = ""  # When the water was called still, as ISO 8601.
    done_at: str = ""  # When turning was done, as ISO 8601.
    # An outlet and its heights, waiting to be confirmed, and whether they are all. [m]
    doubtful: tuple[int, tuple[float, ...], bool] | None = None
    correcting: int | None = None  # Outlet that is to be read anew.
    skipped: tuple[int, ...] = ()  # Outlets put off, in the order in which they are asked again.
    # Outlets whose hole was left elsewhere than told, and where. [rad]
    left: tuple[tuple[int, float | None], ...] = ()
    turned: Angles | None = None  # Where each hole stands after the turning; None before. [rad]
    stuck: tuple[int, ...] = ()  # Outlets whose inserts turned out not to turn.
    carried: tuple[int, ...] = ()  # Outlets whose lips are taken over from the visit before.
    previous: "Pass | None" = field(default=None, repr=False, compare=False)  # The pass before.
    # The visit before, whose lips may be taken over; None where there is none to take from.
    earlier: "Job | None" = field(default=None, repr=False, compare=False)

    @property
    def complete(self) -> bool:
        """Whether every open outlet is read and nothing waits to be answered."""
        outlets = zip(self.settled, self.entered.outlets, strict=True)
        all_read = all(settled or outlet.capped for settled, outlet in outlets)
        return all_read and self.doubtful is None and self.correcting is None

    @cached_property
    def site(self) -> Site:
        """The box with readings, clocks and rim of this pass; carried lips as they are known."""
        outlets = list(self._read.outlets)
        for i in self.carried:
            height = float(self.known.height[i]) + outlets[i].point_over_lip
            outlets[i] = replace(outlets[i], readings=(height,))
        return replace(self._read, outlets=tuple(outlets))

    @cached_property
    def _read(self) -> Site:
        """The same with what was read in this pass alone."""
        turns = [None if i in self.stuck else hole for i, hole in enumerate(self._offsets)]
        given = zip(self.entered.outlets, self.readings, self.angles, turns, strict=True)
        outlets = tuple(replace(o, readings=r, clock=a, hole_offset=t) for o, r, a, t in given)
        read = replace(self.entered, outlets=outlets)
        if self.previous is None or self.entered.box.rim is None:
            return read
        # the water rose with the lowest lip: the lips that can be followed tell by how much
        lips, before = reduce_readings(read), self.previous.site.box.rim
        rise = self.previous.known_after.rise_to(lips.height, np.diag(lips.covariance))
        rim = None if rise is None or before is None else before - rise
        return replace(read, box=replace(read.box, rim=rim))

    @cached_property
    def offset(self) -> float:
        """Offset of the holes that nobody measured, by what their turns did; inf: not yet. [m]"""
        earlier = self.previous
        if earlier is None or earlier.offset < np.inf or earlier.turned is None:
            return np.inf if earlier is None else earlier.offset
        before, after = with_gaps(earlier.angles), with_gaps(earlier.turned)
        pairs = zip(self.readings, earlier.readings, strict=True)
        rise = np.array([np.mean(a) - np.mean(b) if a and b else np.nan for a, b in pairs])
        unknown = np.array([outlet.hole_offset == np.inf for outlet in self.entered.outlets])
        return learned_offset(before, after, rise, unknown)

    @property
    def _offsets(self) -> tuple[float | None, ...]:
        """Offset of each hole, of one that is stuck too; None: none. [m]"""
        holes = (outlet.hole_offset for outlet in self.entered.outlets)
        return tuple(self.offset if hole == np.inf else hole for hole in holes)

    @cached_property
    def known(self) -> Estimate:
        """The lips as this pass and all before it tell them; every open outlet is read."""
        lips = reduce_readings(self._read)
        before = self.previous.known_after if self.previous else None
        if self.carried and self.earlier and self.earlier.left:
            before = self.earlier.left.carried_to(self.entered)
        if before is None:
            return Estimate(height=lips.height, covariance=lips.covariance)
        return before.read(lips.height, np.diag(lips.covariance))

    @property
    def known_after(self) -> Estimate:
        """The lips as they are known once the turning of this pass is done."""
        told, levelling = np.full(len(self.angles), np.nan), self.levelling
        if levelling is not None and self.conclusion == "adjust":
            told[list(levelling.order)] = levelling.lip_after[list(levelling.order)]
        return self._set_to(self.turned or self.angles, told)

    def _set_to(self, angles: Angles, told: Array) -> Estimate:
        """The lips once the holes stand so; told: as of `Estimate.set_to`. [rad], [m]"""
        return self.known.set_to(
            told,
            before=with_gaps(self.angles),
            after=with_gaps(angles),
            offset=np.array([offset or 0.0 for offset in self._offsets]),
            hand=HAND_ERROR if self.entered.hand is None else self.entered.hand,
            by_rule=2.0 * np.diag(reduce_readings(self.site).covariance).max(),
        )

    @cached_property
    def levelling(self) -> Levelling | None:
        """Shares with bands, and turns; None while an open outlet is not read."""
        if not self.complete:
            return None
        # the lip of one that stuck on its way is no longer as read
        left = {i: angle for i, angle in self.left if i in self.stuck}
        angles = tuple(left.get(i, angle) for i, angle in enumerate(self.angles))
        known = self._set_to(angles, np.full(len(angles), np.nan)) if left else self.known
        return level(self.site, known=known, **vars(self.rules))

    @property
    def conclusion(self) -> str | None:
        """How the job stands after this pass; None while it is not complete."""
        levelling = self.levelling
        if levelling is None:
            return None
        before = levelling.before
        if all(verdict == "within" for verdict in before.verdicts):
            return "within"
        if all(verdict == "within" for verdict in before.lip_verdicts):
            return "inlet"
        if levelling.lips_step in _NEXT:
            return _NEXT[levelling.lips_step]
        if before.tolerance is None:
            return "level" if levelling.lips_step == "stop" else "ruler"
        return "hand" if "outside" in before.lip_verdicts else "ruler"

    @property
    def news(self) -> tuple[Note, ...]:
        """What the reader should know, and was not told after an earlier pass."""
        told, earlier = set[tuple[str, str]](), self.previous
        while earlier is not None:
            told |= {(note.what, note.where) for note in earlier._notes}
            earlier = earlier.previous
        return tuple(note for note in self._notes if (note.what, note.where) not in told)

    @property
    def _notes(self) -> tuple[Note, ...]:
        levelling = self.levelling
        return (*levelling.warnings, *levelling.before.warnings) if levelling else ()

    def after(self, event: Event) -> "Pass":
        """The pass once an event of its own has happened."""
        if isinstance(event, ClockSet):
            return replace(self, angles=_with(self.angles, event.outlet, event.angle))
        if isinstance(event, Still):
            return replace(self, method=event.method, still_at=event.at)
        if isinstance(event, Carried):
            return self._carried(event)
        if isinstance(event, Stuck):
            return replace(self, stuck=event.outlets)
        if self.method is None:
            raise DomainError("nothing is read before the water is still")
        if isinstance(event, Left):
            others = tuple(pair for pair in self.left if pair[0] != event.outlet)
            return replace(self, left=(*others, (event.outlet, event.angle)))
        if isinstance(event, Confirmed):
            if self.doubtful is None:
                raise DomainError("there is no reading to confirm")
            return self._taken(*self.doubtful) if event.sure else replace(self, doubtful=None)
        if not isinstance(event, Read | Settled | Skipped | Correcting):
            raise DomainError(f"{type(event).__name__} has no meaning in a set-up")
        outlet = event.outlet
        if self.entered.outlets[outlet].capped:
            if isinstance(event, Skipped):
                # it was put off, and marked as capped in the scenario since
                return self
            raise DomainError(f"outlet {self.entered.outlets[outlet].label} is capped")
        if isinstance(event, Correcting):
            return replace(self, correcting=outlet)
        if isinstance(event, Skipped):
            unread = self._taken(outlet, (), False)
            return replace(unread, skipped=(*unread.skipped, outlet))
        if isinstance(event, Settled):
            if not self.readings[outlet]:
                raise DomainError("an outlet without a reading cannot be done")
            return replace(self, settled=_with(self.settled, outlet, True), correcting=None)
        anew = self.correcting == outlet
        heights = event.heights if anew else self.readings[outlet] + event.heights
        read = replace(self, read_at=_with(self.read_at, outlet, event.at))
        # several heights at once are all there are to come
        waiting = (outlet, heights, len(event.heights) > 1)
        return replace(read, doubtful=waiting) if event.doubtful else read._taken(*waiting)

    def doubt(self, outlet: int, heights: tuple[float, ...]) -> Doubt | None:
        """What is odd about the heights of one outlet; heights [m]."""
        read = replace(self, readings=_with(self.readings, outlet, heights)).site
        return doubt(self.entered, read, outlet, heights)

    def _taken(self, outlet: int, heights: tuple[float, ...], settled: bool) -> "Pass":
        """The pass once these heights are the readings of an outlet. [m]"""
        return replace(
            self,
            readings=_with(self.readings, outlet, heights),
            settled=_with(self.settled, outlet, settled),
            skipped=tuple(i for i in self.skipped if i != outlet),
            doubtful=None,
            correcting=None,
        )

    def _carried(self, event: Carried) -> "Pass":
        """The pass once lips are taken over; where none is left to read, it is complete."""
        if self.earlier is None or self.method is not None:
            raise DomainError("no earlier visit left lips that could be taken over now")
        settled = tuple(
            self.settled[i] or outlet.capped or i in event.outlets
            for i, outlet in enumerate(self.entered.outlets)
        )
        taken = replace(self, carried=event.outlets, settled=settled)
        return replace(taken, method=NOT_READ, still_at=event.at) if taken.complete else taken

    def next(self, turned: Angles) -> "Pass":
        """The pass that follows this one once its turning is done. [rad]"""
        following = _first_pass(self.entered, self.rules, turned)
        return replace(following, number=self.number + 1, previous=self, stuck=self.stuck)


def _first_pass(site: Site, rules: Rules, angles: Angles) -> Pass:
    n = len(site.outlets)
    return Pass(entered=site, rules=rules, number=1, angles=angles, readings=((),) * n,
                settled=(False,) * n, read_at=("",) * n)  # fmt: skip


NOT_READ = "not read again: as the visit before left them"
"""How heights are read where all of them are taken over."""

_T = TypeVar("_T")


def _with(values: tuple[_T, ...], place: int, value: _T) -> tuple[_T, ...]:
    return (*values[:place], value, *values[place + 1 :])


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked next."""

    kind: str  # `clock`, `still`, `reading`, `repeat`, `confirm`, `turn` or `close`.
    outlet: int | None = None  # The outlet that it is about.
    doubt: Doubt | None = None  # For `confirm`, what is odd.


STOPPED = "stopped"
"""Outcome of a job that was ended while there was still something to turn."""


@dataclass(frozen=True, kw_only=True)
class Job:
    """A guided set-up as it stands."""

    site: Site  # The box as the scenario gives it.
    passes: tuple[Pass, ...]  # At least one; the last is the present one.
    not_known: tuple[int, ...] = ()  # Outlets whose clock position was asked for and is not known.
    # What was asked of the box besides its file, by topic; None: left out.
    told: Mapping[str, Any] = field(default_factory=dict)
    closed: bool = False  # Whether the job has ended.
    visit: int = 1  # Which visit to the box this is, from 1; later ones re-check it.
    visits: int = 1  # Of how many.
    begun_at: str = ""  # When it began, as ISO 8601; empty where not known.
    name: str = ""  # What the visit is called; empty where nobody said.
    changed: tuple[str, ...] = ()  # What is new at the lines since the visit before, in words.
    earlier: "Job | None" = field(default=None, repr=False, compare=False)  # The visit before.
    # The last event that stands and the job before it; None where there is none.
    last: Event | None = field(default=None, repr=False, compare=False)
    before: "Job | None" = field(default=None, repr=False, compare=False)

    @property
    def now(self) -> Pass:
        """The present pass."""
        return self.passes[-1]

    @property
    def last_complete(self) -> Pass | None:
        """The last pass in which every open outlet was read."""
        return next((each for each in reversed(self.passes) if each.complete), None)

    @property
    def called(self) -> str:
        """What the visit is called."""
        return self.name or ("re-check" if self.visit > 1 else "set-up")

    @property
    def history(self) -> tuple["Job", ...]:
        """This visit and all before it, the first one first."""
        return (*(self.earlier.history if self.earlier else ()), self)

    @cached_property
    def left(self) -> Standing | None:
        """The box as this visit leaves it; None where no pass is complete."""
        last = self.last_complete
        if last is None:
            return None
        if last.turned is None and last.left:
            last = replace(last, turned=self.left_angles)
        lips = last.known if last.turned is None else last.known_after
        return Standing(site=last.site, lips=lips)

    @property
    def compared(self) -> "Job | None":
        """The last visit before this one that has a complete pass."""
        return next((job for job in reversed(self.history[:-1]) if job.last_complete), None)

    @cached_property
    def recheck(self) -> Recheck | None:
        """The box as it was found, against how the visit before left it; None: nothing to hold."""
        found = next((each for each in self.passes if each.complete), None)
        before = self.compared.left if self.compared else None
        if found is None or before is None:
            return None
        now = Standing(site=found.site, lips=found.known)
        carried, samples = bool(found.carried), found.rules.samples
        return Recheck(before=before, now=now, carried=carried, samples=samples)

    @property
    def outcome(self) -> str | None:
        """How the job ended, as a conclusion or `stopped`; None while it goes on."""
        if not self.closed:
            return None
        return STOPPED if self.now.conclusion == "adjust" else self.now.conclusion

    def having(self, topic: str, value: Any) -> "Job":
        """The same job of a box of which this was asked; None: left out."""
        site = self.site if value is None else self.site.having(topic, value)
        passes: tuple[Pass, ...] = ()
        for each in self.passes:
            passes += (replace(each, entered=site, previous=passes[-1] if passes else None),)
        return replace(self, site=site, passes=passes, told={**self.told, topic: value})

    @property
    def question(self) -> Question | None:
        """What is asked next; None where the job has ended."""
        now, outlets = self.now, self.site.outlets
        if self.closed:
            return None
        if now.method is None:
            for i, outlet in enumerate(outlets):
                turns = bool(outlet.hole_offset) and not outlet.capped and i not in now.stuck
                if turns and now.angles[i] is None and i not in self.not_known:
                    return Question(kind="clock", outlet=i)
            return Question(kind="still")
        if now.complete:
            kinds = {"adjust": "turn", "again": "still"}
            # what was moved since it was read is not known: top up and read once more
            last = "still" if self.left_angles != now.angles else "close"
            return Question(kind=kinds.get(now.conclusion or "", last))
        if now.doubtful is not None:
            waiting, heights, _ = now.doubtful
            return Question(kind="confirm", outlet=waiting, doubt=now.doubt(waiting, heights))
        if now.correcting is not None:
            return Question(kind="reading", outlet=now.correcting)
        unread = [i for i, o in enumerate(outlets) if not o.capped and not now.settled[i]]
        first = [*(i for i in unread if i not in now.skipped), *now.skipped][0]
        return Question(kind="repeat" if now.readings[first] else "reading", outlet=first)

    @property
    def left_angles(self) -> Angles:
        """Where the holes stand if nothing is turned but what was said. [rad]"""
        left = dict(self.now.left)
        return tuple(left.get(i, angle) for i, angle in enumerate(self.now.angles))

    @property
    def told_angles(self) -> Angles:
        """Where they stand once turned as told, but for what was left elsewhere. [rad]"""
        levelling, angles = self.now.levelling, list(self.left_angles)
        if levelling is not None and self.now.conclusion == "adjust":
            for i in set(levelling.order) - dict(self.now.left).keys():
                after = float(levelling.angle_after[i])
                angles[i] = None if np.isnan(after) else after
        return tuple(angles)

    def after(self, event: Event) -> "Job":
        """The job once an event has happened."""
        if isinstance(event, Undone):
            if self.before is None:
                raise DomainError("there is nothing to take back")
            return self.before
        if self.closed:
            raise DomainError("the job has ended; nothing can follow")
        job = replace(self, last=event, before=self)
        *before, now = self.passes
        if isinstance(event, Told):
            if before and event.key != "inlet":
                raise DomainError("but for the inlet, the box is asked about in the first pass")
            return job.having(event.key, event.value)
        if isinstance(event, Still) and now.complete:
            # topped up and read once more, with nothing turned
            done = replace(now, turned=self.left_angles) if now.left else now
            return replace(job, passes=(*before, done, done.next(self.left_angles).after(event)))
        if not isinstance(event, Turned | Closed):
            if isinstance(event, ClockSet) and event.angle is None:
                job = replace(job, not_known=(*self.not_known, event.outlet))
            return replace(job, passes=(*before, now.after(event)))
        if not now.complete:
            raise DomainError("not every open outlet is read, so the pass cannot end")
        if isinstance(event, Closed):
            return replace(job, closed=True)
        done = replace(now, turned=event.angles, done_at=event.at)
        return replace(job, passes=(*before, done, done.next(event.angles)))


def begin(
    site: Site,
    rules: Rules | None = None,
    angles: Sequence[float | None] | None = None,
    earlier: Job | None = None,
    stuck: Sequence[int] = (),
) -> Job:
    """A job before its first answer; angles [rad]; earlier: the visit before; stuck: as `Stuck`."""
    site = without_placeholders(site)
    start = tuple(o.clock for o in site.outlets) if angles is None else tuple(angles)
    job = Job(site=site, passes=(_first_pass(site, rules or Rules(), start),), earlier=earlier)
    return replace(job, passes=(replace(job.now, earlier=job.compared, stuck=tuple(stuck)),))


def replay(start: Job, events: Iterable[Event]) -> Job:
    """Play events again, but for those taken back: a scenario mended since may not fit them."""
    kept: list[Event] = []
    for event in events:
        if isinstance(event, Undone) and kept:
            kept.pop()
        else:
            kept.append(event)
    return reduce(Job.after, kept, start)
