"""What all drawings share: paper, pens, greys, letters and how figures are saved.

Sheets are printed black on white. Pictures for the screen take their colours from one palette. A
meaning is carried by a shape, a hatch, a sign or a word, never by a colour alone. A sheet fits
Letter and A4 alike.
"""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import wraps
from io import BytesIO
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from matplotlib.text import Text

from dbox.arrays import Array
from dbox.drawings.fonts import BASE, advance, use_fonts
from dbox.errors import DomainError, ScenarioError, any_of
from dbox.files.write_file import check_place, is_begun, write_file
from dbox.lengths import Lengths
from dbox.report.text import TOGETHER, letters, shortened
from dbox.units import INCH

_SLACK = 1.03
"""Letters are placed on whole dots of a screen, which may widen a text by this much."""


def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Width of one line of text on paper; size [pt] -> [in]."""
    return _SLACK * size / 72 * sum(advance(letter, weight) for letter in letters(text))


def wrap(
    text: str, width: float, size: float, weight: str = "normal", most: int | None = None
) -> list[str]:
    """Break a text into lines of at most a width, between words where that can be done.

    Words that `TOGETHER` joins stay on one line. width [in], size [pt].

    >>> wrap("the far line", 0.5, 8.0)
    ['the far', 'line']
    >>> wrap("the far line", 0.5, 8.0, most=1)
    ['the far…']
    """
    lines, used = [""], 0.0
    blank = text_width(" ", size, weight)
    for word in re.findall(r"[^ \t\n]+", text):
        wide = text_width(word, size, weight)
        if lines[-1] and used + blank + wide <= width:
            lines[-1] += f" {word}"
            used += blank + wide
            continue
        pieces = _pieces(word, width, size, weight) if wide > width else [word]
        lines = [*lines, *pieces] if lines[-1] else pieces
        used = text_width(pieces[-1], size, weight)
    lines = [line.replace(TOGETHER, " ") for line in lines]
    if most is None or len(lines) <= most:
        return lines
    rest = " ".join(lines[most - 1 :])
    return [*lines[: most - 1], *shortened([rest], lambda t: text_width(t, size, weight) <= width)]


def _pieces(word: str, width: float, size: float, weight: str) -> list[str]:
    """Break a word that is longer than a line, after a hyphen where it has one."""
    pieces = [""]
    for letter in letters(word):
        if pieces[-1] and text_width(pieces[-1] + letter, size, weight) > width:
            whole, _, begun = pieces[-1].rpartition("-")
            pieces[-1:] = [f"{whole}-", begun] if whole and begun else [pieces[-1], ""]
        pieces[-1] += letter
    return pieces


def short_labels(
    labels: Sequence[str], width: float, size: float, weight: str = "normal", most: int = 1
) -> list[str]:
    """Set the labels of one box in so many lines of a width each, cut at words and kept apart.

    width [in], size [pt].

    >>> short_labels(["line 1 up", "line 2 up"], 0.4, 8.0)
    ['…1…', '…2…']
    """

    def fits(label: str) -> bool:
        return len(wrap(label, width, size, weight)) <= most

    short = shortened(labels, fits)
    return ["\n".join(wrap(s, width, size, weight)) if fits(s) else s for s in short]


def spread_out(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """Move positions apart to at least a gap, within limits, keeping their order.

    wanted [in], gap [in], low [in], high [in] -> [in].

    >>> spread_out([0.0, 0.1, 3.0], 1.0, 0.0, 3.0)
    [0.0, 1.0, 3.0]
    >>> spread_out([5.0, 4.0], 1.0, 0.0, 4.5)
    [4.5, 3.5]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = list(wanted)
    for i in order:
        placed[i] = max(placed[i], low)
        low = placed[i] + gap
    for i in reversed(order):
        placed[i] = min(placed[i], high)
        high = placed[i] - gap
    return placed


P = ParamSpec("P")
R = TypeVar("R")
Point = tuple[float, float]

