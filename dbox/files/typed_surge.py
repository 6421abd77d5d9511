"""Doses, volumes and times of a surge, from words to SI."""

from collections.abc import Callable
from typing import TypeVar

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork.site import Works
from dbox.files import scenario_tables
from dbox.hydraulics.surge.inflow import Inflow, steady

LONGEST = 31 * units.DAY
"""Longest that one event may be followed. [s]"""

_T = TypeVar("_T")


def typed(option: str, read: Callable[[str], _T], text: str) -> _T:
    """Read what was typed for an option, naming the option where it cannot be.

    >>> typed("--volume", scenario_tables.some_volume, "20 L")
    0.02
    """
    try:
        return read(text)
    except ScenarioError as error:
        raise ScenarioError(*(f"{option} {fault}" for fault in error.faults)) from error


def typed_dose(works: Works, text: str) -> Inflow:
    """Read a dose: that of the site's pump or siphon, or a volume at a rate.

    >>> round(typed_dose(Works(), "60 gal at 30 gpm").end, 6)
    120.0
    """
    word = text.strip().lower()
    if word in ("pump", "siphon"):
        part = works.pump if word == "pump" else works.siphon
        if part is None:
            raise ScenarioError(
                f'--dose is {word}, but the scenario has no [{word}]; add it, or write "60 gal at '
                '30 gpm"'
            )
        return part.dose()
    volume, at, rate = text.partition(" at ")
    if not at:
        raise ScenarioError(
            f"--dose is {show(text)}; write pump, siphon, or a volume at a rate, as "
            '"60 gal at 30 gpm"'
        )
    inflow = typed("--dose", keys.flow_rate, rate)
    amount = typed("--dose", scenario_tables.some_volume, volume)
    return steady(inflow, amount / inflow, name=f"dose of {text}")


def run_time(text: str) -> float:
    """Read how long a run goes on. [s]

    >>> run_time("2 h")
    7200.0
    """
    seconds = units.duration(text)
    if not 1.0 <= seconds <= LONGEST:
        raise ScenarioError(f"is {show(text)}; an event is followed for 1 s to 31 days")
    return seconds
