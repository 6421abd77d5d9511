"""Shares of each line at each flow, with bands, targets and verdicts.

The target of a line is the same for every open outlet, or in proportion to the length or the
bottom area of the line, or to typed weights. A capped outlet gets none.

The reading errors are carried by sampling: boxes are drawn that would have given the readings,
each is split, and the drawn shares give 5 to 95 per cent bands and the probability that every
outlet lies within the tolerance of its target. Where that is not near 1, and no one outlet is
surely beyond its tolerance on one side either, the answer is "cannot tell", and scaling the same
draws tells how good a reading would have to be.

Below a few centimetres of head a coefficient is known less and less, the nappe being free or
clinging. Where a spread of it is typed, each drawn box gets a factor for each of its openings that
is the greater the smaller the head; equal openings at equal heads have the same one, which cancels.

The shares are those in the jet of a straight inlet (see `inlet`). Where it is not known how it
strikes, bands cover every way that may be and a verdict holds in every one, else it is "cannot
tell". Where nobody said how the inlet ends all is without a jet, and nothing is "within" that a
straight inlet would change. A way that is not the one computed by takes a part of the draws: what
it changes is told by the same draws in both.

All this is for the falling state, in which every lip under the level runs. In a box that fills from
rest dry lips hold water back, so its shares are drawn too, over the same lips and, evenly, over the
site's range of hold-back; surface tension and edges being of one kind, all lips of a box hold back
alike. That tells a range and decides nothing.

The same lips split a trickle and a dose very differently. The weakest of the flows asked for is
held against the strongest; where they are much alike, an ordinary trickle or a pumped dose takes
the place of the other end.
"""

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, ArrayLike, BoolArray, Result
from dbox.errors import DomainError
from dbox.fieldwork.estimate import SET_WELL, level_chance, normal_points
from dbox.fieldwork.inlet import NOTICED, Strike, header_notes, jet_notes, strike, ways
from dbox.fieldwork.readings import MOST_READINGS, Lips, lips_or_plan, odd_notes, reading_variance
from dbox.fieldwork.site import Flow, Site
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.split import Split, range_notes, split
from dbox.notes import Note
from dbox.units import DOSE, INCH, TRICKLE


def target_shares(site: Site) -> Array:
    """Share of the inflow that each outlet should get. [-]

    >>> from dbox import Circle
    >>> from dbox.fieldwork.site import Flow, Outlet, Site
    >>> lines = [Outlet(label=str(i), opening=Circle(0.05), capped=i == 2) for i in range(3)]
    >>> target_shares(Site(outlets=tuple(lines), flows=(Flow(name="day", inflow=1e-5),))).tolist()
    [0.5, 0.5, 0.0]
    """
    by, outlets = site.target.by, site.outlets
    columns: dict[str, Sequence[float | None]] = {
        "equal": [1.0] * len(outlets),
        "length": [outlet.line_length for outlet in outlets],
        "area": [outlet.line_area for outlet in outlets],
        "list": site.target.weights,
    }
    given = columns[by]
    if len(given) != len(outlets):
        told = f"target has {len(given)} weights for {len(outlets)} outlets"
        raise DomainError(f"{told}; give one for each, 0 for one that is capped")
    for outlet, weight in zip(outlets, given, strict=True):
        if weight is None and not outlet.capped:
            told = f"outlet {outlet.label} has no line {by}"
            raise DomainError(f"{told}; add it, since the target goes by it")
    weights = np.array([0.0 if o.capped else w for o, w in zip(outlets, given, strict=True)])
    if not np.all((weights >= 0) & (weights < np.inf)):
        raise DomainError(f"a target weight is {weights.tolist()}; give finite numbers, 0 or more")
    if not weights.sum() > 0:
        raise DomainError("no open outlet has a target above 0; open one or give it a weight")
    shares: Array = weights / weights.sum()
    return shares


def target_notes(site: Site) -> tuple[Note, ...]:
    """That nobody said what lines of unlike length should get."""
    more = {"more": site.longer}
    return (Note(what="target: not said", values=more),) if site.target_open else ()


NOTABLE = 1.02
"""Share over target from which a line is said to get more than that. [-] (judgement)"""


