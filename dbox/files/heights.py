"""Which heights stand on one line, as a person at the box types them?

In any notation, several at once: `1/8 3/16`, `+3 mm; -1 mm`, `1 1/16 in`. A whole number before a
fraction is a mixed number, so `1 1/16` is one height and `1, 1/16` are two; nothing is mixed with
0, so `0 1/16` are two. One unit at the end goes for all.
"""

import re

from dbox.errors import ScenarioError
from dbox.files import measures
from dbox.files.faults import show
from dbox.files.grammar import clean

_PIECE = re.compile(
    r"\s*(?P<height>[+-]?"
    r"(?:[1-9][0-9]*(?:-|\s+)[0-9]+\s*/\s*[0-9]+|[0-9]+\s*/\s*[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+))"
    r"\s*(?P<unit>[a-z]+|[\"'])?\s*(?:[,;]|(?=\s|$))"
)
_DECIMAL_COMMA = re.compile(r"(?<![/0-9])[0-9]+,[0-9]+(?![0-9]*\s*/)")


def read_heights(text: str, bare_unit: str | None) -> tuple[float, ...]:
    """Read one or more heights from a line.

    Parameters
    ----------
    text : str
        As typed.
    bare_unit : str or None
        Unit of a height without one; None: such a height is refused, unless it is 0.

    Returns
    -------
    tuple of float
        At least one. [m]

    Raises
    ------
    ScenarioError
        Where it is none; the message begins with `is`.

    >>> read_heights("3 -1.5 mm", "in"), read_heights("1 3/16", "in")
    ((0.003, -0.0015), (0.0301625,))
    """
    plain = clean(text)
    if _DECIMAL_COMMA.search(plain):
        raise ScenarioError(
            f"is {show(text)}; decimals take a point, and readings a space between them"
        )
    pieces = _pieces(plain)
    if len(pieces) < 2:
        return (measures.reading(text, bare_unit),)
    named = [unit for _, unit in pieces]
    last = named[-1]
    if last and not any(named[:-1]):
        bare_unit, named = last, [None] * len(named)
    elif any(named) and not all(named):
        raise ScenarioError(f"is {show(text)}; give each reading its unit, or one at the end")
    return tuple(
        measures.reading(f"{height} {unit or ''}", bare_unit)
        for (height, _), unit in zip(pieces, named, strict=True)
    )


def _pieces(plain: str) -> list[tuple[str, str | None]]:
    """Heights and their units; none where the line is not made of such."""
    pieces, place = [], 0
    while piece := _PIECE.match(plain, place):
        pieces.append((piece["height"], piece["unit"]))
        place = piece.end()
    return pieces if place == len(plain) else []