PAPER = (8.25, 10.95)
"""Width and height of an upright sheet: what Letter and A4 have in common. [in]"""

MARGIN = 0.48
SMALL, BODY, HEADING, TITLE = 8.0, 9.0, 10.0, 13.0
"""Sizes of letters. [pt]"""

HEADING_ROOM = 0.25
LINE = 1.36
"""Distance of two lines of text over the size of the letters. [-]"""

HAIR, THIN, MEDIUM, TARGET, THICK = 0.5, 0.8, 1.2, 1.6, 2.0
"""Widths of lines. [pt]"""

INK, GREY, TINT, PALE = "0.0", "0.4", "0.82", "0.93"


@dataclass(frozen=True)
class Role:
    """What a colour stands for on screen, and what says the same without it."""

    colour: str
    word: str
    sign: str = ""  # Stands before a number, or in a legend.
    hatch: str = ""  # Of a bar or an area.


WATER = Role("#3F9BD6", "water")
BOX = Role("#29293B", "box")
OVER = Role("#C26D0B", "over its share", "▲", "////")
UNDER = Role("#4A2A9A", "under its share", "▼", "\\\\\\\\")
WITHIN = Role("#1F8260", "within", "=")
WANTED = Role("#000000", "target", "–")
SOIL = Role("#8B591B", "soil", hatch="..")
WARNING = Role("#A41036", "warning", "!")
PALETTE = (WATER, BOX, OVER, UNDER, WITHIN, WANTED, SOIL, WARNING)
"""Each as dark as a mark on white has to be, no two alike in grey or to colour-blind eyes."""

DASHES: tuple[Any, ...] = (
    "-",
    (0, (6, 2)),
    (0, (6, 1.8, 1.2, 1.8)),
    (0, (2.5, 1.5)),
    (0, (12, 2.5)),
    (0, (6, 1.8, 1.2, 1.8, 1.2, 1.8)),
)
"""One line style for each flow that a drawing holds."""

MOST_FLOWS, MOST_OUTLETS = len(DASHES), 20


def left_out(names: Sequence[str]) -> list[str]:
    """A note that names the flows for which a drawing has no room."""
    more = names[MOST_FLOWS:]
    return [f"not drawn here: flow {', '.join(more)}"] if more else []


def check_outlets(count: int) -> None:
    """Refuse more outlets than a drawing has room for."""
    if count > MOST_OUTLETS:
        raise DomainError(f"{count} outlets: a drawing holds at most {MOST_OUTLETS}")


EDGE: dict[str, Any] = {"edgecolor": INK, "linewidth": THIN}
"""Outline of a shape."""

LEADER: dict[str, Any] = {"color": GREY, "linewidth": HAIR, "solid_capstyle": "butt"}

_PENS: dict[Any, Any] = {
    "font.family": [BASE],
    "font.size": SMALL,
    "text.color": INK,
    # a label is a label, even with two dollar signs in it
    "text.parse_math": False,
    "text.usetex": False,
    "hatch.linewidth": HAIR,
    "hatch.color": INK,
    "axes.linewidth": THIN,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.facecolor": "none",
    "axes.grid": False,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "xtick.major.width": THIN,
    "ytick.major.width": THIN,
    "figure.facecolor": "white",
    "figure.autolayout": False,
    "figure.constrained_layout.use": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "path.sketch": None,
}


def pens(draw: Callable[P, R]) -> Callable[P, R]:
    """Decorator: draw with these pens, whatever the reader's own matplotlib settings are.

    Words of the figures that a function returns are set in fonts that have their letters.
    """

    @wraps(draw)
    def drawn(*arguments: P.args, **options: P.kwargs) -> R:
        with matplotlib.rc_context(_PENS):
            made = draw(*arguments, **options)
            pages = made if isinstance(made, tuple) else (made,)
            use_fonts([page for page in pages if isinstance(page, Figure)])
            return made

    return drawn


