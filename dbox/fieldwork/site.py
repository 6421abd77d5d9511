"""All that is known about one box, in SI: the object every job is computed from.

Nothing here computes. Missing means not known: `None`, never zero.

A scenario file or a command line becomes a `Site`; nothing here computes. Missing means not
measured: `None` or an empty tuple, never zero.
"""

from dataclasses import dataclass, field

from dbox.fieldwork.evidence import Evidence, Prior
from dbox.fieldwork.survey import Survey
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.sources import Pump, Siphon


@dataclass(frozen=True, kw_only=True)
class JobRecord:
    """The record of a job; an empty text is left blank, to be written in by hand."""

    permit: str = ""  # Permit number, address, date of the work, weather of the day, who did it.
    address: str = ""  # Permit number, address, date of the work, weather of the day, who did it.
    date: str = ""  # Permit number, address, date of the work, weather of the day, who did it.
    weather: str = ""  # Permit number, address, date of the work, weather of the day, who did it.
    who: str = ""  # Permit number, address, date of the work, weather of the day, who did it.
    system: str = ""  # Type of system, number of bedrooms, and how the box is fed.
    bedrooms: str = ""  # Type of system, number of bedrooms, and how the box is fed.
    feed: str = ""  # Type of system, number of bedrooms, and how the box is fed.
    # What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    bedding: str = ""
    # What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    cover: str = ""
    # What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    riser: str = ""
    # What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    lid: str = ""
    # What the box stands on, how deep it lies, its riser, how the lid is fastened, its seals.
    seals: str = ""
    north: str = ""  # Where north lies on the sketch; what the heights are tied to.
    benchmark: str = ""  # Where north lies on the sketch; what the heights are tied to.
    ties: tuple[str, ...] = ()  # Distances of the box from fixed points.
    # How heights were read; where the photo of the still water is; when to look again.
    method: str = ""
    # How heights were read; where the photo of the still water is; when to look again.
    photo: str = ""
    # How heights were read; where the photo of the still water is; when to look again.
    recheck: str = ""
    notes: str = ""  # What else there is to say; what departs from the permit or the plan.
    exceptions: str = ""  # What else there is to say; what departs from the permit or the plan.
    invented: bool = False  # Whether the data are made up; every sheet then says so.


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


DEFAULT_SPREAD = 1.0 / 16 * 0.0254
"""Spread of one ruler reading where none is stated. [m] (1/16 in: common practice, no source)"""


@dataclass(frozen=True, kw_only=True)
class Box:
    """The box itself."""

    shape: str = "rectangle"  # `rectangle` or `round`.
    # Inside length along the inlet direction and width across it; one diameter for a round box;
    # empty when not measured. [m]
    inside: tuple[float, ...] = ()
    inlet: str | None = None  # `straight`, `turned down`, `tee` or `baffle`.
    inlet_drop: float | None = None  # Inlet invert over the outlet pipes' inverts. [m]
    sump: float | None = None  # Box floor below the outlet pipes' inverts. [m]
    # Lowest place where water could leave other than by the outlets, over the still water that the
    # readings were taken from. [m]
    rim: float | None = None


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
    # Hole centre from pipe centre; None where the insert cannot be turned. [m]
    hole_offset: float | None = None
    # Angle of the hole from straight down, clockwise as seen from inside the box. [rad]
    clock: float | None = None
    line_length: float | None = None  # Length of the line this outlet feeds. [m]
    line_area: float | None = None  # Bottom area of the trench this outlet feeds. [m2]
    # Fall over length of the header beyond the box; matters for a bare pipe end. [-]
    header_fall: float | None = None
    capped: bool = False  # Whether the outlet is closed on purpose.


@dataclass(frozen=True, kw_only=True)
class Flow:
    """A named steady inflow at the box. [m3/s]"""

    name: str
    inflow: float


@dataclass(frozen=True, kw_only=True)
class Target:
    """What each line ought to get: `equal`, by `length`, by `area`, or typed `list` weights.

    `weights` has one entry per outlet, capped ones included (theirs counts as 0), and is empty
    unless `by` is `list`. [-]
    """

    by: str = "equal"
    weights: tuple[float, ...] = ()


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """Allowed difference of a share from its target, and who says so."""

    share: float  # As a fraction of the target. [-]
    source: str | None = None  # The permit, the code section, the inspector.


@dataclass(frozen=True, kw_only=True)
class Site:
    """One box as measured."""

    title: str = ""  # What the job is called.
    box: Box = field(default_factory=Box)  # The box itself.
    outlets: tuple[Outlet, ...]  # At least one, in the order of the file.
    flows: tuple[Flow, ...]  # The flows to compute, in the order of the file.
    # Stated standard deviation of one reading; None where not stated. [m]
    spread: float | None = None
    # Whether the readings of the outlets only show where readings go and were never taken.
    placeholder: bool = False
    target: Target = field(default_factory=Target)  # What each line ought to get.
    # How far a share may be from its target; None where nobody said.
    tolerance: Tolerance | None = None
    grades: Survey | None = None  # Rod readings along the pipes; None where there are none.
    pours: tuple[Pour, ...] = ()  # Pours of clean water, planned or done.
    record: JobRecord = field(default_factory=JobRecord)  # What the paper of the job says besides.
    # What was seen of the system in trouble, for `diagnosis`.
    evidence: Evidence = field(default_factory=Evidence)
    priors: tuple[Prior, ...] = ()  # How common the user takes causes to be.
    works: Works = field(default_factory=Works)  # What stands before the box and behind it.
