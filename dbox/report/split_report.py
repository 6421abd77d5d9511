"""Shares for machines and for people: the contrast first, then every flow with its verdict.

Shares are fractions. What is not known is null, never 0 and never NaN.
"""

from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.shares import NOTABLE, SURE, Assessment, Contrast, contrast
from dbox.fieldwork.site import Flow, Site
from dbox.report.text import bar, noted, wrapped
from dbox.report.wording import sentences
from dbox.units import clock_text, gpm, gpm_litres, inches, inches_mm, millimetres
from dbox.units import percent_text as percent

Json = dict[str, Any]


def split_json(site: Site, assessment: Assessment) -> Json:
    """The answer of `dbox split --json`."""
    tolerance = site.tolerance
    return {
        "cases": _cases(assessment),
        "tolerance": tolerance and {"share": tolerance.share, "source": tolerance.source},
        "warnings": sentences(assessment.warnings),
    }


def level_json(levelling: Levelling) -> Json:
    """The answer of `dbox level --json`."""
    plane, lift = levelling.plane, levelling.lift
    labels = levelling.before.labels
    return {
        "goal_lip_m": _number(levelling.goal.height),
        "verdict": levelling.verdict,
        "outlets": [_outlet(levelling, i) for i in range(len(labels))],
        "plane": plane
        and {
            "slope_x": plane.slope_x,
            "slope_y": plane.slope_y,
            "residual_m": [_number(r) for r in plane.residual],
        },
        "lift": lift and {"far_end_m": lift.far_end, "right_side_m": lift.right_side},
        "order": [labels[i] for i in levelling.order],
        "still_level_m": levelling.still_level.tolist(),
        "before": _cases(levelling.before),
        "after": _cases(levelling.after),
        "warnings": sentences((*levelling.warnings, *levelling.before.warnings)),
    }


def _outlet(levelling: Levelling, i: int) -> Json:
    clocks = levelling.angle_before[i], levelling.angle_after[i]
    before, after = (None if np.isnan(angle) else clock_text(angle) for angle in clocks)
    return {
        "label": levelling.before.labels[i],
        "lip_m": _number(levelling.before.lips.height[i]),
        "move_m": _number(levelling.move[i]),
        "turn_deg": _number(np.degrees(levelling.turn[i])),
        "clock_before": before,
        "clock_after": after,
        "lip_after_m": _number(levelling.lip_after[i]),
        "reachable": bool(levelling.reachable[i]),
    }


def _cases(assessment: Assessment) -> list[Json]:
    result, inside = assessment.result, assessment.result.within_model_range
    return [
        {
            "name": name,
            "inflow_m3_s": float(result.inflow[case]),
            "level_m": float(result.level[case]),
            "overflow_m3_s": float(result.overflow[case]),
            "within_model_range": bool(inside[case]),
            "verdict": assessment.verdicts[case],
            "within_probability": _number(assessment.within_probability[case]),
            "jet_decides": bool(assessment.jet_decides[case]),
            "worst_over_target": float(assessment.worst_over_target[case]),
            "cv": float(assessment.cv[case]),
            "settling_spread_m": _number(assessment.settling_spread[case]),
            "outlets": _shares(assessment, case),
        }
        for case, name in enumerate(assessment.names)
    ]


def _shares(assessment: Assessment, case: int) -> list[Json]:
    result = assessment.result
    columns: dict[str, Array] = {
        "lip_m": assessment.lips.height,
        "head_m": result.head[case],
        "flow_m3_s": result.flow[case],
        "share": result.share[case],
        "share_low": assessment.share_low[case],
        "share_high": assessment.share_high[case],
        "target": assessment.target,
    }
    return [
        {"label": label, **{key: _number(column[i]) for key, column in columns.items()}}
        for i, label in enumerate(assessment.labels)
    ]


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


_LABEL = 10
_BAR = 10


def report(site: Site, assessment: Assessment) -> list[str]:
    """Lines of at most 72 columns."""
    lines = wrapped(site.title) if site.title else []
    if assessment.jet_decides.any():
        lines += wrapped(
            f"THE JET OF THE STRAIGHT INLET DECIDES at {assessment.jet_flows}; what follows is "
            "without it."
        )
    lines += _headline(site, contrast(site, assessment.lips))
    lines += ["", *wrapped(_reading_words(assessment.lips))]
    for case, flow in enumerate(site.flows):
        lines += ["", *_case(site, assessment, case, flow)]
    lines += noted(sentences(assessment.warnings))
    if site.tolerance and site.tolerance.source:
        lines += ["", *wrapped(f"Tolerance from: {site.tolerance.source}")]
    return lines


