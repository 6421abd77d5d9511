"""What is known about many boxes that have the same openings? Arrays, boxes by outlets."""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.hydraulics.openings import Opening


@dataclass(frozen=True, kw_only=True, eq=False)
class Boxes:
    """Boxes alike in the number of their outlets and in their openings.

    Parameters
    ----------
    openings : tuple of n Opening
        The openings, one per outlet.
    lip : ndarray, shape (k, n)
        Lips over still water; inf where capped. [m]
    error : ndarray, shape (k, n)
        Standard deviation of each lip. [m]
    tolerance : ndarray, shape (k,)
        Allowed difference of a share from its target, as a fraction of it. [-]
    hole_offset : ndarray, shape (k, n)
        Hole centre from pipe centre; 0 where the insert cannot be turned, NaN where unknown. [m]
    clock : ndarray, shape (k, n)
        Angle of the hole from straight down, clockwise as seen from inside the box; NaN where
        unknown. [rad]
    """

    openings: tuple[Opening, ...]
    lip: Array
    error: Array
    tolerance: Array
    hole_offset: Array
    clock: Array

    @property
    def uncapped(self) -> BoolArray:
        """Whether the outlet is open. (k, n)."""
        return np.isfinite(self.lip)

    @property
    def target(self) -> Array:
        """Wanted share: the same for every open outlet of a box. [-] (k, n)."""
        shares: Array = self.uncapped / self.uncapped.sum(-1, keepdims=True)
        return shares
