"""Many boxes at once, boxes by outlets: verdicts, turns and their tally.

By drawing, as `shares` does it for one box: the same seed and number of draws give a box the
same chances. Or quickly, to first order: the errors of the lips, taken to be independent and
normal, move the roots r = sqrt(q) of the flows, which run nearly straight with the heads, by

    dr_i / dlip_j = R_i (w_j - [i = j]),    R = dr/dh,    w_j = R_j r_j / sum R r,

the water level moving by w_j where lip j does. A dry lip has the root that it would have if its
straight line went on below 0. A box is outside where one outlet is surely beyond an edge of its
tolerance, within where by the sum of the tails at all edges (Bonferroni) none is.

A list does not say where outlets stand, so the jet of a straight inlet may strike any of them:
shares are without it, as in `shares`, and a verdict is given that holds whichever outlet it
strikes, if any. Where the list does not say how the inlet ends, that goes for "within" alone.
"""

from collections.abc import Callable
from dataclasses import dataclass, fields, replace
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, ArrayLike, BoolArray, Result
from dbox.fieldwork.estimate import (
    HAND_ERROR,
    SET_WELL,
    decide,
    level_chance,
    normal_points,
)
from dbox.fieldwork.levelling import HAND_STEP, offsets_for_all
from dbox.fieldwork.shares import (
    NEITHER,
    OUTSIDE,
    SURE,
    UNSEEN,
    VERDICTS,
    WITHIN,
    few_of,
    over_target,
    room,
    verdict_codes,
)
from dbox.fieldwork.turning import LEAST_MOVE, Reach, hand_turns
from dbox.hydraulics.flow_table import (
    DEEPEST,
    LEAST_HEAD,
    NEVER_WET,
    NO_SLOPE,
    STEPS,
    flow_table,
    split_by_tables,
    split_near,
)
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import OutletSet, Split, split


@dataclass(frozen=True, kw_only=True, eq=False)
class Boxes:
    """Boxes alike in the number of their outlets and in their openings."""

    openings: tuple[Opening, ...]  # The openings, one per outlet.
    lip: Array  # (k, n) Lips over still water; inf where capped. [m]
    error: Array  # (k, n) Standard deviation of each lip. [m]
    tolerance: Array  # (k,) Allowed difference of a share from its target, as a fraction of it. [-]
    # (k, n) Hole centre from pipe centre; 0 where the insert cannot be turned, NaN where unknown.
    # [m]
    hole_offset: Array
    # (k, n) Angle of the hole from straight down, clockwise as seen from inside the box; NaN where
    # unknown. [rad]
    clock: Array
    # (flows, k) Head that the jet of the inlet may have at an outlet; None where there is no jet.
    # [m]
    jet: Array | None = None
    # (k,) Whether the inlet is said to be straight.
    straight: BoolArray | None = None

    def only(self, boxes: npt.NDArray[np.intp]) -> "Boxes":
        """Some of the boxes, as if their inlets threw no jet."""
        names = ("lip", "error", "tolerance", "hole_offset", "clock")
        return replace(
            self, jet=None, straight=None, **{name: getattr(self, name)[boxes] for name in names}
        )

    def covariance(self, boxes: slice | npt.NDArray[np.intp]) -> Array:
        """Covariance of the lips of some of the boxes; 0 where capped. [m2] (..., n, n)."""
        error = np.where(self.uncapped[boxes], self.error[boxes], 0.0)
        return np.asarray(error[..., None] ** 2 * np.eye(error.shape[-1]))

    @property
    def uncapped(self) -> BoolArray:
        """Whether the outlet is open. (k, n)."""
        return np.isfinite(self.lip)

    @property
    def target(self) -> Array:
        """Wanted share: the same for every open outlet of a box. [-] (k, n)."""
        shares: Array = self.uncapped / self.uncapped.sum(-1, keepdims=True)
        return shares


Codes = npt.NDArray[np.integer]
Way = Callable[[Boxes, Split, Codes, Codes], Codes]
"""Verdicts of boxes whose lips a jet lowers, which are given with their split; which flow and which
box each is of the list's."""

