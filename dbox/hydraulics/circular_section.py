"""How much of a round pipe is under water at a depth: area, width, wetted edge, hydraulic radius.

With phi the half-angle at the pipe's centre between the lowest point and the water's edge,

    y = D/2 (1 - cos phi),  T = D sin phi,  P = D phi,  A = D^2/4 (phi - sin phi cos phi)

and phi runs from 0 in a dry pipe to pi in a full one. phi - sin phi cos phi loses all its digits
at small depths, where it is the difference of two nearly equal numbers; `segment` keeps them.
Geometry only, so no source is needed; Chow (1959), Open-Channel Hydraulics, table 2-1 lists the
same elements in the full angle 2 phi (from memory).
"""

from collections.abc import Callable

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError, SolveError

_SERIES_BELOW = 0.25  # half-angle under which the series is both exact to rounding and the better
_AIM = 1e-14  # of the target
_MOST_STEPS = 200

Measure = Callable[[Array], tuple[Array, Array]]
"""From half-angle [rad] to what rises with it, and the local power of the half-angle it goes by."""


def segment(half_angle: ArrayLike) -> Array:
    """Area of a circular segment over a quarter of the diameter squared, at any half-angle.

    Parameters
    ----------
    half_angle : array_like, shape (...)
        Half-angle at the centre, from 0 (dry) to pi (full). [rad]

    Returns
    -------
    segment : ndarray, shape (...)
        phi - sin phi cos phi, with full relative precision also where phi is small. [-]

    >>> bool(abs(segment(1e-4) / (2 / 3 * 1e-12) - 1) < 1e-8)
    True
    """
    full = 2 * np.asarray(half_angle, dtype=np.float64)
    square = full * full
    series = 1 - square / 110 * (1 - square / 156)
    for divisor in (72, 42, 20):
        series = 1 - square / divisor * series
    return np.where(
        full < 2 * _SERIES_BELOW, full * square / 12 * series, (full - np.sin(full)) / 2
    )


