"""The text of `dbox split`: the contrast first, then every flow with shares, bands and verdict."""

from dbox.fieldwork.confidence import SURE, Assessment
from dbox.fieldwork.contrast import Contrast, contrast
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.site import Flow, Site
from dbox.files.notation import gpm, gpm_litres, inches, inches_mm, millimetres, percent
from dbox_cli.output import bar, noted, wrapped

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
    lines += noted(assessment.warnings)
    if site.tolerance and site.tolerance.source:
        lines += ["", *wrapped(f"Tolerance from: {site.tolerance.source}")]
    return lines


def _headline(site: Site, found: Contrast) -> list[str]:
    favoured, starved = found.favoured, found.starved
    if found.weak_share[favoured] <= 1.02 * found.target[favoured]:
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
