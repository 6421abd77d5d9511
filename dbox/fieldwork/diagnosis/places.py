"""Where do the outlets stand, and which of them does a straight inlet's jet strike?

Places that were not measured are taken to lie evenly around the box, clockwise from the inlet: near
enough to tell a side that is low from an outlet that is.
"""

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.site import Box, Site
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.surge.supply import SupplyPipe

USUAL_INSIDE = (0.40, 0.50)
"""Inside length and width of a box that was not measured. [m] (common practice, no source)"""

_PIPE = SupplyPipe(length=10.0, diameter=0.102, fall=0.125 / 12)
_FLOWS = np.concatenate([[0.0], np.geomspace(1e-6, 1e-2, 60)])


def outlet_places(site: Site) -> tuple[Array, bool]:
    """Place of every outlet.

    Parameters
    ----------
    site : Site
        The box.

    Returns
    -------
    places : ndarray, shape (n, 2)
        Along the inlet direction and across it. [m]
    measured : bool
        Whether all of them were measured; else all are taken to lie evenly around the box.
    """
    known = [outlet.position for outlet in site.outlets if outlet.position is not None]
    if len(known) == len(site.outlets):
        return np.array(known, np.float64), True
    along, across = _inside(site.box)
    n = len(site.outlets)
    # clockwise from the inlet, which is at the start and at the end of the turn
    turn = 2.0 * np.pi * (np.arange(n) + 1.0) / (n + 1.0)
    return np.stack(
        [0.5 * along * (1.0 - np.cos(turn)), 0.5 * across * (1.0 - np.sin(turn))], -1
    ), False


def jet_heads(site: Site, places: Array) -> tuple[Array, Array]:
    """Extra head of each outlet under a straight jet.

    Parameters
    ----------
    site : Site
        The box.
    places : ndarray, shape (n, 2)
        Places of the outlets. [m]

    Returns
    -------
    flows : ndarray, shape (k,)
        Inflows, rising from 0. [m3/s]
    heads : ndarray, shape (k, n)
        Velocity head of the jet where it strikes the outlet. [m]
    """
    along, across = _inside(site.box)
    out = places - np.array([0.5 * along, 0.5 * across])
    size = np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-6)
    jet = Jet(
        pipe=_PIPE,
        distance=np.maximum(places[:, 0], 1e-3),
        offset=places[:, 1] - 0.5 * across,
        facing=out[:, 0] / size,
    )
    return _FLOWS, jet.heads(_FLOWS)


def _inside(box: Box) -> tuple[float, float]:
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return (sizes[0], sizes[1]) if sizes else USUAL_INSIDE
