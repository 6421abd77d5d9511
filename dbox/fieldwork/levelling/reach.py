"""How far can each lip be brought, and which common height asks for the least turning?

One box or many: the last axis of every array is outlets, any leading axes are boxes.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.levelling.insert import angle_for_move, lip_rise
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.site import Site

_GRID = 2001
_ROUNDING = 1e-9


@dataclass(frozen=True, kw_only=True, eq=False)
class Goal:
    """A height for the lips and what it asks for.

    Parameters
    ----------
    height : float
        Height over still water that the wanted offsets are counted from. [m]
    reached : int
        Outlets that can be brought to it.
    turning : float
        Sum of all turns, those that stop short included. [rad]
    """

    height: float
    reached: int
    turning: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """Where each lip stands and where its insert could bring it.

    Parameters
    ----------
    uncapped : ndarray, shape (..., n)
        Whether the outlet is open.
    lip : ndarray, shape (..., n)
        Present lip over still water; 0 where capped. [m]
    low, high : ndarray, shape (..., n)
        Lowest and highest lip its insert can give: both the lip itself where it cannot turn, and
        without limit where capped. [m]
    angle : ndarray, shape (..., n)
        Angle of the hole from straight down; NaN where unknown. [rad]
    offset : ndarray, shape (..., n)
        Hole centre from pipe centre; 0 where the insert cannot be turned. [m]
    """

    uncapped: BoolArray
    lip: Array
    low: Array
    high: Array
    angle: Array
    offset: Array

    @classmethod
    def of(cls, site: Site, lips: Lips) -> "Reach":
        """Reach of the outlets of a site, every open one measured."""
        return cls.of_lips(
            np.where([o.capped for o in site.outlets], np.inf, lips.height),
            np.array([o.hole_offset or 0.0 for o in site.outlets]),
            np.array([np.nan if o.clock is None else o.clock for o in site.outlets]),
        )

    @classmethod
    def of_lips(cls, height: Array, hole_offset: Array, clocks: Array) -> "Reach":
        """Reach of lips with the inserts that they belong to.

        Parameters
        ----------
        height : ndarray, shape (..., n)
            Lips over still water; inf where capped. [m]
        hole_offset : ndarray, shape (..., n)
            Hole centre from pipe centre; 0 where the insert cannot be turned. [m]
        clocks : ndarray, shape (..., n)
            Angle of the hole from straight down; NaN where unknown. [rad]
        """
        uncapped = height < np.inf
        lip, offset = np.where(uncapped, height, 0.0), np.where(uncapped, hole_offset, 0.0)
        angle = np.where(np.abs(clocks) > np.pi, np.mod(clocks + np.pi, 2 * np.pi) - np.pi, clocks)
        # with an unknown clock the lip may be anywhere in its travel: full lift either way
        rise = lip_rise(angle, offset)
        up = np.where(np.isnan(angle), 2.0 * offset, offset - rise)
        down = np.where(np.isnan(angle), 2.0 * offset, offset + rise)
        return cls(
            uncapped=uncapped,
            lip=lip,
            low=np.where(uncapped, lip - down, -np.inf),
            high=np.where(uncapped, lip + up, np.inf),
            angle=angle,
            offset=offset,
        )

    @property
    def adjustable(self) -> BoolArray:
        """Whether the insert can be turned. (..., n)."""
        return self.offset > 0

    def allows(self, height: Array) -> BoolArray:
        """Whether each lip can be brought to a height of shape (..., n). [m]"""
        result: BoolArray = (height >= self.low - _ROUNDING) & (height <= self.high + _ROUNDING)
        return result

    def brought(self, height: Array) -> Array:
        """Lips brought to heights of shape (..., n), or as near as their inserts allow. [m]"""
        return np.clip(height, self.low, self.high)

    def turns(self, height: Array) -> Array:
        """Turns to `brought(height)`, of shape (..., n); NaN where the clock is unknown. [rad]"""
        move = self.brought(height) - self.lip
        turned = angle_for_move(self.angle, np.where(self.adjustable, self.offset, 1.0), move)
        return np.where(self.adjustable, turned - self.angle, 0.0)

    def turned(self, turn: Array) -> Array:
        """Lips after turns of shape (..., n) of inserts whose clocks are known. [m]"""
        rise = lip_rise(self.angle + turn, self.offset) - lip_rise(self.angle, self.offset)
        return self.lip + rise

    def goal(self, height: float, wanted: Array) -> Goal:
        """What a goal asks for, `wanted` (n,) being each lip's height over it. [m]"""
        heights = height + wanted
        turning = float(np.abs(self._effort(heights)).sum())
        return Goal(
            height=height, reached=int(self.allows(heights)[self.uncapped].sum()), turning=turning
        )

    def least_turning(self, wanted: Array) -> Goal:
        """The goal that most outlets can reach, with the least turning among those.

        Parameters
        ----------
        wanted : ndarray, shape (n,)
            Wanted height of each lip over the goal. [m]
        """
        return self.goal(float(self.least_turning_height(wanted)), wanted)

    def least_turning_height(self, wanted: Array) -> Array:
        """Height of that goal over still water, for each box. [m] (...)

        Parameters
        ----------
        wanted : ndarray, shape (..., n)
            Wanted height of each lip over the goal. [m]
        """
        ends = np.stack([self.lip, self.low, self.high], -2) - wanted[..., None, :]
        # a capped outlet has no say: the highest end of the others stands in for its own
        ends = np.where(self.uncapped[..., None, :], ends, -np.inf)
        ends = ends.reshape(*ends.shape[:-2], -1)
        most = ends.max(-1)
        ends = np.where(ends > -np.inf, ends, most[..., None])
        between = np.linspace(ends.min(-1), most, _GRID, axis=-1)
        goals = np.concatenate([ends, between], -1)
        # goals before boxes, so that what is known of a box serves all of its goals
        heights = np.moveaxis(goals, -1, 0)[..., None] + wanted
        reached = self.allows(heights).sum(-1)
        turning = np.abs(self._effort(heights)).sum(-1)
        turning[reached < reached.max(0)] = np.inf
        best = np.argmin(turning, axis=0)
        result: Array = np.take_along_axis(goals, best[..., None], -1)[..., 0]
        return result

    def highest(self, wanted: Array) -> Goal:
        """The goal that practice takes: the highest lip, to which the others are turned up.

        Parameters
        ----------
        wanted : ndarray, shape (n,)
            Wanted height of each lip over the goal. [m]
        """
        return self.goal(float((self.lip - wanted)[self.uncapped].max()), wanted)

    def highest_for_all(self, wanted: Array) -> Goal | None:
        """The highest goal that every outlet can reach; None where there is no such height.

        Parameters
        ----------
        wanted : ndarray, shape (n,)
            Wanted height of each lip over the goal. [m]
        """
        low = float((self.low - wanted)[self.uncapped].max())
        high = float((self.high - wanted)[self.uncapped].min())
        return self.goal(high, wanted) if low <= high + _ROUNDING else None

    def _effort(self, heights: Array) -> Array:
        """Turns, by their mean rate where the clock is unknown. [rad]"""
        mean_rate = np.pi / (2.0 * np.where(self.adjustable, self.offset, 1.0))
        by_rate = (self.brought(heights) - self.lip) * mean_rate
        return np.where(self.adjustable & np.isnan(self.angle), by_rate, self.turns(heights))
