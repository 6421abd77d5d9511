"""What share does each line get at each flow, and how sure is that?

The reading errors are carried by sampling: boxes are drawn that would have given the readings,
each is split, and the drawn shares give 5 to 95 per cent bands and the probability that every
outlet lies within the tolerance of its target. Where that is neither near 0 nor near 1 the answer
is "cannot tell", and scaling the same draws tells how good a reading would have to be.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.fieldwork.headers import header_warnings
from dbox.fieldwork.readings import Lips, reduce_readings, require_all_measured
from dbox.fieldwork.site import Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.split import Split, split
from dbox.hydraulics.validity import range_warnings

SURE = 0.95
"""Probability at which the verdict is given; below 1 - SURE it is the opposite one. [-]"""

BAND = (5.0, 95.0)
"""Percentiles of the share bands. [%]"""

SAMPLES = 4000
_SCALES = np.geomspace(1.0, 1.0 / 16, 17)


@dataclass(frozen=True, kw_only=True, eq=False)
class Assessment:
    """Shares at every flow with bands and verdicts; arrays are read-only.

    Parameters
    ----------
    names : tuple of str
        Name of each flow.
    labels : tuple of str
        Label of each outlet.
    lips : Lips
        The lips that the shares come from.
    result : Split
        The split at the best estimate of the lips, cases by outlets.
    share_low, share_high : ndarray, shape (flows, n)
        Ends of the 5 to 95 per cent band of each share. [-]
    target : ndarray, shape (n,)
        Wanted share of each outlet. [-]
    tolerance : float or None
        Allowed difference from the target, as a fraction of it. [-]
    within_probability : ndarray, shape (flows,)
        Probability that every outlet is within tolerance; NaN where none was given. [-]
    verdicts : tuple of str
        `within`, `outside` or `cannot tell`, for each flow.
    settling_spread : ndarray, shape (flows,)
        Spread of one reading that would settle it; the present one where it is settled, NaN
        where even a sixteenth of it would not. [m]
    warnings : tuple of str
        Where the model or the readings are weak.
    """

    names: tuple[str, ...]
    labels: tuple[str, ...]
    lips: Lips
    result: Split
    share_low: Array
    share_high: Array
    target: Array
    tolerance: float | None
    within_probability: Array
    verdicts: tuple[str, ...]
    settling_spread: Array
    warnings: tuple[str, ...]

    @property
    def over_target(self) -> Array:
        """Share over target of each outlet; 1 where capped. [-] (flows, n)."""
        wanted = self.target > 0
        return np.where(wanted, self.result.share / np.where(wanted, self.target, 1.0), 1.0)

    @property
    def worst_over_target(self) -> Array:
        """Largest share over target among the outlets. [-] (flows,)."""
        result: Array = self.over_target[:, self.target > 0].max(-1)
        return result

    @property
    def cv(self) -> Array:
        """Population coefficient of variation of share over target. [-] (flows,)."""
        over = self.over_target[:, self.target > 0]
        result: Array = over.std(-1) / over.mean(-1)
        return result

    @property
    def settling_repeats(self) -> Array:
        """Readings of each outlet that would settle it with the present spread. [-] (flows,)."""
        more = (self.lips.spread / self.settling_spread) ** 2
        readings: Array = np.ceil(self.lips.repeats.max() * more - 1e-9)
        return readings


def assess(site: Site, *, seed: int = 0, samples: int = SAMPLES) -> Assessment:
    """Split every flow of a site among its outlets, with bands and verdicts.

    Parameters
    ----------
    site : Site
        The box as measured; every open outlet needs a reading.
    seed : int
        Same seed, same bands.
    samples : int
        Boxes drawn.

    Returns
    -------
    Assessment
        One case per flow.

    Raises
    ------
    DomainError
        Where an open outlet has no reading or no target can be told.
    """
    lips = reduce_readings(site)
    require_all_measured(site, lips)
    return assess_lips(site, lips, lips.sample(samples, seed))


def assess_lips(site: Site, lips: Lips, drawn: Array) -> Assessment:
    """The same for lips that need not be the measured ones, such as those after turning.

    Parameters
    ----------
    site : Site
        The box; its own readings are not looked at.
    lips : Lips
        Best estimate of the lips.
    drawn : ndarray, shape (samples, n)
        Lips drawn from what is known of them. [m]

    Returns
    -------
    Assessment
        One case per flow.
    """
    openings = [o.opening for o in site.outlets]
    inflow = np.array([f.inflow for f in site.flows])
    names = tuple(f.name for f in site.flows)
    target, tolerance = target_shares(site), site.tolerance.share if site.tolerance else None
    result = split(inflow, lips.height, openings, rim=site.box.rim)
    shares = split(inflow[:, None], drawn, openings, rim=site.box.rim).share
    low, high = np.percentile(shares, BAND, axis=1)
    probability = _within(shares, target, tolerance)
    settling = _settling_spread(site, lips, drawn, result.share, probability)
    freeze(low, high, target, probability, settling)
    return Assessment(
        names=names,
        labels=tuple(o.label for o in site.outlets),
        lips=lips,
        result=result,
        share_low=low,
        share_high=high,
        target=target,
        tolerance=tolerance,
        within_probability=probability,
        verdicts=tuple(_verdict(p) for p in probability),
        settling_spread=settling,
        warnings=(
            *range_warnings(result, names),
            *header_warnings(site, result),
            *lips.warnings,
        ),
    )


def _within(shares: Array, target: Array, tolerance: float | None) -> Array:
    """Fraction of draws, along axis -2, in which every outlet is within tolerance."""
    if tolerance is None:
        return np.full(shares.shape[:-2], np.nan)
    allowed = tolerance * target + 1e-12
    result: Array = np.all(np.abs(shares - target) <= allowed, axis=-1).mean(-1)
    return result


def _verdict(probability: float) -> str:
    if probability >= SURE:
        return "within"
    return "outside" if probability <= 1.0 - SURE else "cannot tell"


def _settling_spread(
    site: Site, lips: Lips, drawn: Array, shares: Array, probability: Array
) -> Array:
    """Spread of one reading at which each verdict would be within or outside."""
    spread = np.full(probability.shape, lips.spread)
    if site.tolerance is None:
        return np.full_like(spread, np.nan)
    target, tolerance = target_shares(site), site.tolerance.share
    # with no reading error at all the answer is what the best estimate says
    ends_within = _within(shares[:, None, :], target, tolerance) > 0
    openings = [o.opening for o in site.outlets]
    scatter = np.where(np.isfinite(lips.height), drawn[:1000] - lips.height, 0.0)
    for case, chance_now in enumerate(probability):
        if _verdict(chance_now) != "cannot tell":
            continue
        nearer = lips.height + _SCALES[:, None, None] * scatter
        each = split(site.flows[case].inflow, nearer, openings, rim=site.box.rim).share
        chance = _within(each, target, tolerance)
        settled = _SCALES[chance >= SURE if ends_within[case] else chance <= 1.0 - SURE]
        spread[case] = lips.spread * settled.max() if settled.size else np.nan
    return spread
