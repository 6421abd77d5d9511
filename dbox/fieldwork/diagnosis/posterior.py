"""The probability of each cause given what was seen, and what speaks for and against it.

Every observation multiplies the weight of a drawn box by the chance that such a box shows it
(likelihood weighting); a cause is as probable as the weight of its draws. One observation counts
for a cause as far as that cause expected it more than the others did. Observations of one visit are
not independent and nobody counted how often a cause shows a sign: all chances are raised to one
power below 1, so that many signs do not add up to a certainty that no one has.

Two causes at once are too many to draw: of all pairs those are drawn that would fit best if of each
observation that cause decided that changes its chance the more.

An observation speaks for a cause by the logarithm of its chance under that cause over its chance
under the others, as probable as lips and pours leave them. It fits badly where the cause gives it
less than an eighth of the chance of what the cause most expects. A cause that leads and yet is
surprised, over all, by far more than chance would, is told as "none of these fits well".

Every look is also left out by itself, as if it had not been made. One wrong word is lost among many
that agree; a look that alone decides which cause leads is named.
"""

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.cause_lips import draw_lips
from dbox.fieldwork.diagnosis.causes import (
    CAUSES,
    Hypotheses,
    hypotheses,
    joined,
    pair_priors,
    pairs,
)
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
from dbox.fieldwork.diagnosis.worlds import Jets, States, Water, draw_states, middle, outlet_places
from dbox.fieldwork.evidence import OUTLET_KINDS, POURS, REST, SYSTEM_KINDS, Kind
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site

TEMPER = 0.95
"""Power that every chance is raised to. [-] (judgement, fitted on the made-up world that is kept
for it, `LOOSE` of `tests/fieldwork/diagnosis_worlds.py`, and reported on the others)"""

MISJUDGED = 0.04
"""Chance that all of one kind of look says nothing of the causes, because the table of chances is
wrong or the one who looked was. [-] (judgement)"""

FITS_BADLY = 0.125
"""Chance of what was seen over that of what was most expected, below which it fits badly. [-]
(judgement)"""

SURPRISED = 3.0
"""Standard deviations of surprise from which nothing is said to fit well. [-] (judgement)"""

DECIDES, LEADS = 12.0, 0.15
"""How many times as well as the cause that would lead without it a look fits the one that leads,
and how probable the other would be, from which the lead rests on that look alone. [-] (judgement:
fitted on `LOOSE` too, where it points out half of the wrong looks that turn the lead, and a look in
4 of 100 jobs that have no wrong one; in the worlds that are reported it was 20 of 160)"""

SPEAKS = 0.35
"""Least support, as a natural logarithm, that is worth telling. [-] (judgement)"""

_UNREAD = 60
"""Boxes drawn as they are before anything is read. [-] (numerical)"""

_PAIRS, _HALVES = 20, 64
"""Pairs that are drawn, and the single causes that they are made from. [-] (numerical)"""

_LEADERS, _MORE = 10, 8
"""Hypotheses that lead at first and are drawn again, and how many more boxes each then gets. [-]
(numerical)"""

_LEAST = 1e-300
"""Least weight that is told from none. [-] (numerical)"""

