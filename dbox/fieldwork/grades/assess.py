"""How much does every pipe fall, and can the rod tell whether that is enough?

Every run of pipe is looked at piece by piece and as a whole (`falls` says how), and held to limits
whose values and sources stand in `survey`. The box's inlet is held against the start of each
header. A header's straight grade is held against critical depth, since the model of a free spill
fails on a flatter one. What the rod cannot see is left out: an instrument that is off level tilts
every run alike, and pipe between two stations may do as it likes.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.grades.falls import QUANTILE, Falls, Line, find_bellies, fit_line, hold_to
from dbox.fieldwork.readings import PLACEHOLDERS
from dbox.fieldwork.records.survey import DEFAULT_ROD_SPREAD, Limit, Run, Survey
from dbox.fieldwork.site import Flow, Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.pipes import CAPACITY, full_flow, header_check

_ABOUT = 1.2
"""Over the greatest spacing, what still counts as about it. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class HeaderFlow:
    """Whether a header is steep at each flow of the site; arrays are read-only.

    Parameters
    ----------
    flow : ndarray, shape (flows,)
        Its target share of the inflow. [m3/s]
    normal_depth, critical_depth : ndarray, shape (flows,)
        At the least-squares grade. [m]
    verdicts : tuple of str
        `steep`, `flatter than critical` or `cannot tell`, for each flow.
    """

    flow: Array
    normal_depth: Array
    critical_depth: Array
    verdicts: tuple[str, ...]


@dataclass(frozen=True, kw_only=True, eq=False)
class RunGrade:
    """One run as read; arrays are read-only.

    Parameters
    ----------
    run : Run
        What was read.
    limit : Limit
        Least fall over length. [-]
    at : ndarray, shape (n,)
        Distance of each station along the run. [m]
    height, error : ndarray, shape (n,)
        Mean height over the run's datum, and its standard deviation. [m]
    pieces : Falls
        From each station to the next, of shape (pieces,), one less than the stations.
    whole : Falls
        From the first station to the last, of shape ().
    line : Line
        The straight grade.
    sag : ndarray, shape (n,)
        How far each station stands under the line between its neighbours; NaN at the ends. [m]
    belly : ndarray of bool, shape (n,)
        Whether it sags by more than the rod's error.
    pond : ndarray, shape (n,)
        Depth of water that a lower end of the run, standing higher, would hold there. [m]
    capacity : float
        Most that the pipe carries with a free surface at the straight grade; NaN where its
        diameter is not known or it does not fall. [m3/s]
    header : HeaderFlow or None
        None unless it is a header of known diameter.
    """

    run: Run
    limit: Limit
    at: Array
    height: Array
    error: Array
    pieces: Falls
    whole: Falls
    line: Line
    sag: Array
    belly: BoolArray
    pond: Array
    capacity: float
    header: HeaderFlow | None

    @property
    def length(self) -> Array:
        """Length of each of the pieces between stations. [m] (pieces,)."""
        return np.diff(self.at)


@dataclass(frozen=True, kw_only=True, eq=False)
class Drop:
    """How much higher the lower end of one run stands than the upper end of another.

    Parameters
    ----------
    upper, lower : str
        Names of the two runs.
    outlet : str
        Label of the outlet.
    limit : Limit
        Least drop. [m]
    fall : Falls
        Of shape ().
    """

    upper: str
    lower: str
    outlet: str
    limit: Limit
    fall: Falls


@dataclass(frozen=True, kw_only=True, eq=False)
class Grading:
    """All runs as read.

    Parameters
    ----------
    survey : Survey
        What was read.
    flows : tuple of Flow
        The flows at which the headers were looked at.
    spread : float
        Standard deviation of one rod reading. [m]
    runs : tuple of RunGrade
        In the order of the file.
    drops : tuple of Drop
        From the box's inlet to each header that was read over the same datum.
    warnings : tuple of str
        What could not be looked at, and why.
    """

    survey: Survey
    flows: tuple[Flow, ...]
    spread: float
    runs: tuple[RunGrade, ...]
    drops: tuple[Drop, ...]
    warnings: tuple[str, ...]

    @property
    def verdict(self) -> str:
        """`outside` where anything is wrong, else `cannot tell`, else `within`."""
        said = [v for d in self.drops for v in d.fall.verdicts]
        for grade in self.runs:
            said += [*grade.pieces.verdicts, *grade.whole.verdicts]
            # a sag that drains is a change of grade; one that holds water is wrong
            said += ["belly"] * int((grade.belly & (grade.pond > 0)).sum())
            said += grade.header.verdicts if grade.header else ()
        sound = {"enough", "steep"}
        if all(word in sound for word in said):
            return "within"
        return "cannot tell" if all(w in {*sound, "cannot tell"} for w in said) else "outside"


def grade(site: Site) -> Grading:
    """Work out the falls of every run of a site.

    Parameters
    ----------
    site : Site
        With rod readings.

    Returns
    -------
    Grading
        Every fall with the probability that it is enough.

    Raises
    ------
    DomainError
        Where nothing was read, the readings are placeholders, or a header leads away from an outlet
        that is not there.
    """
    survey = site.grades
    if survey is None or not survey.runs:
        raise DomainError("no rod readings; add [grades] and under it a [[grades.run]] for each")
    if survey.placeholder:
        raise DomainError(PLACEHOLDERS)
    spread = DEFAULT_ROD_SPREAD if survey.spread is None else survey.spread
    runs = tuple(_run_grade(site, survey, run, spread) for run in survey.runs)
    drops = tuple(
        _drop(survey, upper, lower)
        for upper in runs
        if upper.run.kind == "supply pipe"
        for lower in runs
        if lower.run.kind == "header" and lower.run.datum == upper.run.datum
    )
    return Grading(
        survey=survey,
        flows=site.flows,
        spread=spread,
        runs=runs,
        drops=drops,
        warnings=_warnings(site, survey, runs, drops),
    )


