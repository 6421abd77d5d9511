"""The plan before digging, stations read along the pipes, and the limits their falls are held to.

A run is one pipe from its upper end to its lower one, or the bottom of a trench. Its heights are
over a datum that only those runs share which were read from one place of the instrument: a rod
reading is a depth under the line of sight, so a greater reading is a lower pipe. A run checked with
a spirit level and blocks has a datum of its own. Nothing here computes. What is made by `key` is a
key of a scenario's `[grades]` or `[plan]`:

    [[grades.run]]
    name    = "header 1"
    kind    = "header"
    outlet  = "1"
    station = [
        {at = "0 ft", rod = "60-1/8 in", name = "box"},
        {at = "4 ft", rod = ["60-5/8 in", "60-11/16 in"]},
    ]

    [[grades.run]]
    name   = "supply pipe"
    kind   = "supply pipe"
    level  = "4 ft"
    blocks = ["1/2 in", "1/2 in", "5/8 in"]
"""

from dataclasses import dataclass

from dbox import keys, units
from dbox.errors import any_of, show
from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS
from dbox.keys import flag, key, label, length, limited, line, one_of, several, size

RUN_KINDS = ("house sewer", "supply pipe", "header", "trench")
LEANS = ("toward its end", "toward the box")
"""Ways in which a trench bottom may be meant to lean."""

DEFAULT_ROD_SPREAD = units.INCH / 8
"""Spread of one rod reading where none is stated. [m] (1/8 in: common practice, no source)"""

DEFAULT_LEVEL_SPREAD = 0.0005
"""Fall over length by which a spirit level errs, the same way at each place of a run. [-] (0.5 mm
per m: common practice, no source)"""

DEFAULT_BLOCK_SPREAD = units.INCH / 32
"""Spread of one block with the bubble brought between the lines. [m] (judgement)"""

ORDINARY_LEVEL = 4 * units.FOOT
"""Length of a spirit level. [m] (common practice, no source)"""

MOST_READINGS = 100
"""Readings of one station. [-] (judgement)"""

SOURCE = "Who asks for it: the permit, the code section, the inspector."

