"""Lip heights and their errors from readings; tilt as a plane through them.

Every reading has a spread: one standard deviation of a single reading, apart from what the marks of
the rule take away. It is the stated one, else it is pooled from repeats, else it is that of a
ruler. An error common to all outlets, such as a misjudged water line, changes no share and is left
out.

A mean of k readings has the error of the hand and eye, which grows less with k, and that of the
marks of the rule, which does not. For a normal error of one standard deviation s and marks m apart,
over all places between two marks, that part is (Sheppard's series)

    B = m^2 / (2 pi^2) sum over j of exp(-(2 pi j s / m)^2) / j^2,

m^2/12 where s is nothing and next to nothing where readings scatter over several marks; the mean
then has the variance (s^2 + m^2/12 - B) / k + B.

A tilted box puts its outlets on one plane, height = c + slope_x x + slope_y y, with x along the
inlet direction and y across it. The least-squares plane is the tilt; what an outlet stands off
that plane is its own.

What a person may well type and hardly mean is doubted by name, and computed with all the same.
"""

import datetime
import re
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, Result
from dbox.errors import DomainError
from dbox.fieldwork.estimate import SAME, Estimate, normal_points
from dbox.fieldwork.site import DEFAULT_SPREAD, Outlet, Site
from dbox.fieldwork.turning import Reach
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.notes import Note
from dbox.units import INCH

BEST_SPREAD = INCH / 32
"""Least spread believed of a ruler. [m] (1/32 in: common practice, no source)"""

CLINGING_WATER = 0.003
"""How far water may stand over a lip without spilling. [m]

About the capillary length of water, sqrt(0.0728 / (998 * 9.81)) m = 2.7 mm at 20 C (surface
tension and density from memory).
"""

PLACEHOLDERS = (
    "the readings are placeholders, not measured: write your own and take out the line "
    "placeholder = true, or the word PLACEHOLDER in the title"
)
"""Why nothing is computed from readings that were never taken, and what to do."""

MOST_READINGS = 10
"""Readings of one outlet that a person is asked for at most. [-] (judgement)

Repeats with one rule fall on one mark or on the next, so their mean errs as the mark does, however
many there are; spread / sqrt(k) holds only while the spread is no smaller than the marks.
"""

_LEAST_FREEDOM = 3
"""Differences between repeats that tell a spread. [-] (judgement)"""

_DOUBTFUL = 3.0
"""Standard errors beyond which the still water does not fit the lips. [-] (judgement)"""


_TERMS = 12
"""Terms of the series for the error of the marks. [-] (numerical)"""

_SLOW = 0.25
"""Fall of its first exponent under which the series is given by its limit. [-] (numerical)"""


def mark_variance(jitter: ArrayLike, mark: ArrayLike) -> Array:
    """Part of the variance of a mean that no number of readings takes away. [m2]

    jitter [m], mark [m].
    """
    fine, step = np.asarray(jitter, np.float64), np.asarray(mark, np.float64)
    j = np.arange(1, _TERMS + 1)
    ratio = np.divide(fine, step, out=np.full(np.broadcast(fine, step).shape, np.inf),
                      where=step > 0)  # fmt: skip
    fall = (2.0 * np.pi * ratio) ** 2
    terms = (np.exp(-(j**2) * fall[..., None]) / j**2).sum(-1)
    # where readings hardly scatter the series is slow, and as good as its limit (Poisson's sum)
    few = np.minimum(fall, _SLOW)
    limit = np.pi**2 / 6.0 - np.sqrt(np.pi * few) + 0.5 * few
    result: Array = step**2 / (2.0 * np.pi**2) * np.where(fall < _SLOW, limit, terms)
    return result


def reading_variance(jitter: ArrayLike, mark: ArrayLike, repeats: ArrayLike) -> Array:
    """Variance of the mean of so many readings with a rule. [m2]; jitter [m], mark [m].

    >>> reading_variance(0.0, 0.002, [1, 9]).round(9).tolist()  # always the same mark
    [3.33e-07, 3.33e-07]
    """
    stays = mark_variance(jitter, mark)
    single = np.square(jitter) + np.square(mark) / 12.0
    return (single - stays) / np.asarray(repeats, np.float64) + stays


