"""From the tables of a scenario to the tank, pipes and trenches of `Works`."""

import math
from collections.abc import Sequence

from dbox.fieldwork.inlet import DEFAULT_FALL
from dbox.fieldwork.site import Works
from dbox.files.read_tables import Faults
from dbox.files.scenario_tables import OutletTable, ScenarioFile
from dbox.files.surge_keys import PumpTable, SiphonTable, TankTable, TrenchTable
from dbox.hydraulics.surge.inflow import Pump, Siphon
from dbox.hydraulics.surge.parts import CLEAN_FILTER_LOSS, SupplyPipe, Tank, Trench
from dbox.keys import own_or


def works_of(file: ScenarioFile, outlets: Sequence[OutletTable], faults: Faults) -> Works:
    """Make the works of a site; what has a fault is told and left out.

    outlets: With what they take from [insert].
    """
    pump = file.pump
    if pump and pump.rate is None and not pump.curve and pump.volume is not None:
        if not (faults.refused("pump.rate") or faults.refused("pump.curve")):
            faults.tell('pump has no rate; add rate = "30 gpm", or its curve')
        pump = None
    headers = tuple(_header(file, outlets, index, faults) for index in range(len(outlets)))
    trenches = tuple(_trench(file, outlets, index, faults) for index in range(len(outlets)))
    return Works(
        people=file.house.people,
        tank=faults.made(file.tank, _tank, "tank"),
        supply=faults.made(file.supply, lambda table: SupplyPipe(**vars(table)), "supply"),
        pump=faults.made(pump, _pump, "pump"),
        siphon=faults.made(file.siphon, _siphon, "siphon"),
        headers=headers if any(headers) else (),
        trenches=trenches if any(trenches) else (),
    )


def _tank(table: TankTable) -> Tank:
    unknown = CLEAN_FILTER_LOSS if table.clogged else 0.0
    return Tank(
        area=plan_area(table.inside),
        outlet=table.outlet,
        filter_loss=unknown if table.filter_loss is None else table.filter_loss,
        clogged=table.clogged,
    )


def _pump(table: PumpTable) -> Pump:
    pump = Pump(**vars(table))
    pump.dose()  # raises where the pump cannot give one
    return pump


def _siphon(table: SiphonTable) -> Siphon:
    given = {name: value for name, value in vars(table).items() if value is not None}
    siphon = Siphon(area=plan_area(given.pop("inside")), **given)
    siphon.dose()  # raises where the siphon cannot give one
    return siphon


def _header(
    file: ScenarioFile, outlets: Sequence[OutletTable], index: int, faults: Faults
) -> SupplyPipe | None:
    outlet, fall = outlets[index], outlets[index].header_fall
    table = own_or(outlet.header, file.header)
    if table is None or (table.length is None and table.diameter is None):
        return None
    complete = faults.complete(table, "header", f"outlet[{index + 1}].header")
    if not complete or (fall is not None and fall <= 0.0):
        return None
    return SupplyPipe(**vars(table), fall=DEFAULT_FALL if fall is None else fall)


def _trench(
    file: ScenarioFile, outlets: Sequence[OutletTable], index: int, faults: Faults
) -> Trench | None:
    outlet, own = outlets[index], f"outlet[{index + 1}].trench"
    table = own_or(outlet.trench, file.trench)
    places = (own, "trench") if outlet.trench else ("trench",)
    if table is None or not faults.complete(table, *places):
        return None
    length = outlet.line_length
    if length is None and outlet.line_area is not None:
        length = outlet.line_area / table.width
    if length is None:
        if not faults.refused(f"outlet[{index + 1}].line_length"):
            faults.tell(
                f"outlet[{index + 1}] has no line_length; its trench needs it, "
                'add line_length = "60 ft"'
            )
        return None
    return faults.made(table, lambda table: _trench_of(table, length), *places)


def _trench_of(table: TrenchTable, length: float) -> Trench:
    given = {name: value for name, value in vars(table).items() if value is not None}
    pipe = given.pop("pipe", 0.5 * table.depth)
    return Trench(**{"water_table": -math.inf, "length": length, "pipe_height": pipe} | given)


def plan_area(inside: Sequence[float]) -> float:
    """Plan area of a tank from its inside length and width, or its diameter. [m2]; inside [m].

    >>> plan_area([2.0, 1.5])
    3.0
    """
    return inside[0] * inside[1] if len(inside) == 2 else math.pi / 4 * inside[0] ** 2
