"""What is known of the lips of a box, and which inserts are worth turning.

One body of knowledge: the heights of the lips and their covariance. Every filling of the box has
its own still water, whose height nobody knows, so only differences between lips are told by its
readings. With a covariance P of the heights x and readings y of errors V, S = P + V, and the still
water d left wholly open,

    G = S^-1 - S^-1 1 1' S^-1 / (1' S^-1 1),    x + P G (y - x),    P - P G P.

A turn moves a lip by what the clock says, but for the error of the hand at either end. It is worth
making where it makes good more than it may spoil: the square of what it mends is held against the
variance that the hand brings and the price of a turn. Whether anything is to be turned at all is
asked first: lips that errors alone would scatter as much are left alone.

Nothing here is random: bands are taken over one fixed set of normal points. Whoever writes this
down once more is held to the same numbers by `tests/vectors.json`.
"""

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import count as numbers
from itertools import islice
from statistics import NormalDist

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, Result, freeze
from dbox.fieldwork.turning import Reach, lip_rise

HAND_ERROR = float(np.radians(3.0))
"""One standard deviation of a clock position set by hand. [rad] (common practice, no source)"""

_WORTH = 1.35
"""Least move of a lip that is worth a turn, over what the hand may spoil at a quarter turn. [-]
(judgement: a little over 1/32 in for a hole 1/2 in off its pipe)"""

_PRICE = 0.6
"""What a turn must mend beyond the error of the hand, over the same. [-] (judgement)"""

_READABLE, _FINEST = 1.5, 0.0009
"""Errors of a lip under which no move is worth making, where they are under so much. [-], [m]
(judgement: a little over 1/32 in)"""

GOOD_SPAN = 0.002
"""Highest less lowest lip of a box that is well set, where nobody named a tolerance. [m]
(judgement: about 1/16 in to either side)"""

_LOST = 0.005
"""Miss of a lip beyond which it no longer matters how far: a trickle all runs there, or none of it.
[m] (judgement)"""

_CHANCE = 0.015
"""Chance under which the scatter of all lips is not put down to the readings. [-] (judgement)"""

_CHANCE_ONE = 0.03
"""Chance, over all lips, under which one that is off is not put down to them. [-] (judgement)"""

_CHANCE_STARTED = 0.65
"""The same once a lip was turned: the box was not level, and has to be read again anyway. [-]
(judgement)"""

PLAIN = 3.0
"""Standard errors from the others beyond which a lip is plainly off, however many there are. [-]
(judgement)"""

SET_WELL = 0.8
"""Chance of a good span from which no more reading is asked for. [-] (judgement)"""

_FILLINGS = (3, 4)
"""Fillings to read before, and once, an insert was turned; more of them with the same rule tell
little. [-] (judgement)"""

_SLIPPED = 3.7
"""Standard errors beyond which an insert did not move as it was turned. [-] (judgement)"""

_PLAIN_MISS = 3.0
"""Errors of a reading by which a lip missed what it was turned to by the rule, as if it had come to
the end of its travel. [-] (judgement)"""

ANYWHERE = 0.05
"""One standard deviation of a lip of which nothing is known any more. [m] (judgement)"""

_NOWHERE = 1e6
"""Variance that stands for a capped outlet, of which nothing is told. [m2] (numerical)"""

_TINY = 1e-16
"""Variance that keeps a root of a covariance from failing. [m2] (numerical)"""

_POINTS = 256
"""Points over which a chance is taken. [-] (numerical)"""

_GOALS = 121
"""Heights weighed against each other as goals. [-] (numerical)"""

_ROUNDING = 1e-9
"""What a height may lie beyond a reach and count as within. [m] (rounding)"""

SAME = 1e-9
"""Part by which two of which the lesser is sought may differ and count as the same. [-]
(rounding)"""


