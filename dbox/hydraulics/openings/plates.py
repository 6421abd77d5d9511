"""Openings in a thin plate, free or drowned: round hole, V-notch, slot; and their coefficients.

Each passes Q = C sqrt(2 g) times the integral of `base`, C typed or by a law from its source.

Notch: 8/15 tan(a/2) h^2.5. Open slot: 2/3 b h^1.5; closed at height H: the same less the part over
H, which runs from weir to orifice without a kink in the flow. Round hole, with n = h/D: D^2.5 f(n),

    f(n) = 4/15 [2 (1 - n + n^2) E(n) - (2 - 3 n + n^2) K(n)]   for n <= 1 (parameter m = n)
    f(n) = n^2.5 f(1/n)                                         for n >= 1

(first form: J. C. Stevens 1957, J. Hydraulics Division ASCE 83(6), from memory). Written that way
it loses all digits at small n and is 0 times infinity at n = 1. Both go away when K and E come
from the arithmetic-geometric mean (Abramowitz and Stegun 17.6): E/K = 1 - n/2 - n^2 s, where s is
a sum of positive terms, gives f = n^2 g with g = 4/15 K [2 - n - 2 (1 - n + n^2) s].

Every law gives C and its derivative, so that an opening can give its exact slope, and is held at
the ends of its measured range. None is held good by its source at the heads of an ordinary day, 2
to 6 mm over round holes, 5 to 10 mm over 90 degree notches (four or five of them, by `split`):
there the held value is an extrapolation, good to several per cent at best and perhaps a tenth off
(judgement), and `measured_heads` says so.
"""

from abc import abstractmethod
from dataclasses import dataclass, field, replace
from numbers import Real
from typing import ClassVar

import numpy as np

from dbox.arrays import GRAVITY, Array
from dbox.errors import DomainError, show
from dbox.hydraulics.openings.base import Opening, Round, check_coefficient, check_positive
from dbox.hydraulics.pipes import area
from dbox.notes import Note

STAUS_RELATIVE_HEADS = (0.1, 1.0)
"""Heads over diameter between which Staus's formula follows his table. [-] (Staus 1931)"""

SHEN_HEADS = (0.06, 0.38)
"""Heads between which the Kindsvater-Shen notch is specified. [m] (Shen 1981)"""

SHEN_ANGLES = (np.radians(25.0), np.radians(100.0))
"""Notch angles between which the Kindsvater-Shen coefficient was measured. [rad] (Shen 1981)"""

CARTER_HEADS = (0.03, np.inf)
"""Heads over which the Kindsvater-Carter weir is specified. [m] (Blevins 1984)"""

CARTER_WIDTH = 0.15
"""Narrowest opening that the Kindsvater-Carter weir is specified for. [m] (Blevins 1984)"""


def staus(head: Array, diameter: float) -> tuple[Array, Array]:
    """Coefficient of a circular thin-plate weir and its derivative.

    head [m], diameter [m] -> [-], [1/m].

    Notes
    -----
    His table, as quoted, has one more row, C = 0.750 at n = 0.05. The formula gives 0.739 there;
    held at its value for n = 0.1 the coefficient is 0.650, 13 per cent less than that row. It is
    held there because the rise cannot be carried over to holes of another size: near its lowest
    point every circle is the same parabola, so that without viscosity and surface tension C has
    one value as n goes to 0, and these go with the head itself, not with n.

    References
    ----------
    A. Staus (1931), Der Beiwert kreisrunder Ueberfaelle, Wasserkraft und Wasserwirtschaft 25(11),
    122-123: C = 0.555 + 1/(110 n) + 0.041 n with n = h/D. The formula is from memory; the tests
    hold it against Staus's table as later works quote it, one of them dating it 1936.
    """
    low, high = STAUS_RELATIVE_HEADS
    ratio = head / diameter
    held = np.minimum(np.maximum(ratio, low), high)
    inverse = (1.0 / 110.0) / held
    slope = (0.041 - inverse / held) / diameter
    return 0.555 + inverse + 0.041 * held, np.where(ratio == held, slope, 0.0)


