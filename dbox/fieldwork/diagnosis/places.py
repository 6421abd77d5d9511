"""Where do the outlets stand, and which of them does a straight inlet's jet strike?

Places that were not measured are taken to lie evenly around the box, clockwise from the inlet: near
enough to tell a side that is low from an outlet that is.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.site import Box, Site
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.surge.supply import SupplyPipe

USUAL_INSIDE = (0.40, 0.50)
"""Inside length and width of a box that was not measured. [m] (common practice, no source)"""

FAST = 20e-3 / 60.0
"""Flow of a fast pour. [m3/s]"""

_POOL = 10e-3 / 60.0  # less than about this falls into the pool and throws little
_PIPE = SupplyPipe(length=10.0, diameter=0.102, fall=0.125 / 12)
_FLOWS = np.concatenate([[0.0], np.geomspace(1e-6, 1e-2, 60)])
_AIM_SPREAD = np.radians(8.0)  # of an inlet off the middle line of its box: judgement
_AIMS = np.radians(np.linspace(-24.0, 24.0, 17))


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


@dataclass(frozen=True, eq=False)
class Jets:
    """Where the jet of a straight inlet strikes, for every way that it may point.

    Parameters
    ----------
    pattern : ndarray, shape (a, k, n)
        Velocity head at each outlet at k inflows, over that of the outlet struck most at a fast
        pour. [-]
    chance : ndarray, shape (a,)
        Chance of each way, given that the jet is what sends a line too much: one that strikes no
        outlet is not asked about. [-]
    """

    pattern: Array
    chance: Array

    @classmethod
    def of(cls, site: Site, places: Array) -> "Jets":
        """The jets of a site with outlets at n places. [m] (n, 2)."""
        along, across = _inside(site.box)
        out = places - np.array([0.5 * along, 0.5 * across])
        out = out / np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-6)[:, None]
        from_inlet = places - np.array([0.0, 0.5 * across])
        pattern = np.array([_heads(from_inlet, out, turn) for turn in _AIMS.tolist()])
        struck = np.array([np.interp(FAST, _FLOWS, heads.max(-1)) for heads in pattern])
        pattern /= np.maximum(struck, 1e-9)[:, None, None]
        chance = np.exp(-0.5 * (_AIMS / _AIM_SPREAD) ** 2) * (struck >= 0.5 * struck.max())
        return cls(pattern, chance / chance.sum())

    def heads(self, strength: Array, aim: npt.NDArray[np.int64], inflow: Array) -> Array:
        """Extra head at the outlets; a trickle falls into the pool and throws little.

        Parameters
        ----------
        strength : ndarray, shape (r,)
            Head at the outlet struck most, at a fast pour; 0 for no jet. [m]
        aim : ndarray of int, shape (r,)
            Which way each points.
        inflow : ndarray, shape (r,)
            What comes in. [m3/s]

        Returns
        -------
        ndarray, shape (r, n)
            [m]
        """
        thrown = np.zeros((strength.size, self.pattern.shape[-1]))
        carried = strength * inflow * (FAST + _POOL) / FAST / (inflow + _POOL)
        for way in np.unique(aim[strength > 0]).tolist():
            rows = np.flatnonzero((strength > 0) & (aim == way))
            each = np.stack([np.interp(inflow[rows], _FLOWS, h) for h in self.pattern[way].T], -1)
            thrown[rows] = each * carried[rows, None]
        return thrown


def _heads(from_inlet: Array, out: Array, turn: float) -> Array:
    ahead = np.array([np.cos(turn), np.sin(turn)])
    jet = Jet(
        pipe=_PIPE,
        distance=np.maximum(from_inlet @ ahead, 1e-3),
        offset=from_inlet @ np.array([-ahead[1], ahead[0]]),
        facing=out @ ahead,
    )
    return jet.heads(_FLOWS)


def _inside(box: Box) -> tuple[float, float]:
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return (sizes[0], sizes[1]) if sizes else USUAL_INSIDE
