"""What to turn, for people: the verdict first, the work in its order, then what it gives."""

from collections.abc import Iterator

import numpy as np

from dbox.arrays import Array
from dbox.errors import outlets_text
from dbox.fieldwork.estimate import GOOD_SPAN
from dbox.fieldwork.inlet import CURE, LOOK
from dbox.fieldwork.levelling import Levelling, Lift
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Site
from dbox.lengths import Lengths
from dbox.report.cautions import TURNING
from dbox.report.encode import Json, encode, rows
from dbox.report.split_report import band_text, cases_json, turned_down_lines
from dbox.report.text import cells, chance_text, fitted, noted, padded, shortened, wrapped
from dbox.report.wording import sentences
from dbox.units import clock_text, inches, millimetres, percent_text, turn_text

LEAST_SLOPE = 2e-4
"""Rise per run below which a box is called level. [-]"""

_LEAST_LIFT = 5e-4
_SEEN = 4e-4


def level_json(levelling: Levelling) -> Json:
    """The answer of `dbox level --json`."""
    plane, lift, before = levelling.plane, levelling.lift, levelling.before
    answer: Json = encode(
        {
            "goal_lip_m": levelling.goal.height,
            "verdict": levelling.verdict,
            "next": {"step": levelling.next_step, "why": next_words(levelling)},
            "well_set_probability": levelling.well_set,
            "worst_over_target": levelling.worst,
            "outlets": rows(
                label=before.labels,
                lip_m=before.lips.height,
                move_m=levelling.move,
                # a minute of a clock is half a degree
                turn_deg=np.round(2 * np.degrees(levelling.turn)) / 2 + 0.0,
                clock_before=_clocks(levelling.angle_before),
                clock_after=_clocks(levelling.angle_after),
                lip_after_m=levelling.lip_after,
                reachable=levelling.reachable,
            ),
            "plane": plane
            and {
                "slope_x": plane.slope_x,
                "slope_y": plane.slope_y,
                "residual_m": plane.residual,
            },
            "lift": lift and {"far_end_m": lift.far_end, "right_side_m": lift.right_side},
            "order": [before.labels[i] for i in levelling.order],
            "still_level_m": levelling.still_level,
            "rule_shows_m": shown_heights(levelling),
            "before": cases_json(before),
            "after": cases_json(levelling.after),
            "warnings": sentences((*levelling.warnings, *before.warnings)),
        }
    )
    return answer


def _clocks(angles: Array) -> list[str | None]:
    return [None if np.isnan(angle) else clock_text(angle) for angle in angles]


def report(levelling: Levelling) -> list[str]:
    """Lines of at most 72 columns."""
    title = levelling.site.title
    lines = wrapped(title) if title else []
    lines += wrapped(_headline(levelling))
    lines += wrapped(f"Next: {next_words(levelling)}.")
    if levelling.lift:
        lines += ["", *lift_lines(levelling.lift, levelling.site)]
    if levelling.verdict == "adjust":
        still = levelling.site.lengths.both(float(levelling.still_level[-1]), signed=True)
        words = f"Topped up after that until it just spills, the water stands at {still}. Then "
        again = wrapped(f"{words}read all outlets again.", first="  ", indent="  ")
        lines += ["", *turn_lines(levelling), *again]
    lines += unreachable_lines(levelling)
    lines += ["", *_shares(levelling)]
    told = wrapped(_other_goal(levelling)) if levelling.highest.turns else []
    told += _tilt_lines(levelling)
    lines += ["", *told] if told else []
    lines += noted(sentences((*levelling.warnings, *levelling.after.warnings)))
    return [*lines, "", *wrapped(TURNING)]


def why_nothing(levelling: Levelling) -> tuple[str, str]:
    """The verdict where nothing is to be turned, and why."""
    before, lengths = levelling.before, levelling.site.lengths
    if all(verdict == "within" for verdict in before.verdicts):
        return "nothing to do", "every flow is within the tolerance already"
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return "nothing to turn", f"the lips are within the tolerance, but {inlet_decides(before)}"
    if levelling.lips_step == "read again":
        if "outside" in before.lip_verdicts:
            # one of many lines reads as outside by errors alone now and then
            return "nothing to turn yet", "a line reads as outside, but not yet beyond doubt"
        return "nothing to turn yet", "these readings cannot tell which lips are off"
    if levelling.lips_step != "stop":
        return "nothing to turn", "your rule cannot tell these lips apart any better"
    if "outside" in before.lip_verdicts:
        return "nothing to turn", "what still differs is less than a hand can make good"
    lips = (before.lips.height - levelling.offset)[before.lips.measured]
    span = lengths.both(float(np.ptp(lips)))
    why = f"the lips stand within {span} of each other, as well as a hand sets them"
    return "nothing to do", why


