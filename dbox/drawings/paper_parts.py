"""What several printed sheets hold: cautions, plan, turn tables, signatures, falls, pours."""

import math
from collections.abc import Sequence

from matplotlib.patches import Circle, Rectangle

from dbox.drawings.paper import (
    BODY,
    BY_HAND,
    HEADING,
    Pages,
    entries,
    set_blocks,
    table,
    write_line,
    write_lines,
)
from dbox.drawings.plan import Mouth, Plan, draw_plan
from dbox.drawings.style import HAIR, INK, line_height, spread_out, wrap
from dbox.errors import outlets_text
from dbox.fieldwork.falls_plan import Aims
from dbox.fieldwork.grades import Grading
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.pour import Expectation, box_filling
from dbox.fieldwork.site import JobRecord, Outlet, Site
from dbox.fieldwork.turning import TurnTable
from dbox.hydraulics.openings import Opening
from dbox.lengths import PLAIN, Lengths
from dbox.report.blocks import Column, Paragraph, Table, columns
from dbox.report.grades_report import grades_blocks, plan_blocks, plan_findings
from dbox.report.pour_report import filling_words, pail_blocks, pour_blocks, water_words
from dbox.report.text import cells, shortened
from dbox.units import clock_text

SIGNED = (
    "Signed for the readings and settings written on these pages. Shares are computed from them by "
    "a model of the box; acceptance is for the permit, the code and the inspector."
)
"""What is signed for where something was set."""

_LEAST_PLAN, _MOST_PLAN, _ROOM = 2.9, 3.9, 0.36
_SKETCH = 2.6
"""Height of the room for a sketch. [in]"""
_LONG_LABEL = 14
_BEYOND, _NUMBER_WIDTH = 0.17, 0.34
"""From the end of a stub to the middle of its number, and the room of a number. [in]"""
_MOST_ON_PLAN = 24
_SIGNED_ROW = 0.45
"""Height of the row that is signed in. [in]"""


def opening_text(opening: Opening, lengths: Lengths = PLAIN) -> str:
    """Write what the hole of an outlet is, both ways."""
    sizes = {name: getattr(opening, name) for name in opening.needs}
    return opening.words.format(**{
        name: f"{math.degrees(size):.0f} deg" if name == "angle" else lengths.both(size)
        for name, size in sizes.items()
    })  # fmt: skip


def outlet_texts(site: Site, *, whole: bool = False) -> list[str]:
    """Name outlets by their numbers from the inlet, and their labels where those are others."""
    labels = [outlet.label for outlet in site.outlets]
    short = labels if whole else shortened(labels, lambda label: cells(label) <= _LONG_LABEL)
    return [
        label if label == str(number) else f"{number}: {label}"
        for number, label in enumerate(short, start=1)
    ]


def length_text(outlet: Outlet, lengths: Lengths) -> str:
    """Write the length of an outlet's line; empty where it is not known."""
    return "" if outlet.line_length is None else lengths.line(outlet.line_length)


def record_entries(record: JobRecord, *names: str) -> list[tuple[str, str]]:
    """What is on record under some names, with a blank for what is not."""
    labels = {"who": "Done by", "lid": "Lid fastened", "recheck": "Re-check",
              "pipe_bed": "Pipes lie on"}  # fmt: skip
    return [(labels.get(name, name.capitalize()), getattr(record, name)) for name in names]


def box_entries(site: Site) -> list[tuple[str, str]]:
    """Sizes of the box, with a blank for what is not known."""
    box, lengths = site.box, site.lengths
    inside = " x ".join(lengths.one(size) for size in box.inside)
    drop, sump, rim = (
        "" if height is None else lengths.both(height)
        for height in (box.inlet_drop, box.sump, box.rim)
    )
    air = {None: "", True: ", with an air hole", False: ", no air hole"}[box.air_hole]
    used = sum(not outlet.capped for outlet in site.outlets)
    return [
        ("Box inside", f"round, {inside}" if len(box.inside) == 1 else inside),
        ("Inlet", f"{box.inlet or ''}{air}"),
        ("Inlet over outlets", drop),
        ("Outlets over floor", sump),
        *[("Rim over still water", rim)] * bool(rim),
        ("Outlets used", f"{used} of {len(site.outlets)}"),
    ]


