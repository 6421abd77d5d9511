"""The array type every module shares, and the one way results are made read-only."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

Array = npt.NDArray[np.float64]
BoolArray = npt.NDArray[np.bool_]
ArrayLike = npt.ArrayLike

GRAVITY = 9.80665
"""Standard acceleration of gravity. [m/s2] (CGPM 1901; exact by definition)"""


def with_gaps(known: Sequence[float | None]) -> Array:
    """Values of outlets, NaN where nobody knows one."""
    return np.array([np.nan if value is None else value for value in known])


def freeze(*arrays: npt.NDArray[Any]) -> None:
    """Make arrays read-only in place, so that a result cannot change under its reader."""
    for array in arrays:
        array.setflags(write=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Result:
    """What a job gives: its arrays are read-only from the start."""

    def __post_init__(self) -> None:
        freeze(*(each for each in vars(self).values() if isinstance(each, np.ndarray)))