def inlet_decides(before: Assessment) -> str:
    """That the inlet decides, and where."""
    if before.inlet is None:
        return f"a straight inlet would decide at {before.jet_flows}, and how it ends is not given"
    return f"the jet of the inlet decides at {before.jet_flows}"


def inlet_cure(before: Assessment) -> str:
    """What to do about the inlet where it decides."""
    return LOOK if before.inlet is None else CURE


def next_words(levelling: Levelling) -> str:
    """What comes next and why, in a line."""
    before = levelling.before
    if levelling.next_step != "inlet":
        return lips_words(levelling)
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return inlet_cure(before)
    return f"{CURE}. Then {lips_words(levelling)}"


def lips_words(levelling: Levelling) -> str:
    """What comes next by the lips alone and why, in a line."""
    before, site, step = levelling.before, levelling.site, levelling.lips_step
    if step == "turn":
        return _trade(levelling)
    if step == "re-bed":
        part, of = _part(levelling)
        best = 100 * part * min(levelling.worst[:2])
        free = [before.labels[i] for i in levelling.stuck if not levelling.reachable[i]]
        if free:
            return f"free or replace the insert of {outlets_text(free)}, then read again"
        return (
            "bed the box level and firm again; turning alone leaves the worst line "
            f"{best:.0f} %{of} at {_flow_told(levelling)}"
        )
    if step == "read again":
        again = "top up, let the water go still, and read every outlet once more"
        repeats = before.settling_repeats[np.array(before.lip_verdicts) == "cannot tell"]
        if before.tolerance is not None and repeats.size and np.isfinite(repeats).all():
            return f"{again}: {repeats.max():.0f} readings of each would settle it"
        likely, span = chance_text(levelling.well_set), millimetres(GOOD_SPAN)
        wanted = "their wanted heights" if levelling.offset.any() else "each other"
        return f"{again}: the chance that the lips are within {span} of {wanted} is {likely} so far"
    if step == "finer rule":
        mark = rule_text(before, site.lengths)
        return f"read with a rule that shows {mark}: more readings with this one will not settle it"
    if step == "pour":
        return (
            "pour a known flow and catch it at each outlet: no rule tells heights so finely that "
            "they would settle it"
        )
    if all(verdict == "within" for verdict in before.verdicts):
        return "lock the inserts" if site.has_inserts else "nothing more to do at the lips"
    return "lock the inserts, pour and catch to show what each line gets"


def _trade(levelling: Levelling) -> str:
    """What the turns bring the worst line, and what turning all the others would add."""
    now, then, best = levelling.worst
    labels = [levelling.before.labels[i] for i in sorted(levelling.order)]
    part, of = _part(levelling)
    what = outlets_text(labels) if len(labels) < len(levelling.turn) else "every insert"
    words = (
        f"turn {what}: the worst line goes from {100 * part * now:.0f} to "
        f"{100 * part * then:.0f} %{of} at {_flow_told(levelling)}"
    )
    more = levelling.every.turns - len(levelling.order)
    if more < 1:
        return words
    others = "one more" if more == 1 else f"{more} more"
    if 100 * part * (then - best) < 1:
        return f"{words}; turning {others} would gain under 1 %"
    return f"{words}; turning {others} would make it {100 * part * best:.0f} %"


def rule_text(before: Assessment, lengths: Lengths) -> str:
    """The finest mark of the rule that would settle what can be settled."""
    mark = float(np.nanmin(before.finer_rules))
    return "0.5 mm" if lengths.metric else inches(mark, parts=64)


def _part(levelling: Levelling) -> tuple[float, str]:
    """What a share over target is multiplied by where it is shown, and the words after it."""
    target = levelling.before.target[levelling.before.target > 0]
    return (1.0, " of its target") if np.ptp(target) > 1e-9 else (float(target[0]), "")


def _flow_told(levelling: Levelling) -> str:
    """Name of the flow that unequal lips are to meet, else of the weakest."""
    weakest = min(levelling.site.flows, key=lambda flow: flow.inflow).name
    return (levelling.design_flow or weakest).removesuffix(" (default)")


