"""Which rows stand in a piece of a list, and which lines are none? From text to cells.

A line is a row: a cell with a line break in it is refused, so that one quote left open spoils one
row and not the rest of a list.
"""

import csv
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from dbox.files.batch.heads import Layout

_UNEVEN = (
    "has {} cells under {} heads; look for a decimal comma, a quote that is not closed or a line "
    "break in a cell"
)


@dataclass(frozen=True)
class Fault:
    """A row that is no box.

    Parameters
    ----------
    line : int
        Its line in the file.
    box : str
        Name of its box, as far as known.
    why : str
        What is wrong and what mends it.
    """

    line: int
    box: str
    why: str


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows with as many cells as there are heads.

    Parameters
    ----------
    lines : sequence of int
        Line of each row in the file.
    columns : list of tuple of str
        The cells, column by column.
    """

    lines: Sequence[int]
    columns: list[tuple[str, ...]]


def read_rows(text: str, first_line: int, layout: Layout) -> tuple[Rows, list[Fault]]:
    """Part whole lines into cells.

    Parameters
    ----------
    text : str
        The lines.
    first_line : int
        Number of the first of them in the file.
    layout : Layout
        The columns.

    Returns
    -------
    rows : Rows
        Without empty ones.
    faults : list of Fault
        Lines with too many cells or too few.
    """
    cells = _cells(text.removesuffix("\n"), layout.delimiter)
    try:
        columns = [*zip(*cells, strict=True)]
    except ValueError:
        columns = []
    # a row that is empty has no name either
    if len(columns) == layout.width and "" not in columns[layout.box.index]:
        return Rows(range(first_line, first_line + len(cells)), columns), []
    lines, rows, faults = _even(cells, first_line, layout)
    return Rows(lines, [*zip(*rows, strict=True)] or [()] * layout.width), faults


def _even(
    cells: Iterable[list[str]], first_line: int, layout: Layout
) -> tuple[list[int], list[list[str]], list[Fault]]:
    """Rows with as many cells as there are heads, their lines, and what is none."""
    lines, rows, faults = [], [], []
    width, name_at = layout.width, layout.box.index
    for line, row in enumerate(cells, start=first_line):
        if not any(cell.strip() for cell in row):
            continue
        if len(row) == width or (len(row) > width and not any(row[width:])):
            lines.append(line)
            rows.append(row[:width])
            continue
        # a line that is one cell may be anything
        name = row[name_at] if len(row) > max(name_at, 1) else ""
        faults.append(Fault(line, name, _UNEVEN.format(len(row), width)))
    return lines, rows, faults


def _cells(text: str, delimiter: str) -> list[list[str]]:
    lines = text.split("\n")
    if '"' not in text:
        try:
            return [*csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_NONE)]
        except csv.Error:
            # one of them is no row; which one is found below
            pass
    return [*_one_by_one(lines, delimiter)]


def _one_by_one(lines: Iterable[str], delimiter: str) -> Iterator[list[str]]:
    for line in lines:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, strict=True), [])
        except csv.Error:
            cells = [line]
        # where a quote is left open it is one cell, if any
        yield [line] if line.count('"') % 2 else cells
