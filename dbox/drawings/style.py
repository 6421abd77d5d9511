"""What do all drawings share? Paper, pens, greys and letters; every size is a size on paper.

Drawings are printed in black and white: a meaning is carried by a shape, a hatch or a line style,
never by a colour alone. A sheet fits Letter and A4 alike.
"""

from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from typing import Any, ParamSpec, TypeVar

import matplotlib
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.text import Text

from dbox.drawings.fonts import BASE, use_fonts
from dbox.drawings.lettering import text_width, wrap

P = ParamSpec("P")
R = TypeVar("R")

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
    """Height of one line of text on paper. [in]

    Parameters
    ----------
    size : float
        Size of the letters. [pt]
    """
    return LINE * size / 72


@dataclass
class Sheet:
    """A page to draw on, its coordinates being inches from the lower left corner.

    Parameters
    ----------
    figure : Figure
        The page.
    page : Axes
        Axes over all of it, in inches.
    left, right, bottom, top : float
        What is still free. [in]
    """

    figure: Figure
    page: Axes
    left: float
    right: float
    bottom: float
    top: float

    @classmethod
    def blank(cls, *, across: bool = False) -> "Sheet":
        """Start a sheet, upright or across."""
        width, height = PAPER[::-1] if across else PAPER
        figure = Figure(figsize=(width, height))
        page = figure.add_axes((0, 0, 1, 1))
        page.set(xlim=(0, width), ylim=(0, height))
        page.set_axis_off()
        return cls(figure, page, MARGIN, width - MARGIN, MARGIN, height - MARGIN)

    def write(self, x: float, y: float, text: str, size: float = SMALL, **look: Any) -> Text:
        """Write text; (x, y) is its upper left corner unless `look` says otherwise. [in]"""
        look = {"va": "top", "ha": "left", "linespacing": LINE / 1.17, **look}
        return self.page.text(x, y, text, fontsize=size, **look)

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
        self.page.plot([self.left, self.right], [self.top] * 2, color=INK, linewidth=THIN)
        self.top -= 0.1

    def heading(self, what: str, about: str = "") -> None:
        """Write what a part of the sheet is, and lower what is free."""
        self.write(self.left, self.top, what, HEADING, weight="bold")
        start = self.left + text_width(what, HEADING, "bold") + 0.15
        self.write(start, self.top - 0.025, about)
        self.top -= HEADING_ROOM

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
        self.page.plot([self.left, self.right], [top + 0.08] * 2, color=GREY, linewidth=HAIR)
        self.bottom = top + 0.16
