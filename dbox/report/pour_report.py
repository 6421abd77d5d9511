"""A pour test for machines and for people.

What is not known or was not caught is null, never 0 and never NaN.
"""

from collections.abc import Sequence

import numpy as np

from dbox.arrays import Array
from dbox.errors import outlets_text
from dbox.fieldwork.inlet import LOOK
from dbox.fieldwork.pour import Expectation, balance, box_filling, usual_jug
from dbox.fieldwork.pour_fit import LEAST_BLOCKAGE, LIP_SPREAD, PRIOR, Explanation, Finding
from dbox.fieldwork.shares import SIDE_95
from dbox.fieldwork.site import Pour, Site
from dbox.lengths import Lengths
from dbox.report.blocks import Column, Heading, Paragraph, Section, Table, columns, text, warned
from dbox.report.cautions import SHORT
from dbox.report.encode import Json, encode, rows
from dbox.report.text import chance_text
from dbox.report.wording import sentences
from dbox.units import (
    GALLON,
    HOUR,
    INCH,
    LITRE,
    MINUTE,
    gallons,
    litres,
    litres_per_min,
    percent_text,
)


def pour_json(
    expectation: Expectation, explanations: tuple[Explanation, ...], finding: Finding | None
) -> Json:
    """The answer of `dbox pour --json`."""
    labels = [o.label for o in expectation.site.outlets]
    names = [expectation.pours[case].name for case in expectation.weighed]
    answer: Json = encode(
        {
            "still_level_m": expectation.still_level,
            "order": [labels[i] for i in expectation.order],
            "pours": [_pour(expectation, case) for case in range(len(expectation.pours))],
            "box_filling": box_filling(expectation.site),
            "finding": finding,
            "explanations": [_explanation(e, labels, names) for e in explanations],
            "assumed": {
                "prior": PRIOR,
                "lip_spread_m": LIP_SPREAD,
                "least_blockage": LEAST_BLOCKAGE,
            },
            "warnings": sentences(expectation.warnings),
        },
        labels,
    )
    if finding is None and any(pour.done for pour in expectation.pours):
        # where all hangs on how the jet strikes, none can be had
        empty = dict.fromkeys(("outlet", "kind", "probability", "second_pour", "readings_needed"))
        answer["finding"] = {"verdict": "cannot tell", **empty, "dry": []}
    return answer


def _pour(expectation: Expectation, case: int) -> Json:
    pour, result = expectation.pours[case], expectation.result
    fill, least, most = _fill_times(expectation, case)
    usual = usual_jug(expectation.site) if pour.jug is None else None
    words = {-1: "below", 0: "within", 1: "above"}
    return {
        "name": pour.name,
        "inflow_m3_s": pour.inflow,
        "volume_m3": pour.volume,
        "jug_m3": pour.jug,
        "usual_jug_m3": usual,
        "error": pour.error,
        "level_m": result.level[case],
        "overflow_m3_s": result.overflow[case],
        "settling_s": expectation.settling[case],
        "within_model_range": result.within_model_range[case],
        "jet_decides": expectation.jet_decides[case],
        "outlets": rows(
            label=[o.label for o in expectation.site.outlets],
            lip_m=expectation.lips.height,
            first_probability=expectation.first_probability,
            share=result.share[case],
            flow_m3_s=result.flow[case],
            flow_low_m3_s=expectation.low[case],
            flow_high_m3_s=expectation.high[case],
            fill_s=fill,
            fill_low_s=least,
            fill_high_s=most,
            caught_m3_s=expectation.caught[case],
            stands=[words.get(each) for each in expectation.stands[case].tolist()],
        ),
        "balance": balance(expectation, case) if pour.done else None,
    }


def _fill_times(expectation: Expectation, case: int) -> tuple[Array, Array, Array]:
    """When the jug is full, at the earliest and at the latest; each inf where dry. (n,) [s]"""
    usual = usual_jug(expectation.site)
    # the most flow fills the jug first
    flows = (expectation.result.flow, expectation.high, expectation.low)
    fill, least, most = (expectation.fill_time(flow, usual)[case] for flow in flows)
    return fill, least, most


def _explanation(each: Explanation, labels: list[str], names: list[str]) -> Json:
    ends = {"off": each.size, "off_low": each.low, "off_high": each.high}
    unit = "_m" if each.kind == "height" else ""
    return {
        "explanation": each.kind,
        "outlet": each.label or None,
        "probability": each.probability,
        "misfit_probability": each.chance,
        **({} if each.kind == "agree" else {f"{key}{unit}": v for key, v in ends.items()}),
        "lips": rows(label=labels, lip_m=each.lip, error_m=each.lip_error),
        "pours": rows(name=names, flow_m3_s=each.flow),
    }


