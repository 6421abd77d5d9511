"""Tables of a spreadsheet saved as CSV: their dialect, heads, numbers and faults; read and written.

Spreadsheets part cells by commas, semicolons or tabs, put a byte order mark in front, write
decimals with a point or a comma, and turn a fraction such as 1/8 into a date. What is clear is
read; what could mean two things is refused with its row and column:

    readings.csv: row 3, column "reading" is "1,250"; write "1250" or "1.250", the one you mean

Rows are counted as a spreadsheet shows them, the head being row 1. A row must have as many cells as
the head: a decimal comma in a table parted by commas makes one cell too many.
"""

import csv
import io
import re
import warnings
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from dbox.arrays import Array
from dbox.errors import CellWarning, ScenarioError, at_place, show
from dbox.files import toml_file
from dbox.units import with_points

MOST_ROWS = 1000
"""Rows of a table of one box, which has one for each outlet."""
_MOST_BYTES = 1000 * MOST_ROWS

_DELIMITERS = (";", "\t", ",")
_HINT = re.compile(r"[ \t]*sep=(.)[ \t]*(?:\r\n?|\n|$)", re.IGNORECASE)
_LONGEST_HEAD = 100_000
_UNIT = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_COMMA = re.compile(r"[0-9],[0-9]")
_POINT = re.compile(r"[0-9]\.[0-9]")
_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(
    rf"[0-9]{{1,2}}[-. ]+(?:{_MONTH})[a-z]*.*|(?:{_MONTH})[a-z]*[-. ]+[0-9]+.*"
    r"|[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}.*|[0-9]{1,2}/[0-9]{1,2}/[0-9]{2,4}.*",
    re.IGNORECASE,
)
_EXPONENT = re.compile(r"(?<=[0-9])e(?=[+-]?[0-9])", re.IGNORECASE)
_MARKS = "\"'”″’′°%"
_SPECIAL = re.compile("""[",;\t\r\n]""")
_FORMULA = "=+\\-@\uff1d\uff0b\uff0d\uff20"
_UNSEEN = "\\x00-\\x1f\\x7f-\\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069"
_BEGINS = re.compile(rf"\s*[{_FORMULA}]")
_MAY_HARM = frozenset("=+-@\uff1d\uff0b\uff0d\uff20 ")
"""What a text may begin with that is one of those."""


def parted(text: str) -> tuple[str, int]:
    r"""What parts the cells of a table, and where its heads begin.

    >>> parted("box;outlet 1\n"), parted("sep=,\nbox,outlet 1\n")
    ((';', 0), (',', 6))
    """
    hint = _HINT.match(text)
    if hint:
        return hint[1], hint.end()
    lines = text[:_LONGEST_HEAD].splitlines(keepends=True)
    return max(_DELIMITERS, key=lambda delimiter: len(first_row(lines, delimiter))), 0


def first_row(lines: Iterable[str], delimiter: str, *, strict: bool = False) -> list[str]:
    """Cells of the first row if parted so, without idle blanks; none where it cannot be read."""
    try:
        return [plain(c) for c in next(csv.reader(lines, delimiter=delimiter, strict=strict), [])]
    except csv.Error:
        return []


def plain(cell: str) -> str:
    """A cell without idle blanks."""
    return " ".join(cell.split())


def split_head(head: str) -> tuple[str, str | None]:
    """Name and unit of a column.

    >>> split_head("reading 2 [mm]"), split_head("clock")
    (('reading 2', 'mm'), ('clock', None))
    """
    match = _UNIT.fullmatch(head)
    return (match[1], match[2]) if match else (head, None)


def uneven(row: Sequence[str], width: int) -> str:
    """What is wrong with a row that has other cells than there are heads."""
    cells = "1 cell" if len(row) == 1 else f"{len(row)} cells"
    return (
        f"has {cells} under {width} heads; look for a decimal comma (write a point, or save with "
        "semicolons), an open quote or a line break in a cell"
    )


def unit_fault(head: str, unit: str, reader: Callable[[str], object]) -> str:
    """What is wrong with the unit in a head; empty where its reader knows it."""
    try:
        reader(f"1 {unit}")
    except ScenarioError as error:
        return at_place(f"column {show(head)}: its unit", str(error))
    return ""


