"""Round hole in a thin plate: exact flow from a wetted lip to deep submergence.

With n = h/D the integral of `base` is Q = C sqrt(2 g) D^2.5 f(n),

    f(n) = 4/15 [2 (1 - n + n^2) E(n) - (2 - 3 n + n^2) K(n)]   for n <= 1 (parameter m = n)
    f(n) = n^2.5 f(1/n)                                         for n >= 1

(first form: J. C. Stevens 1957, J. Hydraulics Division ASCE 83(6), from memory). Written that way
it loses all digits at small n and is 0 times infinity at n = 1. Both go away when K and E come
from the arithmetic-geometric mean (Abramowitz and Stegun 17.6): E/K = 1 - n/2 - n^2 s, where s is
a sum of positive terms, gives f = n^2 g with g = 4/15 K [2 - n - 2 (1 - n + n^2) s].
"""

from dataclasses import dataclass, field, replace
from typing import ClassVar

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.hydraulics.openings import laws
from dbox.hydraulics.openings.base import Opening, check_coefficient, check_positive, round_outline
from dbox.hydraulics.pipes import area

_POINTS, _PARTS = np.polynomial.legendre.leggauss(32)  # on -1 to 1 [-] (numerical)
_NODES, _WEIGHTS = 0.5 * (_POINTS + 1.0), 0.5 * _PARTS
"""Gauss points on 0 to 1 and their weights. [-] (numerical)"""


