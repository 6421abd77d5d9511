"""Lips that each cause would have left, given what ruler and catches say.

Under every cause the lips are normal unknowns: two slopes of the box, each outlet's own scatter,
and the size of a fault at one outlet, of two causes two of them,

    read_i = datum + slope . place_i + own_i + k fault_i        (k: +1 raised, -1 lowered, 0 unseen)

so the readings condition them exactly, and lips are drawn that agree with the readings. How uneven
a sound box is that nobody complains of, how far it leans and how well the ruler was held are not
known either: each is one of a few sizes, all combinations of the first two as common, weighed by
what they make of the readings and drawn with the rest. A timed catch is a reading of the lip too:
its flow means a head, hence a lip below one common level. That holds for an outlet that runs free
and is not exact, so the catches only guide the draws; the split itself weighs them afterwards and
the guide is divided out.
"""

from dataclasses import dataclass, replace
from math import erf

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray
from dbox.fieldwork.diagnosis.causes import CAUSES, Hypotheses

SOUND_SLOPES = (0.0010, 0.0020, 0.0040)
"""Standard deviation of each slope of a box that is level enough: the last leans 1/16 in or so
across the box, and twice that is not rare. [-] (judgement)"""

UNEVEN = (1.0, 1.7, 3.0)
"""Scatter of sound lips over the least, `OWN_SCATTER`. [-] (judgement)"""

HELD = (1.0, 1.5, 2.2)
"""Spread of the readings over what the scenario says; one for each place along both of the above.
[-] (judgement)"""

TILTED_SLOPE = 0.020
"""Standard deviation of each slope of a box that leans. [-] (judgement)"""

LEAST_DROP = 0.0025
"""Lip difference across the outlets from which a box is called tilted. [m] (about 3/32 in:
judgement)"""

_LOW_SIDE = 0.25
"""Part of the drop across a leaning box up to which an outlet is favoured. [-] (judgement)"""

_DATUM = 0.1
"""Standard deviation of a water line, which may stand anywhere within the box. [m] (judgement)"""

_UNUSED = 1e4
"""Variance of an observation that says nothing. [m2] (numerical)"""

