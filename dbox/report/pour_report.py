"""A pour test for machines and for people.

What is not known or was not caught is null, never 0 and never NaN.
"""

from typing import Any

import numpy as np

from dbox.fieldwork.pour import SIDE_95, Expectation, balance
from dbox.fieldwork.pour_fit import LEAST_BLOCKAGE, LIP_SPREAD, PRIOR, Explanation, Finding
from dbox.report.text import noted, wrapped
from dbox.report.wording import sentences
from dbox.units import (
    GALLON,
    INCH,
    LITRE,
    MINUTE,
    gallons,
    gpm_litres,
    inches,
    inches_mm,
    litres,
    litres_per_min,
    millimetres,
)

Json = dict[str, Any]


def pour_json(
    expectation: Expectation, explanations: tuple[Explanation, ...], finding: Finding | None
) -> Json:
    """The answer of `dbox pour --json`."""
    labels = [o.label for o in expectation.site.outlets]
    return {
        "still_level_m": expectation.still_level,
        "order": [labels[i] for i in expectation.order],
        "pours": [_pour(expectation, case) for case in range(len(expectation.pours))],
        "finding": _finding(finding, labels) if finding else _withheld(expectation),
        "explanations": [
            _explanation(e, labels, [expectation.pours[case].name for case in expectation.weighed])
            for e in explanations
        ],
        "assumed": {
            "prior": PRIOR,
            "lip_spread_m": LIP_SPREAD,
            "least_blockage": LEAST_BLOCKAGE,
        },
        "warnings": sentences(expectation.warnings),
    }


def _pour(expectation: Expectation, case: int) -> Json:
    pour, result = expectation.pours[case], expectation.result
    return {
        "name": pour.name,
        "inflow_m3_s": pour.inflow,
        "volume_m3": pour.volume,
        "jug_m3": pour.jug,
        "error": pour.error,
        "level_m": float(result.level[case]),
        "overflow_m3_s": float(result.overflow[case]),
        "settling_s": _number(expectation.settling[case]),
        "within_model_range": bool(result.within_model_range[case]),
        "jet_decides": bool(expectation.jet_decides[case]),
        "outlets": [_outlet(expectation, case, i) for i in range(len(result.openings))],
        "balance": _balance(expectation, case) if pour.done else None,
    }


def _outlet(expectation: Expectation, case: int, i: int) -> Json:
    flow, low, high = expectation.result.flow, expectation.low, expectation.high
    stands = expectation.stands[case, i]
    return {
        "label": expectation.site.outlets[i].label,
        "lip_m": _number(expectation.lips.height[i]),
        "first_probability": float(expectation.first_probability[i]),
        "share": float(expectation.result.share[case, i]),
        "flow_m3_s": float(flow[case, i]),
        "flow_low_m3_s": float(low[case, i]),
        "flow_high_m3_s": float(high[case, i]),
        "fill_s": _number(expectation.fill_time(flow)[case, i]),
        # the most flow fills the jug first
        "fill_low_s": _number(expectation.fill_time(high)[case, i]),
        "fill_high_s": _number(expectation.fill_time(low)[case, i]),
        "caught_m3_s": _number(expectation.caught[case, i]),
        "stands": None if np.isnan(stands) else ("below", "within", "above")[int(stands) + 1],
    }


def _balance(expectation: Expectation, case: int) -> Json:
    found = balance(expectation, case)
    return {
        "verdict": found.verdict,
        "caught_m3_s": found.caught,
        "missing_m3_s": found.missing,
        "missing_low_m3_s": found.low,
        "missing_high_m3_s": found.high,
        "not_caught": [expectation.site.outlets[i].label for i in found.uncaught],
    }


def _finding(finding: Finding, labels: list[str]) -> Json:
    second = finding.second_pour
    return {
        "verdict": finding.verdict,
        "outlet": None if finding.outlet is None else labels[finding.outlet],
        "kind": finding.kind,
        "probability": finding.probability,
        "second_pour": second
        and {
            "inflow_m3_s": second.inflow,
            "outlet": labels[second.outlet],
            "flow_m3_s": second.flow,
            "rival_flow_m3_s": second.rival_flow,
        },
        "readings_needed": finding.readings,
        "dry": [labels[i] for i in finding.dry],
    }


