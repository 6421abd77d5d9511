"""What of the evidence measures the lips themselves? Readings, and catches turned into heights.

A catch means a head over the lip, by the outlet's own rating; all lips of one pour then hang below
one level that is not known. Only differences count.
"""

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses
from dbox.fieldwork.diagnosis.forward import HEADS, MODEL_ERROR
from dbox.fieldwork.diagnosis.lips import Gauge
from dbox.fieldwork.diagnosis.pours import catch_error
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.site import DEFAULT_SPREAD, Site

_LEAST_SHARE = 0.02
_WIDER = 1.2
_LINES_TELL_NOTHING = ("blocked", "crushed", "capped", "full")
_WHOLE_TELLS_NOTHING = ("all_full", "frozen", "jet")


def ruler_gauge(site: Site) -> Gauge | None:
    """The readings, or else the lips read over the water as it was found.

    Parameters
    ----------
    site : Site
        The box and what was seen of it.

    Returns
    -------
    Gauge or None
        None where fewer than two lips were read; the fit of its `useless` is left to `gauges_of`.
    """
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
    """Every gauge of a site, the ruler's first.

    Parameters
    ----------
    site : Site
        The box and what was seen of it.
    hypotheses : Hypotheses
        What may be wrong, h of them.

    Returns
    -------
    list of Gauge
        With `useless` of shape (h, n).
    """
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
