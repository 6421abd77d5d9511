"""How deep does effluent run in a pipe, and is a header steep enough to leave the box alone?

Uniform flow is Manning's, critical depth is where the specific energy is least:

    Q = A R^(2/3) sqrt(S) / n        g A^3 = Q^2 T

A header is steep where its normal depth is at most its critical depth. Then what happens further
down cannot be felt in the box, and a bare pipe end or a free spill may be computed on its own.
Manning's formula: R. D. Blevins (1984), Applied Fluid Dynamics Handbook, and any text on open
channels. Critical depth: US Army Corps of Engineers, HEC-RAS Hydraulic Reference Manual, critical
depth of flow in the culvert.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from dbox.arrays import GRAVITY, Array, ArrayLike, BoolArray, freeze
from dbox.errors import DomainError
from dbox.hydraulics.circular_section import area, find_half_angle, segment

PLASTIC_ROUGHNESS = 0.010
"""Manning's n of smooth plastic pipe. [s/m^(1/3)]

City of Austin, Drainage Criteria Manual, table 5-2, gives 0.010; handbooks list 0.009 to 0.011.
"""

PIPE_INSIDE_DIAMETERS: Mapping[str, float] = MappingProxyType(
    {
        "NPS 4 schedule 40": 4.026 * 0.0254,
        "4 in SDR 35": (4.215 - 2 * 0.120) * 0.0254,
    }
)
"""Inside diameters of usual header pipes. [m]

SDR 35 sewer pipe (ASTM D3034) is specified by its outside diameter, 4.215 in, and its least wall,
0.120 in, so this is its widest; both numbers as trade pages quote the standard.
"""

CAPACITY = 1.0757061294004648
"""Greatest flow with a free surface over full flow, at any slope and roughness. [-]"""

_FULLEST = 2.6390535689668978
"""Half-angle at that flow, where 5 phi sin^2 phi = phi - sin phi cos phi; y = 0.938 D. [rad]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class HeaderCheck:
    """Whether headers are steep at their flows; arrays are read-only.

    Parameters
    ----------
    normal_depth : ndarray, shape (...)
        Depth of uniform flow; the diameter where the header runs full. [m]
    critical_depth : ndarray, shape (...)
        Depth of least energy. [m]
    steep : ndarray of bool, shape (...)
        True where normal depth is at most critical depth; a dry header is steep.
    warnings : tuple of str
        What is not valid for these headers; empty where all are steep.
    """

    normal_depth: Array
    critical_depth: Array
    steep: BoolArray
    warnings: tuple[str, ...]


def full_flow(
    diameter: ArrayLike, slope: ArrayLike, *, roughness: ArrayLike = PLASTIC_ROUGHNESS
) -> Array:
    """Manning's flow of a pipe that is just full.

    Parameters
    ----------
    diameter : array_like, shape (...)
        Inside diameter. [m]
    slope : array_like, shape (...)
        Fall over length, above 0; broadcasts with diameter. [-]
    roughness : array_like, shape (...)
        Manning's n. [s/m^(1/3)]

    Returns
    -------
    ndarray, shape (...)
        Flow. [m3/s]

    Raises
    ------
    DomainError
        Where an input is not a finite number above 0.

    Notes
    -----
    A free surface carries up to 1.0757 times as much, at 0.938 of the diameter.

    >>> (full_flow(0.1022604, [0.005, 0.02]) * 1e3).round(3).tolist()
    [5.04, 10.08]
    """
    size, fall = _above_zero("diameter [m]", diameter), _above_zero("slope [-]", slope)
    n = _above_zero("roughness [s/m^(1/3)]", roughness)
    return np.asarray(np.pi / 4 * size**2 * (size / 4) ** (2 / 3) * np.sqrt(fall) / n)


