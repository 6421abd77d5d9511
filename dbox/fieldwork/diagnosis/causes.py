"""The causes that are weighed, how common each is, what it shows and what to do about it.

THE WEIGHTS HERE ARE JUDGEMENT, not counts: a guess at how often each is behind a call about a wet
line. They matter while little was seen and fade with every look; a scenario changes any of them
under `[priors]`. A cause that sits at one outlet may sit at each of them, its weight shared. The
sizes are judgement too: what a fault of the kind commonly measures where it is found.

What each cause shows is said in `signs` (words) and computed in `forward` (water).

The rows follow what practice takes to separate one cause from another: common practice, no source.
Every chance is a judgement; none was counted. `usual` is what is seen where a cause does not speak
of the sign. Signs that hang on water are not here but computed in `visible`: the level at rest,
ports, wet ground, traces of use, holes, lips, pours.

The first lines disturb nothing and can be taken back; the last need a permit in most places.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.evidence import Prior
from dbox.fieldwork.site import Site

INCH = 0.0254


@dataclass(frozen=True)
class Fault:
    """How far a lip is off, or seems to be: a normal size, cut off at its ends."""

    mean: float  # Of the size before it is cut off. [m]
    spread: float  # Of the size before it is cut off. [m]
    least: float  # Beyond these it would be another cause, or none. [m]
    most: float = np.inf  # Beyond these it would be another cause, or none. [m]
    read: int = 0  # What a ruler sees of it: +1 a higher lip, -1 a lower one, 0 nothing.
    felt: int = 0  # What the water feels of it, in the same way.


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause, or a pair that often comes together."""

    key: str  # Its name in `[priors]`.
    name: str  # What it is called.
    weight: float  # How common it is taken to be, over those of all causes. [-]
    of_outlet: bool = False  # Whether it sits at one outlet.
    normal: bool = False  # Whether it is no fault.
    tilted: bool = False  # Whether the box leans.
    fault: Fault | None = None  # What it does to the lip of its outlet.
    # What it does to the line of its outlet: `blocked`, `crushed`, `belly`, `full`, `capped`.
    line: str = ""
    load: tuple[float, float] = (1.0, 1.0)  # Factor on the load of every line, least and most. [-]
    own_load: tuple[float, float] = (1.0, 1.0)  # Factor on the load of its own line. [-]
    # Whether it is a line in water that people call about: then boxes in which none stands in water
    # are not among those asked about.
    wets: bool = False


_DROPPED = Fault(0.25 * INCH, 0.12 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1)

