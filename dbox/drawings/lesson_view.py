"""A lesson's box while its water moves, and the window to play with it.

Everything that moves is an artist that is made once and only moved after, so that a frame is cheap.
Heights are metres over where the lips of the level box are; one column for each outlet.

What stands still is drawn once and kept as a picture; each frame puts that picture back and draws
the moving artists over it. The sliders' own knobs and words count as moving: left to themselves
the sliders would have the whole figure drawn at each step, which is several times slower.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
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
from matplotlib.patches import Polygon, Rectangle
from matplotlib.widgets import CheckButtons, RadioButtons, Slider

from dbox.arrays import Array
from dbox.drawings.fonts import drawable, families, use_fonts, write_on
from dbox.drawings.style import (
    BODY,
    GREY,
    HAIR,
    HEADING,
    INK,
    MEDIUM,
    PALE,
    SMALL,
    THICK,
    THIN,
    TINT,
    pens,
)
from dbox.drawings.wall import outline
from dbox.fieldwork.lesson_box import FILLED, Bench
from dbox.fieldwork.shares import target_shares
from dbox.hydraulics.openings import Notch, Opening
from dbox.hydraulics.split import Split
from dbox.units import INCH, LITRE_PER_MINUTE, gpm_litres, inches, millimetres

LOW, HIGH = -0.75 * INCH, 2.5 * INCH
"""Heights that the section shows. [m]"""

_LIP_HALF = 0.42
_WALL = 0.06
_INSIDE = (0.4, 0.5)


@dataclass(frozen=True)
class Motion:
    """One setting of the bench and what the water does then."""

    result: Split  # Of one box.
    kind: int  # Place of the opening among the kinds.
    lips: Array  # (n,) Where the lips stand; inf where capped. [m]
    far_low: float  # How the box leans. [m]
    right_low: float  # How the box leans. [m]
    filled: bool  # Whether the trench of the one line has filled.


class SectionView:
    """The outlets side by side against the water, seen from the inlet.

    axes: Where to draw.
    bench: The box.
    column: Width of an outlet's column over the height of the axes. [-]
    """

    def __init__(self, axes: Axes, bench: Bench, column: float) -> None:
        self.bench = bench
        n = len(bench.site.outlets)
        axes.set(xlim=(-0.5, n - 0.5), ylim=(LOW, HIGH))
        self._per_metre = min(1.0 / (column * (HIGH - LOW)), column_scale(bench))
        self.water = Rectangle((-0.5, LOW), n, 0.0, facecolor=TINT, edgecolor="none", zorder=1)
        self.level = Line2D([-0.5, n - 0.5], [0, 0], color=INK, linewidth=MEDIUM, zorder=5)
        self.level.set_label("water level")
        look: dict[str, Any] = {"edgecolor": INK, "linewidth": THIN, "zorder": 2}
        self.holes = [Polygon([(0, 0), (0, 0), (0, 0)], facecolor="none", **look) for _ in range(n)]
        self.lips = [
            Line2D([i - _LIP_HALF, i + _LIP_HALF], [0, 0], color=INK, linewidth=THICK, zorder=6)
            for i in range(n)
        ]
        place = bench.outlet
        self.tail = Rectangle(
            (place - _LIP_HALF, LOW), 2 * _LIP_HALF, FILLED - LOW, facecolor="none", hatch="....",
            edgecolor=GREY, linewidth=HAIR, zorder=3,
        )  # fmt: skip
        for artist in self.artists:
            axes.add_artist(artist)
        _dress(axes, [outlet.label for outlet in bench.site.outlets])

    @property
    def artists(self) -> list[Artist]:
        """Everything that moves, from the back to the front."""
        return [self.water, *self.holes, self.tail, self.level, *self.lips]

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        level = float(np.clip(motion.result.level, LOW, HIGH))
        self.water.set_height(level - LOW)
        self.level.set_ydata([level, level])
        corners = self._outline(self.bench.kinds[motion.kind].opening)
        for i, (lip, hole, line) in enumerate(zip(motion.lips, self.holes, self.lips, strict=True)):
            is_open = bool(np.isfinite(lip))
            hole.set_visible(is_open)
            line.set_visible(is_open)
            if is_open:
                hole.set_xy(np.add(corners, [i, lip]))
                line.set_ydata([lip, lip])
        self.tail.set_visible(motion.filled)

    def _outline(self, opening: Opening) -> Array:
        return outline_in(opening, 2 * _LIP_HALF / self._per_metre) * [self._per_metre, 1.0]


def column_scale(bench: Bench) -> float:
    """Most columns to a metre at which every opening but a notch fits into its column. [1/m]"""
    closed = [k.opening for k in bench.kinds if not isinstance(k.opening, Notch)]
    widest = max((np.ptp(outline(o, HIGH - LOW)[:, 0]) for o in closed), default=0.0)
    return 2 * _LIP_HALF / max(float(widest), 1e-3)


def outline_in(opening: Opening, width: float) -> Array:
    """Corners of an opening as high as the section; a notch as far as it fits into a width.

    width [m] -> [m].
    """
    corners = outline(opening, HIGH - LOW)
    wide = float(np.ptp(corners[:, 0]))
    return corners * min(1.0, width / wide) if isinstance(opening, Notch) else corners


def _dress(axes: Axes, labels: list[str]) -> None:
    ticks = np.arange(-0.5, 2.51, 0.5) * INCH
    axes.set_yticks(ticks, [inches(t) if t else "level lip" for t in ticks], fontsize=SMALL)
    axes.set_xticks(range(len(labels)), [f"outlet {label}" for label in labels], fontsize=SMALL)
    axes.tick_params(length=2, width=THIN)
    axes.grid(axis="y", color=PALE, linewidth=HAIR)
    axes.set_axisbelow(True)


class PlanView:
    """The box from above, the inlet at the bottom; each line as wide as its share.

    axes: Where to draw, its units being metres.
    bench: The box.
    """

    def __init__(self, axes: Axes, bench: Bench) -> None:
        self.bench = bench
        box = bench.site.box
        size = inside_of(bench)
        self.length, self.width = size
        out = 0.34 * max(size)
        axes.set(xlim=(-out, self.width + out), ylim=(-0.6 * out, self.length + out))
        axes.set_aspect("equal")
        axes.set_axis_off()
        self._walls(axes, round_box=box.shape == "round")
        ways = [way_out(o.position or (0.0, 0.0), *size) for o in bench.site.outlets]
        self.lines = [
            Line2D([x, x + u * 0.7 * out], [y, y + v * 0.7 * out], color=INK, solid_capstyle="butt",
                   linewidth=0.0, zorder=4)
            for (x, y), (u, v) in ways
        ]  # fmt: skip
        self.words = [
            axes.text(x + u * 0.45 * out, y + (0.8 * v + 0.36 * abs(u)) * out, "", fontsize=SMALL,
                      ha="center", va="bottom", zorder=5)
            for (x, y), (u, v) in ways
        ]  # fmt: skip
        self.low = Disc((0, 0), 0.035 * max(size), facecolor="white", edgecolor=INK, hatch="xxxx")
        self.low_word = axes.text(0, 0, "low", fontsize=SMALL, ha="center", va="bottom", zorder=6)
        self.low.set_zorder(5)
        axes.add_artist(self.low)
        for line in self.lines:
            axes.add_artist(line)

    @property
    def artists(self) -> list[Artist]:
        """Everything that moves."""
        return [*self.lines, self.low, self.low_word, *self.words]

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        shares = motion.result.share
        labels = [outlet.label for outlet in self.bench.site.outlets]
        for share, label, line, word in zip(shares, labels, self.lines, self.words, strict=True):
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

    def _walls(self, axes: Axes, *, round_box: bool) -> None:
        look: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": MEDIUM}
        if round_box:
            axes.add_patch(Disc((self.width / 2, self.length / 2), self.width / 2, **look))
        else:
            axes.add_patch(Rectangle((0, 0), self.width, self.length, **look))
        middle = self.width / 2
        axes.annotate(
            "inlet", (middle, 0.2 * self.length), (middle, -0.14 * self.length), fontsize=SMALL,
            ha="center", va="top", arrowprops={"arrowstyle": "-|>", "color": INK},
        )  # fmt: skip


def inside_of(bench: Bench) -> tuple[float, float]:
    """Inside length and width of the box; a usual one where it was not measured. [m]"""
    inside = bench.site.box.inside
    if len(inside) == 1:
        return inside[0], inside[0]
    return (inside[0], inside[1]) if inside else _INSIDE


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
        look: dict[str, Any] = {"facecolor": TINT, "edgecolor": INK, "linewidth": THIN}
        self.bars = [Rectangle((i - 0.3, 0), 0.6, 0, **look) for i in range(n)]
        self.words = [axes.text(i, 0, "", fontsize=SMALL, ha="center", va="bottom")
                      for i in range(n)]  # fmt: skip
        for artist in self.bars:
            axes.add_artist(artist)
        axes.hlines(100 * fair, np.arange(n) - 0.42, np.arange(n) + 0.42, color=INK,
                    linewidth=THIN, linestyle=(0, (4, 3)))  # fmt: skip
        axes.set_yticks([0, 25, 50, 75, 100], ["0 %", "25 %", "50 %", "75 %", "100 %"])
        axes.set_xticks(range(n), [f"outlet {o.label}" for o in bench.site.outlets])
        axes.tick_params(length=2, width=THIN, labelsize=SMALL)

    @property
    def artists(self) -> list[Artist]:
        """Everything that moves."""
        return [*self.bars, *self.words]

    def move(self, motion: Motion) -> None:
        """Show another state of the water."""
        for share, bar, word in zip(motion.result.share, self.bars, self.words, strict=True):
            bar.set_height(100 * share)
            word.set_text(f"{100 * share:.0f} %")
            word.set_y(min(100 * float(share) + 1, 92))


SIZE = (11.0, 7.2)
"""Size of the window. [in]"""

MOST_LEAN, MOST_LIP = 0.5 * INCH, 0.25 * INCH
"""How far the sliders go, either way. [m]"""

FLOWS = (1.0, 120.0)
"""Least and most flow of the slider. [L/min]"""


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
        figure.set_size_inches(*SIZE)
        self._background: object | None = None
        section = figure.add_axes((0.09, 0.55, 0.52, 0.36))
        self.section = SectionView(
            section, bench, section.bbox.width / section.bbox.height / len(bench.site.outlets)
        )
        self.plan = PlanView(figure.add_axes((0.64, 0.47, 0.35, 0.46)), bench)
        self.shares = ShareView(figure.add_axes((0.09, 0.31, 0.52, 0.17)), bench, target_shares(
            bench.site))  # fmt: skip
        figure.text(0.03, 0.965, "Lean it, and watch the water", fontsize=HEADING + 2,
                    weight="bold", va="top")  # fmt: skip
        self.words = figure.text(0.97, 0.965, "", fontsize=BODY, va="top", ha="right")
        # widgets draw the whole figure as they come
        use_fonts([figure])
        with matplotlib.rc_context({"font.family": families(self._label)}):
            self._add_widgets()
        figure.text(
            0.03, 0.012, _INVENTED * bench.site.record.invented + _NOTE, fontsize=SMALL, va="bottom"
        )
        for slider in self.sliders.values():
            slider.on_changed(self._changed)
        self.kinds.on_clicked(self._changed)
        self.trench.on_clicked(self._changed)
        self._set_moving()
        self.motion = self._move()
        figure.canvas.mpl_connect("draw_event", self._keep)

    @property
    def _label(self) -> str:
        return drawable(self.bench.site.outlets[self.bench.outlet].label)

    def _add_widgets(self) -> None:
        self.sliders = self._sliders()
        self.kinds = RadioButtons(
            self.figure.add_axes((0.66, 0.05, 0.17, 0.24), frameon=False),
            [kind.name for kind in self.bench.kinds], activecolor=INK, useblit=False,
        )  # fmt: skip
        self.trench = CheckButtons(
            self.figure.add_axes((0.83, 0.17, 0.16, 0.1), frameon=False),
            [f"trench of line\n{self._label} full"],
            useblit=False,
        )

    @property
    def moving(self) -> list[Artist]:
        """Everything that is drawn anew for each frame."""
        knobs = [
            artist
            for slider in self.sliders.values()
            for artist in (slider.poly, *slider.ax.lines, slider.valtext)
        ]
        views = [*self.section.artists, *self.shares.artists, *self.plan.artists]
        return [*views, self.words, *knobs]

    def redraw(self) -> None:
        """Draw one frame: what stands still from the kept picture, the rest anew."""
        canvas = self.figure.canvas
        if self._background is None or not isinstance(canvas, FigureCanvasAgg):
            canvas.draw()
            return
        canvas.restore_region(self._background)  # type: ignore[no-untyped-call]
        self._draw_moving()
        canvas.blit(self.figure.bbox)

    def _sliders(self) -> dict[str, Slider]:
        lean, lip = MOST_LEAN / INCH, MOST_LIP / INCH
        low, high = (float(np.log10(flow)) for flow in FLOWS)
        bars: dict[str, tuple[str, float, float, float, Callable[[float], str]]] = {
            "right": ("right side low", -lean, lean, 0.0, _height_words),
            "far": ("far side low", -lean, lean, 0.0, _height_words),
            "lip": (f"lip {self._label} alone", -lip, lip, 0.0, _height_words),
            "flow": ("flow", low, high, low, _flow_words),
        }
        made = {}
        for row, (name, (label, least, most, start, words)) in enumerate(bars.items()):
            axes = self.figure.add_axes((0.14, 0.215 - 0.05 * row, 0.33, 0.035))
            # drawn by redraw, not by the slider itself
            slider = Slider(axes, label, least, most, valinit=start, color=TINT, track_color="0.95",
                            initcolor="none", dragging=True)  # fmt: skip
            slider.drawon = False
            slider.valtext.set_text(words(start))
            slider.on_changed(partial(_say, slider, words))
            made[name] = slider
        return made

    def _set_moving(self) -> None:
        for artist in self.moving:
            artist.set_animated(True)

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
        lips = self.bench.lips(far, right, lip)
        motion = Motion(result, kind, lips, far, right, filled)
        for view in (self.section, self.plan, self.shares):
            view.move(motion)
        write_on(self.words, _words(self.bench, motion))
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


_INVENTED = "Invented box. "
_NOTE = (
    "The lips are level before the box leans. Below 5 mm of head surface tension decides and "
    "the formulas are out of their range. Local code and permit decide."
)


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
        # a backend was asked for that finds no screen
        return False
    return True


def _say(slider: Slider, words: Callable[[float], str], value: float) -> None:
    slider.valtext.set_text(words(value))


def _height_words(value: float) -> str:
    return f"{inches(value * INCH, signed=True, parts=32)}, {millimetres(value * INCH)}"


def _flow_words(value: float) -> str:
    return gpm_litres(LITRE_PER_MINUTE * 10**value)


def _words(bench: Bench, motion: Motion) -> str:
    share = motion.result.share
    most = int(np.argmax(share))
    fair = target_shares(bench.site)[most]
    return (
        f"outlet {bench.site.outlets[most].label} gets {100 * share[most]:.0f} %, "
        f"fair is {100 * fair:.3g} %"
    )
