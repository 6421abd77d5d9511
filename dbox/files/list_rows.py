"""A list of boxes in pieces: its heads, its rows, whole boxes in their order.

One row a box, a column for each outlet clockwise from the inlet:

    box,outlet 1 (in),outlet 2 (in),outlet 3 (in),clock 1,clock 2,clock 3
    Oak St 12,1/8,0,capped,6:00,7:30,

One row an outlet, the rows of a box together; more readings of an outlet in `reading 2` and so on:

    box;outlet;reading (mm);reading 2 (mm);clock
    Oak St 12;1;3,2;3,0;6:00

Heights are of lips over still water. `none` stands where a box has no such outlet, `capped` where
it is closed. Both shapes may have the columns `opening`, `offset`, `spread` and `tolerance`, and of
the inlet how it ends, `inlet`, and the diameter of the gravity pipe, `pipe`, or of the pump's main,
`main`; an empty cell there means what the command line says.

A line is a row: a cell with a line break in it is refused, so that one quote left open spoils one
row and not the rest of a list.

The pieces depend on the file alone, so that a run that was stopped finds the same ones again.
"""

import csv
import re
from collections.abc import Iterable, Iterator, Sequence, Set
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import BinaryIO, NamedTuple

import numpy as np
import numpy.typing as npt

from dbox import units
from dbox.errors import ScenarioError, did_you_mean, show
from dbox.files.csv_table import (
    Dialect,
    decimal_of,
    first_row,
    harmed,
    parted,
    split_head,
    uneven,
    unit_fault,
)

BOX, OUTLET, READING, CLOCK = "box", "outlet", "reading", "clock"
OPENING, OFFSET, SPREAD, TOLERANCE = "opening", "offset", "spread", "tolerance"
INLET, PIPE, MAIN = "inlet", "pipe", "main"
OF_BOX = (OPENING, OFFSET, SPREAD, TOLERANCE, INLET, PIPE, MAIN)
MOST_OUTLETS = 100

_NUMBERED = re.compile(r"([a-z]+)\s*([1-9][0-9]{0,2})?")


@dataclass(frozen=True)
class Column:
    """Where a column stands, its head, what it is, and the unit in its head."""

    index: int
    head: str
    name: str
    unit: str | None


@dataclass(frozen=True)
class Layout:
    """The columns of a list."""

    dialect: Dialect  # How it is written, and how its results are.
    width: int  # Number of heads.
    box: Column  # Name of the box.
    outlet: Column | None  # Label of the outlet, where a row is one rather than a box.
    readings: tuple[Column, ...]  # One per outlet, or one per reading of the same outlet.
    clocks: tuple[Column | None, ...]  # One per outlet, or one; None where there is none.
    others: dict[str, Column]  # Those of `OF_BOX` that are there.
    bare: tuple[int, ...]  # Where columns without a head stand.


