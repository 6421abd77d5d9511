"""The plan before digging, asked from the tank to the trenches, then the falls as they were read.

Every question may be left out. An answer is checked at once by the reader of the scenario itself
and kept as typed. A pipe or a trench is answered in one line, its sizes with commas between; what
is asked of every outlet as in `evidence_interview`.
"""

import copy
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dbox.errors import ScenarioError, any_of, show
from dbox.fieldwork.site import Box
from dbox.fieldwork.survey import RUN_KINDS, Plan, PlanLine
from dbox.files.box_interview import WORDS
from dbox.files.evidence_interview import NOT_LOOKED, Document, by_outlet, labels_of
from dbox.files.scenario import read
from dbox.files.scenario_tables import (
    HeaderTable,
    InsertTable,
    OutletTable,
    SupplyTable,
    TrenchTable,
)
from dbox.keys import Key, Reader, keys_of

_TABLES: Mapping[str, type] = {
    "plan": Plan, "line": PlanLine, "box": Box, "insert": InsertTable, "outlet": OutletTable,
    "supply": SupplyTable, "header": HeaderTable, "trench": TrenchTable,
}  # fmt: skip


@dataclass(frozen=True)
class PlanQuery:
    """One question of a plan."""

    part: str  # Part of the water's way.
    name: str  # What it is called, for people.
    table: str  # Table that its keys stand in; `line` and `outlet` are one for each outlet.
    keys: tuple[str, ...]
    run: int = -1  # Which run of the falls as read, counted from 0.

    @property
    def _declared(self) -> list[Key]:
        known = {key.name: key for key in keys_of(_TABLES[self.table]).values()}
        return [known[name] for name in self.keys]

    @property
    def of_outlets(self) -> bool:
        """Whether every outlet has an answer of its own."""
        return self.table in ("line", "outlet")

    @property
    def text(self) -> str:
        """What is asked, with an example."""
        return self._said("asks")

    @property
    def example(self) -> str:
        """An answer, as it is typed."""
        return ", ".join(str(key.examples[0]) for key in self._declared)

    @property
    def help(self) -> str:
        """What it means."""
        return self._said("help")

    @property
    def forms(self) -> str:
        """How more than one value is typed."""
        kind = "plan_outlets" if self.of_outlets else "plan_sizes" if len(self.keys) > 1 else ""
        return str(WORDS["typed"][kind]) if kind else ""

    def _said(self, what: str) -> str:
        name = "run" if self.run >= 0 else self.name.replace(" ", "_")
        return str(WORDS["plan"][name][what])

    @property
    def words(self) -> tuple[str, ...]:
        """The words that answer it; none where it takes a quantity."""
        reader = self._declared[0].reader if self.keys else None
        return reader.words if isinstance(reader, Reader) else ()


QUERIES = (
    PlanQuery("Heights", "by", "plan", ("by",)),
    PlanQuery("Heights", "benchmark", "plan", ("benchmark", "benchmark_rod")),
    PlanQuery("The tank", "tank outlet", "plan", ("tank_outlet",)),
    PlanQuery("The tank", "tank ground", "plan", ("tank_ground",)),
    PlanQuery("The supply pipe", "supply pipe", "supply", ("length", "diameter", "fall")),
    PlanQuery("The box", "box inlet", "plan", ("box_inlet",)),
    PlanQuery("The box", "box ground", "plan", ("box_ground",)),
    PlanQuery("The box", "inlet drop", "box", ("inlet_drop",)),
    PlanQuery("The box", "floor", "box", ("sump",)),
    PlanQuery("The box", "lip", "plan", ("lip",)),
    PlanQuery("The headers", "header", "header", ("length", "diameter")),
    PlanQuery("The headers", "header fall", "insert", ("header_fall",)),
    PlanQuery("The trenches", "line length", "outlet", ("line_length",)),
    PlanQuery("The trenches", "trench", "trench", ("width", "depth", "pipe", "acceptance")),
    PlanQuery("The trenches", "trench bottom", "line", ("bottom",)),
    PlanQuery("The trenches", "line ground", "line", ("ground",)),
    PlanQuery("The level", "level", "plan", ("level",)),
)
"""The questions, in the order of the water's way."""


def plan_queries(document: Document, runs_before: int) -> Iterator[PlanQuery]:
    """Questions of the plan, then one for each pipe or trench bottom as read, and one more."""
    yield from QUERIES
    for run in range(runs_before, len(document.get("grades", {}).get("run", ())) + 1):
        yield PlanQuery("The falls as read", f"run {run + 1}", "run", (), run)


