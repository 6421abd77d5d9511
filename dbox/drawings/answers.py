"""Pictures of answers without a sheet of their own: a pour, a diagnosis, profiles of the pipes."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.split_picture import Row, write_rows
from dbox.drawings.style import (
    BODY,
    BOX,
    EDGE,
    GREY,
    HAIR,
    HEADING_ROOM,
    INK,
    MEDIUM,
    OVER,
    PAPER,
    SMALL,
    THIN,
    TINT,
    UNDER,
    WANTED,
    WARNING,
    WATER,
    WITHIN,
    Role,
    Sheet,
    check_outlets,
    line_height,
    pens,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.diagnose import Diagnosis
from dbox.fieldwork.grades import Grading, RunGrade
from dbox.fieldwork.pour import Expectation
from dbox.lengths import Lengths
from dbox.report.blocks import Table
from dbox.report.diagnose_report import diagnosis_blocks, told_causes
from dbox.report.grades_report import HEADLINES, findings, slope_text
from dbox.report.text import chance_text
from dbox.report.wording import joined
from dbox.units import FOOT, GALLON, INCH, LITRE, MINUTE, gpm_litres, percent_text

_LEFT, _POUR, _POUR_WORDS = 0.9, 1.3, 0.98
_STANDS: dict[int, tuple[Role, str]] = {-1: (UNDER, "v"), 0: (WITHIN, "D"), 1: (OVER, "^")}
"""How a catch is drawn that is below, within or above its band."""


def _fitted(inside: float, head: Sequence[str], notes: list[str]) -> Sheet:
    """A sheet with head and foot, just as high as what is drawn between them asks; inside [in]."""
    trial = Sheet.blank((PAPER[0], 30.0))
    trial.head(*head)
    trial.foot(notes)
    sheet = Sheet.blank((PAPER[0], 30.0 - (trial.top - trial.bottom) + inside))
    sheet.head(*head)
    sheet.foot(notes)
    return sheet


@pens
def pour_picture(headline: str, expectation: Expectation) -> Figure:
    """Draw what each outlet should give in every pour, with its band, and what was caught."""
    site, pours = expectation.site, expectation.pours
    check_outlets(len(site.outlets))
    title, *more = headline.split(". ", 1)
    each = _POUR + _POUR_WORDS + line_height(SMALL) * any(pour.done for pour in pours)
    lines = (title.removesuffix("."), *more, *filter(None, [site.title]))
    sheet = _fitted(HEADING_ROOM + each * len(pours), lines, [])
    about = "bar: expected; whisker: 5 to 95 % of what the readings leave open"
    if any(pour.done for pour in pours):
        about += f"; caught {WITHIN.sign} within, {OVER.sign} above, {UNDER.sign} below it"
    sheet.write(sheet.left, sheet.top, about)
    sheet.top -= HEADING_ROOM
    for case in range(len(pours)):
        _draw_pour(sheet, expectation, case)
    return sheet.figure


def _draw_pour(sheet: Sheet, expectation: Expectation, case: int) -> None:
    """One pour: bars, catches, and both in figures under the outlets."""
    site, pour, flow = expectation.site, expectation.pours[case], expectation.result.flow[case]
    metric = site.lengths.metric
    scale, unit = (LITRE / MINUTE, "L/min") if metric else (GALLON / MINUTE, "gpm")
    n, left = len(site.outlets), sheet.left + _LEFT
    column = (sheet.right - left) / n
    sheet.heading(wrap(pour.name, 3.0, BODY, "bold", 1)[0], gpm_litres(pour.inflow))
    axes = sheet.axes(left, sheet.right, sheet.top - _POUR, sheet.top)
    sheet.top -= _POUR + 0.14
    places, caught = np.arange(n), expectation.caught[case] / scale
    band = np.stack([expectation.low[case], expectation.high[case]]) / scale
    wide = min(0.56, 0.5 / column)
    axes.bar(places, flow / scale, wide, color=WATER.colour, alpha=0.45, **EDGE, label="expected")
    axes.vlines(places, *band, color=INK, linewidth=MEDIUM)
    for end in band:
        axes.hlines(end, places - 0.2 * wide, places + 0.2 * wide, color=INK, linewidth=MEDIUM)
    signs = [""] * n
    for i, (stands, got) in enumerate(zip(expectation.stands[case].tolist(), caught, strict=True)):
        if not np.isfinite(got):
            continue
        role, marker = _STANDS.get(stands, (WANTED, "o"))
        signs[i] = f"{role.sign} " if stands in _STANDS else ""
        axes.plot(i, got, marker, color=role.colour, markersize=8, markeredgecolor="white",
                  label=f"caught {site.outlets[i].label}", zorder=4, clip_on=False)  # fmt: skip
    most = max(float(np.nanmax(each, initial=0.0)) for each in (flow / scale, band, caught))
    axes.set(xlim=(-0.5, n - 0.5), ylim=(0.0, 1.08 * most or 1.0), xticks=())
    axes.locator_params(axis="y", nbins=4)
    axes.set_yticks([tick for tick in axes.get_yticks() if tick <= 1.08 * most])
    axes.tick_params(length=3, width=HAIR)
    rows = [
        Row.words("outlet", [outlet.label for outlet in site.outlets], column),
        Row.numbers(f"expect, {unit}", [_two(each / scale) for each in flow], column),
    ]
    if pour.done:
        cells = [
            f"{sign}{_two(got)}" if np.isfinite(got) else "-"
            for sign, got in zip(signs, caught, strict=True)
        ]
        rows.append(Row.numbers(f"caught, {unit}", cells, column))
    write_rows(sheet, rows, left, column)
    sheet.top -= 0.12


def _two(value: float) -> str:
    """A number to two digits that count."""
    return f"{float(f'{value:.2g}'):,.10g}" if value >= 5e-4 else "0"


_MOST_CAUSES, _CAUSE = 8, 0.32
_LEAST_CHANCE = 0.01
"""Chance from which a cause gets a bar. [-] (judgement)"""


@pens
def diagnosis_picture(found: Diagnosis) -> Figure:
    """Draw the leading causes with their chances, and say what to look at next."""
    answers = [each for each in told_causes(found) if each.probability >= _LEAST_CHANCE]
    answers = answers[:_MOST_CAUSES] or told_causes(found)[:1]
    rest = 1.0 - sum(each.probability for each in answers)
    notes = [f"all other causes together: {chance_text(max(rest, 0.0))}", *joined(found.warnings)]
    notes.append("a chance given what was seen, by judged likelihoods; ranked, not proved")
    said = [block.text for block in diagnosis_blocks(found)[0] if not isinstance(block, Table)]
    lines = (*said, *filter(None, [found.site.title]))
    sheet = _fitted(HEADING_ROOM + 0.1 + _CAUSE * len(answers), lines, notes)
    sheet.heading("Causes, the likeliest first", "chance given what was seen")
    room = 3.6
    left, height = sheet.left + room + 0.1, _CAUSE * len(answers)
    axes = sheet.axes(left, sheet.right - 0.7, sheet.top - height, sheet.top)
    for place, each in enumerate(answers):
        y = sheet.top - (place + 0.5) * _CAUSE
        first: dict[str, Any] = {"weight": "bold"} if place == 0 else {}
        words = "\n".join(wrap(each.short, room, SMALL, most=2, **first))
        sheet.write(left - 0.1, y, words, ha="right", va="center", **first)
        colour = BOX.colour if place == 0 else TINT
        axes.barh(place, 100 * each.probability, 0.6, facecolor=colour, **EDGE)
        axes.annotate(chance_text(each.probability), (100 * each.probability, place), (4, 0),
                      textcoords="offset points", va="center", **first)  # fmt: skip
    axes.set(xlim=(0, 100), ylim=(len(answers) - 0.5, -0.5), xticks=(), yticks=())
    axes.spines["bottom"].set_visible(False)
    return sheet.figure


_GAP, _ROW_WORDS, _AXIS = 0.6, 0.4, 0.35
_SIDES = 2.0
_VERDICTS: dict[str, tuple[str, str, str]] = {
    "within": (WITHIN.sign, "enough", WITHIN.colour),
    "cannot tell": ("?", "cannot tell", INK),
    "outside": (WARNING.sign, "wrong", WARNING.colour),
}
"""Sign, word and colour of what a run comes to."""


@pens
def grades_figure(title: str, grading: Grading) -> Figure:
    """Draw every run from the side."""
    if not grading.runs:
        raise DomainError(
            "nothing is read yet, so there are no falls to draw; print the plan: dbox sheet FILE "
            "--kind field"
        )
    count = len(grading.runs)
    across = 2 if count <= 8 else 3
    panel = 1.3 if count <= 8 else 0.95
    rows, row = -(-count // across), panel + _ROW_WORDS + _AXIS
    notes = [
        f"whiskers: {_SIDES:.0f} standard deviations of a reading either way; dashed: the least "
        "fall from the first station",
        *["ring: sags by more than the readings err"] * any(g.belly.any() for g in grading.runs),
        *joined(grading.warnings),
    ]
    wrong, headline = findings(grading), HEADLINES[grading.verdict].removesuffix(".")
    if wrong:
        more = f"; and {len(wrong) - 1} more" if len(wrong) > 1 else ""
        headline = f"{wrong[0][0].upper()}{wrong[0][1:]}{more}"
    sheet = _fitted(HEADING_ROOM + rows * row, (headline, *filter(None, [title])), notes)
    lengths = grading.site.lengths
    units = "mm over its start, against m" if lengths.metric else "in over its start, against ft"
    sheet.heading("Each pipe from the side", f"height, {units} along it; drawn steeper than it is")
    width = (sheet.right - sheet.left + 0.1) / across
    for index, grade in enumerate(grading.runs):
        line, column = divmod(index, across)
        left, top = sheet.left + column * width, sheet.top - line * row
        sign, word, colour = _VERDICTS[grade.verdict]
        name = wrap(f"{sign} {grade.run.name}: {word}", width - 0.1, BODY, "bold", 1)[0]
        sheet.write(left, top, name, BODY, weight="bold", color=colour)
        fall = float(grade.whole.fall) / grade.span
        words = percent_text(fall) if lengths.metric else slope_text(fall)
        sheet.write(left, top - line_height(BODY), words)
        top -= _ROW_WORDS
        _profile(sheet.axes(left + 0.45, left + width - 0.15, top - panel, top), grade, lengths)
    return sheet.figure


def _profile(axes: Axes, grade: RunGrade, lengths: Lengths) -> None:
    """One run: heights against distance, both from its first station."""
    along, upright = (1.0, 1e-3) if lengths.metric else (FOOT, INCH)
    at, height = (grade.at - grade.at[0]) / along, (grade.height - grade.height[0]) / upright
    axes.errorbar(
        at, height, yerr=_SIDES * grade.error / upright, color=BOX.colour, marker="o",
        markersize=3.5, linewidth=MEDIUM, capsize=2,
    )  # fmt: skip
    if grade.limit and not grade.flatness:
        least = -grade.limit.value * (grade.at - grade.at[0]) / upright
        axes.plot(at, least, color=GREY, linewidth=MEDIUM, linestyle=(0, (4, 2)))
    belly = np.flatnonzero(grade.belly & (grade.flatness is None))
    if belly.size:
        axes.plot(at[belly], height[belly], "o", markersize=11, fillstyle="none",
                  color=WARNING.colour)  # fmt: skip
    axes.margins(x=0.04, y=0.12)
    axes.locator_params(nbins=4, steps=[1, 2, 5, 10])
    axes.set_xticks(_inside(axes.get_xticks(), axes.get_xlim()))
    axes.set_yticks(_inside(axes.get_yticks(), axes.get_ylim()))
    axes.tick_params(length=3, width=THIN)


def _inside(ticks: Array, ends: tuple[float, float]) -> Array:
    """The ticks that can be seen."""
    low, high = ends
    return ticks[(ticks >= low) & (ticks <= high)]
