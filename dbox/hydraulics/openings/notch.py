"""V-notch in a thin plate: Q = C 8/15 sqrt(2 g) tan(a/2) h^2.5, free or drowned."""

from dataclasses import dataclass, field

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError
from dbox.hydraulics.openings import laws
from dbox.hydraulics.openings.base import Opening, check_coefficient


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
    The law is specified for heads of at least 0.06 m; an ordinary day runs at 2 to 6 mm.

    >>> Notch(np.pi / 2, coefficient=0.58).discharge([-0.01, 0.0, 0.05]).round(6).tolist()
    [0.0, 0.0, 0.000766]
    """

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
    def cautions(self) -> tuple[str, ...]:
        """Says so where the angle is outside those its law was measured at."""
        low, high = laws.SHEN_ANGLES
        if self.coefficient is not None or low <= self.angle <= high:
            return ()
        return (
            f"a notch of {np.degrees(self.angle):.0f} deg is outside the {np.degrees(low):.0f} to "
            f"{np.degrees(high):.0f} deg that its coefficient was measured at",
        )

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
