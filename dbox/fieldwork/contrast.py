"""Which line does an ordinary trickle favour, and does a strong flow hide it?

The same lips split a trickle and a dose very differently. The weakest of the flows asked for is
held against the strongest; where they are much alike, an ordinary trickle or a pumped dose takes
the place of the other end.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.site import Flow, Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.split import split

US_GALLON_PER_MINUTE = 231 * 0.0254**3 / 60

TRICKLE = Flow(name="an ordinary trickle", inflow=0.5 * US_GALLON_PER_MINUTE)
"""What reaches a box on an ordinary day. [m3/s] (within 1 to 4 L/min: Water Science and
Technology 51(10), 2005, p. 39)"""

DOSE = Flow(name="a pumped dose", inflow=25 * US_GALLON_PER_MINUTE)
"""What a pump or siphon sends at once. [m3/s] (common practice, no source)"""

_ALIKE = 8.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Contrast:
    """The same box at a weak and at a strong flow; arrays are read-only.

    Parameters
    ----------
    weak, strong : Flow
        The two flows.
    weak_share, strong_share : ndarray, shape (n,)
        Share of each outlet at either. [-]
    target : ndarray, shape (n,)
        Wanted share of each outlet. [-]
    favoured : int
        Outlet whose share at the weak flow is the most over its target.
    starved : int
        Outlet whose share at the weak flow is the most under its target.
    """

    weak: Flow
    strong: Flow
    weak_share: Array
    strong_share: Array
    target: Array
    favoured: int
    starved: int


def contrast(site: Site, lips: Lips) -> Contrast:
    """Hold a weak flow against a strong one.

    Parameters
    ----------
    site : Site
        The box and the flows asked for.
    lips : Lips
        Its lips, every open one measured.

    Returns
    -------
    Contrast
        From the best estimate of the lips.
    """
    weak = min(site.flows, key=lambda flow: flow.inflow)
    strong = max(site.flows, key=lambda flow: flow.inflow)
    if strong.inflow < _ALIKE * weak.inflow:
        halfway = np.sqrt(TRICKLE.inflow * DOSE.inflow)
        weak, strong = (weak, DOSE) if weak.inflow < halfway else (TRICKLE, strong)
    outlets = [o.opening for o in site.outlets]
    flows = [weak.inflow, strong.inflow]
    weak_share, strong_share = split(flows, lips.height, outlets, rim=site.box.rim).share
    target = target_shares(site)
    over = np.where(target > 0, weak_share / np.where(target > 0, target, 1.0), 1.0)
    freeze(weak_share, strong_share, target)
    return Contrast(
        weak=weak,
        strong=strong,
        weak_share=weak_share,
        strong_share=strong_share,
        target=target,
        favoured=int(np.argmax(over)),
        starved=int(np.argmin(over)),
    )
