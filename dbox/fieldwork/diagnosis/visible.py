"""Chances of what one would see of each drawn box: words, depths, pours.

Words that hang on water follow the drawn levels and loads; the others come from the rows of
`fieldwork.evidence`. No chance is ever nought: a person may misread, mistake an outlet or write
down the wrong word, and two causes may be at work, so every observation keeps a small chance of
any word.

A depth in a port tells more than its word. A long trench that gets more than its bottom takes
stands

    depth = (load - 1) width / 2

deep, by what its walls take (`hydraulics.surge.parts`); one that keeps up shows a film. Where
water has reached the pipe its depth tells how much room is left in the ground and little of the
load. A rod tells how far it goes: a header is blocked near the box, crushed where wheels cross it,
capped at its mouth (common practice, no source). The spreads are judgement.

A catch scatters by its timing error and by a little of the whole pour; an outlet starts before
another where it feels the lower way out. An outlet that is not in an order that was watched did not
start. A dry lip holds water back, from nothing where it is wet to the site's most, all heights
alike: the order says the less of heights, and where outlets gave nothing the boxes are weighed both
ways, those outlets running and kept shut by dry lips.

A catch means a head over the lip, by the outlet's own rating; all lips of one pour then hang below
one level that is not known. Only differences count.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.cause_lips import Gauge
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS, Cause, Hypotheses, chances
from dbox.fieldwork.diagnosis.worlds import HEADS, MODEL_ERROR, States, Water
from dbox.fieldwork.evidence import Evidence, Kind, Sign, signed
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site
from dbox.units import HOUR

ANYTHING = 0.35
"""The same where the cause is not on the list: each sign is partly anything. [-] (judgement)"""

MISTAKE = 0.04
"""Chance that what was written down says nothing of what was there. [-] (judgement)"""

AT_REST = HOUR / 2
"""Time since the last use from which a box is taken to be at rest. [s] (common practice)"""

LEVEL_ERROR = 0.002
"""Standard deviation of a level at rest against a lip, evaporation and films included. [m]
(judgement)"""

RIM_ERROR = 0.0035
"""Standard deviation of a rim's slope against that of the outlets. [-] (a spirit level is good to
about 0.0005, common practice; rims are cast less true)"""

RIM_SEEN = 0.006
"""Slope of a rim from which half the people call it out of level. [-] (judgement)"""

# A long trench takes what is over its bottom's share by its walls: it stands (load - 1) width / 2
# deep (`surge.parts`), so at 3 ft wide to the pipe, 1 ft up, at 1.65 and to the ground at 2.
# It stands damp a little before it ponds. Logarithms of load; their spread is judgement. [-]
_LOAD_PONDING, _LOAD_TO_PIPE, _LOAD_SURFACING, _LOAD_SPREAD = -0.15, 0.50, 0.65, 0.30

_LOAD_CALLED = 0.30
"""Logarithm of the load of a line about which half the people call. [-] (judgement)"""

_STAINED = float(np.log(1.4))
"""Logarithm of a share over a fair one from which half see a stain: one lip 1/16 in low takes that.
[-] (judgement)"""

_LEVEL_SEEN = 0.004
"""Height within which water is called level with a lip. [m] (judgement)"""

_MOUTH_WET, _MOUTH_FULL, _MOUTH_SPREAD = 0.006, 0.010, 0.006
"""Water over a lip from which half see it in the mouth, call that full, and the spread of it. [m]
(judgement)"""

_BACKED = (0.03, 0.19, 0.78)
"""What a mouth is called whose line stands full against it. [-] (judgement)"""

_STREAM = 0.004
"""How much higher water stands that runs in while nobody uses any. [m] (judgement)"""

# Chances of the words where water was still on its way. [-] (judgement)
_NOT_AT_REST = {"at_rest": (0.03, 0.42, 0.35, 0.20), "mouth": (0.20, 0.70, 0.10)}

USUAL_TRENCH = (0.9, 0.3)
"""Width of a trench and height of its pipe over its bottom, where not known. [m] (common practice,
no source)"""

FILM = 0.02
"""Mean depth of water in a trench that keeps up, where there is some. [m] (judgement)"""

SOIL_SPREAD = 0.25
"""Spread of the logarithm of a line's load by its own soil. [-] (judgement)"""

