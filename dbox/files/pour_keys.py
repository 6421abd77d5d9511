"""Keys of pours of clean water, and how they are typed: from `[[pour]]` to `Pour`s.

[[pour]]
name   = "fast"
volume = "5 gal"            # poured in all
time   = "60 s"             # or flow = "5 gpm"
jug    = "1 qt"             # what is filled at the outlets
order  = ["4", "1"]         # the outlets seen to start, the first one first
[pour.catch]                # by label; an outlet that was not caught is left out
1 = "1.2 L in 30 s"
4 = "14 s"                  # the time in which the jug was full
5 = "dry"                   # watched, and nothing came
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from dbox import keys, units
from dbox.errors import ScenarioError, did_you_mean, key_text, show
from dbox.fieldwork.site import DEFAULT_ERROR, Pour
from dbox.files.read_tables import Faults
from dbox.keys import TEXT, VALUES, key, limited, reads

DRY = "dry"
MOST_POURS = 100

poured = limited(units.volume, 1e-4, 100.0, "a pour is between 0.1 L and 100 m3")
jug_volume = limited(units.volume, 2e-5, 0.2, "a jug holds between 20 mL and 200 L")
fill_time = limited(units.duration, 0.1, units.DAY, "a jug fills in 0.1 s to 1 day")
catch_error = limited(
    units.percent, 0.005, 0.5, "the error of a timed catch is between 0.5 % and 50 %"
)


class WrittenCatch(NamedTuple):
    """A catch as written: a flow [m3/s], or the time that filled the jug [s]."""

    flow: float | None
    fill_time: float | None

    def flow_with(self, jug: float | None) -> float | None:
        """Flow caught [m3/s]; None for a time where the jug's content [m3] is not known."""
        if self.fill_time is None:
            return self.flow
        return None if jug is None else jug / self.fill_time


def read_catch(value: object) -> WrittenCatch:
    """Read what was caught at one outlet.

    >>> read_catch("120 L in 1 min").flow, read_catch("14 s").fill_time, read_catch("dry").flow
    (0.002, 14.0, 0.0)
    """
    if isinstance(value, str) and value.strip().lower() == DRY:
        return WrittenCatch(0.0, None)
    try:
        units.duration(value)
    except ScenarioError:
        pass
    else:
        return WrittenCatch(None, fill_time(value))
    try:
        return WrittenCatch(units.flow(value), None)
    except ScenarioError as error:
        raise ScenarioError(
            f'{error}; a catch is "1.2 L in 30 s", the time that filled the jug, or "{DRY}"'
        ) from error


@reads({"type": "object", "additionalProperties": TEXT})
def _catches(value: object) -> dict[str, WrittenCatch]:
    """Read the catches by label, all faults at once."""
    wanted = '[pour.catch] and under it labels, as 1 = "1.2 L in 30 s"'
    return keys.by_name(value, wanted, lambda name, told: (keys.label(name), read_catch(told)))


@reads(VALUES)
def _order(value: object) -> tuple[str, ...]:
    """Read the outlets in the order in which they started."""
    if not isinstance(value, list) or not value:
        raise ScenarioError(f'is {show(value)}; write a list of labels, as ["4", "1"]')
    return tuple(keys.label(item) for item in value)


# fmt: off
@dataclass(frozen=True, kw_only=True)
class PourTable:
    """A steady pour of clean water, planned or done."""

    name: str = key(
        keys.label, "What the pour is called; absent: its number in the file.", "fast", default="")
    volume: float | None = key(poured, "How much is poured in all.", "5 gal")
    time: float | None = key(
        limited(units.duration, 1.0, units.DAY, "a pour lasts between 1 s and 1 day"),
        "How long the pour lasts.", "60 s")
    flow: float | None = key(keys.flow_rate, "What is poured, where time is not given.", "5 gpm")
    jug: float | None = key(jug_volume, "Content of the jug that is filled at the outlets.", "1 qt")
    error: float = key(
        catch_error, "One standard deviation of a timed catch, in per cent of it; absent: 5 %.",
        "5 %", default=DEFAULT_ERROR)
    order: tuple[str, ...] = key(
        _order, "Labels of the outlets that were seen to start, the first one first.",
        ["4", "1", "2"], default=())
    catch: dict[str, WrittenCatch] | None = key(
        _catches,
        'What was caught at each outlet, by label; absent: not measured. "dry" is no water.',
        {"1": "1.2 L in 30 s", "2": "14 s", "3": DRY})