@dataclass(frozen=True)
class Circle(Opening):
    """A round hole in a thin plate.

    Parameters
    ----------
    diameter : float
        Diameter of the hole. [m]
    coefficient : float, optional
        Discharge coefficient; left out, Staus's law is used. [-]

    Raises
    ------
    DomainError
        Where diameter or coefficient is not a number above 0.

    Notes
    -----
    Published coefficients of circular weirs differ by 2 to 5 per cent (from memory). Below a
    tenth of the diameter Staus's table has one row, 0.750 at h/D = 0.05; the coefficient is held at
    0.650 there (see `laws.staus`). Between outlets with equal holes the coefficient cancels out of
    the shares where it is constant, or the heads are equal.

    >>> hole = Circle(0.0254, coefficient=0.6)
    >>> (hole.discharge([-0.01, 0.0, 0.0254]) * 1e6).round(3).tolist()
    [0.0, 0.0, 145.717]
    """

    kind: ClassVar[str] = "circle"
    words: ClassVar[str] = "circle {diameter}"
    example: ClassVar[str] = "circle 2 in"
    needs: ClassVar[tuple[str, ...]] = ("diameter",)
    diameter: float
    coefficient: float | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        check_positive("diameter [m]", self.diameter)
        check_coefficient(self.coefficient)

    @property
    def top(self) -> float:
        """Height of the hole's highest point over its lip. [m]"""
        return self.diameter

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient was measured. [m]"""
        if self.coefficient is not None:
            return 0.0, np.inf
        low, high = laws.STAUS_RELATIVE_HEADS
        return low * self.diameter, high * self.diameter

    def outline(self, reach: float) -> Array:  # noqa: ARG002
        """Corners (k, 2) of the whole round. [m]"""
        return round_outline(self.diameter)

    def widened(self, factor: float) -> "Circle":
        """A round of another diameter. [-]"""
        return replace(self, diameter=self.diameter * factor)

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        return self._scaled(head, *circle_integral(head / self.diameter))

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        return self._scaled(head, *_drowned(head / self.diameter, fall / self.diameter))

    def _scaled(self, head: Array, integral: Array, derivative: Array) -> tuple[Array, Array]:
        scale = np.sqrt(2.0 * GRAVITY) * self.diameter**1.5
        if self.coefficient is not None:
            scale *= self.coefficient
            return scale * self.diameter * integral, scale * derivative
        coefficient, change = laws.staus(head, self.diameter)
        flow = scale * self.diameter * coefficient * integral
        return flow, scale * (coefficient * derivative + change * self.diameter * integral)


def circle_integral(ratio: Array) -> tuple[Array, Array]:
    """The integral f(n) of the module docstring and its derivative; ratio [-] -> [-]."""
    deep = ratio > 1.0
    any_deep = bool(deep.any())
    below = np.where(deep, 1.0 / np.where(deep, ratio, 1.0), ratio) if any_deep else ratio
    quarter_period, rest = _elliptic(below)
    g = (4.0 / 15.0) * quarter_period * (2.0 - below - 2.0 * (1.0 + below * (below - 1.0)) * rest)
    d = (2.0 / 3.0) * quarter_period * (1.5 - below + (1.0 - 2.0 * below) * below * rest)
    if not any_deep:
        return below * below * g, below * d
    root = np.sqrt(np.where(deep, ratio, 1.0))
    integral = np.where(deep, root, below * below) * g
    return integral, np.where(deep, (2.5 * g - d) / root, below * d)


def _elliptic(parameter: Array) -> tuple[Array, Array]:
    """K(m) and s(m) = (1 - m/2 - E/K) / m^2, by the arithmetic-geometric mean."""
    # at m = 1 K is infinite but only ever multiplied by what vanishes; 1e-30 keeps 14 digits
    root = np.sqrt(np.maximum(1.0 - parameter, 1e-30))
    mean, geometric = 0.5 * (1.0 + root), np.sqrt(root)
    scaled = 0.5 / (1.0 + root)
    difference = parameter * scaled
    rest, weight = scaled * scaled, 1.0
    while difference.size and difference.max() > 1e-4:
        mean, geometric = 0.5 * (mean + geometric), np.sqrt(mean * geometric)
        shrink = 0.25 * difference / mean
        scaled, difference = scaled * shrink, difference * shrink
        weight *= 2.0
        rest = rest + weight * scaled * scaled
    # the next step needs no root to its first order; what that leaves out is below 1e-17
    shrink = 0.25 * difference / mean
    scaled = scaled * shrink
    return (0.5 * np.pi) / (mean - difference * shrink), rest + 2.0 * weight * scaled * scaled


def _drowned(ratio: Array, fall: Array) -> tuple[Array, Array]:
    """Integral of 2 sqrt(z (1 - z)) sqrt(n - max(z, tail)) dz and its derivative in n."""
    tail = ratio - fall
    below, root = area(np.minimum(tail, 1.0), 1.0), np.sqrt(fall)
    integral, derivative = below * root, 0.5 * below / root
    top = np.minimum(ratio, 1.0)
    low = tail < 0.5 * top
    for part, rule in ((low, _over_low_tail), (~low & (tail < 1.0), _over_high_tail)):
        if part.any():
            more, change = rule(ratio[part, None], tail[part, None])
            integral[part] += more
            derivative[part] += change
    return integral, derivative


def _over_low_tail(ratio: Array, tail: Array) -> tuple[Array, Array]:
    """The part above a low tailwater: the free integral less what lies below (z = tail x^2)."""
    z = tail * _NODES**2
    whole, derivative = circle_integral(ratio[:, 0])
    weight = tail**1.5 * (_WEIGHTS * _NODES**2) * np.sqrt(1.0 - z)
    sqrt_fall = np.sqrt(ratio - z)
    return whole - 4.0 * (weight * sqrt_fall).sum(-1), derivative - 2.0 * (weight / sqrt_fall).sum(
        -1
    )


def _over_high_tail(ratio: Array, tail: Array) -> tuple[Array, Array]:
    """The part above a high tailwater (z = top - span x^4, which smooths both square roots)."""
    top = np.minimum(ratio, 1.0)
    span, gap = top - tail, np.abs(1.0 - ratio)
    x4 = span * _NODES**4
    width = np.sqrt(top - x4)
    far = np.sqrt(gap + x4)
    weight = 4.0 * span**1.5 * _WEIGHTS * _NODES**5 * width
    near_derivative = 4.0 * np.sqrt(span) * _WEIGHTS * _NODES * width * far
    derivative = np.where(ratio > 1.0, weight / far, near_derivative).sum(-1)
    return (2.0 * weight * far).sum(-1), derivative
