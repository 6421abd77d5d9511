"""What a result says, in blocks: headings, paragraphs and tables, in sections.

A report makes them once. `text` sets them on a terminal, `drawings.paper` on a page.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import zip_longest

from dbox.notes import Note
from dbox.report.text import TOGETHER, cells, fitted, line_width, padded, shortened, wrapped
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
    """Lines as wide as the terminal, 72 columns at most, a blank one between two sections."""
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
    shown = [i for i, column in enumerate(table.columns) if not column.paper]
    columns = [table.columns[i] for i in shown]
    rows = [[row[i].split("\n") for i in shown] for row in table.rows]
    starts = [len(_INDENT)]
    for column in columns:
        starts.append(starts[-1] + int(column.width))
    if (starts[-1] if columns[-1].align == "right" else starts[-2] + _TELLING) > line_width():
        return [line for row in rows for line in _under_each_other(columns, row)]
    heads = _heads(columns)
    for place, column in enumerate(columns[:-1]):
        if column.align != "right" and not (column.whole and not place):
            short = _short(column, [line for row in rows for line in row[place]])
            for row in rows:
                row[place] = [short[line] for line in row[place]]
    lines = []
    for row in [heads, *rows] if any(map(any, heads)) else rows:
        if columns[0].whole and cells(row[0][0]) >= columns[0].width:
            lines += wrapped(row[0][0], first=_INDENT, indent=_INDENT)
            row[0][0] = ""
        if columns[-1].align != "right":
            room = line_width() - starts[-2] - len(_INDENT)
            row[-1] = [part for line in row[-1] for part in fitted(line, width=room)]
        lines += [_row(columns, each) for each in zip_longest(*row, fillvalue="")]
    return lines


_TELLING = 14
"""Columns that the words at the end of a row have at least: judgement."""


def _short(column: Column, texts: Iterable[str]) -> dict[str, str]:
    """Each text as it is told in a column."""
    names = list(dict.fromkeys(texts))
    room = int(column.width) - 1
    return dict(zip(names, shortened(names, lambda name: cells(name) <= room), strict=True))


def _heads(columns: Sequence[Column]) -> list[list[str]]:
    """The words over columns, cut to what fits; those over columns of one width stay apart."""
    heads = []
    for column in columns:
        alike = [c for c in columns if (c.width, c.align) == (column.width, column.align)]
        short = _short(column, [line for each in alike for line in each.head.split("\n")])
        heads.append([short[line] for line in column.head.split("\n")])
    return heads


def _under_each_other(columns: Sequence[Column], row: Sequence[Sequence[str]]) -> list[str]:
    """A row on a terminal that is too narrow for it: its name, then each head with its cell."""
    texts = [TOGETHER.join(" ".join(cell).split()) for cell in row]
    heads = [TOGETHER.join(column.head.split()) for column in columns]
    name = f"{heads[0]} {texts[0].replace(TOGETHER, ' ')}".strip()
    pairs = zip(heads[1:], texts[1:], strict=True)
    told = "; ".join(f"{head} {text}".strip() for head, text in pairs if text)
    return [
        *wrapped(name, first=_INDENT, indent=_INDENT),
        *wrapped(told, first=2 * _INDENT, indent=2 * _INDENT),
    ]


def _row(columns: Sequence[Column], texts: Sequence[str]) -> str:
    line = _INDENT
    for column, text in zip(columns, texts, strict=True):
        if column is columns[-1] and column.align != "right":
            line += _INDENT + text
        else:
            # what fills its column stays apart from the one before
            full = column.align == "right" and cells(text) >= column.width
            touches = full and " " not in (line[-1], text[0])
            line += " " * touches + padded(text, int(column.width), column.align)
    return line.rstrip()
