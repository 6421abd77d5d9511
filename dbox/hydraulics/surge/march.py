"""How does a surge move through the system, step by step?

All parts take the same step, in the order in which the water meets them: each hands its mean
outflow over the step, and the rate at its end, to the next. A step is tried; where the outflow of
a part would change by too much of itself it is made shorter and tried again, so that steps are
short where things happen and long where nothing does. No step crosses a jump of the inflow. What
leaves the box is dealt to the outlets in proportion to their own flows over the step; each volume
is handed on exactly once.
"""

from collections.abc import Sequence

import numpy as np

from dbox.arrays import Array
from dbox.hydraulics.surge.basin import Room
from dbox.hydraulics.surge.inflow import Inflow
from dbox.hydraulics.surge.supply import Delay
from dbox.hydraulics.surge.system import System
from dbox.hydraulics.surge.trench import TrenchLine

DRIP = 1e-7
"""Flow below which a change is of no interest: a drop now and then. [m3/s]"""

VARIATION = 0.25
"""Part of itself that an outflow may change by in one step. [-]"""

_LEAST_STEP, _MOST_STEP = 1e-3, 1800.0  # [s]
_FIRST_STEP = 100.0  # [s], times the variation: the first try after a jump of the inflow
_NEAR = 1e-3  # [m] of depth below the box: nearer is near enough
_STRICTER = 2.5  # steps with a drowned outlet are of first order and must be shorter
_FLOOR = 0.02  # of the inflow: what changes by less needs no short steps


