"""The record of a set-up to sign, and the blank form for the pocket.

The passes are those of a guided job, or the one of a scenario file. Where nothing was read after
the last turning, what comes of it is expected and says so, with room for what is read.
"""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.paper import BOX, BY_HAND, Pages, entries, set_blocks, table
from dbox.drawings.paper_parts import (
    box_entries,
    grades_part,
    length_text,
    opening_text,
    outlet_texts,
    plan,
    plan_part,
    pour_part,
    record_entries,
    signatures,
    signing_room,
    sketch,
    tie_entries,
    turn_table,
)
from dbox.drawings.style import pens
from dbox.errors import ScenarioError
from dbox.fieldwork.falls_plan import Aims
from dbox.fieldwork.grades import Grading
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.pour import Expectation
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.setup import Pass
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Outlet, Site
from dbox.fieldwork.turning import TurnTable
from dbox.files.scenario import MOST_OUTLETS
from dbox.hydraulics.openings import Circle
from dbox.lengths import Lengths
from dbox.report.blocks import Column, Section, columns
from dbox.report.cautions import IN_USE, LONG
from dbox.report.setup_report import OUTCOMES, asked, reached
from dbox.report.text import chance_text, moment
from dbox.report.wording import sentences
from dbox.units import clock_text, gpm, litres_per_min, percent_text

_FLOWS_ACROSS = 3
_LEAST_REMARKS = 1.2
"""Height that room for remarks is worth its heading from; no page is begun for them. [in]"""


@pens
def setup_sheet(
    passes: Sequence[Levelling],
    *,
    as_left: bool = False,
    outcome: str = "",
    visit: tuple[int, str] = (1, ""),
    since: str = "",
    moved: Sequence[Section] = (),
    visits: Section = (),
    done: str = "",
    logged: Sequence[Pass] = (),
    grading: Grading | None = None,
    expectation: Expectation | None = None,
    paper: str = "letter",
) -> tuple[Figure, ...]:
    """Draw the record of a job.

    since, moved, visits: What moved since the visit before, its numbers, and all visits so far.
    done: Its date where the record of the file holds none.
    logged: The passes as a guided job has kept them: how they were read, and what was turned then.
    """
    first, last = passes[0], passes[-1]
    number, date = visit
    # what tells a re-check from the first set-up; nothing at the first
    recheck = f" at the re-check{' of ' * bool(date)}{date} (visit {number})" if number > 1 else ""
    pages = Pages("Re-check record" if recheck else "Set-up record", last.site, paper)
    record = pages.site.record
    if done and (recheck or not record.date):
        # the file tells the date of the first visit
        record = replace(record, date=done)
    names = ("permit", "date", "address", "weather", "who", "system", "bedrooms", "feed")
    entries(pages, record_entries(record, *names))
    _result(pages, passes, outcome, as_left=as_left, found=f"As found{recheck}", since=since)
    set_blocks(pages, [visits])
    signatures(pages, ("Done by", "Inspector", "Owner"))
    pages.framed(LONG)
    pages.heading("Sizes, seat and ties of the box, remarks", keep=1.5)
    seat = record_entries(record, "bedding", "pipe_bed", "cover", "riser", "lid", "seals")
    entries(pages, [*box_entries(pages.site), *seat])
    noted = record_entries(record, "benchmark", "photo", "recheck", "notes", "exceptions")
    entries(pages, [*tie_entries(pages.site), *noted], columns=1)
    set_blocks(pages, moved)
    pages.heading("The box", keep=3.4)
    plan(pages)
    for number, levelling in enumerate(passes, start=1):
        kept = logged[number - 1] if logged else None
        ends = number == len(passes)
        left = ends and as_left
        states = [f"as found{recheck}"] * (number == 1) + ["as left"] * left
        title = f"Pass {number}{', ' * bool(states)}{' and '.join(states)}: lips over still water"
        _pass(pages, levelling, title, kept, ends=ends, left=left)
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
        pages.paragraph(*limits, mark="-")
    if pages.top - pages.sheet.bottom > _LEAST_REMARKS:
        pages.heading("Remarks")
        pages.lines_to_end(2)
    return pages.finished()


