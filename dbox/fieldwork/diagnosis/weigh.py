"""How probable is each cause, given what was seen?

Every observation multiplies the weight of a drawn box by the chance that such a box shows it
(likelihood weighting); a cause is as probable as the weight of its draws. One observation counts
for a cause as far as that cause expected it more than the others did.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses, hypotheses
from dbox.fieldwork.diagnosis.evidence import OUTLET_WORDS
from dbox.fieldwork.diagnosis.forward import States, Water, draw_states
from dbox.fieldwork.diagnosis.gauges import found_heights, gauges_of
from dbox.fieldwork.diagnosis.lips import Drawn, draw_lips
from dbox.fieldwork.diagnosis.places import outlet_places
from dbox.fieldwork.diagnosis.pours import pour_chance
from dbox.fieldwork.diagnosis.signs import SYSTEM_SIGNS
from dbox.fieldwork.diagnosis.visible import View, call_chance, ground_word, words_of
from dbox.fieldwork.pour.poured import Pour
from dbox.fieldwork.site import DEFAULT_SPREAD, Site

TEMPER = 0.9
"""Power that every chance is raised to: observations of one visit are not quite independent. [-]
(judgement)"""


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation that was made.

    Parameters
    ----------
    name : str
        What was looked at: a key of the evidence, or `readings`, `pour 1`, `rim slope`,
        `level at rest`.
    outlet : int
        Outlet it belongs to; -1 for none.
    word : str
        What was seen, where it is a word.
    """

    name: str
    outlet: int = -1
    word: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Item:
    """An observation and what it says of every drawn box.

    Parameters
    ----------
    seen : Seen
        The observation.
    log_chance : ndarray, shape (r,)
        Logarithm of the chance that the box shows it. [-]
    words : ndarray, shape (r, words), or None
        Chances of all words, where it is a word. [-]
    """

    seen: Seen
    log_chance: Array
    words: Array | None = None


@dataclass(frozen=True, kw_only=True, eq=False)
class Weighing:
    """Drawn boxes with their weights; r = hypotheses by draws, g = answers.

    Parameters
    ----------
    site : Site
        What was asked about.
    hypotheses : Hypotheses
        What may be wrong.
    water : Water
        Its splitter.
    states : States
        The boxes.
    drawn : Drawn
        Their lips.
    items : tuple of Item
        What was seen, lips and pours left out.
    base : ndarray, shape (r,)
        Logarithm of the weight by priors, lips and pours. [-]
    log_weight : ndarray, shape (r,)
        The same with all that was seen. [-]
    probability : ndarray, shape (g,)
        Of each answer. [-]
    """

    site: Site
    hypotheses: Hypotheses
    water: Water
    states: States
    drawn: Drawn
    items: tuple[Item, ...]
    base: Array
    log_weight: Array
    probability: Array

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
    """Sums over the boxes of each answer.

    Parameters
    ----------
    hypotheses : Hypotheses
        h of them.
    values : ndarray, shape (r, ...)
        Rows of a hypothesis stand together. [any]

    Returns
    -------
    ndarray, shape (g, ...)
        In the unit of the values. [any]
    """
    h = len(hypotheses.cause)
    each = values.reshape(h, -1, *values.shape[1:]).sum(1)
    total = np.zeros((len(hypotheses.answers), *values.shape[1:]))
    np.add.at(total, hypotheses.group, each)
    return total


def weigh(site: Site, *, draws: int, seed: int) -> Weighing:
    """Draw boxes under every cause and weigh them by what was seen.

    Parameters
    ----------
    site : Site
        The box and what was seen of it.
    draws : int
        Boxes drawn for each hypothesis.
    seed : int
        Same seed, same answer.

    Returns
    -------
    Weighing
        With probabilities that add up to 1.
    """
    rng = np.random.default_rng(seed)
    may_be = hypotheses(site)
    places, _ = outlet_places(site)
    water = Water(site, places)
    drawn = draw_lips(may_be, places, gauges_of(site, may_be), draws, rng)
    states = draw_states(site, water, may_be, drawn, rng)
    base = np.log(np.maximum(may_be.prior, 1e-300))[:, None] + drawn.log_weight
    base = base.reshape(-1)
    for pour in pours_done(site):
        noise = np.tile(rng.standard_normal(draws), len(may_be.cause))
        base = base + TEMPER * pour_chance(water, states, pour, noise)
    base = base + _called(may_be, states, base)
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


def _called(hypotheses: Hypotheses, states: States, base: Array) -> Array:
    """Log chance that somebody calls about such a box, over that of its hypothesis. (r,)"""
    wets = np.array([cause.wets for cause in CAUSES])[states.cause]
    log = np.where(wets, np.log(call_chance(states)), 0.0).reshape(len(hypotheses.cause), -1)
    draws = base.reshape(log.shape)
    top = np.maximum(draws.max(-1, keepdims=True), -1e300)
    weight = np.exp(draws - top)
    mean = (weight * np.exp(log)).sum(-1) / np.maximum(weight.sum(-1), 1e-300)
    return np.asarray(log - np.log(np.maximum(mean, 1e-300))[:, None]).reshape(-1)


def pours_done(site: Site) -> tuple[Pour, ...]:
    """The pours that showed something."""
    return tuple(pour for pour in site.pours if pour.done or pour.order)


def _unlogged(log_weight: Array) -> Array:
    weight = np.exp(log_weight - log_weight.max())
    return np.asarray(weight / weight.sum())


def _items(site: Site, states: States) -> list[Item]:
    """Every observation that is a word, or a level or slope measured."""
    evidence, view = site.evidence, View(states, site.evidence)
    items = []
    for name in (*SYSTEM_SIGNS, "at_rest", "rim"):
        word = system_word(site, name)
        if word:
            items.append(_worded(Seen(name=name, word=word), view.system(name)))
    for i, outlet in enumerate(site.outlets):
        if outlet.capped:
            continue
        for name in (*OUTLET_WORDS, "ground"):
            word = outlet_word(site, name, i)
            if word:
                items.append(_worded(Seen(name=name, outlet=i, word=word), view.outlet(name)[:, i]))
    heights = found_heights(site)
    if not np.isnan(heights).all():
        chance = view.level_at_rest(heights, site.spread or DEFAULT_SPREAD)
        items.append(Item(seen=Seen(name="level at rest"), log_chance=np.log(chance)))
    if evidence.rim_slope is not None:
        chance = view.rim_slope(evidence.rim_slope)
        items.append(Item(seen=Seen(name="rim slope"), log_chance=np.log(chance)))
    return items


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
