"""What several printed sheets hold: cautions, plan, turn tables, signatures, falls, pours."""

import math
from itertools import combinations
from typing import Any

import numpy as np
from matplotlib.patches import Circle, FancyArrowPatch, Rectangle

from dbox.drawings.paper import BODY, BY_HAND, HEADING, Column, Pages, entries, table, write_line
from dbox.drawings.plan import Mouth, Plan
from dbox.drawings.style import HAIR, INK, MEDIUM, THICK, THIN, line_height, spread_out, wrap
from dbox.fieldwork.grades import Falls, Grading
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.pour import Expectation, balance
from dbox.fieldwork.site import Box, Outlet, Site
from dbox.fieldwork.turning import TurnTable
from dbox.hydraulics.openings import Circle as RoundHole
from dbox.hydraulics.openings import Notch, Opening, PipeEnd, Slot
from dbox.report.grades_report import HEADLINES, doubts, findings, limit_text, slope_text
from dbox.units import clock_text, feet, gpm_litres, inches, inches_mm, litres_per_min, millimetres
from dbox.units import percent_text as percent

CAUTIONS = (
    "Sewer gas kills without warning: never enter, and never lean into, a tank or a box.",
    "An open lid is a trap for children: never leave one unwatched, and fasten it when you go.",
    "A trench can cave in: protection at 5 ft and deeper, and a way out at 4 ft and deeper "
    "(29 CFR 1926.651-652). Have buried lines marked before you dig.",
    "Sewage carries disease: gloves, no bare cuts, wash before you eat.",
    "Cut and lock the power of a pump before you reach near it. Test with clean water only.",
    "Local code, the permit and licensed practice decide; this sheet does not.",
)
"""What every sheet warns of."""

SIGNED = (
    "Signed for the readings and settings written on these pages. Shares are computed from them by "
    "a model of the box; acceptance is for the permit, the code and the inspector."
)
"""What is signed for where something was set."""

_LEAST_PLAN, _MOST_PLAN, _ROOM = 2.9, 3.9, 0.36
_WALL = 0.07
_LONG_LABEL = 14
_BEYOND, _NUMBER_WIDTH = 0.17, 0.34
"""From the end of a stub to the middle of its number, and the room of a number. [in]"""
_MOST_ON_PLAN = 24


def cautions(pages: Pages) -> None:
    """Frame the cautions."""
    pages.framed(CAUTIONS)


def opening_text(opening: Opening) -> str:
    """Write what the hole of an outlet is, in inches and millimetres."""
    if isinstance(opening, RoundHole):
        return f"circle {inches_mm(opening.diameter)}"
    if isinstance(opening, PipeEnd):
        return f"bare pipe {inches_mm(opening.diameter)}"
    if isinstance(opening, Notch):
        return f"notch {math.degrees(opening.angle):.0f} deg"
    if isinstance(opening, Slot):
        return f"slot {inches_mm(opening.width)} wide"
    raise TypeError(f"{type(opening).__name__} has no name on a sheet")


def outlet_text(number: int, outlet: Outlet, *, whole: bool = False) -> str:
    """Name an outlet by its number from the inlet, and its label where that is another."""
    label = outlet.label
    if label == str(number):
        return label
    if not whole and len(label) > _LONG_LABEL:
        label = f"{label[: _LONG_LABEL - 1]}…"
    return f"{number}: {label}"


def length_text(outlet: Outlet) -> str:
    """Write the length of an outlet's line; empty where it is not known."""
    return "" if outlet.line_length is None else feet(outlet.line_length)


def box_entries(site: Site) -> list[tuple[str, str]]:
    """Sizes of the box, with a blank for what is not known."""
    box = site.box
    used = sum(not outlet.capped for outlet in site.outlets)
    return [
        ("Box inside", _inside_text(box)),
        ("Inlet", box.inlet or ""),
        ("Inlet over outlets", _height(box.inlet_drop)),
        ("Outlets over floor", _height(box.sump)),
        ("Outlets used", f"{used} of {len(site.outlets)}"),
    ]


def _inside_text(box: Box) -> str:
    sizes = [inches(size) for size in box.inside]
    words = " x ".join(sizes)
    return f"round, {words}" if len(sizes) == 1 else words


def _height(height: float | None) -> str:
    return "" if height is None else inches_mm(height)


