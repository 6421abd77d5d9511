"""Boxes of a piece of a list: from cells to arrays, and those that cannot be computed.

A list is long and mostly plain numbers, so a column is read as numbers at once; only a cell that is
none is read as a person's quantity (`1/8`, `3 mm`, `capped`).

What is wrong with a row keeps its box out, and no other.
"""

import re
from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise
from types import EllipsisType

import numpy as np
import numpy.typing as npt

from dbox import keys
from dbox.arrays import Array, BoolArray
from dbox.errors import ScenarioError, at_place, show
from dbox.fieldwork.inlet import ENDED, possible_heads
from dbox.fieldwork.many_boxes import Boxes
from dbox.fieldwork.site import DEFAULT_SPREAD, INLETS, Flow
from dbox.files.csv_table import plain, quantity, values_at_once
from dbox.files.list_rows import (
    CLOCK,
    INLET,
    MAIN,
    MOST_OUTLETS,
    OFFSET,
    OPENING,
    OUTLET,
    PIPE,
    READING,
    SPREAD,
    TOLERANCE,
    Column,
    Fault,
    Layout,
    Rows,
)
from dbox.files.typed import Words, opening_from_text
from dbox.hydraulics.openings import Opening
from dbox.units import LENGTH_UNITS, clock

CAPPED, NONE = "capped", "none"

_READERS = {
    OUTLET: keys.reading,
    READING: keys.reading,
    OFFSET: keys.offset,
    SPREAD: keys.spread,
    TOLERANCE: keys.tolerance,
    PIPE: keys.pipe,
    MAIN: keys.pipe,
}

_UNLIKE = "has another {} than the first row of its box; write the same in every row"
_TIME = re.compile(r"0?([0-9]{1,2}:[0-9]{2}):00(?: ?[AaPp][Mm])?")
_REMEMBERED = 100_000


@lru_cache(_REMEMBERED)
def _value(name: str, cell: str, unit: str | None) -> float:
    """What a cell of a column of that name says, NaN where it says nothing. [m], [rad] or [-]

    Of an inlet whether it ends the jet.
    """
    text = plain(cell)
    word = text.lower()
    if name in (OUTLET, READING) and word in (CAPPED, NONE):
        return np.inf if word == CAPPED else np.nan
    if not word and name == OUTLET:
        raise ScenarioError(f"is empty; write the height, {CAPPED}, or {NONE} for no such outlet")
    if not word:
        return np.nan
    if name == CLOCK:
        # a spreadsheet takes a clock position for a time of the day
        match = _TIME.fullmatch(text)
        return clock(match[1] if match else text)
    if name == INLET:
        return float(keys.choice(word, INLETS) in ENDED)
    return _READERS[name](quantity(text, unit))


@lru_cache(_REMEMBERED)
def _opening(cell: str, bare_unit: str, coefficient: float | None) -> Opening:
    return opening_from_text(cell, coefficient, bare_unit)


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
    inlet: str | None = None  # How inlets end; None where nobody says.
    pipe: float | None = None  # Inside diameter of the gravity pipe to the box. [m]
    main: float | None = None  # Inside diameter of the pump's main. [m]
    units: str = "in"  # Unit of a bare length.
    samples: int = 400  # Lips drawn for each box; 0 for verdicts to first order.
    seed: int = 0  # Seed of the draws.
    shares: bool = False  # Whether every share is written.


