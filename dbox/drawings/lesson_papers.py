"""Handouts and mystery cases on paper."""

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Patch, Polygon, Rectangle

from dbox.arrays import Array
from dbox.drawings.paper import (
    LETTERS,
    Pages,
    entries,
    set_blocks,
    table,
    write_line,
    write_lines,
)
from dbox.drawings.paper_parts import opening_text
from dbox.drawings.plan import Mouth, Plan, arrow
from dbox.drawings.style import (
    HAIR,
    INK,
    MEDIUM,
    THICK,
    THIN,
    TINT,
    Point,
    Sheet,
    draw_hole,
    line_height,
    pens,
    spread_out,
    text_width,
    wrap,
)
from dbox.fieldwork.evidence import OutletEvidence
from dbox.fieldwork.lesson_cases import Case
from dbox.fieldwork.lessons import Exercise, LipTable
from dbox.fieldwork.site import JobRecord, Outlet, Site
from dbox.lengths import PLAIN, Lengths
from dbox.report.blocks import Column, Paragraph
from dbox.report.case_report import (
    BLANKS,
    INVENTED,
    QUESTION,
    box_words,
    case_blocks,
    key_blocks,
    pour_words,
)
from dbox.report.cautions import CODE, GAS, GERMS, LESSON, LIDS, WATER
from dbox.report.teach_report import both_amounts, error_text, lip_blocks
from dbox.report.text import TOGETHER
from dbox.units import INCH, litres, litres_per_min, millimetres, percent_text

_HAND, _HAND_TABLE = 0.33, 2.5
"""Least height of a row that is filled by hand, and most of a table of such. [in]"""

_FOLLOWS = (
    "A bucket hides the error, a pumped dose nearly all of it: look under a slow pour, over still "
    "water.",
    "A ruler is good to about 1/16 in, 1/32 in at best (common practice, no source): read more "
    "than once, and say “cannot tell” where you cannot.",
    "Equal at the box is not equal along the trench; unequal lines do not want equal shares.",
    "No tolerance holds in general: the permit or the inspector names it; write down who did.",
)


@pens
def handout_pages(
    lips: LipTable, exercise: Exercise, paper: str = "letter", lengths: Lengths = PLAIN
) -> tuple[Figure, ...]:
    """Set the handout."""
    pages = Pages("Why a dead-level box matters", _site(lips, lengths), paper)
    low, high = float(lips.level_head.min()), float(lips.level_head.max())
    error = error_text(_guessed(lips), lengths)
    pages.paragraph(
        "Water in the box stands level, and each outlet passes what the water over its own lip "
        "drives through it. An ordinary day brings only 1 to 4 L/min, a quarter to one gallon a "
        "minute (Water Science and Technology 51(10), 2005, p. 39). Here the least flow stands "
        f"{lengths.both(low)} over level lips, the strongest {lengths.both(high)}."
    )
    _wrong_lip(pages, lips, lengths)
    pages.heading("Guess first")
    fair = f"{100 * lips.fair:.3g} %"
    pages.paragraph(f"Line 1 alone has its lip {error}. Fair is {fair}. What share does it get?")
    names = [_flow_text(flow.inflow) for flow in lips.flows]
    table(pages, [Column(name, 1.0, "center") for name in names], [[""] * len(names)],
          least_height=0.36)  # fmt: skip
    _fold(pages)
    set_blocks(pages, lip_blocks(lips, lengths))
    pages.paragraph(
        "Computed from the flow through sharp-edged openings; below 5 mm (3/16 in) of water "
        "surface tension decides: take those rows as a warning, not to the last per cent."
    )
    pages.paragraph(*_FOLLOWS, mark="·")
    pages.need(pages.room - 0.5)
    _bench(pages, exercise, lengths)
    return pages.finished()


_FOLD_ROOM, _DRAWN, _STRIP = 0.3, 1.3, (4.1, 1.9)
"""Paper for the fold, for the height of the box drawn, and from the left to the magnified lips and
for their width. [in]"""


def _fold(pages: Pages) -> None:
    """A line to fold the answers behind."""
    sheet, y = pages.sheet, pages.top - 0.4 * _FOLD_ROOM
    words = "  fold back along this line: the answers stand behind  "
    half = 0.5 * text_width(words, LETTERS)
    middle = 0.5 * (sheet.left + sheet.right)
    for ends in ((sheet.left, middle - half), (middle + half, sheet.right)):
        sheet.line([(end, y) for end in ends], linestyle=(0, (6, 4)), linewidth=THIN)
    write_line(sheet, middle, y + 0.08, words.strip(), LETTERS, ha="center")
    pages.skip(_FOLD_ROOM)


