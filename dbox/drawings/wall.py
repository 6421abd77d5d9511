"""The box in section, seen from the inlet, with the table of its lips.

The wall is unrolled: outlets stand side by side in their order, each hole to scale in height, over
the still water that the readings were taken from, with the water level of every flow.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle

from dbox.arrays import Array
from dbox.drawings.style import (
    BODY,
    DASHES,
    EDGE,
    GREY,
    HAIR,
    INK,
    LEADER,
    MEDIUM,
    MOST_FLOWS,
    PALE,
    SMALL,
    THICK,
    TINT,
    Sheet,
    line_height,
    spread_out,
    text_width,
    told_apart,
    wrap,
)
from dbox.fieldwork.shares import Assessment
from dbox.units import INCH, inches, inches_mm, millimetres

ROW_GAP = 0.05
"""Paper between rows of the table. [in]"""

_DEEPEST, _NARROW, _SPACE = 1.1, 0.5, 0.04
_NO_LIP = "-"


@dataclass(frozen=True)
class Row:
    """One row of the table under the section: words, set upright where they are wide."""

    head: str  # What the row is.
    cells: tuple[str, ...]  # One text per outlet, with its line breaks.
    depth: float  # Height of the row on paper. [in]
    upright: bool  # Whether the cells are turned to read upwards.
    size: float  # Size of the letters. [pt]
    weight: str  # `normal` or `bold`.

    @classmethod
    def words(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit labels into columns of a width. [in]"""
        room = column - _SPACE
        words = [word for cell in cells for word in cell.split()]
        size = BODY if max(text_width(word, BODY, "bold") for word in words) <= room else SMALL
        if max(text_width(word, size, "bold") for word in words) > room and column < _NARROW:
            return cls._upright(head, cells, size, "bold")
        texts = ["\n".join(wrap(cell, room, size, "bold", 3)) for cell in cells]
        texts = told_apart(cells, texts)
        depth = max(text.count("\n") + 1 for text in texts) * line_height(size)
        return cls(head, tuple(texts), depth, False, size, "bold")

    @classmethod
    def numbers(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit numbers into columns of a width. [in]"""
        if max(text_width(cell, SMALL) for cell in cells) > column - _SPACE:
            return cls._upright(head, cells, SMALL, "normal")
        return cls(head, tuple(cells), line_height(SMALL), False, SMALL, "normal")

    @classmethod
    def _upright(cls, head: str, cells: list[str], size: float, weight: str) -> "Row":
        cut = [wrap(cell, _DEEPEST, size, weight, 1)[0] for cell in cells]
        texts = told_apart(cells, cut)
        depth = max(text_width(text, size, weight) for text in texts)
        return cls(head, tuple(texts), depth, True, size, weight)


def lip_rows(assessment: Assessment, column: float) -> list[Row]:
    """Label and lip of every outlet, to be written under its column of the section; column [in]."""
    lips = assessment.lips.height
    rows = {
        f"lip, {unit}": [_NO_LIP if np.isposinf(lip) else write(lip, signed=True) for lip in lips]
        for unit, write in (("in", inches), ("mm", millimetres))
    }
    if max(text_width(c, SMALL) for cells in rows.values() for c in cells) > column - _SPACE:
        rows = {head: [cell.split()[0] for cell in cells] for head, cells in rows.items()}
    labels = Row.words("outlet", list(assessment.labels), column)
    return [labels, *(Row.numbers(head, cells, column) for head, cells in rows.items())]


def write_rows(sheet: Sheet, rows: list[Row], left: float, column: float) -> None:
    """Write rows under one another and lower what is free; left [in], column [in]."""
    for row in rows:
        sheet.write(left - 0.1, sheet.top, row.head, ha="right", color=GREY)
        look: dict[str, Any] = {"rotation": 90 if row.upright else 0, "weight": row.weight}
        for i, cell in enumerate(row.cells):
            x = left + (i + 0.5) * column
            sheet.write(x, sheet.top, cell, row.size, ha="center", **look)
        sheet.top -= row.depth + ROW_GAP


_LEAST_VIEW = 1.0 * INCH
_LIP_HALF, _HOLE_PART = 0.40, 0.66
_INCH_STEPS = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16, 32, 64)
"""What ticks of a scale of heights may stand apart. [in]"""

NAME_GAP = 0.33
"""Paper from one name of a water level to the next. [in]"""


@dataclass(frozen=True)
class View:
    """What part of the wall is drawn, and how large."""

    low: float  # Height over still water at the lower edge. [m]
    high: float  # Height over still water at the upper edge. [m]
    cuts_off: bool  # Whether any hole goes on above.
    upright: float  # Paper over box, for heights. [in/m]
    level: float  # Paper over box, for widths. [in/m]
    column: float  # Width of one outlet's column on paper. [in]

    @property
    def stretch(self) -> float:
        """Scale of heights over scale of widths. [-]"""
        return self.upright / self.level

    @classmethod
    def of(cls, assessment: Assessment, column: float, height: float) -> "View":
        """Show every lip and water level, and of the holes half as much again.

        column [in], height [in].
        """
        result, lips = assessment.result, assessment.lips.height
        marks = np.concatenate([lips[np.isfinite(lips)], result.level[:MOST_FLOWS], [0.0]])
        low, high = float(marks.min()), float(marks.max())
        tops = lips + [opening.top for opening in result.openings]
        highest = float(tops[np.isfinite(lips)].max(initial=0.0))
        hole = min(highest - low, max(2.5 * (high - low), _LEAST_VIEW))
        span = max(1.1 * (high - low), 1.04 * hole)
        low -= 0.1 * span
        upright = height / (1.1 * span)
        widths = [np.ptp(o.outline(span)[:, 0]) for o in result.openings]
        return cls(
            low=low,
            high=low + 1.1 * span,
            cuts_off=highest > low + 1.1 * span,
            upright=upright,
            level=min(_HOLE_PART * column / max(widths), upright),
            column=column,
        )


def draw_section(axes: Axes, assessment: Assessment, capped: list[bool], view: View) -> None:
    """Draw wall, holes, lips and water on axes: one column per outlet, heights in metres."""
    n = len(assessment.labels)
    axes.set(xlim=(-0.5, n - 0.5), ylim=(view.low, view.high))
    axes.axhspan(view.low, 0.0, facecolor=PALE, edgecolor="none", zorder=0)
    most, widths = view.high - view.low, np.array([view.level / view.column, 1.0])
    for i, lip in enumerate(assessment.lips.height):
        if capped[i]:
            draw_cap(axes, i)
            upright = text_width("capped", SMALL) > 0.9 * view.column
            plate = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
            axes.text(i, view.low + 0.5 * most, "capped", bbox=plate, ha="center", va="center",
                      rotation=90 if upright else 0, zorder=8)  # fmt: skip
        else:
            corners = assessment.result.openings[i].outline(most) * widths
            half = min(_LIP_HALF, 0.5 / view.column)
            draw_hole(axes, i, corners, float(lip), assessment.labels[i], half, facecolor=TINT)
    ends = (-0.5, n - 0.5)
    look: dict[str, Any] = {"color": INK, "linewidth": MEDIUM, "zorder": 4}
    axes.plot(ends, (0.0, 0.0), color=INK, linewidth=HAIR, label="still water", zorder=3)
    for name, level, dashes in zip(assessment.names, assessment.result.level, DASHES, strict=False):
        axes.plot(ends, (level, level), linestyle=dashes, label=f"level {name}", **look)
    draw_walls(axes, view.upright)


def draw_walls(
    axes: Axes, upright: float, apart: float = 0.4, still: float = 0.0, *, written: bool = True
) -> None:
    """Floor and walls of the box, with a scale in inches over still water.

    upright: paper over box [in/m]; apart: least paper between two ticks [in]; still [m].
    """
    axes.spines["right"].set_visible(True)
    axes.spines[["left", "right", "bottom"]].set_linewidth(THICK)
    low, high = (z - still for z in axes.get_ylim())
    least = apart / upright / INCH
    step = next((s for s in _INCH_STEPS if s >= least), least) * INCH
    over = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    names = [inches(z, signed=True) if written else "" for z in over]
    axes.set_yticks(over + still, names)
    axes.set_xticks([])
    axes.tick_params(length=3)


def draw_hole(
    axes: Axes, place: int, corners: Array, lip: float, label: str, half: float, **look: Any
) -> tuple[Polygon, Line2D]:
    """A hole and its lip in a column; corners are over the lip, half is that of the lip drawn."""
    look = {**EDGE, "zorder": 2, "label": f"hole {label}", **look}
    hole = Polygon(np.add(corners, (place, lip)), **look)
    axes.add_patch(hole)
    (line,) = axes.plot((place - half, place + half), (lip, lip), color=INK, linewidth=THICK,
                        solid_capstyle="butt", label=f"lip {label}", zorder=5)  # fmt: skip
    return hole, line


def draw_cap(axes: Axes, place: int) -> None:
    """A hatched lid; its height means nothing, since a capped outlet has no lip."""
    low, high = axes.get_ylim()
    corner = (place - 0.5 * _HOLE_PART, low + 0.2 * (high - low))
    look: dict[str, Any] = {"facecolor": "white", "hatch": "////", "zorder": 7, **EDGE}
    axes.add_patch(Rectangle(corner, _HOLE_PART, 0.6 * (high - low), **look))


def name_waters(sheet: Sheet, axes: Axes, assessment: Assessment, left: float) -> None:
    """Write name and height of every water level beside the section, never on one another.

    left [in].
    """
    low, high = axes.get_ylim()
    height = sheet.figure.get_size_inches()[1]
    box = axes.get_position()
    bottom, top = box.y0 * height, box.y1 * height
    waters = [("still water", 0.0)]
    waters += zip(assessment.names[:MOST_FLOWS], assessment.result.level, strict=False)
    at = [bottom + (level - low) / (high - low) * (top - bottom) for _, level in waters]
    text_left, room = left + 0.38, sheet.right - left - 0.38
    written = spread_out(at, NAME_GAP, bottom + 0.5 * NAME_GAP, top)
    for (name, level), y, text_y in zip(waters, at, written, strict=True):
        corners = [(left, y), (left + 0.1, y), (left + 0.26, text_y), (left + 0.34, text_y)]
        sheet.line(corners, **LEADER)
        amount = "0" if name == "still water" else inches_mm(level, signed=True)
        label = wrap(name, room, SMALL, "bold", 1)[0]
        sheet.write(text_left, text_y + 0.01, label, va="bottom", weight="bold")
        sheet.write(text_left, text_y - 0.01, amount)