@dataclass(frozen=True, kw_only=True, eq=False)
class Lips(Result):
    """The lips of a box as measured; arrays are read-only."""

    # (n,) Lip over still water; inf where capped, NaN where open and not measured. [m]
    height: Array
    covariance: Array  # (n, n) Covariance of those heights; 0 where there is none. [m2]
    repeats: Array  # (n,) Readings taken of each outlet; 0 where none. [-]
    spread: float  # Standard deviation of a single reading. [m]
    spread_from: str  # `stated`, `repeats`, `default`, or `plan` where nothing is measured.
    mark: float  # Distance between the finest marks of the rule; 0 where not known. [m]
    warnings: tuple[Note, ...]  # What the reader should know of the readings.

    @property
    def error(self) -> Array:
        """Standard deviation of each height; 0 where there is none. [m] (n,)."""
        return np.sqrt(np.diag(self.covariance))

    @property
    def planned(self) -> bool:
        """Whether these are the lips of a plan, nothing being measured."""
        return self.spread_from == "plan"

    @property
    def measured(self) -> BoolArray:
        """Whether the outlet is open and has a reading. (n,)."""
        return np.isfinite(self.height)

    def single(self, repeats: ArrayLike = 1.0) -> Array:
        """Standard deviation of the mean of so many readings. [m]"""
        return np.sqrt(reading_variance(self.spread, self.mark, repeats))

    def sample(self, count: int, seed: int) -> Array:
        """Lips that would give these readings, evenly over what they may be. [m]"""
        if count < 2:
            raise DomainError(f"samples is {count}; draw 100 or more for bands that tell")
        return self.height + normal_points(count, self.height.size, seed) @ root_of(self.covariance)

    def known(self, estimate: Estimate) -> "Lips":
        """These lips as all fillings together tell them."""
        return replace(self, height=estimate.height, covariance=estimate.covariance)


def root_of(covariance: Array) -> Array:
    """What turns independent normal errors into such ones; transposed. [m]"""
    error = np.sqrt(np.diag(covariance))
    part = np.ix_(error > 0, error > 0)
    root = np.zeros_like(covariance)
    root[part] = np.linalg.cholesky(covariance[part]).T
    return root


def reduce_readings(site: Site) -> Lips:
    """Turn readings of any point of the holes into lip heights with their errors."""
    if site.spread is not None and not site.spread > 0:
        raise DomainError(f"spread of a reading is {site.spread} m; it must be above 0")
    spread, source, doubt, scatter, warnings = _spread(site)
    means = [np.mean(o.readings) if o.readings else np.nan for o in site.outlets]
    over = np.array([o.point_over_lip for o in site.outlets])
    height = np.where([o.capped for o in site.outlets], np.inf, np.array(means) - over)
    repeats = np.array([0.0 if o.capped else len(o.readings) for o in site.outlets])
    mark = site.mark or 0.0
    variance = reading_variance(spread, mark, np.maximum(repeats, 1.0))
    # readings that scatter less than their spread says fall on one mark more often
    variance += mark_variance(min(spread, scatter), mark) - mark_variance(spread, mark)
    covariance = np.diag(np.where(np.isfinite(height), doubt**2 * variance, 0.0))
    return Lips(
        height=height,
        covariance=covariance,
        repeats=repeats,
        spread=spread,
        spread_from=source,
        mark=mark,
        warnings=(*warnings, *_not_at_the_lip(height, np.sqrt(np.diag(covariance)))),
    )


def measured_lips(site: Site) -> Lips:
    """The same, for what cannot be answered while an open outlet is not measured."""
    if site.placeholder and any(outlet.readings for outlet in site.outlets):
        raise DomainError(PLACEHOLDERS)
    lips = reduce_readings(site)
    missing = [o.label for o, h in zip(site.outlets, lips.height, strict=True) if np.isnan(h)]
    if missing and not lips.measured.any():
        raise DomainError(
            "no outlet is read yet; run dbox setup FILE, or write each reading in the file"
        )
    if missing:
        raise DomainError(
            f"no reading for open outlet {', '.join(missing)}: its share and so all others are "
            f'unknown; measure it, or give it state = "capped" if it is'
        )
    return lips


def lips_or_plan(site: Site) -> Lips:
    """Measured lips; while none is read, the level ones of a plan: known without error, as wished.

    Nothing that a verdict or a turn rests on takes these.
    """
    if not site.planned:
        return measured_lips(site)
    height = np.where([o.capped for o in site.outlets], np.inf, 0.0)
    covariance, repeats = np.zeros((height.size, height.size)), np.zeros(height.size)
    return Lips(
        height=height,
        covariance=covariance,
        repeats=repeats,
        spread=0.0,
        spread_from="plan",
        mark=0.0,
        warnings=(Note(what="plan: nothing measured"),),
    )


def without_placeholders(site: Site) -> Site:
    """The site with readings that are only placeholders left out, for what goes on without them."""
    if not site.placeholder:
        return site
    outlets = tuple(replace(outlet, readings=()) for outlet in site.outlets)
    return replace(site, outlets=outlets, placeholder=False)


