"""Chances of what one would see of each drawn box: words, depths, pours.

Words that hang on water follow the drawn levels and loads; the others come from the tables of
`signs`. No chance is ever nought: a person may misread, mistake an outlet or write down the wrong
word, and two causes may be at work, so every observation keeps a small chance of any word.

Over what its word says already. A long trench that gets more than its bottom takes stands

    depth = (load - 1) width / 2

deep, by what its walls take (`surge.trench`); one that keeps up shows a film. Where water has
reached the pipe its depth tells how much room is left in the ground and little of the load. A
header is blocked near the box, crushed where wheels cross it, capped at its mouth (common practice,
no source). The spreads are judgement.

A catch scatters by its timing error and by a little of the whole pour; an outlet starts before
another where it feels the lower way out. An outlet that is not in an order that was watched did not
start.

A catch means a head over the lip, by the outlet's own rating; all lips of one pour then hang below
one level that is not known. Only differences count.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.cause_lips import Gauge
from dbox.fieldwork.diagnosis.causes import (
    CAUSES,
    LEAKS,
    OUTLET_SIGNS,
    SYSTEM_SIGNS,
    Hypotheses,
    index_of,
)
from dbox.fieldwork.diagnosis.worlds import HEADS, MODEL_ERROR, States, Water
from dbox.fieldwork.evidence import OUTLET_WORDS, WORDS, Evidence
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import DEFAULT_SPREAD, Pour, Site

MISTAKE = 0.04
"""Chance that what was written down says nothing of what was there. [-] (judgement)"""

GROUND_WORDS = ("dry", "over the pipe", "head", "middle", "end", "several")
"""Where the ground over one line is wet, as it is weighed."""

LEVEL_ERROR = 0.002
"""Standard deviation of a level at rest against a lip, evaporation and films included. [m]"""

RIM_ERROR = 0.0035
"""Standard deviation of a rim's slope against that of the outlets. [-] (a spirit level is good to
about 0.0005, common practice; rims are cast less true)"""

RIM_SEEN = 0.006
"""Slope of a rim from which half the people call it out of level. [-] (judgement)"""

# A long trench takes what is over its bottom's share by its walls: it stands (load - 1) width / 2
# deep (`surge.trench`), so at 3 ft wide to the pipe, 1 ft up, at 1.65 and to the ground at 2.
# It stands damp a little before it ponds. Logarithms of load; their spread is judgement.
_LOAD_PONDING, _LOAD_TO_PIPE, _LOAD_SURFACING, _LOAD_SPREAD = -0.15, 0.50, 0.65, 0.30
_LOAD_CALLED = 0.30

_STAINED = float(np.log(1.4))  # one lip 1/16 in low takes that over a fair share, and is stained
_LEVEL_SEEN = 0.004
_NOT_AT_REST = {"at_rest": (0.03, 0.42, 0.35, 0.20), "mouth": (0.20, 0.70, 0.10)}


@dataclass(frozen=True, eq=False)
class View:
    """What is visible of drawn boxes."""

    states: States  # The boxes.
    evidence: Evidence  # Of which only the time since the last use matters.

    def system(self, name: str) -> Array:
        """Chance of each word of an observation of the whole system. [-]"""
        if name == "at_rest":
            return _mixed(self._at_rest())
        if name == "rim":
            return _mixed(self._rim())
        chance = SYSTEM_SIGNS[name].table()[self.states.cause]
        if name == "plugged":
            chance = np.where(self.states.leak[:, None] > 0, LEAKS, chance)
        return _mixed(chance)

    def outlet(self, name: str) -> Array:
        """The same for an observation of each outlet. [-]"""
        if name == "port":
            return _mixed(self._port())
        if name == "ground":
            return _mixed(self._ground())
        if name == "trace":
            return _mixed(self._trace())
        if name == "hole":
            return _mixed(self._hole())
        sign, own = OUTLET_SIGNS[name], self.states.own[..., None]
        cause = self.states.cause
        chance = np.where(own, sign.table()[cause][:, None], sign.elsewhere()[cause][:, None])
        if name == "mouth":
            chance = self._or_not_at_rest(chance, name)
        return _mixed(chance)

    def level_at_rest(self, heights: Array, spread: float) -> Array:
        """Probability density of the level found, measured against the lips.

        heights [m], spread [m] -> [-].
        """
        used = ~np.isnan(heights)
        # the measured heights place the water under these lips; the lips' own fit is weighed apart
        lips = self.states.read - self.states.read.min(-1, keepdims=True)
        found = (lips[:, used] - heights[used]).mean(-1)
        error = np.hypot(LEVEL_ERROR, spread / np.sqrt(used.sum()))
        misfit = (found - self.states.still) / error
        near = np.exp(-0.5 * misfit**2) / (error * np.sqrt(2 * np.pi))
        unrest = self._unrest()
        above = np.where((found > 0) & (found < 0.03), 1.0 / 0.03, 0.0)
        density = (1.0 - unrest) * near + unrest * above
        return np.asarray((1.0 - MISTAKE) * 0.1 * density + MISTAKE)

    def rim_slope(self, slope: tuple[float, float]) -> Array:
        """Probability density of a measured slope of the rim, as a chance. (r,) [-]"""
        away = ((self.states.slopes - np.array(slope)) ** 2).sum(-1)
        near = np.exp(-0.5 * away / RIM_ERROR**2) / (2.0 * np.pi * RIM_ERROR**2)
        return np.asarray((1.0 - MISTAKE) * 0.01 * near + MISTAKE)

    def _unrest(self) -> float:
        """Chance that the water was not yet at rest. [-] (judgement)"""
        since = self.evidence.since_use
        if since is None:
            return 0.10
        return 0.7 if since < 1800.0 else 0.25 if since < 7200.0 else 0.03

    def _or_not_at_rest(self, chance: Array, name: str) -> Array:
        unrest = self._unrest()
        return (1.0 - unrest) * chance + unrest * np.array(_NOT_AT_REST[name])

    def _at_rest(self) -> Array:
        lips = np.where(np.isfinite(self.states.read), self.states.read, np.nan)
        across = np.nanmax(lips, -1) - np.nanmin(lips, -1)
        runs = np.isin(self.states.cause, index_of("overload", "infiltration"))
        still = self.states.still + np.where(runs, 0.004, 0.0)
        under = normal_below((-_LEVEL_SEEN - still) / LEVEL_ERROR)
        at = normal_below((_LEVEL_SEEN - still) / LEVEL_ERROR) - under
        over = 1.0 - normal_below((across + _LEVEL_SEEN - still) / LEVEL_ERROR)
        over = np.minimum(over, 1.0 - under - at)
        words = np.stack([under, at, np.maximum(1.0 - under - at - over, 0.0), over], -1)
        return self._or_not_at_rest(words, "at_rest")

    def _rim(self) -> Array:
        slope = np.hypot(*self.states.slopes.T)
        out = normal_below((slope - RIM_SEEN) / RIM_ERROR)
        return np.stack([1.0 - out, out], -1)

    def _port(self) -> Array:
        load = np.log(np.maximum(self.states.load, 1e-3))
        to_pipe = _logistic((load - _LOAD_TO_PIPE) / _LOAD_SPREAD)
        wet = np.maximum(_logistic((load - _LOAD_PONDING) / _LOAD_SPREAD), to_pipe)
        return np.stack([1.0 - wet, wet - to_pipe, to_pipe], -1)

    def _trace(self) -> Array:
        """Stains and dust follow the share of an ordinary day over an even one."""
        over = self.states.day_share * np.isfinite(self.states.read).sum(-1, keepdims=True)
        stained = 0.04 + 0.66 * _logistic((np.log(np.maximum(over, 1e-3)) - _STAINED) / 0.12)
        dusty = 0.03 + 0.67 * _logistic((-2.0 - np.log(np.maximum(over, 1e-3))) / 0.40)
        return np.stack([1.0 - stained - dusty, stained, dusty], -1)

    def _hole(self) -> Array:
        differs = self.states.own & (self.states.hole >= 0)[:, None]
        seen = np.array([[0.07, 0.91, 0.02], [0.07, 0.02, 0.91]])[self.states.hole]
        return np.where(differs[..., None], seen[:, None], [0.98, 0.01, 0.01])

    def _ground(self) -> Array:
        states = self.states
        load = np.log(np.maximum(states.load, 1e-3))
        wet = (0.03 + 0.62 * _logistic((load - _LOAD_SURFACING) / _LOAD_SPREAD))[..., None]
        spots = np.tile([0.04, 0.40, 0.22, 0.16, 0.18], (*load.shape, 1))
        own, cause = states.own, states.cause[:, None]
        slope, crushed = (own & np.isin(cause, index_of(k)) for k in ("trench_slope", "crushed"))
        solids = np.isin(cause, index_of("solids", "solids_full"))
        spots = np.where(solids[..., None], [0.03, 0.77, 0.08, 0.02, 0.10], spots)
        spots = np.where(slope[..., None], [0.01, 0.05, 0.06, 0.78, 0.10], spots)
        spots = np.where(crushed[..., None], [0.90, 0.05, 0.02, 0.01, 0.02], spots)
        wet = np.where(slope[..., None], 0.70, np.where(crushed[..., None], 0.45, wet))
        return np.concatenate([1.0 - wet, wet * spots], -1)


def call_chance(states: States) -> Array:
    """Chance that a line stands in enough water for somebody to call about it. [-]"""
    most = np.log(np.maximum(states.load.max(-1), 1e-3))
    return 0.02 + 0.98 * _logistic((most - _LOAD_CALLED) / _LOAD_SPREAD)


def ground_word(places: tuple[str, ...]) -> str:
    """The word that wet places over one line are weighed as.

    >>> ground_word(()), ground_word(("end",)), ground_word(("head", "end"))
    ('dry', 'end', 'several')
    """
    return places[0] if len(places) == 1 else "several" if places else "dry"


def words_of(name: str) -> tuple[str, ...]:
    """The words that an observation may have."""
    if name == "ground":
        return GROUND_WORDS
    return OUTLET_WORDS[name] if name in OUTLET_WORDS else WORDS[name]


def _mixed(chance: Array) -> Array:
    mixed: Array = (1.0 - MISTAKE) * chance + MISTAKE / chance.shape[-1]
    return mixed


def _logistic(x: Array) -> Array:
    return np.asarray(1.0 / (1.0 + np.exp(-x)))


def normal_below(x: Array) -> Array:
    """Normal distribution function, by the logistic one: good to 0.01, enough here. [-] (...)"""
    return _logistic(1.702 * x)


USUAL_TRENCH = (0.9, 0.3)
"""Width of a trench and height of its pipe over its bottom, where not known. [m] (common practice,
no source)"""

FILM = 0.02
"""Mean depth of water in a trench that keeps up, where there is some. [m] (judgement)"""

SOIL_SPREAD = 0.25
"""Spread of the logarithm of a line's load by its own soil. [-] (judgement)"""

