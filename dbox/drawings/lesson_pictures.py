"""Pictures of a sweep and of openings compared.

Over: the opening with the water that each flow needs, all to one scale of heights. Under: the share
of the line with the wrong lip at each flow, against the fair share.
"""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.contour import QuadContourSet
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle
from matplotlib.patheffects import withStroke

from dbox.arrays import Array
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
    TINT,
    Sheet,
    joined,
    line_height,
    pens,
    spread_out,
    wrap,
)
from dbox.drawings.wall import outline
from dbox.errors import DomainError
from dbox.fieldwork.lesson_sweeps import Comparison, Sweep
from dbox.report.wording import sentences
from dbox.units import INCH, gpm_litres, inches, inches_mm, millimetres
from dbox.units import percent_text as percent

LOW_WORDS = {
    "far": "far side lower than the inlet side",
    "inlet": "inlet side lower than the far side",
    "right": "right side lower than the left",
    "left": "left side lower than the right",
}
"""What is leaned, in words, for each side that a sweep leans to."""

SHADES = ("1.0", "0.95", "0.89", "0.83", "0.77", "0.71", "0.64", "0.57", "0.50")
"""Greys of the map, from little over the target to much."""

_SWEEP_SHEET_STEPS = (1 / 64, 1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8)
_NAME_ROOM, _SWEEP_SHEET_SCALE_ROOM, _TICK_ROOM = 1.45, 0.72, 0.64
_SWEEP_SHEET_GAP, _SWEEP_SHEET_KEY = 0.5, 0.62


@pens
def sweep_figure(sweep: Sweep) -> Figure:
    """Draw the worst line's share against the lean, and the map of leans both ways."""
    if not sweep.site.flows:
        raise DomainError("no flow to draw")
    sheet = Sheet.blank(across=True)
    sheet.head("Why a dead-level box matters", *_sweep_sheet_headlines(sweep))
    sheet.foot(_sweep_sheet_notes(sweep))
    height = sheet.top - sheet.bottom - HEADING_ROOM - _TICK_ROOM - _SWEEP_SHEET_KEY
    side = min(
        height, 0.5 * (sheet.right - sheet.left - _SWEEP_SHEET_GAP) - _SWEEP_SHEET_SCALE_ROOM
    )
    map_left = sheet.right - side
    top = sheet.top - HEADING_ROOM
    bottom = top - side
    curve_right = map_left - _SWEEP_SHEET_SCALE_ROOM - _SWEEP_SHEET_GAP - _NAME_ROOM
    _subheads(sheet, map_left - _SWEEP_SHEET_SCALE_ROOM + 0.1, sweep)
    axes = sheet.axes(sheet.left + _SWEEP_SHEET_SCALE_ROOM, curve_right, bottom, top)
    _draw_curves(axes, sweep)
    _name_curves(sheet, axes, sweep, (curve_right, bottom, top))
    _draw_map(sheet.axes(map_left, sheet.right, bottom, top), sweep)
    _draw_keys(sheet, sweep, bottom - _TICK_ROOM, map_left - _SWEEP_SHEET_SCALE_ROOM + 0.1)
    return sheet.figure


def headline(sweep: Sweep, lean: float) -> str:
    """Say what one lean does at the weakest and at the strongest flow; lean [m]."""
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


def _sweep_sheet_headlines(sweep: Sweep) -> list[str]:
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
    step = next(
        (s for s in _SWEEP_SHEET_STEPS if edge / INCH / s <= most + 1e-9), _SWEEP_SHEET_STEPS[-1]
    )
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
        (sheet.left + _SWEEP_SHEET_SCALE_ROOM, curve, None),
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


def _sweep_sheet_notes(sweep: Sweep) -> list[str]:
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


MOST_KINDS = 8
"""Openings that one sheet holds."""

_SCALE_ROOM, _NAMES, _GAP, _KEY = 0.7, 0.5, 0.12, 0.3
_STEPS = (1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16)


