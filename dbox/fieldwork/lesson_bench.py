"""What the water does while someone plays with the box.

A bench is a box with things to set: how it leans both ways, the flow, one lip that is wrong, the
kind of opening, and whether the trench of that lip's line has filled. A filled trench holds water
against its outlet, `FILLED` over where the lips of the level box are.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, freeze
from dbox.errors import DomainError
from dbox.fieldwork.lesson_box import INCH, LITRE_PER_MINUTE, leaning_lips
from dbox.fieldwork.lesson_sweeps import KINDS, Kind
from dbox.fieldwork.site import Site
from dbox.hydraulics.split import Split, split

FILLED = 0.5 * INCH
"""Water that a filled trench holds against its outlet, over the lips of the level box. [m]"""

LEANS = tuple(part * INCH / 8 for part in range(-4, 5))
"""Leans of the frames, either way. [m]"""

WRONG_LIPS = tuple(part * INCH / 16 for part in (-4, -2, -1, 0, 1, 2, 4))
"""Heights of the one wrong lip over the others in the frames. [m]"""

INFLOWS = tuple(part * LITRE_PER_MINUTE for part in (1, 2, 4, 10, 20, 50, 120))
"""Flows of the frames. [m3/s]"""

MOST_OUTLETS = 8
"""Outlets that a bench shows."""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A box to play with."""

    site: Site  # The box; its lips are level to begin with.
    kinds: tuple[Kind, ...] = KINDS  # Openings to choose from.
    outlet: int = 0  # Place of the outlet whose lip can be wrong and whose trench can fill.

    def __post_init__(self) -> None:
        n = len(self.site.outlets)
        if n > MOST_OUTLETS:
            raise DomainError(f"{n} outlets; a bench shows at most {MOST_OUTLETS}")
        if not 0 <= self.outlet < n or self.site.outlets[self.outlet].capped:
            raise DomainError(f"outlet {self.outlet + 1} is not an open one of the {n} outlets")

    def lips(self, far_low: ArrayLike, right_low: ArrayLike, lip: ArrayLike) -> Array:
        """Where the lips stand; far_low [m], right_low [m], lip [m] -> [m]."""
        leaning = leaning_lips(self.site, far_low, right_low)
        wrong = np.arange(leaning.shape[-1]) == self.outlet
        return np.where(wrong, np.asarray(lip, np.float64)[..., None], 0.0) + leaning

    def split(
        self,
        kind: int,
        inflow: ArrayLike,
        far_low: ArrayLike = 0.0,
        right_low: ArrayLike = 0.0,
        lip: ArrayLike = 0.0,
        filled: ArrayLike = False,
    ) -> Split:
        """Split the flow at any settings; all but kind broadcast together.

        Parameters
        ----------
        kind : int
            Place of the opening among the kinds.
        inflow : array_like, shape (...)
            What comes in. [m3/s]
        far_low, right_low, lip : array_like, shape (...)
            As for `lips`. [m]
        filled : array_like, shape (...)
            Whether the trench of that line has filled: true or false. [-]

        Returns
        -------
        Split
            Heights over where the lips of the level box are.
        """
        lips = self.lips(far_low, right_low, lip)
        wrong = np.arange(lips.shape[-1]) == self.outlet
        tail = np.where(np.asarray(filled)[..., None] & wrong, FILLED, -np.inf)
        return split(inflow, lips, self.kinds[kind].opening, tail if np.any(filled) else None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Frames:
    """A bench at every setting of a few; arrays are read-only."""

    bench: Bench  # What was set.
    inflow: Array  # (a,) Settings. [m3/s] and [m]
    far_low: Array  # (a,) Settings. [m3/s] and [m]
    right_low: Array  # (a,) Settings. [m3/s] and [m]
    lip: Array  # (a,) Settings. [m3/s] and [m]
    # (kinds, 2, a, b, c, d) Level over where the lips of the level box are; the second axis is
    # whether the trench has filled. [m]
    level: Array
    share: Array  # (kinds, 2, a, b, c, d, n) Share of each outlet. [-]


def frames(
    bench: Bench,
    inflows: Sequence[float] = INFLOWS,
    leans: Sequence[float] = LEANS,
    lips: Sequence[float] = WRONG_LIPS,
) -> Frames:
    """Split a bench at every combination of settings, one call for each kind of opening.

    inflows [m3/s], leans [m], lips [m].
    """
    settings = np.ix_([0, 1], inflows, leans, leans, lips)
    filled, inflow, far, right, lip = settings
    results = [
        bench.split(kind, inflow, far, right, lip, filled.astype(bool))
        for kind in range(len(bench.kinds))
    ]
    level = np.stack([result.level for result in results])
    share = np.stack([result.share for result in results])
    parts = [np.array(values, np.float64) for values in (inflows, leans, leans, lips)]
    freeze(level, share, *parts)
    return Frames(
        bench=bench,
        inflow=parts[0],
        far_low=parts[1],
        right_low=parts[2],
        lip=parts[3],
        level=level,
        share=share,
    )
