"""The tables of a scenario file whose shape is not that of the object made of them.

Every key is optional here, so that one fault does not hide another: what must be there, and how the
tables fit together, is looked at in `scenario`. Of the openings, `circle` and `pipe` have a
diameter, `notch` an angle and `slot` a width, and a height where it is closed on top.
"""

import re
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, did_you_mean, show
from dbox.fieldwork.diagnosis.causes import KEYS, PRIOR_KEYS
from dbox.fieldwork.evidence import WORDED, Evidence, OutletEvidence, Prior, Sign
from dbox.fieldwork.site import Box, JobRecord, Tolerance
from dbox.fieldwork.survey import Plan, Survey
from dbox.fieldwork.ties import Ties
from dbox.files.pour_keys import PourTable
from dbox.files.read_tables import schema_of
from dbox.hydraulics.openings import KINDS
from dbox.hydraulics.surge.parts import SOIL_STATES
from dbox.keys import TEXT, VALUES, key, length, limited, line, one_of, reads, several
from dbox.units import UnclearError, clean, read_alone

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


def _prior(cause: str, written: object) -> tuple[str, float]:
    if cause not in PRIOR_KEYS:
        raise ScenarioError(f"is no cause; {did_you_mean(cause, PRIOR_KEYS)}")
    return cause, keys.weight(written)


@reads({"type": "object", "additionalProperties": {"type": "number"}})
def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""
    found = keys.by_name(value, "[priors] and under it causes, as tilt = 20", _prior)
    return tuple(Prior(cause, common) for cause, common in found.items())


def _sign(kind: str, written: object) -> tuple[str, list[Sign]]:
    weighed = [name for name, each in WORDED.items() if each.usual]
    if kind not in weighed:
        raise ScenarioError(f"has no chances of its own; {did_you_mean(kind, weighed)}")
    words = WORDED[kind].words

    def chances(cause: str, value: object) -> tuple[str, tuple[float, ...]]:
        if cause not in (*KEYS, "usual"):
            raise ScenarioError(f"is no cause; {did_you_mean(cause, (*KEYS, 'usual'))}")
        listed = keys.each(value, keys.weight) if isinstance(value, list) else []
        if len(listed) != len(words) or not min(listed) > 0:
            raise ScenarioError(
                f"is {show(value)}; write a number above 0 for each of {', '.join(words)}"
            )
        return cause, tuple(each / sum(listed) for each in listed)

    wanted = f"causes, as full = {[1.0] * len(words)}"
    found = keys.by_name(written, wanted, chances)
    return kind, [Sign(kind, cause, row) for cause, row in found.items()]


@reads(
    {
        "type": "object",
        "additionalProperties": {
            "type": "object",
            "additionalProperties": {"type": "array", "items": {"type": "number"}},
        },
    }
)
def signs(value: object) -> tuple[Sign, ...]:
    """Read chances of words by kind and cause, all faults at once."""
    found = keys.by_name(value, "[signs.rod] and under it causes, as full = [0.9, 0.1]", _sign)
    return tuple(sign for rows in found.values() for sign in rows)


ACCEPTANCE_UNITS = {
    **dict.fromkeys(
        ("gpd/ft2", "gal/day/ft2", "gal/ft2/day", "gal/d/ft2", "gal/ft2/d"),
        units.GALLON / units.DAY / units.FOOT**2,
    ),
    **dict.fromkeys(("l/day/m2", "l/m2/day", "l/d/m2", "l/m2/d"), units.LITRE / units.DAY),
    **dict.fromkeys(("mm/day", "mm/d"), 1e-3 / units.DAY),
    **dict.fromkeys(("cm/day", "cm/d"), 1e-2 / units.DAY),
    **dict.fromkeys(("in/day", "in/d"), units.INCH / units.DAY),
    "m/s": 1.0,
}
"""Volume a day through an area of soil. [m/s]"""

_RATE = re.compile(r"([^a-z]+)([a-z].*)")


def _soil_rate(value: object) -> float:
    """Read the rate at which soil takes water. [m/s]"""
    if isinstance(value, str) and len(value) <= units.LONGEST_TEXT:
        plain = re.sub(r"\s*(?:/|\bper\b)\s*", "/", clean(value)).replace("sq ft", "ft2")
        match = _RATE.fullmatch(plain)
        with suppress(UnclearError):
            if match and (size := ACCEPTANCE_UNITS.get(match[2].strip())):
                return read_alone(match[1].strip()) * size
    raise ScenarioError(
        f'is {show(value)}; write a rate of the soil, as "0.45 gal/ft2/day" or "18 mm/day"'
    )


