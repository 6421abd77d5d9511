"""Views of one moment of a run: box, streams, trenches and shares.

Between the kept rows of a run everything goes straight. A film plays the time in which water moves
at one speed, and hurries through the rest.

Outlets stand side by side in their order, seen from the inlet, which has a column of its own on the
left. The width of a stream says how large its flow is, on one scale for all of them.
"""

from dataclasses import dataclass

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text

from dbox.arrays import Array, freeze
from dbox.drawings.style import (
    HAIR,
    INK,
    MEDIUM,
    SMALL,
    TARGET,
    THICK,
    THIN,
    TINT,
    Sheet,
    text_width,
    told_apart,
    wrap,
)
from dbox.drawings.wall import outline
from dbox.fieldwork.site import Site
from dbox.fieldwork.surge import Outcome
from dbox.hydraulics.surge.march import DRIP, Surge
from dbox.hydraulics.surge.parts import Trench
from dbox.units import INCH, gallons, inches, litres

FRAME = 0.08
"""Playing time of a frame; whole hundredths, as a GIF counts. [s]"""

MOVING_FRAMES, QUIET_FRAMES = 120, 24
"""Frames for the time in which water moves, and at most for the rest."""

MOVING = 0.05
"""Flow over the greatest flow from which on a run is worth watching. [-]"""

THROUGH = 0.99
"""Part of all water that has left the box when a picture of the run ends. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Moment:
    """A run at one time; arrays are read-only."""

    time: float  # [s]
    level: float  # Water in the box over the datum of the lips. [m]
    inflow: float  # Flow into the box and over its rim. [m3/s]
    overflow: float  # Flow into the box and over its rim. [m3/s]
    flow: Array  # (n,) Flow of each outlet. [m3/s]
    share: Array  # (n,) Share of each in what has passed so far. [-]
    depth: Array  # (n,) Water in each trench over its bottom; NaN where there is no trench. [m]
    lips: Array  # (n,) Lips over the datum. [m]


def moment(run: Surge, time: float) -> Moment:
    """Read a run at any time; time [s]."""
    after = int(np.clip(np.searchsorted(run.time, time), 1, run.time.size - 1))
    start, end = run.time[after - 1 : after + 1]
    part = float(np.clip((time - start) / (end - start), 0.0, 1.0))

    def between(rows: Array) -> Array:
        return np.asarray((1.0 - part) * rows[after - 1] + part * rows[after])

    volume = between(run.volume)
    lips, is_open = run.system.lips, np.isfinite(run.lips_end)
    sunk = np.subtract(run.lips_end, lips, out=np.zeros_like(lips), where=is_open)
    arrays = {
        "flow": between(run.flow),
        "share": volume / (volume.sum() or 1.0),
        "depth": between(run.depth),
        "lips": lips + sunk * time / run.seconds,
    }
    freeze(*arrays.values())
    return Moment(
        time=time,
        level=float(between(run.level)),
        inflow=float(between(run.inflow)),
        overflow=float(between(run.overflow)),
        **arrays,
    )


def shown_until(run: Surge) -> float:
    """When hardly any water of a run is left to pass the box. [s]"""
    passed = run.volume.sum(1) + run.spilled
    last = int(np.argmax(passed >= THROUGH * passed[-1])) if passed[-1] > 0 else -1
    return float(run.time[last]) if run.time[last] > 0 else run.seconds


def is_moving(run: Surge) -> tuple[bool, ...]:
    """Whether water moves in each step of a run, more than `MOVING` of its greatest flow."""
    flow = np.maximum(run.inflow, run.flow.sum(1) + run.overflow)
    busy = flow > MOVING * flow.max()
    return tuple((busy[1:] | busy[:-1]).tolist())


def frame_times(run: Surge, frames: int = MOVING_FRAMES) -> Array:
    """Choose the moments of a film. [s]

    Notes
    -----
    Quiet times go by at least as fast as the others, in at most `QUIET_FRAMES`.
    """
    until = shown_until(run)
    ends = np.minimum(run.time, until)
    steps, moving = np.diff(ends), np.array(is_moving(run))
    busy = float(steps[moving].sum()) or until
    quiet = until - busy
    fast = min(QUIET_FRAMES, frames * quiet / busy) / quiet if quiet > 0 else 0.0
    played = np.append(0.0, np.cumsum(steps * np.where(moving, frames / busy, fast)))
    at: Array = np.interp(np.linspace(0.0, played[-1], round(played[-1]) + 1), played, ends)
    freeze(at)
    return at


def about(run: Surge) -> str:
    """What ran in, and how much."""
    name = run.event.name or "a flow"
    return f"{name}: {gallons(run.came)} ({litres(run.came)})"


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
    units = [(1.0, "s"), (60.0, "min"), (3600.0, "h")]
    return next((u for u in units if seconds <= 180 * u[0]), (86400.0, "days"))


_BAR = 0.56

NUMBER_ROOM = 0.2
"""Paper for the numbers under the bars. [in]"""


class ShareView:
    """Bars of the shares, one under each outlet's column.

    sheet: The page.
    outcome: The run and its targets.
    first: Middle of the first column, and width of one. [in]
    column: Middle of the first column, and width of one. [in]
    bottom: Of bars, and numbers under them, on the page. [in]
    top: Of bars, and numbers under them, on the page. [in]
    whole: Share that a bar of full height stands for. [-]
    """

    def __init__(
        self,
        sheet: Sheet,
        outcome: Outcome,
        first: float,
        column: float,
        bottom: float,
        top: float,
        whole: float,
    ) -> None:
        n = len(outcome.labels)
        self.axes = sheet.axes(
            first - 0.5 * column, first + (n - 0.5) * column, bottom + NUMBER_ROOM, top
        )
        self.axes.set(xlim=(-0.5, n - 0.5), ylim=(0.0, whole))
        for side in ("left", "right", "top"):
            self.axes.spines[side].set_visible(False)
        self.axes.set(xticks=[], yticks=[])
        self.sign = " %" if text_width("100 %", SMALL) < column else ""
        self.bars: list[Rectangle] = []
        self.targets: list[Line2D] = []
        self.numbers: list[Text | None] = []
        for i, target in enumerate(outcome.target):
            self._column(i, outcome.labels[i], float(target), outcome.site.outlets[i].capped)

    def _column(self, i: int, label: str, target: float, capped: bool) -> None:
        bar = Rectangle((i - 0.5 * _BAR, 0.0), _BAR, 0.0, facecolor=TINT, edgecolor=INK,
                        linewidth=THIN, zorder=2)  # fmt: skip
        bar.set_label(f"share {label}")
        self.axes.add_patch(bar)
        half = 0.42
        if not capped:
            self.targets += self.axes.plot(
                (i - half, i + half), (target, target), color=INK, linewidth=TARGET,
                linestyle=(0, (3, 1.2)), label=f"target {label}", zorder=3,
            )  # fmt: skip
        closed = "capped" if self.sign else "cap"
        below = -0.04 * self.axes.get_ylim()[1]
        number = self.axes.text(i, below, closed if capped else "", ha="center", va="top",
                                fontsize=SMALL)  # fmt: skip
        self.bars.append(bar)
        self.numbers.append(None if capped else number)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next."""
        # targets stand still, but lie before the bars
        floor = self.axes.spines["bottom"]
        return [
            *self.bars,
            floor,
            *self.targets,
            *(number for number in self.numbers if number is not None),
        ]

    def show(self, share: Array) -> None:
        """Set the bars; share [-]."""
        for bar, number, part in zip(self.bars, self.numbers, share, strict=True):
            bar.set_height(part)
            if number is not None:
                number.set_text(f"{round(100 * part)}{self.sign}")


