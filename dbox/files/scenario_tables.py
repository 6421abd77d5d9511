"""The tables of a scenario file: every key, with its reader and description.

Every key is optional here, so that one fault does not hide another: what must be there is asked for
in `scenario`, where the keys meet. Values arrive in SI, the readers of `measures` see to that. The
unit of a bare length is passed as validation context.
"""

import datetime
from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema

from dbox import units
from dbox.errors import ScenarioError, at_place, key_text, show
from dbox.fieldwork.site import JobRecord
from dbox.files import scenario_keys
from dbox.files.evidence_keys import EvidenceTable, OutletEvidenceTable, Priors
from dbox.files.grades_keys import GradesTable
from dbox.files.pour_keys import PourTable
from dbox.files.scenario_keys import (
    KINDS,
    TEXT,
    VALUE,
    VALUES,
    Flag,
    Size,
    Table,
    Text,
    bare_unit,
    key,
    length,
    lengths,
    word,
)
from dbox.files.surge_keys import (
    HeaderTable,
    HouseTable,
    PumpTable,
    SiphonTable,
    SupplyTable,
    TankTable,
    TrenchTable,
)

LONGEST_NOTE = 600
"""Characters of one entry."""

MOST_TIES = 12


def _words(value: object) -> str:
    """Read an entry: text, a whole number, or a date as TOML writes it."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**15:
        return str(value)
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    return scenario_keys.text(value, LONGEST_NOTE)


def _ties(value: object) -> tuple[str, ...]:
    """Read one tie or a list of them."""
    ties = value if isinstance(value, list) else [value]
    if not 1 <= len(ties) <= MOST_TIES:
        raise ScenarioError(f"is a list of {len(ties)}; write 1 to {MOST_TIES}")
    return tuple(scenario_keys.text(tie) for tie in ties)


_Words = Annotated[str | None, PlainValidator(_words), VALUE]


class RecordTable(Table):
    """What the paper of the job says besides its numbers; what is absent is left blank on it."""

    permit: _Words = key("Permit number.", "2026-0417")
    address: _Words = key("Where the job is.", "12 Example Road")
    date: _Words = key("Date of the work.", "2026-05-04")
    weather: _Words = key("Weather of the day and the days before.", "dry, 15 C; rain on Sunday")
    who: _Words = key("Who did the work.", "A. Installer, licence 123")
    system: _Words = key("Type of system.", "gravity trenches, equal split")
    bedrooms: _Words = key("Number of bedrooms.", 4)
    feed: _Words = key("How the box is fed.", "gravity from the tank", "pump, 80 gal a dose")
    bedding: _Words = key("What the box stands on.", "4 in of tamped gravel")
    cover: _Words = key("How deep the box lies.", "10 in")
    riser: _Words = key("Riser over the box.", "to grade, 18 in")
    lid: _Words = key("How the lid is fastened.", "two screws")
    seals: _Words = key("Seals of the pipes in the box.", "rubber, all tight")
    north: _Words = key("Where north lies on the sketch.", "along outlet 3")
    benchmark: _Words = key("What the heights are tied to.", "top of the well casing, 100.00 ft")
    ties: Annotated[tuple[str, ...] | None, PlainValidator(_ties), VALUES] = key(
        "Distances of the box from two fixed points at least.",
        ["SE corner of the house 36 ft", "oak 27 ft"],
    )
    method: _Words = key("How the heights at the box were read.", "steel rule from still water")
    photo: _Words = key("Where the photo of the still water with a rule in view is.", "IMG_0231")
    recheck: _Words = key("When the box is looked at again.", "after backfill, by 2026-06-01")
    notes: _Words = key("What else there is to say.", "soil wet below 40 in")
    exceptions: _Words = key("What departs from the permit or the plan.", "none")
    invented: Flag = key("Whether the data are made up; every sheet then says so.", True)

    def record(self) -> JobRecord:
        """The record, blank where a key is absent."""
        return JobRecord(**{k: v for k, v in self.model_dump().items() if v is not None})


UNITS = ("in", "mm", "cm")
SHAPES = ("rectangle", "round")
INLETS = ("straight", "turned down", "tee", "baffle")
POINTS = ("lip", "centre", "top")
STATES = ("open", "capped")
TARGETS = ("equal", "length", "area")


def _place(value: object, info: ValidationInfo) -> tuple[float, float]:
    """Validate a place: along the inlet direction, across it."""
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the distances along and across, as ["16 in", "4 in"]'
        )
    along, across = scenario_keys.each(
        value, lambda item: scenario_keys.place(item, bare_unit(info))
    )
    return along, across


def _point(value: object) -> str:
    """Validate the point of the hole that was read, in either spelling."""
    return "centre" if value == "center" else scenario_keys.choice(value, POINTS)


def _by(value: object) -> str | tuple[float, ...]:
    """Validate the target: a word, or one number per outlet."""
    if isinstance(value, list):
        return scenario_keys.each(value, scenario_keys.weight)
    return scenario_keys.choice(value, TARGETS)


def _flows(value: object) -> dict[str, float]:
    """Validate the named flows, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(
            f'is {show(value)}; write [flows] and under it names, as pour = "5 gpm"'
        )
    flows, faults = {}, []
    for called, written in value.items():
        try:
            name, inflow = scenario_keys.flow_name(called), scenario_keys.flow_rate(written)
            if name in flows:
                raise ScenarioError("has a name that is there already; give each flow its own")
            flows[name] = inflow
        except ScenarioError as error:
            faults.append(at_place(f".{key_text(called)}", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return flows


class BoxTable(Table):
    """The box itself; every key is optional."""

    shape: Annotated[str | None, *word(SHAPES)] = key(
        "Shape of the box as seen from above.", "rectangle"
    )
    inside: Annotated[tuple[float, ...] | None, lengths(scenario_keys.side, 2), VALUES] = key(
        "Inside size: along the inlet direction, then across it; one diameter for a round box.",
        ["16 in", "20 in"],
    )
    inlet: Annotated[str | None, *word(INLETS)] = key("How the inlet ends.", "turned down")
    inlet_drop: Annotated[float | None, length(scenario_keys.drop), VALUE] = key(
        "Height of the inlet's invert over the outlet pipes' inverts.", "2 in"
    )
    sump: Annotated[float | None, length(scenario_keys.depth), VALUE] = key(
        "Height of the outlet pipes' inverts over the floor of the box.", "4 in"
    )


class InsertTable(Table):
    """The opening of every outlet; an outlet may override any of these keys."""

    kind: Annotated[str | None, *word(tuple(KINDS))] = key("What the opening is.", "circle")
    diameter: Size = key("Diameter of a circle, inside diameter of a pipe.", "2 in")
    angle: Annotated[float | None, PlainValidator(scenario_keys.notch_angle), TEXT] = key(
        "Full angle of a notch.", "90 deg"
    )
    width: Size = key("Width of a slot.", "1-1/2 in")
    height: Size = key("Height of a slot that is closed on top; absent: open.", "2 in")
    offset: Annotated[float | None, length(scenario_keys.offset), VALUE] = key(
        "Centre of a round hole from the centre of its pipe; absent or 0: cannot be turned.",
        "1/2 in",
    )
    header_fall: Annotated[float | None, PlainValidator(scenario_keys.header_fall), TEXT] = key(
        "Fall of the header beyond a bare pipe end.", "1/8 in/ft", "1 %"
    )
    coefficient: Annotated[float | None, PlainValidator(scenario_keys.coefficient), VALUE] = key(
        "Discharge coefficient; absent: the published law of the opening.", 0.6
    )


class ReadingsTable(Table):
    """How the readings were taken."""

    point: Annotated[str | None, PlainValidator(_point), WithJsonSchema({"enum": list(POINTS)})] = (
        key("Point of the hole whose height over still water was read; absent: lip.", "lip")
    )
    spread: Annotated[float | None, length(scenario_keys.spread), VALUE] = key(
        "One standard deviation of one reading.", "1/32 in"
    )
    rim: Annotated[float | None, length(scenario_keys.depth), VALUE] = key(
        "Height over still water of the lowest place where water could leave the box other than "
        "by the outlets.",
        "6 in",
    )
    placeholder: Flag = key(
        "Whether the readings of the outlets only show where yours go; nothing is computed from "
        "them then.",
        True,
    )


class OutletTable(InsertTable):
    """One outlet, numbered clockwise from the inlet as seen from above."""

    label: Annotated[str | None, PlainValidator(scenario_keys.flow_name), VALUE] = key(
        "What the line is called on site; absent: its number in the file.", "1"
    )
    at: Annotated[tuple[float, float] | None, PlainValidator(_place), VALUES] = key(
        "Place of the outlet from the inlet wall's left corner, looking the way the water comes: "
        "along, then across.",
        ["16 in", "4 in"],
    )
    reading: Annotated[
        tuple[float, ...] | None, lengths(scenario_keys.reading, scenario_keys.MOST_REPEATS), VALUES
    ] = key(
        "Height of the point over still water, + above it; a list where it was read more than "
        "once; absent: not measured.",
        "1/8 in",
        ["1/8 in", "3/16 in"],
    )
    clock: Annotated[float | None, PlainValidator(units.clock), TEXT] = key(
        "Where the hole stands now, as seen from inside the box; 6:00 is straight down.", "6:00"
    )
    line_length: Annotated[float | None, length(scenario_keys.line_length), VALUE] = key(
        "Length of the line that this outlet feeds.", "60 ft"
    )
    line_area: Annotated[float | None, PlainValidator(scenario_keys.line_area), TEXT] = key(
        "Bottom area of the trench that this outlet feeds.", "180 ft2"
    )
    state: Annotated[str | None, *word(STATES)] = key(
        "Whether the outlet is closed on purpose; absent: open.", "open"
    )
    header: HeaderTable | None = key("Where its header differs from [header].")
    trench: TrenchTable | None = key("Where its trench differs from [trench].")
    evidence: OutletEvidenceTable | None = key("What was seen of it, for a diagnosis.")


class TargetTable(Table):
    """What each line ought to get."""

    by: Annotated[
        str | tuple[float, ...] | None,
        PlainValidator(_by),
        WithJsonSchema(
            {"anyOf": [{"enum": list(TARGETS)}, {"type": "array", "items": {"type": "number"}}]}
        ),
    ] = key(
        "Equal shares, by line_length, by line_area, or a list of one number per outlet; "
        "absent: equal.",
        "equal",
        [2, 1, 1],
    )


class ToleranceTable(Table):
    """How far a share may be from its target, and who says so; there is no general value."""

    share: Annotated[float | None, PlainValidator(scenario_keys.tolerance), TEXT] = key(
        "Allowed difference, in per cent of each line's own target.", "10 %"
    )
    source: Text = key("Who asks for it: the permit, the code section, the inspector.", "permit")


class ScenarioFile(Table):
    """A box as measured. Lengths and flows are text with a unit; bare lengths are in `units`."""

    title: Text = key("What the job is called.", "Five outlets, north field")
    units: Annotated[str | None, *word(UNITS)] = key("Unit of bare lengths.", "in")
    box: BoxTable | None = key("The box itself.")
    insert: InsertTable | None = key("The opening of every outlet.")
    readings: ReadingsTable | None = key("How the readings were taken.")
    outlet: list[OutletTable] | None = key("The outlets, clockwise from the inlet.")
    flows: Annotated[
        dict[str, float] | None,
        PlainValidator(_flows),
        WithJsonSchema({"type": "object", "additionalProperties": {"type": "string"}}),
    ] = key(
        "Steady flows to compute, by name; cases come in this order.",
        {"trickle": "0.5 gpm", "pour": "5 gal in 60 s", "dose": "30 gpm"},
    )
    target: TargetTable | None = key("What each line ought to get.")
    tolerance: ToleranceTable | None = key("How far a share may be from its target.")
    grades: GradesTable | None = key("Rod readings along the pipes.")
    pour: list[PourTable] | None = key("Pours of clean water, planned or done.")
    record: RecordTable | None = key("What the paper of the job says besides.")
    house: HouseTable | None = key("The house that the tank serves.")
    tank: TankTable | None = key("The septic tank.")
    supply: SupplyTable | None = key("The gravity pipe from the tank to the box.")
    pump: PumpTable | None = key("A dosing pump.")
    siphon: SiphonTable | None = key("A dosing siphon.")
    header: HeaderTable | None = key("The pipe from each outlet to its trench.")
    trench: TrenchTable | None = key("The trench of every line.")
    evidence: EvidenceTable | None = key("What was seen of a system in trouble.")
    priors: Priors = key("How common a cause is taken to be, by its key.", {"tilt": 20})


def schema() -> dict[str, Any]:
    """JSON Schema of the scenario file: every key with its description and examples.

    >>> schema()["required"]
    ['outlet']
    """
    described: dict[str, Any] = _without_null(ScenarioFile.model_json_schema())
    dialect = {"$schema": "https://json-schema.org/draft/2020-12/schema"}
    return dialect | described | {"required": ["outlet"]}


def _without_null(part: Any) -> Any:
    """Leave out what only Python needs: TOML has no null, and no key has a default of its own."""
    if isinstance(part, list):
        return [_without_null(item) for item in part if item != {"type": "null"}]
    if not isinstance(part, dict):
        return part
    kept = {key: _without_null(value) for key, value in part.items() if value is not None}
    kept.pop("title" if isinstance(part.get("title"), str) else "", None)
    only = kept.get("anyOf", ())
    return kept | kept.pop("anyOf")[0] if len(only) == 1 else kept
