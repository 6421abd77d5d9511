"""The plan before digging: what the rod is to read at every point, and what drop is left over.

From the tank's outlet the water goes down by the supply pipe's fall, by the box's inlet drop and by
each header's fall; a trench bottom lies under its header's end by the height of its pipe. Where the
plan gives a height further down, such as a trench bottom that the permit asks for, the fall between
is what there is, and what it is more than the fall that is wanted is left over.

The rod reads the height of the line of sight over a point, so a lower point reads more:

    rod = benchmark + rod on the benchmark - elevation

Nothing here is measured. What stands in the water's way is refused, every stretch at once.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.inlet import DEFAULT_FALL
from dbox.fieldwork.site import Site
from dbox.fieldwork.survey import Limit, Limits, Plan, PlanLine, Survey
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.parts import SupplyPipe
from dbox.keys import said

_ROUNDING = 1e-9
"""What a planned height may miss and count as met. [m] (numerical)"""


@dataclass(frozen=True, kw_only=True)
class Point:
    """A place to be set by the rod; what is not known is NaN."""

    name: str
    rod: float = said("m")  # Reading to aim for, greater where lower.
    elevation: float = said("m")
    given: bool  # Whether the plan asks for that height; else it follows from the falls.
    depth: float = said("m")  # Under the ground.
    cover: float = said("m")  # Ground over the inside top of the pipe.


@dataclass(frozen=True, kw_only=True)
class Stretch:
    """One part of the water's way; what is not known is NaN."""

    name: str
    length: float = said("m")  # NaN for the box.
    wanted: float = said("m")  # Height to be lost.
    fall: float = said("m")  # Height that there is to lose.
    limit: Limit  # Least fall over length [-], or of the box least drop. [m]
    least: float = said("m")  # Height that it asks for.
    follows: bool  # Whether its lower end follows from the fall wanted: nothing can be left over.

    @property
    def left(self) -> float:
        """Height left over once it falls as wanted; below 0 where it cannot. [m]"""
        return np.nan if self.follows else self.fall - self.wanted

    @property
    def slope(self) -> float:
        """Fall over length; NaN for the box. [-]"""
        return self.fall / self.length

    @property
    def short(self) -> bool:
        """Whether it falls less than its limit asks for."""
        return self.fall < self.least - _ROUNDING


@dataclass(frozen=True, kw_only=True, eq=False)
class Aims:
    """What a plan aims for."""

    site: Site
    plan: Plan
    points: tuple[Point, ...]  # In the order of the water's way.
    stretches: tuple[Stretch, ...]  # In the order of the water's way.
    # (flows,) How far the inlet's invert stands over the water in the box, its lips level; NaN
    # where the height of the lips is not planned. [m]
    inlet_over_water: Array
    assumed: tuple[str, ...]  # Outlets whose header's fall nobody gave.

    @property
    def short(self) -> bool:
        """Whether any stretch falls less than is wanted or asked for."""
        return any(stretch.short or stretch.left < -_ROUNDING for stretch in self.stretches)


def block_for(slope: float, level: float) -> float:
    """Block under the low end of a level that stands for a fall; slope [-], level [m] -> [m].

    >>> round(block_for(0.125 / 12, 48.0), 12)  # 1/8 in per ft under 4 ft, in inches
    0.5
    """
    return slope * level


def aim(site: Site) -> Aims:
    """Work out what every point of a plan is to be set to."""
    plan = site.plan or Plan()
    way = _Way(site, plan, (site.grades or Survey()).limits)
    way.walk()
    if way.uphill:
        raise DomainError("as planned, water would have to run uphill: " + "; ".join(way.uphill))
    over = np.full(len(site.flows), np.nan)
    if plan.lip is not None:
        lips = np.where([o.capped for o in site.outlets], np.inf, 0.0)
        inflow, openings = [f.inflow for f in site.flows], [o.opening for o in site.outlets]
        over = (site.box.inlet_drop or 0.0) - plan.lip - split(inflow, lips, openings).level
    freeze(over)
    return Aims(
        site=site,
        plan=plan,
        points=tuple(way.points),
        stretches=tuple(way.stretches),
        inlet_over_water=over,
        assumed=tuple(way.assumed),
    )


