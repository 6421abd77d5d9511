"""All that is known about one box, in SI: the object every job is computed from.

A scenario file or a command line becomes a `Site`; nothing here computes. Missing means not
measured: `None` or an empty tuple, never zero. What is made by `key` is a key of the file.
"""

import datetime
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import Any, TypeGuard

from dbox import keys, units
from dbox.errors import DomainError, ScenarioError, at_place, show
from dbox.fieldwork.evidence import Evidence, Prior, Sign
from dbox.fieldwork.survey import SOURCE, Plan, Survey
from dbox.fieldwork.ties import Ties
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import one_each
from dbox.hydraulics.surge.inflow import Pump, Siphon
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench
from dbox.keys import Reader, key
from dbox.lengths import Lengths

LONGEST_NOTE = 600
"""Characters of one entry of a record. [-] (judgement)"""

MOST_TIES = 12
"""Ties of one box. [-] (judgement)"""

MOST_CALLED = 6
"""Whom an owner may call. [-] (judgement)"""


@keys.reads(keys.VALUE)
def entry(value: object) -> str:
    """Read an entry: text, a whole number, or a date as TOML writes it."""
    if isinstance(value, int) and not isinstance(value, bool) and abs(value) < 10**15:
        return str(value)
    if isinstance(value, datetime.date) and not isinstance(value, datetime.datetime):
        return value.isoformat()
    return keys.text(value, LONGEST_NOTE)


def _entry(about: str, *examples: object) -> Any:
    return key(entry, about, *examples, default="")


@dataclass(frozen=True, kw_only=True)
class JobRecord:
    """What the paper of the job says besides its numbers; what is absent is left blank on it."""

    permit: str = _entry("Permit number.", "2026-0417")
    address: str = _entry("Where the job is.", "12 Example Road")
    date: str = _entry("Date of the work.", "2026-05-04")
    weather: str = _entry("Weather of the day and the days before.", "dry, 15 C; rain on Sunday")
    who: str = _entry("Who did the work.", "A. Installer, licence 123")
    system: str = _entry("Type of system.", "gravity trenches, equal split")
    bedrooms: str = _entry("Number of bedrooms.", 4)
    feed: str = _entry("How the box is fed.", "gravity from the tank", "pump, 80 gal a dose")
    bedding: str = _entry("What the box stands on.", "4 in of tamped gravel")
    pipe_bed: str = _entry("What carries the box's pipes in the backfill.", "tamped gravel")
    cover: str = _entry("How deep the box lies.", "10 in")
    riser: str = _entry("Riser over the box.", "to grade, 18 in")
    lid: str = _entry("How the lid is fastened.", "two screws")
    seals: str = _entry("Seals of the pipes in the box.", "rubber, all tight")
    north: str = _entry("Where north lies on the sketch.", "along outlet 3")
    benchmark: str = _entry("What the heights are tied to.", "top of the well casing, 100.00 ft")
    ties: tuple[str, ...] = key(
        keys.several(keys.line, MOST_TIES),
        "Distances of the box from two fixed points at least, in words; as numbers under [ties].",
        ["SE corner of the house 36 ft", "oak 27 ft"],
        default=(),
    )
    method: str = _entry("How the heights at the box were read.", "steel rule from still water")
    photo: str = _entry("Where the photo of the still water with a rule in view is.", "IMG_0231")
    recheck: str = _entry("When the box is looked at again.", "after backfill, by 2026-06-01")
    call: tuple[str, ...] = key(
        keys.several(keys.line, MOST_CALLED),
        "Whom the owner calls, and for what.",
        ["A. Installer, 555 0100: box and lines", "county health office, 555 0199"],
        default=(),
    )
    keep_off: str = _entry(
        "What the owner must not drive over, build on or plant, by name.",
        "the strip between the drive and the fence",
    )
    notes: str = _entry("What else there is to say.", "soil wet below 40 in")
    exceptions: str = _entry("What departs from the permit or the plan.", "none")
    invented: bool = key(
        keys.flag, "Whether the data are made up; every sheet then says so.", True, default=False
    )


DEFAULT_ERROR = 0.05
"""Relative error of a timed catch where none is stated. [-] (5 to 10 %: common practice, no
source)"""


