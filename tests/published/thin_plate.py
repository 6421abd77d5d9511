"""What passes a thin-plate opening, straight from the defining integral, in many digits.

Q(h) = C sqrt(2 g) * integral from 0 to min(h, top) of b(z) sqrt(h - max(z, t)) dz, worked out by
mpmath's quadrature; nothing here comes from the code under test.
"""

from collections.abc import Callable

import mpmath as mp
import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

GRAVITY = 9.80665
"""Standard gravity. [m/s2] (CGPM 1901)"""

INCH = 0.0254
FOOT = 0.3048
"""Inch and foot. [m] (international yard and pound agreement 1959, exact)"""

GPM = 231 * INCH**3 / 60
"""US gallon (231 cubic inches, exact) a minute. [m3/s]"""

LITRE_PER_MINUTE = 1e-3 / 60

Width = Callable[[mp.mpf], mp.mpf]


def circle_width(diameter: float) -> Width:
    """Width of a circle at height z over its lowest point. [m]"""
    return lambda z: 2 * mp.sqrt(max(z * (diameter - z), mp.mpf(0)))


def circle_integral(ratio: float) -> mp.mpf:
    """f(n) = integral from 0 to min(n, 1) of 2 sqrt(z (1 - z)) sqrt(n - z) dz."""
    n = mp.mpf(ratio)
    top = min(n, mp.mpf(1))
    return mp.quad(lambda z: 2 * mp.sqrt(z * (1 - z) * (n - z)), [0, top / 2, top])


def circle_derivative(ratio: float) -> mp.mpf:
    """f'(n), the same integral with 1 / (2 sqrt(n - z)), freed of its pole by z = n cos^2 p."""
    n = mp.mpf(ratio)
    if n <= 1:
        return mp.quad(
            lambda p: 2 * n * mp.cos(p) ** 2 * mp.sqrt((1 - n) + n * mp.sin(p) ** 2),
            [0, mp.pi / 4, mp.pi / 2],
        )
    return mp.quad(
        lambda p: (mp.sin(2 * p) ** 2 / 2) / mp.sqrt((n - 1) + mp.sin(p) ** 2),
        [0, mp.pi / 4, mp.pi / 2],
    )


def circle_closed_form(ratio: float) -> mp.mpf:
    """Stevens (1957), J. Hydraulics Division ASCE 83(6), and its mirror above n = 1 (memory)."""
    n = mp.mpf(ratio)
    if n > 1:
        return n ** mp.mpf("2.5") * circle_closed_form(1 / n)
    elliptic_e, elliptic_k = mp.ellipe(n), mp.ellipk(n)
    return mp.mpf(4) / 15 * (2 * (1 - n + n**2) * elliptic_e - (2 - 3 * n + n**2) * elliptic_k)


def ideal_rating(width: Width, top: float, head: float, tail: float = 0.0) -> tuple[float, float]:
    """Flow and slope of an opening with C = 1, tailwater `tail` over the lip (0: none).

    Below the tailwater the fall is h - t; above it z = h - u^2 takes the square roots away.
    """
    h, t = mp.mpf(head), mp.mpf(tail)
    fall, shut = h - t, min(t, mp.mpf(top))
    below = mp.quad(width, [0, shut / 2, shut]) if shut > 0 else mp.mpf(0)
    flow, slope = below * mp.sqrt(fall), below / (2 * mp.sqrt(fall))
    if t < top:
        ends = [mp.sqrt(max(h - top, 0)), mp.sqrt(fall)]
        ends.insert(1, (ends[0] + ends[1]) / 2)
        flow += mp.quad(lambda u: 2 * u**2 * width(h - u**2), ends)
        slope += mp.quad(lambda u: width(h - u**2), ends)
    scale = mp.sqrt(2 * mp.mpf(GRAVITY))
    return float(scale * flow), float(scale * slope)


def hole_flow(head: float, diameter: float, coefficient: float) -> float:
    """Flow of a round hole by scipy's quadrature, 0 where dry: fast enough for a root search."""
    if head <= 0:
        return 0.0
    n = head / diameter
    top = min(n, 1.0)

    def strip(p: float) -> float:
        z = top * np.sin(p) ** 2
        return float(2.0 * np.sqrt(z * (1.0 - z) * (n - z)) * top * np.sin(2.0 * p))

    integral, _ = quad(strip, 0.0, 0.5 * np.pi, epsabs=0.0, epsrel=1e-11)
    return float(coefficient * np.sqrt(2.0 * GRAVITY) * diameter**2.5 * integral)


def split_by_bracketing(
    rating: Callable[[float], float], inflow: float, lips: list[float]
) -> tuple[float, np.ndarray]:
    """Level and shares of equal openings, by scipy's brentq on the sum of their flows."""

    def surplus(level: float) -> float:
        return sum(rating(level - lip) for lip in lips) - inflow

    level = float(brentq(surplus, min(lips), max(lips) + 0.2, xtol=1e-15, rtol=1e-13))
    flows = np.array([rating(level - lip) for lip in lips])
    return level, flows / flows.sum()