@lru_cache(maxsize=8)
def normal_points(count: int, outlets: int, seed: int = 0) -> Array:
    """A fixed set of points that are spread as independent normal errors are. (count, outlets)

    The digits of 1, 2, 3 ... in a prime base for each outlet, written backwards behind the point
    (Halton, 1960, from memory), in pairs of opposite sign; a seed other than 0 shifts them all.
    """
    half = (count + 1) // 2
    primes = (number for number in numbers(2) if all(number % less for less in range(2, number)))
    bases = list(islice(primes, outlets))
    parts = np.zeros((half, outlets))
    for column, base in enumerate(bases):
        left, digit = np.arange(1, half + 1), 1.0
        while left.any():
            digit /= base
            parts[:, column] += digit * (left % base)
            left //= base
    parts = (parts + seed * np.sqrt(bases)) % 1.0
    # not by scipy, whose import alone takes as long as a split
    normal = map(NormalDist().inv_cdf, np.clip(parts, 1e-12, 1.0 - 1e-12).ravel().tolist())
    points = np.fromiter(normal, np.float64, parts.size).reshape(parts.shape)
    result: Array = np.concatenate([points, -points])[:count]
    freeze(result)
    return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Estimate(Result):
    """The lips as they are known after a filling; arrays are read-only."""

    height: Array  # (n,) Lip over the still water of the last filling; inf where capped. [m]
    covariance: Array  # (n, n) Its covariance; 0 where capped. [m2]
    fillings: int = 1  # Fillings that were read.
    started: bool = False  # Whether an insert was turned.
    # Outlets that did not stand where their turning, or the lack of it, would have left them.
    slipped: tuple[int, ...] = ()
    # All that ever slipped: where their holes stand is not known any more.
    suspects: tuple[int, ...] = ()
    # (2, n) Sum of what turned lips missed by, in standard errors, and how often each was turned by
    # the clock since it was last trusted; None before any was. [-]
    drift: Array | None = None
    # (n,) By how much lips were to rise by the rule, NaN where by the clock or not at all. [m]
    asked: Array | None = None
    # Outlets that went no lower, and no higher, when they were to.
    lowest: tuple[int, ...] = ()
    highest: tuple[int, ...] = ()

    @property
    def readable(self) -> bool:
        """Whether reading another filling is still worth its while."""
        return self.fillings < _FILLINGS[self.started]

    @property
    def followed(self) -> BoolArray:
        """Lips of which something is known, wherever the water stands now. (n,)."""
        return np.isfinite(self.height) & (np.diag(self.covariance) < ANYWHERE**2)

    def set_to(
        self, told: Array, *, before: Array, after: Array, offset: Array, hand: float,
        by_rule: float,
    ) -> "Estimate":  # fmt: skip
        """The same once inserts were turned; before [rad], after [rad], offset [m], hand [rad].

        NaN: an angle that nobody knows; inf: such an offset. told: Where a lip was to be brought,
        NaN where it was not turned [m]; by_rule: how well the rule does that. [m2]
        """
        unknown = np.isinf(offset)
        unknown[list(self.suspects)] = True
        before, after = np.where(unknown, np.nan, before), np.where(unknown, np.nan, after)
        offset = np.where(unknown, 1.0, offset)
        moved = (offset > 0) & ((before != after) & ~(np.isnan(before) & np.isnan(after)))
        rise = np.where(moved, lip_rise(after, offset) - lip_rise(before, offset), 0.0)
        variance = np.where(moved, turn_variance(before, after, offset, hand), 0.0)
        # an insert whose clock is not known is moved by the rule, to where nobody can say: its lip
        # comes as near to its height as one more reading tells
        blind = np.isfinite(told) & np.isnan(before)
        asked = np.where(blind, told - self.height, np.nan)
        return self.turned(np.where(blind, asked, rise), np.where(blind, by_rule, variance), asked)

    def rise_to(self, mean: Array, variance: Array) -> float | None:
        """By how much the water rose over which these were read: the lips that can be followed tell
        it; None where there is none. mean [m], variance [m2] -> [m]."""
        followed = self.followed & np.isfinite(mean)
        if not followed.any():
            return None
        error = (np.diag(self.covariance) + variance)[followed]
        rise = self.height[followed] - mean[followed]
        return float(np.average(rise, weights=1.0 / error))

    def turned(self, rise: Array, variance: Array, asked: Array | None = None) -> "Estimate":
        """The same once lips were moved; rise [m], variance [m2], NaN where nobody knows.

        asked: by how much lips were to rise by the rule. [m]
        """
        known = np.isfinite(rise)
        spoiled = np.where(known, variance, ANYWHERE**2)
        height = self.height + np.where(known, rise, 0.0)
        covariance = self.covariance + np.diag(spoiled)
        drift = np.zeros((2, known.size)) if self.drift is None else self.drift.copy()
        drift[1] += known & (variance > 0)
        return replace(
            self,
            height=height,
            covariance=covariance,
            asked=asked,
            drift=drift,
            started=self.started or bool(np.any(spoiled > 0)),
        )

    def read(self, mean: Array, variance: Array) -> "Estimate":
        """The same once another filling was read; mean [m], variance [m2]."""
        told = np.isfinite(mean)
        if not told.any():
            return replace(self, fillings=self.fillings + 1, slipped=(), asked=None)
        over = np.where(told, mean, 0.0) - np.where(told, self.height, 0.0)
        covariance, slipped = self.covariance, list[int]()
        drift = np.zeros((2, over.size)) if self.drift is None else self.drift.copy()
        while True:
            pull, weight = _pull(covariance, variance, told)
            if told.sum() < 3:
                break
            off = pull @ over / np.sqrt(np.where(told, np.diag(pull), 1.0))
            if not slipped:
                drift[0] += np.where(drift[1] > 0, off, 0.0)
            # one turn missed by much, or turn after turn by some
            again = drift[0] / np.sqrt(np.maximum(drift[1], 1.0)) * (drift[1] > 1)
            off = np.where(np.abs(again) > np.abs(off), again, off)
            # the first of those as far off but for rounding
            worst = int(np.argmax(np.abs(off) >= np.abs(off).max() * (1.0 - SAME)))
            if abs(off[worst]) <= _SLIPPED or worst in slipped:
                break
            slipped.append(worst)
            drift[:, worst] = 0.0
            covariance = covariance + np.diag(ANYWHERE**2 * (np.arange(off.size) == worst))
        still = float(weight @ over / weight.sum())
        height = self.height + covariance @ pull @ over + still
        covariance = covariance - covariance @ pull @ covariance
        covariance = 0.5 * (covariance + covariance.T)
        short = self._short(height - still, np.sqrt(variance))
        return replace(
            self, height=height, covariance=covariance, fillings=self.fillings + 1, asked=None,
            drift=drift, slipped=tuple(slipped), suspects=tuple(sorted({*self.suspects, *slipped})),
            lowest=tuple(sorted({*self.lowest, *np.flatnonzero(short < 0).tolist()})),
            highest=tuple(sorted({*self.highest, *np.flatnonzero(short > 0).tolist()})),
        )  # fmt: skip

    def _short(self, height: Array, error: Array) -> Array:
        """Which way lips that were set by the rule went less than half as far as they were to.

        height, over the water of the filling before [m], error [m] -> -1, 0 or 1. (n,).
        """
        if self.asked is None or not (np.isnan(self.asked) & self.followed).any():
            return np.zeros(self.height.shape)
        asked = self.asked
        went = np.where(np.isfinite(asked), height, 0.0) - np.where(
            np.isfinite(asked), self.height - asked, 0.0
        )
        less = np.abs(asked - went) > np.maximum(_PLAIN_MISS * error, 0.5 * np.abs(asked))
        return np.where(np.isfinite(asked) & less & (asked * went < asked**2), np.sign(asked), 0.0)