@dataclass(frozen=True, kw_only=True)
class Pour:
    """One steady pour of clean water, planned or done."""

    name: str  # What it is called.
    inflow: float  # What is poured in. [m3/s]
    # How much is poured in all; None where only the flow is known. [m3]
    volume: float | None = None
    jug: float | None = None  # Content of the jug that is filled at the outlets. [m3]
    # One standard deviation of a timed flow, caught or poured, as a fraction of it. [-]
    error: float = DEFAULT_ERROR
    # Flow caught at each outlet, in the order of the outlets; None where it was not caught. Empty
    # before the pour. [m3/s]
    catches: tuple[float | None, ...] = ()
    # The outlets that were seen to start, the first one first; empty where not watched.
    order: tuple[int, ...] = ()

    @property
    def done(self) -> bool:
        """Whether anything was caught."""
        return any(catch is not None for catch in self.catches)


@dataclass(frozen=True, kw_only=True)
class Works:
    """The system that the box is part of."""

    people: int | None = None  # How many live in the house.
    tank: Tank | None = None  # The septic tank.
    supply: SupplyPipe | None = None  # The gravity pipe from the tank to the box.
    pump: Pump | None = None  # A dosing pump.
    siphon: Siphon | None = None  # A dosing siphon.
    # The header of each outlet, in the order of the outlets; empty where none is known.
    headers: tuple[SupplyPipe | None, ...] = ()
    # The trench of each outlet; empty where none is known.
    trenches: tuple[Trench | None, ...] = ()


DEFAULT_SPREAD = units.INCH / 16
"""Spread of one ruler reading where none is stated. [m] (1/16 in: common practice, no source)"""

DEFAULT_HOLD_BACK = (0.001, 0.004)
"""How far water stands over a dry lip before it starts to run, least and most, where nobody said.
[m] (judgement)

Water stands on a level edge as high as a wide puddle does, 2 a sin(theta/2), with a the capillary
length and theta the contact angle (P.-G. de Gennes, F. Brochard-Wyart, D. Quere, Capillarity and
Wetting Phenomena; from memory). For clean water, a = 2.7 mm, that is 4 mm at 95 degrees and 1 mm
at 21; effluent is soapy, which makes a less, and slime is wet, which makes theta less. No measured
start of an overflow over the lip of a box was found.
"""


SHAPES = ("rectangle", "round")
INLETS = ("straight", "turned down", "tee", "baffle")


@dataclass(frozen=True, kw_only=True)
class Box:
    """The box itself; every key is optional."""

    shape: str = key(
        keys.one_of(SHAPES),
        "Shape of the box as seen from above.",
        "rectangle",
        default="rectangle",
    )
    inside: tuple[float, ...] = key(
        keys.several(keys.side, 2),
        "Inside size: along the inlet direction, then across it; one diameter for a round box.",
        ["16 in", "20 in"],
        default=(),
    )
    inlet: str | None = key(keys.one_of(INLETS), "How the inlet ends.", "turned down")
    air_hole: bool | None = key(
        keys.flag, "Whether the inlet's end has an air hole, or is a tee that is open on top.", True
    )
    inlet_drop: float | None = key(
        keys.drop, "Height of the inlet's invert over the outlet pipes' inverts.", "2 in"
    )
    sump: float | None = key(
        keys.depth, "Height of the outlet pipes' inverts over the floor of the box.", "4 in"
    )
    # Lowest place where water could leave other than by the outlets, over the still water that the
    # readings were taken from. [m]
    rim: float | None = field(default=None, metadata={"unit": "m"})


def plan_area(inside: Sequence[float]) -> float:
    """Plan area of a box or a tank by its inside length and width, or diameter; inside [m] -> [m2].

    >>> plan_area([2.0, 1.5])
    3.0
    """
    return inside[0] * inside[1] if len(inside) == 2 else math.pi / 4 * inside[0] ** 2


@dataclass(frozen=True, kw_only=True)
class Outlet:
    """One outlet of the box, numbered clockwise from the inlet as seen from above."""

    label: str  # What the line is called on site.
    opening: Opening  # The opening that the effluent leaves through.
    # Heights of the reading point over still water, + above it; empty when not measured. [m]
    readings: tuple[float, ...] = ()
    # Height of the reading point over the lip (0 when the lip itself was read). [m]
    point_over_lip: float = 0.0
    # Distance along the inlet direction and across it, from the inlet wall's left corner. [m]
    position: tuple[float, float] | None = None
    # Hole centre from pipe centre; None where the insert cannot be turned, inf where it can and
    # nobody knows. [m]
    hole_offset: float | None = None
    # Angle of the hole from straight down, clockwise as seen from inside the box. [rad]
    clock: float | None = None
    line_length: float | None = None  # Length of the line this outlet feeds. [m]
    line_area: float | None = None  # Bottom area of the trench this outlet feeds. [m2]
    # Fall over length of the header beyond the box; matters for a bare pipe end. [-]
    header_fall: float | None = None
    capped: bool = False  # Whether the outlet is closed on purpose.
    feeds: "Site | None" = None  # The box that it feeds in place of a line.


