"""The record of a set-up to sign, and the blank form for the pocket.

The passes are those of a guided job, or the one of a scenario file. Where nothing was read after
the last turning, what comes of it is expected and says so, with room for what is read.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.paper import BOX, BY_HAND, Column, Pages, entries, table
from dbox.drawings.paper_parts import (
    box_entries,
    cautions,
    grades_part,
    length_text,
    opening_text,
    outlet_text,
    plan,
    pour_part,
    signatures,
    turn_table,
)
from dbox.drawings.style import pens
from dbox.fieldwork.grades import Grading
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.pour import Expectation
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Site, Tolerance
from dbox.fieldwork.turning import TurnTable
from dbox.report.wording import sentences
from dbox.units import clock_text, feet, gpm, inches, litres_per_min, millimetres
from dbox.units import percent_text as percent

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
    """Draw the record of a job."""
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
    limits = sentences((*last.warnings, *last.before.warnings))
    if limits:
        pages.heading("What limits these numbers")
        for sentence in limits:
            pages.paragraph(sentence, mark="-")
    pages.heading("Remarks")
    pairs = [("Photo", record.photo), ("Re-check", record.recheck), ("Notes", record.notes)]
    entries(pages, [*pairs, ("Exceptions", record.exceptions)], columns=1)
    pages.blank_lines(2)


_STEPS = (
    "Bed the box firmly and level it both ways. Backfill partly: backfilling moves it.",
    "Fill with clean water till it just spills. Stop, and wait until nothing moves: the water then "
    "stands at the lowest open lip.",
    "At every outlet read from the water to the same point of the hole: + above the water, - below "
    "it. Go round twice. What was not read stays empty; never write 0 for it.",
    "Turn the inserts. The water moves as soon as the lowest lip does, so top up, wait and read "
    "all of them again.",
    "Pour slowly and steadily: note which outlet starts first, then catch and time each.",
    "Lock, note the clock positions, photograph the still water with a rule in view.",
    "Read again after the backfill and before it is covered.",
)
_PASSES = 3
_BLANK_STATIONS = 12


@pens
def field_sheet(
    site: Site, turning: tuple[TurnTable, ...], paper: str = "letter"
) -> tuple[Figure, ...]:
    """Draw the field form."""
    pages = Pages("Field form", site, paper)
    record = site.record
    entries(
        pages,
        [("Permit", record.permit), ("Date", record.date), ("Address", record.address),
         ("Weather", record.weather), ("Done by", record.who), ("Feed", record.feed)],
    )  # fmt: skip
    cautions(pages)
    pages.heading("The box", keep=3.4)
    plan(pages)
    entries(pages, [*box_entries(site), ("Rule good to", "")])
    pages.heading("In this order")
    for number, step in enumerate(_STEPS, start=1):
        pages.paragraph(step, mark=f"{number}.")
    _readings(pages)
    for each in turning:
        turn_table(pages, each)
    if not turning:
        pages.heading("Turn table", keep=0.4)
        pages.paragraph("No hole offset is entered: these inserts cannot be turned.")
    pour_part(pages, None)
    _stations(pages)
    pages.heading("Notes and exceptions", keep=1.7)
    pages.blank_lines(5)
    signatures(pages, ("Done by",))
    return pages.finished()


def _readings(pages: Pages) -> None:
    """A table to write into for each pass."""
    outlets = pages.site.outlets
    rows = [
        [outlet_text(i, o, whole=True), opening_text(o.opening), length_text(o),
         "capped" if o.capped else "open", "" if o.clock is None else clock_text(o.clock), ""]
        for i, o in enumerate(outlets, start=1)
    ]  # fmt: skip
    columns = [
        Column("outlet", 1.3),
        Column("hole", 2.0),
        Column("line", 0.9),
        Column("state", 0.9),
        Column("clock on file", 1.1),
        Column("clock now", 1.1),
    ]
    table(pages, columns, rows, title="The outlets", least_height=BY_HAND)
    heads = [
        Column(f"pass {number}\n{what}", 1.0)
        for number in range(1, _PASSES + 1)
        for what in ("1st", "2nd", "set to")
    ]
    title = "Height over still water, + above it, - below it; clock it was set to"
    names = [
        [outlet_text(i, o), *[""] * len(heads)]
        for i, o in enumerate(outlets, start=1)
        if not o.capped
    ]
    columns = [Column("outlet", 1.15), *heads]
    table(pages, columns, names, title=title, least_height=BY_HAND + 0.04)


def _stations(pages: Pages) -> None:
    """A table for rod readings: the stations on file, or blank rows."""
    title = "Rod readings of the inverts (greater = lower)"
    survey = pages.site.grades
    rows = [
        [run.name, feet(station.at), station.name, "", ""]
        for run in (survey.runs if survey else ())
        for station in run.stations
    ] or [["", "", "", "", ""]] * _BLANK_STATIONS
    columns = [Column("run", 1.6), Column("at", 0.9), Column("what stands there", 1.8),
               Column("rod", 1.4), Column("rod again", 1.4)]  # fmt: skip
    table(pages, columns, rows, title=title, least_height=BY_HAND)
