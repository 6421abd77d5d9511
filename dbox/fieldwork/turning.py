"""How turning inserts with off-centre holes moves their lips, and how far it reaches.

lip = pipe centre - e cos(a) - r, with e the hole's offset, r its radius and a the angle of the
hole from straight down, clockwise as seen from inside the box. Full lift is 2 e. The lip hardly
moves near top and bottom and moves most, by e per radian, a quarter turn from them.

One box or many: the last axis of every array is outlets, any leading axes are boxes.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.site import Site


def lip_rise(angle: ArrayLike, offset: ArrayLike) -> Array:
    """Height of the lip over where it stands with the hole a quarter turn from down.

    angle [rad], offset [m] -> [m].
    """
    return -np.asarray(offset, np.float64) * np.cos(angle)


def angle_for_move(angle: ArrayLike, offset: ArrayLike, move: ArrayLike) -> Array:
    """Angle at which the lip stands `move` higher, reached by the smaller turn.

    angle [rad], offset [m], move [m] -> [rad].

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


QUARTER_HOUR = float(np.pi / 24)
"""A quarter of an hour on the clock face. [rad] (exact)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class TurnTable:
    """Lip heights of inserts that are alike; arrays are read-only."""

    labels: tuple[str, ...]  # Outlets that have such an insert.
    offset: float  # Hole centre from pipe centre. [m]
    angle: Array  # (steps,) From straight down to straight up; either way round is the same. [rad]
    rise: Array  # (steps,) Lip over its lowest place. [m]


def turn_tables(site: Site, *, step: float = QUARTER_HOUR) -> tuple[TurnTable, ...]:
    """Tables for every insert of a site that can be turned; step [rad]."""
    if not 0 < step <= np.pi:
        raise DomainError(f"the step of a turn table is {np.degrees(step):g} deg; give 1 to 180")
    alike: dict[float, list[str]] = {}
    for outlet in site.outlets:
        if outlet.hole_offset and not outlet.capped:
            alike.setdefault(outlet.hole_offset, []).append(outlet.label)
    angle = np.append(np.arange(0.0, np.pi - 1e-9, step), np.pi)
    rises = {offset: offset + lip_rise(angle, offset) for offset in alike}
    freeze(angle, *rises.values())
    return tuple(
        TurnTable(labels=tuple(labels), offset=offset, angle=angle, rise=rises[offset])
        for offset, labels in alike.items()
    )


_GRID = 2001
"""Heights tried between the ends of all reaches. [-] (numerical)"""

_ROUNDING = 1e-9
"""What a height may lie beyond a reach and count as within. [m] (rounding)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Goal:
    """A height for the lips and what it asks for."""

    height: float  # Height over still water that the wanted offsets are counted from. [m]
    reached: int  # Outlets that can be brought to it.
    turning: float  # Sum of all turns, those that stop short included. [rad]


@dataclass(frozen=True, kw_only=True, eq=False)
class Reach:
    """Where each lip stands and where its insert could bring it."""

    uncapped: BoolArray  # (..., n) Whether the outlet is open.
    lip: Array  # (..., n) Present lip over still water; 0 where capped. [m]
    # (..., n) Lowest and highest lip its insert can give: both the lip itself where it cannot turn,
    # and without limit where capped. [m]
    low: Array
    high: Array
    angle: Array  # (..., n) Angle of the hole from straight down; NaN where unknown. [rad]
    offset: Array  # (..., n) Hole centre from pipe centre; 0 where the insert cannot be turned. [m]

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

        height [m], hole_offset [m], clocks [rad].
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
        reached = int(self.allows(heights)[self.uncapped].sum())
        return Goal(height=height, reached=reached, turning=turning)

    def least_turning(self, wanted: Array) -> Goal:
        """The goal that most outlets can reach, with the least turning among those; wanted [m]."""
        return self.goal(float(self.least_turning_height(wanted)), wanted)

    def least_turning_height(self, wanted: Array) -> Array:
        """Height of that goal over still water, for each box. [m] (...); wanted [m]."""
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

        wanted [m].
        """
        return self.goal(float((self.lip - wanted)[self.uncapped].max()), wanted)

    def highest_for_all(self, wanted: Array) -> Goal | None:
        """The highest goal that every outlet can reach; None where there is no such height.

        wanted [m].
        """
        low = float((self.low - wanted)[self.uncapped].max())
        high = float((self.high - wanted)[self.uncapped].min())
        return self.goal(high, wanted) if low <= high + _ROUNDING else None

    def _effort(self, heights: Array) -> Array:
        """Turns, by their mean rate where the clock is unknown. [rad]"""
        mean_rate = np.pi / (2.0 * np.where(self.adjustable, self.offset, 1.0))
        by_rate = (self.brought(heights) - self.lip) * mean_rate
        return np.where(self.adjustable & np.isnan(self.angle), by_rate, self.turns(heights))


LEAST_MOVE = 1e-6
"""What counts as a move of a lip. [m] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Turning:
    """The work at the inserts; arrays are read-only, one entry per outlet."""

    move: Array  # (n,) Wanted rise of each lip; 0 where capped. [m]
    # (n,) Rounded turn, clockwise seen from inside the box; NaN where the clock is unknown. [rad]
    turn: Array
    angle_before: Array  # (n,) Angle of the hole from straight down; NaN where unknown. [rad]
    angle_after: Array  # (n,) The same once turned. [rad]
    lip_after: Array  # (n,) Lip once turned; inf where capped. [m]
    reachable: BoolArray  # (n,) Whether the lip can be brought to its height; True where capped.
    order: tuple[int, ...]  # Outlets in the order of work.
    # (steps,) Where still water stands after each step, topped up until it just spills. [m]
    still_level: Array


