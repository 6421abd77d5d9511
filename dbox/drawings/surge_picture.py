"""Level and flows of a run in time, and flows compared, on one sheet."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.drawings.style import (
    GREY,
    HAIR,
    HEADING,
    HEADING_ROOM,
    INK,
    LEADER,
    MEDIUM,
    SMALL,
    THIN,
    TINT,
    Sheet,
    check_outlets,
    line_height,
    pens,
    spread_out,
    told_apart,
    wrap,
)
from dbox.drawings.surge_views import BoxView, Scale, ShareView, clock, time_unit
from dbox.errors import DomainError
from dbox.fieldwork.surge import SurgeOutcome, highest_share, shown_until
from dbox.report.surge_report import notes_side_by_side, volume_text
from dbox.report.wording import joined
from dbox.units import INCH, gpm, gpm_litres, percent_text

TITLE_TEXT = "A discharge on its way through the box"
"""Title where the site has none."""


def dress(axes: Axes, until: float, low: float, high: float, *, count: int = 5) -> None:
    """Set what axes show, with ticks at left and below, none of them outside.

    low [in or gpm], high [in or gpm].
    """
    axes.set(xlim=(0.0, until), ylim=(low, high))
    axes.locator_params(axis="x", nbins=6)
    axes.locator_params(axis="y", nbins=count)
    axes.set_xticks([t for t in axes.get_xticks() if 0.0 <= t <= until])
    axes.set_yticks([t for t in axes.get_yticks() if max(low, 0.0) <= t <= high])
    for side in ("right", "top"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=SMALL, length=3, width=HAIR)


_LEFT_ROOM, _RIGHT_ROOM = 0.85, 1.25
_AXIS_ROOM, _GAP = 0.45, 0.1
_MOST_ROW, _LEVEL_PART, _MOST_LEVEL = 0.9, 0.4, 3.6


@pens
def surge_figure(outcome: SurgeOutcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time."""
    check_outlets(len(outcome.labels))
    run, n = outcome.surge, len(outcome.labels)
    sheet = Sheet.blank()
    sheet.head(
        outcome.site.title or TITLE_TEXT,
        f"{run.event.name or 'a flow'}: {volume_text(run)}",
        f"Water stands highest at {clock(run.peak_time)}, "
        f"{outcome.site.lengths.both(run.rise)} over the lowest lip.",
    )
    sheet.foot(joined(outcome.warnings))
    rows = sheet.top - sheet.bottom - 2.0 * (HEADING_ROOM + _AXIS_ROOM) - _GAP
    level = min(_LEVEL_PART * rows, _MOST_LEVEL)
    room = _LEFT_ROOM - 0.1
    cut = [wrap(label, room, SMALL, "bold", 1)[0] for label in outcome.labels]
    names = told_apart(outcome.labels, cut)
    sheet.heading("Water in the box", "over the lowest lip; dashed: each lip")
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
    until = shown_until(run)
    unit, unit_name = time_unit(until)
    over, lips = (run.level - still) / INCH, (run.system.lips - still) / INCH
    open_ones = np.flatnonzero(np.isfinite(lips)).tolist()
    most = max(float(over.max()), float(lips[open_ones].max(initial=0.0)), 1 / 16)
    low, high = -0.06 * most, 1.08 * most
    dress(axes, until / unit, low, high)
    for i in open_ones:
        axes.axhline(lips[i], color=GREY, linewidth=HAIR, linestyle=(0, (5, 3)),
                     label=f"lip {outcome.labels[i]}")  # fmt: skip
    axes.plot(run.time / unit, over, color=INK, linewidth=MEDIUM, label="level")
    axes.set_ylabel("in", fontsize=SMALL, rotation=0, labelpad=12)
    # outlets whose lips are at one height stand in one line, beside it
    groups: dict[float, list[str]] = {}
    for i in open_ones:
        groups.setdefault(round(float(lips[i]), 4), []).append(names[i])
    left = sheet.right - _RIGHT_ROOM
    at = [bottom + (lip - low) / (high - low) * height for lip in groups]
    written = spread_out(at, line_height(SMALL), bottom, sheet.top + 0.1)
    for labels, y, text_y in zip(groups.values(), at, written, strict=True):
        sheet.page.plot([left, left + 0.2, left + 0.26], [y, text_y, text_y], **LEADER)
        words = wrap("lip " + ", ".join(labels), _RIGHT_ROOM - 0.3, SMALL, most=1)[0]
        sheet.write(left + 0.3, text_y, words, va="center")
    sheet.write(left + 0.1, bottom - 0.08, f"time, {unit_name}")


