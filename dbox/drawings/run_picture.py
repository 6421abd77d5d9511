"""A run on one sheet: minute by minute, or what each line and its trench got day by day.

A curve that is finer than the paper is drawn from the least to the greatest that each column of
dots holds, so that no peak is lost and what the headline says can be seen.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import (
    BOX,
    GREY,
    HAIR,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    OVER,
    PAPER,
    SMALL,
    THICK,
    THIN,
    UNDER,
    WANTED,
    WARNING,
    WATER,
    Sheet,
    check_outlets,
    line_height,
    pens,
    short_labels,
    spread_out,
    text_width,
    tick_step,
    wrap,
)
from dbox.fieldwork.shares import NOTABLE
from dbox.fieldwork.surge import SurgeOutcome, daily_shares, shown_until
from dbox.hydraulics.surge.stepper import Surge
from dbox.lengths import Lengths
from dbox.report.split_report import share_text
from dbox.report.surge_report import (
    clock,
    day_of,
    finding,
    flow_words,
    level_words,
    not_shown,
    ran_in,
    volume_words,
)
from dbox.report.wording import PLANNED, joined
from dbox.units import DAY, HOUR, INCH, MINUTE, percent_text


def run_figure(outcome: SurgeOutcome) -> Figure:
    """Draw a run: day by day where it has days, else minute by minute."""
    many = outcome.ponding is not None and outcome.surge.seconds > DAY
    return days_figure(outcome) if many else surge_figure(outcome)


def share_words(outcome: SurgeOutcome, i: int) -> str:
    """Share of a line, and its target with a sign where it gets more or less than that."""
    share, target = float(outcome.surge.share[i]), float(outcome.target[i])
    if outcome.site.target_open:
        return f"gets {share_text(share)}"
    role = OVER if share > NOTABLE * target else UNDER if share * NOTABLE < target else None
    sign = f"{role.sign} " if role else ""
    return f"{sign}gets {share_text(share)} (target {share_text(target)})"


def _head(sheet: Sheet, outcome: SurgeOutcome, more: str) -> None:
    """Write the finding, more of it, what ran into which box, and the warnings."""
    sheet.head(
        finding(outcome),
        *filter(None, [more]),
        *[PLANNED] * outcome.site.planned,
        f"{outcome.site.title or 'A box'}; {ran_in(outcome)}",
        *not_shown(outcome),
    )
    sheet.foot(joined(outcome.warnings))


def _height_ticks(axes: Axes, lengths: Lengths, height: float) -> None:
    """Heights along y in the unit of the job, no closer than words are; height [in]."""
    low, high = axes.get_ylim()
    step = tick_step(0.3 / height * (high - low), lengths)
    ticks = np.arange(np.ceil(low / step), np.floor(high / step) + 1) * step
    axes.set_yticks(ticks, [lengths.tick(tick) for tick in ticks])


def _open_lips(run: Surge) -> Array:
    """Lips that are not capped, at first and at the end, over still water. [m] (2, n)"""
    ends = np.stack([run.system.lips, run.lips_end])
    return np.asarray(ends[:, np.isfinite(run.lips_end)] - run.system.still_level)


def _draw_lips(sheet: Sheet, axes: Axes, outcome: SurgeOutcome, names: Sequence[str]) -> None:
    """Draw each lip from where it was to where it is, and name it beside the axes.

    Those that lie nearly at one height are named in one line.
    """
    lips, is_open = _open_lips(outcome.surge), np.isfinite(outcome.surge.lips_end)
    for i, ends in zip(np.flatnonzero(is_open).tolist(), lips.T, strict=True):
        axes.plot(axes.get_xlim(), ends, color=BOX.colour, linewidth=THIN,
                  label=f"lip {outcome.labels[i]}", zorder=3)  # fmt: skip
    names = [name for name, shown in zip(names, is_open, strict=True) if shown]
    width, height = sheet.figure.get_size_inches()
    place, (low, high) = axes.get_position(), axes.get_ylim()
    left, bottom, top = place.x1 * width, place.y0 * height, place.y1 * height
    step, groups = line_height(SMALL), list[tuple[float, list[int]]]()
    for i in np.argsort(lips[1], kind="stable").tolist():
        y = bottom + (float(lips[1, i]) - low) / (high - low) * (top - bottom)
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


_LEFT_ROOM, _RIGHT_ROOM = 0.85, 1.25
_AXIS_ROOM, _GAP = 0.45, 0.1
_MOST_ROW, _LEVEL_PART, _MOST_LEVEL = 1.6, 0.4, 3.6


@pens
def surge_figure(outcome: SurgeOutcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time."""
    check_outlets(len(outcome.labels))
    run, n, sheet = outcome.surge, len(outcome.labels), Sheet.blank()
    rise = outcome.site.lengths.both(run.rise)
    high = f"Water stands highest at {clock(run.peak_time)}, {rise} over the lowest lip."
    _head(sheet, outcome, high)
    rows = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _AXIS_ROOM) - _GAP
    level = min(_LEVEL_PART * rows, _MOST_LEVEL)
    names = short_labels(outcome.labels, _LEFT_ROOM - 0.1, SMALL, "bold")
    sheet.heading("Water in the box", "over the lowest lip")
    _draw_level(sheet, outcome, names, level)
    sheet.top -= level + _AXIS_ROOM + _GAP
    _draw_flows(sheet, outcome, names, min((rows - level) / n, _MOST_ROW))
    return sheet.figure