STOPS = ("soft stop", "hard stop")
"""Words of a rod that went no further."""

_REACH = {"capped": 0.1, "blocked": 0.8, "crushed": 3.0}
"""How far a rod goes, about, by what stops it. [m] (judgement)"""

_ANYWHERE, _REACH_SPREAD = 2.0, 0.8


def port_depth_chance(states: States, site: Site, outlet: int) -> Array:
    """Probability density of the depth in a port that stands below the pipe, given that it does.
    [-]
    """
    width, pipe = _trench(site, outlet)
    water = site.evidence.of_outlet(outlet).port_water or 0.0
    depth = float(np.clip(pipe + water, 1e-3, pipe))
    seen, full = (float(np.log1p(2.0 * d / width)) for d in (depth, pipe))
    load = np.log(np.maximum(states.load[:, outlet], 1e-3))
    away = (seen - load) / SOIL_SPREAD
    ponds = np.exp(-0.5 * away**2) / np.sqrt(2.0 * np.pi)
    # depth to logarithm of load, as the film is told in depth
    per_depth = (width / 2.0 + depth) / FILM
    film = normal_below(-load / SOIL_SPREAD) * np.exp(-depth / FILM) * per_depth * SOIL_SPREAD
    below = np.maximum(normal_below((full - load) / SOIL_SPREAD), 1e-3)
    return np.asarray((1.0 - MISTAKE) * (ponds + film) / below + MISTAKE)