def normal_depth(
    flow: ArrayLike,
    diameter: ArrayLike,
    slope: ArrayLike,
    *,
    roughness: ArrayLike = PLASTIC_ROUGHNESS,
) -> Array:
    """Depth at which a flow runs uniformly with a free surface.

    Parameters
    ----------
    flow : array_like, shape (...)
        Flow, at least 0. [m3/s]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with flow. [m]
    slope : array_like, shape (...)
        Fall over length, above 0. [-]
    roughness : array_like, shape (...)
        Manning's n. [s/m^(1/3)]

    Returns
    -------
    ndarray, shape (...)
        Depth over the invert: the lower one where two give the same flow. [m]

    Raises
    ------
    DomainError
        Where an input cannot be, or a flow is more than the pipe carries with a free surface.

    Notes
    -----
    Near that capacity the flow hardly changes with depth, which is then good to 1e-7 only.

    >>> (normal_depth([0.0, 3e-5, 3e-4], 0.1022604, 0.0104) * 1e3).round(2).tolist()
    [0.0, 4.76, 14.17]
    """
    part, full = np.broadcast_arrays(_flows(flow), full_flow(diameter, slope, roughness=roughness))
    _refuse_overfull(part, full)
    part = part / full
    return _depth(find_half_angle(_conveyance, part, _FULLEST), part, diameter)


def normal_velocity(
    flow: ArrayLike,
    diameter: ArrayLike,
    slope: ArrayLike,
    *,
    roughness: ArrayLike = PLASTIC_ROUGHNESS,
) -> Array:
    """Mean velocity of uniform flow with a free surface.

    Parameters
    ----------
    flow : array_like, shape (...)
        Flow, at least 0. [m3/s]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with flow. [m]
    slope : array_like, shape (...)
        Fall over length, above 0. [-]
    roughness : array_like, shape (...)
        Manning's n. [s/m^(1/3)]

    Returns
    -------
    ndarray, shape (...)
        Flow over wetted area, 0 where nothing flows. [m/s]

    Raises
    ------
    DomainError
        As for `normal_depth`.

    >>> normal_velocity([0.0, 3e-4], 0.1022604, 0.0104).round(3).tolist()
    [0.0, 0.436]
    """
    wet = area(normal_depth(flow, diameter, slope, roughness=roughness), diameter)
    return np.asarray(_flows(flow) / np.where(wet > 0, wet, 1.0))


def critical_depth(flow: ArrayLike, diameter: ArrayLike) -> Array:
    """Depth at which a flow has the least specific energy.

    Parameters
    ----------
    flow : array_like, shape (...)
        Flow, at least 0. [m3/s]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with flow. [m]

    Returns
    -------
    ndarray, shape (...)
        Depth over the invert; it nears the diameter as the flow grows. [m]

    Raises
    ------
    DomainError
        Where a flow is negative or not finite, or a diameter is not a finite number above 0.

    >>> (critical_depth([0.0, 3e-5, 3e-4], 0.1022604) * 1e3).round(2).tolist()
    [0.0, 5.27, 16.87]
    """
    size = _above_zero("diameter [m]", diameter)
    part = _flows(flow) / np.sqrt(GRAVITY * size**5)
    return _depth(find_half_angle(_criticality, part, np.pi), part, size)


