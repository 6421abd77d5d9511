"""The box from above: outlets, falls, lifts, and places for cards.

Seen so, "left" and "right" are those of one who looks from the inlet into the box, and outlets
numbered clockwise from the inlet come up the left side, along the far wall and down the right.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle

from dbox.drawings.style import INK, MEDIUM, THICK, THIN, TINT, Sheet
from dbox.fieldwork.levelling import Lift
from dbox.fieldwork.readings import Plane
from dbox.fieldwork.site import Box, Outlet
from dbox.units import FOOT, inches, millimetres

WALL, _STUB, _PIPE = 0.08, 0.22, 0.15
_STANDARD = (0.4, 0.5)

Point = tuple[float, float]


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
    along: float  # Its size along the inlet direction and across it. [in]
    across: float  # Its size along the inlet direction and across it. [in]
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
        places = [o.position for o in outlets]
        known = [p for p in places if p is not None]
        if len(known) < len(outlets):
            step = self.across / len(outlets)
            return [self._at_wall(self.along, (i + 0.5) * step) for i in range(len(outlets))]
        return [self._at_wall(along * self.scale, across * self.scale) for along, across in known]

    def _at_wall(self, along: float, across: float) -> Mouth:
        """The nearest point of the wall to a place counted from the inlet wall's left corner."""
        x, y = across - 0.5 * self.across, along - 0.5 * self.along
        if self.is_round:
            far = float(np.hypot(x, y))
            way = (x / far, y / far) if far > 0 else (0.0, 1.0)
            radius = 0.5 * self.across
            return self._mouth(radius * way[0], radius * way[1], way)
        x, y = (
            float(np.clip(v, -0.5 * s, 0.5 * s)) for v, s in ((x, self.across), (y, self.along))
        )
        walls = [
            (0.5 * self.along - y, (x, 0.5 * self.along), (0.0, 1.0)),
            (0.5 * self.across + x, (-0.5 * self.across, y), (-1.0, 0.0)),
            (0.5 * self.across - x, (0.5 * self.across, y), (1.0, 0.0)),
            (0.5 * self.along + y, (x, -0.5 * self.along), (0.0, -1.0)),
        ]
        _, at, way = min(walls, key=lambda wall: wall[0])
        return self._mouth(*at, way)

    def _mouth(self, x: float, y: float, way: Point) -> Mouth:
        bearing = float(np.arctan2(-x, -y) % (2.0 * np.pi))
        return Mouth((self.middle[0] + x, self.middle[1] + y), way, bearing)


def _inside(box: Box, outlets: tuple[Outlet, ...]) -> tuple[float, float]:
    """Inside size along and across: as measured, else as the outlets tell, else a usual one. [m]"""
    if box.inside:
        sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
        return sizes[0], sizes[1]
    known = [o.position for o in outlets if o.position is not None]
    along, across = np.max(known, axis=0) if known else _STANDARD
    return (float(along), float(across)) if min(along, across) > 0 else _STANDARD


def draw_plan(sheet: Sheet, plan: Plan, outlets: tuple[Outlet, ...], mouths: list[Mouth]) -> None:
    """Draw walls, inlet and outlets, the capped ones hatched."""
    for outlet, mouth in zip(outlets, mouths, strict=True):
        _draw_stub(sheet, mouth, min(_PIPE, 0.6 * _nearest(mouths)), capped=outlet.capped)
    _draw_walls(sheet, plan)
    _draw_inlet(sheet, plan)


def _nearest(mouths: list[Mouth]) -> float:
    """Least distance between two mouths. [in]"""
    gaps = [
        float(np.hypot(a.at[0] - b.at[0], a.at[1] - b.at[1]))
        for i, a in enumerate(mouths)
        for b in mouths[:i]
    ]
    return max(min(gaps, default=1.0), 0.05)


def _draw_stub(sheet: Sheet, mouth: Mouth, width: float, *, capped: bool) -> None:
    (x, y), (u, v) = mouth.at, mouth.way
    half, reach = 0.5 * width, WALL + _STUB
    sides = [(x - s * v * half, y + s * u * half) for s in (-1, 1)]
    ends = [(a + u * reach, b + v * reach) for a, b in reversed(sides)]
    stub = Polygon(sides + ends, edgecolor=INK, linewidth=THIN, facecolor="white", zorder=3)
    if capped:
        stub.set_hatch("////////")
    sheet.draw(stub)