_KINDS = tuple((i, k, (i + k) % 3) for i in range(3) for k in range(3))
"""Which size of lean, unevenness and ruler each kind of box has. [-] (numerical)"""


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
    every = _Model.of(hypotheses, offsets, gauges)
    # causes that do the same to the lips share what is worked out
    _, first, kind = np.unique(every.told, axis=0, return_index=True, return_inverse=True)
    model = every.take(first)
    ruler = [gauge for gauge in gauges if not gauge.felt]
    mean, spread, log_each = model.condition(gauges)
    best, _, log_read = model.condition(ruler)
    log_all = np.logaddexp.reduce(log_each, -1)
    # how far along each kind of box its draws go, even steps from one start
    along = np.cumsum(np.exp(log_each - log_all[:, None]), -1)
    marks = rng.permutation((np.arange(draws) + rng.random()) / draws)
    of = np.minimum((marks[:, None] > along[:, None]).sum(-1), len(_KINDS) - 1)
    row = np.arange(len(first))[:, None]
    noise = rng.standard_normal((draws, mean.shape[-1], 1))
    unknown = mean[row, of] + (spread[row, of] @ noise)[..., 0]
    unknown = unknown[kind.reshape(-1)]
    slopes, own, faults = unknown[..., :2], unknown[..., 2 : 2 + n], unknown[..., 2 + n : 4 + n]
    faults = np.where(every.faulty[:, None], faults, 0.0)
    plane = slopes @ offsets.T
    smooth = plane + faults @ every.read
    felt = plane + own + faults @ every.felt
    guide = sum((_guide(gauge, felt) for gauge in gauges if gauge.felt), start=0.0)
    log_all, excess = log_all[kind.reshape(-1)], model.excess(ruler, best)
    likely = np.take_along_axis(excess, log_read.argmax(-1)[:, None], -1)[:, 0]
    even = np.log(len(_KINDS))
    return Drawn(
        slopes=slopes,
        plane=plane,
        smooth=smooth,
        read=smooth + own,
        felt=felt,
        fault=np.where(every.faulty[:, :1], faults[..., 0], faults[..., 1]),
        log_weight=log_all[:, None]
        - even
        - guide
        + _limits(hypotheses, plane, faults, offsets, every.faulty),
        log_readings=np.logaddexp.reduce(log_read, -1)[kind.reshape(-1)] - even,
        excess=likely[kind.reshape(-1)],
        freedom=sum(gauge.freedom for gauge in ruler),
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class _Model:
    """Normal unknowns before anything is measured: slopes, own scatter, two faults, one datum each.

    Of h hypotheses with boxes of k kinds.
    """

    offsets: Array  # (n, 2) Places of the outlets from their middle. [m]
    mean: Array  # (h, p) [m]
    variance: Array  # (h, k, p) [m2]
    read: Array  # (h, 2, n) What a fault makes of the lips by the ruler,
    felt: Array  # (h, 2, n) and as the water feels them. [-]
    useless: BoolArray  # (h, g, n) Where a gauge says nothing.

    @classmethod
    def of(cls, hypotheses: Hypotheses, offsets: Array, gauges: list[Gauge]) -> "_Model":
        """Put together what the causes do to the lips."""
        n, h = len(offsets), len(hypotheses.cause)
        lean, uneven, _ = np.array(_KINDS).T
        scatter = np.append([cause.scatter for cause in CAUSES], 0.0)[hypotheses.cause].max(-1)
        tilted = hypotheses.any_of([cause.tilted for cause in CAUSES])
        slope = np.where(tilted[:, None], TILTED_SLOPE, np.array(SOUND_SLOPES)[lean])
        own = scatter[:, None] * np.array(UNEVEN)[uneven]
        mean = np.zeros((h, 4 + n + len(gauges)))
        variance = np.full((h, len(_KINDS), mean.shape[1]), _DATUM**2)
        variance[..., :2] = slope[..., None] ** 2
        variance[..., 2 : 2 + n] = own[..., None] ** 2
        variance[..., 2 + n : 4 + n] = 1e-12
        read, felt = np.zeros((h, 2, n)), np.zeros((h, 2, n))
        for c, cause in enumerate(CAUSES):
            if cause.fault:
                row, part = np.nonzero(hypotheses.cause == c)
                outlet = hypotheses.outlet[row, part]
                mean[row, 2 + n + part] = cause.fault.mean
                variance[row, :, 2 + n + part] = cause.fault.spread**2
                read[row, part, outlet] = cause.fault.read
                felt[row, part, outlet] = cause.fault.felt
        useless = np.stack(
            [np.broadcast_to(gauge.useless, (h, n)) for gauge in gauges]
            or [np.zeros((h, n), bool)], 1
        )  # fmt: skip
        return cls(offsets=offsets, mean=mean, variance=variance, read=read, felt=felt,
                   useless=useless)  # fmt: skip

    @property
    def told(self) -> Array:
        """All that tells one hypothesis from another. (h, ...)"""
        parts = self.mean, self.variance, self.read, self.felt, self.useless
        return np.concatenate([part.reshape(len(part), -1) for part in parts], -1)

    @property
    def faulty(self) -> BoolArray:
        """Which of the two parts has a fault. (h, 2)"""
        n = len(self.offsets)
        return np.asarray(self.variance[:, 0, 2 + n : 4 + n] > 1e-11)

    def take(self, rows: npt.NDArray[np.intp]) -> "_Model":
        """Some of the hypotheses."""
        names = ("mean", "variance", "read", "felt", "useless")
        return replace(self, **{name: getattr(self, name)[rows] for name in names})

    def rows(self, gauge: Gauge, place: int) -> Array:
        """How the heights of a gauge hang on the unknowns, (h, n, p)."""
        n = len(self.offsets)
        rows = np.zeros((len(self.mean), n, self.mean.shape[1]))
        rows[..., :2] = self.offsets
        rows[:, np.arange(n), 2 + np.arange(n)] = 1.0
        rows[..., 2 + n : 4 + n] = np.swapaxes(self.felt if gauge.felt else self.read, 1, 2)
        rows[..., 4 + n + place] = 1.0
        return rows

    def _weight(self, gauge: Gauge, place: int) -> Array:
        """One over the variance of each height, 0 where there is none. (h, k, n)"""
        held = np.ones(len(_KINDS)) if gauge.felt else np.array(HELD)[np.array(_KINDS)[:, 2]]
        variance = np.where(
            self.useless[:, None, place], _UNUSED, (gauge.errors * held[:, None]) ** 2
        )
        return np.asarray(1.0 / variance)

    def condition(self, gauges: list[Gauge]) -> tuple[Array, Array, Array]:
        """Mean and square root of the covariance, and log probability of the gauges. (h, k, ...)"""
        precision = 1.0 / self.variance
        pull = self.mean[:, None] * precision
        matrix = precision[..., None] * np.eye(self.mean.shape[1])
        loose = np.zeros(precision.shape[:2])
        for place, gauge in enumerate(gauges):
            rows, used = self.rows(gauge, place)[:, None], ~np.isnan(gauge.heights)
            weight, height = self._weight(gauge, place), np.nan_to_num(gauge.heights)
            weighted = rows * np.where(used, weight, 0.0)[..., None]
            matrix += np.swapaxes(weighted, -1, -2) @ rows
            pull = pull + (weighted * height[:, None]).sum(-2)
            each = np.log(weight) - np.log(2.0 * np.pi) - weight * height**2
            loose = loose + np.where(used, each, 0.0).sum(-1)
        covariance = np.linalg.inv(matrix)
        mean = (covariance @ pull[..., None])[..., 0]
        spread = np.linalg.cholesky(covariance).astype(np.float64)
        log_det = 2.0 * np.log(np.diagonal(spread, axis1=-2, axis2=-1)).sum(-1)
        quadratic = (mean * pull).sum(-1) - (self.mean[:, None] ** 2 * precision).sum(-1)
        return mean, spread, 0.5 * (loose + quadratic + log_det + np.log(precision).sum(-1))

    def excess(self, gauges: list[Gauge], best: Array) -> Array:
        """Misfit at the best unknowns, theirs from their priors included, less freedom. (h, k)"""
        total = ((best - self.mean[:, None]) ** 2 / self.variance).sum(-1)
        for place, gauge in enumerate(gauges):
            left = gauge.heights - (self.rows(gauge, place)[:, None] @ best[..., None])[..., 0]
            weight = self._weight(gauge, place)
            total = total + np.nansum(left**2 * weight, axis=-1) - gauge.freedom
        return np.asarray(total)


def _guide(gauge: Gauge, felt: Array) -> Array:
    """Log probability of felt heights under drawn lips, over any datum: what the split replaces."""
    used = ~np.isnan(gauge.heights)
    variance = np.where(gauge.useless, _UNUSED, gauge.errors**2)
    weight = 1.0 / variance[:, None, used]
    left = gauge.heights[used] - felt[..., used]
    total, pull = weight.sum(-1), (weight * left).sum(-1)
    misfit = (weight * left**2).sum(-1) - pull**2 / (total + _DATUM**-2)
    scale = np.log(weight / (2.0 * np.pi)).sum(-1) - np.log1p(_DATUM**2 * total)
    return np.asarray(0.5 * (scale - misfit))


def _limits(
    hypotheses: Hypotheses, plane: Array, faults: Array, offsets: Array, faulty: BoolArray
) -> Array:
    """Log of how a size within its limits compares with one that had none, -inf outside. (h, d)"""
    log = np.zeros(faults.shape[:2])
    for row, part in zip(*np.nonzero(faulty), strict=True):
        fault = CAUSES[hypotheses.cause[row, part]].fault
        assert fault is not None
        ends = ((np.array([fault.least, fault.most]) - fault.mean) / fault.spread).tolist()
        low, high = (0.5 * (1.0 + erf(end / 2.0**0.5)) for end in ends)
        size = faults[row, :, part]
        inside = (size > fault.least) & (size < fault.most)
        log[row] += np.where(inside, -np.log(high - low), -np.inf)
    tilted = hypotheses.any_of([cause.tilted for cause in CAUSES])
    toward = _sealed_outlet(hypotheses)
    for row in np.flatnonzero(tilted).tolist():
        inside = np.ptp(plane[row], axis=-1) > LEAST_DROP
        outlet = int(toward[row])
        if outlet >= 0:
            inside &= _favoured(plane[row])[:, outlet]
        log[row] += np.where(inside, -np.log(_tilt_chance(offsets, outlet)), -np.inf)
    return log


def _sealed_outlet(hypotheses: Hypotheses) -> npt.NDArray[np.int64]:
    """The outlet whose trench is full, toward which a box then leans; -1 for none. (h,)"""
    full = np.append([cause.line == "full" for cause in CAUSES], False)[hypotheses.cause]
    return np.asarray(np.where(full, hypotheses.outlet, -1).max(-1))


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
