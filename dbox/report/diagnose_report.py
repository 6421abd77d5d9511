"""A diagnosis for machines and for people.

What is not known is null, never 0 and never NaN.
"""

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from dbox.errors import outlets_text
from dbox.fieldwork.diagnosis.causes import CAUSES
from dbox.fieldwork.diagnosis.diagnose import Answer, Diagnosis, Overload, Size
from dbox.fieldwork.diagnosis.next_look import LITTLE, Look, stirs, surfacing, was_opened
from dbox.fieldwork.evidence import Kind
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import Site
from dbox.files.evidence_words import (
    again_words,
    band_words,
    cause_words,
    deciding_words,
    look_again,
    look_words,
    normal_words,
    parting_words,
    seen_at,
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
from dbox.report.encode import Json, encode, keyed, rows
from dbox.report.text import TOGETHER, chance_text, duration
from dbox.report.wording import sentences
from dbox.units import DAY, FOOT, GALLON, MINUTE, gallons

_PAIR_LEAST = 0.001
"""Chance under which two causes at once are not listed. [-] (judgement)"""


def diagnosis_json(diagnosis: Diagnosis) -> Json:
    """The answer of `dbox diagnose --json`."""
    site = diagnosis.site
    left_out = [a.probability for a in diagnosis.answers if not _listed(a)]
    return {
        "causes": [_cause(site, answer) for answer in diagnosis.answers if _listed(answer)],
        "pairs_left_out": {
            "under": _PAIR_LEAST,
            "count": len(left_out),
            "probability": sum(left_out),
        },
        "fits_well": diagnosis.fits_well,
        "summed": [
            {
                "cause": each.cause.key,
                "name": each.cause.name,
                "probability": each.probability,
                "outlets": [_label(site, i) for i in each.outlets],
            }
            for each in diagnosis.summed
        ],
        "unexplained": [seen_words(site, seen) for seen in diagnosis.unexplained],
        "off_level": _size(diagnosis.off_level),
        "next_tests": [
            {
                "test": look.name,
                "outlet": _label(site, look.outlet),
                "text": look_words(site, look.kind, [look.outlet]),
                "would_tell": parting_words(site, look),
                "step": visit_step(look),
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
            {
                "one": seen_at(site, pair.one),
                "other": seen_at(site, pair.other),
                "look_again": again_words(site, pair),
            }
            for pair in diagnosis.contradictions
        ],
        "rests_on": [
            {
                "look": seen_at(site, key.seen),
                "lead": "+".join(CAUSES[cause].key for cause in key.lead),
                "without_it": "+".join(CAUSES[cause].key for cause in key.other),
                "text": deciding_words(key),
                "look_again": look_again(site, key.seen),
            }
            for key in diagnosis.keystones
        ],
        "overload": diagnosis.overload and _overload(site, diagnosis.overload),
        "warnings": sentences(diagnosis.warnings),
    }


def _listed(answer: Answer) -> bool:
    return len(answer.parts) == 1 or answer.probability >= _PAIR_LEAST


def _cause(site: Site, answer: Answer) -> Json:
    reasons = {head.replace(" ", "_"): words for head, words in _reasons(site, answer).items()}
    told: Json = encode({
        "cause": answer.key,
        "name": answer.cause.name,
        "outlet": _label(site, answer.outlet),
        "parts": [
            {"cause": cause.key, "outlet": _label(site, outlet)} for cause, outlet in answer.parts
        ],
        "probability": answer.probability,
        "fits": bool(answer.fits),
        **reasons,
        "size": answer.size and _size(answer.size),
        "advice": answer.cause.advice,
    })  # fmt: skip
    return told


def _size(size: Size) -> Json:
    unit = "m3_s" if size.kind == "leak" else "m"
    ends = {f"{part}_{unit}": getattr(size, part) for part in ("low", "middle", "high")}
    return {"kind": size.kind, **ends}


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
            **{key: value for key, value in keyed(over).items() if isinstance(value, np.ndarray)},
        ),
    })  # fmt: skip
    return told


def _label(site: Site, outlet: int) -> str | None:
    return site.outlets[outlet].label if outlet >= 0 else None


_FIT = 1.02
"""Share over target up to which a line is said to get no more than that. [-] (judgement)"""


