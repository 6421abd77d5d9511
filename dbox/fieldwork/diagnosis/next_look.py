"""The look that is expected to tell the leading causes apart, for its effort.

The information that a look is expected to give is the mutual information of cause and outcome, in
bits: how much less uncertain one would be, on average, once it was made. It comes from boxes drawn
anew by their weights. A look with one word is summed exactly; one with many words or numbers at a
time is tried out on some of the boxes, each asked what it would show and what the others then say.

Looks are ordered by information over effort; the efforts are judgement. No look is free: to each a
few minutes are added for going there and writing it down, and the first into the box its opening.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.cause_lips import OWN_SCATTER
from dbox.fieldwork.diagnosis.posterior import Weighing, outlet_word, pours_done, system_word
from dbox.fieldwork.diagnosis.visible import View, catch_chance, found_heights
from dbox.fieldwork.diagnosis.worlds import LITRE_PER_MINUTE, States
from dbox.fieldwork.evidence import Evidence
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour

OPENING = 10.0
"""Effort of opening the box safely, where it was not yet. [min] (judgement)"""

OVERHEAD = 8.0
"""Effort that every look has besides its own. [min] (judgement)"""

SLOW_POUR, FAST_POUR = 2.0 * LITRE_PER_MINUTE, 20.0 * LITRE_PER_MINUTE
"""Flows of the pours that are proposed. [m3/s]"""

_BOXES = 900
_TRIES = 90
_CATCH_ERROR = 0.10


@dataclass(frozen=True)
class Kind:
    """A kind of look."""

    minutes: float  # Its own effort. [min] (judgement)
    inside: bool = False  # Whether the box has to be open.
    each: bool = False  # Whether it is made outlet by outlet, each at that effort.


KINDS = {
    "system": Kind(2), "season": Kind(1), "rain": Kind(1), "meter": Kind(4), "cap": Kind(3),
    "ground": Kind(5), "traffic": Kind(3), "ground_at_box": Kind(2), "tank_level": Kind(10),
    "tank_outlet": Kind(15), "port": Kind(4, each=True),
    "at_rest": Kind(2, inside=True), "mouth": Kind(2, inside=True), "stain": Kind(1, inside=True),
    "trace": Kind(3, inside=True), "lip": Kind(4, inside=True), "hole": Kind(5, inside=True),
    "sludge": Kind(2, inside=True), "cracks": Kind(4, inside=True), "ice": Kind(1, inside=True),
    "inlet_mouth": Kind(1, inside=True), "baffle": Kind(1, inside=True),
    "inflow": Kind(5, inside=True), "rim": Kind(3, inside=True), "readings": Kind(10, inside=True),
    "drain_back": Kind(30, inside=True), "fast pour": Kind(12, inside=True),
    "slow pour": Kind(25, inside=True), "rod": Kind(10, inside=True, each=True),
    "wiped": Kind(12, inside=True, each=True), "plugged": Kind(30, inside=True),
}  # fmt: skip
"""Every look that can be proposed, about in the order of a visit."""


@dataclass(frozen=True, kw_only=True)
class Look:
    """A look not yet made."""

    name: str  # A key of `KINDS`.
    outlet: int  # Outlet to look at; -1 for all of them, or for the whole system.
    bits: float  # Information it is expected to give on the cause. [bit]
    minutes: float  # Its effort. [min]

    @property
    def worth(self) -> float:
        """What it gives for its effort, which orders the looks. [bit/min]"""
        return self.bits / (self.minutes + OVERHEAD)


def next_looks(weighing: Weighing, *, seed: int) -> tuple[Look, ...]:
    """Every look not yet made, the one most worth making first."""
    prospect = _Prospect.of(weighing, seed)
    opened = _is_open(weighing)
    looks = []
    for name, outlet in _not_made(weighing):
        kind = KINDS[name]
        extra = OPENING if kind.inside and not opened else 0.0
        bits = prospect.bits(name, outlet)
        looks.append(Look(name=name, outlet=outlet, bits=bits, minutes=kind.minutes + extra))
    return tuple(sorted(looks, key=lambda look: (-look.worth, look.name, look.outlet)))


def _is_open(weighing: Weighing) -> bool:
    site = weighing.site
    read = any(outlet.readings for outlet in site.outlets)
    return read or bool(pours_done(site)) or site.evidence.box_was_opened


def _not_made(weighing: Weighing) -> Iterator[tuple[str, int]]:
    site = weighing.site
    open_outlets = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    found = found_heights(site)
    measured = {"at_rest": not np.isnan(found).all(), "rim": site.evidence.rim_slope is not None}
    for name, kind in KINDS.items():
        if name in ("slow pour", "fast pour"):
            if not any(_alike(pour.inflow, name) for pour in pours_done(site)):
                yield name, -1
        elif name == "readings":
            if not all(site.outlets[i].readings for i in open_outlets) and np.isnan(found).any():
                yield name, -1
        elif hasattr(site.evidence, name):
            if system_word(site, name) is None and not measured.get(name, False):
                yield name, -1
        else:
            left = [i for i in open_outlets if outlet_word(site, name, i) is None]
            yield from ((name, i) for i in (left if kind.each else [-1] * bool(left)))


def _alike(inflow: float, name: str) -> bool:
    border = float(np.sqrt(SLOW_POUR * FAST_POUR))
    return (inflow < border) == (name == "slow pour")


@dataclass(frozen=True, eq=False)
class _Prospect:
    """Boxes drawn by their weights, m of them, and the answers they stand for."""

    weighing: Weighing
    states: States
    view: View
    member: Array  # (answers left, m): 1 where the box stands for the answer
    tries: npt.NDArray[np.int64]
    rng: np.random.Generator

    @classmethod
    def of(cls, weighing: Weighing, seed: int) -> "_Prospect":
        rng = np.random.default_rng([seed, 7])
        marks = (np.arange(_BOXES) + rng.random()) / _BOXES
        rows = np.searchsorted(np.cumsum(weighing.weight), marks).clip(max=weighing.base.size - 1)
        states, answers = weighing.states.take(rows), weighing.answer_of_row[rows]
        member = (np.unique(answers)[:, None] == answers).astype(np.float64)
        tries = rng.permutation(_BOXES)[:_TRIES]
        return cls(weighing, states, View(states, weighing.site.evidence), member, tries, rng)

    def bits(self, name: str, outlet: int) -> float:
        """Expected information of a look on the answer. [bit]"""
        if len(self.member) < 2:
            return 0.0
        if hasattr(Evidence, name):
            return self._of_word(self.view.system(name))
        if outlet >= 0:
            return self._of_word(self.view.outlet(name)[:, outlet])
        if name == "readings":
            return self._of_tries(self._readings(), apart=True)
        if name in ("slow pour", "fast pour"):
            return self._of_tries(self._pour(name), apart=True)
        site = self.weighing.site
        left = [
            i
            for i, o in enumerate(site.outlets)
            if not o.capped and outlet_word(site, name, i) is None
        ]
        chance = self.view.outlet(name)[:, left]
        return self._of_word(chance[:, 0]) if len(left) == 1 else self._of_words(chance)

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
        total = np.zeros((_TRIES, _BOXES))
        for k in range(chance.shape[1]):
            total += log[k, word[:, k]]
        return self._of_tries(total, apart=False)

    def _of_tries(self, log_chance: Array, *, apart: bool) -> float:
        """From what every box makes of some outcomes, (tries, m); its own outcome set apart."""
        if apart:
            log_chance[np.arange(_TRIES), self.tries] = -np.inf
        chance = np.exp(log_chance - log_chance.max(-1, keepdims=True))
        after = chance @ self.member.T
        after /= after.sum(-1, keepdims=True)
        before = _entropy(self.member.mean(-1))
        return max(before - float(np.mean([_entropy(row) for row in after])), 0.0)

    def _readings(self) -> Array:
        """Log probability of tried readings; a lip's own scatter counts with the ruler's."""
        site = self.weighing.site
        uncapped = [i for i, o in enumerate(site.outlets) if not o.capped]
        spread = float(np.hypot(site.spread or DEFAULT_SPREAD, OWN_SCATTER))
        read, smooth = self.states.read[:, uncapped], self.states.smooth[:, uncapped]
        noise = self.rng.standard_normal((_TRIES, len(uncapped)))
        tried = read[self.tries] + (site.spread or DEFAULT_SPREAD) * noise
        tried, smooth = tried - tried.mean(-1, keepdims=True), smooth - smooth.mean(-1)[:, None]
        away = tried[:, None] - smooth
        return np.asarray(-0.5 * (away**2).sum(-1) / spread**2)

    def _pour(self, name: str) -> Array:
        """Log probability of tried catches."""
        inflow = SLOW_POUR if name == "slow pour" else FAST_POUR
        flow = self.weighing.water.flows(self.states, np.full(_BOXES, inflow))
        noise = self.rng.standard_normal((_TRIES, flow.shape[1]))
        caught = np.maximum(flow[self.tries] * (1.0 + 0.07 * noise), 0.0)
        capped = [o.capped for o in self.weighing.site.outlets]
        pour = Pour(name=name, inflow=inflow, error=_CATCH_ERROR)
        return catch_chance(self.weighing.water, flow, np.where(capped, np.nan, caught), pour)


def _entropy(chance: Array) -> float:
    some = chance[chance > 0]
    return float(-(some * np.log2(some)).sum())
