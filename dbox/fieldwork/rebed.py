"""How is the box to be bedded again: which side lifted, by how much, and would that do?"""

from dataclasses import dataclass

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
    """

    far_end: float | None
    right_side: float | None
    slope_along: float
    slope_across: float


def lift_for(plane: Plane, box: Box) -> Lift:
    """The lift that makes a plane level.

    Parameters
    ----------
    plane : Plane
        Tilt of the box.
    box : Box
        Its inside size, where known.

    Returns
    -------
    Lift
        Signs as in `Lift`.

    >>> import numpy as np
    >>> tilt = Plane(slope_x=0.01, slope_y=0.0, residual=np.zeros(4), warnings=())
    >>> lift = lift_for(tilt, Box(inside=(0.4, 0.5)))
    >>> round(lift.far_end, 6), round(abs(lift.right_side), 6)
    (-0.004, 0.0)
    """
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return Lift(
        far_end=-plane.slope_x * sizes[0] if sizes else None,
        right_side=-plane.slope_y * sizes[1] if sizes else None,
        slope_along=-plane.slope_x,
        slope_across=-plane.slope_y,
    )
