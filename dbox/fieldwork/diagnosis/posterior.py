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
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses, hypotheses
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
)
from dbox.fieldwork.diagnosis.worlds import Jets, States, Water, draw_states, outlet_places
from dbox.fieldwork.evidence import OUTLET_KINDS, POURS, REST, SYSTEM_KINDS, Kind
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site

TEMPER = 0.9
"""Power that every chance is raised to: observations of one visit are not quite independent. [-]
(judgement)"""

FITS_BADLY = 0.125
"""Chance of what was seen over that of what was most expected, below which it fits badly. [-]
(judgement)"""

SURPRISED = 3.0
"""Standard deviations of surprise from which nothing is said to fit well. [-] (judgement)"""

SPEAKS = 0.35
"""Least support, as a natural logarithm, that is worth telling. [-] (judgement)"""

TOGETHER, EXPLAINED = 0.2, 0.5
"""Chance over what was most expected that two observations of one cause should both reach, and that
one alone must reach under some cause. [-] (judgement)"""

STANDING_WATER = ("plugged", "at_rest", "cap", "mouth", "port", "drain_back")
"""Observations that have to agree, at one outlet or with those of the box."""

_UNREAD = 100
"""Boxes drawn as they are before anything is read. [-] (numerical)"""

_LEAST = 1e-300
"""Least weight that is told from none. [-] (numerical)"""

