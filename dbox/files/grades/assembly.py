"""Do the rod readings of a scenario fit together? From its tables to a `Survey`.

As in `assembly`, each check tells its fault and goes on; what was refused is not asked for again.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import TypeVar

from dbox.fieldwork.records.survey import RUN_KINDS, Limit, Limits, Run, Station, Survey
from dbox.files.faults import any_of, did_you_mean, show
from dbox.files.grades.table import (
    DropLimitTable,
    FallLimitTable,
    GradesTable,
    LimitsTable,
    RunTable,
    SpacingLimitTable,
    StationTable,
)
from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS

_Default = TypeVar("_Default", Limit, None)

MOST_STATIONS = 2000
"""Stations of all runs together."""


class SurveyAssembly:
    """The making of one `Survey`, and what stood in the way.

    Parameters
    ----------
    table : GradesTable
        The tables, without what was refused.
    labels : sequence of str
        Labels of the outlets.
    fault : callable
        Takes the text of a fault.
    was_refused : callable
        Takes the place of a key, runs and stations counted from 0; says whether it was refused.
    """

    def __init__(
        self,
        table: GradesTable,
        labels: Sequence[str],
        fault: Callable[[str], None],
        was_refused: Callable[..., bool],
    ) -> None:
        self.table = table
        self.labels = labels
        self._tell = fault
        self._was_refused = was_refused
        self.sound = True

    def survey(self) -> Survey | None:
        """Make the survey; None where there are faults."""
        tables = self.table.run or ()
        if not tables and not self._was_refused("grades", "run"):
            self._fault("grades has no runs; add [[grades.run]] for each pipe, or leave it out")
        if sum(len(run.station or ()) for run in tables) > MOST_STATIONS:
            self._fault(f"grades has more than {MOST_STATIONS} stations; leave some out")
            return None
        runs = [self._run(index, table) for index, table in enumerate(tables)]
        self._check_names([run.name for run in tables])
        limits = self._limits(self.table.limits or LimitsTable())
        made = tuple(run for run in runs if run is not None)
        if not self.sound or len(made) < len(runs):
            return None
        return Survey(runs=made, spread=self.table.spread, limits=limits)

    def _fault(self, text: str) -> None:
        self.sound = False
        self._tell(text)

    def _refused(self, *place: str | int) -> bool:
        """Tell whether a key was refused; its survey cannot be made then."""
        refused = self._was_refused("grades", *place)
        self.sound = self.sound and not refused
        return refused

    def _run(self, index: int, table: RunTable) -> Run | None:
        place = f"grades.run[{index + 1}]"
        if table.name is None and not self._refused("run", index, "name"):
            self._fault(f'{place} has no name; add name = "supply pipe"')
        if table.kind is None and not self._refused("run", index, "kind"):
            self._fault(f"{place} has no kind; write {any_of(map(show, RUN_KINDS))}")
        self._check_outlet(index, table)
        stations = self._stations(index, table)
        if table.name is None or table.kind is None or stations is None:
            return None
        by_rod = any(station.rod is not None for station in table.station or ())
        return Run(
            name=table.name,
            kind=table.kind,
            stations=stations,
            outlet=table.outlet,
            diameter=table.diameter or self.table.diameter,
            roughness=table.roughness or self.table.roughness or PLASTIC_ROUGHNESS,
            datum=f"{'rod' if by_rod else 'elevation'}: {table.instrument or ''}",
        )

    def _check_outlet(self, index: int, table: RunTable) -> None:
        place = f"grades.run[{index + 1}]"
        if table.kind != "header":
            if table.outlet is not None and table.kind is not None:
                self._fault(f"{place}.outlet has no meaning for a {table.kind}; leave it out")
        elif table.outlet is None:
            if not self._refused("run", index, "outlet"):
                self._fault(f'{place} has no outlet; add the label of its outlet, as outlet = "1"')
        elif table.outlet not in self.labels and self.labels:
            hint = did_you_mean(table.outlet, self.labels)
            self._fault(f"{place}.outlet is {show(table.outlet)}, which is no outlet; {hint}")

    def _stations(self, index: int, table: RunTable) -> tuple[Station, ...] | None:
        place, tables = f"grades.run[{index + 1}]", table.station or ()
        if self._refused("run", index, "station"):
            return None
        if len(tables) < 2:
            self._fault(f"{place} has {len(tables)} stations; a fall takes at least two")
            return None
        kinds = {
            "rod" if s.rod is not None else "elevation" for s in tables if s.rod or s.elevation
        }
        if len(kinds) == 2:
            self._fault(f"{place} has both rod readings and elevations; write it in one of them")
        stations = [self._station(index, number, each) for number, each in enumerate(tables)]
        made = tuple(station for station in stations if station is not None)
        for number, (before, after) in enumerate(pairwise(made), start=2):
            if len(made) == len(stations) and after.at <= before.at:
                self._fault(
                    f"{place}.station[{number}].at is not beyond the station before it; list them "
                    "in the order of the water's way"
                )
        return made if len(made) == len(stations) else None

    def _station(self, index: int, number: int, table: StationTable) -> Station | None:
        place, way = f"grades.run[{index + 1}].station[{number + 1}]", ("run", index, "station")
        refused = [self._refused(*way, number, name) for name in ("at", "rod", "elevation")]
        if table.at is None and not refused[0]:
            self._fault(f'{place} has no distance; add at = "4 ft"')
        if table.rod is not None and table.elevation is not None:
            self._fault(f"{place} has both rod and elevation; keep the one that was read")
        readings = table.elevation if table.rod is None else tuple(-rod for rod in table.rod)
        if readings is None and not any(refused[1:]):
            self._fault(f'{place} was not read; add rod = "60-1/8 in", or leave the station out')
        if table.at is None or readings is None:
            return None
        return Station(at=table.at, heights=readings, name=table.name or "")

    def _check_names(self, names: Sequence[str | None]) -> None:
        first: dict[str, int] = {}
        for index, name in enumerate(names):
            if name is not None and first.setdefault(name.lower(), index) != index:
                self._fault(
                    f"grades.run[{index + 1}].name is {show(name)}, which "
                    f"grades.run[{first[name.lower()] + 1}] has too; give each its own"
                )

    def _limits(self, table: LimitsTable) -> Limits:
        default = Limits()
        return Limits(
            house_sewer=self._limit("house_sewer", table.house_sewer, default.house_sewer),
            supply_pipe=self._limit("supply_pipe", table.supply_pipe, default.supply_pipe),
            header=self._limit("header", table.header, default.header),
            inlet_drop=self._limit("inlet_drop", table.inlet_drop, default.inlet_drop),
            spacing=self._limit("spacing", table.spacing, None),
        )

    def _limit(
        self,
        name: str,
        table: FallLimitTable | DropLimitTable | SpacingLimitTable | None,
        default: _Default,
    ) -> Limit | _Default:
        if table is None:
            self._refused("limits", name)
            return default
        end = "most" if isinstance(table, SpacingLimitTable) else "least"
        value = table.most if isinstance(table, SpacingLimitTable) else table.least
        for part, found in ((end, value), ("source", table.source)):
            if not self._refused("limits", name, part) and (found is None or found == ""):
                self._fault(
                    f"grades.limits.{name} has no {part}; a limit is a value and its source"
                )
        if value is None or not table.source:
            return default
        return Limit(value=value, source=table.source)