def overloaded(site: Site, over: Overload) -> list[Section]:
    """Every line's share, and the line that is the most over its target in numbers."""
    i = over.outlet
    share, target = float(over.share[i]), float(over.target[i])
    shares = [*_shares(site, over), *_sealed(site, over)]
    if share <= _FIT * target:
        return [[*shares, _said("No line gets more than its target.")]]
    told = [
        f"It gets {100 * share:.0f} % of an ordinary day; a re-leveled box would give it its "
        f"target, {100 * target:.0f} %.",
        *(_loads(over) if np.isfinite(over.load[i] + over.acceptance[i]) else [_missing(over)]),
    ]
    if site.evidence.since is not None:
        told.append(f"The trouble has been known for {duration(site.evidence.since)}.")
    told += _rest(over)
    may = "" if over.share_low[i] > target else "MAY BE "
    worst = Heading(f"{may}THE LINE MOST OVER ITS TARGET: outlet {site.outlets[i].label}")
    return [shares, [worst, *map(_said, told)]]


def _said(words: str) -> Paragraph:
    return Paragraph(words, "  ")


def _shares(site: Site, over: Overload) -> Section:
    heads = columns({"now": 6, "5 to 95 %": 16, "target": 9, "of what soil can take": 23}, "right")
    lines = []
    for i, outlet in enumerate(site.outlets):
        if outlet.capped:
            lines.append([outlet.label, "capped", "", "", ""])
            continue
        now, low, high, target = (
            f"{100 * float(s[i]):.0f}"
            for s in (over.share, over.share_low, over.share_high, over.target)
        )
        load = float(over.load[i] / over.acceptance[i])
        times = f"{load:.1f} times" if np.isfinite(load) else "not known"
        lines.append([outlet.label, f"{now} %", f"{low} to {high} %", f"{target} %", times])
    return [
        Heading("SHARE OF AN ORDINARY DAY, as the box stands"),
        Table([Column("outlet", 12), *heads], lines),
    ]


def _sealed(site: Site, over: Overload) -> list[Paragraph]:
    if over.sealed < 0:
        return []
    low, share, high = over.before
    return [_said(
        f"The line of outlet {site.outlets[over.sealed].label} is probably full and backs up, so "
        f"it takes little now. Before that the box as it stands sent it {100 * share:.0f} % "
        f"({100 * low:.0f} to {100 * high:.0f} %) of an ordinary day; its target is "
        f"{100 * over.target[over.sealed]:.0f} %."
    )]  # fmt: skip


def _loads(over: Overload) -> list[str]:
    i = over.outlet
    day = f"{gallons(over.daily_flow * DAY)} a day"
    whence = f"{day}, taken from the number of people alone" if over.from_people else day
    now, takes = float(over.load[i]), float(over.acceptance[i])
    told = (
        f"Of {whence}, its trench bottom is loaded with {_rate(now)}, {now / takes:.1f} times the "
        f"{_rate(takes)} entered for its soil. Re-leveled: {_rate(float(over.load_reset[i]))}."
    )
    if np.isposinf(over.fills_in):
        return [told, "With what its walls take it keeps up: it would not fill to its pipe."]
    if np.isnan(over.fills_in):
        return [told]
    return [
        told,
        f"At that, an empty trench fills to its pipe in {duration(over.fills_in)}; one found full "
        "has been over for that long at least.",
    ]


def _missing(over: Overload) -> str:
    need = [] if np.isfinite(over.daily_flow) else ["the house's day (daily_flow under [evidence])"]
    if not np.isfinite(over.acceptance[over.outlet]):
        need.append("what its soil can take (acceptance under [trench])")
    need = need or ["its size (line_area, or line_length and width under [trench])"]
    return f"Its load is not known; enter {' and '.join(need)}."


def _rest(over: Overload) -> list[str]:
    others = [k for k in np.flatnonzero(over.target > 0).tolist() if k != over.outlet]
    if not others:
        return []
    factor = float(over.share_rested[others[0]] / over.target[others[0]])
    each = "each of the others gets" if len(others) > 1 else "the other gets"
    words = f"Capped for a rest, {each} {factor:.3g} times its share in a re-leveled box"
    worst = over.load_rested[others] / over.acceptance[others]
    if np.isfinite(worst).all():
        words += f": at most {worst.max():.1f} times what its soil can take"
    return [f"{words}."]


