"""Which opening forgives most, and what does it cost? One column for each kind of opening.

Over: the opening with the water that each flow needs, all to one scale of heights. Under: the share
of the line with the wrong lip at each flow, against the fair share.
"""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle

from dbox.drawings.lettering import wrap
from dbox.drawings.style import (
    DASHES,
    HAIR,
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
    line_height,
    pens,
)
from dbox.drawings.teach.sweep_sheet import percent_ticks
from dbox.drawings.wall import outline
from dbox.errors import DomainError
from dbox.fieldwork.lessons.compare import Comparison
from dbox.files.notation import gpm_litres, inches, inches_mm, millimetres, percent
from dbox.files.units import INCH

MOST_KINDS = 8
"""Openings that one sheet holds."""

_SCALE_ROOM, _NAMES, _GAP, _KEY = 0.7, 0.5, 0.12, 0.3
_STEPS = (1 / 8, 1 / 4, 1 / 2, 1, 2, 4, 8, 16)


@pens
def compare_figure(comparison: Comparison) -> Figure:
    """Draw what each opening needs in head and how far it forgives the wrong lip.

    Parameters
    ----------
    comparison : Comparison
        What was computed.

    Returns
    -------
    Figure
        One sheet, across, that fits Letter and A4.

    Raises
    ------
    DomainError
        Where there are more than 8 kinds of opening.
    """
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
    notes = [comparison.caution] if comparison.caution else []
    notes.append("bars of each opening in the order of the flows above")
    notes.append(
        "a narrow opening stops up sooner, which no number here shows (common practice, no source)"
    )
    left_out = [flow.name for flow in comparison.flows[MOST_FLOWS:]]
    if left_out:
        notes.append(f"not drawn, for want of room: flow {', '.join(left_out)}")
    return notes
