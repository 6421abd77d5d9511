"""Keys of what was seen: `[evidence]`, `evidence` of an outlet and `[priors]`.

As in `measures`: the limits are wide, and what cannot be raises `ScenarioError` with a message that
begins with `is` and ends with the mend.

[evidence]
since_use = "8 h"
at_rest   = "above some lips"
[[outlet]]
evidence  = {mouth = "full", port = "to the pipe", ground = ["head"], rod = "clear"}

A key that is absent was not looked at. A word such as `none`, or an empty list of wet places, was
looked at and is evidence too.
"""

from collections.abc import Callable, Sequence
from typing import Annotated

from pydantic import PlainValidator, WithJsonSchema

from dbox import units
from dbox.errors import ScenarioError, at_place, did_you_mean, key_text, show
from dbox.fieldwork.diagnosis.causes import KEYS
from dbox.fieldwork.evidence import (
    NOTHING_SEEN,
    OUTLET_WORDS,
    PLACES,
    WORDS,
    Evidence,
    OutletEvidence,
    Prior,
)
from dbox.files import scenario_keys
from dbox.files.scenario_keys import TEXT, VALUE, VALUES, Table, key, length, word

MOST_PHOTOS = 100
NOWHERE = "none"
"""Word for a line that was walked and is dry all along."""


def _within(value: object, measure: float, low: float, high: float, limits: str) -> float:
    if not low <= measure <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return measure


def read_since_use(value: object) -> float:
    """Read how long ago water was last used. [s]

    >>> since_use("8 h")
    28800.0
    """
    limits = "water was last used up to a year ago"
    return _within(value, units.duration(value), 0.0, 366 * units.DAY, limits)


def known_since(value: object) -> float:
    """Read for how long a trouble has been known. [s]"""
    limits = "trouble has been known for up to 50 years"
    return _within(value, units.duration(value), 0.0, 50 * 366 * units.DAY, limits)


def read_daily_flow(value: object) -> float:
    """Read what a house sends in a day. [m3/s]"""
    limits = "a house sends between 1 L and 100 m3 a day"
    return _within(value, units.flow(value), 0.001 / units.DAY, 100 / units.DAY, limits)


def read_rim_slope(value: object) -> tuple[float, float]:
    """Read the rise per run of a rim, along the inlet direction and across it. [-]

    >>> rim_slope(["1 %", "-2 %"])
    (0.01, -0.02)
    """
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the rises along and across, as ["0 %", "1/8 in/ft"]'
        )
    along, across = scenario_keys.each(value, _rise)
    return along, across


def _rise(value: object) -> float:
    return _within(value, units.grade(value), -0.5, 0.5, "a rim rises by 50 % at most")


def read_rod_distance(value: object, bare_unit: str | None = None) -> float:
    """Read how far from the box a rod stopped. [m]"""
    metres = units.length(value, bare_unit)
    return _within(value, metres, 0.0, 300.0, "a rod stops between 0 and 300 m from the box")


def read_port_water(value: object, bare_unit: str | None = None) -> float:
    """Read water in a port over the bottom of the pipe, or two depths from one mark. [m]

    >>> port_water("-1 in"), port_water(["31 in", "30 in"])
    (-0.0254, -0.0254)
    """
    limits = "water in a port is less than 5 m from the bottom of the pipe"
    if not isinstance(value, list):
        return _within(value, units.length(value, bare_unit), -5.0, 5.0, limits)
    if len(value) != 2:
        raise ScenarioError(
            f"is a list of {len(value)}; write the depths to the water and to the bottom of the "
            'pipe, as ["31 in", "30 in"]'
        )
    water, pipe = scenario_keys.each(value, lambda item: units.length(item, bare_unit))
    return _within(value, round(pipe - water, 12), -5.0, 5.0, limits)


def read_ground(value: object) -> tuple[str, ...]:
    """Read the wet places over a line; none of them where it was walked and is dry.

    >>> ground(["head", "end"]), ground([]), ground("none")
    (('head', 'end'), (), ())
    """
    listed = value if isinstance(value, list) else [value]
    if listed == [NOWHERE]:
        return ()
    places, faults = [], []
    for index, item in enumerate(listed, start=1):
        try:
            places.append(scenario_keys.choice(item, PLACES))
        except ScenarioError as error:
            place = f"[{index}]" if isinstance(value, list) else ""
            faults.append(at_place(place, str(error)).strip())
    if faults:
        raise ScenarioError(*faults)
    return tuple(dict.fromkeys(places))


