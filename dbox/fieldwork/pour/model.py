"""What would be caught, if the lips and the outlets were like this? The model that is fitted.

The unknowns are standard normal numbers z: one for each open lip over its reading, one for each
inflow, ln(inflow / poured), and one for the blockage where there is one. With the level y at which
the outlets pass the inflow Q, s_i = dq_i/dh and S = sum of s_i, the derivatives are exact:

    dq_i / d lip_j = s_i s_j / S - s_i [i = j],    dq_i / d ln Q = Q s_i / S,
    dq_i / d b     = q_k / (1 - b) (s_i / S - [i = k])    for a blockage b of outlet k.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import Split, split

_HEADS = np.geomspace(1e-5, 1.0, 300)
_LEAST_PASSING = 1e-9
_FARTHEST = 7.0


@dataclass(frozen=True)
class PartlyBlocked(Opening):
    """An opening that passes a part of what it would pass free, whatever the head.

    Parameters
    ----------
    opening : Opening
        The opening without what blocks it.
    passing : float
        Part of its flow that is left. [-]
    """

    opening: Opening
    passing: float

    @property
    def top(self) -> float:
        """Height of the opening's highest point over its lip. [m]"""
        return self.opening.top

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient of the free opening was measured. [m]"""
        return self.opening.measured_heads

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        flow, slope = self.opening.rating(head)
        return self.passing * flow, self.passing * slope

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        flow, slope = self.opening.rating(head, fall)
        return self.passing * flow, self.passing * slope


@dataclass(frozen=True)
class Candidate:
    """An explanation: `agree`, or `height` or `blockage` of one outlet (its index)."""

    kind: str
    outlet: int | None


@dataclass(frozen=True, kw_only=True, eq=False)
class PourModel:
    """A box, its readings and its pours, under one candidate.

    Parameters
    ----------
    candidate : Candidate
        What is taken to be wrong.
    openings : tuple of n Opening
        The openings, free.
    height, error : ndarray, shape (n,)
        Lips as read, inf where capped, and the errors of the readings. [m]
    inflow : ndarray, shape (p,)
        Poured. [m3/s]
    inflow_error : ndarray, shape (p,)
        Spread of ln(inflow). [-]
    lip_spread : float
        Spread of the lip that is off. [m]
    least_blockage : float
        Least part of its flow that a blocked outlet loses. [-]
    """

    candidate: Candidate
    openings: tuple[Opening, ...]
    height: Array
    error: Array
    inflow: Array
    inflow_error: Array
    lip_spread: float
    least_blockage: float

    @cached_property
    def _uncapped(self) -> npt.NDArray[np.intp]:
        return np.flatnonzero(np.isfinite(self.height))

    @cached_property
    def _spread(self) -> Array:
        """Spread of each open lip; that of the lip which is off is wider. [m] (open,)."""
        spread: Array = self.error[self._uncapped].copy()
        if self.candidate.kind == "height":
            spread[self._off] = np.hypot(spread[self._off], self.lip_spread)
        return spread

    @property
    def _off(self) -> int:
        """The outlet that is off, counted among the open ones."""
        return int(np.flatnonzero(self._uncapped == self._at)[0])

    @property
    def unknowns(self) -> int:
        """How many unknowns there are."""
        blocked = self.candidate.kind == "blockage"
        return int(self._uncapped.size) + self.inflow.size + blocked

    @property
    def fault(self) -> int | None:
        """Which unknown says how far the outlet is off; None where nothing is."""
        if self.candidate.kind == "agree":
            return None
        return self._off if self.candidate.kind == "height" else self.unknowns - 1

    def lips(self, state: Array) -> Array:
        """Lips at a state of shape (k,); inf where capped. [m] (n,)."""
        lips = self.height.copy()
        lips[self._uncapped] += self._spread * state[: self._uncapped.size]
        return lips

    def lip_errors(self, error: Array) -> Array:
        """Errors of the lips from those of the state, shape (k,); 0 where capped. [m] (n,)."""
        errors = np.zeros_like(self.height)
        errors[self._uncapped] = self._spread * error[: self._uncapped.size]
        return errors

    def size(self, state: Array) -> float:
        """Lip over its reading [m], part lost [-], or NaN, at a state of shape (k,). [-]"""
        if self.candidate.kind == "agree":
            return float("nan")
        if self.candidate.kind == "height":
            return float(self._spread[self._off] * state[self._off])
        from scipy.special import ndtr

        return self.least_blockage + (1.0 - self.least_blockage) * float(ndtr(state[-1]))

    def rating(self, state: Array) -> tuple[Array, Array]:
        """Flows at a state of shape (k,), and their derivatives with respect to it.

        Parameters
        ----------
        state : ndarray, shape (k,)
            The unknowns. [-]

        Returns
        -------
        flow : ndarray, shape (p, n)
            Flow of each outlet in each pour. [m3/s]
        slope : ndarray, shape (p, n, k)
            Its derivatives. [m3/s]
        """
        result, count = self._split(state), self._uncapped.size
        steep = np.stack(
            [o.rating(result.head[:, i])[1] for i, o in enumerate(result.openings)], axis=-1
        )
        part = steep / steep.sum(-1, keepdims=True)
        slope = np.zeros((*steep.shape, self.unknowns))
        slope[:, :, :count] = part[:, :, None] * (steep[:, self._uncapped] * self._spread)[:, None]
        slope[:, self._uncapped, np.arange(count)] -= steep[:, self._uncapped] * self._spread
        case = np.arange(self.inflow.size)
        slope[case, :, count + case] = part * (result.inflow * self.inflow_error)[:, None]
        if self.candidate.kind == "blockage":
            lost = result.flow[:, self._at] / self._passing(state)
            change = (
                (1.0 - self.least_blockage) * np.exp(-0.5 * state[-1] ** 2) / np.sqrt(2 * np.pi)
            )
            slope[:, :, -1] = change * lost[:, None] * part
            slope[:, self._at, -1] -= change * lost
        return result.flow, slope

    def starts(self, caught: Array, near: Array | None) -> list[Array]:
        """States to begin the search from.

        Parameters
        ----------
        caught : ndarray, shape (p, n)
            Flows caught; NaN where they were not. [m3/s]
        near : ndarray, shape (open + p,), optional
            The best state with nothing off. [-]

        Returns
        -------
        list of ndarray, shape (k,)
            For `height` also one with the lip where its catch in the strongest pour puts it: a
            lip that was read as dry would not be seen to run by small steps. [-]
        """
        first = np.zeros(self.unknowns)
        if near is not None:
            first[: near.size] = near
        if self.candidate.kind != "height":
            return [first]
        first[self._off] *= self.error[self._at] / self._spread[self._off]
        second = np.zeros(self.unknowns)
        strongest = int(np.argmax(np.where(np.isnan(caught[:, self._at]), -1.0, self.inflow)))
        free = self.openings[self._at].rating(_HEADS)[0]
        head = float(np.interp(np.nan_to_num(caught[strongest, self._at]), free, _HEADS))
        level = float(self._split(first).level[strongest])
        second[self._off] = (level - head - self.height[self._at]) / self._spread[self._off]
        return [first, second]

    def at_inflow(self, inflow: float, inflow_error: float) -> "PourModel":
        """The same box under one other pour [m3/s] whose ln has a spread [-]."""
        return replace(self, inflow=np.array([inflow]), inflow_error=np.array([inflow_error]))

    @property
    def _at(self) -> int:
        assert self.candidate.outlet is not None
        return self.candidate.outlet

    def _passing(self, state: Array) -> float:
        return max(1.0 - self.size(state), _LEAST_PASSING)

    def _split(self, state: Array) -> Split:
        openings = list(self.openings)
        if self.candidate.kind == "blockage":
            openings[self._at] = PartlyBlocked(openings[self._at], self._passing(state))
        count = self._uncapped.size
        more = self.inflow_error * state[count : count + self.inflow.size]
        # a search may step far off; no inflow is a thousand times what was poured
        inflow = self.inflow * np.exp(np.clip(more, -_FARTHEST, _FARTHEST))
        return split(inflow, self.lips(state), openings)
