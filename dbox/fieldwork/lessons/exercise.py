"""What will a class catch at the bench box? A slow pour and a bucket, one lip set wrong on purpose.

The box is the one of the handout's table. What is caught in a time is share times flow times time.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.lessons.bench_box import INCH, LESSON_FLOWS
from dbox.fieldwork.lessons.one_lip import LipTable, lip_table
from dbox.fieldwork.site import Flow
from dbox.hydraulics.openings import Opening

WRONG = -INCH / 8
"""How the one lip is set over the others. [m]"""

POURS = (LESSON_FLOWS[1], LESSON_FLOWS[2])
"""The pours of the exercise: the most of an ordinary day, and a bucket."""

SECONDS = 30.0
"""For how long each outlet is caught. [s]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Exercise:
    """A bench exercise and what it gives.

    Parameters
    ----------
    table : LipTable
        The pours, with one error.
    seconds : float
        For how long each outlet is caught. [s]
    """

    table: LipTable
    seconds: float

    @property
    def share(self) -> Array:
        """Share of the line with the wrong lip, and of each other line. [-] (pours, 2)."""
        return np.stack([self.table.share[:, 0], self.table.others[:, 0]], -1)

    @property
    def caught(self) -> Array:
        """What each of the two catches. [m3] (pours, 2)."""
        inflow = np.array([flow.inflow for flow in self.table.flows])
        result: Array = self.share * inflow[:, None] * self.seconds
        return result


def exercise(
    opening: Opening,
    outlets: int,
    *,
    pours: tuple[Flow, ...] = POURS,
    error: float = WRONG,
    seconds: float = SECONDS,
) -> Exercise:
    """Work out the exercise for a bench box.

    Parameters
    ----------
    opening : Opening
        The opening of every outlet.
    outlets : int
        How many.
    pours : tuple of Flow
        What is poured.
    error : float
        The wrong lip over the others. [m]
    seconds : float
        For how long each outlet is caught, above 0. [s]

    Returns
    -------
    Exercise
        With its table.

    Raises
    ------
    DomainError
        Where seconds is not above 0, or as `lip_table`.
    """
    if not seconds > 0:
        raise DomainError(f"each outlet is caught for {seconds} s; give a time above 0")
    return Exercise(table=lip_table(opening, outlets, pours, [error]), seconds=seconds)
