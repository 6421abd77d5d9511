"""How is a result said in the units of the trade? SI numbers back into words.

Inches are given to the nearest 1/16, as a ruler shows them, with millimetres beside them; flows in
gallons a minute with litres a minute. What is printed here is read back by `units`.
"""

import math

from dbox.files.units import FOOT, GALLON, INCH, LITRE, MINUTE

SIXTEENTHS = 16


def inches(metres: float, *, signed: bool = False, parts: int = SIXTEENTHS) -> str:
    """Write a length to the nearest sixteenth of an inch, or other part of one.

    Parameters
    ----------
    metres : float
        [m]
    signed : bool
        Whether a length above 0 gets a plus.
    parts : int
        Parts of an inch to round to.

    Returns
    -------
    str
        A mixed number in lowest terms; the sign counts for the whole.

    >>> inches(0.0301625), inches(-0.0301625), inches(0.003175, signed=True)
    ('1-3/16 in', '-1-3/16 in', '+1/8 in')
    """
    count = round(metres / INCH * parts)
    whole, rest = divmod(abs(count), parts)
    sign = "-" if count < 0 else "+" if signed and count else ""
    if not rest:
        return f"{sign}{whole} in"
    shared = math.gcd(rest, parts)
    fraction = f"{rest // shared}/{parts // shared}"
    return f"{sign}{whole}-{fraction} in" if whole else f"{sign}{fraction} in"


def millimetres(metres: float, *, signed: bool = False) -> str:
    """Write a length to a tenth of a millimetre; parameters as for `inches`. [m]

    >>> millimetres(0.0047625, signed=True)
    '+4.8 mm'
    """
    # Adding 0.0 turns a rounded -0.0 into 0.0.
    tenths = round(metres * 1000, 1) + 0.0
    return f"{tenths:+.1f} mm" if signed and tenths else f"{tenths:.1f} mm"


def inches_mm(metres: float, *, signed: bool = False) -> str:
    """Write a length both ways; parameters as for `inches`. [m]

    >>> inches_mm(0.0047625, signed=True)
    '+3/16 in (+4.8 mm)'
    """
    return f"{inches(metres, signed=signed)} ({millimetres(metres, signed=signed)})"


def feet(metres: float) -> str:
    """Write the length of a line to three digits. [m]

    >>> feet(18.288)
    '60 ft'
    """
    return f"{_three_digits(metres / FOOT)} ft"


def gpm(inflow: float) -> str:
    """Write a flow in US gallons a minute, to three digits. [m3/s]

    >>> gpm(3.1545e-5)
    '0.5 gpm'
    """
    return f"{_three_digits(inflow * MINUTE / GALLON)} gpm"


def litres_per_min(inflow: float) -> str:
    """Write a flow in litres a minute, to three digits. [m3/s]

    >>> litres_per_min(3.1545e-5)
    '1.89 L/min'
    """
    return f"{_three_digits(inflow * MINUTE / LITRE)} L/min"


def gpm_litres(inflow: float) -> str:
    """Write a flow both ways. [m3/s]

    >>> gpm_litres(3.1545e-5)
    '0.5 gpm (1.89 L/min)'
    """
    return f"{gpm(inflow)} ({litres_per_min(inflow)})"


def gallons(volume: float) -> str:
    """Write a volume in US gallons, to three digits. [m3]

    >>> gallons(0.0189270589)
    '5 gal'
    """
    return f"{_three_digits(volume / GALLON)} gal"


def litres(volume: float) -> str:
    """Write a volume in litres, to three digits. [m3]

    >>> litres(0.000946352946)
    '0.946 L'
    """
    return f"{_three_digits(volume / LITRE)} L"


def percent(fraction: float, digits: int = 1) -> str:
    """Write a fraction in per cent. [-]

    >>> percent(0.5021)
    '50.2 %'
    """
    return f"{round(fraction * 100, digits) + 0.0:.{digits}f} %"


def clock_text(angle: float) -> str:
    """Write the angle of a hole as the nearest minute of a clock face.

    Parameters
    ----------
    angle : float
        From straight down, clockwise as seen from inside the box; any turn. [rad]

    >>> clock_text(0.0), clock_text(math.pi / 4), clock_text(-math.pi / 2)
    ('6:00', '7:30', '3:00')
    """
    minutes = (round(angle / math.tau * 720) + 360) % 720
    return f"{minutes // 60 or 12}:{minutes % 60:02d}"


def turn_text(turn: float) -> str:
    """Write a turn in whole degrees and its way round, as seen from inside the box.

    Parameters
    ----------
    turn : float
        Clockwise from inside the box, not 0. [rad]

    >>> turn_text(math.radians(30)), turn_text(math.radians(-5))
    ('30 deg clockwise', '5 deg counterclockwise')
    """
    way = "clockwise" if turn > 0 else "counterclockwise"
    return f"{abs(math.degrees(turn)):.0f} deg {way}"


def _three_digits(value: float) -> str:
    """Round to three significant digits without an exponent or idle zeros."""
    if not value:
        return "0"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text