def rod_chance(states: States, distance: float, outlet: int) -> Array:
    """Probability density of the way that a rod went before it stopped; distance [m] -> [-]."""
    by_cause = np.array([_REACH.get(cause.line, _ANYWHERE) for cause in CAUSES])[states.cause]
    reach = np.where(states.own[:, outlet], by_cause, _ANYWHERE)
    away = np.log(max(distance, 0.05) / reach) / _REACH_SPREAD
    near = np.exp(-0.5 * away**2) / (_REACH_SPREAD * np.sqrt(2.0 * np.pi))
    return np.asarray((1.0 - MISTAKE) * near + MISTAKE)


def _trench(site: Site, outlet: int) -> tuple[float, float]:
    if not site.works.trenches:
        return USUAL_TRENCH
    trench = site.works.trenches[outlet]
    return (trench.width, trench.pipe_height) if trench is not None else USUAL_TRENCH


START_ERROR = 0.0012
"""Standard deviation of the height at which an outlet is seen to start. [m] (about 3/64 in)"""

_OF_POUR = 0.02
_SEEN_TO_RUN = 0.10
"""Flow over a fair share that half the people note as running. [-] (judgement)"""
_POUR_ERROR = 0.05


def pour_chance(water: Water, states: States, pour: Pour, noise: Array) -> Array:
    """Probability of what a pour showed, up to a factor that is the same for every box.

    noise [-] -> [-].
    """
    inflow = pour.inflow * np.exp(_POUR_ERROR * noise)
    flow = water.flows(states, inflow)
    result = np.zeros(len(flow))
    if pour.done:
        caught = np.array([np.nan if c is None else c for c in pour.catches])
        result += catch_chance(water, flow, caught, pour)
    if pour.order:
        result += _order_chance(states, flow, pour)
    return result


