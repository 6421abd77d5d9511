"""What does the command line of a list mean? Its openings, sizes and flows, from words to SI."""

from collections.abc import Sequence

from dbox.errors import ScenarioError
from dbox.files import measures
from dbox.files.batch.settings import Settings
from dbox.files.phrases import opening_from_text
from dbox.files.typed import optional, typed_flows, typed_unit


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
    faults: list[str] = []
    units = typed_unit(faults, units)
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
        spread=read_spread,
        tolerance=read_tolerance,
        units=units,
        samples=samples,
        seed=seed,
        shares=shares,
    )
