"""What is to be turned or how the box is to be bedded, on one sheet.

The face shows where the hole stands now (ring) and where it is to stand (disc), and the way to
turn the insert. The words say the same, so that nothing rests on the picture alone.

Cards stand left of the plan, over it and right of it. Going clockwise from the inlet, outlets and
cards come in the same order.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Arc, Circle, Polygon

from dbox.drawings.plan import (
    LEAST_SLOPE,
    WALL,
    Mouth,
    Plan,
    Point,
    draw_fall,
    draw_lifts,
    draw_plan,
    steepness,
    worth_lifting,
)
from dbox.drawings.style import (
    BODY,
    HAIR,
    INK,
    LEADER,
    MEDIUM,
    MOST_OUTLETS,
    SMALL,
    THICK,
    THIN,
    Sheet,
    line_height,
    pens,
    spread_out,
    text_width,
    told_apart,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling import Levelling, Lift
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Box, Site
from dbox.report.wording import joined
from dbox.units import FOOT, clock_text, inches, inches_mm, millimetres, turn_text
from dbox.units import percent_text as percent

_HOLE_AT, _ARROW_AT = 0.56, 0.83
_RING, _DISC = 0.19, 0.115
_FAILS = "cannot reach it"
_NUMBER_ROOM = 0.26
_SHORTEST_ARROW = np.radians(35.0)

TEXT_WIDTH, GAP = 1.5, 0.1
"""Width of the words beside a face, and their distance from it. [in]"""


def card_width(radius: float) -> float:
    """Width of a card with a face of a radius. [in]"""
    return 2.0 * radius + GAP + TEXT_WIDTH


@dataclass(frozen=True)
class Face:
    """A clock face on paper."""

    x: float  # Its centre. [in]
    y: float  # Its centre. [in]
    radius: float  # Its size. [in]

    def at(self, angle: float, part: float) -> tuple[float, float]:
        """The point at an angle from straight down and a part of the radius. [in]"""
        reach = part * self.radius
        return self.x - reach * np.sin(angle), self.y - reach * np.cos(angle)


def words(levelling: Levelling, outlet: int) -> list[str]:
    """What is to be done at an outlet, in a few short lines."""
    here = levelling.site.outlets[outlet]
    if here.capped:
        return ["no flow"]
    now, turn = levelling.angle_before[outlet], levelling.turn[outlet]
    fails = cannot_reach(levelling, outlet)
    lip = float(levelling.before.lips.height[outlet])
    change = levelling.move[outlet] if fails else levelling.lip_after[outlet] - lip
    move = _move_words(float(change))
    clock = "clock not known" if np.isnan(now) else clock_text(now)
    if not here.hole_offset:
        stands = f"lip {inches_mm(lip, signed=True)}"
        lines = [stands, move] if fails else [stands]
    elif outlet not in levelling.order:
        lines = [clock, move if fails else "leave it"]
    elif np.isnan(turn):
        lines = [clock, move, "by the ruler"]
    else:
        after = clock_text(levelling.angle_after[outlet])
        lines = [f"{clock} → {after}", turn_text(float(turn)).replace(" deg", "°"), move]
    return [*lines, _FAILS] if fails else lines


def cannot_reach(levelling: Levelling, outlet: int) -> bool:
    """Whether an outlet is one of those for which the box must be bedded again."""
    return levelling.verdict == "re-bed" and not levelling.reachable[outlet]


def _move_words(move: float) -> str:
    size = abs(move)
    amount = inches(size) if inches(size) != "0 in" else "<1/16 in"
    return f"{'raise' if move > 0 else 'lower'} {amount} ({millimetres(size)})"


def draw_card(
    sheet: Sheet, levelling: Levelling, outlet: int, face: Face, left: float, height: float
) -> None:
    """Draw the face, or a plate if nothing can be turned, and write words beside it.

    left [in], height [in].
    """
    here = levelling.site.outlets[outlet]
    if here.capped:
        _draw_plate(sheet, face, "capped")
    elif not here.hole_offset:
        _draw_plate(sheet, face, "fixed")
    else:
        draw_face(sheet, levelling, outlet, face)
    step, lines = line_height(SMALL), words(levelling, outlet)
    number = order_number(levelling, outlet)
    indent = _NUMBER_ROOM if number else 0.0
    lines_left = int(height / step) - len(lines)
    size, label = _label(levelling, outlet, TEXT_WIDTH - indent, min(max(lines_left, 1), 2))
    label_height = (label.count("\n") + 1) * line_height(size)
    top = face.y + 0.5 * (label_height + len(lines) * step)
    if number:
        _draw_number(sheet, left + 0.1, top - 0.075, number)
    sheet.write(left + indent, top, label, size, weight="bold")
    for i, line in enumerate(lines):
        weight = "bold" if line == _FAILS else "normal"
        sheet.write(left, top - label_height - i * step, line, weight=weight)


def order_number(levelling: Levelling, outlet: int) -> int:
    """Place of an outlet in the order of work, from 1; 0 where there is nothing to be done."""
    if levelling.verdict != "adjust" or outlet not in levelling.order:
        return 0
    return levelling.order.index(outlet) + 1


def _label(levelling: Levelling, outlet: int, room: float, most: int) -> tuple[float, str]:
    """Size of the letters of a label, and the label in as many lines as it may have."""
    labels = levelling.before.labels
    if text_width(labels[outlet], BODY, "bold") <= room:
        return BODY, labels[outlet]
    cut = ["\n".join(wrap(label, room, SMALL, "bold", most)) for label in labels]
    return SMALL, told_apart(labels, cut)[outlet]


def _draw_plate(sheet: Sheet, face: Face, text: str) -> None:
    plate: dict[str, Any] = {"boxstyle": "square,pad=0.5", "facecolor": "white", "linewidth": THIN}
    sheet.write(face.x, face.y, text, ha="center", va="center", bbox=plate)


def _draw_number(sheet: Sheet, x: float, y: float, number: int) -> None:
    sheet.draw(Circle((x, y), 0.1, facecolor=INK, edgecolor="none", zorder=6))
    look: dict[str, Any] = {
        "ha": "center",
        "va": "center_baseline",
        "color": "white",
        "weight": "bold",
        "zorder": 7,
    }
    sheet.write(x, y, f"{number}", **look)


def draw_face(sheet: Sheet, levelling: Levelling, outlet: int, face: Face) -> None:
    """Draw the clock face of an outlet whose insert can be turned."""
    rim = Circle((face.x, face.y), face.radius, facecolor="white", edgecolor=INK, linewidth=MEDIUM)
    sheet.draw(rim)
    for hour in range(12):
        angle, quarter = hour * np.pi / 6.0, hour % 3 == 0
        ends = np.array([face.at(angle, 1.0), face.at(angle, 0.9 if not quarter else 0.86)])
        sheet.page.plot(*ends.T, color=INK, linewidth=MEDIUM if quarter else HAIR)
    now, turn = levelling.angle_before[outlet], levelling.turn[outlet]
    if np.isnan(now):
        sheet.write(face.x, face.y, "?", 12.0, ha="center", va="center_baseline")
    else:
        label = levelling.site.outlets[outlet].label
        _draw_hole(sheet, face, float(now), f"now {label}", _RING, "white")
        _draw_hole(sheet, face, float(now + turn), f"to be {label}", _DISC, INK)
        if turn:
            _draw_turn(sheet, face, float(now), float(turn))
    if cannot_reach(levelling, outlet):
        _draw_cross(sheet, face, levelling.site.outlets[outlet].label)


def _draw_hole(sheet: Sheet, face: Face, angle: float, name: str, size: float, fill: str) -> None:
    hole = Circle(face.at(angle, _HOLE_AT), size * face.radius, facecolor=fill, edgecolor=INK)
    hole.set(linewidth=MEDIUM, zorder=3, label=name)
    sheet.draw(hole)


def _draw_turn(sheet: Sheet, face: Face, start: float, turn: float) -> None:
    """An arrow round the face that ends where the hole is to be."""
    end, sign = start + turn, np.sign(turn)
    # a turn too small to be seen gets a longer tail; its head is still where the hole is to be
    tail = end - sign * max(abs(turn), _SHORTEST_ARROW)
    neck = end - sign * np.radians(14.0)
    # Arc counts anticlockwise from three o'clock, the hole clockwise from six
    angles = sorted(-90.0 - np.degrees([tail, neck]))
    span = 2.0 * _ARROW_AT * face.radius
    sheet.draw(
        Arc(
            (face.x, face.y),
            span,
            span,
            theta1=angles[0],
            theta2=angles[1],
            linewidth=THIN,
            color=INK,
        )
    )
    head = [face.at(end, _ARROW_AT), face.at(neck, _ARROW_AT - 0.1), face.at(neck, _ARROW_AT + 0.1)]
    sheet.draw(Polygon(head, facecolor=INK, edgecolor="none", zorder=4))


def _draw_cross(sheet: Sheet, face: Face, label: str) -> None:
    for angle in (np.pi / 4.0, -np.pi / 4.0):
        ends = np.array([face.at(angle, 1.0), face.at(angle + np.pi, 1.0)])
        sheet.page.plot(*ends.T, color=INK, linewidth=THICK, zorder=8, label=f"cross {label}")


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
    """Find a place for the card of every outlet; radius [in], height [in]."""
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


_MOST_ACROSS = 14
_AISLE, _OVER, _KEY_ROOM = 0.2, 0.35, 0.25
_INLET_ROOM, _CARD_HEIGHT = 0.44, 0.98


@pens
def level_figure(levelling: Levelling) -> Figure:
    """Draw the box from above with what is to be done at each outlet."""
    outlets = levelling.site.outlets
    n = len(outlets)
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets: a drawing holds at most {MOST_OUTLETS}")
    sheet = Sheet.blank(across=n <= _MOST_ACROSS)
    sheet.head(levelling.site.title or "How to level a distribution box", headline(levelling))
    sheet.foot(_notes(levelling))
    _draw_key(sheet, ordered=any(order_number(levelling, i) for i in range(n)))
    area = Area(sheet.left, sheet.right, sheet.bottom, sheet.top)
    radius = 0.38 if n <= _MOST_ACROSS else 0.3
    rows = 1 + math.ceil(max(n - room_over(area, radius), 0) / 2)
    height = min(_CARD_HEIGHT, (area.top - area.bottom) / rows)
    plan = _plan(levelling.site, area, card_width(radius) + _AISLE, height)
    mouths = plan.mouths(outlets)
    slots = arrange(mouths, plan, area, radius, height)
    draw_plan(sheet, plan, outlets, mouths)
    if levelling.plane:
        draw_fall(sheet, plan, levelling.plane, aside=levelling.lift is not None)
    if levelling.lift:
        draw_lifts(sheet, plan, levelling.lift)
    for i, slot in enumerate(slots):
        name = f"leader {outlets[i].label}"
        sheet.page.plot(*zip(*slot.leader, strict=True), zorder=1, label=name, **LEADER)
        draw_card(sheet, levelling, i, slot.face, slot.text_left, height)
    return sheet.figure


def headline(levelling: Levelling) -> str:
    """Verdict and goal in a sentence or two."""
    height = levelling.goal.height
    goal = f"{inches_mm(abs(height))} {'under' if height < 0 else 'over'} still water"
    if levelling.verdict == "nothing to do":
        return _why_nothing(levelling.before)
    lips = "every lip"
    if levelling.offset.any():
        lips = f"the lowest lip, the others above it to meet {levelling.design_flow},"
    if levelling.verdict == "adjust":
        if not levelling.order:
            return f"Adjust {lips} to {goal}: each is as near already as a hand can turn it."
        return f"Adjust: turn the inserts to bring {lips} to {goal}."
    out = levelling.reachable.size - int(levelling.reachable.sum())
    fault = f"Re-bed: {out} of {levelling.reachable.size} outlets cannot bring {lips} to {goal}."
    if levelling.lift is None:
        return fault
    return f"{fault} {_lift_words(levelling.lift)}"


def _why_nothing(before: Assessment) -> str:
    if all(verdict == "within" for verdict in before.verdicts):
        return "Nothing to do: every flow is within the tolerance already."
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return (
            "Nothing to turn: the lips are within the tolerance, but the jet of the inlet decides "
            f"at {before.jet_flows}."
        )
    return "Nothing to do: the ruler cannot tell these lips apart any better."


def _lift_words(lift: Lift) -> str:
    parts = []
    for slope, amount, up, down in (
        (lift.slope_along, lift.far_end, "the end opposite the inlet", "the inlet end"),
        (lift.slope_across, lift.right_side, "the right side", "the left side"),
    ):
        if not worth_lifting(amount, slope):
            continue
        per_foot = f"{inches_mm(abs(slope) * FOOT)} for every foot"
        by = per_foot if amount is None else inches_mm(abs(amount))
        parts.append(f"{up if slope > 0 else down} {by}")
    return f"Lift {' and '.join(parts)}, then read again." if parts else ""


def _notes(levelling: Levelling) -> list[str]:
    notes = [_plan_words(levelling), *joined(levelling.warnings)]
    if levelling.before.jet_decides.any():
        notes.append(f"at {levelling.before.jet_flows} the jet of the inlet decides; {CURE}")
    if levelling.verdict == "re-bed":
        notes.append("the turns are the most that the inserts can do as the box stands now")
    if levelling.lift and levelling.lift.still_short:
        names = ", ".join(levelling.site.outlets[i].label for i in levelling.lift.still_short)
        notes.append(
            f"even in the levelled box outlet {names} cannot reach: set its pipe or insert anew"
        )
    elif levelling.lift:
        notes.append("in the levelled box every insert can reach")
    return notes


def _plan(site: Site, area: Area, beside: float, over: float) -> Plan:
    """Fit the plan between the cards."""
    width = area.right - area.left - 2.0 * beside
    top, bottom = area.top - over - _OVER, area.bottom + _INLET_ROOM
    middle = (0.5 * (area.left + area.right), 0.5 * (top + bottom))
    return Plan.fitted(site.box, site.outlets, width, top - bottom, middle)


def _draw_key(sheet: Sheet, *, ordered: bool) -> None:
    """What ring, disc and number mean, over the notes."""
    y, x = sheet.bottom + 0.08, sheet.left
    entries = [(0.07, "white", "hole now"), (0.045, INK, "hole to be")]
    if ordered:
        entries.append((0.1, INK, "order of work"))
        number_x = x + 0.1 + sum(_key_width(meaning) for *_, meaning in entries[:2])
        look: dict[str, Any] = {"color": "white", "weight": "bold", "ha": "center"}
        sheet.write(number_x, y, "1", va="center_baseline", **look)
    for size, fill, meaning in entries:
        sheet.draw(Circle((x + 0.1, y), size, facecolor=fill, edgecolor=INK, linewidth=MEDIUM))
        sheet.write(x + 0.26, y, meaning, va="center_baseline")
        x += _key_width(meaning)
    sheet.write(x, y, "clock faces as seen from inside the box", va="center_baseline")
    sheet.bottom += _KEY_ROOM


def _key_width(meaning: str) -> float:
    return 0.56 + text_width(meaning, SMALL)


def _plan_words(levelling: Levelling) -> str:
    """What the plan is: its inlet, its size, its tilt, and what is not as it is at the box."""
    box, plane = levelling.site.box, levelling.plane
    words = ["the box from above" + (f", inlet {box.inlet}" if box.inlet else ""), _size_words(box)]
    if plane and steepness(plane) >= LEAST_SLOPE:
        fall = f"{inches(steepness(plane) * FOOT)} per ft ({percent(steepness(plane))})"
        words.append(f"black arrow: it falls {fall} this way")
    if levelling.lift:
        words.append("hollow arrows: lift here")
    if any(o.position is None for o in levelling.site.outlets):
        words.append("not all positions are given, so outlets are drawn in their order only")
    return "; ".join(words)


def _size_words(box: Box) -> str:
    if not box.inside:
        return "inside size not given, not to scale"
    if len(box.inside) == 1:
        return f"inside diameter {inches_mm(box.inside[0])}"
    along, across = box.inside
    return f"inside {inches_mm(across)} across, {inches_mm(along)} along the inlet"
