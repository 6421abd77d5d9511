"""What every opening can do: discharge and slope at any head, dry to deeply drowned.

A thin-plate opening of any shape passes

    Q(h) = C sqrt(2 g) * integral from 0 to min(h, top) of b(z) sqrt(h - max(z, t)) dz

with h the head over the lip, b the width at height z over it, and t the height of the water that
stands outside (no tailwater: t <= 0). The one integral runs from weir to orifice without a kink.
"""

from abc import ABC, abstractmethod
from collections.abc import Iterable
from dataclasses import dataclass, replace
from numbers import Real
from typing import Any, ClassVar, Self

import numpy as np

from dbox.arrays import Array, ArrayLike
from dbox.errors import DomainError, show
from dbox.notes import Note

CAPILLARY_HEAD = 0.005
"""Head below which surface tension decides and weir formulas are out of their range. [m]

About twice the capillary length of water, sqrt(0.0728 / (998 * 9.81)) m = 2.7 mm at 20 C (surface
tension: any handbook, from memory); that twice is enough is judgement.
"""


def check_positive(what: str, value: float) -> None:
    """Raise DomainError unless value, in the unit that `what` names, is finite and above 0. [-]"""
    if not (isinstance(value, Real) and 0 < value < np.inf):
        raise DomainError(f"{what} is {show(value)}; it must be a number above 0")


def numbers(what: str, values: ArrayLike) -> Array:
    """Values as an array; raises DomainError where they are no numbers in the unit of `what`."""
    try:
        return np.asarray(values, np.float64)
    except (TypeError, ValueError) as error:
        raise DomainError(
            f"{what} is {show(values)}; give numbers, rows of equal length"
        ) from error


def check_coefficient(coefficient: float | None) -> None:
    """Raise DomainError unless coefficient is None or a positive finite number. [-]"""
    if coefficient is not None:
        check_positive("coefficient [-]", coefficient)