def read_settings(
    *,
    flows: Sequence[str] = (),
    opening: str | None = None,
    coefficient: float | None = None,
    inlet: str | None = None,
    units: str = "in",
    samples: int = 400,
    seed: int = 0,
    shares: bool = False,
    **measures: str | None,
) -> Settings:
    """Read the words of a command line; coefficient [-], measures: those of `OF_BOX` by name."""
    with Words(units) as words:
        if coefficient is not None and opening is None:
            words.read("--coefficient", str(coefficient), keys.coefficient)
        return Settings(
            opening=words.opening(opening, coefficient),
            coefficient=coefficient,
            inlet=words.inlet(inlet),
            flows=words.flows(flows),
            units=words.unit,
            samples=samples,
            seed=seed,
            shares=shares,
            **{n: words.read(f"--{n}", word, _READERS[n]) for n, word in measures.items()},
        )


Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class Listed:
    """Boxes as they stand in a list, whatever their openings; boxes by outlets."""

    names: Sequence[str]  # Name of each of the k boxes.
    labels: Sequence[Sequence[str]]  # Labels of the outlets of each box.
    lip: Array  # (k, n) Lips over still water; inf where capped, NaN where no such outlet is. [m]
    error: Array  # (k, n) Standard deviation of each lip. [m]
    offset: Array  # (k, n) Hole centre from pipe centre, as in `Boxes`. [m]
    clock: Array  # (k, n) Angle of the hole, as in `Boxes`. [rad]
    # (k, n) Index of the opening of each outlet, -1 where there is no such outlet.
    opening: Indices
    openings: Sequence[Opening]  # The openings that the indices mean.
    tolerance: Array  # (k,) Allowed difference of a share from its target, as in `Boxes`. [-]
    # (k, 3) Whether the inlet ends the jet, 1 or 0 [-]; inside diameters of gravity pipe and main
    # [m]. NaN where not given.
    inlet: Array

    def only(self, boxes: Indices) -> "Listed":
        """Some of the boxes."""
        if len(boxes) == len(self.names):
            return self
        arrays = ("lip", "error", "offset", "clock", "opening", "tolerance", "inlet")
        return replace(
            self,
            names=[self.names[i] for i in boxes],
            labels=[self.labels[i] for i in boxes],
            **{name: getattr(self, name)[boxes] for name in arrays},
        )

    def alike(self, inflow: Array) -> Iterator[tuple[Indices, Indices, Boxes]]:
        """Those with the same openings together: where they stand, which outlets, and the boxes.

        inflow: At which jets of their inlets count. [m3/s]
        """
        if not self.names:
            return
        kinds, kind = self.opening[:1], np.zeros(len(self.names), dtype=np.intp)
        if not np.array_equal(self.opening, np.broadcast_to(kinds, self.opening.shape)):
            kinds, kind = np.unique(self.opening, axis=0, return_inverse=True)
        for index, openings in enumerate(kinds):
            boxes = np.flatnonzero(kind.reshape(-1) == index)
            outlets = np.flatnonzero(openings >= 0)
            at: tuple[Indices, ...] | EllipsisType = np.ix_(boxes, outlets)
            if len(boxes) == len(self.names) and len(outlets) == openings.size:
                at = ...
            ended, pipe, main = self.inlet[boxes].T
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
                    jet=possible_heads(ended == 1, pipe, main, inflow),
                    straight=ended == 0,
                ),
            )


def boxes_of(
    rows: Rows,
    torn: Sequence[Fault],
    layout: Layout,
    settings: Settings,
    *,
    apart: Set[str] = frozenset(),
) -> tuple[Listed, list[Fault]]:
    """Boxes of rows, and all that is no box.

    torn: Lines that are no rows; apart: names of boxes that have rows elsewhere.
    """
    table = _Table(rows, layout, settings)
    listed, box = table.by_outlet(apart, torn) if layout.outlet else table.by_box()
    wrong = np.zeros(len(listed.names), dtype=bool)
    wrong[box[[*table.faults]]] = True
    told = [
        Fault(rows.lines[row], table.names[row], "; ".join(why))
        for row, why in table.faults.items()
    ]
    good = listed.only(np.flatnonzero(~wrong))
    return good, sorted([*torn, *told], key=lambda fault: fault.line)


