"""Discharge coefficients of thin-plate openings, each held at the ends of its measured range.

Every law gives C in Q = C sqrt(2 g) * integral (see `base`) and its derivative, so that an opening
can give its exact slope. None is held good by its source at the heads of an ordinary day, 2 to 6 mm
over round holes, 5 to 10 mm over 90 degree notches (four or five of them, by `split`): there the
held value is an extrapolation, good to several per cent at best and perhaps a tenth off
(judgement), and `measured_heads` says so.
"""

import numpy as np

from dbox.arrays import Array

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
