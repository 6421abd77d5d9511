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

import numpy as np
from scipy.special import ndtr

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses

SOUND_SLOPE = 0.0015
"""Standard deviation of each slope of a box that is level enough. [-] (judgement)"""

TILTED_SLOPE = 0.020
"""The same of one that leans. [-] (judgement)"""

LEAST_DROP = 0.0025
"""Lip difference across the outlets from which a box is called tilted. [m] (about 3/32 in:
judgement)"""

_LOW_SIDE = 0.25
"""Part of the drop across a leaning box up to which an outlet is favoured. [-] (judgement)"""

_DATUM = 0.1
"""Standard deviation of a water line, which may stand anywhere within the box. [m] (judgement)"""

_UNUSED = 1e4
"""Variance of an observation that says nothing. [m2] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Gauge:
    """One set of heights over one unknown datum: readings, or lips felt by one pour."""

    heights: Array  # (n,) Heights; NaN where there is none. [m]
    errors: Array  # (n,) Standard deviations. [m]
    # Whether the water felt them, so that what it feels counts and not what a ruler sees.
    felt: bool
    # (h, n) Where a height says nothing of the lip under a hypothesis, as at a blocked outlet.
    useless: BoolArray

    @property
    def freedom(self) -> int:
        """Heights over one unknown datum leave one fewer differences."""
        return max(int(np.count_nonzero(~np.isnan(self.heights))) - 1, 0)

    @property
    def variance(self) -> Array:
        """Variance of each height under each hypothesis. [m2] (h, n)"""
        return np.asarray(np.where(self.useless, _UNUSED, self.errors**2))


@dataclass(frozen=True, kw_only=True, eq=False)
class Drawn:
    """Lips drawn for every hypothesis; rows are hypotheses by draws."""

    slopes: Array  # (h, d, 2) Slopes of the box. [-]
    plane: Array  # (h, d, n) What they make of the lips, over the middle of the box. [m]
    # (h, d, n) Lips a ruler would find, without their own scatter, over any datum. [m]
    smooth: Array
    read: Array  # (h, d, n) Lips a ruler would find. [m]
    felt: Array  # (h, d, n) Lips the water feels. [m]
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
    model = _Model(hypotheses, offsets, len(gauges))
    ruler = [gauge for gauge in gauges if not gauge.felt]
    mean, spread, log_all = model.condition(gauges)
    best, _, log_readings = model.condition(ruler)
    noise = rng.standard_normal((draws, mean.shape[1]))
    unknown = mean[:, None] + noise @ np.swapaxes(spread, -1, -2)
    slopes, own, fault = unknown[..., :2], unknown[..., 2 : 2 + n], unknown[..., 2 + n]
    has_fault = np.array([CAUSES[c].fault is not None for c in hypotheses.cause])
    fault = np.where(has_fault[:, None], fault, 0.0)
    plane = slopes @ offsets.T
    smooth = plane + fault[..., None] * model.read[:, None]
    felt = plane + own + fault[..., None] * model.felt[:, None]
    guide = sum((_guide(gauge, felt) for gauge in gauges if gauge.felt), start=0.0)
    return Drawn(
        slopes=slopes,
        plane=plane,
        smooth=smooth,
        read=smooth + own,
        felt=felt,
        fault=fault,
        log_weight=log_all[:, None] - guide + _limits(hypotheses, plane, fault, offsets),
        log_readings=log_readings,
        excess=model.excess(ruler, best),
        freedom=sum(gauge.freedom for gauge in ruler),
    )


class _Model:
    """Normal unknowns before anything is measured: slopes, own scatter, fault, one datum each."""

    def __init__(self, hypotheses: Hypotheses, offsets: Array, gauges: int) -> None:
        n, h = len(offsets), len(hypotheses.cause)
        self.offsets = offsets
        self.mean = np.zeros((h, 3 + n + gauges))
        self.variance = np.full((h, 3 + n + gauges), _DATUM**2)
        self.read, self.felt = np.zeros((h, n)), np.zeros((h, n))
        for row, (c, outlet) in enumerate(zip(hypotheses.cause, hypotheses.outlet, strict=True)):
            cause = CAUSES[c]
            self.variance[row, :2] = (TILTED_SLOPE if cause.tilted else SOUND_SLOPE) ** 2
            self.variance[row, 2 : 2 + n] = cause.scatter**2
            self.variance[row, 2 + n] = 1e-12
            if cause.fault:
                self.mean[row, 2 + n] = cause.fault.mean
                self.variance[row, 2 + n] = cause.fault.spread**2
                self.read[row, outlet] = cause.fault.read
                self.felt[row, outlet] = cause.fault.felt

    def rows(self, gauge: Gauge, place: int) -> Array:
        """How the heights of a gauge hang on the unknowns, (h, n, unknowns)."""
        n = len(self.offsets)
        rows = np.zeros((*self.read.shape, self.mean.shape[1]))
        rows[..., :2] = self.offsets
        rows[:, np.arange(n), 2 + np.arange(n)] = 1.0
        rows[..., 2 + n] = self.felt if gauge.felt else self.read
        rows[..., 3 + n + place] = 1.0
        return rows

    def condition(self, gauges: list[Gauge]) -> tuple[Array, Array, Array]:
        """Mean and square root of the covariance, and log probability of the gauges."""
        precision = 1.0 / self.variance
        pull = self.mean * precision
        matrix = precision[..., None] * np.eye(self.mean.shape[1])
        loose = np.zeros(len(self.mean))
        for place, gauge in enumerate(gauges):
            rows, used = self.rows(gauge, place), ~np.isnan(gauge.heights)
            weight = 1.0 / gauge.variance
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
        return mean, spread, 0.5 * (loose + quadratic + log_det + np.log(precision).sum(-1))

    def excess(self, gauges: list[Gauge], best: Array) -> Array:
        """Misfit at the best unknowns, theirs from their priors included, less its freedom."""
        total = ((best - self.mean) ** 2 / self.variance).sum(-1)
        for place, gauge in enumerate(gauges):
            left = gauge.heights - np.einsum("hnp,hp->hn", self.rows(gauge, place), best)
            total = total + np.nansum(left**2 / gauge.variance, axis=-1) - gauge.freedom
        return np.asarray(total)


def _guide(gauge: Gauge, felt: Array) -> Array:
    """Log probability of felt heights under drawn lips, over any datum: what the split replaces."""
    used = ~np.isnan(gauge.heights)
    weight = 1.0 / gauge.variance[:, None, used]
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
            ends = np.array([cause.fault.least, cause.fault.most])
            inside &= (fault[row] > ends[0]) & (fault[row] < ends[1])
            chance *= float(np.diff(ndtr((ends - cause.fault.mean) / cause.fault.spread))[0])
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


def _tilt_chance(offsets: Array, outlet: int) -> float:
    """Chance that a leaning box leans enough and, where asked, toward an outlet; by directions."""
    turn = np.linspace(0.0, 2.0 * np.pi, 721)[:-1] + 1e-3
    plane = np.stack([np.cos(turn), np.sin(turn)], -1) @ offsets.T
    per_slope = np.ptp(plane, axis=-1)
    # the size of two equal normal slopes together has the chance exp(-s^2 / 2 sigma^2) to exceed s
    enough = np.exp(-0.5 * (LEAST_DROP / np.maximum(per_slope, 1e-9) / TILTED_SLOPE) ** 2)
    toward = _favoured(plane)[:, outlet] if outlet >= 0 else np.ones(len(turn), bool)
    return max(float((enough * toward).mean()), 1e-9)
