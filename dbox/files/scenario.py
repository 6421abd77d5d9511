"""From a scenario file to a `Site`, or all its faults; shipped scenarios by name.

The file is TOML. Its keys are declared where they are used, by `key`; how they must fit together is
checked here, each fault added to one list.

    five.toml: outlet[3].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16
    five.toml: unknown key outlet[2].diamter; did you mean diameter?
"""

import contextlib
import json
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from importlib import resources
from itertools import pairwise
from pathlib import Path
from textwrap import wrap
from typing import Any

from dbox.errors import ScenarioError, any_of, closest, did_you_mean, show
from dbox.fieldwork.evidence import (
    NOTHING_SEEN,
    OUTLET_KINDS,
    SYSTEM_KINDS,
    Evidence,
    Kind,
    OutletEvidence,
)
from dbox.fieldwork.inlet import DEFAULT_FALL
from dbox.fieldwork.series import fed_by, lines_behind
from dbox.fieldwork.site import (
    DEFAULT_HOLD_BACK,
    ORDINARY_FLOWS,
    Flow,
    Outlet,
    Site,
    Target,
    Works,
    plan_area,
)
from dbox.fieldwork.survey import Plan, Run, Survey
from dbox.fieldwork.ties import locate
from dbox.files import toml_file
from dbox.files.pour_keys import pours_of
from dbox.files.read_tables import Faults, Place, fed_boxes, read_table
from dbox.files.scenario_tables import (
    HOMES,
    SIZES,
    UNITS,
    InsertTable,
    OutletTable,
    PumpTable,
    ScenarioFile,
    SiphonTable,
    TankTable,
    TrenchTable,
)
from dbox.hydraulics.openings import KINDS, Opening
from dbox.hydraulics.surge.inflow import Pump, Siphon
from dbox.hydraulics.surge.parts import CLEAN_FILTER_LOSS, SupplyPipe, Tank, Trench
from dbox.keys import choice, filled, keys_of, own_or

_PACKAGE = "dbox_scenarios"
SCENARIO, LIST = ".toml", ".csv"
"""Endings of the files that are shipped."""

_STARTER = "starter.toml"
"""What a new scenario begins with; it is no scenario of a job."""


def starter_lines(table: type, kinds: Iterable[Kind]) -> str:
    """Every key of evidence as a comment of a starter: an example, and what else it may be."""
    lines = []
    for kind in sorted(kinds, key=lambda kind: kind.place):
        key = keys_of(table)[kind.name]
        example = json.dumps(key.examples[0])
        others = ", ".join(word for word in kind.choices if word not in example)
        about = key.about[0].lower() + key.about[1:].removesuffix(".")
        note = f"{kind.said}; or {others}" if kind.choices else about
        lines += wrap(f"{f'# {kind.name} = {example}':<39}# {note}", 100,
                      subsequent_indent="# ".ljust(39) + "# ", break_on_hyphens=False)  # fmt: skip
    return "\n".join(lines)


def starter() -> str:
    """Text of a scenario to fill in, valid as it stands; its readings are marked placeholders.

    >>> starter().count("[[outlet]]\\n")
    4
    """
    text = (resources.files(_PACKAGE) / _STARTER).read_text(encoding="utf-8")
    text = text.replace("# KINDS OF THE SYSTEM", starter_lines(Evidence, SYSTEM_KINDS))
    return text.replace("# KINDS OF AN OUTLET", starter_lines(OutletEvidence, OUTLET_KINDS))


def shipped_names(ending: str = SCENARIO) -> tuple[str, ...]:
    """Names of the shipped files with an ending, in alphabetical order."""
    names = {file.name for file in resources.files(_PACKAGE).iterdir()} - {_STARTER}
    return tuple(sorted(name.removesuffix(ending) for name in names if name.endswith(ending)))


def resolve(name_or_path: str, ending: str = SCENARIO) -> Path:
    """Find a scenario file, or a list of boxes."""
    path = Path(name_or_path)
    # what cannot be a path is none
    with contextlib.suppress(OSError, ValueError):
        if name_or_path and path.exists():
            return path
    names = shipped_names(ending)
    name = name_or_path.removesuffix(ending)
    if name in names:
        # An installed package is a folder, so the resource is a file with a path.
        return Path(str(resources.files(_PACKAGE) / f"{name}{ending}"))
    kind, hint = ("scenario", "dbox new FILE starts one; ") if ending == SCENARIO else ("list", "")
    hint = f"did you mean {close}? " if (close := closest(name, names)) else hint
    raise ScenarioError(
        f"{show(name_or_path)} is neither a file nor a shipped {kind}; {hint}shipped are "
        f"{any_of(names)}"
    )