def _result(
    pages: Pages,
    passes: Sequence[Levelling],
    outcome: str,
    *,
    as_left: bool,
    found: str,
    since: str,
) -> None:
    """What came out, and what it was held to."""
    first, last = passes[0], passes[-1]
    pages.heading("Result")
    if since:
        pages.paragraph(since, weight="bold")
    words = [f"{found}: {'; '.join(reached(first.before))}."] * (len(passes) > 1)
    if outcome:
        words.append(f"How it ended: {OUTCOMES[outcome]}.")
    elif not as_left:
        wants = {
            "nothing to do": "nothing to turn",
            "adjust": f"turn {len(last.order)} of {len(last.turn)} inserts",
            "re-bed": "re-bed the box",
        }
        words.append(f"What it asks for: {wants[last.verdict]}.")
    if last.order and not as_left:
        words.append(f"Expected once turned, not yet read: {'; '.join(reached(last.after))}.")
    pages.paragraph(*words)
    pages.paragraph(asked(last.site.tolerance, blank="NOT NAMED: write it here"), weight="bold")
    state = "as left" if as_left else "as last read" if len(passes) > 1 else f"a{found[1:]}"
    pages.paragraph(f"Reached, {state}:", weight="bold")
    pages.paragraph(*reached(last.before), mark="-", weight="bold")


def _pass(
    pages: Pages, levelling: Levelling, title: str, kept: Pass | None, *, ends: bool, left: bool
) -> None:
    """Readings of one pass and what was turned after it; the last one has room to write."""
    lengths = levelling.site.lengths
    turns = levelling.site.has_inserts
    heads = {"outlet": 0.95, "hole": 1.0, "line": 0.75, "read": 1.0}
    heads |= {"clock": 0.95} if turns else {}
    heads |= {"expected\nonce turned": 1.15} if turns and not left else {}
    if ends and not left:
        heads["read\nafter"] = 0.95
    rows, read = [], reduce_readings(levelling.site).height
    names = outlet_texts(levelling.site, whole=True)
    for i, (name, outlet) in enumerate(zip(names, levelling.site.outlets, strict=True)):
        cells = (
            ["-"] * 2 if outlet.capped else _turn_cells(levelling, i, kept, ends=ends, left=left)
        )
        cells = cells if turns else []
        lip = "capped" if outlet.capped else _both(float(read[i]), lengths)
        hole, line = opening_text(outlet.opening, lengths), length_text(outlet, lengths)
        row = [name, hole, line, lip, *cells, ""]
        locked = ["-" if outlet.capped else BOX] * (ends and turns)
        rows.append([*row[: len(heads)], *locked])
    locked_head = [Column("locked", 0.8, "center")] * (ends and turns)
    table(pages, [*columns(heads), *locked_head], rows, title=title, least_height=BY_HAND)
    lips, method = levelling.before.lips, levelling.site.record.method
    if kept:
        method = f"{kept.method}; water still at {moment(kept.still_at)}"
    origin = {"stated": "as stated", "repeats": "from the repeats", "default": "assumed"}
    words = f"One reading is good to {lengths.both(lips.spread)}, {origin[lips.spread_from]}."
    words += f" How read: {method}." if method else ""
    if not np.allclose(read, lips.height, atol=1e-6):
        words += " Shares and turns go by the readings of all passes together."
    words += " Clock positions are seen from inside the box." * turns
    pages.paragraph(words)


