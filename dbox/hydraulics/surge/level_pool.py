"""Level pools: their ratings as tables, and how they pass on what runs in.

A step through time wants the flow at one level, some thousand times. Asking an opening for a single
number costs far more than the number, so its exact flows and slopes are taken once on a grid and
joined by cubics that meet both at every node (Hermite; any text on numerical analysis). Nodes are a
tenth apart, and crowd around the heads where an opening runs full or its coefficient begins to be
held; the flow between them is right to about 1e-5 of itself.

A pool of plan area A stands at level x and lets out F(x):

    A dx/dt = inflow - F(x)

Level-pool routing takes a step from mean rates, with weight w on its end,

    A (x1 - x0) = dt [(1 - w) (i0 - F0) + w (i1 - F1)]

w = 1/2 is storage routing as hydrology texts teach it (V. T. Chow, D. R. Maidment, L. W. Mays 1988,
Applied Hydrology, section 8.2). It swings from side to side where the pool empties faster than the
step is long. With z = dt dF/dx / A the weight

    w = 1 / (1 - exp(-z)) - 1 / z

makes the step exact for any z where F is straight and the inflow is, runs from 1/2 to 1, and
never draws a pool below its outlet; it is what the surge uses. What leaves is counted as
what came less what stayed, so that the balance is closed by construction.
"""

from bisect import bisect_right
from collections.abc import Callable
from functools import lru_cache
from math import exp

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError, SolveError
from dbox.hydraulics.openings import Opening

_HEADS = np.geomspace(1e-6, 100.0, 194)
"""Heads of a table, a tenth apart. [m] (numerical)"""

_APART = np.geomspace(1e-7, 0.1, 22)
"""How far nodes lie from where a rating bends, over the head there. [-] (numerical)"""