@pens
def compare_figure(comparison: Comparison) -> Figure:
    """Draw what each opening needs in head and how far it forgives the wrong lip."""
    k = len(comparison.kinds)
    if k > MOST_KINDS:
        raise DomainError(f"{k} openings: a drawing holds at most {MOST_KINDS}")
    sheet = Sheet.blank(across=True)
    sheet.head("Which opening forgives a wrong lip?", *_headlines(comparison))
    sheet.foot(_notes(comparison))
    left, right = sheet.left + _SCALE_ROOM, sheet.right
    _draw_key(sheet, comparison)
    half = 0.5 * (sheet.top - sheet.bottom - 2 * HEADING_ROOM - _NAMES - 3 * _GAP)
    place = _Place.of(comparison, (right - left) / k, half)
    stretch = half / (1.06 * place.top) / (place.per_metre * (right - left) / k)
    about = "" if stretch < 1.05 else f"heights drawn {stretch:.1f} times the widths"
    sheet.heading("What it costs: water over the lips, all of them level", about)
    axes = sheet.axes(left, right, sheet.top - half, sheet.top)
    _draw_openings(axes, comparison, place)
    sheet.top -= half + 0.05
    _write_names(sheet, comparison, left, (right - left) / k)
    sheet.top -= _NAMES + _GAP
    about = f"one lip {_error_words(comparison.error)}; the dashed line is the fair share"
    sheet.heading("What it forgives: share of the line with the wrong lip", about)
    _draw_shares(sheet.axes(left, right, sheet.bottom + 0.2, sheet.top), comparison)
    return sheet.figure


@dataclass(frozen=True)
class _Place:
    """What part of the openings is drawn: up to a height, at scales of widths and of heights."""

    top: float
    per_metre: float

    @classmethod
    def of(cls, comparison: Comparison, column: float, height: float) -> "_Place":
        holes = [kind.opening.top for kind in comparison.kinds if np.isfinite(kind.opening.top)]
        top = 1.15 * float(comparison.head[:, :MOST_FLOWS].max())
        top = max(top, min(max(holes, default=top) * 1.05, 2.0 * top))
        widest = max(float(np.ptp(outline(k.opening, top)[:, 0])) for k in comparison.kinds)
        # heights and widths to one scale where the columns are wide enough
        scale = min(height / (1.06 * top), 0.8 * column / widest)
        return cls(top, scale / column)


def _headlines(comparison: Comparison) -> list[str]:
    best, worst = comparison.order[0], comparison.order[-1]
    weakest = comparison.weakest
    shares = comparison.share[:, weakest]
    flow = comparison.flows[weakest]
    return [
        f"{comparison.outlets} outlets, one lip {_error_words(comparison.error)}, "
        f"{gpm_litres(flow.inflow)}: that line gets {percent(float(shares[best]), 0)} with "
        f"{comparison.kinds[best].name}, {percent(float(shares[worst]), 0)} with "
        f"{comparison.kinds[worst].name}; fair is {percent(comparison.fair, 0)}."
    ]


def _error_words(error: float) -> str:
    return f"{inches_mm(abs(error))} {'low' if error < 0 else 'high'}"


def _draw_openings(axes: Axes, comparison: Comparison, place: _Place) -> None:
    axes.set(xlim=(-0.5, len(comparison.kinds) - 0.5), ylim=(-0.06 * place.top, place.top))
    flows = comparison.flows[:MOST_FLOWS]
    for k, kind in enumerate(comparison.kinds):
        corners = outline(kind.opening, place.top) * [place.per_metre, 1.0] + [k, 0.0]
        hole = Polygon(corners, facecolor=TINT, edgecolor=INK, linewidth=THIN, zorder=1)
        hole.set_label(f"opening {kind.name}")
        axes.add_patch(hole)
        for head, flow, dashes in zip(comparison.head[k], flows, DASHES, strict=False):
            axes.plot(
                (k - 0.42, k + 0.42), (head, head), color=INK, linewidth=MEDIUM, linestyle=dashes,
                label=f"head {kind.name}: {flow.name}", zorder=3,
            )  # fmt: skip
        axes.plot((k - 0.42, k + 0.42), (0, 0), color=INK, linewidth=THICK, zorder=4)
    step = next(s for s in _STEPS if place.top / INCH / s <= 5)
    ticks = np.arange(0, int(place.top / INCH / step) + 1) * step
    axes.set_yticks(ticks * INCH, [inches(t * INCH, parts=64) if t else "lip" for t in ticks])
    axes.set_xticks([])
    axes.tick_params(length=3, width=THIN, labelsize=SMALL)
    for spine in ("top", "right", "bottom"):
        axes.spines[spine].set_visible(False)


