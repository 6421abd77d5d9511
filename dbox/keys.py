"""One declaration for each key of a scenario: how it is read, within what limits, what it is for.

A table of the file is a frozen dataclass, and each of its keys a field that `key` makes. The reader
of files, the JSON Schema, questions and forms all follow from `keys_of` such a class:

    @dataclass(frozen=True, kw_only=True)
    class Insert:
        diameter: float | None = key(size, "Diameter of a circle.", "2 in")

A `Reader` takes a value as it is written and gives it in SI. What cannot be raises `ScenarioError`
with a message that begins with `is` and ends with the mend. Limits are wide: they catch a wrong
unit or a slipped point, not an odd box.
"""

import json
import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import cache
from typing import Any, Generic, TypeVar
from unicodedata import category

from dbox import units
from dbox.errors import ScenarioError, at_place, did_you_mean, key_text, show

T = TypeVar("T")
Schema = Mapping[str, object]

LONGEST_TEXT = 200
"""Characters of a title or a source."""
LONGEST_NAME = 40
"""Characters of a label or of a flow's name."""
MOST_REPEATS = 1000
"""Readings of one outlet."""
SMALLEST_FLOW = units.LITRE / 1000 / units.MINUTE
"""One millilitre a minute. [m3/s]"""

TEXT: Schema = {"type": "string"}
VALUE: Schema = {"type": ["string", "number"]}
VALUES: Schema = {"type": ["string", "number", "array"], "items": {"type": ["string", "number"]}}


@dataclass(frozen=True, eq=False)
class Reader(Generic[T]):
    """Reads a value as it is written."""

    read: Callable[..., T]  # Takes the value and, if `bare`, the unit of a bare length.
    schema: Schema  # What JSON Schema says of the value as it is written.
    bare: bool = False  # Whether a bare number is a length in the unit of the file.
    words: tuple[str, ...] = ()  # The words to choose from, where it is one of a few.
    unit: str = ""  # Of the value in SI.
    ends: tuple[float, float] = (-math.inf, math.inf)  # Limits of a measure. [SI]

    def __call__(self, value: object, bare_unit: str | None = None) -> T:
        """Read a value."""
        return self.read(value, bare_unit) if self.bare else self.read(value)


def reads(
    schema: Schema, *, bare: bool = False, words: Iterable[str] = (), unit: str = ""
) -> Callable[[Callable[..., T]], Reader[T]]:
    """Make a reader of a function."""
    return lambda read: Reader(read, schema, bare, tuple(words), unit)


def within(value: object, measure: float, low: float, high: float, words: str) -> float:
    """Pass a measure on where it lies between two limits; `words` say which."""
    if not low <= measure <= high:
        raise ScenarioError(f"is {show(value)}; {words}, check the value and its unit")
    return measure


def limited(
    read: Callable[..., float], low: float, high: float, words: str, *, bare: bool = False
) -> Reader[float]:
    """Read a measure that lies between two limits; `words` say which.

    >>> limited(units.percent, 0.0, 1.0, "a share is between 0 % and 100 %")("5 %")
    0.05
    """

    def held(value: object, *bare_unit: str | None) -> float:
        return within(value, read(value, *bare_unit), low, high, words)

    schema = VALUE if bare or read is units.number else TEXT
    return Reader(held, schema, bare, unit=getattr(read, "unit", ""), ends=(low, high))


def length(low: float, high: float, words: str) -> Reader[float]:
    """Read a length between two limits, a bare number being in the file's unit. [m]"""
    return limited(units.length, low, high, words, bare=True)


def choice(value: object, words: Iterable[str]) -> str:
    """Read one of a few words, in any case, parted by a space, a dash or an underscore."""
    known = list(words)
    parts = value.lower().replace("-", " ").replace("_", " ") if isinstance(value, str) else ""
    word = " ".join(parts[:LONGEST_NAME].split())
    if word not in known:
        raise ScenarioError(f"is {show(value)}; {did_you_mean(word, known)}")
    return word


