"""Views of a box, its outlets side by side in their order, seen from the inlet.

Of a run at a moment: lips magnified with streams and trenches, the inlet in a column of its own on
the left, and bars of the shares. Of a split: the box in true proportions at a few flows. The width
of a stream says how large its flow is, on one scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text

from dbox.arrays import Array
from dbox.drawings.style import (
    BODY,
    BOX,
    EDGE,
    GREY,
    INK,
    MEDIUM,
    OVER,
    PALE,
    SMALL,
    SOIL,
    TARGET,
    THICK,
    THIN,
    TINT,
    UNDER,
    WATER,
    Role,
    Sheet,
    draw_cap,
    draw_hole,
    draw_walls,
    line_height,
    short_labels,
    text_width,
)
from dbox.fieldwork.shares import NOTABLE, Assessment
from dbox.fieldwork.site import Site
from dbox.fieldwork.surge import SurgeOutcome
from dbox.hydraulics.surge.stepper import MIN_FLOW, Moment, Surge
from dbox.report.split_report import share_text
from dbox.units import INCH

Place = tuple[float, float, float, float]
"""Left, right, bottom and top on the page. [in]"""


INLET_WIDTH = 1.5
"""Width of the inlet's column over that of an outlet, where nothing else decides it. [-]"""

LEAST_STREAM = 1.0
"""Width of the thinnest stream that is drawn. [pt]"""

_LEAST_VIEW = INCH / 4
_HOLE_PART, _STREAM_PART, _TRENCH_PART = 0.62, 0.56, 0.8
_INLET_PART = 0.85
_FALL, _FREE_FALL, _TRENCH = 0.12, 0.2, 0.22


@dataclass(frozen=True)
class Scale:
    """What part of the wall is drawn, and how wide a flow is."""

    low: float  # Height at the lower edge, over the datum of the lips. [m]
    high: float  # Height at the upper edge. [m]
    per_flow: float  # Width of a stream over its flow, in columns. [s/m3]
    depth: float  # Water that fills a trench as drawn. [m]

    @classmethod
    def of(cls, *runs: Surge, inlet: float = INLET_WIDTH) -> "Scale":
        """Show every lip and level of some runs through one box; inlet: its columns."""
        system = runs[0].system
        ends = np.concatenate([system.lips, *(run.lips_end for run in runs)])
        lips = ends[np.isfinite(ends)]
        marks = [*lips, system.still_level, *(run.peak_level for run in runs)]
        low, high = float(min(marks)), float(max(marks))
        span = max(1.2 * (high - low), _LEAST_VIEW)
        most_in = max(float(run.inflow.max()) for run in runs)
        most_out = max(float(run.peak_flow.max()) for run in runs)
        widest = max(most_in / (_INLET_PART * inlet), most_out / _STREAM_PART)
        return cls(
            low=low - 0.2 * span,
            high=low + span,
            per_flow=1.0 / (widest or 1.0),
            depth=_drawn_depth(runs),
        )


def rows_needed(texts: Sequence[str], size: float, column: float, weight: str = "normal") -> int:
    """In how many rows texts must be staggered, one a column, not to meet; column [in]."""
    widest = max((text_width(text, size, weight) for text in texts), default=0.0)
    return ceil((widest + 0.25 * size / 72) / column)


@dataclass(frozen=True)
class Columns:
    """Where outlets stand side by side, and how large the letters are."""

    left: float  # Left edge of the first. [in]
    width: float  # Of each. [in]
    count: int  # How many.
    size: float  # Of the letters. [pt]
    over: float  # How far a name may reach over the last one. [in]

    def middle(self, i: int) -> float:
        """Middle of the column of an outlet. [in]"""
        return self.left + (i + 0.5) * self.width

    @property
    def right(self) -> float:
        """Right edge of the last. [in]"""
        return self.left + self.count * self.width


@dataclass(frozen=True)
class Names:
    """The labels of the outlets as they are written under their columns."""

    texts: list[str]
    numbered: bool  # Whether they are numbers in place of the labels.
    rows: int  # Neighbours stand in different ones.
    height: float  # Of all rows together. [in]

    @classmethod
    def of(cls, labels: Sequence[str], columns: Columns) -> "Names":
        """Fit labels under columns in two lines each, else their numbers."""
        size, numbered = columns.size, False
        for rows in (1, 2):
            reach = min(rows * columns.width, columns.width + 2.0 * columns.over)
            room = reach - 0.25 * size / 72
            texts = short_labels(labels, room, size, "bold", 2)
            if not any("…" in text for text in texts):
                break
        else:
            if room < 8 * size / 72:
                texts, numbered = [str(i + 1) for i in range(len(labels))], True
                rows = rows_needed(texts, size, columns.width, "bold")
        lines = max(text.count("\n") + 1 for text in texts)
        return cls(texts, numbered, rows, rows * lines * line_height(size))

    def write(self, sheet: Sheet, columns: Columns, y: float) -> None:
        """Write them; y: upper edge. [in]"""
        look: dict[str, Any] = {"ha": "center", "weight": "bold"}
        for i, text in enumerate(self.texts):
            down = i % self.rows / self.rows * self.height
            sheet.write(columns.middle(i), y - down, text, columns.size, **look)


