"""How turning inserts with off-centre holes moves their lips, and how far it reaches.

lip = pipe centre - e cos(a) - r, with e the hole's offset, r its radius and a the angle of the
hole from straight down, clockwise as seen from inside the box. Full lift is 2 e. The lip hardly
moves near top and bottom and moves most, by e per radian, a quarter turn from them.

One box or many: the last axis of every array is outlets, any leading axes are boxes.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, Result, with_gaps
from dbox.errors import DomainError
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


USUAL_OFFSET = 0.0127
"""Offset of a hole that nobody measured, for how far it may reach. [m] (1/2 in, judgement)"""

QUARTER_HOUR = float(np.pi / 24)
"""A quarter of an hour on the clock face. [rad] (exact)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class TurnTable(Result):
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
        if outlet.hole_offset and outlet.hole_offset < np.inf and not outlet.capped:
            alike.setdefault(outlet.hole_offset, []).append(outlet.label)
    angle = np.append(np.arange(0.0, np.pi - 1e-9, step), np.pi)
    return tuple(
        TurnTable(labels=tuple(labels), offset=e, angle=angle, rise=e + lip_rise(angle, e))
        for e, labels in alike.items()
    )


_ROUNDING = 1e-9
"""What a height may lie beyond a reach and count as within. [m] (rounding)"""


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
    def of(cls, site: Site, height: Array) -> "Reach":
        """Reach of the outlets of a site with their lips over still water; height [m]."""
        return cls.of_lips(
            np.where([o.capped for o in site.outlets], np.inf, height),
            np.array([o.hole_offset or 0.0 for o in site.outlets]),
            with_gaps([o.clock for o in site.outlets]),
        )

    @classmethod
    def of_lips(cls, height: Array, hole_offset: Array, clocks: Array) -> "Reach":
        """Reach of lips with the inserts that they belong to.

        height [m], hole_offset [m], clocks [rad].
        """
        uncapped, unknown = height < np.inf, np.isinf(hole_offset)
        # what nobody measured is taken as usual
        hole_offset = np.where(unknown, USUAL_OFFSET, hole_offset)
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
            # and set by the rule
            angle=np.where(unknown, np.nan, angle),
            offset=offset,
        )

    @property
    def adjustable(self) -> BoolArray:
        """Whether the insert can be turned. (..., n)."""
        return self.offset > 0

    def allows(self, height: Array) -> BoolArray:
        """Whether each lip can be brought to a height of shape (..., n). [m]"""
        return (height >= self.low - _ROUNDING) & (height <= self.high + _ROUNDING)

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


LEAST_MOVE = 1e-6
"""What counts as a move of a lip. [m] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Turning(Result):
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
    # (steps,) Height of the lip once turned, over the water as it stands before the step. [m]
    lip_over_water: Array


def turn_to(reach: Reach, wanted: Array, hand_step: float, *, hold: BoolArray) -> Turning:
    """Turn every insert that is not held as near to its wanted lip as reach and hand allow.

    wanted [m], hand_step [rad].
    """
    turn, lip_after = hand_turns(reach, wanted, hand_step, hold=hold)
    order, still = _order(reach, lip_after)
    move = np.where(reach.uncapped, wanted - reach.lip, 0.0)
    reachable, angle = reach.allows(wanted), reach.angle
    angle_after = (angle + turn + np.pi) % (2.0 * np.pi) - np.pi
    # nobody adds water in between: it stays where it is, or runs out at a lip that goes below it
    water = np.minimum.accumulate([np.where(reach.uncapped, reach.lip, np.inf).min(), *still])
    over_water = lip_after[list(order)] - water[:-1]
    return Turning(
        move=move,
        turn=turn,
        angle_before=angle,
        angle_after=angle_after,
        lip_after=lip_after,
        reachable=reachable,
        order=order,
        still_level=still,
        lip_over_water=over_water,
    )


def hand_turns(
    reach: Reach, wanted: Array, hand_step: float, *, hold: BoolArray
) -> tuple[Array, Array]:
    """Turns that a hand can set towards wanted lips, and the lips that they give.

    wanted [m], hand_step [rad] -> [rad], [m].
    """
    turn = np.round(reach.turns(wanted) / hand_step) * hand_step + 0.0
    turn = np.where(hold & ~np.isnan(turn), 0.0, turn)
    by_ruler = np.where(hold, reach.lip, reach.brought(wanted))
    known = reach.adjustable & ~np.isnan(reach.angle)
    # where the clock is unknown the lip is set by the ruler, not by the clock
    after = np.where(known, reach.turned(turn), np.where(reach.adjustable, by_ruler, reach.lip))
    return turn, np.where(reach.uncapped, after, np.inf)


def _order(reach: Reach, lip_after: Array) -> tuple[tuple[int, ...], Array]:
    """Raise the lowest first, then lower the highest first; still water after each step."""
    lips = np.where(reach.uncapped, reach.lip, np.inf)
    change = np.where(reach.uncapped, lip_after, 0.0) - reach.lip
    # lips that are as high but for rounding go in the order of their outlets
    rising = np.argsort(np.round(lips, 9), kind="stable")
    up = [int(i) for i in rising if change[i] > LEAST_MOVE]
    down = [int(i) for i in rising[::-1] if change[i] < -LEAST_MOVE]
    order, still = (*up, *down), []
    for outlet in order:
        lips[outlet] = lip_after[outlet]
        still.append(lips.min())
    return order, np.array(still)


_TURNED_ENOUGH = 0.2
"""Fall of the cosine of a clock from which a turn tells the offset of its hole. [-] (judgement)"""


def learned_offset(before: Array, after: Array, rise: Array, unknown: BoolArray) -> float:
    """Offset of holes that nobody measured, from what their turns have done; inf: not told. [m]

    A lip rises by its offset times what the cosine of its clock falls by, over those that nobody
    touched; before [rad], after [rad], rise [m].
    """
    fall, still = np.cos(before) - np.cos(after), before == after
    turned = (np.abs(fall) > _TURNED_ENOUGH) & unknown
    if not (still & np.isfinite(rise)).any() or not (turned & np.isfinite(rise)).any():
        return np.inf
    learned = np.nanmedian((rise - np.nanmean(rise[still]))[turned] / fall[turned])
    return float(learned) if learned > 0 else np.inf