def _pull(covariance: Array, variance: Array, told: BoolArray) -> tuple[Array, Array]:
    """Weights of readings over an unknown still water, and those that tell that water."""
    inverse = np.zeros_like(covariance)
    part = np.ix_(told, told)
    inverse[part] = np.linalg.inv((covariance + np.diag(variance))[part])
    weight = inverse.sum(0)
    return inverse - np.outer(weight, weight) / weight.sum(), weight


def turn_variance(angle: ArrayLike, after: ArrayLike, offset: ArrayLike, hand: float) -> Array:
    """What the hand adds to the variance of a lip that is turned. [m2]

    angle [rad], after [rad], offset [m], hand [rad].
    """
    ends = np.sin(angle) ** 2 + np.sin(after) ** 2
    result: Array = (np.asarray(offset, np.float64) * hand) ** 2 * ends
    return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Decision(Result):
    """What is worth turning; boxes (...) and outlets (n); arrays are read-only."""

    goal: Array  # (...) Height over still water that the wanted offsets are counted from. [m]
    turn: BoolArray  # (..., n) Whether the insert is to be turned.
    wanted: Array  # (..., n) Where its lip is to stand; the present lip where it is left. [m]
    apart: BoolArray  # (...) Whether the lips are farther apart than errors would scatter them.
    off: BoolArray  # (..., n) Plainly off the goal, and no turn brings the lip there.

    def spoiled(self, reach: Reach, turn: Array, hand: float, by_rule: ArrayLike) -> Array:
        """What turning adds to the variance of each lip; turn [rad], hand [rad], by_rule [m2]."""
        by_hand = turn_variance(reach.angle, reach.angle + turn, reach.offset, hand)
        unclear = self.turn & np.isnan(reach.angle)
        by_hand = np.where(unclear, by_rule, np.nan_to_num(by_hand))
        return np.where(unclear | (np.nan_to_num(turn) != 0), by_hand, 0.0)