class _Way:
    """The way of the water as far as it is planned; heights are up, over the plan's datum."""

    def __init__(self, site: Site, plan: Plan, limits: Limits):
        self.site, self.plan, self.limits = site, plan, limits
        self.points: list[Point] = []
        self.stretches: list[Stretch] = []
        self.uphill: list[str] = []
        self.assumed: list[str] = []
        self._by_rod = plan.by == "rod"
        sight = np.nan
        if plan.benchmark is not None and plan.benchmark_rod is not None:
            sight = plan.benchmark + plan.benchmark_rod
        # what turns a height into a rod reading and into an elevation
        self._sight, self._zero = (0.0, sight) if self._by_rod else (sight, 0.0)

    def walk(self) -> None:
        """Go down from the tank to every trench."""
        site, plan, both = self.site, self.plan, self.site.lengths.both
        inlet, drop, lip = self._inlet(), site.box.inlet_drop, plan.lip
        if drop is None:
            raise DomainError(
                'the plan needs the drop through the box; add inlet_drop = "2 in" under [box]'
            )
        if drop < 0:
            self.uphill.append(
                f"through the box, whose inlet stands {both(-drop)} under its outlets"
            )
        elif lip is not None and lip > drop:
            self.uphill.append(
                f"from the box's inlet over the lips, which stand {both(lip - drop)} over it"
            )
        limit = self.limits.inlet_drop
        self.stretches.append(
            Stretch(name="through the box", length=np.nan, wanted=drop, fall=drop, limit=limit,
                    least=limit.value, follows=True)
        )  # fmt: skip
        outlets, ground = inlet - drop, self._height(plan.box_ground)
        diameters = {pipe.diameter for pipe in site.works.headers if pipe}
        self._point("box outlets", outlets, ground, max(diameters, default=np.nan))
        if lip is not None:
            self._point("lips, all level", outlets + lip, ground)
        if site.box.sump is not None:
            self._point("box floor, inside", outlets - site.box.sump, ground)
        asked = {line.outlet: line for line in plan.lines}
        for number, outlet in enumerate(site.outlets):
            if not outlet.capped:
                line = asked.get(outlet.label, PlanLine(outlet=outlet.label))
                self._line(number, outlets, line)

    def _inlet(self) -> float:
        """Height of the box's inlet."""
        plan, supply = self.plan, self.site.works.supply
        tank, inlet = self._height(plan.tank_outlet), self._height(plan.box_inlet)
        if np.isnan(tank) and np.isnan(inlet):
            raise DomainError(
                'the plan has no height to begin with; add tank_outlet = "30 in" under [plan], '
                "what the rod reads on the invert of the tank's outlet, or box_inlet"
            )
        if np.isnan(inlet) and supply is None:
            raise DomainError(
                "the plan needs the supply pipe; add [supply] with its length, diameter and fall, "
                "or under [plan] the box_inlet"
            )
        inside = supply.diameter if supply else np.nan
        wanted = supply.fall * supply.length if supply else np.nan
        follows = bool(np.isnan(inlet))
        inlet = tank - wanted if follows else inlet
        if not np.isnan(tank):
            self._point("tank outlet", tank, self._height(plan.tank_ground), inside, given=True)
            self._fall("supply pipe", tank - inlet, wanted, supply, self.limits.supply_pipe,
                       follows=follows)  # fmt: skip
        ground = self._height(plan.box_ground)
        self._point("box inlet", inlet, ground, inside, given=not follows)
        return inlet

    def _line(self, number: int, outlets: float, line: PlanLine) -> None:
        """The header of an outlet and its trench."""
        site = self.site
        header = site.works.headers[number] if site.works.headers else None
        trench = site.works.trenches[number] if site.works.trenches else None
        slope = site.outlets[number].header_fall
        slope = slope if slope is not None else header.fall if header else DEFAULT_FALL
        name = f"header {line.outlet}"
        if slope <= 0:
            way = f"rise {-100 * slope:.2g} % of its length" if slope else "lie level"
            self.uphill.append(f"{name}, which is to {way}")
            return
        wanted = slope * header.length if header else np.nan
        bottom, end = self._height(line.bottom), outlets - wanted
        follows = bool(np.isnan(bottom))
        if not follows and trench is None:
            raise DomainError(
                f"the plan gives the trench bottom of outlet {line.outlet}, but not how high its "
                "pipe lies over it; add [trench]"
            )
        if trench and follows:
            bottom = end - trench.pipe_height
        elif trench:
            end = bottom + trench.pipe_height
        if np.isnan(end):
            return
        if header and site.outlets[number].header_fall is None:
            self.assumed.append(line.outlet)
        near, far = [self._height(each) for each in (*line.ground, None, None)][:2]
        self._fall(name, outlets - end, wanted, header, self.limits.header, follows=follows)
        self._point(f"{name}, end", end, near, header.diameter if header else np.nan)
        if trench:
            self._point(f"trench {line.outlet}, bottom", bottom, near, given=not follows)
            if not np.isnan(far):
                self._point(f"trench {line.outlet}, far end", bottom, far, given=not follows)

    def _fall(self, name: str, fall: float, wanted: float, pipe: SupplyPipe | None,
              limit: Limit, *, follows: bool) -> None:  # fmt: skip
        """Add a stretch, or say that water would have to run up it."""
        if fall < -_ROUNDING:
            self.uphill.append(f"{name}, by {self.site.lengths.both(-fall)}")
        length = pipe.length if pipe else np.nan
        self.stretches.append(
            Stretch(name=name, length=length, wanted=wanted, fall=fall, limit=limit,
                    least=limit.value * length, follows=follows)
        )  # fmt: skip

    def _point(self, name: str, height: float, ground: float, inside: float = np.nan, *,
               given: bool = False) -> None:  # fmt: skip
        """Add a point; inside: Diameter of the pipe. [m]"""
        self.points.append(Point(
            name=name, rod=self._sight - height, elevation=self._zero + height, given=given,
            depth=ground - height, cover=ground - height - inside,
        ))  # fmt: skip

    def _height(self, written: float | None) -> float:
        """A height of the plan, which may be a rod reading; NaN where there is none. [m]"""
        if written is None:
            return np.nan
        return -written if self._by_rod else written
