"""What would a pour test show of each drawn box, and how well does that fit what was seen?

A catch scatters by its timing error and by a little of the whole pour; an outlet starts before
another where it feels the lower way out. An outlet that is not in an order that was watched did not
start.
"""

from itertools import pairwise

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.forward import States, Water
from dbox.fieldwork.diagnosis.visible import MISTAKE
from dbox.fieldwork.records.poured import Pour

START_ERROR = 0.0012
"""Standard deviation of the height at which an outlet is seen to start. [m] (about 3/64 in)"""

_OF_POUR = 0.02
_SEEN_TO_RUN = 0.10
"""Flow over a fair share that half the people note as running. [-] (judgement)"""
_POUR_ERROR = 0.05


def pour_chance(water: Water, states: States, pour: Pour, noise: Array) -> Array:
    """Probability of what a pour showed, up to a factor that is the same for every box.

    Parameters
    ----------
    water : Water
        Splits the boxes.
    states : States
        Boxes drawn.
    pour : Pour
        What was seen.
    noise : ndarray, shape (r,)
        Standard normal numbers: the pour's own flow is not exact. [-]

    Returns
    -------
    ndarray, shape (r,)
        Logarithm of the probability. [-]
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

    Parameters
    ----------
    flow : ndarray or float, shape (...)
        Flow at an outlet. [m3/s]
    pour : Pour
        The pour.

    Returns
    -------
    ndarray or float, shape (...)
        [m3/s]
    """
    error: Array | float = np.hypot(pour.error * flow, _OF_POUR * pour.inflow)
    return error


def catch_chance(water: Water, flow: Array, caught: Array, pour: Pour) -> Array:
    """Log probability density of catches, each over the flow poured.

    Parameters
    ----------
    water : Water
        Knows how blurred a computed flow is.
    flow : ndarray, shape (r, n)
        Flows that the boxes would give. [m3/s]
    caught : ndarray, shape (..., n)
        Flows caught; NaN where not caught. [m3/s]
    pour : Pour
        What was poured, and how good a catch is.

    Returns
    -------
    ndarray, shape (..., r)
        Logarithm of the density. [-]
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
