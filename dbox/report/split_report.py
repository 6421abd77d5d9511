"""Shares for machines and for people: the contrast first, then every flow with its verdict.

Shares are fractions. What is not known is null, never 0 and never NaN.
"""

import numpy as np

from dbox.arrays import Array
from dbox.errors import outlets_text
from dbox.fieldwork.inlet import CURE, LOOK
from dbox.fieldwork.readings import Lips
from dbox.fieldwork.series import Lines, fed
from dbox.fieldwork.shares import NOTABLE, Assessment, Contrast, contrast, over_target
from dbox.fieldwork.site import Flow, Site
from dbox.lengths import Lengths
from dbox.report.blocks import Column, Paragraph, Section, Table, columns, text
from dbox.report.encode import Json, rows
from dbox.report.text import bar, chance_text, noted, wrapped
from dbox.report.wording import PLANNED, sentences
from dbox.units import inches, millimetres, percent_text


def split_json(site: Site, assessment: Assessment, lines: Lines | None = None) -> Json:
    """The answer of `dbox split --json`."""
    tolerance, cases = site.tolerance, cases_json(assessment)
    if lines:
        for case, said in enumerate(cases):
            said["lines"] = rows(
                label=lines.labels,
                share=lines.share[case],
                share_low=lines.share_low[case],
                share_high=lines.share_high[case],
                target=lines.target,
            )
    return {
        "cases": cases,
        "planned": assessment.lips.planned,
        "tolerance": tolerance and {"share": tolerance.share, "source": tolerance.source},
        "warnings": sentences((*assessment.warnings, *(lines.warnings if lines else ()))),
    }


def cases_json(assessment: Assessment) -> list[Json]:
    """Every flow with the shares of its outlets."""
    result = assessment.result
    outlets = [
        rows(
            label=assessment.labels,
            lip_m=assessment.lips.height,
            head_m=result.head[case],
            flow_m3_s=result.flow[case],
            share=result.share[case],
            share_low=assessment.share_low[case],
            share_high=assessment.share_high[case],
            share_rising_low=assessment.share_rising_low[case],
            share_rising_high=assessment.share_rising_high[case],
            target=assessment.target,
        )
        for case in range(len(assessment.names))
    ]
    return rows(
        name=assessment.names,
        inflow_m3_s=result.inflow,
        level_m=result.level,
        overflow_m3_s=result.overflow,
        within_model_range=result.within_model_range,
        verdict=assessment.verdicts,
        within_probability=assessment.within_probability,
        jet_decides=assessment.jet_decides,
        worst_over_target=assessment.worst_over_target,
        cv=assessment.cv,
        settling_spread_m=assessment.settling_spread,
        outlets=outlets,
    )


_BAR = 10
_OUTLETS = (
    Column("outlet", 10, whole=True),
    *columns({"lip": 19, "share": 9, "5 to 95 %": 13}, "right"),
    Column("target", 20),
)


def report(site: Site, assessment: Assessment, through: Lines | None = None) -> list[str]:
    """Lines of at most 72 columns."""
    lines = wrapped(site.title) if site.title else []
    lines += wrapped(PLANNED) if assessment.lips.planned else []
    if assessment.straight_decides:
        lines += wrapped(
            f"THE JET OF THE STRAIGHT INLET DECIDES at {assessment.jet_flows}: {CURE}."
        )
    lines += _headline(site, contrast(site, assessment.lips), planned=assessment.lips.planned)
    if through:
        lines += ["", *text(_through(site, through))]
    lines += ["", *wrapped(_reading_words(assessment.lips, site.lengths))]
    for case, flow in enumerate(site.flows):
        lines += ["", *_case(site, assessment, case, flow)]
    lines += noted(sentences((*assessment.warnings, *(through.warnings if through else ()))))
    if site.tolerance and site.tolerance.source:
        lines += ["", *wrapped(f"Tolerance from: {site.tolerance.source}")]
    return lines


_ACROSS = 3


