"""The probability of each cause given what was seen, and what speaks for and against it.

Every observation multiplies the weight of a drawn box by the chance that such a box shows it
(likelihood weighting); a cause is as probable as the weight of its draws. One observation counts
for a cause as far as that cause expected it more than the others did.

An observation speaks for a cause by the logarithm of its chance under that cause over its chance
under the others, as probable as lips and pours leave them. It fits badly where the cause gives it
less than an eighth of the chance of what the cause most expects. A cause that leads and yet is
surprised, over all, by far more than chance would, is told as "none of these fits well"; two
observations of standing water that no single cause shows together, though each alone has its cause,
are pointed out and not averaged away.
"""

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.cause_lips import Drawn, draw_lips
from dbox.fieldwork.diagnosis.causes import CAUSES, SYSTEM_SIGNS, Hypotheses, hypotheses
from dbox.fieldwork.diagnosis.visible import (
    STOPS,
    View,
    call_chance,
    found_heights,
    gauges_of,
    ground_word,
    port_depth_chance,
    pour_chance,
    rod_chance,
    words_of,
)
from dbox.fieldwork.diagnosis.worlds import Jets, States, Water, draw_states, outlet_places
from dbox.fieldwork.evidence import OUTLET_WORDS
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site

TEMPER = 0.9
"""Power that every chance is raised to: observations of one visit are not quite independent. [-]
(judgement)"""


