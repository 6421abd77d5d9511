"""The looks worth making next, in the order of one visit.

What a look is expected to tell is the mutual information of cause and outcome given the looks
before it on the list, in bits: how much less uncertain one would be, on average, once it was made
too. It comes from boxes drawn anew by their weights. A look with one word is summed over its words;
one with many words or numbers at a time is tried out on some of the boxes, each asked what it would
show and what the others then say. What the looks before it showed is tried out in the same way.

The list goes the way of a visit: what opens nothing, the open box at rest, and only then what stirs
it: bailing, a slow pour, a fast one, rods (common practice, no source). A later step is taken where
its best look gives several times as much for its effort as what is left of the steps before. The
box is not stirred before what that would spoil was seen: the water at rest, the mouths, the ports;
and nobody pours before the ground was walked, nor into a line that surfaces. A look that would add
next to nothing is left out.

The efforts are judgement. No look is free: to each a few minutes are added for going there and
writing it down, and the first into the box has its opening.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.cause_lips import HELD, UNEVEN
from dbox.fieldwork.diagnosis.causes import OWN_SCATTER, index_of
from dbox.fieldwork.diagnosis.posterior import READINGS, Weighing, measured, pours_done, word_of
from dbox.fieldwork.diagnosis.visible import View, catch_chance, found_heights
from dbox.fieldwork.evidence import BAILED, KINDS, PARTS, PORTS, POURS, Kind
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site
from dbox.units import LITRE, MINUTE, litres_per_min

OPENING = 10.0
"""Effort of opening the box safely, where it was not yet. [min] (judgement)"""

OVERHEAD = 3.0
"""Effort that every look has besides its own. [min] (judgement)"""

SLOW_POUR, FAST_POUR = 2.0 * LITRE / MINUTE, 20.0 * LITRE / MINUTE
"""Flows of the pours that are proposed: an ordinary day's and a bucket's, in round litres. [m3/s]
(judgement)"""

LITTLE = 0.02
"""Information below which a look adds next to nothing. [bit] (judgement)"""

_NOTHING = 0.003
"""Information below which a look is no more asked for its worth on one list. [bit] (numerical)"""

_LATER = 3.0
"""How many times as much, for its effort, a look of a later step gives before what is left of the
steps before is passed over. [-] (judgement)"""

_SHARED = 3.0
"""Looks that an opening is counted over: few open a box for one look. [-] (judgement)"""

_MOST = 10
"""Looks on a list at most. [-] (judgement)"""

_LEADING = 3
"""Answers that lead, one of which is among the two that a look is said to part. [-] (judgement)"""

_BOXES, _TRIES = 400, 32
"""Boxes drawn anew, and those of them that looks are tried on. [-] (numerical)"""

_CATCH_SCATTER = 0.07
"""What a catch scatters by. [-] (judgement)"""

_LIP_ERROR = {SLOW_POUR: 0.5, FAST_POUR: 0.2}
"""Error that a proposed catch is weighed with: what 1 mm or so of a lip's own is to the flow over
it. [-] (judgement)"""

_SPOILT = ("ground", "port", "at_rest", "mouth")
"""What running water would spoil, and the ground, which says where none may run."""

(_OTHER,) = index_of("other")

_POURED = {
    Kind(
        name=f"{pace} pour", part=POURS, turn=turn, minutes=minutes,
        look=f"{how} and catch at every outlet: {litres_per_min(inflow)}",
    ): inflow
    for pace, how, inflow, turn, minutes in (
        # a dry lip holds water back, which is no height
        ("slow", "wet every lip, pour slowly", SLOW_POUR, 1, 25),
        ("fast", "pour fast", FAST_POUR, 2, 12),
    )
}  # fmt: skip
LOOKS = sorted(
    (*(kind for kind in KINDS if kind.minutes), READINGS, *_POURED), key=lambda kind: kind.place
)
"""Every look that can be proposed, in the order of a visit."""


def step_of(kind: Kind) -> tuple[int, int]:
    """Its step of a visit: what opens nothing is one step, each pour a step of its own."""
    part = max(PARTS.index(kind.part), PARTS.index(PORTS))
    return part, kind.turn if kind in _POURED else 0


def stirs(kind: Kind) -> bool:
    """Whether a look moves water, or what lies in the box and its pipes."""
    return PARTS.index(kind.part) >= PARTS.index(BAILED)


def surfacing(site: Site) -> list[int]:
    """Outlets over whose lines the ground was found wet."""
    return [i for i in range(len(site.outlets)) if site.evidence.of_outlet(i).ground]


def was_opened(site: Site) -> bool:
    """Whether anything was read, poured or seen that takes an open box."""
    read = any(outlet.readings for outlet in site.outlets)
    return read or bool(pours_done(site)) or site.evidence.box_was_opened


@dataclass(frozen=True, kw_only=True)
class Look:
    """A look not yet made."""

    kind: Kind  # What is looked at.
    outlet: int  # Outlet to look at; -1 for all of them, or for the whole system.
    bits: float  # Information on the cause that it is expected to add to those before it. [bit]
    minutes: float  # Its effort. [min]
    # The two answers that it parts most, each by its causes and their outlets; none where there is
    # but one.
    parts: tuple[tuple[tuple[int, int], ...], ...]

    @property
    def name(self) -> str:
        """What is looked at: a key of the evidence, `readings` or a pour."""
        return self.kind.name


def next_looks(weighing: Weighing, *, seed: int) -> tuple[Look, ...]:
    """The looks worth making, each given those before it."""
    opened = was_opened(weighing.site)
    prospect, looks = _Prospect(weighing, seed), list[Look]()
    while len(looks) < min(_MOST, len(prospect.looks)):
        bits = prospect.bits()
        opening = 0.0 if opened else OPENING
        at = _chosen([kind for kind, _ in prospect.looks], bits, looks, opening)
        if at < 0:
            break
        kind, places = prospect.looks[at]
        looks.append(
            Look(
                kind=kind,
                outlet=places[0] if kind.by_line else -1,
                bits=float(bits[at]),
                minutes=kind.minutes + opening * kind.inside,
                parts=prospect.parts(at),
            )
        )
        opened = opened or kind.inside
        prospect.make(at)
    return tuple(looks)


def _chosen(kinds: list[Kind], bits: Array, before: Sequence[Look], opening: float) -> int:
    """Which look comes after those before it; -1 for none."""
    order = sorted({step_of(kind) for kind in kinds})
    steps = np.array([order.index(step_of(kind)) for kind in kinds])
    now = max((order.index(step_of(look.kind)) for look in before), default=0)
    minutes = np.array([k.minutes + OVERHEAD + opening / _SHARED * k.inside for k in kinds])
    worth, wet = bits / minutes, np.array([stirs(kind) for kind in kinds])
    left = (bits >= LITTLE) & (steps >= now)
    if not left.any():
        # one is told even where none changes much
        return -1 if before else int(np.argmax(worth))
    calm = worth[left & ~wet].max(initial=0.0)
    best = calm if worth[left].max() < _LATER * calm else worth[left].max()
    among = left & (steps == steps[left & (worth >= best / _LATER)].min())
    if np.any(among & wet):
        names = np.array([kind.name for kind in kinds])
        first = np.isin(names, _SPOILT) & (bits >= np.where(names == "ground", _NOTHING, LITTLE))
        if not first.any() and np.any(among & (names == "fast pour")):
            first = left & (names == "slow pour")
        among = first if first.any() else among
    return int(np.argmax(np.where(among, worth, -1.0)))


def _not_made(weighing: Weighing) -> Iterator[tuple[Kind, list[int]]]:
    """Each look, and the outlets that it is left to make at."""
    site = weighing.site
    uncapped = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    found, wet = found_heights(site), surfacing(site)
    border = float(np.sqrt(SLOW_POUR * FAST_POUR))
    slow = {pour.inflow < border for pour in pours_done(site)}
    for kind in LOOKS:
        if kind in _POURED:
            made = (_POURED[kind] < border) in slow or bool(wet)
        elif kind is READINGS:
            made = all(site.outlets[i].readings for i in uncapped) or not np.isnan(found).any()
        elif not kind.of_outlet:
            made = word_of(site, kind) is not None or measured(site, kind)
        else:
            left = [i for i in uncapped if word_of(site, kind, i) is None]
            if kind.name == "wiped":
                # whether it runs better takes water
                left = [i for i in left if i not in wet]
            places = [[i] for i in left] if kind.by_line else [left]
            yield from ((kind, place) for place in places if place)
            continue
        if not made:
            yield kind, uncapped


class _Prospect:
    """Boxes drawn by their weights, m of them, and what T of them would show."""

    def __init__(self, weighing: Weighing, seed: int) -> None:
        self.weighing, self.rng = weighing, np.random.default_rng([seed, 7])
        marks = (np.arange(_BOXES) + self.rng.random()) / _BOXES
        rows = np.searchsorted(np.cumsum(weighing.weight), marks)
        rows = rows.clip(max=weighing.log_weight.size - 1)
        rows = rows[np.argsort(weighing.answer_of_row[rows], kind="stable")]
        self.states = weighing.states.take(rows)
        # boxes of one answer stand together
        self.answers, first = np.unique(weighing.answer_of_row[rows], return_index=True)
        self.spans = [slice(*ends) for ends in pairwise([*first.tolist(), _BOXES])]
        member = weighing.answer_of_row[rows][:, None] == self.answers
        self.member = member.astype(np.float64)  # (m, g)
        self.tries = self.rng.permutation(_BOXES)[:_TRIES]
        self.weight = np.full((1, _BOXES), 1.0 / _BOXES)  # After what the tries showed. (T, m)
        self.looks = list(_not_made(weighing))
        self.left = np.ones(len(self.looks), bool)
        view = View(self.states, weighing.site.evidence, weighing.site.signs)
        chances = dict[Kind, Array]()
        self.words = dict[int, Array]()  # Chance of each word in every box, (m, k, words).
        self.tried = dict[int, Array]()  # What every box makes of what was tried. (T, m)
        for at, (kind, places) in enumerate(self.looks):
            if kind is READINGS or kind in _POURED:
                log = self._readings(places) if kind is READINGS else self._pour(kind)
                # a box that explains its own outcome proves nothing
                log[np.arange(_TRIES), self.tries] = -np.inf
                self.tried[at] = np.exp(log - log.max(-1, keepdims=True))
                continue
            if kind not in chances:
                chances[kind] = view.chance(kind)
            chance = chances[kind][:, places] if kind.of_outlet else chances[kind][:, None]
            self.words[at] = chance
            if chance.shape[1] > 1:
                self.tried[at] = self._words(chance)

    def _words(self, chance: Array) -> Array:
        """What every box makes of tried words at k outlets, (m, k, words). (T, m)"""
        word = self._drawn(chance[self.tries])
        each = np.take_along_axis(chance[None], word[:, None, :, None], -1)[..., 0]
        return np.asarray(each.prod(-1))

    def _drawn(self, chance: Array) -> npt.NDArray[np.int64]:
        """Words drawn by their chances, (..., words)."""
        reached = np.cumsum(chance, -1)
        dice = self.rng.random(chance.shape[:-1])[..., None] * reached[..., -1:]
        return np.asarray((dice > reached).sum(-1))

    def _joint(self, chance: Array) -> Array:
        """Chance of each answer and word after each try, (m, words) -> (T, g, words)."""
        return np.stack([self.weight[:, span] @ chance[span] for span in self.spans], axis=1)

    def _after(self, shown: Array) -> Array:
        """Chance of each answer after each try and what it showed, (T, m) -> (T, g)."""
        after = (self.weight * shown) @ self.member
        return np.asarray(after / np.maximum(after.sum(-1, keepdims=True), 1e-300))

    def bits(self) -> Array:
        """What each look is expected to add; 0 where it was made. [bit]"""
        bits = np.zeros(len(self.looks))
        before = _entropy(self.weight @ self.member).sum(-1)
        worded = [at for at in self.words if self.left[at] and at not in self.tried]
        if worded:
            chances = [self.words[at][:, 0] for at in worded]
            joint = self._joint(np.concatenate(chances, axis=-1))
            ends = np.cumsum([0, *(chance.shape[-1] for chance in chances[:-1])])
            spread = _entropy(joint.sum(1)) - _entropy(joint).sum(1)
            bits[worded] = (before[:, None] + np.add.reduceat(spread, ends, axis=1)).mean(0)
        for at, shown in self.tried.items():
            if self.left[at]:
                bits[at] = (before - _entropy(self._after(shown)).sum(-1)).mean()
        bits = np.asarray(np.maximum(bits, 0.0) / np.log(2.0))
        # what adds nothing now will not after another look
        self.left &= bits > _NOTHING
        return bits

    def parts(self, at: int) -> tuple[tuple[tuple[int, int], ...], ...]:
        """The two answers that a look parts most: by what it tells of these two alone."""
        before = self.weight @ self.member
        if at in self.words:
            # what was tried so far says little of words at single outlets: all boxes say more
            chance, boxes = self.words[at], self.weight.mean(0)[:, None] * self.member
            after = chance.reshape(len(boxes), -1).T @ boxes
            before = np.tile(boxes.sum(0), (chance.shape[1], 1))
        else:
            after = self._after(self.tried[at])
        before, after = before / before.sum(), after / after.sum()
        answers = [self.weighing.hypotheses.answers[each] for each in self.answers]
        named = np.array([_OTHER not in {cause for cause, _ in parts} for parts in answers])
        leading = np.argsort(-before.sum(0) * named, kind="stable")[: named.sum()]
        if leading.size < 2:
            return ()

        def unsure(chance: Array) -> Array:
            """What is not known of every two, one of them among the first."""
            each = _entropy(chance).sum(0)
            both = _entropy(chance[:, :_LEADING, None] + chance[:, None]).sum(0)
            return np.asarray(each[:_LEADING, None] + each - both)

        told = unsure(before[:, leading]) - unsure(after[:, leading])
        np.fill_diagonal(told, -np.inf)
        pair = sorted(divmod(int(told.argmax()), leading.size))
        return tuple(answers[leading[each]] for each in pair)

    def make(self, at: int) -> None:
        """Take a look as made, with what the tries show."""
        if at in self.tried:
            shown = self.tried[at]
        else:
            chance = self.words[at][:, 0]
            shown = chance[:, self._drawn(chance[self.tries])].T
        self.weight = self.weight * shown
        self.weight = self.weight / np.maximum(self.weight.sum(-1, keepdims=True), 1e-300)
        self.left[at] = False

    def _readings(self, uncapped: list[int]) -> Array:
        """Log probability of tried readings; a lip's own scatter counts with the ruler's. (T, m)"""
        ruler = (self.weighing.site.spread or DEFAULT_SPREAD) * np.array(HELD)
        read, smooth = self.states.read[:, uncapped], self.states.smooth[:, uncapped]
        noise = self.rng.standard_normal((_TRIES, len(uncapped)))
        noise *= self.rng.choice(ruler, (_TRIES, 1))
        tried, smooth = (h - h.mean(-1, keepdims=True) for h in (read[self.tries] + noise, smooth))
        away = ((tried[:, None] - smooth) ** 2).sum(-1)
        spread = np.hypot(ruler, OWN_SCATTER * np.array(UNEVEN))[:, None, None]
        each = -0.5 * away / spread**2 - (len(uncapped) - 1) * np.log(spread)
        return np.asarray(np.logaddexp.reduce(each, axis=0))

    def _pour(self, kind: Kind) -> Array:
        """Log probability of tried catches. (T, m)"""
        inflow, water = _POURED[kind], self.weighing.water
        flow = water.flows(self.states, np.full(_BOXES, inflow))
        noise = self.rng.standard_normal((_TRIES, flow.shape[1]))
        caught = np.maximum(flow[self.tries] * (1.0 + _CATCH_SCATTER * noise), 0.0)
        capped = [o.capped for o in self.weighing.site.outlets]
        pour = Pour(name=kind.name, inflow=inflow, error=_LIP_ERROR[inflow])
        return catch_chance(water, flow, np.where(capped, np.nan, caught), pour)


def _entropy(chance: Array) -> Array:
    """Chance times the logarithm of one over it, 0 at none: scipy takes 0.1 s to import. [-]"""
    return np.asarray(-chance * np.log(np.maximum(chance, 1e-300)))
