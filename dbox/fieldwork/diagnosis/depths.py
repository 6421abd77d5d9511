"""What do a depth of water in a port, and the way that a rod went, say of each drawn box?

Over what its word says already. A long trench that gets more than its bottom takes stands

    depth = (load - 1) width / 2

deep, by what its walls take (`surge.trench`); one that keeps up shows a film. Where water has
reached the pipe its depth tells how much room is left in the ground and little of the load. A
header is blocked near the box, crushed where wheels cross it, capped at its mouth (common practice,
no source). The spreads are judgement.
"""

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.diagnosis.causes import CAUSES
from dbox.fieldwork.diagnosis.forward import States
from dbox.fieldwork.diagnosis.visible import MISTAKE, normal_below
from dbox.fieldwork.site import Site

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

    Parameters
    ----------
    states : States
        Boxes drawn.
    site : Site
        The box; its `port_water` of the outlet lies below 0.
    outlet : int
        The outlet.

    Returns
    -------
    ndarray, shape (r,)
        Over the logarithm of load, times `SOIL_SPREAD`, so that it compares with a chance. [-]
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
    """Probability density of the way that a rod went before it stopped.

    Parameters
    ----------
    states : States
        Boxes drawn.
    distance : float
        From the box. [m]
    outlet : int
        The outlet.

    Returns
    -------
    ndarray, shape (r,)
        Over its logarithm. [-]
    """
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
