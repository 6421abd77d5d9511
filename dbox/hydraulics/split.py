"""The split of an inflow among the outlets of a box: water level, flows and shares.

Total flow S(y) rises steadily with the height y over still water, so the root of S(y) = inflow is
unique. A first guess comes from the square law that a round lip follows at low head, scaled to
each box; then Newton on sqrt(S), which is nearly a straight line in y, converges in two or three
steps. A bracket is kept all along; a step that leaves it is replaced by halving.

Just over its tailwater a drowned outlet passes sqrt(fall): there one rounding of y may be more flow
than the balance allows. Where that happens, the height is sought over the highest lip or tailwater
below it, from which every head and fall that runs is known to all its digits.

The water in the box stands at one level; each outlet passes what its opening gives at the head
over its own lip; the level is the one at which the outlet flows add up to the inflow, or the rim
of the box where the outlets cannot take it all.

A dry lip holds water back: it starts only once the level stands some millimetres over it (surface
tension), while a running one runs on down to its lip. So one inflow has two states. Falling, every
lip under the level runs. Rising, with the lips in the order of their thresholds, lip + hold-back,
the first k run, k being the smallest number whose level does not exceed the next threshold. More
lips pass more at a higher level, so k is found by bisection: at each threshold those before it are
asked what they pass there.
"""

import os
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from copy import copy
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, Result
from dbox.errors import DomainError, SolveError
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import CAPILLARY_HEAD, numbers, one_each
from dbox.notes import Note

AIM = 1e-12
"""Residual, relative to inflow, at which the search stops. [-] (numerical)"""

BALANCE = 1e-10
"""Residual, relative to inflow, still accepted where no nearer height can be written. [-]
(numerical)"""

_MOST_STEPS = 200
"""Steps after which a search is given up. [-] (numerical)"""

_NEAREST = 1e-60
"""Height over a new base at which the search begins, over its bracket. [-] (numerical)"""

_GRID = np.geomspace(1e-7, 1e2, 181)
"""Heads at which the first guess knows the flow. [m] (numerical)"""

_TOGETHER = 1e-12
"""Thresholds nearer than this are one: they differ by rounding. [m] (numerical)"""

_NEVER_WET = 1e6
"""Where the first guess puts the lip of a capped outlet. [m] (numerical)"""


@dataclass(frozen=True, eq=False)
class OutletSet:
    """The openings of a box, equal ones computed together; outlets are the first axis here."""

    openings: tuple[Opening, ...]  # One per outlet.

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
        """Flow and slope of every outlet; head [m], fall [m] -> [m3/s], [m2/s]."""
        if len(self._alike) == 1:
            return self.openings[0].rating(head, fall)
        flow, slope = np.empty_like(head), np.empty_like(head)
        for kind, same in self._alike:
            part = None if fall is None else fall[same]
            flow[same], slope[same] = kind.rating(head[same], part)
        return flow, slope

    def flows(self, runs: BoolArray, head: Array, fall: Array | None) -> Array:
        """Flow of the outlets that run, none of the others; head [m], fall [m] -> [m3/s]."""
        flow = np.zeros_like(head)
        for kind, same in self._alike:
            these = np.zeros_like(runs)
            these[same] = runs[same]
            part = None if fall is None else fall[these]
            flow[these] = kind.rating(head[these], part)[0]
        return flow

    def guess(self, inflow: Array, lips: Array) -> Array:
        """Height at which outlets that follow a square law would pass the inflow.

        inflow [m3/s], lips [m] -> [m].

        Each outlet's law is scaled to its own flow at the head that would carry the inflow if all
        lips were level; then one step corrects for the mean head over the lips found wet.
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
        # under a deep tailwater a faint flow's head over its lip is lost to rounding: no step then
        rise, rate = inflow * (1.0 / np.sqrt(change) - 1.0), scale * head
        guess: Array = height + np.divide(rise, rate, out=np.zeros_like(rise), where=rate > 0)
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

    inflow [m3/s], lips [m], tails [m] -> [m], [m3/s].
    """
    search = _Search(inflow, lips, tails, outlets)
    height, flow, rows = np.empty_like(inflow), np.empty_like(lips), None
    for _ in range(_MOST_STEPS):
        search.evaluate()
        done = search.done()
        # going on with all boxes is cheaper than picking out the few that need more steps
        if 2 * np.count_nonzero(done) >= done.size:
            if rows is None:
                rows, height, flow = np.arange(inflow.size), search.over_still(), search.flow
            else:
                height[rows], flow[:, rows] = search.over_still(), search.flow
            if done.all():
                return height, flow
            rows, search = rows[~done], search.only(~done)
        search.advance()
    raise SolveError(f"water level not found in {_MOST_STEPS} steps: {search.state(0)}")


