"""What holds for every box of a list where its own row does not say otherwise?"""

from collections.abc import Sequence
from dataclasses import dataclass

from dbox.errors import ScenarioError
from dbox.fieldwork.site import DEFAULT_SPREAD, Flow
from dbox.files import measures
from dbox.files.faults import any_of, show
from dbox.files.phrases import opening_from_text
from dbox.files.tables import UNITS
from dbox.files.typed import optional, typed_flows
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
    spread : float
        Standard deviation of one reading. [m]
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
    spread: float = DEFAULT_SPREAD
    tolerance: float | None = None
    units: str = "in"
    samples: int = 400
    seed: int = 0
    shares: bool = False


def read_settings(
    *,
    flows: Sequence[str] = (),
    opening: str | None = None,
    coefficient: float | None = None,
    offset: str | None = None,
    spread: str | None = None,
    tolerance: str | None = None,
    units: str = "in",
    samples: int = 400,
    seed: int = 0,
    shares: bool = False,
) -> Settings:
    """Read the words of a command line.

    Parameters
    ----------
    flows : sequence of str
        `0.5 gpm`, `5 gal in 40 s`; none for the default ones.
    opening, offset, spread, tolerance : str or None
        As they were typed; None where left out.
    coefficient : float or None
        Discharge coefficient. [-]
    units : str
        Unit of a bare length.
    samples, seed, shares
        As in `Settings`.

    Raises
    ------
    ScenarioError
        With every word that cannot be read, each named by its option.
    """
    if units not in UNITS:
        raise ScenarioError(f"--units is {show(units)}; write {any_of(UNITS)}")
    faults: list[str] = []
    read_opening = optional(
        faults, "--opening", opening, lambda o: opening_from_text(o, coefficient, units)
    )
    if coefficient is not None and opening is None:
        optional(faults, "--coefficient", str(coefficient), measures.coefficient)
    read_offset = optional(faults, "--offset", offset, lambda s: measures.offset(s, units))
    read_spread = optional(faults, "--spread", spread, lambda s: measures.spread(s, units))
    read_tolerance = optional(faults, "--tolerance", tolerance, measures.tolerance)
    if faults:
        raise ScenarioError(*faults)
    return Settings(
        flows=typed_flows(flows),
        opening=read_opening,
        coefficient=coefficient,
        offset=read_offset,
        spread=DEFAULT_SPREAD if read_spread is None else read_spread,
        tolerance=read_tolerance,
        units=units,
        samples=samples,
        seed=seed,
        shares=shares,
    )