_SHOWN = 0.05
"""Probability from which an explanation is shown. [-] (judgement)"""


def headline(finding: Finding, site: Site) -> str:
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
    either = f"{_words(best, site)}, or {_words(rival, site)}"
    if finding.verdict == "cannot tell":
        return f"CANNOT TELL: {either}."
    where = f"RULER AND WATER DISAGREE at outlet {best.label}"
    if finding.kind is None:
        return f"{where} ({chance}), but the catches CANNOT TELL why: {either}."
    what = f"{'its lip' if finding.kind == 'height' else 'it'} {_off(best, site.lengths)}"
    if rival.outlet != finding.outlet:
        return f"{where}: {what}."
    other = {"height": "A deposit", "blockage": "A wrong height"}[finding.kind]
    return (
        f"{where}: {what}. {other} explains it worse ({chance_text(rival.probability)} against "
        f"{chance_text(best.probability)})."
    )


def _words(each: Explanation, site: Site) -> str:
    """What an explanation says, with its band."""
    if each.kind == "agree":
        return "ruler and water agree"
    lip = "the lip of " if each.kind == "height" else ""
    return f"{lip}outlet {each.label} {_off(each, site.lengths)}"


def _off(each: Explanation, lengths: Lengths) -> str:
    """How far off the lip of an outlet is, or how much of it is blocked, with the band."""
    size, low, high = each.size, each.low, each.high
    if each.kind == "blockage":
        return f"is blocked by {100 * size:.0f} % ({100 * low:.0f} to {100 * high:.0f} %)"
    amount = lengths.both(abs(size))
    band = f"{1000 * low:+.1f} to {1000 * high:+.1f}"
    if low * high > 0:
        band = " to ".join(f"{1000 * end:.1f}" for end in sorted((abs(low), abs(high))))
    return f"is {amount} {'higher' if size > 0 else 'lower'} than read ({band} mm)"


def next_steps(finding: Finding, site: Site) -> list[str]:
    """What to do about it."""
    dry = []
    if finding.dry:
        names = ", ".join(site.outlets[i].label for i in finding.dry)
        dry = [f"Outlet {names} stays dry in these pours: what may block it does not show."]
    if finding.verdict == "none fits":
        return [
            "Next: pour steadily, wait until the level is steady, and catch every outlet again."
        ]
    if finding.verdict == "agree":
        return dry
    blocked = [e.label for e in (finding.best, finding.rival) if e.kind == "blockage"]
    said = []
    if finding.kind == "height":
        outlet = finding.best.label
        said.append(f"Next: read outlet {outlet} again over still water, more than once.")
    elif blocked:
        names = outlets_text(blocked)
        again = "" if finding.kind else ": what wiping changes was a deposit"
        said.append(f"Next: look into {names}, wipe the lip, and pour and catch again{again}.")
    second = finding.second_pour
    if second:
        label = site.outlets[second.outlet].label
        said.append(
            f"Pour next {site.lengths.flow_both(second.inflow)}: outlet {label} then gives "
            f"{litres_per_min(second.flow)} if {_short(finding.best)}, "
            f"{litres_per_min(second.rival_flow)} if {_short(finding.rival)}."
        )
    if finding.kind is None:
        kinds = {finding.best.kind, finding.rival.kind}
        height = finding.best if finding.best.kind == "height" else finding.rival
        outlet = height.label
        if finding.readings_needed:
            said.append(
                f"Or read again: {finding.readings_needed} readings of outlet {outlet} in all."
            )
        elif not second:
            said.append("No one further pour tells much; catch all again.")
        if not finding.readings_needed and "height" in kinds and len(kinds) > 1:
            said.append(
                f"More readings of outlet {outlet} with this rule will not settle it; a finer "
                "rule may."
            )
    return said + dry


def _short(each: Explanation) -> str:
    return {
        "agree": "they agree",
        "height": f"lip {each.label} is off",
        "blockage": f"outlet {each.label} is blocked",
    }[each.kind]


