"""Share of each line at each flow, with bands and targets, on one sheet.

A bar is the share at the best estimate of the lips, the whisker on it the 5 to 95 per cent band
that the reading error leaves, the heavy dash the target with its tolerance around it. The broken
whisker beside it is the same band while dry lips hold water back, at the flows where that matters.
"""

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle

from dbox.arrays import Array
from dbox.drawings.style import (
    BODY,
    GREY,
    HAIR,
    HEADING_ROOM,
    INK,
    MEDIUM,
    MOST_FLOWS,
    SMALL,
    TARGET,
    THIN,
    TINT,
    Sheet,
    check_outlets,
    line_height,
    pens,
    text_width,
    wrap,
)
from dbox.drawings.wall import (
    NAME_GAP,
    ROW_GAP,
    Row,
    View,
    draw_section,
    lip_rows,
    name_waters,
    write_rows,
)
from dbox.errors import DomainError
from dbox.fieldwork.shares import Assessment
from dbox.fieldwork.site import Site
from dbox.report.text import chance_text
from dbox.report.wording import joined
from dbox.units import gpm_litres, percent_text

TITLE_GAP, VALUE_ROOM, KEY_ROOM = 0.06, 0.25, 0.27
"""Paper over a strip, under it for the shares in figures, and for the key of all. [in]"""

_TICK_STEPS = (1, 2, 5, 10, 20, 25, 50, 100, 200)
_WITHIN: dict[str, Any] = {
    "facecolor": "white", "edgecolor": GREY, "hatch": "......", "linewidth": HAIR, "zorder": 1
}  # fmt: skip

_RISING: dict[str, Any] = {
    "color": INK, "linewidth": MEDIUM, "linestyle": (0.0, (2.0, 1.2)), "zorder": 4
}  # fmt: skip


