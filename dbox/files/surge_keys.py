"""Keys before the box and behind it: from tank to trench, to `Works`.

As in `measures`: the limits are wide, and what cannot be raises `ScenarioError` with a message that
begins with `is` and ends with the mend.

[house]
people = 4
[tank]
inside = ["8 ft", "5 ft"]
outlet = "4 in"
[supply]
length = "30 ft"
fall = "1/8 in/ft"
diameter = "4 in"
[header]                    # an outlet may override any key: header = {length = "12 ft"}
length = "10 ft"
diameter = "4 in"
[trench]                    # an outlet may override any key: trench = {soil = "smeared"}
width = "30 in"
depth = "20 in"
acceptance = "0.45 gal/ft2/day"
"""

import re
from typing import Annotated

from pydantic import PlainValidator, WithJsonSchema

from dbox import units
from dbox.errors import ScenarioError, did_you_mean, show
from dbox.files import scenario_keys
from dbox.files.scenario_keys import TEXT, VALUE, VALUES, Table, key, length, lengths, word
from dbox.hydraulics.surge.parts import SOIL_STATES
from dbox.units import UnclearError, clean, read_alone

ACCEPTANCE_UNITS = {
    **dict.fromkeys(
        ("gpd/ft2", "gal/day/ft2", "gal/ft2/day", "gal/d/ft2", "gal/ft2/d"),
        units.GALLON / units.DAY / units.FOOT**2,
    ),
    **dict.fromkeys(
        ("l/day/m2", "l/m2/day", "l/d/m2", "l/m2/d"),
        units.LITRE / units.DAY,
    ),
    **dict.fromkeys(("mm/day", "mm/d"), 1e-3 / units.DAY),
    **dict.fromkeys(("cm/day", "cm/d"), 1e-2 / units.DAY),
    **dict.fromkeys(("in/day", "in/d"), units.INCH / units.DAY),
    "m/s": 1.0,
}
"""Volume a day through an area of soil. [m/s]"""

_RATE = re.compile(r"([^a-z]+)([a-z].*)")


def _within(value: object, measure: float, low: float, high: float, limits: str) -> float:
    if not low <= measure <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return measure


def read_acceptance(value: object) -> float:
    """Read the rate at which soil takes water. [m/s]

    >>> round(acceptance("0.45 gal/ft2/day") * 86400e3, 2)
    18.34
    """
    example = 'write a rate of the soil, as "0.45 gal/ft2/day" or "18 mm/day"'
    match = None
    if isinstance(value, str) and len(value) <= units.LONGEST_TEXT:
        plain = re.sub(r"\s*(?:/|\bper\b)\s*", "/", clean(value)).replace("sq ft", "ft2")
        match = _RATE.fullmatch(plain)
    if match is None:
        raise ScenarioError(f"is {show(value)}; {example}")
    unit = match[2].strip()
    if unit not in ACCEPTANCE_UNITS:
        raise ScenarioError(
            f"is {show(value)}; the unit {show(unit)} is not known here; "
            f"{did_you_mean(unit, ACCEPTANCE_UNITS)}"
        )
    try:
        rate = read_alone(match[1].strip()) * ACCEPTANCE_UNITS[unit]
    except UnclearError as error:
        raise ScenarioError(f"is {show(value)}; {example}") from error
    limits = "soil takes between 0.01 mm and 10 m a day"
    return _within(value, rate, 1e-5 / units.DAY, 10.0 / units.DAY, limits)


def read_people(value: object) -> int:
    """Read how many live in a house."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 100:
        raise ScenarioError(f"is {show(value)}; write a whole number of people, 1 to 100")
    return value


def pipe(value: object, bare_unit: str | None = None) -> float:
    """Read an inside diameter of a pipe. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.01, 1.0, "a pipe is between 10 mm and 1 m wide")


