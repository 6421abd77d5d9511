"""What is to be turned, how far and which way; or how is the box to be bedded? On one sheet."""

import math
from typing import Any

from matplotlib.figure import Figure
from matplotlib.patches import Circle

from dbox.drawings.cards import card_width, draw_card, order_number
from dbox.drawings.lettering import joined, text_width
from dbox.drawings.places import Area, arrange, room_over
from dbox.drawings.plan import Plan, draw_plan
from dbox.drawings.style import (
    INK,
    LEADER,
    MEDIUM,
    MOST_OUTLETS,
    SMALL,
    Sheet,
    pens,
)
from dbox.drawings.tilt_marks import LEAST_SLOPE, draw_fall, draw_lifts, steepness, worth_lifting
from dbox.errors import DomainError
from dbox.fieldwork.confidence import Assessment
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling.plan import Levelling
from dbox.fieldwork.levelling.rebed import Lift
from dbox.fieldwork.site import Box, Site
from dbox.files.notation import inches, inches_mm, percent
from dbox.files.units import FOOT

_MOST_ACROSS = 14
_AISLE, _OVER, _KEY_ROOM = 0.2, 0.35, 0.25
_INLET_ROOM, _CARD_HEIGHT = 0.44, 0.98


@pens
def level_figure(levelling: Levelling) -> Figure:
    """Draw the box from above with what is to be done at each outlet.

    Parameters
    ----------
    levelling : Levelling
        What to do at the box.

    Returns
    -------
    Figure
        One sheet that fits Letter and A4: across, or upright for more than 14 outlets.

    Raises
    ------
    DomainError
        Where there are more than 20 outlets.
    """
    outlets = levelling.site.outlets
    n = len(outlets)
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets: a drawing holds at most {MOST_OUTLETS}")
    sheet = Sheet.blank(across=n <= _MOST_ACROSS)
    sheet.head(levelling.site.title or "How to level a distribution box", headline(levelling))
    sheet.foot(_notes(levelling))
    _draw_key(sheet, ordered=any(order_number(levelling, i) for i in range(n)))
    area = Area(sheet.left, sheet.right, sheet.bottom, sheet.top)
    radius = 0.38 if n <= _MOST_ACROSS else 0.3
    rows = 1 + math.ceil(max(n - room_over(area, radius), 0) / 2)
    height = min(_CARD_HEIGHT, (area.top - area.bottom) / rows)
    plan = _plan(levelling.site, area, card_width(radius) + _AISLE, height)
    mouths = plan.mouths(outlets)
    slots = arrange(mouths, plan, area, radius, height)
    draw_plan(sheet, plan, outlets, mouths)
    if levelling.plane:
        draw_fall(sheet, plan, levelling.plane, aside=levelling.lift is not None)
    if levelling.lift:
        draw_lifts(sheet, plan, levelling.lift)
    for i, slot in enumerate(slots):
        name = f"leader {outlets[i].label}"
        sheet.page.plot(*zip(*slot.leader, strict=True), zorder=1, label=name, **LEADER)
        draw_card(sheet, levelling, i, slot.face, slot.text_left, height)
    return sheet.figure


def headline(levelling: Levelling) -> str:
    """Verdict and goal in a sentence or two.

    Parameters
    ----------
    levelling : Levelling
        What to do at the box.
    """
    height = levelling.goal.height
    goal = f"{inches_mm(abs(height))} {'under' if height < 0 else 'over'} still water"
    if levelling.verdict == "nothing to do":
        return _why_nothing(levelling.before)
    lips = "every lip"
    if levelling.offset.any():
        lips = f"the lowest lip, the others above it to meet {levelling.design_flow},"
    if levelling.verdict == "adjust":
        if not levelling.order:
            return f"Adjust {lips} to {goal}: each is as near already as a hand can turn it."
        return f"Adjust: turn the inserts to bring {lips} to {goal}."
    out = levelling.reachable.size - int(levelling.reachable.sum())
    fault = f"Re-bed: {out} of {levelling.reachable.size} outlets cannot bring {lips} to {goal}."
    if levelling.lift is None:
        return fault
    return f"{fault} {_lift_words(levelling.lift)}"


