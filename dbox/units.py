"""Quantities: their constants, how people write them and how results are written for people.

    quantity = [sign] term {term}            1-3/16 in      5 ft 3 in
    term     = number [unit]                 larger units first, each once
    number   = decimal | fraction | mixed    1.1875   3/16   1-3/16   1 3/16
    rate     = quantity over [number] unit   5 gal in 40 s   3/16 in/ft   12 gal per day

A sign counts for the whole: `-1-3/16` is -1.1875. Text is read once from the left, so the time
grows with its length only.

Every reader takes text or a number as a file gives it and raises `ScenarioError` where it is not
the quantity wanted: the message begins with `is`, for the caller to put the place in front
(`errors.at_place`), and ends with the mend. How text is written stands in `grammar`.

The inch, the foot and the US gallon are exact by definition: 1 in = 25.4 mm, 1 ft = 12 in,
1 gal = 231 in3 (NIST Handbook 44, Appendix C: from memory).

Lengths are given in inches, as a rule shows them, and in millimetres; flows in gallons a minute and
in litres a minute. What is printed here is read back by the readers here.
"""

import math
import re
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from dbox.errors import ScenarioError, did_you_mean, show

_NUMBER = (
    r"[0-9]+(?:-|\s+)[0-9]+\s*/\s*[0-9]+"
    r"|[0-9]+\s*/\s*[0-9]+"
    r"|(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:e[+-]?[0-9]+)?"
)
_UNIT = r"(?:sq|cu)\s+[a-z]+|per\s+cent|[a-z]+[23]?|[\"'%°]"
_TERM = re.compile(rf"({_NUMBER})\s*({_UNIT})?\s*")
_FRACTION = re.compile(r"(?:([0-9]+)[-\s]\s*)?([0-9]+)\s*/\s*([0-9]+)")
_OVER = re.compile(r"(?<=\s)(?:in|per)(?=\s)|/(?=\s*[a-z])|(?<=[a-z\"'])\s*/")
_PLAIN = str.maketrans(
    {
        **dict.fromkeys("−‐‑‒–﹣", "-"),
        **dict.fromkeys("”“″„", '"'),
        **dict.fromkeys("’‘′", "'"),
        **dict.fromkeys("⁄∕", "/"),
        "²": "2",
        "³": "3",
    }
)


class UnclearError(Exception):
    """Why text is not the quantity wanted; the message is the mend."""


class ExampleError(UnclearError):
    """A mend that wants an example of the quantity after it."""


def clean(text: str) -> str:
    """Make typographic signs, marks and fractions plain, in lower case.

    >>> clean("−1½ in"), clean("5” "), clean("¼ in")
    ('-1 1/2 in', '5"', '1/4 in')
    """
    plain = ""
    for character in text:
        spelled = unicodedata.normalize("NFKC", character)
        if len(spelled) > 1 and "⁄" in spelled:
            # A glyph after a digit is the fraction of a mixed number, not more digits.
            plain += f" {spelled}" if plain[-1:].isdigit() else spelled
        else:
            plain += character
    return plain.translate(_PLAIN).replace("''", '"').strip().lower()


def read_number(text: str) -> float:
    """Value of one unsigned number that the grammar has already recognised. [-]

    >>> read_number("1-3/16")
    1.1875
    """
    fraction = _FRACTION.fullmatch(text)
    if fraction is None:
        return float(text)
    whole, top, bottom = (int(part or 0) for part in fraction.groups())
    if bottom == 0:
        raise UnclearError("a fraction cannot have 0 below the line")
    if fraction[1] is not None and top >= bottom:
        raise UnclearError("the fraction after a whole number must be less than 1, as in 1-3/16")
    return whole + top / bottom


def read_terms(text: str) -> list[tuple[str, str | None]]:
    """Split unsigned text into numbers and their units.

    >>> read_terms("5 ft 3 in")
    [('5', 'ft'), ('3', 'in')]
    """
    terms: list[tuple[str, str | None]] = []
    place = 0
    while term := _TERM.match(text, place):
        terms.append((term[1], " ".join(term[2].split()) if term[2] else None))
        place = term.end()
    unclear = not terms or place < len(text)
    if unclear or (len(terms) > 1 and any(unit is None for _, unit in terms)):
        if re.search(r"[0-9]\s*/\s*[0-9]", text):
            raise UnclearError("write a fraction as 13/16 or 1-3/16")
        if "," in text:
            raise UnclearError("leave the comma out; decimals take a point")
        raise ExampleError("write one number and its unit")
    return terms


