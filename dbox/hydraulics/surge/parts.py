"""Parts of a system: tank, supply pipe and trenches.

The tank's plan area stores what comes in; the outlet pipe lets it out as a bare pipe end does, the
level counting from the pipe's invert. An effluent filter is a loss before the pipe, in velocity
heads; as its slots clog the same flow passes a smaller part of them, so with a clogged part c the
loss grows as 1 / (1 - c)^2 (continuity; no source needed).

A gravity pipe holds what flows through it at normal depth. It is cut into a few reaches, each a
level pool whose outflow is Manning's at its mean area A:

    dV/dt = inflow - Q(A),   A = V / length of the reach

so a steady flow stands at normal depth, and a surge arrives late by length over velocity and a
little flattened (the kinematic wave by finite volumes: V. T. Chow, D. R. Maidment, L. W. Mays
1988, Applied Hydrology, chapter 9, from memory). A header that only delays passes on what it was
given one travel time before.

A trench stores width x length x void fraction per depth and loses water through what it wets:

    width length voids dd/dt = inflow - rate (width length min(d / wetting, 1)
                                              + 2 (width + length) d)

rate is the long-term acceptance rate that the user enters, times a named state of the soil. No
bottom is flat: it is taken to be wet all over from a small depth on. Under a water table neither
the bottom nor the part of the walls below it takes anything. At its full depth the soil takes what
bottom and walls take up to there, and the rest surfaces; where the outlet of the box is lower, the
water first stands against the outlet. The loss is straight in the depth, below the wetting depth
and above it, so that under a steady inflow the depth goes as an exponential in each part.
"""

from dataclasses import dataclass
from math import expm1, log1p
from types import MappingProxyType

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.hydraulics.openings import PipeEnd
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.pipes import CAPACITY, PLASTIC_ROUGHNESS, full_flow, normal_velocity, segment
from dbox.hydraulics.surge.level_pool import Pool, RatingTable, opening_table

CLEAN_FILTER_LOSS = 2.0
"""Loss of a clean effluent filter where none is entered, in velocity heads. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Tank:
    """A septic tank over its outlet's invert."""

    area: float  # Plan area of the water. [m2]
    outlet: float  # Inside diameter of the outlet pipe. [m]
    # Loss of the clean effluent filter in velocity heads; 0 where there is none. [-]
    filter_loss: float = 0.0
    clogged: float = 0.0  # Part of the filter that is clogged, from 0 to below 1. [-]

    def __post_init__(self) -> None:
        check_positive("tank area [m2]", self.area)
        if not 0.0 <= self.clogged < 1.0:
            raise DomainError(f"clogged part [-] is {self.clogged}; it is from 0 to below 1")
        self.opening()

    def opening(self) -> PipeEnd:
        """The outlet: a pipe's end with the loss of the filter before it.

        >>> Tank(area=3.0, outlet=0.1, filter_loss=2.0, clogged=0.5).opening().entrance_loss
        8.0
        """
        return PipeEnd(self.outlet, entrance_loss=self.filter_loss / (1.0 - self.clogged) ** 2)

    def pool(self) -> Pool:
        """The tank at rest, its water standing at the outlet's invert."""
        return Pool(self.area, opening_table(self.opening()), 0.0)


REACHES = 3
"""Reaches of the supply pipe: more make its front steeper and the computation longer. [-]
(judgement)"""

_HALF_ANGLES = np.concatenate([[0.0], np.geomspace(1e-2, 2.5, 140)])
"""Half-angles of the water up to 0.90 of the diameter: more depth is more flow there. [rad]
(numerical)"""


