"""Keys of a scenario: their readers, limits and descriptions.

The limits are wide: they catch a wrong unit or a slipped point, not an odd box. As in `units`, what
cannot be raises `ScenarioError` with a message that begins with `is` and ends with the mend.

The tables of the file are pydantic models made of these. Values arrive in SI, the readers of
`measures` see to that; the unit of a bare length is passed as validation context.

The kinds are `circle` and `pipe` (a diameter), `notch` (an angle) and `slot` (a width, and a height
where it is closed on top).
"""

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import Annotated, Any
from unicodedata import category

from pydantic import BaseModel, ConfigDict, Field, PlainValidator, ValidationInfo, WithJsonSchema

from dbox import units
from dbox.errors import ScenarioError, at_place, did_you_mean, show
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot

LONGEST_TEXT = 200
"""Characters of a title or a source."""
LONGEST_NAME = 40
"""Characters of a label or of a flow's name."""
MOST_REPEATS = 1000
"""Readings of one outlet."""

SMALLEST_FLOW = units.LITRE / 1000 / units.MINUTE
"""One millilitre a minute. [m3/s]"""


def _within(value: object, measure: float, low: float, high: float, limits: str) -> float:
    """Pass a measure on where it lies between two limits."""
    if not low <= measure <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return measure


def size(value: object, bare_unit: str | None = None) -> float:
    """Read a size of an opening. [m]

    >>> size("2 in")
    0.0508
    """
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.001, 1.0, "an opening is between 1 mm and 1 m")


def notch_angle(value: object) -> float:
    """Read the full angle of a notch. [rad]"""
    low, high = math.radians(1), math.radians(179)
    return _within(value, units.angle(value), low, high, "a notch is between 1 deg and 179 deg")


def coefficient(value: object) -> float:
    """Read a discharge coefficient. [-]"""
    limits = "a discharge coefficient is between 0.1 and 1.2"
    return _within(value, units.number(value), 0.1, 1.2, limits)


def offset(value: object, bare_unit: str | None = None) -> float:
    """Read the distance of a hole's centre from the pipe's. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.0, 0.15, "an offset is between 0 and 150 mm")


def reading(value: object, bare_unit: str | None = None) -> float:
    """Read a height over still water, signed. [m]

    >>> reading("-1/16", "in")
    -0.0015875
    """
    metres = units.length(value, bare_unit)
    return _within(value, metres, -1.0, 1.0, "a reading at a box is less than 1 m from the water")


def spread(value: object, bare_unit: str | None = None) -> float:
    """Read the standard deviation of one reading. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 1e-6, 0.1, "a spread is above 0 and below 100 mm")


def side(value: object, bare_unit: str | None = None) -> float:
    """Read an inside length of a box. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.05, 10.0, "the inside of a box is between 50 mm and 10 m")


def place(value: object, bare_unit: str | None = None) -> float:
    """Read a distance along or across a box. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, -0.1, 10.0, "a place in a box is between 0 and 10 m")


def depth(value: object, bare_unit: str | None = None) -> float:
    """Read a height that cannot be negative: of a sump, of a rim. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.0, 5.0, "this height is between 0 and 5 m")


def drop(value: object, bare_unit: str | None = None) -> float:
    """Read the height of the inlet over the outlets, negative where it is the lower. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, -1.0, 5.0, "an inlet drop is between -1 m and 5 m")


