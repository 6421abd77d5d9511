"""How probable is each cause, given what was seen?

Every observation multiplies the weight of a drawn box by the chance that such a box shows it
(likelihood weighting); a cause is as probable as the weight of its draws. One observation counts
for a cause as far as that cause expected it more than the others did.
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses, hypotheses
from dbox.fieldwork.diagnosis.depths import STOPS, port_depth_chance, rod_chance
from dbox.fieldwork.diagnosis.forward import States, Water, draw_states
from dbox.fieldwork.diagnosis.gauges import found_heights, gauges_of
from dbox.fieldwork.diagnosis.lips import Drawn, draw_lips
from dbox.fieldwork.diagnosis.places import Jets, outlet_places
from dbox.fieldwork.diagnosis.pours import pour_chance
from dbox.fieldwork.diagnosis.signs import SYSTEM_SIGNS
from dbox.fieldwork.diagnosis.visible import View, call_chance, ground_word, words_of
from dbox.fieldwork.records.evidence import OUTLET_WORDS
from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.site import DEFAULT_SPREAD, Site

TEMPER = 0.9
"""Power that every chance is raised to: observations of one visit are not quite independent. [-]
(judgement)"""


_UNREAD = 100


@dataclass(frozen=True, kw_only=True)
class Seen:
    """One observation that was made.

    Parameters
    ----------
    name : str
        What was looked at: a key of the evidence, or `readings`, `pours`, `rim slope`,
        `level at rest`, `depth in port`, `reach of rod`.
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