def full_bar(*outcomes: Outcome) -> float:
    """Share that the highest bar of some runs needs, and twice the target at least. [-]"""
    most = max(2.0 * float(o.target.max()) for o in outcomes)
    for outcome in outcomes:
        share = outcome.surge.running_share
        # the first water all goes to one line; its bar may then be cut off
        late = outcome.surge.volume.sum(1) > 0.1 * outcome.surge.volume[-1].sum()
        most = max(most, float(np.max(share[late], initial=0.0)))
    return min(1.05 * most, 1.0)


INLET_WIDTH = 1.5
"""Width of the inlet's column over that of an outlet. [-]"""

STREAM = "0.3"
"""Grey of water that falls."""

_LEAST_VIEW = 1.0 * INCH
_HOLE_PART, _STREAM_PART, _TRENCH_PART = 0.62, 0.56, 0.8
_FALL, _TRENCH = 0.32, 0.5
_TICK_STEPS = (1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16, 32, 64)


@dataclass(frozen=True)
class Scale:
    """What part of the wall is drawn, and how wide a flow is."""

    low: float  # Heights at the lower and upper edge, over the datum of the lips. [m]
    high: float  # Heights at the lower and upper edge, over the datum of the lips. [m]
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

    sheet: The page.
    site: Labels, and which outlets are capped.
    run: The run, for lips, holes and trenches.
    scale: What is shown.
    place: Left, right, bottom and top on the page. [in]
    ticks: Whether heights are written beside it.
    """

    def __init__(
        self,
        sheet: Sheet,
        site: Site,
        run: Surge,
        scale: Scale,
        place: tuple[float, float, float, float],
        *,
        ticks: bool = True,
    ) -> None:
        left, right, bottom, top = place
        self.run, self.scale, self.n = run, scale, len(site.outlets)
        self.column = (right - left) / (self.n + INLET_WIDTH)
        self.first = left + (INLET_WIDTH + 0.5) * self.column
        below = self._room_below()
        self.axes = sheet.axes(left, right, bottom + below, top)
        self.upright = (top - bottom - below) / (scale.high - scale.low)
        self.axes.set(xlim=(-0.5 - INLET_WIDTH, self.n - 0.5), ylim=(scale.low, scale.high))
        self._dress(ticks)
        self.labels = _write_labels(sheet, site, self.column, self.first, bottom + 0.15)
        middle = self.first - 0.5 * (1.0 + INLET_WIDTH) * self.column
        sheet.write(middle, bottom + 0.15, "inlet", ha="center")
        self._draw_water()
        self.open = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
        self.holes = {i: self._hole(i) for i in self.open}
        self.caps = [self._cap(i) for i in range(self.n) if i not in self.open]
        self.streams = {i: self._stream(f"stream {self.labels[i]}") for i in self.open}
        self.deepest = _deepest(run)
        self.pipes: list[Line2D] = []
        trenches = enumerate(run.system.trenches)
        self.trenches = {i: self._draw_trench(i, t) for i, t in trenches if t and i in self.open}

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next, from the back to the front."""
        # walls, holes and lips mostly stand still, but lie before the water
        walls = [self.axes.spines[side] for side in ("left", "right", "bottom")]
        holes = [hole[1] for hole in self.holes.values()]
        lips = [hole[2] for hole in self.holes.values()]
        parts: list[Artist] = [
            self.water, *self.rim, *walls, *holes, self.inlet, *self.trenches.values(), *self.pipes,
            *self.streams.values(), *lips, self.surface, *self.caps,
        ]  # fmt: skip
        return sorted(parts, key=lambda part: part.get_zorder())

    def show(self, now: Moment) -> None:
        """Move everything to a moment."""
        scale = self.scale
        self.water.set_height(max(now.level - scale.low, 0.0))
        self.surface.set_ydata([now.level, now.level])
        middle = -0.5 - 0.5 * INLET_WIDTH
        self._pour(self.inlet, middle, scale.high, now.level, now.inflow)
        for i in self.open:
            corners, shape, lip = self.holes[i]
            shape.set_xy(corners + np.array([0.0, now.lips[i]]))
            lip.set_ydata([now.lips[i], now.lips[i]])
            landing = self._floor
            if i in self.trenches:
                height = self._in_trench(float(now.depth[i]))
                self.trenches[i].set_height(height)
                landing = self._trench_bottom + height
            self._pour(self.streams[i], i, float(now.lips[i]), landing, float(now.flow[i]))

    def _pour(self, stream: Polygon, x: float, top: float, bottom: float, flow: float) -> None:
        stream.set_visible(flow > DRIP)
        half = 0.5 * flow * self.scale.per_flow
        stream.set_xy([(x - half, bottom), (x + half, bottom), (x + half, top), (x - half, top)])

    def _room_below(self) -> float:
        """Paper for falling water, trenches and labels. [in]"""
        some = any(self.run.system.trenches)
        return 0.2 + _FALL + (_TRENCH if some else 0.0)

    @property
    def _floor(self) -> float:
        return self.scale.low - _FALL / self.upright

    @property
    def _trench_bottom(self) -> float:
        return self._floor - (_TRENCH - 0.04) / self.upright

    def _in_trench(self, depth: float) -> float:
        """Height of a depth in a trench, in heights of the section. [m]"""
        return depth / self.deepest * (_TRENCH - 0.1) / self.upright

    def _draw_water(self) -> None:
        left, width = -0.5 - INLET_WIDTH, self.n + INLET_WIDTH
        self.water = Rectangle((left, self.scale.low), width, 0.0, facecolor=TINT, zorder=1)
        self.water.set_label("water")
        self.axes.add_patch(self.water)
        self.inlet = self._stream("inlet")
        (self.surface,) = self.axes.plot(
            (left, left + width), (0.0, 0.0), color=INK, linewidth=MEDIUM, label="level", zorder=6
        )
        rim = self.run.system.rim
        self.rim: list[Line2D] = []
        if rim is not None and rim < self.scale.high:
            self.rim = self.axes.plot((left, left + width), (rim, rim), color=INK, linewidth=THIN,
                           linestyle=(0, (6, 2)), label="rim", zorder=2)  # fmt: skip

    def _stream(self, name: str) -> Polygon:
        stream = Polygon(np.zeros((4, 2)), facecolor=STREAM, edgecolor=STREAM, zorder=4)
        # not snapped to whole dots, where the least of two equal streams could vanish
        stream.set(label=name, clip_on=False, linewidth=HAIR, snap=False)
        self.axes.add_patch(stream)
        return stream

    def _hole(self, i: int) -> tuple[Array, Polygon, Line2D]:
        """Outline of a hole and its lip."""
        openings, scale = self.run.system.openings, self.scale
        reach = scale.high - scale.low
        widest = max(float(np.ptp(outline(o, reach)[:, 0])) for o in openings)
        corners = outline(openings[i], reach)
        across = min(_HOLE_PART / widest, self.upright / self.column)
        corners = corners * [across, 1.0] + [i, 0.0]
        shape = Polygon(corners, facecolor="none", edgecolor=INK, linewidth=THIN, zorder=3)
        shape.set_label(f"hole {self.labels[i]}")
        self.axes.add_patch(shape)
        (lip,) = self.axes.plot(
            (i - 0.4, i + 0.4), (0.0, 0.0), color=INK, linewidth=THICK,
            solid_capstyle="butt", label=f"lip {self.labels[i]}", zorder=5,
        )  # fmt: skip
        return corners, shape, lip

    def _cap(self, i: int) -> Rectangle:
        """A hatched lid; its height means nothing, since a capped outlet has no lip."""
        low, span = self.scale.low, self.scale.high - self.scale.low
        lid = Rectangle((i - 0.3, low + 0.2 * span), 0.6, 0.6 * span, facecolor="white",
                        edgecolor=INK, linewidth=THIN, hatch="////", zorder=7)  # fmt: skip
        self.axes.add_patch(lid)
        return lid

    def _draw_trench(self, i: int, trench: Trench) -> Rectangle:
        half, tall = 0.5 * _TRENCH_PART, (_TRENCH - 0.04) / self.upright
        bottom = self._trench_bottom
        across = (i - half, i - half, i + half, i + half)
        self.axes.plot(across, (bottom + tall, bottom, bottom, bottom + tall), color=INK,
                       linewidth=THIN, clip_on=False, zorder=5)  # fmt: skip
        pipe = bottom + self._in_trench(trench.pipe_height)
        self.pipes += self.axes.plot(
            across[1:3], (pipe, pipe), color=INK, linewidth=HAIR, linestyle=(0, (4, 3)),
            clip_on=False, label=f"pipe {self.labels[i]}", zorder=2,
        )  # fmt: skip
        edge = 1.0 / 72 / self.column
        water = Rectangle(
            (i - half + edge, bottom), 2 * (half - edge), 0.0, facecolor=TINT, zorder=1
        )
        water.set(label=f"trench {self.labels[i]}", clip_on=False)
        self.axes.add_patch(water)
        return water

    def _dress(self, ticks: bool) -> None:
        """Floor and walls of the box, and a scale in inches over still water."""
        _open_topped(self.axes)
        scale = self.scale
        apart = 0.3 / self.upright / INCH
        step = next((s for s in _TICK_STEPS if s >= apart), apart) * INCH
        first, last = (np.floor((z - scale.still) / step) for z in (scale.low, scale.high))
        over = np.arange(first + 1, last + 1) * step
        names = [inches(z, signed=True) if ticks else "" for z in over]
        self.axes.set_yticks(over + scale.still, names, fontsize=SMALL)