READINGS = Kind(
    name="readings", part=REST, turn=18, said="readings of the lips over still water",
    look="read every lip from still water", minutes=10,
)  # fmt: skip
CATCHES = Kind(name="pours", part=POURS, turn=0, said="catches of the pours")


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation that was made."""

    kind: Kind  # What was looked at.
    outlet: int = -1  # Outlet it belongs to; -1 for none.
    word: str = ""  # What was seen, where it is a word.


@dataclass(frozen=True, kw_only=True, eq=False)
class Item:
    """An observation and what it says of every hypothesis, as lips and pours leave its boxes."""

    seen: Seen  # The observation.
    chance: Array  # (h,) Chance that it is seen; of a measured number its density. [-]
    words: Array  # (h, words) Chances of all words; none of a number. [-]
    fitted: Array  # (h, words) The same in the boxes that fit all that was seen. [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class Block:
    """Boxes drawn for h hypotheses, as many for each, r in all."""

    hypotheses: Hypotheses  # What may be wrong.
    states: States  # The boxes.
    log_weight: Array  # (r,) Logarithm of their weights with all that was seen. [-]
    # (k, h) Logarithm of that of each hypothesis, with one look left out. [-]
    log_without: Array
    items: tuple[Item, ...]  # What was seen, lips and pours left out.
    log_measured: Array  # (h,) Logarithm of what the hypothesis makes of lips and pours, [-]
    log_readings: Array  # (h,) and of the readings. [-]
    excess: Array  # (h,) Misfit of the readings over its freedom,
    freedom: int  # and that. [-]


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighing(Block):
    """All boxes drawn of a site with their weights, priors in them; g answers."""

    site: Site  # What was asked about.
    water: Water  # Its splitter.

    @property
    def weight(self) -> Array:
        """Weight of every box; all add up to 1. [-] (r,)."""
        return _unlogged(self.log_weight)

    @property
    def probability(self) -> Array:
        """Probability of each answer. [-] (g,)"""
        return _sums(self.answer_of_row, self.weight, len(self.hypotheses.answers))

    @property
    def suspicion(self) -> Array:
        """Probability that a cause sits at each outlet. [-] (n,)"""
        return np.asarray(self.weight @ self.states.own)

    @property
    def answer_of_row(self) -> npt.NDArray[np.int64]:
        """Answer that each box stands for. (r,)."""
        return self.hypotheses.group[self.states.hypothesis]


def weigh(site: Site, *, draws: int, seed: int) -> Weighing:
    """Draw boxes under every cause, then under likely pairs; weigh them by what was seen."""
    rng = np.random.default_rng(seed)
    places, _ = outlet_places(site)
    water = Water(site, places, Jets.of(site, places))
    single = hypotheses(site)
    usual: dict[str, float] = {}
    first = _block(site, water, single, draws, rng, usual)
    prior = pair_priors(site, single)
    two = pairs(single, prior, _likely(first, prior))
    # none where the user says that two at once do not come about
    drawn = [first, *([_block(site, water, two, draws, rng, usual)] if two.prior.size else [])]
    every = joined(single, two)
    log_prior = np.log(np.maximum(every.prior, _LEAST))
    found = np.concatenate([
        np.logaddexp.reduce(block.log_weight.reshape(-1, draws), -1) for block in drawn
    ])  # fmt: skip
    lead = np.sort(np.argsort(-(found + log_prior), kind="stable")[:_LEADERS])
    third = _block(site, water, every.take(lead), _MORE * draws, rng, usual)
    numbers = np.split(np.arange(len(log_prior)), [len(single.prior)])[: len(drawn)]
    states, weights = [], []
    for block, number in zip((*drawn, third), (*numbers, lead), strict=True):
        of = number[block.states.hypothesis]
        rows = np.flatnonzero((block is third) | ~np.isin(of, lead))
        states.append(replace(block.states.take(rows), hypothesis=of[rows]))
        weights.append(block.log_weight[rows] + log_prior[of[rows]])

    def of_all(value: Callable[[Block], Array]) -> Array:
        """Of every hypothesis what its last block made of it. (h, ...)"""
        every_one = np.concatenate([value(block) for block in drawn])
        every_one[lead] = value(third)
        return every_one

    def item(k: int) -> Item:
        return Item(
            seen=first.items[k].seen,
            chance=of_all(lambda block: block.items[k].chance),
            words=of_all(lambda block: block.items[k].words),
            fitted=of_all(lambda block: block.items[k].fitted),
        )

    return Weighing(
        site=site,
        hypotheses=every,
        water=water,
        states=reduce(States.then, states),
        log_weight=np.concatenate(weights),
        log_without=of_all(lambda block: block.log_without.T).T + log_prior,
        items=tuple(map(item, range(len(first.items)))),
        log_measured=of_all(lambda block: block.log_measured),
        log_readings=of_all(lambda block: block.log_readings),
        excess=of_all(lambda block: block.excess),
        freedom=first.freedom,
    )


def _block(
    site: Site,
    water: Water,
    may_be: Hypotheses,
    draws: int,
    rng: np.random.Generator,
    usual: dict[str, float],
) -> Block:
    """Draw boxes and weigh them by all that was seen, priors apart.

    usual: Chance of what each kind of look showed, over all causes; worked out where it is empty.
    """
    drawn = draw_lips(may_be, water.places, gauges_of(site, may_be), draws, rng)
    states = draw_states(site, water, may_be, drawn, rng)
    shape = (len(may_be.cause), draws)
    # a scenario gives the readings their spread, yet no one knows the boxes that they come from
    base = drawn.log_weight - (1.0 - TEMPER) * drawn.log_readings[:, None]
    for pour in pours_done(site):
        noise = np.tile(rng.standard_normal(draws), shape[0])
        base = base + TEMPER * pour_chance(water, states, pour, noise).reshape(shape)
    base = base + _called(site, water, may_be, states, rng).reshape(shape)
    within, looks, logs, every = _within(base), [], [], []
    kinds: dict[str, Array] = {}
    for seen, place, chance in _seen(site, states, may_be):
        # of a kind that hangs on no water there is one row for each hypothesis
        each = chance.reshape(shape[0], -1, *chance.shape[1:])
        looks.append(seen)
        logs.append(np.log(each if place < 0 else each[..., place]))
        every.append(each[..., None][..., :0] if place < 0 else each)
        kinds[seen.kind.name] = kinds.get(seen.kind.name, 0.0) + logs[-1]

    def mean(share: Array, values: Array) -> Array:
        """Over the boxes of each hypothesis. (h, ...)"""
        if values.shape[1] == 1:
            return values[:, 0]
        return np.asarray(np.einsum("hd,hd...->h...", share, values))

    def term(name: str, log: Array) -> Array:
        """What a kind of look, or some of its looks, do to the weights. (h, d)"""
        if name not in usual:
            prior = may_be.prior
            usual[name] = float(prior @ mean(within, np.exp(log)) / prior.sum())
        # the outlets of a box are looked at by one person and judged by one row of the table
        says_nothing = np.log(MISJUDGED * usual[name])
        return np.asarray(TEMPER * np.logaddexp(np.log1p(-MISJUDGED) + log, says_nothing))

    terms = {name: term(name, log) for name, log in kinds.items()}
    log_weight = base + sum(terms.values())
    number = Counter(seen.kind.name for seen in looks)
    without = np.empty((len(looks), shape[0]))
    for k, (seen, log) in enumerate(zip(looks, logs, strict=True)):
        name = seen.kind.name
        left = term(f"{name} {seen.outlet}", kinds[name] - log) if number[name] > 1 else 0.0
        without[k] = np.logaddexp.reduce(log_weight - terms[name] + left, -1)
    fit = _within(log_weight)
    return Block(
        hypotheses=may_be,
        states=states,
        items=tuple(
            Item(
                seen=seen,
                chance=mean(within, np.exp(log)),
                words=mean(within, each),
                fitted=mean(fit, each),
            )
            for seen, log, each in zip(looks, logs, every, strict=True)
        ),
        log_weight=(log_weight - np.log(draws)).reshape(-1),
        log_without=without - np.log(draws),
        log_measured=np.logaddexp.reduce(base, -1) - np.log(draws),
        log_readings=drawn.log_readings,
        excess=drawn.excess,
        freedom=drawn.freedom,
    )


def _likely(block: Block, prior: Array) -> npt.NDArray[np.int64]:
    """The pairs most probable if the cause that changes its chance the more decided each sign."""
    heights, poured = _measured_logs(block)
    log = [np.log(item.chance) for item in block.items] + [heights, poured]
    change = TEMPER * np.stack(log, -1)
    # most causes leave a sign as it usually is
    change -= middle(change)
    single = np.log(np.maximum(block.hypotheses.prior, _LEAST))
    halves = np.sort(
        np.argsort(-(single + np.maximum(change, 0.0).sum(-1)), kind="stable")[:_HALVES]
    )
    change, common = change[halves], prior[np.ix_(halves, halves)]
    one, other = change[:, None], change[None]
    both = np.where(np.abs(one) > np.abs(other), one, other).sum(-1)
    likely = np.where(common > 0, both + np.log(np.maximum(common, _LEAST)), -np.inf).ravel()
    best = np.argsort(-likely, kind="stable")[:_PAIRS]
    row, column = np.divmod(best[np.isfinite(likely[best])], len(halves))
    return np.asarray(halves[row] * len(prior) + halves[column])


def _called(
    site: Site, water: Water, hypotheses: Hypotheses, states: States, rng: np.random.Generator
) -> Array:
    """Log chance that somebody calls about such a box, over that of its hypothesis. (r,)

    That of the hypothesis is over boxes as it has them before anything is read or poured, so that a
    cause loses where what was read or poured leaves it no box that wets a line.
    """
    calm = hypotheses.any_of([not cause.wets for cause in CAUSES])
    wets = np.flatnonzero(~calm)
    log = np.zeros((len(hypotheses.cause), len(states.cause) // max(len(hypotheses.cause), 1)))
    if wets.size:
        some = hypotheses.take(wets)
        drawn = draw_lips(some, water.places, [], _UNREAD, rng)
        unread = call_chance(draw_states(site, water, some, drawn, rng)).reshape(len(wets), -1)
        called = (_within(drawn.log_weight) * unread).sum(-1)
        log[wets] = np.log(call_chance(states)).reshape(log.shape)[wets]
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
    return None if measured(site, kind) else word


def measured(site: Site, kind: Kind) -> bool:
    """Whether a number stands for what a look at the whole box would say in a word."""
    if kind.name == "at_rest":
        return not np.isnan(found_heights(site)).all()
    return kind.name == "rim" and site.evidence.rim_slope is not None


def _seen(site: Site, states: States, may_be: Hypotheses) -> Iterator[tuple[Seen, int, Array]]:
    """Every observation: which word it is, -1 for a number, and the chances of all words.

    A row a box, or a row a hypothesis where it hangs on no water.
    """
    view = View(states, site.evidence, site.signs)
    uncapped = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]

    def chance(kind: Kind) -> Array:
        on_water = not kind.usual or kind.name == "mouth"
        return view.chance(kind) if on_water else view.of_hypotheses(kind, may_be)

    for kind in SYSTEM_KINDS:
        if kind.minutes and (word := word_of(site, kind)):
            yield Seen(kind=kind, word=word), kind.words.index(word), chance(kind)
    for kind in OUTLET_KINDS:
        found = {i: word_of(site, kind, i) for i in uncapped} if kind.minutes else {}
        if any(found.values()):
            every = chance(kind)
            for i, word in found.items():
                if word:
                    seen = Seen(kind=kind, outlet=i, word=word)
                    yield seen, kind.words.index(word), every[:, i]
    yield from ((seen, -1, density) for seen, density in _measured(site, view, uncapped))


def _measured(site: Site, view: View, uncapped: list[int]) -> Iterator[tuple[Seen, Array]]:
    """What was measured, over what its words say."""
    whole, each = ({kind.name: kind for kind in kinds} for kinds in (SYSTEM_KINDS, OUTLET_KINDS))
    for i in uncapped:
        seen = site.evidence.of_outlet(i)
        if seen.port == "below the pipe" and seen.port_water is not None:
            depth = port_depth_chance(view.states, site, i)
            yield Seen(kind=each["port_water"], outlet=i), depth
        if seen.rod in STOPS and seen.rod_distance is not None:
            reach = rod_chance(view.states, seen.rod_distance, i)
            yield Seen(kind=each["rod_distance"], outlet=i), reach
    heights = found_heights(site)
    if not np.isnan(heights).all():
        level = view.level_at_rest(heights, site.spread or DEFAULT_SPREAD)
        yield Seen(kind=each["at_rest"]), level
    if site.evidence.rim_slope is not None:
        yield Seen(kind=whole["rim_slope"]), view.rim_slope(site.evidence.rim_slope)


@dataclass(frozen=True, kw_only=True)
class Finding:
    """One observation and how far it speaks for a cause, or against it below 0."""

    seen: Seen  # The observation.
    # Natural logarithm of its chance under the cause over that under the others. [-]
    support: float
    fits_badly: bool  # Whether the cause hardly expects it.


@dataclass(frozen=True, kw_only=True, eq=False)
class Fit:
    """How what was seen fits g answers."""

    # Every observation that speaks for each answer or against it, the loudest first.
    findings: tuple[tuple[Finding, ...], ...]
    # (g,) Surprise of all observations over what chance would bring, in standard deviations. [-]
    surprise: Array


@dataclass(frozen=True, kw_only=True)
class Keystone:
    """A look on which alone the cause that leads rests: without it another would lead."""

    seen: Seen  # The look.
    lead: tuple[int, ...]  # The cause that leads, or the two: places in `CAUSES`.
    other: tuple[int, ...]  # What would lead without it.


def keystones(weighing: Weighing) -> tuple[Keystone, ...]:
    """Looks that each decide which cause leads, the one that decides the most first.

    It may well be right; but if one look was written down wrong and turned the lead, it was this.
    """
    causes = [tuple(sorted(c for c, _ in parts)) for parts in weighing.hypotheses.answers]
    every = list(dict.fromkeys(causes))
    of_answer = np.array([every.index(each) for each in causes])
    now = _sums(of_answer[weighing.answer_of_row], weighing.weight, len(every))
    lead, of = int(now.argmax()), of_answer[weighing.hypotheses.group]
    found = []
    for item, log_without in zip(weighing.items, weighing.log_without, strict=True):
        without = _sums(of, _unlogged(log_without), len(every))
        first = int(without.argmax())
        if item.seen.word and first != lead and without[first] >= LEADS:
            odds = now[lead] * without[first], max(now[first] * without[lead], _LEAST)
            if odds[0] >= DECIDES * odds[1]:
                key = Keystone(seen=item.seen, lead=every[lead], other=every[first])
                found.append((odds[0] / odds[1], key))
    return tuple(key for _, key in sorted(found, key=lambda each: -each[0]))


def fit_of(weighing: Weighing) -> Fit:
    """Hold every observation against every answer."""
    group = weighing.hypotheses.group
    log_base = np.log(np.maximum(weighing.hypotheses.prior, _LEAST)) + weighing.log_measured
    top = np.full(len(weighing.hypotheses.answers), -np.inf)
    np.maximum.at(top, group, log_base)
    lost = np.isneginf(top)[group]
    part = np.where(lost, 1.0, np.exp(log_base - np.where(lost, 0.0, top[group])))
    part /= _sums(group, part, len(top))[group]

    def of_answers(values: Array, part: Array = part) -> Array:
        """Means over the hypotheses of each answer."""
        total = np.zeros((len(top), *values.shape[1:]))
        np.add.at(total, group, part.reshape(-1, *(1,) * (values.ndim - 1)) * values)
        return total

    # the same by all that was seen: what boxes that fit the rest and it hardly expect is a puzzle
    after = _sums(weighing.states.hypothesis, weighing.weight, len(group))
    fitted = after / np.maximum(_sums(group, after, len(top)), _LEAST)[group]

    rows, nowhere = list[tuple[Seen, Array, BoolArray]](), np.zeros(len(top), bool)
    excess, variance = np.zeros(len(top)), np.zeros(len(top))
    for item in weighing.items:
        chance, badly = of_answers(item.chance), nowhere
        if item.seen.word:
            words = of_answers(item.words)
            in_fit = of_answers(item.fitted, fitted)
            place = item.seen.kind.words.index(item.seen.word)
            badly = in_fit[:, place] < FITS_BADLY * in_fit.max(-1)
            # how much more surprising a word was than words are on average, and their variance
            mean = (words * np.log(words)).sum(-1)
            excess += mean - np.log(chance)
            variance += (words * np.log(words) ** 2).sum(-1) - mean**2
        rows.append((item.seen, np.log(chance), badly))
    heights, poured = map(of_answers, _measured_logs(weighing))
    if freedom := weighing.freedom:
        worst = of_answers(weighing.excess)
        excess, variance = excess + worst / 2.0, variance + freedom / 2.0
        rows.append((Seen(kind=READINGS), heights, worst > SURPRISED * np.sqrt(2.0 * freedom)))
    if pours_done(weighing.site):
        rows.append((Seen(kind=CATCHES), poured, nowhere))
    logs = np.reshape([log for _, log, _ in rows], (len(rows), len(top))).T
    bad = np.array([badly for _, _, badly in rows], bool).reshape(logs.shape[::-1]).T
    support = support_of(logs, _sums(group, _unlogged(log_base), len(top)))
    told = (np.abs(support) >= SPEAKS) | bad
    order = np.argsort(-np.abs(support), axis=-1, kind="stable")
    return Fit(
        findings=tuple(
            tuple(
                Finding(
                    seen=rows[k][0], support=float(support[g, k]), fits_badly=bool(bad[g, k])
                )
                for k in order[g].tolist() if told[g, k]
            )
            for g in range(len(top))
        ),
        surprise=excess / np.sqrt(np.maximum(variance, 1e-9)),
    )  # fmt: skip


def support_of(log_chance: Array, weight: Array) -> Array:
    """Log chance under each answer over the mean chance under its rivals. (g, k)"""
    high = log_chance.max(0, initial=-1e300)
    rivals = np.where(np.eye(len(weight), dtype=bool), 0.0, weight)
    mean = rivals @ np.exp(log_chance - high) / np.maximum(rivals.sum(-1), _LEAST)[:, None]
    support = log_chance - high - np.log(np.maximum(mean, _LEAST))
    return np.asarray(np.clip(support, -99.0, 99.0))


def _sums(place: npt.NDArray[np.int64], values: Array, count: int) -> Array:
    """Sums of the values that have each place. (count,)"""
    return np.asarray(np.bincount(place, values, count), np.float64)


def _unlogged(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _within(log_weight: Array) -> Array:
    """Weights of the draws of each hypothesis, 1 in all; even where none is left. (h, d)"""
    top = log_weight.max(-1, keepdims=True)
    weight = np.where(np.isneginf(top), 1.0, np.exp(log_weight - np.maximum(top, -1e300)))
    return np.asarray(weight / weight.sum(-1, keepdims=True))


def _measured_logs(block: Block) -> tuple[Array, Array]:
    """Log probability of the readings under each hypothesis, and of the pours given them. (h,)"""
    poured = block.log_measured - TEMPER * block.log_readings
    return block.log_readings, np.maximum(poured, -1e4)
