"""What was seen at a system in trouble: one row for each kind of evidence, all of it optional.

A field of `Evidence` or `OutletEvidence` declares its kind with `seen`: how it is read and asked
for, in which part of a visit, what a look at it costs and, where it is a word, the chance of each
word under each cause. The keys of a scenario, the questions, the forms, the weighing and the next
looks all follow from these rows.

None means "not looked at". A word such as `none`, or an empty tuple, means "looked, and there was
nothing": that is evidence too. Pours are kept with the site.

The chances follow what practice takes to separate one cause from another (common practice, no
source); every number is a judgement, none was counted. `usual` is what is seen where a cause does
not speak of the kind. Kinds without `usual` hang on water and are computed in `visible`.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, replace
from types import MappingProxyType
from typing import Any

from dbox import units
from dbox.errors import ScenarioError, show
from dbox.keys import (
    VALUES,
    Reader,
    choice,
    each,
    key,
    length,
    limited,
    one_of,
    reading,
    reads,
    text,
)

Chances = tuple[float, ...]
PAPERS, WALK, TANK, PORTS, REST, BAILED, POURS, RODS = (
    "The papers and the people",
    "Walk about; nothing is opened yet",
    "The tank, from above",
    "The inspection ports, before any water runs",
    "The open box at rest",
    "Bail the box below every lip, and plug it",
    "Pours of clean water",
    "Rods",
)
PARTS = (PAPERS, WALK, TANK, PORTS, REST, BAILED, POURS, RODS)
"""Parts of a visit, in its order; from `REST` on the box is open."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Kind:
    """A kind of evidence, or a look that brings readings or catches."""

    name: str = ""  # Its key in a scenario.
    of_outlet: bool = False  # Whether each outlet has its own.
    part: str  # Part of the visit.
    turn: int  # Its place within that part.
    said: str = ""  # What it is called where it is told.
    form: str = ""  # What it is called on the sheet to inspect by, where not by its key.
    ask: str = ""  # The question; empty where `look` says it.
    look: str = ""  # What to do for it, where it can be proposed as the next look.
    minutes: float = 0.0  # Effort of that look. [min] (judgement)
    by_line: bool = False  # Whether it is made line by line, each at that effort.
    choices: tuple[str, ...] = ()  # The words that may be typed for it.
    words: tuple[str, ...] = ()  # The words that it is weighed as.
    usual: Chances = ()  # Chance of each word where nothing is said below. [-]
    # Chance under a cause: of the whole system or, for a kind of outlets, at the outlet that the
    # cause sits at. [-]
    under: Mapping[str, Chances] = field(default_factory=dict)
    everywhere: Mapping[str, Chances] = field(default_factory=dict)  # At every outlet. [-]

    @property
    def inside(self) -> bool:
        """Whether the box has to be open for it."""
        return PARTS.index(self.part) >= PARTS.index(REST)

    @property
    def place(self) -> tuple[int, int]:
        """Its place in the order of a visit."""
        return PARTS.index(self.part), self.turn


def seen(
    reader: Reader[Any] | tuple[str, ...], part: str, turn: int, about: str, *examples: object,
    ask: str = "", default: object = None, unit: str = "", words: tuple[str, ...] = (),
    **more: Any,
) -> Any:  # fmt: skip
    """Declare a kind of evidence as a field; `more` are fields of `Kind`."""
    read = one_of(reader) if isinstance(reader, tuple) else reader
    declared = key(read, about, *examples, unit=unit, default=default)
    kind = Kind(
        part=part, turn=turn, ask=ask, choices=read.words, words=words or read.words, **more
    )
    return field(default=default, metadata={**declared.metadata, "kind": kind})


PLACES = ("over the pipe", "head", "middle", "end")
"""Where the ground over a line can be wet: over the header, and along the trench."""

GROUND_WORDS = ("dry", *PLACES, "several")
"""Where the ground over one line is wet, as it is weighed."""

MOST_PHOTOS = 100
"""Photo files of one visit. [-] (judgement)"""