MOST_OUTLETS = 100
WALL = 0.05
"""How far beyond the inside of the box an outlet may be placed. [m]"""
_MOST_STATIONS, _MOST_ROD = 2000, 10.0
"""Stations of all runs together; greatest reading of a rod. [m]"""

PLACEHOLDER = "PLACEHOLDER"
"""Word in the title of a file of version 0.1 that says that its readings are not real."""


def load(path: Path | str, place: Place | None = None) -> Site:
    """Read a scenario file and those of the boxes that it feeds; place: among boxes in series."""
    return loads(toml_file.read_text(Path(path)), str(path), place)


def loads(text: str, name: str = "scenario", place: Place | None = None) -> Site:
    """Read the text of a scenario.

    >>> hole = 'insert = {kind = "circle", diameter = "2 in"}'
    >>> [outlet.readings for outlet in loads(f'{hole}\\noutlet = [{{reading = "1/8 in"}}]').outlets]
    [(0.003175,)]
    """
    return read(toml_file.parse(text, name), name, place or Place(Path(name)))


def read(document: Mapping[str, Any], name: str = "", place: Place | None = None) -> Site:
    """Read the tables of a scenario; every fault begins with `name`.

    place: Of its file; without it the boxes that its outlets feed are not looked for.
    """
    faults = Faults(HOMES)
    file = read_table(ScenarioFile, document, _bare_unit(document), faults)
    boxes: list[Site | None] = [None] * len(file.outlet)
    if place:
        boxes = fed_boxes([table.feeds for table in file.outlet], place, faults, load)
        named = [table.label or str(i) for i, table in enumerate(file.outlet, start=1)]
        ways = tuple(f"{label}/" for label, box in zip(named, boxes, strict=True) if box)
        for index, table in enumerate(file.outlet, start=1):
            if ways and named[index - 1].startswith(ways):
                faults.tell(
                    f"outlet[{index}].label is {show(table.label)}, as a line of a box behind is "
                    "called; take another name"
                )
    tables = [*file.outlet]
    for index, box in enumerate(boxes):
        if box:
            # the lines of the box that it feeds, added up, where it does not say them
            said, (length, area) = tables[index], lines_behind(box)
            length, area = said.line_length or length, said.line_area or area
            tables[index] = replace(said, line_length=length, line_area=area)
    site = _site(replace(file, outlet=tuple(tables)), faults)
    if faults.told or site is None:
        raise faults.error(name)
    return replace(fed_by(site, boxes), metric=_is_metric(document))


def _is_metric(document: Mapping[str, Any]) -> bool:
    """Whether a job is in millimetres: by its `units`, without them by how it was read."""
    read = " ".join(str(table.get("reading")) for table in document["outlet"])
    return bool(re.search("[mc]m", document.get("units") or re.sub('in|"', "", read)))


def _bare_unit(document: Mapping[str, Any]) -> str | None:
    """Unit of a bare length. A misspelt one is one fault, not one for every bare length."""
    try:
        return choice(document["units"], UNITS) if "units" in document else None
    except ScenarioError:
        return "in"


