"""Boxes of every sort that the drawings must cope with; invented."""

from collections.abc import Sequence
from functools import cache, lru_cache
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure

from dbox import Circle, Notch, Opening, PipeEnd, Slot
from dbox.drawings.level_picture import level_figure
from dbox.drawings.split_picture import split_figure
from dbox.fieldwork.levelling import Levelling, level
from dbox.fieldwork.shares import Assessment, assess
from dbox.fieldwork.site import Box, Flow, Outlet, Site, Tolerance
from dbox.files import scenario
from dbox.units import GALLON, INCH, MINUTE

GPM = GALLON / MINUTE
THREE = {"trickle": 0.5, "bucket": 5.0, "dose": 30.0}
SIX = {"trickle": 0.3, "drip": 0.5, "shower": 2.5, "washer": 5.0, "bucket": 8.0, "dose": 30.0}
LONG = tuple(f"north field, line {i + 1}, upper half" for i in range(20))


def flows(amounts: dict[str, float]) -> tuple[Flow, ...]:
    """Flows from names and gallons a minute."""
    return tuple(Flow(name=name, inflow=amount * GPM) for name, amount in amounts.items())


def places(n: int, along: float, across: float, *, is_round: bool = False) -> np.ndarray:
    """Places of n outlets all round the walls but the inlet's, clockwise. [in]"""
    way = np.linspace(0.0, 1.0, n + 2)[1:-1]
    if is_round:
        turn, radius = 2.0 * np.pi * way, 0.5 * along
        return np.column_stack([radius - radius * np.cos(turn), radius - radius * np.sin(turn)])
    gone = way * (2.0 * along + across)
    x = np.clip(np.minimum(gone, 2.0 * along + across - gone), 0.0, along)
    return np.column_stack([x, np.clip(gone - along, 0.0, across)])


def box(
    n: int,
    *,
    noise: float = 1.5,
    lean: tuple[float, float] = (0.0, 0.0),
    openings: Sequence[Opening] = (Circle(2 * INCH),),
    offset: float = 0.5,
    fixed: Sequence[int] = (),
    capped: Sequence[int] = (),
    clocks: bool = True,
    placed: bool = True,
    labels: Sequence[str] = (),
    size: tuple[float, ...] = (16.0, 20.0),
    shape: str = "rectangle",
    tolerance: float | None = 0.1,
    amounts: dict[str, float] = THREE,
    title: str = "",
) -> Site:
    """A box whose lips scatter by `noise` sixteenths of an inch and lean with the box."""
    rng = np.random.default_rng(n)
    spots = places(n, *((size or (16.0, 20.0)) * 2)[:2], is_round=shape == "round")
    heights = np.round(rng.normal(0.0, noise, n)) / 16 + spots @ lean
    turns = np.radians(10.0 * rng.integers(-6, 6, n))
    outlets = tuple(
        Outlet(
            label=labels[i] if labels else str(i + 1),
            opening=openings[i % len(openings)],
            readings=() if i in capped else (float(heights[i]) * INCH,),
            position=(float(spots[i, 0]) * INCH, float(spots[i, 1]) * INCH) if placed else None,
            hole_offset=None if i in fixed else offset * INCH,
            clock=float(turns[i]) if clocks else None,
            capped=i in capped,
        )
        for i in range(n)
    )
    return Site(
        title=title,
        box=Box(shape=shape, inside=tuple(s * INCH for s in size), inlet="turned down"),
        outlets=outlets,
        flows=flows(amounts),
        spread=INCH / 32,
        tolerance=None if tolerance is None else Tolerance(share=tolerance, source="permit 7"),
    )


ANY_HOLE = (Circle(2 * INCH), Notch(np.pi / 2), Slot(INCH), Slot(INCH, 2 * INCH), PipeEnd(0.1))
TITLE = "A job at the very end of a very long road, typed in full because the permit has it so"

SITES: dict[str, dict[str, Any]] = {
    "one": {"n": 1, "amounts": {"trickle": 0.5}},
    "two": {"n": 2},
    "five, no positions": {"n": 5, "placed": False},
    "six, long labels, no tolerance": {"n": 6, "labels": LONG, "tolerance": None},
    "twelve, two capped": {"n": 12, "capped": (3, 7)},
    "twenty, six flows, long": {"n": 20, "amounts": SIX, "labels": LONG, "title": TITLE},
    "twenty, no positions": {"n": 20, "placed": False},
    "nine flows": {"n": 8, "amounts": {**SIX, "x": 1.0, "y": 3.0, "z": 20.0}},
    "every hole": {"n": 5, "openings": ANY_HOLE, "fixed": (1, 2, 3, 4)},
    "head far over the holes": {"n": 4, "openings": (Circle(INCH),), "amounts": {"burst": 60.0}},
    "no clocks": {"n": 6, "clocks": False, "capped": (2,)},
    "fixed": {"n": 6, "fixed": (1, 4), "capped": (5,), "noise": 1.0},
    "round": {"n": 8, "shape": "round", "size": (24.0,), "capped": (2,)},
    "round to re-bed": {"n": 7, "shape": "round", "size": (20.0,), "lean": (0, 0.05),
                        "offset": 0.2},
    "twenty to re-bed, long": {"n": 20, "lean": (0.05, -0.08), "offset": 0.25, "labels": LONG},
    "sixteen round to re-bed": {"n": 16, "shape": "round", "size": (30.0,), "offset": 0.2,
                                "lean": (0.05, 0.05)},
    "re-bed, no size": {"n": 6, "lean": (-0.05, 0.05), "offset": 0.25, "size": ()},
    "level": {"n": 4, "noise": 0.0, "tolerance": 0.9},
}  # fmt: skip


@cache
def sites() -> dict[str, Site]:
    """Every box by name, the shipped scenarios among them."""
    shipped = {name: scenario.load(scenario.resolve(name)) for name in scenario.shipped_names()}
    return shipped | {name: box(**how) for name, how in SITES.items()}


EVERYDAY = {
    "off-level", "twelve, two capped", "twenty, six flows, long", "every hole", "no clocks",
    "fixed", "round to re-bed", "re-bed, no size",
}  # fmt: skip
NAMES = tuple(
    pytest.param(name, marks=[] if name in EVERYDAY else pytest.mark.slow) for name in sites()
)
"""Every box; those that differ most are looked at every day, the rest in the longer checks."""


@lru_cache(8)
def split_drawn(name: str) -> tuple[Assessment, Figure]:
    """Shares of a box and their picture."""
    assessment = assess(sites()[name], samples=100)
    return assessment, split_figure(sites()[name], assessment)


@lru_cache(8)
def level_drawn(name: str) -> tuple[Levelling, Figure]:
    """What to do at a box and its picture."""
    levelling = level(sites()[name], samples=100)
    return levelling, level_figure(levelling)