@reads({"type": "array", "items": {"type": "string"}})
def _slopes(value: object) -> tuple[float, float]:
    if not isinstance(value, list) or len(value) != 2:
        raise ScenarioError(
            f'is {show(value)}; write the rises along and across, as ["0 %", "1/8 in/ft"]'
        )
    rise = limited(units.grade, -0.5, 0.5, "a rim rises by 50 % at most")
    along, across = each(value, rise)
    return along, across


@reads(VALUES, bare=True)
def _port_water(value: object, bare_unit: str | None) -> float:
    if not isinstance(value, list):
        over = units.length(value, bare_unit)
    elif len(value) == 2:
        water, pipe = each(value, lambda item: units.length(item, bare_unit))
        over = round(pipe - water, 12)
    else:
        raise ScenarioError(
            f"is a list of {len(value)}; write the depths to the water and to the bottom of the "
            'pipe, as ["31 in", "30 in"]'
        )
    words = "water in a port is less than 5 m from the bottom of the pipe"
    return limited(lambda _: over, -5.0, 5.0, words)(value)


@reads(
    {"anyOf": [{"enum": ["none"]}, {"type": "array", "items": {"enum": list(PLACES)}}]},
    words=("none", *PLACES),
)
def _wet_places(value: object) -> tuple[str, ...]:
    if value in ("none", ["none"]):
        return ()
    if not isinstance(value, list):
        return (choice(value, PLACES),)
    return tuple(dict.fromkeys(each(value, lambda item: choice(item, PLACES))))


@reads(VALUES)
def _photos(value: object) -> tuple[str, ...]:
    listed = value if isinstance(value, list) else [value]
    if len(listed) > MOST_PHOTOS:
        raise ScenarioError(f"is a list of {len(listed)}; write {MOST_PHOTOS} at most")
    return tuple(text(item) for item in listed)


