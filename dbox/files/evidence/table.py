"""How is what was seen written in a scenario? The tables `[evidence]` and `evidence` of an outlet.

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

from dbox.fieldwork.records.evidence import (
    NOTHING_SEEN,
    OUTLET_WORDS,
    PLACES,
    WORDS,
    Evidence,
    OutletEvidence,
    Prior,
)
from dbox.files import measures
from dbox.files.evidence import measures as evidence_measures
from dbox.files.keys import TEXT, VALUE, VALUES, Table, key, length, word

PORT_ERROR = 0.013
"""How far a measured port may be from the word given with it. [m] (judgement)"""

_TWO = WithJsonSchema({"type": "array", "items": {"type": "string"}})
_PLACES = WithJsonSchema(
    {"anyOf": [{"enum": ["none"]}, {"type": "array", "items": {"enum": list(PLACES)}}]}
)
Priors = Annotated[
    tuple[Prior, ...] | None,
    PlainValidator(evidence_measures.priors),
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
    port_water: Annotated[float | None, length(evidence_measures.port_water), VALUES] = key(
        "Water in the port over the bottom of the pipe, negative below it; or the depths to the "
        "water and to the bottom of the pipe from one mark.",
        "-1 in",
        ["31 in", "30 in"],
    )
    ground: Annotated[tuple[str, ...] | None, PlainValidator(evidence_measures.ground), _PLACES] = (
        key("Wet places over the line; an empty list: walked, and all dry.", ["head"], [])
    )
    drain_back: Annotated[str | None, *word(OUTLET_WORDS["drain_back"])] = key(
        "What ran back within half an hour of bailing the box below every lip.", "long"
    )
    rod: Annotated[str | None, *word(OUTLET_WORDS["rod"])] = key(
        "What a rod pushed into the header felt.", "hard stop"
    )
    rod_distance: Annotated[float | None, length(evidence_measures.rod_distance), VALUE] = key(
        "How far from the box the rod stopped.", "6 ft"
    )
    traffic: Annotated[str | None, *word(OUTLET_WORDS["traffic"])] = key(
        "Ruts of wheels over its header.", "none"
    )
    wiped: Annotated[str | None, *word(OUTLET_WORDS["wiped"])] = key(
        "How it ran once its lip was wiped.", "better"
    )
    at_rest: Annotated[float | None, length(measures.reading), VALUE] = key(
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
    since_use: Annotated[float | None, PlainValidator(evidence_measures.since_use), TEXT] = key(
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
    rim_slope: Annotated[
        tuple[float, float] | None, PlainValidator(evidence_measures.rim_slope), _TWO
    ] = key("Rise of the rim along the inlet direction, then across it.", ["0 %", "1/8 in/ft"])
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
    photos: Annotated[tuple[str, ...] | None, PlainValidator(evidence_measures.photos), VALUES] = (
        key("Names of photo files; kept, not looked into.", ["IMG_0231.jpg"])
    )
    daily_flow: Annotated[float | None, PlainValidator(evidence_measures.daily_flow), TEXT] = key(
        "What the house sends in a day, by its meter.", "300 gal/day"
    )
    since: Annotated[float | None, PlainValidator(evidence_measures.known_since), TEXT] = key(
        "For how long the trouble has been known.", "60 days"
    )

    def evidence(self, outlets: Sequence[OutletEvidenceTable | None]) -> Evidence:
        """What was seen of the system and of its outlets.

        Parameters
        ----------
        outlets : sequence of OutletEvidenceTable or None
            One for each outlet of the file.

        Returns
        -------
        Evidence
            Without outlets where none was looked at.
        """
        seen = tuple(NOTHING_SEEN if table is None else table.evidence() for table in outlets)
        values = self.model_dump()
        values["photos"] = values["photos"] or ()
        looked = any(each != NOTHING_SEEN for each in seen)
        return Evidence(**values, outlets=seen if looked else ())
