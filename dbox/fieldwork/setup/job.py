"""Where does the guided set-up stand, and what is to be asked next? A state machine without a door.

    events -> `replay` -> `Job` -> `Job.question`

Events lead from state to state by what they say alone; nothing that is computed decides whether
one fits. So a log plays back the same after the tolerance was edited, or by a later version of the
package. What is computed (shares, turns, whether to go on) decides only what is asked.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from dbox.errors import DomainError
from dbox.fieldwork.levelling.plan import Levelling
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.setup.doubts import Doubt, doubt
from dbox.fieldwork.setup.events import ClockSet, Closed, Event, Turned, Undone
from dbox.fieldwork.setup.passes import Pass, Rules, conclude, first_pass, levelled, next_pass
from dbox.fieldwork.setup.steps import step
from dbox.fieldwork.site import Site


@dataclass(frozen=True, kw_only=True)
class Question:
    """What is asked next.

    Parameters
    ----------
    kind : str
        `clock`, `still`, `reading`, `repeat`, `confirm`, `turn` or `close`.
    outlet : int or None
        The outlet that it is about.
    doubt : Doubt or None
        For `confirm`, what is odd.
    """

    kind: str
    outlet: int | None = None
    doubt: Doubt | None = None


@dataclass(frozen=True, kw_only=True)
class Job:
    """A guided set-up as it stands.

    Parameters
    ----------
    site : Site
        The box as the scenario gives it.
    passes : tuple of Pass
        At least one; the last is the present one.
    rules : Rules
        How turns are worked out.
    not_known : tuple of int
        Outlets whose clock position was asked for and is not known.
    closed : bool
        Whether the job has ended.
    """

    site: Site
    passes: tuple[Pass, ...]
    rules: Rules = field(default_factory=Rules)
    not_known: tuple[int, ...] = ()
    closed: bool = False

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
        """The job once an event has happened.

        Parameters
        ----------
        event : Event
            Any but `Undone`, which `replay` takes care of.

        Raises
        ------
        DomainError
            Where the event cannot happen now.
        """
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
    """A job before its first answer.

    Parameters
    ----------
    site : Site
        The box; readings it has already are not taken, only offered, and not even that where they
        are placeholders.
    rules : Rules, optional
        How turns are worked out.
    angles : sequence of float or None, optional
        Where each hole stands, where that differs from the scenario. [rad]
    """
    site = without_placeholders(site)
    start = tuple(o.clock for o in site.outlets) if angles is None else tuple(angles)
    return Job(site=site, passes=(first_pass(site, start),), rules=rules or Rules())


def standing(events: Iterable[Event]) -> tuple[Event, ...]:
    """The events that were not taken back.

    Parameters
    ----------
    events : iterable of Event
        All of them, in order.

    Raises
    ------
    DomainError
        Where there is nothing left to take back.

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
    """Play events again.

    Parameters
    ----------
    start : Job
        The job before them, from `begin`.
    events : iterable of Event
        All of them, in order.

    Raises
    ------
    DomainError
        Where one cannot happen when it does.
    """
    job = start
    for event in standing(events):
        job = job.after(event)
    return job