# fmt: off
@dataclass(frozen=True, kw_only=True)
class OutletEvidence:
    """What was seen of one outlet, its header and its line; absent: not looked at."""

    cap: str | None = seen(
        ("none", "capped"), WALK, 2, "Whether it was found capped, or its line valved off.", "none",
        said="cap", look="look for a cap, or a valve shut on the line", minutes=3,
        usual=(0.99, 0.01), under={"capped": (0.06, 0.94)})
    mouth: str | None = seen(
        ("dry", "part full", "full"), REST, 5, "Water in the mouth of its pipe at rest.", "full",
        said="mouth at rest", look="look into every mouth at rest: dry, part full or full",
        minutes=2, usual=(0.88, 0.10, 0.02),
        under={"blocked": (0.04, 0.16, 0.80), "crushed": (0.08, 0.27, 0.65),
               "back_pitched": (0.06, 0.68, 0.26), "deep_block": (0.12, 0.28, 0.60),
               "deposit": (0.80, 0.15, 0.05), "capped": (0.75, 0.10, 0.15)},
        everywhere={"frozen": (0.15, 0.30, 0.55),
                    "overload": (0.35, 0.60, 0.05), "infiltration": (0.50, 0.45, 0.05),
                    "solids": (0.65, 0.30, 0.05)})
    lip: str | None = seen(
        ("clean", "deposit"), REST, 7, "Whether a deposit or a root lies on its lip.", "clean",
        said="lip", form="lip is", look="look at every lip: clean, or a deposit", minutes=4,
        usual=(0.87, 0.13), under={"deposit": (0.08, 0.92), "high": (0.95, 0.05)},
        everywhere={"solids": (0.45, 0.55)})
    trace: str | None = seen(
        ("as the others", "stained", "dusty"), REST, 6, "Traces of use, against the other outlets.",
        "dusty", said="traces of use", form="traces of use",
        look="look for traces of use in every pipe", minutes=3)
    hole: str | None = seen(
        ("alike", "smaller", "larger"), REST, 8, "Size of its hole, against the others.", "alike",
        said="hole", form="hole, against the others",
        look="compare the holes of the outlets", minutes=5)
    port: str | None = seen(
        ("dry", "below the pipe", "to the pipe"), PORTS, 1,
        "Water in the inspection port of its line, against the bottom of the pipe.", "dry",
        said="port of the line", minutes=4, by_line=True,
        look="open the port, if there is one: dry, water below the pipe, or up to it")
    port_water: float | None = seen(
        _port_water, PORTS, 2,
        "Water in the port over the bottom of the pipe, negative below it; or the depths to the "
        "water and to the bottom of the pipe from one mark.", "-1 in", ["31 in", "30 in"], unit="m",
        said="depth of water in the port of the line",
        ask="water in the port over the bottom of the pipe, as -1 in; or the depths to the "
        "water and to the pipe, as 31 in and 30 in")
    # behind a block the header falls away, so what stands in it is below its own lip and stays
    drain_back: str | None = seen(
        ("none", "small", "long"), BAILED, 1,
        "What ran back within half an hour of bailing the box below every lip.", "long",
        said="runs back, box bailed",
        look="bail the box below every lip; watch 10 to 30 min what runs back", minutes=30,
        usual=(0.87, 0.11, 0.02),
        under={"blocked": (0.85, 0.12, 0.03), "crushed": (0.72, 0.24, 0.04),
               "back_pitched": (0.06, 0.88, 0.06), "full": (0.04, 0.13, 0.83),
               "deep_block": (0.14, 0.28, 0.58), "surface_water": (0.52, 0.13, 0.35)},
        everywhere={"all_full": (0.03, 0.12, 0.85), "frozen": (0.75, 0.20, 0.05),
                    "overload": (0.75, 0.20, 0.05)})
    rod: str | None = seen(
        ("clear", "soft stop", "hard stop", "belly"), RODS, 1,
        "What a rod pushed into the header felt.", "hard stop", said="rod in the header",
        look="push a rod into the header: how far, and how it feels", minutes=10, by_line=True,
        usual=(0.92, 0.03, 0.02, 0.03),
        under={"blocked": (0.08, 0.60, 0.27, 0.05), "crushed": (0.10, 0.16, 0.69, 0.05),
               "back_pitched": (0.47, 0.05, 0.02, 0.46), "full": (0.86, 0.06, 0.02, 0.06),
               "deep_block": (0.30, 0.45, 0.22, 0.03),
               "deposit": (0.80, 0.15, 0.02, 0.03), "capped": (0.60, 0.02, 0.36, 0.02)},
        everywhere={"frozen": (0.25, 0.10, 0.60, 0.05), "solids": (0.76, 0.19, 0.02, 0.03),
                    "broken": (0.82, 0.06, 0.07, 0.05)})
    rod_distance: float | None = seen(
        length(0.0, 300.0, "a rod stops between 0 and 300 m from the box"), RODS, 2,
        "How far from the box the rod stopped.", "6 ft", unit="m",
        said="how far from the box the rod stopped",
        ask="how far from the box did the rod stop, as 6 ft?")
    traffic: str | None = seen(
        ("none", "ruts"), WALK, 4, "Ruts of wheels over its header.", "none",
        said="ruts over the line", look="look for ruts over the headers", minutes=3,
        usual=(0.95, 0.05), under={"crushed": (0.30, 0.70)})
    wiped: str | None = seen(
        ("no change", "better"), RODS, 3, "How it ran once its lip was wiped.", "better",
        said="lip wiped, runs", look="wipe the lip and see whether it runs better", minutes=12,
        by_line=True, usual=(0.93, 0.07), under={"deposit": (0.10, 0.90)},
        everywhere={"solids": (0.55, 0.45)})
    ground: tuple[str, ...] | None = seen(
        _wet_places, WALK, 3, "Wet places over the line; an empty list: walked, and all dry.",
        ["head"], [], words=GROUND_WORDS, said="wet ground at the line",
        look="walk every line: wet over the pipe, at its head, middle or end", minutes=5)
    at_rest: float | None = seen(
        reading, REST, 4, "Lip over the water as it was found, + above the water.", "-1/8 in",
        unit="m", said="lips over the water as it was found",
        ask="measure every lip over the water as it is found, + above it, as 1/8 in")


