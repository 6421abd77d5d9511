"""The box found again: distances taped to it from two or three fixed points.

With the first fixed point at the origin and the second on the x axis, b away, tapes of a and c
cross where

    x = (a^2 + b^2 - c^2) / (2 b),    y = +-sqrt(a^2 - x^2),

once on the left and once on the right of one who looks from the first point to the second. A third
tie, from a point off that line, tells the two apart and checks the others: the place is then the
one that misses the three tapes the least, by least squares.

What is made by `key` is a key of a scenario's `[ties]`.
"""

from dataclasses import dataclass
from itertools import product
from math import hypot, inf, sqrt

import numpy as np

from dbox.arrays import Array, Result
from dbox.errors import DomainError
from dbox.keys import key, length, line, one_of
from dbox.notes import Note
from dbox.units import FOOT, INCH, feet

SIDES = ("left", "right")

DEFAULT_SPREAD = INCH
"""Spread of one taped distance where none is stated. [m] (1 in: judgement)"""

_DOUBT = 3.0
"""Spreads of a tape from which ties do not agree. [-] (judgement)"""

_FOUND = FOOT
"""How near a place must be known for a spade to find the box. [m] (judgement)"""

_STEPS, _STILL = 60, 1e-10
"""Most steps to the nearest place, and the last one. [-], [m] (numerical)"""

_distance = length(0.05, 1000.0, "a taped distance is between 50 mm and 1000 m")


@dataclass(frozen=True, kw_only=True)
class Tie:
    """A fixed point, and what was taped from it."""

    name: str = key(line, "What it is.", "SE corner of the house", needed=True)
    distance: float = key(_distance, "From it to the box.", "36 ft", needed=True)
    from_first: float | None = key(_distance, "From the first fixed point to it.", "30 ft")
    from_second: float | None = key(
        _distance, "Of a third one: from the second fixed point to it.", "19 ft 5 in"
    )
    side: str | None = key(
        one_of(SIDES),
        "Of a third one: where it lies, seen from the first fixed point to the second.",
        "left",
    )