def quantity(text: str, unit: str | None, *, decimal_comma: bool = False) -> str:
    """Text of a quantity with its unit and a decimal point.

    `decimal_comma`: a comma can be nothing else.

    >>> [quantity(text, "mm") for text in ("3,5", "1/8 in", "3,2E-03")]
    ['3.5 mm', '1/8 in', '3.2E-03 mm']
    """
    if _DATE.fullmatch(text):
        raise ScenarioError(
            f"is {show(text)}, a date that a spreadsheet made of a fraction; make the column "
            "text before typing 1/8, or write 0.125"
        )
    if decimal_comma and "." not in text and text.count(",") == 1:
        text = text.replace(",", ".")
    text = with_points(text)
    # letters other than that of 1.2E-05, or a mark, are a unit
    has_unit = any(c.isalpha() or c in _MARKS for c in _EXPONENT.sub("", text))
    return text if unit is None or has_unit else f"{text} {unit}"


def values_at_once(
    cells: Sequence[str], factor: float, ends: tuple[float, float], read: Callable[[int], float]
) -> Array:
    """Values of many cells, bare numbers all at once; factor, ends and values [SI].

    What is no bare number, or is beyond the ends, goes through `read` by its index.
    """
    try:
        values = np.array(cells, dtype=np.float64)
    except ValueError:
        values = np.array([_number(cell) for cell in cells])
    values *= factor
    bare = (values >= ends[0]) & (values <= ends[1])
    if "_" in "".join(cells):
        # what Python takes for a number is none on paper
        bare &= ["_" not in cell for cell in cells]
    for index in np.flatnonzero(~bare).tolist():
        values[index] = read(index)
    return values


