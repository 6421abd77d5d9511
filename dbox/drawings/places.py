"""Where do the cards of the outlets go, so that none lies on another and no two leaders cross?

Cards stand left of the plan, over it and right of it. Going clockwise from the inlet, outlets and
cards come in the same order.
"""

from dataclasses import dataclass

import numpy as np

from dbox.drawings.cards import GAP, TEXT_WIDTH, Face, card_width
from dbox.drawings.lettering import spread_out
from dbox.drawings.plan import WALL, Mouth, Plan, Point
from dbox.errors import DomainError

_UPWARD = 0.9
_NEAR, _LANE, _APART = 0.08, 0.06, 0.04
_LEFT_ENDS, _RIGHT_BEGINS = 0.7 * np.pi, 1.3 * np.pi


@dataclass(frozen=True)
class Area:
    """Part of a sheet. [in]"""

    left: float
    right: float
    bottom: float
    top: float


@dataclass(frozen=True)
class Slot:
    """The place of one card.

    Parameters
    ----------
    face : Face
        Its clock face.
    text_left : float
        Left edge of its words. [in]
    leader : tuple of points
        The line from the outlet to the face. [in]
    """

    face: Face
    text_left: float
    leader: tuple[Point, ...]


def room_over(area: Area, radius: float) -> int:
    """How many cards with a face of a radius [in] fit over the plan, between those beside it."""
    free = area.right - area.left - 2.0 * card_width(radius) - 2.0 * radius
    return 1 + int(free / (card_width(radius) + _APART))


def arrange(
    mouths: list[Mouth], plan: Plan, area: Area, radius: float, height: float
) -> list[Slot]:
    """Find a place for the card of every outlet.

    Parameters
    ----------
    mouths : list of n Mouth
        Where the outlets leave the box.
    plan : Plan
        The box on paper.
    area : Area
        The part of the sheet for plan and cards; its top row is for cards alone.
    radius, height : float
        Of a clock face, and of a card. [in]

    Returns
    -------
    list of n Slot
        One per outlet.
    """
    beside = int((area.top - area.bottom) / height + 1e-9) - 1
    order = sorted(range(len(mouths)), key=lambda i: (_side(mouths[i]), mouths[i].bearing))
    wanted = [_side(mouth) for mouth in mouths]
    counts = shared_out(
        [wanted.count(s) for s in range(3)], [beside, room_over(area, radius), beside]
    )
    left, over = order[: counts[0]], order[counts[0] : counts[0] + counts[1]]
    right = order[counts[0] + counts[1] :]
    lanes = _Lanes.fitted(mouths, plan, area, radius, height, (left, right[::-1]))
    slots: dict[int, Slot] = {}
    # from the lowest card up: clockwise on the left, anticlockwise on the right
    for outlets, sign, edge in ((left, 1, area.left), (right[::-1], -1, area.right)):
        wishes = _rising([mouths[i].end[1] for i in outlets])
        ends = area.bottom + 0.5 * height, area.top - 1.5 * height
        face_x = edge + sign * (TEXT_WIDTH + GAP + radius)
        for i, y in zip(outlets, spread_out(wishes, height, *ends), strict=True):
            face = Face(face_x, y, radius)
            text_left = edge if sign > 0 else edge - TEXT_WIDTH
            slots[i] = Slot(face, text_left, lanes.beside(i, face))
    wishes = _rising([mouths[i].end[0] for i in over])
    ends = area.left + card_width(radius) + radius, area.right - card_width(radius) - radius
    for i, x in zip(over, spread_out(wishes, card_width(radius) + _APART, *ends), strict=True):
        face = Face(x, area.top - 0.5 * height, radius)
        knee = (x, face.y - 0.5 * height)
        leader = (mouths[i].end, lanes.clear(i), knee, (x, face.y))
        slots[i] = Slot(face, x + radius + GAP, leader)
    return [slots[i] for i in range(len(mouths))]