class RatingTable:
    """A rating that rises from no flow; called with one level it gives flow and slope.

    levels: (k,) Rising levels, or volumes. Below the first nothing flows. [m or m3]
    flows: (k,) Flow at each, not falling. [m3/s]
    slopes: (k,) Its derivative at each; left out, straight lines join the flows. [m2/s or 1/s]

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


def rating_heads(opening: Opening) -> Array:
    """Heads at which an opening is asked, from a wetted lip to far over any box. [m]"""
    bends = [h for h in (opening.top, *opening.measured_heads) if 0 < h < np.inf]
    around = np.concatenate([1.0 - _APART, 1.0 + _APART])
    return np.unique(np.concatenate([[0.0], _HEADS, *(h * around for h in bends)]))


@lru_cache(maxsize=64)
def opening_table(opening: Opening) -> RatingTable:
    """Tabulate the free discharge of an opening over its head. [m]

    >>> from dbox import Circle
    >>> hole = Circle(0.05, coefficient=0.6)
    >>> flow, _ = opening_table(hole)(0.0123)
    >>> bool(abs(flow / hole.discharge(0.0123) - 1) < 1e-6)
    True
    """
    heads = rating_heads(opening)
    return RatingTable(heads, *opening.rating(heads))


def sum_ratings(levels: Array, flows: Array, slopes: Array) -> RatingTable:
    """Add ratings that share their levels; levels [m], flows [m2/s], slopes [m2/s]."""
    rising, first = np.unique(levels, return_index=True)
    apart = np.concatenate([[True], np.diff(rising) > 1e-12])
    kept = first[apart]
    total = np.maximum.accumulate(flows[:, kept].sum(0))
    return RatingTable(rising[apart], total, slopes[:, kept].sum(0))


Rating = Callable[[float], tuple[float, float]]
"""From level to flow [m3/s], which rises with it, and its derivative."""

_MOST_STEPS = 100
"""Steps after which a search for a level is given up; a few are usual. [-] (numerical)"""


def fitted_weight(stiffness: float) -> float:
    """Weight of a step's end that makes the step exact for a straight rating.

    stiffness [-] -> [-].

    >>> fitted_weight(0.0), round(fitted_weight(1.0), 4), round(fitted_weight(1e9), 4)
    (0.5, 0.582, 1.0)
    """
    if stiffness < 2e-3:
        return 0.5 + stiffness / 12.0
    if stiffness > 50.0:
        return 1.0 - 1.0 / stiffness
    return 1.0 / (1.0 - exp(-stiffness)) - 1.0 / stiffness


class Pool:
    """A pool at its present level; a step is tried first and then accepted.

    The end of the step that was tried is `next_level` [m], `next_flow` [m3/s] and its slope.

    area: Plan area; 1 where levels are volumes. [m2]
    rating: Outflow and its slope over level. [m3/s, m2/s]
    level: Level to start from. [m]
    lowest: Highest level at which nothing flows. [m]
    """

    __slots__ = (
        "area", "flow", "level", "lowest", "next_flow", "next_level", "next_slope", "rating",
        "slope",
    )  # fmt: skip

    def __init__(self, area: float, rating: Rating, level: float, lowest: float = 0.0):
        self.area, self.rating, self.level, self.lowest = area, rating, level, lowest
        self.refresh()

    def refresh(self) -> None:
        """Ask the rating again, after it or the level was changed."""
        self.flow, self.slope = self.rating(self.level)
        self.next_level, self.next_flow, self.next_slope = self.level, self.flow, self.slope

    def accept(self) -> None:
        """Make the end of the step that was tried the present."""
        self.level, self.flow, self.slope = self.next_level, self.next_flow, self.next_slope

    def keep(self, volume: float) -> None:
        """Put back into the tried step what was said to leave and could not; volume [m3]."""
        self.next_level += volume / self.area
        self.next_flow, self.next_slope = self.rating(self.next_level)

    def step(self, first: float, last: float, seconds: float, weight: float | None = None) -> float:
        """Try a step; first [m3/s], last [m3/s], seconds [s], weight [-] -> [m3/s]."""
        gain, level, flow = seconds / self.area, self.level, self.flow
        mean = 0.5 * (first + last)
        most = level + gain * mean
        guess = level + gain * (mean - flow) / (1.0 + gain * self.slope)
        at = self.rating(guess)
        if weight is None:
            move = guess - level
            chord = (at[0] - flow) / move if move else self.slope
            weight = fitted_weight(gain * chord)
        target = level + gain * ((1.0 - weight) * (first - flow) + weight * last)
        if target < level and target < self.lowest:
            weight, target = 1.0, level + gain * last
        guess, at = self._solve(guess, at, gain * weight, target)
        if at[0] <= 0.0 >= flow or guess > most:
            guess, at = most, self.rating(most)
        self.next_level, (self.next_flow, self.next_slope) = guess, at
        return max(mean - (guess - level) / gain, 0.0)

    def _solve(
        self, guess: float, at: tuple[float, float], gain: float, target: float
    ) -> tuple[float, tuple[float, float]]:
        """Level x at which x + gain F(x) is the target, and flow and slope there."""
        low, high, move = min(target, self.lowest), target, 2.0 * abs(target - self.lowest)
        for _ in range(_MOST_STEPS):
            excess = guess + gain * at[0] - target
            if excess > 0.0:
                high = min(high, guess)
            else:
                low = max(low, guess)
            newton = -excess / (1.0 + gain * at[1])
            # where the rating bends Newton may go to and fro: then halve
            if not low <= guess + newton <= high or 2.0 * abs(newton) > abs(move):
                newton = 0.5 * (low + high) - guess
            move, guess = newton, guess + newton
            at = self.rating(guess)
            # Newton squares the error: what is left after a move of 1e-3 is about 1e-6, unless the
            # flow changes much within it, as it does where box and trench stand level
            small = abs(move) <= 1e-3 * abs(guess - self.lowest) + 1e-14
            if small and (abs(move) * at[1] <= 1e-3 * at[0] or abs(move) <= 1e-14):
                return guess, at
        raise SolveError(
            f"no level found between {low:.17g} and {high:.17g} m; the last step was {move:g} m"
        )
