"""What to turn, for people: the verdict first, the work in its order, then what it gives."""

from collections.abc import Sequence

import numpy as np

from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling import Levelling, Lift
from dbox.report.text import noted, wrapped
from dbox.report.wording import sentences
from dbox.units import FOOT, clock_text, inches, inches_mm, millimetres, turn_text
from dbox.units import percent_text as percent

_LEAST_LIFT = 0.0005
_CAUTION = "Local code, the permit and the inspector decide; use clean water only."


def report(levelling: Levelling) -> list[str]:
    """Lines of at most 72 columns."""
    title = levelling.site.title
    lines = wrapped(title) if title else []
    lines += wrapped(_headline(levelling))
    if levelling.lift:
        lines += ["", *lift_lines(levelling.lift, levelling.before.labels)]
    if levelling.verdict == "adjust":
        lines += ["", *_work(levelling)]
    lines += unreachable_lines(levelling)
    lines += ["", *_shares(levelling)]
    lines += ["", *wrapped(_other_goal(levelling))]
    lines += _tilt_lines(levelling)
    lines += noted(sentences((*levelling.warnings, *levelling.after.warnings)))
    return [*lines, "", *wrapped(_CAUTION)]


def _headline(levelling: Levelling) -> str:
    if levelling.verdict == "nothing to do":
        if all(verdict == "within" for verdict in levelling.before.verdicts):
            return "NOTHING TO DO: every flow is within the tolerance already."
        if all(verdict == "within" for verdict in levelling.before.lip_verdicts):
            return (
                "NOTHING TO TURN: the lips are within the tolerance, but the jet of the inlet "
                f"decides at {levelling.before.jet_flows}; {CURE}."
            )
        words = "NOTHING TO DO: your ruler cannot tell these lips apart any better."
        return f"{words} {_what_would_tell(levelling)}"
    height = inches_mm(levelling.goal.height, signed=True)
    goal = f"lips to {height} over the still water of the readings"
    if levelling.offset.any():
        goal = f"lowest lip to {height}, the others above it, to meet {levelling.design_flow}"
    if levelling.verdict == "adjust":
        return f"ADJUST: turn {len(levelling.order)} of {len(levelling.turn)} inserts, {goal}."
    missed = np.flatnonzero(~levelling.reachable)
    labels = ", ".join(levelling.before.labels[i] for i in missed)
    return f"RE-BED the box: no height can be reached by all lips; outlet {labels} cannot."


def _what_would_tell(levelling: Levelling) -> str:
    before = levelling.before
    unsure = np.array(before.verdicts) == "cannot tell"
    repeats = before.settling_repeats[unsure & np.isfinite(before.settling_repeats)]
    if repeats.size:
        return f"{repeats.max():.0f} readings of each, or a finer rule, would tell more."
    return "More readings with this rule will not settle it; a finer rule tells more."


def lift_lines(lift: Lift, labels: Sequence[str]) -> list[str]:
    """Which side of the box to lift, by how much."""
    ways = (
        (lift.far_end, lift.slope_along, "the end opposite the inlet", "the inlet end"),
        (lift.right_side, lift.slope_across, "the right side", "the left side"),
    )
    lines = ["To bring the box level (right and left as seen from the inlet):"]
    for amount, slope, ahead, behind in ways:
        side = ahead if slope > 0 else behind
        if amount is None:
            lines.append(f"  lift {side} by {length_words(slope * FOOT)} for every foot")
        elif abs(amount) > _LEAST_LIFT:
            lines.append(f"  lift {side} by {length_words(amount)}")
    lines.append("  then bed it firmly, read again, and set the inserts.")
    if lift.still_short:
        names = ", ".join(labels[i] for i in lift.still_short)
        text = f"Even then outlet {names} cannot reach: set its pipe or insert anew."
    else:
        text = "In the levelled box every insert can reach."
    return [*lines, *wrapped(text, first="  ", indent="  ")]


