"""Stations read along the pipes, and the limits their falls are held to.

A run is one pipe from its upper end to its lower one. Its heights are over a datum that only those
runs share which were read from one place of the instrument: a rod reading is a depth under the line
of sight, so a greater reading is a lower pipe. Nothing here computes. What is made by `key` is a
key of a scenario's `[grades]`:

    [[grades.run]]
    name    = "header 1"
    kind    = "header"
    outlet  = "1"
    station = [
        {at = "0 ft", rod = "60-1/8 in", name = "box"},
        {at = "4 ft", rod = ["60-5/8 in", "60-11/16 in"]},
    ]
"""

from dataclasses import dataclass

from dbox import units
from dbox.errors import any_of, show
from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS
from dbox.keys import flag, key, label, length, limited, line, one_of, several, size, spread

RUN_KINDS = ("house sewer", "supply pipe", "header")

DEFAULT_ROD_SPREAD = units.INCH / 8
"""Spread of one rod reading where none is stated. [m] (1/8 in: common practice, no source)"""

MOST_READINGS = 100
"""Readings of one station. [-] (judgement)"""

SOURCE = "Who asks for it: the permit, the code section, the inspector."

_roughness = limited(units.number, 0.005, 0.05, "Manning's n of a pipe is between 0.005 and 0.05")
_least_fall = limited(units.grade, 0.0, 0.5, "a least fall is between 0 and 50 %")
_BOTH = "a limit is a value and its source"


# fmt: off
@dataclass(frozen=True, kw_only=True)
class Limit:
    """A limit and who says so."""

    value: float  # A fall over length [-], or a height or a distance [m].
    source: str = key(line, SOURCE, "permit", needed=_BOTH)
    default: bool = False  # Whether it was taken because the file names none.


def _usual(value: float, source: str) -> Limit:
    """A limit where the file names none; value [-] or [m]."""
    return Limit(value=value, source=source, default=True)


@dataclass(frozen=True, kw_only=True)
class FallLimit(Limit):
    """The least fall of a kind of run, and who asks for it."""

    value: float = key(
        _least_fall, "Least fall over length.", "1/8 in/ft", "1 in in 4 ft", "1 %", name="least",
        needed=_BOTH)


@dataclass(frozen=True, kw_only=True)
class DropLimit(Limit):
    """The least drop from the box's inlet to its outlets, and who asks for it."""

    value: float = key(
        length(0.0, 1.0, "a least inlet drop is between 0 and 1 m"),
        "Least height of the inlet's invert over the outlet pipes' inverts.", "1 in", name="least",
        needed=_BOTH)


@dataclass(frozen=True, kw_only=True)
class SpacingLimit(Limit):
    """How far apart two stations may be, and who asks for it."""

    value: float = key(
        limited(units.length, 0.1, 100.0, "a spacing is between 0.1 m and 100 m"),
        "Greatest distance between two stations, about.", "4 ft", name="most", needed=_BOTH)


@dataclass(frozen=True, kw_only=True)
class Limits:
    """What the falls are held to; each fall or drop that is absent has a marked default.

    References
    ----------
    Minn. R. 7080.2050, subp. 2 C: the minimum slope for gravity supply pipes is one percent
    (1/8 inch per linear foot).
    Uniform Plumbing Code 708.0, as quoted in public forums: horizontal drains fall 1/4 inch per
    foot; of 3 inches and more, 1/8 where that cannot be had. Others ask less: Municipal Code of
    Chicago, table 18-29-704.1, after the International Plumbing Code's 704.1 (from memory),
    1/8 inch per foot of 3 to 6 inches.
    """

    house_sewer: Limit = key(
        FallLimit, "Least fall of a house sewer.",
        default=_usual(0.25 / 12, "Uniform Plumbing Code 708.0, as quoted; common practice"))
    supply_pipe: Limit = key(
        FallLimit, "Least fall of a supply pipe, tank to box.",
        default=_usual(0.01, "Minn. R. 7080.2050"))
    header: Limit = key(
        FallLimit, "Least fall of a header, box to line.",
        default=_usual(
            0.01, "common practice, no source; Minn. R. 7080.2050 asks it of supply pipes"))
    inlet_drop: Limit = key(
        DropLimit, "Least drop from the box's inlet to its outlets.",
        default=_usual(units.INCH, "25 Pa. Code 73.42; N.J.A.C. 7:9A-9.4"))
    spacing: Limit | None = key(
        SpacingLimit, "Greatest distance between two stations; absent: none is asked for.")

    def fall(self, kind: str) -> Limit:
        """Least fall of a kind of run, one of `RUN_KINDS`. [-]"""
        limit: Limit = getattr(self, kind.replace(" ", "_"))
        return limit