def line_length(value: object, bare_unit: str | None = None) -> float:
    """Read the length of a line. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.1, 1000.0, "a line is between 0.1 m and 1000 m long")


def line_area(value: object) -> float:
    """Read the bottom area of a trench. [m2]"""
    limits = "the bottom of a trench is between 0.1 m2 and 10,000 m2"
    return _within(value, units.area(value), 0.1, 1e4, limits)


def header_fall(value: object) -> float:
    """Read the fall of a header over its length. [-]"""
    fall = units.grade(value)
    return _within(value, fall, -0.5, 1.0, "a header falls by 100 % of its length at most")


def flow_rate(value: object) -> float:
    """Read a flow to compute, above nothing. [m3/s]"""
    limits = "a flow to compute is between 1 mL/min and 1 m3/s"
    return _within(value, units.flow(value), SMALLEST_FLOW, 1.0, limits)


def poured(value: object) -> float:
    """Read the volume of a pour. [m3]"""
    limits = "a pour is between 0.1 L and 100 m3"
    return _within(value, units.volume(value), 1e-4, 100.0, limits)


def pour_time(value: object) -> float:
    """Read how long a pour lasts. [s]"""
    limits = "a pour lasts between 1 s and 1 day"
    return _within(value, units.duration(value), 1.0, units.DAY, limits)


def jug(value: object) -> float:
    """Read the content of a jug. [m3]"""
    limits = "a jug holds between 20 mL and 200 L"
    return _within(value, units.volume(value), 2e-5, 0.2, limits)


def fill_time(value: object) -> float:
    """Read how long a jug took to fill. [s]"""
    limits = "a jug fills in 0.1 s to 1 day"
    return _within(value, units.duration(value), 0.1, units.DAY, limits)


def catch_error(value: object) -> float:
    """Read the standard deviation of a timed catch, in per cent, as a fraction. [-]"""
    limits = "the error of a timed catch is between 0.5 % and 50 %"
    return _within(value, units.percent(value), 0.005, 0.5, limits)


def tolerance(value: object) -> float:
    """Read a tolerance in per cent as a fraction. [-]"""
    limits = "a tolerance is above 0 % and at most 100 %"
    return _within(value, units.percent(value), 1e-6, 1.0, limits)


def weight(value: object) -> float:
    """Read a typed weight of a target. [-]"""
    limits = "a weight is between 0 and 1,000,000"
    return _within(value, units.number(value), 0.0, 1e6, limits)


def each(values: Iterable[object], read: Callable[[object], float]) -> tuple[float, ...]:
    """Read every value of a list, collecting the faults with their place counted from 1.

    >>> each(["1 in", "2 in"], units.length)
    (0.0254, 0.0508)
    """
    measures, faults = [], []
    for index, value in enumerate(values, start=1):
        try:
            measures.append(read(value))
        except ScenarioError as error:
            faults.append(at_place(f"[{index}]", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return tuple(measures)


_JOINERS = "\u200c\u200d"
"""The zero width non-joiner and joiner, which Persian, Indic scripts and emoji are written with."""


def text(value: object, longest: int = LONGEST_TEXT) -> str:
    """Read a line of text that can be printed."""
    if not isinstance(value, str):
        raise ScenarioError(f"is {show(value)}; write text in quotes")
    if len(value) > longest:
        raise ScenarioError(f"is {show(value)}, {len(value)} characters; keep it within {longest}")
    # blanks of other scripts, what joins or parts their letters, and letters of a firm's own
    if not all(sign.isprintable() or sign in _JOINERS or category(sign) in ("Zs", "Co")
               for sign in value):  # fmt: skip
        raise ScenarioError(f"is {show(value)}; keep it on one line, without control characters")
    return value.strip()


def flag(value: object) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise ScenarioError(f"is {show(value)}; write true or false, without quotes")
    return value


def flow_name(value: object) -> str:
    """Read a label, which may be written as a whole number.

    >>> name(3)
    '3'
    """
    whole = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**9
    label = text(str(value) if whole else value, LONGEST_NAME)
    if not label:
        raise ScenarioError("is empty; write a name in quotes")
    return label


def choice(value: object, words: Iterable[str]) -> str:
    """Read one of a few words, in any case, parted by a space, a dash or an underscore."""
    known = list(words)
    parts = value.lower().replace("-", " ").replace("_", " ") if isinstance(value, str) else ""
    word = " ".join(parts[:LONGEST_NAME].split())
    if word not in known:
        raise ScenarioError(f"is {show(value)}; {did_you_mean(word, known)}")
    return word


TEXT = WithJsonSchema({"type": "string"})
VALUE = WithJsonSchema({"type": ["string", "number"]})
VALUES = WithJsonSchema(
    {"type": ["string", "number", "array"], "items": {"type": ["string", "number"]}}
)


def bare_unit(info: ValidationInfo) -> str | None:
    """Unit of a bare length, as the file states it."""
    return info.context["bare_unit"] if info.context else None


def length(read: Callable[[object, str | None], float]) -> PlainValidator:
    """Validate one length, bare numbers being in the file's unit."""

    def validate(value: object, info: ValidationInfo) -> float:
        return read(value, bare_unit(info))

    return PlainValidator(validate)


def lengths(read: Callable[[object, str | None], float], most: int) -> PlainValidator:
    """Validate one length or a list of them."""

    def validate(value: object, info: ValidationInfo) -> tuple[float, ...]:
        if not isinstance(value, list):
            return (read(value, bare_unit(info)),)
        if not 1 <= len(value) <= most:
            raise ScenarioError(f"is a list of {len(value)}; write 1 to {most}")
        return each(value, lambda item: read(item, bare_unit(info)))

    return PlainValidator(validate)


def word(words: tuple[str, ...]) -> tuple[PlainValidator, WithJsonSchema]:
    """Validate one of a few words."""
    return (
        PlainValidator(lambda value: choice(value, words)),
        WithJsonSchema({"enum": list(words)}),
    )


Text = Annotated[str | None, PlainValidator(text), TEXT]
Flag = Annotated[bool | None, PlainValidator(flag), WithJsonSchema({"type": "boolean"})]
Size = Annotated[float | None, length(size), VALUE]


def key(description: str, *examples: object) -> Any:
    """Declare an optional key: what it is for and how it is written."""
    return Field(default=None, description=description, examples=list(examples) or None)


class Table(BaseModel):
    """A table of the file: no key but those declared."""

    model_config = ConfigDict(extra="forbid", frozen=True)


@dataclass(frozen=True)
class Kind:
    """The sizes that a kind of opening needs, and those that it may have."""

    needs: tuple[str, ...]
    may_have: tuple[str, ...] = ()

    @property
    def sizes(self) -> tuple[str, ...]:
        """Every size that has a meaning for this kind."""
        return self.needs + self.may_have


KINDS = {
    "circle": Kind(needs=("diameter",)),
    "notch": Kind(needs=("angle",)),
    "slot": Kind(needs=("width",), may_have=("height",)),
    "pipe": Kind(needs=("diameter",)),
}
SIZES = ("diameter", "angle", "width", "height")


def build(kind: str, sizes: Mapping[str, float], coefficient: float | None = None) -> Opening:
    """Make the opening of a kind; coefficient [-].

    >>> build("slot", {"width": 0.05}).top
    inf
    """
    if kind == "circle":
        return Circle(sizes["diameter"], coefficient=coefficient)
    if kind == "notch":
        return Notch(sizes["angle"], coefficient=coefficient)
    if kind == "slot":
        return Slot(sizes["width"], sizes.get("height"), coefficient=coefficient)
    return PipeEnd(sizes["diameter"], coefficient=coefficient)