def _wrong_lip(pages: Pages, lips: LipTable, lengths: Lengths) -> None:
    """The box with its wrong lip in true proportions, and the lips of two lines magnified."""
    pages.need(_DRAWN + 0.5)
    sheet, top, n = pages.sheet, pages.top - 1.4 * line_height(LETTERS), lips.outlets
    hole, error, heads = lips.opening, _guessed(lips), np.sort(lips.level_head)
    slow = float(heads[0])
    reach = hole.top if np.isfinite(hole.top) else 1.3 * float(heads[-1])
    wide = float(np.ptp(hole.outline(reach)[:, 0]))
    column = min((_STRIP[0] - 0.3) / n, 1.1)
    scale = min(0.7 * column / wide, _DRAWN / (1.3 * reach))
    tall = 1.3 * reach * scale
    low = min(error, 0.0) - 0.12 * reach
    axes = sheet.axes(sheet.left, sheet.left + n * column, top - tall, top)
    axes.set(xlim=(-0.5, n - 0.5), ylim=(low, low + 1.3 * reach))
    corners = hole.outline(reach) * [scale / column, 1.0]
    _draw_lips(axes, lips, corners, n, slow)
    for i in range(n):
        x = sheet.left + (i + 0.5) * column
        write_line(sheet, x, top - tall - 0.03, str(i + 1), LETTERS, ha="center")
    write_line(sheet, sheet.left, pages.top, "In true proportions, all lines", LETTERS,
               weight="bold")  # fmt: skip

    left, width = sheet.left + _STRIP[0], _STRIP[1]
    most = 1.2 * max(float(heads[min(1, heads.size - 1)]), abs(error))
    low = 1.5 * min(error, 0.0) - 0.1 * most
    axes = sheet.axes(left, left + width, top - _DRAWN, top)
    axes.set(xlim=(-0.5, 1.5), ylim=(low, most))
    half, upright = 0.5 * width, _DRAWN / (most - low)
    shape = hole.outline(most - low)
    level = 0.7 * half / max(float(np.ptp(shape[:, 0])), 1e-9)
    _draw_lips(axes, lips, shape * [level / half, 1.0], 2, slow)
    times = f"{upright / level:.2g} times" if abs(upright / level - 1) > 0.05 else "to the scale of"
    words = f"Magnified: heights {times} the widths"
    write_line(sheet, left, pages.top, words, LETTERS, weight="bold")
    for i, name in enumerate(("line 1", "each other line")):
        x = left + (i + 0.5) * half
        write_line(sheet, x, top - _DRAWN - 0.03, name, LETTERS, ha="center")
    said = f"{lengths.one(abs(error))} {'low' if error < 0 else 'high'}"
    axes.annotate(said, (0.0, min(error, 0.0)), (0, -2), textcoords="offset points", ha="center",
                  va="top", fontsize=LETTERS, zorder=8)  # fmt: skip
    # over the levels that the strip holds their flows are written
    shown = sorted(zip(lips.level_head.tolist(), lips.flows, strict=True), key=lambda at: at[0])
    ends = [top - _DRAWN + (min(head, most) - low) * upright for head, _ in shown]
    spots = spread_out(ends, line_height(LETTERS), top - _DRAWN + 0.1, top - 0.02)
    for (head, flow), end, spot in zip(shown, ends, spots, strict=True):
        said = litres_per_min(flow.inflow)
        write_line(sheet, left + width + 0.3, spot + 0.08, f"{'↑ ' * (head > most)}{said}", LETTERS)
        if head <= most:
            axes.plot((-0.5, 1.5), (head, head), color=INK, linewidth=THIN, linestyle=(0, (4, 2)),
                      label=f"level {flow.name}", zorder=4)  # fmt: skip
            sheet.line([(left + width, end), (left + width + 0.26, spot)], linewidth=HAIR)
    pages.skip(1.4 * line_height(LETTERS) + _DRAWN + 0.25)