class March:
    """A system on its way through time.

    Parameters
    ----------
    system : System
        At rest, at time 0.
    inflow : Inflow
        What runs in.
    variation : float
        See `VARIATION`; the error of a share falls with its square. [-]
    """

    def __init__(self, system: System, inflow: Inflow, variation: float = VARIATION):
        self.system, self.variation = system, variation
        self.time, self._seconds = 0.0, _FIRST_STEP * variation
        self._begin = [*inflow.begin.tolist(), np.inf]
        self._first, self._last = inflow.first.tolist(), inflow.last.tolist()
        self._piece = -1 if self._begin[0] > 0 else 0
        self.tank = system.tank.pool() if system.tank and inflow.entry == "house" else None
        pipe = system.supply if inflow.entry != "box" else None
        self.upstream = [*([self.tank] if self.tank else []), *(pipe.pools() if pipe else [])]
        self.basin = system.basin()
        self.delays = [Delay(float(seconds)) for seconds in system.delays]
        self.lines = [TrenchLine(trench) if trench else None for trench in system.trenches]
        self._bottoms = system.bottoms.tolist()
        n = len(self.lines)
        self.volumes = [0.0] * (n + 1)
        self.flows = self.basin.outlet_flows(self.basin.level)
        self.came = self.inflow = self._out = 0.0
        self._new_flows = self.flows
        self._drowned = False
        self._limits = self._lip_volumes(system.lips)
        self._high = self._any_high()

    def move_lips(self, lips: Array) -> None:
        """Set the lips anew, as in a box that settles.

        Parameters
        ----------
        lips : ndarray, shape (n,)
            Lips over the datum; inf where capped. [m]
        """
        self.basin.move_lips(lips)
        self.flows = self.basin.outlet_flows(self.basin.level)
        self._limits = self._lip_volumes(lips)
        self._high = self._any_high()

    def _lip_volumes(self, lips: Array) -> list[float]:
        """Water in each trench when it stands at the lip of its outlet. [m3]"""
        pairs = zip(self.lines, (lips - self.system.bottoms).tolist(), strict=True)
        return [depth * line.area if line else np.inf for line, depth in pairs]

    def _any_high(self) -> bool:
        pairs = zip(self.lines, self._limits, strict=True)
        return any(line is not None and line.volume > limit for line, limit in pairs)

    def stored(self) -> float:
        """Water in all parts, over any datum that does not change. [m3]"""
        under_way = sum(delay.given - delay.passed for delay in self.delays)
        before = sum(pool.area * pool.level for pool in self.upstream)
        return before + self.basin.area * self.basin.level + under_way + self.ponded()

    def ponded(self) -> float:
        """Water in the trenches. [m3]"""
        return sum(line.volume for line in self.lines if line)

    def lost(self) -> float:
        """What has left for good: over the rim, into the soil, onto the ground, freely. [m3]"""
        soil = sum(line.infiltrated + line.surfaced for line in self.lines if line)
        free = sum(d.passed for d, line in zip(self.delays, self.lines, strict=True) if not line)
        return self.volumes[-1] + soil + free

    def row(self) -> tuple[float, ...]:
        """The present: time [s], inflow [m3/s], levels [m], flows [m3/s], volumes [m3].

        In this order: time, inflow, level in the tank (NaN without one) and in the box, flows and
        volumes of the outlets with the rim as the last, water in each trench (NaN without one),
        what has surfaced over each.
        """
        tank = self.tank.level if self.tank else np.nan
        trenches = [line.volume if line else np.nan for line in self.lines]
        surfaced = [line.surfaced if line else 0.0 for line in self.lines]
        return (self.time, self.inflow, tank, self.basin.level, *self.flows, *self.volumes,
                *trenches, *surfaced)  # fmt: skip

    def advance(self, until: float) -> list[tuple[float, ...]]:
        """Go on to a time.

        Parameters
        ----------
        until : float
            The time. [s]

        Returns
        -------
        list of tuple of float
            A row for the end of every step, its parts as in `row`. [s, m, m3/s, m3]
        """
        rows = []
        while self.time < until:
            end = min(self._begin[self._piece + 1], until)
            seconds, end = self._cut(end)
            change = self._try(*self._rates(end), seconds)
            if change > 2.0 * self.variation and seconds > _LEAST_STEP:
                self._seconds = seconds * max(0.2, 0.7 * self.variation / change)
                continue
            self._accept(seconds, end)
            rows.append(self.row())
            grow = 0.9 * self.variation / change if change > 0.0 else 4.0
            self._seconds = min(max(seconds, self._seconds) * min(max(grow, 0.3), 4.0), _MOST_STEP)
            if self.time >= self._begin[self._piece + 1]:
                self._piece += 1
                self._seconds = min(self._seconds, _FIRST_STEP * self.variation)
        return rows

    def _cut(self, end: float) -> tuple[float, float]:
        """Length of the next step and when it ends; no sliver is left before `end`."""
        left = end - self.time
        if left <= 1.2 * self._seconds:
            return left, end
        seconds = min(self._seconds, 0.5 * left)
        return seconds, self.time + seconds

    def _rates(self, end: float) -> tuple[float, float]:
        """Inflow at the start and the end of a step within the present piece."""
        if self._piece < 0:
            return 0.0, 0.0
        first, last = self._first[self._piece], self._last[self._piece]
        if first == last:
            return first, last
        begin = self._begin[self._piece]
        slope = (last - first) / (self._begin[self._piece + 1] - begin)
        at = (first + slope * (time - begin) for time in (self.time, end))
        return max(next(at), 0.0), max(next(at), 0.0)

    def _try(self, first: float, last: float, seconds: float) -> float:
        """Try a step through tank, pipe and box; give the greatest change of an outflow."""
        self._came = 0.5 * (first + last) * seconds
        floor, worst = DRIP + _FLOOR * max(first, last), 0.0
        for pool in self.upstream:
            mean = pool.step(first, last, seconds)
            last = min(pool.next_flow, 2.0 * mean)
            first = 2.0 * mean - last
            worst = max(worst, _change(pool.flow, pool.next_flow, floor))
        basin, self._new_inflow = self.basin, last
        if self._high or self._drowned or self.system.jet:
            self._drowned = basin.expose(last, self._rooms(), seconds)
        if self._drowned:
            mean = 0.5 * (first + last)
            self._out = basin.step(mean, mean, seconds, 1.0)
        else:
            self._out = basin.step(first, last, seconds)
        self._new_flows = basin.outlet_flows(basin.next_level)
        if self._drowned:
            return _STRICTER * max(worst, self._rise(seconds))
        return max(worst, _change(basin.flow, basin.next_flow, floor))

    def _rise(self, seconds: float) -> float:
        """Greatest change of a drowning trench in the step, over its depth below the box.

        Where box and trenches stand level, the flows between them are of no use for this: a
        micrometre decides on them. The box's own level is looked at instead.
        """
        level = self.basin.next_level
        worst = _change(self.basin.level - self.basin.lowest, level - self.basin.lowest, _NEAR)
        for line, bottom, limit, flow in zip(
            self.lines, self._bottoms, self._limits, self._new_flows, strict=False
        ):
            if line is not None and line.volume > limit:
                below = abs(level - bottom - line.depth)
                rise = seconds * (flow - line.takes(line.depth)) / line.area
                rise = min(abs(rise), line.brim - line.depth) if rise > 0.0 else -rise
                worst = max(worst, rise / (below + _NEAR))
        return worst

    def _rooms(self) -> Sequence[Room | None]:
        """Room behind each outlet whose trench stands over its lip."""
        rooms: list[Room | None] = []
        for line, bottom, limit, delay in zip(
            self.lines, self._bottoms, self._limits, self.delays, strict=True
        ):
            if line is None or line.volume <= limit:
                rooms.append(None)
                continue
            # a header behind a drowned outlet stands full: what it holds is as good as arrived
            level = bottom + line.depth + (delay.given - delay.passed) / line.area
            brim = bottom + line.brim
            rooms.append(Room(min(level, brim), line.area, line.takes(line.depth), brim))
        return rooms

    def _accept(self, seconds: float, end: float) -> None:
        """Make the tried step the present, and hand its volumes on."""
        weights = self._dealt()
        total = sum(weights)
        each = self._out * seconds / total if total > 0.0 else 0.0
        if not total > 0.0 and self._out > 0.0:
            self.basin.keep(self._out * seconds)
        for pool in (*self.upstream, self.basin):
            pool.accept()
        self.time, self.inflow = end, self._new_inflow
        self.came += self._came
        self.flows = self._new_flows
        self._high = False
        volumes = [each * weight for weight in weights]
        self.volumes = [old + new for old, new in zip(self.volumes, volumes, strict=True)]
        for volume, delay, line, limit in zip(
            volumes, self.delays, self.lines, self._limits, strict=False
        ):
            arrived = delay.push(end, volume)
            if line is not None:
                line.step(arrived, seconds)
                if line.volume > limit:
                    self._high = True

    def _dealt(self) -> list[float]:
        """What the outlets get of the step, by Simpson's rule over its levels.

        The middle level is the one whose flow makes the rule give what the box let out.
        """
        if self._drowned:
            return self._new_flows
        basin = self.basin
        start, end = basin.level, basin.next_level
        middle = 0.5 * (start + end)
        flow, slope = basin.rating(middle)
        wanted = 1.5 * self._out - 0.25 * (basin.flow + basin.next_flow)
        if slope > 0.0 and wanted > 0.0:
            reach = abs(end - start)
            middle += min(max((wanted - flow) / slope, -reach), reach)
        threes = zip(self.flows, basin.outlet_flows(middle), self._new_flows, strict=True)
        return [old + 4.0 * half + new for old, half, new in threes]


def _change(old: float, new: float, floor: float) -> float:
    return abs(new - old) / ((old if old > new else new) + floor)
