"""Flow in round pipes: section, normal and critical depth, steep or not; the jet that one throws.

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

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from dbox.arrays import GRAVITY, Array, ArrayLike, BoolArray, Result
from dbox.errors import DomainError, SolveError

_SERIES_BELOW = 0.25
"""Half-angle under which the series is both exact to rounding and the better. [rad] (numerical)"""

_AIM = 1e-14
"""How near a target is met, as a part of it. [-] (numerical)"""

_MOST_STEPS = 200
"""Steps after which a search is given up; a dozen are usual. [-] (numerical)"""

PLASTIC_ROUGHNESS = 0.010
"""Manning's n of smooth plastic pipe. [s/m^(1/3)]

City of Austin, Drainage Criteria Manual, table 5-2, gives 0.010; handbooks list 0.009 to 0.011
(from memory).
"""

CAPACITY = 1.0757061294004648
"""Greatest flow with a free surface over full flow, at any slope and roughness. [-] (exact to
rounding, by the formulas above)"""

_FULLEST = 2.6390535689668978
"""Half-angle at that flow, where 5 phi sin^2 phi = phi - sin phi cos phi; y = 0.938 D. [rad]
(exact to rounding)"""

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


def area(depth: ArrayLike, diameter: ArrayLike) -> Array:
    """Cross-section of the water; depth [m], diameter [m] -> [m2].

    >>> area([-0.01, 0.0, 0.05, 0.1, 0.2], diameter=0.1).round(9).tolist()
    [0.0, 0.0, 0.003926991, 0.007853982, 0.007853982]
    """
    depths, sizes = (np.asarray(each, dtype=np.float64) for each in (depth, diameter))
    if np.any(np.isnan(depths)):
        raise DomainError("a depth [m] is not a number; give metres over the invert")
    if not np.all((sizes > 0) & (sizes < np.inf)):
        raise DomainError("a pipe's diameter [m] is not a finite number above 0")
    water = np.clip(depths, 0.0, sizes)
    half_angle = 2 * np.arctan2(np.sqrt(water), np.sqrt(sizes - water))
    return np.asarray(sizes * sizes / 4 * segment(half_angle))


def find_half_angle(measure: Measure, target: Array, most: float) -> Array:
    """Half-angle at which a measure that rises with it meets its target.

    target [unit of measure], most [rad] -> [rad].

    Notes
    -----
    Newton on the logarithms, from half of `most`; a step that leaves the bracket is replaced by
    halving it. `scipy.optimize.elementwise.find_root` was timed at 10 to 40 times as long, and at
    half a second to be loaded.
    """
    aim = np.where(target > 0, np.maximum(target, 1e-200), 1.0)
    low, high, angle = np.zeros_like(aim), np.full_like(aim, most), np.full_like(aim, most / 2)
    for _ in range(_MOST_STEPS):
        value, power = measure(angle)
        excess = np.log(value / aim)
        low, high = np.where(excess < 0, angle, low), np.where(excess > 0, angle, high)
        done = (np.abs(excess) <= _AIM) | (high - low <= 1e-15 * high)
        if np.all(done):
            return angle
        newton = angle * np.exp(-excess / power)
        inside = (newton > low) & (newton < high)
        angle = np.where(done, angle, np.where(inside, newton, (low + high) / 2))
    worst = int(np.argmax(np.abs(excess)))
    raise SolveError(
        f"no half-angle found between {low.flat[worst]:.17g} and {high.flat[worst]:.17g} rad; "
        f"the target is missed by {excess.flat[worst]:g} of itself"
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class HeaderCheck(Result):
    """Whether headers are steep at their flows; arrays are read-only."""

    normal_depth: Array  # (...) Depth of uniform flow; the diameter where the header runs full. [m]
    critical_depth: Array  # (...) Depth of least energy. [m]
    # (...) True where normal depth is at most critical depth; a dry header is steep.
    steep: BoolArray


def full_flow(
    diameter: ArrayLike, slope: ArrayLike, *, roughness: ArrayLike = PLASTIC_ROUGHNESS
) -> Array:
    """Manning's flow of a pipe that is just full.

    diameter [m], slope [-], roughness [s/m^(1/3)] -> [m3/s].

    Notes
    -----
    A free surface carries up to 1.0757 times as much, at 0.938 of the diameter (`CAPACITY`).

    >>> (full_flow(0.1022604, [0.005, 0.02]) * 1e3).round(3).tolist()
    [5.04, 10.08]
    """
    size, steepness = _checked("diameter [m]", diameter), _checked("slope [-]", slope)
    n = _checked("roughness [s/m^(1/3)]", roughness)
    return np.asarray(np.pi / 4 * size**2 * (size / 4) ** (2 / 3) * np.sqrt(steepness) / n)


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
    flows = _checked("flow [m3/s]", flow, none=True)
    flows, full = np.broadcast_arrays(flows, full_flow(diameter, slope, roughness=roughness))
    over = np.argwhere(flows > CAPACITY * full)
    if len(over):
        place = tuple(over[0].tolist())
        index = f"[{', '.join(map(str, place))}]" if place else ""
        raise DomainError(
            f"flow{index} is {flows[place]:g} m3/s; with a free surface the pipe carries at most "
            f"{CAPACITY * full[place]:g} m3/s; give more slope, a wider pipe or less flow"
        )
    part = flows / full
    return _depth(find_half_angle(_conveyance, part, _FULLEST), part, diameter)


def normal_velocity(flow: ArrayLike, diameter: ArrayLike, slope: ArrayLike) -> Array:
    """Mean velocity of uniform flow with a free surface in smooth plastic pipe.

    flow [m3/s], diameter [m], slope [-] -> [m/s].

    >>> normal_velocity([0.0, 3e-4], 0.1022604, 0.0104).round(3).tolist()
    [0.0, 0.436]
    """
    wet = area(normal_depth(flow, diameter, slope), diameter)
    return np.asarray(np.asarray(flow) / np.where(wet > 0, wet, 1.0))


def critical_depth(flow: ArrayLike, diameter: ArrayLike) -> Array:
    """Depth at which a flow has the least specific energy; flow [m3/s], diameter [m] -> [m].

    >>> (critical_depth([0.0, 3e-5, 3e-4], 0.1022604) * 1e3).round(2).tolist()
    [0.0, 5.27, 16.87]
    """
    size = _checked("diameter [m]", diameter)
    part = _checked("flow [m3/s]", flow, none=True) / np.sqrt(GRAVITY * size**5)
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

    >>> header_check([3e-4, 3e-4], 0.1022604, [0.0104, 0.002]).steep.tolist()
    [True, False]
    """
    slopes = np.asarray(slope, dtype=np.float64)
    if not np.all(np.isfinite(slopes)):
        raise DomainError("a slope [-] is not a finite number; give fall over length")
    drains, some_slope = slopes > 0, np.where(slopes > 0, slopes, 1.0)
    full = np.where(drains, full_flow(diameter, some_slope, roughness=roughness), 0.0)
    flows = _checked("flow [m3/s]", flow, none=True)
    free = flows <= CAPACITY * full
    uniform = normal_depth(np.where(free, flows, 0.0), diameter, some_slope, roughness=roughness)
    normal = np.where(free, uniform, diameter)
    critical = np.broadcast_to(critical_depth(flows, diameter), normal.shape)
    steep = np.asarray(normal <= critical)
    return HeaderCheck(normal_depth=normal, critical_depth=critical, steep=steep)


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


