"""V-notch and rectangular slot in a thin plate, free or drowned.

Open: Q = C 2/3 sqrt(2 g) b h^1.5. Closed at height H: the same less the part over H, which runs
from weir to orifice without a kink in the flow.
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError
from dbox.hydraulics.openings import laws
from dbox.hydraulics.openings.base import Opening, check_coefficient, check_positive
from dbox.notes import Note


@dataclass(frozen=True)
class Notch(Opening):
    """A V-notch, point down.

    Parameters
    ----------
    angle : float
        Full opening angle, between 0 and pi. [rad]
    coefficient : float, optional
        Discharge coefficient; left out, the Kindsvater-Shen law is used. [-]

    Raises
    ------
    DomainError
        Where the angle is not between 0 and pi or the coefficient is not a number above 0.

    Notes
    -----
    The law is specified for heads of at least 0.06 m (`laws.SHEN_HEADS`); an ordinary day stands 5
    to 10 mm over the points of four or five notches of 90 degrees (by `split`).

    >>> Notch(np.pi / 2, coefficient=0.58).discharge([-0.01, 0.0, 0.05]).round(6).tolist()
    [0.0, 0.0, 0.000766]
    """

    kind: ClassVar[str] = "notch"
    words: ClassVar[str] = "notch {angle}"
    example: ClassVar[str] = "notch 90 deg"
    widens: ClassVar[bool] = True
    needs: ClassVar[tuple[str, ...]] = ("angle",)
    angle: float
    coefficient: float | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        if not 0.0 < self.angle < np.pi:
            raise DomainError(f"notch angle is {self.angle} rad; it must lie between 0 and pi")
        check_coefficient(self.coefficient)

    @property
    def top(self) -> float:
        """Infinite: the notch is open on top. [m]"""
        return np.inf

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient was measured. [m]"""
        return (0.0, np.inf) if self.coefficient is not None else laws.SHEN_HEADS

    @property
    def cautions(self) -> tuple[Note, ...]:
        """Says so where the angle is outside those its law was measured at."""
        low, high = laws.SHEN_ANGLES
        if self.coefficient is not None or low <= self.angle <= high:
            return ()
        values = {"angle": self.angle, "low": low, "high": high}
        return (Note(what="opening: notch angle", values=values),)

    def outline(self, reach: float) -> Array:
        """Corners (3, 2) of the wedge up to a height. [m]"""
        half = float(np.tan(0.5 * self.angle)) * reach
        return np.array([[0.0, 0.0], [half, reach], [-half, reach]])

    def widened(self, factor: float) -> "Notch":
        """A notch that is wider at every height. [-]"""
        return replace(self, angle=2.0 * float(np.arctan(factor * np.tan(0.5 * self.angle))))

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        power = head * np.sqrt(head)
        return self._scaled(head, (8.0 / 15.0) * power * head, (4.0 / 3.0) * power)

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        tailwater, root = head - fall, np.sqrt(fall)
        integral = root * (tailwater**2 + fall * (4.0 / 3.0 * head - 0.8 * fall))
        derivative = 0.5 * tailwater**2 / root + root * (2.0 * head - fall / 1.5)
        return self._scaled(head, integral, derivative)

    def _scaled(self, head: Array, integral: Array, derivative: Array) -> tuple[Array, Array]:
        scale = np.sqrt(2.0 * GRAVITY) * np.tan(0.5 * self.angle)
        if self.coefficient is not None:
            return scale * self.coefficient * integral, scale * self.coefficient * derivative
        coefficient, change = laws.kindsvater_shen(head, self.angle)
        return scale * coefficient * integral, scale * (
            coefficient * derivative + change * integral
        )


@dataclass(frozen=True)
class Slot(Opening):
    """A rectangular slot with a level lip.

    Parameters
    ----------
    width : float
        Width of the slot. [m]
    height : float, optional
        Height of its upper edge over the lip; left out, the slot is open on top. [m]
    coefficient : float, optional
        Discharge coefficient; left out, the Kindsvater-Carter law is used. [-]

    Raises
    ------
    DomainError
        Where a size or the coefficient is not a number above 0.

    Notes
    -----
    The law was measured on weirs open on top, at heads of at least 0.03 m (`laws.CARTER_HEADS`).

    >>> (Slot(0.05, coefficient=0.6).discharge([0.0, 0.01, 0.04]) * 1e6).round(2).tolist()
    [0.0, 88.57, 708.59]
    """

    kind: ClassVar[str] = "slot"
    words: ClassVar[str] = "slot {width} wide"
    example: ClassVar[str] = "slot 1 in x 2 in"
    needs: ClassVar[tuple[str, ...]] = ("width",)
    may_have: ClassVar[tuple[str, ...]] = ("height",)
    width: float
    height: float | None = None
    coefficient: float | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        check_positive("slot width [m]", self.width)
        if self.height is not None:
            check_positive("slot height [m]", self.height)
        check_coefficient(self.coefficient)

    @property
    def top(self) -> float:
        """Height of the upper edge over the lip, inf where open on top. [m]"""
        return np.inf if self.height is None else self.height

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient was measured. [m]"""
        if self.coefficient is not None:
            return 0.0, np.inf
        return laws.CARTER_HEADS[0], min(laws.CARTER_HEADS[1], self.top)

    @property
    def cautions(self) -> tuple[Note, ...]:
        """Says so where the slot is narrower than its law was measured at."""
        if self.coefficient is not None or self.width >= laws.CARTER_WIDTH:
            return ()
        values = {"width": self.width, "least": laws.CARTER_WIDTH}
        return (Note(what="opening: slot width", values=values),)

    def outline(self, reach: float) -> Array:
        """Corners (4, 2) up to a height or to the upper edge. [m]

        >>> Slot(0.05).outline(0.02).tolist()
        [[-0.025, 0.0], [0.025, 0.0], [0.025, 0.02], [-0.025, 0.02]]
        """
        half, top = 0.5 * self.width, min(self.top, reach)
        return np.array([[-half, 0.0], [half, 0.0], [half, top], [-half, top]])

    def widened(self, factor: float) -> "Slot":
        """A wider slot. [-]"""
        return replace(self, width=self.width * factor)

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        return self._scaled(head, *self._above(head, head))

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        open_below, root = np.minimum(head - fall, self.top), np.sqrt(fall)
        integral, derivative = self._above(head, fall)
        return self._scaled(
            head, integral + open_below * root, derivative + 0.5 * open_below / root
        )

    def _above(self, head: Array, depth: Array) -> tuple[Array, Array]:
        """Integral of sqrt(h - z) from `depth` below the level up to the top; its derivative."""
        over_top = np.minimum(np.maximum(head - self.top, 0.0), depth)
        root, root_top = np.sqrt(depth), np.sqrt(over_top)
        # differences of powers written so that deep submergence keeps its digits
        span, total = depth - over_top, np.maximum(root + root_top, 1e-300)
        integral = span * (depth + root * root_top + over_top) / (1.5 * total)
        return integral, span / total

    def _scaled(self, head: Array, integral: Array, derivative: Array) -> tuple[Array, Array]:
        scale = np.sqrt(2.0 * GRAVITY) * self.width
        if self.coefficient is not None:
            return scale * self.coefficient * integral, scale * self.coefficient * derivative
        coefficient, change = laws.kindsvater_carter(head, self.width)
        return scale * coefficient * integral, scale * (
            coefficient * derivative + change * integral
        )
