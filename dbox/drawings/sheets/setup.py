"""What is signed when the box is set? The record of the job: readings, turns, shares and falls.

The passes are those of a guided job, or the one of a scenario file. Where nothing was read after
the last turning, what comes of it is expected and says so, with room for what is read.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.sheets.grades import grades_part
from dbox.drawings.sheets.page import BOX, Pages
from dbox.drawings.sheets.parts import (
    box_entries,
    cautions,
    length_text,
    opening_text,
    outlet_text,
    plan,
    signatures,
)
from dbox.drawings.sheets.pour import pour_part
from dbox.drawings.sheets.table import BY_HAND, Column, entries, table
from dbox.drawings.style import pens
from dbox.fieldwork.confidence import Assessment
from dbox.fieldwork.grades.assess import Grading
from dbox.fieldwork.levelling.plan import Levelling
from dbox.fieldwork.pour.predict import Expectation
from dbox.fieldwork.site import Tolerance
from dbox.files.notation import clock_text, gpm, inches, litres_per_min, millimetres, percent

_FLOWS_ACROSS = 3

_OUTCOMES = {
    "within": "every flow is within the tolerance",
    "inlet": "the lips are within the tolerance, but the jet of the inlet decides",
    "ruler": "the ruler cannot tell the lips apart any better",
    "hand": "no turn is left that a hand can set",
    "re-bed": "the inserts cannot cure it, the box must be bedded again",
    "stopped": "stopped while there was still something to turn",
}


@pens
def setup_sheet(
    passes: Sequence[Levelling],
    *,
    as_left: bool = False,
    outcome: str = "",
    visit: tuple[int, str] = (1, ""),
    notes: Sequence[str] = (),
    grading: Grading | None = None,
    expectation: Expectation | None = None,
    paper: str = "letter",
) -> tuple[Figure, ...]:
    """Draw the record of a job.

    Parameters
    ----------
    passes : sequence of Levelling
        Readings and turns of each pass, in order, at least one.
    as_left : bool
        Whether the last pass holds the readings as the box was left, nothing being turned after it.
    outcome : str
        How the set-up ended, one of the words of `fieldwork.setup.record`; empty where it has not.
    visit : tuple of (int, str)
        Which visit to the box this was, from 1, and its date, empty where not known. From the
        second on it is a re-check: what is found then is not what was found at first.
    notes : sequence of str
        How and when each pass was read, as far as that is known.
    grading : Grading, optional
        Falls of the pipes, where they were read.
    expectation : Expectation, optional
        Pours and what the readings say of them; without, a blank to be filled by hand.
    paper : str
        `letter` or `a4`.

    Returns
    -------
    tuple of Figure
        The pages.
    """
    first, last = passes[0], passes[-1]
    recheck = _recheck(visit)
    pages = Pages("Re-check record" if recheck else "Set-up record", last.site, paper)
    _job(pages)
    _result(pages, passes, outcome, as_left=as_left, found=f"As found{recheck}")
    cautions(pages)
    _box(pages)
    for number, levelling in enumerate(passes, start=1):
        note = notes[number - 1] if number <= len(notes) else ""
        ends = number == len(passes)
        states = [f"as found{recheck}"] * (number == 1) + ["as left"] * (ends and as_left)
        _pass(pages, levelling, number, note, ends=ends, left=ends and as_left, states=states)
    _shares(pages, first.before, f"Shares as found{recheck}")
    if len(passes) > 1:
        _shares(pages, last.before, "Shares as left" if as_left else "Shares as last read")
    if last.order and not as_left:
        _shares(pages, last.after, "Shares after turning: expected, not read")
    pour_part(pages, expectation)
    grades_part(pages, grading)
    _remarks(pages, last)
    signatures(pages, ("Done by", "Inspector", "Owner"))
    return pages.finished()


def _job(pages: Pages) -> None:
    record = pages.site.record
    pairs = [
        ("Permit", record.permit),
        ("Date", record.date),
        ("Address", record.address),
        ("Weather", record.weather),
        ("Done by", record.who),
        ("System", record.system),
        ("Bedrooms", record.bedrooms),
        ("Feed", record.feed),
    ]
    entries(pages, pairs)


def _recheck(visit: tuple[int, str]) -> str:
    """What tells a re-check from the first set-up; nothing at the first."""
    number, date = visit
    return f" at the re-check{' of ' * bool(date)}{date} (visit {number})" if number > 1 else ""


def _result(
    pages: Pages, passes: Sequence[Levelling], outcome: str, *, as_left: bool, found: str
) -> None:
    """What came out, and what it was held to."""
    first, last = passes[0], passes[-1]
    pages.heading("Result")
    words = [f"{found}: {_verdicts(first.before)}."]
    if len(passes) > 1:
        words.append(f"{'As left' if as_left else 'As last read'}: {_verdicts(last.before)}.")
    if outcome:
        words.append(f"How it ended: {_OUTCOMES[outcome]}.")
    elif not as_left:
        words.append(f"What it asks for: {_asked(last)}.")
    if last.order and not as_left:
        words.append(f"Expected once turned, not yet read: {_verdicts(last.after)}.")
    for sentence in words:
        pages.paragraph(sentence, weight="bold")
    pages.paragraph(f"Tolerance: {_tolerance_words(last.site.tolerance)}")


def _asked(levelling: Levelling) -> str:
    return {
        "nothing to do": "nothing to turn",
        "adjust": f"turn {len(levelling.order)} of {len(levelling.turn)} inserts",
        "re-bed": "re-bed the box",
    }[levelling.verdict]


def _verdicts(assessment: Assessment) -> str:
    pairs = zip(assessment.names, assessment.verdicts, strict=True)
    return ", ".join(f"{name} {verdict}" for name, verdict in pairs)


def _tolerance_words(tolerance: Tolerance | None) -> str:
    if tolerance is None:
        return "none entered, so no verdict; it comes from the permit or the inspector."
    source = tolerance.source or "NOT NAMED: write it here"
    return f"within {percent(tolerance.share)} of each line's own target. Source: {source}"


def _box(pages: Pages) -> None:
    record = pages.site.record
    pages.heading("The box", keep=3.4)
    plan(pages)
    pages.heading("Sizes, seat and ties of the box", keep=1.5)
    ties = [(f"Tie {i}", tie) for i, tie in enumerate(record.ties or ("", ""), start=1)]
    pairs = [
        *box_entries(pages.site),
        ("Bedding", record.bedding),
        ("Cover", record.cover),
        ("Riser", record.riser),
        ("Lid fastened", record.lid),
        ("Seals", record.seals),
    ]
    entries(pages, pairs)
    entries(pages, [*ties, ("Benchmark", record.benchmark)], columns=1)


def _pass(
    pages: Pages,
    levelling: Levelling,
    number: int,
    note: str,
    *,
    ends: bool,
    left: bool,
    states: Sequence[str],
) -> None:
    """Readings of one pass and what was turned after it; the last one has room to write."""
    title = f"Pass {number}{', ' * bool(states)}{' and '.join(states)}: lips over still water"
    columns = [
        Column("outlet", 0.95),
        Column("hole", 1.0),
        Column("line", 0.75),
        Column("read", 1.0),
        Column("clock", 0.95),
    ]
    columns += [] if left else [Column("expected\nonce turned", 1.15)]
    columns += [] if left or not ends else [Column("read\nafter", 0.95)]
    columns += [Column("locked", 0.8, "center")] if ends else []
    rows = []
    for i, outlet in enumerate(levelling.site.outlets):
        row = [
            outlet_text(i + 1, outlet, whole=True),
            opening_text(outlet.opening),
            length_text(outlet),
        ]
        cells = ["capped", "-", "-"] if outlet.capped else _turn_cells(levelling, i, left=left)
        blanks = ["", "-" if outlet.capped else BOX]
        if left:
            cells, blanks = cells[:2], blanks[1:]
        rows.append([*row, *cells, *(blanks if ends else [])])
    table(pages, columns, rows, title=title, least_height=BY_HAND)
    words = _reading_words(levelling, note)
    pages.paragraph(f"{words} Clock positions are seen from inside the box.")


def _reading_words(levelling: Levelling, note: str) -> str:
    lips, method = levelling.before.lips, note or levelling.site.record.method
    origin = {"stated": "as stated", "repeats": "from the repeats", "default": "assumed"}
    good = f"{inches(lips.spread, parts=64)} ({millimetres(lips.spread)})"
    words = f"One reading is good to {good}, {origin[lips.spread_from]}."
    return f"{words} How read: {method}." if method else words


def _turn_cells(levelling: Levelling, i: int, *, left: bool) -> list[str]:
    lip, after = float(levelling.before.lips.height[i]), float(levelling.lip_after[i])
    turned = i in levelling.order and not left
    return [
        _both(lip),
        _clock_words(levelling, i, turned=turned),
        _both(after) if turned else "not turned",
    ]


def _both(height: float) -> str:
    return f"{inches(height, signed=True)}\n{millimetres(height, signed=True)}"


def _clock_words(levelling: Levelling, i: int, *, turned: bool) -> str:
    before, after = float(levelling.angle_before[i]), float(levelling.angle_after[i])
    if np.isnan(before):
        return ""
    if not turned:
        return clock_text(before)
    return f"{clock_text(before)}\nto {clock_text(after)}"


def _shares(pages: Pages, assessment: Assessment, title: str) -> None:
    """Shares with bands, a few flows side by side."""
    count = len(assessment.names)
    tables = -(-count // _FLOWS_ACROSS)
    across = -(-count // tables)
    for start in range(0, count, across):
        cases = range(start, min(start + across, count))
        columns = [Column("outlet", 1.1), Column("target", 0.8, "right")]
        columns += [Column(_flow_head(assessment, case), 1.8, "right") for case in cases]
        rows = _share_rows(pages, assessment, cases)
        table(pages, columns, rows, title=title if start == 0 else "")
    words = (
        "Computed from the readings by a model of the box; in brackets the 5 to 95 % band that the "
        "spread of a reading leaves."
    )
    if assessment.tolerance is not None:
        words += (
            " All within: the chance that every outlet is within the tolerance. Outside: one "
            "outlet surely is not."
        )
    pages.paragraph(words)


def _flow_head(assessment: Assessment, case: int) -> str:
    inflow = float(assessment.result.inflow[case])
    return f"{assessment.names[case]}\n{gpm(inflow)}\n{litres_per_min(inflow)}"


def _share_rows(pages: Pages, assessment: Assessment, cases: range) -> list[list[str]]:
    rows = []
    for i, outlet in enumerate(pages.site.outlets):
        words = [outlet_text(i + 1, outlet), percent(float(assessment.target[i]))]
        words += [_share_cell(assessment, case, i) for case in cases]
        rows.append(["capped" if outlet.capped and n else w for n, w in enumerate(words)])
    verdicts = [_verdict_cell(assessment, case) for case in cases]
    return [*rows, ["verdict", "", *verdicts]]


def _share_cell(assessment: Assessment, case: int, i: int) -> str:
    share = float(assessment.result.share[case, i])
    low, high = (float(end[case, i]) for end in (assessment.share_low, assessment.share_high))
    return f"{percent(share)} ({100 * low:.0f} to {100 * high:.0f})"


def _verdict_cell(assessment: Assessment, case: int) -> str:
    if assessment.tolerance is None:
        return "no tolerance"
    if assessment.jet_decides[case] and assessment.verdicts[case] == "cannot tell":
        return "cannot tell\nthe inlet's jet decides"
    chance = 100 * float(assessment.within_probability[case])
    likely = "over 99 %" if chance > 99 else "under 1 %" if chance < 1 else f"{chance:.0f} %"
    return f"{assessment.verdicts[case]}\nall within: {likely}"


def _remarks(pages: Pages, last: Levelling) -> None:
    """What the model warns of, and what there is to say."""
    record = pages.site.record
    warnings = dict.fromkeys((*last.warnings, *last.before.warnings))
    if warnings:
        pages.heading("What limits these numbers")
        for sentence in warnings:
            pages.paragraph(sentence, mark="-")
    pages.heading("Remarks")
    pairs = [("Photo", record.photo), ("Re-check", record.recheck), ("Notes", record.notes)]
    entries(pages, [*pairs, ("Exceptions", record.exceptions)], columns=1)
    pages.blank_lines(2)
