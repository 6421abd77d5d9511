"""Water for the invented jobs, written apart from dbox: nothing here imports its hydraulics.

Plain quadrature of a round hole, bisection for the level, and a trench filled day by day.
"""

import numpy as np

G = 9.81
NODES = (np.arange(60) + 0.5) / 60


def hole_flow(head, diameter, c=0.61):
    """Flow of a round hole, by midpoints. [m3/s]"""
    if head <= 0:
        return 0.0
    top = min(head, diameter)
    z = top * NODES
    width = 2 * np.sqrt(z * (diameter - z))
    return float(c * np.sqrt(2 * G) * np.sum(width * np.sqrt(head - z)) * top / 60)


def plain_split(inflow, lips, diameters, tails, extra):
    """Flows by bisection of the level; an outlet under its tailwater takes nothing. [m3/s]

    `tails` are levels outside, -inf for none; a drowned hole passes what its fall alone would.
    `extra` is a velocity head at each outlet.
    """

    def flows(level):
        out = []
        for lip, d, tail, more in zip(lips, diameters, tails, extra, strict=True):
            if not np.isfinite(lip) or level + more <= max(lip, tail):
                out.append(0.0)
            elif tail <= lip:
                out.append(hole_flow(level + more - lip, d))
            else:
                wet = min((tail - lip) / d, 1.0) * np.pi / 4 * d**2
                out.append(0.61 * wet * np.sqrt(2 * G * (level + more - tail)))
        return np.array(out)

    ways = [max(p, t) - e for p, t, e in zip(lips, tails, extra, strict=True) if np.isfinite(p)]
    if not ways:
        return np.zeros(len(lips))
    low, high = min(ways), min(ways) + 0.6
    for _ in range(60):
        middle = 0.5 * (low + high)
        if flows(middle).sum() < inflow:
            low = middle
        else:
            high = middle
    return flows(high)


def ponding(daily, length, acceptance, *, days=300, width=0.9, voids=0.35, most=0.6):
    """Depth of water in a trench after many days of `daily` m3 a day. [m]"""
    depth = 0.0
    for _ in range(days):
        for _ in range(4):
            takes = acceptance * (width * min(1.0, depth / 0.02) + 2 * depth) * length / 4
            depth += (daily / 4 - takes) / (width * length * voids)
            depth = min(max(depth, 0.0), most)
    return depth