def decide(
    reach: Reach,
    covariance: Array,
    offset: Array,
    *,
    hand: float = HAND_ERROR,
    by_rule: ArrayLike = 0.0,
    started: ArrayLike = False,
    highest: bool = False,
) -> Decision:
    """Choose the goal and the inserts to turn.

    covariance [m2] (..., n, n); offset (..., n), wanted heights over the goal [m]; hand [rad];
    by_rule, variance of a lip that is set by the rule [m2]; highest: as practice has it, no lip is
    lowered.
    """
    uncapped, lip = reach.uncapped, reach.lip - offset
    error = np.sqrt(np.diagonal(covariance, axis1=-2, axis2=-1))
    # what a turn may spoil: by the clock at a quarter turn, by the rule where that is not known
    spoil = np.where(np.isnan(reach.angle), np.sqrt(by_rule), reach.offset * hand)
    spoil = np.where(reach.adjustable, spoil, 0.0)
    least = np.maximum(_WORTH * spoil, np.minimum(_FINEST, _READABLE * error))
    apart = _apart(lip, covariance, least, uncapped, started)
    by_least = _best_goal(lip, reach, offset, spoil, least)
    goal = _as_high(lip, reach, offset) if highest else by_least
    turn = _worth(goal, reach, offset, spoil, least)[0] & apart[..., None]
    if not highest:
        # the lips that stay are the better mark, where every insert that turns can reach them
        stay = uncapped & ~turn & (np.abs(lip - goal[..., None]) < _LOST)
        middle = np.where(stay, lip, 0.0).sum(-1) / np.maximum(stay.sum(-1), 1)
        reached = np.all(~turn | reach.allows(middle[..., None] + offset), axis=-1)
        goal = np.where(stay.any(-1) & reached, middle, goal)
    wanted = np.where(turn, reach.brought(goal[..., None] + offset), reach.lip)
    turn = turn & (np.abs(wanted - reach.lip) >= least)
    wanted = np.where(turn, wanted, reach.lip)
    missed = np.abs(np.where(uncapped, wanted - offset - goal[..., None], 0.0))
    off = apart[..., None] & (missed > np.maximum(_READABLE * error, least))
    off &= ~reach.allows(goal[..., None] + offset)
    return Decision(goal=goal, turn=turn, wanted=wanted, apart=apart, off=off)