def _draw_lips(axes: Axes, lips: LipTable, corners: Array, columns: int, water: float) -> None:
    """Wall, holes and lips, the first one wrong, with the water of the weakest flow; water [m]."""
    axes.set(xticks=(), yticks=(), facecolor="white")
    for side in ("left", "right", "bottom"):
        axes.spines[side].set(visible=True, linewidth=MEDIUM)
    axes.axhspan(axes.get_ylim()[0], water, facecolor=TINT, zorder=1)
    for i in range(columns):
        lip = _guessed(lips) if i == 0 else 0.0
        draw_hole(axes, i, corners, lip, str(i + 1), 0.42, fill=False)


def _bench(pages: Pages, exercise: Exercise, lengths: Lengths) -> None:
    """The exercise, to be filled by hand."""
    lips = exercise.table
    slow, fast = (_flow_text(flow.inflow) for flow in (lips.flows[0], lips.flows[-1]))
    pages.heading("At the bench box")
    steps = (
        f"Level the box, fill it with clean water until it just spills, let it go still. Bring "
        f"all lips to the water; then spoil line 1 alone: {error_text(lips.error[0], lengths)}.",
        f"Guess the share of line 1 at {slow} and at {fast}; write it down.",
        f"Pour steadily at {slow}. Wait until the level stands, then catch every line for "
        f"{exercise.seconds:.0f} s. The same at {fast}.",
        "Share = what the line caught over what all lines caught.",
    )
    pages.paragraph(*steps, mark="{}.")
    unit = "mL" if _in_millilitres(exercise) else "L"
    columns = [
        Column("line", 0.5, "center"),
        Column("lip over\nwater", 0.9, "center"),
        *(
            Column(f"{what}\n{litres_per_min(flow.inflow)}", 0.85, "center")
            for flow in lips.flows
            for what in ("guess, %", f"caught, {unit}", "share, %")
        ),
    ]
    names = [*(str(i + 1) for i in range(lips.outlets)), "all"]
    rows = [[name, *[""] * (len(columns) - 1)] for name in names]
    table(pages, columns, rows, least_height=min(_HAND, _HAND_TABLE / len(rows)))
    pages.heading("Questions", keep=2.0)
    questions, cautions = _questions(exercise, lengths), [WATER, GAS, LIDS, GERMS, CODE]
    # what is left of the page is for the answers
    rest = (len(questions) + len(cautions)) * 1.35 * line_height(pages.body) + 0.5
    lines = int((pages.top - pages.sheet.bottom - rest) / 0.32 / len(questions))
    for number, (question, _) in enumerate(questions, start=1):
        pages.paragraph(question, mark=f"{number}.")
        pages.blank_lines(max(lines, 1), 0.3)
    pages.framed(cautions)


@pens
def handout_key(
    lips: LipTable, exercise: Exercise, paper: str = "letter", lengths: Lengths = PLAIN
) -> tuple[Figure, ...]:
    """Set the key, to be kept apart from the handout, and the notes for the instructor."""
    pages = Pages("KEY: Why a dead-level box matters", _site(lips, lengths), paper)
    pages.heading("The guess")
    pairs = zip(lips.flows, lips.share[:, _guessed_column(lips)], strict=True)
    guesses = (f"{_flow_text(flow.inflow)}: {percent_text(share, 0)}" for flow, share in pairs)
    pages.paragraph(*guesses, mark="·")
    pages.heading("What the bench box catches")
    pages.paragraph(
        f"Line 1 has its lip {error_text(exercise.table.error[0], lengths)}; each line is caught "
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
            *(
                f"{_caught_text(v, exercise)}, {percent_text(s, 0)}"
                for v, s in zip(caught, shares, strict=True)
            ),
        ]
        for flow, caught, shares in told
    ]
    table(pages, columns, rows)
    pages.heading("The questions")
    for number, (question, reply) in enumerate(_questions(exercise, lengths), start=1):
        pages.paragraph(question, mark=f"{number}.", weight="bold")
        pages.paragraph(reply, mark=TOGETHER)
    pages.need(pages.room - 0.5)
    _notes(pages, exercise)
    return pages.finished()


