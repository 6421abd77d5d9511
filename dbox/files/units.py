"""How much is that? Quantities as people write them, read into SI.

Every reader takes text or a number as a file gives it and raises `ScenarioError` where it is not
the quantity wanted: the message begins with `is`, for the caller to put the place in front
(`faults.at_place`), and ends with the mend. How text is written stands in `grammar`.

The inch, the foot and the US gallon are exact by definition: 1 in = 25.4 mm, 1 ft = 12 in,
1 gal = 231 in3 (NIST Handbook 44, Appendix C: from memory).
"""

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dbox.errors import ScenarioError
from dbox.files.faults import show
from dbox.files.grammar import (
    ExampleError,
    UnclearError,
    clean,
    read_alone,
    read_ratio,
    read_sum,
)

INCH = 0.0254
"""[m]"""
FOOT = 12 * INCH
"""[m]"""
LITRE = 1e-3
"""[m3]"""
GALLON = 231 * 0.016387064 * LITRE
"""US gallon, 231 cubic inches of 16.387064 mL. [m3]"""
MINUTE = 60.0
"""[s]"""
HOUR = 3600.0
"""[s]"""
DAY = 86400.0
"""[s]"""

LONGEST_TEXT = 80
"""Characters of one quantity; more cannot be a quantity."""

LENGTH_UNITS = {
    **dict.fromkeys(("in", "inch", "inches", '"'), INCH),
    **dict.fromkeys(("ft", "foot", "feet", "'"), FOOT),
    "mm": 1e-3,
    "cm": 1e-2,
    "m": 1.0,
}
AREA_UNITS = {
    **dict.fromkeys(("ft2", "sq ft"), FOOT**2),
    **dict.fromkeys(("m2", "sq m"), 1.0),
}
VOLUME_UNITS = {
    **dict.fromkeys(("gal", "gallon", "gallons"), GALLON),
    **dict.fromkeys(("qt", "quart", "quarts"), GALLON / 4),
    **dict.fromkeys(("l", "litre", "litres", "liter", "liters"), LITRE),
    "ml": LITRE / 1000,
    **dict.fromkeys(("ft3", "cu ft"), FOOT**3),
    "m3": 1.0,
}
DURATION_UNITS = {
    **dict.fromkeys(("s", "sec", "second", "seconds"), 1.0),
    **dict.fromkeys(("min", "minute", "minutes"), MINUTE),
    **dict.fromkeys(("h", "hr", "hour", "hours"), HOUR),
    **dict.fromkeys(("d", "day", "days"), DAY),
}
FLOW_UNITS = {
    "gpm": GALLON / MINUTE,
    "gph": GALLON / HOUR,
    "gpd": GALLON / DAY,
    "lpm": LITRE / MINUTE,
    "cfs": FOOT**3,
}
ANGLE_UNITS = {
    **dict.fromkeys(("deg", "degree", "degrees", "°"), math.pi / 180),
    **dict.fromkeys(("rad", "radian", "radians"), 1.0),
}
PERCENT_UNITS = dict.fromkeys(("%", "percent", "per cent"), 0.01)

_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})")


@dataclass(frozen=True)
class _Kind:
    """A kind of quantity: what to call it, how to read it, and what is too much of it in SI."""

    name: str
    example: str
    read: Callable[[str, str | None], float]
    largest: float
    largest_text: str
    signed: bool = False


def _by_units(units: Mapping[str, float]) -> Callable[[str, str | None], float]:
    """Make the reader of a quantity that has units of its own."""
    return lambda text, bare_unit: read_sum(text, units, bare_unit)


def _read_flow(text: str, bare_unit: str | None) -> float:
    ratio = read_ratio(text, VOLUME_UNITS, DURATION_UNITS)
    return read_sum(text, FLOW_UNITS, bare_unit) if ratio is None else ratio


def _read_grade(text: str, bare_unit: str | None) -> float:
    ratio = read_ratio(text, LENGTH_UNITS, LENGTH_UNITS)
    return read_sum(text, PERCENT_UNITS, bare_unit) if ratio is None else ratio


def _read_count(text: str, _: str | None) -> float:
    return read_alone(text)


_LENGTH = _Kind("a length", "1-3/16 in", _by_units(LENGTH_UNITS), 10_000.0, "10 km", signed=True)
_AREA = _Kind("an area", "180 ft2", _by_units(AREA_UNITS), 1e6, "1,000,000 m2")
_VOLUME = _Kind("a volume", "5 gal", _by_units(VOLUME_UNITS), 1e5, "100,000 m3")
_DURATION = _Kind("a time", "40 s", _by_units(DURATION_UNITS), 36525 * DAY, "100 years")
_FLOW = _Kind("a flow", "5 gpm", _read_flow, 1.0, "1 m3/s")
_ANGLE = _Kind("an angle", "90 deg", _by_units(ANGLE_UNITS), 100.0, "100 rad", signed=True)
_GRADE = _Kind("a fall", "1/8 in/ft", _read_grade, 10.0, "1000 %", signed=True)
_PERCENT = _Kind("a percentage", "10 %", _by_units(PERCENT_UNITS), 100.0, "10,000 %", signed=True)
_COUNT = _Kind("a number", "0.6", _read_count, 1e9, "1,000,000,000", signed=True)
_WITH_UNITS = (_FLOW, _LENGTH, _VOLUME, _DURATION, _AREA, _ANGLE, _GRADE, _PERCENT)