def _withheld(expectation: Expectation) -> Json | None:
    """Before the pour there is no finding; where the jet decides in every pour, none can be had."""
    if not any(pour.done for pour in expectation.pours):
        return None
    empty = ("outlet", "kind", "probability", "second_pour", "readings_needed")
    return {"verdict": "cannot tell", **dict.fromkeys(empty), "dry": []}


def _explanation(explanation: Explanation, labels: list[str], names: list[str]) -> Json:
    unit = {"agree": None, "height": "_m", "blockage": ""}[explanation.kind]
    ends = {"off": explanation.size, "off_low": explanation.low, "off_high": explanation.high}
    return {
        "explanation": explanation.kind,
        "outlet": None if explanation.outlet is None else labels[explanation.outlet],
        "probability": explanation.probability,
        "misfit_probability": explanation.chance,
        **({} if unit is None else {f"{key}{unit}": value for key, value in ends.items()}),
        "lips": [
            {"label": label, "lip_m": _number(lip), "error_m": float(error)}
            for label, lip, error in zip(
                labels, explanation.lip, explanation.lip_error, strict=True
            )
        ],
        "pours": [
            {"name": name, "flow_m3_s": flow.tolist()}
            for name, flow in zip(names, explanation.flow, strict=True)
        ],
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


_SHOWN = 0.05


def headline(finding: Finding, labels: list[str]) -> str:
    """The finding in a sentence or two."""
    best, rival = finding.best, finding.rival
    chance = chance_text(finding.probability)
    if finding.verdict == "agree":
        return f"AGREE ({chance}): nothing in the catches speaks against the ruler."
    if finding.verdict == "none fits":
        return (
            "NO SINGLE FAULT EXPLAINS IT: more than one thing is off, or a catch, a time or the "
            "pour is wrong."
        )
    either = f"{_words(best, labels)}, or {_words(rival, labels)}"
    if finding.verdict == "cannot tell":
        return f"CANNOT TELL: {either}."
    where = f"RULER AND WATER DISAGREE at outlet {_label(finding.outlet, labels)}"
    if finding.kind is None:
        return f"{where} ({chance}), but the catches CANNOT TELL why: {either}."
    what = f"its lip {_lip_words(best)}"
    if finding.kind == "blockage":
        what = f"it {_blocked_words(best)}"
    if rival.outlet != finding.outlet:
        return f"{where}: {what}."
    other = {"height": "A deposit", "blockage": "A wrong height"}[finding.kind]
    return (
        f"{where}: {what}. {other} explains it worse ({chance_text(rival.probability)} against "
        f"{chance_text(best.probability)})."
    )


def _label(outlet: int | None, labels: list[str]) -> str:
    return "" if outlet is None else labels[outlet]


def _words(explanation: Explanation, labels: list[str]) -> str:
    """What an explanation says, with its band."""
    if explanation.kind == "agree":
        return "ruler and water agree"
    outlet = f"outlet {_label(explanation.outlet, labels)}"
    if explanation.kind == "blockage":
        return f"{outlet} {_blocked_words(explanation)}"
    return f"the lip of {outlet} {_lip_words(explanation)}"


def _blocked_words(explanation: Explanation) -> str:
    size, low, high = (100 * v for v in (explanation.size, explanation.low, explanation.high))
    return f"is blocked by {size:.0f} % ({low:.0f} to {high:.0f} %)"


def _lip_words(explanation: Explanation) -> str:
    size, low, high = explanation.size, explanation.low, explanation.high
    amount = inches_mm(abs(size)) if inches(size) != "0 in" else millimetres(abs(size))
    band = f"{1000 * low:+.1f} to {1000 * high:+.1f}"
    if low * high > 0:
        band = " to ".join(f"{1000 * end:.1f}" for end in sorted((abs(low), abs(high))))
    return f"is {amount} {'higher' if size > 0 else 'lower'} than read ({band} mm)"


def next_steps(finding: Finding, labels: list[str]) -> list[str]:
    """What to do about it."""
    if finding.verdict == "none fits":
        return [
            "Next: pour steadily, wait until the level is steady, and catch every outlet again."
        ]
    if finding.verdict == "agree":
        return _dry_words(finding, labels)
    blocked = [e.outlet for e in (finding.best, finding.rival) if e.kind == "blockage"]
    sentences = []
    if finding.kind == "height":
        outlet = _label(finding.outlet, labels)
        sentences.append(f"Next: read outlet {outlet} again over still water, more than once.")
    elif blocked:
        names = " and ".join(_label(outlet, labels) for outlet in blocked)
        again = "" if finding.kind else ": what wiping changes was a deposit"
        sentences.append(
            f"Next: look into outlet {names}, wipe the lip, and pour and catch again{again}."
        )
    return sentences + _settling_words(finding, labels) + _dry_words(finding, labels)


def _dry_words(finding: Finding, labels: list[str]) -> list[str]:
    if not finding.dry:
        return []
    names = ", ".join(labels[i] for i in finding.dry)
    return [f"Outlet {names} stays dry in these pours: what may block it does not show."]


def _settling_words(finding: Finding, labels: list[str]) -> list[str]:
    sentences = []
    second = finding.second_pour
    if second:
        sentences.append(
            f"Pour next {gpm_litres(second.inflow)}: outlet {labels[second.outlet]} "
            f"then gives {litres_per_min(second.flow)} if {_short(finding.best, labels)}, "
            f"{litres_per_min(second.rival_flow)} if {_short(finding.rival, labels)}."
        )
    if finding.kind is None:
        kinds = {finding.best.kind, finding.rival.kind}
        height = finding.best if finding.best.kind == "height" else finding.rival
        outlet = _label(height.outlet, labels)
        if finding.readings:
            sentences.append(
                f"Or read again: {finding.readings} readings of outlet {outlet} in all."
            )
        elif not second:
            sentences.append("No one further pour tells much; catch all again.")
        if not finding.readings and "height" in kinds and len(kinds) > 1:
            sentences.append(
                f"More readings of outlet {outlet} with this rule will not settle it; a finer "
                "rule may."
            )
    return sentences


def _short(explanation: Explanation, labels: list[str]) -> str:
    outlet = _label(explanation.outlet, labels)
    return {
        "agree": "they agree",
        "height": f"lip {outlet} is off",
        "blockage": f"outlet {outlet} is blocked",
    }[explanation.kind]


def weights(explanations: tuple[Explanation, ...], labels: list[str]) -> list[str]:
    """Lines on every explanation that is worth a thought."""
    lines = ["What explains readings and catches together (5 to 95 % bands):"]
    shown = [e for e in explanations if e.probability >= _SHOWN] or list(explanations[:1])
    for each in shown:
        chance = f"{chance_text(each.probability):>9}  "
        lines += wrapped(_words(each, labels), first=chance, indent=" " * 11)
    return lines


def assumed(expectation: Expectation) -> str:
    """What the weighing takes for granted."""
    errors = sorted({pour.error for pour in expectation.pours if pour.done})
    good = " to ".join(f"{100 * e:.3g}" for e in (errors[0], errors[-1])[: len(errors)])
    return (
        f"Assumed: a timed catch is good to {good} %, a reading to "
        f"{millimetres(expectation.lips.spread)}; before the pour {100 * PRIOR['agree']:.0f} % "
        f"that they agree, {100 * PRIOR['height']:.0f} % that one lip is off (by "
        f"{inches(LIP_SPREAD)} or so), {100 * PRIOR['blockage']:.0f} % that one outlet is blocked "
        f"by {100 * LEAST_BLOCKAGE:.0f} % or more."
    )


def chance_text(probability: float) -> str:
    """A probability for people, who need no third digit."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"


_LABEL = 10
_CAUTION = (
    "Clean water only. Sewer gas kills: never lean into a tank or box; keep children from open "
    "lids. Local code, the permit and the inspector decide."
)
_JET_DECIDES = (
    "CANNOT TELL: the jet of the straight inlet decides in these pours, so ruler and water cannot "
    "be held against each other. Turn the inlet's end down, or set a tee or a baffle; or pour "
    "more slowly; then catch again."
)
_STANDS = {-1: "LESS", 0: "as expected", 1: "MORE"}


def report(
    expectation: Expectation, explanations: tuple[Explanation, ...], finding: Finding | None
) -> list[str]:
    """Lines of at most 72 columns."""
    site = expectation.site
    labels = [outlet.label for outlet in site.outlets]
    lines = wrapped(site.title) if site.title else []
    if finding:
        for text in (headline(finding, labels), *_lost(expectation), *next_steps(finding, labels)):
            lines += wrapped(text)
        if finding.verdict != "none fits":
            lines += ["", *weights(explanations, labels)]
            lines += ["", *_lips(expectation, finding.best)]
    elif any(pour.done for pour in expectation.pours):
        lines += wrapped(_JET_DECIDES)
        for text in _lost(expectation):
            lines += wrapped(text)
    else:
        lines += wrapped(_start_words(expectation, labels))
    for case, pour in enumerate(expectation.pours):
        lines += ["", *(_after(expectation, case) if pour.done else _before(expectation, case))]
    lines += noted(sentences(expectation.warnings))
    if finding:
        lines += ["", *wrapped(assumed(expectation))]
    return [*lines, "", *wrapped(_CAUTION)]


def _lost(expectation: Expectation) -> list[str]:
    """Sentences on pours in which more or less was caught than poured."""
    verdicts = {"less": "WATER IS MISSING", "more": "MORE WAS CAUGHT THAN POURED"}
    found = [(p.name, balance(expectation, i)) for i, p in enumerate(expectation.pours) if p.done]
    return [
        f"{verdicts[b.verdict]} in {name}: {litres_per_min(abs(b.missing))}, see below."
        for name, b in found
        if b.verdict in verdicts
    ]


def _start_words(expectation: Expectation, labels: list[str]) -> str:
    first, *others = expectation.order
    chance = chance_text(float(expectation.first_probability[first]))
    words = f"Outlet {labels[first]} starts first ({chance} by the readings)"
    if others:
        words += f", then {', '.join(labels[i] for i in others)}"
    level = inches_mm(expectation.still_level, signed=True)
    return f"{words}. Before the pour and again after it, water stands at the lowest lip, {level}."


def _lips(expectation: Expectation, best: Explanation) -> list[str]:
    lines = ["Lips over the still water, if the first of these is right:"]
    lines.append(f"  {'outlet':<{_LABEL}}{'read':>20}{'ruler and water':>20}{'5 to 95 %':>19}")
    for i, outlet in enumerate(expectation.site.outlets):
        if outlet.capped:
            continue
        lip, half = float(best.lip[i]), SIDE_95 * float(best.lip_error[i])
        band = f"{1000 * (lip - half):+.1f} to {1000 * (lip + half):+.1f} mm"
        read, both = (_thirty_seconds(h) for h in (float(expectation.lips.height[i]), lip))
        lines.append(f"  {_report_label(outlet.label)}{read:>20}{both:>20}{band:>19}")
    return lines


def _thirty_seconds(height: float) -> str:
    fraction = inches(height, signed=True, parts=32)
    # what stands more than an inch off has no room for both
    return fraction if abs(height) > INCH else f"{fraction} ({millimetres(height, signed=True)})"


def _pour_head(expectation: Expectation, case: int) -> list[str]:
    pour = expectation.pours[case]
    flow = gpm_litres(pour.inflow)
    name = pour.name if pour.name[:1].isdigit() and " " in pour.name else f"{pour.name}: {flow}"
    level = inches_mm(float(expectation.result.level[case]), signed=True)
    words = f"{name}, water runs at {level}"
    if np.isfinite(expectation.settling[case]):
        words += f", steady after about {np.ceil(expectation.settling[case]):.0f} s"
    return wrapped(words)


def _before(expectation: Expectation, case: int) -> list[str]:
    pour, flow = expectation.pours[case], expectation.result.flow
    jug = "" if pour.jug is None else f"{litres(pour.jug)} jug full in"
    total = "" if pour.volume is None else "catch"
    lines = _pour_head(expectation, case)
    lines.append(f"  {'outlet':<{_LABEL}}{'L/min (5 to 95 %)':>21}{total:>18}{jug:>20}".rstrip())
    fill, slow, fast = (
        expectation.fill_time(q)[case] for q in (flow, expectation.low, expectation.high)
    )
    for i, outlet in enumerate(expectation.site.outlets):
        if outlet.capped:
            lines.append(f"  {_report_label(outlet.label)}{'capped':>21}")
            continue
        caught = "" if pour.volume is None else _catch(pour.volume, expectation, case, i)
        filled = "" if pour.jug is None else _seconds(fill[i], fast[i], slow[i])
        flows = _litres(expectation, case, i)
        lines.append(f"  {_report_label(outlet.label)}{flows:>21}{caught:>18}{filled:>20}".rstrip())
    return lines


def _catch(volume: float, expectation: Expectation, case: int, i: int) -> str:
    part = volume * float(expectation.result.share[case, i])
    return f"{gallons(part)} {litres(part)}"


def _seconds(fill: float, fast: float, slow: float) -> str:
    if not np.isfinite(fill):
        return "stays dry"
    return (
        f"{fill:.0f} s ({fast:.0f} to {slow:.0f})"
        if np.isfinite(slow)
        else f"{fill:.0f} s (may stay dry)"
    )


def _litres(expectation: Expectation, case: int, i: int) -> str:
    values = (expectation.result.flow, expectation.low, expectation.high)
    flow, low, high = (float(value[case, i]) * MINUTE / LITRE for value in values)
    digits = 2 if high < 100.0 else 0
    return f"{flow:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def _after(expectation: Expectation, case: int) -> list[str]:
    caught, stands = expectation.caught[case], expectation.stands[case]
    lines = _pour_head(expectation, case)
    lines.append(f"  {'outlet':<{_LABEL}}{'expected, L/min':>22}{'caught, L/min':>15}{'gpm':>7}")
    for i, outlet in enumerate(expectation.site.outlets):
        if outlet.capped:
            lines.append(f"  {_report_label(outlet.label)}{'capped':>22}")
            continue
        flows = _litres(expectation, case, i)
        if np.isnan(caught[i]):
            lines.append(f"  {_report_label(outlet.label)}{flows:>22}{'not caught':>15}")
            continue
        told = f"{caught[i] * MINUTE / LITRE:>15.2f}{caught[i] * MINUTE / GALLON:>7.2f}"
        word = "jet decides" if np.isnan(stands[i]) else _STANDS[int(stands[i])]
        lines.append(f"  {_report_label(outlet.label)}{flows:>22}{told}  {word}")
    return lines + wrapped(_balance_words(expectation, case), first="  ", indent="  ")


def _balance_words(expectation: Expectation, case: int) -> str:
    found, pour = balance(expectation, case), expectation.pours[case]
    words = f"caught {litres_per_min(found.caught)} of {litres_per_min(pour.inflow)} poured"
    ends = sorted(abs(end) for end in (found.low, found.high))
    band = f"({litres_per_min(ends[0])} to {litres_per_min(ends[1])})"
    amount = f"{litres_per_min(abs(found.missing))} {band}"
    if found.verdict == "balanced":
        return f"{words}: the same, within the error of the catches"
    if found.verdict == "more":
        return f"{words}: MORE THAN POURED by {amount}; check the volumes and the times"
    labels = ", ".join(expectation.site.outlets[i].label for i in found.uncaught)
    if found.verdict == "open":
        return f"{words}; outlet {labels} not caught, so a leak or a spill would not show"
    if found.uncaught:
        words += f", outlet {labels} not caught and taken at the top of its band"
    return f"{words}: {amount} IS MISSING; look for a leak or a spill"


def _report_label(text: str) -> str:
    short = text if len(text) < _LABEL else text[: _LABEL - 2] + "~"
    return f"{short:<{_LABEL}}"