def _draw_flows(sheet: Sheet, outcome: SurgeOutcome, names: list[str], height: float) -> None:
    """One row for each outlet, all on one scale."""
    run, n = outcome.surge, len(outcome.labels)
    until = shown_until(run)
    unit, unit_name = time_unit(until)
    most = float(run.peak_flow.max())
    words = f"a full row is {gpm(most)}; dashed: its target share; right: share (target)"
    sheet.heading("Flow of each outlet", words)
    time, passed, right = run.time / unit, run.flow.sum(1), sheet.right - _RIGHT_ROOM + 0.1
    for i, (label, outlet) in enumerate(zip(outcome.labels, outcome.site.outlets, strict=True)):
        top = sheet.top - i * height
        axes = _axes(sheet, top - height, top - 0.06)
        dress(axes, until / unit, 0.0, 1.02 * most or 1.0)
        axes.set_yticks([])
        axes.fill_between(time, run.flow[:, i], color=TINT, linewidth=0.0)
        axes.plot(time, run.flow[:, i], color=INK, linewidth=THIN, label=f"flow {label}")
        axes.plot(time, outcome.target[i] * passed, color=INK, linewidth=THIN,
                  linestyle=(0, (4, 2)), label=f"wanted {label}")  # fmt: skip
        axes.tick_params(labelbottom=i == n - 1)
        middle = top - 0.5 * height
        sheet.write(sheet.left, middle, names[i], va="center", weight="bold")
        share, target = percent_text(float(run.share[i])), percent_text(float(outcome.target[i]))
        words = "capped" if outlet.capped else f"{share} ({target})"
        sheet.write(right, middle, words, va="center")
    sheet.write(right, sheet.top - n * height - 0.08, f"time, {unit_name}")


MOST_PANELS = 4
"""Flows that a sheet holds."""

_SCALE_ROOM, _CONTRAST_GAP, _STRIP, _BARS = 0.6, 0.25, 0.85, 1.5


@pens
def contrast_figure(outcomes: Sequence[SurgeOutcome]) -> Figure:
    """Draw the box with its water highest, and the shares at the end, for each run.

    Notes
    -----
    Four runs are drawn; where there are more, the sheet says which were left out.
    """
    if not outcomes:
        raise DomainError("there is no run to draw")
    check_outlets(len(outcomes[0].labels))
    drawn, left_out = outcomes[:MOST_PANELS], outcomes[MOST_PANELS:]
    sheet = Sheet.blank(across=True)
    sheet.head(
        outcomes[0].site.title or "One box at several flows",
        f"The same {volume_text(outcomes[0].surge)} let into the same box at each flow",
    )
    notes = [
        "Water and streams as they are when the water stands highest; all heights to one scale, "
        "the streams of each flow to a scale of their own. Bars: share of all that has passed; "
        "dashed: target.",
        *joined(notes_side_by_side(drawn)),
    ]
    if left_out:
        notes.append(f"not drawn: {', '.join(o.surge.event.name for o in left_out)}")
    sheet.foot(notes)
    start = sheet.left + _SCALE_ROOM
    width = (sheet.right - start + _CONTRAST_GAP) / len(drawn)
    scale, whole = Scale.of(*(o.surge for o in drawn)), highest_share(drawn)
    for place, outcome in enumerate(drawn):
        left = start + place * width
        _draw_panel(sheet, outcome, scale, whole, left, left + width - _CONTRAST_GAP)
    return sheet.figure


def _draw_panel(
    sheet: Sheet, outcome: SurgeOutcome, scale: Scale, whole: float, left: float, right: float
) -> None:
    """Name and numbers of a run, its box, its bars, and its level against time."""
    run, y, first = outcome.surge, sheet.top, left == sheet.left + _SCALE_ROOM
    shares = run.share[[not outlet.capped for outlet in outcome.site.outlets]]
    for text, size, weight in (
        (run.event.name, HEADING, "bold"),
        (gpm_litres(float(run.inflow.max())), SMALL, "normal"),
        (f"water up {outcome.site.lengths.both(run.rise)}", SMALL, "normal"),
        (
            f"shares {percent_text(float(shares.min()))} to {percent_text(float(shares.max()))}",
            SMALL,
            "bold",
        ),
    ):
        for line in wrap(text, right - left, size, weight, 1):
            sheet.write(left, y, line, size, weight=weight)
            y -= line_height(size) + 0.03

    bottom = sheet.bottom + 0.3
    bars, below = bottom + _STRIP + 0.3, bottom + _STRIP + 0.35 + _BARS
    own = replace(scale, per_flow=Scale.of(run).per_flow)
    view = BoxView(sheet, outcome, own, (left, right, below, y - 0.1), ticks=first)
    view.show(run.at(run.peak_time))
    ShareView(sheet, view, (bars, below - 0.1), whole).show(run.share)

    # one scale of heights for all runs
    until = shown_until(run)
    unit, name = time_unit(until)
    axes = sheet.axes(left, right, bottom, bottom + _STRIP)
    axes.plot(run.time / unit, (run.level - scale.still) / INCH, color=INK, linewidth=MEDIUM,
              label=f"level {run.event.name}")  # fmt: skip
    dress(axes, until / unit, 0.0, (scale.high - scale.still) / INCH, count=3)
    axes.tick_params(labelleft=first)
    sheet.write(left + 0.08, bottom + _STRIP + 0.13, f"water, in, against time, {name}")