def _plain_text(value: object, wanted: str) -> str:
    """Text of a value, refusing what cannot be a quantity whatever it says."""
    if isinstance(value, str):
        if not value.strip():
            raise ScenarioError(f"is empty; {wanted}, or leave it out where not measured")
        if len(value) <= LONGEST_TEXT:
            return clean(value)
    elif isinstance(value, int | float) and not isinstance(value, bool) and -1e15 < value < 1e15:
        return repr(value)
    raise ScenarioError(f"is {show(value)}; {wanted}")


def _mend(text: str, kind: _Kind, error: UnclearError) -> str:
    """Say what to write instead, naming what the text is where that is another kind."""
    for other in _WITH_UNITS:
        if other is not kind:
            try:
                other.read(text, None)
            except UnclearError:
                continue
            return f", {other.name}; {kind.name} is wanted here, as {show(kind.example)}"
    if isinstance(error, ExampleError):
        return f"; {error}, as {show(kind.example)}"
    return f"; {error}"


def _quantity(value: object, kind: _Kind, bare_unit: str | None = None) -> float:
    """Read a value as a kind of quantity in SI, or say why it is none and what to write."""
    text = _plain_text(value, f"write {kind.name}, as {show(kind.example)}")
    try:
        result = kind.read(text, bare_unit)
    except UnclearError as error:
        raise ScenarioError(f"is {show(value)}{_mend(text, kind, error)}") from error
    if not abs(result) <= kind.largest:
        raise ScenarioError(f"is {show(value)}, above {kind.largest_text}; check the unit")
    if result < 0 and not kind.signed:
        raise ScenarioError(f"is {show(value)}; {kind.name} cannot be below 0")
    return result


def length(value: object, bare_unit: str | None = None) -> float:
    """Read a length or a height, signed.

    Parameters
    ----------
    value : str, int or float
        As written: `1-3/16 in`, `60'`, `5 ft 3 in`, `3 mm`; a number is in `bare_unit`.
    bare_unit : str or None
        Unit of a number without one; None: such a number is refused, unless it is 0.

    Returns
    -------
    float
        [m]

    Raises
    ------
    ScenarioError
        Where the value is no length, or more than 10 km.

    >>> length("1-3/16 in"), length(3, "mm")
    (0.0301625, 0.003)
    """
    # Nothing is nothing in any unit, so a 0 needs none.
    return _quantity(value, _LENGTH, bare_unit or ("m" if _is_bare_zero(value) else None))


def _is_bare_zero(value: object) -> bool:
    """Tell whether a value is 0 without a unit."""
    if isinstance(value, str):
        return value.strip().lstrip("+-") in ("0", "0.0")
    return isinstance(value, int | float) and not isinstance(value, bool) and value == 0


def area(value: object) -> float:
    """Read an area such as `180 ft2` or `17 m2`; parameters and errors as for `length`. [m2]"""
    return _quantity(value, _AREA)


def volume(value: object) -> float:
    """Read a volume such as `1500 gal` or `12 L`; parameters and errors as for `length`. [m3]

    >>> round(volume("1 gal"), 12)
    0.003785411784
    """
    return _quantity(value, _VOLUME)


def duration(value: object) -> float:
    """Read a time span such as `40 s` or `1 min 30 s`; as for `length`. [s]

    >>> duration("1 min 30 s")
    90.0
    """
    return _quantity(value, _DURATION)


def flow(value: object) -> float:
    """Read a flow; a bare number is refused, since no unit of flow goes without saying.

    Parameters
    ----------
    value : str
        As written: `5 gpm`, `0.3 L/s`, `300 gal/day`, `5 gal in 40 s`.

    Returns
    -------
    float
        [m3/s]

    Raises
    ------
    ScenarioError
        Where the value is no flow, is negative, or more than 1 m3/s.

    >>> flow("0.3 L/s"), flow("60 L in 1 min")
    (0.0003, 0.001)
    """
    return _quantity(value, _FLOW)


def angle(value: object) -> float:
    """Read an angle such as `90 deg`; as for `flow`. [rad]

    >>> angle("180 deg") == math.pi
    True
    """
    return _quantity(value, _ANGLE)


def grade(value: object) -> float:
    """Read a fall per run such as `3/16 in/ft`, `1 in in 4 ft` or `2 %`; as for `flow`. [-]

    >>> grade("3/16in/ft"), grade("-2 %")
    (0.015625, -0.02)
    """
    return _quantity(value, _GRADE)


def percent(value: object) -> float:
    """Read a percentage such as `10 %` as a fraction; as for `flow`. [-]

    >>> percent("10 %")
    0.1
    """
    return _quantity(value, _PERCENT)


def number(value: object) -> float:
    """Read a number without a unit; as for `flow`. [-]

    >>> number("3/4")
    0.75
    """
    return _quantity(value, _COUNT)


def clock(value: object) -> float:
    """Read a clock position of a hole as its angle from straight down.

    Parameters
    ----------
    value : str
        Hours 1 to 12 and minutes, `5:30`; as seen from inside the box, 6:00 is straight down.
        There is no hour 0: half an hour past the top is 12:30.

    Returns
    -------
    float
        Clockwise as seen from inside the box, above -pi and up to pi. [rad]

    Raises
    ------
    ScenarioError
        Where the value is no position of a clock face.

    >>> clock("6:00"), clock("9:00") == math.pi / 2, clock("12:00") == math.pi
    (0.0, True, True)
    """
    match = _CLOCK.fullmatch(clean(value)) if isinstance(value, str) and len(value) < 9 else None
    hour, minute = (int(match[1]), int(match[2])) if match else (0, 0)
    if match is None or not 1 <= hour <= 12 or minute > 59:
        raise ScenarioError(
            f'is {show(value)}; write a clock position from "1:00" to "12:59", "6:00" straight down'
        )
    turned = (hour % 12) * 60 + minute - 360
    return math.pi * (turned if turned > -360 else 360) / 360
