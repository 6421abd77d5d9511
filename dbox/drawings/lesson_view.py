"""A lesson's box to play with: its views while the water moves, a window, and a page.

Everything that moves is an artist that is made once and only moved after, so that a frame is cheap.
Heights are metres over where the lips of the level box are; one column for each outlet.

What stands still in the window is drawn once and kept as a picture; each frame puts that picture
back and draws the moving artists over it. The sliders' own knobs and words count as moving: left
to themselves they would have the whole figure drawn at each step, which is several times slower.

The page needs no network. Every setting that it offers was split beforehand (`lessons.frames`); it
holds the levels and shares as numbers, and a few lines of its own that look one up and move the
drawing. It asks for nothing from outside, and forbids itself to. The page itself is `player.html`;
here it gets its numbers and words.
"""

import base64
import json
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path
from typing import Any

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backend_bases import DrawEvent, Event
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Circle as Disc
from matplotlib.patches import Rectangle
from matplotlib.widgets import CheckButtons, RadioButtons, Slider

from dbox.arrays import Array
from dbox.drawings.fonts import drawable, families, use_fonts, write_on
from dbox.drawings.style import (
    BODY,
    EDGE,
    GREY,
    HAIR,
    HEADING,
    INK,
    MEDIUM,
    PALE,
    SMALL,
    THIN,
    TINT,
    draw_hole,
    pens,
)
from dbox.errors import ScenarioError
from dbox.fieldwork.lessons import FILLED, Bench, Frames
from dbox.fieldwork.shares import target_shares
from dbox.files.write_file import write_file
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import Split
from dbox.report.cautions import LESSON
from dbox.report.encode import encode
from dbox.units import INCH, LITRE_PER_MINUTE, gpm_litres, inches, millimetres

LOW, HIGH = -0.75 * INCH, 2.5 * INCH
"""Heights that the section shows. [m]"""

_LIP_HALF = 0.42
"""Half a lip, the distance of two outlets being 1. [-]"""

_INSIDE = (0.4, 0.5)
"""Inside of a box that was not measured, along and across. [m]"""


@dataclass(frozen=True)
class Motion:
    """One setting of the bench and what the water does then."""

    result: Split  # Of one box.
    kind: int  # Place of the opening among the kinds.
    lips: Array  # (n,) Where the lips stand; inf where capped. [m]
    far_low: float  # How much lower the far wall stands than the inlet wall. [m]
    right_low: float  # How much lower the right wall stands than the left one. [m]
    filled: bool  # Whether the trench of the one line has filled.


class SectionView:
    """The outlets side by side against the water, seen from the inlet.

    axes: Where to draw.
    bench: The box.
    column: Width of an outlet's column over the height of the axes. [-]
    """

    def __init__(self, axes: Axes, bench: Bench, column: float) -> None:
        n, place = len(bench.site.outlets), bench.outlet
        axes.set(xlim=(-0.5, n - 0.5), ylim=(LOW, HIGH))
        per_metre = min(1.0 / (column * (HIGH - LOW)), column_scale(bench))
        self.outlines = [
            outline_in(kind.opening, 2 * _LIP_HALF / per_metre) * [per_metre, 1.0]
            for kind in bench.kinds
        ]
        self.water = Rectangle((-0.5, LOW), n, 0.0, facecolor=TINT, edgecolor="none", zorder=1)
        self.level = Line2D([-0.5, n - 0.5], [0, 0], color=INK, linewidth=MEDIUM, zorder=5)
        self.level.set_label("water level")
        self.tail = Rectangle(
            (place - _LIP_HALF, LOW), 2 * _LIP_HALF, FILLED - LOW, facecolor="none", hatch="....",
            edgecolor=GREY, linewidth=HAIR, zorder=3,
        )  # fmt: skip
        for artist in (self.water, self.tail, self.level):
            axes.add_artist(artist)
        drawn = [
            draw_hole(axes, i, self.outlines[0], 0.0, o.label, _LIP_HALF, facecolor="none")
            for i, o in enumerate(bench.site.outlets)
        ]
        self.holes = [hole for hole, _ in drawn]
        self.lips = [lip for _, lip in drawn]
        # Everything that moves, from the back to the front.
        self.artists = [self.water, *self.holes, self.tail, self.level, *self.lips]
        ticks = np.arange(-0.5, 2.51, 0.5) * INCH
        axes.set_yticks(ticks, [inches(t) if t else "level lip" for t in ticks], fontsize=SMALL)
        axes.set_xticks(range(n), [f"outlet {o.label}" for o in bench.site.outlets], fontsize=SMALL)
        axes.tick_params(length=2, width=THIN)
        axes.grid(axis="y", color=PALE, linewidth=HAIR)
        axes.set_axisbelow(True)

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        level = float(np.clip(motion.result.level, LOW, HIGH))
        self.water.set_height(level - LOW)
        self.level.set_ydata([level, level])
        for i, (lip, hole, line) in enumerate(zip(motion.lips, self.holes, self.lips, strict=True)):
            is_open = bool(np.isfinite(lip))
            hole.set_visible(is_open)
            line.set_visible(is_open)
            if is_open:
                hole.set_xy(self.outlines[motion.kind] + [i, lip])
                line.set_ydata([lip, lip])
        self.tail.set_visible(motion.filled)