def _apart(
    lip: Array, covariance: Array, least: Array, uncapped: BoolArray, started: ArrayLike
) -> BoolArray:
    """Whether lips differ by more than their errors would scatter them. (...)

    lip [m], covariance [m2], least [m].
    """
    from scipy.special import chdtrc, ndtri

    n = lip.shape[-1]
    both = uncapped[..., None, :] & uncapped[..., :, None]
    joint = np.where(both, covariance, 0.0) + np.where(uncapped, 0.0, _NOWHERE)[..., None] * np.eye(
        n
    )
    height, inverse = np.where(uncapped, lip, 0.0), np.linalg.inv(joint)
    weight = inverse.sum(-1)
    pulled = (inverse @ height[..., None])[..., 0]
    mean = (weight * height).sum(-1) / weight.sum(-1)
    scatter = (pulled * height).sum(-1) - mean**2 * weight.sum(-1)
    others = np.maximum(uncapped.sum(-1) - 1, 1)
    chance = chdtrc(others, np.maximum(scatter, 0.0))
    scattered = chance < np.where(started, _CHANCE_STARTED, _CHANCE)
    # each lip against the mean of all the others
    against = np.eye(n) - (1.0 - np.eye(n)) * uncapped[..., None, :] / others[..., None, None]
    difference = (against @ height[..., None])[..., 0]
    shared = np.where(both, covariance, 0.0)
    error = np.sqrt(np.einsum("...ij,...jk,...ik->...i", against, shared, against))
    doubt = np.minimum(PLAIN, ndtri(1.0 - 0.5 * _CHANCE_ONE / (others + 1.0)))[..., None]
    plain = uncapped & (np.abs(difference) > np.maximum(doubt * error, least))
    result: BoolArray = (uncapped.sum(-1) > 1) & (scattered | plain.any(-1))
    return result


def _worth(
    goals: Array, reach: Reach, offset: Array, spoil: Array, least: Array
) -> tuple[BoolArray, Array]:
    """Whether each insert is worth turning to goals [m], and what is then left [m2]."""
    heights = goals[..., None] + offset
    there = reach.brought(heights)
    move = there - reach.lip
    hole = np.where(reach.adjustable, reach.offset, 1.0)
    cosine = np.clip(np.cos(reach.angle) - move / hole, -1.0, 1.0)
    ends = np.where(np.isnan(reach.angle), 1.0, np.sin(reach.angle) ** 2 + 1.0 - cosine**2)
    kept = np.minimum((heights - reach.lip) ** 2, _LOST**2)
    turned = np.minimum((heights - there) ** 2, _LOST**2) + spoil**2 * (ends + _PRICE**2)
    worth = reach.uncapped & reach.adjustable & (np.abs(move) >= least) & (turned < kept)
    return worth, np.where(reach.uncapped, np.where(worth, turned, kept), 0.0)


def _best_goal(lip: Array, reach: Reach, offset: Array, spoil: Array, least: Array) -> Array:
    """The goal that leaves the least, errors of the hand and the price of turns counted. [m]"""
    low = np.where(reach.uncapped, lip, np.inf).min(-1) - _FINEST
    high = np.where(reach.uncapped, lip, -np.inf).max(-1) + _FINEST
    goals = np.linspace(low, high, _GOALS)
    left = _worth(goals, reach, offset, spoil, least)[1].sum(-1)
    least = left.min(0)
    # the lowest of goals that are as good but for rounding
    best = np.argmax(left <= least * (1.0 + SAME), axis=0)
    result: Array = np.take_along_axis(goals, best[None], 0)[0]
    return result


def _as_high(lip: Array, reach: Reach, offset: Array) -> Array:
    """The highest lip or, where not all can be brought there, the highest height for all. [m]"""
    top = np.where(reach.uncapped, lip, -np.inf).max(-1)
    low, high = (reach.low - offset).max(-1), (reach.high - offset).min(-1)
    all_reach = reach.allows(top[..., None] + offset).all(-1)
    result: Array = np.where(~all_reach & (low <= high + _ROUNDING), high, top)
    return result


def level_chance(lip: Array, covariance: Array, uncapped: BoolArray) -> Array:
    """Chance that lips span no more than `GOOD_SPAN`; lip [m], covariance [m2]. [-] (...)"""
    n = lip.shape[-1]
    both = uncapped[..., None, :] & uncapped[..., :, None]
    root = np.linalg.cholesky(np.where(both, covariance, 0.0) + _TINY * np.eye(n))
    drawn = np.where(uncapped, lip, 0.0)[..., None, :] + normal_points(_POINTS, n) @ np.swapaxes(
        root, -1, -2
    )
    top = np.where(uncapped[..., None, :], drawn, -np.inf).max(-1)
    bottom = np.where(uncapped[..., None, :], drawn, np.inf).min(-1)
    fits: Array = np.mean(top - bottom <= GOOD_SPAN, axis=-1)
    return fits