def tie_entries(site: Site) -> list[tuple[str, str]]:
    """The ties as written, and those taped as numbers; two blanks where there are none."""
    taped = site.ties.points if site.ties else ()
    known = [*site.record.ties, *(f"{t.name} {site.lengths.tape(t.distance)}" for t in taped)]
    return [(f"Tie {i}", tie) for i, tie in enumerate(known or ("", ""), start=1)]


def plan(pages: Pages) -> None:
    """Draw the box from above, the outlets numbered, with room to sketch around it."""
    site = pages.site
    words = "Seen from above; outlets are numbered clockwise from the inlet. "
    if any(outlet.position is None for outlet in site.outlets):
        words += "Their places were not entered: they are drawn in order only. "
    if any(outlet.capped for outlet in site.outlets):
        words += "A hatched stub is capped. "
    pages.need(_LEAST_PLAN + 0.5)
    sheet, top = pages.sheet, pages.top
    height = min(_MOST_PLAN, top - sheet.bottom - 0.5)
    middle = (0.5 * (sheet.left + sheet.right), top - 0.5 * height)
    room = 2 * _ROOM
    drawn = Plan.fitted(
        site.box, site.outlets, 0.72 * pages.width - room, height - room - 0.3, middle
    )
    mouths = drawn.mouths(site.outlets)
    draw_plan(sheet, drawn, site.outlets, mouths, BODY)
    if len(mouths) <= _MOST_ON_PLAN:
        _numbers(pages, drawn, mouths)
    _north(pages, top)
    pages.skip(height)
    ties = "" if site.ties or site.record.ties else "ties from two fixed points and "
    pages.paragraph(f"{words}Add {ties}the way of each line.")


def sketch(pages: Pages) -> None:
    """Leave room to sketch the box in."""
    pages.paragraph(
        "Sketch it from above: the inlet below, outlets numbered clockwise from it, the outside, "
        "ties from two fixed points and the way of each line."
    )
    pages.need(_SKETCH)
    sheet, top = pages.sheet, pages.top
    height = _SKETCH
    corner = (sheet.left, top - height)
    sheet.draw(Rectangle(corner, pages.width, height, fill=False, edgecolor=INK, linewidth=HAIR))
    _north(pages, top - 0.06, inside=0.1)
    pages.skip(height + 0.06)


def _numbers(pages: Pages, drawn: Plan, mouths: list[Mouth]) -> None:
    """The number of every outlet beyond its stub, moved apart where they would touch."""
    places = [
        [mouth.end[0] + _BEYOND * mouth.way[0], mouth.end[1] + _BEYOND * mouth.way[1]]
        for mouth in mouths
    ]
    # which side of the box a mouth is on, as a reader of the plan sees it
    sides = ["far" if v >= abs(u) else "left" if u < 0 else "right" for u, v in
             (mouth.way for mouth in mouths)]  # fmt: skip
    for side in () if drawn.is_round else ("left", "far", "right"):
        which = [i for i, each in enumerate(sides) if each == side]
        axis, room = (0, _NUMBER_WIDTH) if side == "far" else (1, line_height(HEADING))
        wanted = [places[i][axis] for i in which]
        span = room * len(which)
        low, high = min(wanted, default=0.0) - span, max(wanted, default=0.0) + span
        for i, place in zip(which, spread_out(wanted, room, low, high), strict=True):
            places[i][axis] = place
    look = {"weight": "bold", "ha": "center", "va": "center"}
    for number, (x, y) in enumerate(places, start=1):
        pages.sheet.write(x, y, str(number), HEADING, **look)


def _north(pages: Pages, top: float, inside: float = 0.0) -> None:
    """A circle for the arrow of north, or the words that say where it lies. [in]"""
    sheet, north = pages.sheet, pages.site.record.north
    width = 1.25
    if north:
        lines = wrap(f"north: {north}", width, BODY)
        write_lines(sheet, sheet.left, top - 0.05, lines)
        return
    left = sheet.left + inside
    middle = (left + 0.4, top - 0.45)
    sheet.draw(Circle(middle, 0.36, fill=False, edgecolor=INK, linewidth=HAIR))
    write_line(sheet, left, top - 0.86, "draw north", BODY)