def _draw_walls(sheet: Sheet, plan: Plan) -> None:
    (x, y), w, h = plan.middle, plan.across, plan.along
    outer: dict[str, Any] = {"facecolor": TINT, "edgecolor": INK, "linewidth": MEDIUM, "zorder": 2}
    inner: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": THIN, "zorder": 4}
    if plan.is_round:
        sheet.draw(Circle((x, y), 0.5 * w + WALL, **outer))
        sheet.draw(Circle((x, y), 0.5 * w, **inner))
        return
    corner = (x - 0.5 * w, y - 0.5 * h)
    sheet.draw(Rectangle((corner[0] - WALL, corner[1] - WALL), w + 2 * WALL, h + 2 * WALL, **outer))
    sheet.draw(Rectangle(corner, w, h, **inner))


def _draw_inlet(sheet: Sheet, plan: Plan) -> None:
    x, y = plan.middle[0], plan.middle[1] - 0.5 * plan.along
    _draw_stub(sheet, Mouth((x, y), (0.0, -1.0), 0.0), 0.2, capped=False)
    sheet.draw(arrow((x, y - _STUB - 0.16), (x, y + 0.22)))
    sheet.write(x, y - _STUB - 0.18, "inlet", ha="center")


def arrow(start: Point, end: Point, **look: Any) -> FancyArrowPatch:
    """An arrow from one point of the page to another. [in]"""
    pens: dict[str, Any] = {
        "arrowstyle": "-|>",
        "mutation_scale": 11,
        "color": INK,
        "linewidth": MEDIUM,
    }
    return FancyArrowPatch(start, end, shrinkA=0, shrinkB=0, zorder=6, **{**pens, **look})


LEAST_SLOPE = 2e-4
"""Rise per run below which a box is drawn level. [-]"""

_LEAST_LIFT = 5e-4


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


def draw_lifts(sheet: Sheet, plan: Plan, lift: Lift) -> None:
    """Draw a hollow arrow and an amount at each side that is to be lifted."""
    (x, y), half_w, half_h = plan.middle, 0.5 * plan.across, 0.5 * plan.along
    right = lift.slope_across > 0
    if worth_lifting(lift.right_side, lift.slope_across):
        words = _amount(lift.right_side, lift.slope_across)
        _draw_lift(sheet, x + (half_w - 0.4) * (1 if right else -1), y, words)
    if not worth_lifting(lift.far_end, lift.slope_along):
        return
    words = _amount(lift.far_end, lift.slope_along)
    if lift.slope_along > 0:
        _draw_lift(sheet, x, y + half_h - 0.36, words)
    else:
        # clear of the inlet's arrow, and of what is written on the other side
        aside, up = (0.0, 0.58) if plan.is_round else (-0.45 if right else 0.45, 0.33)
        _draw_lift(sheet, x + aside, y - half_h + up, words)


def worth_lifting(amount: float | None, slope: float) -> bool:
    """Whether a side is out of level by more than a person would shim; amount [m], slope [-]."""
    return abs(slope) >= LEAST_SLOPE if amount is None else abs(amount) >= _LEAST_LIFT


def _amount(lift: float | None, slope: float) -> str:
    if lift is None:
        return f"{inches(abs(slope) * FOOT)}\nper ft"
    return f"{inches(abs(lift))}\n({millimetres(abs(lift))})"


def _draw_lift(sheet: Sheet, x: float, y: float, words: str) -> None:
    sheet.draw(_lift_mark(x, y + 0.04))
    sheet.write(x, y + 0.01, words, ha="center", weight="bold", zorder=7)


def _lift_mark(x: float, y: float) -> Polygon:
    """A block arrow that points up."""
    corners = [
        (-0.05, 0.0),
        (0.05, 0.0),
        (0.05, 0.1),
        (0.12, 0.1),
        (0.0, 0.22),
        (-0.12, 0.1),
        (-0.05, 0.1),
    ]
    places = [(x + dx, y + dy) for dx, dy in corners]
    mark = Polygon(places, facecolor="white", edgecolor=INK, linewidth=MEDIUM, zorder=7)
    mark.set_label("lift")
    return mark
