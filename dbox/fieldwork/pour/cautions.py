"""Does a pour last long enough, and do outlets start in the order of their lips? In sentences."""

from collections.abc import Sequence
from itertools import combinations

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.site import Site

RANK_ERROR = 1.0 / 32 * 0.0254
"""Error of telling by eye which of two lips spills first. [m] (1/32 in: common practice, no
source)"""

_UNLIKELY = 2.0


def order_cautions(site: Site, pours: Sequence[Pour], lips: Lips) -> tuple[str, ...]:
    """Sentences on outlets that started before one whose lip was read lower.

    Parameters
    ----------
    site : Site
        The box.
    pours : sequence of Pour
        The pours.
    lips : Lips
        Its lips.

    Returns
    -------
    tuple of str
        For each pour at most one, on the two outlets that contradict their readings most.
    """
    sentences = []
    for pour in pours:
        worst, pair = _UNLIKELY, None
        order = [i for i in pour.order if np.isfinite(lips.height[i])]
        for first, later in combinations(order, 2):
            error = np.sqrt(lips.error[first] ** 2 + lips.error[later] ** 2 + RANK_ERROR**2)
            contradiction = float(lips.height[first] - lips.height[later]) / error
            if contradiction > worst:
                worst, pair = contradiction, (first, later)
        if pair:
            rise = 1000 * float(lips.height[pair[0]] - lips.height[pair[1]])
            started, waited = (site.outlets[i].label for i in pair)
            sentences.append(
                f"{pour.name}: outlet {started} started before outlet {waited}, though its lip was "
                f"read {rise:.1f} mm higher; read both again"
            )
    return tuple(sentences)


def time_cautions(pours: Sequence[Pour], flow: Array, settling: Array) -> tuple[str, ...]:
    """Sentences on planned pours that end before the catches are done.

    Parameters
    ----------
    pours : sequence of Pour
        The pours.
    flow : ndarray, shape (pours, n)
        Flow expected of each outlet. [m3/s]
    settling : ndarray, shape (pours,)
        How long until the level is steady; NaN where it is not known. [s]

    Returns
    -------
    tuple of str
        At most one for each pour.
    """
    sentences = []
    for pour, flows, wait in zip(pours, flow, settling, strict=True):
        if pour.done or pour.volume is None:
            continue
        lasts, steady = pour.volume / pour.inflow, float(np.nan_to_num(wait))
        filling = 0.0 if pour.jug is None else float((pour.jug / flows[flows > 0]).sum())
        if steady + filling > lasts:
            jugs = f" and filling the jug at one outlet after another {filling:.0f} s"
            sentences.append(
                f"{pour.name}: the pour lasts {lasts:.0f} s, the level takes about {steady:.0f} s "
                f"to be steady{jugs if filling else ''}; pour longer, or catch at several at once"
            )
    return tuple(sentences)