STOPS = ("soft stop", "hard stop")
"""Words of a rod that went no further."""

_REACH_SPREAD = 0.8
"""Spread of the logarithm of the way that a rod goes. [-] (judgement)"""

START_ERROR = 0.0012
"""Standard deviation of the height at which an outlet is seen to start. [m] (about 3/64 in:
judgement)"""

_OF_POUR = 0.02
"""Part of a whole pour that a catch scatters by, besides its own timing. [-] (judgement)"""

_SEEN_TO_RUN = 0.10
"""Flow over a fair share that half the people note as running. [-] (judgement)"""

_POUR_ERROR = 0.05
"""Spread of the logarithm of the flow that is poured. [-] (judgement)"""

_LEAST_SHARE = 0.02
"""Part of a pour below which a catch says little of the head. [-] (judgement)"""

_WIDER = 1.2
"""How much wider a catch guides the draws than the split will have it, so that no box that fits is
missed. [-] (numerical)"""


@dataclass(frozen=True, eq=False)
class View:
    """What is visible of drawn boxes."""

    states: States  # The boxes.
    evidence: Evidence  # Of which only the time since the last use matters.
    signs: tuple[Sign, ...] = ()  # Chances that the user gave.

    def chance(self, kind: Kind) -> Array:
        """Chance of each word of a kind of evidence. [-] (r, words), of outlets (r, n, words)"""
        states = self.states
        if kind.usual:
            told = signed(kind, self.signs)
            chance = chances(told, states.cause, states.outlet, states.felt.shape[-1])
        if not kind.usual or kind.name == "mouth":
            chance = getattr(self, f"_{kind.name}")(*([chance] if kind.usual else []))
        return self._as_told(kind, chance, states.cause)

    def of_hypotheses(self, kind: Kind, hypotheses: Hypotheses) -> Array:
        """The same, a row a hypothesis, of a kind that does not hang on water. [-]"""
        n = self.states.felt.shape[-1]
        chance = chances(signed(kind, self.signs), hypotheses.cause, hypotheses.outlet, n)
        return self._as_told(kind, chance, hypotheses.cause)

    def _as_told(self, kind: Kind, chance: Array, cause: npt.NDArray[np.int64]) -> Array:
        """Chance of each word as it is written down. (k, ..., words)"""
        words = chance.shape[-1]
        if kind.name in _NOT_AT_REST:
            unrest = self._unrest()
            chance = (1.0 - unrest) * chance + unrest * np.array(_NOT_AT_REST[kind.name])
        mistake = np.where(cause == KEYS.index("other"), ANYTHING, MISTAKE).max(-1)
        mistake = mistake.reshape(-1, *(1,) * (chance.ndim - 1))
        return np.asarray((1.0 - mistake) * chance + mistake / words)

    def level_at_rest(self, heights: Array, spread: float) -> Array:
        """Probability density of the level found, measured against the lips.

        heights [m], spread [m] -> [-].
        """
        used = ~np.isnan(heights)
        # the measured heights place the water under these lips; the lips' own fit is weighed apart
        lips = self.states.read - self.states.read.min(-1, keepdims=True)
        found = (lips[:, used] - heights[used]).mean(-1)
        error = float(np.hypot(LEVEL_ERROR, spread / np.sqrt(used.sum())))
        near = _normal((found - self.states.still) / error) / error
        unrest = self._unrest()
        above = np.where((found > 0) & (found < 0.03), 1.0 / 0.03, 0.0)
        return _or_mistaken(0.1 * ((1.0 - unrest) * near + unrest * above))

    def rim_slope(self, slope: tuple[float, float]) -> Array:
        """Probability density of a measured slope of the rim, as a chance. (r,) [-]"""
        away = ((self.states.slopes - np.array(slope)) ** 2).sum(-1)
        near = np.exp(-0.5 * away / RIM_ERROR**2) / (2.0 * np.pi * RIM_ERROR**2)
        return _or_mistaken(0.01 * near)

    def _unrest(self) -> float:
        """Chance that the water was not yet at rest. [-] (judgement)"""
        since = self.evidence.since_use
        if since is None:
            return 0.10
        return 0.7 if since < AT_REST else 0.25 if since < 2 * HOUR else 0.03

    def _at_rest(self) -> Array:
        lips = np.where(np.isfinite(self.states.read), self.states.read, np.nan)
        across = np.nanmax(lips, -1) - np.nanmin(lips, -1)
        runs = self.states.has("overload", "infiltration")
        still = self.states.still + np.where(runs, _STREAM, 0.0)
        under = normal_below((-_LEVEL_SEEN - still) / LEVEL_ERROR)
        at = normal_below((_LEVEL_SEEN - still) / LEVEL_ERROR) - under
        over = 1.0 - normal_below((across + _LEVEL_SEEN - still) / LEVEL_ERROR)
        over = np.minimum(over, 1.0 - under - at)
        return np.stack([under, at, np.maximum(1.0 - under - at - over, 0.0), over], -1)

    def _rim(self) -> Array:
        out = normal_below((np.hypot(*self.states.slopes.T) - RIM_SEEN) / RIM_ERROR)
        return np.stack([1.0 - out, out], -1)

    def _mouth(self, chance: Array) -> Array:
        """Water that stands in the box or against an outlet is in its mouth, whatever the cause."""
        states = self.states
        level = states.read.min(-1) + states.still
        over = np.maximum(level[:, None], states.tail) - np.minimum(states.read, 1e3)
        wet = normal_below((over - _MOUTH_WET) / LEVEL_ERROR)
        # ice keeps water from where it would stand
        wet = np.where(states.has("frozen")[:, None], 0.0, wet)[..., None]
        full = 0.97 * normal_below((over - _MOUTH_FULL) / _MOUTH_SPREAD)[..., None]
        stands = np.concatenate([np.full_like(full, 0.03), 0.97 - full, full], -1)
        # what stands in the line fills the pipe behind the lip before it covers that, however deep
        backed = states.tail > states.felt
        chance = np.where(backed[..., None], _BACKED, (1.0 - wet) * chance + wet * stands)
        return np.asarray(chance)

    def _port(self) -> Array:
        words = _port_words(self.states.load)
        # where a trench is blocked further out, its port may lie past that
        past = self.states.sits("deep_block")[..., None]
        return np.where(past, 0.7 * words + 0.3 * np.array([0.90, 0.05, 0.05]), words)

    def _trace(self) -> Array:
        """Stains and dust follow the share of an ordinary day over an even one."""
        over = self.states.day_share * np.isfinite(self.states.read).sum(-1, keepdims=True)
        over = np.log(np.maximum(over, 1e-3))
        stained = 0.04 + 0.66 * expit((over - _STAINED) / 0.12)
        dusty = 0.03 + 0.67 * expit((-2.0 - over) / 0.40)
        return np.stack([1.0 - stained - dusty, stained, dusty], -1)

    def _hole(self) -> Array:
        odd = self.states.sits("holes", "no_insert")
        differs = odd & (self.states.hole >= 0)[:, None]
        seen = np.array([[0.07, 0.91, 0.02], [0.07, 0.02, 0.91]])[self.states.hole]
        return np.where(differs[..., None], seen[:, None], [0.98, 0.01, 0.01])

    def _ground(self) -> Array:
        load = np.log(np.maximum(self.states.load, 1e-3))
        wet = (0.03 + 0.62 * expit((load - _LOAD_SURFACING) / _LOAD_SPREAD))[..., None]
        spots = np.tile([0.04, 0.40, 0.22, 0.16, 0.18], (*load.shape, 1))
        slope, crushed, head = (
            self.states.sits(key) for key in ("trench_slope", "crushed", "deep_block")
        )
        head = head | self.states.has("solids")[:, None]
        spots = np.where(head[..., None], [0.03, 0.77, 0.08, 0.02, 0.10], spots)
        spots = np.where(slope[..., None], [0.01, 0.05, 0.06, 0.78, 0.10], spots)
        spots = np.where(crushed[..., None], [0.90, 0.05, 0.02, 0.01, 0.02], spots)
        wet = np.where(slope[..., None], 0.70, np.where(crushed[..., None], 0.45, wet))
        return np.concatenate([1.0 - wet, wet * spots], -1)


