"""How do people write a quantity? The grammar, free of any particular unit.

    quantity = [sign] term {term}            1-3/16 in      5 ft 3 in
    term     = number [unit]                 larger units first, each once
    number   = decimal | fraction | mixed    1.1875   3/16   1-3/16   1 3/16
    rate     = quantity over [number] unit   5 gal in 40 s   3/16 in/ft   12 gal per day

A sign counts for the whole: `-1-3/16` is -1.1875. Text is read once from the left, so the time
grows with its length only.
"""

import math
import re
import unicodedata
from collections.abc import Mapping

from dbox.files.faults import did_you_mean, show

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
    """Read a signed sum of terms. [SI]

    Parameters
    ----------
    text : str
        Cleaned text.
    units : mapping of str to float
        Size of each unit. [SI]
    bare_unit : str or None
        Unit of a number without one; None where such a number means nothing.

    Raises
    ------
    UnclearError
        With the mend.

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

    Parameters
    ----------
    text : str
        Cleaned text.
    above, below : mapping of str to float
        Sizes of the units on each side. [SI]

    Returns
    -------
    float or None
        None where the text is no ratio. [SI]

    Raises
    ------
    UnclearError
        With the mend.

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
