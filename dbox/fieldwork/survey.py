"""Stations read along the pipes, and the limits their falls are held to.

A run is one pipe from its upper end to its lower one. Its heights are over a datum that only those
runs share which were read from one place of the instrument: a rod reading is a depth under the line
of sight, so a greater reading is a lower pipe. Nothing here computes.
"""

from dataclasses import dataclass, field

from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS

RUN_KINDS = ("house sewer", "supply pipe", "header")

DEFAULT_ROD_SPREAD = 1.0 / 8 * 0.0254
"""Spread of one rod reading where none is stated. [m] (1/8 in: common practice, no source)"""


@dataclass(frozen=True, kw_only=True)
class Limit:
    """A limit and who says so."""

    value: float  # A fall over length [-], or a height or a distance [m].
    source: str  # The permit, code section or inspector that asks for it.
    default: bool = False  # Whether it was taken because the file names none.


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What the falls are held to; the defaults are marked as such.

    References
    ----------
    Minn. R. 7080.2050, subp. 2 C: the minimum slope for gravity supply pipes is one percent
    (1/8 inch per linear foot).
    Uniform Plumbing Code 708.0, as quoted in public forums: horizontal drains fall 1/4 inch per
    foot; of 3 inches and more, 1/8 where that cannot be had. Others ask less: Municipal Code of
    Chicago, table 18-29-704.1, after the International Plumbing Code's 704.1 (from memory),
    1/8 inch per foot of 3 to 6 inches.
    """

    # Least fall over length. [-]
    house_sewer: Limit = Limit(
        value=0.25 / 12,
        source="Uniform Plumbing Code 708.0, as quoted; common practice",
        default=True,
    )
    # Least fall over length. [-]
    supply_pipe: Limit = Limit(value=0.01, source="Minn. R. 7080.2050", default=True)
    # Least fall over length. [-]
    header: Limit = Limit(
        value=0.01,
        source="common practice, no source; Minn. R. 7080.2050 asks it of supply pipes",
        default=True,
    )
    # Least height of the box's inlet over its outlets. [m]
    inlet_drop: Limit = Limit(
        value=0.0254, source="25 Pa. Code 73.42; N.J.A.C. 7:9A-9.4", default=True
    )
    # Greatest distance between two stations, about; None where nobody asks for one. [m]
    spacing: Limit | None = None

    def fall(self, kind: str) -> Limit:
        """Least fall of a kind of run, one of `RUN_KINDS`. [-]"""
        limit: Limit = getattr(self, kind.replace(" ", "_"))
        return limit


@dataclass(frozen=True, kw_only=True)
class Station:
    """One place along a run where the invert of the pipe was read."""

    at: float  # Distance along the run, from its upper end. [m]
    # Every reading as a height over the run's datum; below it, as from a rod, negative. [m]
    heights: tuple[float, ...]
    name: str = ""  # What stands there; empty where it is just pipe.


@dataclass(frozen=True, kw_only=True)
class Run:
    """One pipe, from its upper end to its lower."""

    name: str  # What the run is called on site.
    kind: str  # One of `RUN_KINDS`.
    stations: tuple[Station, ...]  # At least two, each farther than the one before.
    outlet: str | None = None  # Label of the outlet that a header leads away from.
    diameter: float | None = None  # Inside diameter of the pipe; None where not known. [m]
    roughness: float = PLASTIC_ROUGHNESS  # Manning's n. [s/m^(1/3)]
    # Name of what the heights are over; heights of two runs compare where it is the same.
    datum: str = "rod"


@dataclass(frozen=True, kw_only=True)
class Survey:
    """All runs that were read."""

    runs: tuple[Run, ...]  # At least one, in the order of the file.
    # Stated standard deviation of one rod reading; None where not stated. [m]
    spread: float | None = None
    limits: Limits = field(default_factory=Limits)  # What the falls are held to.
    # Whether the readings only show where readings go and were never taken.
    placeholder: bool = False
