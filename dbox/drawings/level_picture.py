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
    WALL,
    Mouth,
    Plan,
    draw_fall,
    draw_lifts,
    draw_plan,
    fall_told,
    steepness,
)
from dbox.drawings.style import (
    BODY,
    HAIR,
    INK,
    LEADER,
    MEDIUM,
    SMALL,
    THICK,
    THIN,
    WARNING,
    Point,
    Sheet,
    check_outlets,
    line_height,
    pens,
    short_labels,
    spread_out,
    text_width,
)
from dbox.errors import DomainError
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.site import Box
from dbox.lengths import Lengths
from dbox.report.level_report import (
    LEAST_SLOPE,
    inlet_cure,
    inlet_decides,
    lift_words,
    met_flow,
    reach_words,
    why_nothing,
)
from dbox.report.wording import joined
from dbox.units import clock_text, turn_text

_HOLE_AT, _ARROW_AT = 0.56, 0.83
_RING, _DISC = 0.19, 0.115
_FAILS = "cannot reach it"
_SHORTEST_ARROW, _HEAD = np.radians(35.0), np.radians(14.0)
_WHITE: dict[str, Any] = {
    "color": "white", "weight": "bold", "ha": "center", "va": "center_baseline", "zorder": 7
}  # fmt: skip
_PLATE: dict[str, Any] = {"boxstyle": "square,pad=0.5", "facecolor": "white", "linewidth": THIN}

TEXT_WIDTH, GAP = 1.5, 0.1
"""Width of the words beside a face, and their distance from it. [in]"""


def card_width(radius: float) -> float:
    """Width of a card with a face of a radius. [in]"""
    return 2.0 * radius + GAP + TEXT_WIDTH


@dataclass(frozen=True)
class Face:
    """A clock face on paper."""

    x: float  # Its centre. [in]
    y: float
    radius: float  # [in]

    def at(self, angle: float, part: float) -> Point:
        """The point at an angle from straight down and a part of the radius. [in]"""
        reach = part * self.radius
        return self.x - reach * np.sin(angle), self.y - reach * np.cos(angle)


@dataclass(frozen=True)
class Slot:
    """The place of one card."""

    face: Face  # Its clock face.
    text_at: float  # Edge of its words that is next to the face. [in]
    text_right: bool  # Whether the words stand on the right of the face.
    leader: tuple[Point, ...]  # The line from the outlet to the face. [in]


def words(levelling: Levelling, outlet: int) -> list[str]:
    """What is to be done at an outlet, in a few short lines."""
    here = levelling.site.outlets[outlet]
    if here.capped:
        return ["no flow"]
    now, turn = levelling.angle_before[outlet], levelling.turn[outlet]
    lip, lengths = float(levelling.before.lips.height[outlet]), levelling.site.lengths
    stands = f"lip {lengths.both(lip, signed=True)}"
    clock = "clock not known" if np.isnan(now) else clock_text(now)
    if not here.hole_offset:
        lines = [stands]
    elif levelling.verdict == "re-bed":
        # turns are for the box as it will lie
        lines = [clock, stands]
    elif outlet not in levelling.order:
        lines = [clock, "leave it"]
    else:
        change = float(levelling.lip_after[outlet] - lip)
        move = f"{'raise' if change > 0 else 'lower'} {lengths.both(abs(change))}"
        lines = [clock, move, "by the ruler"]
        if not np.isnan(turn):
            after = clock_text(levelling.angle_after[outlet])
            lines = [f"{clock} → {after}", turn_text(float(turn)).replace(" deg", "°"), move]
    return [*lines, _FAILS] if cannot_reach(levelling, outlet) else lines


def cannot_reach(levelling: Levelling, outlet: int) -> bool:
    """Whether an outlet is one of those for which the box must be bedded again."""
    return levelling.verdict == "re-bed" and not levelling.reachable[outlet]