def _port_words(load: Array) -> Array:
    """Chance that a port is dry, or has water below or up to the pipe. [-] (..., 3)"""
    log_load = np.log(np.maximum(load, 1e-3))
    to_pipe = expit((log_load - _LOAD_TO_PIPE) / _LOAD_SPREAD)
    wet = expit((log_load - _LOAD_PONDING) / _LOAD_SPREAD)
    return np.stack([1.0 - wet, wet - to_pipe, to_pipe], -1)


def call_chance(states: States) -> Array:
    """Chance that a line stands in enough water for somebody to call about it. [-]"""
    most = np.log(np.maximum(states.load.max(-1), 1e-3))
    return np.asarray(0.02 + 0.98 * expit((most - _LOAD_CALLED) / _LOAD_SPREAD))


def expit(x: Array) -> Array:
    """Logistic function, by numpy alone: scipy takes longer to import. [-] (...)"""
    return np.asarray(0.5 + 0.5 * np.tanh(0.5 * x))


def ground_word(places: tuple[str, ...]) -> str:
    """The word that wet places over one line are weighed as.

    >>> ground_word(()), ground_word(("end",)), ground_word(("head", "end"))
    ('dry', 'end', 'several')
    """
    return places[0] if len(places) == 1 else "several" if places else "dry"