def over_target(share: Array, target: Array, *, without: float = 1.0) -> Array:
    """Share over target, `without` where nothing is wanted. [-] (..., n); share and target [-]."""
    wanted = target > 0
    return np.where(wanted, share / np.where(wanted, target, 1.0), without)


SURE = 0.95
"""Chance of being within, or beyond, from which the verdict says so. [-] (judgement)"""

SIDE_95 = 1.6448536269514722
"""Standard deviations beyond which a twentieth lies on one side. [-] (exact: Phi of it is 0.95)"""

BAND = (5.0, 95.0)
"""Percentiles of the share bands. [%] (judgement)"""

VERDICTS = ("within", "outside", "cannot tell")
"""What can be said of a box at a flow."""

WITHIN, OUTSIDE, NEITHER = range(len(VERDICTS))
"""Their places in `VERDICTS`. [-] (exact)"""

SAMPLES = 4000
"""Boxes drawn for the bands. [-] (judgement)"""

RULES = (INCH / 16, INCH / 32, INCH / 64)
"""Finest marks of rules that one can buy, each good to one mark. [m] (common practice, no
source)"""

FEW_READINGS = 4
"""Readings of an outlet that a person may be asked for with another rule. [-] (judgement)"""

FEW_POINTS = 0.05
"""By how much of all water the rising range passes the band before it is told. [-] (judgement)"""

_ROUNDING = 1e-12
"""What a share may miss its tolerance by and count as within. [-] (rounding)"""

UNSEEN = 1e-4
"""Share by which a jet may move an outlet and is left out of account. [-] (judgement)"""

_FEW = 8
"""Of so many draws one is made in the other ways of a jet, 100 at least. [-] (judgement)"""

