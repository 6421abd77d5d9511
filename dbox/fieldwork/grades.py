"""Falls of the pipes as read, how sure they are, and whether they are enough.

The fall of a piece by a rod is the difference of two readings, so its error is the root of the sum
of their squared errors, and the probability that it falls at least a wanted height is

    P(fall >= wanted) = Phi((fall - wanted) / error)

with Phi the normal distribution. A belly is a station that stands lower than the straight line
between its two neighbours by more than the error. The straight grade through all stations is the
weighted least-squares line.

A level of length L with a block b under its low end and the bubble between the lines has fallen b
in L. Levels laid end to end add up: after k of them the height is known to

    sqrt(k s^2 + (k L e)^2)

with s the spread of one block with its bubble, which is another at every place, and e the error of
the level itself, which is the same at every place as long as it is not turned end for end. Where it
is set down once a stick of pipe, block and spread are taken in proportion. The best straight grade
through such steps is that from the first to the last.

A trench bottom is to be level along. It is flat where each two of its stations are within the
tolerance of each other with 95 per cent; it is out of level where two of them surely are not, held
the surer the more pairs there are, as bellies are; and it leans the way that its line falls.

Every run of pipe is looked at piece by piece and as a whole, and held to limits whose values and
sources stand in `survey`. The box's inlet is held against the start of each
header. A header's straight grade is held against critical depth, since the model of a free spill
fails on a flatter one. What the rod cannot see is left out: an instrument that is off level tilts
every run alike, and pipe between two stations may do as it likes.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.falls_plan import Aims, aim
from dbox.fieldwork.inlet import DEFAULT_FALL
from dbox.fieldwork.readings import PLACEHOLDERS
from dbox.fieldwork.shares import SIDE_95, SURE, target_shares
from dbox.fieldwork.site import Flow, Site
from dbox.fieldwork.survey import (
    DEFAULT_BLOCK_SPREAD,
    DEFAULT_LEVEL_SPREAD,
    DEFAULT_ROD_SPREAD,
    LEANS,
    Limit,
    Run,
    Survey,
)
from dbox.hydraulics.pipes import CAPACITY, full_flow, header_check
from dbox.keys import said
from dbox.notes import Note

_ABOUT = 1.2
"""Over the greatest spacing, what still counts as about it. [-] (judgement)"""

_UNLIKE = 2.0
"""Standard deviations beyond which the rod speaks against the drop entered. [-] (judgement)"""

_ROUNDING = 1e-9
"""Rounding that is no further reading. [-] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Falls:
    """Falls held to a limit; arrays are read-only."""

    fall: Array = said("m")  # (...) Height lost.
    error: Array = said("m")  # (...) Its standard deviation.
    wanted: Array  # (...) Least height that should be lost. [m]
    probability: Array  # (...) That it falls at least that much. [-]
    back_probability: Array  # (...) That it rises. [-]

    @property
    def verdicts(self) -> tuple[str, ...]:
        """`enough`, `too flat`, `back-pitched` or `cannot tell`, for each fall in C order."""
        enough = self.probability
        words = np.select(
            [self.back_probability >= SURE, enough >= SURE, enough <= 1.0 - SURE],
            ["back-pitched", "enough", "too flat"],
            "cannot tell",
        )
        return tuple(words.ravel().tolist())

    @property
    def settling_repeats(self) -> Array:
        """How many times as many readings would give a sure answer; 1 where it is. [-] (...)."""
        with np.errstate(divide="ignore"):
            more = (SIDE_95 * self.error / np.abs(self.fall - self.wanted)) ** 2
        result: Array = np.maximum(np.ceil(more - _ROUNDING), 1.0)
        return result


@dataclass(frozen=True, kw_only=True, eq=False)
class Line:
    """The straight grade through stations; arrays are read-only."""

    slope: float  # Fall over length of the least-squares line. [-]
    slope_error: float  # Its standard deviation. [-]
    residual: Array  # (n,) Height of each station over the line. [m]


def hold_to(fall: ArrayLike, error: ArrayLike, wanted: ArrayLike) -> Falls:
    """Hold falls to the least they should be; fall [m], error [m], wanted [m].

    >>> held = hold_to([0.02, 0.01, 0.001, -0.01], 0.003, 0.01)
    >>> held.verdicts
    ('enough', 'cannot tell', 'too flat', 'back-pitched')
    """
    from scipy.special import ndtr

    given = np.broadcast_arrays(*(np.array(v, np.float64) for v in (fall, error, wanted)))
    lost, spread, least = (values.copy() for values in given)
    enough, back = np.asarray(ndtr((lost - least) / spread)), np.asarray(ndtr(-lost / spread))
    freeze(lost, spread, least, enough, back)
    return Falls(fall=lost, error=spread, wanted=least, probability=enough, back_probability=back)