class _Table:
    """Rows of cells on their way to boxes.

    names: Name of the box of each row.
    faults: What is wrong, by the index of the row.
    """

    def __init__(self, rows: Rows, layout: Layout, settings: Settings) -> None:
        self.rows, self.layout, self.settings = rows, layout, settings
        self.faults: dict[int, list[str]] = {}
        self.names = [*map(str.strip, rows.columns[layout.box.index])]
        if "" in self.names:
            for row in [row for row, name in enumerate(self.names) if not name]:
                self._fault(row, "has no box; write its name in every row")
                # refused under the name before it, which the row may be of
                self.names[row] = self.names[row - 1] if row and layout.outlet else ""

    def by_box(self) -> tuple[Listed, Indices]:
        """Boxes where each row is one, and the box of each row."""
        lip = np.stack([self._values(column) for column in self.layout.readings], -1)
        self._refuse(_closed(lip), "has no open outlet; give one at least a height")
        opening, openings = self._openings(~np.isnan(lip))
        label = [str(i) for i in range(1, lip.shape[1] + 1)]
        listed = Listed(
            names=self.names,
            labels=[label] * len(lip),
            lip=lip,
            error=np.where(np.isfinite(lip), self._spread()[:, None], 0.0),
            offset=np.broadcast_to(self._of_box(OFFSET, self.settings.offset)[:, None], lip.shape),
            clock=np.stack([self._values(column) for column in self.layout.clocks], -1),
            opening=opening,
            openings=openings,
            tolerance=self._tolerance(),
            inlet=self._inlet(),
        )
        return listed, np.arange(len(lip))

    def by_outlet(self, apart: Set[str], torn: Sequence[Fault]) -> tuple[Listed, Indices]:
        """Boxes where each row is an outlet, and the box of each row."""
        names = self.names
        new = np.array([i == 0 or n != names[i - 1] for i, n in enumerate(names)], dtype=bool)
        firsts, box = np.flatnonzero(new), np.cumsum(new) - 1
        place = np.arange(len(names)) - firsts[box] if names else box
        height, taken = self._means()
        tolerance = self._tolerance()
        self._refuse(tolerance != tolerance[firsts][box], _UNLIKE.format(TOLERANCE))
        inlet = self._inlet()
        other = ~np.isclose(inlet, inlet[firsts][box], equal_nan=True)
        self._refuse(other.any(-1), _UNLIKE.format(f"{INLET}, {PIPE} or {MAIN}"))
        opening, openings = self._openings(np.ones((len(box), 1), dtype=bool))
        labels = self._labels(box, firsts, apart)
        self._refuse(place == MOST_OUTLETS, f"is of a box with more than {MOST_OUTLETS} outlets")

        def spread_out(values: Array | Indices, missing: float) -> Array:
            table = np.full((len(firsts), place.max(initial=0) + 1), missing)
            table[box, place] = values
            return table

        lip = spread_out(height, np.nan)
        closed = _closed(lip)[box] & (place == 0)
        self._refuse(closed, "has no open outlet; give one at least a height")
        error = spread_out(self._spread() / np.sqrt(np.maximum(taken, 1)), 0.0)
        listed = Listed(
            names=[names[first] for first in firsts],
            labels=labels,
            lip=lip,
            error=np.where(np.isfinite(lip), error, 0.0),
            offset=spread_out(self._of_box(OFFSET, self.settings.offset), 0.0),
            clock=spread_out(self._values(self.layout.clocks[0]), np.nan),
            opening=spread_out(opening[:, 0], -1).astype(np.intp),
            openings=openings,
            tolerance=tolerance[firsts],
            inlet=inlet[firsts],
        )
        for fault in torn:
            # the boxes that a line which could not be parted may be of
            after = int(np.searchsorted(self.rows.lines, fault.line))
            for row in {max(after - 1, 0), min(after, len(names) - 1)} if names else ():
                if fault.box in ("", names[row]):
                    self._fault(row, f"may be of the box of line {fault.line}; mend that line")
        return listed, box

    def _means(self) -> tuple[Array, Indices]:
        """Mean reading of each row, and how many readings it is of."""
        readings = np.stack([self._values(column) for column in self.layout.readings], -1)
        taken = np.count_nonzero(~np.isnan(readings), axis=-1)
        self._refuse(taken == 0, "has no reading; write the height, or capped")
        capped = np.isinf(readings).sum(-1)
        self._refuse(
            (capped > 0) & (capped < taken), "is capped and has a height; write one of them"
        )
        return np.nansum(readings, axis=-1) / np.where(taken, taken, np.nan), taken

    def _labels(self, box: Indices, firsts: Indices, apart: Set[str]) -> list[Sequence[str]]:
        """Labels of each box; refuses one that is there twice, and boxes whose rows stand apart."""
        assert self.layout.outlet is not None
        cells = [label.strip() for label in self.rows.columns[self.layout.outlet.index]]
        seen: set[tuple[int, str]] = set()
        for row, key in enumerate(zip(box.tolist(), cells, strict=True)):
            if not key[1]:
                self._fault(row, "has no outlet; write its label")
            elif key in seen:
                self._fault(
                    row, "is of an outlet that its box has already; give each its own label"
                )
            seen.add(key)
        ends = [*firsts.tolist(), len(box)]
        for first in ends[:-1]:
            if self.names[first] in apart:
                self._fault(first, "is of a box that has rows elsewhere; put its rows together")
        return [cells[i:j] for i, j in pairwise(ends)]

    def _fault(self, row: int, why: str) -> None:
        self.faults.setdefault(row, []).append(why)

    def _refuse(self, rows: BoolArray, why: str) -> None:
        for row in np.flatnonzero(rows).tolist():
            # a cell that cannot be read has said it already
            if row not in self.faults:
                self._fault(row, why)

    def _cell_fault(self, row: int, column: Column, error: ScenarioError) -> None:
        self._fault(row, at_place(show(column.head), str(error)))

    def _values(self, column: Column | None) -> Array:
        """Values of a column, NaN where it says nothing. [m], [rad] or [-] (rows,)"""
        if column is None:
            return np.full(len(self.rows.lines), np.nan)
        cells, name = self.rows.columns[column.index], column.name
        unit = column.unit or (None if name in (TOLERANCE, INLET) else self.settings.units)

        def read(row: int) -> float:
            try:
                return _value(name, cells[row], unit)
            except ScenarioError as error:
                self._cell_fault(row, column, error)
                return np.nan

        reader = _READERS.get(name)
        if reader and reader.bare:
            # between the limits of its key a bare number needs no closer look
            return values_at_once(cells, LENGTH_UNITS.get(unit or "", np.nan), reader.ends, read)
        return np.array([read(row) for row in range(len(cells))], dtype=np.float64)

    def _of_box(self, name: str, default: float | None) -> Array:
        """Values of one of the columns `OF_BOX`; the default, if any, where it says nothing."""
        values = self._values(self.layout.others.get(name))
        return values if default is None else np.where(np.isnan(values), default, values)

    def _spread(self) -> Array:
        typed = self.settings.spread
        return self._of_box(SPREAD, DEFAULT_SPREAD if typed is None else typed)

    def _tolerance(self) -> Array:
        shares = self._of_box(TOLERANCE, self.settings.tolerance)
        why = "has no tolerance; write it, or give --tolerance: there is no general one"
        self._refuse(np.isnan(shares), why)
        return np.nan_to_num(shares, nan=1.0)

    def _inlet(self) -> Array:
        """How the inlet of each row ends, and through what the water comes, as in `Listed`."""
        settings = self.settings
        ended = None if settings.inlet is None else float(settings.inlet in ENDED)
        said = ((INLET, ended), (PIPE, settings.pipe), (MAIN, settings.main))
        return np.stack([self._of_box(name, default) for name, default in said], -1)

    def _openings(self, present: BoolArray) -> tuple[Indices, Sequence[Opening]]:
        """Index of the opening of each outlet that is present, -1 for others; and the openings."""
        column, settings = self.layout.others.get(OPENING), self.settings
        if column is None and settings.opening is not None:
            return np.where(present, 0, -1), [settings.opening]
        said = [settings.opening] * len(self.rows.lines)
        for row, cell in enumerate(self.rows.columns[column.index] if column else ()):
            if column and cell.strip():
                unit = column.unit or settings.units
                try:
                    said[row] = _opening(cell, unit, settings.coefficient)
                except ScenarioError as error:
                    self._cell_fault(row, column, error)
        self._refuse(
            np.array([opening is None for opening in said], dtype=bool),
            "has no opening; write it, or give --opening",
        )
        places = {opening: i for i, opening in enumerate(dict.fromkeys(o for o in said if o))}
        index = np.array([places[o] if o else -1 for o in said], dtype=np.intp)
        return np.where(present, index[:, None], -1), [*places]


def _closed(lip: Array) -> BoolArray:
    """Whether a box has no open outlet. (k,)"""
    closed: BoolArray = np.all(~np.isfinite(lip), axis=-1)
    return closed
