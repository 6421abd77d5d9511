"""How did level and flows go in time? A run on one sheet."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.lettering import joined, spread_out, told_apart, wrap
from dbox.drawings.style import (
    GREY,
    HAIR,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    MOST_OUTLETS,
    SMALL,
    THIN,
    TINT,
    Sheet,
    line_height,
    pens,
)
from dbox.drawings.surge.curves import dress
from dbox.drawings.surge.moment import about, clock, shown_until, time_unit
from dbox.errors import DomainError
from dbox.fieldwork.surge.run import Outcome
from dbox.files.notation import gpm, inches_mm, percent
from dbox.files.units import INCH

_LEFT_ROOM, _RIGHT_ROOM = 0.85, 1.25
_AXIS_ROOM, _GAP = 0.45, 0.1
_MOST_ROW, _LEVEL_PART, _MOST_LEVEL = 0.9, 0.4, 3.6


@pens
def surge_figure(outcome: Outcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time.

    Parameters
    ----------
    outcome : Outcome
        The run.

    Returns
    -------
    Figure
        One sheet, upright, that fits Letter and A4.

    Raises
    ------
    DomainError
        Where there are more than 20 outlets.
    """
    n = len(outcome.labels)
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets: a drawing holds at most {MOST_OUTLETS}")
    run = outcome.surge
    sheet = Sheet.blank()
    rise = inches_mm(run.peak_level - run.system.still_level)
    sheet.head(
        outcome.site.title or "A discharge on its way through the box",
        about(run),
        f"Water stands highest at {clock(run.peak_time)}, {rise} over the lowest lip.",
    )
    sheet.foot(joined(outcome.warnings))
    rows = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _AXIS_ROOM) - _GAP
    level = min(_LEVEL_PART * rows, _MOST_LEVEL)
    sheet.heading("Water in the box", "over the lowest lip; dashed: each lip")
    _draw_level(sheet, outcome, level)
    sheet.top -= level + _AXIS_ROOM + _GAP
    _draw_flows(sheet, outcome, min((rows - level) / n, _MOST_ROW))
    return sheet.figure


def _axes(sheet: Sheet, bottom: float, top: float) -> Axes:
    return sheet.axes(sheet.left + _LEFT_ROOM, sheet.right - _RIGHT_ROOM, bottom, top)


def _draw_level(sheet: Sheet, outcome: Outcome, height: float) -> None:
    run, still = outcome.surge, outcome.surge.system.still_level
    axes = _axes(sheet, sheet.top - height, sheet.top)
    until = shown_until(run)
    unit, _ = time_unit(until)
    over = (run.level - still) / INCH
    lips = (run.system.lips - still) / INCH
    open_ones = np.flatnonzero(np.isfinite(lips))
    most = max(float(over.max()), float(lips[open_ones].max(initial=0.0)), 1 / 16)
    dress(axes, until / unit, -0.06 * most, 1.08 * most)
    for i in open_ones.tolist():
        axes.axhline(lips[i], color=GREY, linewidth=HAIR, linestyle=(0, (5, 3)),
                     label=f"lip {outcome.labels[i]}")  # fmt: skip
    axes.plot(run.time / unit, over, color=INK, linewidth=MEDIUM, label="level")
    axes.set_ylabel("in", fontsize=SMALL, rotation=0, labelpad=12)
    _name_lips(sheet, outcome, axes, lips, height)
    _name_time(sheet, outcome, sheet.top - height)


def _name_lips(sheet: Sheet, outcome: Outcome, axes: Axes, lips: Array, height: float) -> None:
    """Write the outlets whose lips are at one height in one line, beside it."""
    low, high = axes.get_ylim()
    groups: dict[float, list[str]] = {}
    for lip, label in zip(lips, _short(outcome), strict=True):
        if np.isfinite(lip):
            groups.setdefault(round(float(lip), 4), []).append(label)
    gap, left = line_height(SMALL), sheet.right - _RIGHT_ROOM
    at = [sheet.top - height + (lip - low) / (high - low) * height for lip in groups]
    written = spread_out(at, gap, sheet.top - height, sheet.top + 0.1)
    for labels, y, text_y in zip(groups.values(), at, written, strict=True):
        sheet.page.plot([left, left + 0.2, left + 0.26], [y, text_y, text_y], **LEADER)
        words = wrap("lip " + ", ".join(labels), _RIGHT_ROOM - 0.3, SMALL, most=1)[0]
        sheet.write(left + 0.3, text_y, words, va="center")


def _short(outcome: Outcome) -> list[str]:
    """Labels that fit beside a row."""
    room = _LEFT_ROOM - 0.1
    return told_apart(
        outcome.labels, [wrap(label, room, SMALL, "bold", 1)[0] for label in outcome.labels]
    )


def _name_time(sheet: Sheet, outcome: Outcome, y: float) -> None:
    name = time_unit(shown_until(outcome.surge))[1]
    sheet.write(sheet.right - _RIGHT_ROOM + 0.1, y - 0.08, f"time, {name}")


def _draw_flows(sheet: Sheet, outcome: Outcome, height: float) -> None:
    """One row for each outlet, all on one scale."""
    run, n = outcome.surge, len(outcome.labels)
    until = shown_until(run)
    unit, _ = time_unit(until)
    most = float(run.peak_flow.max())
    words = f"a full row is {gpm(most)}; dashed: its target share; right: share (target)"
    sheet.heading("Flow of each outlet", words)
    passed = run.flow.sum(1)
    names = _short(outcome)
    for i in range(n):
        top = sheet.top - i * height
        axes = _axes(sheet, top - height, top - 0.06)
        dress(axes, until / unit, 0.0, 1.02 * most or 1.0)
        axes.set_yticks([])
        axes.fill_between(run.time / unit, run.flow[:, i], color=TINT, linewidth=0.0)
        axes.plot(run.time / unit, run.flow[:, i], color=INK, linewidth=THIN,
                  label=f"flow {outcome.labels[i]}")  # fmt: skip
        axes.plot(run.time / unit, outcome.target[i] * passed, color=INK, linewidth=THIN,
                  linestyle=(0, (4, 2)), label=f"wanted {outcome.labels[i]}")  # fmt: skip
        if i < n - 1:
            axes.tick_params(labelbottom=False)
        middle = top - 0.5 * height
        sheet.write(sheet.left, middle, names[i], va="center", weight="bold")
        share = percent(float(run.share[i])) if not outcome.site.outlets[i].capped else "capped"
        wanted = f" ({percent(float(outcome.target[i]))})" if share != "capped" else ""
        sheet.write(sheet.right - _RIGHT_ROOM + 0.1, middle, share + wanted, va="center")
    _name_time(sheet, outcome, sheet.top - n * height)
