"""How many boxes of a list are within, outside, cannot tell; and how bad is their worst line?"""

from dataclasses import dataclass, fields

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.fieldwork.batch.judge import Judged
from dbox.fieldwork.batch.work import WORK, Work
from dbox.fieldwork.confidence import VERDICTS

Counts = npt.NDArray[np.int64]

EDGES: Array = np.append(np.arange(100, 401) / 100, np.inf)
"""Edges of the bins of the worst share over target; the last bin is open. [-]"""

EDGES.setflags(write=False)


@dataclass(frozen=True, kw_only=True, eq=False)
class Tally:
    """Counts of boxes; tallies of parts of a list add up to that of the list.

    Parameters
    ----------
    verdicts : ndarray of int, shape (3,)
        Boxes by their worst verdict over all flows, in the order of `VERDICTS`.
    by_flow : ndarray of int, shape (f, 3)
        Boxes by their verdict at each flow.
    worst : ndarray of int, shape (f, bins)
        Boxes by the share over target of their worst line, between `EDGES`.
    work : ndarray of int, shape (4,)
        Boxes by what is to be done, in the order of `WORK`; none where that is unknown.
    refused : ndarray of int, shape (1,)
        Rows that could not be computed.
    """

    verdicts: Counts
    by_flow: Counts
    worst: Counts
    work: Counts
    refused: Counts

    @classmethod
    def empty(cls, flows: int, refused: int = 0) -> "Tally":
        """No boxes at all, at a number of flows."""
        return cls(
            verdicts=np.zeros(len(VERDICTS), np.int64),
            by_flow=np.zeros((flows, len(VERDICTS)), np.int64),
            worst=np.zeros((flows, EDGES.size - 1), np.int64),
            work=np.zeros(len(WORK), np.int64),
            refused=np.array([refused], np.int64),
        )

    @classmethod
    def of(cls, judged: Judged, work: Work | None) -> "Tally":
        """Count boxes."""
        worst = np.clip(judged.worst_over_target, EDGES[0], EDGES[-2])
        return cls(
            verdicts=_counts(overall(judged), len(VERDICTS)),
            by_flow=np.stack([_counts(codes, len(VERDICTS)) for codes in judged.verdict]),
            worst=np.stack([np.histogram(each, EDGES)[0] for each in worst]),
            work=_counts(work.kind[work.kind >= 0] if work else np.array([], np.int8), len(WORK)),
            refused=np.zeros(1, np.int64),
        )

    def __add__(self, other: "Tally") -> "Tally":
        return Tally(
            **{f.name: getattr(self, f.name) + getattr(other, f.name) for f in fields(self)}
        )

    @property
    def boxes(self) -> int:
        """Boxes that were computed."""
        return int(self.verdicts.sum())

    def worst_at(self, part: float) -> Array:
        """Share over target that the worst line of a part of the boxes stays under, at each flow.

        Parameters
        ----------
        part : float
            The part, such as 0.5 for the middle box; there must be boxes. [-]

        Returns
        -------
        ndarray, shape (f,)
            To the bins of `EDGES`, the open one ending where it begins. [-]
        """
        ends = np.minimum(EDGES, EDGES[-2])
        sums = [np.concatenate([[0], np.cumsum(each)]) / self.boxes for each in self.worst]
        return np.array([np.interp(part, each, ends) for each in sums])


def overall(judged: Judged) -> npt.NDArray[np.int8]:
    """Verdict over all flows: within at each, outside at one at least, else cannot tell.

    Parameters
    ----------
    judged : Judged
        k boxes at f flows.

    Returns
    -------
    ndarray of int, shape (k,)
        Index into `VERDICTS`.
    """
    within, outside, neither = range(len(VERDICTS))
    any_outside = np.any(judged.verdict == outside, axis=0)
    all_within = np.all(judged.verdict == within, axis=0)
    codes = np.where(any_outside, outside, np.where(all_within, within, neither))
    return codes.astype(np.int8)


def _counts(codes: npt.NDArray[np.int8], kinds: int) -> Counts:
    return np.bincount(codes, minlength=kinds).astype(np.int64)
