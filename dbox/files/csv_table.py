"""Tables of a spreadsheet saved as CSV: plain cells with their places, read and written.

Spreadsheets part cells by commas, semicolons or tabs, put a byte order mark in front, write
decimals with a point or a comma, and turn a fraction such as 1/8 into a date. What is clear is
read; what could mean two things is refused with its row and column:

    readings.csv: row 3, column "reading" is "1,250"; that is 1.25 or 1250, write it with a point

Rows are counted as a spreadsheet shows them, the head being row 1. A row must have as many cells as
the head: a decimal comma in a table parted by commas makes one cell too many.
"""

import csv
import io
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from dbox.errors import ScenarioError, at_place, show
from dbox.files import toml_file

MOST_ROWS = 1000
_DELIMITERS = (";", "\t", ",")
_HINT = re.compile(r"\s*sep=(.)\s*", re.IGNORECASE)
_COMMA = re.compile(r"[0-9],[0-9]")
_POINT = re.compile(r"[0-9]\.[0-9]")
_THOUSANDS = re.compile(r"(?<![0-9,])[1-9][0-9]{0,2}(?:,[0-9]{3})+(?![0-9])")
_MONTH = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE = re.compile(
    rf"[0-9]{{1,2}}[-. ]+(?:{_MONTH})[a-z]*.*|(?:{_MONTH})[a-z]*[-. ]+[0-9]+.*"
    r"|[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}.*|[0-9]{1,2}/[0-9]{1,2}/[0-9]{2,4}.*",
    re.IGNORECASE,
)
_EXPONENT = re.compile(r"(?<=[0-9])e(?=[+-]?[0-9])", re.IGNORECASE)
_MARKS = "\"'”″’′°%"


@dataclass(frozen=True)
class Cell:
    """A cell that is not empty."""

    row: int  # Its row as a spreadsheet counts.
    column: str  # The head of its column.
    text: str  # What stands in it.

    @property
    def place(self) -> str:
        """Where it is, for a fault."""
        return f"row {self.row}, column {show(self.column)}"

    def quantity(self, unit: str | None) -> str:
        """Text of a quantity with its unit and a decimal point.

        >>> [Cell(2, "reading (mm)", text).quantity("mm") for text in ("3,5", "1/8 in")]
        ['3.5 mm', '1/8 in']
        """
        text = self.text
        if _DATE.fullmatch(text):
            raise ScenarioError(
                f"is {show(text)}, a date that a spreadsheet made of a fraction; make the column "
                "text before typing 1/8, or write 0.125"
            )
        if _COMMA.search(text):
            text = _with_point(text)
        return text if unit is None or _has_unit(text) else f"{text} {unit}"


def _has_unit(text: str) -> bool:
    """Tell whether a quantity has a unit: letters other than that of 1.2E-05, or a mark."""
    return any(c.isalpha() or c in _MARKS for c in _EXPONENT.sub("", text))


def _with_point(text: str) -> str:
    """Turn a decimal comma into a point where it can be nothing else."""
    if "." in text or text.count(",") > 1:
        raise ScenarioError(f"is {show(text)}; write one number, with one point for decimals")
    if _THOUSANDS.search(text):
        either = " or ".join((text.replace(",", "."), text.replace(",", "")))
        raise ScenarioError(f"is {show(text)}; that is {either}, write the one you mean")
    return text.replace(",", ".")


@dataclass(frozen=True)
class Sheet:
    """A table: its name, the heads of its columns, and its rows."""

    name: str  # What to call it in a fault.
    heads: tuple[str, ...]  # Heads of the columns.
    rows: tuple[tuple[Cell | None, ...], ...]  # One cell per head, None where it is empty.

    def column(self, index: int) -> Iterator[Cell]:
        """Cells of a column that are not empty."""
        return (cell for row in self.rows if (cell := row[index]) is not None)

    def refuse_mixed(self, columns: Iterable[int]) -> None:
        """Raise ScenarioError where decimals have a point in one cell and a comma in another."""
        cells = [cell for index in columns for cell in self.column(index)]
        comma = next((c for c in cells if _COMMA.search(c.text) and "." not in c.text), None)
        point = next((c for c in cells if _POINT.search(c.text) and "," not in c.text), None)
        if comma and point:
            raise ScenarioError(
                f"{self.name}: {comma.place} has a decimal comma, {point.place} a decimal point; "
                "write all the same way"
            )


def read_sheet(path: Path | str) -> Sheet:
    """Read a table that a spreadsheet has saved as CSV."""
    name = str(path)
    text = toml_file.read_text(Path(path), limit="a table of one box is a short text")
    lines = text.splitlines(keepends=True)
    delimiter, above = parted(lines)
    body = "".join(lines[above:])
    rows = _rows(body, delimiter, name)
    if not rows:
        raise ScenarioError(f"{name}: is empty; its first row names the columns")
    heads, *others = rows
    if len(others) > MOST_ROWS:
        raise ScenarioError(
            f"{name}: has more than {MOST_ROWS} rows; a box has one for each outlet"
        )
    faults: list[str] = []
    told = [
        _cells(number, row, heads, faults)
        for number, row in enumerate(others, start=above + 2)
        if any(row)
    ]
    if faults:
        raise ScenarioError(*(f"{name}: {fault}" for fault in faults))
    used = [i for i, head in enumerate(heads) if head or any(row[i] for row in told)]
    return Sheet(
        name=name,
        heads=tuple(heads[i] for i in used),
        rows=tuple(tuple(row[i] for i in used) for row in told),
    )


def parted(lines: Sequence[str]) -> tuple[str, int]:
    """What parts the cells of a table, and how many lines stand above its heads.

    >>> parted(["box;outlet 1\\n"]), parted(["sep=,\\n", "box,outlet 1\\n"])
    ((';', 0), (',', 1))
    """
    hint = _HINT.fullmatch(lines[0]) if lines else None
    if hint:
        return hint[1], 1
    head = "".join(lines)
    return max(_DELIMITERS, key=lambda d: len(_first_row(head, d))), 0


def _first_row(text: str, delimiter: str) -> list[str]:
    """Cells of the first row if parted so; one where it cannot be read."""
    try:
        return next(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter), [])
    except csv.Error:
        return []


def _rows(text: str, delimiter: str, name: str) -> list[list[str]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, strict=True)
    try:
        return [[" ".join(cell.split()) for cell in row] for row in reader]
    except csv.Error as error:
        raise ScenarioError(
            f"{name}: row {reader.line_num} is no row of a table ({error}); "
            "save it again as CSV, or look for a quote that is not closed"
        ) from error


def _cells(
    number: int, row: list[str], heads: list[str], faults: list[str]
) -> tuple[Cell | None, ...]:
    """Cells of a row, one per head."""
    extra = any(row[len(heads) :])
    if extra or len(row) < len(heads):
        faults.append(
            f"row {number} has {len(row)} cells under {len(heads)} heads; where a decimal comma "
            "parts a number, save with semicolons or write a point"
        )
    padded = row + [""] * len(heads)
    return tuple(
        Cell(number, head, text) if text else None
        for head, text in zip(heads, padded, strict=False)
    )


def cell_fault(cell: Cell, error: ScenarioError) -> str:
    """Put the place of a cell before what is wrong with it."""
    return at_place(cell.place, str(error))
