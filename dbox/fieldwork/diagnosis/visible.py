"""What would one see of each drawn box? The chance of every word of every observation.

Words that hang on water follow the drawn levels and loads; the others come from the tables of
`signs`. No chance is ever nought: a person may misread, mistake an outlet or write down the wrong
word, and two causes may be at work, so every observation keeps a small chance of any word.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import index_of
from dbox.fieldwork.diagnosis.forward import States
from dbox.fieldwork.diagnosis.signs import LEAKS, OUTLET_SIGNS, SYSTEM_SIGNS
from dbox.fieldwork.records.evidence import OUTLET_WORDS, WORDS, Evidence

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
    """What is visible of drawn boxes.

    Parameters
    ----------
    states : States
        The boxes.
    evidence : Evidence
        Of which only the time since the last use matters.
    """

    states: States
    evidence: Evidence

    def system(self, name: str) -> Array:
        """Chance of each word of an observation of the whole system.

        Parameters
        ----------
        name : str
            A key of `evidence.WORDS`.

        Returns
        -------
        ndarray, shape (r, words)
            Chances that add up to 1. [-]
        """
        if name == "at_rest":
            return _mixed(self._at_rest())
        if name == "rim":
            return _mixed(self._rim())
        chance = SYSTEM_SIGNS[name].table()[self.states.cause]
        if name == "plugged":
            chance = np.where(self.states.leak[:, None] > 0, LEAKS, chance)
        return _mixed(chance)

    def outlet(self, name: str) -> Array:
        """The same for an observation of each outlet.

        Parameters
        ----------
        name : str
            A key of `evidence.OUTLET_WORDS`, or `ground`.

        Returns
        -------
        ndarray, shape (r, n, words)
            Chances that add up to 1. [-]
        """
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

        Parameters
        ----------
        heights : ndarray, shape (n,)
            Lips over the water as found; NaN where not measured. [m]
        spread : float
            Standard deviation of one reading. [m]

        Returns
        -------
        ndarray, shape (r,)
            Over 10 cm, so that it compares with a chance. [-]
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
    """Chance that a line stands in enough water for somebody to call about it.

    Parameters
    ----------
    states : States
        Boxes drawn.

    Returns
    -------
    ndarray, shape (r,)
        [-]
    """
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
