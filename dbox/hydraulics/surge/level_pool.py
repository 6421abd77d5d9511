"""How does a level pool pass on what runs into it?

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

from collections.abc import Callable
from math import exp

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError, SolveError

Rating = Callable[[float], tuple[float, float]]
"""From level to flow [m3/s], which rises with it, and its derivative."""

_MOST_STEPS = 100


def fitted_weight(stiffness: float) -> float:
    """Weight of a step's end that makes the step exact for a straight rating.

    Parameters
    ----------
    stiffness : float
        Step over the pool's time constant, at least 0. [-]

    Returns
    -------
    float
        From 1/2 to 1. [-]

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

    Parameters
    ----------
    area : float
        Plan area; 1 where levels are volumes. [m2]
    rating : callable
        Outflow and its slope over level. [m3/s, m2/s]
    level : float
        Level to start from. [m]
    lowest : float
        Highest level at which nothing flows. [m]
    """

    __slots__ = (
        "_next_flow", "_next_level", "_next_slope", "area", "flow", "level", "lowest", "rating",
        "slope",
    )  # fmt: skip

    def __init__(self, area: float, rating: Rating, level: float, lowest: float = 0.0):
        self.area, self.rating, self.level, self.lowest = area, rating, level, lowest
        self.refresh()

    def refresh(self) -> None:
        """Ask the rating again, after it or the level was changed."""
        self.flow, self.slope = self.rating(self.level)
        self._next_level, self._next_flow, self._next_slope = self.level, self.flow, self.slope

    @property
    def next_level(self) -> float:
        """Level at the end of the step that was tried. [m]"""
        return self._next_level

    @property
    def next_flow(self) -> float:
        """Outflow at the end of the step that was tried. [m3/s]"""
        return self._next_flow

    def accept(self) -> None:
        """Make the end of the step that was tried the present."""
        self.level, self.flow, self.slope = self._next_level, self._next_flow, self._next_slope

    def keep(self, volume: float) -> None:
        """Put back into the tried step what was said to leave and could not.

        Parameters
        ----------
        volume : float
            How much. [m3]
        """
        self._next_level += volume / self.area
        self._next_flow, self._next_slope = self.rating(self._next_level)

    def step(self, first: float, last: float, seconds: float, weight: float | None = None) -> float:
        """Try a step.

        Parameters
        ----------
        first, last : float
            Inflow at its start and its end, straight between. [m3/s]
        seconds : float
            How long it is. [s]
        weight : float, optional
            Weight of the end; left out, the fitted one. [-]

        Returns
        -------
        float
            Mean outflow over the step, never below 0. [m3/s]
        """
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
        self._next_level, (self._next_flow, self._next_slope) = guess, at
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


def route(
    inflow: ArrayLike, seconds: float, pool: Pool, *, weight: float | None = None
) -> tuple[Array, Array]:
    """Route a series of inflows through a pool.

    Parameters
    ----------
    inflow : array_like, shape (t,)
        Inflow at every time, straight between them. [m3/s]
    seconds : float
        Time from one to the next. [s]
    pool : Pool
        The pool at its first level; it is left at its last.
    weight : float, optional
        Weight of a step's end: 1/2 is storage routing; left out, the fitted one. [-]

    Returns
    -------
    outflow, level : ndarray, shape (t,)
        Outflow [m3/s] and level [m] at every time.

    Raises
    ------
    DomainError
        Where an inflow is negative or not finite.

    >>> store = Pool(1.0, lambda volume: (volume / 2, 0.5), 200.0)
    >>> route([100, 150, 250], 1.0, store, weight=0.5)[0].tolist()
    [100.0, 110.0, 146.0]
    """
    flows = np.asarray(inflow, np.float64)
    if not np.all(np.isfinite(flows) & (flows >= 0)):
        raise DomainError("an inflow [m3/s] is not a finite number, 0 or more")
    outflow, level = np.empty_like(flows), np.empty_like(flows)
    outflow[0], level[0] = pool.flow, pool.level
    for i in range(1, flows.size):
        pool.step(float(flows[i - 1]), float(flows[i]), seconds, weight)
        pool.accept()
        outflow[i], level[i] = pool.flow, pool.level
    return outflow, level
