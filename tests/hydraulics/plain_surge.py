"""The surge written down plainly and given to scipy: the slow way to the same answer.

The equations are those of the docstrings of `parts` and `box_pool`; every rating is the exact one
of the public calls, none is tabulated. A header's delay shifts the clock of its trench, so it is
left out and depths are those at the delayed time. Where inflow jumps or has a corner, the
integration is stopped and begun anew. In tests and in the benchmark.
"""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from scipy.integrate import solve_ivp

from dbox.arrays import Array
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Inflow
from dbox.hydraulics.surge.parts import REACHES, WETTING_DEPTH


@dataclass(frozen=True, kw_only=True, eq=False)
class PlainSurge:
    """What scipy found at the end of the run."""

    volume: Array
    depth: Array

    @property
    def share(self) -> Array:
        return self.volume / self.volume.sum()


def manning(area: Array, diameter: float, full: float) -> Array:
    """Flow of a pipe at a wetted area, its half-angle by Newton."""
    wanted = np.clip(4 * area / diameter**2, 1e-14, 3.0)
    angle = np.cbrt(1.5 * wanted)
    for _ in range(8):
        angle -= (angle - np.sin(angle) * np.cos(angle) - wanted) / (2 * np.sin(angle) ** 2)
    flow = full * wanted / np.pi * (wanted / angle) ** (2 / 3)
    return np.where(area > 0, flow, 0.0)


class PlainSystem:
    """The right-hand side: tank, reaches, box, trenches, then the volumes of the outlets."""

    def __init__(self, system: System, inflow: Inflow):
        self.system, self.inflow = system, inflow
        self.house = system.tank is not None and inflow.entry == "house"
        self.piped = system.supply is not None and inflow.entry != "box"
        self.outlet = system.tank.opening() if system.tank else None
        self.full = system.supply.full if system.supply else 0.0
        trenches = [t for t in system.trenches if t]
        self.trenched = bool(trenches)
        if trenches:
            self.bottom_area = np.array([t.length * t.width for t in trenches])
            self.walls = np.array([2 * (t.length + t.width) for t in trenches])
            self.rate = np.array([t.rate for t in trenches])
            self.storage = np.array([t.storage_area for t in trenches])
        self.kinds = {}
        for i, opening in enumerate(system.openings):
            self.kinds.setdefault(opening, []).append(i)
        self.piece = 0

    def start(self) -> Array:
        n = self.system.lips.size
        depth = [t.ponding if t else 0.0 for t in self.system.trenches]
        return np.array([0.0, *[0.0] * REACHES, self.system.still_level, *depth, *[0.0] * n])

    def rate_in(self, time: float) -> float:
        first, last = self.inflow.first[self.piece], self.inflow.last[self.piece]
        if first == last:
            return float(first)
        begin, end = self.inflow.begin[self.piece : self.piece + 2]
        return float(first + (last - first) * (time - begin) / (end - begin))

    def outflows(self, level: float, inflow: float, depth: Array) -> Array:
        system = self.system
        head = level - system.lips
        if system.jet:
            head = head + system.jet.heads(inflow)
        tail = system.bottoms + depth - system.lips
        flow = np.zeros_like(head)
        for opening, which in self.kinds.items():
            if np.any(tail[which] > 0):
                flow[which] = opening.discharge(head[which], tail[which])
            else:
                flow[which] = opening.discharge(head[which])
        return flow

    def __call__(self, time: float, state: Array) -> Array:
        system, n = self.system, self.system.lips.size
        rate, change = self.rate_in(time), np.zeros_like(state)
        if self.house:
            out = float(self.outlet.discharge(max(state[0], 0.0)))
            change[0], rate = (rate - out) / system.tank.area, out
        if self.piped:
            reach = system.supply.length / REACHES
            out = manning(state[1 : 1 + REACHES] / reach, system.supply.diameter, self.full)
            change[1 : 1 + REACHES] = np.append(rate, out[:-1]) - out
            rate = float(out[-1])
        level, depth = state[1 + REACHES], state[2 + REACHES : 2 + REACHES + n]
        flow = self.outflows(level, rate, depth)
        change[1 + REACHES] = (rate - flow.sum()) / system.area
        if self.trenched:
            wet = np.maximum(depth, 0.0)
            taken = self.bottom_area * np.minimum(wet / WETTING_DEPTH, 1) + self.walls * wet
            change[2 + REACHES : 2 + REACHES + n] = (flow - self.rate * taken) / self.storage
        change[2 + REACHES + n :] = flow
        return change


def plain_surge(
    system: System, inflow: Inflow, seconds: float, *, method: str, rtol: float, atol: float
) -> PlainSurge:
    """Integrate from corner to corner of the inflow."""
    plain = PlainSystem(system, inflow)
    state = plain.start()
    corners = [*inflow.begin[inflow.begin < seconds].tolist(), seconds]
    if corners[0] > 0:
        raise ValueError("the plain system wants an inflow that begins at 0")
    for piece, (begin, end) in enumerate(pairwise(corners)):
        plain.piece = piece
        found = solve_ivp(plain, (begin, end), state, method=method, rtol=rtol, atol=atol)
        if not found.success:
            raise RuntimeError(found.message)
        state = found.y[:, -1]
    n = system.lips.size
    return PlainSurge(volume=state[-n:], depth=state[2 + REACHES : 2 + REACHES + n])
