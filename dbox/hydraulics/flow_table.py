"""Openings as tables of their flows, and many boxes split by them: several times as fast.

Flows run straight between nodes that lie even in the root of the head, up to a metre of it. A level
sought in them is so near that one look at the openings themselves makes flows good to 1e-9 of the
inflow; where boxes are only sorted by what they pass, the tables alone do.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import BALANCE, OutletSet, Split, split

_NEAR_STEPS, _NEAR = 4, 1e-7
"""Steps to a level by the tables, and the residual over inflow that makes it do. [-] (numerical)"""

_STRAIGHT = 1e-6
"""Step over head up to which a flow runs straight to its last digits. [-] (numerical)"""

DEEPEST, _NODES = 1.0, 2**14
"""Highest head of the tables, and their parts. [m], [-] (numerical)"""

_PLACES = np.arange(_NODES + 1.0)
"""Places of the nodes. [-] (exact)"""

NEVER_WET = 1e6
"""Height that stands for that of a capped lip. [m] (numerical)"""

NO_SLOPE = 1e-30
"""Stands for none where it is divided by. [m2/s], [-] (numerical)"""

LEAST_HEAD = 1e-6
"""Least head that the slope of a dry opening is taken at. [m] (numerical)"""

STEPS = 2
"""Times that the level of a draw is looked at in the tables. [-] (numerical)"""


@dataclass(frozen=True, eq=False)
class FlowTable:
    """The flow of an opening, straight between nodes that lie even in sqrt(head)."""

    flow: npt.NDArray[np.floating]  # At each node. [m3/s]
    rise: npt.NDArray[np.floating]  # From it to the next. [m3/s]
    slope: npt.NDArray[np.floating]  # Halfway to the next. [m2/s]

    @classmethod
    def of(cls, opening: Opening, kind: npt.DTypeLike) -> "FlowTable":
        """The table of an opening."""
        head = np.linspace(0.0, DEEPEST**0.5, _NODES + 1) ** 2
        flow = np.zeros_like(head)
        flow[1:] = opening.rating(head[1:], None)[0]
        rise = np.append(np.diff(flow), 0.0)
        slope = 0.5 * rise * _NODES**2 / DEEPEST / (_PLACES + 0.5)
        return cls(flow.astype(kind), rise.astype(kind), slope.astype(kind))

    def add(
        self,
        head: npt.NDArray[np.floating],
        total: npt.NDArray[np.floating],
        rate: npt.NDArray[np.floating],
    ) -> None:
        """Add flow [m3/s] and slope [m2/s] at heads [m], which are lost, to those of others."""
        place = np.sqrt(np.clip(head, 0.0, DEEPEST, out=head), out=head)
        place *= _NODES / DEEPEST**0.5
        whole = np.floor(place)
        place -= whole
        # what numpy indexes by, and so several times as fast as shorter numbers
        node = whole.astype(np.intp)
        place *= self.rise.take(node, mode="clip")
        place += self.flow.take(node, mode="clip")
        total += place
        rate += self.slope.take(node, mode="clip")

    def head(self, flow: Array) -> Array:
        """Heads at flows; no head is too low for less than none. [m3/s] -> [m]"""
        place = np.interp(flow, self.flow, _PLACES)
        head = (place / _NODES) ** 2 * DEEPEST
        # what stands at the end of the table may be any more
        return np.where(flow < 0, -np.inf, np.where(place >= _NODES, np.inf, head))


@lru_cache(64)
def flow_table(opening: Opening, kind: npt.DTypeLike = np.float64) -> FlowTable:
    """The table of an opening, made once; kind: of its numbers."""
    return FlowTable.of(opening, kind)


def split_by_tables(
    inflow: Array, lips: Array, openings: tuple[Opening, ...]
) -> tuple[Split, Array]:
    """Split of every box at every flow, and the slopes of its outlets, (n, f, k) [m2/s].

    Where one look at the openings does not make a level good, the box is split step by step.
    inflow [m3/s] (f,), lips [m] (k, n).
    """
    shape, lips = (inflow.size, len(lips)), np.ascontiguousarray(lips.T)
    still, wanted = lips.min(0), np.repeat(inflow, shape[1])
    over_still, outlets = np.tile(lips - still, inflow.size), OutletSet(openings)
    level = outlets.guess(wanted, over_still)
    for _ in range(STEPS):
        level, _ = _table_step(openings, wanted, over_still, level)
    level = np.maximum(level, LEAST_HEAD)
    flow, slope = outlets.rating(level - over_still, None)
    rise = (wanted - flow.sum(0)) / np.maximum(slope.sum(0), NO_SLOPE)
    level, flow = level + rise, flow + slope * rise
    head = level - over_still
    # where the step was no small one, as for a lip that is hardly wet
    bent = (head > 0.0) & (np.abs(rise) > _STRAIGHT * head)
    if bent.any():
        flow[bent] = outlets.flows(bent, head, None)[bent]
    flow[head <= 0.0] = 0.0
    far = np.abs(flow.sum(0) - wanted) > BALANCE * wanted
    if far.any():
        exact = split(wanted[far], over_still[:, far].T, openings)
        level[far], head[:, far], flow[:, far] = exact.level, exact.head.T, exact.flow.T
        slope[:, far] = outlets.rating(exact.head.T, None)[1]
    found = Split(
        inflow=np.broadcast_to(inflow[:, None], shape),
        level=level.reshape(shape) + still,
        head=np.moveaxis(head.reshape(-1, *shape), 0, -1),
        flow=np.moveaxis(flow.reshape(-1, *shape), 0, -1),
        overflow=np.zeros(shape),
        openings=openings,
    )
    return found, slope.reshape(-1, *shape)


def _table_step(
    openings: tuple[Opening, ...], inflow: Array, lips: Array, level: Array
) -> tuple[Array, Array]:
    """A step to where the tables give the inflow, and the flows before it.

    inflow [m3/s], lips [m] (n, boxes), level [m] -> [m], [m3/s].
    """
    flow, rate = np.zeros_like(lips), np.full_like(level, NO_SLOPE)
    for opening, lip, of in zip(openings, lips, flow, strict=True):
        flow_table(opening).add(level - lip, of, rate)
    total = flow.sum(0)
    return level + 2.0 * (np.sqrt(inflow * total) - total) / rate, flow


def split_near(inflow: Array, lips: Array, openings: tuple[Opening, ...], level: Array) -> Split:
    """Split of boxes by the tables alone, from levels that are near.

    inflow [m3/s] (k,), lips [m] (k, n), level [m] (k,).
    """
    heights = np.ascontiguousarray(np.minimum(lips, NEVER_WET).T)
    lowest = heights.min(0)
    for _ in range(_NEAR_STEPS):
        before = np.maximum(level, lowest + LEAST_HEAD)
        level, flow = _table_step(openings, inflow, heights, before)
        found = np.abs(flow.sum(0) - inflow) <= _NEAR * inflow
        if found.all():
            break
    level = before
    if not np.all(found & (level - lowest < 0.9 * DEEPEST)):
        return split(inflow, lips, openings)
    return Split(
        inflow=inflow,
        level=level,
        head=level[:, None] - lips,
        flow=np.ascontiguousarray(flow.T),
        overflow=np.zeros_like(inflow),
        openings=openings,
    )
