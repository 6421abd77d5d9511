"""What box do the arguments of a command line describe? A site without a scenario file."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from dbox.errors import ScenarioError
from dbox.fieldwork.site import Flow, Outlet, Site, Tolerance
from dbox.files import measures
from dbox.files.assembly import DEFAULT_FLOWS
from dbox.files.faults import any_of, at_place, show
from dbox.files.phrases import heights_from_text, opening_from_text
from dbox.files.tables import UNITS

_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class TypedBox:
    """The words of a command line, as they were typed; None where left out.

    Parameters
    ----------
    heights, opening : str
        Lips over still water, clockwise from the inlet; the opening of every outlet.
    coefficient : float or None
        Discharge coefficient. [-]
    spread, tolerance : str or None
        Spread of one reading; allowed difference of a share from its target.
    units : str
        Unit of a bare length.
    flows : sequence of str
        Flows to compute; none for the default ones.
    """

    heights: str
    opening: str
    coefficient: float | None = None
    spread: str | None = None
    tolerance: str | None = None
    units: str = "in"
    flows: Sequence[str] = ()

    def site(self) -> Site:
        """Read all words.

        Returns
        -------
        Site
            In SI, equal targets.

        Raises
        ------
        ScenarioError
            With every word that cannot be read, each named by its option.
        """
        faults: list[str] = []
        units = typed_unit(faults, self.units)
        lips = _read(faults, "--heights", lambda: heights_from_text(self.heights, units))
        opening = _read(
            faults, "--opening", lambda: opening_from_text(self.opening, self.coefficient, units)
        )
        spread = optional(faults, "--spread", self.spread, lambda s: measures.spread(s, units))
        share = optional(faults, "--tolerance", self.tolerance, measures.tolerance)
        flows = _flows(faults, self.flows)
        if faults or lips is None or opening is None:
            raise ScenarioError(*faults)
        return Site(
            outlets=tuple(
                Outlet(label=str(i), opening=opening, readings=(lip,))
                for i, lip in enumerate(lips, start=1)
            ),
            flows=flows,
            spread=spread,
            tolerance=None if share is None else Tolerance(share=share, source="--tolerance"),
        )


def typed_unit(faults: list[str], word: str) -> str:
    """Read the unit of bare lengths.

    Parameters
    ----------
    faults : list of str
        Where it is none, that is added, and inches are given so that the rest can be read.
    word : str
        What was typed.
    """
    if word in UNITS:
        return word
    faults.append(f"--units is {show(word)}; write {any_of(UNITS)}")
    return "in"


def typed_flows(words: Sequence[str]) -> tuple[Flow, ...]:
    """Read the flows of a command line, each named by what was typed.

    Parameters
    ----------
    words : sequence of str
        `0.5 gpm`, `5 gal in 40 s`.

    Returns
    -------
    tuple of Flow
        The default flows where none was typed.

    Raises
    ------
    ScenarioError
        With every flow that cannot be read.
    """
    faults: list[str] = []
    flows = _flows(faults, words)
    if faults:
        raise ScenarioError(*faults)
    return flows


def _flows(faults: list[str], words: Sequence[str]) -> tuple[Flow, ...]:
    flows = []
    for word in words:
        inflow = _read(faults, "--flow", partial(measures.inflow, word))
        if inflow is not None:
            flows.append(Flow(name=word, inflow=inflow))
    return tuple(flows) or DEFAULT_FLOWS


def _read(faults: list[str], option: str, read: Callable[[], _T]) -> _T | None:
    """What was read, or None with its faults kept."""
    try:
        return read()
    except ScenarioError as error:
        faults += [at_place(option, fault) for fault in error.faults]
        return None


def optional(
    faults: list[str], option: str, word: str | None, read: Callable[[str], _T]
) -> _T | None:
    """Read a word of an option that may be left out.

    Parameters
    ----------
    faults : list of str
        What cannot be read is added to it, named by the option.
    option : str
        Its name.
    word : str or None
        What was typed.
    read : callable
        From the word to its value.

    Returns
    -------
    value or None
        None where it was left out or cannot be read.
    """
    return None if word is None else _read(faults, option, lambda: read(word))