def read_photos(value: object) -> tuple[str, ...]:
    """Read the names of photo files."""
    listed = value if isinstance(value, list) else [value]
    if len(listed) > MOST_PHOTOS:
        raise ScenarioError(f"is a list of {len(listed)}; write {MOST_PHOTOS} at most")
    return tuple(scenario_keys.text(item) for item in listed)


def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""
    if not isinstance(value, dict):
        raise ScenarioError(f"is {show(value)}; write [priors] and under it causes, as tilt = 20")
    found, faults = [], []
    for cause, written in value.items():
        try:
            if cause not in KEYS:
                raise ScenarioError(f"is no cause; {did_you_mean(cause, KEYS)}")
            found.append(Prior(cause, scenario_keys.weight(written)))
        except ScenarioError as error:
            faults.append(at_place(f".{key_text(cause)}", str(error)))
    if faults:
        raise ScenarioError(*faults)
    return tuple(found)


PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""

_TWO = WithJsonSchema({"type": "array", "items": {"type": "string"}})
_PLACES = WithJsonSchema(
    {"anyOf": [{"enum": ["none"]}, {"type": "array", "items": {"enum": list(PLACES)}}]}
)
Priors = Annotated[
    tuple[Prior, ...] | None,
    PlainValidator(priors),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "number"}}),
]


class OutletEvidenceTable(Table):
    """What was seen of one outlet, its header and its line; absent: not looked at."""

    cap: Annotated[str | None, *word(OUTLET_WORDS["cap"])] = key(
        "Whether it was found capped, or its line valved off.", "none"
    )
    mouth: Annotated[str | None, *word(OUTLET_WORDS["mouth"])] = key(
        "Water in the mouth of its pipe at rest.", "full"
    )
    lip: Annotated[str | None, *word(OUTLET_WORDS["lip"])] = key(
        "Whether a deposit or a root lies on its lip.", "clean"
    )
    trace: Annotated[str | None, *word(OUTLET_WORDS["trace"])] = key(
        "Traces of use, against the other outlets.", "dusty"
    )
    hole: Annotated[str | None, *word(OUTLET_WORDS["hole"])] = key(
        "Size of its hole, against the others.", "alike"
    )
    port: Annotated[str | None, *word(OUTLET_WORDS["port"])] = key(
        "Water in the inspection port of its line, against the bottom of the pipe.", "dry"
    )
    port_water: Annotated[float | None, length(read_port_water), VALUES] = key(
        "Water in the port over the bottom of the pipe, negative below it; or the depths to the "
        "water and to the bottom of the pipe from one mark.",
        "-1 in",
        ["31 in", "30 in"],
    )
    ground: Annotated[tuple[str, ...] | None, PlainValidator(read_ground), _PLACES] = key(
        "Wet places over the line; an empty list: walked, and all dry.", ["head"], []
    )
    drain_back: Annotated[str | None, *word(OUTLET_WORDS["drain_back"])] = key(
        "What ran back within half an hour of bailing the box below every lip.", "long"
    )
    rod: Annotated[str | None, *word(OUTLET_WORDS["rod"])] = key(
        "What a rod pushed into the header felt.", "hard stop"
    )
    rod_distance: Annotated[float | None, length(read_rod_distance), VALUE] = key(
        "How far from the box the rod stopped.", "6 ft"
    )
    traffic: Annotated[str | None, *word(OUTLET_WORDS["traffic"])] = key(
        "Ruts of wheels over its header.", "none"
    )
    wiped: Annotated[str | None, *word(OUTLET_WORDS["wiped"])] = key(
        "How it ran once its lip was wiped.", "better"
    )
    at_rest: Annotated[float | None, length(scenario_keys.reading), VALUE] = key(
        "Lip over the water as it was found, + above the water.", "-1/8 in"
    )

    def evidence(self) -> OutletEvidence:
        """What was seen; a port that was only measured gets its word."""
        values = self.model_dump()
        if self.port is None and self.port_water is not None:
            values["port"] = "to the pipe" if self.port_water >= 0 else "below the pipe"
        return OutletEvidence(**values)

    def check(self, place: str, fault: Callable[[str], None]) -> None:
        """Refuse a port whose word and whose depths say different things."""
        water = self.port_water
        if water is None or self.port is None:
            return
        agrees = {
            "dry": water < 0,
            "below the pipe": water < PORT_ERROR,
            "to the pipe": water > -PORT_ERROR,
        }
        if not agrees[self.port]:
            side = "over" if water >= 0 else "under"
            fault(
                f'{place}.port is "{self.port}", but its port_water lies {side} the bottom of the '
                "pipe; keep the one that is right"
            )