def normal_below(x: Array) -> Array:
    """Normal distribution function, by the logistic one: good to 0.01, enough here. [-] (...)"""
    return np.asarray(expit(1.702 * x))


def _normal(x: Array) -> Array:
    """Density of the standard normal distribution. [-]"""
    return np.asarray(np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi))


def _or_mistaken(density: Array) -> Array:
    return (1.0 - MISTAKE) * density + MISTAKE


def port_depth_chance(states: States, site: Site, outlet: int) -> Array:
    """Probability density of the depth in a port that stands below the pipe, given that it does.
    [-]
    """
    width, pipe = USUAL_TRENCH
    if site.works.trenches and (trench := site.works.trenches[outlet]) is not None:
        width, pipe = trench.width, trench.pipe_height
    water = site.evidence.of_outlet(outlet).port_water or 0.0
    depth = float(np.clip(pipe + water, 1e-3, pipe))
    load = np.log(np.maximum(states.load[:, outlet], 1e-3))
    ponds = _normal((float(np.log1p(2.0 * depth / width)) - load) / SOIL_SPREAD)
    # depth to logarithm of load, as the film is told in depth
    per_depth = (width / 2.0 + depth) / FILM
    film = normal_below(-load / SOIL_SPREAD) * np.exp(-depth / FILM) * per_depth * SOIL_SPREAD
    # the chance that the word has given that there is water, so that word and depth together are
    # the chance of the depth
    _, below, to_pipe = np.moveaxis(_port_words(states.load[:, outlet]), -1, 0)
    return _or_mistaken((ponds + film) / np.maximum(below / (below + to_pipe), 1e-3))