def _site(file: ScenarioFile, faults: Faults) -> Site | None:
    """Make the site, and tell what does not fit together; None where there can be none."""
    tables, box = file.outlet, file.box
    if not tables:
        faults.tell(
            "there are no outlets; add [[outlet]] for each, clockwise from the inlet", "outlet"
        )
    if len(tables) > MOST_OUTLETS:
        faults.tell(f"there are {len(tables)} outlets; a box has at most {MOST_OUTLETS}")
    if tables and all(table.capped for table in tables):
        faults.tell("every outlet is capped; leave at least one open, so that water can leave")
    if not 0 < len(tables) <= MOST_OUTLETS:
        return None
    _check_sizes("insert", file.insert, file.insert.kind, faults)
    whole = [_whole(table, file.insert, index) for index, table in enumerate(tables)]
    outlets = [_outlet(file, table, index, faults) for index, table in enumerate(whole)]
    if box.shape == "round" and len(box.inside) == 2:
        faults.tell("box.inside is a list of 2; a round box has one diameter")
    if box.shape == "rectangle" and len(box.inside) == 1:
        faults.tell(
            "box.inside is one length; a rectangle has two, along the inlet direction and "
            'across it, as ["16 in", "20 in"]'
        )
    target = _target(file, faults)
    if file.tolerance is not None:
        faults.complete(file.tolerance, "tolerance")
    labels = [table.label for table in whole]
    if (grades := file.grades) is not None:
        _check_survey(grades, labels, faults, planned=file.plan is not None)
        grades = replace(grades, placeholder=_placeholder(grades.placeholder, file.title))
    if file.plan is not None:
        _check_plan(file.plan, {table.label: table.capped for table in whole}, faults)
    if file.ties is not None:
        for number, point in enumerate(file.ties.points, start=1):
            faults.complete(point, f"ties.point[{number}]")
        if not any(fault.startswith("ties.") for fault in faults.told):
            faults.made(file.ties, locate, "ties")
    pours = pours_of(file.pour, {table.label: table.capped for table in whole}, faults)
    works = _works(file, whole, faults)
    evidence = _evidence(file, faults)
    faults.names("outlet", dict(enumerate(labels)), "label")
    _check_places(file, faults)
    return Site(
        box=replace(box, rim=file.readings.rim),
        outlets=tuple(outlet for outlet in outlets if outlet is not None),
        flows=tuple(Flow(name=n, inflow=q) for n, q in (file.flows or {}).items())
        or ORDINARY_FLOWS,
        coefficient_spread=file.readings.coefficient_spread or 0.0,
        hold_back=file.readings.hold_back or DEFAULT_HOLD_BACK,
        placeholder=_placeholder(file.readings.placeholder, file.title),
        target=target,
        grades=grades,
        pours=pours,
        works=works,
        evidence=evidence,
        **{name: getattr(file.readings, name) for name in ("spread", "mark", "hand")},
        **{name: getattr(file, name) for name in _AS_WRITTEN},
    )


_AS_WRITTEN = ("title", "tolerance", "plan", "record", "ties", "priors", "signs")
"""Keys of a file that are those of its site."""


def _placeholder(said: bool | None, title: str) -> bool:
    """Tell whether readings are placeholders; where no key says it, the title may."""
    return PLACEHOLDER in title if said is None else said


def _whole(table: OutletTable, insert: InsertTable, index: int) -> OutletTable:
    """An outlet with its label and, if it is of the same kind, what it takes from the insert."""
    table = replace(table, label=table.label or str(index + 1))
    return filled(table, insert) if table.kind in (None, insert.kind) else table


def _outlet(file: ScenarioFile, table: OutletTable, index: int, faults: Faults) -> Outlet | None:
    """Make one outlet, a whole one; None where its opening cannot be made."""
    place, insert = f"outlet[{index + 1}]", file.insert
    if table.kind is None:
        faults.tell(
            'the openings have no kind; add kind = "circle" and diameter under [insert]',
            "insert.kind",
            f"{place}.kind",
        )
        return None
    _check_sizes(place, file.outlet[index], table.kind, faults)
    sizes = {name: getattr(table, name) for name in KINDS[table.kind].sizes()}
    missing = [name for name in KINDS[table.kind].needs if sizes[name] is None]
    where = "insert" if table.kind == insert.kind else place
    for name in missing:
        fault = f"{where} has no {name}; a {table.kind} needs it, {keys_of(InsertTable)[name].mend}"
        faults.tell(fault, f"insert.{name}", f"{place}.{name}")
    if missing:
        return None
    opening = KINDS[table.kind](**sizes, coefficient=table.coefficient)
    return Outlet(
        label=table.label,
        opening=opening,
        readings=table.reading,
        point_over_lip=_point_over_lip(file.readings.point or "lip", opening, place, faults),
        position=table.at,
        hole_offset=(table.offset or None) if table.kind == "circle" else None,
        clock=table.clock,
        line_length=table.line_length,
        line_area=table.line_area,
        header_fall=table.header_fall,
        capped=table.capped,
    )


