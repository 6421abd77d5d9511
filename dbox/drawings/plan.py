"""The box from above: outlets, falls, lifts, and places for cards.

Seen so, "left" and "right" are those of one who looks from the inlet into the box, and outlets
numbered clockwise from the inlet come up the left side, along the far wall and down the right.
"""

from dataclasses import dataclass
from itertools import combinations
from math import dist
from typing import Any

import numpy as np
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle

from dbox.drawings.style import INK, MEDIUM, THICK, THIN, TINT, Point, Sheet
from dbox.fieldwork.levelling import Lift
from dbox.fieldwork.readings import Plane
from dbox.fieldwork.site import Box, Outlet
from dbox.lengths import Lengths
from dbox.report.level_report import LEAST_SLOPE, worth_lifting

WALL, _STUB, _PIPE = 0.08, 0.22, 0.15
_STANDARD = (0.4, 0.5)


@dataclass(frozen=True)
class Mouth:
    """Where an outlet leaves the box on paper, and which way. [in]"""

    at: Point  # The point of the inner wall.
    way: Point  # Outward, of length 1.
    bearing: float  # Way round the box to it, clockwise from the inlet as seen from above. [rad]

    @property
    def end(self) -> Point:
        """End of the stub of pipe that is drawn."""
        reach = WALL + _STUB
        return self.at[0] + reach * self.way[0], self.at[1] + reach * self.way[1]


@dataclass(frozen=True)
class Plan:
    """The inside of the box on paper."""

    middle: Point  # Its centre. [in]
    along: float  # Its size along the inlet direction. [in]
    across: float  # Its size across it. [in]
    scale: float  # Paper over box. [in/m]
    is_round: bool  # Whether it is round.

    @classmethod
    def fitted(
        cls, box: Box, outlets: tuple[Outlet, ...], width: float, height: float, middle: Point
    ) -> "Plan":
        """Fit box and stubs into a width and height around a middle. [in]"""
        along, across = _inside(box, outlets)
        room = 2.0 * (WALL + _STUB)
        scale = min((width - room) / across, (height - room) / along)
        return cls(middle, along * scale, across * scale, scale, box.shape == "round")

    def mouths(self, outlets: tuple[Outlet, ...]) -> list[Mouth]:
        """Where each outlet leaves; along the far wall in order if a position is missing."""
        known = [o.position for o in outlets if o.position is not None]
        if len(known) < len(outlets):
            step = self.across / len(outlets)
            return [self._at_wall(self.along, (i + 0.5) * step) for i in range(len(outlets))]
        return [self._at_wall(along * self.scale, across * self.scale) for along, across in known]

    def _at_wall(self, along: float, across: float) -> Mouth:
        """The nearest point of the wall to a place counted from the inlet wall's left corner."""
        half_w, half_h = 0.5 * self.across, 0.5 * self.along
        x, y = across - half_w, along - half_h
        if self.is_round:
            far = float(np.hypot(x, y))
            way = (x / far, y / far) if far > 0 else (0.0, 1.0)
            x, y = half_w * way[0], half_w * way[1]
        else:
            x, y = float(np.clip(x, -half_w, half_w)), float(np.clip(y, -half_h, half_h))
            _, (x, y), way = min(
                (half_h - y, (x, half_h), (0.0, 1.0)),
                (half_w + x, (-half_w, y), (-1.0, 0.0)),
                (half_w - x, (half_w, y), (1.0, 0.0)),
                (half_h + y, (x, -half_h), (0.0, -1.0)),
                key=lambda wall: wall[0],
            )
        bearing = float(np.arctan2(-x, -y) % (2.0 * np.pi))
        return Mouth((self.middle[0] + x, self.middle[1] + y), way, bearing)


def _inside(box: Box, outlets: tuple[Outlet, ...]) -> tuple[float, float]:
    """Inside size along and across: as measured, else as the outlets tell, else a usual one. [m]"""
    if box.inside:
        return box.inside[0], box.inside[-1]
    known = [o.position for o in outlets if o.position is not None]
    along, across = np.max(known, axis=0) if known else _STANDARD
    return (float(along), float(across)) if min(along, across) > 0 else _STANDARD


