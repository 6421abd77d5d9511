"""The next look: the one expected to tell the leading causes apart, for its effort.

What it is expected to tell is the mutual information of cause and outcome, in bits: how much less
uncertain one would be, on average, once it was made. It comes from boxes drawn anew by their
weights. A look with one word is summed exactly; one with many words or numbers at a time is tried
out on some of the boxes, each asked what it would show and what the others then say.

Looks are ordered by information over effort; the efforts are judgement. No look is free: to each a
few minutes are added for going there and writing it down, and the first into the box its opening.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import OWN_SCATTER
from dbox.fieldwork.diagnosis.posterior import Weighing, pours_done, word_of
from dbox.fieldwork.diagnosis.visible import View, catch_chance, found_heights
from dbox.fieldwork.evidence import KINDS, POURS, REST, Kind
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour
from dbox.units import LITRE, MINUTE, litres_per_min

OPENING = 10.0
"""Effort of opening the box safely, where it was not yet. [min] (judgement)"""

OVERHEAD = 8.0
"""Effort that every look has besides its own. [min] (judgement)"""

SLOW_POUR, FAST_POUR = 2.0 * LITRE / MINUTE, 20.0 * LITRE / MINUTE
"""Flows of the pours that are proposed: an ordinary day's and a bucket's, in round litres. [m3/s]
(judgement)"""

_BOXES, _TRIES = 900, 90
"""Boxes drawn anew, and those of them that a look is tried on. [-] (numerical)"""

_CATCH_ERROR, _CATCH_SCATTER = 0.10, 0.07
"""Error that a proposed catch is weighed with, and that it scatters by. [-] (judgement)"""

_READINGS = Kind(
    name="readings", part=REST, turn=18, look="read every lip from still water", minutes=10
)
_POURED = {
    Kind(
        name=f"{pace} pour", part=POURS, turn=turn, minutes=minutes,
        look=f"{how} and catch at every outlet: {litres_per_min(inflow)}",
    ): inflow
    for pace, how, inflow, turn, minutes in (
        ("fast", "pour fast", FAST_POUR, 1, 12),
        # a dry lip holds water back, which is no height
        ("slow", "wet every lip, pour slowly", SLOW_POUR, 2, 25),
    )
}  # fmt: skip
LOOKS = sorted(
    (*(kind for kind in KINDS if kind.minutes), _READINGS, *_POURED), key=lambda kind: kind.place
)
"""Every look that can be proposed, in the order of a visit."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """A look not yet made."""

    kind: Kind  # What is looked at.
    outlet: int  # Outlet to look at; -1 for all of them, or for the whole system.
    bits: float  # Information it is expected to give on the cause. [bit]
    minutes: float  # Its effort. [min]

    @property
    def name(self) -> str:
        """What is looked at: a key of the evidence, `readings` or a pour."""
        return self.kind.name

    @property
    def worth(self) -> float:
        """What it gives for its effort, which orders the looks. [bit/min]"""
        return self.bits / (self.minutes + OVERHEAD)


def next_looks(weighing: Weighing, *, seed: int) -> tuple[Look, ...]:
    """Every look not yet made, the one most worth making first."""
    prospect, site = _Prospect(weighing, seed), weighing.site
    read = any(outlet.readings for outlet in site.outlets)
    opening = 0.0 if read or pours_done(site) or site.evidence.box_was_opened else OPENING
    looks = [
        Look(
            kind=kind,
            outlet=left[0] if kind.by_line else -1,
            bits=prospect.bits(kind, left),
            minutes=kind.minutes + (opening if kind.inside else 0.0),
        )
        for kind, left in _not_made(weighing)
    ]
    return tuple(sorted(looks, key=lambda look: (-look.worth, look.name, look.outlet)))


def _not_made(weighing: Weighing) -> Iterator[tuple[Kind, list[int]]]:
    """Each look, and the outlets that it is left to make at."""
    site = weighing.site
    uncapped = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    found = found_heights(site)
    border = float(np.sqrt(SLOW_POUR * FAST_POUR))
    slow = {pour.inflow < border for pour in pours_done(site)}
    measured = {"at_rest": not np.isnan(found).all(), "rim": site.evidence.rim_slope is not None}
    for kind in LOOKS:
        if kind in _POURED:
            made = (_POURED[kind] < border) in slow
        elif kind is _READINGS:
            made = all(site.outlets[i].readings for i in uncapped) or not np.isnan(found).any()
        elif not kind.of_outlet:
            made = word_of(site, kind) is not None or measured.get(kind.name, False)
        else:
            left = [i for i in uncapped if word_of(site, kind, i) is None]
            places = [[i] for i in left] if kind.by_line else [left]
            yield from ((kind, place) for place in places if place)
            continue
        if not made:
            yield kind, uncapped


class _Prospect:
    """Boxes drawn by their weights, m of them, and the answers they stand for."""

    def __init__(self, weighing: Weighing, seed: int) -> None:
        self.weighing, self.rng = weighing, np.random.default_rng([seed, 7])
        marks = (np.arange(_BOXES) + self.rng.random()) / _BOXES
        rows = np.searchsorted(np.cumsum(weighing.weight), marks).clip(max=weighing.base.size - 1)
        self.states, answers = weighing.states.take(rows), weighing.answer_of_row[rows]
        self.view = View(self.states, weighing.site.evidence)
        # (answers left, m): 1 where the box stands for the answer
        self.member = (np.unique(answers)[:, None] == answers).astype(np.float64)
        self.tries = self.rng.permutation(_BOXES)[:_TRIES]

    def bits(self, kind: Kind, left: list[int]) -> float:
        """Expected information of a look on the answer. [bit]"""
        if len(self.member) < 2:
            return 0.0
        if kind is _READINGS:
            return self._of_tries(self._readings(left), apart=True)
        if kind in _POURED:
            return self._of_tries(self._pour(kind), apart=True)
        chance = self.view.chance(kind)
        if not kind.of_outlet:
            return self._of_word(chance)
        return (
            self._of_word(chance[:, left[0]]) if len(left) == 1 else self._of_words(chance[:, left])
        )

    def _of_word(self, chance: Array) -> float:
        """Exactly, from the chances of each word, (m, words)."""
        joint = self.member @ chance / _BOXES
        return max(_entropy(joint.sum(0)) + _entropy(joint.sum(1)) - _entropy(joint), 0.0)

    def _of_words(self, chance: Array) -> float:
        """By tries, from the chances of each word of several observations, (m, k, words)."""
        tried = np.cumsum(chance[self.tries], -1)
        word = (self.rng.random(tried.shape[:2])[..., None] > tried).sum(-1)
        word = np.minimum(word, chance.shape[-1] - 1)
        log = np.log(np.moveaxis(chance, 0, -1))
        return self._of_tries(log[np.arange(log.shape[0]), word].sum(1), apart=False)

    def _of_tries(self, log_chance: Array, *, apart: bool) -> float:
        """From what every box makes of some outcomes, (tries, m); its own outcome set apart."""
        if apart:
            log_chance[np.arange(_TRIES), self.tries] = -np.inf
        chance = np.exp(log_chance - log_chance.max(-1, keepdims=True))
        after = chance @ self.member.T
        after /= after.sum(-1, keepdims=True)
        before = _entropy(self.member.mean(-1))
        return max(before - float(np.mean([_entropy(row) for row in after])), 0.0)

    def _readings(self, uncapped: list[int]) -> Array:
        """Log probability of tried readings; a lip's own scatter counts with the ruler's."""
        ruler = self.weighing.site.spread or DEFAULT_SPREAD
        read, smooth = self.states.read[:, uncapped], self.states.smooth[:, uncapped]
        tried = read[self.tries] + ruler * self.rng.standard_normal((_TRIES, len(uncapped)))
        tried, smooth = (heights - heights.mean(-1, keepdims=True) for heights in (tried, smooth))
        away = ((tried[:, None] - smooth) ** 2).sum(-1)
        return np.asarray(-0.5 * away / (ruler**2 + OWN_SCATTER**2))

    def _pour(self, kind: Kind) -> Array:
        """Log probability of tried catches."""
        inflow, water = _POURED[kind], self.weighing.water
        flow = water.flows(self.states, np.full(_BOXES, inflow))
        noise = self.rng.standard_normal((_TRIES, flow.shape[1]))
        caught = np.maximum(flow[self.tries] * (1.0 + _CATCH_SCATTER * noise), 0.0)
        capped = [o.capped for o in self.weighing.site.outlets]
        pour = Pour(name=kind.name, inflow=inflow, error=_CATCH_ERROR)
        return catch_chance(water, flow, np.where(capped, np.nan, caught), pour)


def _entropy(chance: Array) -> float:
    some = chance[chance > 0]
    return float(-(some * np.log2(some)).sum())