def plan(pages: Pages) -> None:
    """Draw the box from above, the outlets numbered, with room to sketch around it."""
    site = pages.site
    words = _plan_words(site)
    pages.need(_LEAST_PLAN + 0.5)
    sheet, top = pages.sheet, pages.top
    height = min(_MOST_PLAN, top - sheet.bottom - 0.5)
    middle = (0.5 * (sheet.left + sheet.right), top - 0.5 * height)
    room = 2 * _ROOM
    drawn = Plan.fitted(
        site.box, site.outlets, 0.72 * pages.width - room, height - room - 0.3, middle
    )
    mouths = drawn.mouths(site.outlets)
    half = min(0.07, 0.3 * _nearest(mouths))
    for outlet, mouth in zip(site.outlets, mouths, strict=True):
        _stub(pages, mouth, half, capped=outlet.capped)
    _walls(pages, drawn)
    _inlet(pages, drawn)
    if len(mouths) <= _MOST_ON_PLAN:
        _numbers(pages, drawn, mouths)
    _north(pages, top)
    pages.skip(height)
    pages.paragraph(words)


def _plan_words(site: Site) -> str:
    words = "Seen from above; outlets are numbered clockwise from the inlet. "
    if any(outlet.position is None for outlet in site.outlets):
        words += "Their places were not entered: they are drawn in order only. "
    if any(outlet.capped for outlet in site.outlets):
        words += "A crossed stub is capped. "
    return words + "Add ties from two fixed points and the way of each line."


def _nearest(mouths: list[Mouth]) -> float:
    """Least distance between two mouths on paper. [in]"""
    pairs = combinations((mouth.at for mouth in mouths), 2)
    return min((math.dist(one, other) for one, other in pairs), default=1.0)


def _stub(pages: Pages, mouth: Mouth, half: float, *, capped: bool) -> None:
    """Two sides of a stub of pipe, crossed where it is capped."""
    (x, y), (u, v), (far_x, far_y) = mouth.at, mouth.way, mouth.end
    page = pages.sheet.page
    sides = [
        ((x - s * v * half, y + s * u * half), (far_x - s * v * half, far_y + s * u * half))
        for s in (-1, 1)
    ]
    for (x0, y0), (x1, y1) in sides:
        page.plot([x0, x1], [y0, y1], color=INK, linewidth=THIN)
    if capped:
        ((ax, ay), (bx, by)), ((cx, cy), (dx, dy)) = sides
        page.plot([ax, dx], [ay, dy], color=INK, linewidth=MEDIUM)
        page.plot([bx, cx], [by, cy], color=INK, linewidth=MEDIUM)


def _walls(pages: Pages, drawn: Plan) -> None:
    (x, y), w, h = drawn.middle, drawn.across, drawn.along
    for grow, pen in ((_WALL, MEDIUM), (0.0, THIN)):
        look: dict[str, Any] = {
            "facecolor": "white",
            "edgecolor": INK,
            "linewidth": pen,
            "zorder": 3,
        }
        if drawn.is_round:
            pages.sheet.draw(Circle((x, y), 0.5 * w + grow, **look))
            continue
        corner = (x - 0.5 * w - grow, y - 0.5 * h - grow)
        pages.sheet.draw(Rectangle(corner, w + 2 * grow, h + 2 * grow, **look))


def _inlet(pages: Pages, drawn: Plan) -> None:
    """An arrow into the box from below, with its word."""
    x, y = drawn.middle[0], drawn.middle[1] - 0.5 * drawn.along
    arrow = FancyArrowPatch(
        (x, y - 0.55), (x, y + 0.3), arrowstyle="-|>", mutation_scale=16, color=INK,
        linewidth=THICK, shrinkA=0, shrinkB=0, zorder=4,
    )  # fmt: skip
    pages.sheet.draw(arrow)
    write_line(pages.sheet, x, y - 0.58, "inlet", BODY, ha="center")


def _numbers(pages: Pages, drawn: Plan, mouths: list[Mouth]) -> None:
    """The number of every outlet beyond its stub, moved apart where they would touch."""
    places = [
        [mouth.end[0] + _BEYOND * mouth.way[0], mouth.end[1] + _BEYOND * mouth.way[1]]
        for mouth in mouths
    ]
    for side in () if drawn.is_round else ("left", "far", "right"):
        which = [i for i, mouth in enumerate(mouths) if _side(mouth) == side]
        axis, room = (0, _NUMBER_WIDTH) if side == "far" else (1, line_height(HEADING))
        wanted = [places[i][axis] for i in which]
        span = room * len(which)
        low, high = min(wanted, default=0.0) - span, max(wanted, default=0.0) + span
        for i, place in zip(which, spread_out(wanted, room, low, high), strict=True):
            places[i][axis] = place
    look = {"weight": "bold", "ha": "center", "va": "center"}
    for number, (x, y) in enumerate(places, start=1):
        pages.sheet.write(x, y, str(number), HEADING, **look)


