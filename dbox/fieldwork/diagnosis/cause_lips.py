"""Lips that each cause would have left, given what ruler and catches say.

Under every cause the lips are normal unknowns: two slopes of the box, each outlet's own scatter,
and the size of a fault at one outlet,

    read_i = datum + slope . place_i + own_i + k fault_i        (k: +1 raised, -1 lowered, 0 unseen)

so the readings condition them exactly, and lips are drawn that agree with the readings. A timed
catch is a reading of the lip too: its flow means a head, hence a lip below one common level. That
holds for an outlet that runs free and is not exact, so the catches only guide the draws; the split
itself weighs them afterwards and the guide is divided out.
"""

from dataclasses import dataclass
from math import erf, sqrt

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses

OWN_SCATTER = 0.0007
"""Standard deviation of a sound lip about the plane of its box. [m] (about 1/32 in: judgement)"""

STEPPED_SCATTER = 0.012
"""The same where outlets are set apart on purpose, to serve one after the other. [m] (judgement)"""

SOUND_SLOPE = 0.0015
"""Standard deviation of each slope of a box that is level enough. [-] (judgement)"""

TILTED_SLOPE = 0.020
"""The same of one that leans. [-] (judgement)"""

LEAST_DROP = 0.0025
"""Lip difference across the outlets from which a box is called tilted. [m] (about 3/32 in)"""

_LOW_SIDE = 0.25  # part of the drop across a leaning box up to which an outlet is favoured
_DATUM = 0.1  # a water line may stand anywhere within the box
_UNUSED = 1e4  # variance of an observation that says nothing


@dataclass(frozen=True, kw_only=True, eq=False)
class Gauge:
    """One set of heights over one unknown datum: readings, or lips felt by one pour."""

    heights: Array  # (n,) Heights; NaN where there is none. [m]
    errors: Array  # (n,) Standard deviations. [m]
    # Whether the water felt them, so that what it feels counts and not what a ruler sees.
    felt: bool
    # (h, n) Where a height says nothing of the lip under a hypothesis, as at a blocked outlet. [-]
    useless: BoolArray


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """Lips drawn for every hypothesis; rows are hypotheses by draws."""

    slopes: Array  # (h, d, 2) Slopes of the box. [-]
    plane: Array  # (h, d, n) What they make of the lips, over the middle of the box. [m]
    # (h, d, n) Lips a ruler would find, without their own scatter, over any datum. [m]
    smooth: Array
    read: Array  # (h, d, n) Lips a ruler would find, and those the water feels. [m]
    felt: Array  # (h, d, n) Lips a ruler would find, and those the water feels. [m]
    fault: Array  # (h, d) Size of the fault, 0 where there is none. [m]
    # (h, d) Logarithm of what the gauges and the limits of the sizes make of each draw. [-]
    log_weight: Array
    log_readings: Array  # (h,) What of that is due to the ruler alone. [-]
    # (h,) Squared misfit of the ruler over its degrees of freedom, in its own spreads. [-]
    excess: Array
    freedom: int  # Those degrees of freedom, 0 where nothing was read. [-]


def draw_lips(
    hypotheses: Hypotheses,
    places: Array,
    gauges: list[Gauge],
    draws: int,
    rng: np.random.Generator,
) -> Drawn:
    """Draw lips under every hypothesis, agreeing with the gauges; places [m]."""
    n = len(places)
    offsets = places - places.mean(0)
    model = _Model.of(hypotheses, offsets, len(gauges))
    ruler = [g for g in gauges if not g.felt]
    mean, spread, log_all, _ = model.condition(gauges)
    _, _, log_readings, excess = model.condition(ruler)
    noise = rng.standard_normal((draws, mean.shape[1]))
    unknown = mean[:, None] + noise @ np.swapaxes(spread, -1, -2)
    slopes, own, fault = unknown[..., :2], unknown[..., 2 : 2 + n], unknown[..., 2 + n]
    fault = np.where(model.has_fault[:, None], fault, 0.0)
    plane = slopes @ offsets.T
    smooth = plane + fault[..., None] * model.read[:, None]
    felt = plane + own + fault[..., None] * model.felt[:, None]
    guide = sum((_guide(gauge, felt) for gauge in gauges if gauge.felt), start=0.0)
    log_weight = log_all[:, None] - guide + _limits(hypotheses, plane, fault, offsets)
    return Drawn(
        slopes=slopes,
        plane=plane,
        smooth=smooth,
        read=smooth + own,
        felt=felt,
        fault=fault,
        log_weight=log_weight,
        log_readings=log_readings,
        excess=excess,
        freedom=sum(_freedom(gauge) for gauge in ruler),
    )