Solve = Callable[[Array, Array, tuple[Opening, ...], Array], Split]
"""How struck boxes are split at inflows [m3/s], from the levels [m] that they had before."""

_DRAWN = 2**17
"""Lips drawn at a time, few enough to stay in a core's cache, enough not to wait for each. [-]
(numerical)"""

_SAFETY, _UNSURE = 4.0, 5e-7
"""Times what a level is thought to be off, and the least, that a head may be from an edge and be in
doubt. [-], [m] (numerical; tables of half as many digits are true to 3e-7 m of head, which a test
holds)"""

_ROUNDING = 1e-9
"""Part of an edge that a root may miss it by and still be at it. [-] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged(Result):
    """Shares and verdicts of boxes; arrays are read-only, flows first."""

    share: Array  # (f, k, n) Share of each outlet at the best estimate of the lips. [-]
    worst: npt.NDArray[np.intp]  # (f, k) Index of the outlet with the largest share over target.
    worst_over_target: Array  # (f, k) That share over its target. [-]
    # (f, k) Chance that every outlet is within tolerance; NaN to first order, which only bounds it,
    # and where the inlet decides. [-]
    within_probability: Array
    verdict: Codes  # (f, k) Index into `shares.VERDICTS`.
    lip_verdict: Codes  # (f, k) The same by the lips alone.


def judge_drawn(boxes: Boxes, inflow: Array, *, samples: int, seed: int) -> Judged:
    """Judge boxes by drawing their lips; inflow [m3/s]."""
    scatter, few = normal_points(samples, boxes.lip.shape[1], seed), few_of(samples)
    found = [_drawn_chances(boxes, flow, boxes.lip, scatter, few) for flow in inflow]
    chance, of_few = (np.stack(each, axis=1) for each in zip(*found, strict=True))

    def in_a_way(some: Boxes, struck: Split, flow: Codes, box: Codes) -> Codes:
        change, _ = _drawn_chances(some, struck.inflow[0], some.lip, scatter[few])
        change -= of_few[:, flow, box]
        return verdict_codes(*np.clip(chance[:, flow, box] + change, 0.0, 1.0))

    result = split(inflow[:, None], boxes.lip, boxes.openings)
    return _judged(boxes, result, chance[0], verdict_codes(*chance), in_a_way, _exactly)


def _drawn_chances(
    boxes: Boxes,
    inflow: ArrayLike,
    lip: Array,
    scatter: Array,
    few: npt.NDArray[np.intp] | None = None,
) -> tuple[Array, Array]:
    """Chances as of `shares.chances`, (2, k), at an inflow of all or of each [m3/s]; lip [m].

    By all draws and, where wanted, by a few of them.
    """
    every, flows = np.empty((2, len(lip))), np.broadcast_to(inflow, len(lip))
    part, step = np.empty((2, len(lip))), max(1, _DRAWN // scatter.size)
    # the level moves with each lip as that outlet's slope is among all
    at_lips = split(flows, lip, boxes.openings)
    _, slope = OutletSet(boxes.openings).rating(_outlets_first(np.maximum(at_lips.head, 0.0)), None)
    pull = boxes.error * (slope / slope.sum(0)).T
    for first in range(0, len(lip), step):
        rows = slice(first, first + step)
        level = at_lips.level[rows, None] + pull[rows] @ scatter.T
        over, under = _drawn_beyond(boxes, rows, flows[rows], lip[rows], scatter, level)
        within = ~np.any(over | under, axis=0)
        for chance, of in ((every, slice(None)), (part, few)):
            if of is not None:
                chance[0, rows] = within[:, of].mean(-1)
                sides = np.maximum(over[..., of].mean(-1), under[..., of].mean(-1))
                chance[1, rows] = sides.max(0)
    return every, part


def _drawn_beyond(
    boxes: Boxes, rows: slice, inflow: Array, lip: Array, scatter: Array, level: Array
) -> tuple[BoolArray, BoolArray]:
    """Whether each outlet of drawn boxes is above its tolerance, or below it. (n, k, draws) each

    An outlet passes more than its edge of the tolerance where its head is over that which passes
    just so much. So a level, first guessed [m], is sought only as nearly as the heads stand off
    those edges; what is still in doubt is split to all digits.
    """
    target = boxes.target[rows]
    allowed = room(target, boxes.tolerance[rows, None])
    # a capped lip far above all water; all over the lowest, so that half as many digits do
    still = lip.min(-1)
    errors = np.ascontiguousarray(boxes.error[rows].T, np.float32)[..., None]
    over_still = np.ascontiguousarray(np.minimum(lip - still[:, None], NEVER_WET).T, np.float32)
    drawn = over_still[..., None] + errors * scatter.T.astype(np.float32)[:, None]
    level = (level - still[:, None]).astype(np.float32)
    tables = [flow_table(opening, np.float32) for opening in boxes.openings]
    wanted = inflow[:, None].astype(np.float32)
    lowest = drawn.min(0)
    for step in range(STEPS):
        np.maximum(level, lowest + np.float32(LEAST_HEAD), out=level)
        total, rate = np.zeros_like(level), np.full_like(level, NO_SLOPE)
        for table, height in zip(tables, drawn, strict=True):
            table.add(level - height, total, rate)
        if step < STEPS - 1:
            level += np.float32(2.0) * (np.sqrt(wanted * total) - total) / rate
    doubt = np.float32(_SAFETY) * np.abs(total - wanted) / rate + np.float32(_UNSURE)
    unclear = level - lowest > 0.9 * DEEPEST
    beyond = np.empty((2, *drawn.shape), np.bool_)
    for i, table in enumerate(tables):
        head = level - drawn[i]
        for side, sign in enumerate((1.0, -1.0)):
            edge = table.head((target[:, i] + sign * allowed[:, i]) * inflow)
            off = head - edge[:, None].astype(np.float32)
            (np.greater, np.less)[side](off, 0.0, out=beyond[side, i])
            unclear |= np.abs(off, out=off) <= doubt
    if unclear.any():
        which, draw = np.nonzero(unclear)
        exact = lip[which] + boxes.error[rows][which] * scatter[draw]
        over = split(inflow[which], exact, boxes.openings).share - target[which]
        for side, sign in enumerate((1.0, -1.0)):
            beyond[side][:, which, draw] = (sign * over > allowed[which]).T
    return beyond[0], beyond[1]


def judge_first_order(boxes: Boxes, inflow: Array) -> Judged:
    """Judge boxes by the slopes of their outlets, which is quick; inflow [m3/s]."""
    result, slope = split_by_tables(inflow, boxes.lip, boxes.openings)
    codes = _first_order_codes(boxes, result, slope)

    def in_a_way(some: Boxes, struck: Split, _: Codes, __: Codes) -> Codes:
        (codes,) = _first_order_codes(some, struck)
        return np.asarray(codes)

    return _judged(boxes, result, np.full(codes.shape, np.nan), codes, in_a_way, split_near)


def _first_order_codes(boxes: Boxes, result: Split, slope: Array | None = None) -> Codes:
    """Verdicts to first order, (f, k); slope, where it is known [m2/s] (n, f, k)."""
    low, high = _rooms(boxes, result, slope)
    least = np.minimum(low, high).min(0)
    sure = NormalDist().inv_cdf(SURE)
    within = least >= sure
    if within.any():
        from scipy.special import ndtr

        tails = (ndtr(-low[:, within]) + ndtr(-high[:, within])).sum(0)
        within[within] = tails <= 1.0 - SURE
    return np.where(within, WITHIN, np.where(least <= -sure, OUTSIDE, NEITHER))


def _rooms(boxes: Boxes, result: Split, slope: Array | None) -> tuple[Array, Array]:
    """Room to the lower and the upper edge of tolerance, in standard errors. (n, f, k) each.

    slope, where it is known [m2/s] (n, f, k).
    """
    head, flow = _outlets_first(result.head), _outlets_first(result.flow)
    deviation, target = _outlets_first(boxes.error)[:, None], _outlets_first(boxes.target)[:, None]
    # a lip that is dry, or nearly so, has the root that its opening gives at an error's head
    least = np.broadcast_to(np.maximum(deviation, LEAST_HEAD), head.shape)
    wet = np.full(head.shape, False) if slope is None else head > least
    rated, rise = flow.copy(), np.empty_like(flow) if slope is None else slope.copy()
    for i, opening in enumerate(boxes.openings):
        low = ~wet[i]
        rated[i, low], rise[i, low] = opening.rating(np.maximum(head[i], least[i])[low], None)
    # how the root of each outlet's flow runs with its head [(m3/s)^0.5/m]
    rate: Array = 0.5 * rise / np.sqrt(rated)
    root = np.where(flow > 0, np.sqrt(flow), rate * np.maximum(head, -1.0))
    pull = rate * np.maximum(root, 0.0)
    pull /= pull.sum(0)
    variance = deviation**2
    common = (variance * pull**2).sum(0)
    error = rate * np.sqrt(np.maximum(variance * (1.0 - 2.0 * pull) + common, 0.0))
    wanted = target * result.inflow
    low, high = np.sqrt(wanted * (1.0 - boxes.tolerance)), np.sqrt(wanted * (1.0 + boxes.tolerance))
    # where nothing at all is within tolerance there is no lower edge, and a capped line has none
    floor = (target > 0) & (boxes.tolerance < 1.0)
    with np.errstate(divide="ignore"):
        over = np.where(floor, (root - low + _ROUNDING * high) / error, np.inf)
        under = np.where(target > 0, (high - root + _ROUNDING * high) / error, np.inf)
    return over, under


def _outlets_first(values: Array) -> Array:
    """Outlets along the first axis, as in the solver: sums over them then run along memory."""
    return np.ascontiguousarray(np.moveaxis(values, -1, 0))


def _judged(
    boxes: Boxes, result: Split, within: Array, by_lips: Codes, way: Way, solve: Solve
) -> Judged:
    share, target = result.share, boxes.target
    codes = _in_every_way(boxes, result, by_lips, way, solve)
    within = np.where(codes == by_lips, within, np.nan)
    over = over_target(share, target, without=0.0)
    worst = over.argmax(-1)
    largest = np.take_along_axis(over, worst[..., None], -1)[..., 0]
    return Judged(
        share=share,
        worst=worst,
        worst_over_target=largest,
        within_probability=within,
        verdict=codes,
        lip_verdict=by_lips,
    )


def _exactly(inflow: Array, lips: Array, openings: tuple[Opening, ...], _: Array) -> Split:
    return split(inflow, lips, openings)


def _in_every_way(boxes: Boxes, result: Split, by_lips: Codes, way: Way, solve: Solve) -> Codes:
    """Verdicts that hold whichever outlet a jet strikes, (f, k)."""
    if boxes.jet is None or boxes.straight is None:
        return by_lips
    codes = by_lips.copy()
    for outlet in range(boxes.lip.shape[1]):
        hangs = (codes == WITHIN) | ((codes == OUTSIDE) & boxes.straight)
        flow, box = np.nonzero(hangs & (boxes.jet > 0) & boxes.uncapped[:, outlet])
        some = boxes.only(box)
        some.lip[:, outlet] -= boxes.jet[flow, box]
        struck = solve(result.inflow[flow, 0], some.lip, some.openings, result.level[flow, box])
        share = struck.share
        allowed = some.tolerance[:, None] * some.target
        moved = np.any(np.abs(share - result.share[flow, box]) > UNSEEN, axis=-1)
        # where the best estimate is beyond the tolerance it is not within
        lost = moved & np.any(np.abs(share - some.target) > allowed, axis=-1)
        lost &= codes[flow, box] == WITHIN
        asked = np.flatnonzero(moved & ~lost)
        if asked.size:
            told = way(some.only(asked), _only(struck, asked), flow[asked], box[asked])
            lost[asked] = told != codes[flow[asked], box[asked]]
        codes[flow[lost], box[lost]] = NEITHER
    return codes


def _only(result: Split, rows: npt.NDArray[np.intp]) -> Split:
    """Some cases of a split, as those of one flow. (1, rows)"""
    names = ("inflow", "level", "head", "flow", "overflow")
    return replace(result, **{name: getattr(result, name)[None, rows] for name in names})


Judge = Callable[[Boxes, Array], Judged]
"""How boxes are judged at some flows [m3/s]."""

WORK = ("nothing to do", "adjust", "re-bed", "read again", "look at the inlet")
"""What can be wanted at a box: `read again` where its readings cannot tell whether anything is, the
inlet where nothing is wanted at the lips and a jet decides."""

_NOTHING, _ADJUST, _REBED, _AGAIN, _INLET = range(len(WORK))
_TOGETHER = 64
"""Boxes whose goals are weighed at a time: thousands then need little. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Work(Result):
    """The work at boxes; arrays are read-only."""

    # (k,) Index into `WORK`; -1 where the offset of some hole is unknown.
    kind: npt.NDArray[np.int8]
    # (k, n) Rounded turn, clockwise seen from inside the box; NaN where the clock is unknown. [rad]
    turn: Array
    angle_after: Array  # (k, n) Angle of the hole from straight down; NaN where unknown. [rad]
    move: Array  # (k, n) Rise of each lip; 0 where capped. [m]
    reachable: BoolArray  # (k, n) Whether the lip can be brought to its height; True where capped.