read_acceptance = limited(
    _soil_rate, 1e-5 / units.DAY, 10.0 / units.DAY, "soil takes between 0.01 mm and 10 m a day"
)
some_volume = limited(units.volume, 1e-4, 100.0, "this volume is between 0.1 L and 100 m3")
settling = limited(units.length, 0.0, 0.5, "a side of a box sinks by 0 to 500 mm a year")
_pipe_length = length(0.1, 1000.0, "a pipe is between 0.1 m and 1000 m long")
_depth = length(0.01, 5.0, "this depth is between 10 mm and 5 m")
_volume = limited(units.volume, 0.0, 100.0, "this volume is between 0 and 100 m3")


@reads({"type": "integer"})
def read_people(value: object) -> int:
    """Read how many live in a house."""
    if isinstance(value, bool) or not isinstance(value, int) or not 1 <= value <= 100:
        raise ScenarioError(f"is {show(value)}; write a whole number of people, 1 to 100")
    return value


@reads({"type": "array", "items": {"type": "array"}})
def read_curve(value: object) -> tuple[tuple[float, float], ...]:
    """Read a pump's curve: pairs of a rate and a head. [m3/s, m]"""
    wanted = 'write pairs of a rate and a head, as [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]]'
    if not isinstance(value, list) or not 2 <= len(value) <= 50:
        raise ScenarioError(f"is {show(value)}; {wanted}")
    if not all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        raise ScenarioError(f"is {show(value)}; {wanted}")
    rates = keys.each([pair[0] for pair in value], units.flow)
    heads = keys.each([pair[1] for pair in value], units.length)
    if list(rates) != sorted(set(rates)) or list(heads) != sorted(heads, reverse=True):
        raise ScenarioError(f"is {show(value)}; rates must rise from pair to pair and heads fall")
    return tuple(zip(rates, heads, strict=True))


# fmt: off
@dataclass(frozen=True, kw_only=True)
class InsertTable:
    """The opening of every outlet; an outlet may override any of these keys."""

    kind: str | None = key(one_of(KINDS), "What the opening is.", "circle")
    diameter: float | None = key(
        keys.size, "Diameter of a circle, inside diameter of a pipe.", "2 in")
    angle: float | None = key(keys.notch_angle, "Full angle of a notch.", "90 deg")
    width: float | None = key(keys.size, "Width of a slot.", "1-1/2 in")
    height: float | None = key(
        keys.size, "Height of a slot that is closed on top; absent: open.", "2 in")
    offset: float | None = key(
        keys.offset_or_unknown,
        "Centre of a round hole from the centre of its pipe; absent, 0 or "
        '"fixed": cannot be turned; "unknown": it turns, and is set by the rule.',
        "1/2 in", "fixed")
    header_fall: float | None = key(
        limited(units.grade, -0.5, 1.0, "a header falls by 100 % of its length at most"),
        "Fall of the header beyond a bare pipe end.", "1/8 in/ft", "1 %")
    coefficient: float | None = key(
        keys.coefficient, "Discharge coefficient; absent: the published law of the opening.", 0.6)


@dataclass(frozen=True, kw_only=True)
class ReadingsTable:
    """How the readings were taken."""

    point: str | None = key(
        point, "Point of the hole whose height over still water was read; absent: lip.", "lip")
    spread: float | None = key(keys.spread, "One standard deviation of one reading.", "1/32 in")
    mark: float | None = key(
        keys.mark,
        "Finest mark of the rule: the mean of many readings is no better than it leaves them.",
        "1/32 in",
    )
    hand: float | None = key(
        keys.hand, "One standard deviation of a clock position set by hand; absent: 3 deg.", "3 deg"
    )
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
        "by the outlets.", "6 in")
    placeholder: bool | None = key(
        keys.flag,
        "Whether the readings of the outlets only show where yours go; nothing is computed from "
        "them then.", True)


@dataclass(frozen=True, kw_only=True)
class HouseTable:
    """The house that the tank serves."""

    people: int | None = key(read_people, "How many live in the house.", 4)


@dataclass(frozen=True, kw_only=True)
class TankTable:
    """The septic tank, its water standing at the outlet."""

    inside: tuple[float, ...] = key(
        several(keys.side, 2),
        "Inside length and width at the water; one diameter for a round tank.", ["8 ft", "5 ft"],
        needed=True)
    outlet: float = key(
        keys.pipe, "Inside diameter of the outlet pipe behind the tee.", "4 in", needed=True)
    filter_loss: float | None = key(
        limited(units.number, 0.0, 1000.0, "a loss is between 0 and 1000 velocity heads"),
        "Loss of the clean effluent filter, in velocity heads; absent: no filter.", 2)
    clogged: float = key(
        limited(units.percent, 0.0, 0.99, "a filter is clogged by 0 % to 99 %"),
        "How much of the filter is clogged; absent: nothing.", "50 %", default=0.0)


