"""What was seen at a system in trouble; everything optional, in the order of a visit.

Pours are kept with the site.

None means "not looked at". A word such as `none`, or an empty tuple, means "looked, and there was
nothing": that is evidence too. Nothing here computes.
"""

from dataclasses import dataclass, fields

SYSTEMS = ("distribution box", "serial", "drop box", "alternating")
FEEDS = ("gravity", "pump", "siphon")
WORDS = {
    "system": SYSTEMS,
    "feed": FEEDS,
    "season": ("all year", "wet season", "winter"),
    "rain": ("no matter", "only after rain"),
    "meter": ("still", "turning"),
    "inflow": ("none", "stops with the house valve", "runs with the house shut"),
    "tank_level": ("normal", "high"),
    "tank_outlet": ("sound", "failed"),
    "at_rest": ("below the lowest lip", "at the lowest lip", "above some lips", "above all lips"),
    "rim": ("level", "out of level"),
    "baffle": ("in place", "missing"),
    "inlet_mouth": ("clear", "in water"),
    "stain": ("none", "high"),
    "sludge": ("none", "sludge"),
    "cracks": ("none", "below the lips", "above the lips", "broken through"),
    "ice": ("none", "ice"),
    "ground_at_box": ("dry", "wet"),
    "plugged": ("holds", "falls"),
}
"""The words that each observation of the whole system may have."""

OUTLET_WORDS = {
    "cap": ("none", "capped"),
    "mouth": ("dry", "part full", "full"),
    "lip": ("clean", "deposit"),
    "trace": ("as the others", "stained", "dusty"),
    "hole": ("alike", "smaller", "larger"),
    "port": ("dry", "below the pipe", "to the pipe"),
    "drain_back": ("none", "small", "long"),
    "rod": ("clear", "soft stop", "hard stop", "belly"),
    "traffic": ("none", "ruts"),
    "wiped": ("no change", "better"),
}
"""The words that each observation of one outlet and its line may have."""

PLACES = ("over the pipe", "head", "middle", "end")
"""Where the ground over a line can be wet: over the header, and along the trench."""


@dataclass(frozen=True, kw_only=True)
class OutletEvidence:
    """What was seen of one outlet, its header and its line; None where not looked at."""

    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    cap: str | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    mouth: str | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    lip: str | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    trace: str | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    hole: str | None = None
    # Water in the inspection port of its line, against the bottom of the pipe.
    port: str | None = None
    # The same as a height over the bottom of the pipe, where both depths were taken. [m]
    port_water: float | None = None
    # Wet places over the line, words of `PLACES`; empty: walked, and all dry.
    ground: tuple[str, ...] | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    drain_back: str | None = None
    rod: str | None = None  # What a rod pushed into the header felt.
    rod_distance: float | None = None  # How far from the box it stopped. [m]
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    traffic: str | None = None
    # Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
    # rest; a deposit on its lip; traces of use, more or less than at the others; size of its hole
    # against theirs; what ran back within half an hour of bailing the box below every lip; ruts
    # over its header; whether it ran better once its lip was wiped.
    wiped: str | None = None
    at_rest: float | None = None  # Lip over the water as it was found, + above it. [m]


NOTHING_SEEN = OutletEvidence()


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was seen of the whole system; None where not looked at."""

    system: str | None = None  # What the papers and the people of the house say.
    feed: str | None = None  # What the papers and the people of the house say.
    season: str | None = None  # What the papers and the people of the house say.
    rain: str | None = None  # What the papers and the people of the house say.
    since_use: float | None = None  # Time since water was last used before the box was opened. [s]
    # Water meter with every tap shut; water coming into the box at rest, and what stops it.
    meter: str | None = None
    # Water meter with every tap shut; water coming into the box at rest, and what stops it.
    inflow: str | None = None
    # Level in the tank against its outlet; the outlet's tee or filter.
    tank_level: str | None = None
    # Level in the tank against its outlet; the outlet's tee or filter.
    tank_outlet: str | None = None
    # Level found in the box, against the lips, where it was not measured.
    at_rest: str | None = None
    rim: str | None = None  # Whether the rim of the box is level, where it was not measured.
    # Rise per run of the rim along the inlet direction and across it. [-]
    rim_slope: tuple[float, float] | None = None
    # What is seen in the open box; a stain that is high is over the lips.
    baffle: str | None = None
    # What is seen in the open box; a stain that is high is over the lips.
    inlet_mouth: str | None = None
    stain: str | None = None  # What is seen in the open box; a stain that is high is over the lips.
    # What is seen in the open box; a stain that is high is over the lips.
    sludge: str | None = None
    # What is seen in the open box; a stain that is high is over the lips.
    cracks: str | None = None
    ice: str | None = None  # What is seen in the open box; a stain that is high is over the lips.
    ground_at_box: str | None = None  # Ground around the box.
    plugged: str | None = None  # What the level does with every outlet plugged.
    # One for each outlet of the site, in its order; empty where none was looked at.
    outlets: tuple[OutletEvidence, ...] = ()
    photos: tuple[str, ...] = ()  # Names of photo files; kept, not looked into.
    daily_flow: float | None = None  # What the house sends in a day. [m3/s]
    since: float | None = None  # For how long the trouble has been known. [s]

    def of_outlet(self, index: int) -> OutletEvidence:
        """What was seen of one outlet.

        >>> Evidence().of_outlet(3) == NOTHING_SEEN
        True
        """
        return self.outlets[index] if self.outlets else NOTHING_SEEN

    @property
    def box_was_opened(self) -> bool:
        """Whether anything was seen that only an open box shows."""
        inside = ("at_rest", "rim", "rim_slope", "baffle", "inlet_mouth", "stain", "sludge",
                  "cracks", "ice", "plugged", "inflow")  # fmt: skip
        of_outlets = ("mouth", "lip", "trace", "hole", "drain_back", "rod", "wiped", "at_rest")
        return any(getattr(self, name) is not None for name in inside) or any(
            getattr(o, name) is not None for o in self.outlets for name in of_outlets
        )

    @property
    def count(self) -> int:
        """How many observations there are."""
        skipped = ("outlets", "photos", "daily_flow", "since", "feed", "since_use")
        own = [getattr(self, f.name) for f in fields(self) if f.name not in skipped]
        each = [getattr(o, f.name) for o in self.outlets for f in fields(o)]
        return sum(value is not None for value in own + each)


@dataclass(frozen=True)
class Prior:
    """How common a cause is taken to be: the weight that the user gives it. [-]"""

    cause: str
    weight: float
