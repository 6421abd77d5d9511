"""The box of a lesson: how its lips stand once it leans, and what its water does at any setting.

Every lip of a lesson's box is level to begin with. A box that leans carries its lips on a plane:
with x along the inlet direction and y across it, both from the middle of the box,

    lip = -far_low x / length - right_low y / width

so that the far wall stands `far_low` lower than the inlet wall, and the right wall `right_low`
lower than the left one, as seen by one who looks from the inlet into the box.

A bench is such a box with things to set: how it leans both ways, the flow, one lip that is wrong,
the kind of opening, and whether the trench of that lip's line has filled. A filled trench holds
water against its outlet, `FILLED` over where the lips of the level box are.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, ArrayLike, freeze
from dbox.errors import DomainError, outlets_text
from dbox.fieldwork.site import Box, Flow, JobRecord, Outlet, Site, Tolerance
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot
from dbox.hydraulics.split import Split, split
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


KINDS = (
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


def with_opening(site: Site, opening: Opening) -> Site:
    """The same box with another opening at every outlet."""
    return replace(site, outlets=tuple(replace(o, opening=opening) for o in site.outlets))


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

LEANS = tuple(part * INCH / 8 for part in range(-4, 5))
"""Leans of the frames, either way. [m] (judgement)"""

WRONG_LIPS = tuple(part * INCH / 16 for part in (-4, -2, -1, 0, 1, 2, 4))
"""Heights of the one wrong lip over the others in the frames. [m] (judgement)"""

INFLOWS = tuple(part * LITRE_PER_MINUTE for part in (1, 2, 4, 10, 20, 50, 120))
"""Flows of the frames. [m3/s] (judgement)"""

MOST_OUTLETS = 8
"""Outlets that a bench shows. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Bench:
    """A box to play with."""

    site: Site  # The box; its lips are level to begin with.
    kinds: tuple[Kind, ...] = KINDS  # Openings to choose from.
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

    def split(
        self,
        kind: int,
        inflow: ArrayLike,
        far_low: ArrayLike = 0.0,
        right_low: ArrayLike = 0.0,
        lip: ArrayLike = 0.0,
        filled: ArrayLike = False,
    ) -> Split:
        """Split the flow at any settings, all but kind broadcast together; heights as for `lips`.

        kind: place among the kinds; inflow [m3/s]; lean and lip [m]; filled: whether the trench of
        that line has filled.
        """
        lips = self.lips(far_low, right_low, lip)
        wrong = np.arange(lips.shape[-1]) == self.outlet
        tail = np.where(np.asarray(filled)[..., None] & wrong, FILLED, -np.inf)
        return split(inflow, lips, self.kinds[kind].opening, tail if np.any(filled) else None)


@dataclass(frozen=True, kw_only=True, eq=False)
class Frames:
    """A bench at every setting of a few; arrays are read-only."""

    bench: Bench  # What was set.
    inflow: Array  # (a,) Flows. [m3/s]
    far_low: Array  # (b,) How much lower the far wall stands. [m]
    right_low: Array  # (c,) How much lower the right wall stands. [m]
    lip: Array  # (d,) The one wrong lip over the others. [m]
    # (kinds, 2, a, b, c, d) Level over where the lips of the level box are; the second axis is
    # whether the trench has filled. [m]
    level: Array
    share: Array  # (kinds, 2, a, b, c, d, n) Share of each outlet. [-]


def frames(
    bench: Bench,
    inflows: Sequence[float] = INFLOWS,
    leans: Sequence[float] = LEANS,
    lips: Sequence[float] = WRONG_LIPS,
) -> Frames:
    """Split a bench at every combination of settings, one call for each kind of opening.

    inflows [m3/s], leans [m], lips [m].
    """
    settings = [np.array(values, np.float64) for values in (inflows, leans, leans, lips)]
    filled, inflow, far, right, lip = np.ix_(np.arange(2), *settings)
    results = [
        bench.split(kind, inflow, far, right, lip, filled > 0) for kind in range(len(bench.kinds))
    ]
    level = np.stack([result.level for result in results])
    share = np.stack([result.share for result in results])
    freeze(level, share, *settings)
    return Frames(
        bench=bench,
        inflow=settings[0],
        far_low=settings[1],
        right_low=settings[2],
        lip=settings[3],
        level=level,
        share=share,
    )