def _axes(sheet: Sheet, bottom: float, top: float) -> Axes:
    return sheet.axes(sheet.left + _LEFT_ROOM, sheet.right - _RIGHT_ROOM, bottom, top)


def _draw_level(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    run, bottom = outcome.surge, sheet.top - height
    axes = _axes(sheet, bottom, sheet.top)
    over = run.level - run.system.still_level
    seen = [*over, *_open_lips(run).ravel()]
    low, high = min(seen), max(*seen, INCH / 16)
    time, unit = _time_axis(axes, run)
    axes.set_ylim(low - 0.06 * (high - low), high + 0.08 * (high - low))
    _height_ticks(axes, outcome.site.lengths, height)
    axes.fill_between(time, axes.get_ylim()[0], over, color=(WATER.colour, 0.25), linewidth=0.0)
    _draw_lips(sheet, axes, outcome, names)
    axes.plot(time, over, color=WATER.colour, linewidth=THICK, label="level", zorder=3)
    sheet.write(sheet.right - _RIGHT_ROOM + 0.1, bottom - 0.08, f"time, {unit}")


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
        time, unit = _time_axis(axes, run)
        axes.set(ylim=(0.0, 1.02 * most or 1.0), yticks=[])
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


def _time_axis(axes: Axes, run: Surge) -> tuple[Array, str]:
    """Set x to the time of a run, with no tick outside; gives its times and their unit."""
    until = shown_until(run)
    units = [(1.0, "s"), (MINUTE, "min"), (HOUR, "h")]
    unit, name = next((u for u in units if until <= 180 * u[0]), (DAY, "days"))
    axes.set_xlim(0.0, until / unit)
    axes.locator_params(axis="x", nbins=6)
    axes.set_xticks([t for t in axes.get_xticks() if 0.0 <= t <= until / unit])
    axes.tick_params(length=3, width=HAIR)
    return run.time / unit, name


_NAME, _TICKS, _BETWEEN, _WORDS = 0.6, 0.42, 0.8, 1.95
_AXIS, _APART = 0.4, 0.12
_LEVEL, _LEAST_ROW, _MOST_ROW = 1.6, 0.52, 1.7
_DOTS = 150
"""Columns of a curve on an inch of paper, from which on it is thinned. [1/in] (judgement)"""


@pens
def days_figure(outcome: SurgeOutcome) -> Figure:
    """Draw the water in the box over its lips, and share and trench of every line, day by day."""
    n, run = len(outcome.labels), outcome.surge
    check_outlets(n)
    width, height = PAPER[1], PAPER[0]
    sheet = Sheet.blank((width, height + max(n - 6, 0) * _LEAST_ROW))
    _head(sheet, outcome, level_words(outcome))
    left, right = sheet.left + _NAME + _TICKS, sheet.right - _WORDS
    sheet.heading("Water in the box", "over still water as read; at the right: each lip at the end")
    _draw_days_level(sheet, outcome, left, right)
    sheet.top -= _LEVEL + _AXIS + _APART
    middle = 0.5 * (left + right)
    ends = [(left, middle - 0.5 * _BETWEEN), (middle + 0.5 * _BETWEEN, right)]
    if not any(run.system.trenches):
        ends = [(left, right)]
    shares = "Share of each day's water"
    sheet.write(ends[0][0], sheet.top, shares, weight="bold")
    start = ends[0][0] + text_width(shares, SMALL, "bold") + 0.1
    sheet.write(start, sheet.top, f"{OVER.sign} hatched: {OVER.word}")
    if len(ends) > 1:
        sheet.write(ends[1][0], sheet.top, "Water standing in its trench", weight="bold")
    sheet.top -= HEADING_ROOM
    row = min(max((sheet.top - sheet.bottom - _AXIS) / n, _LEAST_ROW), _MOST_ROW)
    _draw_rows(sheet, outcome, ends, row)
    return sheet.figure


def _draw_days_level(sheet: Sheet, outcome: SurgeOutcome, left: float, right: float) -> None:
    """Water from its lowest to its highest, and every lip from where it was to where it is."""
    run, lengths = outcome.surge, outcome.site.lengths
    still, top, bottom = run.system.still_level, sheet.top, sheet.top - _LEVEL
    axes = sheet.axes(left, right, bottom, top)
    lips = _open_lips(run)
    low, high = run.level_range - still
    least, most = min(low.min(), lips.min(initial=0.0)), max(high.max(), lips.max(initial=0.0))
    # room for the words at the peak
    span = (most - least) / (1.0 - 1.4 * line_height(SMALL) / _LEVEL) or 1e-3
    _day_axis(axes, run.seconds)
    axes.set_ylim(least - 0.06 * span, least + span)
    _height_ticks(axes, lengths, _LEVEL)
    time, low, high = thinned(run.time / DAY, low, high, round(_DOTS * (right - left)))
    axes.fill_between(time, axes.get_ylim()[0], low, color=(WATER.colour, 0.25), linewidth=0.0)
    axes.fill_between(time, low, high, color=WATER.colour, linewidth=THIN, label="level")
    _draw_lips(sheet, axes, outcome, outcome.labels)
    at, end = run.peak_time / DAY, run.seconds / DAY
    axes.plot(at, run.peak_level - still, "o", color=INK, markersize=3.5, zorder=4, clip_on=False)
    words = f"highest: {lengths.both(run.rise)} on day {day_of(run.peak_time)}"
    # kept within the axes at both ends
    reach = 0.5 * text_width(words, SMALL) / (right - left) * end
    axes.annotate(words, (min(max(at, reach), end - reach), run.peak_level - still),
                  (0, 4), textcoords="offset points", ha="center")  # fmt: skip
    sheet.write(right + 0.1, bottom - 0.07, "day")


def _draw_rows(
    sheet: Sheet, outcome: SurgeOutcome, ends: Sequence[tuple[float, float]], height: float
) -> None:
    """A row for each outlet: its share of each day, its trench, and both in words."""
    run, n = outcome.surge, len(outcome.labels)
    last = int(np.flatnonzero(np.isfinite(run.system.lips))[-1])
    each = daily_shares(run)
    most = min(1.08 * max(float(np.nanmax(each)), 1.5 * float(outcome.target.max())), 1.0)
    trenches = run.system.trenches
    pipes = [trench.pipe_height for trench in trenches if trench]
    deepest = 1.15 * max(float(np.nanmax(run.depth, initial=0.0)), *pipes, 0.0)
    names = short_labels(outcome.labels, _NAME - 0.05, SMALL, "bold")
    for i in range(n):
        top, bottom = sheet.top - i * height, sheet.top - (i + 1) * height + 0.1
        middle = 0.5 * (top + bottom)
        sheet.write(sheet.left, middle, names[i], va="center", weight="bold")
        if outcome.site.outlets[i].capped:
            sheet.write(ends[0][0], middle, "capped", va="center")
            continue
        for place, (left, right) in enumerate(ends):
            if place and trenches[i] is None:
                sheet.write(left, middle, "no trench given", va="center", color=GREY)
                continue
            axes = sheet.axes(left, right, bottom, top)
            _day_axis(axes, run.seconds)
            axes.tick_params(labelbottom=i == last)
            (_draw_trench if place else _draw_share)(
                axes, outcome, i, deepest if place else most, each[:, i]
            )
        lines = _row_words(outcome, i)
        step = line_height(SMALL)
        y = middle + 0.5 * step * len(lines)
        for words, look in lines:
            sheet.write(ends[-1][1] + 0.12, y, words, **look)
            y -= step
    y = sheet.top - (last + 1) * height + 0.1 - 0.07
    sheet.write(ends[-1][1] + 0.12, y, "day")


def _draw_share(axes: Axes, outcome: SurgeOutcome, i: int, most: float, share: Array) -> None:
    """What a line got of each day's water, against its target."""
    label, target = outcome.labels[i], float(outcome.target[i])
    count = round(_DOTS * axes.get_position().width * PAPER[1])
    day, low, high = thinned(np.arange(share.size, dtype=float), share, share, count)
    edges = np.append(day, share.size)
    steps: dict[str, Any] = {"step": "post", "linewidth": 0.0}
    low, high = np.append(low, low[-1]), np.append(high, high[-1])
    if outcome.site.target_open:
        axes.fill_between(edges, 0.0, high, color=WATER.colour, label=f"share {label}", **steps)
    else:
        axes.fill_between(edges, 0.0, np.minimum(low, target), facecolor=(WATER.colour, 0.35),
                          **steps)  # fmt: skip
        axes.fill_between(edges, target, np.maximum(high, target), facecolor=(OVER.colour, 0.45),
                          hatch=OVER.hatch, edgecolor=OVER.colour, **steps)  # fmt: skip
        axes.axhline(target, color=WANTED.colour, linewidth=MEDIUM, linestyle=(0, (4, 2)),
                     label=f"target {label}", zorder=4)  # fmt: skip
    for end, name in ((low, "least"), (high, "share")):
        axes.plot(edges, end, color=INK, linewidth=THIN, drawstyle="steps-post",
                  label=f"{name} {label}", zorder=3)  # fmt: skip
    step = next(s for s in (0.1, 0.2, 0.25, 0.5, 1.0) if most / s <= 2.2)
    ticks = np.arange(0.0, 0.88 * most, step)
    axes.set_ylim(0.0, most)
    axes.set_yticks(ticks, [percent_text(tick, 0) for tick in ticks])


def _draw_trench(axes: Axes, outcome: SurgeOutcome, i: int, deepest: float, _: Array) -> None:
    """Water in a trench, its pipe, and when it first stood full to that."""
    run, label, lengths = outcome.surge, outcome.labels[i], outcome.site.lengths
    trench = run.system.trenches[i]
    assert trench is not None
    count = round(_DOTS * axes.get_position().width * PAPER[1])
    time, low, high = thinned(run.time / DAY, run.depth[:, i], run.depth[:, i], count)
    axes.fill_between(time, 0.0, low, color=(WATER.colour, 0.35), linewidth=0.0)
    axes.fill_between(time, low, high, color=WATER.colour, linewidth=MEDIUM, label=f"depth {label}")
    pipe = trench.pipe_height
    axes.axhline(pipe, color=BOX.colour, linewidth=MEDIUM, linestyle=(0, (6, 2)),
                 label=f"pipe {label}")  # fmt: skip
    axes.set_ylim(0.0, deepest)
    axes.set_yticks([0.0, pipe], ["0", f"pipe {lengths.tick(pipe)}"])
    full = float(run.time_full[i]) / DAY
    if np.isfinite(full):
        axes.plot(full, pipe, "v", color=WARNING.colour, markersize=7, clip_on=False,
                  label=f"full {label}", zorder=5)  # fmt: skip


def _row_words(outcome: SurgeOutcome, i: int) -> list[tuple[str, dict[str, Any]]]:
    """Share against target, and whether the trench takes it."""
    run = outcome.surge
    lines: list[tuple[str, dict[str, Any]]] = [(share_words(outcome, i), {"weight": "bold"})]
    if run.system.trenches[i] is None:
        return lines
    load, takes = (
        volume_words(outcome, float(each[i]) * DAY) for each in (outcome.load, outcome.capacity)
    )
    over, when = i in outcome.overloaded, float(run.time_full[i])
    said = "not overloaded"
    if np.isfinite(when):
        day = day_of(when)
        said = f"overloaded, full day {day}" if over else f"full to its pipe day {day}"
    elif over:
        said = "overloaded, not yet full"
    alarm = over or np.isfinite(when)
    if alarm:
        said = f"{WARNING.sign} {said}"
    look = {"color": WARNING.colour} if alarm else {}
    return [*lines, (said, look), (f"can take {takes.split()[0]}, gets {load} a day", {})]


def _day_axis(axes: Axes, seconds: float) -> None:
    """Days along x, day 1 from 0 to 1, each tick in the middle of the day that it names."""
    days = seconds / DAY
    axes.set_xlim(0.0, days)
    step = next(s for k in range(4) for s in (10**k, 2 * 10**k, 5 * 10**k) if days / s <= 14)
    named = np.array([1, *range(step, int(np.ceil(days)) + 1, step)] if step > 1 else
                     range(1, int(np.ceil(days)) + 1))  # fmt: skip
    axes.set_xticks(named - 0.5, [str(day) for day in named])
    axes.tick_params(length=3, width=HAIR)


def thinned(time: Array, low: Array, high: Array, count: int) -> tuple[Array, Array, Array]:
    """Times, least and greatest of a curve in each of so many columns of paper.

    A curve that has fewer points than that is left as it is.

    >>> [each.tolist() for each in thinned(np.arange(4.0), *[np.array([1.0, 5, 0, 2])] * 2, 2)]
    [[0.0, 2.0], [1.0, 0.0], [5.0, 2.0]]
    """
    if time.size <= count:
        return time, low, high
    column = np.minimum((time - time[0]) / (time[-1] - time[0]) * count, count - 1).astype(int)
    first = np.flatnonzero(np.diff(column, prepend=-1))
    return time[first], np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
