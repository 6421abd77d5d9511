"""What does a box do at a trickle, a bucket and a dose? The same water at each, side by side."""

from collections.abc import Sequence
from dataclasses import replace

from matplotlib.figure import Figure

from dbox.drawings.lettering import joined, wrap
from dbox.drawings.style import (
    HEADING,
    INK,
    MEDIUM,
    MOST_OUTLETS,
    SMALL,
    Sheet,
    line_height,
    pens,
)
from dbox.drawings.surge.box_view import BoxView, Scale
from dbox.drawings.surge.curves import dress
from dbox.drawings.surge.moment import moment, shown_until, time_unit
from dbox.drawings.surge.share_view import ShareView, full_bar
from dbox.errors import DomainError
from dbox.fieldwork.surge.run import Outcome
from dbox.files.notation import gallons, gpm_litres, inches_mm, litres, percent
from dbox.files.units import INCH

MOST_PANELS = 4
"""Flows that a sheet holds."""

_SCALE_ROOM, _GAP, _STRIP, _BARS = 0.6, 0.25, 0.85, 1.5


@pens
def contrast_figure(outcomes: Sequence[Outcome]) -> Figure:
    """Draw the box with its water highest, and the shares at the end, for each run.

    Parameters
    ----------
    outcomes : sequence of Outcome
        The same volume through the same box at several flows.

    Returns
    -------
    Figure
        One sheet, across.

    Raises
    ------
    DomainError
        Where there are no runs, or more than 20 outlets.

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
    width = (sheet.right - left + _GAP) / len(drawn)
    scale, whole = Scale.of(*(o.surge for o in drawn)), full_bar(*drawn)
    for place, outcome in enumerate(drawn):
        start = left + place * width
        _draw_panel(sheet, outcome, scale, whole, start, start + width - _GAP, first=place == 0)
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
    notes = [
        "Water and streams as they are when the water stands highest; all heights to one scale, "
        "the streams of each flow to a scale of their own. Bars: share of all that has passed; "
        "dashed: target."
    ]
    warned = {o.surge.event.name: o.warnings for o in outcomes[:MOST_PANELS]}
    for name, warnings in warned.items():
        for warning in warnings:
            shared = all(warning in others for others in warned.values())
            notes.append(warning if shared else f"{name}: {warning}")
    left_out = ", ".join(o.surge.event.name for o in outcomes[MOST_PANELS:])
    return joined([*notes, f"not drawn: {left_out}"] if left_out else notes)