class BoxView:
    """Lips magnified, streams and trenches on a part of a sheet; `moving` are what `show` moves.

    place: Left, right, bottom and top on the page. [in]
    size: Of the letters. [pt]
    inlet: Width of the inlet's column. [in]
    ticks: Whether heights are written beside it.
    """

    def __init__(
        self, sheet: Sheet, outcome: SurgeOutcome, scale: Scale, place: Place, size: float,
        inlet: float, ticks: bool = True,
    ) -> None:  # fmt: skip
        (left, right, bottom, top), site, run = place, outcome.site, outcome.surge
        n = len(site.outlets)
        self.outcome, self.scale = outcome, scale
        self.column = (right - left - inlet) / n
        over = sheet.figure.get_figwidth() - right - 2 / 72
        self.columns = Columns(left + inlet, self.column, n, size, over)
        self.names = names = Names.of(outcome.labels, self.columns)
        names.write(sheet, self.columns, bottom + names.height)
        free = top - bottom - names.height - 0.06
        trench = _TRENCH * free if any(run.system.trenches) else 0.0
        fall = (_FALL if trench else _FREE_FALL) * free
        self.floor_on_page = bottom + names.height + 0.06 + fall + trench
        self.axes = axes = sheet.axes(left, right, self.floor_on_page, top)
        ends = (-0.5 - inlet / self.column, n - 0.5)
        axes.set(xlim=ends, ylim=(scale.low, scale.high), facecolor=PALE)
        # heights are in metres of the section: this is paper over them [in/m]
        self.upright = (top - self.floor_on_page) / (scale.high - scale.low)
        apart = 2.0 * line_height(size)
        draw_walls(axes, self.upright, site.lengths, apart, run.system.still_level, written=ticks)
        axes.tick_params(labelsize=size)
        axes.spines[["left", "right", "bottom"]].set_color(BOX.colour)
        self.thin = LEAST_STREAM / 72 / self.column
        self.landing = scale.low - fall / self.upright
        self.trench_bottom = self.landing - trench / self.upright
        self.per_depth = 0.9 * trench / self.upright / scale.depth
        self.inlet_middle = -0.5 - 0.5 * inlet / self.column
        self.water = self._water(ends, scale.low, "water", 0.36)
        self.inlet = self._stream("inlet")
        (self.surface,) = axes.plot(ends, (0.0, 0.0), color=WATER.colour, linewidth=THICK,
                                    label="level", zorder=5)  # fmt: skip
        if run.system.rim is not None and run.system.rim < scale.high:
            axes.plot(ends, [run.system.rim] * 2, color=BOX.colour, linewidth=MEDIUM,
                      linestyle=(0, (6, 2)), label="rim", zorder=5)  # fmt: skip
        outlines = [o.outline(scale.high - scale.low) for o in run.system.openings]
        widest = max(float(np.ptp(outline[:, 0])) for outline in outlines)
        # all holes to one scale: widths on paper over those of the box [in/m]
        across = min(_HOLE_PART * self.column / widest, self.upright)
        self.stretch = self.upright / across
        self.holes: dict[int, tuple[Array, Polygon, Line2D, Rectangle]] = {}
        self.streams: dict[int, Polygon] = {}
        self.trenches: dict[int, Rectangle] = {}
        for i, (outlet, outline) in enumerate(zip(site.outlets, outlines, strict=True)):
            if outlet.capped:
                draw_cap(axes, i)
                continue
            corners = outline * [across / self.column, 1.0]
            hole, lip = draw_hole(axes, i, corners, 0.0, outlet.label, 0.4, facecolor="white",
                                  zorder=0.5)  # fmt: skip
            wet = self._water((i - 0.5, i + 0.5), scale.low, f"wet {outlet.label}", 0.64)
            wet.set(clip_on=True, clip_path=hole)
            self.holes[i] = (corners, hole, lip, wet)
            self.streams[i] = self._stream(f"stream {outlet.label}")
            if run.system.trenches[i]:
                self.trenches[i] = self._draw_trench(i, outlet.label, run)
        self.sinks = bool(np.any(run.lips_end[np.isfinite(run.lips_end)]
                                 != run.system.lips[np.isfinite(run.lips_end)]))  # fmt: skip

    def on_page(self, height: float) -> float:
        """Where a height over the datum of the lips stands on the page. [in]; height [m]."""
        return self.floor_on_page + (height - self.scale.low) * self.upright

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next, from the back to the front."""
        # walls, rim, lips and trenches mostly stand still, but lie before the water
        walls = [self.axes.spines[side] for side in ("left", "right", "bottom")]
        parts: list[Artist] = [*self.axes.patches, *walls, *self.axes.lines]
        still = [] if self.sinks else [hole for _, hole, _, _ in self.holes.values()]
        return sorted((p for p in parts if p not in still), key=lambda part: part.get_zorder())

    def show(self, now: Moment) -> None:
        """Move everything to a moment."""
        over = max(now.level - self.scale.low, 0.0)
        self.water.set_height(over)
        self.surface.set_ydata([now.level, now.level])
        self._pour(self.inlet, self.inlet_middle, self.scale.high, now.level, now.inflow)
        for i, (corners, hole, lip, wet) in self.holes.items():
            hole.set_xy(corners + np.array([i, now.lips[i]]))
            lip.set_ydata([now.lips[i], now.lips[i]])
            wet.set_height(over)
            landing = self.landing
            if i in self.trenches:
                height = float(now.depth[i]) * self.per_depth
                self.trenches[i].set_height(height)
                landing = self.trench_bottom + height
            self._pour(self.streams[i], i, float(now.lips[i]), landing, float(now.flow[i]))

    def _pour(self, stream: Polygon, x: float, top: float, bottom: float, flow: float) -> None:
        stream.set_visible(flow > MIN_FLOW)
        half = 0.5 * max(flow * self.scale.per_flow, self.thin)
        stream.set_xy([(x - half, bottom), (x + half, bottom), (x + half, top), (x - half, top)])

    def _water(
        self, ends: tuple[float, float], bottom: float, name: str, dense: float
    ) -> Rectangle:
        """Water that stands from a bottom up, at first none."""
        look: dict[str, Any] = {"facecolor": (WATER.colour, dense), "edgecolor": "none"}
        water = Rectangle((ends[0], bottom), ends[1] - ends[0], 0.0, zorder=1, label=name,
                          clip_on=False, **look)  # fmt: skip
        self.axes.add_patch(water)
        return water

    def _stream(self, name: str) -> Polygon:
        # not snapped to whole dots, where the least of two equal streams could vanish
        stream = Polygon(np.zeros((4, 2)), facecolor=WATER.colour, edgecolor="none", zorder=4,
                         label=name, clip_on=False, snap=False)  # fmt: skip
        self.axes.add_patch(stream)
        return stream

    def _draw_trench(self, i: int, label: str, run: Surge) -> Rectangle:
        """Walls and pipe of a trench; returns the water in it."""
        trench, half, bottom = run.system.trenches[i], 0.5 * _TRENCH_PART, self.trench_bottom
        assert trench is not None
        top = bottom + 0.94 * (self.landing - bottom)
        across = (i - half, i - half, i + half, i + half)
        self.axes.plot(across, (top, bottom, bottom, top), color=SOIL.colour, linewidth=THICK,
                       clip_on=False, label=f"trench wall {label}", zorder=5)  # fmt: skip
        pipe = bottom + trench.pipe_height * self.per_depth
        if pipe <= top:
            self.axes.plot(
                across[1:3], (pipe, pipe), color=SOIL.colour, linewidth=THIN,
                linestyle=(0, (4, 3)), clip_on=False, label=f"pipe {label}", zorder=5,
            )  # fmt: skip
        edge = 0.5 * THICK / 72 / self.column
        return self._water((i - half + edge, i + half - edge), bottom, f"trench {label}", 0.64)


_SEEN_PART = 0.25
"""Part of the pipes' height: water in the trenches that stays under it is drawn larger. [-]
(judgement)"""


def _drawn_depth(runs: Sequence[Surge]) -> float:
    """Water that fills the trenches of some runs as drawn. [m]"""
    most = max(float(np.nanmax(run.depth, initial=0.0)) for run in runs)
    usual = max(deepest(run) for run in runs)
    return 1.25 * most if 0.0 < most < _SEEN_PART * usual else usual


def deepest(run: Surge) -> float:
    """Depth of the pipes, or of the trenches once one is over its pipe. [m]"""
    trenches = [trench for trench in run.system.trenches if trench]
    pipes = max((trench.pipe_height for trench in trenches), default=0.0)
    most = float(np.nanmax(run.depth, initial=0.0))
    return pipes if most <= pipes and pipes else max((t.depth for t in trenches), default=1.0)


_BAR = 0.56


class ShareView:
    """Bars of the shares, one under each outlet's column of a box.

    ends: Bottom of the numbers under the bars, and top of the bars, on the page. [in]
    whole: Share that a bar of full height stands for. [-]
    ticks: Whether a scale is written beside them.
    """

    def __init__(
        self, sheet: Sheet, outcome: SurgeOutcome, columns: Columns, ends: tuple[float, float],
        whole: float, *, ticks: bool = True,
    ) -> None:  # fmt: skip
        n, size, column = columns.count, columns.size, columns.width
        self.sign, self.signed, rows = self._how(size, column)
        bottom = ends[0] + rows * line_height(size)
        self.axes = axes = sheet.axes(columns.left, columns.right, bottom, ends[1])
        axes.set(xlim=(-0.5, n - 0.5), ylim=(0.0, whole), xticks=[])
        apart = 1.6 * line_height(size) * whole / (ends[1] - bottom)
        step = next((step for step in _SHARE_STEPS if step > apart), 1.0)
        marks = np.arange(0.0, whole + 1e-9, step)
        axes.set_yticks(marks, [f"{round(100 * mark)} %" * ticks for mark in marks])
        axes.tick_params(labelsize=size, length=3)
        axes.grid(axis="y", color=TINT, linewidth=THIN)
        axes.set_axisbelow(True)
        self.target, self.open = outcome.target, outcome.site.target_open
        allowed = outcome.site.allowed
        self.allowed = NOTABLE - 1.0 if allowed is None else allowed
        self.bars: list[Rectangle] = []
        self.numbers: dict[int, Text] = {}
        for i, (label, target) in enumerate(zip(outcome.labels, outcome.target, strict=True)):
            bar = Rectangle((i - 0.5 * _BAR, 0.0), _BAR, 0.0, zorder=2, label=f"share {label}",
                            **EDGE)  # fmt: skip
            axes.add_patch(bar)
            self.bars.append(bar)
            down = 0.06 + i % rows * line_height(size)
            number = sheet.write(columns.middle(i), bottom - down, "", size, ha="center")
            if outcome.site.outlets[i].capped:
                number.set_text("capped" if text_width("capped", size) < column else "–")
                continue
            self.numbers[i] = number
            if target > 0 and not self.open:
                ends_of = (i - 0.42, i + 0.42)
                axes.plot(ends_of, (target, target), color=INK, linewidth=1.5 * TARGET,
                          solid_capstyle="butt", label=f"target {label}", zorder=3)  # fmt: skip

    def _how(self, size: float, column: float) -> tuple[str, bool, int]:
        """Sign after the numbers, whether one stands before them, and in how many rows they go."""
        for sign, signed in ((" %", True), (" %", False), ("", True), ("", False)):
            # of shares side by side no two need more room than this
            rows = rows_needed([f"{'▲ ' * signed}8.8{sign}"], size, column)
            if rows == 1:
                break
        return sign, signed, rows

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next."""
        # targets stand still, but lie before the bars
        return [*self.bars, self.axes.spines["bottom"], *self.axes.lines, *self.numbers.values()]

    def show(self, share: Array) -> None:
        """Set the bars; share [-]."""
        for i, (bar, part) in enumerate(zip(self.bars, share.tolist(), strict=True)):
            role = self._role(i, part)
            bar.set(height=part, facecolor=role.colour, hatch=role.hatch)
            if i in self.numbers:
                sign = f"{role.sign} " if self.signed and role.sign else ""
                self.numbers[i].set_text(f"{sign}{share_text(part, self.sign)}")

    def _role(self, i: int, share: float) -> Role:
        """Over its share, under it, or neither."""
        wanted = float(self.target[i])
        if self.open or not wanted or abs(share - wanted) <= self.allowed * wanted:
            return WATER
        return OVER if share > wanted else UNDER


