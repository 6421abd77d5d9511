"""The box as a pool as time goes on, and the system it stands in.

With A the plan area of the box and H the level in it,

    A dH/dt = inflow - sum of Q_i(H - lip_i + jet_i, tailwater_i) - Q_rim(H)

Where no jet strikes, all outlets that are not drowned are one rating of the level, tabulated once;
the others, and all in a jet, are asked one by one with their own head. Behind a drowned
outlet the trench rises as it fills, which is felt at once where it stands nearly level with the
box: the flow of a step is the one that goes with the rise that it makes. Nothing flows back from a
trench that stands higher than the box. Over its rim the box spills as a sharp weir all round.

With r the tailwater over the head, the factor

    f(head, r) = drowned flow / (free flow sqrt(1 - r))

is 1 at r = 0 and smooth up to r = 1, where flow itself ends in a square root. It is taken once from
the opening's exact drowned flow on a grid and read between its lines.

A dry lip that holds water back starts when the level stands its hold-back over it, and runs until
the level has fallen to it again; what is dry is left out of the rating.

Heights are over one datum, that of the lips. What a site lacks is left out: without a tank the
house's water enters the supply pipe, without that the box; without a trench a line drains freely.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np

from dbox.arrays import Array, ArrayLike, freeze
from dbox.errors import DomainError
from dbox.hydraulics.openings import Opening, Slot
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.split import OutletSet
from dbox.hydraulics.surge.level_pool import Pool, Rating, opening_table, rating_heads, sum_ratings
from dbox.hydraulics.surge.parts import SupplyPipe, Tank, Trench

_RATIOS = np.linspace(0.0, 1.0, 65)
"""Tailwaters over head of a drowned table. [-] (numerical)"""

_DROWNED_HEADS = np.geomspace(5e-4, 2.0, 60)
"""Its heads. [m] (numerical)"""


class DrownedTable:
    """What is left of an opening's free flow under a tailwater.

    opening: Any opening.

    Notes
    -----
    Beyond heads of 0.5 mm and 2 m the factor at these is used. Between the lines of the grid it is
    mostly good to 0.01 per cent; where water stands near the top of the opening, on either side, to
    1 per cent for a round hole and to 3 per cent for a slot that is closed on top.

    >>> from dbox import Circle
    >>> hole = Circle(0.05, coefficient=0.6)
    >>> free, slope = (float(part) for part in hole.rating(0.04))
    >>> flow, *_ = DrownedTable(hole)(free, slope, 0.04, 0.02)
    >>> bool(abs(flow / 5.1850037331023e-4 - 1) < 2e-3)
    True
    """

    __slots__ = ("_rows", "_starts")

    def __init__(self, opening: Opening):
        head = np.repeat(_DROWNED_HEADS[:, None], _RATIOS.size, axis=1)
        # at r = 1 nothing flows; the factor is taken just before it
        head_difference = head * np.maximum(1.0 - _RATIOS, 1e-6)
        free, _ = opening.rating(head)
        drowned, _ = opening.rating(head.ravel(), head_difference.ravel())
        factor = drowned.reshape(head.shape) / (free * np.sqrt(head_difference / head))
        self._rows: list[list[float]] = factor.tolist()
        self._starts: list[float] = np.log(_DROWNED_HEADS).tolist()

    def __call__(
        self, flow: float, slope: float, head: float, tailwater: float
    ) -> tuple[float, float, float]:
        """Drowned flow from the free one at a head, and how it changes.

        head [m], tailwater [m] -> [m3/s], [m2/s].
        """
        ratio = tailwater / head
        if ratio >= 1.0:
            return 0.0, 0.0, 0.0
        root = sqrt(1.0 - ratio)
        factor, by_log_head, by_ratio = self._factor(log(head), ratio)
        drowned = root * factor * flow
        by_tail = (root * by_ratio * flow - 0.5 * drowned / (root * root)) / head
        by_head = root * (factor * slope + flow * by_log_head / head) - ratio * by_tail
        return drowned, by_head, by_tail

    def _factor(self, log_head: float, ratio: float) -> tuple[float, float, float]:
        """Factor, and its derivatives with respect to log of head and to ratio."""
        starts, rows = self._starts, self._rows
        row = min(max(bisect_right(starts, log_head) - 1, 0), len(starts) - 2)
        width = starts[row + 1] - starts[row]
        across = min(max((log_head - starts[row]) / width, 0.0), 1.0)
        place = ratio * (_RATIOS.size - 1)
        column = min(int(place), _RATIOS.size - 2)
        along = place - column
        low, high = rows[row], rows[row + 1]
        rise_low, rise_high = low[column + 1] - low[column], high[column + 1] - high[column]
        below, above = low[column] + along * rise_low, high[column] + along * rise_high
        by_ratio = (rise_low + across * (rise_high - rise_low)) * (_RATIOS.size - 1)
        return below + across * (above - below), (above - below) / width, by_ratio


_LEAST_HOLD = 1e-9
"""A hold-back of less is none. [m] (numerical)"""

_LATE = 1e-3
"""How far over its threshold the level may stand when a lip starts, over the hold-back. [-]
(numerical)"""

_JET_FLOWS = np.append(0.0, np.geomspace(1e-7, 0.05, 120))
"""Inflows at which the heads of a jet are taken, straight between them. [m3/s] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class System:
    """Tank, supply pipe, box, headers and trenches; arrays are read-only."""

    area: float  # Plan area of the box. [m2]
    lips: Array  # (n,) Lips over the datum; inf where capped. [m]
    openings: tuple[Opening, ...]  # One per outlet.
    # Level at which the box spills over its rim; None where it never does. [m]
    rim: float | None = None
    rim_length: float = 1.0  # Length of the rim. [m]
    tank: Tank | None = None  # The septic tank.
    supply: SupplyPipe | None = None  # The pipe from the tank to the box.
    jet: Jet | None = None  # The jet of a straight inlet.
    delays: Array  # (n,) Travel time of each header. [s]
    trenches: tuple[Trench | None, ...]  # The trench of each line.
    bottoms: Array  # (n,) Bottom of each trench over the datum; -inf where there is none. [m]
    # How far the level must stand over a dry lip before it starts, of all or of each (n,). [m]
    hold_back: ArrayLike = 0.0

    def __post_init__(self) -> None:
        check_positive("plan area of the box [m2]", self.area)
        check_positive("length of the rim [m]", self.rim_length)
        n = self.lips.size
        counts = (len(self.openings), self.delays.size, len(self.trenches), self.bottoms.size)
        if self.lips.shape != (n,) or any(count != n for count in counts):
            raise DomainError(f"openings, delays, trenches and bottoms do not fit {n} lips")
        if not np.all(np.isfinite(self.delays) & (self.delays >= 0)):
            raise DomainError("a header's delay [s] is not a finite number, 0 or more")
        holds = np.asarray(self.hold_back)
        if holds.shape not in ((), (n,)) or not np.all(np.isfinite(holds) & (holds >= 0)):
            raise DomainError(
                f"hold_back [m] is {self.hold_back}; it is a number, 0 or more, or {n} of them"
            )
        freeze(self.lips, self.delays, self.bottoms)

    @property
    def still_level(self) -> float:
        """Where water stands when nothing runs: the lowest way out. [m]"""
        return float(min(self.lips.min(), np.inf if self.rim is None else self.rim))


