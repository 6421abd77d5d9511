"""What was seen at a system in trouble, what it points to, and what to look at next: one page.

Where a great deal was seen it goes on to a second page rather than into smaller letters.
"""

from matplotlib.figure import Figure

from dbox.drawings.sheets.page import Pages
from dbox.drawings.sheets.table import entries
from dbox.drawings.style import pens
from dbox.fieldwork.diagnosis.advice import ADVICE
from dbox.fieldwork.diagnosis.diagnose import Answer, Diagnosis
from dbox.fieldwork.diagnosis.fit import Finding
from dbox.files.evidence.words import (
    cause_words,
    contradiction_words,
    look_words,
    seen_lines,
    seen_words,
    size_words,
)
from dbox.files.notation import percent

_TOLD, _FINDINGS, _LOOKS, _LEAST = 3, 3, 2, 0.01

_CAUTION = (
    "Sewer gas kills: never lean into a tank or a box. Trenches cave in; have utilities marked. "
    "Gloves; pump power off; clean water only. Causes are ranked, not proved: local code, the "
    "permit and licensed practice decide."
)


@pens
def findings_sheet(found: Diagnosis, paper: str = "letter") -> tuple[Figure, ...]:
    """Draw an inspection that is filled in.

    Parameters
    ----------
    found : Diagnosis
        What was seen and what came of it.
    paper : str
        `letter` or `a4`.

    Returns
    -------
    tuple of Figure
        The pages.
    """
    pages = Pages("Inspection, filled in", found.site, paper)
    record = found.site.record
    pairs = [
        ("Address", record.address),
        ("Date", record.date),
        ("Permit", record.permit),
        ("Looked at by", record.who),
    ]
    entries(pages, pairs)
    pages.framed([_CAUTION])
    pages.heading("What was seen; what is not named was not looked at")
    pages.paragraph("; ".join(seen_lines(found.site)) or "nothing yet")
    _causes(pages, found)
    pages.heading("Next look")
    for look in found.looks[:_LOOKS]:
        told = f"{look_words(found.site, look)} ({look.minutes:.0f} min, {look.bits:.2f} bit)"
        pages.paragraph(told, mark="-")
    lead = found.answers[0]
    pages.heading(f"If it is {cause_words(found.site, lead)}: the least drastic first")
    for number, step in enumerate(ADVICE[lead.cause.key], start=1):
        pages.paragraph(step, mark=f"{number}.")
    entries(pages, [("Signature", ""), ("Licence or title", "")], least_height=0.4)
    return pages.finished()


def _causes(pages: Pages, found: Diagnosis) -> None:
    """The leading causes with what speaks for and against each, and what does not go together."""
    pages.heading("Causes, ranked; none is announced")
    if not found.fits_well:
        pages.paragraph("None of these fits well: look again, and think of what is not listed.")
    likely = [answer for answer in found.answers[1:_TOLD] if answer.probability >= _LEAST]
    for number, answer in enumerate([found.answers[0], *likely], start=1):
        words = f"{cause_words(found.site, answer)}: {percent(answer.probability, 0)}"
        size = size_words(found.site, answer)
        pages.paragraph(f"{words}; {size}" if size else words, mark=f"{number}.", weight="bold")
        if number == 1 or answer.probability >= found.answers[0].probability / 4:
            _reasons(pages, found, answer)
    for pair in found.contradictions:
        pages.paragraph(f"Do not go together: {contradiction_words(found.site, pair)}", mark="!")


def _reasons(pages: Pages, found: Diagnosis, answer: Answer) -> None:
    for head, findings in (
        ("for", answer.speaks_for),
        ("against", answer.speaks_against),
        ("fits badly", answer.fits_badly),
    ):
        if findings:
            pages.paragraph(f"{head}: {_listed(found, findings)}", mark="  ")


def _listed(found: Diagnosis, findings: tuple[Finding, ...]) -> str:
    return "; ".join(seen_words(found.site, finding.seen) for finding in findings[:_FINDINGS])
