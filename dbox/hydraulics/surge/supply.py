"""What does the pipe from the tank to the box hold back, and how late does it deliver?

A gravity pipe holds what flows through it at normal depth. It is cut into a few reaches, each a
level pool whose outflow is Manning's at its mean area A:

    dV/dt = inflow - Q(A),   A = V / length of the reach

so a steady flow stands at normal depth, and a surge arrives late by length over velocity and a
little flattened (the kinematic wave by finite volumes: V. T. Chow, D. R. Maidment, L. W. Mays
1988, Applied Hydrology, chapter 9, from memory). A header that only delays passes on what it was
given one travel time before.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.hydraulics.circular_section import segment
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.pipes import CAPACITY, PLASTIC_ROUGHNESS, full_flow, normal_velocity
from dbox.hydraulics.surge.level_pool import Pool
from dbox.hydraulics.surge.rating_table import RatingTable

REACHES = 3
"""Reaches of the supply pipe: more make its front steeper and the computation longer."""

_HALF_ANGLES = np.concatenate([[0.0], np.geomspace(1e-2, 2.5, 140)])
"""Half-angles of the water up to 0.90 of the diameter: more depth is more flow there. [rad]"""


@dataclass(frozen=True, kw_only=True)
class SupplyPipe:
    """A round gravity pipe: the one from tank to box, or a header.

    Parameters
    ----------
    length : float
        Length. [m]
    diameter : float
        Inside diameter. [m]
    fall : float
        Fall over length, above 0. [-]

    Raises
    ------
    DomainError
        Where one of them is not above 0.
    """

    length: float
    diameter: float
    fall: float

    def __post_init__(self) -> None:
        check_positive("pipe length [m]", self.length)
        check_positive("pipe diameter [m]", self.diameter)
        check_positive("fall of a pipe [-]", self.fall)

    @property
    def full(self) -> float:
        """Flow of the pipe when it is just full. [m3/s]"""
        return float(full_flow(self.diameter, self.fall, roughness=PLASTIC_ROUGHNESS))

    def velocity(self, flow: Array) -> Array:
        """Mean velocity, the pipe running full where it must.

        Parameters
        ----------
        flow : ndarray, shape (...)
            Flow. [m3/s]

        Returns
        -------
        ndarray, shape (...)
            Velocity, 0 where nothing flows. [m/s]
        """
        free = flow <= CAPACITY * self.full
        uniform = normal_velocity(np.where(free, flow, 0.0), self.diameter, self.fall)
        return np.where(free, uniform, flow / (np.pi / 4 * self.diameter**2))

    def delay(self, flow: float) -> float:
        """Travel time of a flow through the whole pipe. [s]

        Parameters
        ----------
        flow : float
            Flow, above 0. [m3/s]

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
    """The pressure pipe of a pump, which runs full.

    Parameters
    ----------
    diameter : float
        Inside diameter. [m]

    Raises
    ------
    DomainError
        Where it is not above 0.
    """

    diameter: float

    def __post_init__(self) -> None:
        check_positive("pipe diameter [m]", self.diameter)

    def velocity(self, flow: Array) -> Array:
        """Mean velocity.

        Parameters
        ----------
        flow : ndarray, shape (...)
            Flow. [m3/s]

        Returns
        -------
        ndarray, shape (...)
            Velocity, 0 where nothing flows. [m/s]
        """
        result: Array = flow / (np.pi / 4 * self.diameter**2)
        return result


class Delay:
    """Passes volumes on after a fixed time; what is under way stays counted.

    Parameters
    ----------
    seconds : float
        The time, 0 or more. [s]
    """

    __slots__ = ("_place", "_seconds", "_times", "_volumes", "given", "passed")

    def __init__(self, seconds: float):
        self._seconds, self._place = seconds, 0
        self._times, self._volumes = [0.0], [0.0]
        self.given, self.passed = 0.0, 0.0

    def push(self, time: float, volume: float) -> float:
        """Take what was given until a time, and pass on what is due by then.

        Parameters
        ----------
        time : float
            End of the step; it rises from call to call. [s]
        volume : float
            What was given since the last call, evenly. [m3]

        Returns
        -------
        float
            What is passed on since the last call. [m3]

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
