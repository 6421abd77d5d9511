"""The text of `dbox diagnose`: what may be normal, ranked causes, next looks, lines in numbers."""

from dbox.fieldwork.diagnosis.advice import ADVICE, CAUTIONS
from dbox.fieldwork.diagnosis.diagnose import Answer, Diagnosis
from dbox.fieldwork.diagnosis.fit import Finding
from dbox.fieldwork.site import Site
from dbox.files.evidence.words import (
    cause_words,
    contradiction_words,
    look_words,
    seen_words,
    size_words,
)
from dbox_cli.diagnose.lines import overloaded
from dbox_cli.output import noted, wrapped

_LEAST = 0.05
_MOST = 6
_TOLD = 3
_LOOKS = 3
_FINDINGS = 4
_ADVISED = 0.15
_LITTLE = 0.05
_CHANCES = ((0.9, "very likely"), (0.65, "likely"), (0.35, "may well be"), (0.1, "possible"))


def report(found: Diagnosis) -> list[str]:
    """Lines of at most 72 columns."""
    lines = wrapped(found.site.title) if found.site.title else []
    lines += ["", *wrapped(" ".join(CAUTIONS))]
    lines += ["", *_normal(found)]
    lines += ["", *_ranked(found)]
    if found.contradictions:
        lines += ["", *_contradictions(found)]
    lines += ["", *_looks(found)]
    lines += ["", *_advice(found)]
    if found.overload is not None:
        lines += ["", *overloaded(found.site, found.overload)]
    return [*lines, *noted(found.warnings)]


def _normal(found: Diagnosis) -> list[str]:
    heads = {"ask": "Ask", "explains": "MAY BE ALL THERE IS TO IT", "ruled out": "Ruled out"}
    lines = ["FIRST, WHAT MAY BE NORMAL"]
    for thing in sorted(found.normal, key=lambda n: list(heads).index(n.state)):
        lines += wrapped(f"{heads[thing.state]}: {thing.text}.", first="  ", indent="    ")
    return [line.replace("?.", "?") for line in lines]


def _ranked(found: Diagnosis) -> list[str]:
    site = found.site
    lines = ["CAUSES: ranked, none is announced"]
    seen = site.evidence.count or site.pours or any(o.readings for o in site.outlets)
    if not seen:
        lines += wrapped("Nothing was seen yet: this is how common each is taken to be.")
    if not found.fits_well:
        lines += wrapped(
            "NONE OF THESE FITS WELL: what was seen is a surprise even under the first. Check it, "
            "look again, and think of what is not listed here."
        )
    told = [a for a in found.answers[:_MOST] if a.probability >= _LEAST] or [*found.answers[:1]]
    for number, answer in enumerate(told, start=1):
        lines += _cause(site, number, answer, full=number <= _TOLD)
    rest = 1.0 - sum(answer.probability for answer in told)
    lines.append(f"  all the others together: {_per_cent(max(rest, 0.0))}")
    return lines


def _cause(site: Site, number: int, answer: Answer, *, full: bool) -> list[str]:
    chance = f"{_chance(answer.probability)}, {_per_cent(answer.probability)}"
    words = f"{number}. {cause_words(site, answer)}: {chance}"
    # a number and its sign stay on one line
    held = wrapped(words.replace(" %", "\xa0%"), first="  ", indent="     ")
    lines = [line.replace("\xa0", " ") for line in held]
    if not full:
        return lines
    if size := size_words(site, answer):
        lines += wrapped(f"size: {size}", first="     ", indent="       ")
    for head, findings in (
        ("for", answer.speaks_for),
        ("against", answer.speaks_against),
        ("fits badly", answer.fits_badly),
    ):
        lines += _findings(site, head, findings)
    return lines


def _findings(site: Site, head: str, findings: tuple[Finding, ...]) -> list[str]:
    if not findings:
        return []
    words = "; ".join(seen_words(site, finding.seen) for finding in findings[:_FINDINGS])
    more = len(findings) - _FINDINGS
    tail = f"; and {more} more" if more > 0 else ""
    return wrapped(f"{head}: {words}{tail}", first="     ", indent="       ")


def _contradictions(found: Diagnosis) -> list[str]:
    lines = ["DO NOT GO TOGETHER under any one cause; look at both again"]
    for pair in found.contradictions:
        lines += wrapped(contradiction_words(found.site, pair), first="  - ", indent="    ")
    return lines


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
        for number, step in enumerate(ADVICE[answer.cause.key], start=1):
            lines += wrapped(f"{number}. {step}", first="    ", indent="       ")
    return lines


def _chance(probability: float) -> str:
    return next((word for least, word in _CHANCES if probability >= least), "unlikely")


def _per_cent(probability: float) -> str:
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
