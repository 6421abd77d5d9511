"""Level and flows of a run in time, and flows compared, on one sheet."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import (
    GREY,
    HAIR,
    HEADING,
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
    spread_out,
    told_apart,
    wrap,
)
from dbox.drawings.surge_views import (
    BoxView,
    Scale,
    ShareView,
    about,
    clock,
    full_bar,
    moment,
    shown_until,
    time_unit,
)
from dbox.errors import DomainError
from dbox.fieldwork.surge import Outcome
from dbox.notes import Note
from dbox.report.wording import joined
from dbox.units import INCH, gallons, gpm, gpm_litres, inches_mm, litres
from dbox.units import percent_text as percent


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
def surge_figure(outcome: Outcome) -> Figure:
    """Draw the level in the box and the flow of every outlet against time."""
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


MOST_PANELS = 4
"""Flows that a sheet holds."""

_SCALE_ROOM, _CONTRAST_GAP, _STRIP, _BARS = 0.6, 0.25, 0.85, 1.5


@pens
def contrast_figure(outcomes: Sequence[Outcome]) -> Figure:
    """Draw the box with its water highest, and the shares at the end, for each run.

    Notes
    -----
    Four runs are drawn; where there are more, the sheet says which were left out.
    """
    if not outcomes:
        raise DomainError("there is no run to draw")
    n = len(outcomes[0].labels)
    if n > MOST_OUTLETS:
        raise DomainError(f"{n} outlets: a drawing holds at most {MOST_OUTLETS}")
    drawn, came = outcomes[:MOST_PANELS], outcomes[0].surge.came
    sheet = Sheet.blank(across=True)
    sheet.head(
        outcomes[0].site.title or "One box at several flows",
        f"The same {gallons(came)} ({litres(came)}) let into the same box at each flow",
    )
    sheet.foot(_notes(outcomes))
    left = sheet.left + _SCALE_ROOM
    width = (sheet.right - left + _CONTRAST_GAP) / len(drawn)
    scale, whole = Scale.of(*(o.surge for o in drawn)), full_bar(*drawn)
    for place, outcome in enumerate(drawn):
        start = left + place * width
        _draw_panel(
            sheet, outcome, scale, whole, start, start + width - _CONTRAST_GAP, first=place == 0
        )
    return sheet.figure


def _draw_panel(
    sheet: Sheet,
    outcome: Outcome,
    scale: Scale,
    whole: float,
    left: float,
    right: float,
    *,
    first: bool,
) -> None:
    run, bottom = outcome.surge, sheet.bottom + 0.3
    top = _write_head(sheet, outcome, left, right)
    scale = replace(scale, per_flow=Scale.of(run).per_flow)
    below = bottom + _STRIP + 0.35 + _BARS
    view = BoxView(sheet, outcome.site, run, scale, (left, right, below, top), ticks=first)
    view.show(moment(run, run.peak_time))
    bars = bottom + _STRIP + 0.3
    shares = ShareView(sheet, outcome, view.first, view.column, bars, below - 0.1, whole)
    shares.show(run.share)
    _draw_time(sheet, outcome, scale, (left, right, bottom, bottom + _STRIP), first=first)


def _write_head(sheet: Sheet, outcome: Outcome, left: float, right: float) -> float:
    """Name and numbers of a run; returns what is free below them. [in]"""
    run, y = outcome.surge, sheet.top
    open_ones = [i for i, outlet in enumerate(outcome.site.outlets) if not outlet.capped]
    shares = run.share[open_ones]
    rise = inches_mm(run.peak_level - run.system.still_level)
    flow = gpm_litres(float(run.inflow.max()))
    lines = [
        *(
            (line, HEADING, "bold")
            for line in wrap(run.event.name, right - left, HEADING, "bold", 1)
        ),
        (flow, SMALL, "normal"),
        (f"water up {rise}", SMALL, "normal"),
        (f"shares {percent(float(shares.min()))} to {percent(float(shares.max()))}", SMALL, "bold"),
    ]
    for text, size, weight in lines:
        sheet.write(left, y, wrap(text, right - left, size, weight, 1)[0], size, weight=weight)
        y -= line_height(size) + 0.03
    return y - 0.1


def _draw_time(
    sheet: Sheet,
    outcome: Outcome,
    scale: Scale,
    place: tuple[float, float, float, float],
    *,
    first: bool,
) -> None:
    """The level against time, on one scale of heights for all runs."""
    run = outcome.surge
    until = shown_until(run)
    unit, name = time_unit(until)
    axes = sheet.axes(*place)
    axes.plot(run.time / unit, (run.level - scale.still) / INCH, color=INK, linewidth=MEDIUM,
              label=f"level {run.event.name}")  # fmt: skip
    dress(axes, until / unit, 0.0, (scale.high - scale.still) / INCH, count=3)
    axes.tick_params(labelleft=first)
    sheet.write(place[0] + 0.08, place[3] + 0.13, f"water, in, against time, {name}")


def _notes(outcomes: Sequence[Outcome]) -> list[str]:
    notes: list[Note | str] = [
        "Water and streams as they are when the water stands highest; all heights to one scale, "
        "the streams of each flow to a scale of their own. Bars: share of all that has passed; "
        "dashed: target."
    ]
    warned = {o.surge.event.name: o.warnings for o in outcomes[:MOST_PANELS]}
    for name, warnings in warned.items():
        for note in warnings:
            shared = all(note in others for others in warned.values())
            own = f"{name}: {note}" if isinstance(note, str) else note.under(name)
            notes.append(note if shared else own)
    left_out = ", ".join(o.surge.event.name for o in outcomes[MOST_PANELS:])
    return joined([*notes, f"not drawn: {left_out}"] if left_out else notes)