def line_height(size: float) -> float:
    """Height of one line of text on paper. [in]; size [pt]."""
    return LINE * size / 72


@dataclass
class Sheet:
    """A page to draw on, its coordinates being inches from the lower left corner."""

    figure: Figure  # The page.
    page: Axes  # Axes over all of it, in inches.
    # What is still free. [in]
    left: float
    right: float
    bottom: float
    top: float

    @classmethod
    def blank(
        cls, size: tuple[float, float] = PAPER, *, across: bool = False, margin: float = MARGIN
    ) -> "Sheet":
        """Start a sheet of a size, upright or across. [in]"""
        width, height = size[::-1] if across else size
        figure = Figure(figsize=(width, height))
        page = figure.add_axes((0, 0, 1, 1))
        page.set(xlim=(0, width), ylim=(0, height), xticks=(), yticks=())
        page.set_axis_off()
        return cls(figure, page, margin, width - margin, margin, height - margin)

    def write(self, x: float, y: float, text: str, size: float = SMALL, **look: Any) -> Text:
        """Write text; (x, y) is its upper left corner unless `look` says otherwise. [in]"""
        look = {"va": "top", "ha": "left", "linespacing": LINE / 1.17, **look}
        return self.page.text(x, y, text, fontsize=size, **look)

    def line(self, points: Iterable[Point], **look: Any) -> None:
        """Draw a line from point to point. [in]"""
        look = {"color": INK, "linewidth": THIN, **look}
        self.draw(Line2D(*zip(*points, strict=True), **look))

    def draw(self, artist: Artist) -> None:
        """Put a shape on the page."""
        self.page.add_artist(artist)

    def axes(self, left: float, right: float, bottom: float, top: float) -> Axes:
        """Set up axes on a part of the sheet. [in]"""
        width, height = self.figure.get_size_inches()
        place = (left / width, bottom / height, (right - left) / width, (top - bottom) / height)
        return self.figure.add_axes(place)

    def head(self, title: str, *lines: str) -> None:
        """Write title and headlines at the top of what is free."""
        for text, size, most, weight in [
            (title, TITLE, 2, "bold"),
            *((line, HEADING, 3, "normal") for line in lines),
        ]:
            wrapped = wrap(text, self.right - self.left, size, weight, most)
            self.write(self.left, self.top, "\n".join(wrapped), size, weight=weight)
            self.top -= len(wrapped) * line_height(size) + 0.05
        self.line([(self.left, self.top), (self.right, self.top)])
        self.top -= 0.1

    def heading(self, what: str, about: str = "") -> None:
        """Write what a part of the sheet is, and lower what is free."""
        self.write(self.left, self.top, what, HEADING, weight="bold")
        start = self.left + text_width(what, HEADING, "bold") + 0.15
        self.write(start, self.top - 0.025, about)
        self.top -= HEADING_ROOM

    def key(self, marks: Sequence[tuple[Artist, str]], corner: Point, **look: Any) -> None:
        """Write what marks mean, from an upper left corner. [in]"""
        look = {"ncols": len(marks), "fontsize": SMALL, "title_fontsize": SMALL, "frameon": False,
                "alignment": "left", "borderpad": 0, "borderaxespad": 0, **look}  # fmt: skip
        width, height = self.figure.get_size_inches()
        legend = self.figure.legend(
            *zip(*marks, strict=True), loc="upper left",
            bbox_to_anchor=(corner[0] / width, corner[1] / height), **look,
        )  # fmt: skip
        legend.set_in_layout(False)

    def foot(self, notes: list[str]) -> None:
        """Write notes at the bottom of what is free, each with a mark before it."""
        if not notes:
            return
        room = self.right - self.left - 0.12
        wrapped = [wrap(note, room, SMALL) for note in notes]
        top = y = self.bottom + sum(map(len, wrapped)) * line_height(SMALL)
        for lines in wrapped:
            self.write(self.left, y, "·", weight="bold")
            self.write(self.left + 0.12, y, "\n".join(lines))
            y -= len(lines) * line_height(SMALL)
        ends = [(self.left, top + 0.08), (self.right, top + 0.08)]
        self.line(ends, color=GREY, linewidth=HAIR)
        self.bottom = top + 0.16


