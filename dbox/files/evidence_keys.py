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
from dataclasses import dataclass

from dbox import keys, units
from dbox.errors import ScenarioError, at_place, did_you_mean, show
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
from dbox.keys import TEXT, VALUES, key, length, limited, one_of, reads, within

MOST_PHOTOS = 100
NOWHERE = "none"
"""Word for a line that was walked and is dry all along."""


read_since_use = limited(
    units.duration, 0.0, 366 * units.DAY, "water was last used up to a year ago"
)
known_since = limited(
    units.duration, 0.0, 50 * 366 * units.DAY, "trouble has been known for up to 50 years"
)
read_daily_flow = limited(
    units.flow, 0.001 / units.DAY, 100 / units.DAY, "a house sends between 1 L and 100 m3 a day"
)
_rise = limited(units.grade, -0.5, 0.5, "a rim rises by 50 % at most")


@reads({"type": "array", "items": TEXT})
def read_rim_slope(value: object) -> tuple[float, float]:
    """Read the rise per run of a rim, along the inlet direction and across it. [-]"""
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the rises along and across, as ["0 %", "1/8 in/ft"]'
        )
    along, across = keys.each(value, _rise)
    return along, across


read_rod_distance = length(0.0, 300.0, "a rod stops between 0 and 300 m from the box")


@reads(VALUES, bare=True, unit="m")
def read_port_water(value: object, bare_unit: str | None) -> float:
    """Read water in a port over the bottom of the pipe, or two depths from one mark. [m]"""
    limits = "water in a port is less than 5 m from the bottom of the pipe"
    if not isinstance(value, list):
        return within(value, units.length(value, bare_unit), -5.0, 5.0, limits)
    if len(value) != 2:
        raise ScenarioError(
            f"is a list of {len(value)}; write the depths to the water and to the bottom of the "
            'pipe, as ["31 in", "30 in"]'
        )
    water, pipe = keys.each(value, lambda item: units.length(item, bare_unit))
    return within(value, round(pipe - water, 12), -5.0, 5.0, limits)


@reads({"anyOf": [{"enum": [NOWHERE]}, {"type": "array", "items": {"enum": list(PLACES)}}]})
def read_ground(value: object) -> tuple[str, ...]:
    """Read the wet places over a line; none of them where it was walked and is dry."""
    listed = value if isinstance(value, list) else [value]
    if listed == [NOWHERE]:
        return ()
    places, faults = [], []
    for index, item in enumerate(listed, start=1):
        try:
            places.append(keys.choice(item, PLACES))
        except ScenarioError as error:
            place = f"[{index}]" if isinstance(value, list) else ""
            faults.append(at_place(place, str(error)).strip())
    if faults:
        raise ScenarioError(*faults)
    return tuple(dict.fromkeys(places))


@reads(VALUES)
def read_photos(value: object) -> tuple[str, ...]:
    """Read the names of photo files."""
    listed = value if isinstance(value, list) else [value]
    if len(listed) > MOST_PHOTOS:
        raise ScenarioError(f"is a list of {len(listed)}; write {MOST_PHOTOS} at most")
    return tuple(keys.text(item) for item in listed)


@reads({"type": "object", "additionalProperties": {"type": "number"}})
def priors(value: object) -> tuple[Prior, ...]:
    """Read weights of causes by key, all faults at once."""

    def read(cause: str, written: object) -> tuple[str, Prior]:
        if cause not in KEYS:
            raise ScenarioError(f"is no cause; {did_you_mean(cause, KEYS)}")
        return cause, Prior(cause, keys.weight(written))

    return tuple(keys.by_name(value, "[priors] and under it causes, as tilt = 20", read).values())


PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class OutletEvidenceTable:
    """What was seen of one outlet, its header and its line; absent: not looked at."""

    cap: str | None = key(
        one_of(OUTLET_WORDS["cap"]), "Whether it was found capped, or its line valved off.", "none"
    )
    mouth: str | None = key(
        one_of(OUTLET_WORDS["mouth"]), "Water in the mouth of its pipe at rest.", "full"
    )
    lip: str | None = key(
        one_of(OUTLET_WORDS["lip"]), "Whether a deposit or a root lies on its lip.", "clean"
    )
    trace: str | None = key(
        one_of(OUTLET_WORDS["trace"]), "Traces of use, against the other outlets.", "dusty"
    )
    hole: str | None = key(
        one_of(OUTLET_WORDS["hole"]), "Size of its hole, against the others.", "alike"
    )
    port: str | None = key(
        one_of(OUTLET_WORDS["port"]),
        "Water in the inspection port of its line, against the bottom of the pipe.",
        "dry",
    )
    port_water: float | None = key(
        read_port_water,
        "Water in the port over the bottom of the pipe, negative below it; or the depths to the "
        "water and to the bottom of the pipe from one mark.",
        "-1 in",
        ["31 in", "30 in"],
    )
    ground: tuple[str, ...] | None = key(
        read_ground, "Wet places over the line; an empty list: walked, and all dry.", ["head"], []
    )
    drain_back: str | None = key(
        one_of(OUTLET_WORDS["drain_back"]),
        "What ran back within half an hour of bailing the box below every lip.",
        "long",
    )
    rod: str | None = key(
        one_of(OUTLET_WORDS["rod"]), "What a rod pushed into the header felt.", "hard stop"
    )
    rod_distance: float | None = key(
        read_rod_distance, "How far from the box the rod stopped.", "6 ft"
    )
    traffic: str | None = key(
        one_of(OUTLET_WORDS["traffic"]), "Ruts of wheels over its header.", "none"
    )
    wiped: str | None = key(
        one_of(OUTLET_WORDS["wiped"]), "How it ran once its lip was wiped.", "better"
    )
    at_rest: float | None = key(
        keys.reading, "Lip over the water as it was found, + above the water.", "-1/8 in"
    )

    def evidence(self) -> OutletEvidence:
        """What was seen; a port that was only measured gets its word."""
        values = dict(vars(self))
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


@dataclass(frozen=True, kw_only=True)
class EvidenceTable:
    """What was seen of the whole system in trouble; absent: not looked at."""

    system: str | None = key(
        one_of(WORDS["system"]),
        "What kind of system the papers and the people say it is.",
        "distribution box",
    )
    feed: str | None = key(one_of(WORDS["feed"]), "How the box is fed.", "gravity")
    season: str | None = key(one_of(WORDS["season"]), "When the trouble comes.", "winter")
    rain: str | None = key(one_of(WORDS["rain"]), "What rain has to do with it.", "no matter")
    since_use: float | None = key(
        read_since_use, "Time since water was last used before the box was opened.", "8 h"
    )
    meter: str | None = key(one_of(WORDS["meter"]), "Water meter with every tap shut.", "still")
    inflow: str | None = key(
        one_of(WORDS["inflow"]), "Water coming into the box at rest, and what stops it.", "none"
    )
    tank_level: str | None = key(
        one_of(WORDS["tank_level"]), "Level in the tank against its outlet.", "normal"
    )
    tank_outlet: str | None = key(
        one_of(WORDS["tank_outlet"]), "Tee or filter at the tank's outlet.", "sound"
    )
    at_rest: str | None = key(
        one_of(WORDS["at_rest"]),
        "Water found in the box against the lips, where it was not measured.",
        "above some lips",
    )
    rim: str | None = key(
        one_of(WORDS["rim"]), "Spirit level on the rim, where its slope was not measured.", "level"
    )
    rim_slope: tuple[float, float] | None = key(
        read_rim_slope,
        "Rise of the rim along the inlet direction, then across it.",
        ["0 %", "1/8 in/ft"],
    )
    baffle: str | None = key(
        one_of(WORDS["baffle"]), "Baffle, tee or turned-down end of the inlet.", "in place"
    )
    inlet_mouth: str | None = key(
        one_of(WORDS["inlet_mouth"]), "Mouth of the inlet at rest.", "clear"
    )
    stain: str | None = key(one_of(WORDS["stain"]), "Stain over the lips.", "high")
    sludge: str | None = key(one_of(WORDS["sludge"]), "Sludge in the box.", "none")
    cracks: str | None = key(one_of(WORDS["cracks"]), "Cracks in the box.", "none")
    ice: str | None = key(one_of(WORDS["ice"]), "Ice in the box.", "none")
    ground_at_box: str | None = key(one_of(WORDS["ground_at_box"]), "Ground around the box.", "dry")
    plugged: str | None = key(
        one_of(WORDS["plugged"]), "What the level does with every outlet plugged.", "holds"
    )
    photos: tuple[str, ...] | None = key(
        read_photos, "Names of photo files; kept, not looked into.", ["IMG_0231.jpg"]
    )
    daily_flow: float | None = key(
        read_daily_flow, "What the house sends in a day, by its meter.", "300 gal/day"
    )
    since: float | None = key(known_since, "For how long the trouble has been known.", "60 days")

    def evidence(self, outlets: Sequence[OutletEvidenceTable | None]) -> Evidence:
        """What was seen of the system and of its outlets."""
        seen = tuple(NOTHING_SEEN if table is None else table.evidence() for table in outlets)
        values = dict(vars(self))
        values["photos"] = values["photos"] or ()
        looked = any(each != NOTHING_SEEN for each in seen)
        return Evidence(**values, outlets=seen if looked else ())
