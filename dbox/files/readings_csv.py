"""Readings and catches as CSV for and from a spreadsheet.

outlet,reading (mm),reading 2 (mm)          outlet;slow (s);fast
    1,3.2,3.0                                   1;41,5;1,2 L in 30 s
    2,"1/8 in",                                 2;;dry

One row per outlet, found by its label. Readings are of the point that the scenario says; columns of
catches are named as the pours are. The head may give the unit of bare numbers. An empty cell, or an
outlet without a row, is not measured.

Cells are parted by commas, decimals have a point, and numbers stand without a unit under a head
that gives it, so that a spreadsheet takes them as numbers. A byte order mark goes in front only
where a label needs it.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

from dbox import keys, units
from dbox.errors import ScenarioError, any_of, closest, did_you_mean, show
from dbox.fieldwork.site import Pour, Site
from dbox.files.csv_table import Cell, Sheet, cell_fault, read_sheet
from dbox.files.pour_keys import read_catch

OUTLET = "outlet"
READING = "reading"
CATCH = "catch"

_UNIT = re.compile(r"(.*?)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_READING = re.compile(r"readings?\s*[0-9]*", re.IGNORECASE)
_T = TypeVar("_T")


def with_readings(site: Site, path: Path | str) -> Site:
    """Put the readings of a table in place of those of a site."""
    sheet = read_sheet(path)
    labels = [outlet.label for outlet in site.outlets]
    columns = _columns(sheet, lambda name: READING if _READING.fullmatch(name) else None, [READING])

    def read(cell: Cell, unit: str | None) -> float:
        text = cell.quantity(unit)
        try:
            return keys.reading(text)
        except ScenarioError as error:
            if unit is None and re.fullmatch(r"[-+0-9./ ]+", text):
                raise ScenarioError(
                    f'is {show(cell.text)}; give its unit, or name the column "reading (in)"'
                ) from error
            raise

    found = _read(sheet, labels, [(index, unit) for index, _, unit in columns], read)
    outlets = [
        replace(o, readings=tuple(m for m in row if m is not None))
        for o, row in zip(site.outlets, found, strict=True)
    ]
    return replace(site, outlets=tuple(outlets), placeholder=False)


def with_catches(site: Site, path: Path | str) -> Site:
    """Put the catches of a table in place of those of a site's pours."""
    if not site.pours:
        raise ScenarioError(f"{path}: the scenario has no pour; add [[pour]], or give --flow")
    sheet = read_sheet(path)
    names = [pour.name for pour in site.pours]

    def meant(name: str) -> str | None:
        if len(names) == 1 and name.lower() in (CATCH, "catches", "caught"):
            return names[0]
        return next((n for n in names if n.lower() == name.lower()), None)

    columns = _columns(sheet, meant, names)
    _refuse_twice(sheet, [name for _, name, _ in columns])
    labels = [outlet.label for outlet in site.outlets]
    pours = list(site.pours)
    faults: list[str] = []
    for index, name, unit in columns:
        place = names.index(name)
        try:
            found = _read(sheet, labels, [(index, unit)], _catch_reader(pours[place]))
        except ScenarioError as error:
            faults += error.faults
            continue
        pours[place] = replace(pours[place], catches=tuple(row[0] for row in found))
    faults += _capped_faults(site, pours, sheet.name)
    if faults:
        raise ScenarioError(*faults)
    return replace(site, pours=tuple(pours))


def _columns(
    sheet: Sheet, meant: Callable[[str], str | None], known: Sequence[str]
) -> list[tuple[int, str, str | None]]:
    """Columns of values: index, what it is, unit; refuses heads that are not known."""
    columns, faults = [], []
    for index, head in enumerate(sheet.heads[1:], start=1):
        split = _UNIT.fullmatch(head)
        name, unit = (head, None) if meant(head) or split is None else split.groups()
        what = meant(name)
        if what is None:
            faults.append(f"{sheet.name}: unknown column {show(head)}; {did_you_mean(name, known)}")
        else:
            columns.append((index, what, unit))
    if sheet.heads[0].lower() not in (OUTLET, "label"):
        first = sheet.heads[0]
        faults.insert(0, f"{sheet.name}: the first column is {show(first)}; it must be {OUTLET}")
    elif not columns and not faults:
        faults.append(f"{sheet.name}: has no column of values; add {any_of(known)}")
    if faults:
        raise ScenarioError(*faults)
    sheet.refuse_mixed(index for index, _, _ in columns)
    return columns


