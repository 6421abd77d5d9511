"""What does one wrong lip do? The share of its line, at every flow and every error.

All lips but the first are level. The whole table is one call of `split`.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.lessons.bench_box import INCH
from dbox.fieldwork.site import Flow
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import split
from dbox.hydraulics.validity import range_warnings

LESSON_ERRORS = tuple(part * INCH for part in (-1 / 32, -1 / 16, -1 / 8, -1 / 4, 1 / 8))
"""Errors of the usual table, + above the other lips. [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class LipTable:
    """The share of a line whose lip is wrong; arrays are read-only.

    Parameters
    ----------
    opening : Opening
        The opening of every outlet.
    outlets : int
        How many outlets the box has.
    flows : tuple of Flow
        The flows, one a row.
    error : ndarray, shape (errors,)
        The wrong lip over the others, one a column. [m]
    share : ndarray, shape (flows, errors)
        Share of its line. [-]
    level_head : ndarray, shape (flows,)
        Head over the lips while all are level. [m]
    warnings : tuple of str
        Where the model is weak.
    """

    opening: Opening
    outlets: int
    flows: tuple[Flow, ...]
    error: Array
    share: Array
    level_head: Array
    warnings: tuple[str, ...]

    @property
    def fair(self) -> float:
        """Share of each line while the lips are level. [-]"""
        return 1.0 / self.outlets

    @property
    def others(self) -> Array:
        """Share of each line whose lip is right. [-] (flows, errors)."""
        result: Array = (1.0 - self.share) / (self.outlets - 1)
        return result


def lip_table(
    opening: Opening,
    outlets: int,
    flows: Sequence[Flow],
    errors: Sequence[float] = LESSON_ERRORS,
) -> LipTable:
    """Split a box with one wrong lip, at every flow and every error.

    Parameters
    ----------
    opening : Opening
        The opening of every outlet.
    outlets : int
        How many, at least 2.
    flows : sequence of Flow
        The flows.
    errors : sequence of float
        The wrong lip over the others. [m]

    Returns
    -------
    LipTable
        Flows by errors.

    Raises
    ------
    DomainError
        Where there are fewer than 2 outlets, or no flow.

    >>> from dbox import Circle
    >>> bucket = Flow(name="bucket", inflow=20e-3 / 60)
    >>> lip_table(Circle(0.0508, coefficient=0.6), 4, [bucket]).share.round(2).tolist()
    [[0.27, 0.29, 0.34, 0.43, 0.17]]
    """
    if outlets < 2 or not flows:
        raise DomainError(f"{outlets} outlets and {len(flows)} flows; give at least 2 and 1")
    wrong = np.array([0.0, *errors])
    lips = np.zeros((wrong.size, outlets))
    lips[:, 0] = wrong
    inflow = np.array([flow.inflow for flow in flows])
    result = split(inflow[:, None], lips, opening)
    error, share, head = wrong[1:].copy(), result.share[:, 1:, 0], result.level[:, 0].copy()
    level = split(inflow, lips[0], opening)
    freeze(error, share, head)
    return LipTable(
        opening=opening,
        outlets=outlets,
        flows=tuple(flows),
        error=error,
        share=share,
        level_head=head,
        warnings=range_warnings(level, [flow.name for flow in flows]),
    )
