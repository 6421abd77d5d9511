"""A diagnosis for machines and for people.

What is not known is null, never 0 and never NaN.
"""

import numpy as np

from dbox.fieldwork.diagnosis.diagnose import Answer, Diagnosis, Overload
from dbox.fieldwork.site import Site
from dbox.files.evidence_words import (
    cause_words,
    contradiction_words,
    look_words,
    normal_words,
    seen_words,
    size_words,
)
from dbox.report.cautions import RANKED
from dbox.report.encode import Json, encode, rows
from dbox.report.surge_report import duration
from dbox.report.text import chance_text, noted, wrapped
from dbox.report.wording import sentences
from dbox.units import DAY, FOOT, GALLON, MINUTE, gallons


def diagnosis_json(diagnosis: Diagnosis) -> Json:
    """The answer of `dbox diagnose --json`."""
    site = diagnosis.site
    return {
        "causes": [_cause(site, answer) for answer in diagnosis.answers],
        "fits_well": diagnosis.fits_well,
        "next_tests": [
            {
                "test": look.name,
                "outlet": _label(site, look.outlet),
                "text": look_words(site, look),
                "expected_information_bits": look.bits,
                "effort": f"{look.minutes:.0f} min",
                "effort_s": look.minutes * MINUTE,
            }
            for look in diagnosis.looks
        ],
        "normal": [
            {"topic": each.topic, "state": each.state, "text": normal_words(each)}
            for each in diagnosis.normal
        ],
        "contradictions": [
            {"one": seen_words(site, pair.one), "other": seen_words(site, pair.other)}
            for pair in diagnosis.contradictions
        ],
        "overload": diagnosis.overload and _overload(site, diagnosis.overload),
        "warnings": sentences(diagnosis.warnings),
    }


def _cause(site: Site, answer: Answer) -> Json:
    reasons = {
        head.replace(" ", "_"): [seen_words(site, finding.seen) for finding in findings]
        for head, findings in answer.reasons.items()
    }
    return {
        "cause": answer.cause.key,
        "name": answer.cause.name,
        "outlet": _label(site, answer.outlet),
        "probability": answer.probability,
        "fits": bool(answer.fits),
        **reasons,
        "size": encode(answer.size),
        "advice": list(answer.cause.advice),
    }


def _overload(site: Site, over: Overload) -> Json:
    low, before, high = over.before
    return {
        "outlet": _label(site, over.outlet),
        "from_people": over.from_people,
        # null: not known, or never, which keeps_up tells apart
        "keeps_up": None if np.isnan(over.fills_in) else bool(np.isposinf(over.fills_in)),
        "known_since_s": site.evidence.since,
        "sealed_outlet": _label(site, over.sealed),
        **encode(
            {
                "daily_flow_m3_s": over.daily_flow,
                "fills_in_s": over.fills_in,
                "share_before_sealed": before,
                "share_before_sealed_low": low,
                "share_before_sealed_high": high,
            }
        ),
        "outlets": rows(
            label=[outlet.label for outlet in site.outlets],
            share=over.share,
            share_low=over.share_low,
            share_high=over.share_high,
            share_rising_low=over.share_rising_low,
            share_rising_high=over.share_rising_high,
            target=over.target,
            share_rested=over.rested,
            load_m_s=over.load,
            load_reset_m_s=over.load_reset,
            load_rested_m_s=over.load_rested,
            acceptance_m_s=over.acceptance,
        ),
    }


def _label(site: Site, outlet: int) -> str | None:
    return site.outlets[outlet].label if outlet >= 0 else None


_FIT = 1.02
"""Share over target up to which a line is told to get no more than it ought to. [-] (judgement)"""
_LABEL = 12
"""Columns of a label."""


def overloaded(site: Site, over: Overload) -> list[str]:
    """Every line's share, and the line that gets the most over what it ought to in numbers."""
    i, lines = over.outlet, _shares(site, over)
    label, share, target = site.outlets[i].label, float(over.share[i]), float(over.target[i])
    if share <= _FIT * target:
        return [
            *lines, *wrapped("No line gets more than it ought to.", first="  "),
            *_sealed(site, over),
        ]  # fmt: skip
    ends = f"{100 * over.share_low[i]:.0f} to {100 * over.share_high[i]:.0f} %"
    told = [
        f"As it stands it gets {100 * share:.0f} % ({ends}) of an ordinary day; it ought to get "
        f"{100 * target:.0f} %, and would from a box that is set again.",
        *(_loads(over) if over.known else [_missing(over)]),
    ]
    if site.evidence.since is not None:
        told.append(f"The trouble has been known for {duration(site.evidence.since)}.")
    told += _rest(over)
    lines += [
        *_sealed(site, over), "", *wrapped(f"THE LINE THAT GETS THE MOST NOW: outlet {label}"),
    ]  # fmt: skip
    return lines + [line for each in told for line in wrapped(each, first="  ", indent="  ")]