@dataclass(frozen=True, kw_only=True)
class SupplyTable:
    """The gravity pipe from the tank to the box."""

    length: float = key(_pipe_length, "Its length.", "30 ft", needed=True)
    diameter: float = key(keys.pipe, "Its inside diameter.", "4 in", needed=True)
    fall: float = key(
        limited(units.grade, 1e-4, 1.0, "a gravity pipe falls by between 0.01 % and 100 %"),
        "Its fall.", "1/8 in/ft", "1 %", needed=True)


@dataclass(frozen=True, kw_only=True)
class HeaderTable:
    """The pipe from each outlet to its trench; its fall is header_fall of the outlet."""

    length: float = key(_pipe_length, "Its length.", "10 ft", needed=True)
    diameter: float = key(keys.pipe, "Its inside diameter.", "4 in", needed=True)


@dataclass(frozen=True, kw_only=True)
class TrenchTable:
    """The trench of every line; its length is line_length, or line_area over its width."""

    width: float = key(
        length(0.05, 50.0, "a trench is between 50 mm and 50 m wide"), "Width of its bottom.",
        "30 in", needed=True)
    depth: float = key(
        _depth, "Height over its bottom at which water surfaces.", "20 in", needed=True)
    pipe: float | None = key(
        keys.depth, "Height of its pipe's invert over its bottom; absent: half its depth.", "8 in")
    voids: float | None = key(
        limited(units.percent, 0.01, 1.0, "voids are between 1 % and 100 %"),
        "Part of its fill that water can take; absent: 35 %.", "35 %")
    acceptance: float = key(
        read_acceptance, "Long-term rate at which its soil takes water.", "0.45 gal/ft2/day",
        "18 mm/day", needed=True)
    soil: str | None = key(
        one_of(SOIL_STATES),
        "State of its soil; absent: biomat, at which the long-term rate holds.", "biomat")
    water_table: float | None = key(
        length(-50.0, 50.0, "this height is between -50 m and 50 m"),
        "Height of the groundwater over its bottom, negative below it; absent: deep.", "-30 in")
    ponding: float | None = key(keys.depth, "Water in it at the start; absent: none.", "2 in")


@dataclass(frozen=True, kw_only=True)
class PumpTable:
    """A dosing pump: its rate, or its curve with what it must overcome."""

    volume: float = key(_volume, "What it lifts in one dose.", "60 gal", needed=True)
    rate: float | None = key(keys.flow_rate, "Its rate.", "30 gpm")
    curve: tuple[tuple[float, float], ...] = key(
        read_curve, "Its curve, where the rate is not known: pairs of a rate and a head.",
        [["0 gpm", "30 ft"], ["40 gpm", "15 ft"]], default=())
    lift: float = key(
        keys.depth, "Height from the water in its chamber to the box.", "8 ft", default=0.0)
    main_length: float = key(_pipe_length, "Length of its pressure pipe.", "60 ft", default=0.0)
    main_diameter: float = key(
        keys.pipe, "Inside diameter of its pressure pipe.", "2 in", default=0.0)
    drain_back: float = key(
        _volume, "What runs back from the pressure pipe after a dose; absent: nothing.", "3 gal",
        default=0.0)


@dataclass(frozen=True, kw_only=True)
class SiphonTable:
    """A dosing siphon."""

    inside: tuple[float, ...] = key(
        several(keys.side, 2),
        "Inside length and width of its chamber; one diameter for a round one.", ["4 ft", "4 ft"],
        needed=True)
    diameter: float = key(keys.pipe, "Inside diameter of the siphon.", "3 in", needed=True)
    high: float = key(_depth, "Head over its outlet at which it starts.", "24 in", needed=True)
    low: float = key(_depth, "Head over its outlet at which air breaks it.", "9 in", needed=True)
    coefficient: float | None = key(
        keys.coefficient, "Discharge coefficient, all its losses within; absent: 0.6.", 0.6)