def weights(explanations: tuple[Explanation, ...], site: Site) -> Section:
    """Every explanation that is worth a thought."""
    shown = [e for e in explanations if e.probability >= _SHOWN] or list(explanations[:1])
    return [
        Heading("What explains readings and catches together (5 to 95 % bands):"),
        *(Paragraph(_words(e, site), f"{chance_text(e.probability):>9}  ") for e in shown),
    ]


def assumed(expectation: Expectation) -> str:
    """What the weighing takes for granted."""
    lengths = expectation.site.lengths
    errors = sorted({pour.error for pour in expectation.pours if pour.done})
    good = " to ".join(f"{100 * e:.3g}" for e in (errors[0], errors[-1])[: len(errors)])
    return (
        f"Assumed: a timed catch is good to {good} %, a reading to "
        f"{lengths.both(expectation.lips.spread)}; before the pour {100 * PRIOR['agree']:.0f} % "
        f"that they agree, {100 * PRIOR['height']:.0f} % that one lip is off (by "
        f"{lengths.one(LIP_SPREAD)} or so), {100 * PRIOR['blockage']:.0f} % that one outlet is "
        f"blocked by {100 * LEAST_BLOCKAGE:.0f} % or more."
    )


_JET_DECIDES = (
    "CANNOT TELL: the jet of the straight inlet decides in these pours, and how it strikes is not "
    "known, so ruler and water cannot be held against each other. Turn the inlet's end down, or "
    "set a tee or a baffle; or pour more slowly; then catch again."
)
_OUTLET = Column("outlet", 10)
_STANDS = {-1: "LESS", 0: "as expected", 1: "MORE"}


def report(
    expectation: Expectation, explanations: tuple[Explanation, ...], finding: Finding | None
) -> list[str]:
    """Lines of at most 72 columns."""
    site = expectation.site
    done = any(pour.done for pour in expectation.pours)
    if finding:
        head = [headline(finding, site), *_lost(expectation), *_inlet_first(expectation)]
        head += next_steps(finding, site)
    else:
        first = _JET_DECIDES if done else _start_words(expectation)
        head = [first, *_lost(expectation)]
    sections: list[Section] = [[Paragraph(words) for words in (site.title, *head) if words]]
    if finding and finding.verdict != "none fits":
        sections += [weights(explanations, site), _lips(expectation, finding.best)]
    sections += [pour_blocks(expectation, case) for case in range(len(expectation.pours))]
    sections.append([Paragraph(words) for words in water_words(expectation)])
    sections.append(warned(expectation.warnings))
    if finding:
        sections.append([Paragraph(assumed(expectation))])
    return text([*sections, [Paragraph(SHORT)]])


def _inlet_first(expectation: Expectation) -> list[str]:
    """What to look at before a lip or a deposit is blamed, where nobody said how the inlet ends."""
    would = expectation.jet_decides[list(expectation.weighed)].any()
    if expectation.site.box.inlet is not None or not would:
        return []
    return [f"First {LOOK}: the jet of a straight one may explain these catches."]


def _lost(expectation: Expectation) -> list[str]:
    """Sentences on pours in which more or less was caught than poured."""
    verdicts = {"less": "WATER IS MISSING", "more": "MORE WAS CAUGHT THAN POURED"}
    found = [(p.name, balance(expectation, i)) for i, p in enumerate(expectation.pours) if p.done]
    return [
        f"{verdicts[b.verdict]} in {name}: {litres_per_min(abs(b.missing))}, see below."
        for name, b in found
        if b.verdict in verdicts
    ]


def _start_words(expectation: Expectation) -> str:
    labels = [outlet.label for outlet in expectation.site.outlets]
    first, *others = expectation.order
    chance = chance_text(float(expectation.first_probability[first]))
    words = f"Outlet {labels[first]} starts first ({chance} by the readings)"
    if others:
        words += f", then {', '.join(labels[i] for i in others)}"
    level = expectation.site.lengths.both(expectation.still_level, signed=True)
    return f"{words}. Before the pour and again after it, water stands at the lowest lip, {level}."


def _lips(expectation: Expectation, best: Explanation) -> Section:
    lines = []
    for i, outlet in enumerate(expectation.site.outlets):
        if not outlet.capped:
            lip, half = float(best.lip[i]), SIDE_95 * float(best.lip_error[i])
            band = f"{1000 * (lip - half):+.1f} to {1000 * (lip + half):+.1f} mm"
            read, both = (
                _height(h, expectation.site.lengths)
                for h in (float(expectation.lips.height[i]), lip)
            )
            lines.append([outlet.label, read, both, band])
    heads = columns({"read": 20, "ruler and water": 20, "5 to 95 %": 19}, "right")
    heading = Heading("Lips over the still water, if the first of these is right:")
    return [heading, Table([_OUTLET, *heads], lines)]


