"""What is there to see at one moment of a run, and which moments make a film of it?

Between the kept rows of a run everything goes straight. A film plays the time in which water moves
at one speed, and hurries through the rest.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.files.notation import gallons, litres
from dbox.hydraulics.surge.run import Surge

FRAME = 0.08
"""Playing time of a frame; whole hundredths, as a GIF counts. [s]"""

MOVING_FRAMES, QUIET_FRAMES = 120, 24
"""Frames for the time in which water moves, and at most for the rest."""

MOVING = 0.05
"""Flow over the greatest flow from which on a run is worth watching. [-]"""

THROUGH = 0.99
"""Part of all water that has left the box when a picture of the run ends. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Moment:
    """A run at one time; arrays are read-only.

    Parameters
    ----------
    time : float
        [s]
    level : float
        Water in the box over the datum of the lips. [m]
    inflow, overflow : float
        Flow into the box and over its rim. [m3/s]
    flow : ndarray, shape (n,)
        Flow of each outlet. [m3/s]
    share : ndarray, shape (n,)
        Share of each in what has passed so far. [-]
    depth : ndarray, shape (n,)
        Water in each trench over its bottom; NaN where there is no trench. [m]
    lips : ndarray, shape (n,)
        Lips over the datum. [m]
    """

    time: float
    level: float
    inflow: float
    overflow: float
    flow: Array
    share: Array
    depth: Array
    lips: Array


def moment(run: Surge, time: float) -> Moment:
    """Read a run at any time.

    Parameters
    ----------
    run : Surge
        The run.
    time : float
        When; before its start or after its end it stands still. [s]

    Returns
    -------
    Moment
        Straight between the rows of the run.
    """
    after = int(np.clip(np.searchsorted(run.time, time), 1, run.time.size - 1))
    start, end = run.time[after - 1 : after + 1]
    part = float(np.clip((time - start) / (end - start), 0.0, 1.0))

    def between(rows: Array) -> Array:
        return np.asarray((1.0 - part) * rows[after - 1] + part * rows[after])

    volume = between(run.volume)
    lips, is_open = run.system.lips, np.isfinite(run.lips_end)
    sunk = np.subtract(run.lips_end, lips, out=np.zeros_like(lips), where=is_open)
    arrays = {
        "flow": between(run.flow),
        "share": volume / (volume.sum() or 1.0),
        "depth": between(run.depth),
        "lips": lips + sunk * time / run.seconds,
    }
    freeze(*arrays.values())
    return Moment(
        time=time,
        level=float(between(run.level)),
        inflow=float(between(run.inflow)),
        overflow=float(between(run.overflow)),
        **arrays,
    )


def shown_until(run: Surge) -> float:
    """When hardly any water of a run is left to pass the box. [s]

    Parameters
    ----------
    run : Surge
        The run.
    """
    passed = run.volume.sum(1) + run.spilled
    last = int(np.argmax(passed >= THROUGH * passed[-1])) if passed[-1] > 0 else -1
    return float(run.time[last]) if run.time[last] > 0 else run.seconds


def is_moving(run: Surge) -> tuple[bool, ...]:
    """Whether water moves in each step of a run, more than `MOVING` of its greatest flow.

    Parameters
    ----------
    run : Surge
        The run.
    """
    flow = np.maximum(run.inflow, run.flow.sum(1) + run.overflow)
    busy = flow > MOVING * flow.max()
    return tuple((busy[1:] | busy[:-1]).tolist())


def frame_times(run: Surge, frames: int = MOVING_FRAMES) -> Array:
    """Choose the moments of a film.

    Parameters
    ----------
    run : Surge
        The run.
    frames : int
        Frames for the time in which water moves, at least 2.

    Returns
    -------
    ndarray, shape (f,)
        Rising, from 0 to `shown_until`. [s]

    Notes
    -----
    Quiet times go by at least as fast as the others, in at most `QUIET_FRAMES`.
    """
    until = shown_until(run)
    ends = np.minimum(run.time, until)
    steps, moving = np.diff(ends), np.array(is_moving(run))
    busy = float(steps[moving].sum()) or until
    quiet = until - busy
    fast = min(QUIET_FRAMES, frames * quiet / busy) / quiet if quiet > 0 else 0.0
    played = np.append(0.0, np.cumsum(steps * np.where(moving, frames / busy, fast)))
    at: Array = np.interp(np.linspace(0.0, played[-1], round(played[-1]) + 1), played, ends)
    freeze(at)
    return at


def about(run: Surge) -> str:
    """What ran in, and how much.

    Parameters
    ----------
    run : Surge
        The run.
    """
    name = run.event.name or "a flow"
    return f"{name}: {gallons(run.came)} ({litres(run.came)})"


def clock(seconds: float) -> str:
    """Write the time of a run as a clock shows it.

    Parameters
    ----------
    seconds : float
        Since its start. [s]

    >>> clock(95.2), clock(93784.0)
    ('0:01:35', 'day 2, 2:03')
    """
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    if hours < 24:
        return f"{hours}:{rest // 60:02d}:{rest % 60:02d}"
    return f"day {hours // 24 + 1}, {hours % 24}:{rest // 60:02d}"


def time_unit(seconds: float) -> tuple[float, str]:
    """Unit for the time axis of a run that long: its length [s] and its name.

    Parameters
    ----------
    seconds : float
        Length of the run. [s]

    >>> time_unit(7200.0)
    (60.0, 'min')
    """
    units = [(1.0, "s"), (60.0, "min"), (3600.0, "h")]
    return next((u for u in units if seconds <= 180 * u[0]), (86400.0, "days"))