# fmt: on


def pours_of(
    tables: Sequence[PourTable], outlets: Mapping[str, bool], faults: Faults
) -> tuple[Pour, ...]:
    """Make the pours of a site; what has a fault is told and left out.

    outlets: Labels of the outlets in their order, each with whether it is capped.
    """
    if len(tables) > MOST_POURS:
        faults.tell(f"there are {len(tables)} pours; write at most {MOST_POURS}")
        return ()
    named = [replace(table, name=table.name or str(i)) for i, table in enumerate(tables, start=1)]
    faults.names("pour", {i: table.name for i, table in enumerate(named)})
    pours = []
    for index, table in enumerate(named):
        place = f"pour[{index + 1}]"
        inflow = _inflow(place, table, faults)
        catches = _caught(place, table, outlets, faults)
        order = _started(place, table, outlets, faults)
        if inflow is not None:
            said = {key: getattr(table, key) for key in ("name", "volume", "jug", "error")}
            pours.append(Pour(inflow=inflow, catches=catches, order=order, **said))
    return tuple(pours)


def _inflow(place: str, table: PourTable, faults: Faults) -> float | None:
    """Inflow of a pour; None where it is not told. [m3/s]"""
    if table.flow is not None:
        if table.time is not None:
            faults.tell(f"{place} has flow and time; keep one of them, volume may stay")
        return table.flow
    if any(faults.refused(f"{place}.{name}") for name in ("volume", "time", "flow")):
        return None
    if table.volume is None or table.time is None:
        faults.tell(f'{place} has no flow; add volume = "5 gal" and time = "60 s", or flow')
        return None
    inflow = table.volume / table.time
    if not keys.SMALLEST_FLOW <= inflow <= 1.0:
        faults.tell(
            f"{place}: volume over time is a flow of {60e3 * inflow:.3g} L/min, which no one "
            "pours; check both and their units"
        )
    return inflow


def _caught(
    place: str, table: PourTable, outlets: Mapping[str, bool], faults: Faults
) -> tuple[float | None, ...]:
    """Flow caught at each outlet, empty before the pour. [m3/s]"""
    capped = list(outlets.values())
    catches: list[float | None] = [None] * len(outlets)
    for label, written in (table.catch or {}).items():
        here = f"{place}.catch.{key_text(label)}"
        outlet = _outlet(here, label, outlets, faults)
        if outlet is None:
            continue
        if capped[outlet]:
            faults.tell(f"{here} is a catch at a capped outlet; leave one of the two out")
        if catches[outlet] is not None:
            faults.tell(f"{here} is there twice, in other letters; keep one of them")
        catches[outlet] = written.flow_with(table.jug)
        if catches[outlet] is None and not faults.refused(f"{place}.jug"):
            faults.tell(
                f'{here} is a time without a volume; add jug = "1 qt" to the pour, or '
                'write "1.2 L in 30 s"'
            )
    return tuple(catches) if table.catch else ()


def _started(
    place: str, table: PourTable, outlets: Mapping[str, bool], faults: Faults
) -> tuple[int, ...]:
    """The outlets that started, in their order."""
    labels, capped = list(outlets), list(outlets.values())
    found = [_outlet(f"{place}.order", label, outlets, faults) for label in table.order]
    order = tuple(index for index in found if index is not None)
    for index in order:
        if capped[index]:
            faults.tell(f"{place}.order names outlet {show(labels[index])}, which is capped")
    if len(set(order)) < len(order):
        faults.tell(f"{place}.order names an outlet twice; each starts once")
    return order


def _outlet(place: str, label: str, outlets: Mapping[str, bool], faults: Faults) -> int | None:
    """Index of an outlet; None where there is none of this label."""
    known = [name.lower() for name in outlets]
    if label.lower() in known:
        return known.index(label.lower())
    faults.tell(f"{place}: there is no outlet {show(label)}; {did_you_mean(label, outlets)}")
    return None