def _height(height: float, lengths: Lengths) -> str:
    # what stands more than an inch off has no room for both
    write = lengths.one if abs(height) > INCH else lengths.both
    return write(height, signed=True)


def pour_blocks(expectation: Expectation, case: int) -> Section:
    """One pour: what to expect of it, and once it was done what was caught."""
    pour = expectation.pours[case]
    flow = expectation.site.lengths.flow_both(pour.inflow)
    name = pour.name if pour.name[:1].isdigit() and " " in pour.name else f"{pour.name}: {flow}"
    level = expectation.site.lengths.both(float(expectation.result.level[case]), signed=True)
    words = f"{name}, water runs at {level}"
    if np.isfinite(expectation.settling[case]):
        words += f", steady after about {np.ceil(expectation.settling[case]):.0f} s"
    if not pour.done:
        return [Heading(words), _before(expectation, case)]
    balanced = Paragraph(_balance_words(expectation, case), "  ")
    return [Heading(words), _after(expectation, case), balanced]


def _before(expectation: Expectation, case: int) -> Table:
    pour, result = expectation.pours[case], expectation.result
    heads = [
        _OUTLET,
        Column("L/min (5 to 95 %)", 21, "right"),
        *[Column("catch", 18, "right")] * (pour.volume is not None),
        Column(f"{_jug(expectation, case)} full in", 20, "right"),
    ]
    times = _fill_times(expectation, case)
    lines = []
    for i, outlet in enumerate(expectation.site.outlets):
        cells = [_litres(expectation, case, i)]
        if pour.volume is not None:
            part = pour.volume * float(result.share[case, i])
            cells.append(f"{gallons(part)} {litres(part)}")
        cells.append(_filled(times, i))
        capped = ["capped", *[""] * (len(cells) - 1)]
        lines.append([outlet.label, *(capped if outlet.capped else cells)])
    return Table(heads, lines)


_TIMES_ACROSS = 3


def pail_blocks(expectation: Expectation, names: Sequence[str]) -> list[Section]:
    """The pours still to be done, side by side: seconds to fill the jug at each outlet.

    names: What the outlets are called.
    """
    planned = [case for case, pour in enumerate(expectation.pours) if not pour.done]
    sections: list[Section] = []
    for first in range(0, len(planned), _TIMES_ACROSS):
        cases = planned[first : first + _TIMES_ACROSS]
        times = [_fill_times(expectation, case) for case in cases]
        heads = [_OUTLET]
        for case in cases:
            pour = expectation.pours[case]
            head = pour.name.removesuffix(" (default)")
            flow = expectation.site.lengths.flow_both(pour.inflow)
            heads.append(Column(f"{head}\n{flow}\n{_jug(expectation, case)} full in", 20, "right"))
        lines = [
            [name, *("capped" if outlet.capped else _filled(each, i) for each in times)]
            for i, (name, outlet) in enumerate(
                zip(names, expectation.site.outlets, strict=True)
            )
        ]  # fmt: skip
        sections.append([Paragraph("Expected by the readings, in brackets 5 to 95 %."),
                         Table(heads, lines)])  # fmt: skip
    return [*sections, [Paragraph(words) for words in water_words(expectation)]]


def _jug(expectation: Expectation, case: int) -> str:
    """What is filled at the outlets, in the unit of the job; marked where nobody said."""
    jug, site = expectation.pours[case].jug, expectation.site
    return _volume(usual_jug(site), site) + "*" if jug is None else _volume(jug, site)


def _volume(volume: float, site: Site) -> str:
    return litres(volume) if site.metric else gallons(volume)


def water_words(expectation: Expectation) -> list[str]:
    """What is taken for the jug, and what pours that are still to be done fill the box with."""
    site, planned = expectation.site, [pour for pour in expectation.pours if not pour.done]
    if not planned:
        return []
    words = []
    if any(pour.jug is None for pour in planned):
        words.append(
            f"* {_volume(usual_jug(site), site)} is taken (common practice), since no jug is "
            "named; --jug names yours."
        )
    return [*words, filling_words(site, planned)]


