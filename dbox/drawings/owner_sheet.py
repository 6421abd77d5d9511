"""The owner's page: where the box is, which lines run, what to keep off, when to look again.

The map is to scale, from the ties: the fixed points with the tapes to the box, seen from above. The
letters of the whole page are large, and it is one page: the map takes what the words leave.
"""

from dataclasses import replace
from itertools import combinations
from typing import Any

import numpy as np
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Rectangle
from matplotlib.transforms import Bbox

from dbox.arrays import Array
from dbox.drawings.paper import Pages, entries, write_line, write_lines
from dbox.drawings.paper_parts import tie_entries
from dbox.drawings.style import (
    HAIR,
    INK,
    MEDIUM,
    THIN,
    Point,
    line_height,
    pens,
    text_width,
    wrap,
)
from dbox.fieldwork.site import Site
from dbox.fieldwork.ties import Location, Ties, locate, tie_notes
from dbox.report.cautions import LONG
from dbox.report.wording import sentences
from dbox.units import FOOT

LETTERS = 11.0
"""Size of the letters. [pt]"""

_LEAST_MAP, _MOST_MAP = 2.2, 4.4
"""Height of the map. [in]"""
_EDGE, _FOOT, _DOT, _LEAST_BOX = 0.34, 0.36, 0.15, 0.17
"""Room around the points and for the scale, half a letter's circle, least side of a box. [in]"""
_LEGEND, _LONGEST_BAR = 2.75, 1.6
"""Width of what stands beside the map, and of the bar of its scale at most. [in]"""

_KEEP_OFF = (
    "Do not drive, park, build or pave over the box, the pipes or the lines. Let grass grow there "
    "and nothing else: roots of trees and shrubs find the pipes."
)
"""(common practice, no source)"""

_LOOK_AGAIN = (
    "Have the box looked at again when the backfill has settled and after the first season: a box "
    "that moved sends its water down some of the lines. After that as often as the local rule "
    "says; it decides."
)
"""(common practice, no source)"""


@pens
def owner_sheet(site: Site, paper: str = "letter") -> tuple[Figure, ...]:
    """Draw the page that stays with the owner."""
    pages = _filled(site, paper, _LEAST_MAP)
    spare = pages.top - pages.sheet.bottom - 0.02
    if len(pages.sheets) == 1:
        pages = _filled(site, paper, min(_LEAST_MAP + spare, _MOST_MAP))
    return pages.finished()


def _filled(site: Site, paper: str, height: float) -> Pages:
    pages, record = Pages("For the owner", site, paper, LETTERS), site.record
    pages.heading("Where the box is", keep=height)
    if site.ties is None:
        _by_words(pages, height)
    else:
        _by_ties(pages, site.ties, locate(site.ties), height)
    lies = {"Cover": record.cover, "riser": record.riser, "lid": record.lid, "north": record.north}
    known = [f"{name}: {words}" for name, words in lies.items() if words]
    if known:
        said = "; ".join(known)
        pages.paragraph(f"{said[0].upper()}{said[1:]}.")
    pages.heading("Which lines run")
    pages.paragraph(*_lines(site))
    pages.heading("Keep off")
    pages.paragraph(_KEEP_OFF + (f" Here: {record.keep_off}." if record.keep_off else ""))
    pages.heading("When to look again")
    pages.paragraph(_LOOK_AGAIN + (f" Agreed: {record.recheck}." if record.recheck else ""))
    pages.heading("Whom to call")
    pages.paragraph(*record.call)
    if not record.call:
        entries(pages, [("Box and lines", ""), ("Tank", "")])
    pages.skip(0.06)
    pages.framed([" ".join(LONG)])
    return pages


def _lines(site: Site) -> list[str]:
    """Which outlets run, which are closed, and which feed another box."""
    names = [
        o.label + (f" ({site.lengths.line(o.line_length)})" if o.line_length else "")
        for o in site.outlets
    ]
    pairs = list(zip(names, site.outlets, strict=True))
    runs = [name for name, o in pairs if not (o.capped or o.feeds)]
    feeds = [name for name, o in pairs if o.feeds and not o.capped]
    rests = [name for name, o in pairs if o.capped]
    return [
        f"{what}: {'; '.join(which)}.{more}"
        for what, which, more in (
            ("In use", runs, ""),
            ("To a second box, which has a page of its own", feeds, ""),
            ("Closed on purpose", rests, " Leave closed unless whom you call says otherwise."),
        )
        if which
    ]


