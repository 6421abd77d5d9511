"""What is to be done at one outlet? A clock face, seen from inside the box, and a few words.

The face shows where the hole stands now (ring) and where it is to stand (disc), and the way to
turn the insert. The words say the same, so that nothing rests on the picture alone.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patches import Arc, Circle, Polygon

from dbox.drawings.lettering import text_width, told_apart, wrap
from dbox.drawings.style import (
    BODY,
    HAIR,
    INK,
    MEDIUM,
    SMALL,
    THICK,
    THIN,
    Sheet,
    line_height,
)
from dbox.fieldwork.levelling.plan import Levelling
from dbox.files.notation import clock_text, inches, inches_mm, millimetres, turn_text

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
    """A clock face on paper.

    Parameters
    ----------
    x, y : float
        Its centre. [in]
    radius : float
        Its size. [in]
    """

    x: float
    y: float
    radius: float

    def at(self, angle: float, part: float) -> tuple[float, float]:
        """The point at an angle from straight down and a part of the radius. [in]"""
        reach = part * self.radius
        return self.x - reach * np.sin(angle), self.y - reach * np.cos(angle)


def words(levelling: Levelling, outlet: int) -> list[str]:
    """What is to be done at an outlet, in a few short lines.

    Parameters
    ----------
    levelling : Levelling
        What to do at the box.
    outlet : int
        Index of the outlet.
    """
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

    Parameters
    ----------
    sheet : Sheet
        The page.
    levelling : Levelling
        What to do at the box.
    outlet : int
        Index of the outlet.
    face : Face
        Where its clock face is or would be.
    left : float
        Left edge of the words. [in]
    height : float
        Room for them. [in]
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
    """Draw the clock face of an outlet whose insert can be turned.

    Parameters
    ----------
    sheet : Sheet
        The page.
    levelling : Levelling
        What to do at the box.
    outlet : int
        Index of the outlet.
    face : Face
        Where.
    """
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