_roughness = limited(units.number, 0.005, 0.05, "Manning's n of a pipe is between 0.005 and 0.05")
_least_fall = limited(units.grade, 0.0, 0.5, "a least fall is between 0 and 50 %")
_BOTH = "a limit is a value and its source"
_level = length(0.15, 4.0, "a spirit level is between 150 mm and 4 m long")
_height = length(-500.0, 9000.0, "a height is between -500 m and 9000 m")


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
class TrenchLimit(Limit):
    """How far a trench bottom may be out of level along it, and who asks for it."""

    value: float = key(
        length(0.0, 1.0, "a trench bottom may be out of level by 0 to 1 m"),
        "Greatest height of one place of a trench bottom over another.", "1/2 in", name="most",
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
    trench: Limit | None = key(
        TrenchLimit, "How far a trench bottom may be out of level; absent: nobody said.")
    spacing: Limit | None = key(
        SpacingLimit, "Greatest distance between two stations; absent: none is asked for.")

    def of(self, kind: str) -> Limit | None:
        """What a kind of run, one of `RUN_KINDS`, is held to: a fall [-], of a trench [m]."""
        limit: Limit | None = getattr(self, kind.replace(" ", "_"))
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
    """One pipe, from its upper end to its lower, or a trench bottom from the end at the header."""

    name: str = key(label, "What the run is called on site.", "supply pipe", needed=True)
    kind: str = key(
        one_of(RUN_KINDS), "What kind of pipe it is, or a trench bottom.", "supply pipe",
        needed=f"write {any_of(map(show, RUN_KINDS))}")
    outlet: str | None = key(
        label, "Label of the outlet that a header leads away from, or that feeds a trench.", "1")
    lean: str | None = key(
        one_of(LEANS), "The one way in which a trench bottom may lean by its design; absent: "
        "either, within what limits.trench allows.", "toward its end")
    diameter: float | None = key(size, "Inside diameter; absent: that of [grades].", "4.026 in")
    roughness: float = key(
        _roughness, "Manning's n; absent: that of [grades].", 0.010, default=PLASTIC_ROUGHNESS)
    instrument: str | None = key(
        label, "Where the instrument stood; runs read from two places are not compared in height. "
        "Absent: the same place for all.", "by the tank")
    level: float | None = key(
        _level, "Length of the spirit level that it was checked with; absent: that of [grades].",
        "4 ft")
    blocks: tuple[float, ...] = key(
        several(length(-0.5, 0.5, "a block is between -500 mm and 500 mm high"), MOST_READINGS),
        "Block under the low end of the level that brings the bubble between the lines, at one "
        "place after another from the upper end; negative where it goes under the upper end.",
        ["1/2 in", "9/16 in"], default=())
    every: float | None = key(
        # runs are in feet or metres, so a bare number is refused
        limited(units.length, 0.15, 100.0, "a level is set down every 150 mm to 100 m"),
        "Length of pipe that each block stands for, as one straight stick; absent: that of the "
        "level, set down end to end.", "10 ft")
    stations: tuple[Station, ...] = key(
        Station, "The stations, in the order of the water's way.", many=True, name="station",
        default=())

    @property
    def datum(self) -> str:
        """What the heights are over; heights of two runs compare where it is the same."""
        if self.blocks:
            return f"level and block: {self.name}"
        by_rod = any(station.rod is not None for station in self.stations)
        return f"{'rod' if by_rod else 'elevation'}: {self.instrument or ''}"


@dataclass(frozen=True, kw_only=True)
class Survey:
    """Readings along the pipes, by rod, elevation, or level and block."""

    spread: float | None = key(
        keys.spread, "One standard deviation of one rod reading; absent: 1/8 in.", "1/16 in")
    diameter: float | None = key(size, "Inside diameter of every run that names none.", "4.026 in")
    roughness: float | None = key(
        _roughness, "Manning's n of every run that names none; absent: 0.010.", 0.010)
    level: float | None = key(
        _level, "Length of the spirit level of every run with blocks that names none.", "4 ft")
    level_spread: float | None = key(
        limited(units.grade, 1e-6, 0.02, "a spirit level errs by above 0 to 2 %"),
        "By what fall over length a spirit level errs, one standard deviation, the same way at "
        "each place; absent: 0.5 mm per m.", "0.5 mm/m", "0.05 %")
    block_spread: float | None = key(
        keys.spread, "One standard deviation of one block with the bubble read; absent: 1/32 in.",
        "1/32 in")
    limits: Limits = key(Limits, "What the falls are held to.", default=Limits())
    placeholder: bool | None = key(
        flag, "Whether the readings only show where yours go; nothing is computed from them then.",
        True)
    runs: tuple[Run, ...] = key(
        Run, "The runs, in the order of the water's way.", many=True, name="run",
        common=("diameter", "roughness", "level"), default=())


@dataclass(frozen=True, kw_only=True)
class PlanLine:
    """What the plan says of one line."""

    outlet: str = key(label, "Label of its outlet.", "1", needed=True)
    bottom: float | None = key(
        _height, "Trench bottom that is asked for; absent: it follows from the falls.", "50 in")
    ground: tuple[float, ...] = key(
        several(_height, 2), "Ground over the header's end, and over the far end of the trench.",
        "26 in", ["26 in", "27 in"], default=())


@dataclass(frozen=True, kw_only=True)
class Plan:
    """What is planned before anything is dug: where the water starts, and what is asked for.

    Lengths and falls are those of [supply], [header], header_fall, [box] and [trench]. All heights
    are rod readings from one place of the instrument, greater where lower, or all are elevations.
    As long as no outlet is read, level lips are planned.
    """

    by: str = key(
        one_of(("rod", "elevation")), "How the plan gives heights: by rod readings, greater where "
        "lower, or as elevations; absent: rod.", "rod", default="rod")
    benchmark: float | None = key(
        length(-500.0, 9000.0, "an elevation is between -500 m and 9000 m"),
        "Elevation of the benchmark.", "100 ft")
    benchmark_rod: float | None = key(
        length(0.0, 10.0, "a rod reading is between 0 and 10 m"),
        "Rod reading on the benchmark.", "6 in")
    tank_outlet: float | None = key(_height, "Invert of the tank's outlet pipe.", "30 in")
    box_inlet: float | None = key(
        _height, "Invert of the box's inlet where it is given; absent: it follows from the supply "
        "pipe's fall.", "34 in")
    tank_ground: float | None = key(_height, "Ground over the tank's outlet.", "12 in")
    box_ground: float | None = key(_height, "Ground over the box.", "20 in")
    lip: float | None = key(
        length(0.0, 0.5, "a planned lip is 0 to 500 mm over the outlets' inverts"),
        "Height of the planned lips over the outlet pipes' inverts.", "1/2 in")
    level: float = key(
        _level, "Length of the spirit level that falls will be checked with; absent: 4 ft.",
        "4 ft", default=ORDINARY_LEVEL)
    lines: tuple[PlanLine, ...] = key(
        PlanLine, "What is asked for of single lines, and their ground.", many=True, name="line",
        default=())

    @property
    def begins(self) -> bool:
        """Whether it gives a height to begin with."""
        return self.tank_outlet is not None or self.box_inlet is not None
# fmt: on
