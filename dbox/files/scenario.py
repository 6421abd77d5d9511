"""From a scenario file to a `Site`, or all its faults; shipped scenarios by name.

Each check adds its fault to one list and goes on, so that a person learns of all of them at once.
A key that has already been refused is never asked for again.

The file is TOML; its keys and what they mean stand in `tables`, how they must fit together in
`assembly`. Outlets are counted from 1 in faults, as people count them:

    five.toml: outlet[3].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16
    five.toml: unknown key outlet[2].diamter; did you mean diameter?
"""

import copy
import math
import re
from collections.abc import Iterable, Mapping, Sequence, Set
from dataclasses import replace
from importlib import resources
from pathlib import Path
from typing import Any, get_args

from pydantic import BaseModel, ValidationError
from pydantic_core import ErrorDetails

from dbox import units
from dbox.errors import ScenarioError, any_of, at_place, closest, did_you_mean, key_text, show
from dbox.fieldwork.evidence import Evidence
from dbox.fieldwork.site import Box, Flow, Outlet, Pour, Site, Target, Tolerance, Works
from dbox.fieldwork.survey import Survey
from dbox.files import toml_file
from dbox.files.evidence_keys import EvidenceTable
from dbox.files.grades_keys import SurveyAssembly
from dbox.files.pour_keys import PourAssembly
from dbox.files.scenario_keys import KINDS, SIZES, build
from dbox.files.scenario_tables import (
    UNITS,
    BoxTable,
    InsertTable,
    OutletTable,
    ReadingsTable,
    RecordTable,
    ScenarioFile,
    TargetTable,
    ToleranceTable,
)
from dbox.files.works import SurgeAssembly
from dbox.hydraulics.openings import Opening

_PACKAGE = "dbox_scenarios"
SCENARIO, LIST = ".toml", ".csv"
"""Endings of the files that are shipped."""

_KINDS = {SCENARIO: "scenario", LIST: "list"}


def shipped_names(ending: str = SCENARIO) -> tuple[str, ...]:
    """Names of the shipped files with an ending, in alphabetical order."""
    files = resources.files(_PACKAGE).iterdir()
    return tuple(sorted(f.name.removesuffix(ending) for f in files if f.name.endswith(ending)))


def resolve(name_or_path: str, ending: str = SCENARIO) -> Path:
    """Find a scenario file, or a list of boxes."""
    path = Path(name_or_path)
    if name_or_path and _exists(path):
        return path
    names = shipped_names(ending)
    name = name_or_path.removesuffix(ending)
    if name in names:
        # An installed package is a folder, so the resource is a file with a path.
        return Path(str(resources.files(_PACKAGE) / f"{name}{ending}"))
    close = closest(name, names)
    hint = f"did you mean {close}? " if close else ""
    raise ScenarioError(
        f"{show(name_or_path)} is neither a file nor a shipped {_KINDS[ending]}; "
        f"{hint}shipped are {any_of(names)}"
    )


