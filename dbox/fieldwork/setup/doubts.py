"""Can that reading be, before it is taken down? The checks made as soon as a height is typed.

None of them refuses: a box may stand as badly as it reads. Each asks once whether it is meant.

    under water   the lip lies so deep that water would still be running out over it
    reach         no turning of the inserts could bring this lip and the others together
    high          an insert that cannot be turned stands higher over the water than its hole is high
    apart         repeats of one outlet differ by more than reading errors do
"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.fieldwork.levelling.reach import Reach
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.setup.passes import Pass
from dbox.fieldwork.site import DEFAULT_SPREAD, Site
from dbox.hydraulics.openings.base import CAPILLARY_HEAD

_TALLEST = 0.1
_APART = 4.0
_SLACK = 2.0


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Why a reading is asked about.

    Parameters
    ----------
    why : str
        `under water`, `reach`, `high` or `apart`.
    amount : float
        How deep the lip lies, how far from the reach of the inserts, how high it stands, or how
        far the repeats differ. [m]
    other : int or None
        For `reach`, the outlet that it cannot be brought together with; None: still water.
    """

    why: str
    amount: float
    other: int | None = None


def doubt(site: Site, now: Pass, outlet: int, heights: tuple[float, ...]) -> Doubt | None:
    """What is odd about the heights of one outlet.

    Parameters
    ----------
    site : Site
        The box.
    now : Pass
        The pass, with what has been read so far.
    outlet : int
        Which outlet was read.
    heights : tuple of float
        All readings of it in this pass, the new ones included. [m]

    Returns
    -------
    Doubt or None
        The first that applies, None where nothing is odd.
    """
    spread = site.spread or DEFAULT_SPREAD
    apart = max(heights) - min(heights)
    if apart > _APART * spread:
        return Doubt(why="apart", amount=apart)
    lip = float(np.mean(heights)) - site.outlets[outlet].point_over_lip
    if lip < -CAPILLARY_HEAD:
        return Doubt(why="under water", amount=-lip)
    travel = 2.0 * (site.outlets[outlet].hole_offset or 0.0)
    if not travel:
        high = min(site.outlets[outlet].opening.top, _TALLEST)
        return Doubt(why="high", amount=lip) if lip > high else None
    # still water stands at the lowest lip, so a full travel over it is out of reach
    if lip > travel + spread:
        return Doubt(why="reach", amount=lip - travel)
    return _out_of_reach(site, now, outlet, heights, _SLACK * spread)


def _out_of_reach(
    site: Site, now: Pass, outlet: int, heights: tuple[float, ...], slack: float
) -> Doubt | None:
    """The outlet read before that is the farthest from coming together with this one."""
    readings = tuple(heights if i == outlet else r for i, r in enumerate(now.readings))
    read = replace(now, readings=readings).as_read(site)
    reach = Reach.of(read, reduce_readings(read))
    gap = np.maximum(reach.low - reach.high[outlet], reach.low[outlet] - reach.high)
    gap = np.where(reach.adjustable & np.isfinite(gap), gap, -np.inf)
    other = int(np.argmax(gap))
    if gap[other] <= slack:
        return None
    return Doubt(why="reach", amount=float(gap[other]), other=other)