def _shares(site: Site, over: Overload) -> list[str]:
    lines = ["SHARE OF AN ORDINARY DAY, as the box stands"]
    heads = f"{'now':>6}{'5 to 95 %':>16}{'ought':>9}{'of what soil takes':>21}"
    lines.append(f"  {'outlet':<{_LABEL}}{heads}")
    for i, outlet in enumerate(site.outlets):
        label = outlet.label if len(outlet.label) < _LABEL else f"{outlet.label[: _LABEL - 2]}~"
        if outlet.capped:
            lines.append(f"  {label:<{_LABEL}}{'capped':>6}")
            continue
        now, ought = (f"{100 * float(s[i]):.0f} %" for s in (over.share, over.target))
        band = f"{100 * over.share_low[i]:.0f} to {100 * over.share_high[i]:.0f} %"
        load = float(over.load[i] / over.acceptance[i])
        times = f"{load:.1f} times" if np.isfinite(load) else "not known"
        lines.append(f"  {label:<{_LABEL}}{now:>6}{band:>16}{ought:>9}{times:>21}")
    return lines


def _sealed(site: Site, over: Overload) -> list[str]:
    if over.sealed < 0:
        return []
    label, (low, share, high) = site.outlets[over.sealed].label, over.before
    words = (
        f"The line of outlet {label} is probably full and backs up, so it takes little now. Before "
        f"that the box as it stands sent it {100 * share:.0f} % ({100 * low:.0f} to "
        f"{100 * high:.0f} %) of an ordinary day; it ought to get "
        f"{100 * over.target[over.sealed]:.0f} %."
    )
    return wrapped(words, first="  ", indent="  ")


def _loads(over: Overload) -> list[str]:
    i = over.outlet
    day = f"{gallons(over.daily_flow * DAY)} a day"
    whence = f"{day}, taken from the number of people alone" if over.from_people else day
    now, takes = float(over.load[i]), float(over.acceptance[i])
    told = (
        f"Of {whence}, its trench bottom is loaded with {_rate(now)}; entered is that its soil "
        f"takes {_rate(takes)}: {now / takes:.1f} times that. Set again: "
        f"{_rate(float(over.load_reset[i]))}."
    )
    if np.isposinf(over.fills_in):
        return [told, "With what its walls take it keeps up: it would not fill to its pipe."]
    if np.isnan(over.fills_in):
        return [told]
    full = duration(over.fills_in)
    return [
        told,
        f"At that, an empty trench fills to its pipe in {full}; one that is found full has been "
        "over for that long at least.",
    ]


def _missing(over: Overload) -> str:
    need = [] if np.isfinite(over.daily_flow) else ["daily_flow under [evidence]"]
    if not np.isfinite(over.acceptance[over.outlet]):
        need.append("[trench] with its acceptance")
    need = need or ["line_area or line_length and [trench] width"]
    return f"Its load for each square foot is not known; it needs {' and '.join(need)}."


def _rest(over: Overload) -> list[str]:
    n = int((over.target > 0).sum())
    if n < 2:
        return []
    others = [k for k in np.flatnonzero(over.target > 0).tolist() if k != over.outlet]
    target = over.target[others]
    if np.ptp(target) > 1e-9 * target.max() or abs(target[0] - over.target[over.outlet]) > 1e-9:
        factor = float(over.rested[others[0]] / target[0])
        told = f"{factor:.2f} times"
    else:
        told = f"{n}/{n - 1} of"
    words = f"Capped for a rest, each of the others gets {told} its share in a box set again"
    worst = over.load_rested[others] / over.acceptance[others]
    if np.isfinite(worst).all():
        words += f": at most {worst.max():.2f} times what its soil takes"
    return [f"{words}."]


def _rate(rate: float) -> str:
    imperial, metric = rate * DAY * FOOT**2 / GALLON, rate * DAY * 1e3
    return f"{imperial:.2g} gal/ft2/day ({metric:.3g} L/m2/day)"