def read_heads(lines: Sequence[str], ignored: Sequence[str] = ()) -> tuple[Layout, int]:
    """Read the first row of a list; also how many lines stand above the rows."""
    delimiter, begin = parted("".join(lines))
    above = 1 if begin else 0
    heads = first_row(lines[above : above + 1], delimiter, strict=True)
    faults: list[str] = []
    found = _columns(heads, {name.lower() for name in ignored}, faults)
    by_outlet = (OUTLET, 0) in found
    kind, other = (READING, OUTLET) if by_outlet else (OUTLET, READING)
    faults += [
        f"column {show(column.head)} is of the other shape; a row is a box, under {OUTLET} 1 and "
        f"so on, or an outlet, under {OUTLET} and {READING}"
        for (name, number), column in found.items()
        if name == other and (number or not by_outlet)
    ]
    numbers = sorted(number for name, number in found if name == kind)
    if (BOX, 0) not in found:
        faults.append(f"there is no column {BOX}; it names each box")
    if not numbers:
        heights = READING if by_outlet else f"{OUTLET} 1, {OUTLET} 2 and so on"
        faults.append(f"there is no column of heights; add {heights}")
    elif not by_outlet and numbers != [*range(1, len(numbers) + 1)]:
        faults.append(
            f"the columns {OUTLET} 1 to {OUTLET} {numbers[-1]} are not all there; add the others"
        )
    if len(numbers) > MOST_OUTLETS:
        faults.append(
            f"there are {len(numbers)} columns of heights; {MOST_OUTLETS} are the most for a box"
        )
    if faults:
        raise ScenarioError(*faults)
    layout = Layout(
        dialect=Dialect(delimiter),
        width=len(heads),
        box=found[BOX, 0],
        outlet=found.get((OUTLET, 0)),
        readings=tuple(found[kind, number] for number in numbers),
        clocks=tuple(found.get((CLOCK, number)) for number in ([0] if by_outlet else numbers)),
        others={name: found[name, 0] for name in OF_BOX if (name, 0) in found},
        bare=tuple(index for index, head in enumerate(heads) if not head),
    )
    without_unit = {layout.box, layout.outlet, *layout.clocks, layout.others.get(INLET)}
    read = {*without_unit, *layout.readings, *layout.others.values()}
    faults += [
        f"column {show(column.head)} fits no outlet of the list; mend its head, or leave it out "
        f"by --ignore {show(column.head)}"
        for column in found.values()
        if column not in read
    ]
    faults += [
        f"column {show(column.head)} has a unit, and takes none; leave it out"
        for column in found.values()
        if column in without_unit and column.unit
    ]
    faults += [
        fault
        for column in found.values()
        if column not in without_unit and column.unit
        for reader in (units.percent if column.name == TOLERANCE else units.length,)
        if (fault := unit_fault(column.head, column.unit, reader))
    ]
    if faults:
        raise ScenarioError(*faults)
    return layout, above + 1


def _columns(
    heads: Sequence[str], ignored: Set[str], faults: list[str]
) -> dict[tuple[str, int], Column]:
    """Columns by name and number, 0 where there is none."""
    found: dict[tuple[str, int], Column] = {}
    known = (BOX, OUTLET, READING, CLOCK, *OF_BOX)
    for index, head in enumerate(heads):
        if not head or head.lower() in ignored:
            continue
        written, unit = split_head(head.lower())
        match = _NUMBERED.fullmatch(written)
        name = match[1] if match else head
        if match is None or name not in known:
            mend = f"{did_you_mean(name, known)}; or leave it out by --ignore {show(head)}"
            faults.append(f"unknown column {show(head)}; {mend}")
            continue
        key = name, int(match[2] or 0)
        if key in found:
            faults.append(f"column {show(head)} is there twice; keep one of them")
        found[key] = Column(index, head, name, unit)
    return found


@dataclass(frozen=True)
class Fault:
    """A row that is no box."""

    line: int  # Its line in the file.
    box: str  # Name of its box, as far as known.
    why: str  # What is wrong and what mends it.


@dataclass(frozen=True, eq=False)
class Rows:
    """Rows with as many cells as there are heads."""

    lines: Sequence[int]  # Line of each row in the file.
    columns: list[tuple[str, ...]]  # The cells, column by column.


def read_rows(text: str, first_line: int, layout: Layout) -> tuple[Rows, list[Fault]]:
    """Part whole lines into cells."""
    cells = _cells(text.removesuffix("\n"), layout.dialect.delimiter)
    width, name_at = layout.width, layout.box.index
    try:
        columns = [*zip(*cells, strict=True)]
    except ValueError:
        columns = []
    # a row that is empty has no name either
    if len(columns) == width and "" not in columns[name_at]:
        return Rows(range(first_line, first_line + len(cells)), columns), []
    lines, rows, faults = [], [], []
    for line, row in enumerate(cells, start=first_line):
        if len(row) == width or (len(row) > width and not any(row[width:])):
            if any(cell.strip() for cell in row):
                lines.append(line)
                rows.append(row[:width])
        elif any(cell.strip() for cell in row):
            faults.append(Fault(line, _name(row, name_at), uneven(row, width)))
    return Rows(lines, [*zip(*rows, strict=True)] or [()] * width), faults


