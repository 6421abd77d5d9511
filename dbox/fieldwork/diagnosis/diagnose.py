"""The diagnosis of a wet line: ranked causes, next looks, how hard the line is worked.

Serial and drop boxes fill one line after the other; lines are capped or alternated to rest; a box
read just after laundry or a dose is not at rest. Each of these is asked about before a fault is
named (common practice, no source).

Share of an ordinary day as the boxes that fit share it; share times the day's water over the bottom
of the trench is the load per area, held against the acceptance rate that the user enters. What a
trench cannot take it stores: storage up to the pipe over what is too much is the time in which it
fills, so a trench that stands full has been over for at least as long. One of n equal lines capped
for a rest gives each of the others n/(n-1) of what it had. A sealed line gets little now; what
filled it is the share that the same boxes gave it before its water stood against its outlet.

The causes are ranked, none is announced. `diagnose` puts together what the other modules of this
package work out from one set of drawn boxes: the weights (`weigh`), what speaks for and against
(`fit`), the next look (`next_look`), what may be normal (`normal`) and the lines in numbers
(`overload`).
"""

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.causes import CAUSES, Cause, feed_is_strong
from dbox.fieldwork.diagnosis.next_look import Look, next_looks
from dbox.fieldwork.diagnosis.posterior import (
    SURPRISED,
    Contradiction,
    Finding,
    Fit,
    Weighing,
    fit_of,
    pours_done,
    weigh,
)
from dbox.fieldwork.diagnosis.worlds import outlet_places
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.shares import target_shares
from dbox.fieldwork.site import Site
from dbox.hydraulics.surge.parts import Trench
from dbox.hydraulics.surge.sources import PER_PERSON
from dbox.units import DAY

AT_REST = 1800.0
"""Time since the last use from which a box is taken to be at rest. [s] (common practice)"""


@dataclass(frozen=True, kw_only=True)
class Normal:
    """One normal explanation, and where it stands."""

    topic: str  # `system`, `caps` or `use`.
    # `ask` where nobody has looked, `explains` where it may be all there is to it, `ruled out`.
    state: str
    text: str  # What to ask, or what follows.


def normal_things(site: Site) -> tuple[Normal, ...]:
    """What may be normal at a site, asked or answered."""
    return _system(site), _caps(site), _use(site)


def _system(site: Site) -> Normal:
    kind = site.evidence.system
    if kind is None:
        return Normal(
            topic="system",
            state="ask",
            text="is it a serial or drop-box system, or do the lines alternate? In those one wet "
            "line is normal unless the last one is full",
        )
    if kind == "distribution box":
        return Normal(topic="system", state="ruled out", text="all lines are to run at once")
    if kind == "alternating":
        text = "lines alternate: the one that rests is dry as it should be; ask which one is on"
    else:
        text = f"{kind} by design: the upper line fills first, normal unless the last one is full"
    return Normal(topic="system", state="explains", text=text)


def _caps(site: Site) -> Normal:
    seen = [site.evidence.of_outlet(i).cap for i in range(len(site.outlets))]
    capped = [
        o.label for o, cap in zip(site.outlets, seen, strict=True) if o.capped or cap == "capped"
    ]
    if capped:
        names = ", ".join(capped)
        return Normal(
            topic="caps",
            state="explains",
            text=f"outlet {names} is capped: its line is dry on purpose; ask who capped it and why",
        )
    if all(cap is not None for cap in seen):
        return Normal(topic="caps", state="ruled out", text="no outlet is capped")
    return Normal(
        topic="caps",
        state="ask",
        text="was an outlet capped, or a line valved off, to rest it? Then it is dry on purpose",
    )


def _use(site: Site) -> Normal:
    since = site.evidence.since_use
    dosed = "pumping or a dose" if feed_is_strong(site) else "laundry, a bath or pumping"
    if since is None:
        return Normal(
            topic="use",
            state="ask",
            text=f"how long since water was used? A box read just after {dosed} is not at rest",
        )
    if since < AT_REST:
        return Normal(
            topic="use",
            state="explains",
            text="the box was read soon after use: what stood in it and in the mouths may have "
            "been on its way; wait half an hour with no water used and look again",
        )
    return Normal(topic="use", state="ruled out", text="the box was at rest")


