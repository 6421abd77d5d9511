"""Boxes of a piece of a list: from cells to arrays, and those that cannot be computed.

A list is long and mostly plain numbers, so a column is read as numbers at once; only a cell that is
none is read as a person's quantity (`1/8`, `3 mm`, `capped`).

What is wrong with a row keeps its box out, and no other.
"""

import re
from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass, replace
from functools import lru_cache, partial
from typing import Any

import numpy as np
import numpy.typing as npt

from dbox import keys, units
from dbox.arrays import Array, BoolArray
from dbox.errors import ScenarioError, at_place, show
from dbox.fieldwork.many_boxes import Boxes
from dbox.fieldwork.site import DEFAULT_SPREAD, Flow
from dbox.files.csv_table import Cell
from dbox.files.list_rows import (
    MOST_OUTLETS,
    OFFSET,
    OPENING,
    SPREAD,
    TOLERANCE,
    Column,
    Fault,
    Layout,
    Rows,
    read_rows,
)
from dbox.files.typed_box import opening_from_text, optional, typed_flows, typed_unit
from dbox.hydraulics.openings import Opening

CAPPED, NONE = "capped", "none"

_TIME = re.compile(r"0?([0-9]{1,2}:[0-9]{2}):00(?: ?[AaPp][Mm])?")
_FURTHEST_READING = 1.0
_FURTHEST_OFFSET = 0.15
_REMEMBERED = 100_000

Faults = dict[int, list[str]]
"""What is wrong, by the index of the row."""