def column_scale(bench: Bench) -> float:
    """Most columns to a metre at which every opening but a notch fits into its column. [1/m]"""
    closed = [k.opening for k in bench.kinds if not k.opening.widens]
    widest = max((np.ptp(o.outline(HIGH - LOW)[:, 0]) for o in closed), default=0.0)
    return 2 * _LIP_HALF / max(float(widest), 1e-3)


def outline_in(opening: Opening, width: float) -> Array:
    """Corners of an opening as high as the section; a notch as far as it fits into a width.

    width [m] -> [m].
    """
    corners = opening.outline(HIGH - LOW)
    wide = float(np.ptp(corners[:, 0]))
    return corners * min(1.0, width / wide) if opening.widens else corners


class PlanView:
    """The box from above, the inlet at the bottom; each line as wide as its share.

    axes: Where to draw, its units being metres.
    bench: The box.
    """

    def __init__(self, axes: Axes, bench: Bench) -> None:
        box, outlets = bench.site.box, bench.site.outlets
        self.labels = [outlet.label for outlet in outlets]
        self.length, self.width = length, width = inside_of(bench)
        out, middle = 0.34 * max(length, width), width / 2
        axes.set(xlim=(-out, width + out), ylim=(-0.6 * out, length + out))
        axes.set_aspect("equal")
        axes.set_axis_off()
        look: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": MEDIUM}
        axes.add_patch(
            Disc((middle, length / 2), middle, **look)
            if box.shape == "round"
            else Rectangle((0, 0), width, length, **look)
        )
        axes.annotate(
            "inlet", (middle, 0.2 * length), (middle, -0.14 * length), fontsize=SMALL, ha="center",
            va="top", arrowprops={"arrowstyle": "-|>", "color": INK},
        )  # fmt: skip
        words: dict[str, Any] = {"fontsize": SMALL, "ha": "center", "va": "bottom"}
        self.lines, self.words = [], []
        for outlet in outlets:
            (x, y), (u, v) = way_out(outlet.position or (0.0, 0.0), length, width)
            ends = [x, x + 0.7 * u * out], [y, y + 0.7 * v * out]
            self.lines.append(Line2D(*ends, color=INK, solid_capstyle="butt", zorder=4))
            spot = x + 0.45 * u * out, y + (0.8 * v + 0.36 * abs(u)) * out
            self.words.append(axes.text(*spot, "", zorder=5, **words))
        self.low = Disc((0, 0), 0.035 * max(length, width), facecolor="white", edgecolor=INK,
                        hatch="xxxx", zorder=5)  # fmt: skip
        self.low_word = axes.text(0, 0, "low", zorder=6, **words)
        for artist in (self.low, *self.lines):
            axes.add_artist(artist)
        # Everything that moves.
        self.artists = [*self.lines, self.low, self.low_word, *self.words]

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        shares = motion.result.share
        for share, label, line, word in zip(
            shares, self.labels, self.lines, self.words, strict=True
        ):
            line.set_linewidth(26.0 * float(share))
            write_on(word, f"{label}: {100 * share:.0f} %")
        most = max(abs(motion.far_low), abs(motion.right_low))
        leans = most > 1e-6
        self.low.set_visible(leans)
        self.low_word.set_visible(leans)
        if leans:
            x = self.width * (0.5 + 0.4 * motion.right_low / most)
            y = self.length * (0.5 + 0.4 * motion.far_low / most)
            self.low.set_center((x, y))
            self.low_word.set_position((x, y + 0.05 * self.length))


def inside_of(bench: Bench) -> tuple[float, float]:
    """Inside length and width of the box; a usual one where it was not measured. [m]"""
    inside = bench.site.box.inside or _INSIDE
    return inside[0], inside[-1]