def rod_chance(states: States, distance: float, outlet: int) -> Array:
    """Probability density of the way that a rod went before it stopped; distance [m] -> [-]."""
    stops = np.array([*(cause.reach if cause.line else np.inf for cause in CAUSES), np.inf])
    # of two causes in one header the nearer stops it
    reach = np.where(states.outlet == outlet, stops[states.cause], np.inf).min(-1)
    reach = np.where(np.isfinite(reach), reach, Cause.reach)
    return _or_mistaken(
        _normal(np.log(max(distance, 0.05) / reach) / _REACH_SPREAD) / _REACH_SPREAD
    )


def pour_chance(water: Water, states: States, pour: Pour, noise: Array) -> Array:
    """Probability of what a pour showed, up to a factor that is the same for every box.

    noise [-] -> [-].
    """
    inflow, most = pour.inflow * np.exp(_POUR_ERROR * noise), water.site.hold_back[1]
    flow = water.flows(states, inflow)
    result = _showing(water, states, flow, pour)
    dry = _gave_nothing(states, pour)
    if most > 0 and dry.any():
        without = water.flows(states, inflow, shut=dry)
        held = np.clip(_held_chance(water, states, without, dry, most), 1e-9, 1.0 - 1e-9)
        kept = _showing(water, states, without, pour) + np.log(held)
        result = np.logaddexp(result + np.log1p(-held), kept)
    return result


def _showing(water: Water, states: States, flow: Array, pour: Pour) -> Array:
    """Log probability of what a pour showed at these flows; flow [m3/s] -> [-]. (r,)"""
    result = np.zeros(len(flow))
    if pour.done:
        caught = np.array([np.nan if c is None else c for c in pour.catches])
        result += catch_chance(water, flow, caught, pour)
    if pour.order:
        result += _order_chance(states, flow, pour, water.site.hold_back[1])
    return result


def _gave_nothing(states: States, pour: Pour) -> BoolArray:
    """Open outlets that gave nothing, or were not seen to start, while others ran. (n,)"""
    uncapped = np.isfinite(states.read[0])
    dry = uncapped.copy()
    if pour.done:
        dry &= np.array([caught == 0.0 for caught in pour.catches])
    if pour.order:
        dry &= ~np.isin(np.arange(dry.size), pour.order)
    return np.asarray(dry & ~dry[uncapped].all())


def _held_chance(
    water: Water, states: States, flow: Array, dry: BoolArray, hold_back: float
) -> Array:
    """Chance that outlets stay dry while the others run: by the water over them, the most over any.

    flow [m3/s], hold_back: What a dry lip holds back at most. [m] -> [-]. (r,)
    """
    ways = np.maximum(states.felt, states.tail)
    heads = [
        np.interp(flow[:, i], outlet.opening.discharge(HEADS), HEADS)
        for i, outlet in enumerate(water.site.outlets)
    ]
    runs = (flow > 0) & ~states.closed
    level = np.where(runs, ways + np.stack(heads, -1), -np.inf).max(-1, keepdims=True)
    # a line that holds water against its outlet keeps the lip wet
    least = np.where(states.tail < states.felt, 1.0 - (level - ways) / hold_back, level <= ways)
    return np.asarray(np.clip(least[:, dry], 0.0, 1.0).min(-1))


def catch_error(flow: Array | float, pour: Pour) -> Array:
    """Standard deviation of a catch: of its own timing, and of a little of the whole pour.

    flow [m3/s] -> [m3/s].
    """
    return np.asarray(np.hypot(pour.error * flow, _OF_POUR * pour.inflow))


def catch_chance(water: Water, flow: Array, caught: Array, pour: Pour) -> Array:
    """Log probability density of catches, each over the flow poured.

    flow [m3/s], caught [m3/s] -> [-].
    """
    spread = np.hypot(catch_error(flow, pour), water.blur(flow))
    near = _normal((caught[..., None, :] - flow) / spread) / spread * pour.inflow
    chance = np.where(np.isnan(caught)[..., None, :], 1.0, _or_mistaken(near))
    return np.asarray(np.log(chance).sum(-1))


