"""Which opening does an outlet have? From sizes to the opening that hydraulics computes.

The kinds are `circle` and `pipe` (a diameter), `notch` (an angle) and `slot` (a width, and a height
where it is closed on top).
"""

from collections.abc import Mapping
from dataclasses import dataclass

from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot


@dataclass(frozen=True)
class Kind:
    """The sizes that a kind of opening needs, and those that it may have."""

    needs: tuple[str, ...]
    may_have: tuple[str, ...] = ()

    @property
    def sizes(self) -> tuple[str, ...]:
        """Every size that has a meaning for this kind."""
        return self.needs + self.may_have


KINDS = {
    "circle": Kind(needs=("diameter",)),
    "notch": Kind(needs=("angle",)),
    "slot": Kind(needs=("width",), may_have=("height",)),
    "pipe": Kind(needs=("diameter",)),
}
SIZES = ("diameter", "angle", "width", "height")


def build(kind: str, sizes: Mapping[str, float], coefficient: float | None = None) -> Opening:
    """Make the opening of a kind.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    sizes : mapping of str to float
        At least the sizes that the kind needs. [m; the angle in rad]
    coefficient : float, optional
        Discharge coefficient; the opening's own law without it. [-]

    >>> build("slot", {"width": 0.05}).top
    inf
    """
    if kind == "circle":
        return Circle(sizes["diameter"], coefficient=coefficient)
    if kind == "notch":
        return Notch(sizes["angle"], coefficient=coefficient)
    if kind == "slot":
        return Slot(sizes["width"], sizes.get("height"), coefficient=coefficient)
    return PipeEnd(sizes["diameter"], coefficient=coefficient)