_SCALES = 0.5 ** np.arange(0.5, 4.5, 0.5)
"""Parts of the present spread that are tried; each asks for twice the readings. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Assessment(Result):
    """Shares at every flow with bands and verdicts; arrays are read-only."""

    names: tuple[str, ...]  # Name of each flow.
    labels: tuple[str, ...]  # Label of each outlet.
    lips: Lips  # The lips that the shares come from.
    result: Split  # The split at the best estimate of the lips, cases by outlets.
    share_low: Array  # (flows, n) Lower end of the 5 to 95 per cent band of each share. [-]
    share_high: Array  # (flows, n) Upper end of it. [-]
    share_rising_low: Array  # (flows, n) The same while dry lips hold water back. [-]
    share_rising_high: Array  # (flows, n) Upper end of that. [-]
    target: Array  # (n,) Wanted share of each outlet. [-]
    tolerance: float | None  # Allowed difference from the target, as a fraction of it. [-]
    # (flows,) Probability that every outlet is within tolerance; NaN where none was given, and
    # where the verdict hangs on what is not known of the inlet. [-]
    within_probability: Array
    verdicts: tuple[str, ...]  # `within`, `outside` or `cannot tell`, for each flow.
    lip_verdicts: tuple[str, ...]  # The same by the lips alone, as if the inlet threw no jet.
    # (flows,) Whether the jet of the inlet moves a share beyond the tolerance, or changes the
    # verdict; where it is not known how the inlet ends, whether that of a straight one would.
    jet_decides: BoolArray
    # (flows,) Whether what is not known of the inlet is all that withholds a verdict.
    inlet_open: BoolArray
    inlet: str | None  # How the inlet ends; None where that is not known.
    no_jet: Array  # (flows, n) Shares without a jet, as a turned-down inlet gives them. [-]
    # (flows,) Spread of one reading that would settle what the lips alone say; the present one
    # where that is settled, NaN where even a sixteenth of it would not. [m]
    settling_spread: Array
    warnings: tuple[Note, ...]  # Where the model or the readings are weak.

    @property
    def jet_flows(self) -> str:
        """Names of the flows at which the jet of the inlet decides, in words."""
        return ", ".join(np.array(self.names)[self.jet_decides])

    @property
    def straight_decides(self) -> bool:
        """Whether the inlet is straight and its jet decides somewhere."""
        return self.inlet == "straight" and bool(self.jet_decides.any())

    @property
    def target_open(self) -> bool:
        """Whether lines differ in length and nobody said what each should get: no verdict then."""
        return any(note.what == "target: not said" for note in self.warnings)

    @property
    def over_target(self) -> Array:
        """Share over target of each outlet; 1 where capped. [-] (flows, n)."""
        return over_target(self.result.share, self.target)

    @property
    def worst_over_target(self) -> Array:
        """Largest share over target among the outlets. [-] (flows,)."""
        result: Array = self.over_target[:, self.target > 0].max(-1)
        return result

    @property
    def cv(self) -> Array:
        """Population coefficient of variation of share over target. [-] (flows,)."""
        over = self.over_target[:, self.target > 0]
        mean = over.mean(-1)
        result: Array = over.std(-1) / np.where(mean > 0, mean, 1.0)
        return result

    @property
    def settling_repeats(self) -> Array:
        """Readings of each outlet that would settle it with the same rule. [-] (flows,)

        Those taken where it is settled; NaN where not even `MOST_READINGS` would.
        """
        taken = max(float(self.lips.repeats.max()), 1.0)
        if self.lips.planned:
            return np.full(len(self.names), np.nan)
        count = np.arange(taken, max(MOST_READINGS, taken) + 1)
        part = (self.lips.single(count) / self.lips.single(taken))[:, None]
        enough = part <= self.settling_spread / self.lips.spread + 1e-9
        return np.where(enough.any(0), count[enough.argmax(0)], np.nan)

    @property
    def finer_rules(self) -> Array:
        """Mark of the coarsest rule that would settle each flow in a few readings. [m] (flows,)

        Where nobody named a tolerance, one that would show level lips to be well set. NaN where it
        is settled, and where no rule would.
        """
        taken = max(float(self.lips.repeats.max()), 1.0)
        found = np.full(len(self.names), np.nan)
        if self.lips.planned:
            return found
        least = self.settling_spread / self.lips.spread * self.lips.single(taken)
        for mark in reversed(RULES):
            variance = reading_variance(mark, mark, FEW_READINGS)
            if self.tolerance is None:
                level = np.zeros(len(self.labels))
                known = variance * np.eye(level.size)
                enough = level_chance(level, known, self.lips.measured) >= SET_WELL
            else:
                enough = variance <= least**2
            finer = mark < 0.99 * (self.lips.mark or self.lips.spread)
            unsure = np.array(self.lip_verdicts) == "cannot tell"
            found[unsure & enough & finer] = mark
        return found


def assess(site: Site, *, seed: int = 0, samples: int = SAMPLES) -> Assessment:
    """Split every flow of a site among its outlets, with bands and verdicts."""
    lips = lips_or_plan(site)
    return assess_lips(site, lips, lips.sample(samples, seed))


def assess_lips(site: Site, lips: Lips, drawn: Array) -> Assessment:
    """The same for lips that need not be the measured ones, such as those after turning.

    drawn [m].
    """
    inflow = np.array([f.inflow for f in site.flows])
    names = tuple(f.name for f in site.flows)
    target, tolerance = target_shares(site), site.allowed
    jet = strike(site, ways(site, inflow), lips.height, inflow, target)
    result = _split(site, inflow, lips.height - jet.ways.taken)
    doubts = coefficient_doubts(site, drawn.shape[0])
    lowered = drawn - jet.ways.taken[:, None]
    shares, rising_drawn = _drawn_shares(site, inflow, lowered, doubts)
    bands = np.percentile([shares, rising_drawn], BAND, axis=2).swapaxes(0, 1)
    chance = np.array(chances(shares, target, tolerance))
    every_chance, every_band = _in_every_way(site, jet, drawn, doubts, chance, bands, shares)
    codes, possible = verdict_codes(*every_chance), jet.ways.possible
    if lips.planned:  # nothing is within before it is measured
        codes = np.where(codes == WITHIN, NEITHER, codes)
    by_lips = codes[jet.ways.calm]
    moved = jet.changes(NOTICED if tolerance is None else tolerance)
    decides = moved | np.any(codes != by_lips, axis=0)
    hangs = np.any(codes[possible] != codes[0], axis=0)
    # outside by the lips is kept where nobody said that the inlet is straight
    hangs &= (codes[0] == WITHIN) | ((codes[0] == OUTSIDE) & (site.box.inlet is not None))
    settling = _settling_spread(site, lips, drawn, doubts, by_lips)
    probability = np.where(hangs, np.nan, chance[0])
    if lips.planned:
        probability[codes[0] == NEITHER] = np.nan
        settling[:] = np.nan
    if site.box.inlet is not None:
        part = every_band[possible]
        bands = np.stack([part[:, :, 0].min(0), part[:, :, 1].max(0)], axis=1)
    (low, high), rising = bands
    no_jet, told = jet.without, decides
    if site.box.inlet is None:
        told = hangs | (decides & (np.ptp(jet.share, axis=0).max(-1) > FEW_POINTS))
    return Assessment(
        names=names,
        labels=tuple(o.label for o in site.outlets),
        lips=lips,
        result=result,
        share_low=low,
        share_high=high,
        share_rising_low=rising[0],
        share_rising_high=rising[1],
        target=target,
        tolerance=tolerance,
        within_probability=probability,
        verdicts=_words(np.where(hangs, NEITHER, codes[0])),
        lip_verdicts=_words(by_lips),
        jet_decides=decides,
        inlet_open=hangs,
        inlet=site.box.inlet,
        no_jet=no_jet,
        settling_spread=settling,
        warnings=(
            *odd_notes(site),
            *target_notes(site),
            *jet_notes(site, jet, told, names),
            *range_notes(result, names),
            *_rising_notes(site, lips, result, rising, high),
            *header_notes(site, result),
            *lips.warnings,
        ),
    )


def drawn_shares(site: Site, lips: Array) -> Array:
    """Shares of drawn boxes at every flow, every lip wet and in the jet that is known.

    lips [m] -> (flows, boxes, n).
    """
    inflow = np.array([f.inflow for f in site.flows])
    struck = lips - ways(site, inflow).taken[:, None]
    found = _split(site, inflow[:, None], struck)
    return _doubted(site, found, struck, coefficient_doubts(site, lips.shape[0]))


def _split(site: Site, inflow: ArrayLike, lips: Array, hold_back: ArrayLike = 0.0) -> Split:
    """A split in the rising state, which without a hold-back is the falling one."""
    openings = [o.opening for o in site.outlets]
    return split(inflow, lips, openings, rim=site.box.rim, hold_back=hold_back, rising=True)


def coefficient_doubts(site: Site, count: int) -> Array:
    """How far the coefficients of each drawn box are off, in standard deviations. (count, n)"""
    kinds = list(dict.fromkeys(o.opening for o in site.outlets))
    n = len(site.outlets)
    # the columns before these are those of the lips
    drawn = normal_points(count, n + len(kinds))
    return drawn[:, [n + kinds.index(o.opening) for o in site.outlets]]


def _doubted(
    site: Site, found: Split, lips: Array, doubts: Array, hold_back: ArrayLike = 0.0
) -> Array:
    """Shares of a split whose coefficients are off, to the second order of how far. (..., n)

    At a head h they are off by `coefficient_spread` times 2 / (1 + h / 5 mm): as much as is said at
    5 mm, at most twice that, and in the end inversely as the head (judgement; that they are the
    further off the smaller the head: G. De Martino and A. Ragone 1984, Effects of viscosity and
    surface tension on slot weirs flow, J. Hydraulic Research 22(5), abstract seen).
    """
    if not site.coefficient_spread:
        return found.share

    def passed(each: Split) -> Array:
        low = 2.0 / (1.0 + np.maximum(each.head, 0.0) / CAPILLARY_HEAD)
        return each.flow * np.exp(site.coefficient_spread * low * doubts)

    total, wanted = passed(found).sum(-1), found.flow.sum(-1)
    scale = np.divide(wanted, total, out=np.ones_like(total), where=total > 0)
    flow = passed(_split(site, found.inflow * scale, lips, hold_back))
    whole = flow.sum(-1, keepdims=True)
    return flow / np.where(whole > 0, whole, 1.0)


def _drawn_shares(site: Site, inflow: Array, lips: Array, doubts: Array) -> tuple[Array, Array]:
    """Shares of drawn boxes with every lip wet, and as they fill from rest. (flows, samples, n)

    inflow [m3/s], lips [m] (flows, samples, n).
    """
    falling = _split(site, inflow[:, None], lips)
    shares = _doubted(site, falling, lips, doubts)
    hold = np.linspace(*site.hold_back, lips.shape[1])[:, None]
    # where every lip that runs stands deeper under water than it holds back, both states are one
    held = np.any((falling.head > 0) & (falling.head <= hold), axis=-1)
    rising = shares.copy()
    if held.any():
        draw, dry = np.nonzero(held)[1], lips[held]
        found = _split(site, falling.inflow[held], dry, hold[draw])
        rising[held] = _doubted(site, found, dry, doubts[draw], hold[draw])
    return shares, rising


def few_of(count: int) -> npt.NDArray[np.intp]:
    """Which of so many draws are made in the other ways of a jet."""
    few, half = max(count // _FEW, min(count, 100)), (count + 1) // 2
    # draws come in pairs of opposite sign
    part: npt.NDArray[np.intp] = np.r_[: few // 2, half : half + few - few // 2]
    return part


def _in_every_way(
    site: Site,
    jet: Strike,
    drawn: Array,
    doubts: Array,
    chance: Array,
    bands: Array,
    shares: Array,
) -> tuple[Array, Array]:
    """Chances (2, ways, flows) and bands (ways, 2, 2, flows, n) in every way of the jet. [-]

    chance, bands, shares: Those of the way that is computed by; the bands are of wet lips and of
    rising ones. A way that moves nothing has the same.
    """
    count = len(jet.ways.head)
    every_chance = np.repeat(chance[:, None], count, axis=1)
    every_band = np.repeat(bands[None], count, axis=0)
    way, flow = np.nonzero(np.any(np.abs(jet.share - jet.share[0]) > UNSEEN, axis=-1))
    if way.size:
        part = few_of(drawn.shape[0])
        target, tolerance = jet.target, site.allowed
        lips = drawn[part] - jet.ways.head[way, flow][:, None]
        found = np.array(_drawn_shares(site, jet.inflow[flow], lips, doubts[part]))
        here = shares[:, part]
        change = np.array(chances(found[0], target, tolerance))
        change -= np.array(chances(here, target, tolerance))[:, flow]
        every_chance[:, way, flow] = np.clip(every_chance[:, way, flow] + change, 0.0, 1.0)
        ends = np.percentile(found, BAND, axis=2).swapaxes(0, 1)
        ends -= np.percentile(here, BAND, axis=1)[:, flow]
        ends += bands[0][:, flow]
        every_band[way, :, :, flow] = np.moveaxis(np.clip(ends, 0.0, 1.0), 2, 0)
    return every_chance, every_band


def _rising_notes(
    site: Site, lips: Lips, result: Split, rising: Array, high: Array
) -> Iterator[Note]:
    """What dry lips do to the outlet that gains most from them, at each flow where it matters."""
    for case, flow in enumerate(site.flows):
        values = gains_most(site, lips, result.share[case], rising[:, case], high[case])
        if values:
            yield Note(what="split: held back", where=flow.name, values=values)


def gains_most(
    site: Site, lips: Lips, share: Array, rising: Array, high: Array
) -> dict[str, float | str]:
    """The outlet that gains most from dry lips, where it is more than a few points: what to say.

    share, high: With every lip wet, (n,). [-]; rising: Both ends of the range with dry lips,
    (2, n). [-]

    Nothing where the lips lie within an error of one: that box is level for all that is known.
    """
    i = int(np.argmax(rising[1] - high))
    level = np.ptp(lips.height[lips.measured]) <= lips.error.max()
    if level or not rising[1, i] - high[i] > FEW_POINTS:
        return {}
    return {
        "outlet": site.outlets[i].label,
        "share": float(share[i]),
        "low": float(rising[0, i]),
        "high": float(rising[1, i]),
    }


def chances(shares: Array, target: Array, tolerance: ArrayLike | None) -> tuple[Array, Array]:
    """Chance that every outlet is within tolerance, and that some one outlet is beyond it.

    shares [-], target [-], tolerance [-] -> [-]; NaN where nobody named a tolerance.

    Beyond counts the draws on one side, of the outlet and side where they are most: poor readings
    of a level box put every draw off somewhere, but nobody could say where.
    """
    if tolerance is None:
        return np.full(shares.shape[:-2], np.nan), np.full(shares.shape[:-2], np.nan)
    over, allowed = shares - target, room(target, tolerance)
    within: Array = np.all(np.abs(over) <= allowed, axis=-1).mean(-1)
    sides = np.maximum((over > allowed).mean(-2), (over < -allowed).mean(-2))
    return within, sides.max(-1)


def room(target: Array, tolerance: ArrayLike) -> Array:
    """How far shares may be from their targets; target [-], tolerance [-] -> [-]."""
    return np.asarray(tolerance) * target + _ROUNDING


def verdict_codes(within: Array, beyond: Array) -> npt.NDArray[np.int8]:
    """What two chances of `chances` say: an index into `VERDICTS`; within [-], beyond [-]."""
    codes = np.where(within >= SURE, 0, np.where(beyond >= SURE, 1, 2))
    return codes.astype(np.int8)


def _words(codes: npt.NDArray[np.integer]) -> tuple[str, ...]:
    return tuple(VERDICTS[code] for code in codes)


def _settling_spread(
    site: Site, lips: Lips, drawn: Array, doubts: Array, codes: npt.NDArray[np.int8]
) -> Array:
    """Spread of one reading at which each verdict by the lips would be within or outside."""
    spread = np.full(codes.shape, lips.spread)
    target, tolerance = target_shares(site), site.allowed
    if tolerance is None:
        return np.full_like(spread, np.nan)
    scatter = np.where(lips.measured, drawn, 0.0) - np.where(lips.measured, lips.height, 0.0)
    for case in np.flatnonzero(codes == NEITHER):

        def settled(scale: float, inflow: float = site.flows[case].inflow) -> bool:
            nearer = lips.height + scale * scatter
            shares = _doubted(site, _split(site, inflow, nearer), nearer, doubts)
            return max(map(float, chances(shares, target, tolerance))) >= SURE

        # the smaller the scatter, the surer the verdict
        first = bisect_right(_SCALES.tolist(), False, key=settled)
        spread[case] = lips.spread * _SCALES[first] if first < _SCALES.size else np.nan
    return spread


_ALIKE = 8.0
"""Strongest over weakest flow below which they show no contrast. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Contrast(Result):
    """The same box at a weak and at a strong flow; arrays are read-only."""

    weak: Flow
    strong: Flow
    weak_share: Array  # (n,) Share of each outlet at the weak flow. [-]
    strong_share: Array  # (n,) Share of each outlet at the strong flow. [-]
    target: Array  # (n,) Wanted share of each outlet. [-]
    favoured: int  # Outlet whose share at the weak flow is the most over its target.
    starved: int  # Outlet whose share at the weak flow is the most under its target.