def _check_sizes(place: str, table: InsertTable, kind: str | None, faults: Faults) -> None:
    """Refuse sizes that have no meaning for the kind of opening."""
    if kind is None:
        return
    meant = (*KINDS[kind].sizes(), *(["offset"] if kind == "circle" else []))
    for name in (*SIZES, "offset"):
        if name not in meant and getattr(table, name) is not None:
            faults.tell(
                f"{place}.{name} has no meaning for a {kind}, which has {' and '.join(meant)}; "
                "leave it out or change the kind"
            )


def _point_over_lip(point: str, opening: Opening, place: str, faults: Faults) -> float:
    """Height over the lip of the point that was read. [m]"""
    if point == "lip":
        return 0.0
    if not math.isfinite(opening.top):
        faults.tell(
            f"readings.point is {show(point)}, but {place} is open on top; "
            'read the lip and write point = "lip"'
        )
    return opening.top if point == "top" else opening.top / 2


def _target(file: ScenarioFile, faults: Faults) -> Target:
    by = file.target.by
    if by is None:
        return Target(said=False)
    uncapped = [(i, table) for i, table in enumerate(file.outlet) if not table.capped]
    if isinstance(by, str):
        name = {"length": "line_length", "area": "line_area"}.get(by, "")
        for index, table in uncapped if name else ():
            place = f"outlet[{index + 1}]"
            if getattr(table, name) is None and table.feeds is None:
                fault = f"{place} has no {name}; target.by is {show(by)}, add it"
                faults.tell(fault, f"{place}.{name}")
        return Target(by=by)
    if len(by) != len(file.outlet):
        faults.tell(
            f"target.by is a list of {len(by)} for {len(file.outlet)} outlets; "
            "write one number for each, 0 for a capped one"
        )
        return Target()
    for number in (i + 1 for i, _ in uncapped if not by[i]):
        faults.tell(
            f"target.by[{number}] is 0 for an open outlet; give it a share, or write "
            f'state = "capped" under outlet[{number}]'
        )
    return Target(by="list", weights=by)


PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""


def _evidence(file: ScenarioFile, faults: Faults) -> Evidence:
    """What was seen; a port that was only measured gets its word."""
    seen = []
    for number, outlet in enumerate(file.outlet, start=1):
        each = outlet.evidence or NOTHING_SEEN
        if (water := each.port_water) is not None:
            side, word = ("over", "to the pipe") if water >= 0 else ("under", "below the pipe")
            each = replace(each, port=each.port or word)
            agrees = {
                "dry": water < 0,
                "below the pipe": water < PORT_ERROR,
                "to the pipe": water > -PORT_ERROR,
            }
            if not agrees[str(each.port)]:
                faults.tell(
                    f'outlet[{number}].evidence.port is "{each.port}", but its port_water lies '
                    f"{side} the bottom of the pipe; keep the one that is right"
                )
        seen.append(each)
    looked = any(each != NOTHING_SEEN for each in seen)
    photos, outlets = file.evidence.photos or (), tuple(seen) if looked else ()
    return replace(file.evidence, photos=photos, outlets=outlets)


def _check_places(file: ScenarioFile, faults: Faults) -> None:
    """Refuse places outside the box, and two outlets in one place."""
    inside = file.box.inside or (math.inf,)
    along, across = inside[0] + WALL, inside[-1] + WALL
    first: dict[tuple[float, float], int] = {}
    for index, table in enumerate(file.outlet):
        if table.at is None:
            continue
        if not (-WALL <= table.at[0] <= along and -WALL <= table.at[1] <= across):
            faults.tell(f"outlet[{index + 1}].at lies outside the box; check it against box.inside")
        earlier = first.setdefault(table.at, index)
        if earlier != index:
            faults.tell(
                f"outlet[{index + 1}].at is the place of outlet[{earlier + 1}] too; "
                "measure it, or leave it out"
            )