def kindsvater_shen(head: Array, angle: float) -> tuple[Array, Array]:
    """Coefficient of a sharp V-notch, Ce (1 + kh / h)^2.5, and its derivative.

    head [m], angle [rad] -> [-], [1/m].

    References
    ----------
    J. Shen (1981), Discharge characteristics of triangular-notch thin-plate weirs, US Geological
    Survey Water-Supply Paper 1617-B; US Bureau of Reclamation, Water Measurement Manual, 3rd ed.,
    section 7-7 (angles, least head of 0.2 ft). The polynomials are a later fit to its curves, as
    several public hydraulics codes give them.
    """
    degrees = np.degrees(min(max(angle, SHEN_ANGLES[0]), SHEN_ANGLES[1]))
    effective = 0.607165052 - 8.74466963e-4 * degrees + 6.10393334e-6 * degrees**2
    head_shift = 0.3048 * (
        0.0144902648
        - 3.3955535e-4 * degrees
        + 3.29819003e-6 * degrees**2
        - 1.06215442e-8 * degrees**3
    )
    return _shifted(head, effective, head_shift, 2.5, SHEN_HEADS)


def kindsvater_carter(head: Array, width: float) -> tuple[Array, Array]:
    """Coefficient of a narrow rectangular weir in a wide wall, and its derivative.

    head [m], width [m] -> [-], [1/m].

    References
    ----------
    C. E. Kindsvater and R. W. Carter (1957): Ce = 0.587 and width correction 2.4 mm where the
    opening is far narrower than the channel (both from memory; R. D. Blevins 1984 prints numbers
    that come to 0.5876 and 2.5 mm); head correction 0.003 ft = 1 mm, US Bureau of Reclamation,
    Water Measurement Manual, 3rd ed., section 7-6.
    """
    return _shifted(head, 0.587 * (1.0 + 0.0024 / width), 0.001, 1.5, CARTER_HEADS)


def _shifted(
    head: Array, effective: float, head_shift: float, power: float, heads: tuple[float, float]
) -> tuple[Array, Array]:
    """Ce (1 + kh/h)^power and its derivative, h held between `heads`."""
    held = np.minimum(np.maximum(head, heads[0]), heads[1])
    stretch = 1.0 + head_shift / held
    coefficient = effective * stretch**power
    slope = -coefficient * power * head_shift / (held**2 * stretch)
    return coefficient, np.where(head == held, slope, 0.0)


_ROOT_2G = float(np.sqrt(2.0 * GRAVITY))
"""Velocity of a fall, over the root of its height. [m^0.5/s] (exact)"""


class ThinPlate(Opening):
    """An opening in a thin plate, whose coefficient is typed or by a law."""

    coefficient: float | None

    @abstractmethod
    def _law(self, head: Array) -> tuple[Array, Array]:
        """Coefficient where none is typed, and its derivative; head [m] -> [-], [1/m]."""

    @property
    @abstractmethod
    def _law_heads(self) -> tuple[float, float]:
        """Heads between which the law was measured. [m]"""

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient was measured. [m]"""
        return (0.0, np.inf) if self.coefficient is not None else self._law_heads

    def _scaled(
        self, head: Array, integral: Array, derivative: Array, *, scale: float, size: float = 1.0
    ) -> tuple[Array, Array]:
        """Flow and slope by the integral over scale and size, and its derivative over scale."""
        scale *= _ROOT_2G
        if self.coefficient is not None:
            scale *= self.coefficient
            return scale * size * integral, scale * derivative
        coefficient, change = self._law(head)
        slope = scale * (coefficient * derivative + change * size * integral)
        return scale * size * coefficient * integral, slope


_POINTS, _PARTS = np.polynomial.legendre.leggauss(32)  # on -1 to 1 [-] (numerical)
_NODES, _WEIGHTS = 0.5 * (_POINTS + 1.0), 0.5 * _PARTS
"""Gauss points on 0 to 1 and their weights. [-] (numerical)"""


@dataclass(frozen=True)
class Circle(Round, ThinPlate):
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
    0.650 there (see `staus`). Between outlets with equal holes the coefficient cancels out of
    the shares where it is constant, or the heads are equal.

    >>> hole = Circle(0.0254, coefficient=0.6)
    >>> (hole.discharge([-0.01, 0.0, 0.0254]) * 1e6).round(3).tolist()
    [0.0, 0.0, 145.717]
    """

    kind: ClassVar[str] = "circle"
    words: ClassVar[str] = "circle {diameter}"
    example: ClassVar[str] = "circle 2 in"
    diameter: float
    coefficient: float | None = field(default=None, kw_only=True)

    def __post_init__(self) -> None:
        check_positive("diameter [m]", self.diameter)
        check_coefficient(self.coefficient)

    @property
    def _law_heads(self) -> tuple[float, float]:
        low, high = STAUS_RELATIVE_HEADS
        return low * self.diameter, high * self.diameter

    def _law(self, head: Array) -> tuple[Array, Array]:
        return staus(head, self.diameter)

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        return self._of(head, *circle_integral(head / self.diameter))

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        return self._of(head, *_drowned(head / self.diameter, fall / self.diameter))

    def _of(self, head: Array, integral: Array, derivative: Array) -> tuple[Array, Array]:
        scale = self.diameter**1.5
        return self._scaled(head, integral, derivative, scale=scale, size=self.diameter)


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