def draw_card(sheet: Sheet, levelling: Levelling, outlet: int, slot: Slot, height: float) -> None:
    """Draw the face, or a plate if nothing can be turned, and write words beside it."""
    here, face, at = levelling.site.outlets[outlet], slot.face, slot.text_at
    if here.capped or not here.hole_offset:
        plate = "capped" if here.capped else "fixed"
        sheet.write(face.x, face.y, plate, ha="center", va="center", bbox=_PLATE)
    else:
        draw_face(sheet, levelling, outlet, face)
    step, lines = line_height(SMALL), words(levelling, outlet)
    number = order_number(levelling, outlet)
    if number:
        # on the rim, clear of the label and of leaders, which come from the box
        aside = 0.5 * face.radius * (1 if slot.text_right else -1)
        _draw_number(sheet, face.x + aside, face.y + 0.87 * face.radius, number)
    lines_left = int(height / step) - len(lines)
    size, label = _label(levelling, outlet, TEXT_WIDTH, min(max(lines_left, 1), 2))
    label_height = (label.count("\n") + 1) * line_height(size)
    top = face.y + 0.5 * (label_height + len(lines) * step)
    look: dict[str, Any] = {"ha": "left" if slot.text_right else "right"}
    sheet.write(at, top, label, size, weight="bold", **look)
    for i, line in enumerate(lines):
        weight = "bold" if line == _FAILS else "normal"
        sheet.write(at, top - label_height - i * step, line, weight=weight, **look)


def order_number(levelling: Levelling, outlet: int) -> int:
    """Place of an outlet in the order of work, from 1; 0 where there is nothing to be done."""
    if levelling.verdict != "adjust" or outlet not in levelling.order:
        return 0
    return levelling.order.index(outlet) + 1


def _label(levelling: Levelling, outlet: int, room: float, most: int) -> tuple[float, str]:
    """Size of the letters of a label, and the label in as many lines as it may have."""
    labels = [f"outlet {label}" if label.isdigit() else label for label in levelling.before.labels]
    if text_width(labels[outlet], BODY, "bold") <= room:
        return BODY, labels[outlet]
    return SMALL, short_labels(labels, room, SMALL, "bold", most)[outlet]


def _draw_number(sheet: Sheet, x: float, y: float, number: int) -> None:
    sheet.draw(Circle((x, y), 0.1, facecolor=INK, edgecolor="none", zorder=6))
    sheet.write(x, y, f"{number}", **_WHITE)


def draw_face(sheet: Sheet, levelling: Levelling, outlet: int, face: Face) -> None:
    """Draw the clock face of an outlet whose insert can be turned."""
    rim = Circle((face.x, face.y), face.radius, facecolor="white", edgecolor=INK, linewidth=MEDIUM)
    sheet.draw(rim)
    for hour in range(12):
        inner, width = (0.9, HAIR) if hour % 3 else (0.86, MEDIUM)
        sheet.line([face.at(hour * np.pi / 6, part) for part in (1.0, inner)], linewidth=width)
    now, turn = float(levelling.angle_before[outlet]), float(levelling.turn[outlet])
    label = levelling.site.outlets[outlet].label
    if np.isnan(now):
        sheet.write(face.x, face.y, "?", 12.0, ha="center", va="center_baseline")
    else:
        turns = levelling.verdict != "re-bed"
        holes = [("now", now, _RING, "white"), ("to be", now + turn, _DISC, INK)]
        for name, angle, size, fill in holes if turns else holes[:1]:
            hole = Circle(face.at(angle, _HOLE_AT), size * face.radius, fc=fill, ec=INK)
            hole.set(linewidth=MEDIUM, zorder=3, label=f"{name} {label}")
            sheet.draw(hole)
        if turn and turns:
            _draw_turn(sheet, face, now + turn, turn)
    if cannot_reach(levelling, outlet):
        for angle in (np.pi / 4.0, -np.pi / 4.0):
            ends = [face.at(angle, 1.0), face.at(angle + np.pi, 1.0)]
            sheet.line(
                ends, color=WARNING.colour, linewidth=THICK, zorder=8, label=f"cross {label}"
            )