_LIGHT = 1e-4  # boxes of less weight than this, over that of the heaviest, tell nothing


@dataclass(frozen=True, kw_only=True, eq=False)
class Overload:
    """The lines in numbers, as they stand; arrays are read-only, one entry per outlet."""

    outlet: int  # The line that gets the most over what it ought to.
    share: Array  # (n,) Share of an ordinary day, with the 5 to 95 per cent band. [-]
    share_low: Array  # (n,) Share of an ordinary day, with the 5 to 95 per cent band. [-]
    share_high: Array  # (n,) Share of an ordinary day, with the 5 to 95 per cent band. [-]
    target: Array  # (n,) Share that each ought to get, and would in a box that is set again. [-]
    # (n,) Share of each where that line is capped for a rest and the others get their targets. [-]
    rested: Array
    daily_flow: float  # What the house sends in a day; NaN where nobody said. [m3/s]
    from_people: bool  # Whether that comes from the number of people alone.
    # (n,) Load on the bottom of each trench now; NaN where area or day are not known. [m/s]
    load: Array
    load_reset: Array  # (n,) The same in a box set again, and with the line capped. [m/s]
    load_rested: Array  # (n,) The same in a box set again, and with the line capped. [m/s]
    acceptance: Array  # (n,) What the soil takes over the long term; NaN where not entered. [m/s]
    # How long the line takes to fill to its pipe; inf where it keeps up, NaN where not known. [s]
    fills_in: float
    # The outlet whose line, by itself and more probably than not, is full and backs up; -1: none.
    sealed: int = -1
    # Share that it got before it backed up: 5th percentile, mean, 95th; NaN for none. [-]
    before: tuple[float, float, float] = (np.nan, np.nan, np.nan)

    @property
    def known(self) -> bool:
        """Whether load and acceptance of the line are both known."""
        both = np.array([self.load[self.outlet], self.acceptance[self.outlet]])
        return bool(np.isfinite(both).all())


def overload_of(weighing: Weighing) -> Overload | None:
    """Work out the line that gets the most."""
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


DRAWS = 400
"""Boxes drawn for each cause at each outlet."""

MOST_ROWS = 60_000
"""Boxes drawn at most in all: many outlets get fewer each."""

_LEAST_DRAWS = 60
_FEW = 12.0
_SPILT = 1.15
_NOT_TAKEN = "placeholders stand for readings: the readings of the file are taken as not made"