_SHARE_STEPS = (0.05, 0.1, 0.2, 0.25, 0.5, 1.0)


FAINT = 0.18
"""How much of the colour of water each of the levels over one another adds. [-]"""

BOXES = 3
"""How many flows are drawn side by side."""

_BETWEEN, _STREAM, _TRUE_STREAM_PART = 0.3, 0.36, 0.86
_MARGIN, _TRUE_HOLE_PART = 0.15, 0.66


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
        scale = min(_TRUE_HOLE_PART * column / widest, tallest / span / (1 + 2 * _MARGIN))
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
            half = 0.5 * _TRUE_STREAM_PART * whole.column * float(share / shares.max())
            _draw_arrow(sheet, x, wall, half, f"stream {assessment.labels[i]}")
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


def _draw_arrow(sheet: Sheet, x: float, wall: float, half: float, label: str) -> None:
    """An arrow away from the wall; half [in] is half its width."""
    tip = min(half, 0.4 * _STREAM)
    start, neck = wall - 0.03, wall - _STREAM + tip
    corners = [(x - half, start), (x + half, start), (x + half, neck), (x, neck - tip),
               (x - half, neck)]  # fmt: skip
    sheet.draw(Polygon(corners, facecolor=WATER.colour, edgecolor="none", label=label))