def one_of(words: Iterable[str]) -> Reader[str]:
    """Read one of a few words."""
    known = tuple(words)
    return Reader(lambda value: choice(value, known), {"enum": list(known)}, words=known)


def each(values: Iterable[object], read: Callable[[object], T]) -> tuple[T, ...]:
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


def several(reader: Reader[T], most: int) -> Reader[tuple[T, ...]]:
    """Read one value or a list of them."""

    def read(value: object, bare_unit: str | None) -> tuple[T, ...]:
        if not isinstance(value, list):
            return (reader(value, bare_unit),)
        if not 1 <= len(value) <= most:
            raise ScenarioError(f"is a list of {len(value)}; write 1 to {most}")
        return each(value, lambda item: reader(item, bare_unit))

    return Reader(read, VALUES, bare=True, unit=reader.unit)


def by_name(
    value: object, wanted: str, read: Callable[[str, object], tuple[str, T]]
) -> dict[str, T]:
    """Read every entry of a table of free names, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(f"is {show(value)}; write {wanted}")
    found: dict[str, T] = {}
    faults = []
    for called, written in value.items():
        try:
            name, measure = read(called, written)
            if name in found:
                raise ScenarioError("has a name that is there already; give each its own")
            found[name] = measure
        except ScenarioError as error:
            faults += [at_place(f".{key_text(called)}", fault) for fault in error.faults]
    if faults:
        raise ScenarioError(*faults)
    return found


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


@reads({"type": "boolean"})
def flag(value: object) -> bool:
    """Read true or false."""
    if not isinstance(value, bool):
        raise ScenarioError(f"is {show(value)}; write true or false, without quotes")
    return value


@reads(VALUE)
def label(value: object) -> str:
    """Read a label or a name, which may be written as a whole number."""
    whole = isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**9
    written = text(str(value) if whole else value, LONGEST_NAME)
    if not written:
        raise ScenarioError("is empty; write a name in quotes")
    return written


line = Reader(text, TEXT)
clock = Reader(units.clock, TEXT, unit="rad")

# Measures that are typed at a command line or in a table of boxes too.
size = length(0.001, 1.0, "an opening is between 1 mm and 1 m")
offset = length(0.0, 0.15, "an offset is between 0 and 150 mm")


@reads(VALUE, bare=True, unit="m")
def offset_or_unknown(value: object, bare_unit: str | None) -> float:
    """Read the offset of a hole; inf where it is `unknown`, 0 where `fixed`. [m]"""
    words = {"unknown": math.inf, "fixed": 0.0}
    return words[value] if isinstance(value, str) and value in words else offset(value, bare_unit)


reading = length(-1.0, 1.0, "a reading at a box is less than 1 m from the water")
spread = length(1e-6, 0.1, "a spread is above 0 and below 100 mm")
mark = length(1e-5, 0.03, "the marks of a rule are between 0.01 mm and 30 mm apart")
hand = limited(units.angle, math.radians(0.1), math.radians(45), "a hand errs by 0.1 deg to 45 deg")
_held = several(length(0.0, 0.02, "a dry lip holds back between 0 and 20 mm"), 2)


@reads(VALUES, bare=True, unit="m")
def hold_back(value: object, bare_unit: str | None) -> tuple[float, float]:
    """Read what dry lips hold back: one height, or the least and the most.

    >>> hold_back(["1 mm", "4 mm"]), hold_back("0 in")
    ((0.001, 0.004), (0.0, 0.0))
    """
    heights = _held(value, bare_unit)
    if heights[0] > heights[-1]:
        raise ScenarioError('is a list that falls; write the least first, as ["1 mm", "4 mm"]')
    return heights[0], heights[-1]


pipe = length(0.01, 1.0, "a pipe is between 10 mm and 1 m wide")
side = length(0.05, 10.0, "the inside of a box is between 50 mm and 10 m")
place = length(-0.1, 10.0, "a place in a box is between 0 and 10 m")
drop = length(-1.0, 5.0, "an inlet drop is between -1 m and 5 m")
depth = length(0.0, 5.0, "this height is between 0 and 5 m")
notch_angle = limited(
    units.angle, math.radians(1), math.radians(179), "a notch is between 1 deg and 179 deg"
)
coefficient = limited(units.number, 0.1, 1.2, "a discharge coefficient is between 0.1 and 1.2")
flow_rate = limited(
    units.flow, SMALLEST_FLOW, 1.0, "a flow to compute is between 1 mL/min and 1 m3/s"
)
tolerance = limited(units.percent, 1e-6, 1.0, "a tolerance is above 0 % and at most 100 %")
coefficient_spread = limited(units.percent, 0.0, 0.3, "a coefficient is doubted by 0 % to 30 %")
weight = limited(units.number, 0.0, 1e6, "a weight is between 0 and 1,000,000")


@dataclass(frozen=True)
class Key:
    """What is declared of one key of the file."""

    reader: Reader[Any] | type  # Of its value, or the dataclass of a table.
    about: str  # What it is for.
    examples: tuple[object, ...]  # How it may be written.
    many: bool  # Whether it is a list of tables.
    common: tuple[str, ...]  # Keys beside it that each table of the list takes where it has none.
    needed: bool | str  # Whether its table cannot do without it; a text is the mend then.
    name: str  # As the file spells it.

    @property
    def mend(self) -> str:
        """What to do where the key is needed and not there."""
        example = json.dumps(self.examples[0]) if self.examples else "..."
        return self.needed if isinstance(self.needed, str) else f"add {self.name} = {example}"


def key(
    reader: Reader[Any] | type, about: str, *examples: object, unit: str = "",
    default: object = None, many: bool = False, common: tuple[str, ...] = (),
    needed: bool | str = False, name: str = "",
) -> Any:  # fmt: skip
    """Declare a key as a field of a dataclass; one that is needed has no default.

    reader: Of its value, or the dataclass of a table; with `many` of a list of tables, each of
    which takes the `common` keys beside the list where it has none.
    unit: Of the value in SI where its reader has none; the encoder of results puts it in the key.
    needed: Whether its table cannot do without it; a text is the mend, in place of its example.
    name: How the file spells it, where the field is called otherwise.
    """
    told = Key(reader, about, examples, many, common, needed, name)
    unit = unit or (reader.unit if isinstance(reader, Reader) else "")
    metadata = {"key": told} | ({"unit": unit} if unit else {})
    return field(metadata=metadata) if needed else field(default=default, metadata=metadata)


def said(unit: str = "", *, outlets: bool = False, hidden: bool = False) -> Any:
    """Declare a field of a result for the encoder: its unit in SI, or that it counts outlets."""
    return field(metadata={"unit": unit, "outlets": outlets, "hidden": hidden})


def keys_of(table: type) -> Mapping[str, Key]:
    """The keys of a table by the names of its fields, in their order."""
    return _keys_of(table)


@cache
def _keys_of(table: Any) -> Mapping[str, Key]:
    return {
        f.name: replace(told, name=told.name or f.name)
        for f in fields(table)
        if (told := f.metadata.get("key")) is not None
    }


def filled(own: T, common: Any) -> T:
    """A table with, for each key that it lacks, what the common one says.

    common: Of the same class, or of one that it extends.
    """
    missing = [field for field in keys_of(type(common)) if getattr(own, field) is None]
    return replace(own, **{field: getattr(common, field) for field in missing})  # type: ignore[type-var]


def own_or(own: T | None, common: T | None) -> T | None:
    """A table filled from the common one; either of them where only one is there."""
    return common if own is None else own if common is None else filled(own, common)