@dataclass(frozen=True)
class Notch(ThinPlate):
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
    The law is specified for heads of at least 0.06 m (`SHEN_HEADS`); an ordinary day stands 5
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
        if not (isinstance(self.angle, Real) and 0.0 < self.angle < np.pi):
            said = f"notch angle is {show(self.angle)} rad"
            raise DomainError(f"{said}; it must lie between 0 and pi")
        check_coefficient(self.coefficient)

    @property
    def top(self) -> float:
        """Infinite: the notch is open on top. [m]"""
        return np.inf

    @property
    def _law_heads(self) -> tuple[float, float]:
        return SHEN_HEADS

    @property
    def cautions(self) -> tuple[Note, ...]:
        """Says so where the angle is outside those its law was measured at."""
        low, high = SHEN_ANGLES
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

    def _law(self, head: Array) -> tuple[Array, Array]:
        return kindsvater_shen(head, self.angle)

    @property
    def _scale(self) -> float:
        return float(np.tan(0.5 * self.angle))

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        power = head * np.sqrt(head)
        integral, derivative = (8.0 / 15.0) * power * head, (4.0 / 3.0) * power
        return self._scaled(head, integral, derivative, scale=self._scale)

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        tailwater, root = head - fall, np.sqrt(fall)
        integral = root * (tailwater**2 + fall * (4.0 / 3.0 * head - 0.8 * fall))
        derivative = 0.5 * tailwater**2 / root + root * (2.0 * head - fall / 1.5)
        return self._scaled(head, integral, derivative, scale=self._scale)


@dataclass(frozen=True)
class Slot(ThinPlate):
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
    The law was measured on weirs open on top, at heads of at least 0.03 m (`CARTER_HEADS`).

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
    def _law_heads(self) -> tuple[float, float]:
        return CARTER_HEADS[0], min(CARTER_HEADS[1], self.top)

    @property
    def cautions(self) -> tuple[Note, ...]:
        """Says so where the slot is narrower than its law was measured at."""
        if self.coefficient is not None or self.width >= CARTER_WIDTH:
            return ()
        values = {"width": self.width, "least": CARTER_WIDTH}
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

    def _law(self, head: Array) -> tuple[Array, Array]:
        return kindsvater_carter(head, self.width)

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        return self._scaled(head, *self._above(head, head), scale=self.width)

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        open_below, root = np.minimum(head - fall, self.top), np.sqrt(fall)
        integral, derivative = self._above(head, fall)
        integral, derivative = integral + open_below * root, derivative + 0.5 * open_below / root
        return self._scaled(head, integral, derivative, scale=self.width)

    def _above(self, head: Array, depth: Array) -> tuple[Array, Array]:
        """Integral of sqrt(h - z) from `depth` below the level up to the top; its derivative."""
        over_top = np.minimum(np.maximum(head - self.top, 0.0), depth)
        root, root_top = np.sqrt(depth), np.sqrt(over_top)
        # differences of powers written so that deep submergence keeps its digits
        span, total = depth - over_top, np.maximum(root + root_top, 1e-300)
        integral = span * (depth + root * root_top + over_top) / (1.5 * total)
        return integral, span / total