@dataclass(frozen=True, eq=False)
class _Model:
    """Normal unknowns before anything is measured: slopes, own scatter, fault, one datum each."""

    mean: Array
    variance: Array
    read: Array
    felt: Array
    has_fault: Array
    offsets: Array

    @classmethod
    def of(cls, hypotheses: Hypotheses, offsets: Array, gauges: int) -> "_Model":
        n, h = len(offsets), len(hypotheses.cause)
        mean, variance = np.zeros((h, 3 + n + gauges)), np.full((h, 3 + n + gauges), _DATUM**2)
        read, felt = np.zeros((h, n)), np.zeros((h, n))
        variance[:, 2 : 2 + n] = OWN_SCATTER**2
        for row, (c, outlet) in enumerate(zip(hypotheses.cause, hypotheses.outlet, strict=True)):
            cause = CAUSES[c]
            variance[row, :2] = (TILTED_SLOPE if cause.tilted else SOUND_SLOPE) ** 2
            variance[row, 2 + n] = 1e-12
            if cause.key == "serial":
                variance[row, 2 : 2 + n] = STEPPED_SCATTER**2
            if cause.fault:
                mean[row, 2 + n], variance[row, 2 + n] = cause.fault.mean, cause.fault.spread**2
                read[row, outlet], felt[row, outlet] = cause.fault.read, cause.fault.felt
        has_fault = np.array([CAUSES[c].fault is not None for c in hypotheses.cause])
        return cls(mean, variance, read, felt, has_fault, offsets)

    def rows(self, gauge: Gauge, place: int) -> Array:
        """How the heights of a gauge hang on the unknowns, (h, n, unknowns)."""
        n = len(self.offsets)
        rows = np.zeros((*self.read.shape, self.mean.shape[1]))
        rows[..., :2] = self.offsets
        rows[:, np.arange(n), 2 + np.arange(n)] = 1.0
        rows[..., 2 + n] = self.felt if gauge.felt else self.read
        rows[..., 3 + n + place] = 1.0
        return rows

    def condition(self, gauges: list[Gauge]) -> tuple[Array, Array, Array, Array]:
        """Mean and square root of the covariance, log probability and excess of the gauges."""
        precision = 1.0 / self.variance
        pull = self.mean * precision
        matrix = np.zeros((*self.mean.shape, self.mean.shape[1]))
        diagonal = np.arange(self.mean.shape[1])
        matrix[:, diagonal, diagonal] = precision
        loose = np.zeros(len(self.mean))
        for place, gauge in enumerate(gauges):
            rows, used = self.rows(gauge, place), ~np.isnan(gauge.heights)
            weight = 1.0 / _variance(gauge)
            height = np.nan_to_num(gauge.heights)
            weighted = rows * np.where(used, weight, 0.0)[..., None]
            matrix += np.swapaxes(weighted, -1, -2) @ rows
            pull = pull + (weighted * height[:, None]).sum(1)
            each = np.log(weight) - np.log(2.0 * np.pi) - weight * height**2
            loose = loose + np.where(used, each, 0.0).sum(-1)
        covariance = np.linalg.inv(matrix)
        mean = np.einsum("hij,hj->hi", covariance, pull)
        spread = np.linalg.cholesky(covariance).astype(np.float64)
        log_det = 2.0 * np.log(np.diagonal(spread, axis1=-2, axis2=-1)).sum(-1)
        quadratic = (mean * pull).sum(-1) - (self.mean**2 * precision).sum(-1)
        log_probability = 0.5 * (loose + quadratic + log_det + np.log(precision).sum(-1))
        return mean, spread, log_probability, self._excess(gauges, mean)

    def _excess(self, gauges: list[Gauge], mean: Array) -> Array:
        """Misfit at the best unknowns, theirs from their priors included, less its freedom."""
        total = ((mean - self.mean) ** 2 / self.variance).sum(-1)
        for place, gauge in enumerate(gauges):
            left = gauge.heights - np.einsum("hnp,hp->hn", self.rows(gauge, place), mean)
            total = total + np.nansum(left**2 / _variance(gauge), axis=-1)
        return np.asarray(total - sum(_freedom(gauge) for gauge in gauges))