def _side(mouth: Mouth) -> str:
    """Which side of the box a mouth is on, as a reader of the plan sees it."""
    u, v = mouth.way
    if v >= abs(u):
        return "far"
    return "left" if u < 0 else "right"


def _north(pages: Pages, top: float) -> None:
    """A circle for the arrow of north, or the words that say where it lies."""
    sheet, north = pages.sheet, pages.site.record.north
    width = 1.25
    if north:
        lines = wrap(f"north: {north}", width, BODY)
        for i, line in enumerate(lines):
            write_line(sheet, sheet.left, top - 0.05 - i * line_height(BODY), line, BODY)
        return
    middle = (sheet.left + 0.4, top - 0.45)
    sheet.draw(Circle(middle, 0.36, fill=False, edgecolor=INK, linewidth=HAIR))
    write_line(sheet, sheet.left, top - 0.86, "draw north", BODY)


def turn_table(pages: Pages, turning: TurnTable) -> None:
    """Set the clock positions of an insert against its lip heights, in two blocks."""
    pages.heading(f"Turn table, hole {inches_mm(turning.offset)} off centre", keep=5.2)
    pages.paragraph(f"For outlet {', '.join(turning.labels)}.")
    pages.paragraph(
        "Clock positions are seen from inside the box, 6:00 straight down. Heights are over the "
        "lip's lowest place, so one row less another is how far the lip moves."
    )
    rows = [
        [_both_sides(angle), inches(rise), millimetres(rise)]
        for angle, rise in zip(turning.angle.tolist(), turning.rise.tolist(), strict=True)
    ]
    half = (len(rows) + 1) // 2
    blank = ["", "", ""]
    right = rows[half:] + [blank] * (2 * half - len(rows))
    columns = [Column("clock", 1.6), Column("lip, in", 0.95, "right"), Column("mm", 0.95, "right")]
    table(pages, columns * 2, [a + b for a, b in zip(rows[:half], right, strict=True)])


def _both_sides(angle: float) -> str:
    """A clock position and its mirror image, which has the same lip height."""
    one, other = clock_text(angle), clock_text(-angle)
    return one if one == other else f"{one} or {other}"


def signatures(pages: Pages, who: tuple[str, ...], words: str = SIGNED) -> None:
    """Lines to sign on for each role, kept together with what is signed for."""
    pages.heading("Signatures", keep=0.8 + 0.9 * len(who))
    pages.paragraph(words)
    for role in who:
        lines = [(role, ""), ("Licence or title", ""), ("Signature", ""), ("Date", "")]
        entries(pages, lines, least_height=0.4)


_WORDS = {"too flat": "TOO FLAT", "back-pitched": "BACK-PITCHED"}


def grades_part(pages: Pages, grading: Grading | None) -> None:
    """Set the falls of every run, what is wrong with them and what they are held to."""
    pages.heading("Falls of the pipes", keep=1.2)
    if grading is None:
        pages.paragraph("No rod readings were entered.")
        return
    pages.paragraph(HEADLINES[grading.verdict], weight="bold")
    for sentence in findings(grading):
        pages.paragraph(sentence, mark="!")
    for sentence in doubts(grading):
        pages.paragraph(sentence, mark="?")
    columns = [
        Column("run", 1.35),
        Column("fall", 1.6),
        Column("over", 0.75, "right"),
        Column("slope", 0.8, "right"),
        Column("chance enough", 1.0, "right"),
        Column("verdict", 1.3),
    ]
    table(pages, columns, _rows(grading))
    limits, kinds = grading.survey.limits, dict.fromkeys(g.run.kind for g in grading.runs)
    said = [
        limit_text(kind, limits.fall(kind), slope_text(limits.fall(kind).value)) for kind in kinds
    ]
    if grading.drops:
        drop = limits.inlet_drop
        said.append(limit_text("inlet over outlets", drop, inches_mm(drop.value)))
    pages.paragraph(
        f"Held to: {'; '.join(said)}. One rod reading is good to {inches_mm(grading.spread)}, "
        f"{'assumed' if grading.survey.spread is None else 'as stated'}."
    )
    for sentence in grading.warnings:
        pages.paragraph(sentence, mark="-")