def half_angle(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Half-angle at the pipe's centre from its lowest point to the water's edge.

    Parameters
    ----------
    depth : array_like, shape (...)
        Water over the invert; at most 0 is a dry pipe, the diameter or more a full one. [m]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with depth. [m]

    Returns
    -------
    half_angle : ndarray, shape (...)
        From 0 (dry) to pi (full). [rad]

    Raises
    ------
    DomainError
        Where a depth is not a number, or a diameter is not a finite number above 0.

    >>> half_angle([-0.01, 0.05, 0.2], diameter=0.1).round(6).tolist()
    [0.0, 1.570796, 3.141593]
    """
    water, air = _parts(depth, diameter)
    return np.asarray(2 * np.arctan2(np.sqrt(water), np.sqrt(air)))


def area(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Cross-section of the water.

    Parameters
    ----------
    depth : array_like, shape (...)
        Water over the invert; at most 0 is a dry pipe, the diameter or more a full one. [m]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with depth. [m]

    Returns
    -------
    ndarray, shape (...)
        Area. [m2]

    Raises
    ------
    DomainError
        Where a depth is not a number, or a diameter is not a finite number above 0.

    >>> area([0.0, 0.05, 0.1], diameter=0.1).round(9).tolist()
    [0.0, 0.003926991, 0.007853982]
    """
    size = np.asarray(diameter, dtype=np.float64)
    return np.asarray(size * size / 4 * segment(half_angle(depth, size)))


def top_width(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Width of the water surface.

    Parameters
    ----------
    depth : array_like, shape (...)
        Water over the invert; at most 0 is a dry pipe, the diameter or more a full one. [m]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with depth. [m]

    Returns
    -------
    ndarray, shape (...)
        Width, 0 in a dry pipe and in a full one. [m]

    Raises
    ------
    DomainError
        Where a depth is not a number, or a diameter is not a finite number above 0.

    >>> top_width([0.0, 0.05, 0.1], diameter=0.1).tolist()
    [0.0, 0.1, 0.0]
    """
    water, air = _parts(depth, diameter)
    return np.asarray(2 * np.sqrt(water * air))


def wetted_perimeter(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Length of the pipe wall under water, around the section.

    Parameters
    ----------
    depth : array_like, shape (...)
        Water over the invert; at most 0 is a dry pipe, the diameter or more a full one. [m]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with depth. [m]

    Returns
    -------
    ndarray, shape (...)
        Wetted perimeter. [m]

    Raises
    ------
    DomainError
        Where a depth is not a number, or a diameter is not a finite number above 0.

    >>> wetted_perimeter([0.0, 0.05, 0.1], diameter=0.1).round(6).tolist()
    [0.0, 0.15708, 0.314159]
    """
    return np.asarray(np.asarray(diameter) * half_angle(depth, diameter))


def hydraulic_radius(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Area over wetted perimeter.

    Parameters
    ----------
    depth : array_like, shape (...)
        Water over the invert; at most 0 is a dry pipe, the diameter or more a full one. [m]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with depth. [m]

    Returns
    -------
    ndarray, shape (...)
        Hydraulic radius, 0 in a dry pipe. [m]

    Raises
    ------
    DomainError
        Where a depth is not a number, or a diameter is not a finite number above 0.

    >>> hydraulic_radius([0.0, 0.05, 0.1], diameter=0.1).round(9).tolist()
    [0.0, 0.025, 0.025]
    """
    angle = half_angle(depth, diameter)
    wet = np.where(angle > 0, angle, 1.0)
    return np.asarray(np.asarray(diameter) / 4 * segment(angle) / wet)


def find_half_angle(measure: Measure, target: Array, most: float) -> Array:
    """Half-angle at which a measure that rises with it meets its target.

    Parameters
    ----------
    measure : callable
        See `Measure`; it must rise as a power of the half-angle near 0.
    target : ndarray, shape (...)
        Values to meet, at least 0 and at most that of the measure at `most`. [unit of measure]
    most : float
        Greatest half-angle to look at. [rad]

    Returns
    -------
    ndarray, shape (...)
        The half-angle; of no meaning where the target is 0. [rad]

    Raises
    ------
    SolveError
        Where neither the target is met to 1e-14 nor the half-angle known to 1e-15.

    Notes
    -----
    Newton on the logarithms, from half of `most`; a step that leaves the bracket is replaced by
    halving it.
    """
    aim = np.where(target > 0, np.maximum(target, 1e-200), 1.0).reshape(-1)
    low, high = np.zeros_like(aim), np.full_like(aim, most)
    angle = np.full_like(aim, most / 2)
    for _ in range(_MOST_STEPS):
        value, power = measure(angle)
        excess = np.log(value / aim)
        low, high = np.where(excess < 0, angle, low), np.where(excess > 0, angle, high)
        done = (np.abs(excess) <= _AIM) | (high - low <= 1e-15 * high)
        if np.all(done):
            return angle.reshape(np.shape(target))
        newton = angle * np.exp(-excess / power)
        inside = (newton > low) & (newton < high)
        angle = np.where(done, angle, np.where(inside, newton, (low + high) / 2))
    worst = int(np.argmax(np.abs(excess)))
    raise SolveError(
        f"no half-angle found between {low[worst]:.17g} and {high[worst]:.17g} rad; "
        f"the target is missed by {excess[worst]:g} of itself"
    )


def _parts(depth: ArrayLike, diameter: ArrayLike) -> tuple[Array, Array]:
    """Depth of water and of the air over it, neither below 0."""
    depths = np.asarray(depth, dtype=np.float64)
    sizes = np.asarray(diameter, dtype=np.float64)
    if np.any(np.isnan(depths)):
        raise DomainError("a depth [m] is not a number; give metres over the invert")
    if not np.all((sizes > 0) & (sizes < np.inf)):
        raise DomainError("a pipe's diameter [m] is not a finite number above 0")
    water = np.clip(depths, 0.0, sizes)
    return water, sizes - water