def _freedom(gauge: Gauge) -> int:
    """Heights over one unknown datum leave one fewer differences."""
    return max(int(np.count_nonzero(~np.isnan(gauge.heights))) - 1, 0)


def _variance(gauge: Gauge) -> Array:
    return np.asarray(np.where(gauge.useless, _UNUSED, gauge.errors**2))


def _guide(gauge: Gauge, felt: Array) -> Array:
    """Log probability of felt heights under drawn lips, over any datum: what the split replaces."""
    used = ~np.isnan(gauge.heights)
    weight = 1.0 / _variance(gauge)[:, None, used]
    left = gauge.heights[used] - felt[..., used]
    total, pull = weight.sum(-1), (weight * left).sum(-1)
    misfit = (weight * left**2).sum(-1) - pull**2 / (total + _DATUM**-2)
    scale = np.log(weight / (2.0 * np.pi)).sum(-1) - np.log1p(_DATUM**2 * total)
    return np.asarray(0.5 * (scale - misfit))


def _limits(hypotheses: Hypotheses, plane: Array, fault: Array, offsets: Array) -> Array:
    """Log of how a size within its limits compares with one that had none, -inf outside."""
    result = np.zeros(fault.shape)
    drop = np.ptp(plane, axis=-1)
    for row, (c, outlet) in enumerate(zip(hypotheses.cause, hypotheses.outlet, strict=True)):
        cause, inside, chance = CAUSES[c], np.ones(fault.shape[1], bool), 1.0
        if cause.fault:
            low, high = cause.fault.least, cause.fault.most
            inside &= (fault[row] > low) & (fault[row] < high)
            chance *= _between(cause.fault.mean, cause.fault.spread, low, high)
        if cause.tilted:
            inside &= drop[row] > LEAST_DROP
            if outlet >= 0:
                inside &= _favoured(plane[row])[:, outlet]
            chance *= _tilt_chance(offsets, int(outlet))
        result[row] = np.where(inside, -np.log(chance), -np.inf)
    return result


def _favoured(plane: Array) -> BoolArray:
    """Which outlets a leaning box favours: those near its low side. (..., n)"""
    low, drop = plane.min(-1, keepdims=True), np.ptp(plane, axis=-1)[..., None]
    return np.asarray(plane - low <= _LOW_SIDE * drop)


def _between(mean: float, spread: float, low: float, high: float) -> float:
    ends = [0.5 * (1.0 + erf((end - mean) / spread / sqrt(2.0))) for end in (low, high)]
    return ends[1] - ends[0]


def _tilt_chance(offsets: Array, outlet: int) -> float:
    """Chance that a leaning box leans enough and, where asked, toward an outlet; by directions."""
    turn = np.linspace(0.0, 2.0 * np.pi, 721)[:-1] + 1e-3
    plane = np.stack([np.cos(turn), np.sin(turn)], -1) @ offsets.T
    per_slope = np.ptp(plane, axis=-1)
    # the size of two equal normal slopes together has the chance exp(-s^2 / 2 sigma^2) to exceed s
    enough = np.exp(-0.5 * (LEAST_DROP / np.maximum(per_slope, 1e-9) / TILTED_SLOPE) ** 2)
    toward = _favoured(plane)[:, outlet] if outlet >= 0 else np.ones(len(turn), bool)
    return max(float((enough * toward).mean()), 1e-9)
