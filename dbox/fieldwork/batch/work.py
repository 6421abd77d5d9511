"""What is to be turned at each of many boxes, or must it be bedded again? As `levelling`."""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray, freeze
from dbox.fieldwork.batch.boxes import Boxes
from dbox.fieldwork.confidence import VERDICTS
from dbox.fieldwork.levelling.offsets import offsets_of
from dbox.fieldwork.levelling.plan import HAND_STEP, alike
from dbox.fieldwork.levelling.reach import Reach
from dbox.fieldwork.levelling.turning import LEAST_MOVE, hand_turns

WORK = ("nothing to do", "adjust", "re-bed", "read again")
"""What can be wanted at a box; the last where its readings cannot tell whether anything is."""

_TOGETHER = 64
"""Boxes whose goals are weighed at a time: what thousands of goals need then stays small."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Work:
    """The work at boxes; arrays are read-only.

    Parameters
    ----------
    kind : ndarray of int, shape (k,)
        Index into `WORK`; -1 where the offset of some hole is unknown.
    turn : ndarray, shape (k, n)
        Rounded turn, clockwise seen from inside the box; NaN where the clock is unknown. [rad]
    angle_after : ndarray, shape (k, n)
        Angle of the hole from straight down; NaN where unknown. [rad]
    move : ndarray, shape (k, n)
        Rise of each lip; 0 where capped. [m]
    reachable : ndarray, shape (k, n)
        Whether the lip can be brought to its height; True where capped.
    """

    kind: npt.NDArray[np.int8]
    turn: Array
    angle_after: Array
    move: Array
    reachable: BoolArray


def work_at(boxes: Boxes, verdict: npt.NDArray[np.int8], inflow: float) -> Work:
    """Work out what to turn at each box, or that it must be bedded again.

    Parameters
    ----------
    boxes : Boxes
        k boxes of n outlets.
    verdict : ndarray of int, shape (f, k)
        What `judge` says of them.
    inflow : float
        Flow at which unequal holes are to share equally. [m3/s]

    Returns
    -------
    Work
        With the least turning, each turn rounded to what a hand can do.
    """
    unknown = np.any(np.isnan(boxes.hole_offset) & boxes.uncapped, axis=-1)
    boxes = replace(boxes, hole_offset=np.nan_to_num(boxes.hole_offset))
    reach = Reach.of_lips(boxes.lip, boxes.hole_offset, boxes.clock)
    offset = _offsets(boxes, inflow)
    wanted = _goals(boxes, offset) + offset
    reachable = reach.allows(wanted)
    kind = _kinds(boxes, verdict, reach, offset, reachable)
    hold = (kind != WORK.index("adjust")) & (kind != WORK.index("re-bed"))
    turn, after = hand_turns(reach, wanted, HAND_STEP, hold=hold[:, None])
    move = np.where(reach.uncapped, after, 0.0) - reach.lip
    too_fine = (kind == WORK.index("adjust")) & np.all(np.abs(move) <= LEAST_MOVE, axis=-1)
    kind[too_fine] = WORK.index("nothing to do")
    kind[unknown] = -1
    angle_after = (reach.angle + turn + np.pi) % (2.0 * np.pi) - np.pi
    freeze(kind, turn, angle_after, move, reachable)
    return Work(kind=kind, turn=turn, angle_after=angle_after, move=move, reachable=reachable)


def _goals(boxes: Boxes, offset: Array) -> Array:
    """Height that the wanted lips are counted from. [m] (k, 1)"""
    goals = np.empty((len(boxes.lip), 1))
    for first in range(0, len(goals), _TOGETHER):
        rows = slice(first, first + _TOGETHER)
        reach = Reach.of_lips(boxes.lip[rows], boxes.hole_offset[rows], boxes.clock[rows])
        goals[rows, 0] = reach.least_turning_height(offset[rows])
    return goals


def _offsets(boxes: Boxes, inflow: float) -> Array:
    """Wanted height of each lip over the goal; 0 for equal holes, at any flow. [m] (k, n)"""
    if len(set(boxes.openings)) == 1:
        return np.zeros_like(boxes.lip)
    return offsets_of(boxes.openings, boxes.target * inflow, boxes.uncapped)


def _kinds(
    boxes: Boxes,
    verdict: npt.NDArray[np.int8],
    reach: Reach,
    offset: Array,
    reachable: BoolArray,
) -> npt.NDArray[np.int8]:
    within, outside = VERDICTS.index("within"), VERDICTS.index("outside")
    over = reach.lip - offset
    by_chance = alike(over, np.where(boxes.uncapped, boxes.error, np.inf))
    kinds = np.where(reachable.all(-1), WORK.index("adjust"), WORK.index("re-bed"))
    kinds[by_chance & ~np.any(verdict == outside, axis=0)] = WORK.index("read again")
    kinds[np.all(verdict == within, axis=0)] = WORK.index("nothing to do")
    return kinds.astype(np.int8)
