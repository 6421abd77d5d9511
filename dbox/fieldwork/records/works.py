"""What stands before the box and behind it? Tank, pipes, dosing and trenches, as far as known.

Nothing here computes. Missing means not known: `None`, never zero.
"""

from dataclasses import dataclass

from dbox.hydraulics.surge.dosing import Pump, Siphon
from dbox.hydraulics.surge.supply import SupplyPipe
from dbox.hydraulics.surge.tank import Tank
from dbox.hydraulics.surge.trench import Trench


@dataclass(frozen=True, kw_only=True)
class Works:
    """The system that the box is part of.

    Parameters
    ----------
    people : int or None
        How many live in the house.
    tank : Tank or None
        The septic tank.
    supply : SupplyPipe or None
        The gravity pipe from the tank to the box.
    pump : Pump or None
        A dosing pump.
    siphon : Siphon or None
        A dosing siphon.
    headers : tuple of SupplyPipe or None
        The header of each outlet, in the order of the outlets; empty where none is known.
    trenches : tuple of Trench or None
        The trench of each outlet; empty where none is known.
    """

    people: int | None = None
    tank: Tank | None = None
    supply: SupplyPipe | None = None
    pump: Pump | None = None
    siphon: Siphon | None = None
    headers: tuple[SupplyPipe | None, ...] = ()
    trenches: tuple[Trench | None, ...] = ()