@dataclass(frozen=True, kw_only=True)
class Ties:
    """Distances from two or three fixed points, to find the box by."""

    to: str = key(
        line, "What of the box the tape was held to.", "the centre of the lid",
        default="the middle of the box",
    )  # fmt: skip
    side: str | None = key(
        one_of(SIDES), "Where the box lies, seen from the first fixed point to the second.", "left"
    )
    spread: float = key(
        length(1e-3, 1.0, "a tape is good to between 1 mm and 1 m"),
        "One standard deviation of a taped distance; absent: 1 in.", "1 in",
        default=DEFAULT_SPREAD,
    )  # fmt: skip
    points: tuple[Tie, ...] = key(
        Tie, "The fixed points, two or three.", many=True, name="point", default=()
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Location(Result):
    """Where the box is; arrays are read-only, the y axis points to the left of the first line."""

    points: Array  # (n, 2) The fixed points: the first at the origin, the second on the x axis. [m]
    places: Array  # (m, 2) The box: two places where the ties fit both. [m]
    off: Array  # (n,) How far each tape is longer than the first place asks for. [m]
    error: float  # How far a spread of the tapes may move that place. [m]
    mirrored: bool  # Whether nothing says which side is which: the drawing may be mirrored.
    warnings: tuple[Note, ...]  # What the ties do not tell.


def locate(ties: Ties) -> Location:
    """Find the box by its ties; refuses tapes that cannot meet.

    >>> ends = Tie(name="oak", distance=5.0), Tie(name="well", distance=5.0, from_first=6.0)
    >>> locate(Ties(points=ends)).places.tolist()
    [[3.0, 4.0], [3.0, -4.0]]
    """
    points, slack = ties.points, _DOUBT * ties.spread
    _refuse_missing(points)
    tapes = np.array([point.distance for point in points])
    base = float(points[1].from_first or 0.0)
    third = points[2] if len(points) == 3 else None
    corners = [(0.0, 0.0), (base, 0.0)]
    if third:
        ends = (float(third.from_first or 0.0), float(third.from_second or 0.0))
        corners.append(_crossing(points[0].name, points[1].name, *ends, base, slack))
        for i, between in enumerate(ends):
            _crossing(points[i].name, third.name, tapes[i], tapes[2], between, slack)
    x, y = _crossing(points[0].name, points[1].name, tapes[0], tapes[1], base, slack)
    # the side of the box and that of the third point; where nothing says either, that of the point
    # is taken to be the left, which may mirror the drawing and no more
    sides = _signs(ties.side)
    thirds = (1.0,) if third is None or not (third.side or ties.side) else _signs(third.side)
    fits = []
    for side, lies in product(sides, thirds):
        fixed = np.array([*corners[:2], *((px, lies * py) for px, py in corners[2:])])
        place = _nearest(fixed, tapes, np.array([x, side * y]), side)
        fits.append((float(np.abs(_off(fixed, tapes, place)).max()), fixed, place))
    fits.sort(key=lambda fit: fit[0])
    _, fixed, place = fits[0]
    # the other crossing too, where it is another place and no side was said
    others = [
        other for off, _, other in fits[1:]
        if not ties.side and off <= slack and hypot(*(other - place)) > slack
    ]  # fmt: skip
    places, off = np.array([place, *others]), _off(fixed, tapes, place)
    error = _error(fixed, tapes, place, ties.spread)
    mirrored = third is not None and not (ties.side or third.side)
    return Location(
        points=fixed,
        places=places,
        off=off,
        error=error,
        mirrored=mirrored,
        warnings=tuple(_notes(ties, places, off, slack, error, mirrored=mirrored)),
    )


def tie_notes(ties: Ties | None) -> tuple[Note, ...]:
    """What the ties of a box do not tell."""
    return locate(ties).warnings if ties else ()


def _signs(side: str | None) -> tuple[float, ...]:
    """The signs of y that a side leaves."""
    return (1.0, -1.0) if side is None else (1.0,) if side == "left" else (-1.0,)


def _refuse_missing(points: tuple[Tie, ...]) -> None:
    if not 2 <= len(points) <= 3:
        raise DomainError(
            f"there are {len(points)} fixed points; a box is found by two or three, add "
            "[[ties.point]] for each"
        )
    for number, point in enumerate(points[1:], start=2):
        asked = ("from_first", "from_second")[: number - 1]
        missing = [name for name in asked if getattr(point, name) is None]
        if missing:
            raise DomainError(
                f"point[{number}] has no {' and no '.join(missing)}; tape it between the fixed "
                f'points and add {missing[0]} = "30 ft"'
            )


def _crossing(
    one: str, other: str, a: float, c: float, b: float, slack: float
) -> tuple[float, float]:
    """Where two tapes cross, on the left; refuses those that miss each other. [m]"""
    ends = f"the tapes from {one}, {_long(a)}, and from {other}, {_long(c)},"
    if a + c < b - slack:
        raise DomainError(
            f"{ends} do not meet: the two points stand {_long(b)} apart, {_long(b - a - c)} more; "
            "tape all three again"
        )
    if abs(a - c) > b + slack:
        raise DomainError(
            f"{ends} do not meet: they differ by {_long(abs(a - c))}, and the two points stand "
            f"only {_long(b)} apart; tape all three again"
        )
    x = (a * a + b * b - c * c) / (2.0 * b)
    return x, sqrt(max(a * a - x * x, 0.0))


def _long(metres: float) -> str:
    return f"{feet(metres)} ({metres:.2f} m)"


def _off(fixed: Array, tapes: Array, place: Array) -> Array:
    off: Array = tapes - np.hypot(*(place - fixed).T)
    return off


def _nearest(fixed: Array, tapes: Array, start: Array, side: float) -> Array:
    """The place that misses the tapes the least, from where the first two cross (Gauss-Newton)."""
    if len(fixed) == 2:
        return start
    place = start + np.array([0.0, side * _STILL])
    for _ in range(_STEPS):
        away = place - fixed
        far = np.maximum(np.hypot(*away.T), _STILL)
        step = np.linalg.lstsq(away / far[:, None], tapes - far, rcond=1e-9)[0]
        place = place + step
        if hypot(*step) < _STILL:
            break
    found: Array = place
    return found


def _error(fixed: Array, tapes: Array, place: Array, spread: float) -> float:
    """How far the place moves where each tape is a spread too long or too short. [m]"""
    side, most = 1.0 if place[1] >= 0 else -1.0, 0.0
    base = float(fixed[1, 0])
    for signs in product((-1.0, 1.0), repeat=len(tapes)):
        moved = tapes + spread * np.array(signs)
        x, y = _crossing("", "", moved[0], moved[1], base, inf)
        there = _nearest(fixed, moved, np.array([x, side * y]), side)
        most = max(most, hypot(*(there - place)))
    return most


def _notes(
    ties: Ties, places: Array, off: Array, slack: float, error: float, *, mirrored: bool
) -> list[Note]:
    names = [point.name for point in ties.points]
    ends = {"first": names[0], "second": names[1]}
    notes = []
    if len(places) > 1:
        if len(names) == 2:
            notes.append(Note(what="ties: two places", values=ends))
        else:
            notes.append(Note(what="ties: third in line", values={**ends, "third": names[2]}))
    lies = SIDES[int(places[0, 1] < 0)]
    if ties.side and lies != ties.side and abs(float(places[0, 1])) > slack:
        values = {**ends, "said": ties.side, "lies": lies}
        notes.append(Note(what="ties: other side", values=values))
    worst = int(np.abs(off).argmax())
    if abs(float(off[worst])) > slack:
        missed = {"name": names[worst], "off": float(off[worst]), "spread": ties.spread}
        notes.append(Note(what="ties: misfit", values=missed))
    if mirrored:
        notes.append(Note(what="ties: mirrored", values=ends))
    if error > _FOUND:
        notes.append(Note(what="ties: weak", values={"error": error, "spread": ties.spread}))
    return notes
