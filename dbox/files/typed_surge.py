"""Doses, volumes, times and measured inflows of a surge, from words and CSV to SI.

seconds,m3_s            time (min);flow (gpm)
    0,0                     0;0
    30,0.0004               0,5;6,5

Straight lines join the rows. A head without a unit is `seconds` or `m3_s`.
"""

import csv
import io
import re
from collections.abc import Callable
from itertools import islice
from pathlib import Path
from typing import TypeVar

import numpy as np

from dbox import units
from dbox.arrays import Array
from dbox.errors import DomainError, ScenarioError, show
from dbox.fieldwork.site import Works
from dbox.files import scenario_keys, surge_keys, toml_file
from dbox.hydraulics.surge.inflow import Inflow, measured, steady

MOST_ROWS = 1_000_000
"""A year has 525,600 minutes, a week 604,800 seconds. Judgement."""

_MOST_BYTES = 64 * MOST_ROWS
_HEAD = re.compile(r"(time|flow|inflow)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_SI_HEADS = {"seconds": "time (s)", "m3_s": "flow (m3/s)"}
_WANTED = 'write "seconds,m3_s", or the units as "time (min),flow (gpm)"'

Reader = Callable[[str], float]


def read_inflow(path: Path | str) -> Inflow:
    """Read a measured inflow."""
    name = str(path)
    text = toml_file.read_text(
        Path(path),
        most_bytes=_MOST_BYTES,
        limit=f"an inflow series has {MOST_ROWS:,} rows at most, in {_MOST_BYTES:,} bytes",
    )
    first = text.partition("\n")[0]
    delimiter = max(";\t,", key=first.count)
    try:
        reader = csv.reader(io.StringIO(text), delimiter=delimiter)
        rows = [*islice((row for row in reader if any(row)), MOST_ROWS + 2)]
    except csv.Error as error:
        raise ScenarioError(f"{name}: is no table ({error}); save it again as CSV") from error
    if len(rows) - 1 > MOST_ROWS:
        raise ScenarioError(
            f"{name}: has more than {MOST_ROWS:,} rows, the most of an inflow series; keep fewer "
            "of them, or part it"
        )
    if not rows or len(rows[0]) != 2:
        raise ScenarioError(f"{name}: its first row is {show(first)}; {_WANTED}")
    reads: list[Reader] = []
    for cell, wanted in zip(rows[0], (("time",), ("flow", "inflow")), strict=True):
        head = " ".join(cell.lower().split())
        match = _HEAD.fullmatch(_SI_HEADS.get(head, head))
        if match is None:
            raise ScenarioError(f"{name}: unknown column {show(cell)}; {_WANTED}")
        if match[1] not in wanted:
            raise ScenarioError(f"{name}: its columns are {show(first)}; {_WANTED}")
        reads.append(_reader(match[1], match[2]))
    columns = _plain_values(rows[1:], reads) or _values(name, rows[1:], reads, delimiter)
    try:
        return measured(*columns, name=Path(path).name)
    except DomainError as error:
        raise ScenarioError(f"{name}: {error}") from error


def _reader(what: str, unit: str) -> Reader:
    read = units.duration if what == "time" else units.flow
    return lambda text: read(f"{text} {unit}")


def _plain_values(rows: list[list[str]], reads: list[Reader]) -> list[Array] | None:
    """Both columns where all cells are plain numbers in range: quick, where there are many rows."""
    try:
        columns = np.array([[float(cell) for cell in row] for row in rows]).T
        for column, read in zip(columns, reads, strict=True):
            # what the least and the most may be, all between them may
            read(repr(float(column.min())))
            read(repr(float(column.max())))
    except ValueError:
        return None
    return [column * read("1") for column, read in zip(columns, reads, strict=True)]


def _values(
    name: str, rows: list[list[str]], reads: list[Reader], delimiter: str
) -> list[list[float]]:
    """Both columns, every fault found told at once."""
    columns: list[list[float]] = [[], []]
    faults: list[str] = []
    for number, row in enumerate(rows, start=2):
        if len(row) != 2:
            faults.append(f"{name}: row {number} has {len(row)} cells; write a time and a flow")
            continue
        for column, read, cell in zip(columns, reads, row, strict=True):
            # in a table parted by semicolons a comma can only be that of a decimal
            text = cell.strip() if delimiter == "," else cell.strip().replace(",", ".")
            try:
                column.append(read(text))
            except ScenarioError as error:
                faults.append(f"{name}: row {number} {error}")
    if faults:
        more = [f"{name}: and {len(faults) - 20} more faults"] if len(faults) > 20 else []
        raise ScenarioError(*faults[:20], *more)
    return columns


LONGEST = 31 * units.DAY
"""Longest that one event may be followed. [s]"""

_T = TypeVar("_T")


def typed(option: str, read: Callable[[str], _T], text: str) -> _T:
    """Read what was typed for an option, naming the option where it cannot be.

    >>> typed("--volume", surge_keys.some_volume, "20 L")
    0.02
    """
    try:
        return read(text)
    except ScenarioError as error:
        raise ScenarioError(*(f"{option} {fault}" for fault in error.faults)) from error


def typed_dose(works: Works, text: str) -> Inflow:
    """Read a dose: that of the site's pump or siphon, or a volume at a rate.

    >>> round(typed_dose(Works(), "60 gal at 30 gpm").end, 6)
    120.0
    """
    word = text.strip().lower()
    if word in ("pump", "siphon"):
        part = works.pump if word == "pump" else works.siphon
        if part is None:
            raise ScenarioError(
                f'--dose is {word}, but the scenario has no [{word}]; add it, or write "60 gal at '
                '30 gpm"'
            )
        return part.dose()
    volume, at, rate = text.partition(" at ")
    if not at:
        raise ScenarioError(
            f"--dose is {show(text)}; write pump, siphon, or a volume at a rate, as "
            '"60 gal at 30 gpm"'
        )
    inflow = typed("--dose", scenario_keys.flow_rate, rate)
    amount = typed("--dose", surge_keys.some_volume, volume)
    return steady(inflow, amount / inflow, name=f"dose of {text}")


def run_time(text: str) -> float:
    """Read how long a run goes on. [s]

    >>> run_time("2 h")
    7200.0
    """
    seconds = units.duration(text)
    if not 1.0 <= seconds <= LONGEST:
        raise ScenarioError(f"is {show(text)}; an event is followed for 1 s to 31 days")
    return seconds
