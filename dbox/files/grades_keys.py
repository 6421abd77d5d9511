"""How the rod readings of `[grades]` must fit together; their keys stand in `survey`."""

from collections.abc import Sequence
from itertools import pairwise

from dbox.errors import did_you_mean, show
from dbox.fieldwork.survey import Run, Survey
from dbox.files.read_tables import Faults
from dbox.keys import keys_of

MOST_STATIONS = 2000
"""Stations of all runs together."""


def check_survey(survey: Survey, labels: Sequence[str], faults: Faults) -> None:
    """Tell what does not fit in a survey; labels: of the outlets."""
    if not survey.runs and not faults.refused("grades.run"):
        faults.tell("grades has no runs; add [[grades.run]] for each pipe, or leave it out")
    if sum(len(run.stations) for run in survey.runs) > MOST_STATIONS:
        faults.tell(f"grades has more than {MOST_STATIONS} stations; leave some out")
        return
    for number, run in enumerate(survey.runs, start=1):
        place = f"grades.run[{number}]"
        faults.complete(run, place)
        _check_outlet(place, run, labels, faults)
        if not faults.refused(f"{place}.station"):
            _check_stations(place, run, faults)
    faults.names("grades.run", {i: run.name for i, run in enumerate(survey.runs) if run.name})
    for name in keys_of(type(survey.limits)):
        limit = getattr(survey.limits, name)
        if limit is not None and not limit.default:
            faults.complete(limit, f"grades.limits.{name}")


def _check_outlet(place: str, run: Run, labels: Sequence[str], faults: Faults) -> None:
    """A header leads away from an outlet that is there, and nothing else does."""
    if run.kind != "header":
        if run.outlet is not None and run.kind is not None:
            faults.tell(f"{place}.outlet has no meaning for a {run.kind}; leave it out")
    elif run.outlet is None:
        if not faults.refused(f"{place}.outlet"):
            faults.tell(f'{place} has no outlet; add the label of its outlet, as outlet = "1"')
    elif run.outlet not in labels and labels:
        hint = did_you_mean(run.outlet, labels)
        faults.tell(f"{place}.outlet is {show(run.outlet)}, which is no outlet; {hint}")


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
        if station.at is None and not faults.refused(f"{here}.at"):
            faults.tell(f'{here} has no distance; add at = "4 ft"')
        if station.rod and station.elevation:
            faults.tell(f"{here} has both rod and elevation; keep the one that was read")
        refused = faults.refused(f"{here}.rod") or faults.refused(f"{here}.elevation")
        if not (station.heights or refused):
            faults.tell(f'{here} was not read; add rod = "60-1/8 in", or leave the station out')
    if any(station.at is None or not station.heights for station in run.stations):
        return
    for number, (before, after) in enumerate(pairwise(run.stations), start=2):
        if after.at <= before.at:
            faults.tell(
                f"{place}.station[{number}].at is not beyond the station before it; list them "
                "in the order of the water's way"
            )
