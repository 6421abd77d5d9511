"""How lengths and flows of a job are written: its own unit first, inches to the mark of its rule.

Inches and millimetres side by side are one length: the inches are its nearest mark, the millimetres
the length itself to a tenth.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from dbox.units import (
    FINE_PARTS,
    FOOT,
    INCH,
    PARTS,
    feet,
    gpm,
    gpm_litres,
    inches,
    litres_per_min,
    millimetres,
    three_digits,
)

_TAPE_PARTS = 4
"""Parts of an inch that a taped distance is written in. [-] (judgement)"""


@dataclass(frozen=True)
class Lengths:
    """How the lengths of a job are written: its own unit first, inches to the mark of its rule."""

    metric: bool = False  # Whether the job is in millimetres or centimetres.
    parts: int = PARTS  # Of an inch, that lengths are rounded to. [-]

    @classmethod
    def of(cls, typed: Iterable[float], mark: float | None, *, metric: bool) -> "Lengths":
        """By the finest mark of the rule; where it is not known, by what was typed. [m]

        >>> Lengths.of([1 / 64 * INCH], None, metric=False).parts
        64
        """
        steps = [each / INCH * FINE_PARTS for each in typed]
        odd = any(abs(each - round(each)) < 1e-6 and round(each) % 2 for each in steps)
        fine = odd if mark is None else mark < 1.5 * INCH / FINE_PARTS
        return cls(metric, FINE_PARTS if fine else PARTS)

    def pair(self, metres: float, *, signed: bool = False) -> tuple[str, str]:
        """A length in both units, that of the job first; parameters as for `inches`. [m]"""
        inch = inches(metres, signed=signed, parts=self.parts)
        metric = millimetres(metres, signed=signed)
        return (metric, inch) if self.metric else (inch, metric)

    def one(self, metres: float, *, signed: bool = False) -> str:
        """A length in the unit of the job; parameters as for `inches`. [m]"""
        return self.pair(metres, signed=signed)[0]

    def tick(self, metres: float, *, signed: bool = False) -> str:
        """A height on a scale, with no idle zeros. [m]

        >>> Lengths().tick(0.0), Lengths(metric=True).tick(0.05), Lengths(metric=True).tick(0.0025)
        ('0', '50 mm', '2.5 mm')
        """
        text = self.one(metres, signed=signed).replace(".0 mm", " mm")
        return "0" if text in ("0 in", "0 mm") else text

    def cell(self, metres: float, width: int) -> str:
        """A height both ways in a column of a width, its own unit alone where both do not fit. [m]

        >>> [Lengths().cell(x * 0.0254, 17) for x in (1 / 8, -17 / 32)]
        ['  +1/8 in  +3.2 mm', '        -17/32 in']
        """
        first, second = self.pair(metres, signed=True)
        wide, close = f"{first} {second:>{width // 2}}", f"{first} {second}"
        return next((t for t in (wide, close) if len(t) <= width), first).rjust(width)

    def both(self, metres: float, *, signed: bool = False) -> str:
        """A length both ways; one below the least mark in millimetres alone. [m]

        >>> Lengths().both(0.0047625, signed=True), Lengths(metric=True).both(0.003)
        ('+3/16 in (+4.8 mm)', '3.0 mm (1/8 in)')
        >>> Lengths().both(0.0003), Lengths().both(0.0)
        ('0.3 mm', '0 in (0.0 mm)')
        """
        first, second = self.pair(metres, signed=signed)
        metric = millimetres(metres, signed=signed)
        unseen = "0 in" in (first, second) and metric != "0.0 mm"
        return metric if unseen else f"{first} ({second})"

    def line(self, metres: float) -> str:
        """The length of a line, to three digits: feet, or metres. [m]

        >>> Lengths().line(18.288), Lengths(metric=True).line(18.0)
        ('60 ft', '18 m')
        """
        return f"{three_digits(metres)} m" if self.metric else feet(metres)

    def tape(self, metres: float) -> str:
        """A taped distance: feet and inches to a quarter, or metres to the centimetre. [m]

        >>> Lengths().tape(13.6398), Lengths().tape(10.9728), Lengths(metric=True).tape(10.97)
        ('44 ft 9 in', '36 ft', '10.97 m')
        """
        if self.metric:
            return f"{round(metres, 2):g} m"
        whole, rest = divmod(round(metres / INCH * _TAPE_PARTS), 12 * _TAPE_PARTS)
        words = [f"{whole} ft"] * (whole > 0)
        words += [inches(rest / _TAPE_PARTS * INCH, parts=_TAPE_PARTS)] * (rest > 0 or not whole)
        return " ".join(words)

    def flow(self, inflow: float) -> str:
        """A flow in the unit of the job. [m3/s]

        >>> Lengths().flow(3.1545e-5), Lengths(metric=True).flow_both(3.1545e-5)
        ('0.5 gpm', '1.89 L/min (0.5 gpm)')
        """
        return litres_per_min(inflow) if self.metric else gpm(inflow)

    def flow_both(self, inflow: float) -> str:
        """A flow both ways, that of the job first. [m3/s]"""
        return f"{litres_per_min(inflow)} ({gpm(inflow)})" if self.metric else gpm_litres(inflow)

    @property
    def run(self) -> tuple[float, str, str]:
        """What a fall is told over: its length [m], its name and its sign."""
        return (1.0, "metre", "m") if self.metric else (FOOT, "foot", "ft")


PLAIN = Lengths()
"""Where no job says how."""