_HOUR = (
    (5, "The idea", "Hand page 1 out folded along its line. Read the idea aloud; hold a ruler to "
     "the drawing: how much of the water over the lips is the wrong lip?"),
    (10, "Guess", "Each writes four numbers, alone, before anyone speaks. Hands up for the highest "
     "and the lowest. Unfold and compare: who wrote a bucket's share for a trickle?"),
    (10, "Level and read", "Two people read every lip over still water, apart, and write both "
     "numbers. They will differ by a mark: that is the ruler. Then spoil line 1."),
    (15, "Pour and catch", "The slow pour first, then the bucket. Wait until the level stands: two "
     "looks at a mark on the wall that agree. One calls the time, one catches, one writes."),
    (10, "Shares and questions", "Work the shares out on the form. Let each group answer one "
     "question; the answers are on the key. A catch off by 10 % is not a wrong box."),
    (5, "One mystery case", "A page of `dbox teach case` for each table, the key in your pocket: "
     "causes ranked, the one look named, nothing announced from a sheet."),
    (5, "To take home", "Slow pour, still water, two readings; write the tolerance and who named "
     "it; “cannot tell” is an answer."),
)  # fmt: skip
"""Parts of an hour: minutes, what it is, what to do. [min] (judgement)"""

_STANDS = 60.0
"""How long a pour runs before anything is caught, for the level to stand. [s] (judgement)"""


def _notes(pages: Pages, exercise: Exercise) -> None:
    """What an instructor does in an hour, what it takes, and what to be careful of."""
    pages.heading("Notes for the instructor: one hour")
    rows = [[str(minutes), what, how] for minutes, what, how in _HOUR]
    heads = [Column("min", 0.5, "right"), Column("part", 1.4), Column("what to do", 5.6)]
    table(pages, heads, [*rows, [str(sum(minutes for minutes, *_ in _HOUR)), "in all", ""]])
    pages.heading("What it takes")
    seconds = _STANDS + exercise.seconds * exercise.table.outlets
    water = " and ".join(
        f"{litres(flow.inflow * seconds)} at {_flow_text(flow.inflow)}"
        for flow in exercise.table.flows
    )
    pages.paragraph(
        f"A bench box with {exercise.table.outlets} outlets, a spirit level, two rules, a jug with "
        "marks, a watch, a bucket for each line, a cloth for the floor.",
        f"Clean water: {water}, each line caught in turn once the level stood for a minute. Pour "
        "back what was caught.",
        "Pour through a hose with a tap, or from a pail with a hole: a hand does not hold a slow "
        "pour. Time one jug first to know what it brings.",
        mark="·",
    )
    pages.heading("Be careful", keep=1.6)
    pages.framed([
        f"{WATER} A box that was in use is not for a class. {GERMS}",
        "A box full of water is heavy, 1 kg for each litre: fill it where it stands, let it run "
        "out by its outlets, lift it empty and with two. Wipe up spills; keep leads and plugs "
        "away.",
        f"On a visit to a real box: {GAS} {LIDS} {CODE}",
    ])  # fmt: skip


def _site(lips: LipTable, lengths: Lengths) -> Site:
    """What stands over every page: a bench box, made up."""
    outlets = tuple(Outlet(label=str(i + 1), opening=lips.opening) for i in range(lips.outlets))
    title = f"A bench box: {lips.outlets} outlets, each a {opening_text(lips.opening, lengths)}"
    return Site(title=title, outlets=outlets, flows=lips.flows, record=JobRecord(invented=True))


def _questions(exercise: Exercise, lengths: Lengths) -> tuple[tuple[str, str], ...]:
    """Questions with their answers."""
    ruler = "2 mm" if lengths.metric else "1/16 in"
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
            f"Your ruler is good to {ruler}. May you write “all lines equal” for an ordinary day?",
            f"No. The table shows what {ruler} does at a trickle. Write the readings, how they "
            "were taken, and “cannot tell” for the trickle.",
        ),
    )


def _guessed_column(lips: LipTable) -> int:
    """The column that is guessed: an eighth low, or what comes nearest."""
    return int(np.abs(lips.error + INCH / 8).argmin())


def _guessed(lips: LipTable) -> float:
    """The wrong lip that is guessed over the others. [m]"""
    return float(lips.error[_guessed_column(lips)])


def _in_millilitres(exercise: Exercise) -> bool:
    """Whether catches are small enough to be written so, on the form and on its key."""
    return float(exercise.caught.max()) < _MOST_JUG


_MOST_JUG = 5e-3
"""Catch from which litres are written. [m3] (judgement)"""


