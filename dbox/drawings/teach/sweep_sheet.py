"""How far may the box lean, at which flow? Curves of the worst line, and a map of both ways."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.patheffects import withStroke

from dbox.arrays import Array
from dbox.drawings.lettering import joined, spread_out, wrap
from dbox.drawings.style import (
    DASHES,
    GREY,
    HAIR,
    HEADING,
    HEADING_ROOM,
    INK,
    MEDIUM,
    MOST_FLOWS,
    PALE,
    SMALL,
    TARGET,
    THICK,
    THIN,
    Sheet,
    line_height,
    pens,
)
from dbox.errors import DomainError
from dbox.fieldwork.lessons.sweep import Sweep
from dbox.files.notation import gpm_litres, inches, inches_mm, percent
from dbox.files.units import INCH

LOW_WORDS = {
    "far": "far side lower than the inlet side",
    "inlet": "inlet side lower than the far side",
    "right": "right side lower than the left",
    "left": "left side lower than the right",
}
"""What is leaned, in words, for each side that a sweep leans to."""

SHADES = ("1.0", "0.95", "0.89", "0.83", "0.77", "0.71", "0.64", "0.57", "0.50")
"""Greys of the map, from little over the target to much."""

_STEPS = (1 / 64, 1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8)
_NAME_ROOM, _SCALE_ROOM, _TICK_ROOM = 1.45, 0.72, 0.64
_GAP, _KEY = 0.5, 0.62


@pens
def sweep_figure(sweep: Sweep) -> Figure:
    """Draw the worst line's share against the lean, and the map of leans both ways.

    Parameters
    ----------
    sweep : Sweep
        What was computed.

    Returns
    -------
    Figure
        One sheet, across, that fits Letter and A4.

    Raises
    ------
    DomainError
        Where there is no flow.
    """
    if not sweep.site.flows:
        raise DomainError("no flow to draw")
    sheet = Sheet.blank(across=True)
    sheet.head("Why a dead-level box matters", *_headlines(sweep))
    sheet.foot(_notes(sweep))
    height = sheet.top - sheet.bottom - HEADING_ROOM - _TICK_ROOM - _KEY
    side = min(height, 0.5 * (sheet.right - sheet.left - _GAP) - _SCALE_ROOM)
    map_left = sheet.right - side
    top = sheet.top - HEADING_ROOM
    bottom = top - side
    curve_right = map_left - _SCALE_ROOM - _GAP - _NAME_ROOM
    _subheads(sheet, map_left - _SCALE_ROOM + 0.1, sweep)
    axes = sheet.axes(sheet.left + _SCALE_ROOM, curve_right, bottom, top)
    _draw_curves(axes, sweep)
    _name_curves(sheet, axes, sweep, (curve_right, bottom, top))
    _draw_map(sheet.axes(map_left, sheet.right, bottom, top), sweep)
    _draw_keys(sheet, sweep, bottom - _TICK_ROOM, map_left - _SCALE_ROOM + 0.1)
    return sheet.figure


def headline(sweep: Sweep, lean: float) -> str:
    """Say what one lean does at the weakest and at the strongest flow.

    Parameters
    ----------
    sweep : Sweep
        What was computed.
    lean : float
        One of its leans, or the nearest. [m]
    """
    flows = sweep.site.flows
    amounts = [flow.inflow for flow in flows]
    ends = int(np.argmin(amounts)), int(np.argmax(amounts))
    step = int(np.abs(sweep.tilt - lean).argmin())
    line = sweep.worst[ends[0], step]
    words = ", ".join(
        f"{percent(float(sweep.share[flow, step, line]))} at {gpm_litres(amounts[flow])}"
        for flow in dict.fromkeys(ends)
    )
    return (
        f"{LOW_WORDS[sweep.toward].capitalize()} by {inches_mm(float(sweep.tilt[step]))}: outlet "
        f"{sweep.site.outlets[line].label} gets {words}. "
        f"Its fair share is {percent(float(sweep.target[line]))}."
    )


def usual_lean(sweep: Sweep) -> float:
    """The eighth of an inch that people call nothing, or less where it is not reached. [m]"""
    return min(INCH / 8, float(sweep.tilt[-1]))


def _headlines(sweep: Sweep) -> list[str]:
    return [f"{sweep.site.title}. {headline(sweep, usual_lean(sweep))}".lstrip(". ")]


def _subheads(sheet: Sheet, map_left: float, sweep: Sweep) -> None:
    weakest = sweep.site.flows[_weakest(sweep)]
    for left, words in (
        (sheet.left, f"{_what(sweep)} of the worst line"),
        (map_left, f"The same at {gpm_litres(weakest.inflow)}, leaning both ways"),
    ):
        sheet.write(left, sheet.top - 0.12, words, HEADING, weight="bold", va="baseline")


def _what(sweep: Sweep) -> str:
    return "Share" if sweep.equal_targets else "Share over target"


def _weakest(sweep: Sweep) -> int:
    return int(np.argmin([flow.inflow for flow in sweep.site.flows]))


def _shown(sweep: Sweep, over: Array) -> Array:
    """What is drawn, in per cent: the share where all targets are equal, else share over target."""
    return 100 * sweep.scale * over


def _draw_curves(axes: Axes, sweep: Sweep) -> None:
    fair = float(_shown(sweep, np.array(1.0)))
    allowed = sweep.tolerance.share
    edge = float(sweep.tilt[-1])
    axes.fill_between([0, edge], fair * (1 - allowed), fair * (1 + allowed), color=PALE, lw=0)
    axes.plot([0, edge], [fair, fair], color=GREY, linewidth=THIN, label="fair share")
    for name, over, dashes, limit in zip(
        _names(sweep), sweep.over_target, DASHES, sweep.limit, strict=False
    ):
        shares = _shown(sweep, over)
        axes.plot(sweep.tilt, shares, color=INK, linewidth=TARGET, linestyle=dashes, label=name)
        if 0 < limit <= edge:
            at = float(np.interp(limit, sweep.tilt, shares))
            axes.plot([limit], [at], "o", color=INK, markersize=5, label=f"limit {name}", zorder=5)
    largest = float(_shown(sweep, sweep.over_target).max())
    axes.set(xlim=(0, edge), ylim=(0, max(1.06 * largest, fair * (1 + 2 * allowed))))
    _inch_ticks(axes, edge, "x", signed=False)
    axes.set_xlabel(LOW_WORDS[sweep.toward])
    percent_ticks(axes)
    axes.grid(axis="y", color=PALE, linewidth=HAIR)
    for spine in ("top", "right"):
        axes.spines[spine].set_visible(False)


def percent_ticks(axes: Axes) -> None:
    """Set ticks in per cent, none so near the upper edge that its words rise over it."""
    high = axes.get_ylim()[1]
    ticks = [tick for tick in axes.get_yticks() if 0 <= tick <= 0.97 * high]
    axes.set_yticks(ticks, [f"{tick:.0f} %" for tick in ticks])


def _names(sweep: Sweep) -> list[str]:
    return [flow.name for flow in sweep.site.flows][:MOST_FLOWS]


def _name_curves(sheet: Sheet, axes: Axes, sweep: Sweep, place: tuple[float, float, float]) -> None:
    """Write name, amount and limit of every flow at the end of its curve."""
    right, bottom, top = place
    step = line_height(SMALL)
    low, high = axes.get_ylim()
    ends = _shown(sweep, sweep.over_target[:MOST_FLOWS, -1])
    wanted = [float(bottom + (end - low) / (high - low) * (top - bottom)) for end in ends]
    gap = 3.2 * step
    spots = spread_out(wanted, gap, bottom + 0.4 * gap, top - 0.4 * gap)
    for flow, limit, spot, end in zip(sweep.site.flows, sweep.limit, spots, wanted, strict=False):
        sheet.page.plot([right, right + 0.14], [end, spot], color=GREY, linewidth=HAIR)
        name = wrap(flow.name, _NAME_ROOM - 0.2, SMALL, "bold", 1)[0]
        y = spot + 1.5 * step
        sheet.write(right + 0.18, y, name, weight="bold")
        sheet.write(right + 0.18, y - step, gpm_litres(flow.inflow))
        sheet.write(right + 0.18, y - 2 * step, _limit_words(float(limit)))


def _limit_words(limit: float) -> str:
    if limit == np.inf:
        return "within all along"
    return f"within to {limit * 1000:.1f} mm" if limit > 0 else "never within"


def _draw_map(axes: Axes, sweep: Sweep) -> None:
    weakest = _weakest(sweep)
    over = _shown(sweep, sweep.map_over_target[weakest])
    axes.contourf(sweep.low, sweep.low, over, levels=_levels(sweep, over), colors=SHADES)
    lines = axes.contour(
        sweep.low, sweep.low, over, levels=_levels(sweep, over)[1:], colors=GREY, linewidths=HAIR
    )
    axes.clabel(lines, fmt=lambda value: f"{value:.0f} %", fontsize=SMALL, colors=INK)
    edge = float(sweep.low[-1])
    for text in lines.labelTexts:
        # at the edge it would run into the words of the ticks
        text.set_visible(bool(np.abs(text.get_position()).max() < 0.9 * edge))
        # over the limits, which it would else be struck through by
        text.set(zorder=5, path_effects=[withStroke(linewidth=THICK + 1.0, foreground="white")])
    for flow, dashes in zip(range(len(_names(sweep))), DASHES, strict=False):
        _draw_limit(axes, sweep, flow, dashes)
    _inch_ticks(axes, edge, "x", signed=True)
    _inch_ticks(axes, edge, "y", signed=True)
    axes.set_xlabel("right side lower than the left (left of 0: higher)")
    axes.set_ylabel("far side lower than the inlet side (below 0: higher)")
    axes.plot([0], [0], "+", color=INK, markersize=9, markeredgewidth=MEDIUM, label="dead level")


def _draw_limit(axes: Axes, sweep: Sweep, flow: int, dashes: object) -> QuadContourSet:
    """The line at which some outlet leaves the tolerance, at one flow."""
    halo = [withStroke(linewidth=THICK + 2.5, foreground="white")]
    allowed = sweep.tolerance.share
    off = sweep.map_off[flow]
    if not off.min() < allowed < off.max():
        # all of the map is on one side of it
        return axes.contour(sweep.low, sweep.low, off, levels=[])
    line = axes.contour(sweep.low, sweep.low, off, levels=[allowed], colors=INK)
    line.set(linewidth=THICK, linestyle=[dashes], path_effects=halo, zorder=4)
    line.set_label(f"tolerance {sweep.site.flows[flow].name}")
    return line


def _levels(sweep: Sweep, over: Array) -> list[float]:
    """Borders of the greys: the fair share, then even steps of 5 or 10 per cent and so on."""
    fair, most = float(_shown(sweep, np.array(1.0))), float(over.max())
    room = max(most - fair, 1.0)
    step = next(s for s in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500) if room / s <= len(SHADES) - 1)
    first = np.floor(fair / step + 1 + 1e-9) * step
    inner = [first + i * step for i in range(len(SHADES) - 1)]
    return [0.0, *(level for level in inner if level < most), max(most, fair) * 1.001 + 0.001]


def _inch_ticks(axes: Axes, edge: float, axis: str, *, signed: bool) -> None:
    """Ticks at parts of an inch, with millimetres under them."""
    most = 2 if signed else 4
    step = next((s for s in _STEPS if edge / INCH / s <= most + 1e-9), _STEPS[-1])
    count = int(edge / INCH / step + 1e-9)
    places = np.arange(-count if signed else 0, count + 1) * step * INCH
    words = [f"{inches(p, parts=64)}\n{1000 * p:.1f} mm" if p else "level" for p in places]
    (axes.set_xticks if axis == "x" else axes.set_yticks)(places, words)
    axes.tick_params(length=3, width=THIN, labelsize=SMALL)
    if axis == "y":
        # the corner belongs to the other axis
        axes.get_yticklabels()[0].set_verticalalignment("bottom")
        axes.get_yticklabels()[-1].set_verticalalignment("top")


def _draw_keys(sheet: Sheet, sweep: Sweep, top: float, map_left: float) -> None:
    allowed = percent(sweep.tolerance.share, 0)
    dot = Line2D([], [], color=INK, marker="o", markersize=5, linestyle="none")
    curve = [
        (Patch(facecolor=PALE), f"within {allowed} of the target"),
        (dot, "here some line leaves it"),
    ]
    heavy = [
        (Line2D([], [], color=INK, linewidth=THICK, linestyle=dashes), name)
        for name, dashes in zip(_names(sweep), DASHES, strict=False)
    ]
    size = sheet.figure.get_size_inches()
    for left, key, title in (
        (sheet.left + _SCALE_ROOM, curve, None),
        (map_left + 0.35, heavy, f"inside the line all lines are within {allowed}, at"),
    ):
        handles, labels = zip(*key, strict=True)
        legend = sheet.figure.legend(
            handles, labels, loc="upper left", bbox_to_anchor=(left / size[0], top / size[1]),
            ncols=4 if title else 1, frameon=False, fontsize=SMALL, borderpad=0, borderaxespad=0,
            title=title, title_fontsize=SMALL, alignment="left", handlelength=3.2,
            columnspacing=1.2,
        )  # fmt: skip
        legend.set_in_layout(False)


def _notes(sweep: Sweep) -> list[str]:
    notes = joined(sweep.warnings)
    notes.append("lips level before the box leans; seen from the inlet into the box")
    if sweep.site.record.invented:
        notes.append("INVENTED DATA: a box made up for the lesson")
    if sweep.tolerance.source:
        notes.append(f"tolerance {percent(sweep.tolerance.share, 0)}: {sweep.tolerance.source}")
    left_out = [flow.name for flow in sweep.site.flows][MOST_FLOWS:]
    if left_out:
        notes.append(f"not drawn, for want of room: flow {', '.join(left_out)}")
    return notes
