"""Bare end of a header pipe in the box wall, no insert: the water falls through critical depth.

With y the critical depth, A(y) the area and T(y) the width of the water at the mouth, K the
entrance loss and C the coefficient,

    h = y + (1 + K) A / (2 T),   Q = C sqrt(g A^3 / T) = C A sqrt(2 g (h - y) / (1 + K))

where h counts from the pipe's invert. Where the tailwater t stands over the critical depth it
sets the depth at the mouth instead, Q = C A(t) sqrt(2 g (h - t) / (1 + K)); that rule is the one
of the US Federal Highway Administration, Hydraulic Design of Highway Culverts, HDS-5 (2nd ed.,
2001), chapter III. The flow equation is in any text on open channels, among them the US Army
Corps of Engineers, HEC-RAS Hydraulic Reference Manual, critical depth of flow in the culvert.

The unknown is p = y / (D - y), water depth over air gap, the squared tangent of half the
half-angle of `pipes`. The head is nearly proportional to p when low and to sqrt(p)
when high, so Newton converges everywhere from one guess, and neither end loses digits.
"""

from dataclasses import dataclass, field
from numbers import Real
from typing import ClassVar

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError, SolveError, show
from dbox.hydraulics.openings.base import Round, check_coefficient, check_positive
from dbox.hydraulics.pipes import area

_LEAST_HEAD, _MOST_HEAD = 1e-300, 1e6
"""Heads over diameter, beyond which the mouth's shape is a constant. [-] (numerical)"""

_MOST_STEPS = 20
"""Five are needed for any head and any loss up to 10,000. [-] (numerical)"""


@dataclass(frozen=True)
class PipeEnd(Round):
    """The open end of a pipe whose header falls away steeply.

    Parameters
    ----------
    diameter : float
        Inside diameter of the pipe. [m]
    coefficient : float, optional
        Factor on the flow; left out, 1, the flow that theory gives. [-]
    entrance_loss : float
        Energy lost at the mouth, in velocity heads at the mouth. [-]

    Raises
    ------
    DomainError
        Where diameter or coefficient is not a number above 0, or the loss is negative.

    Notes
    -----
    Valid only while the header is steep, normal depth below critical: `pipes.header_check` says
    where it is not. On a flatter header water backs up to the mouth and less flows.

    At low heads Q = sqrt(6)/4 sqrt(g D) h^2, as a thin-plate hole with C = 0.551 would pass. Far
    over the crown the flow nears A sqrt(2 g (h - D)), that of a jet as wide as the pipe, which a
    real pipe does not reach: it contracts or runs full and obeys another law.

    With a loss, the drowned equation alone would give more than the free flow where the tailwater
    has only just passed critical depth. More tailwater cannot draw more flow, so the flow is held
    at the free one there.

    >>> mouth = PipeEnd(0.1022604)
    >>> (mouth.discharge([-0.01, 0.0, 0.0254]) * 1e6).round(3).tolist()
    [0.0, 0.0, 372.86]
    """

    kind: ClassVar[str] = "pipe"
    words: ClassVar[str] = "bare pipe {diameter}"
    example: ClassVar[str] = "pipe 4.026 in"
    diameter: float
    coefficient: float | None = field(default=None, kw_only=True)
    entrance_loss: float = field(default=0.0, kw_only=True)

    def __post_init__(self) -> None:
        check_positive("diameter [m]", self.diameter)
        check_coefficient(self.coefficient)
        if not (isinstance(self.entrance_loss, Real) and 0 <= self.entrance_loss < np.inf):
            said = f"entrance_loss [-] is {show(self.entrance_loss)}"
            raise DomainError(f"{said}; it must be a number, 0 or more")

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads at which the mouth is controlled by critical depth: up to the crown. [m]

        HDS-5 ends its inlet-control equation for critical depth where Q / (A sqrt(D)) is 1.93 in
        metres and seconds, which is a head of 1.03 diameters.
        """
        return 0.0, self.diameter

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        flow, slope, _ = self._critical(head)
        return flow, slope

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        flow, slope, depth = self._critical(head)
        tailwater = head - fall
        drowned = self._scale * area(tailwater, self.diameter) * np.sqrt(fall)
        held = (tailwater > depth) & (drowned < flow)
        return np.where(held, drowned, flow), np.where(held, drowned / (2 * fall), slope)

    @property
    def _scale(self) -> float:
        coefficient = 1.0 if self.coefficient is None else self.coefficient
        return coefficient * float(np.sqrt(2 * GRAVITY / (1 + self.entrance_loss)))

    def _critical(self, head: Array) -> tuple[Array, Array, Array]:
        """Flow, its slope and the depth at the mouth, with no tailwater."""
        resistance = 1 + self.entrance_loss
        ratio = np.maximum(np.atleast_1d(head / self.diameter), _LEAST_HEAD)
        p = _mouth(np.minimum(ratio, _MOST_HEAD), resistance)
        water = p / (1 + p)
        hydraulic_depth = 2 * water + _excess(p)  # 8 A / (T D)
        speed_head = self.diameter * (ratio - water)
        wet = self.diameter**2 * np.sqrt(p) / (2 + 2 * p) * hydraulic_depth
        flow = self._scale * wet * np.sqrt(speed_head)
        slope = resistance / 2 * flow / speed_head
        if self.entrance_loss:
            bend = hydraulic_depth * (1 - p)
            slope *= (24 * water - bend) / ((16 + 8 * resistance) * water - resistance * bend)
        shape = np.shape(head)
        return flow.reshape(shape), slope.reshape(shape), self.diameter * water.reshape(shape)


def _mouth(ratio: Array, resistance: float) -> Array:
    """Water depth over air gap at the mouth for a head in diameters. [-]"""
    low = ratio / (1 + resistance / 3)
    p = low * (1 + low) + (16 / (np.pi * resistance) * np.maximum(ratio - 1, 0)) ** 2
    share = 1 + resistance / 4
    for _ in range(_MOST_STEPS):
        excess, air = _excess(p), 1 / (1 + p)
        missing = share * p * air + resistance / 8 * excess - ratio
        rise = share * air * air + resistance / 8 * ((1 + excess) * air - excess / (2 * p))
        step = missing / rise
        p -= step
        # Newton squares the error: what is left after a step of 1e-8 is below rounding
        if np.all(np.abs(step) <= 1e-8 * p):
            return p
    worst = int(np.argmax(np.abs(step) / p))
    raise SolveError(
        f"no critical depth found for a head of {ratio.flat[worst]:g} diameters at an entrance "
        f"loss of {resistance - 1:g}: the head is still off by {missing.flat[worst]:g} diameters"
    )


def _excess(p: Array) -> Array:
    """(1 + p) atan(w) / w - 1 with w = sqrt(p), which is 8 A / (T D) - 2 p / (1 + p)."""
    root = np.sqrt(p)
    excess = (1 + p) * np.arctan(root) / root - 1
    small = p < 1 / 64
    if small.any():
        excess[small] = _small_excess(p[small])
    return excess


def _small_excess(p: Array) -> Array:
    """The same from its power series, where the difference would cancel."""
    total = 1 / 195 - p / 255
    for divisor in (143, 99, 63, 35, 15, 3):
        total = 1 / divisor - p * total
    return np.asarray(2 * p * total)