def pipe_length(value: object, bare_unit: str | None = None) -> float:
    """Read the length of a pipe. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.1, 1000.0, "a pipe is between 0.1 m and 1000 m long")


def fall(value: object) -> float:
    """Read the fall of a gravity pipe. [-]"""
    limits = "a gravity pipe falls by between 0.01 % and 100 %"
    return _within(value, units.grade(value), 1e-4, 1.0, limits)


def height(value: object, bare_unit: str | None = None) -> float:
    """Read a height that may be below 0. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, -50.0, 50.0, "this height is between -50 m and 50 m")


def trench_width(value: object, bare_unit: str | None = None) -> float:
    """Read the width of a trench. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.05, 50.0, "a trench is between 50 mm and 50 m wide")


def trench_depth(value: object, bare_unit: str | None = None) -> float:
    """Read a depth above nothing. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.01, 5.0, "this depth is between 10 mm and 5 m")


def read_voids(value: object) -> float:
    """Read the part of a fill that water can take. [-]"""
    limits = "voids are between 1 % and 100 %"
    return _within(value, units.percent(value), 0.01, 1.0, limits)


def read_clogged(value: object) -> float:
    """Read the clogged part of a filter. [-]"""
    return _within(value, units.percent(value), 0.0, 0.99, "a filter is clogged by 0 % to 99 %")


def loss(value: object) -> float:
    """Read a loss in velocity heads. [-]"""
    limits = "a loss is between 0 and 1000 velocity heads"
    return _within(value, units.number(value), 0.0, 1000.0, limits)


def volume(value: object) -> float:
    """Read a volume. [m3]"""
    limits = "this volume is between 0 and 100 m3"
    return _within(value, units.volume(value), 0.0, 100.0, limits)


def some_volume(value: object) -> float:
    """Read a volume above nothing. [m3]"""
    limits = "this volume is between 0.1 L and 100 m3"
    return _within(value, units.volume(value), 1e-4, 100.0, limits)


def settling(value: object) -> float:
    """Read how much a side of a box sinks in a year. [m]"""
    limits = "a side of a box sinks by 0 to 500 mm a year"
    return _within(value, units.length(value), 0.0, 0.5, limits)


def read_curve(value: object) -> tuple[tuple[float, float], ...]:
    """Read a pump's curve: pairs of a rate and a head. [m3/s, m]

    >>> curve([["0 L/s", "9 m"], ["2.5 L/s", "4.5 m"]])
    ((0.0, 9.0), (0.0025, 4.5))
    """
    wanted = 'write pairs of a rate and a head, as [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]]'
    if not isinstance(value, list) or not 2 <= len(value) <= 50:
        raise ScenarioError(f"is {show(value)}; {wanted}")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise ScenarioError(f"is {show(value)}; {wanted}")
    rates = scenario_keys.each([pair[0] for pair in value], units.flow)
    heads = scenario_keys.each([pair[1] for pair in value], units.length)
    if list(rates) != sorted(set(rates)) or list(heads) != sorted(heads, reverse=True):
        raise ScenarioError(f"is {show(value)}; rates must rise from pair to pair and heads fall")
    return tuple(zip(rates, heads, strict=True))


_Pipe = Annotated[float | None, length(pipe), VALUE]
_PipeLength = Annotated[float | None, length(pipe_length), VALUE]
_Fall = Annotated[float | None, PlainValidator(fall), TEXT]
_Inside = Annotated[tuple[float, ...] | None, lengths(scenario_keys.side, 2), VALUES]
_Height = Annotated[float | None, length(height), VALUE]
_Depth = Annotated[float | None, length(trench_depth), VALUE]
_Volume = Annotated[float | None, PlainValidator(volume), TEXT]
_Loss = Annotated[float | None, PlainValidator(loss), VALUE]


class HouseTable(Table):
    """The house that the tank serves."""

    people: Annotated[
        int | None, PlainValidator(read_people), WithJsonSchema({"type": "integer"})
    ] = key("How many live in the house.", 4)


