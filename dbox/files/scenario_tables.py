"""The tables of a scenario file whose shape is not that of the object made of them.

Every key is optional here, so that one fault does not hide another: what must be there, and how the
tables fit together, is looked at in `scenario`. Of the openings, `circle` and `pipe` have a
diameter, `notch` an angle and `slot` a width, and a height where it is closed on top.
"""

from dataclasses import dataclass
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork.evidence import Evidence, OutletEvidence, Prior
from dbox.fieldwork.site import Box, JobRecord, Tolerance
from dbox.fieldwork.survey import Survey
from dbox.files.evidence_keys import priors
from dbox.files.pour_keys import PourTable
from dbox.files.read_tables import schema_of
from dbox.files.surge_keys import (
    HeaderTable,
    HouseTable,
    PumpTable,
    SiphonTable,
    SupplyTable,
    TankTable,
    TrenchTable,
)
from dbox.hydraulics.openings import KINDS
from dbox.keys import TEXT, VALUES, key, length, limited, line, one_of, reads, several

UNITS = ("in", "mm", "cm")
POINTS = ("lip", "centre", "top")
STATES = ("open", "capped")
TARGETS = ("equal", "length", "area")


SIZES = tuple(dict.fromkeys(size for each in KINDS.values() for size in each.sizes()))
"""Every size of an opening."""


@reads(VALUES, bare=True, unit="m")
def _place(value: object, bare_unit: str | None) -> tuple[float, float]:
    """Read a place: along the inlet direction, across it."""
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the distances along and across, as ["16 in", "4 in"]'
        )
    along, across = keys.each(value, lambda item: keys.place(item, bare_unit))
    return along, across


@reads({"enum": list(POINTS)}, words=POINTS)
def point(value: object) -> str:
    """Read the point of the hole that was read, in either spelling."""
    return "centre" if value == "center" else keys.choice(value, POINTS)


@reads({"anyOf": [{"enum": list(TARGETS)}, {"type": "array", "items": {"type": "number"}}]})
def _by(value: object) -> str | tuple[float, ...]:
    """Read the target: a word, or one number per outlet."""
    return keys.each(value, keys.weight) if isinstance(value, list) else keys.choice(value, TARGETS)


@reads({"type": "object", "additionalProperties": TEXT})
def _flows(value: object) -> dict[str, float]:
    """Read the named flows, all faults at once."""
    wanted = '[flows] and under it names, as pour = "5 gpm"'
    return keys.by_name(value, wanted, lambda name, q: (keys.label(name), keys.flow_rate(q)))


@dataclass(frozen=True, kw_only=True)
class InsertTable:
    """The opening of every outlet; an outlet may override any of these keys."""

    kind: str | None = key(one_of(KINDS), "What the opening is.", "circle")
    diameter: float | None = key(
        keys.size, "Diameter of a circle, inside diameter of a pipe.", "2 in"
    )
    angle: float | None = key(keys.notch_angle, "Full angle of a notch.", "90 deg")
    width: float | None = key(keys.size, "Width of a slot.", "1-1/2 in")
    height: float | None = key(
        keys.size, "Height of a slot that is closed on top; absent: open.", "2 in"
    )
    offset: float | None = key(
        keys.offset,
        "Centre of a round hole from the centre of its pipe; absent or 0: cannot be turned.",
        "1/2 in",
    )
    header_fall: float | None = key(
        limited(units.grade, -0.5, 1.0, "a header falls by 100 % of its length at most"),
        "Fall of the header beyond a bare pipe end.",
        "1/8 in/ft",
        "1 %",
    )
    coefficient: float | None = key(
        keys.coefficient, "Discharge coefficient; absent: the published law of the opening.", 0.6
    )


@dataclass(frozen=True, kw_only=True)
class ReadingsTable:
    """How the readings were taken."""

    point: str | None = key(
        point, "Point of the hole whose height over still water was read; absent: lip.", "lip"
    )
    spread: float | None = key(keys.spread, "One standard deviation of one reading.", "1/32 in")
    hold_back: tuple[float, float] | None = key(
        keys.hold_back,
        "How far water stands over a dry lip before it starts to run, least and most; "
        'absent: 1 to 4 mm (judgement), "0 in": not at all.',
        ["1 mm", "4 mm"],
        "0 in",
    )
    coefficient_spread: float | None = key(
        keys.coefficient_spread,
        "One standard deviation of the discharge coefficient at 5 mm of head, shared by all equal "
        "openings and fading as the head grows; absent: none.",
        "5 %",
    )
    rim: float | None = key(
        keys.depth,
        "Height over still water of the lowest place where water could leave the box other than "
        "by the outlets.",
        "6 in",
    )
    placeholder: bool | None = key(
        keys.flag,
        "Whether the readings of the outlets only show where yours go; nothing is computed from "
        "them then.",
        True,
    )


