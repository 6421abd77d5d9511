"""Made-up boxes, invented, and a person who sets them up: a ruler, a hand, and the guided set-up.

A box has 4 to 8 outlets with 1-3/4 in holes 1/2 in off their pipes, stands on a slope of up to
0.008 each way, and each lip is off by a normal error of 1 mm of its own. A reading is the height
with a normal error of one mark of the rule, read to the nearest mark; a hole is set to the clock
with a normal error of 3 degrees. (Sizes and errors: common practice, no source.)
"""

from dataclasses import dataclass

import numpy as np

from dbox import Circle
from dbox.fieldwork import setup, site
from dbox.fieldwork.site import ORDINARY_FLOWS, Outlet, Site

INCH = 0.0254
OFFSET = INCH / 2
HAND = np.radians(3.0)
FEW = 64
"""Points for the bands, which decide nothing where no tolerance is named."""

MINUTES = {"filling": 6.0, "reading": 0.5, "turn": 2.0}
"""Minutes on site. (judgement)"""


@dataclass(frozen=True)
class Box:
    """A box as it really is: lips [m], and where the holes really stand [rad]."""

    lips: np.ndarray
    clocks: np.ndarray
    positions: np.ndarray


def made_up(rng, *, level=False):
    """A box; its outlets stand along three walls of 16 by 20 in."""
    n = int(rng.integers(4, 9))
    along, across = 16 * INCH, 20 * INCH
    places = []
    for part in (np.arange(n) + 0.5) / n * 3:
        if part < 1:
            places.append((part * along, 0.0))
        elif part < 2:
            places.append((along, (part - 1) * across))
        else:
            places.append(((3 - part) * along, across))
    positions = np.array(places)
    lips = positions @ rng.uniform(-0.008, 0.008, 2) + rng.normal(0.0, 0.001, n)
    return Box(lips * (not level), rng.uniform(-0.75, 0.75, n) * np.pi, positions)


def readings(rng, lips, mark, repeats):
    """What a person reads over the still water, outlet by outlet. [m]"""
    over = lips - lips.min() + rng.normal(0.0, mark, (repeats, lips.size))
    return np.round(over / mark) * mark


def scenario(box, mark, tolerance=None):
    """The box as its scenario would give it before anything is read."""
    outlets = tuple(
        Outlet(label=str(i + 1), opening=Circle(1.75 * INCH), hole_offset=OFFSET,
               clock=float(clock), position=tuple(place.tolist()))
        for i, (clock, place) in enumerate(zip(box.clocks, box.positions, strict=True))
    )  # fmt: skip
    return Site(box=site.Box(inlet="turned down"), outlets=outlets, flows=ORDINARY_FLOWS,
                spread=mark, mark=mark, tolerance=tolerance)  # fmt: skip


@dataclass(frozen=True)
class Done:
    """How a job ended: true lips [m], passes, turns, those under 1/32 in, minutes."""

    lips: np.ndarray
    passes: int
    turns: int
    small: int
    outcome: str | None

    @property
    def span(self):
        return float(np.ptp(self.lips))

    @property
    def worst(self):
        return float(np.abs(self.lips - self.lips.mean()).max())

    def minutes(self, repeats):
        each = MINUTES["filling"] + MINUTES["reading"] * repeats * self.lips.size
        return self.passes * each + MINUTES["turn"] * self.turns


def guided(rng, mark, repeats, *, level=False, tolerance=None, most=None):
    """Set a box up as the guided set-up asks, answer by answer; `most` passes at most."""
    box = made_up(rng, level=level)
    job = setup.begin(scenario(box, mark, tolerance), setup.Rules(samples=FEW))
    lips, stands, turns, small = box.lips.copy(), box.clocks.copy(), 0, 0
    while (question := job.question) and question.kind != "close":
        if question.kind == "still":
            read = readings(rng, lips, mark, repeats)
            job = job.after(setup.Still(method="rule"))
        elif question.kind in ("reading", "repeat"):
            heights = tuple(read[:, question.outlet].tolist())
            doubtful = job.now.doubt(question.outlet, heights) is not None
            job = job.after(setup.Read(outlet=question.outlet, heights=heights, doubtful=doubtful))
            if not doubtful and len(heights) == 1:
                job = job.after(setup.Settled(outlet=question.outlet))
        elif question.kind == "confirm":
            job = job.after(setup.Confirmed(sure=True))
            if repeats == 1:
                job = job.after(setup.Settled(outlet=question.outlet))
        else:
            told = np.array(job.told_angles)
            moved = told != np.array(job.now.angles)
            rise = OFFSET * (np.cos(np.array(job.now.angles)) - np.cos(told))
            turns, small = turns + moved.sum(), small + (np.abs(rise[moved]) < INCH / 32).sum()
            left = np.where(moved, told + rng.normal(0.0, HAND, told.size), stands)
            lips = lips + OFFSET * (np.cos(stands) - np.cos(left))
            stands = left
            job = job.after(setup.Turned(angles=tuple(told.tolist())))
        if most and len(job.passes) == most and job.now.complete:
            break
    job = job.after(setup.Closed())
    return Done(lips, len(job.passes), int(turns), int(small), job.outcome)


def practised(rng, mark, repeats, stop, *, by_clock):
    """Set a box up as many do: raise all to the highest, pass after pass, each pass for itself.

    stop: how far a lip may read under the highest. [m]
    """
    box = made_up(rng)
    lips, stands, turns, small, passes = box.lips.copy(), box.clocks.copy(), 0, 0, 0
    told = stands.copy()
    while passes < 8:
        passes += 1
        read = readings(rng, lips, mark, repeats).mean(0)
        # no lip goes higher than its insert
        rise = np.minimum(read.max() - read, OFFSET * (1.0 + np.cos(told)))
        low = (read.max() - read > stop) & (rise > 1e-4)
        if not low.any():
            break
        turns, small = turns + low.sum(), small + (rise[low] < INCH / 32).sum()
        if by_clock:
            aim = np.arccos(np.clip(np.cos(told) - rise / OFFSET, -1.0, 1.0))
            told = np.where(low, np.where(told < 0, -aim, aim), told)
            left = np.where(low, told + rng.normal(0.0, HAND, told.size), stands)
            lips = lips + OFFSET * (np.cos(stands) - np.cos(left))
            stands = left
        else:
            # the insert is turned until a reading shows the height of the highest
            off = np.round(rng.normal(0.0, mark, lips.size) / mark) * mark
            lips = np.where(
                low, np.minimum(lips + read.max() - read + off, lips + rise + 0.002), lips
            )
    return Done(lips, passes, int(turns), int(small), None)