def _checked(what: str, value: ArrayLike, *, none: bool = False) -> Array:
    """Finite numbers above 0, or 0 too where there may be none."""
    values = np.asarray(value, dtype=np.float64)
    good = np.isfinite(values) & ((values >= 0) if none else (values > 0))
    if not np.all(good):
        wanted = "a finite number, 0 or more" if none else "a finite number above 0"
        raise DomainError(f"{what} is {values[~good].flat[0]}; it must be {wanted}")
    return values


DECAY = 6.2
"""Centreline velocity over that at the mouth, times distance over diameter. [-] (Albertson and
others 1950, from memory)"""

WIDENING = 0.1
"""Half-width, where velocity is half that on the axis, over distance. [-] (Rajaratnam 1976, from
memory)"""


class HasVelocity(Protocol):
    """A pipe that water comes through."""

    def velocity(self, flow: Array) -> Array:
        """Mean velocity; flow [m3/s] -> [m/s]."""
        ...


@dataclass(frozen=True, kw_only=True, eq=False)
class Jet:
    """The jet of a straight inlet, and where the outlets stand in it.

    The inflow enters as a round jet with the velocity U0 it has in the pipe and the diameter D of a
    circle as large as its flow area. At a distance x and an offset y from its axis

        U = U0 min(1, 6.2 D / x) exp(-ln 2 (y / b)^2),   b = max(0.1 x, D / 2)

    (M. L. Albertson, Y. B. Dai, R. A. Jensen, H. Rouse 1950, Diffusion of submerged jets,
    Transactions ASCE 115, for the decay beyond a core of about 6 D; N. Rajaratnam 1976, Turbulent
    Jets, for the half-width b; both from memory). An outlet that faces the jet gains U^2 / 2g,
    where the outlet stands aslant only the part of U along it. A box is a few D long, so its
    outlets lie in the core or near it: a rough model, for the size of the effect. A turned-down
    inlet, a tee or a baffle ends it.
    """

    pipe: HasVelocity  # The pipe it comes from.
    distance: Array  # (n,) From the inlet to each outlet along the jet. [m]
    offset: Array  # (n,) From the jet's axis to each outlet. [m]
    # (n,) Cosine between the jet and the way out through the outlet, 0 where it faces away. [-]
    facing: Array

    def __post_init__(self) -> None:
        shapes = {self.distance.shape, self.offset.shape, self.facing.shape}
        if len(shapes) > 1 or not np.all(np.isfinite([self.distance, self.offset, self.facing])):
            raise DomainError("a jet needs a distance, an offset and a facing of each outlet")

    def heads(self, inflow: ArrayLike) -> Array:
        """Extra head at each outlet; inflow [m3/s] -> [m]."""
        flow = np.asarray(inflow, np.float64)[..., None]
        start = self.pipe.velocity(flow)
        area = np.where(flow > 0, flow / np.where(start > 0, start, 1.0), 0.0)
        size = np.sqrt(4 / np.pi * area)
        near = np.maximum(self.distance, 1e-9)
        half_width = np.maximum(WIDENING * near, np.maximum(size / 2, 1e-9))
        axis = start * np.minimum(1.0, DECAY * size / near)
        there = axis * np.exp2(-((self.offset / half_width) ** 2)) * np.maximum(self.facing, 0.0)
        return np.asarray(there**2 / (2 * GRAVITY))
