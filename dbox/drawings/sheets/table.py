"""How are tables and entries set on a printed sheet, filled or to be filled by hand?"""

from collections.abc import Sequence
from dataclasses import dataclass

from dbox.drawings.lettering import text_width, wrap
from dbox.drawings.sheets.page import BODY, Pages, write_line
from dbox.drawings.style import HAIR, INK, MEDIUM, THIN, line_height

LETTERS = 10.0
"""Size of letters in tables, and the smallest on any sheet. [pt]"""

BY_HAND = 0.34
"""Height of a row that is filled by hand. [in]"""

TOGETHER = "\u00a0"
"""A blank at which words are not parted."""

_WHOLE = 0.7
"""Part of a page that a table may take and still be kept whole. [-]"""

_AS_WIDE = "\u2024"
_PAD, _SIDE = 0.045, 0.06


@dataclass(frozen=True)
class Column:
    """A column of a table.

    Parameters
    ----------
    head : str
        Words over it; a line break in them is kept.
    width : float
        Its part of the table's width, against those of the other columns. [-]
    align : str
        `left`, `center` or `right`.
    """

    head: str
    width: float
    align: str = "left"


def table(
    pages: Pages,
    columns: Sequence[Column],
    rows: Sequence[Sequence[str]],
    *,
    title: str = "",
    least_height: float = 0.0,
) -> None:
    """Set a table: whole where it is not too long, else with its head again on every page.

    Parameters
    ----------
    pages : Pages
        Where it goes.
    columns : sequence of n Column
        From left to right.
    rows : sequence of sequence of n str
        Words of each cell, a line break in them being kept; empty to be filled by hand.
    title : str
        Heading over it; empty for none.
    least_height : float
        Of a row. [in]
    """
    total = sum(column.width for column in columns)
    widths = [column.width / total * pages.width for column in columns]
    head = _wrapped([column.head for column in columns], widths, "bold")
    body = [_wrapped(row, widths, "normal") for row in rows]
    heights = [max(_height(cells), least_height) for cells in body]
    whole = _height(head) + sum(heights)
    keep = whole if whole < _WHOLE * pages.room else _height(head) + sum(heights[:2])
    if title:
        pages.heading(title, keep)
    pages.need(keep)
    _set_row(pages, columns, widths, head, _height(head), "bold")
    for cells, height in zip(body, heights, strict=True):
        if pages.top - height < pages.sheet.bottom:
            pages.need(height)
            _set_row(pages, columns, widths, head, _height(head), "bold")
        _set_row(pages, columns, widths, cells, height, "normal")
    pages.skip(0.08)


def entries(
    pages: Pages,
    pairs: Sequence[tuple[str, str]],
    columns: int = 2,
    *,
    least_height: float = 0.29,
) -> None:
    """Set labelled entries side by side; an empty one is a line to write on.

    Parameters
    ----------
    pages : Pages
        Where they go.
    pairs : sequence of tuple of str
        Label and words.
    columns : int
        Entries side by side.
    least_height : float
        Of an entry. [in]
    """
    gap = 0.2
    width = (pages.width - gap * (columns - 1)) / columns
    for start in range(0, len(pairs), columns):
        group = pairs[start : start + columns]
        labels = [text_width(f"{label}:  ", BODY, "bold") for label, _ in group]
        words = [
            wrap(text, width - label, BODY) if text else []
            for (_, text), label in zip(group, labels, strict=True)
        ]
        height = max(max(len(lines) for lines in words) * line_height(BODY) + 0.06, least_height)
        pages.need(height)
        for i, ((label, _), indent, lines) in enumerate(zip(group, labels, words, strict=True)):
            left = pages.sheet.left + i * (width + gap)
            drop = least_height - 0.25
            write_line(pages.sheet, left, pages.top - drop, f"{label}:", BODY, weight="bold")
            for number, line in enumerate(lines):
                below = drop + number * line_height(BODY)
                write_line(pages.sheet, left + indent, pages.top - below, line, BODY)
            if not lines:
                pages.rule(left + indent, left + width, pages.top - drop - 0.21, HAIR)
        pages.skip(height)
    pages.skip(0.04)


def _wrapped(row: Sequence[str], widths: Sequence[float], weight: str) -> list[list[str]]:
    return [
        [line for part in cell.split("\n") for line in _lines(part, width - 2 * _SIDE, weight)]
        for cell, width in zip(row, widths, strict=True)
    ]


def _lines(words: str, width: float, weight: str) -> list[str]:
    """Break words to a width, but not at a blank that is to hold two words together."""
    held = words.replace(" mm", f"{TOGETHER}mm").replace(TOGETHER, _AS_WIDE)
    return [line.replace(_AS_WIDE, " ") for line in wrap(held, width, LETTERS, weight)]


def _height(cells: list[list[str]]) -> float:
    return max(len(lines) for lines in cells) * line_height(LETTERS) + 2 * _PAD


def _set_row(
    pages: Pages,
    columns: Sequence[Column],
    widths: Sequence[float],
    cells: list[list[str]],
    height: float,
    weight: str,
) -> None:
    """Set one row with the lines around its cells."""
    sheet, x, top = pages.sheet, pages.sheet.left, pages.top
    bottom = top - height
    for column, width, lines in zip(columns, widths, cells, strict=True):
        anchor = {"left": x + _SIDE, "center": x + width / 2, "right": x + width - _SIDE}
        block = len(lines) * line_height(LETTERS)
        for i, line in enumerate(lines):
            y = top - (height - block) / 2 - i * line_height(LETTERS)
            place = anchor[column.align]
            if line:
                write_line(sheet, place, y, line, LETTERS, ha=column.align, weight=weight)
        sheet.page.plot([x, x], [bottom, top], color=INK, linewidth=HAIR)
        x += width
    sheet.page.plot([x, x], [bottom, top], color=INK, linewidth=HAIR)
    pages.rule(sheet.left, x, top, MEDIUM if weight == "bold" else HAIR)
    pages.rule(sheet.left, x, bottom, THIN if weight == "bold" else HAIR)
    pages.skip(height)
