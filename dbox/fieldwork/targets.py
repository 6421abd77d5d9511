"""What share ought each line to get?

Equal for every open outlet, in proportion to the length or the bottom area of its line, or in
proportion to typed weights. A capped outlet gets none.
"""

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.site import Outlet, Site


def target_shares(site: Site) -> Array:
    """Share of the inflow that each outlet ought to get.

    Parameters
    ----------
    site : Site
        The box; its target says by what.

    Returns
    -------
    ndarray, shape (n,)
        Fractions that add up to 1; 0 where capped. [-]

    Raises
    ------
    DomainError
        Where an open outlet lacks the length, area or weight that its target goes by, or no
        open outlet is left.

    >>> from dbox import Circle
    >>> from dbox.fieldwork.site import Flow, Outlet, Site
    >>> lines = [Outlet(label=str(i), opening=Circle(0.05), capped=i == 2) for i in range(3)]
    >>> target_shares(Site(outlets=tuple(lines), flows=(Flow(name="day", inflow=1e-5),))).tolist()
    [0.5, 0.5, 0.0]
    """
    if site.target.by == "list" and len(site.target.weights) != len(site.outlets):
        raise DomainError(
            f"target has {len(site.target.weights)} weights for {len(site.outlets)} outlets"
        )
    weights = np.array([_weight(site, i, o) for i, o in enumerate(site.outlets)])
    if not np.all((weights >= 0) & (weights < np.inf)):
        raise DomainError(f"a target weight is {weights.tolist()}; give finite numbers, 0 or more")
    if not weights.sum() > 0:
        raise DomainError("no open outlet has a target above 0; open one or give it a weight")
    shares: Array = weights / weights.sum()
    return shares


def _weight(site: Site, index: int, outlet: Outlet) -> float:
    if outlet.capped:
        return 0.0
    weights = {
        "equal": 1.0,
        "length": outlet.line_length,
        "area": outlet.line_area,
        "list": site.target.weights[index] if site.target.by == "list" else None,
    }
    weight = weights[site.target.by]
    if weight is None:
        raise DomainError(
            f"outlet {outlet.label} has no line {site.target.by}; the target goes by it"
        )
    return weight