def _check_survey(survey: Survey, labels: Sequence[str], faults: Faults, *, planned: bool) -> None:
    """Tell what does not fit in a survey; labels: of the outlets."""
    if not survey.runs and not planned:
        fault = "grades has no runs; add [[grades.run]] for each pipe, or leave it out"
        faults.tell(fault, "grades.run")
    if sum(len(run.stations) + len(run.blocks) for run in survey.runs) > _MOST_STATIONS:
        faults.tell(f"grades has more than {_MOST_STATIONS} stations; leave some out")
        return
    for number, run in enumerate(survey.runs, start=1):
        place = f"grades.run[{number}]"
        faults.complete(run, place)
        _check_outlet(place, run, labels, faults)
        if run.lean is not None and run.kind not in ("trench", None):
            faults.tell(f"{place}.lean has no meaning for a {run.kind}; leave it out")
        if run.blocks:
            _check_blocks(place, run, faults)
        elif not any(faults.refused(f"{place}.{key}") for key in ("station", "blocks")):
            _check_stations(place, run, faults)
    faults.names("grades.run", {i: run.name for i, run in enumerate(survey.runs) if run.name})
    for name in keys_of(type(survey.limits)):
        limit = getattr(survey.limits, name)
        if limit is not None and not limit.default:
            faults.complete(limit, f"grades.limits.{name}")


def _check_outlet(place: str, run: Run, labels: Sequence[str], faults: Faults) -> None:
    """A header leads away from an outlet that is there, a trench may; nothing else does."""
    if run.kind not in ("header", "trench"):
        if run.outlet is not None and run.kind is not None:
            faults.tell(f"{place}.outlet has no meaning for a {run.kind}; leave it out")
    elif run.outlet is None:
        if run.kind == "header":
            fault = f'{place} has no outlet; add the label of its outlet, as outlet = "1"'
            faults.tell(fault, f"{place}.outlet")
    elif run.outlet not in labels and labels:
        hint = did_you_mean(run.outlet, labels)
        faults.tell(f"{place}.outlet is {show(run.outlet)}, which is no outlet; {hint}")


def _check_plan(plan: Plan, capped: Mapping[str, bool], faults: Faults) -> None:
    """Tell what does not fit in a plan; capped: each outlet by its label."""
    if plan.by == "rod":
        names = ("tank_outlet", "box_inlet", "tank_ground", "box_ground")
        heights = {name: getattr(plan, name) for name in names}
        for number, line in enumerate(plan.lines, start=1):
            heights[f"line[{number}].bottom"] = line.bottom
            heights |= {f"line[{number}].ground[{i}]": g for i, g in enumerate(line.ground, 1)}
        for name, height in heights.items():
            if height is not None and not 0 <= height <= _MOST_ROD:
                faults.tell(
                    f"plan.{name} is {height:g} m; a rod reading is between 0 and {_MOST_ROD:g} m: "
                    'check its unit, or write by = "elevation" under [plan]'
                )
    elif plan.benchmark_rod is not None and plan.benchmark is None:
        fault = 'plan has a benchmark_rod and no benchmark; add benchmark = "100 ft"'
        faults.tell(fault, "plan.benchmark")
    for number, line in enumerate(plan.lines, start=1):
        place = f"plan.line[{number}]"
        if faults.complete(line, place) and capped.get(line.outlet, True):
            hint = "is capped; leave it out" if line.outlet in capped else (
                f"is no outlet; {did_you_mean(line.outlet, capped)}")  # fmt: skip
            faults.tell(f"{place}.outlet is {show(line.outlet)}, which {hint}")
    named = {i: line.outlet for i, line in enumerate(plan.lines) if line.outlet}
    faults.names("plan.line", named, "outlet")


def _check_blocks(place: str, run: Run, faults: Faults) -> None:
    """Blocks go with the length of their level, and with no stations."""
    if run.level is None:
        fault = f'{place} has blocks and no level; add its length, as level = "4 ft"'
        faults.tell(fault, f"{place}.level", "grades.level")
    elif run.every is not None and run.every < run.level:
        faults.tell(f"{place}.every is less than the length of the level; leave it out")
    if run.stations:
        faults.tell(f"{place} has both blocks and stations; write it as two runs")


def _check_stations(place: str, run: Run, faults: Faults) -> None:
    """Stations are read, in one of two ways, and listed as the water goes."""
    if len(run.stations) < 2:
        count = "1 station" if len(run.stations) == 1 else "no stations"
        faults.tell(f"{place} has {count}; a fall takes at least two")
        return
    kinds = {"rod" if s.rod else "elevation" for s in run.stations if s.rod or s.elevation}
    if len(kinds) == 2:
        faults.tell(f"{place} has both rod readings and elevations; write it in one of them")
    for number, station in enumerate(run.stations, start=1):
        here = f"{place}.station[{number}]"
        if station.at is None:
            faults.tell(f'{here} has no distance; add at = "4 ft"', f"{here}.at")
        if station.rod and station.elevation:
            faults.tell(f"{here} has both rod and elevation; keep the one that was read")
        if not station.heights:
            fault = f'{here} was not read; add rod = "60-1/8 in", or leave the station out'
            faults.tell(fault, f"{here}.rod", f"{here}.elevation")
    if any(station.at is None or not station.heights for station in run.stations):
        return
    for number, (before, after) in enumerate(pairwise(run.stations), start=2):
        if after.at <= before.at:
            faults.tell(
                f"{place}.station[{number}].at is not beyond the station before it; list them "
                "the way the water runs"
            )