def fit_line(at: Array, height: Array, error: Array) -> Line:
    """Fit the weighted least-squares line through stations; at [m], height [m], error [m].

    >>> fall = fit_line(np.array([0.0, 1.0, 2.0]), np.array([0.0, -0.01, -0.02]), np.ones(3))
    >>> round(fall.slope, 12), round(fall.slope_error, 6)
    (0.01, 0.707107)
    """
    line, covariance = np.polyfit(at, height, 1, w=1.0 / error, cov="unscaled")
    residual = height - np.polyval(line, at)
    freeze(residual)
    return Line(
        slope=-float(line[0]), slope_error=float(covariance[0, 0]) ** 0.5, residual=residual
    )


def find_bellies(at: Array, height: Array, covariance: Array) -> tuple[Array, BoolArray]:
    """Look for stations that sag; at [m], height [m], covariance [m2] -> [m].

    Notes
    -----
    Of many sound stations one in twenty would seem to sag, so the surer the more there are: all of
    a straight run together stay without a belly with probability `SURE` at least.
    """
    from scipy.special import ndtri

    sag, belly = np.full(at.shape, np.nan), np.zeros(at.shape, dtype=bool)
    if at.size > 2:
        upper = (at[2:] - at[1:-1]) / (at[2:] - at[:-2])
        lower = 1 - upper
        sag[1:-1] = upper * height[:-2] + lower * height[2:] - height[1:-1]
        own, near, far = (np.diag(covariance, away) for away in range(3))
        variance = own[1:-1] + upper**2 * own[:-2] + lower**2 * own[2:]
        variance += 2 * (upper * lower * far - upper * near[:-1] - lower * near[1:])
        sure = float(ndtri(1.0 - (1.0 - SURE) / (at.size - 2)))
        belly[1:-1] = sag[1:-1] > sure * np.sqrt(variance)
    return sag, belly


@dataclass(frozen=True, kw_only=True, eq=False)
class Flatness:
    """How level a trench bottom is along it."""

    difference: float = said("m")  # Highest station over the lowest.
    error: float = said("m")  # Its standard deviation.
    high: int = said(hidden=True)  # The highest station.
    low: int = said(hidden=True)  # The lowest one.
    lean: float = said("m")  # Height lost from its upper end to its far one, by the straight grade.
    lean_error: float = said("m")  # Its standard deviation.
    allowed: Limit | None = said(hidden=True)  # Greatest difference; None where nobody said. [m]
    meant: str | None = said(hidden=True)  # One of `LEANS` where its design has it lean one way.
    verdict: str  # `flat`, `leans toward its end` or `the box`, `uneven` or `cannot tell`.

    @property
    def against(self) -> bool:
        """Whether it leans the way that it is not meant to."""
        leans = self.meant is not None and self.verdict.startswith("leans")
        return leans and self.verdict != f"leans {self.meant}"

    @property
    def counts(self) -> str:
        """What it adds to the verdict on all runs: `enough`, `wrong` or `cannot tell`."""
        if self.verdict == "flat":
            return "enough"
        held = self.allowed is not None or self.against
        return "wrong" if held and self.verdict != "cannot tell" else "cannot tell"


def find_flatness(
    height: Array, covariance: Array, line: Line, span: float, run: Run, allowed: Limit | None
) -> Flatness:
    """Tell how level a trench bottom is; height [m], covariance [m2], span [m]."""
    from scipy.special import ndtri

    apart = height[:, None] - height
    error = _apart_error(covariance)
    lean, lean_error = line.slope * span, line.slope_error * span
    way = ""
    if abs(lean) > SIDE_95 * lean_error:
        way = LEANS[0] if lean > 0 else LEANS[1]
    verdict = "cannot tell"
    if way and run.lean not in (None, way):
        verdict = f"leans {way}"
    elif allowed is None:
        verdict = f"leans {way}" if way else verdict
    else:
        pairs = height.size * (height.size - 1) / 2
        out = apart - allowed.value > float(ndtri(1 - (1 - SURE) / pairs)) * error
        if out[0, -1] or out[-1, 0]:
            verdict = f"leans {LEANS[0] if out[0, -1] else LEANS[1]}"
        elif out.any():
            verdict = "uneven"
        elif np.all(np.abs(apart) + SIDE_95 * error <= allowed.value):
            verdict = "flat"
    high, low = int(np.argmax(height)), int(np.argmin(height))
    return Flatness(
        difference=float(apart[high, low]),
        error=float(error[high, low]),
        high=high,
        low=low,
        lean=lean,
        lean_error=lean_error,
        allowed=allowed,
        meant=run.lean,
        verdict=verdict,
    )


