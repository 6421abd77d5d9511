"""The box of a lesson: what its water does once it leans, or one lip is wrong, with any opening.

Every lip of a lesson's box is level to begin with. A box that leans carries its lips on a plane:
with x along the inlet direction and y across it, both from the middle of the box,

    lip = -far_low x / length - right_low y / width

so that the far wall stands `far_low` lower than the inlet wall, and the right wall `right_low`
lower than the left one, as seen by one who looks from the inlet into the box.

A bench is such a box with things to set: how it leans both ways, the flow, one lip that is wrong,
the kind of opening, and whether the trench of that lip's line has filled. A filled trench holds
water against its outlet, `FILLED` over where the lips of the level box are.

A table of errors has all lips level but the first, at every flow. The exercise of a handout has the
box of that table; what is caught in a time is share times flow times time.

A sweep leans the box step by step towards one side, and both ways at once over a grid; every lean
is split at every flow. How far it may lean any way is found by halving; where another line leaves
the tolerance first, that room has a true corner.

A comparison gives every kind of opening the same box, wrong lip and flows: the narrower it is, the
higher the water stands over it and the less an error matters, but the higher the inlet must stand.
A choice asks it of one box.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, ArrayLike, freeze
from dbox.errors import DomainError, outlets_text
from dbox.fieldwork.shares import over_target, target_shares
from dbox.fieldwork.site import Box, Flow, JobRecord, Outlet, Site, Tolerance
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot
from dbox.hydraulics.split import range_notes, split
from dbox.notes import Note
from dbox.units import INCH, LITRE_PER_MINUTE

LESSON_FLOWS = (
    Flow(name="trickle, least", inflow=1 * LITRE_PER_MINUTE),
    Flow(name="trickle, most", inflow=4 * LITRE_PER_MINUTE),
    Flow(name="bucket", inflow=20 * LITRE_PER_MINUTE),
    Flow(name="dose", inflow=120 * LITRE_PER_MINUTE),
)
"""The least and the most of an ordinary day, a bucket and a pump's dose in round litres, so that a
class can check them by hand. [m3/s] (as `dbox.units` has them in gallons, with their sources)"""

LESSON_TOLERANCE = Tolerance(
    share=0.10, source="assumed for the lesson; none holds in general, ask the permit"
)
"""Tolerance of a lesson where nobody gave one. [-] (judgement)"""

LESSON_HOLE = Circle(2 * INCH, coefficient=0.6)
"""Opening of a lesson's box: its diameter [m] and a coefficient [-] usual for a sharp-edged hole
(common practice, no source); among equal holes it hardly matters to the shares."""

_INSIDE = (16 * INCH, 20 * INCH)  # Inside of a lesson's box, along and across. [m] (invented)


@dataclass(frozen=True)
class Kind:
    """A kind of opening and what it is called."""

    name: str
    opening: Opening


LESSON_KINDS = (
    Kind("round hole", Circle(2 * INCH)),
    Kind("large hole", Circle(3.5 * INCH)),
    Kind("V-notch", Notch(np.pi / 2)),
    Kind("slot", Slot(INCH)),
    Kind("bare pipe end", PipeEnd(4.026 * INCH)),
)
"""A 2 in hole, a 3-1/2 in hole, a 90 degree notch, a 1 in slot open on top, a 4 in pipe of schedule
40 (inside 4.026 in, ASME B36.10M: from memory). [m], [rad]"""


def lesson_site(
    outlets: int = 4,
    opening: Opening = LESSON_HOLE,
    *,
    flows: tuple[Flow, ...] = LESSON_FLOWS,
    tolerance: Tolerance = LESSON_TOLERANCE,
) -> Site:
    """Make up a box: outlets evenly along the left, far and right wall, all lips level.

    >>> [outlet.label for outlet in lesson_site(3).outlets]
    ['1', '2', '3']
    """
    if not 2 <= outlets <= 20:
        raise DomainError(f"a box with {outlets} outlets; a lesson takes 2 to 20")
    length, width = _INSIDE
    way = (np.arange(outlets) + 0.5) / outlets * (2 * length + width)
    along = np.clip(np.minimum(way, 2 * length + width - way), 0.0, length).tolist()
    across = np.clip(way - length, 0.0, width).tolist()
    return Site(
        title=f"A bench box with {outlets} outlets",
        box=Box(inside=_INSIDE, inlet="turned down"),
        outlets=tuple(
            Outlet(label=str(i), opening=opening, position=place)
            for i, place in enumerate(zip(along, across, strict=True), start=1)
        ),
        flows=flows,
        tolerance=tolerance,
        record=JobRecord(invented=True),
    )


def leaning_lips(site: Site, far_low: ArrayLike, right_low: ArrayLike) -> Array:
    """Lips of a box that was level and leans now, over the middle of the box.

    far_low [m], right_low [m] -> [m].

    >>> box = lesson_site(2)
    >>> (leaning_lips(box, 0.0, 0.004) * 1e3).round(3).tolist()
    [2.0, -2.0]
    """
    lost = [o.label for o in site.outlets if not o.capped and o.position is None]
    if lost:
        raise DomainError(f"no position of {outlets_text(lost)} is given: a lean cannot reach it")
    is_open = np.array([not outlet.capped for outlet in site.outlets])
    places = np.array([o.position or (0.0, 0.0) for o in site.outlets])
    low, high = np.zeros(2), np.resize(site.box.inside or (0.0,), 2)
    if not site.box.inside:
        # Not measured: it leans over its outlets.
        low, high = places[is_open].min(0), places[is_open].max(0)
    x, y = ((places - (low + high) / 2) / np.where(high > low, high - low, 1.0)).T
    far, right = (np.asarray(low, np.float64)[..., None] for low in (far_low, right_low))
    return np.where(is_open, -far * x - right * y, np.inf)


FILLED = 0.5 * INCH
"""Water that a filled trench holds against its outlet, over the lips of the level box. [m]
(invented)"""

MOST_OUTLETS = 20
"""Outlets that a bench shows. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A box to play with."""

    site: Site  # The box; its lips are level to begin with.
    kinds: tuple[Kind, ...] = LESSON_KINDS  # Openings to choose from.
    outlet: int = 0  # Place of the outlet whose lip can be wrong and whose trench can fill.

    def __post_init__(self) -> None:
        n = len(self.site.outlets)
        if n > MOST_OUTLETS:
            raise DomainError(f"{n} outlets; a bench shows at most {MOST_OUTLETS}")
        if not 0 <= self.outlet < n or self.site.outlets[self.outlet].capped:
            raise DomainError(f"outlet {self.outlet + 1} is not an open one of the {n} outlets")

    def lips(self, far_low: ArrayLike, right_low: ArrayLike, lip: ArrayLike) -> Array:
        """Where the lips stand; far_low [m], right_low [m], lip [m] -> [m]."""
        leaning = leaning_lips(self.site, far_low, right_low)
        wrong = np.arange(leaning.shape[-1]) == self.outlet
        return np.where(wrong, np.asarray(lip, np.float64)[..., None], 0.0) + leaning


LESSON_ERRORS = (
    tuple(part * INCH for part in (-1 / 32, -1 / 16, -1 / 8, -1 / 4, 1 / 8)),
    (-0.001, -0.002, -0.003, -0.006, 0.003),
)
"""Errors of the usual table in inches and metric, + above the others. [m] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class LipTable:
    """The share of a line whose lip is wrong; arrays are read-only."""

    opening: Opening  # The opening of every outlet.
    outlets: int  # How many outlets the box has.
    flows: tuple[Flow, ...]  # The flows, one a row.
    error: Array  # (errors,) The wrong lip over the others, one a column. [m]
    share: Array  # (flows, errors) Share of its line. [-]
    level_head: Array  # (flows,) Head over the lips while all are level. [m]
    warnings: tuple[Note, ...]  # Where the model is weak.

    @property
    def fair(self) -> float:
        """Share of each line while the lips are level. [-]"""
        return 1.0 / self.outlets