CAUSES = (
    Cause(key="tilt", name="box tilted", weight=14, wets=True, tilted=True),
    Cause(key="low", name="one insert or pipe dropped", weight=8, wets=True, of_outlet=True,
          fault=_DROPPED),
    Cause(key="high", name="one outlet high", weight=6, of_outlet=True,
          fault=Fault(0.3 * INCH, 0.18 * INCH, 3.0 / 32 * INCH, read=1, felt=1)),
    Cause(key="deposit", name="deposit or root on a lip", weight=6, of_outlet=True,
          fault=Fault(0.2 * INCH, 0.1 * INCH, 1.0 / 16 * INCH, felt=1)),
    Cause(key="blocked", name="header blocked near the box", weight=8, of_outlet=True,
          line="blocked"),
    Cause(key="crushed", name="header crushed", weight=3, of_outlet=True, line="crushed"),
    Cause(key="back_pitched", name="header back-pitched", weight=5, of_outlet=True, line="belly",
          fault=Fault(0.5 * INCH, 0.3 * INCH, 1.0 / 8 * INCH, felt=1)),
    Cause(key="full", name="that trench full", weight=10, of_outlet=True, line="full"),
    Cause(key="all_full", name="all trenches full, or water table", weight=7),
    Cause(key="overload", name="overload or leaking fixture", weight=5, wets=True, load=(1.6, 4.0)),
    Cause(key="infiltration", name="groundwater or roof water in", weight=4, load=(1.2, 3.0)),
    Cause(key="leak", name="box leaks", weight=3),
    Cause(key="jet", name="jet straight across", weight=3, wets=True),
    Cause(key="inlet_drop", name="too little inlet drop", weight=2),
    Cause(key="trickle", name="trickle-only imbalance", weight=6, wets=True, of_outlet=True,
          fault=Fault(0.06 * INCH, 0.02 * INCH, 0.03 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1),
          own_load=(1.0, 1.4)),
    Cause(key="unequal", name="unequal length or soil of a line", weight=5, wets=True,
          of_outlet=True, own_load=(1.6, 4.0)),
    Cause(key="trench_slope", name="trench not level", weight=4, of_outlet=True,
          own_load=(1.0, 2.0)),
    Cause(key="solids", name="solids carry-over", weight=5, wets=True, load=(1.1, 2.5)),
    Cause(key="capped", name="outlet capped or rested on purpose", weight=2, of_outlet=True,
          normal=True, line="capped"),
    Cause(key="serial", name="serial or drop box by design", weight=3, of_outlet=True, normal=True,
          fault=Fault(1.0 * INCH, 0.5 * INCH, 0.3 * INCH, read=-1, felt=-1)),
    Cause(key="frozen", name="frozen", weight=1),
    Cause(key="holes", name="inserts of different holes", weight=2, of_outlet=True),
    Cause(key="broken", name="lid, wall or pipe broken", weight=2),
    Cause(key="tilt_full", name="box tilted, then the favoured trench sealed", weight=6,
          of_outlet=True, tilted=True, line="full"),
    Cause(key="low_full", name="insert or pipe dropped, then its trench sealed", weight=3,
          of_outlet=True, fault=_DROPPED, line="full"),
    Cause(key="solids_full", name="solids carry-over, then one trench sealed", weight=3,
          of_outlet=True, line="full", load=(1.0, 1.8)),
)  # fmt: skip

KEYS = tuple(cause.key for cause in CAUSES)
NAMELESS = ("serial",)
"""Causes told without their outlet, although one line shows them."""


def index_of(*keys: str) -> list[int]:
    """Places of causes in the table, by key."""
    return [KEYS.index(key) for key in keys]


@dataclass(frozen=True, kw_only=True, eq=False)
class Hypotheses:
    """Every cause at every outlet where it may sit; arrays are read-only."""

    cause: npt.NDArray[np.int64]  # (h,) Place in `CAUSES`.
    outlet: npt.NDArray[np.int64]  # (h,) Outlet it sits at; -1 for none.
    prior: Array  # (h,) Probability before anything is seen. [-]
    # (h,) Which answer it counts for: hypotheses that are told alike are added up.
    group: npt.NDArray[np.int64]
    answers: tuple[tuple[int, int], ...] = field(default=())  # Cause and outlet of each answer.


def hypotheses(site: Site) -> Hypotheses:
    """List what may be wrong at a site."""
    open_outlets = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    weights = _weights(site.priors)
    rows = [
        (c, i, weight / (len(open_outlets) if cause.of_outlet else 1))
        for c, (cause, weight) in enumerate(zip(CAUSES, weights, strict=True))
        for i in (open_outlets if cause.of_outlet else (-1,))
    ]
    causes, outlets, prior = (np.array(column) for column in zip(*rows, strict=True))
    prior = prior * np.array([_context(site, CAUSES[c].key, i) for c, i, _ in rows])
    if not prior.sum() > 0:
        raise DomainError("every cause has a prior of 0; leave at least one above 0")
    told = [(c, -1 if CAUSES[c].key in NAMELESS else i) for c, i, _ in rows]
    answers = tuple(dict.fromkeys(told))
    group = np.array([answers.index(answer) for answer in told])
    prior = prior / prior.sum()
    freeze(causes, outlets, prior, group)
    return Hypotheses(cause=causes, outlet=outlets, prior=prior, group=group, answers=answers)


def _weights(priors: Sequence[Prior]) -> list[float]:
    typed = {prior.cause: prior.weight for prior in priors}
    unknown = set(typed) - set(KEYS)
    if unknown:
        raise DomainError(f"no cause is called {', '.join(sorted(unknown))}; see CAUSES")
    return [typed.get(cause.key, cause.weight) for cause in CAUSES]


