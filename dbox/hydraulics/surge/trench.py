"""How high does water stand in a trench, and where does it go?

A trench stores width x length x void fraction per depth and loses water through what it wets:

    width length voids dd/dt = inflow - rate (width length min(d / wetting, 1)
                                              + 2 (width + length) d)

rate is the long-term acceptance rate that the user enters, times a named state of the soil. No
bottom is flat: it is taken to be wet all over from a small depth on. Under a water table neither
the bottom nor the part of the walls below it takes anything. Over its full depth the water
surfaces; where the outlet of the box is lower than that, it first stands against the outlet.
"""

from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from dbox.errors import DomainError
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.surge.level_pool import fitted_weight

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
        "_bottom", "_dry", "_full", "_slow", "_steep", "area", "brim", "infiltrated", "surfaced",
        "volume",
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
        """Take a volume that comes evenly in a time.

        Parameters
        ----------
        volume : float
            What comes. [m3]
        seconds : float
            The time. [s]
        """
        over = self.volume - self._dry
        steep, flat = self._steep * over, self._bottom + self._slow * over
        rate, now = (self._steep, steep) if steep < flat else (self._slow, flat)
        weight = fitted_weight(seconds * rate)
        held = seconds * weight
        target = over + volume - seconds * (1.0 - weight) * now
        # infiltration is the lesser of two lines, so the volume left is the greater of two
        left = max(target / (1.0 + held * self._steep),
                   (target - held * self._bottom) / (1.0 + held * self._slow), 0.0)  # fmt: skip
        left = min(left, over + volume)
        self.infiltrated += over + volume - left
        spill = self._dry + left - self._full
        if spill > 0.0:
            self.surfaced += spill
            left -= spill
        self.volume = self._dry + left
