"""How much faster than scipy's solvers is a day of a house, and what does a year cost?

Run from the top folder:

    python -m tests.benchmarks.bench_surge            LSODA, BDF and Radau; a year
    python -m tests.benchmarks.bench_surge --quick    LSODA; a month

The system: a tank, 9 m of supply pipe, a box with six 2 in holes off level, six trenches; a day of
a household of four. The other side is scipy's solve_ivp at rtol 1e-8 on the same equations, begun
anew at every corner of the inflow. The speed wanted is that over the equations with the exact
ratings of the public calls. For comparison scipy is also handed the tables of the fast scheme, in
plain floats.
"""

import sys
import time
from collections.abc import Iterator, Sequence
from functools import partial

import numpy as np
from scipy.integrate import solve_ivp

from dbox.arrays import Array
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Inflow, concatenate, household_day, to_inflow
from dbox.hydraulics.surge.level_pool import opening_table
from dbox.hydraulics.surge.parts import REACHES, TrenchLine
from dbox.hydraulics.surge.stepper import surge
from dbox.units import DAY
from tests.benchmarks.ratios import Row, alone, best_of
from tests.hydraulics.plain_surge import plain_surge
from tests.hydraulics.test_surge import family

LEAST_SPEED = 20.0
MOST_DIFFERENCE = 1e-4
MOST_DAYS = 100.0
RTOL, ATOL = 1e-8, 1e-12
PEOPLE, SEED = 4, 0
EXACT = "exact ratings"


class TabledSystem:
    """The same right-hand side in plain floats, from the tables of the fast scheme."""

    def __init__(self, system: System, inflow: Inflow):
        assert system.tank is not None
        assert system.supply is not None
        self.inflow, self.piece = inflow, 0
        self.tank_area, self.tank = system.tank.area, opening_table(system.tank.opening())
        self.reach = system.supply.pools()[0].rating
        self.area, self.lips = system.area, system.lips.tolist()
        self.outlets = [opening_table(opening) for opening in system.openings]
        self.lines = [TrenchLine(trench) for trench in system.trenches if trench]
        self.start = [0.0] * (1 + REACHES) + [system.still_level] + [0.0] * 2 * len(self.lips)

    def __call__(self, _: float, state: Array) -> list[float]:
        y = state.tolist()
        n = len(self.lips)
        out = self.tank(y[0])[0]
        change = [(float(self.inflow.first[self.piece]) - out) / self.tank_area]
        for reach in range(1, 1 + REACHES):
            on = self.reach(y[reach])[0]
            change.append(out - on)
            out = on
        level = y[1 + REACHES]
        flows = [t(level - lip)[0] for t, lip in zip(self.outlets, self.lips, strict=True)]
        change.append((out - sum(flows)) / self.area)
        depths = y[2 + REACHES : 2 + REACHES + n]
        for flow, depth, line in zip(flows, depths, self.lines, strict=True):
            change.append((flow - line.takes(depth)) / line.area)
        return change + flows


def tabled_shares(system: System, inflow: Inflow, method: str) -> Array:
    """Shares of a day by scipy on the tables."""
    right = TabledSystem(system, inflow)
    state = np.array(right.start)
    corners = [*inflow.begin.tolist(), DAY]
    for piece in range(len(corners) - 1):
        right.piece = piece
        found = solve_ivp(
            right, corners[piece : piece + 2], state, method=method, rtol=RTOL, atol=ATOL
        )
        if not found.success:
            raise RuntimeError(found.message)
        state = found.y[:, -1]
    volume = state[-len(right.lips) :]
    shares: Array = volume / volume.sum()
    return shares


def compare_day(day: float, methods: Sequence[str]) -> Iterator[Row]:
    """A day by scipy, each way once, over the time of ours [s]; then how far shares are apart."""
    system, event = family(), to_inflow(household_day(PEOPLE, SEED))
    ours, gap = surge(system, event, seconds=DAY), 0.0
    for name in (EXACT, "tables"):
        for method in methods:
            start = time.process_time()
            if name == "tables":
                shares = tabled_shares(system, event, method)
            else:
                shares = plain_surge(system, event, DAY, method=method, rtol=RTOL, atol=ATOL).share
            taken = time.process_time() - start
            gap = max(gap, float(np.abs(shares - ours.share).max()))
            yield Row(
                what=f"surge against solve_ivp {method} on {name}", sizes="1 day, 6 trenches",
                value=taken / day, least=LEAST_SPEED if name == EXACT else None,
            )  # fmt: skip
    yield Row(
        what="shares apart from those of solve_ivp", sizes="1 day, 6 trenches",
        value=gap, form="{}", most=MOST_DIFFERENCE,
    )  # fmt: skip


def measure(quick: bool) -> Iterator[Row]:
    """A day and many days in turn; the day by scipy; the many, told as a year, over the day."""
    days = 30 if quick else 365
    each = [to_inflow(household_day(PEOPLE, SEED, number)) for number in range(days)]
    jobs = {
        count: partial(surge, family(), concatenate(each[:count], DAY), seconds=count * DAY)
        for count in (1, days)
    }
    best = best_of(jobs, 5, time.process_time)
    yield from compare_day(best[1], ("LSODA",) if quick else ("LSODA", "BDF", "Radau"))
    yield Row(
        what="surge of a year, in its longer steps, over a day", sizes=f"{days} days",
        value=best[days] / best[1] * 365 / days, most=MOST_DAYS,
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
