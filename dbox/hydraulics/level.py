"""At which height do the outlets of a box pass exactly the inflow?

Total flow S(y) rises steadily with the height y over still water, so the root of S(y) = inflow is
unique. A first guess comes from the square law that a round lip follows at low head, scaled to
each box; then Newton on sqrt(S), which is nearly a straight line in y, converges in two or three
steps. A bracket is kept all along; a step that leaves it is replaced by halving.
"""

from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.errors import SolveError
from dbox.hydraulics.openings import Opening

AIM = 1e-12
"""Residual, relative to inflow, at which the search stops. [-]"""

BALANCE = 1e-10
"""Residual, relative to inflow, still accepted where no nearer height can be written. [-]"""

_MOST_STEPS = 200
_GRID = np.geomspace(1e-7, 1e2, 181)
_NEVER_WET = 1e6


@dataclass(frozen=True, eq=False)
class OutletSet:
    """The openings of a box, equal ones computed together; outlets are the first axis here.

    Parameters
    ----------
    openings : tuple of n Opening
        One per outlet.
    """

    openings: tuple[Opening, ...]

    @cached_property
    def _alike(self) -> list[tuple[Opening, list[int]]]:
        kinds = dict.fromkeys(self.openings)
        return [(k, [i for i, o in enumerate(self.openings) if o == k]) for k in kinds]

    @cached_property
    def _grid_flows(self) -> Array:
        """Flow of each outlet on the grid of heads, (n, grid)."""
        heads = np.repeat(_GRID[None, :], len(self.openings), axis=0)
        return self.rating(heads, None)[0]

    def rating(self, head: Array, fall: Array | None) -> tuple[Array, Array]:
        """Flow and slope of every outlet.

        Parameters
        ----------
        head : ndarray, shape (n, k)
            Water level over each lip. [m]
        fall : ndarray, shape (n, k), optional
            Water level over the level outside each outlet. [m]

        Returns
        -------
        flow, slope : ndarray, shape (n, k)
            Discharge [m3/s] and its derivative [m2/s].
        """
        if len(self._alike) == 1:
            return self.openings[0].rating(head, fall)
        flow, slope = np.empty_like(head), np.empty_like(head)
        for kind, same in self._alike:
            part = None if fall is None else fall[same]
            flow[same], slope[same] = kind.rating(head[same], part)
        return flow, slope

    def guess(self, inflow: Array, lips: Array) -> Array:
        """Height at which outlets that follow a square law would pass the inflow.

        Each outlet's law is scaled to its own flow at the head that would carry the inflow if all
        lips were level; then one step corrects for the mean head over the lips found wet.

        Parameters
        ----------
        inflow : ndarray, shape (k,)
            Inflows above 0. [m3/s]
        lips : ndarray, shape (n, k)
            Lips over still water, inf where capped. [m]

        Returns
        -------
        ndarray, shape (k,)
            Height over still water. [m]
        """
        together = self._grid_flows.sum(0)
        reference = np.interp(inflow, together, _GRID)
        order = None if len(self._alike) == 1 else np.argsort(lips, axis=0)
        if order is None:
            scales = [inflow / (lips.shape[0] * reference**2)] * lips.shape[0]
        else:
            each = np.stack([np.interp(reference, _GRID, flows) for flows in self._grid_flows])
            scales = list(np.take_along_axis(each / reference**2, order, 0))
        height, head, scale = _square_law_height(inflow, np.sort(lips, axis=0), scales)
        # flow over squared head falls slowly with head: at the wet lips' mean head it is `change`
        # times what it is at the reference, and a step on sqrt(total) follows
        change = np.interp(head, _GRID, together / _GRID**2) * reference**2 / inflow
        guess: Array = height + inflow * (1.0 / np.sqrt(change) - 1.0) / (scale * head)
        return guess


def _square_law_height(
    inflow: Array, lips: Array, scales: Sequence[Array]
) -> tuple[Array, Array, Array]:
    """Solve sum of scale (y - lip)^2 = inflow over the lips below y; lips rise along axis 0.

    Gives y, the mean head over the wet lips, and the sum of their scales.
    """
    height, head, wet_scale = np.zeros_like(inflow), np.zeros_like(inflow), np.zeros_like(inflow)
    w0, w1, w2 = np.zeros_like(inflow), np.zeros_like(inflow), -inflow
    for lip, scale in zip(np.minimum(lips, _NEVER_WET), scales, strict=True):
        weighted = scale * lip
        w0, w1, w2 = w0 + scale, w1 + weighted, w2 + weighted * lip
        mean = w1 / w0
        mean_head = np.sqrt(np.maximum(mean * mean - w2 / w0, 0.0))
        trial = mean + mean_head
        wet = trial > lip
        height, head = np.where(wet, trial, height), np.where(wet, mean_head, head)
        wet_scale = np.where(wet, w0, wet_scale)
    return height, head, wet_scale


