"""Keys before the box and behind it: from the house to the trenches.

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
from dataclasses import dataclass

from dbox import keys, units
from dbox.errors import ScenarioError, did_you_mean, show
from dbox.hydraulics.surge.parts import SOIL_STATES
from dbox.keys import key, length, limited, one_of, reads, several
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


def _soil_rate(value: object) -> float:
    """Read the rate at which soil takes water. [m/s]"""
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
        return read_alone(match[1].strip()) * ACCEPTANCE_UNITS[unit]
    except UnclearError as error:
        raise ScenarioError(f"is {show(value)}; {example}") from error


read_acceptance = limited(
    _soil_rate, 1e-5 / units.DAY, 10.0 / units.DAY, "soil takes between 0.01 mm and 10 m a day"
)
some_volume = limited(units.volume, 1e-4, 100.0, "this volume is between 0.1 L and 100 m3")
settling = limited(units.length, 0.0, 0.5, "a side of a box sinks by 0 to 500 mm a year")
_pipe = length(0.01, 1.0, "a pipe is between 10 mm and 1 m wide")
_pipe_length = length(0.1, 1000.0, "a pipe is between 0.1 m and 1000 m long")
_depth = length(0.01, 5.0, "this depth is between 10 mm and 5 m")
_volume = limited(units.volume, 0.0, 100.0, "this volume is between 0 and 100 m3")


@reads({"type": "integer"})
def read_people(value: object) -> int:
    """Read how many live in a house."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 100:
        raise ScenarioError(f"is {show(value)}; write a whole number of people, 1 to 100")
    return value


@reads({"type": "array", "items": {"type": "array"}})
def read_curve(value: object) -> tuple[tuple[float, float], ...]:
    """Read a pump's curve: pairs of a rate and a head. [m3/s, m]"""
    wanted = 'write pairs of a rate and a head, as [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]]'
    if not isinstance(value, list) or not 2 <= len(value) <= 50:
        raise ScenarioError(f"is {show(value)}; {wanted}")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise ScenarioError(f"is {show(value)}; {wanted}")
    rates = keys.each([pair[0] for pair in value], units.flow)
    heads = keys.each([pair[1] for pair in value], units.length)
    if list(rates) != sorted(set(rates)) or list(heads) != sorted(heads, reverse=True):
        raise ScenarioError(f"is {show(value)}; rates must rise from pair to pair and heads fall")
    return tuple(zip(rates, heads, strict=True))


@dataclass(frozen=True, kw_only=True)
class HouseTable:
    """The house that the tank serves."""

    people: int | None = key(read_people, "How many live in the house.", 4)


@dataclass(frozen=True, kw_only=True)
class TankTable:
    """The septic tank, its water standing at the outlet."""

    inside: tuple[float, ...] = key(
        several(keys.side, 2),
        "Inside length and width at the water; one diameter for a round tank.",
        ["8 ft", "5 ft"],
        needed=True,
    )
    outlet: float = key(
        _pipe, "Inside diameter of the outlet pipe behind the tee.", "4 in", needed=True
    )
    filter_loss: float | None = key(
        limited(units.number, 0.0, 1000.0, "a loss is between 0 and 1000 velocity heads"),
        "Loss of the clean effluent filter, in velocity heads; absent: no filter.",
        2,
    )
    clogged: float = key(
        limited(units.percent, 0.0, 0.99, "a filter is clogged by 0 % to 99 %"),
        "How much of the filter is clogged; absent: nothing.",
        "50 %",
        default=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class SupplyTable:
    """The gravity pipe from the tank to the box."""

    length: float = key(_pipe_length, "Its length.", "30 ft", needed=True)
    diameter: float = key(_pipe, "Its inside diameter.", "4 in", needed=True)
    fall: float = key(
        limited(units.grade, 1e-4, 1.0, "a gravity pipe falls by between 0.01 % and 100 %"),
        "Its fall.",
        "1/8 in/ft",
        "1 %",
        needed=True,
    )


@dataclass(frozen=True, kw_only=True)
class HeaderTable:
    """The pipe from each outlet to its trench; its fall is header_fall of the outlet."""

    length: float = key(_pipe_length, "Its length.", "10 ft", needed=True)
    diameter: float = key(_pipe, "Its inside diameter.", "4 in", needed=True)


@dataclass(frozen=True, kw_only=True)
class TrenchTable:
    """The trench of every line; its length is line_length, or line_area over its width."""

    width: float = key(
        length(0.05, 50.0, "a trench is between 50 mm and 50 m wide"),
        "Width of its bottom.",
        "30 in",
        needed=True,
    )
    depth: float = key(
        _depth, "Height over its bottom at which water surfaces.", "20 in", needed=True
    )
    pipe: float | None = key(
        keys.depth, "Height of its pipe's invert over its bottom; absent: half its depth.", "8 in"
    )
    voids: float | None = key(
        limited(units.percent, 0.01, 1.0, "voids are between 1 % and 100 %"),
        "Part of its fill that water can take; absent: 35 %.",
        "35 %",
    )
    acceptance: float = key(
        read_acceptance,
        "Long-term rate at which its soil takes water.",
        "0.45 gal/ft2/day",
        "18 mm/day",
        needed=True,
    )
    soil: str | None = key(
        one_of(SOIL_STATES),
        "State of its soil; absent: biomat, at which the long-term rate holds.",
        "biomat",
    )
    water_table: float | None = key(
        length(-50.0, 50.0, "this height is between -50 m and 50 m"),
        "Height of the groundwater over its bottom, negative below it; absent: deep.",
        "-30 in",
    )
    ponding: float | None = key(keys.depth, "Water in it at the start; absent: none.", "2 in")


@dataclass(frozen=True, kw_only=True)
class PumpTable:
    """A dosing pump: its rate, or its curve with what it must overcome."""

    volume: float = key(_volume, "What it lifts in one dose.", "60 gal", needed=True)
    rate: float | None = key(keys.flow_rate, "Its rate.", "30 gpm")
    curve: tuple[tuple[float, float], ...] = key(
        read_curve,
        "Its curve, where the rate is not known: pairs of a rate and a head.",
        [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]],
        default=(),
    )
    lift: float = key(
        keys.depth, "Height from the water in its chamber to the box.", "8 ft", default=0.0
    )
    main_length: float = key(_pipe_length, "Length of its pressure pipe.", "60 ft", default=0.0)
    main_diameter: float = key(_pipe, "Inside diameter of its pressure pipe.", "2 in", default=0.0)
    drain_back: float = key(
        _volume,
        "What runs back from the pressure pipe after a dose; absent: nothing.",
        "3 gal",
        default=0.0,
    )


@dataclass(frozen=True, kw_only=True)
class SiphonTable:
    """A dosing siphon."""

    inside: tuple[float, ...] = key(
        several(keys.side, 2),
        "Inside length and width of its chamber; one diameter for a round one.",
        ["4 ft", "4 ft"],
        needed=True,
    )
    diameter: float = key(_pipe, "Inside diameter of the siphon.", "3 in", needed=True)
    high: float = key(_depth, "Head over its outlet at which it starts.", "24 in", needed=True)
    low: float = key(_depth, "Head over its outlet at which air breaks it.", "9 in", needed=True)
    coefficient: float | None = key(
        keys.coefficient, "Discharge coefficient, all its losses within; absent: 0.6.", 0.6
    )