def _apart_error(covariance: Array) -> Array:
    """Standard deviation of the height of each station over each other. [m] (n, n)"""
    own = np.diag(covariance)
    return np.sqrt(np.maximum(own[:, None] + own - 2.0 * covariance, 0.0))


@dataclass(frozen=True, kw_only=True, eq=False)
class HeaderFlow:
    """Whether a header is steep at each flow of the site; arrays are read-only."""

    flow: Array = said("m3/s")  # (flows,) Its target share of the inflow.
    normal_depth: Array = said("m")  # (flows,) At the least-squares grade.
    critical_depth: Array = said("m")  # (flows,)
    verdicts: tuple[str, ...]  # `steep`, `flatter than critical` or `cannot tell`, for each flow.


@dataclass(frozen=True, kw_only=True, eq=False)
class RunGrade:
    """One run as read; arrays are read-only."""

    run: Run  # What was read.
    # Least fall over length [-]; of a trench how far it may be out of level [m], None where nobody
    # said.
    limit: Limit | None
    at: Array = said("m")  # (n,) Distance of each station along the run.
    height: Array = said("m")  # (n,) Mean height over the run's datum.
    error: Array = said("m")  # (n,) Its standard deviation; by blocks, over the first station.
    pieces: Falls  # From each station to the next, of shape (pieces,), one less than the stations.
    whole: Falls  # From the first station to the last, of shape ().
    line: Line  # The straight grade.
    # (n,) How far each station stands under the line between its neighbours; NaN at the ends.
    sag: Array = said("m")
    belly: BoolArray  # (n,) Whether it sags by more than the error; of a trench, no matter.
    # (n,) Depth of water that a lower end of the run, standing higher, would hold there.
    pond: Array = said("m")
    # Most that the pipe carries with a free surface at the straight grade; NaN where its diameter
    # is not known or it does not fall.
    capacity: float = said("m3/s")
    header: HeaderFlow | None  # None unless it is a header of known diameter.
    flatness: Flatness | None  # None unless it is a trench bottom.

    @property
    def method(self) -> str:
        """How it was read: `rod`, `elevation` or `level and block`."""
        return self.run.datum.partition(":")[0]

    @property
    def length(self) -> Array:
        """Length of each of the pieces between stations. [m] (pieces,)."""
        return np.diff(self.at)

    @property
    def span(self) -> float:
        """From the first station to the last. [m]"""
        return float(self.at[-1] - self.at[0])

    @property
    def verdicts(self) -> tuple[str, ...]:
        """What its pieces, the whole of it, its sags and its flow come to, one after another."""
        if self.flatness:
            return (self.flatness.counts,)
        # a sag that drains is a change of grade; one that holds water is wrong
        bellies = ("belly",) * int((self.belly & (self.pond > 0)).sum())
        flows = self.header.verdicts if self.header else ()
        return (*self.pieces.verdicts, *self.whole.verdicts, *bellies, *flows)

    @property
    def verdict(self) -> str:
        """`outside` where anything is wrong with it, else `cannot tell`, else `within`."""
        return _overall(self.verdicts)


@dataclass(frozen=True, kw_only=True, eq=False)
class Drop:
    """How much higher the lower end of one run stands than the upper end of another."""

    upper: str  # Name of the upper run.
    lower: str  # Name of the lower run.
    outlet: str  # Label of the outlet.
    limit: Limit  # Least drop. [m]
    fall: Falls  # Of shape ().


