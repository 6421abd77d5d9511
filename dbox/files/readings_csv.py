"""Readings, catches and measured inflows as CSV, for and from a spreadsheet.

    outlet,reading (mm),reading 2 (mm)          outlet;slow (s);fast
    1,3.2,3.0                                   1;41,5;1,2 L in 30 s
    2,"1/8 in",                                 2;;dry

One row per outlet, found by its label. Readings are of the point that the scenario says; columns of
catches are named as the pours are. The head may give the unit of bare numbers. An empty cell, or an
outlet without a row, is not measured.

    seconds,m3_s            time (min);flow (gpm)
    0,0                     0;0
    30,0.0004               0,5;6,5

An inflow is straight between the rows. A head without a unit is `seconds` or `m3_s`.

Cells are written parted by commas, decimals with a point, and numbers without a unit under a head
that gives it, so that a spreadsheet takes them as numbers.
"""

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path

from dbox import keys, units
from dbox.arrays import Array
from dbox.errors import DomainError, ScenarioError, any_of, at_place, closest, did_you_mean, show
from dbox.fieldwork.site import Pour, Site
from dbox.files.csv_table import (
    Cell,
    Sheet,
    csv_text,
    harmless,
    plain,
    quantity,
    read_sheet,
    split_head,
    unit_fault,
    values_at_once,
)
from dbox.files.pour_keys import read_catch
from dbox.hydraulics.surge.inflow import Inflow, measured

OUTLET = "outlet"
READING = "reading"
CATCH = "catch"

_READING = re.compile(r"readings?\s*[0-9]*", re.IGNORECASE)


def with_readings(site: Site, path: Path | str) -> Site:
    """Put the readings of a table in place of those of a site."""
    sheet = read_sheet(path)
    columns = _columns(
        sheet, lambda name: READING if _READING.fullmatch(name) else None, [READING], units.length
    )
    faults: list[str] = []
    readers = [(index, partial(_reading, unit=unit)) for index, _, unit in columns]
    found = _by_outlet(sheet, site, readers, faults)
    sheet.refuse(faults)
    outlets = tuple(
        replace(outlet, readings=tuple(reading for reading in row if reading is not None))
        for outlet, row in zip(site.outlets, found, strict=True)
    )
    return replace(site, outlets=outlets, placeholder=False)


def _reading(cell: Cell, unit: str | None) -> float:
    text = quantity(cell.text, unit)
    try:
        return keys.reading(text)
    except ScenarioError as error:
        if unit is None and re.fullmatch(r"[-+0-9./ ]+", text):
            raise ScenarioError(
                f'is {show(cell.text)}; give its unit, or name the column "reading (in)"'
            ) from error
        raise


def with_catches(site: Site, path: Path | str) -> Site:
    """Put the catches of a table in place of those of a site's pours."""
    if not site.pours:
        raise ScenarioError(f"{path}: the scenario has no pour; add [[pour]], or give --flow")
    sheet = read_sheet(path)
    pours = {pour.name: pour for pour in site.pours}
    known = {way(name).lower(): name for way in (harmless, str) for name in reversed(pours)}

    def meant(name: str) -> str | None:
        if len(pours) == 1 and name.lower() in (CATCH, "catches", "caught"):
            return next(iter(pours))
        return known.get(name.lower())

    columns = _columns(sheet, meant, [*pours], read_catch)
    named = [name for _, name, _ in columns]
    twice = next((name for name in named if named.count(name) > 1), None)
    if twice is not None:
        sheet.refuse([f"column {show(twice)} is there twice; keep one of them"])
    faults: list[str] = []
    readers = [(i, partial(_catch, unit=unit, jug=pours[name].jug)) for i, name, unit in columns]
    found = _by_outlet(sheet, site, readers, faults)
    caught = dict(zip(named, zip(*found, strict=True), strict=True))
    faults += [
        f"column {show(name)} has a catch at outlet {outlet.label}, which is capped; leave one of "
        "the two out"
        for name, catches in caught.items()
        for outlet, catch in zip(site.outlets, catches, strict=True)
        if outlet.capped and catch is not None
    ]
    sheet.refuse(faults)
    return replace(
        site,
        pours=tuple(
            replace(p, catches=caught[p.name]) if p.name in caught else p for p in pours.values()
        ),
    )


def _catch(cell: Cell, unit: str | None, jug: float | None) -> float:
    flow = read_catch(quantity(cell.text, unit)).flow_with(jug)
    if flow is None:
        raise ScenarioError(
            f"is {show(cell.text)}, a time without a volume; add jug to the pour, or write "
            '"1.2 L in 30 s"'
        )
    return flow


def _columns(
    sheet: Sheet,
    meant: Callable[[str], str | None],
    known: Sequence[str],
    reader: Callable[[str], object],
) -> list[tuple[int, str, str | None]]:
    """Columns of values: index, what it is, unit; refuses heads that are not known.

    reader: Of a quantity in the unit of a head.
    """
    columns, faults = [], []
    first, *others = sheet.heads
    if first.lower() not in (OUTLET, "label"):
        faults.append(f"the first column is {show(first)}; it must be {OUTLET}")
    for index, head in enumerate(others, start=1):
        name, unit = (head, None) if meant(head) else split_head(head)
        what = meant(name)
        if what is None:
            faults.append(f"unknown column {show(head)}; {did_you_mean(name, known)}")
        elif unit and (fault := unit_fault(head, unit, reader)):
            faults.append(fault)
        else:
            columns.append((index, what, unit))
    if not columns and not faults:
        faults.append(f"has no column of values; add {any_of(known)}")
    sheet.refuse(faults)
    sheet.refuse_mixed([index for index, _, _ in columns])
    return columns