@dataclass(frozen=True, kw_only=True)
class SupplyPipe:
    """A round gravity pipe: the one from tank to box, or a header."""

    length: float  # Length. [m]
    diameter: float  # Inside diameter. [m]
    fall: float  # Fall over length, above 0. [-]

    def __post_init__(self) -> None:
        check_positive("pipe length [m]", self.length)
        check_positive("pipe diameter [m]", self.diameter)
        check_positive("fall of a pipe [-]", self.fall)

    @property
    def full(self) -> float:
        """Flow of the pipe when it is just full. [m3/s]"""
        return float(full_flow(self.diameter, self.fall, roughness=PLASTIC_ROUGHNESS))

    def velocity(self, flow: Array) -> Array:
        """Mean velocity, the pipe running full where it must; flow [m3/s] -> [m/s]."""
        free = flow <= CAPACITY * self.full
        uniform = normal_velocity(np.where(free, flow, 0.0), self.diameter, self.fall)
        return np.where(free, uniform, flow / (np.pi / 4 * self.diameter**2))

    def delay(self, flow: float) -> float:
        """Travel time of a flow through the whole pipe. [s]; flow [m3/s].

        >>> round(SupplyPipe(length=10.0, diameter=0.1, fall=0.01).delay(1e-4), 1)
        32.3
        """
        return self.length / float(self.velocity(np.asarray(flow)))

    def pools(self) -> list[Pool]:
        """The reaches, dry; their levels are volumes. [m3]"""
        reach = self.length / REACHES
        angle = _HALF_ANGLES[1:]
        part = segment(angle)
        wet = self.diameter**2 / 4 * part
        flow = self.full * part / np.pi * (part / angle) ** (2 / 3)
        slope = flow / wet * (5 / 3 - part / (3 * angle * np.sin(angle) ** 2))
        table = RatingTable(
            np.append(0.0, wet * reach), np.append(0.0, flow), np.append(0.0, slope / reach)
        )
        return [Pool(1.0, table, 0.0) for _ in range(REACHES)]


@dataclass(frozen=True, kw_only=True)
class PressurePipe:
    """The pressure pipe of a pump, which runs full."""

    diameter: float  # Inside diameter. [m]

    def __post_init__(self) -> None:
        check_positive("pipe diameter [m]", self.diameter)

    def velocity(self, flow: Array) -> Array:
        """Mean velocity; flow [m3/s] -> [m/s]."""
        result: Array = flow / (np.pi / 4 * self.diameter**2)
        return result


class Delay:
    """Passes volumes on after a fixed time; what is under way stays counted.

    seconds: The time, 0 or more. [s]
    """

    __slots__ = ("_place", "_seconds", "_times", "_volumes", "given", "passed")

    def __init__(self, seconds: float):
        self._seconds, self._place = seconds, 0
        self._times, self._volumes = [0.0], [0.0]
        self.given, self.passed = 0.0, 0.0

    def push(self, time: float, volume: float) -> float:
        """Take what was given until a time, and pass on what is due by then.

        time [s], volume [m3] -> [m3].

        >>> pipe = Delay(10.0)
        >>> [round(pipe.push(t, 1.0), 6) for t in (5.0, 10.0, 15.0, 40.0)]
        [0.0, 0.0, 1.0, 2.6]
        """
        self.given += volume
        if not self._seconds:
            self.passed = self.given
            return volume
        times, volumes, place = self._times, self._volumes, self._place
        times.append(time)
        volumes.append(self.given)
        due = time - self._seconds
        if due <= 0.0:
            return 0.0
        while times[place + 1] < due:
            place += 1
        start, end = times[place], times[place + 1]
        part = (due - start) / (end - start)
        total = volumes[place] + part * (volumes[place + 1] - volumes[place])
        passed = max(total - self.passed, 0.0)
        self.passed += passed
        if place > 1000:
            del times[:place], volumes[:place]
            place = 0
        self._place = place
        return passed


SOIL_STATES = MappingProxyType({"fresh": 10.0, "biomat": 1.0, "smeared": 0.3})
"""Acceptance over the long-term rate, by the state of the soil. [-] (invented for this project:
the long-term rate is that under a biomat; new soil takes much more, smeared soil less)"""

