"""Which trench fills first, and how much did the box's tilt bring that forward?

A run of days tells when each trench first stood full to its pipe. The same water is then dealt out
as a level box would, split at the mean flow between kept rows, and the trenches are filled with
that alone: until one is full to its pipe nothing backs up, so the box need not be run again.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.run import Surge
from dbox.hydraulics.surge.trench import TrenchLine


@dataclass(frozen=True, kw_only=True, eq=False)
class Ponding:
    """Which line ponds first in a run of days.

    Parameters
    ----------
    line : int or None
        The outlet whose trench first stood full to its pipe; None where none did.
    time : float
        When; NaN where none did. [s]
    level_line : int or None
        The same where all lips are level and stay so.
    level_time : float
        When; NaN where none did. [s]
    """

    line: int | None
    time: float
    level_line: int | None
    level_time: float

    @property
    def sooner(self) -> float:
        """How much sooner than in the level box; inf where that has none in the run. [s]"""
        if self.line is None:
            return 0.0
        return np.inf if self.level_line is None else self.level_time - self.time


def ponding(found: Surge) -> Ponding:
    """Find the first trench that fills, in a run and in the same box with its lips level.

    Parameters
    ----------
    found : Surge
        A run of days.

    Returns
    -------
    Ponding
        Its level times are good to the spacing of the kept rows.
    """
    line, time = _first(found.filled)
    level_line, level_time = _first(_filled_when_level(found))
    return Ponding(line=line, time=time, level_line=level_line, level_time=level_time)


def _first(filled: Array) -> tuple[int | None, float]:
    if np.all(np.isnan(filled)):
        return None, np.nan
    line = int(np.nanargmin(filled))
    return line, float(filled[line])


def _filled_when_level(found: Surge) -> Array:
    """When each trench would first stand full to its pipe. [s] (n,)."""
    system, seconds = found.system, np.diff(found.time)
    volume = np.diff(found.volume.sum(-1))
    lips = np.where(np.isfinite(system.lips), 0.0, np.inf)
    dealt = split(volume / seconds, lips, system.openings).share * volume[:, None]
    filled = np.full(lips.size, np.nan)
    for i, trench in enumerate(system.trenches):
        if trench is not None:
            limit, line = trench.pipe_height, TrenchLine(trench)
            for part, span, end in zip(dealt[:, i], seconds, found.time[1:], strict=True):
                line.step(float(part), float(span))
                if line.depth > limit:
                    filled[i] = end
                    break
    return filled
