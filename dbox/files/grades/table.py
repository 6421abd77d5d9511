"""Which keys has the part of a scenario that holds rod readings? The tables under `[grades]`.

Runs go down the way the water goes: house sewer, supply pipe, headers. A rod reading is greater
where the pipe is lower; an elevation is greater where it is higher.

    [[grades.run]]
    name    = "header 1"
    kind    = "header"
    outlet  = "1"
    station = [
        {at = "0 ft", rod = "60-1/8 in", name = "box"},
        {at = "4 ft", rod = ["60-5/8 in", "60-11/16 in"]},
    ]
"""

from typing import Annotated

from pydantic import PlainValidator

from dbox.errors import ScenarioError
from dbox.fieldwork.records.survey import RUN_KINDS
from dbox.files import measures, units
from dbox.files.faults import show
from dbox.files.keys import TEXT, VALUE, VALUES, Flag, Size, Table, Text, key, length, lengths, word

MOST_READINGS = 100
"""Readings of one station."""


def _between(value: object, metres: float, low: float, high: float, limits: str) -> float:
    if not low <= metres <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return metres


def _distance(value: object) -> float:
    """Read a distance along a run; runs are in feet or metres, so a bare number is refused. [m]"""
    metres = units.length(value)
    return _between(value, metres, 0.0, 1000.0, "a distance along a run is between 0 and 1000 m")


def _rod(value: object, bare_unit: str | None) -> float:
    """Read a rod. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, 0.0, 10.0, "a rod reading is between 0 and 10 m")


def _elevation(value: object, bare_unit: str | None) -> float:
    """Read a height over a benchmark or the sea. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, -500.0, 9000.0, "an elevation is between -500 m and 9000 m")


def _least_fall(value: object) -> float:
    """Read the least fall of a run. [-]"""
    fall = units.grade(value)
    return _between(value, fall, 0.0, 0.5, "a least fall is between 0 and 50 %")


def _least_drop(value: object, bare_unit: str | None) -> float:
    """Read the least drop of an inlet. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, 0.0, 1.0, "a least inlet drop is between 0 and 1 m")


def _most_spacing(value: object) -> float:
    """Read the greatest distance between stations. [m]"""
    metres = units.length(value)
    return _between(value, metres, 0.1, 100.0, "a spacing is between 0.1 m and 100 m")


def _roughness(value: object) -> float:
    """Read Manning's n. [s/m^(1/3)]"""
    n = units.number(value)
    return _between(value, n, 0.005, 0.05, "Manning's n of a pipe is between 0.005 and 0.05")


_Roughness = Annotated[float | None, PlainValidator(_roughness), VALUE]
_Distance = Annotated[float | None, PlainValidator(_distance), TEXT]
_SOURCE = "Who asks for it: the permit, the code section, the inspector."


class FallLimitTable(Table):
    """The least fall of a kind of run, and who asks for it."""

    least: Annotated[float | None, PlainValidator(_least_fall), TEXT] = key(
        "Least fall over length.", "1/8 in/ft", "1 in in 4 ft", "1 %"
    )
    source: Text = key(_SOURCE, "permit")


class DropLimitTable(Table):
    """The least drop from the box's inlet to its outlets, and who asks for it."""

    least: Annotated[float | None, length(_least_drop), VALUE] = key(
        "Least height of the inlet's invert over the outlet pipes' inverts.", "1 in"
    )
    source: Text = key(_SOURCE, "permit")


class SpacingLimitTable(Table):
    """How far apart two stations may be, and who asks for it."""

    most: Annotated[float | None, PlainValidator(_most_spacing), TEXT] = key(
        "Greatest distance between two stations, about.", "4 ft"
    )
    source: Text = key(_SOURCE, "permit")


class LimitsTable(Table):
    """What the falls are held to; each fall or drop that is absent has a marked default."""

    house_sewer: FallLimitTable | None = key("Least fall of a house sewer.")
    supply_pipe: FallLimitTable | None = key("Least fall of a supply pipe, tank to box.")
    header: FallLimitTable | None = key("Least fall of a header, box to line.")
    inlet_drop: DropLimitTable | None = key("Least drop from the box's inlet to its outlets.")
    spacing: SpacingLimitTable | None = key(
        "Greatest distance between two stations; absent: none is asked for."
    )


class StationTable(Table):
    """A place along a run where the invert of the pipe was read."""

    at: _Distance = key("Distance along the run from its upper end, with its unit.", "4 ft")
    name: Text = key("What stands there; absent: just pipe.", "tank outlet")
    rod: Annotated[tuple[float, ...] | None, lengths(_rod, MOST_READINGS), VALUES] = key(
        "Rod reading, greater where the pipe is lower; a list where it was read more than once.",
        "60-1/8 in",
        ["60-1/8 in", "60-3/16 in"],
    )
    elevation: Annotated[tuple[float, ...] | None, lengths(_elevation, MOST_READINGS), VALUES] = (
        key("Height over a benchmark, where there are no rod readings.", "98.25 ft")
    )


class RunTable(Table):
    """One pipe, from its upper end to its lower."""

    name: Annotated[str | None, PlainValidator(measures.name), VALUE] = key(
        "What the run is called on site.", "supply pipe"
    )
    kind: Annotated[str | None, *word(RUN_KINDS)] = key("What kind of pipe it is.", "supply pipe")
    outlet: Annotated[str | None, PlainValidator(measures.name), VALUE] = key(
        "Label of the outlet that a header leads away from.", "1"
    )
    diameter: Size = key("Inside diameter; absent: that of [grades].", "4.026 in")
    roughness: _Roughness = key("Manning's n; absent: that of [grades].", 0.010)
    instrument: Annotated[str | None, PlainValidator(measures.name), VALUE] = key(
        "Where the instrument stood; runs read from two places are not compared in height. "
        "Absent: the same place for all.",
        "by the tank",
    )
    station: list[StationTable] | None = key("The stations, in the order of the water's way.")


class GradesTable(Table):
    """Rod readings along the pipes."""

    spread: Annotated[float | None, length(measures.spread), VALUE] = key(
        "One standard deviation of one rod reading; absent: 1/8 in.", "1/16 in"
    )
    diameter: Size = key("Inside diameter of every run that names none.", "4.026 in")
    roughness: _Roughness = key("Manning's n of every run that names none; absent: 0.010.", 0.010)
    limits: LimitsTable | None = key("What the falls are held to.")
    placeholder: Flag = key(
        "Whether the readings only show where yours go; nothing is computed from them then.", True
    )
    run: list[RunTable] | None = key("The runs, in the order of the water's way.")