class TankTable(Table):
    """The septic tank, its water standing at the outlet."""

    inside: _Inside = key(
        "Inside length and width at the water; one diameter for a round tank.", ["8 ft", "5 ft"]
    )
    outlet: _Pipe = key("Inside diameter of the outlet pipe behind the tee.", "4 in")
    filter_loss: _Loss = key(
        "Loss of the clean effluent filter, in velocity heads; absent: no filter.", 2
    )
    clogged: Annotated[float | None, PlainValidator(read_clogged), TEXT] = key(
        "How much of the filter is clogged; absent: nothing.", "50 %"
    )


class SupplyTable(Table):
    """The gravity pipe from the tank to the box."""

    length: _PipeLength = key("Its length.", "30 ft")
    diameter: _Pipe = key("Its inside diameter.", "4 in")
    fall: _Fall = key("Its fall.", "1/8 in/ft", "1 %")


class HeaderTable(Table):
    """The pipe from each outlet to its trench; its fall is header_fall of the outlet."""

    length: _PipeLength = key("Its length.", "10 ft")
    diameter: _Pipe = key("Its inside diameter.", "4 in")


class TrenchTable(Table):
    """The trench of every line; its length is line_length, or line_area over its width."""

    width: Annotated[float | None, length(trench_width), VALUE] = key(
        "Width of its bottom.", "30 in"
    )
    depth: _Depth = key("Height over its bottom at which water surfaces.", "20 in")
    pipe: Annotated[float | None, length(scenario_keys.depth), VALUE] = key(
        "Height of its pipe's invert over its bottom; absent: half its depth.", "8 in"
    )
    voids: Annotated[float | None, PlainValidator(read_voids), TEXT] = key(
        "Part of its fill that water can take; absent: 35 %.", "35 %"
    )
    acceptance: Annotated[float | None, PlainValidator(read_acceptance), TEXT] = key(
        "Long-term rate at which its soil takes water.", "0.45 gal/ft2/day", "18 mm/day"
    )
    soil: Annotated[str | None, *word(tuple(SOIL_STATES))] = key(
        "State of its soil; absent: biomat, at which the long-term rate holds.", "biomat"
    )
    water_table: _Height = key(
        "Height of the groundwater over its bottom, negative below it; absent: deep.", "-30 in"
    )
    ponding: Annotated[float | None, length(scenario_keys.depth), VALUE] = key(
        "Water in it at the start; absent: none.", "2 in"
    )


class PumpTable(Table):
    """A dosing pump: its rate, or its curve with what it must overcome."""

    volume: _Volume = key("What it lifts in one dose.", "60 gal")
    rate: Annotated[float | None, PlainValidator(scenario_keys.flow_rate), TEXT] = key(
        "Its rate.", "30 gpm"
    )
    curve: Annotated[
        tuple[tuple[float, float], ...] | None,
        PlainValidator(read_curve),
        WithJsonSchema({"type": "array", "items": {"type": "array"}}),
    ] = key(
        "Its curve, where the rate is not known: pairs of a rate and a head.",
        [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]],
    )
    lift: Annotated[float | None, length(scenario_keys.depth), VALUE] = key(
        "Height from the water in its chamber to the box.", "8 ft"
    )
    main_length: _PipeLength = key("Length of its pressure pipe.", "60 ft")
    main_diameter: _Pipe = key("Inside diameter of its pressure pipe.", "2 in")
    drain_back: _Volume = key(
        "What runs back from the pressure pipe after a dose; absent: nothing.", "3 gal"
    )


class SiphonTable(Table):
    """A dosing siphon."""

    inside: _Inside = key(
        "Inside length and width of its chamber; one diameter for a round one.", ["4 ft", "4 ft"]
    )
    diameter: _Pipe = key("Inside diameter of the siphon.", "3 in")
    high: _Depth = key("Head over its outlet at which it starts.", "24 in")
    low: _Depth = key("Head over its outlet at which air breaks it.", "9 in")
    coefficient: Annotated[float | None, PlainValidator(scenario_keys.coefficient), VALUE] = key(
        "Discharge coefficient, all its losses within; absent: 0.6.", 0.6
    )
