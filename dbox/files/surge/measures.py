"""Can that be, before the box and behind it? Readers of the values that only a surge asks for.

As in `measures`: the limits are wide, and what cannot be raises `ScenarioError` with a message that
begins with `is` and ends with the mend.
"""

import re

from dbox.errors import ScenarioError
from dbox.files import measures, units
from dbox.files.faults import did_you_mean, show
from dbox.files.grammar import UnclearError, clean, read_alone

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


def acceptance(value: object) -> float:
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


def people(value: object) -> int:
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


def voids(value: object) -> float:
    """Read the part of a fill that water can take. [-]"""
    limits = "voids are between 1 % and 100 %"
    return _within(value, units.percent(value), 0.01, 1.0, limits)


def clogged(value: object) -> float:
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


def curve(value: object) -> tuple[tuple[float, float], ...]:
    """Read a pump's curve: pairs of a rate and a head. [m3/s, m]

    >>> curve([["0 L/s", "9 m"], ["2.5 L/s", "4.5 m"]])
    ((0.0, 9.0), (0.0025, 4.5))
    """
    wanted = 'write pairs of a rate and a head, as [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]]'
    if not isinstance(value, list) or not 2 <= len(value) <= 50:
        raise ScenarioError(f"is {show(value)}; {wanted}")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise ScenarioError(f"is {show(value)}; {wanted}")
    rates = measures.each([pair[0] for pair in value], units.flow)
    heads = measures.each([pair[1] for pair in value], units.length)
    if list(rates) != sorted(set(rates)) or list(heads) != sorted(heads, reverse=True):
        raise ScenarioError(f"is {show(value)}; rates must rise from pair to pair and heads fall")
    return tuple(zip(rates, heads, strict=True))