def draw_strips(
    sheet: Sheet, assessment: Assessment, flows: int, height: float, left: float, right: float
) -> None:
    """Draw one strip per flow under one another, all to one scale.

    height [in], left [in], right [in].
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
        _write_title(sheet, assessment, flow, right + 0.2, top)
        sheet.write(left - 0.1, bottom - 0.075, "share", ha="right", color=GREY)
        texts = _fitting(assessment.result.share[flow], column - 0.04)
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
    wanted: dict[str, Any] = {"linewidth": TARGET, "solid_capstyle": "butt", "zorder": 3}
    thin: dict[str, Any] = {"color": INK, "linewidth": MEDIUM, "zorder": 4}
    held = flow in held_back(assessment, flow + 1)
    for i, label in enumerate(assessment.labels):
        target, share = 100 * assessment.target[i], 100 * assessment.result.share[flow, i]
        if assessment.tolerance is not None and target > 0:
            half = assessment.tolerance * target
            axes.add_patch(Rectangle((i - wide, target - half), 2 * wide, 2 * half, **_WITHIN))
        axes.bar(i, share, 2 * bar, color=TINT, edgecolor=INK, linewidth=THIN, zorder=2)
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


def draw_key(sheet: Sheet, assessment: Assessment, *, rising: bool = False) -> None:
    """Write what bar, whiskers, dash and shading mean, and lower what is free."""
    whisker = Line2D([], [], color=INK, linewidth=MEDIUM, marker="|", markersize=6)
    key: list[tuple[Patch | Line2D, str]] = [
        (Patch(facecolor=TINT, edgecolor=INK, linewidth=THIN), "share of the flow"),
        (whisker, f"5 to 95 % band{'' if rising else ' left by the reading error'}"),
        (Line2D([], [], color=INK, linewidth=TARGET), "target"),
    ]
    if rising:
        key.insert(2, (Line2D([], [], **_RISING), "while dry lips hold back"))
    if assessment.tolerance is not None:
        allowed = percent_text(assessment.tolerance, 0)
        key.append((Rectangle((0, 0), 1, 1, **_WITHIN), f"within {allowed} of the target"))
    handles, labels = zip(*key, strict=True)
    corner = np.array([sheet.left, sheet.top]) / sheet.figure.get_size_inches()
    sheet.figure.legend(
        handles, labels, loc="upper left", bbox_to_anchor=corner.tolist(), ncols=len(key),
        frameon=False, fontsize=SMALL, borderpad=0, borderaxespad=0, numpoints=2,
        handlelength=2.0, columnspacing=1.6,
    )  # fmt: skip
    sheet.top -= KEY_ROOM


def _scale(axes: Axes, largest: float, height: float) -> None:
    most = 1.06 * largest
    intervals = max(1, int(height / 0.28))
    step = next(s for s in _TICK_STEPS if most // s <= intervals)
    ticks = np.arange(0.0, most + 1e-9, step)
    axes.set_ylim(0.0, most)
    axes.set_yticks(ticks, [f"{tick:.0f} %" for tick in ticks], fontsize=SMALL)
    axes.set_xticks([])
    axes.tick_params(length=3, width=THIN)
    axes.grid(axis="y", color=TINT, linewidth=HAIR)
    axes.set_axisbelow(True)
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _fitting(shares: Array, room: float) -> list[str]:
    """Shares in figures with as many digits as fit in a width, at last without their unit. [in]"""
    for digits, unit in ((1, ""), (1, " %"), (0, " %")):
        texts = [percent_text(share, digits).removesuffix(unit) for share in shares.tolist()]
        if text_width(percent_text(float(shares.max()), digits).removesuffix(unit), SMALL) <= room:
            break
    return texts


def _write_title(sheet: Sheet, assessment: Assessment, flow: int, left: float, top: float) -> None:
    """Name, amount and verdict of a flow, beside its strip."""
    room, step = sheet.right - left, line_height(SMALL)
    name = wrap(assessment.names[flow], room, BODY, "bold", 1)[0]
    sheet.write(left, top, name, BODY, weight="bold")
    sheet.write(left, top - 1.1 * step, gpm_litres(float(assessment.result.inflow[flow])))
    sheet.write(left, top - 2.1 * step, _verdict(assessment, flow), weight="bold")
    sheet.write(left, top - 3.1 * step, _mend(assessment, flow))


def _verdict(assessment: Assessment, flow: int) -> str:
    if assessment.tolerance is None:
        return "no tolerance given"
    chance = float(assessment.within_probability[flow])
    likely = "" if np.isnan(chance) else f" ({chance_text(chance)})"
    return f"{assessment.verdicts[flow]}{likely}"


def _mend(assessment: Assessment, flow: int) -> str:
    """What would settle a verdict that cannot be given."""
    if assessment.tolerance is None or assessment.verdicts[flow] != "cannot tell":
        return ""
    if assessment.jet_decides[flow]:
        return "the inlet's jet decides"
    if np.isnan(assessment.settling_spread[flow]):
        return "no ruler settles it"
    readings = assessment.settling_repeats[flow]
    by = "a finer rule settles" if np.isnan(readings) else f"{readings:.0f} readings each settle"
    return f"{by} it"


_SCALE_ROOM, _NAME_ROOM = 0.82, 1.85
_GAP = 0.1
_LEAST_STRIP, _MOST_STRIP = 0.6, 2.0
_MOST_SECTION = 4.2


@pens
def split_figure(site: Site, assessment: Assessment) -> Figure:
    """Draw the box in section over the shares of its outlets at every flow.

    Notes
    -----
    Six flows are drawn; where there are more, the sheet says which were left out.
    """
    n = len(site.outlets)
    check_outlets(n)
    if tuple(o.label for o in site.outlets) != assessment.labels:
        raise DomainError("the assessment is of another box: its outlets have other labels")
    flows = min(len(assessment.names), MOST_FLOWS)
    sheet = Sheet.blank()
    sheet.head(site.title or "How a distribution box splits its flow")
    sheet.foot(_notes(site, assessment))
    left, right = sheet.left + _SCALE_ROOM, sheet.right - _NAME_ROOM
    column = (right - left) / n
    rows = lip_rows(assessment, column, site.lengths)
    section, strip = _heights(sheet.top - sheet.bottom, flows, rows)
    view = View.of(assessment, column, section)
    sheet.heading("Section, seen from the inlet", _about(view))
    axes = sheet.axes(left, right, sheet.top - section, sheet.top)
    draw_section(axes, assessment, site, view)
    name_waters(sheet, axes, assessment, site.lengths, right)
    sheet.top -= section + _GAP
    write_rows(sheet, rows, left, column)
    sheet.top -= _GAP
    sheet.heading("Share of each line against its target", _about_verdicts(assessment))
    draw_key(sheet, assessment, rising=bool(held_back(assessment, flows)))
    draw_strips(sheet, assessment, flows, strip, left, right)
    return sheet.figure


def _heights(free: float, flows: int, rows: list[Row]) -> tuple[float, float]:
    """Height of the section and of each strip on paper. [in]"""
    free -= 2.0 * (HEADING_ROOM + _GAP) + KEY_ROOM + sum(row.depth + ROW_GAP for row in rows)
    most = (free - (flows + 1.5) * NAME_GAP) / flows
    strip = min(max(0.6 * free / flows, _LEAST_STRIP), _MOST_STRIP, most)
    return min(free - flows * strip, _MOST_SECTION), strip


def _about(view: View) -> str:
    stretch = f"{view.stretch:.1f}".removesuffix(".0")
    scale = f"heights drawn {stretch} times the widths"
    if stretch == "1":
        scale = "heights and widths to one scale"
    about = f"outlets side by side; {scale}"
    return f"{about}; holes go on above" if view.cuts_off else about


def _about_verdicts(assessment: Assessment) -> str:
    if assessment.tolerance is None:
        return ""
    allowed = percent_text(assessment.tolerance, 0)
    return f"in brackets: chance that every line is within {allowed} of its target"


def _notes(site: Site, assessment: Assessment) -> list[str]:
    notes = joined(assessment.warnings)
    if site.tolerance and site.tolerance.source:
        notes.append(f"tolerance from: {site.tolerance.source}")
    left_out = assessment.names[MOST_FLOWS:]
    if left_out:
        notes.append(f"not drawn, for want of room: flow {', '.join(left_out)}")
    return notes