_STEPS = (
    [INCH * 2.0**power for power in range(-6, 7)],
    [part * 10.0**power for power in range(-4, 1) for part in (1, 2, 5)],
)
"""What ticks of a scale of heights may stand apart, in inches and in a metric job. [m]"""

_CAP_PART = 0.66


def tick_step(apart: float, lengths: Lengths, least: float = 1e-3) -> float:
    """What ticks of a scale stand apart, being so far from each other at least; [m]."""
    steps = _STEPS[lengths.metric]
    return next((step for step in steps if step >= max(apart, least)), apart)


_PERCENT_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200)
"""What ticks of a scale of shares may stand apart. [%]"""


def percent_scale(axes: Axes, most: float, height: float) -> None:
    """Shares along y up to so many per cent, on axes of a height on paper. [in]"""
    intervals = max(1, int(height / 0.28))
    step = next(s for s in _PERCENT_STEPS if most // s <= intervals)
    # none so near the upper edge that its words rise over it
    ticks = np.arange(0.0, 0.97 * most, step)
    axes.set_ylim(0.0, most)
    axes.set_yticks(ticks, [f"{tick:.0f} %" for tick in ticks])
    axes.grid(axis="y", color=TINT, linewidth=HAIR)
    axes.set_axisbelow(True)


def draw_walls(
    axes: Axes,
    upright: float,
    lengths: Lengths,
    apart: float = 0.4,
    still: float = 0.0,
    *,
    written: bool = True,
) -> None:
    """Floor and walls of the box, with a scale of heights over still water.

    upright: paper over box [in/m]; apart: least paper between two ticks [in]; still [m].
    """
    axes.spines["right"].set_visible(True)
    axes.spines[["left", "right", "bottom"]].set_linewidth(THICK)
    low, high = (z - still for z in axes.get_ylim())
    step = tick_step(apart / upright, lengths)
    over = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    names = [lengths.tick(z, signed=True) if written else "" for z in over]
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
    corner = (place - 0.5 * _CAP_PART, low + 0.2 * (high - low))
    look: dict[str, Any] = {"facecolor": "white", "hatch": "////", "zorder": 7, **EDGE}
    axes.add_patch(Rectangle(corner, _CAP_PART, 0.6 * (high - low), **look))


SUFFIXES = (".png", ".pdf", ".svg")
"""Kinds of picture that can be written."""

_DOTS_PER_INCH = 200

_METADATA: dict[str, dict[str, Any]] = {
    ".png": {"Software": None},
    ".pdf": {"CreationDate": None, "ModDate": None},
    ".svg": {"Date": None},
}

# names inside an SVG come from a hash with a random salt unless told; PDF letters stay text
_STEADY: dict[Any, Any] = {"svg.hashsalt": "dbox", "svg.fonttype": "path", "pdf.fonttype": 42}


def check_picture(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a picture that cannot be written, before anything is computed for it.

    >>> check_picture("split.jpg")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: split.jpg: no picture ends like this; write .png, .pdf or .svg
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise ScenarioError(f"{path}: no picture ends like this; write {any_of(SUFFIXES)}")
    return check_place(path, overwrite=overwrite)


def save(figure: Figure, path: Path | str, *, overwrite: bool = False, again: bool = False) -> None:
    """Write a figure as PNG, PDF or SVG, as the suffix says."""
    path = check_picture(path, overwrite=overwrite or again)
    suffix = path.suffix.lower()
    picture = BytesIO()
    with matplotlib.rc_context(_STEADY):
        figure.savefig(picture, format=suffix[1:], dpi=_DOTS_PER_INCH, metadata=_METADATA[suffix])
    content = picture.getvalue()
    write_file(path, content, overwrite=overwrite or (again and is_begun(path, content)))