def _draw_turn(sheet: Sheet, face: Face, end: float, turn: float) -> None:
    """An arrow round the face that ends where the hole is to be."""
    # a turn too small to be seen gets a longer tail; its head is still where the hole is to be
    tail = end - np.sign(turn) * max(abs(turn), _SHORTEST_ARROW)
    neck = end - np.sign(turn) * _HEAD
    # Arc counts anticlockwise from three o'clock, the hole clockwise from six
    start, stop = sorted(-90.0 - np.degrees([tail, neck]))
    span = 2.0 * _ARROW_AT * face.radius
    arc = Arc((face.x, face.y), span, span, theta1=start, theta2=stop, linewidth=THIN, color=INK)
    sheet.draw(arc)
    head = [face.at(end, _ARROW_AT), face.at(neck, _ARROW_AT - 0.1), face.at(neck, _ARROW_AT + 0.1)]
    sheet.draw(Polygon(head, facecolor=INK, edgecolor="none", zorder=4))


_UPWARD = 0.9
_NEAR, _LANE, _APART = 0.08, 0.06, 0.04
_LEFT_ENDS, _RIGHT_BEGINS = 0.7 * np.pi, 1.3 * np.pi


def room_over(sheet: Sheet, radius: float) -> int:
    """How many cards with a face of a radius [in] fit over the plan, between those beside it."""
    free = sheet.right - sheet.left - 2.0 * card_width(radius) - 2.0 * radius
    return 1 + int(free / (card_width(radius) + _APART))


@dataclass
class _Cards:
    """The cards on what is free of a sheet.

    Leaders from the far wall to cards beside the plan run in lanes over that wall: the outermost
    outlet has the lowest card and the lowest lane, so that none crosses another.
    """

    mouths: list[Mouth]
    plan: Plan
    sheet: Sheet
    radius: float  # [in]
    height: float  # [in]

    def slots(self) -> list[Slot]:
        """Find a place for the card of every outlet."""
        sheet, mouths, height = self.sheet, self.mouths, self.height
        wide, radius = card_width(self.radius), self.radius
        beside = int((sheet.top - sheet.bottom) / height + 1e-9) - 1
        sides = [_side(mouth) for mouth in mouths]
        order = sorted(range(len(mouths)), key=lambda i: (sides[i], mouths[i].bearing))
        room = [beside, room_over(sheet, radius), beside]
        first, second, _ = shared_out([sides.count(side) for side in range(3)], room)
        left, over = order[:first], order[first : first + second]
        right = order[first + second :][::-1]
        self._give_lanes(left, right)
        slots: dict[int, Slot] = {}
        # from the lowest card up: clockwise on the left, anticlockwise on the right
        for outlets, sign, edge in ((left, 1, sheet.left), (right, -1, sheet.right)):
            wishes = np.maximum.accumulate([mouths[i].end[1] for i in outlets]).tolist()
            ends = sheet.bottom + 0.5 * height, sheet.top - 1.5 * height
            for i, y in zip(outlets, spread_out(wishes, height, *ends), strict=True):
                face = Face(edge + sign * (TEXT_WIDTH + GAP + radius), y, radius)
                at = face.x - sign * (radius + GAP)
                slots[i] = Slot(face, at, sign < 0, self._beside(i, face, sign))
        wishes = np.maximum.accumulate([mouths[i].end[0] for i in over]).tolist()
        ends = sheet.left + wide + radius, sheet.right - wide - radius
        for i, x in zip(over, spread_out(wishes, wide + _APART, *ends), strict=True):
            face = Face(x, sheet.top - 0.5 * height, radius)
            knee = (x, face.y - 0.5 * height)
            leader = (mouths[i].end, self._clear(i), knee, (x, face.y))
            slots[i] = Slot(face, x + radius + GAP, True, leader)
        return [slots[i] for i in range(len(mouths))]

    def _give_lanes(self, *sides: list[int]) -> None:
        """Give lanes to the outlets of the far wall whose cards are beside the plan."""
        upward = [[i for i in side if self.mouths[i].way[1] >= _UPWARD] for side in sides]
        count = max(1, *map(len, upward))
        self.lane = {i: n for side in upward for n, i in enumerate(side)}
        free = 0.5 * (self.sheet.right - self.sheet.left - self.plan.across)
        beside = free - WALL - card_width(self.radius) - _NEAR
        top = max((self.mouths[i].end[1] for i in self.lane), default=self.sheet.bottom)
        over = self.sheet.top - self.height - top - 2.0 * _NEAR
        self.step = min(_LANE, beside / count, over / count)

    def _clear(self, outlet: int) -> Point:
        """Where a leader is clear of all lanes."""
        (x, y), (u, v) = self.mouths[outlet].end, self.mouths[outlet].way
        if v < _UPWARD or not self.lane:
            return x + _NEAR * u, y + _NEAR * v
        return x, y + _NEAR + self.step * (max(self.lane.values()) + 1)

    def _beside(self, outlet: int, face: Face, sign: int) -> tuple[Point, ...]:
        """Leader to a card beside the plan; from the far wall, over or round the box's corner."""
        x, y = self.mouths[outlet].end
        arrival = (face.x + sign * face.radius, face.y), (face.x, face.y)
        clear = self._clear(outlet)
        if outlet not in self.lane or face.y > clear[1]:
            return (x, y), clear, *arrival
        lane = _NEAR + self.step * self.lane[outlet]
        round_wall = self.plan.middle[0] - sign * (0.5 * self.plan.across + WALL + lane)
        return (x, y), (x, y + lane), (round_wall, y + lane), *arrival