def work_at(boxes: Boxes, judged: Judged, inflow: Array, judge: Judge) -> Work:
    """Work out what to turn at each box, or that it must be bedded again.

    inflow [m3/s]; judge: how boxes are judged, for those that no turn brings level.
    """
    unknown = np.any(np.isnan(boxes.hole_offset) & boxes.uncapped, axis=-1)
    boxes = replace(boxes, hole_offset=np.nan_to_num(boxes.hole_offset))
    over_goal = np.zeros_like(boxes.lip)
    if len(set(boxes.openings)) > 1:
        over_goal = _offsets(boxes, inflow)
    kind = np.full(len(boxes.lip), _NOTHING, np.int8)
    turn, after = np.zeros_like(boxes.lip), boxes.lip.copy()
    off, spoiled = np.zeros_like(boxes.uncapped), np.zeros_like(boxes.lip)
    outside = np.any(judged.lip_verdict == OUTSIDE, axis=0)
    within = np.all(judged.lip_verdict == WITHIN, axis=0)
    for first in range(0, len(kind), _TOGETHER):
        rows = slice(first, first + _TOGETHER)
        reach = Reach.of_lips(boxes.lip[rows], boxes.hole_offset[rows], boxes.clock[rows])
        covariance = boxes.covariance(rows)
        by_rule = covariance.max((-1, -2))[:, None]
        unequal = over_goal[rows].any(-1)
        decision = decide(reach, covariance, over_goal[rows], by_rule=by_rule, started=unequal)
        hold = ~decision.turn | within[rows, None]
        turn[rows], after[rows] = hand_turns(reach, decision.wanted, HAND_STEP, hold=hold)
        off[rows] = decision.off & ~within[rows, None]
        spoiled[rows] = decision.spoiled(reach, turn[rows], HAND_ERROR, by_rule)
    move = np.where(boxes.uncapped, after, 0.0) - np.where(boxes.uncapped, boxes.lip, 0.0)
    kind[np.any(np.abs(move) > LEAST_MOVE, axis=-1)] = _ADJUST
    if (doubt := np.flatnonzero(off.any(-1))).size:
        error = np.sqrt(boxes.error[doubt] ** 2 + spoiled[doubt])
        left = replace(boxes.only(doubt), lip=after[doubt], error=error)
        worse = np.any(judge(left, inflow).verdict == OUTSIDE, axis=0)
        kind[doubt[worse]] = _REBED
    again = (kind == _NOTHING) & ~within
    # where lips are set well enough for their readings, reading again mends nothing
    doubtful = np.flatnonzero(again & outside)
    for first in range(0, doubtful.size, _TOGETHER):
        these = doubtful[first : first + _TOGETHER]
        uncapped = boxes.uncapped[these]
        height = np.where(uncapped, boxes.lip[these], 0.0) - over_goal[these]
        again[these] = level_chance(height, boxes.covariance(these), uncapped) < SET_WELL
    kind[again] = _AGAIN
    kind[(kind == _NOTHING) & within & np.any(judged.verdict != WITHIN, axis=0)] = _INLET
    kind[unknown] = -1
    angle_after = (boxes.clock + turn + np.pi) % (2.0 * np.pi) - np.pi
    return Work(kind=kind, turn=turn, angle_after=angle_after, move=move, reachable=~off)