def _rows(grading: Grading) -> list[list[str]]:
    rows = []
    for grade in grading.runs:
        length = float(grade.at[-1] - grade.at[0])
        slope = percent(float(grade.whole.fall) / length, 2)
        rows.append([grade.run.name, *_cells(grade.whole, feet(length), slope)])
    for drop in grading.drops:
        cells = _cells(drop.fall, "", "")
        cells[-1] = "TOO SMALL" if cells[-1] == "TOO FLAT" else cells[-1]
        rows.append([f"inlet over outlet {drop.outlet}", *cells])
    return rows


def _cells(falls: Falls, over: str, slope: str) -> list[str]:
    chance = float(falls.probability)
    likely = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    verdict = falls.verdicts[0]
    return [
        inches_mm(float(falls.fall)),
        over,
        slope,
        "under 1 %" if chance < 0.01 else likely,
        _WORDS.get(verdict, verdict),
    ]


_ROW = 0.27
_STANDS = {-1.0: "LESS than expected", 0.0: "as expected", 1.0: "MORE than expected"}


def pour_part(pages: Pages, expectation: Expectation | None) -> None:
    """Set the pour test."""
    if expectation is None or not expectation.pours:
        _blank(pages)
        return
    for case, pour in enumerate(expectation.pours):
        rows = _pour_rows(pages, expectation, case)
        title = f"Pour test: {pour.name}, {gpm_litres(pour.inflow)}"
        pages.heading(title, keep=0.8 + _ROW * len(rows))
        if pour.order:
            labels = [outlet_text(i + 1, pages.site.outlets[i]) for i in pour.order]
            pages.paragraph(f"Started in this order: {', '.join(labels)}.")
        if expectation.jet_decides[case]:
            pages.paragraph(
                "The jet of the straight inlet decides in this pour; what is expected is without "
                f"it. To be sure, {CURE}."
            )
        columns = [
            Column("outlet", 1.1),
            Column("expected, L/min", 1.8, "right"),
            Column("caught", 1.3, "right"),
            Column("of all caught", 1.2, "right"),
            Column("it is", 1.9),
        ]
        table(pages, columns, rows, least_height=_ROW)
        if pour.done:
            pages.paragraph(_balance_words(expectation, case))


def _pour_rows(pages: Pages, expectation: Expectation, case: int) -> list[list[str]]:
    caught, stands = expectation.caught[case], expectation.stands[case]
    total = float(np.nansum(caught))
    rows = []
    for i, outlet in enumerate(pages.site.outlets):
        if outlet.capped:
            continue
        low, high = (60e3 * float(end[case, i]) for end in (expectation.low, expectation.high))
        flow = 60e3 * float(expectation.result.flow[case, i])
        cells = ["", "", ""]
        if np.isfinite(caught[i]):
            share = percent(float(caught[i]) / total) if total > 0 else ""
            word = "not told: the jet" if np.isnan(stands[i]) else _STANDS[float(stands[i])]
            cells = [litres_per_min(float(caught[i])), share, word]
        expected = f"{flow:.2f} ({low:.2f} to {high:.2f})"
        rows.append([outlet_text(i + 1, outlet), expected, *cells])
    return rows


def _balance_words(expectation: Expectation, case: int) -> str:
    found = balance(expectation, case)
    ends = f"{60e3 * found.low:.2f} to {60e3 * found.high:.2f} L/min"
    verdict = {
        "balanced": "all that was poured came out again",
        "less": "LESS was caught than poured: it leaks or spills",
        "more": "MORE was caught than poured: a volume or a time is wrong",
        "open": "some outlets were not caught, so it does not tell of leaks",
    }[found.verdict]
    caught = litres_per_min(found.caught)
    return f"Caught in all {caught}; poured less caught is {ends}; {verdict}."


def _blank(pages: Pages) -> None:
    rows = [
        [outlet_text(i, o), "", "", "", ""]
        for i, o in enumerate(pages.site.outlets, start=1)
        if not o.capped
    ]
    pages.heading("Pour test, clean water", keep=1.0 + BY_HAND * len(rows))
    entries(pages, [("Poured", ""), ("In seconds", ""), ("Jug holds", ""), ("Lost or leaked", "")])
    columns = [
        Column("outlet", 1.3),
        Column("order of start", 1.2),
        Column("caught", 1.3),
        Column("in seconds", 1.1),
        Column("remarks", 2.3),
    ]
    table(pages, columns, rows, least_height=BY_HAND)
