"""Pictures of a sweep and of openings compared, to be thrown on a wall.

A sweep: the worst line's share against the lean, and beside it how far the box may lean any way
before some line leaves the tolerance. A corner of such a room is true: there another line is the
first to leave.

A comparison: each opening with the water that each flow needs, all to one scale both ways; under it
the share of the line with the wrong lip at each flow, against the fair share.
"""

from dataclasses import replace
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import withStroke

from dbox.arrays import Array
from dbox.drawings.box_views import FAINT
from dbox.drawings.style import (
    BODY,
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
    SMALL,
    TARGET,
    THICK,
    THIN,
    UNDER,
    WATER,
    WITHIN,
    Sheet,
    left_out,
    line_height,
    pens,
    percent_scale,
    spread_out,
    text_width,
    tick_step,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.lessons import Comparison, Sweep
from dbox.lengths import PLAIN, Lengths
from dbox.report.split_report import share_text
from dbox.report.teach_report import (
    CLOGS,
    amount,
    compare_finding,
    sweep_finding,
    titled,
    up_to,
)
from dbox.report.wording import joined, sentences
from dbox.units import FINE_PARTS, percent_text

SCREEN = (9.0, 5.4)
"""Width and height of a picture for a class: its smallest letters are a 49th of its height, so that
capitals take ten minutes of arc from five heights away (judgement). [in]"""

MOST_KINDS = 8
"""Openings that one picture holds."""

_EDGE_ROOM = 0.28
"""Paper around a picture. [in]"""

_OUT = "outside when level"
"""What is said of a flow at which level lips are not within the tolerance."""


def _ticks(most: float, intervals: int, lengths: Lengths) -> tuple[Array, list[str]]:
    """Heights of a scale from 0 that people use in the unit of a job, each as it is written.

    most [m] -> [m].

    >>> ticks, words = _ticks(0.0095, 4, PLAIN)
    >>> (ticks / 0.0254).tolist(), words
    ([0.0, 0.125, 0.25], ['0', '1/8 in', '1/4 in'])
    """
    step = tick_step(most / intervals, lengths, least=0.0)
    ticks = np.arange(int(most / step + 1e-9) + 1, dtype=np.float64) * step
    return ticks, [replace(lengths, parts=FINE_PARTS).tick(tick) for tick in ticks.tolist()]


@pens
def sweep_figure(sweep: Sweep) -> Figure:
    """Draw the worst line's share against the lean, and how far the box may lean both ways."""
    site, flows = sweep.site, sweep.site.flows
    if not flows:
        raise DomainError("no flow to draw")
    allowed, notes = percent_text(sweep.tolerance.share, 0), joined(sweep.warnings)
    notes += [f"tolerance {allowed}: {sweep.tolerance.source}"] if sweep.tolerance.source else []
    sheet = Sheet.blank(SCREEN, margin=_EDGE_ROOM)
    sheet.head(sweep_finding(sweep), f"{titled(site)}, its lips level before it leans")
    sheet.foot([
        *notes, *left_out([flow.name for flow in flows]),
        "left and right as seen from the inlet; at a corner of a green area another line is the "
        "first to leave",
    ])  # fmt: skip
    names, scale, foot = 1.3, 0.62, 0.34 + line_height(SMALL)
    zones = [name for name, _ in _zones(sweep)]
    aside = min(0.3 + max(text_width(name, SMALL) for name in (*zones, _OUT)), 1.5)
    top, bottom = sheet.top - HEADING_ROOM, sheet.bottom + foot
    side = min(top - bottom, 0.28 * (sheet.right - sheet.left))
    map_right = sheet.right - aside
    map_left = map_right - side
    what = "Share" if sweep.equal_targets else "Share over target"
    for left, words in (
        (sheet.left, f"{what} of the worst line"),
        (map_left - scale, f"How far it may lean: all lines within {allowed}"),
    ):
        sheet.write(left, sheet.top, words, BODY, weight="bold")
    right = map_left - scale - 0.1 - names
    axes = sheet.axes(sheet.left + 0.48, right, bottom, top)
    _draw_curves(axes, sweep, allowed, top - bottom)
    _name_curves(sheet, sweep, axes, (right, bottom, top), names)
    _draw_map(sheet, sweep, (map_left, map_right, top - side, top))
    return sheet.figure


def _shown(sweep: Sweep, over: Array) -> Array:
    """What is drawn, in per cent: the share where all targets are equal, else share over target."""
    return 100 * sweep.scale * over


def _draw_curves(axes: Axes, sweep: Sweep, allowed: str, height: float) -> None:
    """Share of the worst line at each flow, green within the tolerance; height [in]."""
    fair, edge, part = 100 * sweep.scale, float(sweep.tilt[-1]), sweep.tolerance.share
    axes.fill_between([0, edge], fair * (1 - part), fair * (1 + part),
                      color=(WITHIN.colour, 0.3), linewidth=0)  # fmt: skip
    axes.plot([0, edge], [fair, fair], color=INK, linewidth=THIN, label="fair share")
    axes.annotate(f"= within {allowed} of the target", (edge, fair * (1 - part)), (-3, -3),
                  textcoords="offset points", ha="right", va="top",
                  color=WITHIN.colour, weight="bold")  # fmt: skip
    for flow, over, dashes, limit in zip(
        sweep.site.flows, sweep.over_target, DASHES, sweep.limit, strict=False
    ):
        shares = _shown(sweep, over)
        look: dict[str, Any] = {"linewidth": THICK, "linestyle": dashes}
        axes.plot(sweep.tilt, shares, color=OVER.colour, label=flow.name, **look)
        inside = sweep.tilt <= limit
        axes.plot(sweep.tilt[inside], shares[inside], color=WITHIN.colour, **look)
        if 0 < limit <= edge:
            at = float(np.interp(limit, sweep.tilt, shares))
            axes.plot([limit], [at], "o", color=INK, markersize=5, label=f"limit {flow.name}",
                      zorder=5)  # fmt: skip
    largest = float(_shown(sweep, sweep.over_target).max())
    axes.set_xlim(0, edge)
    percent_scale(axes, max(1.06 * largest, fair * (1 + 2 * part)), height)
    ticks, words = _ticks(edge, 4, sweep.site.lengths)
    axes.set_xticks(ticks, ["level", *words[1:]])
    axes.tick_params(length=3)
    axes.set_xlabel(f"how much lower the {sweep.toward} side stands", labelpad=1)


def _name_curves(
    sheet: Sheet, sweep: Sweep, axes: Axes, place: tuple[float, float, float], room: float
) -> None:
    """Write name, amount and limit of every flow at the end of its curve."""
    right, bottom, top = place
    step, high = line_height(SMALL), axes.get_ylim()[1]
    ends = bottom + _shown(sweep, sweep.over_target[:MOST_FLOWS, -1]) / high * (top - bottom)
    gap = min(3.2 * step, (top - bottom) / max(len(ends), 1))
    spots = spread_out(ends.tolist(), gap, bottom + 0.4 * gap, top - 0.4 * gap)
    full, lengths = gap > 2.9 * step, sweep.site.lengths
    for flow, limit, spot, end in zip(sweep.site.flows, sweep.limit, spots, ends, strict=False):
        sheet.line([(right, end), (right + 0.14, spot)], color=GREY, linewidth=HAIR)
        words = _OUT if limit == 0 else "within all along"
        if 0 < limit < np.inf:
            words = f"● within to {up_to(limit, lengths).partition(' (')[0]}"
        said = amount(flow.inflow, lengths)
        told = [flow.name, said, words] if full else [f"{flow.name}: {said}"]
        if flow.name[:1].isdigit() and full:
            told = [said, words]
        for row, text in enumerate(told):
            y = spot + (0.5 * len(told) - row) * step
            bold = "normal" if row else "bold"
            cut = wrap(text, room - 0.18, SMALL, bold, 1)[0]
            sheet.write(right + 0.18, y, cut, weight=bold)


def _zones(sweep: Sweep) -> list[tuple[str, int]]:
    """Names of the rooms to lean in, and their flows; the largest room first."""
    room = np.where(np.isfinite(sweep.room), sweep.room, 1e3).mean(-1)[:MOST_FLOWS]
    flows = sweep.site.flows
    return [(flows[i].name, int(i)) for i in np.argsort(-room, kind="stable")]


def _draw_map(sheet: Sheet, sweep: Sweep, place: tuple[float, float, float, float]) -> None:
    """The room that each flow leaves to lean in, the view zoomed to the widest of them."""
    left, right, bottom, top = place
    axes = sheet.axes(*place)
    axes.spines[["top", "right"]].set_visible(True)
    seen = sweep.room[np.isfinite(sweep.room)]
    edge = min(1.1 * float(seen.max(initial=0.0)), float(sweep.low[-1])) or float(sweep.low[-1])
    axes.set(xlim=(-edge, edge), ylim=(-edge, edge))
    axes.plot([0], [0], "+", color=INK, markersize=7, markeredgewidth=MEDIUM, label="dead level",
              zorder=6)  # fmt: skip
    zones, halo = _zones(sweep), [withStroke(linewidth=THICK + 1.5, foreground="white")]
    marks: list[Array | None] = []
    for name, flow in zones:
        away = np.minimum(sweep.room[flow], 10 * edge)
        corners = np.column_stack([away * np.cos(sweep.way), away * np.sin(sweep.way)])
        shape = Polygon(corners, facecolor=(WITHIN.colour, 0.16), edgecolor=WITHIN.colour)
        shape.set(linewidth=THICK, linestyle=DASHES[flow], zorder=3 + 0.1 * len(marks))
        shape.set(label=f"tolerance {name}", path_effects=halo)
        axes.add_patch(shape)
        # where the name points: a place on its line, up on the right, that is on the map
        place_on_line = corners[int(np.abs(sweep.way - np.pi / 4).argmin())]
        marks.append(np.minimum(place_on_line, 0.97 * edge) if away.max() > 0 else None)
    per_metre = 0.5 * (top - bottom) / edge
    ends = [0.5 * (bottom + top) + (0.0 if m is None else per_metre * float(m[1])) for m in marks]
    spots = spread_out(ends, 1.15 * line_height(SMALL), bottom + 0.08, top - 0.08)
    for (name, _), mark, spot, end in zip(zones, marks, spots, ends, strict=True):
        if mark is not None:
            cut = wrap(name, sheet.right - right - 0.24, SMALL, most=1)[0]
            sheet.write(right + 0.24, spot, cut, va="center")
            x = 0.5 * (left + right) + per_metre * float(mark[0])
            sheet.line([(x, end), (right + 0.06, spot), (right + 0.2, spot)], zorder=9, **LEADER)
    if all(mark is None for mark in marks):
        axes.text(0.0, 0.1 * edge, _OUT, ha="center", va="bottom")
    ticks, words = _ticks(edge, 2, sweep.site.lengths)
    at, words = [*-ticks[:0:-1], *ticks], [*words[:0:-1], "level", *words[1:]]
    axes.set_xticks(at, words)
    axes.set_yticks(at, words)
    axes.tick_params(length=3)
    axes.set_xlabel("← left low      right low →", labelpad=1)
    axes.set_ylabel("← inlet side low   far low →", labelpad=1)


@pens
def compare_figure(comparison: Comparison, lengths: Lengths = PLAIN) -> Figure:
    """Draw what each opening needs in head and how far it forgives the wrong lip."""
    kinds, flows = comparison.kinds, comparison.flows
    if len(kinds) > MOST_KINDS:
        raise DomainError(f"{len(kinds)} openings: a drawing holds at most {MOST_KINDS}")
    order = comparison.order.tolist()
    sheet = Sheet.blank(SCREEN, margin=_EDGE_ROOM)
    about = f"A box with {comparison.outlets} outlets (invented); the most forgiving opening first"
    sheet.head(compare_finding(comparison, lengths), about)
    sheet.foot([*sentences(comparison.notes), CLOGS, *left_out([flow.name for flow in flows])])
    left, right = sheet.left + 0.5, sheet.right
    column = (right - left) / len(kinds)
    heads = comparison.head[order][:, :MOST_FLOWS]
    tops = [kinds[k].opening.top for k in order if np.isfinite(kinds[k].opening.top)]
    high = 1.1 * max(float(heads.max()), max(tops, default=0.0))
    widest = max(float(np.ptp(kind.opening.outline(high)[:, 0])) for kind in kinds)
    room = 0.46 * (sheet.top - sheet.bottom) - HEADING_ROOM - 2 * line_height(SMALL)
    upright = min(room / (1.06 * high), 0.86 * column / widest)
    sheet.heading("What it costs", "water over level lips at each flow; holes to one scale")
    half = 1.06 * high * upright
    axes = sheet.axes(left, right, sheet.top - half, sheet.top)
    _draw_openings(axes, comparison, (high, upright / column), lengths)
    sheet.top -= half + 0.03
    drops = [lengths.both(float(comparison.drop[k])) for k in order]
    if max(text_width(f"drop {drop}", SMALL) for drop in drops) > column - 0.04:
        drops = [lengths.one(float(comparison.drop[k])) for k in order]
    for place, k in enumerate(order):
        x = left + (place + 0.5) * column
        name = wrap(kinds[k].name, column - 0.06, SMALL, "bold", 1)[0]
        sheet.write(x, sheet.top, name, ha="center", weight="bold")
        sheet.write(x, sheet.top - line_height(SMALL), f"drop {drops[place]}", ha="center")
    sheet.top -= 2 * line_height(SMALL) + 0.1
    role = OVER if comparison.error < 0 else UNDER
    about = (
        f"{role.sign} share of the line with the wrong lip at each flow; the line across is fair"
    )
    sheet.heading("What it forgives", about)
    words = _flow_words(comparison, lengths, 0.8 * column)
    foot = 0.05 + (line_height(SMALL) if words[1] == 0
                   else max(text_width(w, SMALL) for w in words[0]))  # fmt: skip
    bottom = sheet.bottom + foot + 0.06
    axes = sheet.axes(left, right, bottom, sheet.top)
    _draw_shares(axes, comparison, *words, sheet.top - bottom)
    unit = "L/min" if lengths.metric else "gpm"
    sheet.write(left - 0.08, bottom - 0.08, unit, ha="right")
    return sheet.figure


def _flow_words(comparison: Comparison, lengths: Lengths, room: float) -> tuple[list[str], int]:
    """Amounts of the flows under their bars, and how they are turned; room [in]."""
    flows = comparison.flows[:MOST_FLOWS]
    words = [amount(flow.inflow, lengths).rpartition(" ")[0] for flow in flows]
    level = max(text_width(word, SMALL) for word in words) <= room / len(words) - 0.03
    return words, 0 if level else 90


def _draw_openings(
    axes: Axes, comparison: Comparison, scale: tuple[float, float], lengths: Lengths
) -> None:
    """Openings with the water of every flow; highest [m], columns to a metre [1/m]."""
    high, per_metre = scale
    axes.set(xlim=(-0.5, len(comparison.kinds) - 0.5), ylim=(-0.06 * high, high))
    for place, k in enumerate(comparison.order.tolist()):
        kind = comparison.kinds[k]
        corners = kind.opening.outline(high) * [per_metre, 1.0] + [place, 0.0]
        hole = Polygon(corners, facecolor="white", zorder=1, **EDGE)
        hole.set_label(f"opening {kind.name}")
        axes.add_patch(hole)
        ends = (place - 0.44, place + 0.44)
        for head, flow in zip(comparison.head[k][:MOST_FLOWS], comparison.flows, strict=False):
            water = Rectangle((ends[0], 0), 0.88, head, facecolor=(WATER.colour, 2 * FAINT))
            axes.add_patch(water)
            axes.plot(ends, (head, head), color=WATER.colour, linewidth=MEDIUM,
                      label=f"head {kind.name}: {flow.name}", zorder=3)  # fmt: skip
        axes.plot(ends, (0, 0), color=INK, linewidth=THICK, zorder=4)
    ticks, words = _ticks(high, 4, lengths)
    axes.set_yticks(ticks, ["lip", *words[1:]])
    axes.set_xticks([])
    axes.tick_params(length=3)
    axes.spines["bottom"].set_visible(False)


def _draw_shares(
    axes: Axes, comparison: Comparison, words: list[str], turned: int, height: float
) -> None:
    """A bar for each flow under each opening; turned [deg], height [in]."""
    order = comparison.order.tolist()
    shares = 100 * comparison.share[order][:, :MOST_FLOWS]
    width = 0.8 / shares.shape[1]
    role = OVER if comparison.error < 0 else UNDER
    middles = []
    for (place, i), share in np.ndenumerate(shares):
        middle = place - 0.4 + (i + 0.5) * width
        name = f"share {comparison.kinds[order[place]].name}: {comparison.flows[i].name}"
        axes.add_patch(Rectangle((middle - 0.45 * width, 0), 0.9 * width, share, label=name,
                                 facecolor=role.colour, hatch=role.hatch, **EDGE))  # fmt: skip
        axes.annotate(share_text(float(share) / 100, ""), (middle, share), (0, 2), ha="center",
                      textcoords="offset points", fontsize=SMALL, zorder=6,
                      path_effects=[withStroke(linewidth=2.0, foreground="white")])  # fmt: skip
        middles.append(middle)
    fair = 100 * comparison.fair
    axes.axhline(fair, color=INK, linewidth=TARGET, label="fair share")
    axes.set_xlim(-0.5, len(order) - 0.5)
    axes.set_xticks(middles, words * len(order), rotation=turned)
    axes.tick_params(length=2, pad=2)
    percent_scale(axes, max(1.15 * shares.max(), 2 * fair), height)
