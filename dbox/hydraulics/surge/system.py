"""What does water pass from the house to the soil? The parts of one system, put together.

Heights are over one datum, that of the lips. What a site lacks is left out: without a tank the
house's water enters the supply pipe, without that the box; without a trench a line drains freely.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import check_positive
from dbox.hydraulics.surge.basin import Basin
from dbox.hydraulics.surge.supply import SupplyPipe
from dbox.hydraulics.surge.tank import Tank
from dbox.hydraulics.surge.trench import Trench


@dataclass(frozen=True, kw_only=True, eq=False)
class System:
    """Tank, supply pipe, box, headers and trenches; arrays are read-only.

    Parameters
    ----------
    area : float
        Plan area of the box. [m2]
    lips : ndarray, shape (n,)
        Lips over the datum; inf where capped. [m]
    openings : tuple of n Opening
        One per outlet.
    rim : float or None
        Level at which the box spills over its rim; None where it never does. [m]
    rim_length : float
        Length of the rim. [m]
    tank : Tank or None
        The septic tank.
    supply : SupplyPipe or None
        The pipe from the tank to the box.
    jet : Jet or None
        The jet of a straight inlet.
    delays : ndarray, shape (n,)
        Travel time of each header. [s]
    trenches : tuple of n Trench or None
        The trench of each line.
    bottoms : ndarray, shape (n,)
        Bottom of each trench over the datum; -inf where there is none. [m]

    Raises
    ------
    DomainError
        Where the parts do not fit each other.
    """

    area: float
    lips: Array
    openings: tuple[Opening, ...]
    rim: float | None = None
    rim_length: float = 1.0
    tank: Tank | None = None
    supply: SupplyPipe | None = None
    jet: Jet | None = None
    delays: Array
    trenches: tuple[Trench | None, ...]
    bottoms: Array

    def __post_init__(self) -> None:
        check_positive("plan area of the box [m2]", self.area)
        check_positive("length of the rim [m]", self.rim_length)
        n = self.lips.size
        counts = (len(self.openings), self.delays.size, len(self.trenches), self.bottoms.size)
        if self.lips.shape != (n,) or any(count != n for count in counts):
            raise DomainError(f"openings, delays, trenches and bottoms do not fit {n} lips")
        if not np.all(np.isfinite(self.delays) & (self.delays >= 0)):
            raise DomainError("a header's delay [s] is not a finite number, 0 or more")
        freeze(self.lips, self.delays, self.bottoms)

    @property
    def still_level(self) -> float:
        """Where water stands when nothing runs: the lowest way out. [m]"""
        return float(min(self.lips.min(), np.inf if self.rim is None else self.rim))

    def basin(self) -> Basin:
        """The box, its water at rest."""
        return Basin(
            self.area,
            self.lips,
            self.openings,
            self.still_level,
            rim=self.rim,
            rim_length=self.rim_length,
            jet=self.jet,
        )


def box_alone(
    area: float,
    lips: Array,
    openings: tuple[Opening, ...],
    *,
    rim: float | None = None,
    rim_length: float = 1.0,
) -> System:
    """A box with nothing before it and lines that drain freely.

    Parameters
    ----------
    area : float
        Plan area of the box. [m2]
    lips : ndarray, shape (n,)
        Lips over any datum; inf where capped. [m]
    openings : tuple of n Opening
        One per outlet.
    rim, rim_length : float
        As for `System`. [m]

    Returns
    -------
    System
        Without tank, supply pipe, headers and trenches.
    """
    n = lips.size
    return System(
        area=area,
        lips=lips,
        openings=openings,
        rim=rim,
        rim_length=rim_length,
        delays=np.zeros(n),
        trenches=(None,) * n,
        bottoms=np.full(n, -np.inf),
    )