def _not_at_the_lip(height: Array, error: Array) -> list[Note]:
    """Still water that just spilled stands at the lowest open lip; say where it does not."""
    open_lips = np.where(np.isfinite(height), height, np.inf)
    lowest = int(np.argmin(open_lips))
    over, doubt = float(open_lips[lowest]), _DOUBTFUL * float(error[lowest])
    if over < np.inf and over > doubt:
        return [Note(what="readings: all over still water", values={"over": over})]
    if over < -(doubt + CLINGING_WATER):
        return [Note(what="readings: under still water", values={"under": -over})]
    return []


def _spread(site: Site) -> tuple[float, str, float, float, tuple[Note, ...]]:
    """Spread of a reading, where it is from, what its being uncertain multiplies errors by,
    and the scatter that was seen.

    [m], [-], [m].
    """
    deviations = [np.subtract(o.readings, np.mean(o.readings)) for o in site.outlets if o.readings]
    freedom = sum(d.size - 1 for d in deviations)
    pooled = float(np.sqrt(sum(float(d @ d) for d in deviations) / max(freedom, 1)))
    seen = _jitter(pooled, site.mark or 0.0) if freedom >= _LEAST_FREEDOM else np.inf
    if site.spread is not None:
        # twice the stated spread from 3 or more differences comes by chance less than once in 100
        doubtful = freedom >= _LEAST_FREEDOM and pooled > 2.0 * site.spread * (1.0 + SAME)
        values = {"pooled": pooled, "stated": site.spread}
        note = Note(what="readings: wider than stated", values=values)
        return site.spread, "stated", 1.0, seen, (note,) if doubtful else ()
    if freedom >= _LEAST_FREEDOM:
        # heights on marks scatter by just so much now and then: rounding must not decide
        if pooled >= BEST_SPREAD * (1.0 - SAME):
            from scipy.special import ndtri, stdtrit

            return seen, "repeats", float(stdtrit(freedom, 0.95) / ndtri(0.95)), seen, ()
        values = {"pooled": pooled, "taken": BEST_SPREAD}
        note = Note(what="readings: finer than a ruler", values=values)
        return BEST_SPREAD, "repeats", 1.0, seen, (note,)
    note = Note(what="readings: spread not known", values={"taken": DEFAULT_SPREAD})
    return DEFAULT_SPREAD, "default", 1.0, seen, (note,)


def _jitter(pooled: float, mark: float) -> float:
    """Spread of readings apart from their marks, of which repeats scatter so much. [m]"""
    fine = np.linspace(0.0, max(pooled, mark), 513)
    scatter = np.sqrt(
        np.maximum(reading_variance(fine, mark, 1.0) - mark_variance(fine, mark), 0.0)
    )
    return float(np.interp(pooled, scatter, fine))