def _order_chance(states: States, flow: Array, pour: Pour, hold_back: float) -> Array:
    """Log probability of an order of starting: every outlet later than the one before it.

    hold_back: What a dry lip holds back at most. [m]
    """
    ways = np.maximum(states.felt, states.tail)
    ways = np.minimum(np.where(states.closed & (states.seep <= 0), np.inf, ways), 1e3)
    # a line that takes next to nothing is often not noted as running
    over = (flow / (_SEEN_TO_RUN * pour.inflow / flow.shape[1])) ** 2
    runs = 0.05 + 0.90 * over / (1.0 + over)
    # what may lie anywhere between 0 and a most has a twelfth of its square as variance
    dry = np.where(states.tail < states.felt, hold_back**2 / 12.0, 0.0)
    gaps = [
        (ways[:, later] - ways[:, earlier])
        / np.sqrt(START_ERROR**2 + dry[:, earlier] + dry[:, later])
        for earlier, later in pairwise(pour.order)
    ]
    steps = [expit(np.clip(1.7 * gap, -60, 60)) for gap in gaps]
    steps += [
        runs[:, outlet] if outlet in pour.order else 1.0 - runs[:, outlet]
        for outlet in np.flatnonzero(np.isfinite(states.read[0])).tolist()
    ]
    chance = (1.0 - MISTAKE) * np.array(steps) + MISTAKE / 2.0
    return np.asarray(np.log(chance).sum(0))


def found_heights(site: Site) -> Array:
    """Lips over the water as it was found, NaN where not measured. [m] (n,)"""
    found = [
        None if outlet.capped else site.evidence.of_outlet(i).at_rest
        for i, outlet in enumerate(site.outlets)
    ]
    return np.array([np.nan if height is None else height for height in found])


def gauges_of(site: Site, hypotheses: Hypotheses) -> list[Gauge]:
    """The readings, or else the lips read over the water as it was found; then every pour."""
    lips = reduce_readings(site)
    heights, errors = np.where(np.isfinite(lips.height), lips.height, np.nan), lips.error
    if np.count_nonzero(~np.isnan(heights)) < 2:
        heights = found_heights(site)
        errors = np.full(heights.shape, site.spread or DEFAULT_SPREAD)
    nowhere = np.zeros((1, heights.size), bool)
    ruler = Gauge(heights=heights, errors=np.maximum(errors, 1e-5), felt=False, useless=nowhere)
    mute = np.append([cause.mute for cause in CAUSES], False)[hypotheses.cause][..., None]
    at = hypotheses.outlet[..., None]
    useless = np.asarray((mute & ((at < 0) | (np.arange(heights.size) == at))).any(1))
    pours = [
        Gauge(heights=heights, errors=errors, felt=True, useless=useless)
        for heights, errors in (_caught(site, pour) for pour in site.pours if pour.done)
    ]
    return [gauge for gauge in (ruler, *pours) if gauge.freedom]


def _caught(site: Site, pour: Pour) -> tuple[Array, Array]:
    """Lips under one level by the catches of a pour, and their errors. [m] (n,) each"""
    heights, errors = np.full(len(site.outlets), np.nan), np.full(len(site.outlets), 1.0)
    for i, (outlet, caught) in enumerate(zip(site.outlets, pour.catches, strict=True)):
        if caught is None or caught < _LEAST_SHARE * pour.inflow or outlet.capped:
            continue
        error = float(catch_error(caught, pour))
        low, head, high = np.interp(
            [caught - error, caught, caught + error], outlet.opening.discharge(HEADS), HEADS
        )
        heights[i], errors[i] = -head, _WIDER * np.hypot((high - low) / 2.0, MODEL_ERROR)
    return heights, errors
