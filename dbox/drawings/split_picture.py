"""The box at each flow, its lips magnified, and the shares of its lines, on one page.

The wall is unrolled, seen from the inlet: outlets stand side by side in their order, over the still
water that the readings were taken from. Above, the box in true proportions with its water, and
under the wall what each outlet gives: a stream as wide as its part of the flow. Then the lips,
heights magnified until a 32nd of an inch is seen, and the table of them.

A bar is the share at the best estimate of the lips, the whisker on it the 5 to 95 per cent band
that the reading error leaves, the heavy dash the target with its tolerance around it. The broken
whisker beside it is the same band while dry lips hold water back, at the flows where that matters.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from dbox.drawings.streams import BOXES, FAINT, Whole, draw_boxes
from dbox.drawings.style import (
    BODY,
    BOX,
    DASHES,
    EDGE,
    GREY,
    HAIR,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    MOST_FLOWS,
    OVER,
    PALE,
    PAPER,
    SMALL,
    TARGET,
    TINT,
    UNDER,
    WATER,
    WITHIN,
    Point,
    Role,
    Sheet,
    check_outlets,
    draw_cap,
    draw_hole,
    draw_walls,
    left_out,
    line_height,
    pens,
    short_labels,
    spread_out,
    text_width,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.shares import SURE, Assessment
from dbox.fieldwork.site import Site
from dbox.lengths import Lengths
from dbox.report.split_report import line_verdict, share_text, title
from dbox.report.text import chance_text
from dbox.report.wording import PLANNED, joined
from dbox.units import INCH, gpm, gpm_litres, litres_per_min, percent_text

ROW_GAP = 0.05
"""Paper between rows of the table. [in]"""

_DEEPEST, _NARROW, _SPACE = 1.1, 0.5, 0.04
_NO_LIP = "-"


@dataclass(frozen=True)
class Row:
    """One row of the table under the section: words, set upright where they are wide."""

    head: str  # What the row is.
    cells: tuple[str, ...]  # One text per outlet, with its line breaks.
    depth: float  # Height of the row on paper. [in]
    upright: bool  # Whether the cells are turned to read upwards.
    size: float  # Size of the letters. [pt]
    weight: str  # `normal` or `bold`.

    @classmethod
    def words(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit labels into columns of a width. [in]"""
        room = column - _SPACE
        words = [word for cell in cells for word in cell.split()]
        size = BODY if max(text_width(word, BODY, "bold") for word in words) <= room else SMALL
        if max(text_width(word, size, "bold") for word in words) > room and column < _NARROW:
            return cls._upright(head, cells, size, "bold")
        texts = short_labels(cells, room, size, "bold", 3)
        depth = max(text.count("\n") + 1 for text in texts) * line_height(size)
        return cls(head, tuple(texts), depth, False, size, "bold")

    @classmethod
    def numbers(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit numbers into columns of a width. [in]"""
        if max(text_width(cell, SMALL) for cell in cells) > column - _SPACE:
            return cls._upright(head, cells, SMALL, "normal")
        return cls(head, tuple(cells), line_height(SMALL), False, SMALL, "normal")

    @classmethod
    def _upright(cls, head: str, cells: list[str], size: float, weight: str) -> "Row":
        texts = short_labels(cells, _DEEPEST, size, weight)
        depth = max(text_width(text, size, weight) for text in texts)
        return cls(head, tuple(texts), depth, True, size, weight)


def lip_rows(assessment: Assessment, column: float, lengths: Lengths) -> list[Row]:
    """Label and lip of every outlet, to be written under its column of the section; column [in]."""
    lips = assessment.lips.height
    pairs = [lengths.pair(lip, signed=True) if np.isfinite(lip) else (_NO_LIP,) * 2 for lip in lips]
    units = ("mm", "in") if lengths.metric else ("in", "mm")
    rows = {
        f"lip, {unit}": list(cells)
        for unit, cells in zip(units, zip(*pairs, strict=True), strict=True)
    }
    if max(text_width(c, SMALL) for cells in rows.values() for c in cells) > column - _SPACE:
        rows = {head: [cell.split()[0] for cell in cells] for head, cells in rows.items()}
    labels = Row.words("outlet", list(assessment.labels), column)
    return [labels, *(Row.numbers(head, cells, column) for head, cells in rows.items())]


def write_rows(sheet: Sheet, rows: list[Row], left: float, column: float) -> None:
    """Write rows under one another and lower what is free; left [in], column [in]."""
    for row in rows:
        sheet.write(left - 0.1, sheet.top, row.head, ha="right", color=GREY)
        look: dict[str, Any] = {"rotation": 90 if row.upright else 0, "weight": row.weight}
        for i, cell in enumerate(row.cells):
            x = left + (i + 0.5) * column
            sheet.write(x, sheet.top, cell, row.size, ha="center", **look)
        sheet.top -= row.depth + ROW_GAP


_LIP_HALF, _HOLE_PART = 0.40, 0.66
NAME_GAP = 0.33
"""Paper from one name of a water level to the next. [in]"""

_MARGIN = 0.15
_SEEN, _LEAST_SPAN = 0.07, INCH / 8
"""Paper for a 32nd of an inch at the lips [in], and the least height drawn there [m]."""


@dataclass(frozen=True)
class View:
    """What part of the wall is magnified, and how much."""

    low: float  # Height over still water at the lower edge. [m]
    high: float  # Height over still water at the upper edge. [m]
    cuts_off: bool  # Whether any hole goes on above.
    upright: float  # Paper over box, for heights. [in/m]
    level: float  # Paper over box, for widths. [in/m]
    column: float  # Width of one outlet's column on paper. [in]

    @property
    def stretch(self) -> float:
        """Scale of heights over scale of widths. [-]"""
        return self.upright / self.level

    @classmethod
    def of(cls, assessment: Assessment, column: float, height: float) -> "View":
        """Show every lip, and water levels while a 32nd of an inch can be seen.

        column [in], height [in].
        """
        result, lips = assessment.result, assessment.lips.height
        marks = [*lips[np.isfinite(lips)], 0.0]
        low, high = float(min(marks)), float(max(marks))
        edges = 1.0 + 2 * _MARGIN
        for level in np.sort(result.level[:MOST_FLOWS]):
            if edges * (max(level, high) - low) <= height / _SEEN * INCH / 32:
                high = max(float(level), high)
        span = max(high - low, _LEAST_SPAN)
        tops = lips + [opening.top for opening in result.openings]
        low -= _MARGIN * span
        high = low + edges * span
        upright = height / (edges * span)
        widths = [np.ptp(o.outline(high - low)[:, 0]) for o in result.openings]
        return cls(
            low=low,
            high=high,
            cuts_off=bool((tops[np.isfinite(lips)] > high).any()),
            upright=upright,
            level=min(_HOLE_PART * column / max(widths), upright),
            column=column,
        )


def draw_section(axes: Axes, assessment: Assessment, site: Site, view: View) -> None:
    """Draw wall, holes, lips and water on axes: one column per outlet, heights in metres."""
    n = len(assessment.labels)
    axes.set(xlim=(-0.5, n - 0.5), ylim=(view.low, view.high))
    axes.set_facecolor(PALE)
    most, widths = view.high - view.low, np.array([view.level / view.column, 1.0])
    for i, lip in enumerate(assessment.lips.height):
        if site.outlets[i].capped:
            draw_cap(axes, i)
            upright = text_width("capped", SMALL) > 0.9 * view.column
            plate = {"facecolor": "white", "edgecolor": "none", "pad": 1.5}
            axes.text(i, view.low + 0.5 * most, "capped", bbox=plate, ha="center", va="center",
                      rotation=90 if upright else 0, zorder=8)  # fmt: skip
        else:
            corners = assessment.result.openings[i].outline(most) * widths
            half = min(_LIP_HALF, 0.5 / view.column)
            draw_hole(axes, i, corners, float(lip), assessment.labels[i], half, facecolor="white")
    ends = (-0.5, n - 0.5)
    look: dict[str, Any] = {"color": INK, "linewidth": MEDIUM, "zorder": 4}
    axes.plot(ends, (0.0, 0.0), color=INK, linewidth=HAIR, label="still water", zorder=3)
    for name, level, dashes in zip(assessment.names, assessment.result.level, DASHES, strict=False):
        axes.axhspan(view.low, level, facecolor=(WATER.colour, FAINT), zorder=2.5)
        axes.plot(ends, (level, level), linestyle=dashes, label=f"level {name}", **look)
    draw_walls(axes, view.upright, site.lengths)
    axes.spines[["left", "right", "bottom"]].set_color(BOX.colour)


def name_waters(
    sheet: Sheet, axes: Axes, assessment: Assessment, lengths: Lengths, left: float
) -> None:
    """Write name and height of every water level beside the section, never on one another.

    left [in].
    """
    low, high = axes.get_ylim()
    height = sheet.figure.get_size_inches()[1]
    box = axes.get_position()
    bottom, top = box.y0 * height, box.y1 * height
    waters = [("still water", 0.0)]
    waters += zip(assessment.names[:MOST_FLOWS], assessment.result.level, strict=False)
    at = [bottom + min((z - low) / (high - low), 1.0) * (top - bottom) for _, z in waters]
    text_left, room = left + 0.38, sheet.right - left - 0.38
    written = spread_out(at, NAME_GAP, bottom + 0.5 * NAME_GAP, top - line_height(SMALL))
    marked = [f"↑ {name}" if level > high else name for name, level in waters]
    names = short_labels(marked, room, SMALL, "bold")
    for label, (name, level), y, text_y in zip(names, waters, at, written, strict=True):
        corners = [(left, y), (left + 0.1, y), (left + 0.26, text_y), (left + 0.34, text_y)]
        sheet.line(corners, **LEADER)
        amount = "0" if name == "still water" else lengths.both(level, signed=True)
        sheet.write(text_left, text_y + 0.01, label, va="bottom", weight="bold")
        sheet.write(text_left, text_y - 0.01, amount)


TITLE_GAP, VALUE_ROOM, KEY_ROOM = 0.06, 0.25, 0.42
"""Paper over a strip, under it for the shares in figures, and for the key of all. [in]"""

_TICK_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200)
_WITHIN: dict[str, Any] = {
    "facecolor": (WITHIN.colour, 0.3), "edgecolor": WITHIN.colour, "linewidth": HAIR, "zorder": 1
}  # fmt: skip

_RISING: dict[str, Any] = {
    "color": INK, "linewidth": MEDIUM, "linestyle": (0.0, (2.0, 1.2)), "zorder": 4
}  # fmt: skip


def _bar(role: Role) -> tuple[dict[str, Any], str]:
    return {"facecolor": role.colour, "hatch": role.hatch}, f"{role.sign} {role.word}"


_BARS: dict[str, tuple[dict[str, Any], str]] = {
    "over": _bar(OVER),
    "under": _bar(UNDER),
    "within": _bar(WITHIN),
    "cannot tell": ({"facecolor": TINT}, "? cannot tell"),
    "": ({"facecolor": WATER.colour}, "share of the flow"),
}
"""How a bar looks and what is said of it, by what is known of its line."""


def draw_strips(
    sheet: Sheet,
    assessment: Assessment,
    flows: int,
    height: float,
    left: float,
    right: float,
    *,
    metric: bool,
) -> None:
    """Draw one strip per flow under one another, all to one scale.

    height [in], left [in], right [in]; metric: whether litres a minute stand first.
    """
    allowed = assessment.target * (1.0 + (assessment.tolerance or 0.0))
    seen = [allowed, assessment.result.share[:flows], assessment.share_high[:flows]]
    seen += [assessment.share_rising_high[flow] for flow in held_back(assessment, flows)]
    largest = 100 * max(float(shares.max()) for shares in seen)
    column = (right - left) / len(assessment.labels)
    for flow in range(flows):
        top = sheet.top - TITLE_GAP
        sheet.top -= height
        bottom = sheet.top + VALUE_ROOM
        axes = sheet.axes(left, right, bottom, top)
        draw_strip(axes, assessment, flow, column)
        _scale(axes, largest, top - bottom)
        _write_title(sheet, assessment, flow, (right + 0.2, top), height, metric=metric)
        sheet.write(left - 0.1, bottom - 0.075, "share", ha="right", color=GREY)
        texts = _signed(assessment, flow, column - 0.04)
        for i, (text, lip) in enumerate(zip(texts, assessment.lips.height, strict=True)):
            x = left + (i + 0.5) * column
            sheet.write(x, bottom - 0.075, "-" if np.isposinf(lip) else text, ha="center")


def held_back(assessment: Assessment, flows: int) -> list[int]:
    """The flows, among the first so many, at which it is said what dry lips do."""
    said = {note.where for note in assessment.warnings if note.what == "split: held back"}
    return [flow for flow in range(flows) if assessment.names[flow] in said]


def draw_strip(axes: Axes, assessment: Assessment, flow: int, column: float) -> None:
    """Draw the shares at one flow; outlets along x from 0, shares along y in per cent.

    column [in].
    """
    wide, bar, cap = min(0.43, 0.36 / column), min(0.27, 0.2 / column), min(0.14, 0.08 / column)
    # a rim of white, for a dark line to be seen on a dark bar
    rim = [withStroke(linewidth=2.0 * MEDIUM, foreground="white")]
    wanted: dict[str, Any] = {"linewidth": TARGET, "solid_capstyle": "butt", "zorder": 3}
    thin: dict[str, Any] = {"color": INK, "linewidth": MEDIUM, "zorder": 4, "path_effects": rim}
    held = flow in held_back(assessment, flow + 1)
    for i, label in enumerate(assessment.labels):
        target, share = 100 * assessment.target[i], 100 * assessment.result.share[flow, i]
        if assessment.tolerance is not None and target > 0:
            half = assessment.tolerance * target
            axes.add_patch(Rectangle((i - wide, target - half), 2 * wide, 2 * half, **_WITHIN))
        look, _ = _BARS[line_verdict(assessment, flow, i)]
        axes.bar(i, share, 2 * bar, zorder=2, **look, **EDGE)
        if target > 0:
            ends = (i - wide, i + wide)
            axes.plot(ends, (target, target), color=INK, label=f"target {label}", **wanted)
            band = 100 * np.array([assessment.share_low[flow, i], assessment.share_high[flow, i]])
            axes.plot((i, i), band, label=f"band {label}", **thin)
            axes.hlines(band, i - cap, i + cap, **thin)
            if held:
                low, high = assessment.share_rising_low, assessment.share_rising_high
                beside, rising = i + 0.5 * (bar + wide), (100 * low[flow, i], 100 * high[flow, i])
                axes.plot((beside, beside), rising, label=f"rising {label}", **_RISING)
    axes.set_xlim(-0.5, len(assessment.labels) - 0.5)


def draw_key(sheet: Sheet, assessment: Assessment, flows: int) -> None:
    """Write what bars, whiskers, dash and shading mean, and lower what is free."""
    known = {line_verdict(assessment, flow, i) for flow in range(flows)
             for i in range(len(assessment.labels)) if assessment.target[i] > 0}  # fmt: skip
    bars: list[tuple[Artist, str]] = [
        (Patch(**look, **EDGE), words) for said, (look, words) in _BARS.items() if said in known
    ]
    whisker = Line2D([], [], color=INK, linewidth=MEDIUM, marker="|", markersize=6)
    rising = bool(held_back(assessment, flows))
    key: list[tuple[Artist, str]] = [
        (whisker, f"5 to 95 % band{'' if rising else ' left by the reading error'}"),
        (Line2D([], [], color=INK, linewidth=TARGET), "target"),
    ]
    if rising:
        key.insert(1, (Line2D([], [], **_RISING), "while dry lips hold back"))
    if assessment.tolerance is not None:
        allowed = percent_text(assessment.tolerance, 0)
        key.append((Rectangle((0, 0), 1, 1, **_WITHIN), f"within {allowed} of the target"))
    for marks in (bars, key):
        corner = (sheet.left, sheet.top)
        sheet.key(marks, corner, numpoints=2, handlelength=2.0, columnspacing=1.6)
        sheet.top -= 0.5 * KEY_ROOM


def _scale(axes: Axes, largest: float, height: float) -> None:
    most = 1.06 * largest
    intervals = max(1, int(height / 0.28))
    step = next(s for s in _TICK_STEPS if most // s <= intervals)
    ticks = np.arange(0.0, most + 1e-9, step)
    axes.set_ylim(0.0, most)
    axes.set_yticks(ticks, [f"{tick:.0f} %" for tick in ticks])
    axes.set_xticks([])
    axes.tick_params(length=3)
    axes.grid(axis="y", color=TINT, linewidth=HAIR)
    axes.set_axisbelow(True)


def _signed(assessment: Assessment, flow: int, room: float) -> list[str]:
    """Shares in figures with the sign of what is known, as far as they fit a width. [in]"""
    signs = [
        f"{_BARS[said][1].split()[0]} " if said else ""
        for said in (line_verdict(assessment, flow, i) for i in range(len(assessment.labels)))
    ]
    for unit, signed in ((" %", True), ("", True), ("", False)):
        shares = [share_text(x, unit) for x in assessment.result.share[flow].tolist()]
        texts = [f"{sign * signed}{share}" for sign, share in zip(signs, shares, strict=True)]
        if max(text_width(text, SMALL) for text in texts) <= room:
            break
    return texts


def _write_title(
    sheet: Sheet, assessment: Assessment, flow: int, corner: Point, height: float, *, metric: bool
) -> None:
    """Name, amount and verdict of a flow, beside its strip, and what would settle it."""
    verdict, more = "no target named" if assessment.target_open else "no tolerance given", [""]
    if assessment.tolerance is not None:
        chance = float(assessment.within_probability[flow])
        likely = "" if np.isnan(chance) else f" ({chance_text(chance)})"
        verdict = f"{assessment.verdicts[flow]}{likely}"
        if assessment.verdicts[flow] == "cannot tell":
            more = [_mend(assessment, flow)]
            if chance < 1.0 - SURE:
                more.insert(0, "not all within, yet no line clearly outside")
    (left, top), inflow = corner, float(assessment.result.inflow[flow])
    room, step = sheet.right - left, line_height(SMALL)
    lines = [line for words in more for line in wrap(words, room, SMALL)]
    amount = f"{litres_per_min(inflow)} ({gpm(inflow)})" if metric else gpm_litres(inflow)
    name = short_labels(assessment.names, room, BODY, "bold")[flow]
    sheet.write(left, top, name, BODY, weight="bold")
    sheet.write(left, top - 1.1 * step, amount)
    sheet.write(left, top - 2.1 * step, verdict, weight="bold")
    sheet.write(left, top - 3.1 * step, "\n".join(lines[: max(1, int(height / step - 3.1))]))


def _mend(assessment: Assessment, flow: int) -> str:
    """What would settle a verdict that cannot be given."""
    if assessment.lips.planned:
        return "planned, not measured"
    if assessment.inlet_open[flow] or (
        assessment.straight_decides and assessment.jet_decides[flow]
    ):
        return "the inlet decides"
    if np.isnan(assessment.settling_spread[flow]):
        return "no ruler settles it"
    readings = assessment.settling_repeats[flow]
    by = "a finer rule settles" if np.isnan(readings) else f"{readings:.0f} readings each settle"
    return f"{by} it"


_SCALE_ROOM, _NAME_ROOM = 0.82, 1.85
_GAP = 0.1
_LEAST_STRIP, _MOST_STRIP = 0.6, 1.6
_MOST_SECTION, _MOST_BOX = 2.1, 0.8
_MORE = 0.8
"""What each flow beyond three adds to the height of the page. [in]"""


@pens
def split_figure(site: Site, assessment: Assessment) -> Figure:
    """Draw the box and its lips over the shares of its outlets at every flow.

    Notes
    -----
    Six flows are drawn; where there are more, the page says which were left out.
    """
    n = len(site.outlets)
    check_outlets(n)
    if tuple(o.label for o in site.outlets) != assessment.labels:
        raise DomainError("the assessment is of another box: its outlets have other labels")
    flows = min(len(assessment.names), MOST_FLOWS)
    width, height = PAPER
    sheet = Sheet.blank((width, height + _MORE * max(flows - BOXES, 0)))
    said = [PLANNED] * assessment.lips.planned
    sheet.head(title(site, assessment), *filter(None, [site.title]), *said)
    source = site.tolerance and site.tolerance.source
    notes = [*joined(assessment.warnings), *([f"tolerance from: {source}"] if source else [])]
    sheet.foot([*notes, *left_out(assessment.names)])
    sheet.heading(
        "The box in true proportions",
        "outlets side by side; under the wall each stream is as wide as its part of the flow",
    )
    whole = Whole.of(assessment, sheet.right - sheet.left, _MOST_BOX)
    draw_boxes(sheet, assessment, site, whole)
    left, right = sheet.left + _SCALE_ROOM, sheet.right - _NAME_ROOM
    column = (right - left) / n
    rows = lip_rows(assessment, column, site.lengths)
    free = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _GAP) - KEY_ROOM
    free -= sum(row.depth + ROW_GAP for row in rows)
    most = (free - (flows + 1.5) * NAME_GAP) / flows
    strip = min(max(0.6 * free / flows, _LEAST_STRIP), _MOST_STRIP, most)
    section = min(free - flows * strip, _MOST_SECTION)
    view = View.of(assessment, column, section)
    sheet.heading("The lips, magnified", _magnified(view))
    axes = sheet.axes(left, right, sheet.top - section, sheet.top)
    draw_section(axes, assessment, site, view)
    name_waters(sheet, axes, assessment, site.lengths, right)
    sheet.top -= section + _GAP
    write_rows(sheet, rows, left, column)
    sheet.top -= _GAP
    about = ""
    if assessment.tolerance is not None:
        allowed = percent_text(assessment.tolerance, 0)
        about = f"in brackets: chance that every line is within {allowed} of its target"
    sheet.heading("Share of each line against its target", about)
    draw_key(sheet, assessment, flows)
    draw_strips(sheet, assessment, flows, strip, left, right, metric=site.lengths.metric)
    return sheet.figure


def _magnified(view: View) -> str:
    """The scale of the lips, in words."""
    times = f"{view.stretch:.2g}" if view.stretch < 99.5 else f"{view.stretch:.0f}"
    scale = f"heights drawn {times} times the widths"
    if times == "1":
        scale = "heights and widths to one scale"
    return f"{scale}{'; holes go on above' if view.cuts_off else ''}"
