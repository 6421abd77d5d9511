"""What speaks for a cause, what against it, and does anything fit at all?

An observation speaks for a cause by the logarithm of its chance under that cause over its chance
under the others, as probable as lips and pours leave them. It fits badly where the cause gives it
less than an eighth of the chance of what the cause most expects. A cause that leads and yet is
surprised, over all, by far more than chance would, is told as "none of these fits well"; two
observations of standing water that no single cause shows together, though each alone has its cause,
are pointed out and not averaged away.
"""

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.weigh import Seen, Weighing, by_answer, pours_done

FITS_BADLY = 0.125
"""Chance of what was seen over that of what was most expected, below which it fits badly. [-]"""

SURPRISED = 3.0
"""Standard deviations of surprise from which nothing is said to fit well. [-]"""

SPEAKS = 0.35
"""Least support, as a natural logarithm, that is worth telling. [-]"""

TOGETHER = 0.2
"""Chance over what was most expected that two observations of one cause should both reach. [-]"""

STANDING_WATER = ("at_rest", "mouth", "port", "drain_back", "cap", "plugged")
"""Observations that have to agree, at one outlet or with those of the box."""


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One observation and how far it speaks for a cause, or against it below 0.

    Parameters
    ----------
    seen : Seen
        The observation.
    support : float
        Natural logarithm of its chance under the cause over that under the others. [-]
    fits_badly : bool
        Whether the cause hardly expects it.
    """

    seen: Seen
    support: float
    fits_badly: bool


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Two observations that no single cause shows together.

    Parameters
    ----------
    one, other : Seen
        The observations.
    """

    one: Seen
    other: Seen


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How the observations fit the answers; g answers, i observations in words.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.
    chance : ndarray, shape (g, i)
        Chance of each observation under each answer. [-]
    typical : ndarray, shape (g, i)
        That chance over the chance of what the answer most expects; NaN for measured numbers. [-]
    surprise : ndarray, shape (g,)
        Surprise of all observations over what chance would bring, in standard deviations. [-]
    heights, pours : ndarray, shape (g,)
        Logarithm of the probability of the readings, and of the pours given the readings. [-]
    """

    weighing: Weighing
    chance: Array
    typical: Array
    surprise: Array
    heights: Array
    pours: Array

    def findings(self, answer: int) -> tuple[Finding, ...]:
        """Every observation that speaks for an answer or against it, the loudest first."""
        rivals = by_answer(self.weighing.hypotheses, _weights(self.weighing.base))
        rivals = np.where(np.arange(len(rivals)) == answer, 0.0, rivals)
        found = [
            Finding(
                seen=item.seen,
                support=_support(np.log(self.chance[:, i]), rivals, answer),
                fits_badly=bool(self.typical[answer, i] < FITS_BADLY),
            )
            for i, item in enumerate(self.weighing.items)
        ]
        found += self._measured(answer, rivals)
        told = [f for f in found if abs(f.support) >= SPEAKS or f.fits_badly]
        return tuple(sorted(told, key=lambda f: -abs(f.support)))

    def _measured(self, answer: int, rivals: Array) -> list[Finding]:
        drawn, found = self.weighing.drawn, []
        if drawn.freedom:
            group = self.weighing.hypotheses.group == answer
            poor = drawn.excess[group].min() > 3.0 * np.sqrt(2.0 * drawn.freedom)
            support = _support(self.heights, rivals, answer)
            found.append(
                Finding(seen=Seen(name="readings"), support=support, fits_badly=bool(poor))
            )
        if pours_done(self.weighing.site):
            support = _support(self.pours, rivals, answer)
            found.append(Finding(seen=Seen(name="pours"), support=support, fits_badly=False))
        return found

    def contradictions(self) -> tuple[Contradiction, ...]:
        """Pairs of observations of standing water that no single cause shows together."""
        items = [
            (i, item.seen)
            for i, item in enumerate(self.weighing.items)
            if item.seen.name in STANDING_WATER
        ]
        explained = np.any(self.typical > 0.5, axis=0).tolist()
        pairs = []
        for (i, one), (k, other) in combinations(items, 2):
            apart = one.outlet != other.outlet and min(one.outlet, other.outlet) >= 0
            together = np.minimum(self.typical[:, i], self.typical[:, k]).max()
            if not apart and explained[i] and explained[k] and together < TOGETHER:
                pairs.append(Contradiction(one=one, other=other))
        return tuple(pairs)


def fit_of(weighing: Weighing) -> Fit:
    """Hold every observation against every answer.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.

    Returns
    -------
    Fit
        With g answers.
    """
    within = _within(weighing)
    hypotheses = weighing.hypotheses
    shape = (len(hypotheses.answers), len(weighing.items))
    chance, typical = np.zeros(shape), np.full(shape, np.nan)
    excess, variance = np.zeros(shape[0]), np.zeros(shape[0])
    for i, item in enumerate(weighing.items):
        chance[:, i] = by_answer(hypotheses, within * np.exp(item.log_chance))
        if item.words is not None:
            words = by_answer(hypotheses, within[:, None] * item.words)
            typical[:, i] = chance[:, i] / words.max(-1)
            more, spread = _surprise(words, chance[:, i])
            excess, variance = excess + more, variance + spread
    if weighing.drawn.freedom:
        worst = np.full(shape[0], np.inf)
        np.minimum.at(worst, hypotheses.group, weighing.drawn.excess)
        excess, variance = excess + worst / 2.0, variance + weighing.drawn.freedom / 2.0
    heights, poured = _measured_logs(weighing)
    return Fit(
        weighing=weighing,
        chance=chance,
        typical=typical,
        surprise=excess / np.sqrt(np.maximum(variance, 1e-9)),
        heights=heights,
        pours=poured,
    )


def _surprise(words: Array, chance: Array) -> tuple[Array, Array]:
    """How much more surprising a word was than words are on average, and their variance."""
    log = np.log(words)
    mean = (words * log).sum(-1)
    return mean - np.log(chance), (words * log**2).sum(-1) - mean**2


def _support(log_chance: Array, rivals: Array, answer: int) -> float:
    """Log chance under an answer over the mean chance under its rivals."""
    high = log_chance.max()
    mean = float((np.exp(log_chance - high) * rivals).sum() / max(rivals.sum(), 1e-300))
    return float(np.clip(log_chance[answer] - high - np.log(max(mean, 1e-300)), -99.0, 99.0))


def _weights(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _within(weighing: Weighing) -> Array:
    """Weights by lips and pours, 1 in all within each answer; even where none is left. (r,)."""
    row_answer, base = weighing.answer_of_row, weighing.base
    top = np.full(len(weighing.hypotheses.answers), -np.inf)
    np.maximum.at(top, row_answer, base)
    lost = np.isneginf(top)[row_answer]
    weight = np.where(lost, 1.0, np.exp(base - np.where(lost, 0.0, top[row_answer])))
    total = by_answer(weighing.hypotheses, weight)
    return np.asarray(weight / total[row_answer])


def _measured_logs(weighing: Weighing) -> tuple[Array, Array]:
    """Log probability of the readings under each answer, and of the pours given them. (g,)"""
    hypotheses, count = weighing.hypotheses, len(weighing.hypotheses.answers)
    rows = np.log(np.maximum(hypotheses.prior, 1e-300))
    before, read, poured = (np.full(count, -np.inf) for _ in range(3))
    np.logaddexp.at(before, hypotheses.group, rows)
    np.logaddexp.at(read, hypotheses.group, rows + weighing.drawn.log_readings)
    draws = weighing.base.reshape(len(rows), -1)
    np.logaddexp.at(poured, hypotheses.group, np.logaddexp.reduce(draws, -1))
    poured = np.maximum(poured - np.log(draws.shape[1]), -1e4)
    return read - before, poured - read