def _headline(levelling: Levelling) -> str:
    if levelling.verdict == "nothing to do":
        verdict, why = why_nothing(levelling)
        return f"{verdict.upper()}: {why}."
    if levelling.verdict == "adjust":
        return adjust_words(levelling, "the still water of the readings")
    return rebed_words(levelling)


def adjust_words(levelling: Levelling, water: str) -> str:
    """How many inserts are to be turned, and to what height."""
    height = levelling.site.lengths.both(levelling.goal.height, signed=True)
    goal = f"lips to {height} over {water}"
    if levelling.offset.any():
        goal = f"lowest lip to {height}, the others above it, to meet {met_flow(levelling)}"
    return f"ADJUST: turn {len(levelling.order)} of {len(levelling.turn)} inserts, {goal}."


def met_flow(levelling: Levelling) -> str:
    """The flow at which unequal lips meet their targets."""
    return levelling.design_flow or "all flows as nearly as can be"


def rebed_words(levelling: Levelling) -> str:
    """That the box must be bedded again, and why."""
    missed = [levelling.before.labels[i] for i in np.flatnonzero(~levelling.reachable)]
    return f"RE-BED the box: no height can be reached by all lips; {outlets_text(missed)} cannot."


def lifted(lift: Lift) -> Iterator[tuple[str, float | None, float]]:
    """The sides that are to be lifted, by how much where the size is known, and as rise per run.

    [-], [m], [-].
    """
    for amount, slope, ahead, behind in (
        (lift.far_end, lift.slope_along, "the end opposite the inlet", "the inlet end"),
        (lift.right_side, lift.slope_across, "the right side", "the left side"),
    ):
        if worth_lifting(amount, slope):
            yield ahead if slope > 0 else behind, amount, slope


def worth_lifting(amount: float | None, slope: float) -> bool:
    """Whether a side is out of level by more than a person would shim; amount [m], slope [-]."""
    return abs(slope) >= LEAST_SLOPE if amount is None else abs(amount) >= _LEAST_LIFT


def lift_words(lift: Lift, lengths: Lengths) -> Iterator[tuple[str, str]]:
    """Each side that is to be lifted, and by how much."""
    run, name, _ = lengths.run
    for side, amount, slope in lifted(lift):
        per_run = f"{lengths.both(abs(slope) * run)} for every {name}"
        yield side, per_run if amount is None else lengths.both(abs(amount))


def lift_lines(lift: Lift, site: Site) -> list[str]:
    """Which side of the box to lift, by how much."""
    lines = ["To bring the box level (right and left as seen from the inlet):"]
    lines += [f"  lift {side} by {amount}" for side, amount in lift_words(lift, site.lengths)]
    lines.append(f"  then bed it firmly, read again{', and set the inserts' * site.has_inserts}.")
    reach = reach_words(lift, site, when="then")
    return [*lines, *wrapped(f"{reach[0].upper()}{reach[1:]}.", first="  ", indent="  ")]


def reach_words(lift: Lift, site: Site, when: str = "in the levelled box") -> str:
    """Whether all can be brought to one height once the box is level."""
    short = [site.outlets[i] for i in lift.still_short]
    if not short:
        what = "insert" if site.has_inserts else "outlet"
        return f"in the levelled box every {what} can reach one height"
    what = "pipe or insert" if any(each.hole_offset for each in short) else "pipe"
    one = len(short) == 1
    mend = f"reset its {what}" if one else f"reset their {what.replace(' or', 's or')}s"
    return f"even {when} {outlets_text([each.label for each in short])} cannot reach: {mend}"


def shown_heights(levelling: Levelling) -> Array:
    """What the rule shows at each insert once it is turned, over the water as it then stands.

    [m] (steps,).
    """
    over = [levelling.site.outlets[i].point_over_lip for i in levelling.order]
    shown: Array = levelling.lip_over_water + np.array(over)
    return shown