def header_check(
    flow: ArrayLike,
    diameter: ArrayLike,
    slope: ArrayLike,
    *,
    roughness: ArrayLike = PLASTIC_ROUGHNESS,
) -> HeaderCheck:
    """Say where a bare pipe end or a free spill is not valid because the header backs up.

    Parameters
    ----------
    flow : array_like, shape (...)
        Flow of each header, at least 0. [m3/s]
    diameter : array_like, shape (...)
        Inside diameter; broadcasts with flow. [m]
    slope : array_like, shape (...)
        Fall over length; at most 0 where the header is level or pitched back. [-]
    roughness : array_like, shape (...)
        Manning's n. [s/m^(1/3)]

    Returns
    -------
    HeaderCheck
        Normal depth, critical depth and whether the header is steep, with warnings.

    Raises
    ------
    DomainError
        Where a flow is negative, a slope not a number, or another input not above 0.

    Notes
    -----
    A header that does not fall, or carries more than it can with a free surface, runs full.

    >>> check = header_check([3e-4, 3e-4], 0.1022604, [0.0104, 0.002])
    >>> check.steep.tolist(), len(check.warnings)
    ([True, False], 1)
    """
    falls = np.asarray(slope, dtype=np.float64)
    if not np.all(np.isfinite(falls)):
        raise DomainError("a slope [-] is not a finite number; give fall over length")
    drains, some_fall = falls > 0, np.where(falls > 0, falls, 1.0)
    full = np.where(drains, full_flow(diameter, some_fall, roughness=roughness), 0.0)
    flows = _flows(flow)
    free = flows <= CAPACITY * full
    uniform = normal_depth(np.where(free, flows, 0.0), diameter, some_fall, roughness=roughness)
    normal = np.where(free, uniform, diameter)
    critical = np.broadcast_to(critical_depth(flows, diameter), normal.shape)
    steep = np.asarray(normal <= critical)
    freeze(normal, critical, steep)
    return HeaderCheck(
        normal_depth=normal,
        critical_depth=critical,
        steep=steep,
        warnings=_warnings(normal, critical, steep, free),
    )


def _warnings(normal: Array, critical: Array, steep: BoolArray, free: BoolArray) -> tuple[str, ...]:
    said = []
    flat = ~steep & free
    if np.any(flat):
        worst = float(np.max(normal[flat] / critical[flat]))
        said.append(
            f"{_those(flat)} too flat for the flow (normal depth up to {worst:.2f} times "
            "critical): water backs up to the mouth and less flows than computed"
        )
    if not np.all(free):
        said.append(
            f"{_those(~free)} full, being level, pitched back or overloaded: what flows is "
            "decided further down, not at the mouth"
        )
    return tuple(said)


def _those(which: BoolArray) -> str:
    count = int(which.sum())
    what = "the header" if which.size == 1 else f"{count} of {which.size} headers"
    return f"{what} {'runs' if count == 1 else 'run'}"


def _conveyance(angle: Array) -> tuple[Array, Array]:
    """Manning's flow over full flow, and its power of the half-angle."""
    filled = segment(angle)
    power = 10 / 3 * angle * np.sin(angle) ** 2 / filled - 2 / 3
    return filled / np.pi * (filled / angle) ** (2 / 3), power


def _criticality(angle: Array) -> tuple[Array, Array]:
    """Critical flow over sqrt(g D^5), and its power of the half-angle."""
    filled, sine = segment(angle), np.sin(angle)
    power = angle * (3 * sine * sine / filled - 0.5 * np.cos(angle) / sine)
    return filled / 8 * np.sqrt(filled / sine), power


def _depth(angle: Array, flow: Array, diameter: ArrayLike) -> Array:
    depth = np.asarray(diameter) * np.sin(angle / 2) ** 2
    return np.asarray(np.where(flow > 0, depth, 0.0))


def _flows(flow: ArrayLike) -> Array:
    flows = np.asarray(flow, dtype=np.float64)
    _refuse("flow [m3/s]", flows, np.isfinite(flows) & (flows >= 0), "a finite number, 0 or more")
    return flows


def _above_zero(what: str, value: ArrayLike) -> Array:
    values = np.asarray(value, dtype=np.float64)
    _refuse(what, values, np.isfinite(values) & (values > 0), "a finite number above 0")
    return values


def _refuse(what: str, values: Array, good: BoolArray, wanted: str) -> None:
    if not np.all(good):
        raise DomainError(f"{what} is {values[~good].flat[0]}; it must be {wanted}")


def _refuse_overfull(flow: Array, full: Array) -> None:
    over = np.argwhere(flow > CAPACITY * full)
    if len(over):
        place = tuple(int(i) for i in over[0])
        index = f"[{', '.join(map(str, place))}]" if place else ""
        raise DomainError(
            f"flow{index} is {flow[place]:g} m3/s; with a free surface the pipe carries at most "
            f"{CAPACITY * full[place]:g} m3/s; give more slope, a wider pipe or less flow"
        )