NOTHING_SEEN = OutletEvidence()


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was seen of the whole system in trouble; absent: not looked at."""

    system: str | None = seen(
        ("distribution box", "serial", "drop box", "alternating"), PAPERS, 1,
        "What kind of system the papers and the people say it is.", "distribution box",
        said="the papers say", look="ask which kind of system it is, and whether lines alternate",
        minutes=2, usual=(0.97, 0.005, 0.005, 0.02),
        under={"serial": (0.03, 0.50, 0.45, 0.02), "capped": (0.70, 0.01, 0.01, 0.28)})
    feed: str | None = seen(
        ("gravity", "pump", "siphon"), PAPERS, 2, "How the box is fed.", "gravity",
        said="the box is fed by", ask="ask how the box is fed")
    season: str | None = seen(
        ("all year", "wet season", "winter"), PAPERS, 3, "When the trouble comes.", "winter",
        said="the trouble comes", form="Trouble comes",
        look="ask in which season the trouble comes", minutes=1, usual=(0.80, 0.16, 0.04),
        under={"all_full": (0.30, 0.65, 0.05), "infiltration": (0.25, 0.70, 0.05),
               "frozen": (0.02, 0.03, 0.95), "broken": (0.65, 0.30, 0.05),
               "surface_water": (0.35, 0.61, 0.04), "full": (0.68, 0.28, 0.04)})
    rain: str | None = seen(
        ("no matter", "only after rain"), PAPERS, 4, "What rain has to do with it.", "no matter",
        said="with rain", form="With rain", look="ask whether it comes only after rain",
        minutes=1, usual=(0.87, 0.13),
        under={"all_full": (0.45, 0.55), "infiltration": (0.08, 0.92), "broken": (0.65, 0.35),
               "leak": (0.80, 0.20), "surface_water": (0.12, 0.88), "full": (0.75, 0.25)})
    since_use: float | None = seen(
        limited(units.duration, 0.0, 366 * units.DAY, "water was last used up to a year ago"),
        REST, 1, "Time since water was last used before the box was opened.", "8 h", unit="s",
        ask="how long ago was water last used, as 8 h?")
    meter: str | None = seen(
        ("still", "turning"), WALK, 1, "Water meter with every tap shut.", "still",
        said="water meter, every tap shut", form="Meter, taps shut",
        look="watch the water meter with every tap shut", minutes=4,
        usual=(0.95, 0.05), under={"overload": (0.35, 0.65)})
    inflow: str | None = seen(
        ("none", "stops with the house valve", "runs with the house shut"), REST, 15,
        "Water coming into the box at rest, and what stops it.", "none",
        said="water coming into the box at rest", form="Into the box at rest",
        look="watch the inlet at rest; close the house valve if it runs", minutes=5,
        usual=(0.90, 0.06, 0.04),
        under={"overload": (0.22, 0.72, 0.06), "infiltration": (0.35, 0.05, 0.60),
               "all_full": (0.80, 0.06, 0.14)})
    tank_level: str | None = seen(
        ("normal", "high"), TANK, 1, "Level in the tank against its outlet.", "normal",
        said="level in the tank", form="Level in the tank",
        look="look at the level in the tank, against its outlet", minutes=10, usual=(0.92, 0.08),
        under={"inlet_drop": (0.25, 0.75), "all_full": (0.45, 0.55), "frozen": (0.35, 0.65),
               "overload": (0.75, 0.25), "infiltration": (0.65, 0.35), "solids": (0.82, 0.18),
               "supply_blocked": (0.06, 0.94), "no_dose": (0.12, 0.88)})
    tank_outlet: str | None = seen(
        ("sound", "failed"), TANK, 2, "Tee or filter at the tank's outlet.", "sound",
        said="tee or filter at the tank's outlet", form="Tank outlet, filter",
        look="look at the tee or filter at the tank's outlet", minutes=15, usual=(0.92, 0.08),
        under={"solids": (0.18, 0.82), "deposit": (0.70, 0.30), "supply_blocked": (0.35, 0.65)})
    at_rest: str | None = seen(
        ("below the lowest lip", "at the lowest lip", "above some lips", "above all lips"), REST, 3,
        "Water found in the box against the lips, where it was not measured.", "above some lips",
        said="water in the box at rest", form="Water at rest",
        look="look where the water at rest stands against the lips", minutes=2)
    rim: str | None = seen(
        ("level", "out of level"), REST, 16,
        "Spirit level on the rim, where its slope was not measured.", "level",
        said="spirit level on the rim", look="lay a spirit level on the rim, both ways", minutes=3)
    rim_slope: tuple[float, float] | None = seen(
        _slopes, REST, 17, "Rise of the rim along the inlet direction, then across it.",
        ["0 %", "1/8 in/ft"], said="slope of the rim as measured",
        ask="rise of the rim along the inlet direction, then across it, as 0 %, 1/8 in/ft")
    baffle: str | None = seen(
        ("in place", "missing"), REST, 14, "Baffle, tee or turned-down end of the inlet.",
        "in place", said="baffle or turned-down inlet", form="Baffle or tee",
        look="look for the baffle, or how the inlet ends", minutes=1,
        usual=(0.75, 0.25), under={"jet": (0.05, 0.95)})
    inlet_mouth: str | None = seen(
        ("clear", "in water"), REST, 13, "Mouth of the inlet at rest.", "clear",
        said="mouth of the inlet", form="Mouth of the inlet",
        look="look whether the inlet's mouth stands in water", minutes=1, usual=(0.94, 0.06),
        under={"inlet_drop": (0.10, 0.90), "all_full": (0.40, 0.60), "frozen": (0.50, 0.50)})
    stain: str | None = seen(
        ("none", "high"), REST, 9, "Stain over the lips.", "high",
        said="stain over the lips", form="Stains", look="look for a stain over the lips", minutes=1,
        usual=(0.90, 0.10),
        under={"all_full": (0.25, 0.75), "full": (0.62, 0.38), "overload": (0.65, 0.35),
               "infiltration": (0.65, 0.35), "inlet_drop": (0.60, 0.40), "frozen": (0.72, 0.28)})
    sludge: str | None = seen(
        ("none", "sludge"), REST, 10, "Sludge in the box.", "none",
        said="sludge in the box", look="look for sludge in the box", minutes=2, usual=(0.87, 0.13),
        under={"solids": (0.10, 0.90), "deposit": (0.65, 0.35), "blocked": (0.78, 0.22),
               "full": (0.80, 0.20), "deep_block": (0.75, 0.25)})
    cracks: str | None = seen(
        ("none", "below the lips", "above the lips", "broken through"), REST, 11,
        "Cracks in the box.", "none", said="cracks in the box",
        look="look for cracks in the box, under and over the lips", minutes=4,
        usual=(0.92, 0.03, 0.03, 0.02),
        under={"leak": (0.20, 0.70, 0.03, 0.07), "infiltration": (0.45, 0.12, 0.35, 0.08),
               "broken": (0.08, 0.12, 0.12, 0.68)})
    ice: str | None = seen(
        ("none", "ice"), REST, 12, "Ice in the box.", "none", said="ice", look="look for ice",
        minutes=1, usual=(0.99, 0.01), under={"frozen": (0.12, 0.88)})
    ground_at_box: str | None = seen(
        ("dry", "wet"), WALK, 5, "Ground around the box.", "dry",
        said="ground around the box", form="Ground at the box",
        look="look at the ground around the box", minutes=2, usual=(0.93, 0.07),
        under={"leak": (0.28, 0.72), "broken": (0.35, 0.65), "all_full": (0.70, 0.30),
               "inlet_drop": (0.85, 0.15)})
    plugged: str | None = seen(
        ("holds", "falls"), BAILED, 2, "What the level does with every outlet plugged.", "holds",
        said="level with every outlet plugged", form="All plugged, level",
        look="plug every outlet, fill, and watch the level", minutes=30, usual=(0.95, 0.05),
        under={"leak": (0.06, 0.94), "broken": (0.53, 0.47), "infiltration": (0.80, 0.20)})
    photos: tuple[str, ...] = seen(
        _photos, REST, 2, "Names of photo files; kept, not looked into.", ["IMG_0231.jpg"],
        default=(), ask="names of photo files, with commas between")
    daily_flow: float | None = seen(
        limited(units.flow, 0.001 / units.DAY, 100 / units.DAY,
                "a house sends between 1 L and 100 m3 a day"),
        PAPERS, 6, "What the house sends in a day, by its meter.", "300 gal/day", unit="m3/s",
        ask="what does the house send in a day, by its meter, as 300 gal/day?")
    since: float | None = seen(
        limited(units.duration, 0.0, 50 * 366 * units.DAY,
                "trouble has been known for up to 50 years"),
        PAPERS, 5, "For how long the trouble has been known.", "60 days", unit="s",
        ask="for how long has the trouble been known, as 60 days?")
    # One for each outlet of the site, in its order; empty where none was looked at.
    outlets: tuple[OutletEvidence, ...] = ()

    def of_outlet(self, index: int) -> OutletEvidence:
        """What was seen of one outlet.

        >>> Evidence().of_outlet(3) == NOTHING_SEEN
        True
        """
        return self.outlets[index] if self.outlets else NOTHING_SEEN

    def _told(self, counts: Callable[[Kind], bool]) -> int:
        looked = [(self, SYSTEM_KINDS), *((outlet, OUTLET_KINDS) for outlet in self.outlets)]
        return sum(getattr(holder, kind.name) is not None
                   for holder, kinds in looked for kind in kinds if counts(kind))

    @property
    def box_was_opened(self) -> bool:
        """Whether anything was seen that only an open box shows."""
        return self._told(lambda kind: kind.inside and bool(kind.said)) > 0

    @property
    def count(self) -> int:
        """How many observations there are."""
        return self._told(lambda kind: bool(kind.said) and kind.name != "feed")
# fmt: on


@dataclass(frozen=True)
class Prior:
    """How common a cause is taken to be: the weight that the user gives it. [-]"""

    cause: str
    weight: float


@dataclass(frozen=True)
class Sign:
    """How often a cause shows each word of a kind, by the user; `usual`: where none does. [-]"""

    kind: str
    cause: str
    chances: Chances


def signed(kind: Kind, signs: tuple[Sign, ...]) -> Kind:
    """A kind of evidence with the chances that the user gave it."""
    own = {sign.cause: sign.chances for sign in signs if sign.kind == kind.name}
    if not own:
        return kind
    usual = own.pop("usual", kind.usual)
    return replace(kind, usual=usual, under={**kind.under, **own})


def _kinds(table: type, *, of_outlet: bool) -> tuple[Kind, ...]:
    return tuple(
        replace(f.metadata["kind"], name=f.name, of_outlet=of_outlet)
        for f in fields(table)
        if "kind" in f.metadata
    )


SYSTEM_KINDS = _kinds(Evidence, of_outlet=False)
OUTLET_KINDS = _kinds(OutletEvidence, of_outlet=True)
KINDS = SYSTEM_KINDS + OUTLET_KINDS
"""Every kind of evidence, in the order in which it is told."""

WORDED = MappingProxyType({kind.name: kind for kind in KINDS if kind.words})
"""The kinds that are words, by their keys."""

WORDS = {kind.name: kind.words for kind in SYSTEM_KINDS if kind.words}
"""The words that each observation of the whole system may have."""

OUTLET_WORDS = {kind.name: kind.words for kind in OUTLET_KINDS if kind.words == kind.choices != ()}
"""The words that each observation of one outlet and its line may have."""
