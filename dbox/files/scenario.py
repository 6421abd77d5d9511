"""What does a scenario file say about one box? From the file to a `Site` in SI, or all its faults.

The file is TOML; its keys and what they mean stand in `tables`, how they must fit together in
`assembly`. Outlets are counted from 1 in faults, as people count them:

    five.toml: outlet[3].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16
    five.toml: unknown key outlet[2].diamter; did you mean diameter?
"""

import re
from collections.abc import Iterable
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dbox.errors import ScenarioError
from dbox.fieldwork.site import Site
from dbox.files import document
from dbox.files.assembly import Assembly, Place
from dbox.files.faults import at_place, did_you_mean, key_text, show
from dbox.files.tables import (
    UNITS,
    BoxTable,
    InsertTable,
    OutletTable,
    ReadingsTable,
    ScenarioFile,
    TargetTable,
    ToleranceTable,
)

MOST_FAULTS = 50
"""Faults told at once; the rest are counted."""

_TABLES: dict[str, type[BaseModel]] = {
    "box": BoxTable,
    "insert": InsertTable,
    "readings": ReadingsTable,
    "outlet": OutletTable,
    "target": TargetTable,
    "tolerance": ToleranceTable,
}


def load(path: Path | str) -> Site:
    """Read a scenario file.

    Parameters
    ----------
    path : Path or str
        The file; at most 200 kB of TOML in UTF-8.

    Returns
    -------
    Site
        In SI. Where the file names no flows, three defaults that are marked as such.

    Raises
    ------
    ScenarioError
        With every fault found, each naming the file, the key, the value and the mend.
    """
    return loads(document.read_text(Path(path)), str(path))


def loads(text: str, name: str = "scenario") -> Site:
    """Read the text of a scenario; parameters and errors as for `load`.

    Parameters
    ----------
    text : str
        The document.
    name : str
        What to call it in a fault.

    >>> site = loads('''
    ... units = "in"
    ... insert = {kind = "circle", diameter = 2}
    ... outlet = [{reading = "1/8"}, {reading = 0}]
    ... ''')
    >>> [outlet.readings for outlet in site.outlets]
    [(0.003175,), (0.0,)]
    """
    file, problems = _read_tables(document.parse(text, name))
    assembly = Assembly(file, {problem["loc"] for problem in problems})
    site = assembly.site()
    # Looking up what each key may have meant takes time, so only those told are worded.
    faults = [fault for problem in problems[:MOST_FAULTS] for fault in _worded(problem)]
    faults += assembly.faults
    more = max(len(problems) - MOST_FAULTS, 0) + max(len(faults) - MOST_FAULTS, 0)
    if faults or site is None:
        told = faults[:MOST_FAULTS] + ([f"and {more} more faults"] if more else [])
        raise ScenarioError(*(f"{name}: {fault}" for fault in told))
    return site


def _read_tables(raw: dict[str, Any]) -> tuple[ScenarioFile, list[ErrorDetails]]:
    """Read every key on its own; what is refused is taken out of `raw` and listed."""
    written = raw.get("units")
    # A misspelt unit is one fault, not one for every bare length in the file.
    context = {"bare_unit": written if written is None or written in UNITS else "in"}
    try:
        return ScenarioFile.model_validate(raw, context=context), []
    except ValidationError as error:
        problems = error.errors(include_url=False)
    for problem in problems:
        _take_out(raw, problem["loc"])
    return ScenarioFile.model_validate(raw, context=context), problems


def _take_out(raw: dict[str, Any], place: Place) -> None:
    """Remove a refused key; an outlet stays, empty, so that the others keep their numbers."""
    *way, last = place
    holder: Any = raw
    for step in way:
        holder = holder[step]
    if isinstance(holder, list):
        holder[int(last)] = {}
    else:
        del holder[last]


def _worded(problem: ErrorDetails) -> Iterable[str]:
    """Word one problem found by the tables."""
    place = _place_text(problem["loc"])
    if problem["type"] == "value_error":
        return [at_place(place, fault) for fault in problem["ctx"]["error"].faults]
    if problem["type"] == "extra_forbidden":
        return [f"unknown key {place}; {_known_keys(problem['loc'])}"]
    value = show(problem["input"])
    if problem["type"] == "list_type":
        return [f"{place} is {value}; head each with [[{_heading(place)}]], in double brackets"]
    listed = isinstance(problem["loc"][-1], int)
    head = f"[[{_heading(place)}]]" if listed else f"[{_heading(place)}]"
    return [f"{place} is {value}; it is a table, write {head} and its keys under it"]


def _place_text(place: Place) -> str:
    """Write a place as `outlet[2].reading`, counted from 1."""
    text = ""
    for step in place:
        text += f"[{step + 1}]" if isinstance(step, int) else f".{key_text(step)}"
    return text.removeprefix(".")


def _heading(place: str) -> str:
    """Write a place as the heading of its table, which has no numbers."""
    return re.sub(r"\[[0-9]+\]", "", place)


def _known_keys(place: Place) -> str:
    """Say which key was meant, or which table a key of this name belongs to."""
    key = str(place[-1])
    table = _table_at(place[:-1])
    homes = [name for name, other in _TABLES.items() if key in other.model_fields]
    if homes:
        return f"it belongs under [{homes[0]}]"
    return did_you_mean(key, table.model_fields)


def _table_at(place: Place) -> type[BaseModel]:
    """Find the table that stands at a place, through lists and optional tables."""
    table: type[BaseModel] = ScenarioFile
    for step in place:
        if isinstance(step, str):
            table = _table_in(table.model_fields[step].annotation)
    return table


def _table_in(annotation: Any) -> type[BaseModel]:
    """Find the table in such an annotation as `list[OutletTable] | None`."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    parts = get_args(annotation)
    return _table_in(next(part for part in parts if part is not type(None)))