@dataclass(frozen=True, kw_only=True)
class OutletTable(InsertTable):
    """One outlet, numbered clockwise from the inlet as seen from above."""

    label: str = key(
        keys.label, "What the line is called on site; absent: its number in the file.", "1",
        default="")
    at: tuple[float, float] | None = key(
        _place,
        "Place of the outlet from the inlet wall's left corner, looking the way the water comes: "
        "along, then across.", ["16 in", "4 in"])
    reading: tuple[float, ...] = key(
        several(keys.reading, keys.MOST_REPEATS),
        "Height of the point over still water, + above it; a list where it was read more than "
        "once; absent: not measured.", "1/8 in", ["1/8 in", "3/16 in"], default=())
    clock: float | None = key(
        keys.clock,
        "Where the hole stands now, as seen from inside the box; 6:00 is straight down.", "6:00")
    line_length: float | None = key(
        length(0.1, 1000.0, "a line is between 0.1 m and 1000 m long"),
        "Length of the line that this outlet feeds.", "60 ft")
    line_area: float | None = key(
        limited(units.area, 0.1, 1e4, "the bottom of a trench is between 0.1 m2 and 10,000 m2"),
        "Bottom area of the trench that this outlet feeds.", "180 ft2")
    feeds: str | None = key(
        line, "Scenario file of the box that this outlet feeds, by its path from this file; "
        "absent: it feeds a line.", "second-box.toml")
    state: str | None = key(
        one_of(STATES), "Whether the outlet is closed on purpose; absent: open.", "open")
    header: HeaderTable | None = key(HeaderTable, "Where its header differs from [header].")
    trench: TrenchTable | None = key(TrenchTable, "Where its trench differs from [trench].")
    evidence: OutletEvidence | None = key(OutletEvidence, "What was seen of it, for a diagnosis.")

    @property
    def capped(self) -> bool:
        """Whether it is closed on purpose."""
        return self.state == "capped"


@dataclass(frozen=True, kw_only=True)
class TargetTable:
    """What each line should get."""

    by: str | tuple[float, ...] | None = key(
        _by, "Equal shares, by line_length, by line_area, or a list of one number per outlet; "
        "absent: equal, with no verdict where lines differ in length.", "equal", [2, 1, 1])


@dataclass(frozen=True, kw_only=True)
class ScenarioFile:
    """A box as measured. Lengths and flows are text with a unit; bare lengths are in `units`."""

    title: str = key(line, "What the job is called.", "Five outlets, north field", default="")
    units: str | None = key(one_of(UNITS), "Unit of bare lengths.", "in")
    box: Box = key(Box, "The box itself.", default=Box())
    insert: InsertTable = key(InsertTable, "The opening of every outlet.", default=InsertTable())
    readings: ReadingsTable = key(
        ReadingsTable, "How the readings were taken.", default=ReadingsTable())
    outlet: tuple[OutletTable, ...] = key(
        OutletTable, "The outlets, clockwise from the inlet.", many=True, default=())
    flows: dict[str, float] | None = key(
        _flows, "Steady flows to compute, by name; cases come in this order.",
        {"trickle": "0.5 gpm", "pour": "5 gal in 60 s", "dose": "30 gpm"})
    target: TargetTable = key(TargetTable, "What each line should get.", default=TargetTable())
    tolerance: Tolerance | None = key(Tolerance, "How far a share may be from its target.")
    plan: Plan | None = key(
        Plan, "The plan before digging: rod readings to aim for; level lips until one is read.")
    grades: Survey | None = key(
        Survey, "Readings along the pipes, by rod, elevation, or level and block.")
    pour: tuple[PourTable, ...] = key(
        PourTable, "Pours of clean water, planned or done.", many=True, default=())
    record: JobRecord = key(
        JobRecord, "What the paper of the job says besides.", default=JobRecord())
    ties: Ties | None = key(Ties, "Distances from two or three fixed points, to find the box by.")
    house: HouseTable = key(HouseTable, "The house that the tank serves.", default=HouseTable())
    tank: TankTable | None = key(TankTable, "The septic tank.")
    supply: SupplyTable | None = key(SupplyTable, "The gravity pipe from the tank to the box.")
    pump: PumpTable | None = key(PumpTable, "A dosing pump.")
    siphon: SiphonTable | None = key(SiphonTable, "A dosing siphon.")
    header: HeaderTable | None = key(HeaderTable, "The pipe from each outlet to its trench.")
    trench: TrenchTable | None = key(TrenchTable, "The trench of every line.")
    evidence: Evidence = key(Evidence, "What was seen of a system in trouble.", default=Evidence())
    priors: tuple[Prior, ...] = key(
        priors, "How common a cause is taken to be, by its key; two_causes: any two at once.",
        {"tilt": 20}, default=())
    signs: tuple[Sign, ...] = key(
        signs, "How often a cause shows each word of a kind, in the order of the words; usual: "
        "where no cause speaks of it.", {"lip": {"deposit": [0.2, 0.8]}}, default=())
# fmt: on


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
