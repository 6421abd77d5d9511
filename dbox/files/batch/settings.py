"""What holds for every box of a list where its own row does not say otherwise?"""

from dataclasses import dataclass

from dbox.fieldwork.site import Flow
from dbox.hydraulics.openings import Opening


@dataclass(frozen=True, kw_only=True)
class Settings:
    """What a run over a list goes by.

    Parameters
    ----------
    flows : tuple of Flow
        The flows to compute, the first the one at which unequal holes are to share equally.
    opening : Opening or None
        Opening of every outlet; None where the rows say it.
    coefficient : float or None
        Discharge coefficient of the openings that the rows say. [-]
    offset : float or None
        Hole centre from pipe centre; None where nothing is said, 0 where it cannot be turned. [m]
    spread : float or None
        Standard deviation of one reading; None for that of a ruler. [m]
    tolerance : float or None
        Allowed difference of a share from its target; None where the rows say it. [-]
    units : str
        Unit of a bare length.
    samples : int
        Lips drawn for each box; 0 for verdicts to first order.
    seed : int
        Seed of the draws.
    shares : bool
        Whether every share is written.
    """

    flows: tuple[Flow, ...]
    opening: Opening | None = None
    coefficient: float | None = None
    offset: float | None = None
    spread: float | None = None
    tolerance: float | None = None
    units: str = "in"
    samples: int = 400
    seed: int = 0
    shares: bool = False
