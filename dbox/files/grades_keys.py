"""Keys of rod readings, from `[grades]` to a `Survey`.

Runs go down the way the water goes: house sewer, supply pipe, headers. A rod reading is greater
where the pipe is lower; an elevation is greater where it is higher.

    [[grades.run]]
    name    = "header 1"
    kind    = "header"
    outlet  = "1"
    station = [
        {at = "0 ft", rod = "60-1/8 in", name = "box"},
        {at = "4 ft", rod = ["60-5/8 in", "60-11/16 in"]},
    ]

As in `assembly`, each check tells its fault and goes on; what was refused is not asked for again.
"""

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Annotated, TypeVar

from pydantic import PlainValidator

from dbox import units
from dbox.errors import ScenarioError, any_of, did_you_mean, show
from dbox.fieldwork.survey import RUN_KINDS, Limit, Limits, Run, Station, Survey
from dbox.files import scenario_keys
from dbox.files.scenario_keys import (
    TEXT,
    VALUE,
    VALUES,
    Flag,
    Size,
    Table,
    Text,
    key,
    length,
    lengths,
    word,
)
from dbox.hydraulics.pipes import PLASTIC_ROUGHNESS

MOST_READINGS = 100
"""Readings of one station."""


def _between(value: object, metres: float, low: float, high: float, limits: str) -> float:
    if not low <= metres <= high:
        raise ScenarioError(f"is {show(value)}; {limits}, check the value and its unit")
    return metres


def _distance(value: object) -> float:
    """Read a distance along a run; runs are in feet or metres, so a bare number is refused. [m]"""
    metres = units.length(value)
    return _between(value, metres, 0.0, 1000.0, "a distance along a run is between 0 and 1000 m")


def _rod(value: object, bare_unit: str | None) -> float:
    """Read a rod. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, 0.0, 10.0, "a rod reading is between 0 and 10 m")


def _elevation(value: object, bare_unit: str | None) -> float:
    """Read a height over a benchmark or the sea. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, -500.0, 9000.0, "an elevation is between -500 m and 9000 m")


def _least_fall(value: object) -> float:
    """Read the least fall of a run. [-]"""
    fall = units.grade(value)
    return _between(value, fall, 0.0, 0.5, "a least fall is between 0 and 50 %")


def _least_drop(value: object, bare_unit: str | None) -> float:
    """Read the least drop of an inlet. [m]"""
    metres = units.length(value, bare_unit)
    return _between(value, metres, 0.0, 1.0, "a least inlet drop is between 0 and 1 m")


def _most_spacing(value: object) -> float:
    """Read the greatest distance between stations. [m]"""
    metres = units.length(value)
    return _between(value, metres, 0.1, 100.0, "a spacing is between 0.1 m and 100 m")


def _roughness(value: object) -> float:
    """Read Manning's n. [s/m^(1/3)]"""
    n = units.number(value)
    return _between(value, n, 0.005, 0.05, "Manning's n of a pipe is between 0.005 and 0.05")


_Roughness = Annotated[float | None, PlainValidator(_roughness), VALUE]
_Distance = Annotated[float | None, PlainValidator(_distance), TEXT]
_SOURCE = "Who asks for it: the permit, the code section, the inspector."


class FallLimitTable(Table):
    """The least fall of a kind of run, and who asks for it."""

    least: Annotated[float | None, PlainValidator(_least_fall), TEXT] = key(
        "Least fall over length.", "1/8 in/ft", "1 in in 4 ft", "1 %"
    )
    source: Text = key(_SOURCE, "permit")


class DropLimitTable(Table):
    """The least drop from the box's inlet to its outlets, and who asks for it."""

    least: Annotated[float | None, length(_least_drop), VALUE] = key(
        "Least height of the inlet's invert over the outlet pipes' inverts.", "1 in"
    )
    source: Text = key(_SOURCE, "permit")


class SpacingLimitTable(Table):
    """How far apart two stations may be, and who asks for it."""

    most: Annotated[float | None, PlainValidator(_most_spacing), TEXT] = key(
        "Greatest distance between two stations, about.", "4 ft"
    )
    source: Text = key(_SOURCE, "permit")


class LimitsTable(Table):
    """What the falls are held to; each fall or drop that is absent has a marked default."""

    house_sewer: FallLimitTable | None = key("Least fall of a house sewer.")
    supply_pipe: FallLimitTable | None = key("Least fall of a supply pipe, tank to box.")
    header: FallLimitTable | None = key("Least fall of a header, box to line.")
    inlet_drop: DropLimitTable | None = key("Least drop from the box's inlet to its outlets.")
    spacing: SpacingLimitTable | None = key(
        "Greatest distance between two stations; absent: none is asked for."
    )


class StationTable(Table):
    """A place along a run where the invert of the pipe was read."""

    at: _Distance = key("Distance along the run from its upper end, with its unit.", "4 ft")
    name: Text = key("What stands there; absent: just pipe.", "tank outlet")
    rod: Annotated[tuple[float, ...] | None, lengths(_rod, MOST_READINGS), VALUES] = key(
        "Rod reading, greater where the pipe is lower; a list where it was read more than once.",
        "60-1/8 in",
        ["60-1/8 in", "60-3/16 in"],
    )
    elevation: Annotated[tuple[float, ...] | None, lengths(_elevation, MOST_READINGS), VALUES] = (
        key("Height over a benchmark, where there are no rod readings.", "98.25 ft")
    )


class RunTable(Table):
    """One pipe, from its upper end to its lower."""

    name: Annotated[str | None, PlainValidator(scenario_keys.flow_name), VALUE] = key(
        "What the run is called on site.", "supply pipe"
    )
    kind: Annotated[str | None, *word(RUN_KINDS)] = key("What kind of pipe it is.", "supply pipe")
    outlet: Annotated[str | None, PlainValidator(scenario_keys.flow_name), VALUE] = key(
        "Label of the outlet that a header leads away from.", "1"
    )
    diameter: Size = key("Inside diameter; absent: that of [grades].", "4.026 in")
    roughness: _Roughness = key("Manning's n; absent: that of [grades].", 0.010)
    instrument: Annotated[str | None, PlainValidator(scenario_keys.flow_name), VALUE] = key(
        "Where the instrument stood; runs read from two places are not compared in height. "
        "Absent: the same place for all.",
        "by the tank",
    )
    station: list[StationTable] | None = key("The stations, in the order of the water's way.")


class GradesTable(Table):
    """Rod readings along the pipes."""

    spread: Annotated[float | None, length(scenario_keys.spread), VALUE] = key(
        "One standard deviation of one rod reading; absent: 1/8 in.", "1/16 in"
    )
    diameter: Size = key("Inside diameter of every run that names none.", "4.026 in")
    roughness: _Roughness = key("Manning's n of every run that names none; absent: 0.010.", 0.010)
    limits: LimitsTable | None = key("What the falls are held to.")
    placeholder: Flag = key(
        "Whether the readings only show where yours go; nothing is computed from them then.", True
    )
    run: list[RunTable] | None = key("The runs, in the order of the water's way.")


_Default = TypeVar("_Default", Limit, None)

MOST_STATIONS = 2000
"""Stations of all runs together."""


class SurveyAssembly:
    """The making of one `Survey`, and what stood in the way.

    table: The tables, without what was refused.
    labels: Labels of the outlets.
    fault: Takes the text of a fault.
    was_refused: Takes the place of a key, runs and stations counted from 0; says whether it was
    refused.
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
