"""The text of `dbox pour`: the finding and what to do next, then every pour outlet by outlet."""

import numpy as np

from dbox.fieldwork.pour.finding import Finding
from dbox.fieldwork.pour.fit import Explanation
from dbox.fieldwork.pour.predict import SIDE_95, Expectation, balance
from dbox.files.notation import (
    gallons,
    gpm_litres,
    inches,
    inches_mm,
    litres,
    litres_per_min,
    millimetres,
)
from dbox.files.units import GALLON, INCH, LITRE, MINUTE
from dbox_cli.output import noted, wrapped
from dbox_cli.pour.words import assumed, chance_text, headline, next_steps, weights

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
    lines += noted(expectation.warnings)
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
        lines.append(f"  {_label(outlet.label)}{read:>20}{both:>20}{band:>19}")
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
            lines.append(f"  {_label(outlet.label)}{'capped':>21}")
            continue
        caught = "" if pour.volume is None else _catch(pour.volume, expectation, case, i)
        filled = "" if pour.jug is None else _seconds(fill[i], fast[i], slow[i])
        flows = _litres(expectation, case, i)
        lines.append(f"  {_label(outlet.label)}{flows:>21}{caught:>18}{filled:>20}".rstrip())
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
            lines.append(f"  {_label(outlet.label)}{'capped':>22}")
            continue
        flows = _litres(expectation, case, i)
        if np.isnan(caught[i]):
            lines.append(f"  {_label(outlet.label)}{flows:>22}{'not caught':>15}")
            continue
        told = f"{caught[i] * MINUTE / LITRE:>15.2f}{caught[i] * MINUTE / GALLON:>7.2f}"
        word = "jet decides" if np.isnan(stands[i]) else _STANDS[int(stands[i])]
        lines.append(f"  {_label(outlet.label)}{flows:>22}{told}  {word}")
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


def _label(text: str) -> str:
    short = text if len(text) < _LABEL else text[: _LABEL - 2] + "~"
    return f"{short:<{_LABEL}}"
