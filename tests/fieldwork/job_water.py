"""Water for the invented jobs, written apart from dbox: nothing here imports its hydraulics.

Plain quadrature of a round hole, a table for the level, and a trench that has filled for long.
"""

import numpy as np

G = 9.81
NODES = (np.arange(30) + 0.5) / 30


def hole_flow(head, diameter, c=0.61):
    """Flow of round holes, by midpoints; many levels at once. (..., n) [m3/s]"""
    top = np.clip(head, 0.0, diameter)
    z = top[..., None] * NODES
    width = np.sqrt(z * (diameter[:, None] - z))
    fall = np.maximum(head[..., None] - z, 0.0)
    return 2 * c * np.sqrt(2 * G) * np.sum(width * np.sqrt(fall), -1) * top / len(NODES)


def plain_split(inflow, lips, diameters, tails, extra):
    """Flows at the level that two tables give; an outlet under its tailwater takes nothing. [m3/s]

    `tails` are levels outside, -inf for none; a drowned hole passes what its fall alone would.
    `extra` is a velocity head at each outlet.
    """
    open_ = np.isfinite(lips)
    if not open_.any():
        return np.zeros(len(lips))
    drowned = open_ & (tails > lips)
    free, under = open_ & ~drowned, np.where(drowned, tails, 0.0)
    sill = np.where(open_, lips, 0.0)
    wet = np.clip((under - sill) / diameters, 0.0, 1.0) * np.pi / 4 * diameters**2

    def flows(level):
        felt = level[:, None] + extra
        through = 0.61 * wet * np.sqrt(2 * G * np.maximum(felt - under, 0.0))
        return np.where(free, hole_flow(felt - sill, diameters), np.where(drowned, through, 0.0))

    lowest = (np.maximum(lips, tails) - extra)[open_].min()
    heads = np.concatenate([[0.0], np.geomspace(1e-4, 0.6, 30)])
    place = int(np.searchsorted(flows(lowest + heads).sum(1), inflow).clip(1, len(heads) - 1))
    finer = lowest + np.linspace(heads[place - 1], heads[place], 30)
    each = flows(finer)
    total = each.sum(1)
    return np.array([np.interp(inflow, total, column) for column in each.T])


def ponding(daily, length, acceptance, *, width=0.9, film=0.02, most=0.6):
    """Depth of water in trenches that have got `daily` m3 a day for long. [m]

    Bottom and both walls take it; under a film the bottom is wet in part.
    """
    needs = daily / (acceptance * length)
    filmed = needs / (width / film + 2)
    return np.minimum(np.where(filmed < film, filmed, (needs - width) / 2), most)