def filling_words(site: Site, pours: Sequence[Pour]) -> str:
    """The water that an empty box takes before it reaches the outlets, and how long in pours."""
    filling, box = box_filling(site), site.box
    if filling is None:
        wanted = {"inside": not box.inside, "sump": box.sump is None}
        missing = " and ".join(name for name, lacks in wanted.items() if lacks)
        return f"How much water fills the box is not known: enter {missing} under [box]."
    step, name = (0.01, "cm") if site.metric else (INCH, "inch")
    words = (
        f"An empty box first takes {_volume(filling.volume, site)} up to the bottoms of the "
        f"outlet pipes, and {_volume(filling.area * step, site)} more for each {name} that the "
        "lips stand over them."
    )
    full = ", ".join(
        f"{_time(filling.volume / pour.inflow)} at {pour.name.removesuffix(' (default)')}"
        for pour in pours
    )
    return f"{words} To those bottoms that is {full}." if full else words


def _filled(times: Sequence[Array], i: int) -> str:
    fill, fast, slow = (float(each[i]) for each in times)
    if not np.isfinite(fill):
        return f"dry; best {_time(fast)}" if np.isfinite(fast) else "stays dry"
    if fill >= _ENDLESS:
        return f"hours; best {_time(fast)}"
    if not np.isfinite(slow):
        return f"{_time(fill)} (or dry)"
    unit, name = (MINUTE, "min") if slow >= _LONG else (1.0, "s")
    latest = f"to {slow / unit:.0f}" if slow < _ENDLESS else "or more"
    return f"{fill / unit:.0f} {name} ({fast / unit:.0f} {latest})"


_LONG = 600.0
"""From here on times are written in minutes. [s]"""

_ENDLESS = 7200.0
"""Nobody holds a jug for so long. [s] (judgement)"""


def _time(seconds: float) -> str:
    if seconds >= _ENDLESS:
        return f"{seconds / HOUR:.0f} h"
    return f"{seconds / MINUTE:.0f} min" if seconds >= _LONG else f"{seconds:.0f} s"


def _litres(expectation: Expectation, case: int, i: int) -> str:
    values = (expectation.result.flow, expectation.low, expectation.high)
    flow, low, high = (float(value[case, i]) * MINUTE / LITRE for value in values)
    digits = 2 if high < 10.0 else 1 if high < 100.0 else 0
    return f"{flow:.{digits}f} ({low:.{digits}f} to {high:.{digits}f})"


def _after(expectation: Expectation, case: int) -> Table:
    caught, stands = expectation.caught[case], expectation.stands[case]
    total = float(np.nansum(caught))
    heads = [
        _OUTLET,
        *columns({"expected, L/min": 22, "caught, L/min": 15, "gpm": 7}, "right"),
        Column("of all caught", 12, "right", paper=True),
        Column("", 14),
    ]
    lines = []
    for i, outlet in enumerate(expectation.site.outlets):
        cells = [_litres(expectation, case, i), "not caught", "", "", ""]
        if outlet.capped:
            cells = ["capped", "", "", "", ""]
        elif not np.isnan(caught[i]):
            lpm, gpm = (f"{caught[i] * MINUTE / unit:.2f}" for unit in (LITRE, GALLON))
            share = percent_text(float(caught[i]) / total) if total > 0 else ""
            word = "jet decides" if np.isnan(stands[i]) else _STANDS[int(stands[i])]
            word = "held back?" if expectation.held[case, i] else word
            cells = [cells[0], lpm, gpm, share, word]
        lines.append([outlet.label, *cells])
    return Table(heads, lines)


def _balance_words(expectation: Expectation, case: int) -> str:
    found, pour = balance(expectation, case), expectation.pours[case]
    words = f"caught {litres_per_min(found.caught)} of {litres_per_min(pour.inflow)} poured"
    ends = sorted(abs(end) for end in (found.missing_low, found.missing_high))
    band = f"({litres_per_min(ends[0])} to {litres_per_min(ends[1])})"
    amount = f"{litres_per_min(abs(found.missing))} {band}"
    if found.verdict == "balanced":
        return f"{words}: the same, within the error of the catches"
    if found.verdict == "more":
        return f"{words}: MORE THAN POURED by {amount}; check the volumes and the times"
    uncaught = [expectation.site.outlets[i].label for i in found.not_caught]
    if found.verdict == "open":
        return f"{words}; {outlets_text(uncaught)} not caught, so a leak or a spill would not show"
    if found.not_caught:
        words += f", {outlets_text(uncaught)} not caught and taken at the top of the band"
    return f"{words}: {amount} IS MISSING; look for a leak or a spill"