def lip_table(
    opening: Opening,
    outlets: int,
    flows: Sequence[Flow],
    errors: Sequence[float] = LESSON_ERRORS[False],
) -> LipTable:
    """Split a box with one wrong lip, at every flow and every error; errors [m].

    >>> from dbox import Circle
    >>> bucket = Flow(name="bucket", inflow=20e-3 / 60)
    >>> lip_table(Circle(0.0508, coefficient=0.6), 4, [bucket]).share.round(2).tolist()
    [[0.27, 0.29, 0.34, 0.43, 0.17]]
    """
    if outlets < 2 or not flows:
        raise DomainError(f"{outlets} outlets and {len(flows)} flows; give at least 2 and 1")
    wrong = np.array([0.0, *errors])
    lips = np.zeros((wrong.size, outlets))
    lips[:, 0] = wrong
    inflow = np.array([flow.inflow for flow in flows])
    share = split(inflow[:, None], lips, opening).share[:, 1:, 0].copy()
    level = split(inflow, lips[0], opening)
    error, head = wrong[1:].copy(), level.level.copy()
    freeze(error, share, head)
    return LipTable(
        opening=opening,
        outlets=outlets,
        flows=tuple(flows),
        error=error,
        share=share,
        level_head=head,
        warnings=range_notes(level, [flow.name for flow in flows]),
    )