READINGS = Kind(name="readings", part=REST, turn=0, said="readings of the lips over still water")
CATCHES = Kind(name="pours", part=POURS, turn=0, said="catches of the pours")


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation that was made."""

    kind: Kind  # What was looked at.
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

    @property
    def weight(self) -> Array:
        """Weight of every box; all add up to 1. [-] (r,)."""
        return _unlogged(self.log_weight)

    @property
    def probability(self) -> Array:
        """Probability of each answer. [-] (g,)"""
        return self.by_answer(self.weight)

    @property
    def answer_of_row(self) -> npt.NDArray[np.int64]:
        """Answer that each box stands for. (r,)."""
        return self.hypotheses.group[self.states.hypothesis]

    def by_answer(self, values: Array) -> Array:
        """Sums over the boxes of each answer, (r, ...) to (g, ...). [unit of values]"""
        each = values.reshape(len(self.hypotheses.cause), -1, *values.shape[1:]).sum(1)
        total = np.zeros((len(self.hypotheses.answers), *values.shape[1:]))
        np.add.at(total, self.hypotheses.group, each)
        return total


def weigh(site: Site, *, draws: int, seed: int) -> Weighing:
    """Draw boxes under every cause and weigh them by what was seen."""
    rng = np.random.default_rng(seed)
    may_be = hypotheses(site)
    places, _ = outlet_places(site)
    water = Water(site, places, Jets.of(site, places))
    drawn = draw_lips(may_be, places, gauges_of(site, may_be), draws, rng)
    states = draw_states(site, water, may_be, drawn, rng)
    base = (np.log(np.maximum(may_be.prior, _LEAST))[:, None] + drawn.log_weight).reshape(-1)
    for pour in pours_done(site):
        noise = np.tile(rng.standard_normal(draws), len(may_be.cause))
        base = base + TEMPER * pour_chance(water, states, pour, noise)
    base = base + _called(site, water, may_be, states, seed)
    items = _items(site, states)
    return Weighing(
        site=site,
        hypotheses=may_be,
        water=water,
        states=states,
        drawn=drawn,
        items=tuple(items),
        base=base,
        log_weight=base + TEMPER * sum((item.log_chance for item in items), start=0.0),
    )


def _called(site: Site, water: Water, hypotheses: Hypotheses, states: States, seed: int) -> Array:
    """Log chance that somebody calls about such a box, over that of its hypothesis. (r,)

    That of the hypothesis is over boxes as it has them before anything is read or poured, so that a
    cause loses where what was read or poured leaves it no box that wets a line.
    """
    wets = np.flatnonzero(np.array([cause.wets for cause in CAUSES])[hypotheses.cause])
    arrays = ("cause", "outlet", "prior", "group")
    some = replace(hypotheses, **{name: getattr(hypotheses, name)[wets] for name in arrays})
    rng = np.random.default_rng([seed, 3])
    drawn = draw_lips(some, water.places, [], _UNREAD, rng)
    unread = call_chance(draw_states(site, water, some, drawn, rng)).reshape(len(wets), -1)
    # a box that cannot lean has no weight at all
    weight = np.exp(drawn.log_weight - np.maximum(drawn.log_weight.max(-1, keepdims=True), -1e300))
    called = (weight * unread).sum(-1) / np.maximum(weight.sum(-1), _LEAST)
    log = np.zeros((len(hypotheses.cause), states.cause.size // len(hypotheses.cause)))
    log[wets] = np.log(call_chance(states)).reshape(len(log), -1)[wets]
    log[wets] -= np.log(np.maximum(called, _LEAST))[:, None]
    return log.reshape(-1)


def pours_done(site: Site) -> tuple[Pour, ...]:
    """The pours that showed something."""
    return tuple(pour for pour in site.pours if pour.done or pour.order)


def word_of(site: Site, kind: Kind, outlet: int = -1) -> str | None:
    """What was seen, as a word, or follows from what the file says; None: not looked at."""
    if kind.of_outlet:
        seen = getattr(site.evidence.of_outlet(outlet), kind.name)
        return ground_word(seen) if isinstance(seen, tuple) else seen
    word: str | None = getattr(site.evidence, kind.name)
    if word is None and kind.name == "baffle" and site.box.inlet is not None:
        return "missing" if site.box.inlet == "straight" else "in place"
    measured = (kind.name == "rim" and site.evidence.rim_slope is not None) or (
        kind.name == "at_rest" and not np.isnan(found_heights(site)).all()
    )
    return None if measured else word


def _items(site: Site, states: States) -> list[Item]:
    """Every observation that is a word, or a level, depth or slope measured."""
    view, items = View(states, site.evidence), []
    uncapped = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    for kind in SYSTEM_KINDS:
        if kind.minutes and (word := word_of(site, kind)):
            items.append(_worded(Seen(kind=kind, word=word), view.chance(kind)))
    chances: dict[Kind, Array] = {}
    for i in uncapped:
        for kind in OUTLET_KINDS:
            if kind.minutes and (word := word_of(site, kind, i)):
                if kind not in chances:
                    chances[kind] = view.chance(kind)
                items.append(_worded(Seen(kind=kind, outlet=i, word=word), chances[kind][:, i]))
    return items + _measured(site, view, uncapped)


def _worded(seen: Seen, chance: Array) -> Item:
    place = seen.kind.words.index(seen.word)
    return Item(seen=seen, log_chance=np.log(chance[:, place]), words=chance)


def _measured(site: Site, view: View, uncapped: list[int]) -> list[Item]:
    """What was measured, over what its words say."""
    whole, each = ({kind.name: kind for kind in kinds} for kinds in (SYSTEM_KINDS, OUTLET_KINDS))
    found = []
    for i in uncapped:
        seen = site.evidence.of_outlet(i)
        if seen.port == "below the pipe" and seen.port_water is not None:
            found.append((each["port_water"], i, port_depth_chance(view.states, site, i)))
        if seen.rod in STOPS and seen.rod_distance is not None:
            found.append((each["rod_distance"], i, rod_chance(view.states, seen.rod_distance, i)))
    heights = found_heights(site)
    if not np.isnan(heights).all():
        chance = view.level_at_rest(heights, site.spread or DEFAULT_SPREAD)
        found.append((each["at_rest"], -1, chance))
    if site.evidence.rim_slope is not None:
        found.append((whole["rim_slope"], -1, view.rim_slope(site.evidence.rim_slope)))
    return [
        Item(seen=Seen(kind=kind, outlet=outlet), log_chance=np.log(chance))
        for kind, outlet, chance in found
    ]


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

    one: Seen
    other: Seen


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How what was seen fits the answers; g answers, k observations, i of them in words."""

    items: tuple[Seen, ...]  # The observations: items of the weighing, then readings and catches.
    log_chance: Array  # (g, k) Logarithm of their chance under each answer. [-]
    # (g, i) Chance over that of what the answer most expects; NaN for measured numbers. [-]
    typical: Array
    badly: Array  # (g, k) Whether the answer hardly expects it. [-]
    weight: Array  # (g,) Weight of the answers by lips and pours. [-]
    # (g,) Surprise of all observations over what chance would bring, in standard deviations. [-]
    surprise: Array

    def findings(self, answer: int) -> tuple[Finding, ...]:
        """Every observation that speaks for an answer or against it, the loudest first."""
        rivals = np.where(np.arange(len(self.weight)) == answer, 0.0, self.weight)
        found = [
            Finding(
                seen=seen,
                support=_support(self.log_chance[:, k], rivals, answer),
                fits_badly=bool(self.badly[answer, k]),
            )
            for k, seen in enumerate(self.items)
        ]
        told = [f for f in found if abs(f.support) >= SPEAKS or f.fits_badly]
        return tuple(sorted(told, key=lambda f: -abs(f.support)))

    def contradictions(self) -> tuple[Contradiction, ...]:
        """Pairs of observations of standing water that no single cause shows together."""
        wet = [(i, s) for i, s in enumerate(self.items) if s.kind.name in STANDING_WATER]
        wet = [(i, seen) for i, seen in wet if seen.word]
        wet.sort(key=lambda each: (each[1].outlet, STANDING_WATER.index(each[1].kind.name)))
        pairs = []
        for (i, one), (k, other) in combinations(wet, 2):
            apart = one.outlet != other.outlet and min(one.outlet, other.outlet) >= 0
            both = self.typical[:, [i, k]]
            explained = np.all(np.any(both > EXPLAINED, axis=0))
            if not apart and explained and both.min(-1).max() < TOGETHER:
                pairs.append(Contradiction(one=one, other=other))
        return tuple(pairs)


