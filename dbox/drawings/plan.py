"""Where is every outlet? The box from above, the inlet at the bottom.

Seen so, "left" and "right" are those of one who looks from the inlet into the box, and outlets
numbered clockwise from the inlet come up the left side, along the far wall and down the right.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.patches import Circle, FancyArrowPatch, Polygon, Rectangle

from dbox.drawings.style import INK, MEDIUM, THIN, TINT, Sheet
from dbox.fieldwork.site import Box, Outlet

WALL, _STUB, _PIPE = 0.08, 0.22, 0.15
_STANDARD = (0.4, 0.5)

Point = tuple[float, float]


@dataclass(frozen=True)
class Mouth:
    """Where an outlet leaves the box on paper, and which way. [in]

    Parameters
    ----------
    at : tuple of float
        The point of the inner wall.
    way : tuple of float
        Outward, of length 1.
    bearing : float
        Way round the box to it, clockwise from the inlet as seen from above. [rad]
    """

    at: Point
    way: Point
    bearing: float

    @property
    def end(self) -> Point:
        """End of the stub of pipe that is drawn."""
        reach = WALL + _STUB
        return self.at[0] + reach * self.way[0], self.at[1] + reach * self.way[1]


@dataclass(frozen=True)
class Plan:
    """The inside of the box on paper.

    Parameters
    ----------
    middle : tuple of float
        Its centre. [in]
    along, across : float
        Its size along the inlet direction and across it. [in]
    scale : float
        Paper over box. [in/m]
    is_round : bool
        Whether it is round.
    """

    middle: Point
    along: float
    across: float
    scale: float
    is_round: bool

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
    """Draw walls, inlet and outlets, the capped ones hatched.

    Parameters
    ----------
    sheet : Sheet
        The page.
    plan : Plan
        The box on it.
    outlets : tuple of n Outlet
        Its outlets.
    mouths : list of n Mouth
        Where they leave.
    """
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