def _context(site: Site, key: str, outlet: int) -> float:
    """Factor on a prior from what the site is known to be. [-] (judgement)"""
    if key == "jet":
        return _jet_context(site)
    if key == "inlet_drop" and site.box.inlet_drop is not None:
        return 0.1 if site.box.inlet_drop >= 0.75 * INCH else 4.0
    if key == "trickle" and feed_is_strong(site):
        return 0.2
    if key == "unequal":
        return _length_context(site, outlet)
    if key == "holes" and len({o.opening for o in site.outlets if not o.capped}) > 1:
        return 5.0
    return 1.0


def _jet_context(site: Site) -> float:
    factor = 3.0 if feed_is_strong(site) else 1.0
    return factor if site.box.inlet in (None, "straight") else 0.05 * factor


def _length_context(site: Site, outlet: int) -> float:
    lengths = [o.line_length for o in site.outlets if not o.capped and o.line_length is not None]
    own = site.outlets[outlet].line_length
    if own is None or len(lengths) < 2:
        return 1.0
    # where a line is known to be short an equal split must overload it
    short = site.target.by == "equal" and own < 0.75 * float(np.mean(lengths))
    return 4.0 if short else 0.7


def feed_is_strong(site: Site) -> bool:
    """Whether the box is fed in doses, so that an ordinary day is no trickle."""
    dosed = site.works.pump is not None or site.works.siphon is not None
    return site.evidence.feed in ("pump", "siphon") or (dosed and site.evidence.feed is None)


Chances = tuple[float, ...]
SEALED = ("full", "tilt_full", "low_full", "solids_full")


@dataclass(frozen=True)
class Sign:
    """One observation in words."""

    usual: Chances  # Chance of each word where nothing is said below. [-]
    # Chance under a cause: of the whole system or, for a sign of one outlet, of the outlet that the
    # cause sits at. [-]
    by_cause: Mapping[str, Chances] = field(default_factory=dict)
    # Chance at every outlet under a cause. [-]
    everywhere: Mapping[str, Chances] = field(default_factory=dict)

    def table(self) -> Array:
        """Chances by cause, at the outlet of the cause or of the system. [-] (causes, words)."""
        chosen = {**self.everywhere, **self.by_cause}
        return _normal([chosen.get(cause.key, self.usual) for cause in CAUSES])

    def elsewhere(self) -> Array:
        """Chances at the outlets that the cause does not sit at. [-] (causes, words)."""
        return _normal([self.everywhere.get(cause.key, self.usual) for cause in CAUSES])


def _normal(rows: list[Chances]) -> Array:
    table = np.array(rows)
    normal: Array = table / table.sum(-1, keepdims=True)
    return normal


def _sealed(chances: Chances) -> dict[str, Chances]:
    return dict.fromkeys(SEALED, chances)


LEAKS = (0.06, 0.94)
"""What the level does, every outlet plugged, in a box that loses water: holds, falls. [-]"""