def draw_plan(sheet: Sheet, plan: Plan, outlets: tuple[Outlet, ...], mouths: list[Mouth]) -> None:
    """Draw walls, inlet and outlets, the capped ones hatched."""
    nearest = min((dist(a.at, b.at) for a, b in combinations(mouths, 2)), default=1.0)
    width = min(_PIPE, 0.6 * max(nearest, 0.05))
    for outlet, mouth in zip(outlets, mouths, strict=True):
        _draw_stub(sheet, mouth, width, capped=outlet.capped)
    (x, y), w, h = plan.middle, plan.across, plan.along
    outer: dict[str, Any] = {"facecolor": TINT, "edgecolor": INK, "linewidth": MEDIUM, "zorder": 2}
    inner: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": THIN, "zorder": 4}
    for grown, look in ((WALL, outer), (0.0, inner)):
        if plan.is_round:
            sheet.draw(Circle((x, y), 0.5 * w + grown, **look))
        else:
            corner = (x - 0.5 * w - grown, y - 0.5 * h - grown)
            sheet.draw(Rectangle(corner, w + 2 * grown, h + 2 * grown, **look))
    foot = y - 0.5 * h
    _draw_stub(sheet, Mouth((x, foot), (0.0, -1.0), 0.0), 0.2, capped=False)
    sheet.draw(arrow((x, foot - _STUB - 0.16), (x, foot + 0.22)))
    sheet.write(x, foot - _STUB - 0.18, "inlet", ha="center")


def _draw_stub(sheet: Sheet, mouth: Mouth, width: float, *, capped: bool) -> None:
    (u, v), half = mouth.way, 0.5 * width
    near, far = [
        [(x + side * half * v, y - side * half * u) for side in (1, -1)]
        for x, y in (mouth.at, mouth.end)
    ]
    stub = Polygon(near + far[::-1], edgecolor=INK, linewidth=THIN, facecolor="white", zorder=3)
    if capped:
        stub.set_hatch("////////")
    sheet.draw(stub)


def arrow(start: Point, end: Point, **look: Any) -> FancyArrowPatch:
    """An arrow from one point of the page to another. [in]"""
    look = {"mutation_scale": 11, "color": INK, "linewidth": MEDIUM, "zorder": 6, **look}
    return FancyArrowPatch(start, end, arrowstyle="-|>", shrinkA=0, shrinkB=0, **look)


def draw_fall(sheet: Sheet, plan: Plan, plane: Plane, *, aside: bool) -> None:
    """Draw an arrow the way the box falls."""
    steep = steepness(plane)
    if steep < LEAST_SLOPE:
        return
    length = 0.32 * min(plan.along, plan.across)
    u, v = -plane.slope_y / steep * length, -plane.slope_x / steep * length
    back = 0.9 if aside else 0.5
    x, y = plan.middle[0] - back * u, plan.middle[1] - back * v
    sheet.draw(arrow((x, y), (x + u, y + v), mutation_scale=18, linewidth=THICK, label="fall"))


def steepness(plane: Plane) -> float:
    """Fall of a plane along its steepest way, as rise per run. [-]"""
    return float(np.hypot(plane.slope_x, plane.slope_y))


def draw_lifts(sheet: Sheet, plan: Plan, lift: Lift, lengths: Lengths) -> None:
    """Draw a hollow arrow and an amount at each side that is to be lifted."""
    (x, y), half_w, half_h = plan.middle, 0.5 * plan.across, 0.5 * plan.along
    right = 1 if lift.slope_across > 0 else -1
    _draw_lift(sheet, x + right * (half_w - 0.4), y, lift.right_side, lift.slope_across, lengths)
    if lift.slope_along > 0:
        x, y = x, y + half_h - 0.36
    else:
        # clear of the inlet's arrow, and of what is written on the other side
        aside, up = (0.0, 0.58) if plan.is_round else (-0.45 * right, 0.33)
        x, y = x + aside, y - half_h + up
    _draw_lift(sheet, x, y, lift.far_end, lift.slope_along, lengths)


_BLOCK_ARROW = (
    (-0.05, 0.0), (0.05, 0.0), (0.05, 0.1), (0.12, 0.1), (0.0, 0.22), (-0.12, 0.1), (-0.05, 0.1)
)  # fmt: skip
"""Corners of an arrow that points up. [in]"""


def _draw_lift(
    sheet: Sheet, x: float, y: float, amount: float | None, slope: float, lengths: Lengths
) -> None:
    if not worth_lifting(amount, slope):
        return
    run, _, sign = lengths.run
    words = f"{lengths.one(abs(slope) * run)}\nper {sign}"
    if amount is not None:
        words = lengths.both(abs(amount)).replace(" (", "\n(")
    look: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": MEDIUM}
    sheet.draw(Polygon(np.add(_BLOCK_ARROW, (x, y + 0.04)), zorder=7, label="lift", **look))
    sheet.write(x, y + 0.01, words, ha="center", weight="bold", zorder=7)