def _deepest(run: Surge) -> float:
    """Depth that fills every trench as drawn: of the pipes, or of the trench once over them. [m]"""
    trenches = [trench for trench in run.system.trenches if trench]
    pipes = max((trench.pipe_height for trench in trenches), default=0.0)
    most = float(np.nanmax(run.depth, initial=0.0))
    return pipes if most <= pipes and pipes else max((t.depth for t in trenches), default=1.0)


def _open_topped(axes: Axes) -> None:
    for side in ("left", "right", "bottom"):
        axes.spines[side].set_linewidth(THICK)
    axes.spines["top"].set_visible(False)
    axes.set_xticks([])
    axes.tick_params(length=3, width=THIN)


def _write_labels(sheet: Sheet, site: Site, column: float, first: float, y: float) -> list[str]:
    """Write the label of each outlet below its column, its number where there is no room."""
    whole = [outlet.label for outlet in site.outlets]
    room = column - 0.04
    cut = told_apart(whole, [wrap(label, room, SMALL, "bold", 1)[0] for label in whole])
    fits = all(text_width(label, SMALL, "bold") <= room for label in cut)
    written = cut if fits else [str(i + 1) for i in range(len(whole))]
    for i, label in enumerate(written):
        sheet.write(first + i * column, y, label, ha="center", weight="bold")
    return whole
