"""Did the box tilt, or did one insert move?

A tilted box puts its outlets on one plane, height = c + slope_x x + slope_y y, with x along the
inlet direction and y across it. The least-squares plane is the tilt; what an outlet stands off
that plane is its own.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, freeze

_LEAST_OUTLETS = 3


@dataclass(frozen=True, kw_only=True, eq=False)
class Plane:
    """The least-squares plane of outlet heights; arrays are read-only.

    Parameters
    ----------
    slope_x, slope_y : float
        Rise per run along the inlet direction and across it. [-]
    residual : ndarray, shape (n,)
        Height of each outlet over the plane; NaN where it took no part. [m]
    warnings : tuple of str
        What the plane cannot tell.
    """

    slope_x: float
    slope_y: float
    residual: Array
    warnings: tuple[str, ...]


def fit_plane(heights: ArrayLike, positions: ArrayLike) -> Plane | None:
    """Fit the plane to the outlets that have both a height and a position.

    Parameters
    ----------
    heights : array_like, shape (n,)
        Heights over still water; NaN or inf where not measured. [m]
    positions : array_like, shape (n, 2)
        Distance along the inlet direction and across it; NaN where unknown. [m]

    Returns
    -------
    Plane or None
        None where fewer than three outlets can take part.

    Notes
    -----
    Where the outlets stand in one line, tilt across that line cannot be seen and is taken as 0;
    a warning says so. Three outlets always fit a plane exactly: their residuals tell nothing.

    >>> plane = fit_plane([0.0, 0.01, 0.02, 0.013], [[0, 0], [1, 0], [1, 1], [0, 1]])
    >>> round(plane.slope_x, 4), round(plane.slope_y, 4), plane.residual.round(5).tolist()
    (0.0085, 0.0115, [-0.00075, 0.00075, -0.00075, 0.00075])
    """
    height, place = np.asarray(heights, np.float64), np.asarray(positions, np.float64)
    part = np.isfinite(height) & np.isfinite(place).all(-1)
    if np.count_nonzero(part) < _LEAST_OUTLETS:
        return None
    offsets = place[part] - place[part].mean(0)
    mean = height[part].mean()
    slopes, _, rank, _ = np.linalg.lstsq(offsets, height[part] - mean, rcond=1e-9)
    residual = np.full(height.shape, np.nan)
    residual[part] = height[part] - mean - offsets @ slopes
    freeze(residual)
    warnings: tuple[str, ...] = ()
    if rank < 2:
        warnings = ("the outlets stand in one line: tilt across that line cannot be seen",)
    elif np.count_nonzero(part) == _LEAST_OUTLETS + 1:
        warnings = (
            "four outlets leave one difference over: that an insert moved can be seen, not which",
        )
    elif np.count_nonzero(part) == _LEAST_OUTLETS:
        warnings = ("three outlets always lie on one plane: a moved insert cannot be told apart",)
    return Plane(
        slope_x=float(slopes[0]), slope_y=float(slopes[1]), residual=residual, warnings=warnings
    )