@dataclass(frozen=True, kw_only=True, eq=False)
class Grading:
    """All runs as read."""

    site: Site  # The box.
    survey: Survey  # What was read.
    flows: tuple[Flow, ...]  # The flows at which the headers were looked at.
    spread: float  # Standard deviation of one rod reading. [m]
    runs: tuple[RunGrade, ...]  # In the order of the file.
    # From the box's inlet to each header that was read over the same datum.
    drops: tuple[Drop, ...]
    plan: Aims | None  # What is planned; None where there is no plan of heights.
    level_spread: float  # Fall over length by which a spirit level errs. [-]
    block_spread: float  # Standard deviation of one block. [m]
    warnings: tuple[Note, ...]  # What could not be looked at, and why.

    @property
    def verdict(self) -> str:
        """`outside` where anything is wrong, else `cannot tell`, else `within`.

        Where nothing is read, `outside` or `planned`.
        """
        if not self.runs:
            return "outside" if self.plan and self.plan.short else "planned"
        drops = [v for d in self.drops for v in d.fall.verdicts]
        return _overall([*drops, *(word for grade in self.runs for word in grade.verdicts)])


def _overall(said: Sequence[str]) -> str:
    sound = {"enough", "steep"}
    if all(word in sound for word in said):
        return "within"
    return "cannot tell" if all(w in {*sound, "cannot tell"} for w in said) else "outside"


def grade(site: Site) -> Grading:
    """Work out the falls of every run of a site, and what its plan aims for."""
    survey = site.grades or Survey()
    plan = aim(site) if site.plan and (site.plan.begins or not survey.runs) else None
    if not survey.runs and plan is None:
        raise DomainError(
            "no rod readings and no plan; dbox grades FILE --ask asks for them, or write [grades] "
            "with a [[grades.run]] for each pipe, or before digging a [plan]"
        )
    if survey.placeholder and survey.runs:
        raise DomainError(PLACEHOLDERS)
    # none of them can be 0
    spread = survey.spread or DEFAULT_ROD_SPREAD
    tilt = survey.level_spread or DEFAULT_LEVEL_SPREAD
    block = survey.block_spread or DEFAULT_BLOCK_SPREAD
    runs = tuple(_run_grade(site, survey, run, spread, tilt, block) for run in survey.runs)
    limit = survey.limits.inlet_drop
    drops = tuple(
        Drop(
            upper=upper.run.name,
            lower=lower.run.name,
            outlet=lower.run.outlet or "",
            limit=limit,
            fall=hold_to(
                upper.height[-1] - lower.height[0],
                np.hypot(upper.error[-1], lower.error[0]),
                limit.value,
            ),
        )
        for upper in runs
        if upper.run.kind == "supply pipe"
        for lower in runs
        if lower.run.kind == "header" and lower.run.datum == upper.run.datum
    )
    return Grading(
        site=site,
        survey=survey,
        flows=site.flows,
        spread=spread,
        runs=runs,
        drops=drops,
        plan=plan,
        level_spread=tilt,
        block_spread=block,
        warnings=tuple(_notes(site, survey, runs, drops, plan)),
    )


def _laid(site: Site, run: Run) -> float | None:
    """Inside diameter of the pipe that is planned or surged where a run was read. [m]"""
    headers = zip((o.label for o in site.outlets), site.works.headers, strict=False)
    laid = {"supply pipe": site.works.supply, "header": dict(headers).get(run.outlet or "")}
    pipe = laid.get(run.kind)
    return pipe.diameter if pipe else None


def _run_grade(
    site: Site, survey: Survey, run: Run, spread: float, tilt: float, block: float
) -> RunGrade:
    run = run if run.diameter else replace(run, diameter=_laid(site, run))
    at, height, covariance = (_stepped if run.blocks else _read)(run, spread, tilt, block)
    error, apart = np.sqrt(np.diag(covariance)), _apart_error(covariance)
    limit, span = survey.limits.of(run.kind), float(at[-1] - at[0])
    if run.blocks:
        slope = float(height[0] - height[-1]) / span
        line = Line(
            slope=slope, slope_error=float(apart[0, -1]) / span, residual=height + slope * at
        )
    else:
        line = fit_line(at, height, error)
    sag, belly = find_bellies(at, height, covariance)
    pond = np.maximum.accumulate(height[::-1])[::-1] - height
    freeze(at, height, error, line.residual, sag, belly, pond)
    trench = run.kind == "trench"
    capacity = np.nan
    if run.diameter is not None and line.slope > 0 and not trench:
        full = full_flow(run.diameter, line.slope, roughness=run.roughness)
        capacity = CAPACITY * float(full)
    least = limit.value if limit and not trench else 0.0
    return RunGrade(
        run=run,
        limit=limit,
        at=at,
        height=height,
        error=error,
        pieces=hold_to(-np.diff(height), np.diag(apart, 1), least * np.diff(at)),
        whole=hold_to(height[0] - height[-1], apart[0, -1], least * span),
        line=line,
        sag=sag,
        belly=belly,
        pond=pond,
        capacity=capacity,
        header=_header_flow(site, run, line),
        flatness=find_flatness(height, covariance, line, span, run, limit) if trench else None,
    )