def _through(site: Site, found: Lines) -> list[Section]:
    """Shares through to every line, a few flows side by side."""
    feeding = [site.outlets[i].label for i, _ in fed(site)]
    named = outlets_text(feeding)
    words = (
        f"{named[0].upper()}{named[1:]} {'feeds' if len(feeding) == 1 else 'feed'} another box. "
        "Through to every line, share and 5 to 95 % of what this box lets out:"
    )
    sections: list[Section] = []
    for start in range(0, len(site.flows), _ACROSS):
        flows = site.flows[start : start + _ACROSS]
        names = [f.name.removesuffix(" (default)") for f in flows]
        heads = [f"{name}\n{'' if f.name[:1].isdigit() else site.lengths.flow(f.inflow)}"
                 for name, f in zip(names, flows, strict=True)]  # fmt: skip
        lines = []
        for i, label in enumerate(found.labels):
            cells = [percent_text(float(found.target[i]))]
            for case in range(start, start + len(flows)):
                band = band_words(found.share_low[case, i], found.share_high[case, i])
                cells.append(f"{percent_text(float(found.share[case, i]))}{band:>11}")
            lines.append([label, *cells])
        table = Table([
            Column("line", 8, whole=True), Column("target", 8, "right"),
            *(Column(head, 18, "right") for head in heads),
        ], lines)  # fmt: skip
        sections.append([*([] if sections else [Paragraph(words)]), table])
    return sections


def _headline(site: Site, found: Contrast, *, planned: bool) -> list[str]:
    favoured, starved = found.favoured, found.starved
    if found.weak_share[favoured] <= NOTABLE * found.target[favoured]:
        # a jet strikes the harder the more flows
        over = over_target(found.strong_share, found.target)
        favoured, starved = int(over.argmax()), int(over.argmin())
        if over[favoured] <= NOTABLE:
            state = "As planned" if planned else "At its best estimate"
            what = "outlet" if fed(site) else "line"
            return wrapped(f"{state} every {what} gets its target at every flow.")
    weak, strong = (_named(flow, site.lengths) for flow in (found.weak, found.strong))
    most, least = (
        [percent_text(share[i]) for share in (found.weak_share, found.strong_share)]
        for i in (favoured, starved)
    )
    return wrapped(
        f"Outlet {site.outlets[favoured].label} gets {most[0]} at {weak} and {most[1]} at "
        f"{strong}; its target is {percent_text(found.target[favoured])}. "
        f"Outlet {site.outlets[starved].label} gets {least[0]} and {least[1]}."
    )


def title(site: Site, assessment: Assessment) -> str:
    """The finding in a line: what the outlet most over its target gets, and why."""
    found = contrast(site, assessment.lips)
    favoured, target = found.favoured, float(found.target[found.favoured])
    if found.weak_share[favoured] <= NOTABLE * target:
        return _worst(site, assessment)
    outlet = f"outlet {site.outlets[favoured].label}"
    share, band, unsure = share_text(float(found.weak_share[favoured])), "", False
    if found.weak.name in assessment.names and not assessment.lips.planned:
        case = assessment.names.index(found.weak.name)
        low, high = assessment.share_low[case, favoured], assessment.share_high[case, favoured]
        unsure = bool(assessment.inlet_open[case] or low <= target <= high)
        band = band_words(low, high)
    if unsure and "outside" not in assessment.verdicts:
        wanted = f"(target {share_text(target)})"
        return f"Cannot tell: {outlet} gets {band} of {flow_of(found.weak.name)} {wanted}"
    gets = (
        f"{outlet} gets {band if unsure else share} of {flow_of(found.weak.name)}, "
        f"{share_text(float(found.strong_share[favoured]))} of {flow_of(found.strong.name)}"
    )
    if assessment.straight_decides:
        return f"In the jet of the straight inlet {gets}"
    why = "" if unsure else low_words(site, assessment.target, assessment.lips.height, favoured)
    if assessment.lips.planned:
        why = "As planned"
    if why:
        return f"{why}: {gets}"
    wanted = "" if assessment.target_open else f" (target {share_text(target)})"
    return f"{gets[0].upper()}{gets[1:]}{wanted}"