class EvidenceTable(Table):
    """What was seen of the whole system in trouble; absent: not looked at."""

    system: Annotated[str | None, *word(WORDS["system"])] = key(
        "What kind of system the papers and the people say it is.", "distribution box"
    )
    feed: Annotated[str | None, *word(WORDS["feed"])] = key("How the box is fed.", "gravity")
    season: Annotated[str | None, *word(WORDS["season"])] = key("When the trouble comes.", "winter")
    rain: Annotated[str | None, *word(WORDS["rain"])] = key(
        "What rain has to do with it.", "no matter"
    )
    since_use: Annotated[float | None, PlainValidator(read_since_use), TEXT] = key(
        "Time since water was last used before the box was opened.", "8 h"
    )
    meter: Annotated[str | None, *word(WORDS["meter"])] = key(
        "Water meter with every tap shut.", "still"
    )
    inflow: Annotated[str | None, *word(WORDS["inflow"])] = key(
        "Water coming into the box at rest, and what stops it.", "none"
    )
    tank_level: Annotated[str | None, *word(WORDS["tank_level"])] = key(
        "Level in the tank against its outlet.", "normal"
    )
    tank_outlet: Annotated[str | None, *word(WORDS["tank_outlet"])] = key(
        "Tee or filter at the tank's outlet.", "sound"
    )
    at_rest: Annotated[str | None, *word(WORDS["at_rest"])] = key(
        "Water found in the box against the lips, where it was not measured.", "above some lips"
    )
    rim: Annotated[str | None, *word(WORDS["rim"])] = key(
        "Spirit level on the rim, where its slope was not measured.", "level"
    )
    rim_slope: Annotated[tuple[float, float] | None, PlainValidator(read_rim_slope), _TWO] = key(
        "Rise of the rim along the inlet direction, then across it.", ["0 %", "1/8 in/ft"]
    )
    baffle: Annotated[str | None, *word(WORDS["baffle"])] = key(
        "Baffle, tee or turned-down end of the inlet.", "in place"
    )
    inlet_mouth: Annotated[str | None, *word(WORDS["inlet_mouth"])] = key(
        "Mouth of the inlet at rest.", "clear"
    )
    stain: Annotated[str | None, *word(WORDS["stain"])] = key("Stain over the lips.", "high")
    sludge: Annotated[str | None, *word(WORDS["sludge"])] = key("Sludge in the box.", "none")
    cracks: Annotated[str | None, *word(WORDS["cracks"])] = key("Cracks in the box.", "none")
    ice: Annotated[str | None, *word(WORDS["ice"])] = key("Ice in the box.", "none")
    ground_at_box: Annotated[str | None, *word(WORDS["ground_at_box"])] = key(
        "Ground around the box.", "dry"
    )
    plugged: Annotated[str | None, *word(WORDS["plugged"])] = key(
        "What the level does with every outlet plugged.", "holds"
    )
    photos: Annotated[tuple[str, ...] | None, PlainValidator(read_photos), VALUES] = key(
        "Names of photo files; kept, not looked into.", ["IMG_0231.jpg"]
    )
    daily_flow: Annotated[float | None, PlainValidator(read_daily_flow), TEXT] = key(
        "What the house sends in a day, by its meter.", "300 gal/day"
    )
    since: Annotated[float | None, PlainValidator(known_since), TEXT] = key(
        "For how long the trouble has been known.", "60 days"
    )

    def evidence(self, outlets: Sequence[OutletEvidenceTable | None]) -> Evidence:
        """What was seen of the system and of its outlets."""
        seen = tuple(NOTHING_SEEN if table is None else table.evidence() for table in outlets)
        values = self.model_dump()
        values["photos"] = values["photos"] or ()
        looked = any(each != NOTHING_SEEN for each in seen)
        return Evidence(**values, outlets=seen if looked else ())
