"""What was poured into a box, and what was caught at its outlets? A record; nothing is computed."""

from dataclasses import dataclass

DEFAULT_ERROR = 0.05
"""Relative error of a timed catch where none is stated. [-] (5 to 10 %: common practice, no
source)"""


@dataclass(frozen=True, kw_only=True)
class Pour:
    """One steady pour of clean water, planned or done.

    Parameters
    ----------
    name : str
        What it is called.
    inflow : float
        What is poured in. [m3/s]
    volume : float or None
        How much is poured in all; None where only the flow is known. [m3]
    jug : float or None
        Content of the jug that is filled at the outlets. [m3]
    error : float
        One standard deviation of a timed flow, caught or poured, as a fraction of it. [-]
    catches : tuple of float or None
        Flow caught at each outlet, in the order of the outlets; None where it was not caught.
        Empty before the pour. [m3/s]
    order : tuple of int
        The outlets that were seen to start, the first one first; empty where not watched.
    """

    name: str
    inflow: float
    volume: float | None = None
    jug: float | None = None
    error: float = DEFAULT_ERROR
    catches: tuple[float | None, ...] = ()
    order: tuple[int, ...] = ()

    @property
    def done(self) -> bool:
        """Whether anything was caught."""
        return any(catch is not None for catch in self.catches)