LESSON_ERROR = (-INCH / 8, -0.003)
"""The one wrong lip of exercise and comparison over the others, likewise. [m] (judgement)"""

POURS = (LESSON_FLOWS[1], LESSON_FLOWS[2])
"""The pours of the exercise: the most of an ordinary day, a bucket. [m3/s] (judgement)"""

SECONDS = 30.0
"""For how long each outlet is caught. [s] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercise:
    """A bench exercise and what it gives."""

    table: LipTable  # The pours, with one error.
    seconds: float = SECONDS  # For how long each outlet is caught. [s]

    @property
    def share(self) -> Array:
        """Share of the line with the wrong lip, and of each other line. [-] (pours, 2)."""
        wrong = self.table.share[:, 0]
        return np.stack([wrong, (1.0 - wrong) / (self.table.outlets - 1)], -1)

    @property
    def caught(self) -> Array:
        """What each of the two catches. [m3] (pours, 2)."""
        inflow = np.array([[flow.inflow] for flow in self.table.flows])
        return np.asarray(self.share * inflow * self.seconds)


def exercise(opening: Opening, outlets: int, error: float = LESSON_ERROR[False]) -> Exercise:
    """Work out the exercise for a bench box; error [m]."""
    return Exercise(table=lip_table(opening, outlets, POURS, [error]))


SIDES = {"far": (1.0, 0.0), "inlet": (-1.0, 0.0), "right": (0.0, 1.0), "left": (0.0, -1.0)}
"""Which way a box leans towards each of its sides: far wall low, right wall low. [-]
(by definition)"""

MOST_LEAN = (0.375 * INCH, 0.012)
"""Lean up to which a sweep goes where nobody says, likewise. [m] (judgement)"""

USUAL_LEAN = (0.125 * INCH, 0.003)
"""Lean that people call nothing, in inches and in a metric job. [m] (judgement)"""

STEPS, GRID, WAYS = 97, 49, 145
"""Leans along a curve and a side of the map; ways round, the first one twice. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Sweep:
    """Shares of a leaning box; arrays are read-only."""

    site: Site  # The box.
    tolerance: Tolerance  # What is allowed: that of the site, or one assumed for the lesson.
    toward: str  # The side that the curve leans to, a key of `SIDES`.
    target: Array  # (n,) Wanted share of each outlet. [-]
    tilt: Array  # (steps,) How much lower that side stands than the one opposite. [m]
    share: Array  # (flows, steps, n) Share of each outlet along the curve. [-]
    low: Array  # (grid,) How much lower the far wall, or the right wall, stands on the map. [m]
    map_share: Array  # (flows, grid, grid, n) Share of each outlet, the far wall's lean first. [-]
    # (flows,) Lean towards that side at which some line leaves the tolerance; inf where none does
    # within the sweep, 0 where the level box is out already. [m]
    limit: Array
    way: Array  # (ways,) Way of a lean: from low on the right round to low at the far wall. [rad]
    room: Array  # (flows, ways) The same limit that way, inf where there is none. [m]
    level_head: Array  # (flows,) Head over the lips while they are level. [m]
    warnings: tuple[Note, ...]  # Where the model is weak.

    @property
    def over_target(self) -> Array:
        """Share over target of the line that gets the most for its target. [-] (flows, steps)."""
        return np.asarray(_over(self.share, self.target).max(-1))

    @property
    def ends(self) -> tuple[int, int]:
        """Places of the weakest and of the strongest flow."""
        inflow = [flow.inflow for flow in self.site.flows]
        return int(np.argmin(inflow)), int(np.argmax(inflow))

    @property
    def usual_step(self) -> int:
        """Place of the lean that people call nothing, or nearest to it."""
        return int(np.abs(self.tilt - USUAL_LEAN[self.site.metric]).argmin())

    @property
    def equal_targets(self) -> bool:
        """Whether every open line is to get the same, so that a share itself can be shown."""
        wanted = self.target[self.target > 0]
        return bool(np.ptp(wanted) < 1e-12)

    @property
    def scale(self) -> float:
        """Factor from share over target to what is shown, a share where all are equal. [-]"""
        return float(self.target.max()) if self.equal_targets else 1.0

    @property
    def worst(self) -> npt.NDArray[np.int64]:
        """Place of that line among the outlets, (flows, steps)."""
        over = _over(self.share, self.target)
        return np.asarray(np.flatnonzero(self.target > 0)[over.argmax(-1)])

    @property
    def map_over_target(self) -> Array:
        """The same over the map. [-] (flows, grid, grid)."""
        return np.asarray(_over(self.map_share, self.target).max(-1))

    @property
    def map_off(self) -> Array:
        """Largest difference of any line from its target, over it. [-] (flows, grid, grid)."""
        return _off(self.map_share, self.target)


