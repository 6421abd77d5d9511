"""Boxes to work on, built from what a test cares about, and plain ways to judge the work."""

from collections.abc import Iterator, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

from dbox import Circle, Opening
from dbox.fieldwork.diagnosis.causes import index_of
from dbox.fieldwork.diagnosis.worlds import States
from dbox.fieldwork.site import Box, Flow, Outlet, Site, Tolerance

INCH = 0.0254
LITRE_PER_MINUTE = 1e-3 / 60
HOLE = Circle(2 * INCH, coefficient=0.6)

TRICKLE = Flow(name="trickle", inflow=2 * LITRE_PER_MINUTE)
POUR = Flow(name="pour", inflow=20 * LITRE_PER_MINUTE)
DOSE = Flow(name="dose", inflow=100 * LITRE_PER_MINUTE)

# four outlets at the sides of a box 16 by 20 in: along the inlet direction, across it
SIDES = tuple((x * INCH, y * INCH) for x, y in ((4, 0), (12, 0), (12, 20), (4, 20)))


def box(
    readings: Sequence[float | Sequence[float] | None],
    *,
    openings: Sequence[Opening] | Opening = HOLE,
    clocks: Sequence[float | None] | float | None = None,
    offset: Sequence[float | None] | float | None = 0.5 * INCH,
    capped: Sequence[int] = (),
    positions: Sequence[tuple[float, float] | None] | None = None,
    tolerance: float | None = 0.1,
    flows: Sequence[Flow] = (TRICKLE, POUR, DOSE),
    **site: Any,
) -> Site:
    """A site from its readings [m]; what is not a sequence holds for every outlet.

    Its inlet is turned down where no box is given.
    """
    n = len(readings)

    def each(value: Any) -> Sequence[Any]:
        return value if isinstance(value, Sequence) else [value] * n

    outlets = tuple(
        Outlet(
            label=str(i + 1),
            opening=each(openings)[i],
            readings=() if r is None else tuple(r) if isinstance(r, Sequence) else (r,),
            hole_offset=each(offset)[i],
            clock=each(clocks)[i],
            position=positions[i] if positions else None,
            capped=i in capped,
        )
        for i, r in enumerate(readings)
    )
    allowed = None if tolerance is None else Tolerance(share=tolerance)
    parts = {"box": Box(inlet="turned down"), **site}
    return Site(outlets=outlets, flows=tuple(flows), tolerance=allowed, **parts)


def arrays(result: object) -> Iterator[tuple[str, np.ndarray]]:
    """Every array a result holds, however deep, by name."""
    assert is_dataclass(result)
    for field in fields(result):
        value = getattr(result, field.name)
        if isinstance(value, np.ndarray):
            yield field.name, value
        elif is_dataclass(value) and not isinstance(value, Site):
            for name, array in arrays(value):
                yield f"{field.name}.{name}", array


def same_bytes(one: object, other: object) -> bool:
    """Whether two results hold the same arrays to the last bit."""
    return all(
        name == also and a.tobytes() == b.tobytes()
        for (name, a), (also, b) in zip(arrays(one), arrays(other), strict=True)
    )


def states(count: int = 1, **known: object) -> States:
    """Boxes of four level outlets under a leaning box, which shows nothing at one outlet alone."""
    shapes = {"slopes": 2, **dict.fromkeys(
        ("plane", "smooth", "read", "felt", "seep", "load", "day_share"), 4)}  # fmt: skip
    numbers = {f.name: np.zeros((count, shapes[f.name]) if f.name in shapes else count)
               for f in fields(States)}  # fmt: skip
    plain = {
        "cause": np.tile([index_of("tilt")[0], -1], (count, 1)),
        "outlet": np.full((count, 2), -1),
        "hole": np.full(count, -1),
        "tail": np.full((count, 4), -np.inf),
        "closed": np.zeros((count, 4), bool),
        "load": np.ones((count, 4)),
        "day_share": np.full((count, 4), 0.25),
    }
    return States(**numbers | plain | known)