def _side(mouth: Mouth) -> int:
    """Where its card would best be: 0 on the left, 1 over the plan, 2 on the right."""
    if mouth.way[1] >= _UPWARD or _LEFT_ENDS <= mouth.bearing <= _RIGHT_BEGINS:
        return 1
    return 0 if mouth.bearing < _LEFT_ENDS else 2


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


_MOST_ACROSS = 14
_AISLE, _OVER, _KEY_ROOM = 0.2, 0.35, 0.25
_INLET_ROOM, _CARD_HEIGHT = 0.44, 0.98


@pens
def level_figure(levelling: Levelling) -> Figure:
    """Draw the box from above with what is to be done at each outlet."""
    outlets, box, n = levelling.site.outlets, levelling.site.box, len(levelling.site.outlets)
    check_outlets(n)
    sheet = Sheet.blank(across=n <= _MOST_ACROSS)
    said = headline(levelling)
    if levelling.next_step == "inlet" and levelling.verdict != "nothing to do":
        said[1:1] = ["See to the inlet first."]
    sheet.head(
        said[0], *([" ".join(said[1:])] if said[1:] else []), *filter(None, [levelling.site.title])
    )
    sheet.foot(_notes(levelling))
    _draw_key(sheet, turns=levelling.verdict != "re-bed",
              ordered=any(order_number(levelling, i) for i in range(n)))  # fmt: skip
    radius = 0.38 if n <= _MOST_ACROSS else 0.3
    rows = 1 + math.ceil(max(n - room_over(sheet, radius), 0) / 2)
    height = min(_CARD_HEIGHT, (sheet.top - sheet.bottom) / rows)
    # the plan stands between the cards
    width = sheet.right - sheet.left - 2.0 * (card_width(radius) + _AISLE)
    top, bottom = sheet.top - height - _OVER, sheet.bottom + _INLET_ROOM
    middle = (0.5 * (sheet.left + sheet.right), 0.5 * (top + bottom))
    plan = Plan.fitted(box, outlets, width, top - bottom, middle)
    mouths = plan.mouths(outlets)
    slots = _Cards(mouths, plan, sheet, radius, height).slots()
    draw_plan(sheet, plan, outlets, mouths)
    if levelling.plane and fall_told(levelling.plane):
        aside = levelling.lift is not None
        draw_fall(sheet, plan, levelling.plane, levelling.site.lengths, aside=aside)
    if levelling.lift:
        draw_lifts(sheet, plan, levelling.lift, levelling.site.lengths)
    for i, slot in enumerate(slots):
        sheet.line(slot.leader, zorder=1, label=f"leader {outlets[i].label}", **LEADER)
        draw_card(sheet, levelling, i, slot, height)
    return sheet.figure