def _rate(rate: float) -> str:
    return f"{rate * DAY * FOOT**2 / GALLON:.2f} gal/ft2/day ({rate * DAY * 1e3:.0f} L/m2/day)"


# How much is told: causes, and those told in full; looks, findings and looks to make again; chance
# from which a cause is named, from which it is advised on, and from which it stands out.
_MOST, _TOLD, _LOOKS, _FINDINGS, _KEYSTONES = 6, 3, 5, 4, 2
_LEAST, _ADVISED, _STANDS_OUT = 0.05, 0.15, 0.30
_KNOWN = 2.0 / 3.0
"""Part of the chance of a cause that one outlet has where its outlet is told. [-] (judgement)"""
_LIKELY = 0.65
_CHANCES = ((0.9, "very likely"), (_LIKELY, "likely"), (0.35, "fair chance"), (0.1, "possible"))
_OFF_LEVEL = 0.0008
"""Height between lips from which they are told to be off level. [m] (about 1/32 in: judgement)"""
_STEPS = {
    "before": "Nothing opened yet",
    "open": "While the box is open, its water at rest",
    "water": "Then, with clean water and rods",
}
_BEFORE_WATER = "Before any water is run"


@dataclass(frozen=True)
class Told:
    """A cause as it is told: at one outlet, or at some outlet of several."""

    words: str
    short: str  # The same where there is less room.
    probability: float
    answer: Answer  # That cause where it is most probable.
    outlets: str = ""  # The chance of each, where the outlet is not known.

    @property
    def chance(self) -> str:
        """Its chance in words and in figures, a number and its sign on one line."""
        said = round(self.probability, 2)
        word = next((word for least, word in _CHANCES if said >= least), "unlikely")
        return f"{word}, {chance_text(self.probability).replace(' %', f'{TOGETHER}%')}"


def told_causes(found: Diagnosis) -> list[Told]:
    """The causes, most probable first; one that may sit at several outlets is summed."""
    site, summed = found.site, {each.cause.key: each for each in found.summed}
    told, done = list[Told](), set[str]()
    for answer in found.answers:
        whole = summed.get(answer.key)
        if whole is None or answer.probability > _KNOWN * whole.probability:
            words, short = (cause_words(site, answer, short=short) for short in (False, True))
            told.append(Told(words, short, answer.probability, answer))
        elif answer.key not in done:
            at = [a for a in found.answers if a.key == answer.key and a.outlet in whole.outlets]
            chances: dict[str, list[int]] = {}
            for a in at:
                chances.setdefault(chance_text(a.probability), []).append(a.outlet)
            each = (
                f"{chance} at {'each of ' * (len(outlets) > 1)}"
                + ", ".join(site.outlets[i].label for i in sorted(outlets))
                for chance, outlets in chances.items()
            )
            name, where = whole.cause.name, ", outlet not known"
            short = name.partition(" (")[0] + where
            told.append(Told(name + where, short, whole.probability, answer, "; ".join(each)))
        done.add(answer.key)
    return sorted(told, key=lambda each: -each.probability)


def report(found: Diagnosis) -> list[str]:
    """Lines of at most 72 columns."""
    top, *rest = diagnosis_blocks(found)
    return text([[Paragraph(found.site.title)], top, [Paragraph(RANKED)], *rest])


def diagnosis_blocks(found: Diagnosis) -> list[Section]:
    """Lead and next look; what does not agree; looks, causes, what to do; the lines in numbers."""
    over, told = found.overload, told_causes(found)
    return [
        _top(found, told[0]), _contradictions(found), _keystones(found), _looks(found),
        _normal(found),
        _ranked(found, told), _advice(told),
        *(overloaded(found.site, over) if over else []), warned(found.warnings),
    ]  # fmt: skip


