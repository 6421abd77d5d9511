"""Which way does the box fall, and where is it to be lifted? Marks on the plan of a box."""

import numpy as np
from matplotlib.patches import Polygon

from dbox.drawings.plan import Plan, arrow
from dbox.drawings.style import INK, MEDIUM, THICK, Sheet
from dbox.fieldwork.levelling.rebed import Lift
from dbox.fieldwork.tilt import Plane
from dbox.files.notation import inches, millimetres
from dbox.files.units import FOOT

LEAST_SLOPE = 2e-4
"""Rise per run below which a box is drawn level. [-]"""

_LEAST_LIFT = 5e-4


def draw_fall(sheet: Sheet, plan: Plan, plane: Plane, *, aside: bool) -> None:
    """Draw an arrow the way the box falls.

    Parameters
    ----------
    sheet : Sheet
        The page.
    plan : Plan
        The box on it.
    plane : Plane
        Its tilt.
    aside : bool
        Whether to keep it off the low sides, where lifts are written.
    """
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
    """Draw a hollow arrow and an amount at each side that is to be lifted.

    Parameters
    ----------
    sheet : Sheet
        The page.
    plan : Plan
        The box on it.
    lift : Lift
        What takes its tilt out.
    """
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
    """Whether a side is out of level by more than a person would shim.

    Parameters
    ----------
    amount : float or None
        How much to lift it, where that is known. [m]
    slope : float
        The same as rise per run. [-]
    """
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
