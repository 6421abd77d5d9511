"""How does the septic tank smooth what the house sends? A level pool behind its outlet tee.

The tank's plan area stores what comes in; the outlet pipe lets it out as a bare pipe end does, the
level counting from the pipe's invert. An effluent filter is a loss before the pipe, in velocity
heads; as its slots clog the same flow passes a smaller part of them, so with a clogged part c the
loss grows as 1 / (1 - c)^2 (continuity; no source needed).
"""

from dataclasses import dataclass

from dbox.errors import DomainError
from dbox.hydraulics.openings import PipeEnd
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.surge.level_pool import Pool
from dbox.hydraulics.surge.rating_table import opening_table

CLEAN_FILTER_LOSS = 2.0
"""Loss of a clean effluent filter where none is entered, in velocity heads. [-] (an assumption of
this project, no source)"""


@dataclass(frozen=True, kw_only=True)
class Tank:
    """A septic tank over its outlet's invert.

    Parameters
    ----------
    area : float
        Plan area of the water. [m2]
    outlet : float
        Inside diameter of the outlet pipe. [m]
    filter_loss : float
        Loss of the clean effluent filter in velocity heads; 0 where there is none. [-]
    clogged : float
        Part of the filter that is clogged, from 0 to below 1. [-]

    Raises
    ------
    DomainError
        Where a size is not above 0, the loss is negative, or the clogged part is not below 1.
    """

    area: float
    outlet: float
    filter_loss: float = 0.0
    clogged: float = 0.0

    def __post_init__(self) -> None:
        check_positive("tank area [m2]", self.area)
        if not 0.0 <= self.clogged < 1.0:
            raise DomainError(f"clogged part [-] is {self.clogged}; it is from 0 to below 1")
        self.opening()

    def opening(self) -> PipeEnd:
        """The outlet: a pipe's end with the loss of the filter before it.

        >>> Tank(area=3.0, outlet=0.1, filter_loss=2.0, clogged=0.5).opening().entrance_loss
        8.0
        """
        return PipeEnd(self.outlet, entrance_loss=self.filter_loss / (1.0 - self.clogged) ** 2)

    def pool(self) -> Pool:
        """The tank at rest, its water standing at the outlet's invert."""
        return Pool(self.area, opening_table(self.opening()), 0.0)