def find_height(
    inflow: Array, lips: Array, tails: Array | None, outlets: OutletSet
) -> tuple[Array, Array]:
    """Height over still water at which the outlets pass the inflow, and their flows there.

    Parameters
    ----------
    inflow : ndarray, shape (k,)
        Inflows above 0. [m3/s]
    lips : ndarray, shape (n, k)
        Lips over still water, inf where capped. [m]
    tails : ndarray, shape (n, k), optional
        Levels outside over still water. [m]
    outlets : OutletSet
        The n openings.

    Returns
    -------
    height : ndarray, shape (k,)
        Height over still water. [m]
    flow : ndarray, shape (n, k)
        Flow of each outlet. [m3/s]

    Raises
    ------
    SolveError
        Where the residual stays above `BALANCE`.
    """
    search = _Search(inflow, lips, tails, outlets)
    height, flow, rows = search.height, np.empty_like(lips), None
    for _ in range(_MOST_STEPS):
        search.evaluate()
        done = search.balanced | search.pinned()
        # going on with all boxes is cheaper than picking out the few that need more steps
        if 2 * np.count_nonzero(done) >= done.size:
            if rows is None:
                height, flow, rows = search.height, search.flow, np.arange(inflow.size)
            else:
                height[rows], flow[:, rows] = search.height, search.flow
            if done.all():
                return height, flow
            rows, search = rows[~done], search.only(~done)
        search.advance()
    raise SolveError(f"water level not found in {_MOST_STEPS} steps: {search.state(0)}")


@dataclass(eq=False)
class _Search:
    """Boxes whose height is being searched, each with its bracket; outlets are the first axis."""

    inflow: Array
    lips: Array
    tails: Array | None
    outlets: OutletSet

    def __post_init__(self) -> None:
        # the guess knows no tailwater, so it may lie below still water
        self.height = np.maximum(self.outlets.guess(self.inflow, self.lips), 1e-3 * _GRID[0])
        self.low, self.high = np.zeros_like(self.inflow), np.full_like(self.inflow, np.inf)

    def evaluate(self) -> None:
        """Flows at the present heights, and the brackets they give."""
        fall = None if self.tails is None else self.height - self.tails
        self.flow, slopes = self.outlets.rating(self.height - self.lips, fall)
        self.total, self.slope = self.flow.sum(0), slopes.sum(0)
        self.excess = self.total - self.inflow
        self.low = np.where(self.excess < 0, self.height, self.low)
        self.high = np.where(self.excess > 0, self.height, self.high)
        self.balanced = np.abs(self.excess) <= AIM * self.inflow

    def advance(self) -> None:
        """A Newton step on sqrt(total), or a halving where that leaves the bracket."""
        pull = 2.0 * (np.sqrt(self.inflow * self.total) - self.total)
        newton = self.height + pull / np.maximum(self.slope, 1e-300)
        inside = (newton > self.low) & (newton < self.high)
        if not inside.all():
            grow = 2.0 * self.height + _GRID[0]
            middle = np.where(self.high < np.inf, 0.5 * (self.low + self.high), grow)
            newton = np.where(inside | self.balanced, newton, middle)
        self.height = newton

    def pinned(self) -> BoolArray:
        """Whether no height lies between the ends of the bracket; refuses a poor balance there."""
        pinned: BoolArray = np.nextafter(self.low, np.inf) >= self.high
        poor = pinned & (np.abs(self.excess) > BALANCE * self.inflow)
        if poor.any():
            raise SolveError(f"no water level balances: {self.state(int(np.argmax(poor)))}")
        return pinned

    def only(self, rows: BoolArray) -> "_Search":
        """The search for some of the boxes, where it stands."""
        part = copy(self)
        for name in ("inflow", "height", "low", "high", "total", "slope", "excess", "balanced"):
            setattr(part, name, getattr(self, name)[rows])
        part.lips = self.lips[:, rows]
        part.tails = None if self.tails is None else self.tails[:, rows]
        return part

    def state(self, row: int) -> str:
        """Inflow, bracket and residual of one box."""
        return (
            f"inflow {self.inflow[row]:g} m3/s, bracket {self.low[row]:.17g} to "
            f"{self.high[row]:.17g} m over still water, residual {self.excess[row]:g} m3/s"
        )