def _number(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return np.nan


@dataclass(frozen=True)
class Cell:
    """A cell that is not empty."""

    row: int  # Its row as a spreadsheet counts.
    column: str  # The head of its column.
    text: str  # What stands in it.

    def fault(self, why: ScenarioError | str) -> str:
        """What is wrong with it, its place in front."""
        return at_place(f"row {self.row}, column {show(self.column)}", str(why))


@dataclass(frozen=True)
class Sheet:
    """A table: its name, the heads of its columns, and its rows."""

    name: str  # What to call it in a fault.
    delimiter: str  # What parts its cells.
    heads: tuple[str, ...]  # Heads of the columns.
    numbers: list[int]  # Number of each row, as a spreadsheet counts.
    rows: list[list[str]]  # A cell for each head, as it stands.

    def cells(self) -> Iterator[list[Cell | None]]:
        """Cells of each row, None where one is empty."""
        for number, row in zip(self.numbers, self.rows, strict=True):
            texts = zip(self.heads, map(plain, row), strict=True)
            yield [Cell(number, head, text) if text else None for head, text in texts]

    def refuse(self, faults: Iterable[str]) -> None:
        """Raise ScenarioError with all faults, if there are any."""
        named = [f"{self.name}: {fault}" for fault in faults]
        if named:
            raise ScenarioError(*named)

    def refuse_mixed(self, columns: Sequence[int]) -> None:
        """Raise ScenarioError where decimals have a point in one cell and a comma in another."""
        cells = [c for index in columns for row in self.cells() if (c := row[index])]
        comma = next((c for c in cells if _COMMA.search(c.text) and "." not in c.text), None)
        point = next((c for c in cells if _POINT.search(c.text) and "," not in c.text), None)
        if comma and point:
            fault = point.fault("a decimal point; write all the same way")
            self.refuse([comma.fault(f"has a decimal comma, {fault}")])


def read_sheet(
    path: Path | str,
    what: str = "a table of one box",
    most_rows: int = MOST_ROWS,
    most_bytes: int = _MOST_BYTES,
) -> Sheet:
    """Read a table that a spreadsheet has saved as CSV; `what`: it is called."""
    name, limit = str(path), f"{what} has {most_rows:,} rows at most"
    text = toml_file.read_text(Path(path), most_bytes=most_bytes, limit=limit)
    delimiter, begin = parted(text)
    reader = csv.reader(io.StringIO(text[begin:], newline=""), delimiter=delimiter, strict=True)
    try:
        heads = [plain(cell) for cell in next(reader, [])]
        every = [*reader]
    except csv.Error as error:
        raise ScenarioError(
            f"{name}: row {reader.line_num} is no row of a table ({error}); "
            "save it again as CSV, or look for a quote that is not closed"
        ) from error
    first, width = 3 if begin else 2, len(heads)
    numbers = [number for number, row in enumerate(every, first) if any(map(str.strip, row))]
    rows = every if len(numbers) == len(every) else [every[number - first] for number in numbers]
    if not any(heads) and not rows:
        raise ScenarioError(f"{name}: is empty; its first row names the columns")
    if len(rows) > most_rows:
        raise ScenarioError(f"{name}: has more than {most_rows:,} rows; {limit}, leave some out")
    faults = [
        f"{name}: row {number} {uneven(row, width)}"
        for number, row in zip(numbers, rows, strict=True)
        if len(row) < width or (len(row) > width and any(map(str.strip, row[width:])))
    ]
    if faults:
        raise ScenarioError(*faults)
    used = [i for i, head in enumerate(heads) if head or any(row[i].strip() for row in rows)]
    if len(used) < max(map(len, rows), default=0):
        rows = [[row[i] for i in used] for row in rows]
    return Sheet(
        name=name,
        delimiter=delimiter,
        heads=tuple(heads[i] for i in used),
        numbers=numbers,
        rows=rows,
    )


@dataclass(frozen=True)
class Dialect:
    """How a table is written."""

    delimiter: str = ","  # What parts its cells.
    decimal: str = "."  # What stands before its decimals; no comma where that parts the cells.


def decimal_of(delimiter: str, cells: Iterable[str]) -> str:
    """The mark before decimals in a table, as its first number with decimals has it.

    A table that is not parted by commas, and has no such number, is of a spreadsheet that needs
    the comma for decimals.
    """
    if delimiter == ",":
        return "."
    decimals = (c for c in cells if _COMMA.search(c) or _POINT.search(c))
    return "." if _POINT.search(next(decimals, "")) else ","


def harmless(text: str) -> str:
    r"""Text that a spreadsheet takes for text and shows as it stands.

    What begins like a formula or a number gets an apostrophe in front; characters that control or
    turn the line are spelled out.

    >>> harmless("=cmd|' /C calc'!A0"), harmless("-2"), harmless("Oak\u202e 1-2")
    ("'=cmd|' /C calc'!A0", "'-2", 'Oak\\u202e 1-2')
    """
    spelled = re.sub(f"[{_UNSEEN}]", lambda match: ascii(match[0])[1:-1], text)
    return f"'{spelled}" if _BEGINS.match(text) else spelled


def harmed(texts: Sequence[str]) -> list[str]:
    """The texts that `harmless` would change."""
    if _plain(texts):
        return []
    return [text for text in texts if harmless(text) != text]


def _plain(texts: Sequence[str]) -> bool:
    """Whether all are harmless, told at a glance; False where a closer look is wanted."""
    return "".join(texts).isprintable() and _MAY_HARM.isdisjoint({text[:1] for text in texts})


def texts_written(texts: Sequence[str]) -> Sequence[str]:
    """Cells of text as they are written: harmless, in quotes where they must be."""
    if not _plain(texts):
        texts = [*map(harmless, texts)]
    if not _SPECIAL.search("".join(texts)):
        return texts
    return ['"' + t.replace('"', '""') + '"' if _SPECIAL.search(t) else t for t in texts]


def csv_text(heads: Sequence[str], rows: Iterable[Sequence[str | float]]) -> str:
    """A table for a spreadsheet; a byte order mark in front only where a cell needs it.

    Numbers stay numbers; text is made harmless, which is warned of once.
    """
    found: list[str] = []
    lines = []
    for row in (heads, *rows):
        texts = [cell for cell in row if isinstance(cell, str)]
        found += harmed(texts)
        told = iter(texts_written(texts))
        lines.append(",".join(next(told) if isinstance(c, str) else _decimals(c) for c in row))
    if found:
        warnings.warn(CellWarning(changed_text(found[0], len({*found}))), stacklevel=2)
    text = "".join(f"{line}\r\n" for line in lines)
    return text if text.isascii() else f"\ufeff{text}"


def changed_text(first: str, count: int) -> str:
    """What is said where text was made harmless."""
    others = f" and {count - 1:,} more" if count > 1 else ""
    return (
        f"a spreadsheet would run, work out or hide some text: {show(first)}{others}; in the table "
        "it stands with ' in front, or with such characters spelled out"
    )


def _decimals(value: float) -> str:
    return np.format_float_positional(round(float(value), 12) + 0.0, trim="-")