@dataclass(frozen=True, kw_only=True)
class OutletTable(InsertTable):
    """One outlet, numbered clockwise from the inlet as seen from above."""

    label: str = key(
        keys.label,
        "What the line is called on site; absent: its number in the file.",
        "1",
        default="",
    )
    at: tuple[float, float] | None = key(
        _place,
        "Place of the outlet from the inlet wall's left corner, looking the way the water comes: "
        "along, then across.",
        ["16 in", "4 in"],
    )
    reading: tuple[float, ...] = key(
        several(keys.reading, keys.MOST_REPEATS),
        "Height of the point over still water, + above it; a list where it was read more than "
        "once; absent: not measured.",
        "1/8 in",
        ["1/8 in", "3/16 in"],
        default=(),
    )
    clock: float | None = key(
        keys.clock,
        "Where the hole stands now, as seen from inside the box; 6:00 is straight down.",
        "6:00",
    )
    line_length: float | None = key(
        length(0.1, 1000.0, "a line is between 0.1 m and 1000 m long"),
        "Length of the line that this outlet feeds.",
        "60 ft",
    )
    line_area: float | None = key(
        limited(units.area, 0.1, 1e4, "the bottom of a trench is between 0.1 m2 and 10,000 m2"),
        "Bottom area of the trench that this outlet feeds.",
        "180 ft2",
    )
    state: str | None = key(
        one_of(STATES), "Whether the outlet is closed on purpose; absent: open.", "open"
    )
    header: HeaderTable | None = key(HeaderTable, "Where its header differs from [header].")
    trench: TrenchTable | None = key(TrenchTable, "Where its trench differs from [trench].")
    evidence: OutletEvidence | None = key(OutletEvidence, "What was seen of it, for a diagnosis.")

    @property
    def capped(self) -> bool:
        """Whether it is closed on purpose."""
        return self.state == "capped"


@dataclass(frozen=True, kw_only=True)
class TargetTable:
    """What each line ought to get."""

    by: str | tuple[float, ...] = key(
        _by,
        "Equal shares, by line_length, by line_area, or a list of one number per outlet; "
        "absent: equal.",
        "equal",
        [2, 1, 1],
        default="equal",
    )


@dataclass(frozen=True, kw_only=True)
class ScenarioFile:
    """A box as measured. Lengths and flows are text with a unit; bare lengths are in `units`."""

    title: str = key(line, "What the job is called.", "Five outlets, north field", default="")
    units: str | None = key(one_of(UNITS), "Unit of bare lengths.", "in")
    box: Box = key(Box, "The box itself.", default=Box())
    insert: InsertTable = key(InsertTable, "The opening of every outlet.", default=InsertTable())
    readings: ReadingsTable = key(
        ReadingsTable, "How the readings were taken.", default=ReadingsTable()
    )
    outlet: tuple[OutletTable, ...] = key(
        OutletTable, "The outlets, clockwise from the inlet.", many=True, default=()
    )
    flows: dict[str, float] | None = key(
        _flows,
        "Steady flows to compute, by name; cases come in this order.",
        {"trickle": "0.5 gpm", "pour": "5 gal in 60 s", "dose": "30 gpm"},
    )
    target: TargetTable = key(TargetTable, "What each line ought to get.", default=TargetTable())
    tolerance: Tolerance | None = key(Tolerance, "How far a share may be from its target.")
    grades: Survey | None = key(Survey, "Rod readings along the pipes.")
    pour: tuple[PourTable, ...] = key(
        PourTable, "Pours of clean water, planned or done.", many=True, default=()
    )
    record: JobRecord = key(
        JobRecord, "What the paper of the job says besides.", default=JobRecord()
    )
    house: HouseTable = key(HouseTable, "The house that the tank serves.", default=HouseTable())
    tank: TankTable | None = key(TankTable, "The septic tank.")
    supply: SupplyTable | None = key(SupplyTable, "The gravity pipe from the tank to the box.")
    pump: PumpTable | None = key(PumpTable, "A dosing pump.")
    siphon: SiphonTable | None = key(SiphonTable, "A dosing siphon.")
    header: HeaderTable | None = key(HeaderTable, "The pipe from each outlet to its trench.")
    trench: TrenchTable | None = key(TrenchTable, "The trench of every line.")
    evidence: Evidence = key(Evidence, "What was seen of a system in trouble.", default=Evidence())
    priors: tuple[Prior, ...] = key(
        priors, "How common a cause is taken to be, by its key.", {"tilt": 20}, default=()
    )


HOMES = {
    "box": Box,
    "insert": InsertTable,
    "readings": ReadingsTable,
    "outlet": OutletTable,
    "target": TargetTable,
    "tolerance": Tolerance,
}
"""Tables that a key which stands in the wrong one is sought in."""


def schema() -> dict[str, Any]:
    """JSON Schema of the scenario file: every key with its description and examples.

    >>> schema()["required"]
    ['outlet']
    """
    dialect = "https://json-schema.org/draft/2020-12/schema"
    return {"$schema": dialect} | schema_of(ScenarioFile) | {"required": ["outlet"]}