def read_alone(text: str) -> float:
    """Read a signed number that has no unit. [-]

    >>> read_alone("-3/4")
    -0.75
    """
    unsigned = text.removeprefix("-") if text.startswith("-") else text.removeprefix("+")
    if re.fullmatch(_NUMBER, unsigned.strip()) is None:
        raise ExampleError("write one number, without a unit")
    value = read_number(unsigned.strip())
    return -value if text.startswith("-") and value else value


def read_sum(text: str, units: Mapping[str, float], bare_unit: str | None) -> float:
    """Read a signed sum of terms. [SI]; units [SI].

    >>> read_sum("-1-3/16", {"in": 1.0}, "in")
    -1.1875
    """
    unsigned = text.removeprefix("-") if text.startswith("-") else text.removeprefix("+")
    total, last = 0.0, math.inf
    for number, written in read_terms(unsigned.lstrip()):
        unit = written or bare_unit
        if unit is None:
            raise ExampleError("give its unit")
        if unit not in units:
            raise UnclearError(
                f"the unit {show(unit)} is not known here; {did_you_mean(unit, units)}"
            )
        if units[unit] >= last:
            raise UnclearError("write the larger unit first, each once, as in 5 ft 3 in")
        last = units[unit]
        total += read_number(number) * last
    return -total if text.startswith("-") and total else total


def read_ratio(text: str, above: Mapping[str, float], below: Mapping[str, float]) -> float | None:
    """Read one quantity over another, split at the last `in`, `per` or `/`.

    above [SI], below [SI] -> [SI].

    >>> read_ratio("1 in in 4 ft", {"in": 1.0}, {"ft": 12.0})
    0.020833333333333332
    >>> read_ratio("3/16", {"in": 1.0}, {"ft": 12.0})
    """
    places = list(_OVER.finditer(text))
    if not places:
        return None
    left, right = text[: places[-1].start()].strip(), text[places[-1].end() :].strip()
    counted = right[:1].isdigit() or right[:1] in (".", "-")
    bottom = read_sum(right if counted else f"1 {right}", below, None)
    if bottom <= 0:
        raise UnclearError("what it is measured over must be more than 0")
    return read_sum(left, above, None) / bottom


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
LITRE_PER_MINUTE = LITRE / MINUTE
"""[m3/s]"""

TRICKLE = 0.5 * GALLON / MINUTE
"""What comes to a box on an ordinary day. [m3/s] (common practice, no source; the middle of the
range below)"""
TRICKLE_LEAST, TRICKLE_MOST = 0.25 * GALLON / MINUTE, 1.0 * GALLON / MINUTE
"""What an ordinary day brings at least and at most, 0.95 to 3.8 L/min. [m3/s] (judgement, from two
abstracts: 1 to 4 L/min most common at four boxes in a year, Water Science and Technology 51(10),
2005, p. 39; 0.1 to 2.5 L/min at two sites in 18 months, the same 58(2), 2008, p. 459)"""
BUCKET = 5 * GALLON / MINUTE
"""A bucket that is emptied into the box. [m3/s] (common practice, no source)"""
DOSE = 30 * GALLON / MINUTE
"""What a pump or siphon sends at once. [m3/s] (common practice, no source)"""

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
    "lpm": LITRE_PER_MINUTE,
    "cfs": FOOT**3,
}
ANGLE_UNITS = {
    **dict.fromkeys(("deg", "degree", "degrees", "°"), math.pi / 180),
    **dict.fromkeys(("rad", "radian", "radians"), 1.0),
}
PERCENT_UNITS = dict.fromkeys(("%", "percent", "per cent"), 0.01)


