"""Which keys may a scenario file have, and what is each one for? The tables of the file.

Every key is optional here, so that one fault does not hide another: what must be there is asked for
in `scenario`, where the keys meet. Values arrive in SI, the readers of `measures` see to that. The
unit of a bare length is passed as validation context.
"""

from typing import Annotated, Any

from pydantic import PlainValidator, ValidationInfo, WithJsonSchema

from dbox.errors import ScenarioError
from dbox.files import measures, units
from dbox.files.evidence.table import EvidenceTable, OutletEvidenceTable, Priors
from dbox.files.faults import at_place, key_text, show
from dbox.files.grades.table import GradesTable
from dbox.files.inserts import KINDS
from dbox.files.keys import (
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
from dbox.files.pour.table import PourTable
from dbox.files.record_table import RecordTable
from dbox.files.surge.tables import (
    HeaderTable,
    HouseTable,
    PumpTable,
    SiphonTable,
    SupplyTable,
    TankTable,
    TrenchTable,
)

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
    along, across = measures.each(value, lambda item: measures.place(item, bare_unit(info)))
    return along, across


def _point(value: object) -> str:
    """Validate the point of the hole that was read, in either spelling."""
    return "centre" if value == "center" else measures.choice(value, POINTS)


def _by(value: object) -> str | tuple[float, ...]:
    """Validate the target: a word, or one number per outlet."""
    if isinstance(value, list):
        return measures.each(value, measures.weight)
    return measures.choice(value, TARGETS)


def _flows(value: object) -> dict[str, float]:
    """Validate the named flows, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(
            f'is {show(value)}; write [flows] and under it names, as pour = "5 gpm"'
        )
    flows, faults = {}, []
    for called, written in value.items():
        try:
            name, inflow = measures.name(called), measures.inflow(written)
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
    inside: Annotated[tuple[float, ...] | None, lengths(measures.side, 2), VALUES] = key(
        "Inside size: along the inlet direction, then across it; one diameter for a round box.",
        ["16 in", "20 in"],
    )
    inlet: Annotated[str | None, *word(INLETS)] = key("How the inlet ends.", "turned down")
    inlet_drop: Annotated[float | None, length(measures.drop), VALUE] = key(
        "Height of the inlet's invert over the outlet pipes' inverts.", "2 in"
    )
    sump: Annotated[float | None, length(measures.depth), VALUE] = key(
        "Height of the outlet pipes' inverts over the floor of the box.", "4 in"
    )


class InsertTable(Table):
    """The opening of every outlet; an outlet may override any of these keys."""

    kind: Annotated[str | None, *word(tuple(KINDS))] = key("What the opening is.", "circle")
    diameter: Size = key("Diameter of a circle, inside diameter of a pipe.", "2 in")
    angle: Annotated[float | None, PlainValidator(measures.notch_angle), TEXT] = key(
        "Full angle of a notch.", "90 deg"
    )
    width: Size = key("Width of a slot.", "1-1/2 in")
    height: Size = key("Height of a slot that is closed on top; absent: open.", "2 in")
    offset: Annotated[float | None, length(measures.offset), VALUE] = key(
        "Centre of a round hole from the centre of its pipe; absent or 0: cannot be turned.",
        "1/2 in",
    )
    header_fall: Annotated[float | None, PlainValidator(measures.header_fall), TEXT] = key(
        "Fall of the header beyond a bare pipe end.", "1/8 in/ft", "1 %"
    )
    coefficient: Annotated[float | None, PlainValidator(measures.coefficient), VALUE] = key(
        "Discharge coefficient; absent: the published law of the opening.", 0.6
    )


class ReadingsTable(Table):
    """How the readings were taken."""

    point: Annotated[str | None, PlainValidator(_point), WithJsonSchema({"enum": list(POINTS)})] = (
        key("Point of the hole whose height over still water was read; absent: lip.", "lip")
    )
    spread: Annotated[float | None, length(measures.spread), VALUE] = key(
        "One standard deviation of one reading.", "1/32 in"
    )
    rim: Annotated[float | None, length(measures.depth), VALUE] = key(
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

    label: Annotated[str | None, PlainValidator(measures.name), VALUE] = key(
        "What the line is called on site; absent: its number in the file.", "1"
    )
    at: Annotated[tuple[float, float] | None, PlainValidator(_place), VALUES] = key(
        "Place of the outlet from the inlet wall's left corner, looking the way the water comes: "
        "along, then across.",
        ["16 in", "4 in"],
    )
    reading: Annotated[
        tuple[float, ...] | None, lengths(measures.reading, measures.MOST_REPEATS), VALUES
    ] = key(
        "Height of the point over still water, + above it; a list where it was read more than "
        "once; absent: not measured.",
        "1/8 in",
        ["1/8 in", "3/16 in"],
    )
    clock: Annotated[float | None, PlainValidator(units.clock), TEXT] = key(
        "Where the hole stands now, as seen from inside the box; 6:00 is straight down.", "6:00"
    )
    line_length: Annotated[float | None, length(measures.line_length), VALUE] = key(
        "Length of the line that this outlet feeds.", "60 ft"
    )
    line_area: Annotated[float | None, PlainValidator(measures.line_area), TEXT] = key(
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

    share: Annotated[float | None, PlainValidator(measures.tolerance), TEXT] = key(
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