# How much is told: causes, and those told in full; looks and findings; chance from which a cause is
# named, and from which it is advised on; information below which a look tells little [bit].
_MOST, _TOLD, _LOOKS, _FINDINGS = 6, 3, 3, 4
_LEAST, _ADVISED, _LITTLE = 0.05, 0.15, 0.05
_CHANCES = ((0.9, "very likely"), (0.65, "likely"), (0.35, "may well be"), (0.1, "possible"))


def report(found: Diagnosis) -> list[str]:
    """Lines of at most 72 columns."""
    lines = wrapped(found.site.title) if found.site.title else []
    lines += ["", *wrapped(RANKED), "", *_normal(found), "", *_ranked(found)]
    if found.contradictions:
        lines += ["", "DO NOT GO TOGETHER under any one cause; look at both again"]
        for pair in found.contradictions:
            lines += wrapped(contradiction_words(found.site, pair), first="  - ", indent="    ")
    lines += ["", *_looks(found), "", *_advice(found)]
    if found.overload is not None:
        lines += ["", *overloaded(found.site, found.overload)]
    return [*lines, *noted(sentences(found.warnings))]


def _normal(found: Diagnosis) -> list[str]:
    heads = {"ask": "Ask", "explains": "MAY BE ALL THERE IS TO IT", "ruled out": "Ruled out"}
    lines = ["FIRST, WHAT MAY BE NORMAL"]
    for thing in sorted(found.normal, key=lambda n: list(heads).index(n.state)):
        lines += wrapped(f"{heads[thing.state]}: {normal_words(thing)}.", first="  ", indent="    ")
    return lines


def _ranked(found: Diagnosis) -> list[str]:
    site = found.site
    lines = ["CAUSES: ranked, none is announced"]
    if not (site.evidence.count or site.pours or any(o.readings for o in site.outlets)):
        lines += wrapped("Nothing was seen yet: this is how common each is taken to be.")
    if not found.fits_well:
        lines += wrapped(
            "NONE OF THESE FITS WELL: what was seen is a surprise even under the first. Check it, "
            "look again, and think of what is not listed here."
        )
    told = [a for a in found.answers[:_MOST] if a.probability >= _LEAST] or [*found.answers[:1]]
    for number, answer in enumerate(told, start=1):
        words = f"{number}. {cause_words(site, answer)}: {_chance(answer.probability)}"
        # a number and its sign stay on one line
        held = wrapped(words.replace(" %", "\xa0%"), first="  ", indent="     ")
        lines += [line.replace("\xa0", " ") for line in held]
        if number <= _TOLD:
            lines += _reasons(site, answer)
    rest = 1.0 - sum(answer.probability for answer in told)
    return [*lines, f"  all the others together: {chance_text(max(rest, 0.0))}"]


def _reasons(site: Site, answer: Answer) -> list[str]:
    told = {"size": size_words(site, answer)}
    for head, findings in answer.reasons.items():
        more = len(findings) - _FINDINGS
        words = "; ".join(seen_words(site, finding.seen) for finding in findings[:_FINDINGS])
        told[head] = f"{words}; and {more} more" if more > 0 else words
    return [
        line
        for head, words in told.items()
        if words
        for line in wrapped(f"{head}: {words}", first="     ", indent="       ")
    ]


def _looks(found: Diagnosis) -> list[str]:
    if not found.looks:
        return ["NEXT LOOK: everything on the list was looked at"]
    lines = ["NEXT LOOK, by what it is expected to tell for its effort"]
    for look in found.looks[:_LOOKS]:
        lines += wrapped(
            f"{look.bits:4.2f} bit  {look.minutes:3.0f} min  {look_words(found.site, look)}",
            first="  ",
            indent=" " * 22,
        )
    if found.looks[0].bits < _LITTLE:
        lines += wrapped("None of them is expected to change the ranking much.", first="  ")
    return lines


def _advice(found: Diagnosis) -> list[str]:
    site, lines = found.site, ["WHAT TO DO, the least drastic first; look before you dig"]
    leading = [a for a in found.answers[:_TOLD] if a.probability >= _ADVISED]
    for answer in leading or found.answers[:1]:
        lines += wrapped(f"If {cause_words(site, answer)}:", first="  ", indent="    ")
        for number, step in enumerate(answer.cause.advice, start=1):
            lines += wrapped(f"{number}. {step}", first="    ", indent="       ")
    return lines


def _chance(probability: float) -> str:
    words = next((word for least, word in _CHANCES if probability >= least), "unlikely")
    return f"{words}, {chance_text(probability)}"
