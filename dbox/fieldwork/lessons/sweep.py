"""How far may a box lean before one line gets too much, and how does that hang on the flow?

The box's lips are level before it leans (`bench_box`). It is leaned step by step towards one side,
and both ways at once over a grid; every lean is split at every flow, all of them in one call.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.lessons.bench_box import INCH, LESSON_TOLERANCE, leaning_lips
from dbox.fieldwork.site import Site, Tolerance
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.split import Split, split
from dbox.hydraulics.validity import range_warnings

SIDES = {"far": (1.0, 0.0), "inlet": (-1.0, 0.0), "right": (0.0, 1.0), "left": (0.0, -1.0)}
"""Which way a box leans towards each of its sides: far wall low, right wall low. [-]"""

MOST_LEAN = 0.375 * INCH
"""Lean up to which a sweep goes where nobody says. [m]"""

STEPS, GRID = 97, 49
"""Leans along a curve, and along either side of the map."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """Shares of a leaning box; arrays are read-only.

    Parameters
    ----------
    site : Site
        The box.
    tolerance : Tolerance
        What is allowed: that of the site, or one assumed for the lesson.
    toward : str
        The side that the curve leans to, a key of `SIDES`.
    target : ndarray, shape (n,)
        Wanted share of each outlet. [-]
    tilt : ndarray, shape (steps,)
        How much lower that side stands than the one opposite. [m]
    share : ndarray, shape (flows, steps, n)
        Share of each outlet along the curve. [-]
    low : ndarray, shape (grid,)
        How much lower the far wall, or the right wall, stands on the map. [m]
    map_share : ndarray, shape (flows, grid, grid, n)
        Share of each outlet, the far wall's lean first. [-]
    level_head : ndarray, shape (flows,)
        Head over the lips while they are level. [m]
    warnings : tuple of str
        Where the model is weak.
    """

    site: Site
    tolerance: Tolerance
    toward: str
    target: Array
    tilt: Array
    share: Array
    low: Array
    map_share: Array
    level_head: Array
    warnings: tuple[str, ...]

    @property
    def over_target(self) -> Array:
        """Share over target of the line that gets the most for its target. [-] (flows, steps)."""
        result: Array = _over(self.share, self.target).max(-1)
        return result

    @property
    def equal_targets(self) -> bool:
        """Whether every open line is to get the same, so that a share itself can be shown."""
        wanted = self.target[self.target > 0]
        return bool(np.ptp(wanted) < 1e-12)

    @property
    def scale(self) -> float:
        """Factor from share over target to what is shown, a share where all are equal. [-]"""
        return float(self.target.max()) if self.equal_targets else 1.0

    @property
    def worst(self) -> npt.NDArray[np.int64]:
        """Place of that line among the outlets, (flows, steps)."""
        over = _over(self.share, self.target)
        result: npt.NDArray[np.int64] = np.flatnonzero(self.target > 0)[over.argmax(-1)]
        return result

    @property
    def map_over_target(self) -> Array:
        """The same over the map. [-] (flows, grid, grid)."""
        result: Array = _over(self.map_share, self.target).max(-1)
        return result

    @property
    def map_off(self) -> Array:
        """Largest difference of any line from its target, over it. [-] (flows, grid, grid)."""
        return _off(self.map_share, self.target)

    @property
    def limit(self) -> Array:
        """Lean at which some line leaves the tolerance, between steps by a straight line. [m]

        (flows,); inf where none does, 0 where the level box is out already.
        """
        off, allowed = _off(self.share, self.target), self.tolerance.share
        return np.array([_crossing(self.tilt, row, allowed) for row in off])


def sweep(
    site: Site,
    *,
    toward: str = "right",
    most: float = MOST_LEAN,
    steps: int = STEPS,
    grid: int = GRID,
) -> Sweep:
    """Lean a box and split it at every lean and flow.

    Parameters
    ----------
    site : Site
        The box; its readings are not looked at.
    toward : str
        Side that the curve leans to: `far`, `inlet`, `right` or `left`.
    most : float
        Lean up to which it goes, one wall over the other. [m]
    steps, grid : int
        Leans along the curve, and along either side of the map.

    Returns
    -------
    Sweep
        One curve and one map per flow.

    Raises
    ------
    DomainError
        Where there is no such side, most is not above 0, or an outlet has no position.
    """
    if toward not in SIDES:
        raise DomainError(f"toward is {toward!r}; a box leans to {', '.join(SIDES)}")
    if not (np.isfinite(most) and most > 0):
        raise DomainError(f"the most that the box leans is {most} m; it must be above 0")
    tilt, low = np.linspace(0.0, most, steps), np.linspace(-most, most, grid)
    lips = np.concatenate([
        leaning_lips(site, *(way * tilt for way in SIDES[toward])),
        leaning_lips(site, low[:, None], low).reshape(grid * grid, -1),
    ])  # fmt: skip
    inflow = np.array([flow.inflow for flow in site.flows])
    result = split(inflow[:, None], lips, [o.opening for o in site.outlets])
    level = _at(result, 0)
    target, share, level_head = target_shares(site), result.share, level.level.copy()
    shares = share[:, :steps], share[:, steps:].reshape(inflow.size, grid, grid, -1)
    freeze(tilt, low, target, level_head, *shares)
    return Sweep(
        site=site,
        tolerance=site.tolerance or LESSON_TOLERANCE,
        toward=toward,
        target=target,
        tilt=tilt,
        share=shares[0],
        low=low,
        map_share=shares[1],
        level_head=level_head,
        warnings=range_warnings(level, [flow.name for flow in site.flows]),
    )


def _at(result: Split, place: int) -> Split:
    """The split of every flow at one lean."""
    parts = {
        name: getattr(result, name)[:, place]
        for name in ("inflow", "level", "head", "flow", "overflow")
    }
    return replace(result, **parts)


def _over(share: Array, target: Array) -> Array:
    """Share over target of the outlets that are to get any."""
    wanted = target > 0
    return np.asarray(share[..., wanted] / target[wanted])


def _off(share: Array, target: Array) -> Array:
    return np.asarray(np.abs(_over(share, target) - 1.0).max(-1))


def _crossing(tilt: Array, off: Array, allowed: float) -> float:
    """Where a curve first passes what is allowed; off is 0 or more."""
    beyond = np.flatnonzero(off > allowed)
    if not beyond.size:
        return np.inf
    first = int(beyond[0])
    if first == 0:
        return 0.0
    ends = slice(first - 1, first + 1)
    return float(np.interp(allowed, off[ends], tilt[ends]))
