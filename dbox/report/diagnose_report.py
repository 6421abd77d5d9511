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
from dbox.report.blocks import (
    Block,
    Column,
    Heading,
    Paragraph,
    Section,
    Table,
    columns,
    text,
    warned,
)
from dbox.report.cautions import RANKED
from dbox.report.encode import Json, encode, rows
from dbox.report.text import TOGETHER, chance_text, duration
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
    told: Json = encode({
        "cause": answer.cause.key,
        "name": answer.cause.name,
        "outlet": _label(site, answer.outlet),
        "probability": answer.probability,
        "fits": bool(answer.fits),
        **reasons,
        "size": answer.size,
        "advice": answer.cause.advice,
    })  # fmt: skip
    return told


def _overload(site: Site, over: Overload) -> Json:
    low, before, high = over.before
    told: Json = encode({
        "outlet": _label(site, over.outlet),
        "from_people": over.from_people,
        # null: not known, or never, which keeps_up tells apart
        "keeps_up": None if np.isnan(over.fills_in) else bool(np.isposinf(over.fills_in)),
        "known_since_s": site.evidence.since,
        "sealed_outlet": _label(site, over.sealed),
        "daily_flow_m3_s": over.daily_flow,
        "fills_in_s": over.fills_in,
        "share_before_sealed": before,
        "share_before_sealed_low": low,
        "share_before_sealed_high": high,
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
    })  # fmt: skip
    return told


def _label(site: Site, outlet: int) -> str | None:
    return site.outlets[outlet].label if outlet >= 0 else None


_FIT = 1.02
"""Share over target up to which a line is told to get no more than it ought to. [-] (judgement)"""


def overloaded(site: Site, over: Overload) -> list[Section]:
    """Every line's share, and the line that gets the most over what it ought to in numbers."""
    i = over.outlet
    label, share, target = site.outlets[i].label, float(over.share[i]), float(over.target[i])
    shares, sealed = _shares(site, over), _sealed(site, over)
    if share <= _FIT * target:
        return [[*shares, _said("No line gets more than it ought to."), *map(_said, sealed)]]
    ends = f"{100 * over.share_low[i]:.0f} to {100 * over.share_high[i]:.0f} %"
    told = [
        f"As it stands it gets {100 * share:.0f} % ({ends}) of an ordinary day; it ought to get "
        f"{100 * target:.0f} %, and would from a box that is set again.",
        *(_loads(over) if over.known else [_missing(over)]),
    ]
    if site.evidence.since is not None:
        told.append(f"The trouble has been known for {duration(site.evidence.since)}.")
    told += _rest(over)
    worst = Heading(f"THE LINE THAT GETS THE MOST NOW: outlet {label}")
    return [[*shares, *map(_said, sealed)], [worst, *map(_said, told)]]


def _said(words: str) -> Paragraph:
    return Paragraph(words, "  ")


def _shares(site: Site, over: Overload) -> Section:
    heads = columns({"now": 6, "5 to 95 %": 16, "ought": 9, "of what soil takes": 21}, "right")
    lines = []
    for i, outlet in enumerate(site.outlets):
        if outlet.capped:
            lines.append([outlet.label, "capped", "", "", ""])
            continue
        now, low, high, ought = (
            f"{100 * float(s[i]):.0f}"
            for s in (over.share, over.share_low, over.share_high, over.target)
        )
        load = float(over.load[i] / over.acceptance[i])
        times = f"{load:.1f} times" if np.isfinite(load) else "not known"
        lines.append([outlet.label, f"{now} %", f"{low} to {high} %", f"{ought} %", times])
    return [
        Heading("SHARE OF AN ORDINARY DAY, as the box stands"),
        Table([Column("outlet", 12), *heads], lines),
    ]


def _sealed(site: Site, over: Overload) -> list[str]:
    if over.sealed < 0:
        return []
    label, (low, share, high) = site.outlets[over.sealed].label, over.before
    return [
        f"The line of outlet {label} is probably full and backs up, so it takes little now. Before "
        f"that the box as it stands sent it {100 * share:.0f} % ({100 * low:.0f} to "
        f"{100 * high:.0f} %) of an ordinary day; it ought to get "
        f"{100 * over.target[over.sealed]:.0f} %."
    ]


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
    title = [[Paragraph(found.site.title)], [Paragraph(RANKED)]]
    return text([*title, *diagnosis_blocks(found)])


