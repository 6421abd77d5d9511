"""What each outlet should give in a pour, and what explains the catches best.

Before the pour: the lips as read, with their errors, are split at the flow that will be poured.
That gives each outlet's flow with a band, the time in which it fills a jug, which outlet starts
first, and the level at which the water runs. The outlet with the lowest lip starts first, since
still water stands at it.

A dry lip holds water back: in a slow pour it may start late or never, however low it is. An order
of starting, or an outlet that gives nothing, is laid on the readings only where hold-back does not
explain it.

After the pour: what was caught is added up and held against what was poured. Less means a leak or
a spill, more means a wrong volume or time.

How long to wait before catching: near its steady level a box of plan area A answers a change like
exp(-t / tau), tau = A / (dQ/dh summed over the outlets); after 3 tau it has gone 95 per cent of
the way.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain, combinations

import numpy as np

from dbox.arrays import Array, BoolArray, Result, with_gaps
from dbox.fieldwork.inlet import jet_notes, strike, ways
from dbox.fieldwork.readings import Lips, measured_lips, odd_notes
from dbox.fieldwork.shares import BAND, SAMPLES, SIDE_95, target_shares
from dbox.fieldwork.site import Pour, Site, plan_area
from dbox.hydraulics.split import Split, range_notes, split
from dbox.keys import said
from dbox.notes import Note
from dbox.units import GALLON, INCH, LITRE

RANK_ERROR = INCH / 32
"""Error of telling by eye which of two lips spills first. [m] (1/32 in: common practice, no
source)"""

_UNLIKELY = 2.0
"""Standard deviations from which the order of starting speaks against the readings. [-]
(judgement)"""

_SETTLED = 3.0
"""Time constants until a level is called steady; 1 - exp(-3) is 95 %. [-] (judgement)"""

_LEAST_SLOPE = 1e-12
"""Slope of all ratings together below which nothing runs. [m2/s] (numerical)"""


def usual_jug(site: Site) -> float:
    """Content of a jug that nobody measured: 5 L, or a gallon where the job is in inches. [m3]

    Common practice, no source.
    """
    return 5.0 * LITRE if site.metric else GALLON


@dataclass(frozen=True, kw_only=True)
class Filling:
    """What an empty box takes before water reaches the outlets."""

    volume: float = said("m3")  # From its floor to the bottoms of the outlet pipes.
    # Its plan area: what it takes besides for each metre that the lips stand over those bottoms.
    area: float = said("m2")


def box_filling(site: Site) -> Filling | None:
    """What fills the box; None where its inside or its sump is not known."""
    box = site.box
    if not box.inside or box.sump is None:
        return None
    area = plan_area(box.inside)
    return Filling(volume=area * box.sump, area=area)


@dataclass(frozen=True, kw_only=True, eq=False)
class Expectation(Result):
    """What the readings say that pours will give; arrays are read-only, pours by outlets."""

    site: Site  # The box.
    pours: tuple[Pour, ...]  # The pours, planned or done.
    lips: Lips  # The lips that the flows come from.
    result: Split  # The split at the best estimate of the lips.
    low: Array  # (pours, n) 5 per cent end of each flow's band, from the reading errors. [m3/s]
    high: Array  # (pours, n) Its 95 per cent end. [m3/s]
    # (n,) Probability that the outlet has the lowest lip and so starts first; 0 where capped. [-]
    first_probability: Array
    # (pours,) How long until the level is steady; NaN where the size of the box is not known. [s]
    settling: Array
    # (pours,) Whether the jet of a straight inlet moves a share by more than the error of a catch;
    # where it is not known how the inlet ends, whether it would.
    jet_decides: BoolArray
    # (pours,) Whether it does so in one of the ways in which it may strike, and not in another.
    inlet_open: BoolArray
    # (pours, n) Whether an outlet gave nothing over whose lip no more water should have stood than
    # a dry one may hold back.
    held: BoolArray
    # Where the model or the readings are weak, and where the pour does not suit.
    warnings: tuple[Note, ...]

    @property
    def still_level(self) -> float:
        """Where water stands before the pour and after it: the lowest lip. [m]"""
        return float(self.lips.height.min())

    @property
    def weighed(self) -> tuple[int, ...]:
        """Pours with catches that can be held against the ruler."""
        pairs = zip(self.pours, self.inlet_open.tolist(), strict=True)
        return tuple(i for i, (pour, hangs) in enumerate(pairs) if pour.done and not hangs)

    @property
    def order(self) -> tuple[int, ...]:
        """Open outlets in the order in which they start."""
        rising = np.argsort(self.lips.height, kind="stable")
        return tuple(int(i) for i in rising if np.isfinite(self.lips.height[i]))

    def fill_time(self, flow: Array, usual: float = np.nan) -> Array:
        """Time in which flows of shape (pours, n) fill the jug; inf where the outlet is dry. [s]

        usual: Content of the jug of a pour that names none; NaN: then there is no time. [m3]
        """
        jugs = np.array([usual if p.jug is None else p.jug for p in self.pours])[:, None]
        return np.where(flow > 0, jugs / np.where(flow > 0, flow, 1.0), jugs * np.inf)

    @property
    def caught(self) -> Array:
        """Flow caught at each outlet; NaN where it was not. [m3/s] (pours, n)."""
        nothing = (None,) * len(self.site.outlets)
        return np.array([with_gaps(pour.catches or nothing) for pour in self.pours])

    @property
    def stands(self) -> Array:
        """-1 caught below the band, 0 within it, 1 above it. [-] (pours, n).

        The error of the catch is allowed for. NaN where nothing was caught, and where it hangs on
        how the jet strikes.
        """
        slack = SIDE_95 * np.array([p.error for p in self.pours])[:, None] * self.caught
        above = (self.caught - slack > self.high).astype(np.float64)
        below = (self.caught + slack < self.low).astype(np.float64)
        untold = np.isnan(self.caught) | self.inlet_open[:, None]
        return np.where(untold, np.nan, above - below)


def expect(
    site: Site, pours: Sequence[Pour], *, seed: int = 0, samples: int = SAMPLES
) -> Expectation:
    """Tell what pours will give at each outlet, from the readings alone.

    Notes
    -----
    The bands carry the reading errors only: neither the pour nor the opening is in doubt. Those of
    a straight inlet cover every way in which its jet may strike.
    """
    lips = measured_lips(site)
    openings = [o.opening for o in site.outlets]
    inflow = np.array([p.inflow for p in pours])
    drawn = lips.sample(samples, seed)
    error = np.array([p.error for p in pours])
    jet = strike(site, ways(site, inflow), lips.height, inflow, target_shares(site))
    may = jet.ways.possible if site.box.inlet else slice(1)
    lowered = [replace(lips, height=lips.height - head) for head in jet.ways.taken]
    result = split(inflow, lips.height - jet.ways.taken, openings, rim=site.box.rim)
    struck = drawn - jet.ways.head[may, :, None]
    flows = split(inflow[:, None], struck, openings, rim=site.box.rim).flow
    bands = np.percentile(flows, BAND, axis=2)
    low, high = bands[0].min(0), bands[1].max(0)
    first = np.bincount(drawn.argmin(-1), minlength=len(openings)) / samples
    settling = np.full(inflow.shape, np.nan)
    if site.box.inside:
        plan = plan_area(site.box.inside)
        slope = sum(o.slope(result.head[..., i]) for i, o in enumerate(openings))
        settling = _SETTLED * plan / np.maximum(slope, _LEAST_SLOPE)
    decides = jet.changes(error)
    apart = np.abs(jet.share[may] - jet.share[0]) > error[:, None] * jet.target
    hangs = np.any(apart, axis=(0, 2))
    over = np.array(
        [water_over_dry(site, pour, each) for pour, each in zip(pours, lowered, strict=True)]
    )
    held = np.array((over > 0) & (over <= site.hold_back[1]))
    names = [p.name for p in pours]
    return Expectation(
        site=site,
        pours=tuple(pours),
        lips=lips,
        result=result,
        low=low,
        high=high,
        first_probability=first,
        settling=settling,
        jet_decides=decides,
        inlet_open=hangs,
        held=held,
        warnings=(
            *odd_notes(site),
            *jet_notes(site, jet, decides, names),
            *range_notes(result, names),
            *lips.warnings,
            *chain(*(order_notes(site, [p], each) for p, each in zip(pours, lowered, strict=True))),
            *held_notes(site, pours, over),
            *time_notes(pours, result.flow, settling),
        ),
    )


def order_notes(site: Site, pours: Sequence[Pour], lips: Lips) -> Iterator[Note]:
    """Outlets that started before one whose lip was read lower: the most unlikely pair a pour.

    A pair that speaks against the readings even with all that a dry lip may hold back goes first.
    """
    most = site.hold_back[1]
    for pour in pours:
        order = [i for i in pour.order if np.isfinite(lips.height[i])]
        pairs = []
        for first, later in combinations(order, 2):
            rise = float(lips.height[first] - lips.height[later])
            error = float(np.hypot(np.hypot(lips.error[first], lips.error[later]), RANK_ERROR))
            if rise > _UNLIKELY * error:
                speaks = rise - most > _UNLIKELY * error
                pairs.append((speaks, rise / error, rise, first, later))
        if not pairs:
            continue
        speaks, _, rise, first, later = max(pairs)
        labels = {"started": site.outlets[first].label, "waited": site.outlets[later].label}
        values = {**labels, "rise": rise} | ({} if speaks else {"most": most})
        if speaks:
            yield Note(what="pour: order", where=pour.name, values=values)
        else:
            yield Note(what="pour: order by dry lip", where=pour.name, values=values)


def water_over_dry(site: Site, pour: Pour, lips: Lips) -> Array:
    """Water that should stand over each lip that gave nothing, none of those running. [m] (n,)

    NaN where something came, where nobody caught, and at capped outlets.
    """
    nothing = np.array([catch == 0.0 for catch in pour.catches or (None,) * len(site.outlets)])
    nothing &= np.isfinite(lips.height)
    running = np.where(nothing, np.inf, lips.height)
    if not nothing.any() or np.isinf(running).all():
        return np.full(nothing.shape, np.nan)
    openings = [o.opening for o in site.outlets]
    level = float(split(pour.inflow, running, openings, rim=site.box.rim).level)
    return np.where(nothing, level - np.where(nothing, lips.height, 0.0), np.nan)


def held_notes(site: Site, pours: Sequence[Pour], over: Array) -> Iterator[Note]:
    """Outlets that gave nothing though no more water should have stood over their lips than a dry
    one may hold back; over: as `water_over_dry` has it, (pours, n). [m]
    """
    for pour, water in zip(pours, over, strict=True):
        held = np.flatnonzero((water > 0) & (water <= site.hold_back[1]))
        if held.size:
            labels = tuple(site.outlets[i].label for i in held)
            values = {"outlets": labels, "over": float(water[held].max())}
            yield Note(what="pour: held back", where=pour.name, values=values)


def time_notes(pours: Sequence[Pour], flow: Array, settling: Array) -> Iterator[Note]:
    """Planned pours that end before the catches are done; flow [m3/s], settling [s]."""
    for pour, flows, wait in zip(pours, flow, settling, strict=True):
        if pour.done or pour.volume is None:
            continue
        lasts, steady = pour.volume / pour.inflow, float(np.nan_to_num(wait))
        filling = 0.0 if pour.jug is None else float((pour.jug / flows[flows > 0]).sum())
        if steady + filling > lasts:
            values = {"lasts": lasts, "settling": steady, "filling": filling}
            yield Note(what="pour: too short", where=pour.name, values=values)


@dataclass(frozen=True, kw_only=True)
class Balance:
    """What was caught against what was poured, in one pour."""

    # `balanced`, `less` or `more` caught than poured, or `open` where outlets were not caught and
    # the rest does not tell.
    verdict: str
    caught: float = said("m3/s")  # All catches together.
    # Poured less caught, below 0 where more was caught; for `less`, also less what the outlets not
    # caught may have given.
    missing: float = said("m3/s")
    missing_low: float = said("m3/s")  # 5 per cent end of its band.
    missing_high: float = said("m3/s")  # Its 95 per cent end.
    not_caught: tuple[int, ...] = said(outlets=True)  # Open outlets whose catch was not measured.


def balance(expectation: Expectation, case: int) -> Balance:
    """Add up what was caught in one pour."""
    pour, caught = expectation.pours[case], expectation.caught[case]
    uncaught = np.flatnonzero(np.isnan(caught) & np.isfinite(expectation.lips.height))
    total = float(np.nansum(caught))
    slack = SIDE_95 * pour.error * float(np.sqrt(pour.inflow**2 + np.nansum(caught**2)))
    missing = pour.inflow - total
    beyond = missing - float(expectation.high[case, uncaught].sum())
    verdict = "open" if uncaught.size else "balanced"
    # where it is not known how the jet strikes nobody knows what the uncaught outlets give
    known = not (uncaught.size and expectation.inlet_open[case])
    if beyond > slack and known:
        missing, verdict = beyond, "less"
    elif missing < -slack:
        verdict = "more"
    return Balance(
        verdict=verdict,
        caught=total,
        missing=missing,
        missing_low=missing - slack,
        missing_high=missing + slack,
        not_caught=tuple(uncaught.tolist()),
    )
