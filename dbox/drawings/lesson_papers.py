"""Handouts and mystery cases on paper."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.paper import Pages, entries, set_blocks, table
from dbox.drawings.paper_parts import opening_text
from dbox.drawings.style import pens
from dbox.fieldwork.lesson_cases import Case
from dbox.fieldwork.lessons import Exercise, LipTable
from dbox.fieldwork.site import JobRecord, Outlet, Site
from dbox.report.blocks import Column
from dbox.report.cautions import CODE, GAS, GERMS, LESSON, LIDS
from dbox.report.teach_report import (
    BLANKS,
    INVENTED,
    QUESTION,
    case_blocks,
    key_blocks,
    lip_blocks,
)
from dbox.report.text import TOGETHER
from dbox.units import INCH, gpm, inches, litres, litres_per_min, millimetres, percent_text

_HAND, _HAND_TABLE = 0.33, 2.5
"""Least height of a row that is filled by hand, and most of a table of such. [in]"""

_FOLLOWS = (
    "A bucket hides the error, and a pumped dose hides it nearly completely. Look at a box "
    "under a slow pour, over still water.",
    "A ruler is good to about 1/16 in, 1/32 in at best (common practice, no source). At a "
    "trickle nobody can prove equal shares with a ruler: read more than once, and say "
    "“cannot tell” where you cannot.",
    "Equal at the box is not equal along the trench, and lines of unequal length do not want "
    "equal shares.",
    "No tolerance in inches or per cent holds in general. The permit or the inspector names "
    "it; write down who did.",
)


@pens
def handout_pages(lips: LipTable, exercise: Exercise, paper: str = "letter") -> tuple[Figure, ...]:
    """Set the handout."""
    pages = Pages("Why a dead-level box matters", _site(lips), paper)
    low, high = float(lips.level_head.min()), float(lips.level_head.max())
    pages.heading("The idea")
    pages.paragraph(
        "The water in a distribution box stands level, and each outlet passes what the water over "
        "its own lip drives through it. An ordinary day brings only 1 to 4 L/min, about a quarter "
        "to one gallon a minute (Water Science and Technology 51(10), 2005, p. 39)."
    )
    pages.paragraph(
        f"In this box the least flow below stands {inches(low, parts=32)} ({millimetres(low)}) "
        f"over the lips, the strongest {inches(high, parts=32)} ({millimetres(high)}). Hold a lip "
        "that is 1/8 in (3.2 mm) low against each: the same error, and not the same thing at all."
    )
    pages.heading("Guess first; keep the table folded under")
    pages.paragraph(
        f"All lips are level but one: it is {_error_text(lips.error[_guessed(lips)])}. Fair is "
        f"{percent_text(lips.fair, 0)}. What share does its line get?"
    )
    names = [_flow_text(flow.inflow) for flow in lips.flows]
    table(pages, [Column(name, 1.0, "center") for name in names], [[""] * len(names)],
          least_height=0.36)  # fmt: skip
    set_blocks(pages, lip_blocks(lips))
    pages.paragraph(
        "Computed by dbox from the flow through sharp-edged openings. Below 5 mm (3/16 in) of "
        "water surface tension decides and such formulas are out of their range: take those rows "
        "as a warning, not to the last per cent."
    )
    pages.heading("What follows")
    for line in _FOLLOWS:
        pages.paragraph(line, mark="·")
    pages.need(pages.room - 0.5)
    _bench(pages, exercise)
    return pages.finished()


def _bench(pages: Pages, exercise: Exercise) -> None:
    """The exercise, to be filled by hand."""
    lips = exercise.table
    slow, fast = (_flow_text(flow.inflow) for flow in (lips.flows[0], lips.flows[-1]))
    pages.heading("At the bench box")
    steps = (
        f"Level the box, fill it with clean water until it just spills, let it go still. Bring "
        f"all lips to the water; then spoil line 1 alone: {_error_text(lips.error[0])}.",
        f"Guess the share of line 1 at {slow} and at {fast}; write it down.",
        f"Pour steadily at {slow}. Wait until the level stands, then catch every line for "
        f"{exercise.seconds:.0f} s. The same at {fast}.",
        "Share = what the line caught over what all lines caught.",
    )
    for number, step in enumerate(steps, start=1):
        pages.paragraph(step, mark=f"{number}.")
    columns = [
        Column("line", 0.5, "center"),
        Column("lip over\nwater", 0.9, "center"),
        *(
            Column(f"{what}\n{gpm(flow.inflow)}", 0.85, "center")
            for flow in lips.flows
            for what in ("guess, %", "caught, mL", "share, %")
        ),
    ]
    names = [*(str(i + 1) for i in range(lips.outlets)), "all"]
    rows = [[name, *[""] * (len(columns) - 1)] for name in names]
    table(pages, columns, rows, least_height=min(_HAND, _HAND_TABLE / len(rows)))
    pages.heading("Questions", keep=2.0)
    for number, (question, _) in enumerate(_questions(exercise), start=1):
        pages.paragraph(question, mark=f"{number}.")
        pages.blank_lines(1, 0.3)
    pages.framed([GAS, LIDS, GERMS, CODE])


@pens
def handout_key(lips: LipTable, exercise: Exercise, paper: str = "letter") -> tuple[Figure, ...]:
    """Set the key, to be kept apart from the handout."""
    pages = Pages("KEY: Why a dead-level box matters", _site(lips), paper)
    pages.heading("The guess")
    for flow, share in zip(lips.flows, lips.share[:, _guessed(lips)], strict=True):
        pages.paragraph(f"{_flow_text(flow.inflow)}: {percent_text(share, 0)}", mark="·")
    pages.heading("What the bench box catches")
    pages.paragraph(
        f"Line 1 has its lip {_error_text(exercise.table.error[0])}; each line is caught "
        f"for {exercise.seconds:.0f} s. Computed with sharp-edged holes; a catch is good to 5 to "
        "10 % (common practice, no source), and at a slow pour the lip itself to no better than "
        "a ruler."
    )
    columns = [Column("pour", 2.2), Column("line 1", 1.6, "center"),
               Column("each other line", 1.6, "center")]  # fmt: skip
    told = zip(exercise.table.flows, exercise.caught, exercise.share, strict=True)
    rows = [
        [
            _flow_text(flow.inflow),
            *(f"{litres(v)}, {percent_text(s, 0)}" for v, s in zip(caught, shares, strict=True)),
        ]
        for flow, caught, shares in told
    ]
    table(pages, columns, rows)
    pages.heading("The questions")
    for number, (question, reply) in enumerate(_questions(exercise), start=1):
        pages.paragraph(question, mark=f"{number}.", weight="bold")
        pages.paragraph(reply, mark=TOGETHER)
    return pages.finished()


def _site(lips: LipTable) -> Site:
    """What stands over every page: a bench box, made up."""
    outlets = tuple(Outlet(label=str(i + 1), opening=lips.opening) for i in range(lips.outlets))
    title = f"A bench box: {lips.outlets} outlets, {opening_text(lips.opening)}"
    return Site(title=title, outlets=outlets, flows=lips.flows, record=JobRecord(invented=True))


def _questions(exercise: Exercise) -> tuple[tuple[str, str], ...]:
    """Questions with their answers."""
    slow, fast = exercise.share[0, 0], exercise.share[-1, 0]
    lips = exercise.table
    return (
        (
            "At which of the two pours does the wrong lip show more, and why?",
            f"At the slow one: {percent_text(slow, 0)} against {percent_text(fast, 0)}. The "
            "error is the same height, but a larger part of the water over the lips "
            f"({millimetres(lips.level_head[0])} against "
            f"{millimetres(lips.level_head[-1])}).",
        ),
        (
            "The box passed a bucket test and one line is wet. Has the test shown that the box is "
            "level?",
            "No. A bucket hides an error that decides an ordinary day. Read the lips over still "
            "water, and pour slowly.",
        ),
        (
            "Raise lip 1 a little: where does the still water stand now, and what must be read "
            "again?",
            "It rises with the lowest lip, so every height changes: top up, wait, read all again.",
        ),
        (
            "Your ruler is good to 1/16 in. May you write “all lines equal” for an ordinary day?",
            "No. The table shows what 1/16 in does at a trickle. Write the readings, how they were "
            "taken, and “cannot tell” for the trickle.",
        ),
    )


def _guessed(lips: LipTable) -> int:
    """The column that is guessed: an eighth low, or what comes nearest."""
    return int(np.abs(lips.error + INCH / 8).argmin())


def _flow_text(inflow: float) -> str:
    return f"{litres_per_min(inflow)} ({gpm(inflow)})".replace(" ", TOGETHER, 1)


def _error_text(error: float) -> str:
    words = f"{inches(abs(error), parts=32)} ({millimetres(abs(error))})"
    return f"{words} {'low' if error < 0 else 'high'}"


@pens
def case_pages(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the handouts, each group's on pages of its own."""
    return tuple(page for case in cases for page in _handout(case, paper))


@pens
def case_key(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the key of all groups, to be kept apart."""
    first = replace(cases[0].site, title=f"Seed {cases[0].seed}, {len(cases)} group(s)")
    pages = Pages("KEY to the mystery cases", first, paper)
    set_blocks(pages, map(key_blocks, cases))
    pages.skip(0.1)
    pages.framed([INVENTED, "Rank causes and look; never announce one from a sheet."])
    return pages.finished()


def _handout(case: Case, paper: str) -> tuple[Figure, ...]:
    pages = Pages("Which cause?", case.shown, paper)
    pages.paragraph(
        "The field gives trouble. Everything below was read or seen; what is not told, nobody "
        "looked at."
    )
    for heading, sections in case_blocks(case).items():
        pages.heading(heading)
        set_blocks(pages, sections)
    pages.heading("Your guess", keep=1.7)
    pages.paragraph(QUESTION)
    entries(pages, [(blank, "") for blank in BLANKS], least_height=0.32)
    pages.framed([f"{INVENTED} {LESSON}"])
    return pages.finished()