_TOLD = 0.05
"""Chance, were the box level, of lips that lie so much along a plane. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Plane(Result):
    """The least-squares plane of outlet heights; arrays are read-only."""

    slope_x: float  # Rise per run along the inlet direction. [-]
    slope_y: float  # Rise per run across it. [-]
    residual: Array  # (n,) Height of each outlet over the plane; NaN where it took no part. [m]
    warnings: tuple[Note, ...]  # What the plane cannot tell.
    # Whether the outlets lie along it rather than scatter about level: 95 % sure, so that three
    # outlets never tell.
    told: bool


def fit_plane(heights: ArrayLike, positions: ArrayLike) -> Plane | None:
    """Fit the plane to the outlets that have both a height and a position.

    heights [m], positions [m].

    Notes
    -----
    Where the outlets stand in one line, tilt across that line cannot be seen and is taken as 0;
    a warning says so. Three outlets always fit a plane exactly: their residuals tell nothing.
    Told by the F test of a regression, whose tail for two slopes is (1 + 2 F / m)^(-m / 2), m being
    what outlets there are beyond three (Abramowitz and Stegun 1964, 26.6.4; from memory).

    >>> plane = fit_plane([0.0, 0.01, 0.02, 0.013], [[0, 0], [1, 0], [1, 1], [0, 1]])
    >>> round(plane.slope_x, 4), round(plane.slope_y, 4), plane.residual.round(5).tolist()
    (0.0085, 0.0115, [-0.00075, 0.00075, -0.00075, 0.00075])
    """
    height, place = np.asarray(heights, np.float64), np.asarray(positions, np.float64)
    part = np.isfinite(height) & np.isfinite(place).all(-1)
    if np.count_nonzero(part) < 3:
        return None
    offsets = place[part] - place[part].mean(0)
    mean = height[part].mean()
    slopes, _, rank, _ = np.linalg.lstsq(offsets, height[part] - mean, rcond=1e-9)
    residual = np.full(height.shape, np.nan)
    residual[part] = height[part] - mean - offsets @ slopes
    few = {3: "tilt: three outlets", 4: "tilt: four outlets"}
    beyond, about, along = len(offsets) - 3, residual[part], offsets @ slopes
    odds = 1.0
    if beyond and rank == 2:
        odds = float((1.0 + (along @ along) / max(about @ about, 1e-30)) ** (-0.5 * beyond))
    what = "tilt: in one line" if rank < 2 else few.get(int(np.count_nonzero(part)))
    return Plane(
        slope_x=float(slopes[0]),
        slope_y=float(slopes[1]),
        residual=residual,
        warnings=(Note(what=what),) if what else (),
        told=odds < _TOLD,
    )


# Height over still water beyond which a lip that cannot be moved is asked about, where its hole
# has no top or a higher one. [m] (judgement)
_TALLEST = 0.1
# Repeats of one outlet may differ by so many spreads unasked. [-] (judgement)
_APART = 4.0
# Lips may be so many spreads from coming together unasked. [-] (judgement)
_SLACK = 2.0


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """Why a reading is asked about.

    under water   the lip lies so deep that water would still be running out over it
    reach         no turning of the inserts could bring this lip and the others together
    high          an insert that cannot be turned stands higher over the water than its hole is high
    apart         repeats of one outlet differ by more than reading errors do
    """

    why: str  # `under water`, `reach`, `high` or `apart`.
    # How deep the lip lies, how far from the reach of the inserts, how high it stands, or how far
    # the repeats differ. [m]
    amount: float
    # For `reach`, the outlet that it cannot be brought together with; None: still water.
    other: int | None = None


def doubt(site: Site, read: Site, outlet: int, heights: tuple[float, ...]) -> Doubt | None:
    """What is odd about the heights of one outlet; read: the box with them. [m]"""
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
    # the outlet read before that is the farthest from coming together with this one
    reach = Reach.of(read, reduce_readings(read).height)
    gap = np.maximum(reach.low - reach.high[outlet], reach.low[outlet] - reach.high)
    gap = np.where(reach.adjustable & np.isfinite(gap), gap, -np.inf)
    other = int(np.argmax(gap))
    if gap[other] <= _SLACK * spread:
        return None
    return Doubt(why="reach", amount=float(gap[other]), other=other)


WIDEST_SPREAD = 0.0127
"""One reading by any rule is good to less. [m] (judgement: 1/2 in)"""

FARTHEST_OFF = 0.1
"""How far inside the wall an opening may stand, in an insert. [m] (judgement)"""

USUAL_PIPE = 0.102
"""Inside of the outlet pipe that an insert turns in. [m] (4 in: common practice, no source)"""


def odd_notes(site: Site) -> Iterator[Note]:
    """Whatever of a site is possible and can hardly be meant."""
    if site.spread is not None and site.spread > WIDEST_SPREAD:
        yield Note(what="odd: spread", values={"spread": site.spread})
    drop = site.box.inlet_drop
    if drop is not None and drop < 0:
        yield Note(what="odd: inlet", values={"under": -drop})
    date = site.record.date
    if date and not _may_be_a_date(date):
        yield Note(what="odd: date", values={"date": date})
    for outlet in site.outlets:
        for note in _of_outlet(site, outlet):
            yield note.under(f"outlet {outlet.label}")


def _may_be_a_date(text: str) -> bool:
    """Whether it has a number in it and, where it is written as ISO 8601 does, is in the year."""
    if not re.fullmatch(r"\d{4}-\d\d-\d\d", text):
        return any(letter.isdigit() for letter in text)
    try:
        datetime.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _of_outlet(site: Site, outlet: Outlet) -> Iterator[Note]:
    rim, hole = site.box.rim, outlet.opening
    if rim is not None and outlet.readings and not outlet.capped:
        lip = sum(outlet.readings) / len(outlet.readings) - outlet.point_over_lip
        if lip >= rim:
            yield Note(what="odd: lip", values={"lip": lip, "rim": rim})
    wide = float(getattr(hole, "diameter", getattr(hole, "width", 0.0)))
    off = outlet.hole_offset or 0.0
    if off and USUAL_PIPE / 2 < wide / 2 + off < float("inf"):
        yield Note(what="odd: offset", values={"pipe": wide + 2 * off, "usual": USUAL_PIPE})
    inside, at = site.box.inside, outlet.position
    if inside and wide > min(inside):
        yield Note(what="odd: hole", values={"wide": wide, "wall": min(inside)})
    if inside and at is not None:
        if site.box.shape == "round":
            radius = inside[0] / 2
            far = radius - ((at[0] - radius) ** 2 + (at[1] - radius) ** 2) ** 0.5
        else:
            far = min(at[0], inside[0] - at[0], at[1], inside[-1] - at[1])
        if far > FARTHEST_OFF:
            yield Note(what="odd: place", values={"far": far})
