"""What does not fit together in the `[grades]` and the `[plan]` of a scenario.

grades.run[2].station[3].at is not beyond the station before it; list them in the order of the
water's way
"""

from collections.abc import Mapping, Sequence
from itertools import pairwise

from dbox.errors import did_you_mean, show
from dbox.fieldwork.survey import Plan, Run, Survey
from dbox.files.read_tables import Faults
from dbox.keys import keys_of

MOST_STATIONS = 2000
"""Stations of all runs together."""
MOST_ROD = 10.0
"""Greatest reading of a rod. [m]"""


def check_survey(survey: Survey, labels: Sequence[str], faults: Faults, *, planned: bool) -> None:
    """Tell what does not fit in a survey; labels: of the outlets."""
    if not survey.runs and not planned:
        fault = "grades has no runs; add [[grades.run]] for each pipe, or leave it out"
        faults.tell(fault, "grades.run")
    if sum(len(run.stations) + len(run.blocks) for run in survey.runs) > MOST_STATIONS:
        faults.tell(f"grades has more than {MOST_STATIONS} stations; leave some out")
        return
    for number, run in enumerate(survey.runs, start=1):
        place = f"grades.run[{number}]"
        faults.complete(run, place)
        _check_outlet(place, run, labels, faults)
        if run.lean is not None and run.kind not in ("trench", None):
            faults.tell(f"{place}.lean has no meaning for a {run.kind}; leave it out")
        if run.blocks:
            _check_blocks(place, run, faults)
        elif not any(faults.refused(f"{place}.{key}") for key in ("station", "blocks")):
            _check_stations(place, run, faults)
    faults.names("grades.run", {i: run.name for i, run in enumerate(survey.runs) if run.name})
    for name in keys_of(type(survey.limits)):
        limit = getattr(survey.limits, name)
        if limit is not None and not limit.default:
            faults.complete(limit, f"grades.limits.{name}")


def _check_outlet(place: str, run: Run, labels: Sequence[str], faults: Faults) -> None:
    """A header leads away from an outlet that is there, a trench may; nothing else does."""
    if run.kind not in ("header", "trench"):
        if run.outlet is not None and run.kind is not None:
            faults.tell(f"{place}.outlet has no meaning for a {run.kind}; leave it out")
    elif run.outlet is None:
        if run.kind == "header":
            fault = f'{place} has no outlet; add the label of its outlet, as outlet = "1"'
            faults.tell(fault, f"{place}.outlet")
    elif run.outlet not in labels and labels:
        hint = did_you_mean(run.outlet, labels)
        faults.tell(f"{place}.outlet is {show(run.outlet)}, which is no outlet; {hint}")


def check_plan(plan: Plan, capped: Mapping[str, bool], faults: Faults) -> None:
    """Tell what does not fit in a plan; capped: each outlet by its label."""
    if plan.by == "rod":
        heights = {
            name: getattr(plan, name)
            for name in ("tank_outlet", "box_inlet", "tank_ground", "box_ground")
        }
        for number, line in enumerate(plan.lines, start=1):
            place = f"line[{number}]"
            heights[f"{place}.bottom"] = line.bottom
            heights |= {f"{place}.ground[{i}]": g for i, g in enumerate(line.ground, start=1)}
        for name, height in heights.items():
            if height is not None and not 0 <= height <= MOST_ROD:
                faults.tell(
                    f"plan.{name} is {height:g} m; a rod reading is between 0 and {MOST_ROD:g} m: "
                    'check its unit, or write by = "elevation" under [plan]'
                )
    elif plan.benchmark_rod is not None and plan.benchmark is None:
        fault = 'plan has a benchmark_rod and no benchmark; add benchmark = "100 ft"'
        faults.tell(fault, "plan.benchmark")
    for number, line in enumerate(plan.lines, start=1):
        place = f"plan.line[{number}]"
        if faults.complete(line, place) and capped.get(line.outlet, True):
            hint = "is capped; leave it out" if line.outlet in capped else (
                f"is no outlet; {did_you_mean(line.outlet, capped)}")  # fmt: skip
            faults.tell(f"{place}.outlet is {show(line.outlet)}, which {hint}")
    named = {i: line.outlet for i, line in enumerate(plan.lines) if line.outlet}
    faults.names("plan.line", named, "outlet")


def _check_blocks(place: str, run: Run, faults: Faults) -> None:
    """Blocks go with the length of their level, and with no stations."""
    if run.level is None:
        fault = f'{place} has blocks and no level; add its length, as level = "4 ft"'
        faults.tell(fault, f"{place}.level", "grades.level")
    elif run.every is not None and run.every < run.level:
        faults.tell(f"{place}.every is less than the length of the level; leave it out")
    if run.stations:
        faults.tell(f"{place} has both blocks and stations; write it as two runs")


def _check_stations(place: str, run: Run, faults: Faults) -> None:
    """Stations are read, in one of two ways, and listed as the water goes."""
    if len(run.stations) < 2:
        faults.tell(f"{place} has {len(run.stations)} stations; a fall takes at least two")
        return
    kinds = {"rod" if s.rod else "elevation" for s in run.stations if s.rod or s.elevation}
    if len(kinds) == 2:
        faults.tell(f"{place} has both rod readings and elevations; write it in one of them")
    for number, station in enumerate(run.stations, start=1):
        here = f"{place}.station[{number}]"
        if station.at is None:
            faults.tell(f'{here} has no distance; add at = "4 ft"', f"{here}.at")
        if station.rod and station.elevation:
            faults.tell(f"{here} has both rod and elevation; keep the one that was read")
        if not station.heights:
            fault = f'{here} was not read; add rod = "60-1/8 in", or leave the station out'
            faults.tell(fault, f"{here}.rod", f"{here}.elevation")
    if any(station.at is None or not station.heights for station in run.stations):
        return
    for number, (before, after) in enumerate(pairwise(run.stations), start=2):
        if after.at <= before.at:
            faults.tell(
                f"{place}.station[{number}].at is not beyond the station before it; list them "
                "in the order of the water's way"
            )
