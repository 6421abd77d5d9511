"""The record of a set-up to sign, and the blank form for the pocket.

The passes are those of a guided job, or the one of a scenario file. Where nothing was read after
the last turning, what comes of it is expected and says so, with room for what is read.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.paper import BOX, BY_HAND, Pages, entries, table
from dbox.drawings.paper_parts import (
    box_entries,
    grades_part,
    length_text,
    opening_text,
    outlet_text,
    plan,
    pour_part,
    record_entries,
    signatures,
    turn_table,
)
from dbox.drawings.style import pens
from dbox.fieldwork.grades import Grading
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.pour import Expectation
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Site
from dbox.fieldwork.turning import TurnTable
from dbox.lengths import Lengths
from dbox.report.blocks import Column, columns
from dbox.report.cautions import LONG
from dbox.report.text import chance_text
from dbox.report.wording import sentences
from dbox.units import clock_text, gpm, litres_per_min, percent_text

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
    number, date = visit
    # what tells a re-check from the first set-up; nothing at the first
    recheck = f" at the re-check{' of ' * bool(date)}{date} (visit {number})" if number > 1 else ""
    pages = Pages("Re-check record" if recheck else "Set-up record", last.site, paper)
    record = pages.site.record
    names = ("permit", "date", "address", "weather", "who", "system", "bedrooms", "feed")
    entries(pages, record_entries(record, *names))
    _result(pages, passes, outcome, as_left=as_left, found=f"As found{recheck}")
    pages.framed(LONG)
    pages.heading("The box", keep=3.4)
    plan(pages)
    pages.heading("Sizes, seat and ties of the box", keep=1.5)
    seat = record_entries(record, "bedding", "cover", "riser", "lid", "seals")
    entries(pages, [*box_entries(pages.site), *seat])
    ties = [(f"Tie {i}", tie) for i, tie in enumerate(record.ties or ("", ""), start=1)]
    entries(pages, [*ties, *record_entries(record, "benchmark")], columns=1)
    for number, levelling in enumerate(passes, start=1):
        note = notes[number - 1] if number <= len(notes) else ""
        ends = number == len(passes)
        left = ends and as_left
        states = [f"as found{recheck}"] * (number == 1) + ["as left"] * left
        title = f"Pass {number}{', ' * bool(states)}{' and '.join(states)}: lips over still water"
        _pass(pages, levelling, title, note, ends=ends, left=left)
    _shares(pages, first.before, f"Shares as found{recheck}")
    if len(passes) > 1:
        _shares(pages, last.before, "Shares as left" if as_left else "Shares as last read")
    if last.order and not as_left:
        _shares(pages, last.after, "Shares after turning: expected, not read")
    pour_part(pages, expectation)
    grades_part(pages, grading)
    limits = sentences((*last.warnings, *last.before.warnings))
    if limits:
        pages.heading("What limits these numbers")
    for sentence in limits:
        pages.paragraph(sentence, mark="-")
    pages.heading("Remarks")
    entries(pages, record_entries(record, "photo", "recheck", "notes", "exceptions"), columns=1)
    pages.blank_lines(2)
    signatures(pages, ("Done by", "Inspector", "Owner"))
    return pages.finished()


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
        asked = {
            "nothing to do": "nothing to turn",
            "adjust": f"turn {len(last.order)} of {len(last.turn)} inserts",
            "re-bed": "re-bed the box",
        }
        words.append(f"What it asks for: {asked[last.verdict]}.")
    if last.order and not as_left:
        words.append(f"Expected once turned, not yet read: {_verdicts(last.after)}.")
    for sentence in words:
        pages.paragraph(sentence, weight="bold")
    tolerance = last.site.tolerance
    held = "none entered, so no verdict; it comes from the permit or the inspector."
    if tolerance is not None:
        source = tolerance.source or "NOT NAMED: write it here"
        held = f"within {100 * tolerance.share:.3g} % of each line's own target. Source: {source}"
    pages.paragraph(f"Tolerance: {held}")


def _verdicts(assessment: Assessment) -> str:
    pairs = zip(assessment.names, assessment.verdicts, strict=True)
    return ", ".join(f"{name} {verdict}" for name, verdict in pairs)


def _pass(
    pages: Pages, levelling: Levelling, title: str, note: str, *, ends: bool, left: bool
) -> None:
    """Readings of one pass and what was turned after it; the last one has room to write."""
    lengths = levelling.site.lengths
    heads = {"outlet": 0.95, "hole": 1.0, "line": 0.75, "read": 1.0, "clock": 0.95}
    if not left:
        heads["expected\nonce turned"] = 1.15
    if ends and not left:
        heads["read\nafter"] = 0.95
    rows = []
    for i, outlet in enumerate(levelling.site.outlets):
        name = outlet_text(i + 1, outlet, whole=True)
        cells = ["-"] * 2 if outlet.capped else _turn_cells(levelling, i, left=left)
        lip = "capped" if outlet.capped else _both(float(levelling.before.lips.height[i]), lengths)
        hole, line = opening_text(outlet.opening, lengths), length_text(outlet, lengths)
        row = [name, hole, line, lip, *cells, ""]
        locked = ["-" if outlet.capped else BOX] * ends
        rows.append([*row[: len(heads)], *locked])
    locked_head = [Column("locked", 0.8, "center")] * ends
    table(pages, [*columns(heads), *locked_head], rows, title=title, least_height=BY_HAND)
    lips, method = levelling.before.lips, note or levelling.site.record.method
    origin = {"stated": "as stated", "repeats": "from the repeats", "default": "assumed"}
    words = f"One reading is good to {lengths.both(lips.spread)}, {origin[lips.spread_from]}."
    words += f" How read: {method}." if method else ""
    pages.paragraph(f"{words} Clock positions are seen from inside the box.")


def _turn_cells(levelling: Levelling, i: int, *, left: bool) -> list[str]:
    """Clock position, and the lip that is expected once it is turned."""
    turned = i in levelling.order and not left
    before, after = float(levelling.angle_before[i]), float(levelling.angle_after[i])
    clock = "" if np.isnan(before) else clock_text(before)
    if clock and turned:
        clock = f"{clock}\nto {clock_text(after)}"
    return [
        clock,
        _both(float(levelling.lip_after[i]), levelling.site.lengths) if turned else "not turned",
    ]


def _both(height: float, lengths: Lengths) -> str:
    return "\n".join(lengths.pair(height, signed=True))


def _shares(pages: Pages, assessment: Assessment, title: str) -> None:
    """Shares with bands, a few flows side by side."""
    count = len(assessment.names)
    tables = -(-count // _FLOWS_ACROSS)
    across = -(-count // tables)
    for start in range(0, count, across):
        cases = range(start, min(start + across, count))
        heads = [Column("outlet", 1.1), Column("target", 0.8, "right")]
        for case in cases:
            inflow = float(assessment.result.inflow[case])
            head = f"{assessment.names[case]}\n{gpm(inflow)}\n{litres_per_min(inflow)}"
            heads.append(Column(head, 1.8, "right"))
        rows = []
        for i, outlet in enumerate(pages.site.outlets):
            cells = [percent_text(float(assessment.target[i]))]
            cells += [_share_cell(assessment, case, i) for case in cases]
            name = outlet_text(i + 1, outlet)
            rows.append([name, *(["capped"] * len(cells) if outlet.capped else cells)])
        rows.append(["verdict", "", *(_verdict_cell(assessment, case) for case in cases)])
        table(pages, heads, rows, title=title if start == 0 else "")
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


def _share_cell(assessment: Assessment, case: int, i: int) -> str:
    share = float(assessment.result.share[case, i])
    low, high = (float(end[case, i]) for end in (assessment.share_low, assessment.share_high))
    return f"{percent_text(share)} ({100 * low:.0f} to {100 * high:.0f})"


def _verdict_cell(assessment: Assessment, case: int) -> str:
    if assessment.tolerance is None:
        return "no tolerance"
    if assessment.jet_decides[case] and assessment.verdicts[case] == "cannot tell":
        return "cannot tell\nthe inlet's jet decides"
    likely = chance_text(float(assessment.within_probability[case]))
    return f"{assessment.verdicts[case]}\nall within: {likely}"


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
    names = ("permit", "date", "address", "weather", "who", "feed")
    entries(pages, record_entries(site.record, *names))
    pages.framed(LONG)
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
    rows = [
        [run.name, site.lengths.line(station.at), station.name, "", ""]
        for run in (site.grades.runs if site.grades else ())
        for station in run.stations
    ] or [["", "", "", "", ""]] * _BLANK_STATIONS
    heads = columns({"run": 1.6, "at": 0.9, "what stands there": 1.8, "rod": 1.4, "rod again": 1.4})
    title = "Rod readings of the inverts (greater = lower)"
    table(pages, heads, rows, title=title, least_height=BY_HAND)
    pages.heading("Notes and exceptions", keep=1.7)
    pages.blank_lines(5)
    signatures(pages, ("Done by",))
    return pages.finished()


def _readings(pages: Pages) -> None:
    """A table to write into for each pass."""
    outlets, lengths = list(enumerate(pages.site.outlets, start=1)), pages.site.lengths
    rows = [
        [outlet_text(i, o, whole=True), opening_text(o.opening, lengths), length_text(o, lengths),
         "capped" if o.capped else "open", "" if o.clock is None else clock_text(o.clock), ""]
        for i, o in outlets
    ]  # fmt: skip
    heads = columns({"outlet": 1.3, "hole": 2.0, "line": 0.9, "state": 0.9, "clock on file": 1.1,
                     "clock now": 1.1})  # fmt: skip
    table(pages, heads, rows, title="The outlets", least_height=BY_HAND)
    passes = {
        f"pass {number}\n{what}": 1.0
        for number in range(1, _PASSES + 1)
        for what in ("1st", "2nd", "set to")
    }
    title = "Height over still water, + above it, - below it; clock it was set to"
    names = [[outlet_text(i, o), *[""] * len(passes)] for i, o in outlets if not o.capped]
    heads = columns({"outlet": 1.15, **passes})
    table(pages, heads, names, title=title, least_height=BY_HAND + 0.04)
