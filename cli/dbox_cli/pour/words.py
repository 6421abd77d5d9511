"""How the finding of a pour test is said: what it is, what to do next, and how it was weighed."""

from dbox.fieldwork.pour.finding import Finding
from dbox.fieldwork.pour.fit import LEAST_BLOCKAGE, LIP_SPREAD, PRIOR, Explanation
from dbox.fieldwork.pour.predict import Expectation
from dbox.files.notation import (
    gpm_litres,
    inches,
    inches_mm,
    litres_per_min,
    millimetres,
)
from dbox_cli.output import wrapped

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
