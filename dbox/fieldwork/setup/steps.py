"""What does one answer change in the pass it is given in?"""

from dataclasses import replace
from typing import TypeVar

from dbox.errors import DomainError
from dbox.fieldwork.setup.events import (
    ClockSet,
    Confirmed,
    Correcting,
    Event,
    Left,
    Read,
    Settled,
    Skipped,
    Still,
)
from dbox.fieldwork.setup.passes import Pass
from dbox.fieldwork.site import Site

_T = TypeVar("_T")


def step(site: Site, now: Pass, event: Event) -> Pass:
    """The present pass once an event of its own has happened.

    Parameters
    ----------
    site : Site
        The box.
    now : Pass
        The pass as it stands.
    event : Event
        Any that does not end the pass.

    Raises
    ------
    DomainError
        Where the event cannot happen now.
    """
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
