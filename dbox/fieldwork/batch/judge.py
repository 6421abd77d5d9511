"""What share does each line of many boxes get at each flow, and is that within tolerance?

By drawing, as `confidence` does it for one box: the same seed and number of draws give a box the
same chances. Or quickly, to first order: the errors of the lips, taken to be independent and
normal, move the roots r = sqrt(q) of the flows, which run nearly straight with the heads, by

    dr_i / dlip_j = R_i (w_j - [i = j]),    R = dr/dh,    w_j = R_j r_j / sum R r,

the water level moving by w_j where lip j does. A dry lip has the root that it would have if its
straight line went on below 0. A box is outside where one outlet is surely beyond an edge of its
tolerance, within where by the sum of the tails at all edges (Bonferroni) none is.
"""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.fieldwork.batch.boxes import Boxes
from dbox.fieldwork.confidence import SURE, VERDICTS, chances, verdict_codes
from dbox.hydraulics.level import OutletSet
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import Split, split

_DRAWN = 2**16
"""Lips drawn at a time, so that a list of any length needs little memory."""

_LEAST_HEAD = 1e-6
_ROUNDING = 1e-9
_WITHIN, _OUTSIDE, _NEITHER = range(len(VERDICTS))


@dataclass(frozen=True, kw_only=True, eq=False)
class Judged:
    """Shares and verdicts of boxes; arrays are read-only, flows first.

    Parameters
    ----------
    share : ndarray, shape (f, k, n)
        Share of each outlet at the best estimate of the lips. [-]
    worst : ndarray of int, shape (f, k)
        Index of the outlet with the largest share over target.
    worst_over_target : ndarray, shape (f, k)
        That share over its target. [-]
    within_probability : ndarray, shape (f, k)
        Chance that every outlet is within tolerance; NaN to first order, which only bounds it. [-]
    verdict : ndarray of int, shape (f, k)
        Index into `confidence.VERDICTS`.
    """

    share: Array
    worst: npt.NDArray[np.intp]
    worst_over_target: Array
    within_probability: Array
    verdict: npt.NDArray[np.int8]


def judge_drawn(boxes: Boxes, inflow: Array, *, samples: int, seed: int) -> Judged:
    """Judge boxes by drawing their lips.

    Parameters
    ----------
    boxes : Boxes
        k boxes of n outlets.
    inflow : ndarray, shape (f,)
        The flows. [m3/s]
    samples : int
        Lips drawn for each box.
    seed : int
        Same seed, same draws; every box has the same ones, wherever it stands in a list.

    Returns
    -------
    Judged
        With the chances.
    """
    count, outlets = boxes.lip.shape
    scatter = np.random.default_rng(seed).standard_normal((samples, outlets))
    within, beyond = np.empty((2, inflow.size, count))
    target = boxes.target
    step = max(1, _DRAWN // scatter.size)
    for first in range(0, count, step):
        rows = slice(first, first + step)
        drawn = boxes.lip[rows, None] + scatter * boxes.error[rows, None]
        for case, flow in enumerate(inflow):
            within[case, rows], beyond[case, rows] = chances(
                split(flow, drawn, boxes.openings).share,
                target[rows, None],
                boxes.tolerance[rows, None, None],
            )
    result = split(inflow[:, None], boxes.lip, boxes.openings)
    return _judged(boxes, result, within, verdict_codes(within, beyond))


def judge_first_order(boxes: Boxes, inflow: Array) -> Judged:
    """Judge boxes by the slopes of their outlets, which is quick.

    Parameters
    ----------
    boxes : Boxes
        k boxes of n outlets.
    inflow : ndarray, shape (f,)
        The flows, above 0. [m3/s]

    Returns
    -------
    Judged
        Without the chances.
    """
    result = split(inflow[:, None], boxes.lip, boxes.openings)
    low, high = _rooms(boxes, result)
    least = np.minimum(low, high).min(0)
    sure = NormalDist().inv_cdf(SURE)
    within = least >= sure
    if within.any():
        from scipy.special import ndtr

        tails = (ndtr(-low[:, within]) + ndtr(-high[:, within])).sum(0)
        within[within] = tails <= 1.0 - SURE
    codes = np.where(within, _WITHIN, np.where(least <= -sure, _OUTSIDE, _NEITHER))
    return _judged(boxes, result, np.full(least.shape, np.nan), codes.astype(np.int8))


def _rooms(boxes: Boxes, result: Split) -> tuple[Array, Array]:
    """Room to the lower and the upper edge of tolerance, in standard errors. (n, f, k) each."""
    head, flow = _outlets_first(result.head), _outlets_first(result.flow)
    deviation, target = _outlets_first(boxes.error)[:, None], _outlets_first(boxes.target)[:, None]
    # a lip that is dry, or nearly so, has the root that its opening gives at an error's head
    rate = _root_rate(boxes.openings, np.maximum(head, np.maximum(deviation, _LEAST_HEAD)))
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


def _root_rate(openings: tuple[Opening, ...], head: Array) -> Array:
    """How the root of each outlet's flow runs with its head. [(m3/s)^0.5/m] (n, ...)"""
    flow, slope = OutletSet(openings).rating(head.reshape(len(openings), -1), None)
    rate: Array = (0.5 * slope / np.sqrt(flow)).reshape(head.shape)
    return rate


def _judged(boxes: Boxes, result: Split, within: Array, codes: npt.NDArray[np.int8]) -> Judged:
    share, target = result.share, boxes.target
    over = np.where(target > 0, share / np.where(target > 0, target, 1.0), 0.0)
    worst = over.argmax(-1)
    largest = np.take_along_axis(over, worst[..., None], -1)[..., 0]
    freeze(share, worst, largest, within, codes)
    return Judged(
        share=share,
        worst=worst,
        worst_over_target=largest,
        within_probability=within,
        verdict=codes,
    )