def diagnosis_blocks(found: Diagnosis) -> list[Section]:
    """What may be normal, the causes, the next looks, what to do, and the lines in numbers."""
    over = found.overload
    return [
        _normal(found), _ranked(found), _looks(found), _advice(found),
        *(overloaded(found.site, over) if over else []), warned(found.warnings),
    ]  # fmt: skip


def _normal(found: Diagnosis) -> Section:
    heads = {"ask": "Ask", "explains": "MAY BE ALL THERE IS TO IT", "ruled out": "Ruled out"}
    things = sorted(found.normal, key=lambda n: list(heads).index(n.state))
    told = [Paragraph(f"{heads[n.state]}: {normal_words(n)}.", "  ", hang=2) for n in things]
    return [Heading("FIRST, WHAT MAY BE NORMAL"), *told]


def _ranked(found: Diagnosis) -> Section:
    site = found.site
    blocks: list[Block] = [Heading("CAUSES: ranked, none is announced")]
    if not (site.evidence.count or site.pours or any(o.readings for o in site.outlets)):
        words = "Nothing was seen yet: this is how common each is taken to be."
        blocks.append(Paragraph(words))
    if not found.fits_well:
        blocks.append(Paragraph(
            "NONE OF THESE FITS WELL: what was seen is a surprise even under the first. Check it, "
            "look again, and think of what is not listed here."
        ))  # fmt: skip
    told = [a for a in found.answers[:_MOST] if a.probability >= _LEAST] or [*found.answers[:1]]
    for number, answer in enumerate(told, start=1):
        word = next((word for least, word in _CHANCES if answer.probability >= least), "unlikely")
        # a number and its sign stay on one line
        chance = chance_text(answer.probability).replace(" %", f"{TOGETHER}%")
        words = f"{cause_words(site, answer)}: {word}, {chance}"
        blocks.append(Paragraph(words, f"  {number}. "))
        if number <= _TOLD:
            reasons = _reasons(site, answer)
            blocks += [Paragraph(reason, "     ", hang=2) for reason in reasons]
    rest = max(1.0 - sum(answer.probability for answer in told), 0.0)
    blocks.append(_said(f"all the others together: {chance_text(rest)}"))
    if found.contradictions:
        blocks.append(Heading("DO NOT GO TOGETHER under any one cause; look at both again"))
    pairs = (contradiction_words(site, pair) for pair in found.contradictions)
    return [*blocks, *(Paragraph(words, "  - ") for words in pairs)]


def _reasons(site: Site, answer: Answer) -> list[str]:
    told = {"size": size_words(site, answer)}
    for head, findings in answer.reasons.items():
        more = len(findings) - _FINDINGS
        words = "; ".join(seen_words(site, finding.seen) for finding in findings[:_FINDINGS])
        told[head] = f"{words}; and {more} more" if more > 0 else words
    return [f"{head}: {words}" for head, words in told.items() if words]


def _looks(found: Diagnosis) -> Section:
    if not found.looks:
        return [Heading("NEXT LOOK: everything on the list was looked at")]
    looks = [
        Paragraph(
            look_words(found.site, look), f"  {look.bits:4.2f} bit  {look.minutes:3.0f} min  ", 1
        )
        for look in found.looks[:_LOOKS]
    ]
    if found.looks[0].bits < _LITTLE:
        looks.append(_said("None of them is expected to change the ranking much."))
    return [Heading("NEXT LOOK, by what it is expected to tell for its effort"), *looks]


def _advice(found: Diagnosis) -> Section:
    blocks: list[Block] = [Heading("WHAT TO DO, the least drastic first; look before you dig")]
    leading = [a for a in found.answers[:_TOLD] if a.probability >= _ADVISED]
    for answer in leading or found.answers[:1]:
        blocks.append(Paragraph(f"If {cause_words(found.site, answer)}:", "  ", hang=2))
        steps = enumerate(answer.cause.advice, start=1)
        blocks += [Paragraph(step, f"    {number}. ") for number, step in steps]
    return blocks