@dataclass(frozen=True, eq=False)
class Quantity:
    """Reads one kind of quantity in SI, text or a bare number, or says why it is none.

    >>> length("1-3/16 in"), length(3, "mm"), length(0)  # 0 needs no unit
    (0.0301625, 0.003, 0.0)
    >>> round(volume("1 gal"), 12), duration("1 min 30 s"), angle("180 deg") == math.pi
    (0.003785411784, 90.0, True)
    >>> flow("0.3 L/s"), flow("60 L in 1 min")
    (0.0003, 0.001)
    >>> grade("3/16in/ft"), grade("-2 %"), percent("10 %"), number("3/4")
    (0.015625, -0.02, 0.1, 0.75)
    """

    name: str  # What it is called.
    example: str
    parse: Callable[[str, str | None], float]  # Of plain text, and the unit of a bare number.
    largest: float  # What more is too much of it. [SI]
    largest_text: str
    unit: str = ""  # In SI.
    signed: bool = False

    def __call__(self, value: object, bare_unit: str | None = None) -> float:
        """Read a value; a bare number is in the bare unit, and refused where there is none. [SI]"""
        text = _plain_text(value, f"write {self.name}, as {show(self.example)}")
        if self.unit == "m" and _is_bare_zero(value):
            bare_unit = "m"
        try:
            result = self.parse(text, bare_unit)
        except UnclearError as error:
            raise ScenarioError(f"is {show(value)}{self._mend(text, error)}") from error
        if not abs(result) <= self.largest:
            raise ScenarioError(f"is {show(value)}, above {self.largest_text}; check the unit")
        if result < 0 and not self.signed:
            raise ScenarioError(f"is {show(value)}; {self.name} cannot be below 0")
        return result

    def _mend(self, text: str, error: UnclearError) -> str:
        """Say what to write instead, naming what the text is where that is another kind."""
        for other in (flow, length, volume, duration, area, angle, percent, grade):
            if other is not self:
                try:
                    other.parse(text, None)
                except UnclearError:
                    continue
                return f", {other.name}; {self.name} is wanted here, as {show(self.example)}"
        if isinstance(error, ExampleError):
            return f"; {error}, as {show(self.example)}"
        return f"; {error}"


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


def _is_bare_zero(value: object) -> bool:
    """Tell whether a value is 0 without a unit."""
    if isinstance(value, str):
        return value.strip().lstrip("+-") in ("0", "0.0")
    return isinstance(value, int | float) and not isinstance(value, bool) and value == 0


def _by_units(units: Mapping[str, float]) -> Callable[[str, str | None], float]:
    """Make the reader of a quantity that has units of its own."""
    return lambda text, bare_unit: read_sum(text, units, bare_unit)


def _read_flow(text: str, bare_unit: str | None) -> float:
    ratio = read_ratio(text, VOLUME_UNITS, DURATION_UNITS)
    return read_sum(text, FLOW_UNITS, bare_unit) if ratio is None else ratio


def _read_grade(text: str, bare_unit: str | None) -> float:
    ratio = read_ratio(text, LENGTH_UNITS, LENGTH_UNITS)
    return read_sum(text, PERCENT_UNITS, bare_unit) if ratio is None else ratio


length = Quantity("a length", "1-3/16 in", _by_units(LENGTH_UNITS), 10_000.0, "10 km", "m", True)
area = Quantity("an area", "180 ft2", _by_units(AREA_UNITS), 1e6, "1,000,000 m2", "m2")
volume = Quantity("a volume", "5 gal", _by_units(VOLUME_UNITS), 1e5, "100,000 m3", "m3")
duration = Quantity("a time", "40 s", _by_units(DURATION_UNITS), 36525 * DAY, "100 years", "s")
flow = Quantity("a flow", "5 gpm", _read_flow, 1.0, "1 m3/s", "m3/s")
angle = Quantity("an angle", "90 deg", _by_units(ANGLE_UNITS), 100.0, "100 rad", "rad", True)
grade = Quantity("a fall", "1/8 in/ft", _read_grade, 10.0, "1000 %", signed=True)
percent = Quantity("a percentage", "10 %", _by_units(PERCENT_UNITS), 100.0, "10,000 %", signed=True)
number = Quantity(
    "a number", "0.6", lambda text, _: read_alone(text), 1e9, "1,000,000,000", signed=True
)

_CLOCK = re.compile(r"([0-9]{1,2}):([0-9]{2})")
_SAID_CLOCK = re.compile(r"([0-9]{1,2})(?:[:.]([0-9]{2}))?\s*(?:o'?\s*clock)?")
_COMMA = re.compile(r"(?<![\d/.,])(0(?=,)|\d+(?=,\d{1,2}(?!\d))),(\d+)(?!\d|,\d|\s*/)")


def said_clock(text: str) -> str:
    """A clock position as people say it in the form that `clock` reads; any other text as it is."""
    match = _SAID_CLOCK.fullmatch(clean(text))
    return f"{match[1]}:{match[2] or '00'}" if match else text


