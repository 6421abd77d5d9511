"""What stands in the columns of a list, and which cells cannot be read? From text to arrays.

A list is long and mostly plain numbers, so a column is read as numbers at once; only a cell that is
none is read as a person's quantity (`1/8`, `3 mm`, `capped`).
"""

import re
from collections.abc import Callable, Sequence
from functools import lru_cache, partial

import numpy as np

from dbox.arrays import Array
from dbox.errors import ScenarioError
from dbox.files import measures, units
from dbox.files.batch.heads import Column
from dbox.files.faults import at_place, show
from dbox.files.phrases import opening_from_text
from dbox.files.spreadsheet.cells import Cell
from dbox.hydraulics.openings import Opening

CAPPED, NONE = "capped", "none"

_TIME = re.compile(r"0?([0-9]{1,2}:[0-9]{2}):00(?: ?[AaPp][Mm])?")
_FURTHEST_READING = 1.0
_FURTHEST_OFFSET = 0.15
_REMEMBERED = 100_000

Faults = dict[int, list[str]]
"""What is wrong, by the index of the row."""


def heights(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """Lips over still water. [m] (rows,)

    Parameters
    ----------
    cells : sequence of str
        The cells of the column.
    column : Column
        Its head and unit.
    bare_unit : str
        Unit of a length where neither cell nor head gives one.
    faults : dict
        What cannot be read is added to it.

    Returns
    -------
    ndarray, shape (rows,)
        inf where capped, NaN where there is no such outlet or the cell cannot be read. [m]
    """
    unit = column.unit or bare_unit
    return _heights(cells, column, unit, partial(_height, unit=unit), faults)


def repeats(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """The same for a further reading, which may be missing: NaN then. [m] (rows,)"""
    unit = column.unit or bare_unit
    read = partial(_or_missing, read=partial(_height, unit=unit))
    return _heights(cells, column, unit, read, faults)


def offsets(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """Hole offsets, NaN where the cell is empty. [m] (rows,)"""
    unit = column.unit or bare_unit
    read = partial(_or_missing, read=partial(_length, unit=unit, measure=measures.offset))
    return _numbers(cells, column, unit, read, 0.0, _FURTHEST_OFFSET, faults)


def spreads(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """Spreads of one reading, NaN where the cell is empty. [m] (rows,)"""
    unit = column.unit or bare_unit
    read = partial(_or_missing, read=partial(_length, unit=unit, measure=measures.spread))
    return _each(cells, column, read, faults)


def tolerances(cells: Sequence[str], column: Column, faults: Faults) -> Array:
    """Tolerances, NaN where the cell is empty. [-] (rows,)"""
    read = partial(_or_missing, read=partial(_tolerance, unit=column.unit))
    return _each(cells, column, read, faults)


def clocks(cells: Sequence[str], column: Column, faults: Faults) -> Array:
    """Angles of holes from straight down, NaN where the cell is empty. [rad] (rows,)"""
    return _each(cells, column, partial(_or_missing, read=_clock), faults)


def openings(
    cells: Sequence[str],
    column: Column,
    bare_unit: str,
    coefficient: float | None,
    faults: Faults,
) -> list[Opening | None]:
    """Openings of the rows, None where the cell is empty or cannot be read.

    Parameters
    ----------
    cells, column, bare_unit, faults
        As for `heights`.
    coefficient : float or None
        Discharge coefficient of all of them. [-]
    """
    found: list[Opening | None] = []
    for row, cell in enumerate(cells):
        opening = None
        if cell.strip():
            try:
                opening = _opening(cell, column.unit or bare_unit, coefficient)
            except ScenarioError as error:
                faults.setdefault(row, []).append(_fault(column, error))
        found.append(opening)
    return found


def _heights(
    cells: Sequence[str], column: Column, unit: str, read: Callable[[str], float], faults: Faults
) -> Array:
    ends = -_FURTHEST_READING, _FURTHEST_READING
    return _numbers(cells, column, unit, read, *ends, faults)


def _numbers(
    cells: Sequence[str],
    column: Column,
    unit: str,
    read: Callable[[str], float],
    least: float,
    furthest: float,
    faults: Faults,
) -> Array:
    """Bare numbers at once, what is none by `read`."""
    factor = units.LENGTH_UNITS.get(unit, np.nan)
    try:
        values = np.array(cells, dtype=np.float64)
    except ValueError:
        values = np.array([_bare(cell) for cell in cells])
    values *= factor
    plain = (values >= least) & (values <= furthest)
    if "_" in "".join(cells):
        # what Python takes for a number is none on paper
        plain &= ["_" not in cell for cell in cells]
    # also what is not a number, or too far off to be true: `read` says why
    for row in np.flatnonzero(~plain).tolist():
        values[row] = _read(read, cells[row], column, row, faults)
    return values


def _each(
    cells: Sequence[str], column: Column, read: Callable[[str], float], faults: Faults
) -> Array:
    return np.array(
        [_read(read, cell, column, row, faults) for row, cell in enumerate(cells)], dtype=np.float64
    )


def _bare(cell: str) -> float:
    try:
        return float(cell)
    except ValueError:
        return np.nan


def _read(
    read: Callable[[str], float], cell: str, column: Column, row: int, faults: Faults
) -> float:
    try:
        return read(cell)
    except ScenarioError as error:
        faults.setdefault(row, []).append(_fault(column, error))
        return np.nan


def _fault(column: Column, error: ScenarioError) -> str:
    return at_place(show(column.head), str(error))


def _or_missing(cell: str, read: Callable[[str], float]) -> float:
    return read(cell) if cell.strip() else np.nan


@lru_cache(_REMEMBERED)
def _height(cell: str, unit: str) -> float:
    word = cell.strip().lower()
    if not word:
        raise ScenarioError(f"is empty; write the height, {CAPPED}, or {NONE} for no such outlet")
    if word in (CAPPED, NONE):
        return np.inf if word == CAPPED else np.nan
    return measures.reading(_quantity(cell, unit))


@lru_cache(_REMEMBERED)
def _length(cell: str, unit: str, measure: Callable[[object], float]) -> float:
    return measure(_quantity(cell, unit))


@lru_cache(_REMEMBERED)
def _tolerance(cell: str, unit: str | None) -> float:
    return measures.tolerance(_quantity(cell, unit))


@lru_cache(_REMEMBERED)
def _clock(cell: str) -> float:
    # a spreadsheet takes a clock position for a time of the day
    match = _TIME.fullmatch(cell.strip())
    return units.clock(match[1] if match else cell.strip())


@lru_cache(_REMEMBERED)
def _opening(cell: str, bare_unit: str, coefficient: float | None) -> Opening:
    return opening_from_text(cell, coefficient, bare_unit)


def _quantity(cell: str, unit: str | None) -> str:
    return Cell(0, "", " ".join(cell.split())).quantity(unit)