def _headline(site: Site, found: Contrast) -> list[str]:
    favoured, starved = found.favoured, found.starved
    if found.weak_share[favoured] <= NOTABLE * found.target[favoured]:
        return wrapped("At its best estimate every line gets its target at every flow.")
    label = site.outlets[favoured].label
    weak, strong = (f"{f.name.removesuffix(' (default)')}" for f in (found.weak, found.strong))
    first = (
        f"Outlet {label} gets {percent(found.weak_share[favoured])} at {_named(weak, found.weak)} "
        f"and {percent(found.strong_share[favoured])} at {_named(strong, found.strong)}; "
        f"its target is {percent(found.target[favoured])}."
    )
    last = (
        f"Outlet {site.outlets[starved].label} gets {percent(found.weak_share[starved])} and "
        f"{percent(found.strong_share[starved])}."
    )
    return wrapped(f"{first} {last}")


def _named(name: str, flow: Flow) -> str:
    return name if name[:1].isdigit() else f"{name} ({gpm(flow.inflow)})"


def _reading_words(lips: Lips) -> str:
    origin = {
        "stated": "as stated",
        "repeats": "from the repeats",
        "default": "assumed",
    }[lips.spread_from]
    return (
        f"Heights are over the still water of the readings; one reading is good to "
        f"{inches(lips.spread, parts=64)} ({millimetres(lips.spread)}), {origin}."
    )


def _case(site: Site, assessment: Assessment, case: int, flow: Flow) -> list[str]:
    result = assessment.result
    typed = flow.name[:1].isdigit()
    name = flow.name if typed else f"{flow.name}: {gpm_litres(flow.inflow)}"
    lines = wrapped(f"{name}, water at {inches_mm(float(result.level[case]), signed=True)}")
    lines += wrapped(_verdict_words(assessment, case), first="  ", indent="  ")
    lines.append(f"  {'outlet':<{_LABEL}}{'lip':>19}{'share':>9}{'5 to 95 %':>13}{'target':>8}")
    whole = max(float(assessment.share_high[case].max()), 2 * float(assessment.target.max()))
    for i, outlet in enumerate(site.outlets):
        label = outlet.label
        if len(label) >= _LABEL:
            # a long name gets a line of its own: nothing that was entered is cut
            lines.append(f"  {label}")
            label = ""
        if outlet.capped:
            lines.append(f"  {label:<{_LABEL}}{'capped':>19}{'-':>9}{'-':>13}{'-':>8}")
            continue
        share, target = float(result.share[case, i]), float(assessment.target[i])
        lip = float(assessment.lips.height[i])
        ends = (100 * float(end[case, i]) for end in (assessment.share_low, assessment.share_high))
        band = "{:.0f} to {:.0f} %".format(*ends)
        lines.append(
            f"  {label:<{_LABEL}}{inches(lip, signed=True):>10}{millimetres(lip, signed=True):>9}"
            f"{percent(share):>9}{band:>13}{percent(target):>8}"
            f" {bar(share, target, whole, _BAR)}"
        )
    return lines


def _verdict_words(assessment: Assessment, case: int) -> str:
    verdict, chance = assessment.verdicts[case], float(assessment.within_probability[case])
    if assessment.tolerance is None:
        return "no tolerance entered, so no verdict; it comes from the permit or the inspector"
    allowed = f"{100 * assessment.tolerance:.3g} % of target"
    if verdict == "within":
        return f"WITHIN {allowed}: chance {_chance(chance)}"
    if verdict == "outside":
        return f"OUTSIDE {allowed}: chance that all lines are within {_chance(chance)}"
    if assessment.jet_decides[case]:
        return f"CANNOT TELL whether within {allowed}: the jet of the inlet decides; {CURE}"
    words = (
        f"CANNOT TELL: all lines are within {allowed} with a chance of {_chance(chance)}, and no "
        f"one line is surely beyond it"
    )
    spread, repeats = assessment.settling_spread[case], assessment.settling_repeats[case]
    if spread != spread:
        return f"{words}; no ruler would settle it, this flow is too near the limit"
    finer = f"{words}; readings good to {millimetres(float(spread))}"
    if repeats != repeats:
        return f"{finer} would settle it: a finer rule, for more readings with this one will not"
    return f"{finer}, or {repeats:.0f} of each outlet, would settle it"


def _chance(probability: float) -> str:
    if probability >= SURE:
        return "over 99 %" if probability > 0.99 else f"{100 * probability:.0f} %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
