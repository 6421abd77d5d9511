"""The box of a lesson, and where its lips stand once it leans.

Every lip of a lesson's box is level to begin with. A box that leans carries its lips on a plane:
with x along the inlet direction and y across it, both from the middle of the box,

    lip = -far_low x / length - right_low y / width

so that the far wall stands `far_low` lower than the inlet wall, and the right wall `right_low`
lower than the left one, as seen by one who looks from the inlet into the box.
"""

from dataclasses import replace

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError
from dbox.fieldwork.site import Box, Flow, JobRecord, Outlet, Site, Tolerance
from dbox.hydraulics.openings import Circle, Opening

INCH = 0.0254
LITRE_PER_MINUTE = 1e-3 / 60

LESSON_FLOWS = (
    Flow(name="trickle, least", inflow=1 * LITRE_PER_MINUTE),
    Flow(name="trickle, most", inflow=4 * LITRE_PER_MINUTE),
    Flow(name="bucket", inflow=20 * LITRE_PER_MINUTE),
    Flow(name="dose", inflow=120 * LITRE_PER_MINUTE),
)
"""An ordinary day, 1 to 4 L/min (Water Science and Technology 51(10), 2005, p. 39), a bucket and
a pump's dose (common practice, no source). [m3/s]"""

LESSON_TOLERANCE = Tolerance(
    share=0.10, source="assumed for the lesson; none holds in general, ask the permit"
)
"""Tolerance of a lesson where nobody gave one."""

LESSON_HOLE = Circle(2 * INCH, coefficient=0.6)
"""Opening of a lesson's box. The coefficient is usual for a sharp-edged hole; among equal holes it
hardly matters to the shares."""

_INSIDE = (16 * INCH, 20 * INCH)


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
    along = np.clip(np.minimum(way, 2 * length + width - way), 0.0, length)
    across = np.clip(way - length, 0.0, width)
    return Site(
        title=f"A bench box with {outlets} outlets",
        box=Box(inside=_INSIDE, inlet="turned down"),
        outlets=tuple(
            Outlet(label=str(i + 1), opening=opening, position=(float(x), float(y)))
            for i, (x, y) in enumerate(zip(along, across, strict=True))
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
    open_ = np.array([not outlet.capped for outlet in site.outlets])
    lost = [o.label for o in site.outlets if not o.capped and o.position is None]
    if lost:
        raise DomainError(f"outlet {', '.join(lost)} has no position: a lean cannot reach it")
    places = np.array([o.position or (0.0, 0.0) for o in site.outlets])
    middle, span = _middle_and_span(site.box, places[open_])
    x, y = ((places - middle) / span).T
    far, right = (np.asarray(low, np.float64)[..., None] for low in (far_low, right_low))
    return np.where(open_, -far * x - right * y, np.inf)


def _middle_and_span(box: Box, places: Array) -> tuple[Array, Array]:
    """Middle and size of the inside; those of the outlets where it was not measured. [m]"""
    if box.inside:
        size = np.array(box.inside * 2 if len(box.inside) == 1 else box.inside)
        return size / 2, size
    low, high = places.min(0), places.max(0)
    return (low + high) / 2, np.where(high > low, high - low, 1.0)