def catch_error(flow: Array | float, pour: Pour) -> Array | float:
    """Standard deviation of a catch: of its own timing, and of a little of the whole pour.

    flow [m3/s] -> [m3/s].
    """
    error: Array | float = np.hypot(pour.error * flow, _OF_POUR * pour.inflow)
    return error


def catch_chance(water: Water, flow: Array, caught: Array, pour: Pour) -> Array:
    """Log probability density of catches, each over the flow poured.

    flow [m3/s], caught [m3/s] -> [-].
    """
    spread = np.hypot(catch_error(flow, pour), water.blur(flow))
    away = (caught[..., None, :] - flow) / spread
    near = np.exp(-0.5 * away**2) / (np.sqrt(2.0 * np.pi) * spread) * pour.inflow
    chance = np.where(np.isnan(caught)[..., None, :], 1.0, (1.0 - MISTAKE) * near + MISTAKE)
    return np.asarray(np.log(chance).sum(-1))


def _order_chance(states: States, flow: Array, pour: Pour) -> Array:
    """Log probability of an order of starting: every outlet later than the one before it."""
    ways = np.maximum(states.felt, states.tail)
    ways = np.where(states.closed & (states.seep <= 0), np.inf, ways)
    # a line that takes next to nothing is often not noted as running
    over = (flow / (_SEEN_TO_RUN * pour.inflow / flow.shape[1])) ** 2
    runs = 0.05 + 0.90 * over / (1.0 + over)
    order, result = list(pour.order), np.zeros(len(flow))
    for earlier, later in pairwise(order):
        gap = np.minimum(ways[:, later], 1e3) - np.minimum(ways[:, earlier], 1e3)
        result += _log_mixed(1.0 / (1.0 + np.exp(np.clip(-1.7 * gap / START_ERROR, -60, 60))))
    for outlet in range(flow.shape[1]):
        if np.isfinite(states.read[0, outlet]):
            run = runs[:, outlet]
            result += _log_mixed(run if outlet in order else 1.0 - run)
    return result