_UNREAD = 100


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation that was made."""

    # What was looked at: a key of the evidence, or `readings`, `pours`, `rim slope`, `level at
    # rest`, `depth in port`, `reach of rod`.
    name: str
    outlet: int = -1  # Outlet it belongs to; -1 for none.
    word: str = ""  # What was seen, where it is a word.


@dataclass(frozen=True, kw_only=True, eq=False)
class Item:
    """An observation and what it says of every drawn box."""

    seen: Seen  # The observation.
    log_chance: Array  # (r,) Logarithm of the chance that the box shows it. [-]
    words: Array | None = None  # (r, words) Chances of all words, where it is a word. [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighing:
    """Drawn boxes with their weights; r = hypotheses by draws, g = answers."""

    site: Site  # What was asked about.
    hypotheses: Hypotheses  # What may be wrong.
    water: Water  # Its splitter.
    states: States  # The boxes.
    drawn: Drawn  # Their lips.
    items: tuple[Item, ...]  # What was seen, lips and pours left out.
    base: Array  # (r,) Logarithm of the weight by priors, lips and pours. [-]
    log_weight: Array  # (r,) The same with all that was seen. [-]
    probability: Array  # (g,) Of each answer. [-]

    @property
    def weight(self) -> Array:
        """Weight of every box; all add up to 1. [-] (r,)."""
        return _unlogged(self.log_weight)

    def by_answer(self, values: Array) -> Array:
        """Sums over the boxes of each answer, (r, ...) to (g, ...). [unit of values]"""
        return by_answer(self.hypotheses, values)

    @property
    def answer_of_row(self) -> npt.NDArray[np.int64]:
        """Answer that each box stands for. (r,)."""
        return self.hypotheses.group[self.states.hypothesis]


def by_answer(hypotheses: Hypotheses, values: Array) -> Array:
    """Sums over the boxes of each answer; values [any] -> [any]."""
    h = len(hypotheses.cause)
    each = values.reshape(h, -1, *values.shape[1:]).sum(1)
    total = np.zeros((len(hypotheses.answers), *values.shape[1:]))
    np.add.at(total, hypotheses.group, each)
    return total


def weigh(site: Site, *, draws: int, seed: int) -> Weighing:
    """Draw boxes under every cause and weigh them by what was seen."""
    rng = np.random.default_rng(seed)
    may_be = hypotheses(site)
    places, _ = outlet_places(site)
    water = Water(site, places, Jets.of(site, places))
    drawn = draw_lips(may_be, places, gauges_of(site, may_be), draws, rng)
    states = draw_states(site, water, may_be, drawn, rng)
    base = np.log(np.maximum(may_be.prior, 1e-300))[:, None] + drawn.log_weight
    base = base.reshape(-1)
    for pour in pours_done(site):
        noise = np.tile(rng.standard_normal(draws), len(may_be.cause))
        base = base + TEMPER * pour_chance(water, states, pour, noise)
    base = base + _called(site, water, may_be, states, seed)
    items = tuple(_items(site, states))
    log_weight = base + TEMPER * sum((item.log_chance for item in items), start=0.0)
    return Weighing(
        site=site,
        hypotheses=may_be,
        water=water,
        states=states,
        drawn=drawn,
        items=items,
        base=base,
        log_weight=log_weight,
        probability=by_answer(may_be, _unlogged(log_weight)),
    )


def _called(site: Site, water: Water, hypotheses: Hypotheses, states: States, seed: int) -> Array:
    """Log chance that somebody calls about such a box, over that of its hypothesis. (r,)

    That of the hypothesis is over boxes as it has them before anything is read or poured, so that a
    cause loses where what was read or poured leaves it no box that wets a line.
    """
    wets = np.flatnonzero(np.array([cause.wets for cause in CAUSES])[hypotheses.cause])
    some = replace(
        hypotheses,
        cause=hypotheses.cause[wets],
        outlet=hypotheses.outlet[wets],
        prior=hypotheses.prior[wets],
        group=hypotheses.group[wets],
    )
    rng = np.random.default_rng([seed, 3])
    drawn = draw_lips(some, water.places, [], _UNREAD, rng)
    unread = call_chance(draw_states(site, water, some, drawn, rng)).reshape(len(wets), -1)
    # a box that cannot lean has no weight at all
    weight = np.exp(drawn.log_weight - np.maximum(drawn.log_weight.max(-1, keepdims=True), -1e300))
    called = (weight * unread).sum(-1) / np.maximum(weight.sum(-1), 1e-300)
    log = np.zeros((len(hypotheses.cause), states.cause.size // len(hypotheses.cause)))
    log[wets] = np.log(call_chance(states)).reshape(len(log), -1)[wets]
    log[wets] -= np.log(np.maximum(called, 1e-300))[:, None]
    return log.reshape(-1)


def pours_done(site: Site) -> tuple[Pour, ...]:
    """The pours that showed something."""
    return tuple(pour for pour in site.pours if pour.done or pour.order)


def _unlogged(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _items(site: Site, states: States) -> list[Item]:
    """Every observation that is a word, or a level or slope measured."""
    evidence, view = site.evidence, View(states, site.evidence)
    items, of_outlets, uncapped = [], (*OUTLET_WORDS, "ground"), _uncapped(site)
    for name in (*SYSTEM_SIGNS, "at_rest", "rim"):
        word = system_word(site, name)
        if word:
            items.append(_worded(Seen(name=name, word=word), view.system(name)))
    looked_at = [n for n in of_outlets if any(outlet_word(site, n, i) for i in uncapped)]
    chances = {name: view.outlet(name) for name in looked_at}
    for i in uncapped:
        for name, chance in chances.items():
            word = outlet_word(site, name, i)
            if word:
                items.append(_worded(Seen(name=name, outlet=i, word=word), chance[:, i]))
    items += _measured(site, states)
    heights = found_heights(site)
    if not np.isnan(heights).all():
        chance = view.level_at_rest(heights, site.spread or DEFAULT_SPREAD)
        items.append(Item(seen=Seen(name="level at rest"), log_chance=np.log(chance)))
    if evidence.rim_slope is not None:
        chance = view.rim_slope(evidence.rim_slope)
        items.append(Item(seen=Seen(name="rim slope"), log_chance=np.log(chance)))
    return items


def _measured(site: Site, states: States) -> list[Item]:
    """Depths in ports and the reach of rods, over what their words say."""
    items = []
    for i in _uncapped(site):
        seen = site.evidence.of_outlet(i)
        if seen.port == "below the pipe" and seen.port_water is not None:
            chance = port_depth_chance(states, site, i)
            items.append(Item(seen=Seen(name="depth in port", outlet=i), log_chance=np.log(chance)))
        if seen.rod in STOPS and seen.rod_distance is not None:
            chance = rod_chance(states, seen.rod_distance, i)
            items.append(Item(seen=Seen(name="reach of rod", outlet=i), log_chance=np.log(chance)))
    return items


def _uncapped(site: Site) -> list[int]:
    return [i for i, outlet in enumerate(site.outlets) if not outlet.capped]


def system_word(site: Site, name: str) -> str | None:
    """What was seen of the whole system, or follows from what the file says; None: not looked."""
    word: str | None = getattr(site.evidence, name)
    if word is None and name == "baffle" and site.box.inlet is not None:
        return "missing" if site.box.inlet == "straight" else "in place"
    measured = {"at_rest": found_heights(site), "rim": np.array([np.nan])}
    if name == "rim" and site.evidence.rim_slope is not None:
        return None
    return None if name in measured and not np.isnan(measured[name]).all() else word


def outlet_word(site: Site, name: str, outlet: int) -> str | None:
    """What was seen of one outlet, as a word; None: not looked at."""
    seen = site.evidence.of_outlet(outlet)
    if name == "ground":
        return None if seen.ground is None else ground_word(seen.ground)
    word: str | None = getattr(seen, name)
    return word


def _worded(seen: Seen, chance: Array) -> Item:
    place = words_of(seen.name).index(seen.word)
    return Item(seen=seen, log_chance=np.log(chance[:, place]), words=chance)


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
    """One observation and how far it speaks for a cause, or against it below 0."""

    seen: Seen  # The observation.
    # Natural logarithm of its chance under the cause over that under the others. [-]
    support: float
    fits_badly: bool  # Whether the cause hardly expects it.


@dataclass(frozen=True, kw_only=True)
class Contradiction:
    """Two observations that no single cause shows together."""

    one: Seen  # The observations.
    other: Seen  # The observations.


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How the observations fit the answers; g answers, i observations in words."""

    weighing: Weighing  # What was weighed.
    chance: Array  # (g, i) Chance of each observation under each answer. [-]
    # (g, i) That chance over the chance of what the answer most expects; NaN for measured numbers.
    # [-]
    typical: Array
    # (g,) Surprise of all observations over what chance would bring, in standard deviations. [-]
    surprise: Array
    # (g,) Logarithm of the probability of the readings, and of the pours given the readings. [-]
    heights: Array
    # (g,) Logarithm of the probability of the readings, and of the pours given the readings. [-]
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
    """Hold every observation against every answer."""
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
