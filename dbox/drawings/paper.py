"""Printed pages: frame, flowing words, tables, and the PDF file.

Every page carries the kind of sheet, the title of the job, its number and a caution. Letters are
large enough to be read at arm's length; everything is black on white.
"""

from collections.abc import Iterable, Sequence
from io import BytesIO
from itertools import zip_longest
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from dbox.drawings.style import (
    HAIR,
    INK,
    MARGIN,
    MEDIUM,
    THIN,
    Sheet,
    check_picture,
    line_height,
    pens,
    text_width,
    wrap,
)
from dbox.errors import ScenarioError
from dbox.fieldwork.site import Site
from dbox.files.write_file import write_file
from dbox.report.blocks import Column, Heading, Section, Table
from dbox.report.cautions import FOOT
from dbox.report.text import TOGETHER


def check_sheet(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a file that cannot be written, before anything is computed for it.

    >>> check_sheet("form.png")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: form.png: a sheet is a PDF file; name one that ends in .pdf
    """
    if Path(path).suffix.lower() != ".pdf":
        raise ScenarioError(f"{path}: a sheet is a PDF file; name one that ends in .pdf")
    return check_picture(path, overwrite=overwrite)


@pens
def save_pages(
    figures: Sequence[Figure], path: Path | str, *, title: str = "", overwrite: bool = False
) -> None:
    """Write pages as one PDF."""
    path = check_sheet(path, overwrite=overwrite)
    content = BytesIO()
    about = {"Title": title, "CreationDate": None, "ModDate": None}
    # whole pages, letters kept as text, and no setting of the reader's own
    with (
        matplotlib.rc_context({"pdf.fonttype": 42, "pdf.compression": 6, "savefig.bbox": None}),
        PdfPages(content, metadata=about) as pdf,
    ):
        for figure in figures:
            pdf.savefig(figure)
    write_file(path, content.getvalue(), overwrite=overwrite)


PAPERS = {"letter": (8.5, 11.0), "a4": (210 / 25.4, 297 / 25.4)}
"""Width and height of each paper. [in]"""

BODY, HEADING, TITLE = 10.5, 13.0, 17.0
"""Sizes of letters. [pt]"""

BOX = "\u2610"
"""An empty box to tick."""

STAMP = "INVENTED DATA"

_GAP = 0.12
_KEPT = 6
"""Lines of a paragraph that are not parted by the end of a page."""
_ASCENT = 1.0
"""Upper edge of a line over its base, over the size of the letters. [-]"""
_FRAME = 0.85
"""Height of head and foot together, about. [in]"""


class Pages:
    """Pages that are filled from the top, a new one being begun where the room ends.

    kind: What the sheet is called.
    site: The job: its title stands on every page, and whether its data are invented.
    paper: One of `PAPERS`.
    body: Size of the letters of its running words. [pt]
    """

    def __init__(self, kind: str, site: Site, paper: str, body: float = BODY) -> None:
        self.kind = kind
        self.body = body
        self.site = site
        self.size = PAPERS[paper]
        self.sheets: list[Sheet] = []
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

    def paragraph(self, *texts: str, mark: str = "", weight: str = "normal") -> None:
        """Write paragraphs; a mark stands before each, `{}` in it for its number.

        Words after a mark are indented.
        """
        for number, text in enumerate(texts, start=1):
            told = mark.format(number)
            indent = text_width(f"{told}  ", self.body) if told else 0.0
            lines = wrap(text, self.width - indent, self.body, weight)
            self.need((len(lines) if len(lines) <= _KEPT else 3) * line_height(self.body))
            if told:
                write_line(self.sheet, self.sheet.left, self.top, told, self.body)
            self._lines(lines, self.body, indent, weight)
            self.skip(0.03)

    def blank_lines(self, count: int, height: float = 0.32) -> None:
        """Draw lines to write on, all on one page; height [in]."""
        self.need(count * height)
        for _ in range(count):
            self.skip(height)
            self.rule(self.sheet.left, self.sheet.right, self.top, HAIR)
        self.skip(0.05)

    def lines_to_end(self, least: int, reserve: float = 0.0) -> None:
        """Draw lines to write on as far down as the page goes; reserve: what comes after [in]."""
        height = 0.32
        self.need(least * height + reserve)
        room = int((self.top - self.sheet.bottom - reserve) / height)
        self.blank_lines(room, height)

    def framed(self, texts: Sequence[str]) -> None:
        """Write paragraphs inside a frame that stays on one page."""
        inside = self.width - 0.24
        groups = [wrap(text, inside, self.body) for text in texts]
        height = sum(len(g) * line_height(self.body) + 0.03 for g in groups) + 0.16
        self.need(height + 0.06)
        sheet = self.sheet
        corner = (sheet.left, self.top - height)
        sheet.draw(
            Rectangle(corner, self.width, height, fill=False, edgecolor=INK, linewidth=MEDIUM)
        )
        end = self.top - height - 0.06
        self.skip(0.08)
        for lines in groups:
            self._lines(lines, self.body, 0.12)
            self.skip(0.03)
        sheet.top = end

    def rule(self, left: float, right: float, y: float, width: float = THIN) -> None:
        """Draw a line across. [in]"""
        self.sheet.line([(left, y), (right, y)], linewidth=width)

    def finished(self) -> tuple[Figure, ...]:
        """Number the pages and hand them over."""
        for number, sheet in enumerate(self.sheets, start=1):
            words = f"page {number} of {len(self.sheets)}"
            write_line(sheet, sheet.right, self.size[1] - MARGIN, words, self.body, ha="right")
        return tuple(sheet.figure for sheet in self.sheets)

    def _lines(self, lines: list[str], size: float, indent: float, weight: str = "normal") -> None:
        """Write lines one under the other, going on over the page's end."""
        for line in lines:
            self.need(line_height(size))
            write_line(self.sheet, self.sheet.left + indent, self.top, line, size, weight=weight)
            self.skip(line_height(size))

    def _begin(self) -> None:
        """Begin a page with its frame."""
        sheet = Sheet.blank(self.size)
        self.sheets.append(sheet)
        size = HEADING if len(self.sheets) > 1 else TITLE
        write_line(sheet, sheet.left, sheet.top, self.kind, size, weight="bold")
        sheet.top -= line_height(size)
        # the title of the job, and that its data are invented where they are
        stamp = text_width(STAMP, self.body, "bold") + 0.2 if self.site.record.invented else 0.0
        if stamp:
            write_line(sheet, sheet.right, sheet.top, STAMP, self.body, ha="right", weight="bold")
        title = self.site.title or "job without a title"
        lines = wrap(title, self.width - stamp, self.body, most=2)
        sheet.top = write_lines(sheet, sheet.left, sheet.top, lines, self.body) - 0.04
        self.rule(sheet.left, sheet.right, sheet.top, MEDIUM)
        sheet.top -= 0.08
        foot = wrap(FOOT, self.width, self.body)
        rise = sheet.bottom + len(foot) * line_height(self.body)
        write_lines(sheet, sheet.left, rise, foot, self.body)
        self.rule(sheet.left, sheet.right, rise + 0.06)
        sheet.bottom = rise + 0.12


def write_lines(
    sheet: Sheet, x: float, top: float, lines: Sequence[str], size: float = BODY, **look: Any
) -> float:
    """Write lines one under the other; gives where the next would begin. [in]; size [pt]."""
    for line in lines:
        if line:
            write_line(sheet, x, top, line, size, **look)
        top -= line_height(size)
    return top


def write_line(
    sheet: Sheet, x: float, top: float, text: str, size: float = BODY, **look: Any
) -> None:
    """Write one line of text; lines of one height stand on one base, whatever their letters.

    x [in], top [in], size [pt].
    """
    sheet.write(x, top - _ASCENT * size / 72, text, size, **{**look, "va": "baseline"})


LETTERS = 10.0
"""Size of letters in tables, and the smallest on any sheet. [pt]"""

BY_HAND = 0.34
"""Height of a row that is filled by hand. [in]"""

_BLANK = 0.12
"""Part of a page that may stay blank so that a table is kept whole. [-] (judgement)"""

_PAD, _SIDE = 0.045, 0.06


def set_blocks(pages: Pages, sections: Iterable[Section]) -> None:
    """Set the sections of a report, each table with the words before it."""
    for section in filter(None, sections):
        for block, after in zip_longest(section, section[1:]):
            if isinstance(after, Table):
                rows = len(after.rows) + 1 if after.columns[0].head else 2
                pages.need(rows * _height([[""]]) + 2 * line_height(BODY))
            if isinstance(block, Table):
                table(pages, block.columns, block.rows)
            elif isinstance(block, Heading):
                # on the page of what it heads
                pages.need(4 * line_height(BODY))
                pages.paragraph(block.text, weight="bold")
            else:
                pages.paragraph(block.text, mark=block.mark.strip())
        pages.skip(_PAD)


def table(
    pages: Pages,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    *,
    title: str = "",
    least_height: float = 0.0,
) -> None:
    """Set a table: whole where little of the page stays blank for it, else with its head again on
    every page; one without a head may be parted anywhere.

    least_height [in].
    """
    parts = [column.on_paper or column.width for column in columns]
    widths = [part / sum(parts) * pages.width for part in parts]
    heads = [column.head for column in columns]
    head = _wrapped(heads, widths, "bold") if any(heads) else []
    body = [_wrapped(row, widths, "normal") for row in rows]
    heights = [max(_height(cells), least_height) for cells in body]
    whole = _height(head) + sum(heights)
    keep = _height(head) + sum(heights[:2])
    if head and whole < pages.room and pages.top - pages.sheet.bottom < _BLANK * pages.room:
        keep = whole
    if title:
        pages.heading(title, keep)
    pages.need(keep)
    _set_row(pages, columns, widths, head, weight="bold")
    for row, (cells, height) in enumerate(zip(body, heights, strict=True), start=1):
        # the last row never stands alone
        with_last = heights[-1] if row == len(body) - 1 else 0.0
        if pages.top - height - with_last < pages.sheet.bottom:
            pages.need(height + with_last)
            _set_row(pages, columns, widths, head, weight="bold")
        _set_row(pages, columns, widths, cells, least_height)
    pages.skip(0.08)


def entries(
    pages: Pages,
    pairs: Sequence[tuple[str, str]],
    columns: int = 2,
    *,
    least_height: float = 0.29,
) -> None:
    """Set labelled entries side by side; an empty one is a line to write on; least_height [in]."""
    gap = 0.2
    width = (pages.width - gap * (columns - 1)) / columns
    for start in range(0, len(pairs), columns):
        group = pairs[start : start + columns]
        labels = [text_width(f"{label}:  ", pages.body, "bold") for label, _ in group]
        words = [
            wrap(text, width - label, pages.body) if text else []
            for (_, text), label in zip(group, labels, strict=True)
        ]
        most = max(len(lines) for lines in words)
        height = max(most * line_height(pages.body) + 0.06, least_height)
        pages.need(height)
        for i, ((label, _), indent, lines) in enumerate(zip(group, labels, words, strict=True)):
            left = pages.sheet.left + i * (width + gap)
            drop = least_height - 0.25
            write_line(pages.sheet, left, pages.top - drop, f"{label}:", pages.body, weight="bold")
            write_lines(pages.sheet, left + indent, pages.top - drop, lines, pages.body)
            if not lines:
                pages.rule(left + indent, left + width, pages.top - drop - 0.21, HAIR)
        pages.skip(height)
    pages.skip(0.04)


def _wrapped(row: Sequence[str], widths: Sequence[float], weight: str) -> list[list[str]]:
    """The lines of every cell; no number is parted from its millimetres."""
    return [
        [line for part in cell.replace(" mm", f"{TOGETHER}mm").split("\n")
         for line in wrap(part, width - 2 * _SIDE, LETTERS, weight)]
        for cell, width in zip(row, widths, strict=True)
    ]  # fmt: skip


def _height(cells: list[list[str]]) -> float:
    return max(map(len, cells)) * line_height(LETTERS) + 2 * _PAD if cells else 0.0


def _set_row(
    pages: Pages,
    columns: Sequence[Column],
    widths: Sequence[float],
    cells: list[list[str]],
    least_height: float = 0.0,
    weight: str = "normal",
) -> None:
    """Set one row with the lines around its cells; nothing for a head without words."""
    if not cells:
        return
    sheet, left, top = pages.sheet, pages.sheet.left, pages.top
    height = max(_height(cells), least_height)
    x = left
    for column, width, lines in zip(columns, widths, cells, strict=True):
        place = {"left": x + _SIDE, "center": x + width / 2, "right": x + width - _SIDE}
        y = top - (height - len(lines) * line_height(LETTERS)) / 2
        anchor = place[column.align]
        write_lines(sheet, anchor, y, lines, LETTERS, ha=column.align, weight=weight)
        sheet.line([(x, top - height), (x, top)], linewidth=HAIR)
        x += width
    sheet.line([(x, top - height), (x, top)], linewidth=HAIR)
    pages.rule(left, x, top, MEDIUM if weight == "bold" else HAIR)
    pages.rule(left, x, top - height, THIN if weight == "bold" else HAIR)
    pages.skip(height)