def _why_nothing(before: Assessment) -> str:
    if all(verdict == "within" for verdict in before.verdicts):
        return "Nothing to do: every flow is within the tolerance already."
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return (
            "Nothing to turn: the lips are within the tolerance, but the jet of the inlet decides "
            f"at {before.jet_flows}."
        )
    return "Nothing to do: the ruler cannot tell these lips apart any better."


def _lift_words(lift: Lift) -> str:
    parts = []
    for slope, amount, up, down in (
        (lift.slope_along, lift.far_end, "the end opposite the inlet", "the inlet end"),
        (lift.slope_across, lift.right_side, "the right side", "the left side"),
    ):
        if not worth_lifting(amount, slope):
            continue
        per_foot = f"{inches_mm(abs(slope) * FOOT)} for every foot"
        by = per_foot if amount is None else inches_mm(abs(amount))
        parts.append(f"{up if slope > 0 else down} {by}")
    return f"Lift {' and '.join(parts)}, then read again." if parts else ""


def _notes(levelling: Levelling) -> list[str]:
    notes = [_plan_words(levelling), *joined(levelling.warnings)]
    if levelling.before.jet_decides.any():
        notes.append(f"at {levelling.before.jet_flows} the jet of the inlet decides; {CURE}")
    if levelling.verdict == "re-bed":
        notes.append("the turns are the most that the inserts can do as the box stands now")
    if levelling.lift and levelling.lift.still_short:
        names = ", ".join(levelling.site.outlets[i].label for i in levelling.lift.still_short)
        notes.append(
            f"even in the levelled box outlet {names} cannot reach: set its pipe or insert anew"
        )
    elif levelling.lift:
        notes.append("in the levelled box every insert can reach")
    return notes


def _plan(site: Site, area: Area, beside: float, over: float) -> Plan:
    """Fit the plan between the cards."""
    width = area.right - area.left - 2.0 * beside
    top, bottom = area.top - over - _OVER, area.bottom + _INLET_ROOM
    middle = (0.5 * (area.left + area.right), 0.5 * (top + bottom))
    return Plan.fitted(site.box, site.outlets, width, top - bottom, middle)


def _draw_key(sheet: Sheet, *, ordered: bool) -> None:
    """What ring, disc and number mean, over the notes."""
    y, x = sheet.bottom + 0.08, sheet.left
    entries = [(0.07, "white", "hole now"), (0.045, INK, "hole to be")]
    if ordered:
        entries.append((0.1, INK, "order of work"))
        number_x = x + 0.1 + sum(_key_width(meaning) for *_, meaning in entries[:2])
        look: dict[str, Any] = {"color": "white", "weight": "bold", "ha": "center"}
        sheet.write(number_x, y, "1", va="center_baseline", **look)
    for size, fill, meaning in entries:
        sheet.draw(Circle((x + 0.1, y), size, facecolor=fill, edgecolor=INK, linewidth=MEDIUM))
        sheet.write(x + 0.26, y, meaning, va="center_baseline")
        x += _key_width(meaning)
    sheet.write(x, y, "clock faces as seen from inside the box", va="center_baseline")
    sheet.bottom += _KEY_ROOM


def _key_width(meaning: str) -> float:
    return 0.56 + text_width(meaning, SMALL)


def _plan_words(levelling: Levelling) -> str:
    """What the plan is: its inlet, its size, its tilt, and what is not as it is at the box."""
    box, plane = levelling.site.box, levelling.plane
    words = ["the box from above" + (f", inlet {box.inlet}" if box.inlet else ""), _size_words(box)]
    if plane and steepness(plane) >= LEAST_SLOPE:
        fall = f"{inches(steepness(plane) * FOOT)} per ft ({percent(steepness(plane))})"
        words.append(f"black arrow: it falls {fall} this way")
    if levelling.lift:
        words.append("hollow arrows: lift here")
    if any(o.position is None for o in levelling.site.outlets):
        words.append("not all positions are given, so outlets are drawn in their order only")
    return "; ".join(words)


def _size_words(box: Box) -> str:
    if not box.inside:
        return "inside size not given, not to scale"
    if len(box.inside) == 1:
        return f"inside diameter {inches_mm(box.inside[0])}"
    along, across = box.inside
    return f"inside {inches_mm(across)} across, {inches_mm(along)} along the inlet"