def contrast(site: Site, lips: Lips) -> Contrast:
    """Hold a weak flow against a strong one."""
    weak = min(site.flows, key=lambda flow: flow.inflow)
    strong = max(site.flows, key=lambda flow: flow.inflow)
    if strong.inflow < _ALIKE * weak.inflow:
        if weak.inflow < np.sqrt(TRICKLE * DOSE):
            strong = Flow(name="a pumped dose", inflow=DOSE)
        else:
            weak = Flow(name="an ordinary trickle", inflow=TRICKLE)
    inflow = np.array([weak.inflow, strong.inflow])
    weak_share, strong_share = _split(site, inflow, lips.height - ways(site, inflow).taken).share
    target = target_shares(site)
    over = over_target(weak_share, target)
    return Contrast(
        weak=weak,
        strong=strong,
        weak_share=weak_share,
        strong_share=strong_share,
        target=target,
        favoured=int(np.argmax(over)),
        starved=int(np.argmin(over)),
    )


def outlet_flows(site: Site, inflow: ArrayLike, lips: Array, doubts: ArrayLike = 0.0) -> Array:
    """Flow of every outlet of boxes whose coefficients are off. [m3/s] (..., n)

    inflow [m3/s], lips [m]; doubts: see `coefficient_doubts`.
    """
    found = _split(site, inflow, lips)
    passed = found.flow.sum(-1, keepdims=True)
    flow: Array = passed * _doubted(site, found, lips, np.asarray(doubts))
    return flow
