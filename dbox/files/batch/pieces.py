"""How is a list of any length read in pieces? Whole lines and whole boxes, in their order.

The pieces depend on the file alone, so that a run that was stopped finds the same ones again.
"""

import csv
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO

from dbox.errors import ScenarioError
from dbox.files.batch.heads import Layout, read_heads

LONGEST_LINE = 100_000
"""Bytes of a line; a longer one is no row of a list."""

_MOST_HELD = 100_000
_MARK = b"\xef\xbb\xbf"


@dataclass(frozen=True)
class Piece:
    """Some lines of a list.

    Parameters
    ----------
    first_line : int
        Number of the first of them in the file.
    content : bytes
        The lines.
    end : int
        Bytes of the file up to their end.
    apart : frozenset of str
        Names of boxes in it that have other rows elsewhere.
    """

    first_line: int
    content: bytes
    end: int
    apart: frozenset[str] = frozenset()

    @property
    def text(self) -> str:
        """The lines as text; bytes that are no UTF-8 are kept as they are."""
        return self.content.decode("utf-8", "surrogateescape")


def layout_of(path: Path, ignored: Sequence[str]) -> tuple[Layout, int]:
    """Read the heads of a list.

    Parameters
    ----------
    path : Path
        The file.
    ignored : sequence of str
        Heads of columns that are not for this.

    Returns
    -------
    layout : Layout
        Its columns.
    above : int
        Lines before the first box.

    Raises
    ------
    ScenarioError
        Where the file cannot be read, or its heads are not those of a list.
    """
    if path.exists() and not path.is_file():
        raise ScenarioError(f"{path}: is no file; save the list as one, it is read more than once")
    try:
        with path.open("rb") as file:
            lines = [_line(file, path).removeprefix(_MARK), _line(file, path)]
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be read ({error.strerror}); name another") from error
    if b"\0" in lines[0]:
        raise ScenarioError(f"{path}: is no UTF-8 text; save it as CSV in UTF-8")
    try:
        return read_heads([line.decode("utf-8", "replace") for line in lines], ignored)
    except ScenarioError as error:
        raise ScenarioError(*(f"{path}: {fault}" for fault in error.faults)) from error


def pieces(path: Path, layout: Layout, above: int, size: int) -> Iterator[Piece]:
    """The boxes of a list, some at a time.

    Parameters
    ----------
    path : Path
        The file.
    layout : Layout
        Its columns.
    above : int
        Lines before the first box.
    size : int
        Bytes of a piece, about.

    Yields
    ------
    Piece
        In the order of the file.

    Raises
    ------
    ScenarioError
        Where a line is longer than `LONGEST_LINE`.
    """
    blocks = partial(_blocks, path, above, size)
    if layout.by_outlet:
        yield from _by_box(blocks(), layout, _apart(blocks(), layout))
    else:
        yield from blocks()


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


@dataclass(frozen=True)
class _Line:
    number: int
    box: str
    sure: bool
    content: bytes
    end: int


def _by_box(blocks: Iterator[Piece], layout: Layout, apart: Set[str]) -> Iterator[Piece]:
    """The same lines, cut where a box ends."""
    held: list[_Line] = []
    for line in _named(blocks, layout):
        full = held and line.end > held[0].end
        # a line that tells no box may be of the one before it or of the one after it
        parts = held and line.sure and held[-1].sure and line.box != held[-1].box
        if (full and parts) or len(held) > _MOST_HELD:
            yield _piece(held, apart)
            held = []
        held.append(line)
    if held:
        yield _piece(held, apart)


def _named(blocks: Iterator[Piece], layout: Layout) -> Iterator[_Line]:
    """The lines, each with its box: that of the line before where it tells none."""
    name = ""
    for block in blocks:
        lines = block.content.removesuffix(b"\n").split(b"\n")
        for number, line in enumerate(lines, start=block.first_line):
            told = _name(line, layout)
            name = told or name
            yield _Line(number, name, bool(told), line + b"\n", block.end)


def _apart(blocks: Iterator[Piece], layout: Layout) -> Set[str]:
    """Names of boxes whose rows do not stand together."""
    seen: set[str] = set()
    apart: set[str] = set()
    last = None
    for line in _named(blocks, layout):
        if line.box != last:
            (apart if line.box in seen else seen).add(line.box)
            last = line.box
    return apart


def _piece(lines: Sequence[_Line], apart: Set[str]) -> Piece:
    content = b"".join(line.content for line in lines)
    names = frozenset(line.box for line in lines)
    return Piece(lines[0].number, content, lines[-1].end, names & apart)


def _name(line: bytes, layout: Layout) -> str:
    """Name of the box that a line is about; empty where it cannot be told."""
    text = line.decode("utf-8", "surrogateescape")
    try:
        cells = next(csv.reader([text], delimiter=layout.delimiter, strict=True), [])
    except csv.Error:
        return ""
    return cells[layout.box.index].strip() if len(cells) > layout.box.index else ""
