"""How is a mystery case handed out? One sheet for each group to guess from; the key apart."""

from collections.abc import Sequence
from dataclasses import replace

from matplotlib.figure import Figure

from dbox.drawings.sheets.page import Pages
from dbox.drawings.sheets.table import Column, entries, table
from dbox.drawings.style import pens
from dbox.fieldwork.lessons.cases import Case
from dbox.files.lessons.case_words import (
    BLANKS,
    CAUTION,
    INVENTED,
    QUESTION,
    Rows,
    answer,
    pours_said,
    readings,
    same_at_all_outlets,
    seen_at_outlets,
    seen_of_the_whole,
)

_ROW = 0.27


@pens
def case_pages(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the handouts, each group's on pages of its own.

    Parameters
    ----------
    cases : sequence of Case
        One for each group.
    paper : str
        `letter` or `a4`.

    Returns
    -------
    tuple of Figure
        The pages of all groups, one after the other.
    """
    return tuple(page for case in cases for page in _handout(case, paper))


@pens
def case_key(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the key of all groups, to be kept apart.

    Parameters
    ----------
    cases : sequence of Case
        One for each group.
    paper : str
        `letter` or `a4`.

    Returns
    -------
    tuple of Figure
        Its pages.
    """
    first = replace(cases[0].site, title=f"Seed {cases[0].seed}, {len(cases)} group(s)")
    pages = Pages("KEY to the mystery cases", first, paper)
    for case in cases:
        pages.heading(case.site.title, keep=2.0)
        for name, words in answer(case):
            pages.paragraph(f"{name}: {words}", weight="bold" if name == "Cause" else "normal")
        for reason in case.why:
            pages.paragraph(reason, mark="·")
    pages.skip(0.1)
    pages.framed([INVENTED, "Rank causes and look; never announce one from a sheet."])
    return pages.finished()


def _handout(case: Case, paper: str) -> tuple[Figure, ...]:
    pages = Pages("Which cause?", case.shown, paper)
    pages.paragraph(
        "The field gives trouble. Everything below was read or seen; what is not told, nobody "
        "looked at."
    )
    pages.heading("Read and caught")
    _set(pages, readings(case), 2.6)
    pages.paragraph(pours_said(case))
    pages.heading("Seen at the outlets and their lines", keep=1.0)
    differing = seen_at_outlets(case)
    if differing.rows:
        _set(pages, differing, 1.7)
    pages.paragraph(f"At every outlet alike: {'; '.join(same_at_all_outlets(case))}.")
    pages.heading("House, tank and box", keep=1.0)
    pages.paragraph("; ".join(seen_of_the_whole(case)) + ".")
    pages.heading("Your guess", keep=1.7)
    pages.paragraph(QUESTION)
    entries(pages, [(blank, "") for blank in BLANKS], least_height=0.32)
    pages.framed([f"{INVENTED} {CAUTION}"])
    return pages.finished()


def _set(pages: Pages, rows: Rows, first: float) -> None:
    columns = [
        Column(head, first if i == 0 else 1.0, "left" if i == 0 else "center")
        for i, head in enumerate(rows.heads)
    ]
    table(pages, columns, rows.rows, least_height=_ROW)
