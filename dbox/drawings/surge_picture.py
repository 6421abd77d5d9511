"""A run on one sheet: box, streams, trenches and shares at a moment, level and flows in time.

In a view of the box outlets stand side by side in their order, seen from the inlet, which has a
column of its own on the left. The width of a stream says how large its flow is, on one scale.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text

from dbox.arrays import Array
from dbox.drawings.style import (
    EDGE,
    GREY,
    HAIR,
    HEADING,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    SMALL,
    TARGET,
    THIN,
    TINT,
    Sheet,
    check_outlets,
    draw_cap,
    draw_hole,
    draw_walls,
    line_height,
    pens,
    spread_out,
    text_width,
    told_apart,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.surge import SurgeOutcome, highest_share, shown_until
from dbox.hydraulics.surge.parts import Trench
from dbox.hydraulics.surge.stepper import MIN_FLOW, Moment, Surge
from dbox.report.surge_report import notes_side_by_side, volume_text
from dbox.report.wording import PLANNED, joined
from dbox.units import DAY, HOUR, INCH, MINUTE, gpm, gpm_litres, percent_text

Place = tuple[float, float, float, float]
"""Left, right, bottom and top on the page. [in]"""


def clock(seconds: float) -> str:
    """Write the time of a run as a clock shows it; seconds [s].

    >>> clock(95.2), clock(93784.0)
    ('0:01:35', 'day 2, 2:03')
    """
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours < 24:
        return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"day {hours // 24 + 1}, {hours % 24}:{rest // 60:02d}"


def time_unit(seconds: float) -> tuple[float, str]:
    """Unit for the time axis of a run that long: its length [s] and its name; seconds [s].

    >>> time_unit(7200.0)
    (60.0, 'min')
    """
    units = [(1.0, "s"), (MINUTE, "min"), (HOUR, "h")]
    return next((u for u in units if seconds <= 180 * u[0]), (DAY, "days"))


INLET_WIDTH = 1.5
"""Width of the inlet's column over that of an outlet. [-]"""

STREAM = "0.3"
"""Grey of water that falls."""

_LEAST_VIEW = 1.0 * INCH
_HOLE_PART, _STREAM_PART, _TRENCH_PART = 0.62, 0.56, 0.8
_FALL, _TRENCH = 0.32, 0.5


@dataclass(frozen=True)
class Scale:
    """What part of the wall is drawn, and how wide a flow is."""

    low: float  # Height at the lower edge, over the datum of the lips. [m]
    high: float  # Height at the upper edge. [m]
    still: float  # Level of still water, from which heights are written. [m]
    per_flow: float  # Width of a stream over its flow, in columns. [s/m3]

    @classmethod
    def of(cls, *runs: Surge) -> "Scale":
        """Show every lip and level of some runs through one box, their holes as far as may be."""
        system = runs[0].system
        ends = np.concatenate([system.lips, *(run.lips_end for run in runs)])
        lips = ends[np.isfinite(ends)]
        marks = [*lips, system.still_level, *(run.peak_level for run in runs)]
        low, high = float(min(marks)), float(max(marks))
        top = max((lip + o.top for lip, o in zip(system.lips, system.openings, strict=True)
                   if np.isfinite(lip)), default=high)  # fmt: skip
        hole = min(top - low, max(1.6 * (high - low), _LEAST_VIEW))
        span = max(1.15 * (high - low), 1.08 * hole)
        most_in = max(float(run.inflow.max()) for run in runs)
        most_out = max(float(run.peak_flow.max()) for run in runs)
        widest = max(most_in / (0.7 * INLET_WIDTH), most_out / _STREAM_PART)
        return cls(low - 0.2 * span, low + span, system.still_level, 1.0 / (widest or 1.0))