def sweep(
    site: Site,
    *,
    toward: str = "right",
    most: float | None = None,
    steps: int = STEPS,
    grid: int = GRID,
) -> Sweep:
    """Lean a box and split it at every lean and flow; most [m]."""
    if toward not in SIDES:
        raise DomainError(f"toward is {toward!r}; a box leans to {', '.join(SIDES)}")
    most = MOST_LEAN[site.metric] if most is None else most
    if not (np.isfinite(most) and most > 0):
        raise DomainError(f"the most that the box leans is {most} m; it must be above 0")
    tilt, low = np.linspace(0.0, most, steps), np.linspace(-most, most, grid)
    lips = np.concatenate([
        leaning_lips(site, *(way * tilt for way in SIDES[toward])),
        leaning_lips(site, low[:, None], low).reshape(grid * grid, -1),
    ])  # fmt: skip
    inflow = np.array([flow.inflow for flow in site.flows])
    openings = [outlet.opening for outlet in site.outlets]
    share = split(inflow[:, None], lips, openings).share
    level = split(inflow, leaning_lips(site, 0.0, 0.0), openings)
    target, level_head = target_shares(site), level.level.copy()
    shares = share[:, :steps], share[:, steps:].reshape(inflow.size, grid, grid, -1)
    tolerance, way = site.tolerance or LESSON_TOLERANCE, np.linspace(0.0, 2 * np.pi, WAYS)
    ways = np.array([SIDES[toward], *zip(np.sin(way), np.cos(way), strict=True)])
    room = _room(site, openings, inflow, target, tolerance.share, ways)
    limit = np.where(room[:, 0] > most, np.inf, room[:, 0])
    freeze(tilt, low, target, level_head, limit, way, room, *shares)
    return Sweep(
        site=site, tolerance=tolerance, toward=toward, target=target, tilt=tilt, share=shares[0],
        low=low, map_share=shares[1], level_head=level_head, limit=limit, way=way, room=room[:, 1:],
        warnings=range_notes(level, [flow.name for flow in site.flows]),
    )  # fmt: skip


def _over(share: Array, target: Array) -> Array:
    """Share over target of the outlets that are to get any."""
    return over_target(share, target)[..., target > 0]