@dataclass(frozen=True, kw_only=True)
class Station:
    """A place along a run where the invert of the pipe was read."""

    at: float = key(
        # runs are in feet or metres, so a bare number is refused
        limited(units.length, 0.0, 1000.0, "a distance along a run is between 0 and 1000 m"),
        "Distance along the run from its upper end, with its unit.", "4 ft", needed=True)
    name: str = key(line, "What stands there; absent: just pipe.", "tank outlet", default="")
    rod: tuple[float, ...] | None = key(
        several(length(0.0, 10.0, "a rod reading is between 0 and 10 m"), MOST_READINGS),
        "Rod reading, greater where the pipe is lower; a list where it was read more than once.",
        "60-1/8 in", ["60-1/8 in", "60-3/16 in"])
    elevation: tuple[float, ...] | None = key(
        several(length(-500.0, 9000.0, "an elevation is between -500 m and 9000 m"), MOST_READINGS),
        "Height over a benchmark, where there are no rod readings.", "98.25 ft")

    @property
    def heights(self) -> tuple[float, ...]:
        """Every reading as a height over the run's datum; below it, as from a rod, negative. [m]"""
        return tuple(-rod for rod in self.rod) if self.rod else self.elevation or ()


@dataclass(frozen=True, kw_only=True)
class Run:
    """One pipe, from its upper end to its lower."""

    name: str = key(label, "What the run is called on site.", "supply pipe", needed=True)
    kind: str = key(
        one_of(RUN_KINDS), "What kind of pipe it is.", "supply pipe",
        needed=f"write {any_of(map(show, RUN_KINDS))}")
    outlet: str | None = key(label, "Label of the outlet that a header leads away from.", "1")
    diameter: float | None = key(size, "Inside diameter; absent: that of [grades].", "4.026 in")
    roughness: float = key(
        _roughness, "Manning's n; absent: that of [grades].", 0.010, default=PLASTIC_ROUGHNESS)
    instrument: str | None = key(
        label, "Where the instrument stood; runs read from two places are not compared in height. "
        "Absent: the same place for all.", "by the tank")
    stations: tuple[Station, ...] = key(
        Station, "The stations, in the order of the water's way.", many=True, name="station",
        default=())

    @property
    def datum(self) -> str:
        """What the heights are over; heights of two runs compare where it is the same."""
        by_rod = any(station.rod is not None for station in self.stations)
        return f"{'rod' if by_rod else 'elevation'}: {self.instrument or ''}"


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Rod readings along the pipes."""

    spread: float | None = key(
        spread, "One standard deviation of one rod reading; absent: 1/8 in.", "1/16 in")
    diameter: float | None = key(size, "Inside diameter of every run that names none.", "4.026 in")
    roughness: float | None = key(
        _roughness, "Manning's n of every run that names none; absent: 0.010.", 0.010)
    limits: Limits = key(Limits, "What the falls are held to.", default=Limits())
    placeholder: bool | None = key(
        flag, "Whether the readings only show where yours go; nothing is computed from them then.",
        True)
    runs: tuple[Run, ...] = key(
        Run, "The runs, in the order of the water's way.", many=True, name="run",
        common=("diameter", "roughness"), default=())
# fmt: on