def _read(run: Run, spread: float, *_: float) -> tuple[Array, Array, Array]:
    """Distances, heights and their covariance, read one by one. [m, m, m2]"""
    at = np.array([station.at for station in run.stations])
    height = np.array([float(np.mean(station.heights)) for station in run.stations])
    repeats = np.array([len(station.heights) for station in run.stations])
    return at, height, np.diag(spread**2 / repeats)


def _stepped(run: Run, _: float, tilt: float, block: float) -> tuple[Array, Array, Array]:
    """The same, stepped off with a level and blocks from the upper end."""
    if run.level is None:
        raise DomainError(f'{run.name} has blocks, but no level; add level = "4 ft"')
    step = run.every or run.level
    part, count = step / run.level, np.arange(len(run.blocks) + 1.0)
    at, height = count * step, -part * np.cumsum([0.0, *run.blocks])
    apart = (part * block) ** 2 * np.minimum.outer(count, count)
    return at, height, apart + tilt**2 * np.outer(at, at)


def _header_flow(site: Site, run: Run, line: Line) -> HeaderFlow | None:
    if run.kind != "header" or run.diameter is None:
        return None
    labels = [outlet.label for outlet in site.outlets]
    if run.outlet not in labels:
        raise DomainError(f"{run.name} leads away from outlet {run.outlet}, which is not there")
    flow = np.array([f.inflow for f in site.flows]) * target_shares(site)[labels.index(run.outlet)]
    slopes = line.slope + SIDE_95 * line.slope_error * np.array([[-1.0], [0.0], [1.0]])
    check = header_check(flow, run.diameter, slopes, roughness=run.roughness)
    least, most = check.steep[0], check.steep[2]
    words = np.where(least, "steep", np.where(most, "cannot tell", "flatter than critical"))
    freeze(flow)
    return HeaderFlow(
        flow=flow,
        normal_depth=check.normal_depth[1],
        critical_depth=check.critical_depth[1],
        verdicts=tuple(words.tolist()),
    )


def _notes(
    site: Site,
    survey: Survey,
    runs: tuple[RunGrade, ...],
    drops: tuple[Drop, ...],
    plan: Aims | None,
) -> Iterator[Note]:
    """What could not be looked at, and where the rod speaks against what was entered."""
    if survey.spread is None and any(not g.run.blocks for g in runs):
        yield Note(what="grades: no spread", values={"spread": DEFAULT_ROD_SPREAD})
    if any(g.run.blocks for g in runs) and None in (survey.level_spread, survey.block_spread):
        yield Note(what="grades: level not stated")
    if plan and plan.assumed:
        taken = {"fall": DEFAULT_FALL, "outlets": plan.assumed}
        yield Note(what="plan: fall not given", values=taken)
    if plan and not any(site.works.headers):
        yield Note(what="plan: no header")
    elif plan and not any(site.works.trenches):
        yield Note(what="plan: no trench")
    loose = [g.run.name for g in runs if g.flatness and g.flatness.allowed is None]
    if loose:
        yield Note(what="grades: no trench tolerance", where=", ".join(loose))
    spacing = survey.limits.spacing
    far = [g.run.name for g in runs if spacing and g.length.max() > _ABOUT * spacing.value]
    if spacing is not None and far:
        values: dict[str, float | str] = {"spacing": spacing.value, "source": spacing.source}
        yield Note(what="grades: stations far apart", where=", ".join(far), values=values)
    blind = [g.run.name for g in runs if g.run.kind == "header" and g.run.diameter is None]
    if blind:
        yield Note(what="grades: no diameter", where=", ".join(blind))
    most = max(site.flows, key=lambda flow: flow.inflow)
    for g in runs:
        if g.run.kind == "supply pipe" and g.capacity < most.inflow:
            yield Note(what="grades: runs full", where=g.run.name, values={"flow": most.name})
    entered = site.box.inlet_drop
    if entered is not None and drops:
        least = min(drops, key=lambda drop: float(drop.fall.fall))
        read = float(least.fall.fall)
        if abs(read - entered) > _UNLIKE * float(least.fall.error):
            values = {"entered": entered, "read": read}
            yield Note(what="grades: entered drop", values={**values, "outlet": least.outlet})