SYSTEM_SIGNS = {
    "system": Sign((0.97, 0.005, 0.005, 0.02), {
        "serial": (0.03, 0.50, 0.45, 0.02), "capped": (0.70, 0.01, 0.01, 0.28)}),
    "season": Sign((0.80, 0.16, 0.04), {
        "all_full": (0.30, 0.65, 0.05), "infiltration": (0.25, 0.70, 0.05),
        "frozen": (0.02, 0.03, 0.95), "broken": (0.65, 0.30, 0.05),
        **_sealed((0.68, 0.28, 0.04))}),
    "rain": Sign((0.87, 0.13), {
        "all_full": (0.45, 0.55), "infiltration": (0.08, 0.92), "broken": (0.65, 0.35),
        "leak": (0.80, 0.20), **_sealed((0.75, 0.25))}),
    "meter": Sign((0.95, 0.05), {"overload": (0.35, 0.65)}),
    "inflow": Sign((0.90, 0.06, 0.04), {
        "overload": (0.22, 0.72, 0.06), "infiltration": (0.35, 0.05, 0.60),
        "all_full": (0.80, 0.06, 0.14)}),
    "tank_level": Sign((0.92, 0.08), {
        "inlet_drop": (0.25, 0.75), "all_full": (0.45, 0.55), "frozen": (0.35, 0.65),
        "overload": (0.75, 0.25), "infiltration": (0.65, 0.35), "solids": (0.82, 0.18)}),
    "tank_outlet": Sign((0.92, 0.08), {
        "solids": (0.18, 0.82), "solids_full": (0.18, 0.82), "deposit": (0.70, 0.30)}),
    "sludge": Sign((0.87, 0.13), {
        "solids": (0.10, 0.90), "solids_full": (0.12, 0.88), "deposit": (0.65, 0.35),
        "blocked": (0.78, 0.22), **dict.fromkeys(("full", "tilt_full"), (0.80, 0.20))}),
    "stain": Sign((0.90, 0.10), {
        "all_full": (0.25, 0.75), **_sealed((0.62, 0.38)), "overload": (0.65, 0.35),
        "infiltration": (0.65, 0.35), "inlet_drop": (0.60, 0.40), "frozen": (0.72, 0.28)}),
    "cracks": Sign((0.92, 0.03, 0.03, 0.02), {
        "leak": (0.20, 0.70, 0.03, 0.07), "infiltration": (0.45, 0.12, 0.35, 0.08),
        "broken": (0.08, 0.12, 0.12, 0.68)}),
    "ground_at_box": Sign((0.93, 0.07), {
        "leak": (0.28, 0.72), "broken": (0.35, 0.65), "all_full": (0.70, 0.30),
        "inlet_drop": (0.85, 0.15)}),
    "inlet_mouth": Sign((0.94, 0.06), {
        "inlet_drop": (0.10, 0.90), "all_full": (0.40, 0.60), "frozen": (0.50, 0.50)}),
    "baffle": Sign((0.75, 0.25), {"jet": (0.05, 0.95)}),
    "ice": Sign((0.99, 0.01), {"frozen": (0.12, 0.88)}),
    "plugged": Sign((0.95, 0.05), {
        "leak": LEAKS, "broken": (0.85, 0.15), "infiltration": (0.80, 0.20)}),
}  # fmt: skip

OUTLET_SIGNS = {
    "cap": Sign((0.99, 0.01), {"capped": (0.06, 0.94)}),
    "mouth": Sign((0.88, 0.10, 0.02), {
        "blocked": (0.04, 0.16, 0.80), "crushed": (0.08, 0.27, 0.65),
        "back_pitched": (0.06, 0.68, 0.26), **_sealed((0.03, 0.19, 0.78)),
        "deposit": (0.80, 0.15, 0.05), "capped": (0.75, 0.10, 0.15),
    }, {
        "all_full": (0.02, 0.13, 0.85), "frozen": (0.15, 0.30, 0.55),
        "overload": (0.35, 0.60, 0.05), "infiltration": (0.50, 0.45, 0.05),
        "solids": (0.65, 0.30, 0.05)}),
    "lip": Sign((0.87, 0.13), {"deposit": (0.08, 0.92), "high": (0.95, 0.05)},
                {"solids": (0.45, 0.55), "solids_full": (0.55, 0.45)}),
    # behind a block the header falls away, so what stands in it is below its own lip and stays
    "drain_back": Sign((0.87, 0.11, 0.02), {
        "blocked": (0.85, 0.12, 0.03), "crushed": (0.72, 0.24, 0.04),
        "back_pitched": (0.06, 0.88, 0.06), **_sealed((0.04, 0.13, 0.83)),
    }, {"all_full": (0.03, 0.12, 0.85), "frozen": (0.75, 0.20, 0.05),
        "overload": (0.75, 0.20, 0.05)}),
    "rod": Sign((0.92, 0.03, 0.02, 0.03), {
        "blocked": (0.08, 0.60, 0.27, 0.05), "crushed": (0.10, 0.16, 0.69, 0.05),
        "back_pitched": (0.47, 0.05, 0.02, 0.46), **_sealed((0.86, 0.06, 0.02, 0.06)),
        "deposit": (0.80, 0.15, 0.02, 0.03), "capped": (0.60, 0.02, 0.36, 0.02),
    }, {"frozen": (0.25, 0.10, 0.60, 0.05), "solids": (0.76, 0.19, 0.02, 0.03),
        "broken": (0.82, 0.06, 0.07, 0.05)}),
    "traffic": Sign((0.95, 0.05), {"crushed": (0.30, 0.70)}),
    "wiped": Sign((0.93, 0.07), {"deposit": (0.10, 0.90)}, {"solids": (0.55, 0.45)}),
}  # fmt: skip