def _write_names(sheet: Sheet, comparison: Comparison, left: float, column: float) -> None:
    strongest = int(np.argmax([flow.inflow for flow in comparison.flows]))
    for k, kind in enumerate(comparison.kinds):
        middle = left + (k + 0.5) * column
        name = wrap(kind.name, column - 0.1, SMALL, "bold", 1)[0]
        sheet.write(middle, sheet.top, name, weight="bold", ha="center")
        head = float(comparison.head[k, strongest])
        for row, words in enumerate((f"drop {inches(head)}", millimetres(head)), start=1):
            sheet.write(middle, sheet.top - row * line_height(SMALL), words, ha="center")


def _draw_shares(axes: Axes, comparison: Comparison) -> None:
    flows = min(len(comparison.flows), MOST_FLOWS)
    width = 0.8 / flows
    for k in range(len(comparison.kinds)):
        for i in range(flows):
            share = 100 * float(comparison.share[k, i])
            x = k - 0.4 + (i + 0.5) * width
            axes.add_patch(
                Rectangle((x - 0.45 * width, 0), 0.9 * width, share, facecolor=PALE if i % 2 else
                          TINT, edgecolor=INK, linewidth=THIN,
                          label=f"share {comparison.kinds[k].name}: {comparison.flows[i].name}")
            )  # fmt: skip
            axes.plot(
                (x - 0.45 * width, x + 0.45 * width), (share, share), color=INK, linewidth=TARGET,
                linestyle=DASHES[i],
            )  # fmt: skip
            axes.annotate(
                f"{share:.0f}", (x, share), (0, 2), textcoords="offset points", ha="center",
                fontsize=SMALL,
            )  # fmt: skip
    fair = 100 * comparison.fair
    most = 100 * float(comparison.share[:, :flows].max())
    axes.axhline(fair, color=INK, linewidth=THIN, linestyle=(0, (4, 3)), label="fair share")
    axes.set(xlim=(-0.5, len(comparison.kinds) - 0.5), ylim=(0, max(1.12 * most, 2 * fair)))
    percent_ticks(axes)
    axes.set_xticks([])
    axes.tick_params(length=3, width=THIN, labelsize=SMALL)
    axes.grid(axis="y", color=PALE, linewidth=HAIR)
    axes.set_axisbelow(True)
    for spine in ("top", "right"):
        axes.spines[spine].set_visible(False)


def _draw_key(sheet: Sheet, comparison: Comparison) -> None:
    handles = [
        Line2D([], [], color=INK, linewidth=MEDIUM, linestyle=dashes)
        for _, dashes in zip(comparison.flows, DASHES, strict=False)
    ]
    labels = [f"{flow.name}: {gpm_litres(flow.inflow)}" for flow in comparison.flows[:MOST_FLOWS]]
    size = sheet.figure.get_size_inches()
    sheet.figure.legend(
        handles, labels, loc="upper left",
        bbox_to_anchor=(sheet.left / size[0], sheet.top / size[1]), ncols=4, frameon=False,
        fontsize=SMALL, borderpad=0, borderaxespad=0, handlelength=3.4, columnspacing=1.4,
    )  # fmt: skip
    sheet.top -= _KEY * (1 + (len(labels) - 1) // 4)


def _notes(comparison: Comparison) -> list[str]:
    notes = sentences(comparison.notes)
    notes.append("bars of each opening in the order of the flows above")
    notes.append(
        "a narrow opening stops up sooner, which no number here shows (common practice, no source)"
    )
    left_out = [flow.name for flow in comparison.flows[MOST_FLOWS:]]
    if left_out:
        notes.append(f"not drawn, for want of room: flow {', '.join(left_out)}")
    return notes