def _off(share: Array, target: Array) -> Array:
    """Largest difference of any outlet from its target, over it."""
    return np.asarray(np.abs(_over(share, target) - 1.0).max(-1))


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Kinds of openings under one error; arrays are read-only."""

    kinds: tuple[Kind, ...]  # What was compared.
    error: float  # The wrong lip over the others. [m]
    tables: tuple[LipTable, ...]  # That error under each of them.
    outlets: int  # How many outlets the box has.
    flows: tuple[Flow, ...]  # What flows into it.
    fair: float  # Share of each line while the lips are level. [-]
    share: Array  # (k, flows) Share of the line with the wrong lip. [-]
    head: Array  # (k, flows) Head over the lips while all are level. [m]

    @property
    def weakest(self) -> int:
        """Place of the smallest flow, at which an error matters the most."""
        return int(np.argmin([flow.inflow for flow in self.flows]))

    @property
    def drop(self) -> Array:
        """Head at the strongest flow: what the inlet must stand over the lips. [m] (k,)."""
        return np.asarray(self.head.max(-1))

    @property
    def notes(self) -> tuple[Note, ...]:
        """One note in place of a warning for every opening and flow."""
        weak = any(table.warnings for table in self.tables)
        return (Note(what="lesson: heads out of range"),) if weak else ()

    @property
    def order(self) -> npt.NDArray[np.int64]:
        """Places of the kinds, the most forgiving at the weakest flow first, (k,)."""
        off = np.abs(self.share[:, self.weakest] - self.fair)
        return np.asarray(np.argsort(off, kind="stable"))


def compare(
    kinds: Sequence[Kind] = LESSON_KINDS,
    *,
    outlets: int = 4,
    flows: Sequence[Flow] = LESSON_FLOWS,
    error: float = LESSON_ERROR[False],
) -> Comparison:
    """Hold kinds of openings against each other; error [m]."""
    if not kinds:
        raise DomainError("no opening to compare; name at least one")
    tables = tuple(lip_table(kind.opening, outlets, flows, [error]) for kind in kinds)
    share = np.array([table.share[:, 0] for table in tables])
    head = np.array([table.level_head for table in tables])
    freeze(share, head)
    return Comparison(
        kinds=tuple(kinds), error=error, tables=tables, outlets=outlets, flows=tuple(flows),
        fair=tables[0].fair, share=share, head=head,
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True, eq=False)
class Choice:
    """What each of k openings asks of a box and forgives; arrays are read-only."""

    site: Site  # The box, its lips level.
    kinds: tuple[Kind, ...]
    flows: tuple[Flow, Flow]  # The weakest and the strongest flow of the box.
    spread: float  # What one lip may be off. [m]
    head: Array  # (k, 2) Water over level lips at both. [m]
    # (k,) The most that one lip so far off moves a share at the weakest flow, over its target. [-]
    error: Array
    # (k,) How far a side may sink till a line is outside then; NaN without a verdict. [m]
    settles: Array
    # (k,) How unequal pipes inserts make up for; NaN where not all turn, or it is not known. [m]
    cures: Array


def choose(site: Site, kinds: Sequence[Kind], spread: float) -> Choice:
    """Hold openings against each other in a box, at its weakest and strongest flow; spread [m]."""
    weak, strong = (pick(site.flows, key=lambda flow: flow.inflow) for pick in (min, max))
    target, level = target_shares(site), leaning_lips(site, 0.0, 0.0)
    allowed, sides = site.allowed, np.array(list(SIDES.values()))
    steps = spread * np.eye(target.size)[target > 0]
    travel = 2.0 * np.min([o.hole_offset or np.nan for o in site.outlets if not o.capped])
    head, error, settles, cures = [], [], [], []
    for kind in kinds:
        result = split([weak.inflow, strong.inflow], level, kind.opening)
        wrong = split(weak.inflow, np.concatenate([level + steps, level - steps]), kind.opening)
        head.append(result.level)
        error.append(_over(np.abs(wrong.share - result.share[0]), target).max())
        settles.append(np.nan if allowed is None else _room(
            site, kind.opening, np.array([weak.inflow]), target, allowed, sides
        ).min())  # fmt: skip
        cures.append(travel if isinstance(kind.opening, Circle) and travel < np.inf else np.nan)
    found = [np.array(each, np.float64) for each in (head, error, settles, cures)]
    freeze(*found)
    return Choice(site=site, kinds=tuple(kinds), flows=(weak, strong), spread=spread, head=found[0],
                  error=found[1], settles=found[2], cures=found[3])  # fmt: skip


_FARTHEST = 0.5
"""Lean up to which a limit is looked for. [m] (judgement)"""


def _room(
    site: Site,
    openings: Opening | Sequence[Opening],
    inflow: Array,
    target: Array,
    allowed: float,
    ways: Array,
) -> Array:
    """The least that a level box leans till a line is outside, inf where it is over 0.5 m. [m]

    inflow (flows,) [m3/s]; ways (w, 2): far wall low, right wall low [-] -> (flows, w).
    """
    low = np.zeros((inflow.size, len(ways)))
    level = _off(split(inflow, leaning_lips(site, 0.0, 0.0), openings).share, target) <= allowed
    high = np.where(level[:, None], low + _FARTHEST, 0.0)
    for _ in range(40):
        middle = (low + high) / 2
        lips = leaning_lips(site, *(middle * way for way in ways.T))
        inside = _off(split(inflow[:, None], lips, openings).share, target) <= allowed
        low, high = np.where(inside, middle, low), np.where(inside, high, middle)
    return np.where(low < 0.999 * _FARTHEST, low, np.inf)
