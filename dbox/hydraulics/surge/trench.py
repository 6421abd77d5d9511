"""How high does water stand in a trench, and where does it go?

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

from dbox.errors import DomainError
from dbox.hydraulics.openings.base import check_positive

SOIL_STATES = MappingProxyType({"fresh": 10.0, "biomat": 1.0, "smeared": 0.3})
"""Acceptance over the long-term rate, by the state of the soil. [-] (invented for this project:
the long-term rate is that under a biomat; new soil takes much more, smeared soil less)"""

WETTING_DEPTH = 0.005
"""Depth from which a trench's bottom is wet all over. [m] (an assumption, no source)"""


@dataclass(frozen=True, kw_only=True)
class Trench:
    """A trench, its heights over its bottom.

    Parameters
    ----------
    length, width : float
        Of the bottom. [m]
    depth : float
        Depth over which water surfaces. [m]
    pipe_height : float
        Invert of its pipe over the bottom. [m]
    voids : float
        Part of the fill that water can take, above 0 to 1. [-]
    acceptance : float
        Long-term acceptance rate of the soil. [m/s]
    soil : str
        State of the soil, a key of `SOIL_STATES`.
    water_table : float
        Height of the groundwater; negative below the bottom. [m]
    ponding : float
        Depth of water at the start. [m]

    Raises
    ------
    DomainError
        Where a size cannot be.
    """

    length: float
    width: float
    depth: float
    pipe_height: float
    acceptance: float
    voids: float = 0.35
    soil: str = "biomat"
    water_table: float = -np.inf
    ponding: float = 0.0

    def __post_init__(self) -> None:
        check_positive("trench length [m]", self.length)
        check_positive("trench width [m]", self.width)
        check_positive("trench depth [m]", self.depth)
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

    Parameters
    ----------
    trench : Trench
        The trench, water standing at its ponding or its water table.
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
        """What infiltrates at a depth. [m3/s]

        Parameters
        ----------
        depth : float
            Water over the bottom. [m]
        """
        over = max(depth * self.area - self._dry, 0.0)
        return min(self._steep * over, self._bottom + self._slow * over)

    def step(self, volume: float, seconds: float) -> None:
        """Take a volume that comes evenly in a time, exactly for a step of any length.

        Parameters
        ----------
        volume : float
            What comes. [m3]
        seconds : float
            The time, above 0. [s]
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
