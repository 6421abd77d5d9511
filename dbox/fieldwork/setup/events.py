"""What can happen in a guided set-up? The answers it is made of, in SI and in the order given.

A job is nothing but its events: whoever plays them again stands where the person stood. So an event
carries all that the next state needs, and none is ever changed; `Undone` takes the last one back.
"""

from dataclasses import dataclass


@dataclass(frozen=True, kw_only=True)
class Event:
    """Something that was answered.

    Parameters
    ----------
    at : str
        When, as ISO 8601 with the offset from UTC; empty where not known.
    """

    at: str = ""


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