def _cells(text: str, delimiter: str) -> list[list[str]]:
    """Cells of each line; a line that is no row, or where a quote is left open, is one cell."""
    lines = text.split("\n")
    if '"' not in text:
        try:
            return [*csv.reader(lines, delimiter=delimiter, quoting=csv.QUOTE_NONE)]
        except csv.Error:
            # one of them is no row; which one is found below
            pass
    found = []
    for line in lines:
        try:
            cells = next(csv.reader([line], delimiter=delimiter, strict=True), [])
        except csv.Error:
            cells = [line]
        found.append([line] if line.count('"') % 2 else cells)
    return found


@dataclass(frozen=True, eq=False)
class Remarks:
    """What is to be told of rows apart from faults; those of parts of a list add up."""

    names: tuple[npt.NDArray[np.uint64], ...] = ()  # Marks of the names of boxes, row by row.
    lines: tuple[Sequence[int], ...] = ()  # Lines of those rows.
    harmed: tuple[str, int] = ("", 0)  # The first text that is made harmless; how many are.
    bare: tuple[str, int] = ("", 0)  # The first cell under no head, with its place; how many.

    @classmethod
    def of(cls, rows: Rows, layout: Layout) -> "Remarks":
        """What is to be told of some rows."""
        names = [name.strip() for name in rows.columns[layout.box.index]]
        labels = [] if layout.outlet is None else rows.columns[layout.outlet.index]
        found = [*harmed(names), *harmed(labels)]
        bare = sorted(
            (line, index, cell.strip())
            for index in layout.bare
            for line, cell in zip(rows.lines, rows.columns[index], strict=True)
            if cell.strip()
        )
        told = [f"{show(cell)} in row {line}, column {i + 1}" for line, i, cell in bare[:1]]
        # where a row is an outlet, boxes whose rows stand apart are refused
        one = layout.outlet is None
        return cls(
            names=(_marks(names),) * one,
            lines=(rows.lines,) * one,
            harmed=(next(iter(found), ""), len(found)),
            bare=(next(iter(told), ""), len(bare)),
        )

    def __add__(self, other: "Remarks") -> "Remarks":
        pairs = ((self.harmed, other.harmed), (self.bare, other.bare))
        both = ((one[0] or two[0], one[1] + two[1]) for one, two in pairs)
        return Remarks(self.names + other.names, self.lines + other.lines, *both)

    @property
    def twice(self) -> tuple[int, tuple[int, ...]]:
        """How many names stand in more than one row, and the rows of the first of them."""
        if not self.names:
            return 0, ()
        marks = np.concatenate(self.names)
        _, where, counts = np.unique(marks, return_index=True, return_counts=True)
        if not (again := where[counts > 1]).size:
            return 0, ()
        lines = np.concatenate([np.asarray(each, np.int64) for each in self.lines])
        first = lines[marks == marks[again.min()]]
        return int(again.size), tuple(first.tolist())


_ODD = np.uint64(0x9E3779B97F4A7C15)


def _marks(names: Sequence[str]) -> npt.NDArray[np.uint64]:
    """A number for each name, the same in every process; two of a list hardly share one."""
    if not names:
        return np.zeros(0, np.uint64)
    letters = np.array(names, dtype=np.str_)
    codes = letters.view(np.uint32).reshape(len(names), -1)
    marks = np.zeros(len(names), np.uint64)
    for column in codes.T:
        # an empty place changes nothing, so that the longest name of a piece does not count
        mixed = (marks ^ column) * _ODD
        marks = np.where(column > 0, mixed ^ (mixed >> np.uint64(29)), marks)
    return marks


LONGEST_LINE = 100_000
"""Bytes of a line; a longer one is no row of a list."""

_LOOKED_AT = 100_000
_MOST_HELD = 100_000
_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Piece:
    """Some lines of a list."""

    first_line: int  # Number of the first of them in the file.
    content: bytes  # The lines.
    end: int  # Bytes of the file up to their end.
    apart: frozenset[str] = frozenset()  # Names of boxes in it that have other rows elsewhere.

    @property
    def text(self) -> str:
        """The lines as text; bytes that are no UTF-8 are kept as they are."""
        return self.content.decode("utf-8", "surrogateescape")