def turn_lines(levelling: Levelling, *, brief: bool = False) -> list[str]:
    """The turns in their order, by the clock and by the rule; brief: two lines for each."""
    lengths, shown = levelling.site.lengths, shown_heights(levelling)
    lines = ["Turn in this order (clockwise as seen from inside the box):"]
    for step, i in enumerate(levelling.order):
        change = float(levelling.lip_after[i] - levelling.before.lips.height[i])
        way = f"{'raise' if change > 0 else 'lower'} {lengths.both(abs(change))}"
        turn, by_rule = "turn", f"until the rule shows {_shown(float(shown[step]), lengths)}"
        if not np.isnan(levelling.turn[i]):
            now, then = (clock_text(a[i]) for a in (levelling.angle_before, levelling.angle_after))
            turned = turn_text(float(levelling.turn[i]))
            turn = f"{now} to {then} ({turned}), or"
            if brief:
                turn = f"{now} to {then} {turned.split()[-1]}, or"
        text = f"{step + 1}. outlet {levelling.before.labels[i]}: "
        text += f"{turn} {by_rule}" if brief else f"{way}, {turn} {by_rule}"
        lines += wrapped(text, first="  ", indent="     ")
    return [*lines, "  Add no water in between: the rule shows heights over it as it stands."]


def _shown(height: float, lengths: Lengths) -> str:
    return "it level with the water" if abs(height) < _SEEN else lengths.both(height, signed=True)


def unreachable_lines(levelling: Levelling) -> list[str]:
    """How far off the outlets stay that cannot reach, and why."""
    if levelling.verdict != "re-bed":
        return []
    lines = []
    wanted = levelling.goal.height + levelling.offset
    for i in np.flatnonzero(~levelling.reachable):
        outlet = levelling.site.outlets[i]
        missing = levelling.site.lengths.both(abs(float(wanted[i] - levelling.lip_after[i])))
        why = "its insert ends there" if outlet.hole_offset else "nothing there turns"
        lines += wrapped(
            f"outlet {outlet.label} stays {missing} off: {why}", first="  ", indent="    "
        )
    alone = "With the inserts alone, as" if levelling.site.has_inserts else "As"
    return ["", f"{alone} the box stands:", *lines] if lines else []


def _shares(levelling: Levelling) -> list[str]:
    after_what = "turning alone" if levelling.verdict == "re-bed" else "turning"
    heading = f"Shares before and after {after_what} (5 to 95 % band after):"
    if not levelling.site.has_inserts:
        heading = "Shares as the box stands, nothing turned (5 to 95 % band):"
    lines = [heading]
    before, after = levelling.before, levelling.after
    labels = shortened(before.labels, lambda label: cells(label) <= 12)
    for case, name in enumerate(before.names):
        verdicts = f": {before.verdicts[case]} -> {after.verdicts[case]}"
        # without a tolerance there is no verdict
        lines += wrapped(f"{name}{'' if before.tolerance is None else verdicts}", first="  ")
        for i, label in enumerate(labels):
            if levelling.site.outlets[i].capped:
                continue
            shares = (before.result.share[case, i], after.result.share[case, i], after.target[i])
            now, then, target = (percent_text(float(share)) for share in shares)
            band, name = band_text(after, case, i), padded(label, 12)
            told = f"{name}{now:>9} ->{then:>8}  ({band})  target {target}"
            lines += fitted(told, first="    ", indent="      ")
        lines += turned_down_lines(after, case, "    ")
    return lines


def _other_goal(levelling: Levelling) -> str:
    goal, highest = levelling.goal, levelling.highest
    turns = {0: "no insert", 1: "1 insert"}.get(highest.turns, f"{highest.turns} inserts")
    words = f"Matching the highest lip, as practice does, would turn {turns}"
    rise = highest.height - goal.height
    if rise < _LEAST_LIFT or not highest.turns:
        return f"{words}."
    return f"{words} and use up {levelling.site.lengths.both(rise)} more of the inlet's drop."


def _tilt_lines(levelling: Levelling) -> list[str]:
    plane = levelling.plane
    if plane is None:
        return []
    lengths = levelling.site.lengths
    run, name, _ = lengths.run
    along, across = (
        f"{'rises' if slope > 0 else 'falls'} {lengths.both(abs(slope) * run)}"
        if abs(slope) >= LEAST_SLOPE
        else "is level"
        for slope in (plane.slope_x, plane.slope_y)
    )
    turns = ", inserts' turns taken out" * levelling.site.has_inserts
    own = [
        f"{label} {millimetres(float(residual), signed=True)}"
        for label, residual in zip(levelling.before.labels, plane.residual, strict=True)
        if np.isfinite(residual)
    ]
    return wrapped(
        f"Tilt{turns}: a {name} away from the inlet it {along}, a {name} to the right it {across}. "
        f"Off that plane: {', '.join(own)}."
    )