def way_out(
    position: tuple[float, float], length: float, width: float
) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where an outlet leaves the box, and which way.

    position [m], length [m], width [m] -> [m], [-].
    """
    along, across = position
    walls = [(length - along, (0.0, 1.0)), (across, (-1.0, 0.0)), (width - across, (1.0, 0.0))]
    return (across, along), min(walls, key=lambda wall: wall[0])[1]


class ShareView:
    """The share of every outlet as a bar, with the fair share across.

    axes: Where to draw.
    bench: The box.
    fair: (n,) Wanted share of each outlet. [-]
    """

    def __init__(self, axes: Axes, bench: Bench, fair: Array) -> None:
        n = len(bench.site.outlets)
        axes.set(xlim=(-0.5, n - 0.5), ylim=(0, 100))
        self.bars = [Rectangle((i - 0.3, 0), 0.6, 0, facecolor=TINT, **EDGE) for i in range(n)]
        self.words = [axes.text(i, 0, "", fontsize=SMALL, ha="center", va="bottom")
                      for i in range(n)]  # fmt: skip
        for artist in self.bars:
            axes.add_artist(artist)
        # Everything that moves.
        self.artists = [*self.bars, *self.words]
        axes.hlines(100 * fair, np.arange(n) - 0.42, np.arange(n) + 0.42, color=INK,
                    linewidth=THIN, linestyle=(0, (4, 3)))  # fmt: skip
        axes.set_yticks([0, 25, 50, 75, 100], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.set_xticks(range(n), [f"outlet {o.label}" for o in bench.site.outlets])
        axes.tick_params(length=2, width=THIN, labelsize=SMALL)

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        for share, bar, word in zip(motion.result.share, self.bars, self.words, strict=True):
            bar.set_height(100 * share)
            word.set_text(f"{100 * share:.0f} %")
            word.set_y(min(100 * float(share) + 1, 92))


SIZE = (11.0, 7.2)
"""Size of the window. [in]"""

MOST_LEAN, MOST_LIP = 0.5, 0.25
"""How far the sliders go, either way. [in]"""

FLOWS = (1.0, 120.0)
"""Least and most flow of the slider. [L/min]"""

_NOTE = (
    "The lips are level before the box leans. Below 5 mm of head surface tension decides and "
    "the formulas are out of their range. Local code and permit decide."
)


class LiveWindow:
    """A bench with sliders; keep it as long as its window is open.

    bench: The box.
    figure: An empty figure on a canvas that can keep a part of itself, as every window's can.

    Notes
    -----
    `sliders` are `far`, `right`, `lip` (inches, as those on site think) and `flow` (the logarithm
    to base 10 of litres a minute); `kinds` and `trench` are the buttons.
    """

    @pens
    def __init__(self, bench: Bench, figure: Figure) -> None:
        self.bench, self.figure = bench, figure
        self.fair = target_shares(bench.site)
        figure.set_size_inches(*SIZE)
        self._background: object | None = None
        section = figure.add_axes((0.09, 0.55, 0.52, 0.36))
        column = section.bbox.width / section.bbox.height / len(bench.site.outlets)
        self.section = SectionView(section, bench, column)
        self.plan = PlanView(figure.add_axes((0.64, 0.47, 0.35, 0.46)), bench)
        self.shares = ShareView(figure.add_axes((0.09, 0.31, 0.52, 0.17)), bench, self.fair)
        figure.text(0.03, 0.965, "Lean it, and watch the water", fontsize=HEADING + 2,
                    weight="bold", va="top")  # fmt: skip
        self.words = figure.text(0.97, 0.965, "", fontsize=BODY, va="top", ha="right")
        # Widgets draw the whole figure as they come.
        use_fonts([figure])
        label = drawable(bench.site.outlets[bench.outlet].label)
        with matplotlib.rc_context({"font.family": families(label)}):
            self._add_widgets(label)
        invented = "Invented box. " if bench.site.record.invented else ""
        figure.text(0.03, 0.012, invented + _NOTE, fontsize=SMALL, va="bottom")
        # Everything that is drawn anew for each frame.
        self.moving: list[Artist] = [
            *self.section.artists, *self.shares.artists, *self.plan.artists, self.words
        ]  # fmt: skip
        for slider in self.sliders.values():
            self.moving += [slider.poly, *slider.ax.lines, slider.valtext]
            slider.on_changed(self._changed)
        self.kinds.on_clicked(self._changed)
        self.trench.on_clicked(self._changed)
        for artist in self.moving:
            artist.set_animated(True)
        self.motion = self._move()
        figure.canvas.mpl_connect("draw_event", self._keep)

    def _add_widgets(self, label: str) -> None:
        low, high = (float(np.log10(flow)) for flow in FLOWS)
        bars = {
            "right": ("right side low", -MOST_LEAN, MOST_LEAN, 0.0),
            "far": ("far side low", -MOST_LEAN, MOST_LEAN, 0.0),
            "lip": (f"lip {label} alone", -MOST_LIP, MOST_LIP, 0.0),
            "flow": ("flow", low, high, low),
        }
        self.sliders = {}
        for row, (name, (words, least, most, start)) in enumerate(bars.items()):
            axes = self.figure.add_axes((0.14, 0.215 - 0.05 * row, 0.33, 0.035))
            slider = Slider(axes, words, least, most, valinit=start, color=TINT, track_color="0.95",
                            initcolor="none", dragging=True)  # fmt: skip
            # Drawn by `redraw`, not by the slider itself.
            slider.drawon = False
            self.sliders[name] = slider
        self.kinds = RadioButtons(
            self.figure.add_axes((0.66, 0.05, 0.17, 0.24), frameon=False),
            [kind.name for kind in self.bench.kinds], activecolor=INK, useblit=False,
        )  # fmt: skip
        self.trench = CheckButtons(
            self.figure.add_axes((0.83, 0.17, 0.16, 0.1), frameon=False),
            [f"trench of line\n{label} full"], useblit=False,
        )  # fmt: skip

    def redraw(self) -> None:
        """Draw one frame: what stands still from the kept picture, the rest anew."""
        canvas = self.figure.canvas
        if self._background is None or not isinstance(canvas, FigureCanvasAgg):
            canvas.draw()
            return
        canvas.restore_region(self._background)  # type: ignore[no-untyped-call]
        self._draw_moving()
        canvas.blit(self.figure.bbox)

    def _changed(self, _: object) -> None:
        self.motion = self._move()
        self.redraw()

    def _move(self) -> Motion:
        """Split at what is set, and move every artist to it."""
        far, right, lip = (INCH * self.sliders[name].val for name in ("far", "right", "lip"))
        inflow = LITRE_PER_MINUTE * 10 ** self.sliders["flow"].val
        kind = int(self.kinds.index_selected)
        filled = bool(self.trench.get_status()[0])
        result = self.bench.split(kind, inflow, far, right, lip, filled)
        motion = Motion(result, kind, self.bench.lips(far, right, lip), far, right, filled)
        for view in (self.section, self.plan, self.shares):
            view.move(motion)
        for name, slider in self.sliders.items():
            slider.valtext.set_text((_flow_words if name == "flow" else _height_words)(slider.val))
        most = int(np.argmax(result.share))
        write_on(
            self.words,
            f"outlet {self.plan.labels[most]} gets {100 * result.share[most]:.0f} %, "
            f"fair is {100 * self.fair[most]:.3g} %",
        )
        return motion

    def _keep(self, event: Event) -> None:
        """After the whole figure was drawn, without what moves: keep it, and add what moves."""
        canvas = self.figure.canvas
        saving = canvas.is_saving()
        if isinstance(event, DrawEvent) and isinstance(canvas, FigureCanvasAgg) and not saving:
            self._background = canvas.copy_from_bbox(  # type: ignore[no-untyped-call]
                self.figure.bbox
            )
        self._draw_moving()

    def _draw_moving(self) -> None:
        for artist in self.moving:
            self.figure.draw_artist(artist)


def _height_words(value: float) -> str:
    return f"{inches(value * INCH, signed=True, parts=32)}, {millimetres(value * INCH)}"


def _flow_words(value: float) -> str:
    return gpm_litres(LITRE_PER_MINUTE * 10**value)


def show(bench: Bench) -> None:
    """Open the window and wait until it is closed."""
    from matplotlib import pyplot

    window = LiveWindow(bench, pyplot.figure("dbox teach live"))
    pyplot.show()
    del window


def has_screen() -> bool:
    """Whether matplotlib finds a way to open a window here."""
    from matplotlib import pyplot
    from matplotlib.backends.registry import BackendFilter, backend_registry

    windows = backend_registry.list_builtin(  # type: ignore[no-untyped-call]
        BackendFilter.INTERACTIVE
    )
    name = matplotlib.get_backend()
    if name.lower() not in windows:
        return False
    try:
        pyplot.switch_backend(name)
    except ImportError:
        # A backend was asked for that finds no screen
        return False
    return True


LEVEL_STEP, SHARE_STEP, LEVEL_ZERO = 1e-5, 1e-4, 20_000
"""What one count stands for, of a level [m] and of a share [-], and the count of a level of 0."""

WIDTH, SECTION = 560, 260
"""Width of all columns and height of the section, in units of the drawing."""


def player_html(frames: Frames) -> str:
    """Write the page."""
    page = files("dbox.drawings").joinpath("player.html").read_text(encoding="utf-8")
    page = page.replace("CAUTION", LESSON)
    data = json.dumps(encode(_data(frames)), allow_nan=False, ensure_ascii=False)
    # No text in the data can end the script that they stand in.
    return page.replace('"DATA"', data.replace("<", "\\u003c"))


def save_html(text: str, path: Path | str, *, overwrite: bool = False) -> None:
    """Write a page to a file."""
    path = Path(path)
    if path.suffix.lower() != ".html":
        raise ScenarioError(f"{path}: a page to play with ends in .html; name one so")
    write_file(path, text, overwrite=overwrite)


def numbers(frames: Frames) -> str:
    """All levels and shares as the page holds them: counts of two bytes, written as base64."""
    level = np.rint(frames.level / LEVEL_STEP) + LEVEL_ZERO
    share = np.rint(frames.share / SHARE_STEP)
    counts = np.concatenate([np.clip(level, 0, 65535)[..., None], share], axis=-1)
    return base64.b64encode(counts.astype("<u2").tobytes()).decode("ascii")


def _data(frames: Frames) -> dict[str, Any]:
    bench = frames.bench
    site = bench.site
    length, across = inside_of(bench)
    lean = bench.lips(np.array([1.0, 0.0]), np.array([0.0, 1.0]), np.zeros(2))
    lean_far, lean_right = np.where(np.isfinite(lean), lean, 0.0)

    per_metre, column = SECTION / (HIGH - LOW), WIDTH / len(site.outlets)
    scale = np.array([min(per_metre, column * column_scale(bench)), -per_metre])
    corners = [outline_in(kind.opening, 0.84 * column / scale[0]) * scale for kind in bench.kinds]
    marks = INCH / 2 * np.arange(-1, 6)
    return {
        "title": site.title or "A box to play with",
        "invented": site.record.invented,
        "labels": [outlet.label for outlet in site.outlets],
        "open": [not outlet.capped for outlet in site.outlets],
        "wrong": bench.outlet,
        "fair": (100 * target_shares(site)).round(1),
        "length": length,
        "across": across,
        "round": site.box.shape == "round",
        "ways": [
            [*place, *way]
            for place, way in (way_out(o.position or (0, 0), length, across) for o in site.outlets)
        ],
        "filled": FILLED,
        "leanFar": lean_far,
        "leanRight": lean_right,
        "far": frames.far_low,
        "right": frames.right_low,
        "lip": frames.lip,
        "sliders": {
            "right": _slider("right side lower than the left", _heights(frames.right_low)),
            "far": _slider("far side lower than the inlet side", _heights(frames.far_low)),
            "lip": _slider(
                f"lip of outlet {site.outlets[bench.outlet].label} alone", _heights(frames.lip)
            ),
            "flow": {**_slider("flow into the box", [gpm_litres(q) for q in frames.inflow]),
                     "start": 0},
        },
        "kinds": [
            (kind.name, " ".join(f"{x:.1f},{y:.1f}" for x, y in points))
            for kind, points in zip(bench.kinds, corners, strict=True)
        ],
        "width": WIDTH,
        "section": SECTION,
        "perMetre": per_metre,
        "low": LOW,
        "high": HIGH,
        "scale": [(mark, inches(mark) if mark else "level lip") for mark in marks],
        "zero": LEVEL_ZERO,
        "levelStep": LEVEL_STEP,
        "shareStep": SHARE_STEP,
        "counts": numbers(frames),
    }  # fmt: skip


def _slider(label: str, words: list[str]) -> dict[str, Any]:
    """A slider that begins in the middle."""
    return {"label": label, "words": words, "start": len(words) // 2}


def _heights(values: Array) -> list[str]:
    return [
        f"{inches(v, signed=True)} ({millimetres(v, signed=True)})" if v else "level"
        for v in values
    ]