WETTING_DEPTH = 0.005
"""Depth from which a trench's bottom is wet all over. [m] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Trench:
    """A trench, its heights over its bottom."""

    length: float  # Length of the bottom. [m]
    width: float  # Width of the bottom. [m]
    depth: float  # Depth over which water surfaces. [m]
    pipe_height: float  # Invert of its pipe over the bottom. [m]
    acceptance: float  # Long-term acceptance rate of the soil. [m/s]
    voids: float = 0.35  # Part of the fill that water can take, above 0 to 1. [-]
    soil: str = "biomat"  # State of the soil, a key of `SOIL_STATES`.
    water_table: float = -np.inf  # Height of the groundwater; negative below the bottom. [m]
    ponding: float = 0.0  # Depth of water at the start. [m]

    def __post_init__(self) -> None:
        for name in ("length", "width", "depth"):
            check_positive(f"trench {name} [m]", getattr(self, name))
        check_positive("acceptance rate [m/s]", self.acceptance)
        if not 0.0 < self.voids <= 1.0:
            raise DomainError(f"voids [-] is {self.voids}; it is above 0 and at most 1")
        if not 0.0 <= self.pipe_height <= self.depth:
            raise DomainError(
                f"the pipe is {self.pipe_height:g} m over the trench's bottom; it lies between 0 "
                f"and the depth of {self.depth:g} m"
            )
        if self.soil not in SOIL_STATES:
            raise DomainError(f"soil is {self.soil!r}; it is one of {', '.join(SOIL_STATES)}")
        if not self.water_table < self.depth or not 0.0 <= self.ponding <= self.depth:
            raise DomainError("water table and ponding [m] must be below the depth of the trench")

    @property
    def rate(self) -> float:
        """Acceptance rate in the present state of the soil. [m/s]"""
        return self.acceptance * SOIL_STATES[self.soil]

    @property
    def storage_area(self) -> float:
        """Volume stored per depth. [m2]"""
        return self.length * self.width * self.voids

    @property
    def capacity(self) -> float:
        """What it takes when it stands full to its pipe. [m3/s]

        >>> trench = Trench(length=18, width=0.9, depth=0.4, pipe_height=0.3, acceptance=2e-7)
        >>> round(trench.capacity * 86400, 3)
        0.476
        """
        return TrenchLine(self).takes(self.pipe_height)


class TrenchLine:
    """A trench at its present depth.

    trench: The trench, water standing at its ponding or its water table.
    """

    __slots__ = (
        "_bottom", "_dry", "_full", "_slow", "_steep", "_wet", "area", "brim", "infiltrated",
        "surfaced", "volume",
    )  # fmt: skip

    def __init__(self, trench: Trench):
        self.area = trench.storage_area
        dry = max(trench.water_table, 0.0)
        self._dry = dry * self.area
        self.brim = trench.depth
        self._full = trench.depth * self.area
        walls = 2.0 * (trench.width + trench.length) * trench.rate
        self._slow = walls / self.area
        # a water table takes the bottom out of use
        self._bottom = 0.0 if dry else trench.length * trench.width * trench.rate
        self._wet = 0.0 if dry else WETTING_DEPTH * self.area
        self._steep = self._slow + self._bottom / (WETTING_DEPTH * self.area)
        self.volume = max(trench.ponding * self.area, self._dry)
        self.infiltrated = self.surfaced = 0.0

    @property
    def depth(self) -> float:
        """Water over the bottom. [m]"""
        return self.volume / self.area

    def takes(self, depth: float) -> float:
        """What infiltrates at a depth. [m3/s]; depth [m]."""
        over = max(depth * self.area - self._dry, 0.0)
        return min(self._steep * over, self._bottom + self._slow * over)

    def step(self, volume: float, seconds: float) -> None:
        """Take a volume that comes evenly in a time, exactly for a step of any length.

        volume [m3], seconds [s].
        """
        start = over = max(self.volume - self._dry, 0.0)
        brim, inflow, left, spill = self._full - self._dry, volume / seconds, seconds, 0.0
        while left > 0.0:
            takes = min(self._steep * over, self._bottom + self._slow * over)
            net = inflow - takes
            # rising water meets the depth that wets the whole bottom, then the brim; falling
            # water that depth from above, then nothing
            steep = over < self._wet or (over == self._wet and net < 0.0)
            rate = self._steep if steep else self._slow
            if net > 0.0:
                if over >= brim:
                    spill = min(net * left, max(start + volume - brim, 0.0))
                    break
                end = min(self._wet, brim) if steep else brim
            else:
                end = 0.0 if steep else self._wet
            moved = net * left * _fading(rate * left)
            # the part of all that it would move in endless time; 1 or more is never passed
            part = rate * (end - over) / net if net else 1.0
            if part >= 1.0 or abs(moved) < abs(end - over):
                over += moved
                break
            left += log1p(-part) / rate
            over = end
        over = min(max(over, 0.0), start + volume)
        self.surfaced += spill
        self.infiltrated += max(start + volume - spill - over, 0.0)
        self.volume = self._dry + over


def _fading(x: float) -> float:
    """Mean over a time of what fades as exp(-t), x of them long: (1 - exp(-x)) / x. [-]"""
    return -expm1(-x) / x if x > 0.0 else 1.0