def _offsets(boxes: Boxes, inflow: Array) -> Array:
    """Wanted height of each lip over the goal, worked out once for boxes capped alike. [m]"""
    patterns, which = np.unique(boxes.uncapped, axis=0, return_inverse=True)
    offset = [offsets_for_all(inflow, boxes.openings, uncapped / uncapped.sum(), uncapped)
              for uncapped in patterns]  # fmt: skip
    return np.array(offset)[which.ravel()]


Counts = npt.NDArray[np.int64]

EDGES: Array = np.append(np.arange(100, 401) / 100, np.inf)
"""Edges of the bins of the worst share over target; the last bin is open. [-] (judgement)"""

EDGES.setflags(write=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Tally:
    """Counts of boxes; tallies of parts of a list add up to that of the list."""

    # (3,) Boxes by their worst verdict over all flows, in the order of `VERDICTS`.
    verdicts: Counts
    by_flow: Counts  # (f, 3) Boxes by their verdict at each flow.
    worst: Counts  # (f, bins) Boxes by the share over target of their worst line, between `EDGES`.
    # (5,) Boxes by what is to be done, in the order of `WORK`; none where that is unknown.
    work: Counts
    inlet: Counts  # (1,) Boxes where the inlet withholds a verdict at some flow.
    refused: Counts  # (1,) Rows that could not be computed.

    @classmethod
    def empty(cls, flows: int, refused: int = 0) -> "Tally":
        """No boxes at all, at a number of flows."""
        return cls(
            verdicts=np.zeros(len(VERDICTS), np.int64),
            by_flow=np.zeros((flows, len(VERDICTS)), np.int64),
            worst=np.zeros((flows, EDGES.size - 1), np.int64),
            work=np.zeros(len(WORK), np.int64),
            inlet=np.zeros(1, np.int64),
            refused=np.array([refused], np.int64),
        )

    @classmethod
    def of(cls, judged: Judged, work: Work | None) -> "Tally":
        """Count boxes."""
        worst = np.clip(judged.worst_over_target, EDGES[0], EDGES[-2])
        return cls(
            verdicts=_counts(overall(judged), len(VERDICTS)),
            by_flow=np.stack([_counts(codes, len(VERDICTS)) for codes in judged.verdict]),
            worst=np.stack([np.histogram(each, EDGES)[0] for each in worst]),
            work=_counts(work.kind[work.kind >= 0] if work else np.array([], np.int8), len(WORK)),
            inlet=np.any(judged.verdict != judged.lip_verdict, axis=0).sum(keepdims=True),
            refused=np.zeros(1, np.int64),
        )

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            **{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)}
        )

    @property
    def boxes(self) -> int:
        """Boxes that were computed."""
        return int(self.verdicts.sum())

    def worst_at(self, part: float) -> Array:
        """Share over target that the worst line of a part of the boxes stays under, at each flow.

        part [-] -> [-].
        """
        ends = np.minimum(EDGES, EDGES[-2])
        sums = [np.concatenate([[0], np.cumsum(each)]) / self.boxes for each in self.worst]
        return np.array([np.interp(part, each, ends) for each in sums])


def overall(judged: Judged) -> npt.NDArray[np.int8]:
    """Verdict over all flows: within at each, outside at one at least, else cannot tell."""
    any_outside = np.any(judged.verdict == OUTSIDE, axis=0)
    all_within = np.all(judged.verdict == WITHIN, axis=0)
    codes = np.where(any_outside, OUTSIDE, np.where(all_within, WITHIN, NEITHER))
    return codes.astype(np.int8)


def _counts(codes: npt.NDArray[np.int8], kinds: int) -> Counts:
    return np.bincount(codes, minlength=kinds).astype(np.int64)
