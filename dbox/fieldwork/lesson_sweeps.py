"""How far a box may lean or one lip be off, and which opening forgives most.

A table of errors has all lips level but the first, at every flow. The exercise of a handout has the
box of that table; what is caught in a time is share times flow times time.

A sweep begins with level lips (`lesson_box`). The box is leaned step by step towards one side, and
both ways at once over a grid; every lean is split at every flow.

A comparison gives every kind of opening the same box, the same one wrong lip and the same flows.
The narrower an opening, the higher the water stands over it and the less an error matters; but the
inlet must then stand higher over the outlets, or it drowns.

All cells of a table, and all leans and flows of a sweep, are one call of `split`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.lesson_box import KINDS, LESSON_FLOWS, LESSON_TOLERANCE, Kind, leaning_lips
from dbox.fieldwork.shares import over_target, target_shares
from dbox.fieldwork.site import Flow, Site, Tolerance
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import range_notes, split
from dbox.notes import Note
from dbox.units import INCH

LESSON_ERRORS = tuple(part * INCH for part in (-1 / 32, -1 / 16, -1 / 8, -1 / 4, 1 / 8))
"""Errors of the usual table, + above the other lips. [m] (judgement)"""


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
    errors: Sequence[float] = LESSON_ERRORS,
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


LESSON_ERROR = -INCH / 8
"""The one wrong lip over the others, in the exercise and in a comparison. [m] (judgement)"""

POURS = (LESSON_FLOWS[1], LESSON_FLOWS[2])
"""The pours of the exercise: the most of an ordinary day, and a bucket. [m3/s]
(judgement)"""

SECONDS = 30.0
"""For how long each outlet is caught. [s] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercise:
    """A bench exercise and what it gives."""

    table: LipTable  # The pours, with one error.
    seconds: float  # For how long each outlet is caught. [s]

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


def exercise(
    opening: Opening,
    outlets: int,
    *,
    pours: tuple[Flow, ...] = POURS,
    error: float = LESSON_ERROR,
    seconds: float = SECONDS,
) -> Exercise:
    """Work out the exercise for a bench box; error [m], seconds [s]."""
    if not seconds > 0:
        raise DomainError(f"each outlet is caught for {seconds} s; give a time above 0")
    return Exercise(table=lip_table(opening, outlets, pours, [error]), seconds=seconds)


SIDES = {"far": (1.0, 0.0), "inlet": (-1.0, 0.0), "right": (0.0, 1.0), "left": (0.0, -1.0)}
"""Which way a box leans towards each of its sides: far wall low, right wall low. [-]
(by definition)"""

MOST_LEAN = 0.375 * INCH
"""Lean up to which a sweep goes where nobody says. [m] (judgement)"""

USUAL_LEAN = 0.125 * INCH
"""Lean that people call nothing. [m] (judgement)"""

STEPS, GRID = 97, 49
"""Leans along a curve, and along either side of the map. [-] (judgement)"""


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
        """Place of the lean that people call nothing, an eighth of an inch, or nearest to it."""
        return int(np.abs(self.tilt - USUAL_LEAN).argmin())

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

    @property
    def limit(self) -> Array:
        """Lean at which some line leaves the tolerance, between steps by a straight line. [m]

        (flows,); inf where none does, 0 where the level box is out already.
        """
        limits, allowed = [], self.tolerance.share
        for off in _off(self.share, self.target):
            beyond = np.flatnonzero(off > allowed)
            first = int(beyond[0]) if beyond.size else self.tilt.size
            ends = slice(max(first - 1, 0), first + 1)
            limits.append(
                np.inf if not beyond.size else np.interp(allowed, off[ends], self.tilt[ends])
            )
        return np.array(limits)


def sweep(
    site: Site,
    *,
    toward: str = "right",
    most: float = MOST_LEAN,
    steps: int = STEPS,
    grid: int = GRID,
) -> Sweep:
    """Lean a box and split it at every lean and flow; most [m]."""
    if toward not in SIDES:
        raise DomainError(f"toward is {toward!r}; a box leans to {', '.join(SIDES)}")
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
    freeze(tilt, low, target, level_head, *shares)
    return Sweep(
        site=site,
        tolerance=site.tolerance or LESSON_TOLERANCE,
        toward=toward,
        target=target,
        tilt=tilt,
        share=shares[0],
        low=low,
        map_share=shares[1],
        level_head=level_head,
        warnings=range_notes(level, [flow.name for flow in site.flows]),
    )


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
    outlets: int  # How many outlets the box has.
    flows: tuple[Flow, ...]  # The flows.
    error: float  # The wrong lip over the others. [m]
    tables: tuple[LipTable, ...]  # That error under each of them.
    share: Array  # (k, flows) Share of its line. [-]
    head: Array  # (k, flows) Head over the lips while all are level. [m]

    @property
    def fair(self) -> float:
        """Share of each line while the lips are level. [-]"""
        return 1.0 / self.outlets

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
    kinds: Sequence[Kind] = KINDS,
    *,
    outlets: int = 4,
    flows: Sequence[Flow] = LESSON_FLOWS,
    error: float = LESSON_ERROR,
) -> Comparison:
    """Hold kinds of openings against each other; error [m]."""
    if not kinds:
        raise DomainError("no opening to compare; name at least one")
    tables = tuple(lip_table(kind.opening, outlets, flows, [error]) for kind in kinds)
    share = np.array([table.share[:, 0] for table in tables])
    head = np.array([table.level_head for table in tables])
    freeze(share, head)
    return Comparison(
        kinds=tuple(kinds),
        outlets=outlets,
        flows=tuple(flows),
        error=error,
        tables=tables,
        share=share,
        head=head,
    )
