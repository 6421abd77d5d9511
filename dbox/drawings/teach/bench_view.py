"""How is a bench drawn while its water moves? The box in section and from above, and the shares.

Everything that moves is an artist that is made once and only moved after, so that a frame is cheap.
Heights are metres over where the lips of the level box are; one column for each outlet.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.patches import Circle as Disc
from matplotlib.patches import Polygon, Rectangle

from dbox.arrays import Array
from dbox.drawings.fonts import write_on
from dbox.drawings.style import GREY, HAIR, INK, MEDIUM, PALE, SMALL, THICK, THIN, TINT
from dbox.drawings.wall import outline
from dbox.fieldwork.lessons.bench import FILLED, Bench
from dbox.files.notation import inches
from dbox.files.units import INCH
from dbox.hydraulics.openings import Notch, Opening
from dbox.hydraulics.split import Split

LOW, HIGH = -0.75 * INCH, 2.5 * INCH
"""Heights that the section shows. [m]"""

_LIP_HALF = 0.42
_WALL = 0.06
_INSIDE = (0.4, 0.5)


@dataclass(frozen=True)
class Motion:
    """One setting of the bench and what the water does then.

    Parameters
    ----------
    result : Split
        Of one box.
    kind : int
        Place of the opening among the kinds.
    lips : ndarray, shape (n,)
        Where the lips stand; inf where capped. [m]
    far_low, right_low : float
        How the box leans. [m]
    filled : bool
        Whether the trench of the one line has filled.
    """

    result: Split
    kind: int
    lips: Array
    far_low: float
    right_low: float
    filled: bool


class SectionView:
    """The outlets side by side against the water, seen from the inlet.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    bench : Bench
        The box.
    column : float
        Width of an outlet's column over the height of the axes. [-]
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

    Parameters
    ----------
    opening : Opening
        A hole of any shape.
    width : float
        Width that there is. [m]

    Returns
    -------
    ndarray, shape (corners, 2)
        Distance from its middle and height over its lip. [m]
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

    Parameters
    ----------
    axes : Axes
        Where to draw, its units being metres.
    bench : Bench
        The box.
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

    Parameters
    ----------
    position : tuple of float
        Along the inlet direction and across it, from the inlet wall's left corner. [m]
    length, width : float
        Inside of the box. [m]

    Returns
    -------
    place : tuple of float
        Across and along. [m]
    way : tuple of float
        Outward, of length 1: to the far, the left or the right side. [-]
    """
    along, across = position
    walls = [(length - along, (0.0, 1.0)), (across, (-1.0, 0.0)), (width - across, (1.0, 0.0))]
    return (across, along), min(walls, key=lambda wall: wall[0])[1]


class ShareView:
    """The share of every outlet as a bar, with the fair share across.

    Parameters
    ----------
    axes : Axes
        Where to draw.
    bench : Bench
        The box.
    fair : ndarray, shape (n,)
        Wanted share of each outlet. [-]
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