def _caught_text(volume: float, exercise: Exercise) -> str:
    return f"{float(f'{volume * 1e6:.3g}'):.0f} mL" if _in_millilitres(exercise) else litres(volume)


def _flow_text(inflow: float) -> str:
    return both_amounts(inflow, Lengths(metric=True)).replace(" ", TOGETHER, 1)


@pens
def case_pages(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the handouts, each group's on pages of its own."""
    return tuple(page for case in cases for page in _handout(case, paper))


@pens
def case_key(cases: Sequence[Case], paper: str = "letter") -> tuple[Figure, ...]:
    """Set the key of all groups, to be kept apart."""
    first = replace(cases[0].site, title=f"Seed {cases[0].seed}, cases 1 to {len(cases)}")
    pages = Pages("KEY to the mystery cases", first, paper)
    for blocks in map(key_blocks, cases):
        # no key is parted by the end of a page
        words = [block.text for block in blocks if isinstance(block, Paragraph)]
        lines = [wrap(each, pages.width - 0.2, pages.body) for each in words]
        pages.need(sum(0.03 + len(each) * line_height(pages.body) for each in lines) + 0.3)
        set_blocks(pages, [blocks])
    pages.skip(0.1)
    pages.framed([INVENTED, "Rank causes and look; never announce one from a sheet."])
    return pages.finished()


def _handout(case: Case, paper: str) -> tuple[Figure, ...]:
    pages = Pages("Which cause?", case.shown, paper, LETTERS)
    _seen_in_place(pages, case)
    for heading, sections in case_blocks(case, drawn=True).items():
        pages.heading(heading)
        set_blocks(pages, sections)
    pages.paragraph(QUESTION, weight="bold")
    entries(pages, [(blank, "") for blank in BLANKS], least_height=0.31)
    reserve = 3 * line_height(pages.body)
    if pages.top - pages.sheet.bottom > 1.0 + reserve:
        pages.paragraph("Why:", weight="bold")
        pages.lines_to_end(2, reserve)
    pages.paragraph(LESSON)
    return pages.finished()


_PLAN_HEIGHT, _PLAN_WIDTH, _BOX_SIZE = 2.7, 3.35, (2.0, 1.75)
"""Paper for the box as it was found, and for its walls and stubs within it. [in]"""

_LINE, _TRENCH = 0.8, 0.27
"""How long a line is drawn, and where its trench begins; no scale. [in]"""

_SPOTS = {"over the pipe": 0.14, "head": 0.47, "middle": 0.57, "end": 0.68}
"""Where wet ground is drawn along a line. [in]"""

_FILLED = {"dry": 0.0, "part full": 0.5, "below the pipe": 0.5, "full": 1.0, "to the pipe": 1.0}
"""How far the sign of a mouth or a port is filled, by what was seen there. [-]"""


def _seen_in_place(pages: Pages, case: Case) -> None:
    """The box from above with what was seen where it was seen, and what its signs mean."""
    pages.need(_PLAN_HEIGHT)
    sheet, top, site = pages.sheet, pages.top, case.shown
    middle = (sheet.left + 0.5 * _PLAN_WIDTH, top - 0.6 * _PLAN_HEIGHT)
    drawn = Plan.fitted(site.box, site.outlets, *_BOX_SIZE, middle)
    mouths = drawn.mouths(site.outlets)
    for i, mouth in enumerate(mouths):
        _line_seen(sheet, mouth, site.evidence.of_outlet(i), site.outlets[i].label)
    wall: dict[str, Any] = {"facecolor": TINT, "edgecolor": INK, "linewidth": THICK, "zorder": 3}
    (x, y), w, h = middle, drawn.across, drawn.along
    corner = (x - 0.5 * w, y - 0.5 * h)
    sheet.draw(Circle((x, y), 0.5 * w, **wall) if drawn.is_round
               else Rectangle(corner, w, h, **wall))  # fmt: skip
    for i, mouth in enumerate(mouths):
        _sign(sheet, mouth.at, site.evidence.of_outlet(i).mouth)
    foot = corner[1]
    sheet.draw(arrow((x, foot - 0.32), (x, foot + 0.16), linewidth=THICK))
    write_line(sheet, x, foot - 0.34, "inlet", LETTERS, ha="center")
    _signs_told(sheet, case, sheet.left + _PLAN_WIDTH + 0.1, top)
    pages.skip(_PLAN_HEIGHT)


def _line_seen(sheet: Sheet, mouth: Mouth, seen: OutletEvidence, label: str) -> None:
    """One line with its trench, port, ruts and wet ground."""
    (x, y), (u, v) = mouth.at, mouth.way

    def spot(along: float, aside: float = 0.0) -> Point:
        return x + along * u - aside * v, y + along * v + aside * u

    sheet.line([spot(0.0), spot(_LINE)], linewidth=MEDIUM)
    half = 0.085
    corners = [spot(_TRENCH, -half), spot(_LINE, -half), spot(_LINE, half), spot(_TRENCH, half)]
    sheet.draw(Polygon(corners, facecolor="white", edgecolor=INK, linewidth=HAIR, zorder=2))
    for place in seen.ground or ():
        wet = Circle(spot(_SPOTS[place]), 0.13, fill=False, linestyle=(0, (1, 1)), zorder=4)
        wet.set(hatch="/////", edgecolor=INK, linewidth=THIN, label=f"wet {place}")
        sheet.draw(wet)
    if seen.traffic == "ruts":
        for along in (0.12, 0.2):
            sheet.line([spot(along, -0.14), spot(along, 0.14)], linewidth=THICK, zorder=5)
    _sign(sheet, spot(_TRENCH + 0.07), seen.port, square=True)
    end = spot(_LINE + 0.12)
    write_line(sheet, end[0], end[1] + 0.08, label, LETTERS, ha="center", weight="bold")


def _sign(sheet: Sheet, at: Point, word: str | None, *, square: bool = False) -> None:
    """A mouth, or a port, filled as far as water was seen in it; none where nobody looked."""
    if word is None:
        return
    (x, y), r = at, 0.07
    look: dict[str, Any] = {"edgecolor": INK, "linewidth": THIN}

    def shape(**more: Any) -> Patch:
        made = (
            Rectangle((x - r, y - r), 2 * r, 2 * r, **look, **more)
            if square
            else Circle(at, r, **look, **more)
        )
        made.set_label(f"{'port' if square else 'mouth'} {word}")
        return made

    sheet.draw(shape(facecolor="white", zorder=6))
    water = Rectangle((x - r, y - r), 2 * r, 2 * r * _FILLED[word], facecolor=INK, zorder=7)
    sheet.draw(water)
    water.set_clip_path(shape(transform=sheet.page.transData))


def _signs_told(sheet: Sheet, case: Case, left: float, top: float) -> None:
    """What the signs on the plan mean, and what box it is."""
    seen = [case.shown.evidence.of_outlet(i) for i in range(len(case.shown.outlets))]
    room, y = sheet.right - left, top
    for name, said, words, square in (
        ("mouth", "mouth at rest:", ("dry", "part full", "full"), False),
        ("port", "port of line:", ("dry", "below the pipe", "to the pipe"), True),
    ):
        if all(getattr(each, name) is None for each in seen):
            write_line(sheet, left, y, f"{said} not looked at", LETTERS)
        else:
            write_line(sheet, left, y, said, LETTERS)
            x = left + 1.12
            for word in words:
                _sign(sheet, (x, y - 0.09), word, square=square)
                write_line(sheet, x + 0.11, y, word, LETTERS)
                x += 0.27 + text_width(word, LETTERS)
        y -= 1.1 * line_height(LETTERS)
    if any(each.ground for each in seen):
        sheet.draw(Circle((left + 0.1, y - 0.09), 0.09, fill=False, linestyle=(0, (1, 1)),
                          hatch="/////", edgecolor=INK, linewidth=THIN))  # fmt: skip
        write_line(sheet, left + 0.27, y, "wet ground", LETTERS)
        y -= line_height(LETTERS)
    if any(each.traffic == "ruts" for each in seen):
        for x in (left + 0.07, left + 0.14):
            sheet.line([(x, y - 0.16), (x, y - 0.02)], linewidth=THICK)
        write_line(sheet, left + 0.27, y, "ruts of wheels", LETTERS)
        y -= line_height(LETTERS)
    rest = case.shown.evidence.at_rest or "not looked at"
    for text in (f"Water at rest in the box, grey: {rest}.", box_words(case), pour_words(case)):
        y = write_lines(sheet, left, y - 0.05, wrap(text, room, LETTERS), LETTERS)