def _by_words(pages: Pages, height: float) -> None:
    """Ties in words, and room for a sketch."""
    ties = "; ".join(tie for _, tie in tie_entries(pages.site) if tie)
    words = f"Taped: {ties}." if ties else "No distances were taped to it."
    pages.paragraph(f"{words} Sketch the house, the box and two fixed points:")
    room = height - line_height(LETTERS)
    corner = (pages.sheet.left, pages.top - room)
    pages.sheet.draw(Rectangle(corner, pages.width, room, fill=False, ec=INK, lw=HAIR))
    pages.skip(room + 0.08)


def _by_ties(pages: Pages, ties: Ties, found: Location, height: float) -> None:
    """The map, the fixed points beside it, and how the box is found by them."""
    top = pages.top
    _map(pages, ties, found, height)
    left, tape = pages.sheet.right - _LEGEND, pages.site.lengths.tape
    y = top - 0.05
    for letter, point in zip("ABC", ties.points, strict=False):
        write_line(pages.sheet, left, y, letter, LETTERS, weight="bold")
        lines = [*wrap(point.name, _LEGEND - 0.26, LETTERS), f"to the box {tape(point.distance)}"]
        y = write_lines(pages.sheet, left + 0.26, y, lines, LETTERS) - 0.05
    between = [f"A to B {tape(ties.points[1].from_first or 0.0)}"]
    for third in ties.points[2:]:
        between += [f"A to C {tape(third.from_first or 0.0)}",
                    f"B to C {tape(third.from_second or 0.0)}"]  # fmt: skip
    y = write_lines(pages.sheet, left, y, between, LETTERS)
    pages.sheet.top = min(pages.top, y - 0.06)
    pages.paragraph(_how(pages, ties, found))
    by_letter = [replace(p, name=a) for a, p in zip("ABC", ties.points, strict=False)]
    said = sentences(tie_notes(replace(ties, points=tuple(by_letter))))
    pages.paragraph(*said, mark="!", weight="bold")


def _how(pages: Pages, ties: Ties, found: Location) -> str:
    """How to find the box with two tapes."""
    tape = pages.site.lengths.tape
    left = found.places[0, 1] >= 0
    side = f" on the {'left' if left else 'right'}, as you look from A to B," * (
        len(found.places) == 1 and not found.mirrored
    )
    one, other, *third = ties.points
    check = f" From C it is {tape(third[0].distance)}." if third else ""
    near = tape(max(found.error, ties.spread))
    return (
        f"Hold a tape at A and one at B. Where {tape(one.distance)} and {tape(other.distance)} "
        f"meet{',' * bool(side)}{side} is {ties.to}.{check} The tapes find it within about {near}."
    )