def _turn_cells(
    levelling: Levelling, i: int, kept: Pass | None, *, ends: bool, left: bool
) -> list[str]:
    """Clock position, and the lip that is expected once it is turned: as it was turned, or is told.

    What a box that was mended since would be told is not what was done.
    """
    before, after = float(levelling.angle_before[i]), float(levelling.angle_after[i])
    lip, turned = float(levelling.lip_after[i]), i in levelling.order and not left
    clock = "" if np.isnan(before) else clock_text(before)
    if kept and (kept.turned or not ends):
        lip, angle = float(kept.known_after.height[i]), (kept.turned or kept.angles)[i]
        after = np.nan if angle is None else angle
        by_rule = np.isnan(after) or not clock
        turned = turned and kept.turned is not None if by_rule else clock != clock_text(after)
    if clock and turned:
        clock = f"{clock}\nto {clock_text(after)}"
    if kept and i in kept.stuck:
        clock = f"{clock}{', ' if turned else chr(10)}stuck".strip()
    return [clock, _both(lip, levelling.site.lengths) if turned else "not turned"]


def _both(height: float, lengths: Lengths) -> str:
    return "\n".join(lengths.pair(height, signed=True))


def _shares(pages: Pages, assessment: Assessment, title: str) -> None:
    """Shares with bands, a few flows side by side."""
    count, names = len(assessment.names), outlet_texts(pages.site)
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
        for i, (name, outlet) in enumerate(zip(names, pages.site.outlets, strict=True)):
            cells = [percent_text(float(assessment.target[i]))]
            cells += [_share_cell(assessment, case, i) for case in cases]
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
        if "cannot tell" in assessment.verdicts:
            words += " Cannot tell: no one outlet is clearly outside."
    pages.paragraph(words)


def _share_cell(assessment: Assessment, case: int, i: int) -> str:
    share = float(assessment.result.share[case, i])
    low, high = (float(end[case, i]) for end in (assessment.share_low, assessment.share_high))
    return f"{percent_text(share)} ({100 * low:.0f} to {100 * high:.0f})"


def _verdict_cell(assessment: Assessment, case: int) -> str:
    if assessment.tolerance is None:
        return "no target" if assessment.target_open else "no tolerance"
    if assessment.inlet_open[case]:
        return "cannot tell\nthe inlet decides"
    likely = chance_text(float(assessment.within_probability[case]))
    return f"{assessment.verdicts[case]}\nall within: {likely}"


_STEPS = (
    "Bed the box firmly and level it both ways. Backfill partly: backfilling moves it.",
    "Fill with clean water till it just spills. Stop, and wait until nothing moves: the water then "
    "stands at the lowest open lip.",
    "At every outlet read from the water to the same point of the hole: + above the water, - below "
    "it. Go round twice. What was not read stays empty; never write 0 for it.",
    "{turn}. The water moves as soon as the lowest lip does, so top up, wait and read all of them "
    "again.",
    "Pour slowly and steadily: note which outlet starts first, then catch and time each.",
    "{lock} the still water with a rule in view.",
    "Read again after the backfill and before it is covered.",
)
_STEPS_LATER = (IN_USE, *_STEPS[1:-1], "Fasten the lid, and note when to look again.")
_WITH_INSERTS = {"turn": "Turn the inserts", "lock": "Lock, note the clock positions, photograph"}
_WITHOUT = {"turn": "Set the pipes that stand too high or too low", "lock": "Photograph"}
_PASSES = 3
_LEAST_STATIONS, _BLANK_STATIONS = 6, 12