def said_number(text: str, unit: str = "") -> str:
    """A quantity as people say it: a point for a decimal comma, and a unit where it has none."""
    plain = _COMMA.sub(r"\1.\2", text)
    return f"{plain} {unit}" if unit and re.fullmatch(_NUMBER, clean(plain)) else plain


def clock(value: object) -> float:
    """Read a clock position of a hole as its angle from straight down. [rad]

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


PARTS, FINE_PARTS = 32, 64
"""Parts of an inch that lengths are written in: between two marks of a rule of sixteenths a person
still judges the half, and finer than the marks of the finest rules nobody reads. [-] (judgement)"""


def inches(metres: float, *, signed: bool = False, parts: int = PARTS) -> str:
    """Write a length to the nearest thirty-second of an inch, or other part of one; metres [m].

    >>> inches(0.0301625), inches(-0.0301625), inches(0.00238125, signed=True)
    ('1-3/16 in', '-1-3/16 in', '+3/32 in')
    """
    count = round(metres / INCH * parts)
    whole, rest = divmod(abs(count), parts)
    sign = "-" if count < 0 else "+" if signed and count else ""
    if not rest:
        return f"{sign}{whole} in"
    shared = math.gcd(rest, parts)
    fraction = f"{rest // shared}/{parts // shared}"
    return f"{sign}{whole}-{fraction} in" if whole else f"{sign}{fraction} in"


def millimetres(metres: float, *, signed: bool = False) -> str:
    """Write a length to a tenth of a millimetre; parameters as for `inches`. [m]

    >>> millimetres(0.0047625, signed=True)
    '+4.8 mm'
    """
    # Adding 0.0 turns a rounded -0.0 into 0.0.
    tenths = round(metres * 1000, 1) + 0.0
    return f"{tenths:+.1f} mm" if signed and tenths else f"{tenths:.1f} mm"


def feet(metres: float) -> str:
    """Write the length of a line to three digits. [m]

    >>> feet(18.288)
    '60 ft'
    """
    return f"{three_digits(metres / FOOT)} ft"


def gpm(inflow: float) -> str:
    """Write a flow in US gallons a minute, to three digits. [m3/s]

    >>> gpm(3.1545e-5)
    '0.5 gpm'
    """
    return f"{three_digits(inflow * MINUTE / GALLON)} gpm"


def litres_per_min(inflow: float) -> str:
    """Write a flow in litres a minute, to three digits. [m3/s]

    >>> litres_per_min(3.1545e-5)
    '1.89 L/min'
    """
    return f"{three_digits(inflow * MINUTE / LITRE)} L/min"


def gpm_litres(inflow: float) -> str:
    """Write a flow both ways. [m3/s]

    >>> gpm_litres(3.1545e-5)
    '0.5 gpm (1.89 L/min)'
    """
    return f"{gpm(inflow)} ({litres_per_min(inflow)})"


def gallons(volume: float) -> str:
    """Write a volume in US gallons, to three digits. [m3]

    >>> gallons(0.0189270589)
    '5 gal'
    """
    return f"{three_digits(volume / GALLON)} gal"


def litres(volume: float) -> str:
    """Write a volume in litres, to three digits. [m3]

    >>> litres(0.000946352946)
    '0.946 L'
    """
    return f"{three_digits(volume / LITRE)} L"


def percent_text(fraction: float, digits: int = 1) -> str:
    """Write a fraction in per cent. [-]

    >>> percent_text(0.5021)
    '50.2 %'
    """
    return f"{round(fraction * 100, digits) + 0.0:.{digits}f} %"


def clock_text(angle: float) -> str:
    """Write the angle of a hole as the nearest minute of a clock face; angle [rad].

    >>> clock_text(0.0), clock_text(math.pi / 4), clock_text(-math.pi / 2)
    ('6:00', '7:30', '3:00')
    """
    minutes = (round(angle / math.tau * 720) + 360) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def turn_text(turn: float) -> str:
    """Write a turn in whole degrees and its way round, as seen from inside the box; turn [rad].

    >>> turn_text(math.radians(30)), turn_text(math.radians(-5))
    ('30 deg clockwise', '5 deg counterclockwise')
    """
    way = "clockwise" if turn > 0 else "counterclockwise"
    return f"{abs(math.degrees(turn)):.0f} deg {way}"


def three_digits(value: float) -> str:
    """Round to three significant digits without an exponent or idle zeros."""
    if not value:
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