@dataclass(frozen=True, kw_only=True)
class Size:
    """What was fitted to a cause, with its 5 to 95 per cent band."""

    # `drop` across the outlets of a leaning box [m], `fault` of a lip [m], or `leak` [m3/s].
    kind: str
    low: float  # Its band and its median. [m, or m3/s for a leak]
    middle: float  # Its band and its median. [m, or m3/s for a leak]
    high: float  # Its band and its median. [m, or m3/s for a leak]


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One cause, how probable it is and why."""

    cause: Cause  # The cause.
    outlet: int  # Outlet it sits at, or that a leaning box leans toward; -1 for none.
    probability: float  # Given all that was seen. [-]
    findings: tuple[Finding, ...]  # What speaks for it and against it, the loudest first.
    # How much more it is surprised than chance would have it, in standard deviations. [-]
    surprise: float
    size: Size | None  # What was fitted.

    @property
    def fits(self) -> bool:
        """Whether what was seen is no great surprise under it."""
        return self.surprise < SURPRISED

    @property
    def speaks_for(self) -> tuple[Finding, ...]:
        """What it expected more than the others did."""
        return tuple(f for f in self.findings if f.support > 0 and not f.fits_badly)

    @property
    def speaks_against(self) -> tuple[Finding, ...]:
        """What it expected less than the others did."""
        return tuple(f for f in self.findings if f.support <= 0 and not f.fits_badly)

    @property
    def fits_badly(self) -> tuple[Finding, ...]:
        """What it hardly expected at all."""
        return tuple(f for f in self.findings if f.fits_badly)


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """Ranked causes and what to do next."""

    site: Site  # What was asked about.
    answers: tuple[Answer, ...]  # Every cause at every outlet, the most probable first.
    looks: tuple[Look, ...]  # Looks not yet made, the one most worth making first.
    normal: tuple[Normal, ...]  # What may be normal, asked or answered.
    contradictions: tuple[Contradiction, ...]  # Observations that no single cause shows together.
    overload: Overload | None  # The lines in numbers.
    warnings: tuple[str, ...]  # Where the evidence or the drawing is weak.

    @property
    def fits_well(self) -> bool:
        """Whether the leading cause fits; else none of these is said to fit well."""
        return self.answers[0].fits


def diagnose(site: Site, *, seed: int = 0, draws: int = DRAWS) -> Diagnosis:
    """Rank the causes of a system in trouble by what was seen of it; draws [-]."""
    if draws < 20:
        raise DomainError(f"draws [-] is {draws}; take 20 or more")
    if all(outlet.capped for outlet in site.outlets):
        raise DomainError("every outlet is capped; leave at least one open")
    asked, site = site, without_placeholders(site)
    many = MOST_ROWS // (20 * len(site.outlets))
    weighing = weigh(site, draws=min(draws, max(many, _LEAST_DRAWS)), seed=seed)
    fit = fit_of(weighing)
    order = np.argsort(-weighing.probability, kind="stable")
    return Diagnosis(
        site=site,
        answers=tuple(_answer(weighing, fit, int(place)) for place in order),
        looks=next_looks(weighing, seed=seed),
        normal=normal_things(site),
        contradictions=fit.contradictions(),
        overload=overload_of(weighing),
        warnings=(*([_NOT_TAKEN] if asked.placeholder else []), *_warnings(weighing)),
    )


def _answer(weighing: Weighing, fit: Fit, answer: int) -> Answer:
    cause, outlet = weighing.hypotheses.answers[answer]
    rows = np.flatnonzero(weighing.answer_of_row == answer)
    log_weight = weighing.log_weight[rows]
    usable = bool(np.isfinite(log_weight.max()))
    weight = np.exp(log_weight - log_weight.max()) if usable else np.zeros(rows.size)
    if usable and CAUSES[cause].tilted and outlet < 0:
        outlet = _toward(weighing, rows, weight)
    return Answer(
        cause=CAUSES[cause],
        outlet=outlet,
        probability=float(weighing.probability[answer]),
        findings=fit.findings(answer),
        surprise=float(fit.surprise[answer]),
        size=_size(CAUSES[cause], weighing.states.size[rows], weight) if usable else None,
    )


def _toward(weighing: Weighing, rows: npt.NDArray[np.intp], weight: Array) -> int:
    """The outlet that a leaning box most probably has lowest."""
    plane = weighing.drawn.plane.reshape(weighing.base.size, -1)[rows]
    return int(np.bincount(plane.argmin(-1), weight, plane.shape[-1]).argmax())


def _size(cause: Cause, size: Array, weight: Array) -> Size | None:
    if cause.key in ("leak", "broken"):
        kind = "leak"
    elif cause.tilted:
        kind = "drop"
    elif cause.fault:
        kind = "fault"
    else:
        return None
    if kind == "leak":
        weight = np.where(size > 0, weight, 0.0)
    if not weight.sum() > 0:
        return None
    order = np.argsort(size, kind="stable")
    reached = np.cumsum(weight[order]) / weight.sum()
    low, middle, high = size[order][[int((reached >= q).argmax()) for q in (0.05, 0.5, 0.95)]]
    return Size(kind=kind, low=float(low), middle=float(middle), high=float(high))


def _warnings(weighing: Weighing) -> tuple[str, ...]:
    site, told = weighing.site, []
    if not outlet_places(site)[1]:
        told.append(
            "places of outlets are not all given: they are taken to lie evenly around the box, "
            "clockwise from the inlet"
        )
    for pour in pours_done(site):
        caught = sum(c for c in pour.catches if c is not None)
        if caught > _SPILT * pour.inflow:
            told.append(
                f"pour {pour.name}: {100 * caught / pour.inflow:.0f} % of what was poured was "
                "caught; a volume or a time is wrong"
            )
    lead = weighing.answer_of_row == int(np.argmax(weighing.probability))
    weight = weighing.weight[lead]
    if not weight.sum() ** 2 > _FEW * (weight**2).sum():
        told.append("few of the drawn boxes fit: the probabilities are rough; take more --draws")
    return tuple(told)