@dataclass(eq=False)
class _Search:
    """Boxes whose height is being searched, each with its bracket; outlets are the first axis.

    Heights, lips and tails are over `base`, which is at first still water. [m]
    """

    inflow: Array
    lips: Array
    tails: Array | None
    outlets: OutletSet

    def __post_init__(self) -> None:
        # the guess knows no tailwater, so it may lie below still water
        self.height = np.maximum(self.outlets.guess(self.inflow, self.lips), 1e-3 * _GRID[0])
        self.low, self.high = np.zeros_like(self.inflow), np.full_like(self.inflow, np.inf)
        self.base = np.zeros_like(self.inflow)

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

    def done(self) -> BoolArray:
        """Whether the height is found, or no nearer one can be written and it balances as it is.

        Where it does not, the search goes on from a nearer base.
        """
        pinned = np.nextafter(self.low, np.inf) >= self.high
        poor = pinned & (np.abs(self.excess) > BALANCE * self.inflow)
        if poor.any():
            self._move_base(poor)
            self.evaluate()
        done: BoolArray = self.balanced | (pinned & ~poor)
        return done

    def _move_base(self, poor: BoolArray) -> None:
        """Measure from the highest lip or tailwater below; refuses a box that has it as base."""
        kinks = self.lips if self.tails is None else np.concatenate([self.lips, self.tails])
        rise = np.where(poor & (kinks <= self.low), kinks, 0.0).max(0)
        stuck = poor & (rise <= 0)
        if stuck.any():
            raise SolveError(f"no water level balances: {self.state(int(np.argmax(stuck)))}")
        # sqrt(fall) is concave: from below, however far, a Newton step falls short of the root
        start = np.maximum(self.low - rise, _NEAREST * (self.high - rise))
        self.height = np.where(poor, start, self.height)
        self.low = np.where(poor, 0.0, self.low)
        self.high = np.where(poor, 2.0 * (self.high - rise), self.high)
        self.lips, self.base = self.lips - rise, self.base + rise
        self.tails = None if self.tails is None else self.tails - rise

    def over_still(self) -> Array:
        """Heights over still water. [m]"""
        heights: Array = self.base + self.height
        return heights

    def only(self, rows: BoolArray) -> "_Search":
        """The search for some of the boxes, where it stands."""
        part = copy(self)
        for name, each in vars(self).items():
            if isinstance(each, np.ndarray):
                setattr(part, name, each[..., rows])
        return part

    def state(self, row: int) -> str:
        """Inflow, bracket and residual of one box."""
        return (
            f"inflow {self.inflow[row]:g} m3/s, bracket {self.low[row]:.17g} to "
            f"{self.high[row]:.17g} m over a height of {self.base[row]:.17g} m over still water, "
            f"residual {self.excess[row]:g} m3/s"
        )


FAINT = 3e-29
"""One molecule of water a second. [m3/s] (from memory: 18 g/mol, 998 kg/m3, 6.022e23 /mol)

What is less is split as this is: its level, under 1e-11 m over still water, is no level any more,
and that of a drowned outlet, which goes with the square of the flow, is soon no number any more."""