PERMIT = "ask the local authority first: this may need a permit and a licensed installer"
GAS = "never lean into the box or the tank: sewer gas kills"
TRENCH = "have utilities marked, keep out of a trench that may cave in"

_LEVEL = (
    "set the inserts: dbox level says which way and how far",
    "where inserts cannot reach, bed the box again on firm ground",
)
_REST = (
    "use less water; send the others more, or cap this line to rest it for months, if they can "
    "take it (see its load)",
    f"replace or add a line only when rest has failed; {PERMIT}",
)
_ROD = (
    "rod or jet it from the box, gently; note how far the rod goes",
    f"dig where the rod stops; {TRENCH}",
)

ADVICE = {
    "tilt": _LEVEL,
    "low": ("raise that insert, or seat it again: dbox level says how far",
            "look whether its pipe has sunk; bed and seal it again"),
    "high": ("lower that insert: dbox level says how far",
             "look whether its pipe was pushed up; set and seal it again"),
    "deposit": ("wipe the lip, take the deposit or root out, pour again",
                "look at the tank's outlet tee or filter: where did it come from?"),
    "blocked": _ROD,
    "crushed": ("keep wheels off", *_ROD, f"replace the crushed length; {PERMIT}"),
    "back_pitched": ("read the fall of the header with a rod: dbox grades FILE",
                     f"dig up and bed the header so that it falls away; {TRENCH}; {PERMIT}"),
    "full": _REST,
    "all_full": ("wait for the ground to dry and look again; use less water",
                 "look where rain and roof water go, and lead them away",
                 f"have the field judged as a whole; {PERMIT}"),
    "overload": ("close the house valve: does it stop? Find and mend the running fixture",
                 "read the water meter for a week; use less water"),
    "infiltration": ("lead roof and surface water away from tank, box and field",
                     "seal lids, joints and cracks; look at the tank after rain"),
    "leak": ("plug the outlets, fill with clean water, mark where the level stops falling",
             "seal the crack there, or replace the box"),
    "jet": ("turn the inlet down, or fit a tee or baffle, then pour slow and fast again",),
    "inlet_drop": ("measure the inlet's invert against the outlets'",
                   f"set the inlet pipe higher or the box lower; {PERMIT}"),
    "trickle": ("set the lips alike as finely as a hand can: dbox level",
                "a ruler cannot prove equal shares at a trickle; a dosed feed hides such "
                f"differences; {PERMIT}"),
    "unequal": ("send each line a share by its length: dbox level with [target] by length",
                f"give the short or slow line less, or lengthen it; {PERMIT}"),
    "trench_slope": ("rest the line", f"relay it level along the contour; {PERMIT}"),
    "solids": ("have the tank pumped, mend its outlet tee or filter",
               "clean the box, wipe every lip, pour again",
               "flush headers only where what comes out is caught"),
    "capped": ("ask who capped it and when; if it has rested for long enough, open it and watch",),
    "serial": ("nothing: look at the last line, only if that is full is the field full",),
    "frozen": ("use warm water steadily; cover the ground with straw or snow",
               "do not thaw with salt, chemicals or flame"),
    "holes": ("fit inserts with holes alike, then level",),
    "broken": (f"close the ground around it off; {GAS}",
               "replace lid, pipe or box; seal and level it again"),
    "tilt_full": (*_LEVEL, *_REST),
    "low_full": ("raise that insert, or seat it again", *_REST),
    "solids_full": ("have the tank pumped, mend its outlet tee or filter", *_REST),
}  # fmt: skip
"""Steps by the key of the cause."""