def _work(levelling: Levelling) -> list[str]:
    lines = ["Work in this order (clockwise as seen from inside the box):"]
    for step, i in enumerate(levelling.order):
        change = float(levelling.lip_after[i] - levelling.before.lips.height[i])
        way = "raise" if change > 0 else "lower"
        text = f"{step + 1}. outlet {levelling.before.labels[i]}: {way} {length_words(change)}"
        lines += wrapped(text + _turn_words(levelling, i), first="  ", indent="     ")
        still = inches_mm(float(levelling.still_level[step]), signed=True)
        lines += wrapped(f"topped up till it just spills, water stands at {still}", first="     ")
    lines += wrapped("Then read all outlets again: the still level itself has moved.", first="  ")
    return lines


def _turn_words(levelling: Levelling, i: int) -> str:
    if np.isnan(levelling.turn[i]):
        return ""
    now, then = (
        clock_text(float(angle[i])) for angle in (levelling.angle_before, levelling.angle_after)
    )
    return f"; turn {turn_text(float(levelling.turn[i]))}, {now} to {then}"


def unreachable_lines(levelling: Levelling) -> list[str]:
    """How far off the outlets stay that cannot reach, and why."""
    if levelling.verdict != "re-bed":
        return []
    lines = []
    wanted = levelling.goal.height + levelling.offset
    for i in np.flatnonzero(~levelling.reachable):
        outlet = levelling.site.outlets[i]
        missing = length_words(float(wanted[i] - levelling.lip_after[i]))
        why = "its insert ends there" if outlet.hole_offset else "it has no insert that turns"
        lines += wrapped(
            f"outlet {outlet.label} stays {missing} off: {why}", first="  ", indent="    "
        )
    return ["", "With the inserts alone, as the box stands:", *lines] if lines else []


def _shares(levelling: Levelling) -> list[str]:
    after_what = "turning alone" if levelling.verdict == "re-bed" else "turning"
    lines = [f"Shares before and after {after_what} (5 to 95 % band after):"]
    before, after = levelling.before, levelling.after
    for case, name in enumerate(before.names):
        lines += wrapped(f"{name}: {before.verdicts[case]} -> {after.verdicts[case]}", first="  ")
        for i, label in enumerate(before.labels):
            if levelling.site.outlets[i].capped:
                continue
            ends = (100 * float(end[case, i]) for end in (after.share_low, after.share_high))
            band = "{:.0f} to {:.0f} %".format(*ends)
            lines.append(
                f"    {label[:12]:<12}{percent(float(before.result.share[case, i])):>9} ->"
                f"{percent(float(after.result.share[case, i])):>8}  ({band})"
                f"  target {percent(float(after.target[i]))}"
            )
    return lines


def _other_goal(levelling: Levelling) -> str:
    least, highest = levelling.least_turning, levelling.highest
    extra = float(np.degrees(highest.turning - least.turning))
    rise = highest.height - least.height
    if abs(rise) < 1e-6:
        return "Matching the highest lip, as practice does, is the goal with the least turning too."
    words = (
        f"Matching the highest lip, as practice does, takes {abs(extra):.0f} deg more turning in "
        f"all and uses up {length_words(rise)} more of the inlet's drop"
    )
    lost = least.reached - highest.reached
    return f"{words}; {lost} fewer outlets can reach it." if lost > 0 else f"{words}."


def _tilt_lines(levelling: Levelling) -> list[str]:
    plane = levelling.plane
    if plane is None:
        return []
    along, across = (
        f"{'rises' if slope > 0 else 'falls'} {length_words(slope * FOOT)}"
        for slope in (plane.slope_x, plane.slope_y)
    )
    own = [
        f"{label} {millimetres(float(residual), signed=True)}"
        for label, residual in zip(levelling.before.labels, plane.residual, strict=True)
        if np.isfinite(residual)
    ]
    return wrapped(
        f"Tilt, inserts' turns taken out: a foot away from the inlet it {along}, a foot to the "
        f"right it {across}. Off that plane: {', '.join(own)}."
    )


def length_words(metres: float) -> str:
    """A length without its sign; one below the ruler's least mark is said to be so."""
    size = abs(metres)
    if inches(size) == "0 in":
        return f"under 1/16 in ({millimetres(size)})"
    return inches_mm(size)
