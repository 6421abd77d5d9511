"""Which opening forgives a wrong lip the most, and what does that cost in drop?

Every kind of opening gets the same box, the same one wrong lip and the same flows. The narrower an
opening, the higher the water stands over it and the less an error matters; but the inlet must then
stand higher over the outlets, or it drowns.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.lessons.bench_box import INCH, LESSON_FLOWS
from dbox.fieldwork.lessons.one_lip import LipTable, lip_table
from dbox.fieldwork.site import Flow
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot

LESSON_ERROR = -INCH / 8
"""The wrong lip over the others where nobody says. [m]"""


@dataclass(frozen=True)
class Kind:
    """A kind of opening and what it is called."""

    name: str
    opening: Opening


KINDS = (
    Kind("round hole", Circle(2 * INCH)),
    Kind("large hole", Circle(3.5 * INCH)),
    Kind("V-notch", Notch(np.pi / 2)),
    Kind("slot", Slot(INCH)),
    Kind("bare pipe end", PipeEnd(4.026 * INCH)),
)
"""A 2 in hole, a 3-1/2 in hole, a 90 degree notch, a 1 in slot open on top, a 4 in pipe of schedule
40 (inside 4.026 in, ASME B36.10M: from memory)."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Comparison:
    """Kinds of openings under one error; arrays are read-only.

    Parameters
    ----------
    kinds : tuple of k Kind
        What was compared.
    outlets : int
        How many outlets the box has.
    flows : tuple of Flow
        The flows.
    error : float
        The wrong lip over the others. [m]
    share : ndarray, shape (k, flows)
        Share of its line. [-]
    head : ndarray, shape (k, flows)
        Head over the lips while all are level. [m]
    warnings : tuple of str
        Where the model is weak.
    """

    kinds: tuple[Kind, ...]
    outlets: int
    flows: tuple[Flow, ...]
    error: float
    share: Array
    head: Array
    warnings: tuple[str, ...]

    @property
    def fair(self) -> float:
        """Share of each line while the lips are level. [-]"""
        return 1.0 / self.outlets

    @property
    def weakest(self) -> int:
        """Place of the smallest flow, at which an error matters the most."""
        return int(np.argmin([flow.inflow for flow in self.flows]))

    @property
    def drop(self) -> Array:
        """Head at the strongest flow: what the inlet must stand over the lips. [m] (k,)."""
        result: Array = self.head.max(-1)
        return result

    @property
    def caution(self) -> str:
        """One sentence in place of a warning for every opening and flow; empty for none."""
        if not self.warnings:
            return ""
        return (
            "many of these heads lie outside those at which the coefficients were measured, and "
            "below 5 mm surface tension decides: take the order of the openings, not the last digit"
        )

    @property
    def order(self) -> npt.NDArray[np.int64]:
        """Places of the kinds, the most forgiving at the weakest flow first, (k,)."""
        off = np.abs(self.share[:, self.weakest] - self.fair)
        result: npt.NDArray[np.int64] = np.argsort(off, kind="stable")
        return result


def compare(
    kinds: Sequence[Kind] = KINDS,
    *,
    outlets: int = 4,
    flows: Sequence[Flow] = LESSON_FLOWS,
    error: float = LESSON_ERROR,
) -> Comparison:
    """Hold kinds of openings against each other.

    Parameters
    ----------
    kinds : sequence of Kind
        At least one.
    outlets : int
        How many outlets the box has.
    flows : sequence of Flow
        The flows.
    error : float
        The wrong lip over the others. [m]

    Returns
    -------
    Comparison
        In the order of the kinds.

    Raises
    ------
    DomainError
        Where nothing is to be compared.
    """
    if not kinds:
        raise DomainError("no opening to compare; name at least one")
    tables = [lip_table(kind.opening, outlets, flows, [error]) for kind in kinds]
    share = np.array([table.share[:, 0] for table in tables])
    head = np.array([table.level_head for table in tables])
    freeze(share, head)
    return Comparison(
        kinds=tuple(kinds),
        outlets=outlets,
        flows=tuple(flows),
        error=error,
        share=share,
        head=head,
        warnings=_warnings(kinds, tables),
    )


def _warnings(kinds: Sequence[Kind], tables: Sequence[LipTable]) -> tuple[str, ...]:
    return tuple(
        f"{kind.name}: {sentence}"
        for kind, table in zip(kinds, tables, strict=True)
        for sentence in table.warnings
    )
