"""Flow in round pipes: section, normal and critical depth, steep or not.

With phi the half-angle at the pipe's centre between the lowest point and the water's edge,

    y = D/2 (1 - cos phi),  T = D sin phi,  P = D phi,  A = D^2/4 (phi - sin phi cos phi)

and phi runs from 0 in a dry pipe to pi in a full one. phi - sin phi cos phi loses all its digits
at small depths, where it is the difference of two nearly equal numbers; `segment` keeps them.
Geometry only, so no source is needed; Chow (1959), Open-Channel Hydraulics, table 2-1 lists the
same elements in the full angle 2 phi (from memory).

Uniform flow is Manning's, critical depth is where the specific energy is least:

    Q = A R^(2/3) sqrt(S) / n        g A^3 = Q^2 T

A header is steep where its normal depth is at most its critical depth. Then what happens further
down cannot be felt in the box, and a bare pipe end or a free spill may be computed on its own.
Manning's formula: R. D. Blevins (1984), Applied Fluid Dynamics Handbook, and any text on open
channels. Critical depth: US Army Corps of Engineers, HEC-RAS Hydraulic Reference Manual, critical
depth of flow in the culvert.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from dbox.arrays import GRAVITY, Array, ArrayLike, BoolArray, freeze
from dbox.errors import DomainError, SolveError

_SERIES_BELOW = 0.25  # half-angle under which the series is both exact to rounding and the better
_AIM = 1e-14  # of the target
_MOST_STEPS = 200

Measure = Callable[[Array], tuple[Array, Array]]
"""From half-angle [rad] to what rises with it, and the local power of the half-angle it goes by."""


def segment(half_angle: ArrayLike) -> Array:
    """Area of a circular segment over a quarter of the diameter squared, at any half-angle.

    half_angle [rad] -> [-].

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

    depth [m], diameter [m] -> [rad].

    >>> half_angle([-0.01, 0.05, 0.2], diameter=0.1).round(6).tolist()
    [0.0, 1.570796, 3.141593]
    """
    water, air = _parts(depth, diameter)
    return np.asarray(2 * np.arctan2(np.sqrt(water), np.sqrt(air)))


def area(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Cross-section of the water; depth [m], diameter [m] -> [m2].

    >>> area([0.0, 0.05, 0.1], diameter=0.1).round(9).tolist()
    [0.0, 0.003926991, 0.007853982]
    """
    size = np.asarray(diameter, dtype=np.float64)
    return np.asarray(size * size / 4 * segment(half_angle(depth, size)))


def top_width(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Width of the water surface; depth [m], diameter [m] -> [m].

    >>> top_width([0.0, 0.05, 0.1], diameter=0.1).tolist()
    [0.0, 0.1, 0.0]
    """
    water, air = _parts(depth, diameter)
    return np.asarray(2 * np.sqrt(water * air))


def wetted_perimeter(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Length of the pipe wall under water, around the section; depth [m], diameter [m] -> [m].

    >>> wetted_perimeter([0.0, 0.05, 0.1], diameter=0.1).round(6).tolist()
    [0.0, 0.15708, 0.314159]
    """
    return np.asarray(np.asarray(diameter) * half_angle(depth, diameter))


def hydraulic_radius(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Area over wetted perimeter; depth [m], diameter [m] -> [m].

    >>> hydraulic_radius([0.0, 0.05, 0.1], diameter=0.1).round(9).tolist()
    [0.0, 0.025, 0.025]
    """
    angle = half_angle(depth, diameter)
    wet = np.where(angle > 0, angle, 1.0)
    return np.asarray(np.asarray(diameter) / 4 * segment(angle) / wet)


def find_half_angle(measure: Measure, target: Array, most: float) -> Array:
    """Half-angle at which a measure that rises with it meets its target.

    target [unit of measure], most [rad] -> [rad].

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
    """Whether headers are steep at their flows; arrays are read-only."""

    normal_depth: Array  # (...) Depth of uniform flow; the diameter where the header runs full. [m]
    critical_depth: Array  # (...) Depth of least energy. [m]
    # (...) True where normal depth is at most critical depth; a dry header is steep.
    steep: BoolArray
    warnings: tuple[str, ...]  # What is not valid for these headers; empty where all are steep.


def full_flow(
    diameter: ArrayLike, slope: ArrayLike, *, roughness: ArrayLike = PLASTIC_ROUGHNESS
) -> Array:
    """Manning's flow of a pipe that is just full.

    diameter [m], slope [-], roughness [s/m^(1/3)] -> [m3/s].

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

    flow [m3/s], diameter [m], slope [-], roughness [s/m^(1/3)] -> [m].

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

    flow [m3/s], diameter [m], slope [-], roughness [s/m^(1/3)] -> [m/s].

    >>> normal_velocity([0.0, 3e-4], 0.1022604, 0.0104).round(3).tolist()
    [0.0, 0.436]
    """
    wet = area(normal_depth(flow, diameter, slope, roughness=roughness), diameter)
    return np.asarray(_flows(flow) / np.where(wet > 0, wet, 1.0))


def critical_depth(flow: ArrayLike, diameter: ArrayLike) -> Array:
    """Depth at which a flow has the least specific energy; flow [m3/s], diameter [m] -> [m].

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

    flow [m3/s], diameter [m], slope [-], roughness [s/m^(1/3)].

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