def fit_of(weighing: Weighing) -> Fit:
    """Hold every observation against every answer."""
    within, drawn, group = _within(weighing), weighing.drawn, weighing.hypotheses.group
    seen = [item.seen for item in weighing.items]
    shape = (len(weighing.hypotheses.answers), len(seen))
    chance, typical = np.zeros(shape), np.full(shape, np.nan)
    excess, variance = np.zeros(shape[0]), np.zeros(shape[0])
    for i, item in enumerate(weighing.items):
        chance[:, i] = weighing.by_answer(within * np.exp(item.log_chance))
        if item.words is not None:
            words = weighing.by_answer(within[:, None] * item.words)
            typical[:, i] = chance[:, i] / words.max(-1)
            # how much more surprising a word was than words are on average, and their variance
            mean = (words * np.log(words)).sum(-1)
            excess = excess + mean - np.log(chance[:, i])
            variance = variance + (words * np.log(words) ** 2).sum(-1) - mean**2
    log_chance, badly = [*np.log(chance).T], [*(typical < FITS_BADLY).T]
    heights, poured = _measured_logs(weighing)
    if drawn.freedom:
        worst = np.full(shape[0], np.inf)
        np.minimum.at(worst, group, drawn.excess)
        excess, variance = excess + worst / 2.0, variance + drawn.freedom / 2.0
        seen.append(Seen(kind=READINGS))
        log_chance.append(heights)
        badly.append(worst > SURPRISED * np.sqrt(2.0 * drawn.freedom))
    if pours_done(weighing.site):
        seen.append(Seen(kind=CATCHES))
        log_chance.append(poured)
        badly.append(np.zeros(shape[0], bool))
    return Fit(
        items=tuple(seen),
        log_chance=np.array(log_chance).T,
        typical=typical,
        badly=np.array(badly).T,
        weight=weighing.by_answer(_unlogged(weighing.base)),
        surprise=excess / np.sqrt(np.maximum(variance, 1e-9)),
    )


def _support(log_chance: Array, rivals: Array, answer: int) -> float:
    """Log chance under an answer over the mean chance under its rivals."""
    high = log_chance.max()
    mean = float((np.exp(log_chance - high) * rivals).sum() / max(rivals.sum(), _LEAST))
    return float(np.clip(log_chance[answer] - high - np.log(max(mean, _LEAST)), -99.0, 99.0))


def _unlogged(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _within(weighing: Weighing) -> Array:
    """Weights by lips and pours, 1 in all within each answer; even where none is left. (r,)."""
    row_answer, base = weighing.answer_of_row, weighing.base
    top = np.full(len(weighing.hypotheses.answers), -np.inf)
    np.maximum.at(top, row_answer, base)
    lost = np.isneginf(top)[row_answer]
    weight = np.where(lost, 1.0, np.exp(base - np.where(lost, 0.0, top[row_answer])))
    return np.asarray(weight / weighing.by_answer(weight)[row_answer])


def _measured_logs(weighing: Weighing) -> tuple[Array, Array]:
    """Log probability of the readings under each answer, and of the pours given them. (g,)"""
    hypotheses, count = weighing.hypotheses, len(weighing.hypotheses.answers)
    rows = np.log(np.maximum(hypotheses.prior, _LEAST))
    draws = weighing.base.reshape(len(rows), -1)
    before, read, poured = (np.full(count, -np.inf) for _ in range(3))
    np.logaddexp.at(before, hypotheses.group, rows)
    np.logaddexp.at(read, hypotheses.group, rows + weighing.drawn.log_readings)
    np.logaddexp.at(poured, hypotheses.group, np.logaddexp.reduce(draws, -1))
    return read - before, np.maximum(poured - np.log(draws.shape[1]), -1e4) - read
