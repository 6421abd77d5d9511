"""A discharge on one sheet: level and flows against time, under what it came to."""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import (
    BOX,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    OVER,
    SMALL,
    THICK,
    THIN,
    UNDER,
    WANTED,
    WATER,
    Sheet,
    check_outlets,
    line_height,
    pens,
    short_labels,
    spread_out,
    tick_step,
    wrap,
)
from dbox.drawings.surge_picture import clock, time_axes
from dbox.fieldwork.shares import NOTABLE
from dbox.fieldwork.surge import SurgeOutcome
from dbox.lengths import Lengths
from dbox.report.split_report import share_text
from dbox.report.surge_report import finding, flow_words, ran_in
from dbox.report.wording import PLANNED, joined
from dbox.units import INCH

_LEFT_ROOM, _RIGHT_ROOM = 0.85, 1.25
_AXIS_ROOM, _GAP = 0.45, 0.1
_MOST_ROW, _LEVEL_PART, _MOST_LEVEL = 1.6, 0.4, 3.6


@pens
def surge_figure(outcome: SurgeOutcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time."""
    check_outlets(len(outcome.labels))
    run, n, lengths = outcome.surge, len(outcome.labels), outcome.site.lengths
    sheet = Sheet.blank()
    sheet.head(
        finding(outcome),
        f"{outcome.site.title or 'A box'}; {ran_in(outcome)}",
        *[PLANNED] * outcome.site.planned,
        f"Water stands highest at {clock(run.peak_time)}, {lengths.both(run.rise)} over the lowest "
        "lip.",
    )
    sheet.foot(joined(outcome.warnings))
    rows = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _AXIS_ROOM) - _GAP
    level = min(_LEVEL_PART * rows, _MOST_LEVEL)
    room = _LEFT_ROOM - 0.1
    names = short_labels(outcome.labels, room, SMALL, "bold")
    sheet.heading("Water in the box", "over the lowest lip")
    _draw_level(sheet, outcome, names, level)
    sheet.top -= level + _AXIS_ROOM + _GAP
    _draw_flows(sheet, outcome, names, min((rows - level) / n, _MOST_ROW))
    return sheet.figure


def _axes(sheet: Sheet, bottom: float, top: float) -> Axes:
    return sheet.axes(sheet.left + _LEFT_ROOM, sheet.right - _RIGHT_ROOM, bottom, top)


def _draw_level(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    run, still = outcome.surge, outcome.surge.system.still_level
    bottom = sheet.top - height
    axes = _axes(sheet, bottom, sheet.top)
    over, lips = run.level - still, np.stack([run.system.lips, run.lips_end]) - still
    open_ones = np.flatnonzero(np.isfinite(run.lips_end)).tolist()
    seen = [*over, *lips[:, open_ones].ravel()]
    low, high = min(seen), max(*seen, INCH / 16)
    time, unit = time_axes(axes, run, low - 0.06 * (high - low), high + 0.08 * (high - low))
    height_ticks(axes, outcome.site.lengths, height)
    axes.fill_between(time, axes.get_ylim()[0], over, color=(WATER.colour, 0.25), linewidth=0.0)
    for i in open_ones:
        axes.plot(axes.get_xlim(), lips[:, i], color=BOX.colour, linewidth=THIN,
                  label=f"lip {outcome.labels[i]}")  # fmt: skip
    axes.plot(time, over, color=WATER.colour, linewidth=THICK, label="level")
    label_lips(sheet, axes, [names[i] for i in open_ones], lips[1, open_ones])
    sheet.write(sheet.right - _RIGHT_ROOM + 0.1, bottom - 0.08, f"time, {unit}")


def height_ticks(axes: Axes, lengths: Lengths, height: float) -> None:
    """Heights along y in the unit of the job, no closer than words are; height [in]."""
    low, high = axes.get_ylim()
    step = tick_step(0.3 / height * (high - low), lengths)
    ticks = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    axes.set_yticks(ticks, [lengths.tick(tick) for tick in ticks])


def label_lips(sheet: Sheet, axes: Axes, names: Sequence[str], lips: Array) -> None:
    """Name lips beside axes, those that lie nearly at one height in one line; lips as drawn."""
    width, height = sheet.figure.get_size_inches()
    place, (low, high) = axes.get_position(), axes.get_ylim()
    left, bottom, top = place.x1 * width, place.y0 * height, place.y1 * height
    step, groups = line_height(SMALL), list[tuple[float, list[int]]]()
    for i in np.argsort(lips, kind="stable").tolist():
        y = bottom + (float(lips[i]) - low) / (high - low) * (top - bottom)
        if groups and y - groups[-1][0] < 0.5 * step:
            groups[-1][1].append(i)
        else:
            groups.append((y, [i]))
    written = spread_out([y for y, _ in groups], step, bottom, top + 0.1)
    for (y, together), text_y in zip(groups, written, strict=True):
        sheet.line([(left, y), (left + 0.2, text_y), (left + 0.26, text_y)], **LEADER)
        words = f"lip {', '.join(names[i] for i in sorted(together))}"
        room = sheet.right - left - 0.3
        sheet.write(left + 0.3, text_y, wrap(words, room, SMALL, most=1)[0], va="center")


def _draw_flows(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    """One row for each outlet, all on one scale."""
    run, n = outcome.surge, len(outcome.labels)
    most = float(run.peak_flow.max())
    about = f"a full row is {flow_words(outcome, most)}; dashed: its target"
    sheet.heading("Flow of each outlet", f"{about}; {OVER.sign} hatched: {OVER.word}")
    passed, right = run.flow.sum(1), sheet.right - _RIGHT_ROOM + 0.1
    for i, (label, outlet) in enumerate(zip(outcome.labels, outcome.site.outlets, strict=True)):
        top = sheet.top - i * height
        axes = _axes(sheet, top - height, top - 0.06)
        time, unit = time_axes(axes, run, 0.0, 1.02 * most or 1.0)
        axes.set_yticks([])
        flow, wanted = run.flow[:, i], outcome.target[i] * passed
        if outcome.site.target_open:
            wanted = np.full_like(flow, np.inf)
        else:
            axes.plot(time, wanted, color=WANTED.colour, linewidth=MEDIUM, linestyle=(0, (4, 2)),
                      label=f"wanted {label}", zorder=4)  # fmt: skip
            over = np.maximum(flow, wanted)
            axes.fill_between(time, wanted, over, hatch=OVER.hatch, linewidth=0.0,
                              facecolor=(OVER.colour, 0.45), edgecolor=OVER.colour)  # fmt: skip
        axes.fill_between(time, np.minimum(flow, wanted), color=(WATER.colour, 0.35), linewidth=0.0)
        axes.plot(time, flow, color=INK, linewidth=THIN, label=f"flow {label}", zorder=3)
        axes.tick_params(labelbottom=i == n - 1)
        middle = top - 0.5 * height
        sheet.write(sheet.left, middle, names[i], va="center", weight="bold")
        lines = ["capped"] if outlet.capped else share_words(outcome, i).split(" (")
        lines[1:] = [f"({line}" for line in lines[1:]]
        weights = ["bold", "normal"] if height > 2.4 * line_height(SMALL) else ["bold"]
        y = middle + 0.5 * line_height(SMALL) * min(len(lines), len(weights))
        for line, weight in zip(lines, weights, strict=False):
            sheet.write(right, y, line, weight=weight)
            y -= line_height(SMALL)
    sheet.write(right, sheet.top - n * height - 0.08, f"time, {unit}")


def share_words(outcome: SurgeOutcome, i: int) -> str:
    """Share of a line, and its target with a sign where it gets more or less than that."""
    share, target = float(outcome.surge.share[i]), float(outcome.target[i])
    if outcome.site.target_open:
        return f"gets {share_text(share)}"
    role = OVER if share > NOTABLE * target else UNDER if share * NOTABLE < target else None
    sign = f"{role.sign} " if role else ""
    return f"{sign}gets {share_text(share)} (target {share_text(target)})"