def _refuse_twice(sheet: Sheet, names: Sequence[str]) -> None:
    twice = next((name for name in names if names.count(name) > 1), None)
    if twice is not None:
        raise ScenarioError(f"{sheet.name}: column {show(twice)} is there twice; keep one of them")


def _read(
    sheet: Sheet,
    labels: Sequence[str],
    columns: Sequence[tuple[int, str | None]],
    read: Callable[[Cell, str | None], _T],
) -> list[list[_T | None]]:
    """Values by outlet and column, None where not measured; all faults at once."""
    known = [" ".join(label.split()).lower() for label in labels]
    found: list[list[_T | None]] = [[None] * len(columns) for _ in labels]
    first: dict[int, Cell] = {}
    faults: list[str] = []
    for row in sheet.rows:
        outlet = _outlet(row, known, labels, first, faults)
        for place, (index, unit) in enumerate(columns):
            cell = row[index]
            if cell is None or outlet is None:
                continue
            try:
                found[outlet][place] = read(cell, unit)
            except ScenarioError as error:
                faults.append(cell_fault(cell, error))
    if faults:
        raise ScenarioError(*(f"{sheet.name}: {fault}" for fault in faults))
    return found


def _outlet(
    row: Sequence[Cell | None],
    known: Sequence[str],
    labels: Sequence[str],
    first: dict[int, Cell],
    faults: list[str],
) -> int | None:
    """Index of the outlet that a row is about; None, with a fault, where there is none."""
    cell = row[0]
    if cell is None:
        number = next(c.row for c in row if c is not None)
        faults.append(f"row {number} has no outlet; write its label in the first column")
        return None
    if cell.text.lower() not in known:
        close = closest(cell.text, labels)
        mend = f"did you mean {close}?" if close else f"use {any_of(labels)}"
        faults.append(f"{cell.place} is {show(cell.text)}; there is no such outlet, {mend}")
        return None
    outlet = known.index(cell.text.lower())
    earlier = first.setdefault(outlet, cell)
    if earlier is not cell:
        faults.append(
            f"{cell.place} is {show(cell.text)}, which row {earlier.row} has too; put repeats in "
            "columns of one row"
        )
        return None
    return outlet


def _catch_reader(pour: Pour) -> Callable[[Cell, str | None], float]:
    """Reader of the catches of a pour."""

    def read(cell: Cell, unit: str | None) -> float:
        flow = read_catch(cell.quantity(unit)).flow_with(pour.jug)
        if flow is None:
            raise ScenarioError(
                f"is {show(cell.text)}, a time without a volume; add jug to the pour, or write "
                '"1.2 L in 30 s"'
            )
        return flow

    return read


def _capped_faults(site: Site, pours: Sequence[Pour], name: str) -> list[str]:
    return [
        f"{name}: column {show(p.name)} has a catch at outlet {o.label}, which is capped; leave one"
        " of the two out"
        for p in pours
        for o, catch in zip(site.outlets, p.catches, strict=False)
        if o.capped and catch is not None
    ]


def readings_csv(site: Site) -> str:
    """Write the readings of a site as a table that `with_readings` reads."""
    most = max(1, *(len(o.readings) for o in site.outlets))
    heads = [
        OUTLET,
        *(f"{READING} {i} (mm)" if most > 1 else "reading (mm)" for i in range(1, most + 1)),
    ]
    rows = []
    for outlet in site.outlets:
        told = [_number(1000 * r) for r in outlet.readings]
        rows.append([outlet.label, *told, *[""] * (most - len(told))])
    return _csv_text(heads, rows)


def catches_csv(pours: Sequence[Pour], labels: Sequence[str]) -> str:
    """Write pours as a table that `with_catches` reads, empty where nothing was caught."""
    heads, columns = [OUTLET], []
    for pour in pours:
        unit = " (L/min)" if pour.done else " (s)" if pour.jug else ""
        heads.append(f"{pour.name}{unit}")
        caught = pour.catches or (None,) * len(labels)
        columns.append(
            ["" if q is None else _number(q * units.MINUTE / units.LITRE) for q in caught]
        )
    return _csv_text(
        heads, [[label, *cells] for label, *cells in zip(labels, *columns, strict=True)]
    )


def _number(value: float) -> str:
    return f"{value:.12f}".rstrip("0").rstrip(".")


def _csv_text(heads: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(heads)
    writer.writerows(rows)
    content = text.getvalue()
    return content if content.isascii() else f"\ufeff{content}"
