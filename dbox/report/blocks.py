"""What a result says, in blocks: headings, paragraphs and tables, in sections.

A report makes them once. `text` sets them on a terminal, `drawings.paper` on a page.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from dbox.notes import Note
from dbox.report.text import cut, wrapped
from dbox.report.wording import sentences


@dataclass(frozen=True)
class Heading:
    """A line that what follows belongs to, or that matters most."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running words."""

    text: str
    mark: str = ""  # Stands before the first line; the others are indented as far.
    hang: int = 0  # How much farther they are. [characters]


@dataclass(frozen=True)
class Column:
    """A column of a table."""

    head: str  # Words over it; line breaks in them and in cells are kept.
    width: float  # Characters on a terminal; on paper its part of the width. [-]
    align: str = "left"  # `left`, `center` or `right`.
    paper: bool = False  # Whether only paper has room for it.
    on_paper: float = 0.0  # Its part of the width there, where it is another. [-]
    whole: bool = False  # Of the first one: whether a long cell gets a line of its own.


def columns(widths: Mapping[str, float], align: str = "left") -> list[Column]:
    """Columns by the words over them, each with its width."""
    return [Column(head, width, align) for head, width in widths.items()]


@dataclass(frozen=True)
class Table:
    """Rows under columns; without any words over them it has no head."""

    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]


Block = Heading | Paragraph | Table
Section = Sequence[Block]

_INDENT = "  "


def warned(notes: Iterable[Note]) -> list[Block]:
    """A section of warnings, repeated ones once."""
    return [Paragraph(sentence, "! ") for sentence in sentences(notes)]


def text(sections: Iterable[Section]) -> list[str]:
    """Lines of at most 72 columns, a blank one between two sections."""
    lines: list[str] = []
    for section in filter(None, sections):
        lines += [""] * bool(lines)
        for block in section:
            if isinstance(block, Table):
                lines += _table(block)
            elif isinstance(block, Paragraph):
                indent = " " * (len(block.mark) + block.hang)
                lines += wrapped(block.text, first=block.mark, indent=indent)
            else:
                lines += wrapped(block.text)
    return lines


def _table(table: Table) -> list[str]:
    heads = [column.head for column in table.columns]
    rows = [heads, *table.rows] if any(heads) else table.rows
    first, lines = table.columns[0], []
    for row in rows:
        parts = [cell.split("\n") for cell in row]
        if first.whole and len(parts[0][0]) >= first.width:
            lines.append(_INDENT + parts[0][0])
            parts[0][0] = ""
        lines += [_row(table.columns, cells) for cells in zip_longest(*parts, fillvalue="")]
    return lines


def _row(columns: Sequence[Column], cells: Sequence[str]) -> str:
    line = _INDENT
    for column, cell in zip(columns, cells, strict=True):
        width = int(column.width)
        if column.paper:
            continue
        if column.align == "right":
            line += f"{cell:>{width}}"
        elif column is columns[-1]:
            line += _INDENT + cell
        else:
            line += f"{cut(cell, width):<{width}}"
    return line.rstrip()
