"""How is the box to be bedded again: which side lifted, by how much, and would that do?"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.levelling.reach import Reach
from dbox.fieldwork.site import Box
from dbox.fieldwork.tilt import Plane


@dataclass(frozen=True, kw_only=True)
class Lift:
    """What takes the tilt out of a box.

    Parameters
    ----------
    far_end : float or None
        How much to lift the end opposite the inlet; negative: lift the inlet end. None where the
        inside size is not known. [m]
    right_side : float or None
        How much to lift the side on the right of one who looks from the inlet into the box;
        negative: lift the left side. None where the inside size is not known. [m]
    slope_along, slope_across : float
        The same as rise per run. [-]
    still_short : tuple of int
        Outlets that could not reach a common height even in the levelled box: their own pipe or
        insert has to be set anew.
    """

    far_end: float | None
    right_side: float | None
    slope_along: float
    slope_across: float
    still_short: tuple[int, ...]


def lift_for(plane: Plane, box: Box, reach: Reach, positions: Array, wanted: Array) -> Lift:
    """The lift that makes a plane level.

    Parameters
    ----------
    plane : Plane
        Tilt of the box.
    box : Box
        Its inside size, where known.
    reach : Reach
        Where the lips stand and could be brought in the box as it is.
    positions : ndarray, shape (n, 2)
        Distance along the inlet direction and across it; NaN where unknown. [m]
    wanted : ndarray, shape (n,)
        Wanted height of each lip over the common goal. [m]

    Returns
    -------
    Lift
        Signs as in `Lift`.
    """
    slopes = np.array([plane.slope_x, plane.slope_y])
    fall = np.nan_to_num(-(positions - np.nanmean(positions, axis=0)) @ slopes)
    level = replace(reach, lip=reach.lip + fall, low=reach.low + fall, high=reach.high + fall)
    reached = level.allows(level.least_turning(wanted).height + wanted)
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return Lift(
        far_end=-plane.slope_x * sizes[0] if sizes else None,
        right_side=-plane.slope_y * sizes[1] if sizes else None,
        slope_along=-plane.slope_x,
        slope_across=-plane.slope_y,
        still_short=tuple(np.flatnonzero(~reached).tolist()),
    )