def headline(levelling: Levelling) -> list[str]:
    """The verdict in a sentence, and what more there is to do in others."""
    if levelling.verdict == "nothing to do":
        verdict, why = why_nothing(levelling)
        return [f"{verdict.capitalize()}: {why}."]
    height, lengths = levelling.goal.height, levelling.site.lengths
    goal = f"{lengths.both(abs(height))} {'under' if height < 0 else 'over'} still water"
    if abs(height) < 5e-5:
        goal = "still water"
    unequal = bool(levelling.offset.any())
    meets = [f"The lowest lip to {goal}, the others above it, to meet {met_flow(levelling)}."]
    if levelling.verdict == "adjust":
        lips = "their own heights" if unequal else goal
        if not levelling.order:
            return [f"Adjust, but no hand can bring the lips nearer to {lips}.", *meets * unequal]
        inserts = [o for o in levelling.site.outlets if o.hole_offset and not o.capped]
        turned = f"Adjust: turn {len(levelling.order)} of {len(inserts)} inserts"
        return [f"{turned}.", *meets] if unequal else [f"{turned}, lips to {goal}."]
    n, out = levelling.reachable.size, np.count_nonzero(~levelling.reachable)
    fault = f"Re-bed: {out} of {n} outlets cannot reach {'their own heights' if unequal else goal}."
    if not levelling.site.has_inserts:
        fault = f"Re-bed: {out} of {n} lips are off, and nothing here turns."
    if levelling.lift is None:
        return [fault]
    sides = [" ".join(each) for each in lift_words(levelling.lift, lengths)]
    return [fault, f"Lift {' and '.join(sides)}, then read again."] if sides else [fault]


def _notes(levelling: Levelling) -> list[str]:
    held = [note for note in levelling.after.warnings if note.what == "split: held back"]
    notes = [_plan_words(levelling), *joined([*levelling.warnings, *held])]
    before = levelling.before
    if before.straight_decides or before.inlet_open.any():
        notes.append(f"{inlet_decides(before)}; {inlet_cure(before)}")
    if levelling.lift:
        notes.append(reach_words(levelling.lift, levelling.site))
    return notes


def _draw_key(sheet: Sheet, *, turns: bool, ordered: bool) -> None:
    """What ring, disc and number mean, over the notes."""
    y, x = sheet.bottom + 0.08, sheet.left
    holes = [(0.07, "white", "hole now"), (0.045, INK, "hole once turned")]
    for size, fill, meaning in [*holes[: 1 + turns], *[(0.0, "", "order of work")] * ordered]:
        if size:
            sheet.draw(Circle((x + 0.1, y), size, fc=fill, ec=INK, linewidth=MEDIUM))
        else:
            _draw_number(sheet, x + 0.1, y, 1)
        sheet.write(x + 0.26, y, meaning, va="center_baseline")
        x += 0.56 + text_width(meaning, SMALL)
    sheet.write(x, y, "clock faces as seen from inside the box", va="center_baseline")
    sheet.bottom += _KEY_ROOM


def _plan_words(levelling: Levelling) -> str:
    """What the plan is: its inlet, its size, its tilt, and what is not as it is at the box."""
    box, plane, lengths = levelling.site.box, levelling.plane, levelling.site.lengths
    words = [
        "the box from above" + (f", inlet {box.inlet}" if box.inlet else ""),
        _size_words(box, lengths),
    ]
    if plane and not fall_told(plane) and steepness(plane) >= LEAST_SLOPE:
        words.append("which way the box falls cannot be told from these lips")
    if levelling.lift:
        words.append("lift where it is hatched")
    if any(o.position is None for o in levelling.site.outlets):
        words.append("not all positions are given, so outlets are drawn in their order only")
    return "; ".join(words)


def _size_words(box: Box, lengths: Lengths) -> str:
    if not box.inside:
        return "inside size not given, not to scale"
    if len(box.inside) == 1:
        return f"inside diameter {lengths.both(box.inside[0])}"
    along, across = box.inside
    return f"inside {lengths.both(across)} across, {lengths.both(along)} along the inlet"