def _exists(path: Path) -> bool:
    """Tell whether there is such a path; what cannot be a path is none."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False


MOST_OUTLETS = 100
WALL = 0.05
"""How far beyond the inside of the box an outlet may be placed. [m]"""

DEFAULT_FLOWS = (
    Flow(name="trickle (default)", inflow=units.flow("0.5 gpm")),
    Flow(name="bucket (default)", inflow=units.flow("5 gpm")),
    Flow(name="dose (default)", inflow=units.flow("30 gpm")),
)
"""Flows where a file names none: an ordinary day, a bucket, a pump (common practice, no source)."""

PLACEHOLDER = "PLACEHOLDER"
"""Word in the title of a file of version 0.1 that says that its readings are not real."""

Place = tuple[str | int, ...]


class Assembly:
    """The making of one `Site`, and what stood in the way.

    file: The tables, without what was refused.
    refused: Places of the keys that were refused, outlets counted from 0.
    """

    def __init__(self, file: ScenarioFile, refused: Set[Place] = frozenset()) -> None:
        self.file = file
        self.refused = refused
        self.faults: list[str] = []
        self.outlets: Sequence[OutletTable] = file.outlet or ()
        self.insert = file.insert or InsertTable()
        self.readings = file.readings or ReadingsTable()

    def site(self) -> Site | None:
        """Make the site; None where there are faults."""
        if not self._countable():
            return None
        self._check_sizes("insert", self.insert, self.insert.kind)
        outlets = [self._outlet(index) for index in range(len(self.outlets))]
        box, target = self._box(), self._target()
        tolerance, grades = self._tolerance(), self._grades()
        pours, works, evidence = self._pours(), self._works(), self._evidence()
        self._check_labels()
        self._check_places()
        made = tuple(outlet for outlet in outlets if outlet is not None)
        if self.faults or len(made) < len(outlets):
            return None
        return Site(
            title=self.file.title or "",
            box=box,
            outlets=made,
            flows=self._flows(),
            spread=self.readings.spread,
            placeholder=self._placeholder(self.readings.placeholder),
            target=target,
            tolerance=tolerance,
            grades=grades,
            pours=pours,
            record=(self.file.record or RecordTable()).record(),
            works=works,
            evidence=evidence,
            priors=self.file.priors or (),
        )

    def _fault(self, text: str) -> None:
        if text not in self.faults:
            self.faults.append(text)

    def _was_refused(self, *place: str | int) -> bool:
        """Tell whether a key, or a table that it stands in, was refused."""
        return any(place[:depth] in self.refused for depth in range(1, len(place) + 1))

    def _countable(self) -> bool:
        """Tell whether there are outlets, and not too many to be one box."""
        count = len(self.outlets)
        if not count and not self._was_refused("outlet"):
            self._fault("there are no outlets; add [[outlet]] for each, clockwise from the inlet")
        if count > MOST_OUTLETS:
            self._fault(f"there are {count} outlets; a box has at most {MOST_OUTLETS}")
        if count and all(table.state == "capped" for table in self.outlets):
            self._fault("every outlet is capped; leave at least one open, so that water can leave")
        return 0 < count <= MOST_OUTLETS

    def _outlet(self, index: int) -> Outlet | None:
        """Make one outlet; None where its opening cannot be made."""
        table = self.outlets[index]
        kind = table.kind or self.insert.kind
        opening = self._opening(index, kind)
        if opening is None:
            return None
        offset = self._inherited(table, "offset") if kind == "circle" else None
        return Outlet(
            label=self._label(index),
            opening=opening,
            readings=table.reading or (),
            point_over_lip=self._point_over_lip(index, opening),
            position=table.at,
            hole_offset=offset or None,
            clock=table.clock,
            line_length=table.line_length,
            line_area=table.line_area,
            header_fall=self._inherited(table, "header_fall"),
            capped=table.state == "capped",
        )

    def _label(self, index: int) -> str:
        return self.outlets[index].label or str(index + 1)

    def _inherited(self, table: OutletTable, key: str) -> float | None:
        """Value of an outlet's key or, where it has none, of the insert of the same kind."""
        own: float | None = getattr(table, key)
        same = table.kind is None or table.kind == self.insert.kind
        return getattr(self.insert, key) if own is None and same else own

    def _opening(self, index: int, kind: str | None) -> Opening | None:
        """Make the opening of an outlet; None where a size is missing or was refused."""
        table = self.outlets[index]
        if kind is None:
            if not self._was_refused("insert", "kind") and not self._was_refused(
                "outlet", index, "kind"
            ):
                self._fault(
                    'the openings have no kind; add kind = "circle" and diameter under [insert]'
                )
            return None
        self._check_sizes(f"outlet[{index + 1}]", table, kind)
        sizes = {key: size for key in SIZES if (size := self._inherited(table, key)) is not None}
        missing = [key for key in KINDS[kind].needs if key not in sizes]
        for key in missing:
            if not self._was_refused("insert", key) and not self._was_refused("outlet", index, key):
                own = table.kind is not None and table.kind != self.insert.kind
                where = f"outlet[{index + 1}]" if own else "insert"
                self._fault(f"{where} has no {key}; a {kind} needs it, add {key} = ...")
        return None if missing else build(kind, sizes, self._inherited(table, "coefficient"))

    def _check_sizes(self, place: str, table: InsertTable, kind: str | None) -> None:
        """Refuse sizes that have no meaning for the kind of opening."""
        if kind is None:
            return
        meant = (*KINDS[kind].sizes, *(["offset"] if kind == "circle" else []))
        for key in (*SIZES, "offset"):
            if key not in meant and getattr(table, key) is not None:
                self._fault(
                    f"{place}.{key} has no meaning for a {kind}, which has {' and '.join(meant)}; "
                    "leave it out or change the kind"
                )

    def _point_over_lip(self, index: int, opening: Opening) -> float:
        point = self.readings.point or "lip"
        if point == "lip":
            return 0.0
        if not math.isfinite(opening.top):
            self._fault(
                f"readings.point is {show(point)}, but outlet[{index + 1}] is open on top; "
                'read the lip and write point = "lip"'
            )
        return opening.top if point == "top" else opening.top / 2

    def _box(self) -> Box:
        table = self.file.box or BoxTable()
        shape, inside = table.shape or "rectangle", table.inside or ()
        if shape == "round" and len(inside) == 2:
            self._fault("box.inside is a list of 2; a round box has one diameter")
        if shape == "rectangle" and len(inside) == 1:
            self._fault(
                "box.inside is one length; a rectangle has two, along the inlet direction and "
                'across it, as ["16 in", "20 in"]'
            )
        return Box(
            shape=shape,
            inside=inside,
            inlet=table.inlet,
            inlet_drop=table.inlet_drop,
            sump=table.sump,
            rim=self.readings.rim,
        )

    def _target(self) -> Target:
        by = (self.file.target or TargetTable()).by or "equal"
        open_outlets = [i for i, table in enumerate(self.outlets) if table.state != "capped"]
        if isinstance(by, str):
            key = {"length": "line_length", "area": "line_area"}.get(by)
            for index in open_outlets if key else ():
                missing = getattr(self.outlets[index], str(key)) is None
                if missing and not self._was_refused("outlet", index, str(key)):
                    self._fault(
                        f"outlet[{index + 1}] has no {key}; target.by is {show(by)}, add it"
                    )
            return Target(by=by)
        if len(by) != len(self.outlets):
            self._fault(
                f"target.by is a list of {len(by)} for {len(self.outlets)} outlets; "
                "write one number for each, 0 for a capped one"
            )
            return Target()
        for index in open_outlets:
            if not by[index]:
                self._fault(
                    f"target.by[{index + 1}] is 0 for an open outlet; give it a share, or write "
                    f'state = "capped" under outlet[{index + 1}]'
                )
        return Target(by="list", weights=by)

    def _tolerance(self) -> Tolerance | None:
        table = self.file.tolerance
        if table is None:
            return None
        if table.share is None:
            if not self._was_refused("tolerance", "share"):
                self._fault('tolerance has no share; add share = "10 %", or leave [tolerance] out')
            return None
        return Tolerance(share=table.share, source=table.source or None)

    def _grades(self) -> Survey | None:
        table = self.file.grades
        if table is None:
            return None
        labels = [self._label(index) for index in range(len(self.outlets))]
        survey = SurveyAssembly(table, labels, self._fault, self._was_refused).survey()
        return survey and replace(survey, placeholder=self._placeholder(table.placeholder))

    def _placeholder(self, said: bool | None) -> bool:
        """Tell whether readings are placeholders; where no key says it, the title may."""
        return PLACEHOLDER in (self.file.title or "") if said is None else said

    def _pours(self) -> tuple[Pour, ...]:
        outlets = {self._label(i): t.state == "capped" for i, t in enumerate(self.outlets)}
        tables = self.file.pour or ()
        return PourAssembly(tables, outlets, self._fault, self._was_refused).pours()

    def _works(self) -> Works:
        falls = [self._inherited(table, "header_fall") for table in self.outlets]
        return SurgeAssembly(self.file, falls, self._fault, self._was_refused).works()

    def _evidence(self) -> Evidence:
        for index, outlet in enumerate(self.outlets):
            if outlet.evidence is not None:
                outlet.evidence.check(f"outlet[{index + 1}].evidence", self._fault)
        table = self.file.evidence or EvidenceTable()
        return table.evidence([outlet.evidence for outlet in self.outlets])

    def _flows(self) -> tuple[Flow, ...]:
        named = self.file.flows or {}
        return tuple(Flow(name=n, inflow=q) for n, q in named.items()) or DEFAULT_FLOWS

    def _check_labels(self) -> None:
        """Refuse a label that another outlet has, whatever its case."""
        first: dict[str, int] = {}
        for index in range(len(self.outlets)):
            label = self._label(index)
            earlier = first.setdefault(label.lower(), index)
            if earlier != index:
                self._fault(
                    f"outlet[{index + 1}].label is {show(label)}, which outlet[{earlier + 1}] has "
                    "too; give each its own"
                )

    def _check_places(self) -> None:
        """Refuse places outside the box, and two outlets in one place."""
        inside = (self.file.box or BoxTable()).inside or (math.inf,)
        along, across = inside[0], inside[-1]
        first: dict[tuple[float, float], int] = {}
        for index, table in enumerate(self.outlets):
            if table.at is None:
                continue
            if not (-WALL <= table.at[0] <= along + WALL and -WALL <= table.at[1] <= across + WALL):
                self._fault(
                    f"outlet[{index + 1}].at lies outside the box; check it against box.inside"
                )
            earlier = first.setdefault(table.at, index)
            if earlier != index:
                self._fault(
                    f"outlet[{index + 1}].at is the place of outlet[{earlier + 1}] too; "
                    "measure it, or leave it out"
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
    """Read a scenario file."""
    return loads(toml_file.read_text(Path(path)), str(path))


def loads(text: str, name: str = "scenario") -> Site:
    """Read the text of a scenario; parameters and errors as for `load`.

    >>> site = loads('''
    ... units = "in"
    ... insert = {kind = "circle", diameter = 2}
    ... outlet = [{reading = "1/8"}, {reading = 0}]
    ... ''')
    >>> [outlet.readings for outlet in site.outlets]
    [(0.003175,), (0.0,)]
    """
    return read(toml_file.parse(text, name), name)


def read(document: Mapping[str, Any], name: str = "") -> Site:
    """Read the tables of a scenario, which stay as they are; errors as for `load`."""
    file, problems = _read_tables(copy.deepcopy(dict(document)))
    assembly = Assembly(file, {problem["loc"] for problem in problems})
    site = assembly.site()
    # Looking up what each key may have meant takes time, so only those told are worded.
    faults = [fault for problem in problems[:MOST_FAULTS] for fault in _worded(problem)]
    faults += assembly.faults
    more = max(len(problems) - MOST_FAULTS, 0) + max(len(faults) - MOST_FAULTS, 0)
    if faults or site is None:
        told = faults[:MOST_FAULTS] + ([f"and {more} more faults"] if more else [])
        raise ScenarioError(*(f"{name}: {fault}" if name else fault for fault in told))
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
