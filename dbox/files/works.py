"""From the tables of a scenario to the tank, pipes and trenches of `Works`.

As in `assembly`, each check tells its fault and goes on; what was refused is not asked for again.
"""

import math
from collections.abc import Callable, Sequence
from typing import TypeVar

from dbox.errors import DomainError
from dbox.fieldwork.inlet import DEFAULT_FALL
from dbox.fieldwork.site import Works
from dbox.files.scenario_tables import OutletTable, ScenarioFile
from dbox.files.surge_keys import HeaderTable, TrenchTable
from dbox.hydraulics.surge.parts import CLEAN_FILTER_LOSS, SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.sources import Pump, Siphon

_T = TypeVar("_T")
_MENDS = {
    "inside": 'inside = ["8 ft", "5 ft"]',
    "outlet": 'outlet = "4 in"',
    "length": 'length = "30 ft"',
    "diameter": 'diameter = "4 in"',
    "fall": 'fall = "1/8 in/ft"',
    "width": 'width = "30 in"',
    "depth": 'depth = "20 in"',
    "acceptance": 'acceptance = "0.45 gal/ft2/day"',
    "volume": 'volume = "60 gal"',
    "high": 'high = "24 in"',
    "low": 'low = "9 in"',
}


class SurgeAssembly:
    """The making of the works of a site, and what stood in the way.

    file: The tables, without what was refused.
    falls: Fall of each outlet's header; None where it is not entered. [-]
    fault: Takes the text of a fault.
    was_refused: Takes the place of a key; says whether it was refused.
    """

    def __init__(
        self,
        file: ScenarioFile,
        falls: Sequence[float | None],
        fault: Callable[[str], None],
        was_refused: Callable[..., bool],
    ) -> None:
        self.file, self.falls = file, falls
        self._fault, self._was_refused = fault, was_refused

    def works(self) -> Works:
        """Make the works; what has a fault is told and left out."""
        outlets = list(enumerate(self.file.outlet or ()))
        headers = tuple(self._header(i, table) for i, table in outlets)
        trenches = tuple(self._trench(i, table) for i, table in outlets)
        return Works(
            people=self.file.house.people if self.file.house else None,
            tank=self._tank(),
            supply=self._supply(),
            pump=self._pump(),
            siphon=self._siphon(),
            headers=headers if any(headers) else (),
            trenches=trenches if any(trenches) else (),
        )

    def _complete(self, place: str, table: object, needs: Sequence[str]) -> bool:
        """Tell whether a table has all that it needs; what is missing is a fault."""
        missing = [name for name in needs if getattr(table, name) is None]
        for name in missing:
            if not self._was_refused(place, name):
                self._fault(f"{place} has no {name}; add {_MENDS[name]}")
        return not missing

    def _made(self, place: str, make: Callable[[], _T]) -> _T | None:
        """What can be made of a table; why it cannot is a fault."""
        try:
            return make()
        except DomainError as error:
            self._fault(f"{place}: {error}")
            return None

    def _tank(self) -> Tank | None:
        table = self.file.tank
        if table is None or not self._complete("tank", table, ("inside", "outlet")):
            return None
        clogged = table.clogged or 0.0
        unknown = CLEAN_FILTER_LOSS if clogged else 0.0
        return self._made("tank", lambda: Tank(
            area=plan_area(table.inside or ()),
            outlet=table.outlet or 0.0,
            filter_loss=unknown if table.filter_loss is None else table.filter_loss,
            clogged=clogged,
        ))  # fmt: skip

    def _supply(self) -> SupplyPipe | None:
        table = self.file.supply
        needs = ("length", "diameter", "fall")
        if table is None or not self._complete("supply", table, needs):
            return None
        sizes = {name: getattr(table, name) for name in needs}
        return self._made("supply", lambda: SupplyPipe(**sizes))

    def _pump(self) -> Pump | None:
        table = self.file.pump
        if table is None or not self._complete("pump", table, ("volume",)):
            return None
        if table.rate is None and table.curve is None:
            if not (self._was_refused("pump", "rate") or self._was_refused("pump", "curve")):
                self._fault('pump has no rate; add rate = "30 gpm", or its curve')
            return None
        pump = Pump(
            volume=table.volume or 0.0,
            rate=table.rate,
            curve=table.curve or (),
            lift=table.lift or 0.0,
            main_length=table.main_length or 0.0,
            main_diameter=table.main_diameter or 0.0,
            drain_back=table.drain_back or 0.0,
        )
        return pump if self._made("pump", pump.dose) else None

    def _siphon(self) -> Siphon | None:
        table = self.file.siphon
        needs = ("inside", "diameter", "high", "low")
        if table is None or not self._complete("siphon", table, needs):
            return None
        coefficient = {} if table.coefficient is None else {"coefficient": table.coefficient}
        siphon = Siphon(
            area=plan_area(table.inside or ()),
            diameter=table.diameter or 0.0,
            high=table.high or 0.0,
            low=table.low or 0.0,
            **coefficient,
        )
        return siphon if self._made("siphon", siphon.dose) else None

    def _header(self, index: int, outlet: OutletTable) -> SupplyPipe | None:
        own, common = outlet.header or HeaderTable(), self.file.header or HeaderTable()
        sizes = {
            name: getattr(common, name) if getattr(own, name) is None else getattr(own, name)
            for name in HeaderTable.model_fields
        }
        fall = self.falls[index]
        if sizes["length"] is None and sizes["diameter"] is None:
            return None
        for name in sizes:
            refused = self._was_refused("header", name)
            if sizes[name] is None and not refused:
                self._fault(f"header has no {name}; add {_MENDS[name]}")
        if None in sizes.values() or (fall is not None and fall <= 0.0):
            return None
        return SupplyPipe(**sizes, fall=DEFAULT_FALL if fall is None else fall)

    def _trench(self, index: int, outlet: OutletTable) -> Trench | None:
        place = f"outlet[{index + 1}].trench" if outlet.trench else "trench"
        if outlet.trench is None and self.file.trench is None:
            return None
        own, common = outlet.trench or TrenchTable(), self.file.trench or TrenchTable()
        table = TrenchTable.model_construct(**{
            name: getattr(common, name) if getattr(own, name) is None else getattr(own, name)
            for name in TrenchTable.model_fields
        })  # fmt: skip
        missing = [n for n in ("width", "depth", "acceptance") if getattr(table, n) is None]
        for name in missing:
            if not (
                self._was_refused("trench", name)
                or self._was_refused("outlet", index, "trench", name)
            ):
                self._fault(f"{place} has no {name}; add {_MENDS[name]}")
        if missing or table.width is None or table.depth is None:
            return None
        length = outlet.line_length
        if length is None and outlet.line_area is not None:
            length = outlet.line_area / table.width
        if length is None:
            if not self._was_refused("outlet", index, "line_length"):
                self._fault(
                    f"outlet[{index + 1}] has no line_length; its trench needs it, "
                    'add line_length = "60 ft"'
                )
            return None
        return self._made(place, lambda: _trench_of(table, length))


def _trench_of(table: TrenchTable, length: float) -> Trench:
    depth = table.depth or 0.0
    voids = {} if table.voids is None else {"voids": table.voids}
    return Trench(
        length=length,
        width=table.width or 0.0,
        depth=depth,
        pipe_height=0.5 * depth if table.pipe is None else table.pipe,
        acceptance=table.acceptance or 0.0,
        soil=table.soil or "biomat",
        water_table=-math.inf if table.water_table is None else table.water_table,
        ponding=table.ponding or 0.0,
        **voids,
    )


def plan_area(inside: Sequence[float]) -> float:
    """Plan area of a tank from its inside length and width, or its diameter. [m2]; inside [m].

    >>> plan_area([2.0, 1.5])
    3.0
    """
    return inside[0] * inside[1] if len(inside) == 2 else math.pi / 4 * inside[0] ** 2
