"""Boxes drawn by hypothesis, and the slow plain way to split one."""

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st
from scipy.optimize import brentq

from dbox import Circle, Notch, Opening, PipeEnd, Slot, Split, split

LITRE_PER_MINUTE = 1e-3 / 60

coefficients = st.none() | st.floats(0.3, 0.9)
plates = st.one_of(
    st.builds(Circle, st.floats(0.015, 0.12), coefficient=coefficients),
    st.builds(Notch, st.floats(0.2, 2.6), coefficient=coefficients),
    st.builds(
        Slot,
        st.floats(0.005, 0.2),
        st.none() | st.floats(0.005, 0.1),
        coefficient=coefficients,
    ),
)
openings = plates | st.builds(
    PipeEnd, st.floats(0.05, 0.2), entrance_loss=st.sampled_from([0.0, 0.5])
)
heights = st.floats(-0.05, 0.05)
inflows = st.floats(np.log(1e-3), np.log(2000)).map(lambda x: float(np.exp(x)) * LITRE_PER_MINUTE)


@dataclass(frozen=True, kw_only=True)
class Box:
    """What `split` is given, for one box."""

    inflow: float
    lips: list[float]
    openings: list[Opening]
    tailwater: list[float] | None = None
    rim: float | None = None

    def split(self, **changes: object) -> Split:
        box = replace(self, **changes)
        return split(box.inflow, box.lips, box.openings, box.tailwater, rim=box.rim)

    def taken(self, outlets: list[int]) -> "Box":
        """The same box with its outlets listed in another order."""
        return replace(
            self,
            lips=[self.lips[i] for i in outlets],
            openings=[self.openings[i] for i in outlets],
            tailwater=self.tailwater and [self.tailwater[i] for i in outlets],
        )


@st.composite
def boxes(draw, height=heights, most=12):
    """One to twelve outlets of mixed openings, some capped, with or without tailwater and rim."""
    n = draw(st.integers(1, most))
    kinds = draw(st.lists(openings, min_size=1, max_size=3))
    each = st.lists(height, min_size=n, max_size=n)
    rim = draw(st.none() | height)
    lips = [
        np.inf if draw(st.integers(0, 5)) == 0 and (i or rim is not None) else lip
        for i, lip in enumerate(draw(each))
    ]
    tails = draw(st.none() | each)
    return Box(
        inflow=draw(inflows),
        lips=lips,
        openings=[draw(st.sampled_from(kinds)) for _ in range(n)],
        tailwater=tails and [t if draw(st.booleans()) else -np.inf for t in tails],
        rim=rim,
    )


def still_level(box: Box) -> float:
    """The lowest height at which water can leave."""
    tails = box.tailwater or [-np.inf] * len(box.lips)
    ways = [max(lip, tail) for lip, tail in zip(box.lips, tails, strict=True)]
    return min(ways if box.rim is None else [*ways, box.rim])


def flows_at(level: float, box: Box) -> list[float]:
    """Flow of each outlet, one public call at a time."""
    tails = box.tailwater or [-np.inf] * len(box.lips)
    return [
        float(opening.discharge(level - lip, tail - lip)) if lip < np.inf else 0.0
        for lip, tail, opening in zip(box.lips, tails, box.openings, strict=True)
    ]


def level_by_bracketing(box: Box) -> float:
    """The water level by scipy's brentq on the sum of the flows."""

    def surplus(level: float) -> float:
        return sum(flows_at(level, box)) - box.inflow

    low, rise = still_level(box), 0.1
    if box.rim is not None and surplus(box.rim) <= 0:
        return box.rim
    while surplus(low + rise) < 0:
        rise *= 4
    return float(brentq(surplus, low, low + rise, xtol=1e-16, rtol=1e-15, maxiter=500))


def pipe_width(depth, diameter):
    """Width of the water surface in a pipe, by Pythagoras. [m]; depth [m], diameter [m]."""
    return 2 * np.sqrt(depth * (diameter - depth))
