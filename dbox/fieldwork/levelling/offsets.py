"""At which lip heights do unequal lines, or unequal holes, get their targets?

At one flow each outlet needs the head at which its own opening passes its own target; its lip
stands that much under the water. Heads do not keep their proportion as the flow changes, so
unequal lips meet unequal targets at one flow only.
"""

import numpy as np

from dbox.arrays import Array, freeze
from dbox.fieldwork.site import Site
from dbox.fieldwork.targets import target_shares
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
    wanted = target_shares(site) * site.flows[flow].inflow
    heads = np.array(
        [
            float(split(q, [0.0], o.opening).head[0])
            for q, o in zip(wanted, site.outlets, strict=True)
        ]
    )
    uncapped = np.array([not o.capped for o in site.outlets])
    offset = np.where(uncapped, heads[uncapped].max() - heads, 0.0)
    freeze(offset)
    return offset