def _map(pages: Pages, ties: Ties, found: Location, height: float) -> None:
    """Fixed points, tapes and box to scale, in the left part of the page."""
    sheet, width = pages.sheet, pages.width - _LEGEND - 0.15
    every = np.concatenate([found.points, found.places])
    room = np.array([width, height - _FOOT]) - 2 * _EDGE
    # upright or lying, whichever is drawn larger
    turns = [np.eye(2), np.array([[0.0, 1.0], [-1.0, 0.0]])]
    scale, turn = max(
        ((float((room / np.maximum(np.ptp(every @ each, axis=0), 1e-6)).min()), each)
         for each in turns), key=lambda pair: pair[0],
    )  # fmt: skip
    ends = every @ turn
    centre = (ends.min(0) + ends.max(0)) / 2
    middle = np.array([sheet.left + width / 2, pages.top - (height - _FOOT) / 2])

    def on_paper(place: Array) -> Point:
        x, y = middle + (place @ turn - centre) * scale
        return float(x), float(y)

    corners, places = [on_paper(p) for p in found.points], [on_paper(p) for p in found.places]
    between = list(combinations(corners, 2))
    tapes = [(corner, place) for place in places for corner in corners]
    size = max(_LEAST_BOX, scale * max(pages.site.box.inside, default=0.0))
    taken = [_around(corner, 2 * _DOT, 2 * _DOT) for corner in corners]
    taken += [_around(place, size, size) for place in places]
    for ends in between:
        sheet.line(ends, linewidth=THIN, linestyle=(0, (5, 3)), label="between points")
    for number, place in enumerate(places):
        look: dict[str, Any] = {"fc": "white" if len(places) > 1 else INK, "ec": INK, "zorder": 4}
        corner = (place[0] - size / 2, place[1] - size / 2)
        sheet.draw(Rectangle(corner, size, size, lw=MEDIUM, label="box", **look))
        name = "or here" if number else "BOX" if len(places) == 1 else "BOX here"
        reach = (size + line_height(LETTERS)) / 2 + 0.02
        aside = size / 2 + text_width(name, LETTERS, "bold") / 2 + 0.05
        around = [(place[0], place[1] + reach), (place[0], place[1] - reach),
                  (place[0] + aside, place[1]), (place[0] - aside, place[1])]  # fmt: skip
        _word(pages, name, around, taken, [*between, *tapes], "bold")
    for number, (corner, place) in enumerate(tapes):
        sheet.line([corner, place], linewidth=THIN, label="tape")
        along = [_part(corner, place, part) for part in (0.5, 0.4, 0.6, 0.3, 0.7)]
        others = [*between, *tapes[:number], *tapes[number + 1 :]]
        tie = ties.points[number % len(corners)]
        _word(pages, pages.site.lengths.tape(tie.distance), along, taken, others)
    for letter, corner in zip("ABC", corners, strict=False):
        sheet.draw(Circle(corner, _DOT, fc="white", ec=INK, lw=MEDIUM, zorder=5, label="point"))
        sheet.write(*corner, letter, LETTERS, weight="bold", ha="center", va="center", zorder=6)
    _scale_bar(pages, scale, pages.top - height + 0.14)
    pages.skip(height)


def _around(place: Point, width: float, height: float) -> Bbox:
    """The room of what is drawn around a place. [in]"""
    return Bbox.from_bounds(place[0] - width / 2, place[1] - height / 2, width, height)


def _part(start: Point, end: Point, part: float) -> Point:
    """A point on the way from one to another."""
    return start[0] + part * (end[0] - start[0]), start[1] + part * (end[1] - start[1])


def _word(
    pages: Pages,
    text: str,
    places: list[Point],
    taken: list[Bbox],
    lines: list[tuple[Point, Point]],
    weight: str = "normal",
) -> None:
    """Write a word where it covers the least of other words and lines. [in]"""
    width, height = text_width(text, LETTERS, weight) + 0.06, line_height(LETTERS)
    dots = [_part(*ends, step / 40) for ends in lines for step in range(41)]

    def covers(place: Point) -> tuple[int, int]:
        room = _around(place, width, height)
        return room.count_overlaps(taken), room.count_contains(dots)

    best = min(places, key=covers)
    if weight == "normal" and covers(best)[0]:
        return  # it stands beside the map too
    taken.append(_around(best, width, height))
    pages.sheet.write(
        *best, text, LETTERS, weight=weight, ha="center", va="center", zorder=7,
        bbox={"fc": "white", "ec": "none", "pad": 0.8},
    )  # fmt: skip


def _scale_bar(pages: Pages, scale: float, y: float) -> None:
    """A bar of a round length, at most 1.6 in long; scale [in/m], y [in]."""
    unit = 1.0 if pages.site.metric else FOOT
    steps = [base * 10**power for power in range(-1, 4) for base in (1, 2, 5)]
    whole = max((step for step in steps if step * unit * scale <= _LONGEST_BAR), default=steps[0])
    left, right = pages.sheet.left + 0.1, pages.sheet.left + 0.1 + whole * unit * scale
    pages.rule(left, right, y, MEDIUM)
    for end in (left, right):
        pages.sheet.line([(end, y - 0.05), (end, y + 0.05)], linewidth=MEDIUM)
    words = f"{whole:g} {'m' if pages.site.metric else 'ft'}; seen from above"
    pages.sheet.write(right + 0.1, y, words, LETTERS, va="center")
