"""What was seen at a system in trouble? Everything optional, in the order of a visit.
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
    """What was seen of one outlet, its header and its line; None where not looked at.

    Parameters
    ----------
    cap, mouth, lip, trace, hole, drain_back, traffic, wiped : str or None
        Words of `OUTLET_WORDS`: whether it is capped or rested on purpose; water in its mouth at
        rest; a deposit on its lip; traces of use, more or less than at the others; size of its
        hole against theirs; what ran back within half an hour of bailing the box below
        every lip; ruts over its header; whether it ran better once its lip was wiped.
    port : str or None
        Water in the inspection port of its line, against the bottom of the pipe.
    port_water : float or None
        The same as a height over the bottom of the pipe, where both depths were taken. [m]
    ground : tuple of str or None
        Wet places over the line, words of `PLACES`; empty: walked, and all dry.
    rod : str or None
        What a rod pushed into the header felt.
    rod_distance : float or None
        How far from the box it stopped. [m]
    at_rest : float or None
        Lip over the water as it was found, + above it. [m]
    """

    cap: str | None = None
    mouth: str | None = None
    lip: str | None = None
    trace: str | None = None
    hole: str | None = None
    port: str | None = None
    port_water: float | None = None
    ground: tuple[str, ...] | None = None
    drain_back: str | None = None
    rod: str | None = None
    rod_distance: float | None = None
    traffic: str | None = None
    wiped: str | None = None
    at_rest: float | None = None


NOTHING_SEEN = OutletEvidence()


@dataclass(frozen=True, kw_only=True)
class Evidence:
    """What was seen of the whole system; None where not looked at.

    Parameters
    ----------
    system, feed, season, rain : str or None
        What the papers and the people of the house say.
    since_use : float or None
        Time since water was last used before the box was opened. [s]
    meter, inflow : str or None
        Water meter with every tap shut; water coming into the box at rest, and what stops it.
    tank_level, tank_outlet : str or None
        Level in the tank against its outlet; the outlet's tee or filter.
    at_rest : str or None
        Level found in the box, against the lips, where it was not measured.
    rim : str or None
        Whether the rim of the box is level, where it was not measured.
    rim_slope : tuple of float or None
        Rise per run of the rim along the inlet direction and across it. [-]
    baffle, inlet_mouth, stain, sludge, cracks, ice : str or None
        What is seen in the open box; a stain that is high is over the lips.
    ground_at_box : str or None
        Ground around the box.
    plugged : str or None
        What the level does with every outlet plugged.
    outlets : tuple of OutletEvidence
        One for each outlet of the site, in its order; empty where none was looked at.
    photos : tuple of str
        Names of photo files; kept, not looked into.
    daily_flow : float or None
        What the house sends in a day. [m3/s]
    since : float or None
        For how long the trouble has been known. [s]
    """

    system: str | None = None
    feed: str | None = None
    season: str | None = None
    rain: str | None = None
    since_use: float | None = None
    meter: str | None = None
    inflow: str | None = None
    tank_level: str | None = None
    tank_outlet: str | None = None
    at_rest: str | None = None
    rim: str | None = None
    rim_slope: tuple[float, float] | None = None
    baffle: str | None = None
    inlet_mouth: str | None = None
    stain: str | None = None
    sludge: str | None = None
    cracks: str | None = None
    ice: str | None = None
    ground_at_box: str | None = None
    plugged: str | None = None
    outlets: tuple[OutletEvidence, ...] = ()
    photos: tuple[str, ...] = ()
    daily_flow: float | None = None
    since: float | None = None

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
