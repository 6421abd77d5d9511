"""What do several printed sheets hold? Cautions, the box from above, turn tables, signatures."""

import math
from itertools import combinations
from typing import Any

from matplotlib.patches import Circle, FancyArrowPatch, Rectangle

from dbox.drawings.lettering import spread_out, wrap
from dbox.drawings.plan import Mouth, Plan
from dbox.drawings.sheets.page import BODY, HEADING, Pages, write_line
from dbox.drawings.sheets.table import Column, entries, table
from dbox.drawings.style import HAIR, INK, MEDIUM, THICK, THIN, line_height
from dbox.fieldwork.levelling.turn_table import TurnTable
from dbox.fieldwork.site import Box, Outlet, Site
from dbox.files.notation import clock_text, feet, inches, inches_mm, millimetres
from dbox.hydraulics.openings import Circle as RoundHole
from dbox.hydraulics.openings import Notch, Opening, PipeEnd, Slot

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
    """Name an outlet by its number from the inlet, and its label where that is another.

    Parameters
    ----------
    number : int
        From 1, clockwise from the inlet.
    outlet : Outlet
        Its label is cut where it is long.
    whole : bool
        Whether the label is kept whole.
    """
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
