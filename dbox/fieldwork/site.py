"""What is known about one box, in SI: the object every job is computed from.

A scenario file or a command line becomes a `Site`; nothing here computes. Missing means not
measured: `None` or an empty tuple, never zero.
"""

from dataclasses import dataclass, field

from dbox.fieldwork.records.evidence import Evidence, Prior
from dbox.fieldwork.records.job import JobRecord
from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.records.survey import Survey
from dbox.fieldwork.records.works import Works
from dbox.hydraulics.openings import Opening

DEFAULT_SPREAD = 1.0 / 16 * 0.0254
"""Spread of one ruler reading where none is stated. [m] (1/16 in: common practice, no source)"""


@dataclass(frozen=True, kw_only=True)
class Box:
    """The box itself.

    Parameters
    ----------
    shape : str
        `rectangle` or `round`.
    inside : tuple of float
        Inside length along the inlet direction and width across it; one diameter for a round
        box; empty when not measured. [m]
    inlet : str or None
        `straight`, `turned down`, `tee` or `baffle`.
    inlet_drop : float or None
        Inlet invert over the outlet pipes' inverts. [m]
    sump : float or None
        Box floor below the outlet pipes' inverts. [m]
    rim : float or None
        Lowest place where water could leave other than by the outlets, over the still water
        that the readings were taken from. [m]
    """

    shape: str = "rectangle"
    inside: tuple[float, ...] = ()
    inlet: str | None = None
    inlet_drop: float | None = None
    sump: float | None = None
    rim: float | None = None


@dataclass(frozen=True, kw_only=True)
class Outlet:
    """One outlet of the box, numbered clockwise from the inlet as seen from above.

    Parameters
    ----------
    label : str
        What the line is called on site.
    opening : Opening
        The opening that the effluent leaves through.
    readings : tuple of float
        Heights of the reading point over still water, + above it; empty when not measured. [m]
    point_over_lip : float
        Height of the reading point over the lip (0 when the lip itself was read). [m]
    position : tuple of float or None
        Distance along the inlet direction and across it, from the inlet wall's left corner. [m]
    hole_offset : float or None
        Hole centre from pipe centre; None where the insert cannot be turned. [m]
    clock : float or None
        Angle of the hole from straight down, clockwise as seen from inside the box. [rad]
    line_length : float or None
        Length of the line this outlet feeds. [m]
    line_area : float or None
        Bottom area of the trench this outlet feeds. [m2]
    header_fall : float or None
        Fall over length of the header beyond the box; matters for a bare pipe end. [-]
    capped : bool
        Whether the outlet is closed on purpose.
    """

    label: str
    opening: Opening
    readings: tuple[float, ...] = ()
    point_over_lip: float = 0.0
    position: tuple[float, float] | None = None
    hole_offset: float | None = None
    clock: float | None = None
    line_length: float | None = None
    line_area: float | None = None
    header_fall: float | None = None
    capped: bool = False


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
    """Allowed difference of a share from its target, and who says so.

    Parameters
    ----------
    share : float
        As a fraction of the target. [-]
    source : str or None
        The permit, the code section, the inspector.
    """

    share: float
    source: str | None = None


@dataclass(frozen=True, kw_only=True)
class Site:
    """One box as measured.

    Parameters
    ----------
    title : str
        What the job is called.
    box : Box
        The box itself.
    outlets : tuple of Outlet
        At least one, in the order of the file.
    flows : tuple of Flow
        The flows to compute, in the order of the file.
    spread : float or None
        Stated standard deviation of one reading; None where not stated. [m]
    placeholder : bool
        Whether the readings of the outlets only show where readings go and were never taken.
    target : Target
        What each line ought to get.
    tolerance : Tolerance or None
        How far a share may be from its target; None where nobody said.
    grades : Survey or None
        Rod readings along the pipes; None where there are none.
    pours : tuple of Pour
        Pours of clean water, planned or done.
    record : JobRecord
        What the paper of the job says besides.
    evidence : Evidence
        What was seen of the system in trouble, for `diagnosis`.
    priors : tuple of Prior
        How common the user takes causes to be.
    works : Works
        What stands before the box and behind it.
    """

    title: str = ""
    box: Box = field(default_factory=Box)
    outlets: tuple[Outlet, ...]
    flows: tuple[Flow, ...]
    spread: float | None = None
    placeholder: bool = False
    target: Target = field(default_factory=Target)
    tolerance: Tolerance | None = None
    grades: Survey | None = None
    pours: tuple[Pour, ...] = ()
    record: JobRecord = field(default_factory=JobRecord)
    evidence: Evidence = field(default_factory=Evidence)
    priors: tuple[Prior, ...] = ()
    works: Works = field(default_factory=Works)
