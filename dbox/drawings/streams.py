"""The box in true proportions at a few flows, and the stream that each outlet gives."""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patches import Polygon, Rectangle

from dbox.drawings.style import (
    BODY,
    BOX,
    EDGE,
    GREY,
    MEDIUM,
    PALE,
    SMALL,
    THICK,
    WATER,
    Sheet,
    draw_cap,
    line_height,
    short_labels,
    text_width,
)
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Site
from dbox.report.split_report import share_text
from dbox.units import INCH

FAINT = 0.18
"""How much of the colour of water each of the levels over one another adds. [-]"""

BOXES = 3
"""How many flows are drawn side by side."""

_BETWEEN, _STREAM, _STREAM_PART = 0.3, 0.36, 0.86
_MARGIN, _HOLE_PART = 0.15, 0.66


def flows_shown(assessment: Assessment) -> list[int]:
    """The weakest flow, the strongest and the one in the middle, in the order of the file."""
    by_size = np.argsort(assessment.result.inflow, kind="stable")
    if len(by_size) > BOXES:
        by_size = by_size[[0, (len(by_size) - 1) // 2, -1]]
    return sorted(by_size.tolist())


@dataclass(frozen=True)
class Whole:
    """How the whole of the openings is drawn in true proportions, once for each of some flows."""

    flows: list[int]
    low: float  # Height over still water at the lower edge. [m]
    high: float  # Height over still water at the upper edge. [m]
    reach: float  # How much of an opening without a top is drawn. [m]
    scale: float  # Paper over box, both ways. [in/m]
    column: float  # Width of one outlet's column on paper. [in]

    @classmethod
    def of(cls, assessment: Assessment, width: float, tallest: float) -> "Whole":
        """Fit every opening into a width and a height on paper. [in]"""
        flows, lips = flows_shown(assessment), assessment.lips.height
        open_lips = np.isfinite(lips)
        low = float(lips[open_lips].min(initial=0.0))
        tops = np.array([opening.top for opening in assessment.result.openings])
        water = float(assessment.result.level[flows].max())
        reach = max(water - low, float(np.max(tops, initial=0.0, where=tops < np.inf)), INCH)
        crown = float((lips + np.minimum(tops, reach))[open_lips].max(initial=low))
        widest = max(np.ptp(each.outline(reach)[:, 0]) for each in assessment.result.openings)
        span = crown - low
        column = ((width + _BETWEEN) / len(flows) - _BETWEEN) / len(lips)
        scale = min(_HOLE_PART * column / widest, tallest / span / (1 + 2 * _MARGIN))
        return cls(flows, low - _MARGIN * span, crown + _MARGIN * span, reach, scale, column)

    @property
    def height(self) -> float:
        """Height of a box on paper. [in]"""
        return self.scale * (self.high - self.low)


def draw_boxes(sheet: Sheet, assessment: Assessment, site: Site, whole: Whole) -> None:
    """Draw the box at each flow in true proportions, with what leaves it, and lower the top."""
    width = whole.column * len(assessment.labels)
    top = sheet.top - 0.08 - line_height(BODY)
    wall = top - whole.height
    foot = wall - _STREAM - 0.06
    shares = assessment.result.share[whole.flows]
    words = [[share_text(share) for share in each] for each in shares.tolist()]
    texts = [text for each in words for text in each]
    written = max(text_width(text, SMALL) for text in texts) <= whole.column - 0.03
    named = max(text_width(label, SMALL) for label in assessment.labels) <= whole.column - 0.03
    drawn = [assessment.names[flow] for flow in whole.flows]
    names = short_labels(drawn, width, BODY, "bold")
    for place, flow in enumerate(whole.flows):
        left = sheet.left + place * (width + _BETWEEN)
        axes = sheet.axes(left, left + width, wall, top)
        _draw_box(axes, assessment, flow, whole)
        sheet.write(left, sheet.top, names[place], BODY, weight="bold")
        for i, share in enumerate(shares[place]):
            x = left + (i + 0.5) * whole.column
            if site.outlets[i].capped:
                continue
            half = 0.5 * _STREAM_PART * whole.column * float(share / shares.max())
            _draw_stream(sheet, x, wall, half, f"stream {assessment.labels[i]}")
            if written:
                sheet.write(x, foot, words[place][i], ha="center")
            if named:
                y = foot - written * line_height(SMALL)
                sheet.write(x, y, assessment.labels[i], ha="center", color=GREY)
    sheet.top = foot - (written + named) * line_height(SMALL) - 0.1


def _draw_box(axes: Axes, assessment: Assessment, flow: int, whole: Whole) -> None:
    """Holes, water and what of it runs out, at one flow."""
    n, level = len(assessment.labels), float(assessment.result.level[flow])
    axes.set(xlim=(-0.5, n - 0.5), ylim=(whole.low, whole.high), xticks=(), yticks=())
    axes.set_facecolor(PALE)
    axes.axhspan(whole.low, level, facecolor=(WATER.colour, 2 * FAINT), zorder=1)
    axes.axhline(level, color=WATER.colour, linewidth=MEDIUM, zorder=4)
    widths = np.array([whole.scale / whole.column, 1.0])
    for i, lip in enumerate(assessment.lips.height):
        if np.isposinf(lip):
            draw_cap(axes, i)
            continue
        corners = assessment.result.openings[i].outline(whole.reach) * widths + (i, float(lip))
        look: dict[str, Any] = {"facecolor": "white", "zorder": 2, **EDGE}
        hole = Polygon(corners, label=f"whole {assessment.labels[i]}", **look)
        axes.add_patch(hole)
        if level > lip:
            wet = Rectangle((i - 0.5, whole.low), 1.0, level - whole.low, zorder=3)
            wet.set(facecolor=WATER.colour, edgecolor="none")
            axes.add_patch(wet)
            wet.set_clip_path(hole)
    for side in ("left", "right", "bottom"):
        axes.spines[side].set(visible=True, color=BOX.colour, linewidth=THICK)


def _draw_stream(sheet: Sheet, x: float, wall: float, half: float, label: str) -> None:
    """An arrow away from the wall; half [in] is half its width."""
    tip = min(half, 0.4 * _STREAM)
    start, neck = wall - 0.03, wall - _STREAM + tip
    corners = [(x - half, start), (x + half, start), (x + half, neck), (x, neck - tip),
               (x - half, neck)]  # fmt: skip
    sheet.draw(Polygon(corners, facecolor=WATER.colour, edgecolor="none", label=label))