@pens
def field_sheet(
    site: Site,
    turning: tuple[TurnTable, ...],
    paper: str = "letter",
    *,
    aims: Aims | None = None,
    blank: bool = False,
    again: bool = False,
) -> tuple[Figure, ...]:
    """Draw the field form.

    blank: Of a box of which only its outlets are counted; again: for a box that was set before.
    """
    pages = Pages("Field form", site, paper)
    inserts = site.has_inserts or blank
    names = ("permit", "date", "address", "weather", "who", "feed")
    entries(pages, record_entries(site.record, *names))
    pages.framed(LONG)
    pages.heading("The box", keep=3.4)
    if blank:
        sketch(pages)
    else:
        plan(pages)
    about = [(label, "" if blank else known) for label, known in box_entries(site)]
    mark = "" if blank or site.mark is None else site.lengths.both(site.mark)
    entries(pages, [*about, ("Rule, finest mark", mark)])
    if aims:
        plan_part(pages, aims)
    pages.heading("In this order")
    what = _WITH_INSERTS if inserts else _WITHOUT
    steps = (step.format_map(what) for step in (_STEPS_LATER if again else _STEPS))
    pages.paragraph(*steps, mark="{}.")
    _readings(pages, inserts=inserts, blank=blank)
    for each in turning:
        turn_table(pages, each)
    pour_part(pages, None)
    who = ("Done by",)
    below = signing_room(who) + 0.4
    # as many rows as leave room for the notes on the same page, where that is enough
    spare = pages.top - pages.sheet.bottom - 2.3 - below
    stations = int(spare / BY_HAND) if spare > _LEAST_STATIONS * BY_HAND else _BLANK_STATIONS
    rows = [
        [run.name, site.lengths.line(station.at), station.name, "", "", ""]
        for run in (site.grades.runs if site.grades else ())
        for station in run.stations
    ] or [[""] * 6] * min(stations, _BLANK_STATIONS)
    heads = columns({"run": 1.5, "at": 0.8, "what stands there": 1.6, "rod": 1.2, "rod again": 1.2,
                     "block": 0.9})  # fmt: skip
    level = site.lengths.line(site.plan.level) if aims and site.plan else "____"
    title = f"Rod readings of inverts (greater = lower), or blocks under a {level} level"
    table(pages, heads, rows, title=title, least_height=BY_HAND)
    pages.heading("Notes and exceptions", keep=1.0 + below)
    pages.lines_to_end(3, below)
    signatures(pages, who)
    return pages.finished()


def blank_sheet(outlets: int, paper: str = "letter") -> tuple[Figure, ...]:
    """Draw the field form of a box of so many outlets, with nothing on it that nobody has said."""
    if not 1 <= outlets <= MOST_OUTLETS:
        raise ScenarioError(f"--outlets is {outlets}; a box has 1 to {MOST_OUTLETS} outlets")
    # what the holes are is left blank, though a box cannot be without
    lines = (Outlet(label=str(i + 1), opening=Circle(0.05)) for i in range(outlets))
    site = Site(title="Job:", outlets=tuple(lines), flows=())
    return field_sheet(site, (), paper, blank=True)


def _readings(pages: Pages, *, inserts: bool, blank: bool) -> None:
    """A table to write into for each pass."""
    outlets, lengths = pages.site.outlets, pages.site.lengths
    short = outlet_texts(pages.site)
    heads = {"outlet": 1.3, "hole": 2.0, "line": 0.9, "state": 0.9}
    if blank:
        rows = [[name, *[""] * 5] for name in short]
        heads |= {"hole off centre": 1.2, "clock now": 1.1}
    else:
        heads |= {"clock on file": 1.1, "clock now": 1.1} if inserts else {}
        rows = [
            [name, opening_text(o.opening, lengths),
             length_text(o, lengths), "capped" if o.capped else "open",
             "" if o.clock is None else clock_text(o.clock), ""][: len(heads)]
            for name, o in zip(outlet_texts(pages.site, whole=True), outlets, strict=True)
        ]  # fmt: skip
    table(pages, columns(heads), rows, title="The outlets", least_height=BY_HAND)
    passes = {
        f"pass {number}\n{what}": 1.0
        for number in range(1, _PASSES + 1)
        for what in ("1st", "2nd", *["set to"] * inserts)
    }
    title = "Height over still water, + above it, - below it" + "; clock it was set to" * inserts
    each = zip(short, outlets, strict=True)
    names = [[name, *[""] * len(passes)] for name, o in each if not o.capped]
    heads = {"outlet": 1.15, **passes}
    table(pages, columns(heads), names, title=title, least_height=BY_HAND + 0.04)