def turn_table(pages: Pages, turning: TurnTable) -> None:
    """Set the clock positions of an insert against its lip heights, in two blocks."""
    lengths = pages.site.lengths
    pages.heading(f"Turn table, hole {lengths.both(turning.offset)} off centre", keep=2.2)
    pages.paragraph(f"For {outlets_text(turning.labels)}.")
    pages.paragraph(
        "Clock positions are seen from inside the box, 6:00 straight down. Heights count from the "
        "lip at its lowest: from one row to another the lip moves by their difference."
    )
    rows = []
    for angle, rise in zip(turning.angle.tolist(), turning.rise.tolist(), strict=True):
        # a clock position and its mirror image have the same lip height
        clocks = dict.fromkeys((clock_text(angle), clock_text(-angle)))
        rows.append([" or ".join(clocks), *lengths.pair(rise)])
    half = (len(rows) + 1) // 2
    right = rows[half:] + [["", "", ""]] * (2 * half - len(rows))
    units = ("lip, mm", "in") if lengths.metric else ("lip, in", "mm")
    heads = [Column("clock", 1.6), *(Column(unit, 0.95, "right") for unit in units)]
    table(pages, heads * 2, [a + b for a, b in zip(rows[:half], right, strict=True)])


def signatures(pages: Pages, who: tuple[str, ...], words: str = SIGNED) -> None:
    """Lines to sign on for each role, kept together with what is signed for."""
    pages.heading("Signatures", keep=signing_room(who))
    pages.paragraph(words)
    heads = {"": 1.1, "name": 1.9, "licence or title": 1.5, "signature": 1.9, "date": 1.0}
    table(pages, columns(heads), [[role, *[""] * 4] for role in who], least_height=_SIGNED_ROW)


def signing_room(who: Sequence[str]) -> float:
    """What the signatures of some roles take, without their heading. [in]"""
    return 0.8 + _SIGNED_ROW * len(who)


def grades_part(pages: Pages, grading: Grading | None) -> None:
    """Set the falls of every run, what is wrong with them and what they are held to."""
    pages.heading("Falls of the pipes", keep=1.2)
    if grading is None:
        pages.paragraph("No rod readings were entered.")
    else:
        set_blocks(pages, grades_blocks(grading))


def plan_part(pages: Pages, aims: Aims) -> None:
    """Set what a plan aims for, with room for what is read there."""
    pages.heading("Plan: no fall is measured", keep=1.6)
    points, falls = plan_blocks(aims)
    for block in points:
        if isinstance(block, Table):
            heads = [*block.columns, Column("read", 15)]
            table(pages, heads, [[*row, ""] for row in block.rows], least_height=BY_HAND)
        else:
            set_blocks(pages, [[block]])
    pages.paragraph(*plan_findings(aims), mark="-", weight="bold")
    set_blocks(pages, [falls])


def pour_part(pages: Pages, expectation: Expectation | None) -> None:
    """Set the pours that were done; else what each outlet should give, and a form to fill in."""
    outlets = pages.site.outlets
    if expectation is None or not any(pour.done for pour in expectation.pours):
        names = outlet_texts(pages.site)
        pages.heading("Pour test, clean water", keep=0.95 + 2 * BY_HAND)
        if expectation is not None:
            set_blocks(pages, pail_blocks(expectation, names))
        elif box_filling(pages.site) is not None:
            pages.paragraph(filling_words(pages.site, ()))
        blanks = ("Poured", "In seconds", "Jug holds", "Lost or leaked")
        entries(pages, [(blank, "") for blank in blanks])
        heads = columns({"outlet": 1.3, "order of start": 1.2, "caught": 1.3, "in seconds": 1.1,
                         "remarks": 2.3})  # fmt: skip
        rows = [[n, *[""] * 4] for n, o in zip(names, outlets, strict=True) if not o.capped]
        table(pages, heads, rows, least_height=BY_HAND)
        return
    # the first pour's table is kept with the words before it
    lines = 3 + sum(not outlet.capped for outlet in outlets)
    pages.heading("Pour test", keep=min(lines * 0.25 + 0.4, 0.6 * pages.room))
    for case, pour in enumerate(expectation.pours):
        words, *found = pour_blocks(expectation, case)
        told = []
        if pour.order:
            labels = ", ".join(outlet_texts(pages.site)[i] for i in pour.order)
            told.append(Paragraph(f"Started in this order: {labels}."))
        if expectation.inlet_open[case]:
            told.append(Paragraph(
                "The jet of the straight inlet decides in this pour, and how it strikes is not "
                f"known. To be sure, {CURE}."
            ))  # fmt: skip
        set_blocks(pages, [[words, *told, *found]])
    set_blocks(pages, [[Paragraph(each) for each in water_words(expectation)]])