@dataclass(frozen=True)
class _Lanes:
    """Lanes over the far wall, in which leaders run to cards beside the plan.

    The outermost outlet has the lowest card and the lowest lane, so that none crosses another.
    """

    mouths: list[Mouth]
    plan: Plan
    step: float
    lane: dict[int, int]

    @classmethod
    def fitted(
        cls,
        mouths: list[Mouth],
        plan: Plan,
        area: Area,
        radius: float,
        height: float,
        sides: tuple[list[int], list[int]],
    ) -> "_Lanes":
        """Give lanes to the outlets of the far wall whose cards are beside the plan."""
        upward = [[i for i in side if mouths[i].way[1] >= _UPWARD] for side in sides]
        count = max(map(len, upward))
        lane = {i: n for side in upward for n, i in enumerate(side)}
        beside = 0.5 * (area.right - area.left - plan.across) - WALL - card_width(radius) - _NEAR
        top = max((mouths[i].end[1] for i in lane), default=area.bottom)
        over = area.top - height - top - 2.0 * _NEAR
        return cls(mouths, plan, min(_LANE, beside / max(count, 1), over / max(count, 1)), lane)

    def clear(self, outlet: int) -> Point:
        """Where a leader is clear of all lanes."""
        mouth = self.mouths[outlet]
        if mouth.way[1] < _UPWARD or not self.lane:
            return _out(mouth, _NEAR)
        return mouth.end[0], mouth.end[1] + _NEAR + self.step * (max(self.lane.values()) + 1)

    def beside(self, outlet: int, face: Face) -> tuple[Point, ...]:
        """Leader to a card beside the plan; from the far wall, over or round the box's corner."""
        mouth, sign = self.mouths[outlet], 1.0 if face.x > self.plan.middle[0] else -1.0
        arrival = (face.x - sign * face.radius, face.y), (face.x, face.y)
        clear = self.clear(outlet)
        if outlet not in self.lane or face.y > clear[1]:
            return mouth.end, clear, *arrival
        wall = self.plan.middle[0] + sign * (0.5 * self.plan.across + WALL)
        lane = _NEAR + self.step * self.lane[outlet]
        x, y = mouth.end
        return (x, y), (x, y + lane), (wall + sign * lane, y + lane), *arrival


def _out(mouth: Mouth, distance: float) -> Point:
    (x, y), (u, v) = mouth.end, mouth.way
    return x + distance * u, y + distance * v


def _side(mouth: Mouth) -> int:
    """Where its card would best be: 0 on the left, 1 over the plan, 2 on the right."""
    if mouth.bearing < _LEFT_ENDS and mouth.way[1] < _UPWARD:
        return 0
    return 2 if mouth.bearing > _RIGHT_BEGINS and mouth.way[1] < _UPWARD else 1


def shared_out(counts: list[int], room: list[int]) -> list[int]:
    """Move cards that do not fit to a neighbour that has room, keeping the order round the box.

    Parameters
    ----------
    counts : list of int
        Cards wanted on the left, over the plan and on the right.
    room : list of int
        Cards that fit there.

    Raises
    ------
    DomainError
        Where there is no room for all.

    >>> shared_out([0, 10, 0], [4, 3, 4])
    [4, 3, 3]
    """
    if sum(counts) > sum(room):
        raise DomainError(f"{sum(counts)} outlets: the sheet has room for {sum(room)}")
    counts = list(counts)
    while any(c > r for c, r in zip(counts, room, strict=True)):
        if counts[1] > room[1]:
            free = [room[side] - counts[side] for side in (0, 2)]
            counts[1] -= 1
            counts[0 if free[0] >= free[1] else 2] += 1
        else:
            counts[0 if counts[0] > room[0] else 2] -= 1
            counts[1] += 1
    return counts


def _rising(wishes: list[float]) -> list[float]:
    """Wishes that keep their order when they are sorted."""
    return [float(w) for w in np.maximum.accumulate(wishes)] if wishes else []
