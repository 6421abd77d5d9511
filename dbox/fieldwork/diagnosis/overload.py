"""How hard is the favoured line worked, and what would mending or resting do?

Share of an ordinary day as the boxes that fit share it; share times the day's water over the bottom
of the trench is the load per area, held against the acceptance rate that the user enters. What a
trench cannot take it stores: storage up to the pipe over what is too much is the time in which it
fills, so a trench that stands full has been over for at least as long. One of n equal lines capped
for a rest gives each of the others n/(n-1) of what it had. A sealed line gets little now; what
filled it is the share that the same boxes gave it before its water stood against its outlet.
"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.weigh import Weighing
from dbox.fieldwork.site import Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.surge.household import DAY, PER_PERSON
from dbox.hydraulics.surge.trench import Trench

_LIGHT = 1e-4  # boxes of less weight than this, over that of the heaviest, tell nothing


@dataclass(frozen=True, kw_only=True, eq=False)
class Overload:
    """The lines in numbers, as they stand; arrays are read-only, one entry per outlet.

    Parameters
    ----------
    outlet : int
        The line that gets the most over what it ought to.
    share, share_low, share_high : ndarray, shape (n,)
        Share of an ordinary day, with the 5 to 95 per cent band. [-]
    target : ndarray, shape (n,)
        Share that each ought to get, and would in a box that is set again. [-]
    rested : ndarray, shape (n,)
        Share of each where that line is capped for a rest and the others get their targets. [-]
    daily_flow : float
        What the house sends in a day; NaN where nobody said. [m3/s]
    from_people : bool
        Whether that comes from the number of people alone.
    load : ndarray, shape (n,)
        Load on the bottom of each trench now; NaN where area or day are not known. [m/s]
    load_reset, load_rested : ndarray, shape (n,)
        The same in a box set again, and with the line capped. [m/s]
    acceptance : ndarray, shape (n,)
        What the soil takes over the long term; NaN where not entered. [m/s]
    fills_in : float
        How long the line takes to fill to its pipe; inf where it keeps up, NaN where not known. [s]
    sealed : int
        The outlet whose line, by itself and more probably than not, is full and backs up; -1: none.
    before : tuple of float
        Share that it got before it backed up: 5th percentile, mean, 95th; NaN for none. [-]
    """

    outlet: int
    share: Array
    share_low: Array
    share_high: Array
    target: Array
    rested: Array
    daily_flow: float
    from_people: bool
    load: Array
    load_reset: Array
    load_rested: Array
    acceptance: Array
    fills_in: float
    sealed: int = -1
    before: tuple[float, float, float] = (np.nan, np.nan, np.nan)

    @property
    def known(self) -> bool:
        """Whether load and acceptance of the line are both known."""
        both = np.array([self.load[self.outlet], self.acceptance[self.outlet]])
        return bool(np.isfinite(both).all())


def overload_of(weighing: Weighing) -> Overload | None:
    """Work out the line that gets the most.

    Parameters
    ----------
    weighing : Weighing
        What was weighed.

    Returns
    -------
    Overload or None
        None where it cannot be told what the lines ought to get.
    """
    site = weighing.site
    try:
        target = target_shares(site)
    except DomainError:
        return None
    low, share, high = _bands(weighing.states.day_share, weighing.weight)
    sealed, before = _sealed(weighing)
    outlet = int(np.argmax(np.where(target > 0, share / np.where(target > 0, target, 1.0), 0.0)))
    daily, from_people = _daily(site)
    area, acceptance = _trenches(site)
    rested = np.where(np.arange(target.size) == outlet, 0.0, target)
    rested = rested / rested.sum() if rested.sum() > 0 else rested
    loads = [share * daily / area, target * daily / area, rested * daily / area]
    freeze(low, share, high, target, rested, acceptance, *loads)
    return Overload(
        outlet=outlet,
        share=share,
        share_low=low,
        share_high=high,
        target=target,
        rested=rested,
        daily_flow=daily,
        from_people=from_people,
        load=loads[0],
        load_reset=loads[1],
        load_rested=loads[2],
        acceptance=acceptance,
        fills_in=_fill_time(site, outlet, share[outlet] * daily),
        sealed=sealed,
        before=before,
    )


def _sealed(weighing: Weighing) -> tuple[int, tuple[float, float, float]]:
    """The line that is full by itself, and the share it got while its trench still took it."""
    states, weight = weighing.states, weighing.weight
    full = np.isfinite(states.tail) & states.own
    chance = weight @ full
    outlet = int(np.argmax(chance))
    if not chance[outlet] > 0.5:
        return -1, (np.nan, np.nan, np.nan)
    rows = np.flatnonzero(full[:, outlet] & (weight > _LIGHT * weight.max()))
    then = states.take(rows)
    open_then = replace(then, tail=np.full_like(then.tail, -np.inf))
    flow = weighing.water.flows(open_then, then.day)
    share = flow / np.maximum(flow.sum(-1, keepdims=True), 1e-12)
    low, mean, high = _bands(share, weight[rows])
    return outlet, (float(low[outlet]), float(mean[outlet]), float(high[outlet]))


def _bands(share: Array, weight: Array) -> tuple[Array, Array, Array]:
    """Weighted 5th percentile, mean and 95th percentile of the shares of a day. (n,) each."""
    order = np.argsort(share, axis=0)
    rising = np.take_along_axis(share, order, 0)
    reached = np.cumsum(weight[order], axis=0)
    ends = [
        np.take_along_axis(rising, (reached >= level * reached[-1]).argmax(0)[None], 0)[0]
        for level in (0.05, 0.95)
    ]
    return ends[0], np.asarray(weight @ share) / weight.sum(), ends[1]


def _daily(site: Site) -> tuple[float, bool]:
    if site.evidence.daily_flow is not None:
        return site.evidence.daily_flow, False
    if site.works.people is not None:
        return site.works.people * PER_PERSON / DAY, True
    return np.nan, False


def _trench(site: Site, outlet: int) -> Trench | None:
    return site.works.trenches[outlet] if site.works.trenches else None


def _trenches(site: Site) -> tuple[Array, Array]:
    """Bottom area [m2] and acceptance rate [m/s] of every line, NaN where not known. (n,) each."""
    area, rate = np.full(len(site.outlets), np.nan), np.full(len(site.outlets), np.nan)
    for i, outlet in enumerate(site.outlets):
        trench = _trench(site, i)
        if outlet.line_area is not None:
            area[i] = outlet.line_area
        elif trench is not None:
            area[i] = trench.length * trench.width
        if trench is not None:
            rate[i] = trench.rate
    return area, rate


def _fill_time(site: Site, outlet: int, inflow: float) -> float:
    """Time in which a line fills from dry to its pipe at a steady inflow. [s]"""
    trench = _trench(site, outlet)
    if trench is None or np.isnan(inflow):
        return np.nan
    # its walls take more as it fills: in thirty steps of depth
    depths = np.linspace(0.0, trench.pipe_height, 31)
    middle = 0.5 * (depths[1:] + depths[:-1])
    walls = 2.0 * (trench.width + trench.length) * middle
    excess = inflow - trench.rate * (trench.width * trench.length + walls)
    if np.any(excess <= 0):
        return np.inf
    return float((trench.storage_area * np.diff(depths) / excess).sum())