def _worst(site: Site, assessment: Assessment) -> str:
    """What stands out where the weakest flow does not: a jet grows with the flow."""
    over = np.where(assessment.target > 0, assessment.over_target, 0.0)
    case, outlet = np.unravel_index(int(over.argmax()), over.shape)
    if over[case, outlet] <= NOTABLE:
        state = "As planned" if assessment.lips.planned else "At best estimate"
        return f"{state} every line gets its target at every flow"
    share, wanted = assessment.result.share[case, outlet], assessment.target[outlet]
    return (
        f"Outlet {site.outlets[outlet].label} gets {share_text(float(share))} of "
        f"{flow_of(site.flows[case].name)} (target {share_text(float(wanted))})"
    )


def low_words(site: Site, target: Array, height: Array, outlet: int) -> str:
    """How much a lip stands under the middle of the others, where those should be alike.

    target [-], height: of the lips [m].
    """
    others = [i for i, o in enumerate(site.outlets) if i != outlet and not o.capped]
    alike = all(site.outlets[i].opening == site.outlets[outlet].opening for i in others)
    if not others or not alike or np.ptp(target[[outlet, *others]]) > 1e-9:
        return ""
    drop = float(np.median(height[others]) - height[outlet])
    words = site.lengths.one(drop)
    return f"{words} low" if drop > 0 and words != site.lengths.one(0.0) else ""


def share_text(share: float, unit: str = " %") -> str:
    """A share in figures, to two digits that count.

    >>> [share_text(share) for share in (0.4613, 0.0352, 0.0, 1.0)]
    ['46 %', '3.5 %', '0 %', '100 %']
    """
    return f"{percent_text(share, int(0.0005 <= share < 0.0995)).removesuffix(' %')}{unit}"


def flow_of(flow: str) -> str:
    """A flow of which a line gets a share: by its name, with an article where it wants one.

    >>> [flow_of(name) for name in ("dose", "0.5 gpm", "a pumped dose")]
    ['a dose', '0.5 gpm', 'a pumped dose']
    """
    name = flow.removesuffix(" (default)")
    if name[:1].isdigit() or name.startswith(("a ", "an ", "the ")):
        return name
    return f"{'an' if name[:1].lower() in 'aeio' else 'a'} {name}"


def _named(flow: Flow, lengths: Lengths) -> str:
    name = flow.name.removesuffix(" (default)")
    return name if name[:1].isdigit() else f"{name} ({lengths.flow(flow.inflow)})"


_SPREAD_FROM = {"stated": "as stated", "repeats": "from the repeats", "default": "assumed"}


def _reading_words(lips: Lips, lengths: Lengths) -> str:
    if lips.planned:
        return "Heights are over the still water, which stands at the planned lips."
    return (
        f"Heights are over the still water of the readings; one reading is good to "
        f"{lengths.both(lips.spread)}, {_SPREAD_FROM[lips.spread_from]}."
    )


def _case(site: Site, assessment: Assessment, case: int, flow: Flow) -> list[str]:
    name = (
        flow.name
        if flow.name[:1].isdigit()
        else f"{flow.name}: {site.lengths.flow_both(flow.inflow)}"
    )
    level = site.lengths.both(float(assessment.result.level[case]), signed=True)
    lines = wrapped(f"{name}, water at {level}")
    lines += wrapped(_verdict_words(assessment, case), first="  ", indent="  ")
    whole = max(float(assessment.share_high[case].max()), 2 * float(assessment.target.max()))
    told = []
    for i, outlet in enumerate(site.outlets):
        if outlet.capped:
            told.append([outlet.label, "capped", "-", "-", f"{'-':>6}"])
            continue
        lip, target = float(assessment.lips.height[i]), float(assessment.target[i])
        share = float(assessment.result.share[case, i])
        told.append([
            outlet.label, site.lengths.cell(lip, 19), percent_text(share),
            band_text(assessment, case, i),
            f"{percent_text(target):>6} {bar(share, target, whole, _BAR)}",
        ])  # fmt: skip
    lines += text([[Table(_OUTLETS, told)]])
    return [*lines, *turned_down_lines(assessment, case, "  ")]