def _works(file: ScenarioFile, outlets: Sequence[OutletTable], faults: Faults) -> Works:
    """Make the works of a site; what has a fault is told and left out.

    outlets: With what they take from [insert].
    """
    pump = file.pump
    if pump and pump.rate is None and not pump.curve and pump.volume is not None:
        fault, pump = 'pump has no rate; add rate = "30 gpm", or its curve', None
        faults.tell(fault, "pump.rate", "pump.curve")
    headers = tuple(_header(file, outlets, index, faults) for index in range(len(outlets)))
    trenches = tuple(_trench(file, outlets, index, faults) for index in range(len(outlets)))
    return Works(
        people=file.house.people,
        tank=faults.made(file.tank, _tank, "tank"),
        supply=faults.made(file.supply, lambda table: SupplyPipe(**vars(table)), "supply"),
        pump=faults.made(pump, _pump, "pump"),
        siphon=faults.made(file.siphon, _siphon, "siphon"),
        headers=headers if any(headers) else (),
        trenches=trenches if any(trenches) else (),
    )


def _tank(table: TankTable) -> Tank:
    unknown = CLEAN_FILTER_LOSS if table.clogged else 0.0
    return Tank(
        area=plan_area(table.inside),
        outlet=table.outlet,
        filter_loss=unknown if table.filter_loss is None else table.filter_loss,
        clogged=table.clogged,
    )


def _pump(table: PumpTable) -> Pump:
    pump = Pump(**vars(table))
    pump.dose()  # raises where the pump cannot give one
    return pump


def _siphon(table: SiphonTable) -> Siphon:
    given = _said(table)
    siphon = Siphon(area=plan_area(given.pop("inside")), **given)
    siphon.dose()  # raises where the siphon cannot give one
    return siphon


def _header(
    file: ScenarioFile, outlets: Sequence[OutletTable], index: int, faults: Faults
) -> SupplyPipe | None:
    outlet, fall = outlets[index], outlets[index].header_fall
    table = own_or(outlet.header, file.header)
    if table is None or (table.length is None and table.diameter is None):
        return None
    complete = faults.complete(table, "header", f"outlet[{index + 1}].header")
    if not complete or (fall is not None and fall <= 0.0):
        return None
    return SupplyPipe(**vars(table), fall=DEFAULT_FALL if fall is None else fall)


def _trench(
    file: ScenarioFile, outlets: Sequence[OutletTable], index: int, faults: Faults
) -> Trench | None:
    outlet, own = outlets[index], f"outlet[{index + 1}].trench"
    if outlet.feeds is not None:
        if outlet.trench is not None:
            faults.tell(f"{own} is of an outlet that feeds another box; leave one of them out")
        return None
    table = own_or(outlet.trench, file.trench)
    places = (own, "trench") if outlet.trench else ("trench",)
    if table is None or not faults.complete(table, *places):
        return None
    length = outlet.line_length
    if length is None and outlet.line_area is not None:
        length = outlet.line_area / table.width
    if length is None:
        place = f"outlet[{index + 1}]"
        fault = f'{place} has no line_length; its trench needs it, add line_length = "60 ft"'
        faults.tell(fault, f"{place}.line_length")
        return None
    return faults.made(table, lambda table: _trench_of(table, length), *places)


def _trench_of(table: TrenchTable, length: float) -> Trench:
    given = _said(table)
    pipe = given.pop("pipe", 0.5 * table.depth)
    return Trench(**{"water_table": -math.inf, "length": length, "pipe_height": pipe} | given)


def _said(table: object) -> dict[str, Any]:
    """What a table says, by its keys."""
    return {name: value for name, value in vars(table).items() if value is not None}
