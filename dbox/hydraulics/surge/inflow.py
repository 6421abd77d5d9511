"""Inflows of one shape: pieces of time in which the rate changes straight.

A fixture or a pump is a rate for a time, a measured series is straight lines between its rows; what
a dosing siphon sends is straight by itself (see `sources`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, ArrayLike, freeze
from dbox.errors import DomainError

ENTRIES = ("house", "supply", "box")
"""Where an inflow enters: the tank, the pipe from the tank to the box, or the box itself."""

SHORTEST = 1e-6
"""Least time between two changes of an inflow; `pulses` rounds to it. [s] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Inflow:
    """Pieces of straight inflow; arrays are read-only."""

    # (k,) When each piece begins, rising; each ends where the next begins, the last never. [s]
    begin: Array
    first: Array  # (k,) Rate at the beginning of each piece, at least 0. [m3/s]
    last: Array  # (k,) Rate at its end; that of the last piece equals its first. [m3/s]
    # One of `ENTRIES`; where that part is missing, the next one down takes the inflow.
    entry: str = "box"
    name: str = ""  # What it is.
    pumped: bool = False  # Whether a pressure pipe brings it, which runs full.

    def __post_init__(self) -> None:
        rates = np.concatenate([self.first, self.last])
        if not np.all(np.isfinite(rates) & (rates >= 0)):
            raise DomainError("an inflow [m3/s] is not a finite number, 0 or more")
        apart = np.diff(self.begin) > 0.5 * SHORTEST
        if not np.all(np.isfinite(self.begin)) or not np.all(apart) or self.begin[0] < 0:
            raise DomainError(
                f"the times of an inflow [s] must be finite, 0 or more, and {SHORTEST:g} s apart"
            )
        if self.entry not in ENTRIES:
            raise DomainError(f"entry is {self.entry!r}; it must be one of {', '.join(ENTRIES)}")
        freeze(self.begin, self.first, self.last)

    @property
    def end(self) -> float:
        """When the last piece begins: after it the rate stays as it is. [s]"""
        return float(self.begin[-1])

    def volume(self, seconds: float) -> float:
        """Volume that has run in from the first piece on until a time. [m3]; seconds [s]."""
        ends = np.minimum(np.append(self.begin[1:], np.inf), seconds)
        spans = np.maximum(ends - self.begin, 0.0)
        whole = np.append(np.diff(self.begin), np.inf)
        reached = self.first + (self.last - self.first) * spans / whole
        return float(np.sum(0.5 * (self.first + reached) * spans))


def steady(rate: float, seconds: float = np.inf, *, entry: str = "box", name: str = "") -> Inflow:
    """An inflow of one rate; rate [m3/s], seconds [s].

    >>> round(steady(1e-3, 60.0).volume(100.0), 12)
    0.06
    """
    return pulses([0.0], [seconds], [rate], entry=entry, name=name)


def pulses(
    begin: ArrayLike, seconds: ArrayLike, rate: ArrayLike, *, entry: str = "box", name: str = ""
) -> Inflow:
    """An inflow of rates that each hold for a time and add up where they meet.

    begin [s], seconds [s], rate [m3/s].

    >>> both = pulses([0.0, 10.0], [20.0, 20.0], [1e-4, 2e-4])
    >>> both.begin.tolist(), (both.first * 1e4).round(9).tolist()
    ([0.0, 10.0, 20.0, 30.0], [1.0, 3.0, 2.0, 0.0])
    """
    start, span, rates = (np.asarray(a, np.float64) for a in (begin, seconds, rate))
    if not np.all(span >= SHORTEST) or not np.all(start >= 0):
        raise DomainError("an inflow [s] begins before 0 or lasts no time")
    digits = -round(np.log10(SHORTEST))
    start, stop = np.round(start, digits), np.round(start + span, digits)
    times = np.unique(np.concatenate([[0.0], start, stop[np.isfinite(stop)]]))
    # summed pulse by pulse, so that nothing is left of one when it has ended
    runs = np.zeros_like(times)
    for on, off, flow in zip(start, stop, rates, strict=True):
        runs[np.searchsorted(times, on) : np.searchsorted(times, off)] += flow
    return Inflow(begin=times, first=runs, last=runs.copy(), entry=entry, name=name)


def measured(seconds: ArrayLike, rate: ArrayLike, *, name: str = "") -> Inflow:
    """A measured series that enters straight at the box, straight lines between its rows.

    seconds [s], rate [m3/s].

    >>> measured([0, 10, 30], [0.0, 1e-4, 0.0]).volume(30.0)
    0.0015
    """
    times, rates = np.asarray(seconds, np.float64), np.asarray(rate, np.float64)
    if times.ndim != 1 or times.shape != rates.shape or times.size < 2:
        raise DomainError("a measured inflow needs two or more rows of a time and a rate")
    last = np.append(rates[1:], 0.0)
    return Inflow(
        begin=times - times[0], first=np.append(rates[:-1], 0.0), last=last, entry="box", name=name
    )


def concatenate(inflows: Sequence[Inflow], every: float) -> Inflow:
    """The same kind of inflow again and again; every [s]."""
    return replace(
        inflows[0],
        begin=np.concatenate([i * every + flow.begin for i, flow in enumerate(inflows)]),
        first=np.concatenate([flow.first for flow in inflows]),
        last=np.concatenate([flow.last for flow in inflows]),
    )