_BLOCK = 49_152
"""Outlets computed at a time: few enough to stay in a core's cache. [-] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False, repr=False)
class Split(Result):
    """How inflows split among the outlets; arrays are read-only.

    Parameters
    ----------
    inflow : ndarray, shape (...)
        The inflow that was split. [m3/s]
    level : ndarray, shape (...)
        Water level in the box, over the datum of the lips. [m]
    head : ndarray, shape (..., n)
        Level over each lip; negative where the water is below it, -inf where capped. [m]
    flow : ndarray, shape (..., n)
        Flow of each outlet. [m3/s]
    overflow : ndarray, shape (...)
        What spills over the rim because the outlets cannot take it. [m3/s]
    openings : tuple of n Opening
        The openings, one per outlet.
    """

    inflow: Array
    level: Array
    head: Array
    flow: Array
    overflow: Array
    openings: tuple[Opening, ...]

    def __repr__(self) -> str:
        """Shares and level of one box, how many there are of more."""
        if shape := self.level.shape:
            cases = " x ".join(map(str, shape))
            return f"Split({cases} cases, {len(self.openings)} outlets)"
        shares = ", ".join(f"{share:.3f}" for share in self.share)
        return f"Split(share=[{shares}], level={float(self.level):.4g} m)"

    @property
    def share(self) -> Array:
        """Flow of each outlet over that of all; all 0 where nothing flows. [-] (..., n)."""
        total = self.flow.sum(-1, keepdims=True)
        return self.flow / np.where(total > 0, total, 1.0)

    @property
    def imbalance(self) -> Array:
        """|inflow - outlet flows - overflow| over inflow; 0 where there is none. [-] (...)."""
        missing = np.abs(self.inflow - self.overflow - self.flow.sum(-1))
        relative: Array = missing / np.where(self.inflow > 0, self.inflow, 1.0)
        return relative

    @property
    def within_model_range(self) -> BoolArray:
        """Whether every running outlet has a head its formula was measured at. (...)."""
        low = np.array([max(o.measured_heads[0], CAPILLARY_HEAD) for o in self.openings])
        high = np.array([o.measured_heads[1] for o in self.openings])
        inside = (self.head >= low) & (self.head <= high)
        result: BoolArray = np.all(inside | (self.flow <= 0), axis=-1)
        return result


def split(
    inflow: ArrayLike,
    lips: ArrayLike,
    openings: Opening | Sequence[Opening],
    tailwater: ArrayLike | None = None,
    *,
    rim: ArrayLike | None = None,
    hold_back: ArrayLike = 0.0,
    rising: bool = False,
) -> Split:
    """Split inflows among the outlets of boxes.

    Parameters
    ----------
    inflow : array_like, shape (...)
        Inflow of each case, at least 0; broadcasts with the leading axes of lips. [m3/s]
    lips : array_like, shape (..., n)
        Height of each lip over any one datum; inf where the outlet is capped. [m]
    openings : Opening or sequence of n Opening
        One opening for all outlets, or one for each.
    tailwater : array_like, shape (..., n), optional
        Level of the water standing outside each outlet, over the same datum; -inf for none. [m]
    rim : array_like, shape (...), optional
        Level at which the box overtops, over the same datum; left out, it never does. [m]
    hold_back : array_like, shape (..., n)
        How far the level must stand over a dry lip before it starts to run, at least 0. [m]
    rising : bool
        Whether the box fills from rest, so that dry lips hold water back; else every lip under
        the level runs, as after a surge, and hold_back changes nothing.

    Returns
    -------
    Split
        With no inflow the level is where still water stands: the lowest height at which water
        could leave (an open lip, its tailwater where that is higher, or the rim).

    Raises
    ------
    DomainError
        Where an inflow or a hold-back is negative or not finite, a height is NaN or cannot be,
        shapes do not fit, or every outlet of a box is capped and no rim was given.
    SolveError
        Where no level balances the flows to 1e-10 of the inflow.

    Notes
    -----
    Adding the same height to all lips, tailwaters and the rim changes no share. Nothing flows
    back into the box from an outlet whose tailwater stands above its level. An inflow below
    `FAINT`, a molecule a second, has the level and the shares of that.

    Flows balance even where the level is a hair over a tailwater, and a drowned outlet falls by
    less than a level can be written to: `level` and `head` are then the nearest numbers, and
    `discharge` at them may miss `flow` by what half a rounding of the level is worth.

    >>> from dbox import Circle, split
    >>> result = split(3.785e-4, [0.0, 0.003175, -0.003175], Circle(0.0254, coefficient=0.6))
    >>> (100 * result.share).round(1).tolist()
    [33.5, 26.6, 39.9]

    A trickle that rises in the same box breaks through at the lowest lip alone:

    >>> trickle = split(1e-5, [0.0, 0.003175, -0.003175], Circle(0.0254, coefficient=0.6),
    ...                 hold_back=0.003, rising=True)
    >>> trickle.share.tolist()
    [0.0, 0.0, 1.0]
    """
    given, shape = _flattened(
        inflow=inflow, lips=lips, tailwater=tailwater, rim=rim, hold_back=hold_back
    )
    flows, heights, holds = given["inflow"], given["lips"], given["hold_back"]
    tails, rims = given.get("tailwater"), given.get("rim")
    outlets = OutletSet(one_each(openings, heights.shape[-1]))
    spill = heights if tails is None else np.maximum(heights, tails)
    still = spill.min(-1) if rims is None else np.minimum(spill.min(-1), rims)
    if np.any(still == np.inf):
        raise DomainError("every outlet of a box is capped and no rim is given: no way out")
    heights = heights - still[:, None]
    tails = None if tails is None else tails - still[:, None]
    rims = None if rims is None else rims - still
    thresholds = heights + holds if rising and holds.any() else None
    height, flow, overflow = _solve(_Rows(flows, heights, tails, rims, thresholds), outlets)
    n = heights.shape[-1]
    return Split(
        inflow=flows.reshape(shape).copy(),
        level=(still + height).reshape(shape),
        head=(height[:, None] - heights).reshape(*shape, n),
        flow=flow.reshape(*shape, n),
        overflow=overflow.reshape(shape),
        openings=outlets.openings,
    )


def _flattened(**given: ArrayLike | None) -> tuple[dict[str, Array], tuple[int, ...]]:
    """Inputs, where given, checked and broadcast to rows of boxes; the shape the caller gave."""
    known = {
        name: _checked(name, value, *_WANTED[name])
        for name, value in given.items()
        if value is not None
    }
    if known["lips"].ndim == 0 or known["lips"].shape[-1] == 0:
        raise DomainError("lips has no outlets; give one height for each outlet")
    known["hold_back"] = np.atleast_1d(known["hold_back"])
    outlets = known["lips"].shape[-1:]
    ends = {name: () if name in ("inflow", "rim") else outlets for name in known}
    try:
        boxes = (each.shape[: each.ndim - len(ends[name])] for name, each in known.items())
        shape = np.broadcast_shapes(*boxes)
        flat = {
            name: np.broadcast_to(each, shape + ends[name]).reshape(-1, *ends[name])
            for name, each in known.items()
        }
    except ValueError as error:
        shapes = ", ".join(f"{name} {each.shape}" for name, each in known.items())
        raise DomainError(
            f"the shapes of {shapes} do not fit: the last axis of lips, tailwater and hold_back is "
            "outlets, those before it go with inflow and rim; inflow[:, None] splits each flow in "
            "each box"
        ) from error
    return flat, shape


_MOST = float(np.finfo(np.float64).max)
"""The greatest finite number. [SI] (exact)"""

_WANTED = {
    "inflow": ("m3/s", 0.0, _MOST, "a finite number, 0 or more"),
    "lips": ("m", -_MOST, np.inf, "a number, or inf where the outlet is capped"),
    "tailwater": ("m", -np.inf, _MOST, "a number, or -inf where there is none"),
    "rim": ("m", -_MOST, _MOST, "a finite number"),
    "hold_back": ("m", 0.0, _MOST, "a finite number, 0 or more"),
}


def _checked(
    name: str, value: ArrayLike, unit: str, least: float, most: float, wanted: str
) -> Array:
    values = numbers(f"{name} [{unit}]", value)
    good = (values >= least) & (values <= most)
    if not np.all(good):
        raise DomainError(f"{name} [{unit}] is {values[~good].flat[0]}; it must be {wanted}")
    return values


@dataclass(frozen=True, eq=False)
class _Rows:
    """Boxes as rows, their heights over still water."""

    inflow: Array  # (rows,) [m3/s]
    lips: Array  # (rows, n) [m]
    tails: Array | None  # (rows, n) [m]
    rims: Array | None  # (rows,) [m]
    thresholds: Array | None  # (rows, n) Levels at which dry lips start. [m]

    def some(self, rows: slice) -> "_Rows":
        """Some of the boxes."""
        part: dict[str, Any] = {k: e if e is None else e[rows] for k, e in vars(self).items()}
        return _Rows(**part)


def _solve(boxes: _Rows, outlets: OutletSet) -> tuple[Array, Array, Array]:
    """Heights over still water, flows and overflows, block by block on the machine's cores."""
    size = max(1, _BLOCK // boxes.lips.shape[-1])
    if boxes.inflow.size <= size:
        return _solve_block(boxes, outlets)
    height, flow = np.zeros_like(boxes.inflow), np.zeros_like(boxes.lips)
    overflow = np.zeros_like(boxes.inflow)

    def solve(start: int) -> None:
        rows = slice(start, start + size)
        height[rows], flow[rows], overflow[rows] = _solve_block(boxes.some(rows), outlets)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        list(pool.map(solve, range(0, boxes.inflow.size, size)))
    return height, flow, overflow


def _solve_block(boxes: _Rows, outlets: OutletSet) -> tuple[Array, Array, Array]:
    inflow, rims = boxes.inflow, boxes.rims
    height, overflow = np.zeros_like(inflow), np.zeros_like(inflow)
    # outlets first inside the solver: sums over outlets then run along memory
    lips = np.ascontiguousarray(boxes.lips.T)
    tails = None if boxes.tails is None else np.ascontiguousarray(boxes.tails.T)
    flow = np.zeros_like(lips)
    runs, told = inflow > 0, np.maximum(inflow, FAINT)
    if boxes.thresholds is not None:
        starts = np.ascontiguousarray(boxes.thresholds.T)
        started = _started(told, lips, tails, rims, starts, outlets)
        lips = np.where(started, lips, np.inf)
    if rims is not None:
        at_rim, _ = outlets.rating(rims - lips, None if tails is None else rims - tails)
        excess = told - at_rim.sum(0)
        overtops = runs & (excess > 0)
        height[overtops], flow[:, overtops] = rims[overtops], at_rim[:, overtops]
        overflow[overtops] = excess[overtops]
        runs &= ~overtops
    if runs.all():
        height, flow = find_height(told, lips, tails, outlets)
    elif runs.any():
        below = None if tails is None else tails[:, runs]
        height[runs], flow[:, runs] = find_height(told[runs], lips[:, runs], below, outlets)
    if np.any(told > inflow):
        flow, overflow = flow * (inflow / told), overflow * (inflow / told)
    return height, np.ascontiguousarray(flow.T), overflow


def _started(
    inflow: Array,
    lips: Array,
    tails: Array | None,
    rims: Array | None,
    thresholds: Array,
    outlets: OutletSet,
) -> BoolArray:
    """Which lips run once the level has risen from rest, (n, boxes); thresholds [m]."""
    n = lips.shape[0]
    steps = np.vstack([np.sort(thresholds, axis=0), np.full(inflow.shape, np.inf)])
    # the level passes the thresholds before `passed`, and none from `held` on
    passed, held = np.ones(inflow.shape, np.intp), np.full(inflow.shape, n)
    for _ in range((n - 1).bit_length()):
        middle = (passed + held) // 2
        level = np.take_along_axis(steps, middle[None], 0)[0]
        asked = (passed < held) & (level < np.inf)
        level = np.where(asked, level, 0.0)
        before = asked & (thresholds < level - _TOGETHER)
        fall = None if tails is None else level - tails
        ends = (outlets.flows(before, level - lips, fall).sum(0) >= inflow) | ~asked
        passed, held = np.where(ends, passed, middle + 1), np.where(ends, middle, held)
    level = np.take_along_axis(steps, held[None], 0)[0]
    result: BoolArray = (
        thresholds < (level if rims is None else np.minimum(level, rims)) - _TOGETHER
    )
    return result


def range_notes(result: Split, names: Sequence[str]) -> tuple[Note, ...]:
    """Every case whose running heads are outside the formulas' range, or that overtops."""
    uncapped = result.head[0] > -np.inf
    kinds = dict.fromkeys(o for o, runs in zip(result.openings, uncapped, strict=True) if runs)
    notes = [note for kind in kinds for note in kind.cautions]
    level = np.full(len(names), np.nan)
    if uncapped.any():
        level = split(result.inflow, np.where(uncapped, 0.0, np.inf), result.openings).level
    for case, name in enumerate(names):
        running = result.head[case][result.flow[case] > 0]
        if running.size and not result.within_model_range[case]:
            low, high = float(running.min()), float(running.max())
            too_low = low < CAPILLARY_HEAD
            what = "split: heads too low" if too_low else "split: heads not measured"
            values = {"low": low, "high": high, "level": float(level[case])}
            notes.append(Note(what=what, where=name, values=values))
        if result.overflow[case] > 0:
            values = {"overflow": float(result.overflow[case])}
            notes.append(Note(what="split: overtops", where=name, values=values))
    return tuple(notes)
