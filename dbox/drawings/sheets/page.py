"""What does every printed sheet share? Paper, frame, and words that flow from page to page.

Every page carries the kind of sheet, the title of the job, its number and a caution. Letters are
large enough to be read at arm's length; everything is black on white.
"""

from collections.abc import Sequence
from typing import Any

from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from dbox.drawings.lettering import text_width, wrap
from dbox.drawings.style import HAIR, INK, MARGIN, MEDIUM, THIN, Sheet, line_height
from dbox.fieldwork.site import Site

PAPERS = {"letter": (8.5, 11.0), "a4": (210 / 25.4, 297 / 25.4)}
"""Width and height of each paper. [in]"""

BODY, HEADING, TITLE = 10.5, 13.0, 17.0
"""Sizes of letters. [pt]"""

BOX = "\u2610"
"""An empty box to tick."""

STAMP = "INVENTED DATA"

_FOOT = "Never enter or lean into a tank or a box: the gas kills. Local code and permit decide."
_GAP = 0.12
_KEPT = 6
"""Lines of a paragraph that are not parted by the end of a page."""
_ASCENT = 1.0
"""Upper edge of a line over its base, over the size of the letters. [-]"""
_FRAME = 0.85
"""Height of head and foot together, about. [in]"""


class Pages:
    """Pages that are filled from the top, a new one being begun where the room ends.

    Parameters
    ----------
    kind : str
        What the sheet is called.
    site : Site
        The job: its title stands on every page, and whether its data are invented.
    paper : str
        One of `PAPERS`.
    """

    def __init__(self, kind: str, site: Site, paper: str) -> None:
        self.kind = kind
        self.site = site
        self.size = PAPERS[paper]
        self.sheets: list[Sheet] = []
        self._numbers: list[tuple[float, float]] = []
        self._begin()

    @property
    def sheet(self) -> Sheet:
        """The page that is being filled."""
        return self.sheets[-1]

    @property
    def width(self) -> float:
        """Width between the margins. [in]"""
        return self.sheet.right - self.sheet.left

    @property
    def top(self) -> float:
        """Where the free part of the page begins, over its lower edge. [in]"""
        return self.sheet.top

    @property
    def room(self) -> float:
        """Height that a new page has for its content, about. [in]"""
        return self.size[1] - 2 * MARGIN - _FRAME

    def need(self, height: float) -> None:
        """Begin a new page unless a height is still free on this one. [in]"""
        if self.sheet.top - height < self.sheet.bottom:
            self._begin()

    def skip(self, height: float) -> None:
        """Leave a height free. [in]"""
        self.sheet.top -= height

    def heading(self, text: str, keep: float = 1.0) -> None:
        """Write a heading, on a page that has room for what follows too. [in]"""
        self.need(line_height(HEADING) + _GAP + keep)
        self.skip(_GAP)
        self._lines(wrap(text, self.width, HEADING, "bold"), HEADING, 0.0, "bold")
        self.skip(0.04)

    def paragraph(self, text: str, *, mark: str = "", weight: str = "normal") -> None:
        """Write a paragraph; a mark stands before it and the words are indented after it.

        Parameters
        ----------
        text : str
            Words without line breaks.
        mark : str
            A number or a box to tick.
        weight : str
            `normal` or `bold`.
        """
        indent = text_width(f"{mark}  ", BODY) if mark else 0.0
        lines = wrap(text, self.width - indent, BODY, weight)
        self.need((len(lines) if len(lines) <= _KEPT else 3) * line_height(BODY))
        if mark:
            write_line(self.sheet, self.sheet.left, self.top, mark, BODY)
        self._lines(lines, BODY, indent, weight)
        self.skip(0.03)

    def blank_lines(self, count: int, height: float = 0.32) -> None:
        """Draw lines to write on, all on one page.

        Parameters
        ----------
        count : int
            How many.
        height : float
            Of the room over each. [in]
        """
        self.need(count * height)
        for _ in range(count):
            self.skip(height)
            self.rule(self.sheet.left, self.sheet.right, self.top, HAIR)
        self.skip(0.05)

    def framed(self, texts: Sequence[str]) -> None:
        """Write paragraphs inside a frame that stays on one page."""
        inside = self.width - 0.24
        groups = [wrap(text, inside, BODY) for text in texts]
        height = sum(len(g) * line_height(BODY) + 0.03 for g in groups) + 0.16
        self.need(height + 0.06)
        sheet = self.sheet
        corner = (sheet.left, self.top - height)
        sheet.draw(
            Rectangle(corner, self.width, height, fill=False, edgecolor=INK, linewidth=MEDIUM)
        )
        end = self.top - height - 0.06
        self.skip(0.08)
        for lines in groups:
            self._lines(lines, BODY, 0.12)
            self.skip(0.03)
        sheet.top = end

    def rule(self, left: float, right: float, y: float, width: float = THIN) -> None:
        """Draw a line across. [in]"""
        self.sheet.page.plot([left, right], [y, y], color=INK, linewidth=width)

    def finished(self) -> tuple[Figure, ...]:
        """Number the pages and hand them over."""
        for number, (sheet, place) in enumerate(
            zip(self.sheets, self._numbers, strict=True), start=1
        ):
            words = f"page {number} of {len(self.sheets)}"
            write_line(sheet, *place, words, BODY, ha="right")
        return tuple(sheet.figure for sheet in self.sheets)

    def _lines(self, lines: list[str], size: float, indent: float, weight: str = "normal") -> None:
        """Write lines one under the other, going on over the page's end."""
        for line in lines:
            self.need(line_height(size))
            write_line(self.sheet, self.sheet.left + indent, self.top, line, size, weight=weight)
            self.skip(line_height(size))

    def _begin(self) -> None:
        """Begin a page with its frame."""
        sheet = _blank(self.size)
        self.sheets.append(sheet)
        size = HEADING if len(self.sheets) > 1 else TITLE
        write_line(sheet, sheet.left, sheet.top, self.kind, size, weight="bold")
        self._numbers.append((sheet.right, sheet.top))
        sheet.top -= line_height(size)
        self._title(sheet)
        foot = wrap(_FOOT, self.width, BODY)
        rise = sheet.bottom + len(foot) * line_height(BODY)
        for i, line in enumerate(foot):
            write_line(sheet, sheet.left, rise - i * line_height(BODY), line, BODY)
        sheet.bottom = rise + 0.06
        self.rule(sheet.left, sheet.right, sheet.bottom)
        sheet.bottom += 0.06

    def _title(self, sheet: Sheet) -> None:
        """Write the title of the job, and that its data are invented where they are."""
        stamp = text_width(STAMP, BODY, "bold") + 0.2 if self.site.record.invented else 0.0
        if stamp:
            write_line(sheet, sheet.right, sheet.top, STAMP, BODY, ha="right", weight="bold")
        lines = wrap(self.site.title or "job without a title", self.width - stamp, BODY, most=2)
        for i, line in enumerate(lines):
            write_line(sheet, sheet.left, sheet.top - i * line_height(BODY), line, BODY)
        sheet.top -= len(lines) * line_height(BODY) + 0.04
        self.rule(sheet.left, sheet.right, sheet.top, MEDIUM)
        sheet.top -= 0.08


def write_line(
    sheet: Sheet, x: float, top: float, text: str, size: float = BODY, **look: Any
) -> None:
    """Write one line of text; lines of one height stand on one base, whatever their letters.

    Parameters
    ----------
    sheet : Sheet
        The page.
    x, top : float
        Where the line begins, or ends, and its upper edge. [in]
    text : str
        The words.
    size : float
        Size of the letters. [pt]
    **look
        As `Sheet.write`.
    """
    sheet.write(x, top - _ASCENT * size / 72, text, size, **{**look, "va": "baseline"})


def _blank(size: tuple[float, float]) -> Sheet:
    """An empty page of a size, its coordinates in inches."""
    width, height = size
    figure = Figure(figsize=size)
    page = figure.add_axes((0, 0, 1, 1))
    page.set(xlim=(0, width), ylim=(0, height))
    page.set_axis_off()
    return Sheet(figure, page, MARGIN, width - MARGIN, MARGIN, height - MARGIN)
