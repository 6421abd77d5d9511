"""At which lip heights do unequal lines, or unequal holes, get their targets?

At one flow each outlet needs the head at which its own opening passes its own target; its lip
stands that much under the water. Heads do not keep their proportion as the flow changes, so
unequal lips meet unequal targets at one flow only.
"""

from collections.abc import Sequence

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.fieldwork.site import Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import split


def lip_offsets(site: Site, flow: int) -> Array:
    """Wanted height of each lip over the lowest wanted lip.

    Parameters
    ----------
    site : Site
        The box with its targets.
    flow : int
        Index of the flow at which the targets are to be met.

    Returns
    -------
    ndarray, shape (n,)
        All 0 where equal lips meet the targets at every flow; 0 where capped. [m]
    """
    uncapped = np.array([not o.capped for o in site.outlets])
    wanted = target_shares(site) * site.flows[flow].inflow
    offset = offsets_of([o.opening for o in site.outlets], wanted, uncapped)
    freeze(offset)
    return offset


def offsets_of(openings: Sequence[Opening], wanted: Array, uncapped: BoolArray) -> Array:
    """The same for flows that are wanted of openings, of one box or of many.

    Parameters
    ----------
    openings : sequence of n Opening
        The openings.
    wanted : ndarray, shape (..., n)
        Flow wanted of each outlet. [m3/s]
    uncapped : ndarray of bool, shape (..., n)
        Whether the outlet is open.

    Returns
    -------
    ndarray, shape (..., n)
        0 where capped. [m]
    """
    lip = np.zeros((*wanted.shape[:-1], 1))
    heads = np.concatenate(
        [split(wanted[..., i], lip, opening).head for i, opening in enumerate(openings)], axis=-1
    )
    deepest = np.where(uncapped, heads, -np.inf).max(-1, keepdims=True)
    return np.where(uncapped, deepest - heads, 0.0)