@dataclass(frozen=True)
class Opening(ABC):
    """An opening with a lip; immutable, so equal openings can be computed together."""

    kind: ClassVar[str]
    """What a scenario calls it."""

    needs: ClassVar[tuple[str, ...]]
    """Sizes without which there is no such opening, fields of the class."""

    may_have: ClassVar[tuple[str, ...]] = ()
    """Sizes that it may have besides."""

    words: ClassVar[str]
    """How it is named on paper, its sizes in braces."""

    example: ClassVar[str]
    """How it is typed."""

    widens: ClassVar[bool] = False
    """Whether it is the wider the higher the water stands, without end."""

    @classmethod
    def sizes(cls) -> tuple[str, ...]:
        """Every size that has a meaning for it."""
        return cls.needs + cls.may_have

    @property
    @abstractmethod
    def top(self) -> float:
        """Height of the opening's highest point over its lip, inf where open on top. [m]"""

    @property
    @abstractmethod
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient was measured by its source. [m]"""

    @property
    def cautions(self) -> tuple[Note, ...]:
        """What about its shape lies outside its coefficient's source."""
        return ()

    def outline(self, reach: float) -> Array:
        """Corners (k, 2) up to a height over the lip: across from its middle, up from it. [m]"""
        raise NotImplementedError(f"{type(self).__name__} has no outline; reach {reach} m")

    def widened(self, factor: float) -> "Opening":
        """The same opening with its size, or its width at every height, times a factor. [-]"""
        raise NotImplementedError(f"{type(self).__name__} is not made wider; factor {factor}")

    @abstractmethod
    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        """Flow and slope at heads that are finite and at least 0, nothing standing outside."""

    @abstractmethod
    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        """Flow and slope where the level outside is `fall` below the head and above the lip."""

    def rating(self, head: Array, fall: Array | None = None) -> tuple[Array, Array]:
        """Flow and its slope at once, unchecked: what solvers call.

        Parameters
        ----------
        head : ndarray, shape (...)
            Water level over the lip; at most 0 (or -inf) where the outlet is dry. [m]
        fall : ndarray, shape (...), optional
            Water level over the level outside; at least head where that is below the lip. Given
            apart from head because a drowned trickle falls by less than head can resolve. [m]

        Returns
        -------
        flow : ndarray, shape (...)
            Discharge, 0 where dry and where the level outside is as high. [m3/s]
        slope : ndarray, shape (...)
            Its derivative with respect to level, the level outside standing still. [m2/s]
        """
        flow, slope = self._free_rating(np.maximum(head, 0.0))
        if fall is None:
            return flow, slope
        drowned = (fall < head) & (head > 0)
        if np.any(drowned):
            flow[drowned], slope[drowned] = 0.0, 0.0
            runs = drowned & (fall > 0)
            flow[runs], slope[runs] = self._drowned_rating(head[runs], fall[runs])
        return flow, slope

    def _checked_rating(self, head: ArrayLike, tailwater: ArrayLike | None) -> tuple[Array, Array]:
        heads = numbers("head [m]", head)
        if not np.all(heads < np.inf):
            raise DomainError("a head is not a number or is infinite; give metres over the lip")
        if tailwater is None:
            return self.rating(heads)
        tails = numbers("tailwater [m]", tailwater)
        if not np.all(tails < np.inf):
            raise DomainError("a tailwater is not a number; leave it out where there is none")
        try:
            shape = np.broadcast_shapes(heads.shape, tails.shape)
        except ValueError as error:
            said = f"head has the shape {heads.shape} and tailwater {tails.shape}"
            raise DomainError(
                f"{said}; give one tailwater for each head, or one for all"
            ) from error
        heads = np.broadcast_to(heads, shape).reshape(-1)
        tails = np.maximum(np.broadcast_to(tails, shape).reshape(-1), 0.0)
        flow, slope = self.rating(heads, np.where(heads > 0, heads - tails, heads))
        return flow.reshape(shape), slope.reshape(shape)

    def discharge(self, head: ArrayLike, tailwater: ArrayLike | None = None) -> Array:
        """Discharge at a head, free or drowned.

        Parameters
        ----------
        head : array_like, shape (...)
            Water level over the lip; at most 0 (or -inf) where the outlet is dry. [m]
        tailwater : array_like, shape (...), optional
            Water standing outside the opening, over the lip; broadcasts with head. [m]

        Returns
        -------
        ndarray, shape (...)
            Flow, 0 where dry and where the tailwater stands as high as the head. [m3/s]

        Raises
        ------
        DomainError
            Where a head or tailwater is no number or infinite upward, or their shapes do not fit.
        """
        return self._checked_rating(head, tailwater)[0]

    def slope(self, head: ArrayLike, tailwater: ArrayLike | None = None) -> Array:
        """Derivative of the discharge with respect to head.

        Parameters
        ----------
        head : array_like, shape (...)
            Water level over the lip. [m]
        tailwater : array_like, shape (...), optional
            Water standing outside the opening, over the lip. [m]

        Returns
        -------
        ndarray, shape (...)
            dQ/dh; it grows without bound as a drowned head nears its tailwater. [m2/s]

        Raises
        ------
        DomainError
            As `discharge`.
        """
        return self._checked_rating(head, tailwater)[1]


class Round(Opening):
    """An opening that is a circle, its lip at the lowest point."""

    diameter: float
    needs: ClassVar[tuple[str, ...]] = ("diameter",)

    @property
    def top(self) -> float:
        """Height of its highest point over its lip. [m]"""
        return self.diameter

    def outline(self, reach: float) -> Array:  # noqa: ARG002
        """Corners (k, 2) of the whole round. [m]"""
        turn = np.linspace(0.0, 2.0 * np.pi, 121)
        return 0.5 * self.diameter * np.column_stack([np.sin(turn), 1.0 - np.cos(turn)])

    def widened(self, factor: float) -> Self:
        """A round of another diameter. [-]"""
        wider: dict[str, Any] = {"diameter": self.diameter * factor}
        return replace(self, **wider)


def one_each(openings: Opening | Iterable[Opening], n: int) -> tuple[Opening, ...]:
    """The openings of n lips, where one is given for all or one for each."""
    if isinstance(openings, Iterable) and not isinstance(openings, str):
        each = tuple(openings)
    else:
        each = (openings,) * n
    for opening in each:
        if not isinstance(opening, Opening):
            said = f"opening is {show(opening)}"
            raise DomainError(f"{said}; give a Circle, Notch, Slot or PipeEnd with its sizes in m")
    if len(each) != n:
        raise DomainError(f"{len(each)} openings for {n} lips; give one, or one for each lip")
    return each
