"""What flows at this level? A rising rating as cubic pieces, for solvers that ask one at a time.

A step through time wants the flow at one level, some thousand times. Asking an opening for a single
number costs far more than the number, so its exact flows and slopes are taken once on a grid and
joined by cubics that meet both at every node (Hermite; any text on numerical analysis). Nodes are a
tenth apart, and crowd around the heads where an opening runs full or its coefficient begins to be
held; the flow between them is right to about 1e-5 of itself.
"""

from bisect import bisect_right
from functools import lru_cache

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError
from dbox.hydraulics.openings import Opening

_HEADS = np.geomspace(1e-6, 100.0, 194)
_AROUND = np.geomspace(1e-7, 0.1, 22)
_AROUND = np.concatenate([1.0 - _AROUND, 1.0 + _AROUND])


class RatingTable:
    """A rating that rises from no flow; called with one level it gives flow and slope.

    Parameters
    ----------
    levels : array_like, shape (k,)
        Rising levels, or volumes. Below the first nothing flows. [m or m3]
    flows : array_like, shape (k,)
        Flow at each, not falling. [m3/s]
    slopes : array_like, shape (k,), optional
        Its derivative at each; left out, straight lines join the flows. [m2/s or 1/s]

    Raises
    ------
    DomainError
        Where levels do not rise, flows fall, or a number is not finite.

    Notes
    -----
    Above the last level the rating goes on straight.

    >>> RatingTable([0.0, 1.0, 2.0], [0.0, 1.0, 3.0])(1.5)
    (2.0, 2.0)
    """

    __slots__ = ("_pieces", "_starts")

    def __init__(self, levels: ArrayLike, flows: ArrayLike, slopes: ArrayLike | None = None):
        x, f = np.asarray(levels, np.float64), np.asarray(flows, np.float64)
        width, rise = np.diff(x), np.diff(f)
        if x.ndim != 1 or x.size < 2 or not np.all(width > 0) or not np.all(rise >= 0):
            raise DomainError("a rating needs two or more rising levels whose flows do not fall")
        chord = rise / width
        if slopes is None:
            c1, c2, c3 = np.append(chord, chord[-1]), np.zeros_like(x), np.zeros_like(x)
        else:
            # the slopes of a rising cubic are at most three times its chord (Fritsch, Carlson)
            c1 = np.asarray(slopes, np.float64)
            start, end = np.minimum(c1[:-1], 3 * chord), np.minimum(c1[1:], 3 * chord)
            c2 = np.append((3 * chord - 2 * start - end) / width, 0.0)
            c3 = np.append((start + end - 2 * chord) / width**2, 0.0)
            c1 = np.append(start, c1[-1])
        pieces = np.column_stack([x, f, c1, c2, c3])
        if not np.all(np.isfinite(pieces)):
            raise DomainError("a rating holds a number that is not finite")
        self._starts: list[float] = x.tolist()
        below = (float(x[0]), 0.0, 0.0, 0.0, 0.0)
        self._pieces: list[tuple[float, ...]] = [below, *map(tuple, pieces.tolist())]

    def __call__(self, level: float) -> tuple[float, float]:
        """Flow [m3/s] and slope at one level."""
        start, c0, c1, c2, c3 = self._pieces[bisect_right(self._starts, level)]
        t = level - start
        return c0 + t * (c1 + t * (c2 + t * c3)), c1 + t * (2.0 * c2 + 3.0 * t * c3)


def heads_of(opening: Opening) -> Array:
    """Heads at which an opening is asked, from a wetted lip to far over any box.

    Parameters
    ----------
    opening : Opening
        Any opening.

    Returns
    -------
    ndarray, shape (k,)
        Rising from 0. [m]
    """
    bends = [h for h in (opening.top, *opening.measured_heads) if 0 < h < np.inf]
    return np.unique(np.concatenate([[0.0], _HEADS, *(h * _AROUND for h in bends)]))


@lru_cache(maxsize=64)
def opening_table(opening: Opening) -> RatingTable:
    """Tabulate the free discharge of an opening over its head.

    Parameters
    ----------
    opening : Opening
        Any opening.

    Returns
    -------
    RatingTable
        Called with a head. [m]

    >>> from dbox import Circle
    >>> hole = Circle(0.05, coefficient=0.6)
    >>> flow, _ = opening_table(hole)(0.0123)
    >>> bool(abs(flow / hole.discharge(0.0123) - 1) < 1e-6)
    True
    """
    heads = heads_of(opening)
    return RatingTable(heads, *opening.rating(heads))


def together(levels: Array, flows: Array, slopes: Array) -> RatingTable:
    """Add ratings that share their levels.

    Parameters
    ----------
    levels : ndarray, shape (k,)
        Levels in any order, some perhaps twice. [m]
    flows, slopes : ndarray, shape (n, k)
        Flow [m3/s] and its derivative [m2/s] of each outlet.

    Returns
    -------
    RatingTable
        Of the sum.
    """
    rising, first = np.unique(levels, return_index=True)
    apart = np.concatenate([[True], np.diff(rising) > 1e-12])
    kept = first[apart]
    total = np.maximum.accumulate(flows[:, kept].sum(0))
    return RatingTable(rising[apart], total, slopes[:, kept].sum(0))
