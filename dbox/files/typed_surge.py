"""Doses, volumes, times and measured inflows of a surge, from words and CSV to SI.

seconds,m3_s            time (min);flow (gpm)
    0,0                     0;0
    30,0.0004               0,5;6,5

Straight lines join the rows. A head without a unit is `seconds` or `m3_s`.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable
from itertools import islice
from pathlib import Path
from typing import TypeVar

import numpy as np

from dbox import keys, units
from dbox.arrays import Array
from dbox.errors import DomainError, ScenarioError, show
from dbox.fieldwork.site import Works
from dbox.files import surge_keys, toml_file
from dbox.hydraulics.surge.inflow import Inflow, measured, steady

MOST_ROWS = 1_000_000
"""A year has 525,600 minutes, a week 604,800 seconds. Judgement."""

_MOST_BYTES = 64 * MOST_ROWS
_HEAD = re.compile(r"(time|flow|inflow)\s*[(\[]\s*([^()\[\]]+?)\s*[)\]]")
_WANTED = 'write "seconds,m3_s", or the units as "time (min),flow (gpm)"'


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
    kinds = [_column(name, cell) for cell in rows[0]]
    if [what for what, _ in kinds] != ["time", "flow"]:
        raise ScenarioError(f"{name}: its columns are {show(first)}; {_WANTED}")
    reads = [read for _, read in kinds]
    columns = _plain_values(rows[1:], reads) or _values(name, rows[1:], reads, delimiter)
    try:
        return measured(*columns, name=Path(path).name)
    except DomainError as error:
        raise ScenarioError(f"{name}: {error}") from error


def _column(name: str, cell: str) -> tuple[str, Callable[[str], float]]:
    """What a column holds, and the reader of its cells."""
    head = " ".join(cell.lower().split())
    if head == "seconds":
        return "time", lambda text: units.duration(f"{text} s")
    if head == "m3_s":
        return "flow", lambda text: units.flow(f"{text} m3/s")
    match = _HEAD.fullmatch(head)
    if match is None:
        raise ScenarioError(f"{name}: unknown column {show(cell)}; {_WANTED}")
    what, unit = match.groups()
    read = units.duration if what == "time" else units.flow
    return "time" if what == "time" else "flow", lambda text: read(f"{text} {unit}")


def _plain_values(
    rows: list[list[str]], reads: list[Callable[[str], float]]
) -> tuple[Array, Array] | None:
    """Both columns where all cells are plain numbers in range: quick, where there are many rows."""
    try:
        columns = zip(zip(*rows, strict=True), reads, strict=True)
        times, flows = (_plain_column(cells, read) for cells, read in columns)
    except ValueError:
        return None
    return times, flows


def _plain_column(cells: Iterable[str], read: Callable[[str], float]) -> Array:
    numbers = np.array([float(cell) for cell in cells])
    # what the least and the most may be, all between them may
    for extreme in (numbers.min(), numbers.max()):
        read(repr(float(extreme)))
    return numbers * read("1")


def _values(
    name: str, rows: list[list[str]], reads: list[Callable[[str], float]], delimiter: str
) -> tuple[list[float], list[float]]:
    """Both columns, every fault found told at once."""
    columns: tuple[list[float], list[float]] = ([], [])
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
    inflow = _read("--dose", lambda: keys.flow_rate(rate))
    amount = _read("--dose", lambda: surge_keys.some_volume(volume))
    return steady(inflow, amount / inflow, name=f"dose of {text}")


def typed_volume(text: str, option: str) -> float:
    """Read a volume above nothing, naming its option where it is none. [m3]

    >>> typed_volume("20 L", "--volume")
    0.02
    """
    return _read(option, lambda: surge_keys.some_volume(text))


def typed_settling(text: str) -> float:
    """Read how much one side of a box sinks in a year. [m]

    >>> typed_settling("10 mm")
    0.01
    """
    return _read("--settling", lambda: surge_keys.settling(text))


def typed_until(text: str | None) -> float | None:
    """Read how long a run goes on; None where nothing was typed. [s]

    >>> typed_until("2 h")
    7200.0
    """
    return None if text is None else _read("--for", lambda: _until(text))


def _until(text: str) -> float:
    seconds = units.duration(text)
    if not 1.0 <= seconds <= LONGEST:
        raise ScenarioError(f"is {show(text)}; an event is followed for 1 s to 31 days")
    return seconds


def _read(option: str, read: Callable[[], _T]) -> _T:
    try:
        return read()
    except ScenarioError as error:
        raise ScenarioError(*(f"{option} {fault}" for fault in error.faults)) from error
