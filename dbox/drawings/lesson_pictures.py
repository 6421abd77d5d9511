"""Pictures of a sweep and of openings compared.

Over: the opening with the water that each flow needs, all to one scale of heights. Under: the share
of the line with the wrong lip at each flow, against the fair share.
"""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Polygon, Rectangle
from matplotlib.patheffects import withStroke

from dbox.arrays import Array
from dbox.drawings.style import (
    DASHES,
    EDGE,
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
    left_out,
    line_height,
    pens,
    spread_out,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.lessons import Comparison, Sweep
from dbox.lengths import PLAIN
from dbox.report.wording import joined, sentences
from dbox.units import INCH, gpm_litres, inches, millimetres, percent_text

LOW_WORDS = {
    "far": "far side lower than the inlet side",
    "inlet": "inlet side lower than the far side",
    "right": "right side lower than the left",
    "left": "left side lower than the right",
}
"""What is leaned, in words, for each side that a sweep leans to."""

SHADES = ("1.0", "0.95", "0.89", "0.83", "0.77", "0.71", "0.64", "0.57", "0.50")
"""Greys of the map, from little over the target to much."""

MOST_KINDS = 8
"""Openings that one sheet holds."""

_STEPS = tuple(2.0**power for power in range(-6, 5))
"""Steps of a scale. [in]"""

_NAME_ROOM, _SCALE_ROOM, _TICK_ROOM = 1.45, 0.72, 0.64
_GAP, _KEY_ROOM = 0.5, 0.62
"""Paper beside a curve for names and scale, under it for ticks, between curves and map, and for the
keys. [in]"""


@pens
def sweep_figure(sweep: Sweep) -> Figure:
    """Draw the worst line's share against the lean, and the map of leans both ways."""
    flows = sweep.site.flows
    if not flows:
        raise DomainError("no flow to draw")
    sheet = Sheet.blank(across=True)
    sheet.head("Why a dead-level box matters", _sweep_headline(sweep))
    sheet.foot(_sweep_notes(sweep))
    top = sheet.top - HEADING_ROOM
    side = min(
        top - sheet.bottom - _TICK_ROOM - _KEY_ROOM,
        0.5 * (sheet.right - sheet.left - _GAP) - _SCALE_ROOM,
    )
    bottom, map_left = top - side, sheet.right - side
    what = "Share" if sweep.equal_targets else "Share over target"
    for left, words in (
        (sheet.left, f"{what} of the worst line"),
        (
            map_left - _SCALE_ROOM + 0.1,
            f"The same at {gpm_litres(flows[sweep.ends[0]].inflow)}, leaning both ways",
        ),
    ):
        sheet.write(left, sheet.top - 0.12, words, HEADING, weight="bold", va="baseline")

    right = map_left - _SCALE_ROOM - _GAP - _NAME_ROOM
    axes = sheet.axes(sheet.left + _SCALE_ROOM, right, bottom, top)
    _draw_curves(axes, sweep)
    _name_curves(sheet, axes, sweep, (right, bottom, top))
    _draw_map(sheet.axes(map_left, sheet.right, bottom, top), sweep)

    allowed = percent_text(sweep.tolerance.share, 0)
    dot = Line2D([], [], color=INK, marker="o", markersize=5, linestyle="none")
    lines = [Line2D([], [], color=INK, linewidth=THICK, linestyle=dashes) for dashes in DASHES]
    key_top = bottom - _TICK_ROOM
    sheet.key(
        [(Patch(facecolor=PALE), f"within {allowed} of the target"),
         (dot, "here some line leaves it")],
        (sheet.left + _SCALE_ROOM, key_top), ncols=1, handlelength=3.2,
    )  # fmt: skip
    sheet.key(
        [(line, flow.name) for line, flow in zip(lines, flows, strict=False)],
        (map_left - _SCALE_ROOM + 0.45, key_top), ncols=4, columnspacing=1.2, handlelength=3.2,
        title=f"inside the line all lines are within {allowed}, at",
    )  # fmt: skip
    return sheet.figure


def _sweep_headline(sweep: Sweep) -> str:
    """What the usual lean does at the weakest and at the strongest flow."""
    outlets, flows, step = sweep.site.outlets, sweep.site.flows, sweep.usual_step
    line = sweep.worst[sweep.ends[0], step]
    words = ", ".join(
        f"{percent_text(sweep.share[flow, step, line])} at {gpm_litres(flows[flow].inflow)}"
        for flow in dict.fromkeys(sweep.ends)
    )
    return (
        f"{sweep.site.title}. {LOW_WORDS[sweep.toward].capitalize()} by "
        f"{PLAIN.both(sweep.tilt[step])}: outlet {outlets[line].label} gets {words}. "
        f"Its fair share is {percent_text(sweep.target[line])}."
    ).lstrip(". ")


def _sweep_notes(sweep: Sweep) -> list[str]:
    notes = joined(sweep.warnings)
    notes.append("lips level before the box leans; seen from the inlet into the box")
    if sweep.site.record.invented:
        notes.append("INVENTED DATA: a box made up for the lesson")
    if sweep.tolerance.source:
        notes.append(
            f"tolerance {percent_text(sweep.tolerance.share, 0)}: {sweep.tolerance.source}"
        )
    return notes + left_out([flow.name for flow in sweep.site.flows])


def _shown(sweep: Sweep, over: Array) -> Array:
    """What is drawn, in per cent: the share where all targets are equal, else share over target."""
    return 100 * sweep.scale * over


def _draw_curves(axes: Axes, sweep: Sweep) -> None:
    fair, edge = 100 * sweep.scale, float(sweep.tilt[-1])
    allowed = sweep.tolerance.share
    axes.fill_between([0, edge], fair * (1 - allowed), fair * (1 + allowed), color=PALE, lw=0)
    axes.plot([0, edge], [fair, fair], color=GREY, linewidth=THIN, label="fair share")
    for flow, over, dashes, limit in zip(
        sweep.site.flows, sweep.over_target, DASHES, sweep.limit, strict=False
    ):
        shares = _shown(sweep, over)
        axes.plot(
            sweep.tilt, shares, color=INK, linewidth=TARGET, linestyle=dashes, label=flow.name
        )
        if 0 < limit <= edge:
            at = float(np.interp(limit, sweep.tilt, shares))
            axes.plot([limit], [at], "o", color=INK, markersize=5, label=f"limit {flow.name}",
                      zorder=5)  # fmt: skip
    largest = float(_shown(sweep, sweep.over_target).max())
    axes.set(xlim=(0, edge), ylim=(0, max(1.06 * largest, fair * (1 + 2 * allowed))))
    _inch_ticks(axes, edge, "x", signed=False)
    axes.set_xlabel(LOW_WORDS[sweep.toward])
    _percent_scale(axes)


def _percent_scale(axes: Axes) -> None:
    """Set ticks in per cent, none so near the upper edge that its words rise over it."""
    high = axes.get_ylim()[1]
    ticks = [tick for tick in axes.get_yticks() if 0 <= tick <= 0.97 * high]
    axes.set_yticks(ticks, [f"{tick:.0f} %" for tick in ticks])
    axes.grid(axis="y", color=PALE, linewidth=HAIR)


def _name_curves(sheet: Sheet, axes: Axes, sweep: Sweep, place: tuple[float, float, float]) -> None:
    """Write name, amount and limit of every flow at the end of its curve."""
    right, bottom, top = place
    step, high = line_height(SMALL), axes.get_ylim()[1]
    ends = bottom + _shown(sweep, sweep.over_target[:MOST_FLOWS, -1]) / high * (top - bottom)
    gap = 3.2 * step
    spots = spread_out(ends.tolist(), gap, bottom + 0.4 * gap, top - 0.4 * gap)
    for flow, limit, spot, end in zip(sweep.site.flows, sweep.limit, spots, ends, strict=False):
        sheet.line([(right, end), (right + 0.14, spot)], color=GREY, linewidth=HAIR)
        name = wrap(flow.name, _NAME_ROOM - 0.2, SMALL, "bold", 1)[0]
        words = f"within to {limit * 1000:.1f} mm" if limit > 0 else "never within"
        words = "within all along" if limit == np.inf else words
        y = spot + 1.5 * step
        sheet.write(right + 0.18, y, name, weight="bold")
        sheet.write(right + 0.18, y - step, gpm_litres(flow.inflow))
        sheet.write(right + 0.18, y - 2 * step, words)


def _draw_map(axes: Axes, sweep: Sweep) -> None:
    axes.spines[["top", "right"]].set_visible(True)
    over = _shown(sweep, sweep.map_over_target[sweep.ends[0]])
    levels, edge = _levels(100 * sweep.scale, float(over.max())), float(sweep.low[-1])
    axes.contourf(sweep.low, sweep.low, over, levels=levels, colors=SHADES)
    lines = axes.contour(
        sweep.low, sweep.low, over, levels=levels[1:], colors=GREY, linewidths=HAIR
    )
    axes.clabel(lines, fmt=lambda value: f"{value:.0f} %", fontsize=SMALL, colors=INK)
    for text in lines.labelTexts:
        # At the edge it would run into the words of the ticks.
        text.set_visible(bool(np.abs(text.get_position()).max() < 0.9 * edge))
        # Over the limits, which it would else be struck through by.
        text.set(zorder=5, path_effects=[withStroke(linewidth=THICK + 1.0, foreground="white")])
    allowed = sweep.tolerance.share
    for flow, off, dashes in zip(sweep.site.flows, sweep.map_off, DASHES, strict=False):
        if off.min() < allowed < off.max():
            halo = withStroke(linewidth=THICK + 2.5, foreground="white")
            line = axes.contour(sweep.low, sweep.low, off, levels=[allowed], colors=INK)
            line.set(linewidth=THICK, linestyle=[dashes], path_effects=[halo], zorder=4)
            line.set_label(f"tolerance {flow.name}")
    _inch_ticks(axes, edge, "x", signed=True)
    _inch_ticks(axes, edge, "y", signed=True)
    axes.set_xlabel("right side lower than the left (left of 0: higher)")
    axes.set_ylabel("far side lower than the inlet side (below 0: higher)")
    axes.plot([0], [0], "+", color=INK, markersize=9, markeredgewidth=MEDIUM, label="dead level")


def _levels(fair: float, most: float) -> list[float]:
    """Borders of the greys: the fair share, then even steps of 5 or 10 per cent and so on."""
    room, parts = max(most - fair, 1.0), len(SHADES) - 1
    step = next(s for s in (1, 2, 5, 10, 20, 25, 50, 100, 200, 500) if room / s <= parts)
    first = np.floor(fair / step + 1 + 1e-9) * step
    inner = [level for level in first + step * np.arange(parts) if level < most]
    return [0.0, *inner, max(most, fair) * 1.001 + 0.001]


def _inch_ticks(axes: Axes, edge: float, axis: str, *, signed: bool) -> None:
    """Ticks at parts of an inch, with millimetres under them."""
    most = 2 if signed else 4
    step = next((s for s in _STEPS if edge / INCH / s <= most + 1e-9), _STEPS[-1])
    count = int(edge / INCH / step + 1e-9)
    places = np.arange(-count if signed else 0, count + 1) * step * INCH
    words = [f"{inches(p, parts=64)}\n{1000 * p:.1f} mm" if p else "level" for p in places]
    (axes.set_xticks if axis == "x" else axes.set_yticks)(places, words)
    axes.tick_params(length=3)
    if axis == "y":
        # The corner belongs to the other axis.
        axes.get_yticklabels()[0].set_verticalalignment("bottom")
        axes.get_yticklabels()[-1].set_verticalalignment("top")


@pens
def compare_figure(comparison: Comparison) -> Figure:
    """Draw what each opening needs in head and how far it forgives the wrong lip."""
    kinds, flows = comparison.kinds, comparison.flows
    if len(kinds) > MOST_KINDS:
        raise DomainError(f"{len(kinds)} openings: a drawing holds at most {MOST_KINDS}")
    error = f"{PLAIN.both(abs(comparison.error))} {'low' if comparison.error < 0 else 'high'}"
    shares = comparison.share[:, comparison.weakest]
    best, worst = (
        f"{percent_text(shares[k], 0)} with {kinds[k].name}" for k in comparison.order[[0, -1]]
    )
    sheet = Sheet.blank(across=True)
    sheet.head(
        "Which opening forgives a wrong lip?",
        f"{comparison.outlets} outlets, one lip {error}, "
        f"{gpm_litres(flows[comparison.weakest].inflow)}: that line gets {best}, {worst}; "
        f"fair is {percent_text(comparison.fair, 0)}.",
    )
    sheet.foot([
        *sentences(comparison.notes),
        "bars of each opening in the order of the flows above",
        "a narrow opening stops up sooner, which no number here shows (common practice, no source)",
        *left_out([flow.name for flow in flows]),
    ])  # fmt: skip
    lines = [Line2D([], [], color=INK, linewidth=MEDIUM, linestyle=dashes) for dashes in DASHES]
    labels = [f"{flow.name}: {gpm_litres(flow.inflow)}" for flow in flows[:MOST_FLOWS]]
    marks = list(zip(lines, labels, strict=False))
    sheet.key(marks, (sheet.left, sheet.top), ncols=4, handlelength=3.4, columnspacing=1.4)
    sheet.top -= 0.3 * (1 + (len(labels) - 1) // 4)

    left, right, names_room, gap = sheet.left + 0.7, sheet.right, 0.5, 0.12
    half = 0.5 * (sheet.top - sheet.bottom - 2 * HEADING_ROOM - names_room - 3 * gap)
    column = (right - left) / len(kinds)
    # Heights and widths to one scale where the columns are wide enough.
    holes = [kind.opening.top for kind in kinds if np.isfinite(kind.opening.top)]
    high = 1.15 * float(comparison.head[:, :MOST_FLOWS].max())
    high = max(high, min(1.05 * max(holes, default=high), 2.0 * high))
    widest = max(float(np.ptp(kind.opening.outline(high)[:, 0])) for kind in kinds)
    upright = half / (1.06 * high)
    level = min(upright, 0.8 * column / widest)
    stretch = upright / level
    sheet.heading(
        "What it costs: water over the lips, all of them level",
        "" if stretch < 1.05 else f"heights drawn {stretch:.1f} times the widths",
    )
    axes = sheet.axes(left, right, sheet.top - half, sheet.top)
    _draw_openings(axes, comparison, high, level / column)
    sheet.top -= half + 0.05
    for k, kind in enumerate(kinds):
        name = wrap(kind.name, column - 0.1, SMALL, "bold", 1)[0]
        drop = comparison.drop[k]
        for row, words in enumerate((name, f"drop {inches(drop)}", millimetres(drop))):
            sheet.write(
                left + (k + 0.5) * column, sheet.top - row * line_height(SMALL), words, ha="center",
                weight="normal" if row else "bold",
            )  # fmt: skip
    sheet.top -= names_room + gap
    sheet.heading(
        "What it forgives: share of the line with the wrong lip",
        f"one lip {error}; the dashed line is the fair share",
    )
    _draw_shares(sheet.axes(left, right, sheet.bottom + 0.2, sheet.top), comparison)
    return sheet.figure


def _draw_openings(axes: Axes, comparison: Comparison, high: float, per_metre: float) -> None:
    """Openings with the water of every flow; high [m], per_metre: columns to a metre [1/m]."""
    axes.set(xlim=(-0.5, len(comparison.kinds) - 0.5), ylim=(-0.06 * high, high))
    for k, kind in enumerate(comparison.kinds):
        corners = kind.opening.outline(high) * [per_metre, 1.0] + [k, 0.0]
        hole = Polygon(corners, facecolor=TINT, zorder=1, **EDGE)
        hole.set_label(f"opening {kind.name}")
        axes.add_patch(hole)
        ends = (k - 0.42, k + 0.42)
        for head, flow, dashes in zip(comparison.head[k], comparison.flows, DASHES, strict=False):
            axes.plot(ends, (head, head), color=INK, linewidth=MEDIUM, linestyle=dashes,
                      label=f"head {kind.name}: {flow.name}", zorder=3)  # fmt: skip
        axes.plot(ends, (0, 0), color=INK, linewidth=THICK, zorder=4)
    step = next(s for s in _STEPS[3:] if high / INCH / s <= 5)
    ticks = np.arange(0, int(high / INCH / step) + 1) * step * INCH
    axes.set_yticks(ticks, [inches(tick, parts=64) if tick else "lip" for tick in ticks])
    axes.set_xticks([])
    axes.tick_params(length=3)
    axes.spines["bottom"].set_visible(False)


def _draw_shares(axes: Axes, comparison: Comparison) -> None:
    shares = 100 * comparison.share[:, :MOST_FLOWS]
    width = 0.8 / shares.shape[1]
    for (k, i), share in np.ndenumerate(shares):
        middle = k - 0.4 + (i + 0.5) * width
        left, right = middle - 0.45 * width, middle + 0.45 * width
        name = f"share {comparison.kinds[k].name}: {comparison.flows[i].name}"
        axes.add_patch(Rectangle((left, 0), right - left, share, facecolor=PALE if i % 2 else TINT,
                                 label=name, **EDGE))  # fmt: skip
        axes.plot((left, right), (share, share), color=INK, linewidth=TARGET, linestyle=DASHES[i])
        axes.annotate(f"{share:.0f}", (middle, share), (0, 2), textcoords="offset points",
                      ha="center", fontsize=SMALL)  # fmt: skip
    fair = 100 * comparison.fair
    axes.axhline(fair, color=INK, linewidth=THIN, linestyle=(0, (4, 3)), label="fair share")
    high = max(1.12 * shares.max(), 2 * fair)
    axes.set(xlim=(-0.5, len(comparison.kinds) - 0.5), ylim=(0, high))
    axes.set_xticks([])
    axes.tick_params(length=3)
    axes.set_axisbelow(True)
    _percent_scale(axes)