def turned_down_lines(assessment: Assessment, case: int, first: str) -> list[str]:
    """What the lines get with the inlet's end turned down, where a straight one decides."""
    decides, no_jet = assessment.jet_decides[case], assessment.no_jet[case]
    if not decides or np.allclose(assessment.result.share[case], no_jet):
        return []
    over = over_target(no_jet, assessment.target)
    each = zip(assessment.labels, no_jet, assessment.target, strict=True)
    shares = ", ".join(f"{label} {percent_text(share)}" for label, share, wanted in each if wanted)
    worst = f"worst line {100 * over[assessment.target > 0].max():.0f} % of its target"
    verdict = "" if assessment.tolerance is None else f": {assessment.lip_verdicts[case]}"
    words = f"with the inlet's end turned down {shares}; {worst}{verdict}"
    return wrapped(words, first=first, indent=first)


def band_text(assessment: Assessment, case: int, outlet: int) -> str:
    """The 5 to 95 per cent band of one share."""
    return band_words(assessment.share_low[case, outlet], assessment.share_high[case, outlet])


def band_words(low: float, high: float) -> str:
    """A band of a share."""
    return f"{100 * low:.0f} to {100 * high:.0f} %"


def line_verdict(assessment: Assessment, case: int, outlet: int) -> str:
    """What the whole band of a share says: `over`, `under`, `within` or `cannot tell`.

    Empty where no verdict may be given: nothing measured, no tolerance, no target.
    """
    target, allowed = assessment.target[outlet], assessment.tolerance
    if assessment.lips.planned or assessment.target_open or allowed is None or not target:
        return ""
    jet = assessment.straight_decides and assessment.jet_decides[case]
    hindered = bool(jet or assessment.inlet_open[case])
    if hindered and assessment.verdicts[case] != "outside":
        return "cannot tell"
    low, high = assessment.share_low[case, outlet], assessment.share_high[case, outlet]
    least, most = target * (1.0 - allowed), target * (1.0 + allowed)
    if low > most:
        return "over"
    if high < least:
        return "under"
    return "within" if low >= least and high <= most and not hindered else "cannot tell"


def open_words(assessment: Assessment) -> str:
    """What is not known of the inlet and decides, and what to do about it."""
    if assessment.inlet is None:
        return f"how the inlet ends is not given, and a straight one would decide; {LOOK}"
    return f"the jet of the inlet decides, and how it strikes is not known; {CURE}"


def no_verdict(assessment: Assessment) -> str:
    """Why shares are held to nothing."""
    if assessment.target_open:
        return "no target named for lines of unlike length, so no verdict"
    return "no tolerance entered, so no verdict"


def _verdict_words(assessment: Assessment, case: int) -> str:
    if assessment.tolerance is None:
        return f"{no_verdict(assessment)}; the permit or the inspector names it"
    verdict = assessment.verdicts[case]
    chance = chance_text(float(assessment.within_probability[case]))
    allowed = f"{100 * assessment.tolerance:.3g} % of target"
    if verdict == "within":
        return f"WITHIN {allowed}: chance {chance}"
    if assessment.lips.planned:
        state = "OUTSIDE" if verdict == "outside" else "NO VERDICT on"
        return f"{state} {allowed}, as planned; nothing is measured"
    if verdict == "outside":
        return f"OUTSIDE {allowed}; chance that all lines are within it: {chance}"
    if assessment.inlet_open[case]:
        return f"CANNOT TELL whether within {allowed}: {open_words(assessment)}"
    words = (
        f"CANNOT TELL: all lines are within {allowed} with a chance of {chance}, and no line "
        "is clearly outside"
    )
    if assessment.jet_decides[case] and assessment.straight_decides:
        return f"{words}; the jet of the inlet decides"
    spread, repeats = float(assessment.settling_spread[case]), assessment.settling_repeats[case]
    if np.isnan(spread):
        return f"{words}; no reading would settle it, this flow is too near the limit"
    finer = f"{words}; readings good to {millimetres(spread)}"
    if np.isfinite(repeats):
        return f"{finer}, or {repeats:.0f} of each outlet, would settle it"
    rule = float(assessment.finer_rules[case])
    if np.isnan(rule):
        return f"{finer} would settle it, finer than any rule: pour and catch instead"
    return (
        f"{finer} would settle it: a rule with {inches(rule, parts=64)} marks, for more readings "
        "with this one will not"
    )