def _by_outlet(
    sheet: Sheet,
    site: Site,
    readers: Sequence[tuple[int, Callable[[Cell], float]]],
    faults: list[str],
) -> list[list[float | None]]:
    """Values by outlet and column, None where not measured."""
    labels = [outlet.label for outlet in site.outlets]
    # as they are, or as `readings_csv` has made them harmless
    known = {plain(way(label)).lower(): i for way in (harmless, str)
             for i, label in enumerate(labels)}  # fmt: skip
    found: list[list[float | None]] = [[None] * len(readers) for _ in labels]
    earlier: dict[int, int] = {}
    for number, row in zip(sheet.numbers, sheet.cells(), strict=True):
        cell = row[0]
        if cell is None:
            faults.append(f"row {number} has no outlet; write its label in the first column")
            continue
        outlet = known.get(cell.text.lower())
        if outlet is None:
            close = closest(cell.text, labels)
            mend = f"did you mean {close}?" if close else f"use {any_of(labels)}"
            faults.append(cell.fault(f"is {show(cell.text)}; there is no such outlet, {mend}"))
        elif outlet in earlier:
            faults.append(
                cell.fault(
                    f"is {show(cell.text)}, which row {earlier[outlet]} has too; put repeats in "
                    "columns of one row"
                )
            )
        else:
            earlier[outlet] = number
            for place, (index, read) in enumerate(readers):
                if (value := row[index]) is not None:
                    try:
                        found[outlet][place] = read(value)
                    except ScenarioError as error:
                        faults.append(value.fault(error))
    return found


MOST_SERIES = 1_000_000
"""Rows. A year has 525,600 minutes, a week 604,800 seconds. Judgement."""

_MOST_BYTES = 64 * MOST_SERIES
_MOST_TOLD = 20
_WANTED = 'write "seconds,m3_s", or the units as "time (min),flow (gpm)"'
_PLAIN = {"seconds": ("time", "s"), "m3_s": ("flow", "m3/s")}
_READ = {"time": units.duration, "flow": units.flow, "inflow": units.flow}


def read_inflow(path: Path | str) -> Inflow:
    """Read a measured inflow."""
    sheet = read_sheet(path, "an inflow series", MOST_SERIES, _MOST_BYTES)
    first = show(sheet.delimiter.join(sheet.heads))
    if len(sheet.heads) != 2:
        sheet.refuse([f"its first row is {first}; {_WANTED}"])
    heads = [_PLAIN.get(head.lower(), split_head(head.lower())) for head in sheet.heads]
    sheet.refuse(
        f"unknown column {show(head)}; {_WANTED}"
        for head, (what, unit) in zip(sheet.heads, heads, strict=True)
        if what not in _READ or unit is None
    )
    if [what == "time" for what, _ in heads] != [True, False]:
        sheet.refuse([f"its columns are {first}; {_WANTED}"])
    faults: list[tuple[int, str]] = []
    times, flows = (
        _series(sheet, index, what, unit or "", faults) for index, (what, unit) in enumerate(heads)
    )
    more = len(faults) - _MOST_TOLD
    told = [fault for _, fault in sorted(faults)[:_MOST_TOLD]]
    sheet.refuse(told + [f"and {more} more faults"] * (more > 0))
    try:
        return measured(times, flows, name=Path(path).name)
    except DomainError as error:
        raise ScenarioError(f"{sheet.name}: {error}") from error


def _series(sheet: Sheet, index: int, what: str, unit: str, faults: list[tuple[int, str]]) -> Array:
    """A column of a series. [s] or [m3/s]"""
    cells = [row[index] for row in sheet.rows]
    head = sheet.heads[index]
    try:
        factor = _READ[what](f"1 {unit}")
    except ScenarioError as error:
        raise ScenarioError(
            f"{sheet.name}: {at_place(f'column {show(head)}', str(error))}"
        ) from error

    def read(row: int) -> float:
        text = plain(cells[row])
        try:
            # in a table parted by semicolons a comma can only be that of a decimal
            return _READ[what](quantity(text, unit, decimal_comma=sheet.delimiter != ","))
        except ScenarioError as error:
            faults.append((row, Cell(sheet.numbers[row], head, text).fault(error)))
            return math.nan

    # what is more than a year, or than 1 m3/s, is looked at one by one
    return values_at_once(cells, factor, (0.0, 366 * units.DAY if what == "time" else 1.0), read)


def readings_csv(site: Site) -> str:
    """Write the readings of a site as a table that `with_readings` reads."""
    most = max(1, *(len(o.readings) for o in site.outlets))
    numbered = [f"{READING} {i} (mm)" for i in range(1, most + 1)]
    rows: list[list[str | float]] = [
        [o.label, *(1000 * r for r in o.readings), *[""] * (most - len(o.readings))]
        for o in site.outlets
    ]
    return csv_text([OUTLET, *(numbered if most > 1 else [f"{READING} (mm)"])], rows)


def catches_csv(pours: Sequence[Pour], labels: Sequence[str]) -> str:
    """Write pours as a table that `with_catches` reads, empty where nothing was caught."""
    heads: list[str] = [OUTLET]
    columns: list[list[str | float]] = []
    for pour in pours:
        heads.append(pour.name + (" (L/min)" if pour.done else " (s)" if pour.jug else ""))
        caught = pour.catches or (None,) * len(labels)
        columns.append(["" if q is None else q * units.MINUTE / units.LITRE for q in caught])
    return csv_text(heads, [*zip(labels, *columns, strict=True)])