@dataclass(frozen=True, slots=True)
class Backwater:
    """The trench that a drowned outlet stands against."""

    level: float  # Level of the water in the trench, what is on its way there counted in. [m]
    area: float  # What the trench stores per depth. [m2]
    takes: float  # What the soil takes. [m3/s]
    brim: float  # Level at which it surfaces and rises no more. [m]


class BoxPool(Pool):
    """The box at its present level, with its outlets and, as the last of them, its rim."""

    __slots__ = (
        "_apart", "_backwaters", "_drowned", "_holds", "_jet", "_jet_heads", "_lips", "_openings",
        "_ratings", "_seconds", "_tables", "_together", "_wet", "dry",
    )  # fmt: skip

    def __init__(self, system: System):
        self._lips = [*system.lips.tolist(), np.inf if system.rim is None else system.rim]
        if not min(self._lips) < np.inf or any(np.isnan(self._lips)):
            raise DomainError("a box needs a way out: an open lip, or a rim")
        self._openings = (*system.openings, Slot(system.rim_length))
        self._tables = [opening_table(opening) for opening in self._openings]
        self._drowned: dict[Opening, DrownedTable] = {}
        self._backwaters: list[Backwater | None] = [None] * len(self._openings)
        self._seconds = 1.0
        self._jet: list[list[float]] = []
        self._jet_heads = [0.0] * len(self._openings)
        if system.jet is not None:
            heads = np.column_stack([system.jet.heads(_JET_FLOWS), np.zeros(_JET_FLOWS.size)])
            self._jet = heads.tolist() if np.any(heads > 0) else []
        self._ratings: dict[tuple[tuple[int, ...], ...], Rating] = {}
        self._apart = tuple(range(len(self._lips))) if self._jet else ()
        holds = np.broadcast_to(system.hold_back, system.lips.shape)
        self._holds = {i: float(h) for i, h in enumerate(holds) if h >= _LEAST_HOLD}
        self._set_dry(tuple(self._holds))
        super().__init__(system.area, self.rating, system.still_level, self.lowest)

    def _without(self, apart: tuple[int, ...]) -> Rating:
        """Rating of all outlets but some, free and without a jet."""
        left_out = (apart, self.dry)
        if left_out not in self._ratings:
            self._ratings[left_out] = self._tabulate(apart)
        return self._ratings[left_out]

    def _tabulate(self, apart: tuple[int, ...]) -> Rating:
        open_ones = [i for i, lip in enumerate(self._wet) if lip < np.inf and i not in apart]
        if not open_ones:
            return lambda _: (0.0, 0.0)
        lips = np.array([self._lips[i] for i in open_ones])
        kinds = tuple(self._openings[i] for i in open_ones)
        heads = [rating_heads(kind) for kind in kinds]
        levels = np.unique(np.concatenate([lip + h for lip, h in zip(lips, heads, strict=True)]))
        return sum_ratings(levels, *OutletSet(kinds).rating(levels - lips[:, None], None))

    def move_lips(self, lips: Array) -> None:
        """Set the lips anew, as in a box that settles; lips [m]."""
        self._lips = [*lips.tolist(), self._lips[-1]]
        self._ratings.clear()
        self._set_dry(self.dry)
        self.refresh()

    def _set_dry(self, dry: tuple[int, ...]) -> None:
        """Say which lips hold water back."""
        self.dry = dry
        self._wet = [np.inf if i in dry else lip for i, lip in enumerate(self._lips)]
        self.lowest = self._lowest(self._wet)
        self._set_apart(self._apart)

    def _lowest(self, wet: Sequence[float]) -> float:
        """The lowest of the running lips; of all where none runs."""
        lowest = min(wet)
        return lowest if lowest < np.inf else min(self._lips)

    def start_and_stop(self) -> bool:
        """Stop the lips that the level has fallen to, start the dry ones that it has reached.

        Gives whether any started.
        """
        dry = []
        for i, hold in self._holds.items():
            head = self.level + self._jet_heads[i] - self._lips[i]
            if head < hold if i in self.dry else head <= 0.0:
                dry.append(i)
        starts = not set(self.dry) <= set(dry)
        if tuple(dry) != self.dry:
            self._set_dry(tuple(dry))
            self.refresh()
        return starts

    def until_start(self) -> float:
        """Part of the tried step after which the first dry lip starts; 1 where none does in it."""
        part, rise = 1.0, self.next_level - self.level
        for i in self.dry:
            late = _LATE * self._holds[i]
            wait = self._lips[i] + self._holds[i] - self._jet_heads[i] - self.level
            if rise > wait + late:
                # the aim is within what is allowed, so that the next try is not a hair short
                part = min(part, (wait + 0.5 * late) / rise if wait > 0.0 else 0.0)
        return part

    def expose(self, inflow: float, backwaters: Sequence[Backwater | None], seconds: float) -> bool:
        """Say what the outlets stand against in the next step; inflow [m3/s], seconds [s]."""
        under = [i for i, back in enumerate(backwaters) if back and back.level > self._lips[i]]
        for i, back in enumerate(backwaters):
            self._backwaters[i] = back if i in under else None
        self._seconds = seconds
        if self._jet:
            self._jet_heads = self._heads(inflow)
            struck = [lip - k for lip, k in zip(self._wet, self._jet_heads, strict=True)]
            self.lowest = self._lowest(struck)
        else:
            self._set_apart(tuple(under))
        return bool(under)

    def _set_apart(self, apart: tuple[int, ...]) -> None:
        """Ask some outlets one by one, the others together."""
        self._apart = apart
        self._together = self._without(apart)
        self.rating = self._partly if apart else self._together

    def _heads(self, inflow: float) -> list[float]:
        place = min(bisect_right(_JET_FLOWS, inflow) - 1, len(_JET_FLOWS) - 2)
        low, high = float(_JET_FLOWS[place]), float(_JET_FLOWS[place + 1])
        part = min((inflow - low) / (high - low), 1.0)
        pairs = zip(self._jet[place], self._jet[place + 1], strict=True)
        return [start + part * (end - start) for start, end in pairs]

    def outlet_flow(self, i: int, level: float) -> tuple[float, float]:
        """Flow [m3/s] and slope [m2/s] of one outlet, the last being the rim; level [m]."""
        lip, over, back = self._wet[i], level + self._jet_heads[i], self._backwaters[i]
        head = over - lip
        if not head > 0.0 or (back is not None and over <= back.level):
            return 0.0, 0.0
        flow, slope = self._tables[i](head)
        if back is None:
            return flow, slope
        kind = self._openings[i]
        if kind not in self._drowned:
            self._drowned[kind] = DrownedTable(kind)
        table = self._drowned[kind]
        filling = _filling(*table(flow, slope, head, back.level - lip), over, back, self._seconds)
        if over <= back.brim:
            return filling
        brim_flow, brim_slope, _ = table(flow, slope, head, back.brim - lip)
        return max(filling, (brim_flow, brim_slope))

    def outlet_flows(self, level: float) -> list[float]:
        """Flow of every outlet and, last, over the rim. [m3/s]; level [m]."""
        if self._apart:
            return [self.outlet_flow(i, level)[0] for i in range(len(self._lips))]
        return [
            table(level - lip)[0] if level > lip else 0.0
            for table, lip in zip(self._tables, self._wet, strict=True)
        ]

    def _partly(self, level: float) -> tuple[float, float]:
        """All outlets, those that are asked one by one apart from the others."""
        flow, slope = self._together(level)
        for i in self._apart:
            more, steeper = self.outlet_flow(i, level)
            flow += more
            slope += steeper
        return flow, slope