@dataclass(frozen=True, kw_only=True)
class Flow:
    """A named steady inflow at the box. [m3/s]"""

    name: str
    inflow: float


ORDINARY_FLOWS = (
    Flow(name="trickle (default)", inflow=units.TRICKLE),
    Flow(name="bucket (default)", inflow=units.BUCKET),
    Flow(name="dose (default)", inflow=units.DOSE),
)
"""Flows where nobody names any."""


@contextmanager
def _named(place: str) -> Iterator[None]:
    """Say of what cannot be read where it stands."""
    try:
        yield
    except ScenarioError as error:
        raise ScenarioError(*(at_place(place, fault) for fault in error.faults)) from error


def _typed(place: str, value: float | str, reader: Reader[float]) -> float:
    """A quantity in SI: a number is, a text is read with its unit; both within its limits. [SI]"""
    low, high = reader.ends
    if isinstance(value, str):
        with _named(place):
            return reader(value)
    if isinstance(value, Real) and low <= value <= high:
        return float(value)
    wanted = f"{low:.3g} to {high:.3g} {reader.unit}".strip()
    raise DomainError(f"{place} is {show(value)}; give {wanted}, or a text with its unit")


@dataclass(frozen=True, kw_only=True)
class Target:
    """What each line should get: `equal`, by `length`, by `area`, or typed `list` weights.

    `weights` has one entry per outlet, capped ones included (theirs counts as 0), and is empty
    unless `by` is `list`. [-]
    """

    by: str = "equal"
    weights: tuple[float, ...] = ()
    said: bool = True  # Whether anybody said so; where not, `equal` is only taken.


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How far a share may be from its target, and who says so; there is no general value."""

    share: float = key(
        keys.tolerance,
        "Allowed difference, in per cent of each line's own target.",
        "10 %",
        needed='add share = "10 %", or leave [tolerance] out',
    )
    source: str | None = key(keys.line, SOURCE, "permit")


UNLIKE = 0.05
"""How much longer one line is than another where equal shares are not taken for granted. [-]
(judgement)"""

INLETS_WITH_AIR = ("turned down", "tee")
"""Ends of an inlet that dip into the water, so that air needs a way of its own."""


@dataclass(frozen=True, kw_only=True, repr=False)
class Site:
    """One box as measured; made from a scenario by `dbox.load`, or without a file by `Site.of`."""

    title: str = ""  # What the job is called.
    box: Box = field(default_factory=Box)  # The box itself.
    outlets: tuple[Outlet, ...]  # At least one, in the order of the file.
    flows: tuple[Flow, ...]  # The flows to compute, in the order of the file.
    # Stated standard deviation of one reading; None where not stated. [m]
    spread: float | None = None
    # Distance between the finest marks of the rule; None where not known. [m]
    mark: float | None = None
    # One standard deviation of a clock position set by hand; None where not stated. [rad]
    hand: float | None = None
    metric: bool = False  # Whether the job is in millimetres or centimetres.
    # Standard deviation of the discharge coefficients at 5 mm of head, over themselves. [-]
    coefficient_spread: float = 0.0
    # How far water stands over a dry lip before it starts to run, least and most. [m]
    hold_back: tuple[float, float] = DEFAULT_HOLD_BACK
    # Whether the readings of the outlets only show where readings go and were never taken.
    placeholder: bool = False
    target: Target = field(default_factory=Target)  # What each line should get.
    # How far a share may be from its target; None where nobody said.
    tolerance: Tolerance | None = None
    grades: Survey | None = None  # Rod readings along the pipes; None where there are none.
    plan: Plan | None = None  # What is planned before digging; None where nothing is.
    pours: tuple[Pour, ...] = ()  # Pours of clean water, planned or done.
    record: JobRecord = field(default_factory=JobRecord)  # What the paper of the job says besides.
    ties: Ties | None = None  # Distances to find the box by; None where there are none as numbers.
    # What was seen of the system in trouble, for `diagnosis`.
    evidence: Evidence = field(default_factory=Evidence)
    priors: tuple[Prior, ...] = ()  # How common the user takes causes to be.
    signs: tuple[Sign, ...] = ()  # How often these show what is seen of them, by the user.
    works: Works = field(default_factory=Works)  # What stands before the box and behind it.

    def __repr__(self) -> str:
        """Its title, and how much of it is known."""
        read = sum(bool(outlet.readings) for outlet in self.outlets)
        flows = ", ".join(flow.name for flow in self.flows)
        return f"Site({self.title!r}, {len(self.outlets)} outlets, {read} read, flows {flows})"

    @property
    def planned(self) -> bool:
        """Whether there is a plan and no outlet is read yet."""
        read = any(outlet.readings for outlet in self.outlets)
        return self.plan is not None and (self.placeholder or not read)

    @property
    def has_inserts(self) -> bool:
        """Whether anything in the box can be turned."""
        return any(outlet.hole_offset for outlet in self.outlets)

    @property
    def longer(self) -> float:
        """How much longer the longest line is than the shortest one known, over that. [-]"""
        known = [o.line_length for o in self.outlets if not o.capped and o.line_length]
        return max(known) / min(known) - 1.0 if known else 0.0

    @property
    def target_open(self) -> bool:
        """Whether lines differ in length and nobody said if they get equal shares."""
        return not self.target.said and self.longer > UNLIKE

    @property
    def allowed(self) -> float | None:
        """What shares are held to; None where nobody named a tolerance, or the target is open."""
        return None if self.tolerance is None or self.target_open else self.tolerance.share

    @property
    def lacks(self) -> tuple[str, ...]:
        """What a set-up asks for that nobody has said of the box, in the order of asking."""
        box, lines = self.box, [outlet for outlet in self.outlets if not outlet.capped]
        missing = {
            "inlet": box.inlet is None,
            "air_hole": box.inlet in INLETS_WITH_AIR and box.air_hole is None,
            "drop": box.inlet_drop is None,
            "pipes": not self.record.pipe_bed,
            "rim": box.rim is None,
            "lengths": any(outlet.line_length is None for outlet in lines),
            "target": self.target_open,
        }
        return tuple(topic for topic, lacking in missing.items() if lacking)

    def having(self, topic: str, value: Any) -> "Site":
        """The same with what was said of one of the topics that it lacks; in SI."""
        by_length = topic == "target" and value == "length"
        if topic not in self.lacks or (by_length and "lengths" in self.lacks):
            # the file says it by now and goes first, or a line without a length has come since
            return self
        if topic == "pipes":
            return replace(self, record=replace(self.record, pipe_bed=value))
        if topic == "target":
            weights = () if isinstance(value, str) else value
            by = "list" if weights else value
            return replace(self, target=Target(by=by, weights=weights))
        if topic == "lengths":
            outlets = tuple(
                replace(o, line_length=each if o.line_length is None else o.line_length)
                for o, each in zip(self.outlets, value, strict=True)
            )
            return replace(self, outlets=outlets)
        field_name = {"drop": "inlet_drop"}.get(topic, topic)
        return replace(self, box=replace(self.box, **{field_name: value}))

    @property
    def lengths(self) -> Lengths:
        """How lengths are written for this job."""
        typed = [height for outlet in self.outlets for height in outlet.readings]
        return Lengths.of([*typed, self.spread or 0.0], self.mark, metric=self.metric)

    @classmethod
    def of(
        cls,
        heights: Sequence[float | str | None],
        opening: Opening | Sequence[Opening],
        *,
        offset: float | str | None = None,
        spread: float | str | None = None,
        mark: float | str | None = None,
        hold_back: float | str | Sequence[float | str] = DEFAULT_HOLD_BACK,
        clock: str | Sequence[str] | None = None,
        labels: Sequence[str | int] | None = None,
        inlet: str | None = None,
        flows: Mapping[str, float | str] | None = None,
        tolerance: float | str | None = None,
        title: str = "",
    ) -> "Site":
        """A box without a file; numbers are SI, texts carry their unit.

        Parameters
        ----------
        heights : sequence of float or str or None, length n
            Lips over still water, clockwise from the inlet; inf where the outlet is capped, None
            where it is not read. [m]
        opening : Opening, or sequence of Opening of length n
            What the water leaves through.
        offset : float or str, optional
            Hole centre from pipe centre, "unknown" where nobody measured it; left out, no insert
            can be turned. [m]
        spread : float or str, optional
            One standard deviation of one reading. [m]
        mark : float or str, optional
            Distance between the finest marks of the rule. [m]
        hold_back : float or str, or two of them, optional
            How far water stands over a dry lip before it starts to run, or the least and the most;
            0 switches it off. [m]
        clock : str or sequence of str, optional
            Where the holes stand, as "6:00"; 6:00 is straight down.
        labels : sequence of str, optional
            What the lines are called, each by a name of its own; left out, their numbers.
        inlet : str, optional
            How the inlet ends: straight, turned down, tee or baffle; left out, not known.
        flows : mapping of str to float or str, optional
            Flows to compute by name; left out, trickle, bucket and dose. [m3/s]
        tolerance : float or str, optional
            Allowed difference of a share from its target, over that target: 0.1 or "10 %". [-]
        title : str
            What the job is called.

        Returns
        -------
        Site
            The box, with one reading for each outlet.

        Raises
        ------
        DomainError
            Where there are no heights, or not as many openings, clocks or labels, or a number is
            beyond what can be at a box.
        ScenarioError
            Where a text is no such quantity.

        >>> from dbox import Circle
        >>> [o.readings for o in Site.of(["1/8 in", 0, -0.001], Circle(0.05)).outlets]
        [(0.003175,), (0.0,), (-0.001,)]
        """
        n = 0 if isinstance(heights, str) else len(heights)
        if not n:
            said = f"heights is {show(heights)}"
            raise DomainError(f'{said}; give one for each outlet, as ["1/8 in", 0, -0.001]')
        openings = one_each(opening, n)
        clocks = list(clock) if _several(clock) else [clock] * n
        names = list(labels) if _several(labels) else list(range(1, n + 1))
        if not len(clocks) == len(names) == n:
            raise DomainError(
                f"there are {n} heights, {len(clocks)} clocks and {len(names)} labels; give one of "
                "each for every outlet"
            )
        called, angles = [], []
        for i, (name, at) in enumerate(zip(names, clocks, strict=True)):
            with _named(f"labels[{i}]"):
                called.append(keys.label(name))
            with _named(f"clock[{i}]"):
                angles.append(None if at is None else units.clock(at))
        with _named("hold_back"):
            held = keys.hold_back(list(hold_back) if _several(hold_back) else hold_back, "m")
        with _named("inlet"):
            end = None if inlet is None else keys.choice(inlet, INLETS)
        if twice := [name for name in called if called.count(name) > 1]:
            raise DomainError(f"labels has {show(twice[0])} twice; give each line its own")
        if not (flows is None or isinstance(flows, Mapping)):
            raise DomainError(f'flows is {show(flows)}; give each a name, as {{"day": 3e-5}}')

        def typed(place: str, value: float | str | None, reader: Reader[float]) -> float | None:
            return None if value is None else _typed(place, value, reader)

        hole = math.inf if offset == "unknown" else typed("offset", offset, keys.offset)
        share = typed("tolerance", tolerance, keys.tolerance)
        read = [
            None if height == math.inf else typed(f"heights[{i}]", height, keys.reading)
            for i, height in enumerate(heights)
        ]
        outlets = tuple(
            Outlet(
                label=name,
                opening=each,
                readings=() if height is None else (height,),
                hole_offset=hole,
                clock=angle,
                capped=given == math.inf,
            )
            for name, each, given, height, angle in zip(
                called, openings, heights, read, angles, strict=True
            )
        )
        asked = tuple(
            Flow(name=name, inflow=_typed(f"flows[{name!r}]", inflow, keys.flow_rate))
            for name, inflow in (flows or {}).items()
        )
        return cls(
            title=title,
            box=Box(inlet=end),
            outlets=outlets,
            flows=asked or ORDINARY_FLOWS,
            spread=typed("spread", spread, keys.spread),
            mark=typed("mark", mark, keys.mark),
            hold_back=held,
            tolerance=None if share is None else Tolerance(share=share),
        )


def _several(value: object) -> TypeGuard[Iterable[Any]]:
    return isinstance(value, Iterable) and not isinstance(value, str)