class BoxView:
    """Box and trenches on a part of a sheet; `moving` are the artists that `show` moves.

    place: Left, right, bottom and top on the page. [in]
    ticks: Whether heights are written beside it.
    """

    def __init__(
        self, sheet: Sheet, outcome: SurgeOutcome, scale: Scale, place: Place, ticks: bool = True
    ) -> None:
        (left, right, bottom, top), site, run = place, outcome.site, outcome.surge
        self.outcome, self.scale, self.n = outcome, scale, len(site.outlets)
        self.column = (right - left) / (self.n + INLET_WIDTH)
        self.first = left + (INLET_WIDTH + 0.5) * self.column
        # paper for falling water, trenches and labels [in]
        below = 0.2 + _FALL + (_TRENCH if any(run.system.trenches) else 0.0)
        self.axes = axes = sheet.axes(left, right, bottom + below, top)
        ends = (-0.5 - INLET_WIDTH, self.n - 0.5)
        axes.set(xlim=ends, ylim=(scale.low, scale.high))
        # heights are in metres of the section: this is paper over them [in/m]
        self.upright = (top - bottom - below) / (scale.high - scale.low)
        draw_walls(axes, self.upright, site.lengths, 0.3, scale.still, written=ticks)
        self._write_labels(sheet, bottom + 0.15)
        self.floor = scale.low - _FALL / self.upright
        self.trench_bottom = self.floor - (_TRENCH - 0.04) / self.upright
        self.per_depth = (_TRENCH - 0.1) / self.upright / deepest(run)
        self.water = self._water(ends, scale.low, "water")
        self.inlet = self._stream("inlet")
        (self.surface,) = axes.plot(
            ends, (0.0, 0.0), color=INK, linewidth=MEDIUM, label="level", zorder=6
        )
        if run.system.rim is not None and run.system.rim < scale.high:
            axes.plot(ends, [run.system.rim] * 2, color=INK, linewidth=THIN, linestyle=(0, (6, 2)),
                      label="rim", zorder=2)  # fmt: skip
        # all holes to one scale
        outlines = [o.outline(scale.high - scale.low) for o in run.system.openings]
        widest = max(float(np.ptp(outline[:, 0])) for outline in outlines)
        across = min(_HOLE_PART / widest, self.upright / self.column)
        self.holes: dict[int, tuple[Array, Polygon, Line2D]] = {}
        self.streams: dict[int, Polygon] = {}
        self.trenches: dict[int, Rectangle] = {}
        for i, (outlet, outline) in enumerate(zip(site.outlets, outlines, strict=True)):
            if outlet.capped:
                draw_cap(axes, i)
                continue
            corners = outline * [across, 1.0]
            drawn = draw_hole(axes, i, corners, 0.0, outlet.label, 0.4, facecolor="none", zorder=3)
            self.holes[i] = (corners, *drawn)
            self.streams[i] = self._stream(f"stream {outlet.label}")
            if trench := run.system.trenches[i]:
                self.trenches[i] = self._draw_trench(i, outlet.label, trench)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next, from the back to the front."""
        # walls, holes and lips mostly stand still, but lie before the water
        walls = [self.axes.spines[side] for side in ("left", "right", "bottom")]
        parts: list[Artist] = [*self.axes.patches, *walls, *self.axes.lines]
        return sorted(parts, key=lambda part: part.get_zorder())

    def show(self, now: Moment) -> None:
        """Move everything to a moment."""
        self.water.set_height(max(now.level - self.scale.low, 0.0))
        self.surface.set_ydata([now.level, now.level])
        middle = -0.5 - 0.5 * INLET_WIDTH
        self._pour(self.inlet, middle, self.scale.high, now.level, now.inflow)
        for i, (corners, hole, lip) in self.holes.items():
            hole.set_xy(corners + np.array([i, now.lips[i]]))
            lip.set_ydata([now.lips[i], now.lips[i]])
            landing = self.floor
            if i in self.trenches:
                height = float(now.depth[i]) * self.per_depth
                self.trenches[i].set_height(height)
                landing = self.trench_bottom + height
            self._pour(self.streams[i], i, float(now.lips[i]), landing, float(now.flow[i]))

    def _pour(self, stream: Polygon, x: float, top: float, bottom: float, flow: float) -> None:
        stream.set_visible(flow > MIN_FLOW)
        half = 0.5 * flow * self.scale.per_flow
        stream.set_xy([(x - half, bottom), (x + half, bottom), (x + half, top), (x - half, top)])

    def _write_labels(self, sheet: Sheet, y: float) -> None:
        """Write the label of each outlet below its column, its number where there is no room."""
        whole, room = self.outcome.labels, self.column - 0.04
        cut = told_apart(whole, [wrap(label, room, SMALL, "bold", 1)[0] for label in whole])
        fits = all(text_width(label, SMALL, "bold") <= room for label in cut)
        written = cut if fits else [str(i + 1) for i in range(self.n)]
        for i, label in enumerate(written):
            sheet.write(self.first + i * self.column, y, label, ha="center", weight="bold")
        middle = self.first - 0.5 * (1.0 + INLET_WIDTH) * self.column
        sheet.write(middle, y, "inlet", ha="center")

    def _water(self, ends: tuple[float, float], bottom: float, name: str) -> Rectangle:
        """Water that stands from a bottom up, at first none."""
        water = Rectangle((ends[0], bottom), ends[1] - ends[0], 0.0, facecolor=TINT, zorder=1,
                          label=name, clip_on=False)  # fmt: skip
        self.axes.add_patch(water)
        return water

    def _stream(self, name: str) -> Polygon:
        # not snapped to whole dots, where the least of two equal streams could vanish
        stream = Polygon(np.zeros((4, 2)), facecolor=STREAM, edgecolor=STREAM, zorder=4,
                         label=name, clip_on=False, linewidth=HAIR, snap=False)  # fmt: skip
        self.axes.add_patch(stream)
        return stream

    def _draw_trench(self, i: int, label: str, trench: Trench) -> Rectangle:
        """Walls and pipe of a trench; returns the water in it."""
        half, bottom = 0.5 * _TRENCH_PART, self.trench_bottom
        top = bottom + (_TRENCH - 0.04) / self.upright
        across = (i - half, i - half, i + half, i + half)
        self.axes.plot(across, (top, bottom, bottom, top), color=INK, linewidth=THIN,
                       clip_on=False, zorder=5)  # fmt: skip
        pipe = bottom + trench.pipe_height * self.per_depth
        self.axes.plot(
            across[1:3], (pipe, pipe), color=INK, linewidth=HAIR, linestyle=(0, (4, 3)),
            clip_on=False, label=f"pipe {label}", zorder=2,
        )  # fmt: skip
        edge = 1.0 / 72 / self.column
        return self._water((i - half + edge, i + half - edge), bottom, f"trench {label}")


def deepest(run: Surge) -> float:
    """Depth that fills every trench as drawn: of the pipes, or of the trench once over them. [m]"""
    trenches = [trench for trench in run.system.trenches if trench]
    pipes = max((trench.pipe_height for trench in trenches), default=0.0)
    most = float(np.nanmax(run.depth, initial=0.0))
    return pipes if most <= pipes and pipes else max((t.depth for t in trenches), default=1.0)


_BAR = 0.56

NUMBER_ROOM = 0.2
"""Paper for the numbers under the bars. [in]"""


class ShareView:
    """Bars of the shares, one under each outlet's column of a box.

    ends: Bottom of the numbers under the bars, and top of the bars, on the page. [in]
    whole: Share that a bar of full height stands for. [-]
    """

    def __init__(self, sheet: Sheet, box: BoxView, ends: tuple[float, float], whole: float) -> None:
        outcome, column, n = box.outcome, box.column, box.n
        left, right = box.first - 0.5 * column, box.first + (n - 0.5) * column
        self.axes = axes = sheet.axes(left, right, ends[0] + NUMBER_ROOM, ends[1])
        axes.set(xlim=(-0.5, n - 0.5), ylim=(0.0, whole), xticks=[], yticks=[])
        axes.spines["left"].set_visible(False)
        roomy = text_width("100 %", SMALL) < column
        self.sign = " %" if roomy else ""
        self.bars: list[Rectangle] = []
        self.numbers: dict[int, Text] = {}
        for i, (label, target) in enumerate(zip(outcome.labels, outcome.target, strict=True)):
            bar = Rectangle((i - 0.5 * _BAR, 0.0), _BAR, 0.0, facecolor=TINT, zorder=2,
                            label=f"share {label}", **EDGE)  # fmt: skip
            axes.add_patch(bar)
            self.bars.append(bar)
            number = axes.text(i, -0.04 * whole, "", ha="center", va="top", fontsize=SMALL)
            if outcome.site.outlets[i].capped:
                number.set_text("capped" if roomy else "cap")
                continue
            self.numbers[i] = number
            axes.plot(
                (i - 0.42, i + 0.42), (target, target), color=INK, linewidth=TARGET,
                linestyle=(0, (3, 1.2)), label=f"target {label}", zorder=3,
            )  # fmt: skip

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next."""
        # targets stand still, but lie before the bars
        return [*self.bars, self.axes.spines["bottom"], *self.axes.lines, *self.numbers.values()]

    def show(self, share: Array) -> None:
        """Set the bars; share [-]."""
        for bar, part in zip(self.bars, share, strict=True):
            bar.set_height(part)
        for i, number in self.numbers.items():
            number.set_text(f"{round(100 * share[i])}{self.sign}")