def answered(document: Document, query: PlanQuery, typed: str) -> Document:
    """The scenario with an answer in it."""
    told = copy.deepcopy(document)
    if query.run >= 0:
        runs = told.setdefault("grades", {}).setdefault("run", [])
        runs[query.run :] = [_run(told, typed), *runs[query.run + 1 :]]
        if (level := told.get("plan", {}).get("level")) is not None:
            told["grades"].setdefault("level", level)
    for index, text in enumerate(by_outlet(told, typed) if query.of_outlets else [typed]):
        if text is None or query.run >= 0:
            continue
        values = [text] if query.of_outlets else [part.strip() for part in text.split(",")]
        if len(values) != len(query.keys):
            wanted = ", ".join(key.replace("_", " ") for key in query.keys)
            several = ", with commas between, - for what is not known"
            raise ScenarioError(
                f"is {show(typed)}; write {wanted}{several if len(query.keys) > 1 else ' alone'}, "
                f"as {query.example}"
            )
        table = _table(told, query, index)
        for key, value in zip(query.keys, values, strict=True):
            table.pop(key, None)
            if value != NOT_LOOKED:
                table[key] = _one_or_both(value)
    read(told)
    return told


def _one_or_both(text: str) -> str | list[str]:
    """A value, or two that are joined by `and`."""
    parts = [part.strip() for part in text.split(" and ")]
    return parts if len(parts) > 1 else parts[0]


def _run(document: Document, typed: str) -> dict[str, Any]:
    """A run as it is typed: its kind and outlet, then stations with heights, or blocks."""
    name, colon, rest = (part.strip() for part in typed.partition(":"))
    kind = next((kind for kind in RUN_KINDS if name.lower().startswith(kind)), None)
    if kind is None or not colon:
        raise ScenarioError(
            f"is {show(typed)}; begin with {any_of(RUN_KINDS)}, its outlet and a colon, as "
            "header 2: 0 ft 39-3/4, 10 ft 41"
        )
    run: dict[str, Any] = {"name": name, "kind": kind}
    if outlet := name[len(kind) :].strip():
        run["outlet"] = outlet
    if rest.lower().startswith("blocks"):
        blocks, _, every = rest[len("blocks") :].partition(" every ")
        run["blocks"] = [part.strip() for part in blocks.split(",")]
        return {**run, **({"every": every.strip()} if every else {})}
    height = "elevation" if document.get("plan", {}).get("by") == "elevation" else "rod"
    run["station"] = []
    for part in rest.split(","):
        station = _STATION.fullmatch(part.strip())
        if station is None:
            raise ScenarioError(
                f"is {show(part.strip())} in one part; write how far along with its unit, then "
                "what was read there, as 10 ft 41-1/4"
            )
        run["station"].append({"at": station[1], height: _one_or_both(station[2])})
    return run


_STATION = re.compile(r"([0-9][0-9./ -]*(?:ft|in|mm|cm|m|'))\s+(\S.*)")


def said(document: Document, query: PlanQuery) -> str:
    """What the scenario says under a question; nothing where it says nothing."""
    if query.run >= 0:
        runs = document.get("grades", {}).get("run", [])
        return str(runs[query.run]["name"]) if query.run < len(runs) else ""
    told, found = copy.deepcopy(document), []
    for index, label in enumerate(labels_of(document) if query.of_outlets else [""]):
        table = _table(told, query, index)
        values = [table[key] for key in query.keys if key in table]
        texts = [" and ".join(map(str, v)) if isinstance(v, list) else str(v) for v in values]
        found += [f"{label} {', '.join(texts)}".strip()] * bool(texts)
    return ", ".join(found)


def _table(document: Document, query: PlanQuery, index: int) -> dict[str, Any]:
    """The table that an answer stands in, made where it is not there."""
    document.setdefault("plan", {})
    table: dict[str, Any]
    if query.table == "outlet":
        table = document["outlet"][index]
    elif query.table != "line":
        table = document.setdefault(query.table, {})
    else:
        label, lines = labels_of(document)[index], document["plan"].setdefault("line", [])
        there = [line for line in lines if str(line.get("outlet")) == label]
        table = there[0] if there else {"outlet": label}
        lines += [table] * (not there)
    return table