def _run_grade(site: Site, survey: Survey, run: Run, spread: float) -> RunGrade:
    at = np.array([station.at for station in run.stations])
    height = np.array([float(np.mean(station.heights)) for station in run.stations])
    repeats = np.array([len(station.heights) for station in run.stations])
    error = spread / np.sqrt(repeats)
    limit, line = survey.limits.fall(run.kind), fit_line(at, height, error)
    sag, belly = find_bellies(at, height, error)
    pond = np.maximum.accumulate(height[::-1])[::-1] - height
    freeze(at, height, error, sag, belly, pond)
    capacity = np.nan
    if run.diameter is not None and line.slope > 0:
        full = full_flow(run.diameter, line.slope, roughness=run.roughness)
        capacity = CAPACITY * float(full)
    return RunGrade(
        run=run,
        limit=limit,
        at=at,
        height=height,
        error=error,
        pieces=hold_to(
            -np.diff(height), np.hypot(error[1:], error[:-1]), limit.value * np.diff(at)
        ),
        whole=hold_to(
            height[0] - height[-1], np.hypot(error[0], error[-1]), limit.value * (at[-1] - at[0])
        ),
        line=line,
        sag=sag,
        belly=belly,
        pond=pond,
        capacity=capacity,
        header=_header_flow(site, run, line),
    )


def _header_flow(site: Site, run: Run, line: Line) -> HeaderFlow | None:
    if run.kind != "header" or run.diameter is None:
        return None
    labels = [outlet.label for outlet in site.outlets]
    if run.outlet not in labels:
        raise DomainError(f"{run.name} leads away from outlet {run.outlet}, which is not there")
    share = target_shares(site)[labels.index(run.outlet)]
    flow = np.array([f.inflow for f in site.flows]) * share
    slopes = line.slope + QUANTILE * line.slope_error * np.array([[-1.0], [0.0], [1.0]])
    check = header_check(flow, run.diameter, slopes, roughness=run.roughness)
    least, most = check.steep[0], check.steep[2]
    words = np.where(least, "steep", np.where(most, "cannot tell", "flatter than critical"))
    freeze(flow)
    return HeaderFlow(
        flow=flow,
        normal_depth=check.normal_depth[1],
        critical_depth=check.critical_depth[1],
        verdicts=tuple(str(word) for word in words),
    )


def _drop(survey: Survey, upper: RunGrade, lower: RunGrade) -> Drop:
    limit = survey.limits.inlet_drop
    fall = hold_to(
        upper.height[-1] - lower.height[0],
        np.hypot(upper.error[-1], lower.error[0]),
        np.asarray(limit.value),
    )
    return Drop(
        upper=upper.run.name,
        lower=lower.run.name,
        outlet=lower.run.outlet or "",
        limit=limit,
        fall=fall,
    )


def _warnings(
    site: Site, survey: Survey, runs: tuple[RunGrade, ...], drops: tuple[Drop, ...]
) -> tuple[str, ...]:
    said = []
    if survey.spread is None:
        said.append(
            f"no spread stated: one rod reading is taken to be good to "
            f"{1000 * DEFAULT_ROD_SPREAD:.1f} mm (1/8 in, common practice)"
        )
    spacing = survey.limits.spacing
    most = np.inf if spacing is None else _ABOUT * spacing.value
    far = [g.run.name for g in runs if g.length.max() > most]
    if spacing is not None and far:
        said.append(
            f"{', '.join(far)}: stations farther apart than about {spacing.value / 0.3048:.3g} ft "
            f"({spacing.source}); a belly between them is not seen"
        )
    blind = [g.run.name for g in runs if g.run.kind == "header" and g.run.diameter is None]
    if blind:
        said.append(
            f"{', '.join(blind)}: no pipe diameter, so whether it is flatter than critical is not "
            "known"
        )
    said += _overfull(site, runs)
    said += _typed_drop(site, drops)
    return tuple(said)


def _overfull(site: Site, runs: tuple[RunGrade, ...]) -> list[str]:
    most = max(site.flows, key=lambda flow: flow.inflow)
    return [
        f"{g.run.name}: {most.name} is more than it carries with a free surface; it runs full"
        for g in runs
        if g.run.kind == "supply pipe" and g.capacity < most.inflow
    ]


def _typed_drop(site: Site, drops: tuple[Drop, ...]) -> list[str]:
    """Say where the rod and the inlet drop that was entered for the box disagree."""
    typed = site.box.inlet_drop
    if typed is None or not drops:
        return []
    least = min(drops, key=lambda drop: float(drop.fall.fall))
    if abs(float(least.fall.fall) - typed) <= 2 * float(least.fall.error):
        return []
    return [
        f"the box's inlet drop is entered as {1000 * typed:.0f} mm; by the rod it is "
        f"{1000 * float(least.fall.fall):.0f} mm over outlet {least.outlet}"
    ]