TITLE_TEXT = "A discharge on its way through the box"
"""Title where the site has none."""


def time_axes(
    axes: Axes, run: Surge, low: float, high: float, *, count: int = 5
) -> tuple[Array, str]:
    """Set axes to the time of a run, with no tick outside; gives its times and their unit.

    low [in or gpm], high [in or gpm].
    """
    until = shown_until(run)
    unit, name = time_unit(until)
    axes.set(xlim=(0.0, until / unit), ylim=(low, high))
    axes.locator_params(axis="x", nbins=6)
    axes.locator_params(axis="y", nbins=count)
    axes.set_xticks([t for t in axes.get_xticks() if 0.0 <= t <= until / unit])
    axes.set_yticks([t for t in axes.get_yticks() if max(low, 0.0) <= t <= high])
    axes.tick_params(length=3, width=HAIR)
    return run.time / unit, name


_LEFT_ROOM, _RIGHT_ROOM = 0.85, 1.25
_AXIS_ROOM, _GAP = 0.45, 0.1
_MOST_ROW, _LEVEL_PART, _MOST_LEVEL = 0.9, 0.4, 3.6


@pens
def surge_figure(outcome: SurgeOutcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time."""
    check_outlets(len(outcome.labels))
    run, n = outcome.surge, len(outcome.labels)
    sheet = Sheet.blank()
    sheet.head(
        outcome.site.title or TITLE_TEXT,
        *[PLANNED] * outcome.site.planned,
        f"{run.event.name or 'a flow'}: {volume_text(run)}",
        f"Water stands highest at {clock(run.peak_time)}, "
        f"{outcome.site.lengths.both(run.rise)} over the lowest lip.",
    )
    sheet.foot(joined(outcome.warnings))
    rows = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _AXIS_ROOM) - _GAP
    level = min(_LEVEL_PART * rows, _MOST_LEVEL)
    room = _LEFT_ROOM - 0.1
    cut = [wrap(label, room, SMALL, "bold", 1)[0] for label in outcome.labels]
    names = told_apart(outcome.labels, cut)
    sheet.heading("Water in the box", "over the lowest lip; dashed: each lip")
    _draw_level(sheet, outcome, names, level)
    sheet.top -= level + _AXIS_ROOM + _GAP
    _draw_flows(sheet, outcome, names, min((rows - level) / n, _MOST_ROW))
    return sheet.figure


def _axes(sheet: Sheet, bottom: float, top: float) -> Axes:
    return sheet.axes(sheet.left + _LEFT_ROOM, sheet.right - _RIGHT_ROOM, bottom, top)


def _draw_level(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    run, still = outcome.surge, outcome.surge.system.still_level
    bottom = sheet.top - height
    axes = _axes(sheet, bottom, sheet.top)
    over, lips = (run.level - still) / INCH, (run.system.lips - still) / INCH
    open_ones = np.flatnonzero(np.isfinite(lips)).tolist()
    most = max(float(over.max()), float(lips[open_ones].max(initial=0.0)), 1 / 16)
    low, high = -0.06 * most, 1.08 * most
    time, unit = time_axes(axes, run, low, high)
    for i in open_ones:
        axes.axhline(lips[i], color=GREY, linewidth=HAIR, linestyle=(0, (5, 3)),
                     label=f"lip {outcome.labels[i]}")  # fmt: skip
    axes.plot(time, over, color=INK, linewidth=MEDIUM, label="level")
    axes.set_ylabel("in", fontsize=SMALL, rotation=0, labelpad=12)
    # outlets whose lips are at one height stand in one line, beside it
    groups: dict[float, list[str]] = {}
    for i in open_ones:
        groups.setdefault(round(float(lips[i]), 4), []).append(names[i])
    left = sheet.right - _RIGHT_ROOM
    at = [bottom + (lip - low) / (high - low) * height for lip in groups]
    written = spread_out(at, line_height(SMALL), bottom, sheet.top + 0.1)
    for labels, y, text_y in zip(groups.values(), at, written, strict=True):
        sheet.line([(left, y), (left + 0.2, text_y), (left + 0.26, text_y)], **LEADER)
        words = wrap("lip " + ", ".join(labels), _RIGHT_ROOM - 0.3, SMALL, most=1)[0]
        sheet.write(left + 0.3, text_y, words, va="center")
    sheet.write(left + 0.1, bottom - 0.08, f"time, {unit}")


def _draw_flows(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    """One row for each outlet, all on one scale."""
    run, n = outcome.surge, len(outcome.labels)
    most = float(run.peak_flow.max())
    words = f"a full row is {gpm(most)}; dashed: its target share; right: share (target)"
    sheet.heading("Flow of each outlet", words)
    passed, right = run.flow.sum(1), sheet.right - _RIGHT_ROOM + 0.1
    for i, (label, outlet) in enumerate(zip(outcome.labels, outcome.site.outlets, strict=True)):
        top = sheet.top - i * height
        axes = _axes(sheet, top - height, top - 0.06)
        time, unit = time_axes(axes, run, 0.0, 1.02 * most or 1.0)
        axes.set_yticks([])
        axes.fill_between(time, run.flow[:, i], color=TINT, linewidth=0.0)
        axes.plot(time, run.flow[:, i], color=INK, linewidth=THIN, label=f"flow {label}")
        axes.plot(time, outcome.target[i] * passed, color=INK, linewidth=THIN,
                  linestyle=(0, (4, 2)), label=f"wanted {label}")  # fmt: skip
        axes.tick_params(labelbottom=i == n - 1)
        middle = top - 0.5 * height
        sheet.write(sheet.left, middle, names[i], va="center", weight="bold")
        share, target = percent_text(float(run.share[i])), percent_text(float(outcome.target[i]))
        words = "capped" if outlet.capped else f"{share} ({target})"
        sheet.write(right, middle, words, va="center")
    sheet.write(right, sheet.top - n * height - 0.08, f"time, {unit}")


MOST_PANELS = 4
"""Flows that a sheet holds."""

_SCALE_ROOM, _CONTRAST_GAP, _STRIP, _BARS = 0.6, 0.25, 0.85, 1.5


@pens
def contrast_figure(outcomes: Sequence[SurgeOutcome]) -> Figure:
    """Draw the box with its water highest, and the shares at the end, for each run.

    Notes
    -----
    Four runs are drawn; where there are more, the sheet says which were left out.
    """
    if not outcomes:
        raise DomainError("there is no run to draw")
    check_outlets(len(outcomes[0].labels))
    drawn, left_out = outcomes[:MOST_PANELS], outcomes[MOST_PANELS:]
    sheet = Sheet.blank(across=True)
    sheet.head(
        outcomes[0].site.title or "One box at several flows",
        *[PLANNED] * outcomes[0].site.planned,
        f"The same {volume_text(outcomes[0].surge)} let into the same box at each flow",
    )
    notes = [
        "Water and streams as they are when the water stands highest; all heights to one scale, "
        "the streams of each flow to a scale of their own. Bars: share of all that has passed; "
        "dashed: target.",
        *joined(notes_side_by_side(drawn)),
    ]
    if left_out:
        notes.append(f"not drawn: {', '.join(o.surge.event.name for o in left_out)}")
    sheet.foot(notes)
    start = sheet.left + _SCALE_ROOM
    width = (sheet.right - start + _CONTRAST_GAP) / len(drawn)
    scale, whole = Scale.of(*(o.surge for o in drawn)), highest_share(drawn)
    for place, outcome in enumerate(drawn):
        left = start + place * width
        _draw_panel(sheet, outcome, scale, whole, left, left + width - _CONTRAST_GAP)
    return sheet.figure


def _draw_panel(
    sheet: Sheet, outcome: SurgeOutcome, scale: Scale, whole: float, left: float, right: float
) -> None:
    """Name and numbers of a run, its box, its bars, and its level against time."""
    run, y, first = outcome.surge, sheet.top, left == sheet.left + _SCALE_ROOM
    shares = run.share[[not outlet.capped for outlet in outcome.site.outlets]]
    least, most = (percent_text(float(share)) for share in (shares.min(), shares.max()))
    for text, size, weight in (
        (run.event.name, HEADING, "bold"),
        (gpm_litres(float(run.inflow.max())), SMALL, "normal"),
        (f"water up {outcome.site.lengths.both(run.rise)}", SMALL, "normal"),
        (f"shares {least} to {most}", SMALL, "bold"),
    ):
        for line in wrap(text, right - left, size, weight, 1):
            sheet.write(left, y, line, size, weight=weight)
            y -= line_height(size) + 0.03

    bottom = sheet.bottom + 0.3
    bars, below = bottom + _STRIP + 0.3, bottom + _STRIP + 0.35 + _BARS
    own = replace(scale, per_flow=Scale.of(run).per_flow)
    view = BoxView(sheet, outcome, own, (left, right, below, y - 0.1), ticks=first)
    view.show(run.at(run.peak_time))
    ShareView(sheet, view, (bars, below - 0.1), whole).show(run.share)

    # one scale of heights for all runs
    axes = sheet.axes(left, right, bottom, bottom + _STRIP)
    time, unit = time_axes(axes, run, 0.0, (scale.high - scale.still) / INCH, count=3)
    axes.plot(time, (run.level - scale.still) / INCH, color=INK, linewidth=MEDIUM,
              label=f"level {run.event.name}")  # fmt: skip
    axes.tick_params(labelleft=first)
    sheet.write(left + 0.08, bottom + _STRIP + 0.13, f"water, in, against time, {unit}")