def turn_to(reach: Reach, wanted: Array, hand_step: float, *, hold: bool) -> Turning:
    """Turn every insert as near to its wanted lip as reach and hand allow.

    wanted [m], hand_step [rad].
    """
    turn, lip_after = hand_turns(reach, wanted, hand_step, hold=hold)
    order, still = _order(reach, lip_after)
    move = np.where(reach.uncapped, wanted - reach.lip, 0.0)
    reachable, angle = reach.allows(wanted), reach.angle
    angle_after = (angle + turn + np.pi) % (2.0 * np.pi) - np.pi
    freeze(move, turn, angle, angle_after, lip_after, reachable, still)
    return Turning(
        move=move,
        turn=turn,
        angle_before=angle,
        angle_after=angle_after,
        lip_after=lip_after,
        reachable=reachable,
        order=order,
        still_level=still,
    )


def hand_turns(
    reach: Reach, wanted: Array, hand_step: float, *, hold: bool | BoolArray
) -> tuple[Array, Array]:
    """Turns that a hand can set towards wanted lips, and the lips that they give.

    wanted [m], hand_step [rad] -> [rad], [m].
    """
    turn = np.round(reach.turns(wanted) / hand_step) * hand_step + 0.0
    turn = np.where(np.asarray(hold) & ~np.isnan(turn), 0.0, turn)
    by_ruler = np.where(hold, reach.lip, reach.brought(wanted))
    known = reach.adjustable & ~np.isnan(reach.angle)
    # where the clock is unknown the lip is set by the ruler, not by the clock
    after = np.where(known, reach.turned(turn), np.where(reach.adjustable, by_ruler, reach.lip))
    return turn, np.where(reach.uncapped, after, np.inf)


def drawn_after(reach: Reach, work: Turning, drawn: Array, hand_step: float, seed: int) -> Array:
    """Drawn lips moved along with the measured ones, each turn missing by up to half a step.

    drawn [m], hand_step [rad] -> [m].
    """
    before = np.where(reach.uncapped, drawn, 0.0) - reach.lip
    moved = np.abs(np.nan_to_num(work.turn)) > 0
    miss = np.random.default_rng([seed, 1]).uniform(-0.5, 0.5, drawn.shape) * hand_step
    shift = np.where(moved, reach.turned(work.turn + miss) - reach.turned(work.turn), 0.0)
    return work.lip_after + np.where(reach.uncapped, before, 0.0) + shift


def _order(reach: Reach, lip_after: Array) -> tuple[tuple[int, ...], Array]:
    """Raise the lowest first, then lower the highest first; still water after each step."""
    lips = np.where(reach.uncapped, reach.lip, np.inf)
    change = np.where(reach.uncapped, lip_after, 0.0) - reach.lip
    rising = np.argsort(lips, kind="stable")
    up = [int(i) for i in rising if change[i] > LEAST_MOVE]
    down = [int(i) for i in rising[::-1] if change[i] < -LEAST_MOVE]
    order, still = (*up, *down), []
    for outlet in order:
        lips[outlet] = lip_after[outlet]
        still.append(lips.min())
    return order, np.array(still)
