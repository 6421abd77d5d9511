"""How much faster than scipy's solvers is a day of a house, and what does a year cost?

Only ratios within one run are told: the machine cancels out. Run from the top folder:

    python -m tests.benchmarks.bench_surge            LSODA, BDF and Radau; a year
    python -m tests.benchmarks.bench_surge --quick    LSODA; a month

The system: a tank, 9 m of supply pipe, a box with six 2 in holes off level, six trenches; a day of
a household of four. The other side is scipy's solve_ivp at rtol 1e-8 on the same equations, begun
anew at every corner of the inflow. The speed wanted is that over the equations with the exact
ratings of the public calls. For comparison scipy is also handed the tables of the fast scheme, in
plain floats.
"""

import argparse
import sys
import time
from collections.abc import Sequence

import numpy as np
from scipy.integrate import solve_ivp

from dbox.arrays import Array
from dbox.hydraulics.surge.household import DAY, household_day, to_inflow
from dbox.hydraulics.surge.inflow import Inflow, one_after_another
from dbox.hydraulics.surge.rating_table import opening_table
from dbox.hydraulics.surge.run import surge
from dbox.hydraulics.surge.supply import REACHES
from dbox.hydraulics.surge.system import System
from dbox.hydraulics.surge.trench import TrenchLine
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


def compare_day(methods: Sequence[str]) -> tuple[float, list[str]]:
    """Time a day all ways; gives the time of the fast one [s] and what fell short."""
    system, event = family(), to_inflow(household_day(PEOPLE, SEED))
    fast, ours = np.inf, surge(system, event, seconds=DAY)
    for _ in range(7):
        start = time.process_time()
        surge(system, event, seconds=DAY)
        fast = min(fast, time.process_time() - start)
    print(f"a day of the house: {ours.steps} steps, volumes add up to {ours.balance_error:.0e}")
    said, slowest_gap = [], 0.0
    for name in (EXACT, "tables"):
        best = np.inf
        for method in methods:
            start = time.process_time()
            if name == "tables":
                shares = tabled_shares(system, event, method)
            else:
                shares = plain_surge(system, event, DAY, method=method, rtol=RTOL, atol=ATOL).share
            ratio = (time.process_time() - start) / fast
            gap = float(np.abs(shares - ours.share).max())
            print(f"  solve_ivp {method:<6} on {name:<14} {ratio:7.1f} times as long, shares "
                  f"within {gap:.1e}")  # fmt: skip
            best, slowest_gap = min(best, ratio), max(slowest_gap, gap)
        if name == EXACT and best < LEAST_SPEED:
            said.append(f"on {name} only {best:.1f} times as fast; {LEAST_SPEED:g} is wanted")
    if slowest_gap > MOST_DIFFERENCE:
        said.append(f"shares differ by {slowest_gap:.1e}; at most {MOST_DIFFERENCE:g} is wanted")
    return fast, said


def compare_days(day: float, days: int) -> list[str]:
    """Time many days against one; says what fell short."""
    each = [to_inflow(household_day(PEOPLE, SEED, number)) for number in range(days)]
    event = one_after_another(each, DAY)
    start = time.process_time()
    run = surge(family(), event, seconds=days * DAY)
    ratio = (time.process_time() - start) / day
    a_year = ratio * 365 / days
    print(f"{days} days: as long as {ratio:.1f} such days ({a_year:.0f} for a year), "
          f"{run.steps / days:.0f} steps a day")  # fmt: skip
    return [] if a_year <= MOST_DAYS else [f"a year costs {a_year:.0f} days, over {MOST_DAYS:g}"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Print the ratios; 1 where one falls short."""
    parser = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="LSODA only, and a month")
    quick = parser.parse_args(arguments).quick
    day, said = compare_day(("LSODA",) if quick else ("LSODA", "BDF", "Radau"))
    said += compare_days(day, 30 if quick else 365)
    for fault in said:
        print(f"FELL SHORT: {fault}", file=sys.stderr)
    return 1 if said else 0


if __name__ == "__main__":
    sys.exit(main())
