"""How does turning an insert with an off-centre hole move its lip?

lip = pipe centre - e cos(a) - r, with e the hole's offset, r its radius and a the angle of the
hole from straight down, clockwise as seen from inside the box. Full lift is 2 e. The lip hardly
moves near top and bottom and moves most, by e per radian, a quarter turn from them.
"""

import numpy as np

from dbox.arrays import Array, ArrayLike


def lip_rise(angle: ArrayLike, offset: ArrayLike) -> Array:
    """Height of the lip over where it stands with the hole a quarter turn from down.

    Parameters
    ----------
    angle : array_like, shape (...)
        Angle of the hole from straight down. [rad]
    offset : array_like, shape (...)
        Hole centre from pipe centre. [m]

    Returns
    -------
    ndarray, shape (...)
        -offset with the hole down, +offset with it up. [m]
    """
    return -np.asarray(offset, np.float64) * np.cos(angle)


def angle_for_move(angle: ArrayLike, offset: ArrayLike, move: ArrayLike) -> Array:
    """Angle at which the lip stands `move` higher, reached by the smaller turn.

    Parameters
    ----------
    angle : array_like, shape (...)
        Present angle of the hole from straight down, -pi to pi. [rad]
    offset : array_like, shape (...)
        Hole centre from pipe centre, above 0. [m]
    move : array_like, shape (...)
        Wanted rise of the lip. [m]

    Returns
    -------
    ndarray, shape (...)
        New angle, on the same side of the pipe as now; NaN where the hole cannot reach. [rad]

    Notes
    -----
    Each height has one angle on either side; the one on the present side is never the farther.

    >>> np.degrees(angle_for_move(0.0, 0.0127, [0.0127, 0.0254, 0.03])).round(6).tolist()
    [90.0, 180.0, nan]
    """
    now = np.asarray(angle, np.float64)
    cosine = np.cos(now) - np.asarray(move, np.float64) / np.asarray(offset, np.float64)
    # a hole asked to its own top or bottom may miss it by rounding
    reachable = np.abs(cosine) <= 1.0 + 1e-9
    target = np.arccos(np.clip(cosine, -1.0, 1.0))
    return np.where(reachable, np.where(now < 0, -target, target), np.nan)