def _top(found: Diagnosis, lead: Told) -> Section:
    stands_out = lead.probability >= _STANDS_OUT
    head = "MOST LIKELY" if stands_out else "NOTHING STANDS OUT YET; first is"
    head = head if found.fits_well else "NOTHING FITS WELL; first is"
    if found.contradictions:
        words = f"DO AGAIN: {again_words(found.site, found.contradictions[0])}"
    elif found.keystones and stands_out:
        words = f"DO AGAIN: {look_again(found.site, found.keystones[0].seen)}"
    elif found.looks and (found.looks[0].bits >= LITTLE or not stands_out):
        kind = found.looks[0].kind
        same = [look for look in found.looks if look.kind is kind]
        words = look_words(found.site, kind, sorted(look.outlet for look in same))
        words = f"DO NEXT: {words} ({sum(look.minutes for look in same):.0f} min)"
    else:
        words = f"NO LOOK LEFT TELLS MUCH MORE; do first: {lead.answer.cause.advice[0]}"
    return [Heading(f"{head}: {lead.short}: {lead.chance}"), Paragraph(words, hang=2)]


def _contradictions(found: Diagnosis) -> Section:
    site = found.site
    told = [
        f"{seen_at(site, pair.one)}; but {seen_at(site, pair.other)}. Do again: "
        f"{again_words(site, pair)}"
        for pair in found.contradictions
    ]
    return _listed_under("DO NOT GO TOGETHER; look again before you trust the rest", told)


def _keystones(found: Diagnosis) -> Section:
    site = found.site
    told = [
        f"{seen_at(site, key.seen)}; {deciding_words(key)}. Do again: {look_again(site, key.seen)}"
        for key in found.keystones[:_KEYSTONES]
    ]
    return _listed_under("THE LEAD RESTS ON ONE LOOK; make that again before you dig", told)


def _listed_under(head: str, told: Sequence[str]) -> Section:
    return [Heading(head), *(Paragraph(words, "  - ") for words in told)] if told else []


def _normal(found: Diagnosis) -> Section:
    heads = {"ask": "Ask", "explains": "MAY BE ALL THERE IS TO IT", "ruled out": "Ruled out"}
    things = sorted(found.normal, key=lambda n: list(heads).index(n.state))
    told = [Paragraph(f"{heads[n.state]}: {normal_words(n)}.", "  ", hang=2) for n in things]
    return [Heading("WHAT MAY BE NORMAL"), *told]


def _ranked(found: Diagnosis, causes: Sequence[Told]) -> Section:
    site = found.site
    blocks: list[Block] = [Heading("CAUSES: ranked, not proved")]
    if not (site.evidence.count or site.pours or any(o.readings for o in site.outlets)):
        words = "Nothing was seen yet: this is how common each is taken to be."
        blocks.append(Paragraph(words))
    if not found.fits_well:
        blocks.append(Paragraph(
            "NONE OF THESE FITS WELL: what was seen is a surprise even under the first. Check it, "
            "look again, and think of what is not listed here."
        ))  # fmt: skip
    told = [each for each in causes[:_MOST] if each.probability >= _LEAST] or [*causes[:1]]
    named = set[str]()
    for number, each in enumerate(told, start=1):
        # what stands in brackets is told once
        new = {cause.name for cause, _ in each.answer.parts if "(" in cause.name} - named
        named |= new
        words = each.words if new else each.short
        blocks.append(Paragraph(f"{words}: {each.chance}", f"  {number}. "))
        if number <= _TOLD:
            blocks += [Paragraph(line, "     ", hang=2) for line in _why(found, each)]
    rest = max(1.0 - sum(each.probability for each in told), 0.0)
    blocks.append(_said(f"all the others together: {chance_text(rest)}"))
    if words := _off_level(found, causes[0]):
        blocks.append(_said(words))
    return blocks


def _off_level(found: Diagnosis, lead: Told) -> str:
    """Whether a box off level is in trouble by it; nothing where its lips are alike."""
    site, read = found.site, reduce_readings(found.site).height
    if any(cause.tilted for cause, _ in lead.answer.parts) and lead.probability >= _STANDS_OUT:
        band = band_words(lead.answer.size or found.off_level, site.lengths)
        sure = "is the likely" if lead.probability >= _LIKELY else "may well be the"
        return f"The box is tilted by {band} across its outlets, which {sure} trouble."
    read = read[np.isfinite(read)]
    if read.size < 2 or np.ptp(read) < _OFF_LEVEL:
        return ""
    inches, metric = site.lengths.pair(float(np.ptp(read)))
    causes = [cause for cause, _ in lead.answer.parts] if lead.probability >= _STANDS_OUT else []
    if any(cause.normal and cause.fault for cause in causes):
        return ""
    may = "may well" if any(cause.fault and cause.fault.read for cause in causes) else "may not"
    return f"The lips are off level by {inches} ({metric}), which {may} be the trouble."