def _filling(
    flow: float, by_head: float, by_tail: float, over: float, back: Backwater, seconds: float
) -> tuple[float, float]:
    """Mean flow into a trench that rises as it fills, and its slope over the level in the box.

    Near the tailwater flow goes with the root of the difference d of both levels, q = b sqrt(d),
    and d shrinks by c (q - takes) as the trench rises. That is a quadratic for q; further off,
    where the tailwater matters less, c is less in the same measure.
    """
    d = over - back.level
    if not flow > 0.0:
        return 0.0, 0.0
    feels = min(max(-2.0 * by_tail * d / flow, 0.0), 1.0)
    c = feels * seconds / back.area
    b2, b2_slope = flow * flow / d, flow / d * (2.0 * by_head - flow / d)
    # first the rise up to the end of the step; then up to its fitted middle
    at_end = _root(b2, c, d + c * back.takes)
    c *= 1.0 - 0.5 / (1.0 + (0.5 * c * b2 / at_end) ** 2)
    most = d + c * back.takes
    filling = _root(b2, c, most)
    slope = (b2 + b2_slope * (most - c * filling)) / (2.0 * filling + b2 * c)
    return filling, max(slope, 0.0)


def _root(b2: float, c: float, most: float) -> float:
    """The q above 0 at which q^2 = b2 (most - c q)."""
    return 2.0 * most / (c + sqrt(c * c + 4.0 * most / b2))