def _log_mixed(chance: Array) -> Array:
    return np.asarray(np.log((1.0 - MISTAKE) * chance + MISTAKE / 2.0))


_LEAST_SHARE = 0.02
_WIDER = 1.2
_LINES_TELL_NOTHING = ("blocked", "crushed", "capped", "full")
_WHOLE_TELLS_NOTHING = ("all_full", "frozen", "jet")


def ruler_gauge(site: Site) -> Gauge | None:
    """The readings, or else the lips read over the water as it was found."""
    lips = reduce_readings(site)
    heights, errors = np.where(np.isfinite(lips.height), lips.height, np.nan), lips.error
    if np.count_nonzero(~np.isnan(heights)) < 2:
        heights = found_heights(site)
        errors = np.full(heights.shape, site.spread or DEFAULT_SPREAD)
    if np.count_nonzero(~np.isnan(heights)) < 2:
        return None
    nowhere = np.zeros((1, heights.size), bool)
    return Gauge(heights=heights, errors=np.maximum(errors, 1e-5), felt=False, useless=nowhere)


def found_heights(site: Site) -> Array:
    """Lips over the water as it was found, NaN where not measured. [m] (n,)"""
    found = [
        None if outlet.capped else site.evidence.of_outlet(i).at_rest
        for i, outlet in enumerate(site.outlets)
    ]
    return np.array([np.nan if height is None else height for height in found])


def gauges_of(site: Site, hypotheses: Hypotheses) -> list[Gauge]:
    """Every gauge of a site, the ruler's first."""
    ruler = ruler_gauge(site)
    useless = _useless(hypotheses, len(site.outlets))
    pours = [_catch_gauge(site, pour, useless) for pour in site.pours if pour.done]
    return [g for g in (ruler, *pours) if g is not None and np.isfinite(g.heights).sum() > 1]


def _catch_gauge(site: Site, pour: Pour, useless: BoolArray) -> Gauge:
    heights, errors = np.full(len(site.outlets), np.nan), np.full(len(site.outlets), 1.0)
    for i, (outlet, caught) in enumerate(zip(site.outlets, pour.catches, strict=True)):
        if caught is None or caught < _LEAST_SHARE * pour.inflow or outlet.capped:
            continue
        flows = outlet.opening.discharge(HEADS)
        error = catch_error(caught, pour)
        low, head, high = np.interp([caught - error, caught, caught + error], flows, HEADS)
        # a little wider than the split will have it, so that no box that fits is missed
        heights[i], errors[i] = -head, _WIDER * np.hypot((high - low) / 2.0, MODEL_ERROR)
    return Gauge(heights=heights, errors=errors, felt=True, useless=useless)


def _useless(hypotheses: Hypotheses, n: int) -> BoolArray:
    causes = [CAUSES[c] for c in hypotheses.cause]
    whole = np.array([c.key in _WHOLE_TELLS_NOTHING for c in causes])
    line = np.array([c.line in _LINES_TELL_NOTHING or c.key == "holes" for c in causes])
    own = np.arange(n) == hypotheses.outlet[:, None]
    return np.asarray(whole[:, None] | (line[:, None] & own))