def _why(found: Diagnosis, each: Told) -> list[str]:
    """Lines under a cause: its size, what speaks for it and against it, what it leaves over."""
    if each.outlets:
        return [f"by outlet: {each.outlets}"]
    told = {"size": size_words(found.site, each.answer)}
    for head, findings in _reasons(found.site, each.answer).items():
        more = len(findings) - _FINDINGS
        words = "; ".join(findings[:_FINDINGS])
        told[head] = f"{words}; and {more} more" if more > 0 else words
    if each.answer is found.answers[0]:
        told["this leaves unexplained"] = told.pop("fits badly")
    return [f"{head}: {words}" for head, words in told.items() if words]


def _reasons(site: Site, answer: Answer) -> dict[str, list[str]]:
    """What speaks for a cause and against it, what is so at every outlet told once."""
    badly, support = dict[str, bool](), defaultdict[str, float](float)
    for finding in sorted(answer.findings, key=lambda f: 2 if f.fits_badly else f.support <= 0):
        words = seen_words(site, finding.seen)
        badly.setdefault(words, finding.fits_badly)
        support[words] += finding.support
    told: dict[str, list[str]] = {"for": [], "against": [], "fits badly": []}
    for words, bad in badly.items():
        told["fits badly" if bad else "for" if support[words] > 0 else "against"].append(words)
    return told


def visit_step(look: Look) -> str:
    """When on a visit a look is made: `before` the box is opened, `open` at rest, with `water`."""
    return "water" if stirs(look.kind) else "open" if look.kind.inside else "before"


def _looks(found: Diagnosis) -> Section:
    site, looks = found.site, found.looks
    if not looks:
        return [Heading("NEXT LOOK: everything on the list was looked at")]
    blocks: list[Block] = [Heading("NEXT LOOK, in the order of one visit")]
    if looks[0].bits < LITTLE:
        blocks.append(_said("No look left is expected to change the ranking much."))
    opening = max(look.minutes - look.kind.minutes for look in looks)
    groups: dict[tuple[str, Kind], list[Look]] = {}
    for look in looks:
        groups.setdefault((visit_step(look), look.kind), []).append(look)
    now = ""
    for (step, kind), same in [*groups.items()][:_LOOKS]:
        if step != now:
            words = _BEFORE_WATER if step == "before" and was_opened(site) else _STEPS[step]
            to_open = f", {opening:.0f} min to open it" if step == "open" and opening else ""
            blocks.append(_said(f"{words}{to_open}:"))
            now = step
        words = look_words(site, kind, sorted(look.outlet for look in same))
        words = "; ".join(filter(None, (words, parting_words(site, same[0]))))
        blocks.append(Paragraph(words, f"  {kind.minutes * len(same):3.0f} min  "))
    if (wet := surfacing(site)) and len(site.pours) < 2:
        where = outlets_text(site.outlets[i].label for i in wet)
        blocks.append(_said(f"No pour while water surfaces at {where}: more would run there."))
    return blocks


def _advice(causes: Sequence[Told]) -> Section:
    if causes[0].probability < _STANDS_OUT:
        percent = f"{100 * _STANDS_OUT:.0f}{TOGETHER}%"
        return [Heading(f"LOOK FIRST: no cause has {percent}, so nothing is advised yet")]
    blocks: list[Block] = [Heading("WHAT TO DO, the least drastic first; look before you dig")]
    said = set[str]()
    for each in [each for each in causes[:_TOLD] if each.probability >= _ADVISED]:
        new = [step for step in each.answer.cause.advice if step not in said]
        said.update(new)
        if new:
            blocks.append(Paragraph(f"If {each.short}:", "  ", hang=2))
        blocks += [Paragraph(step, f"    {number}. ") for number, step in enumerate(new, start=1)]
    return blocks