def layout_of(path: Path, ignored: Sequence[str]) -> tuple[Layout, int]:
    """Read the heads of a list."""
    if path.exists() and not path.is_file():
        raise ScenarioError(f"{path}: is no file; save the list as one, it is read more than once")
    try:
        with path.open("rb") as file:
            looked_at = file.read(LONGEST_LINE)
            if b"\r" in looked_at and b"\n" not in looked_at:
                raise ScenarioError(
                    f"{path}: its lines end with CR alone, as old spreadsheets save them; open it "
                    "in a spreadsheet of today and save it as CSV"
                )
            file.seek(0)
            lines = [_line(file, path).removeprefix(_MARK), _line(file, path)]
            begin = file.read(_LOOKED_AT).decode("utf-8", "replace")
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read ({error.strerror}); name another") from error
    if b"\0" in lines[0]:
        raise ScenarioError(f"{path}: is no UTF-8 text; save it as CSV in UTF-8")
    try:
        texts = [line.decode("utf-8", "replace") for line in lines]
        layout, above = read_heads(texts, ignored)
    except ScenarioError as error:
        raise ScenarioError(*(f"{path}: {fault}" for fault in error.faults)) from error
    rows, _ = read_rows("".join([*texts[above:], begin]), above + 1, layout)
    numbers = (*layout.readings, *layout.others.values())
    cells = chain.from_iterable(rows.columns[column.index] for column in numbers)
    dialect = Dialect(delimiter := layout.dialect.delimiter, decimal_of(delimiter, cells))
    return replace(layout, dialect=dialect), above


def pieces(path: Path, layout: Layout, above: int, size: int) -> Iterator[Piece]:
    """The boxes of a list, some at a time."""
    if layout.outlet is None:
        yield from _blocks(path, above, size)
        return
    seen: set[str] = set()
    apart: set[str] = set()
    last = None
    for line in _named_lines(_blocks(path, above, size), layout):
        if line.box != last:
            (apart if line.box in seen else seen).add(line.box)
            last = line.box
    held: list[_Line] = []
    for line in _named_lines(_blocks(path, above, size), layout):
        full = held and line.end > held[0].end
        # a line that tells no box may be of the one before it or of the one after it
        parts = held and line.sure and held[-1].sure and line.box != held[-1].box
        if (full and parts) or len(held) > _MOST_HELD:
            yield _piece(held, apart)
            held = []
        held.append(line)
    if held:
        yield _piece(held, apart)


def _blocks(path: Path, above: int, size: int) -> Iterator[Piece]:
    """Whole lines of about one size."""
    line = above + 1
    with path.open("rb") as file:
        for _ in range(above):
            _line(file, path)
        while content := file.read(size):
            if not content.endswith(b"\n"):
                content += _line(file, path)
            yield Piece(line, content, file.tell())
            line += content.count(b"\n")


def _line(file: BinaryIO, path: Path) -> bytes:
    line = file.readline(LONGEST_LINE + 1)
    if len(line) > LONGEST_LINE:
        raise ScenarioError(
            f"{path}: has a line of more than {LONGEST_LINE:,} bytes; is it a list saved as CSV?"
        )
    return line


class _Line(NamedTuple):
    number: int
    box: str
    sure: bool  # Whether the line tells its box; else it is taken to be that of the line before.
    content: bytes
    end: int


def _named_lines(blocks: Iterable[Piece], layout: Layout) -> Iterator[_Line]:
    """The lines, each with its box."""
    name, at = "", layout.box.index
    for block in blocks:
        lines = block.content.removesuffix(b"\n").split(b"\n")
        cells = _cells(block.text.removesuffix("\n"), layout.dialect.delimiter)
        for number, (line, row) in enumerate(zip(lines, cells, strict=True), block.first_line):
            told = _name(row, at).strip()
            name = told or name
            yield _Line(number, name, bool(told), line + b"\n", block.end)


def _name(cells: Sequence[str], at: int) -> str:
    """Name of the box of a line; none where the line is one cell, which may be anything."""
    return cells[at] if len(cells) > max(at, 1) else ""


def _piece(lines: Sequence[_Line], apart: Set[str]) -> Piece:
    content = b"".join(line.content for line in lines)
    names = frozenset(line.box for line in lines)
    return Piece(lines[0].number, content, lines[-1].end, names & apart)
