"""What each outlet should give in a pour, and what explains the catches best.

Before the pour: the lips as read, with their errors, are split at the flow that will be poured.
That gives each outlet's flow with a band, the time in which it fills a jug, which outlet starts
first, and the level at which the water runs. The outlet with the lowest lip starts first, since
still water stands at it.

After the pour: what was caught is added up and held against what was poured. Less means a leak or
a spill, more means a wrong volume or time.

How long to wait before catching: near its steady level a box of plan area A answers a change like
exp(-t / tau), tau = A / (dQ/dh summed over the outlets); after 3 tau it has gone 95 per cent of
the way.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.fieldwork.inlet import jet_notes, possible_jets, strike
from dbox.fieldwork.readings import Lips, measured_lips
from dbox.fieldwork.shares import BAND, SAMPLES, target_shares
from dbox.fieldwork.site import Box, Pour, Site
from dbox.hydraulics.split import Split, range_notes, split
from dbox.notes import Note

RANK_ERROR = 1.0 / 32 * 0.0254
"""Error of telling by eye which of two lips spills first. [m] (1/32 in: common practice, no
source)"""

_UNLIKELY = 2.0


def order_cautions(site: Site, pours: Sequence[Pour], lips: Lips) -> tuple[str, ...]:
    """Sentences on outlets that started before one whose lip was read lower."""
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

    flow [m3/s], settling [s].
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


SIDE_95 = 1.6448536269514722
"""Standard deviations beyond which a twentieth lies on one side. [-]"""

_SETTLED = 3.0


@dataclass(frozen=True, kw_only=True, eq=False)
class Expectation:
    """What the readings say that pours will give; arrays are read-only, pours by outlets."""

    site: Site  # The box.
    pours: tuple[Pour, ...]  # The pours, planned or done.
    lips: Lips  # The lips that the flows come from.
    result: Split  # The split at the best estimate of the lips.
    # (pours, n) Ends of the 5 to 95 per cent band of each flow, from the reading errors. [m3/s]
    low: Array
    # (pours, n) Ends of the 5 to 95 per cent band of each flow, from the reading errors. [m3/s]
    high: Array
    # (n,) Probability that the outlet has the lowest lip and so starts first; 0 where capped. [-]
    first_probability: Array
    # (pours,) How long until the level is steady; NaN where the size of the box is not known. [s]
    settling: Array
    # (pours,) Whether the jet of a straight inlet would move a share by more than the error of a
    # catch.
    jet_decides: BoolArray
    # Where the model or the readings are weak, and where the pour does not suit.
    warnings: tuple[Note | str, ...]

    @property
    def still_level(self) -> float:
        """Where water stands before the pour and after it: the lowest lip. [m]"""
        return float(self.lips.height.min())

    @property
    def weighed(self) -> tuple[int, ...]:
        """Pours with catches that can be held against the ruler: those no jet decides."""
        pairs = zip(self.pours, self.jet_decides.tolist(), strict=True)
        return tuple(i for i, (pour, decides) in enumerate(pairs) if pour.done and not decides)

    @property
    def order(self) -> tuple[int, ...]:
        """Open outlets in the order in which they start."""
        rising = np.argsort(self.lips.height, kind="stable")
        return tuple(int(i) for i in rising if np.isfinite(self.lips.height[i]))

    def fill_time(self, flow: Array) -> Array:
        """Time in which flows of shape (pours, n) fill the jug; inf where dry, NaN without. [s]"""
        jugs = np.array([np.nan if p.jug is None else p.jug for p in self.pours])[:, None]
        times: Array = np.where(flow > 0, jugs / np.where(flow > 0, flow, 1.0), jugs * np.inf)
        return times

    @property
    def caught(self) -> Array:
        """Flow caught at each outlet; NaN where it was not. [m3/s] (pours, n)."""
        nothing = (None,) * len(self.site.outlets)
        rows = [[np.nan if q is None else q for q in p.catches or nothing] for p in self.pours]
        return np.array(rows)

    @property
    def stands(self) -> Array:
        """-1 caught below the band, 0 within it, 1 above it. [-] (pours, n).

        The error of the catch is allowed for. NaN where nothing was caught or the jet decides.
        """
        slack = SIDE_95 * np.array([p.error for p in self.pours])[:, None] * self.caught
        above = (self.caught - slack > self.high).astype(np.float64)
        below = (self.caught + slack < self.low).astype(np.float64)
        untold = np.isnan(self.caught) | self.jet_decides[:, None]
        return np.where(untold, np.nan, above - below)


def expect(
    site: Site, pours: Sequence[Pour], *, seed: int = 0, samples: int = SAMPLES
) -> Expectation:
    """Tell what pours will give at each outlet, from the readings alone.

    Notes
    -----
    The bands carry the reading errors only: neither the pour nor the opening is in doubt. They
    are those without the jet of a straight inlet.
    """
    lips = measured_lips(site)
    openings = [o.opening for o in site.outlets]
    inflow = np.array([p.inflow for p in pours])
    drawn = lips.sample(samples, seed)
    result = split(inflow, lips.height, openings, rim=site.box.rim)
    flows = split(inflow[:, None], drawn, openings, rim=site.box.rim).flow
    low, high = np.percentile(flows, BAND, axis=1)
    first = np.bincount(drawn.argmin(-1), minlength=len(openings)) / samples
    settling = _settling(site.box, result)
    jet = strike(site, possible_jets(site), lips.height, inflow, result.share, target_shares(site))
    decides = jet.changes(np.array([p.error for p in pours]))
    freeze(low, high, first, settling, decides)
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
        warnings=(
            *jet_notes(site, jet, decides, [p.name for p in pours]),
            *range_notes(result, [p.name for p in pours]),
            *lips.warnings,
            *order_cautions(site, pours, lips),
            *time_cautions(pours, result.flow, settling),
        ),
    )


def _settling(box: Box, result: Split) -> Array:
    """How long until 95 per cent of the way to the steady level, in each case. [s]"""
    if not box.inside:
        return np.full(result.level.shape, np.nan)
    plan = box.inside[0] * box.inside[-1] * (np.pi / 4 if box.shape == "round" else 1.0)
    slope = sum(o.slope(result.head[..., i]) for i, o in enumerate(result.openings))
    settling: Array = _SETTLED * plan / np.maximum(slope, 1e-12)
    return settling


@dataclass(frozen=True, kw_only=True)
class Balance:
    """What was caught against what was poured, in one pour."""

    caught: float  # All catches together. [m3/s]
    # Poured less caught, below 0 where more was caught; for `less`, also less what the uncaught
    # outlets may have given. [m3/s]
    missing: float
    low: float  # Ends of its 5 to 95 per cent band. [m3/s]
    high: float  # Ends of its 5 to 95 per cent band. [m3/s]
    uncaught: tuple[int, ...]  # Open outlets whose catch was not measured.
    # `balanced`, `less` or `more` caught than poured, or `open` where outlets were not caught and
    # the rest does not tell.
    verdict: str


def balance(expectation: Expectation, case: int) -> Balance:
    """Add up what was caught in one pour."""
    pour, caught = expectation.pours[case], expectation.caught[case]
    uncaught = np.flatnonzero(np.isnan(caught) & np.isfinite(expectation.lips.height))
    total = float(np.nansum(caught))
    slack = SIDE_95 * pour.error * float(np.sqrt(pour.inflow**2 + np.nansum(caught**2)))
    missing = pour.inflow - total
    beyond = missing - float(expectation.high[case, uncaught].sum())
    verdict = "open" if uncaught.size else "balanced"
    # where the jet decides nobody knows how much the uncaught outlets give
    known = not (uncaught.size and expectation.jet_decides[case])
    if beyond > slack and known:
        missing, verdict = beyond, "less"
    elif missing < -slack:
        verdict = "more"
    return Balance(
        caught=total,
        missing=missing,
        low=missing - slack,
        high=missing + slack,
        uncaught=tuple(int(i) for i in uncaught),
        verdict=verdict,
    )