def heights(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """Lips over still water. [m] (rows,)"""
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
    read = partial(_or_missing, read=partial(_length, unit=unit, measure=keys.offset))
    return _numbers(cells, column, unit, read, 0.0, _FURTHEST_OFFSET, faults)


def spreads(cells: Sequence[str], column: Column, bare_unit: str, faults: Faults) -> Array:
    """Spreads of one reading, NaN where the cell is empty. [m] (rows,)"""
    unit = column.unit or bare_unit
    read = partial(_or_missing, read=partial(_length, unit=unit, measure=keys.spread))
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
    """Openings of the rows, None where the cell is empty or cannot be read; coefficient [-]."""
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
    return keys.reading(_quantity(cell, unit))


@lru_cache(_REMEMBERED)
def _length(cell: str, unit: str, measure: Callable[[object], float]) -> float:
    return measure(_quantity(cell, unit))


@lru_cache(_REMEMBERED)
def _tolerance(cell: str, unit: str | None) -> float:
    return keys.tolerance(_quantity(cell, unit))


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


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What a run over a list goes by."""

    # The flows to compute, the first the one at which unequal holes are to share equally.
    flows: tuple[Flow, ...]
    opening: Opening | None = None  # Opening of every outlet; None where the rows say it.
    coefficient: float | None = None  # Discharge coefficient of the openings that the rows say. [-]
    # Hole centre from pipe centre; None where nothing is said, 0 where it cannot be turned. [m]
    offset: float | None = None
    spread: float | None = None  # Standard deviation of one reading; None for that of a ruler. [m]
    # Allowed difference of a share from its target; None where the rows say it. [-]
    tolerance: float | None = None
    units: str = "in"  # Unit of a bare length.
    samples: int = 400  # Lips drawn for each box; 0 for verdicts to first order.
    seed: int = 0  # Seed of the draws.
    shares: bool = False  # Whether every share is written.


def read_settings(
    *,
    flows: Sequence[str] = (),
    opening: str | None = None,
    coefficient: float | None = None,
    offset: str | None = None,
    spread: str | None = None,
    tolerance: str | None = None,
    units: str = "in",
    samples: int = 400,
    seed: int = 0,
    shares: bool = False,
) -> Settings:
    """Read the words of a command line; coefficient [-]."""
    faults: list[str] = []
    units = typed_unit(faults, units)
    read_opening = optional(
        faults, "--opening", opening, lambda o: opening_from_text(o, coefficient, units)
    )
    if coefficient is not None and opening is None:
        optional(faults, "--coefficient", str(coefficient), keys.coefficient)
    read_offset = optional(faults, "--offset", offset, lambda s: keys.offset(s, units))
    read_spread = optional(faults, "--spread", spread, lambda s: keys.spread(s, units))
    read_tolerance = optional(faults, "--tolerance", tolerance, keys.tolerance)
    if faults:
        raise ScenarioError(*faults)
    return Settings(
        flows=typed_flows(flows),
        opening=read_opening,
        coefficient=coefficient,
        offset=read_offset,
        spread=read_spread,
        tolerance=read_tolerance,
        units=units,
        samples=samples,
        seed=seed,
        shares=shares,
    )


Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class Listed:
    """Boxes as they stand in a list, whatever their openings; boxes by outlets."""

    names: Sequence[str]  # Name of each of the k boxes.
    labels: Sequence[Sequence[str]]  # Labels of the outlets of each box.
    lip: Array  # (k, n) As in `Boxes`; the lip is NaN where there is no such outlet. [m]
    error: Array  # (k, n) As in `Boxes`; the lip is NaN where there is no such outlet. [m]
    offset: Array  # (k, n) As in `Boxes`; the lip is NaN where there is no such outlet. [m]
    clock: Array  # (k, n) As in `Boxes`. [rad]
    # (k, n) Index of the opening of each outlet, -1 where there is no such outlet.
    opening: Indices
    openings: Sequence[Opening]  # The openings that the indices mean.
    tolerance: Array  # (k,) As in `Boxes`. [-]

    def only(self, boxes: Indices) -> "Listed":
        """Some of the boxes."""
        if len(boxes) == len(self.names):
            return self
        arrays = ("lip", "error", "offset", "clock", "opening", "tolerance")
        return replace(
            self,
            names=[self.names[i] for i in boxes],
            labels=[self.labels[i] for i in boxes],
            **{name: getattr(self, name)[boxes] for name in arrays},
        )

    def alike(self) -> Iterator[tuple[Indices, Indices, Boxes]]:
        """Those with the same openings together: where they stand, which outlets, and the boxes."""
        if not self.names:
            return
        kinds, kind = self.opening[:1], np.zeros(len(self.names), dtype=np.intp)
        if not np.array_equal(self.opening, np.broadcast_to(kinds, self.opening.shape)):
            kinds, kind = np.unique(self.opening, axis=0, return_inverse=True)
        for index, openings in enumerate(kinds):
            boxes = np.flatnonzero(kind.reshape(-1) == index)
            outlets = np.flatnonzero(openings >= 0)
            at = np.ix_(boxes, outlets)
            yield (
                boxes,
                outlets,
                Boxes(
                    openings=tuple(self.openings[i] for i in openings[outlets]),
                    lip=self.lip[at],
                    error=self.error[at],
                    tolerance=self.tolerance[boxes],
                    hole_offset=self.offset[at],
                    clock=self.clock[at],
                ),
            )


def read_boxes(
    text: str,
    first_line: int,
    layout: Layout,
    settings: Settings,
    *,
    apart: Set[str] = frozenset(),
) -> tuple[Listed, list[Fault]]:
    """Read a piece of a list."""
    rows, torn = read_rows(text, first_line, layout)
    faults: Faults = {}
    table = _Table(rows, layout, settings, faults, _names(rows, layout, faults))
    listed, box = table.by_outlet(apart) if layout.by_outlet else table.by_box()
    if layout.by_outlet:
        table.refuse_torn(torn)
    wrong = np.zeros(len(listed.names), dtype=bool)
    wrong[box[[*faults]]] = True
    told = [Fault(rows.lines[row], table.names[row], "; ".join(why)) for row, why in faults.items()]
    good = listed.only(np.flatnonzero(~wrong))
    return good, sorted([*torn, *told], key=lambda fault: fault.line)


@dataclass(frozen=True, eq=False)
class _Table:
    """Rows of cells on their way to boxes; what is wrong is gathered by row."""

    rows: Rows
    layout: Layout
    settings: Settings
    faults: Faults
    names: Sequence[str]

    def by_box(self) -> tuple[Listed, Indices]:
        """Boxes where each row is one, and the box of each row."""
        lip = self._stacked(self.layout.readings, heights)
        self._refuse(_closed(lip), "has no open outlet; give one at least a height")
        opening, openings = self._openings(~np.isnan(lip))
        label = [str(i) for i in range(1, lip.shape[1] + 1)]
        listed = Listed(
            names=self.names,
            labels=[label] * len(lip),
            lip=lip,
            error=np.where(np.isfinite(lip), self._spread()[:, None], 0.0),
            offset=np.broadcast_to(self._offset()[:, None], lip.shape),
            clock=np.stack([self._clock(column) for column in self.layout.clocks], -1),
            opening=opening,
            openings=openings,
            tolerance=self._tolerance(),
        )
        return listed, np.arange(len(lip))

    def by_outlet(self, apart: Set[str]) -> tuple[Listed, Indices]:
        """Boxes where each row is an outlet, and the box of each row."""
        box, place, firsts = _places(self.names)
        height, taken = self._means()
        tolerance = self._tolerance()
        self._refuse(tolerance != tolerance[firsts][box], "has another tolerance than its box")
        opening, openings = self._openings(np.ones((len(box), 1), dtype=bool))
        labels = self._labels(box, firsts, apart)
        self._refuse(place == MOST_OUTLETS, f"is of a box with more than {MOST_OUTLETS} outlets")

        def spread_out(values: npt.NDArray[Any], missing: float) -> Array:
            table = np.full((len(firsts), place.max(initial=0) + 1), missing)
            table[box, place] = values
            return table

        closed = _closed(spread_out(height, np.nan))
        self._refuse(closed[box] & (place == 0), "has no open outlet; give one at least a height")
        listed = Listed(
            names=[self.names[first] for first in firsts],
            labels=labels,
            lip=spread_out(height, np.nan),
            error=spread_out(self._spread() / np.sqrt(np.maximum(taken, 1)), 0.0),
            offset=spread_out(self._offset(), 0.0),
            clock=spread_out(self._clock(self.layout.clocks[0]), np.nan),
            opening=spread_out(opening[:, 0], -1).astype(np.intp),
            openings=openings,
            tolerance=tolerance[firsts],
        )
        listed.error[~np.isfinite(listed.lip)] = 0.0
        return listed, box

    def refuse_torn(self, torn: Sequence[Fault]) -> None:
        """Refuse the boxes that a line which could not be parted may be of."""
        for fault in torn:
            after = int(np.searchsorted(self.rows.lines, fault.line))
            for row in {max(after - 1, 0), min(after, len(self.names) - 1)} if self.names else ():
                if fault.box in ("", self.names[row]):
                    self._fault(row, f"may be of the box of line {fault.line}, which is no row")

    def _means(self) -> tuple[Array, Indices]:
        """Mean reading of each row, and how many readings it is of."""
        readings = self._stacked(self.layout.readings, repeats)
        taken = np.count_nonzero(~np.isnan(readings), axis=-1)
        self._refuse(taken == 0, "has no reading; write the height, or capped")
        closed = np.isinf(readings).any(-1)
        self._refuse(
            closed & (np.isinf(readings).sum(-1) < taken),
            "is capped and has a height; write one of them",
        )
        return np.nansum(readings, axis=-1) / np.where(taken, taken, np.nan), taken

    def _labels(self, box: Indices, firsts: Indices, apart: Set[str]) -> list[Sequence[str]]:
        """Labels of each box; refuses one that is there twice, and boxes whose rows stand apart."""
        assert self.layout.outlet is not None
        cells = [label.strip() for label in self.rows.columns[self.layout.outlet.index]]
        seen: set[tuple[int, str]] = set()
        for row, (index, label) in enumerate(zip(box.tolist(), cells, strict=True)):
            if not label:
                self._fault(row, "has no outlet; write its label")
            elif (index, label) in seen:
                self._fault(
                    row, "is of an outlet that its box has already; give each its own label"
                )
            seen.add((index, label))
        for first in firsts.tolist():
            if self.names[first] in apart:
                self._fault(first, "is of a box that has rows elsewhere; put its rows together")
        ends = [*firsts.tolist()[1:], len(box)]
        return [cells[i:j] for i, j in zip(firsts.tolist(), ends, strict=True)]

    def _fault(self, row: int, why: str) -> None:
        self.faults.setdefault(row, []).append(why)

    def _refuse(self, rows: BoolArray, why: str) -> None:
        for row in np.flatnonzero(rows).tolist():
            # a cell that cannot be read has said it already
            if row not in self.faults:
                self._fault(row, why)

    def _stacked(
        self, heads: Sequence[Column], read: Callable[[Sequence[str], Column, str, Faults], Array]
    ) -> Array:
        cells, units = self.rows.columns, self.settings.units
        return np.stack([read(cells[c.index], c, units, self.faults) for c in heads], -1)

    def _column(self, name: str) -> tuple[Sequence[str], Column] | None:
        column = self.layout.others.get(name)
        return None if column is None else (self.rows.columns[column.index], column)

    def _filled(self, values: Array | None, default: float) -> Array:
        if values is None:
            return np.full(len(self.rows.lines), default)
        return np.where(np.isnan(values), default, values)

    def _offset(self) -> Array:
        found = self._column(OFFSET)
        values = found and offsets(*found, self.settings.units, self.faults)
        default = self.settings.offset
        return self._filled(values, np.nan if default is None else default)

    def _spread(self) -> Array:
        found = self._column(SPREAD)
        values = found and spreads(*found, self.settings.units, self.faults)
        default = self.settings.spread
        return self._filled(values, DEFAULT_SPREAD if default is None else default)

    def _tolerance(self) -> Array:
        found = self._column(TOLERANCE)
        values = found and tolerances(*found, self.faults)
        default = self.settings.tolerance
        shares = self._filled(values, np.nan if default is None else default)
        why = "has no tolerance; write it, or give --tolerance: there is no general one"
        self._refuse(np.isnan(shares), why)
        return np.nan_to_num(shares, nan=1.0)

    def _clock(self, column: Column | None) -> Array:
        if column is None:
            return np.full(len(self.rows.lines), np.nan)
        return clocks(self.rows.columns[column.index], column, self.faults)

    def _openings(self, present: BoolArray) -> tuple[Indices, Sequence[Opening]]:
        """Index of the opening of each outlet that is present, -1 for others; and the openings."""
        found = self._column(OPENING)
        default = self.settings.opening
        if found is None and default is not None:
            return np.where(present, 0, -1), [default]
        each: Sequence[Opening | None] = [None] * len(self.rows.lines)
        if found is not None:
            each = openings(*found, self.settings.units, self.settings.coefficient, self.faults)
        said = [opening or default for opening in each]
        self._refuse(
            np.array([opening is None for opening in said], dtype=bool),
            "has no opening; write it, or give --opening",
        )
        places = {opening: i for i, opening in enumerate(dict.fromkeys(o for o in said if o))}
        index = np.array([places[o] if o else -1 for o in said], dtype=np.intp)
        return np.where(present, index[:, None], -1), [*places]


def _names(rows: Rows, layout: Layout, faults: Faults) -> list[str]:
    """Name of the box of each row; one that is left out is refused, under that before it."""
    names = [*map(str.strip, rows.columns[layout.box.index])]
    if "" in names:
        for row in [row for row, name in enumerate(names) if not name]:
            faults[row] = ["has no box; write its name in every row"]
            names[row] = names[row - 1] if row and layout.by_outlet else ""
    return names


def _closed(lip: Array) -> BoolArray:
    """Whether a box has no open outlet. (k,)"""
    closed: BoolArray = np.all(~np.isfinite(lip), axis=-1)
    return closed


def _places(names: Sequence[str]) -> tuple[Indices, Indices, Indices]:
    """Box of each row, its place in that box, and the first row of each box."""
    new = np.array([i == 0 or name != names[i - 1] for i, name in enumerate(names)], dtype=bool)
    firsts = np.flatnonzero(new)
    box = np.cumsum(new) - 1
    return box, np.arange(len(names)) - firsts[box] if len(names) else box, firsts
