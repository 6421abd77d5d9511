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

from dbox.drawings.style import BOX, INK, MEDIUM, SMALL, THICK, THIN, WARNING, WATER, Point, Sheet
from dbox.fieldwork.levelling import Lift
from dbox.fieldwork.readings import Plane
from dbox.fieldwork.site import Box, Outlet
from dbox.lengths import Lengths
from dbox.report.level_report import LEAST_SLOPE, worth_lifting
from dbox.units import percent_text

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
            return [self.mouth(self.along, (i + 0.5) * step) for i in range(len(outlets))]
        return [self.mouth(along * self.scale, across * self.scale) for along, across in known]

    def mouth(self, along: float, across: float) -> Mouth:
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


def draw_plan(
    sheet: Sheet,
    plan: Plan,
    outlets: tuple[Outlet, ...],
    mouths: list[Mouth],
    print_size: float = 0.0,
) -> None:
    """Draw walls, inlet and outlets, the capped ones hatched.

    print_size: of the letters of a printed sheet, on which all is black and white. [pt]
    """
    nearest = min((dist(a.at, b.at) for a, b in combinations(mouths, 2)), default=1.0)
    width = min(_PIPE, 0.6 * max(nearest, 0.05))
    for outlet, mouth in zip(outlets, mouths, strict=True):
        _draw_stub(sheet, mouth, width, capped=outlet.capped)
    (x, y), w, h = plan.middle, plan.across, plan.along
    wall, edge, flow = ("white", INK, INK) if print_size else (BOX.colour, "none", WATER.colour)
    outer: dict[str, Any] = {"facecolor": wall, "edgecolor": edge, "zorder": 2}
    inner: dict[str, Any] = {"facecolor": "white", "edgecolor": INK, "linewidth": THIN, "zorder": 4}
    for grown, look in ((WALL, outer), (0.0, inner)):
        if plan.is_round:
            sheet.draw(Circle((x, y), 0.5 * w + grown, **look))
        else:
            corner = (x - 0.5 * w - grown, y - 0.5 * h - grown)
            sheet.draw(Rectangle(corner, w + 2 * grown, h + 2 * grown, **look))
    foot = y - 0.5 * h
    _draw_stub(sheet, Mouth((x, foot), (0.0, -1.0), 0.0), 0.2, capped=False)
    ends = (x, foot - _STUB - 0.16), (x, foot + 0.22)
    sheet.draw(arrow(*ends, color=flow, linewidth=THICK, mutation_scale=14))
    sheet.write(x, foot - _STUB - 0.18, "inlet", print_size or SMALL, ha="center")


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


def fall_told(plane: Plane | None) -> bool:
    """Whether it can be told which way a box falls, and that it does."""
    return plane is not None and plane.told and steepness(plane) >= LEAST_SLOPE


def draw_fall(sheet: Sheet, plan: Plan, plane: Plane, lengths: Lengths, *, aside: bool) -> None:
    """Draw an arrow the way the box falls, and how much."""
    steep = steepness(plane)
    length = 0.32 * min(plan.along, plan.across)
    u, v = -plane.slope_y / steep * length, -plane.slope_x / steep * length
    back = 0.9 if aside else 0.5
    x, y = plan.middle[0] - back * u, plan.middle[1] - back * v
    sheet.draw(arrow((x, y), (x + u, y + v), mutation_scale=18, linewidth=THICK, label="fall"))
    run, _, sign = lengths.run
    words = f"falls {lengths.one(steep * run)} per {sign}\n({percent_text(steep)}) this way"
    # over a level arrow, beside a steep one
    over = abs(u) > abs(v)
    at = (x + 0.5 * u, max(y, y + v) + 0.08) if over else (max(x, x + u) + 0.08, y + 0.5 * v)
    look: dict[str, Any] = (
        {"ha": "center", "va": "bottom"} if over else {"ha": "left", "va": "center"}
    )
    sheet.write(*at, words, zorder=7, **look)


def steepness(plane: Plane) -> float:
    """Fall of a plane along its steepest way, as rise per run. [-]"""
    return float(np.hypot(plane.slope_x, plane.slope_y))


_LIFT = 0.11
"""Width of the strip along a side that is to be lifted. [in]"""


def draw_lifts(sheet: Sheet, plan: Plan, lift: Lift, lengths: Lengths) -> None:
    """Hatch the sides that are to be lifted and say by how much; no arrow, which means flow."""
    right = 1 if lift.slope_across > 0 else -1
    # the inlet end on the side away from what is written on the other
    aside = 0.5 * np.pi if lift.slope_along > 0 else -(0.5 + 0.2 * right) * np.pi
    for bearing, amount, slope in (
        (0.0 if right > 0 else np.pi, lift.right_side, lift.slope_across),
        (aside, lift.far_end, lift.slope_along),
    ):
        if worth_lifting(amount, slope):
            _draw_lift(sheet, plan, bearing, _lift_text(amount, slope, lengths))


def _lift_text(amount: float | None, slope: float, lengths: Lengths) -> str:
    run, _, sign = lengths.run
    if amount is None:
        return f"lift {lengths.one(abs(slope) * run)}\nper {sign}"
    return f"lift {lengths.both(abs(amount))}".replace(" (", "\n(")


def _draw_lift(sheet: Sheet, plan: Plan, bearing: float, words: str) -> None:
    """A strip along the wall; bearing of its middle from the right, anticlockwise [rad]."""
    (x, y), half_w, half_h = plan.middle, 0.5 * plan.across, 0.5 * plan.along
    u, v = np.cos(bearing), np.sin(bearing)
    if plan.is_round:
        turn = bearing + np.radians(np.linspace(-22.0, 22.0, 23))
        ways = np.column_stack([np.cos(turn), np.sin(turn)])
        corners = np.concatenate([half_w * ways, (half_w - _LIFT) * ways[::-1]])
        at = (x + (half_w - _LIFT - 0.07) * u, y + (half_h - _LIFT - 0.07) * v)
    elif abs(u) > 0.9:
        corners = np.multiply([(0, -1), (0, 1), (1, 1), (1, -1)], (-_LIFT * u, 0.6 * half_h))
        corners += (half_w * u, 0.0)
        at = (x + (half_w - _LIFT - 0.07) * u, y)
    else:
        place = half_w * u
        corners = np.multiply(
            [(-1, 0), (1, 0), (1, 1), (-1, 1)], (0.3 * half_w, -_LIFT * np.sign(v))
        )
        corners += (place, half_h * np.sign(v))
        at = (x + place, y + (half_h - _LIFT - 0.07) * np.sign(v))
    strip = Polygon(np.add(corners, (x, y)), zorder=7, label="lift", hatch="//////")
    strip.set(facecolor="white", edgecolor=WARNING.colour, linewidth=MEDIUM)
    sheet.draw(strip)
    level = abs(u) > 0.9
    sideways = ("right" if u > 0 else "left") if level else "center"
    upright = "center" if level else "top" if v > 0 else "bottom"
    sheet.write(*at, words, ha=sideways, va=upright, weight="bold", zorder=7)
