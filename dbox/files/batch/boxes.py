"""Which boxes stand in a piece of a list, and which cannot be computed? From cells to arrays.

What is wrong with a row keeps its box out, and no other.
"""

from collections.abc import Callable, Iterator, Sequence, Set
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.batch.boxes import Boxes
from dbox.fieldwork.site import DEFAULT_SPREAD
from dbox.files.batch import columns
from dbox.files.batch.columns import Faults
from dbox.files.batch.heads import MOST_OUTLETS, OFFSET, OPENING, SPREAD, TOLERANCE, Column, Layout
from dbox.files.batch.rows import Fault, Rows, read_rows
from dbox.files.batch.settings import Settings
from dbox.hydraulics.openings import Opening

Indices = npt.NDArray[np.intp]


@dataclass(frozen=True, kw_only=True, eq=False)
class Listed:
    """Boxes as they stand in a list, whatever their openings; boxes by outlets.

    Parameters
    ----------
    names : sequence of str
        Name of each of the k boxes.
    labels : sequence of sequence of str
        Labels of the outlets of each box.
    lip, error, offset : ndarray, shape (k, n)
        As in `Boxes`; the lip is NaN where there is no such outlet. [m]
    clock : ndarray, shape (k, n)
        As in `Boxes`. [rad]
    opening : ndarray of int, shape (k, n)
        Index of the opening of each outlet, -1 where there is no such outlet.
    openings : sequence of Opening
        The openings that the indices mean.
    tolerance : ndarray, shape (k,)
        As in `Boxes`. [-]
    """

    names: Sequence[str]
    labels: Sequence[Sequence[str]]
    lip: Array
    error: Array
    offset: Array
    clock: Array
    opening: Indices
    openings: Sequence[Opening]
    tolerance: Array

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
    """Read a piece of a list.

    Parameters
    ----------
    text : str
        Whole lines of it; where a row is an outlet, with all the rows of its boxes.
    first_line : int
        Number of the first of these lines in the file.
    layout : Layout
        Its columns.
    settings : Settings
        What the rows do not say.
    apart : set of str
        Names of boxes that have other rows elsewhere.

    Returns
    -------
    listed : Listed
        The boxes that can be computed, in the order of the list.
    faults : list of Fault
        What is wrong with the others.
    """
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
        lip = self._stacked(self.layout.readings, columns.heights)
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
        readings = self._stacked(self.layout.readings, columns.repeats)
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
        values = found and columns.offsets(*found, self.settings.units, self.faults)
        default = self.settings.offset
        return self._filled(values, np.nan if default is None else default)

    def _spread(self) -> Array:
        found = self._column(SPREAD)
        values = found and columns.spreads(*found, self.settings.units, self.faults)
        default = self.settings.spread
        return self._filled(values, DEFAULT_SPREAD if default is None else default)

    def _tolerance(self) -> Array:
        found = self._column(TOLERANCE)
        values = found and columns.tolerances(*found, self.faults)
        default = self.settings.tolerance
        shares = self._filled(values, np.nan if default is None else default)
        why = "has no tolerance; write it, or give --tolerance: there is no general one"
        self._refuse(np.isnan(shares), why)
        return np.nan_to_num(shares, nan=1.0)

    def _clock(self, column: Column | None) -> Array:
        if column is None:
            return np.full(len(self.rows.lines), np.nan)
        return columns.clocks(self.rows.columns[column.index], column, self.faults)

    def _openings(self, present: BoolArray) -> tuple[Indices, Sequence[Opening]]:
        """Index of the opening of each outlet that is present, -1 for others; and the openings."""
        found = self._column(OPENING)
        default = self.settings.opening
        if found is None and default is not None:
            return np.where(present, 0, -1), [default]
        each: Sequence[Opening | None] = [None] * len(self.rows.lines)
        if found is not None:
            each = columns.openings(
                *found, self.settings.units, self.settings.coefficient, self.faults
            )
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
