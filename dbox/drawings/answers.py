"""Small pictures of answers that have no sheet: a pour, a diagnosis, profiles of the pipes."""

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import (
    BODY,
    DASHES,
    EDGE,
    GREY,
    HEADING,
    INK,
    PALE,
    SMALL,
    THIN,
    TITLE,
    pens,
    wrap,
)
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.diagnose import Diagnosis
from dbox.fieldwork.grades import Grading, RunGrade
from dbox.fieldwork.pour import Expectation
from dbox.report.diagnose_report import told_causes
from dbox.report.grades_report import HEADLINES, slope_text
from dbox.report.text import chance_text
from dbox.units import FOOT, INCH, LITRE, MINUTE

_MOST_CAUSES = 10


@pens
def pour_picture(headline: str, expectation: Expectation) -> Figure:
    """Draw what each outlet should give in every pour, with its band, and what was caught."""
    pours, labels = expectation.pours, [o.label for o in expectation.site.outlets]
    figure = Figure(figsize=(8.25, 1.0 + 2.4 * len(pours)), layout="constrained")
    figure.suptitle(headline, fontsize=HEADING, wrap=True)
    scale = LITRE / MINUTE
    axes = figure.subplots(len(pours), 1, squeeze=False)[:, 0]
    places = np.arange(len(labels))
    for case, (each, pour) in enumerate(zip(axes, pours, strict=True)):
        flow = expectation.result.flow[case] / scale
        ends = np.stack(
            [flow - expectation.low[case] / scale, expectation.high[case] / scale - flow]
        )
        each.bar(places, flow, 0.6, color=PALE, **EDGE, label="expected")
        each.errorbar(places, flow, yerr=np.maximum(ends, 0.0), fmt="none", ecolor=GREY,
                      capsize=4, label="5 to 95 %")  # fmt: skip
        if pour.done:
            each.plot(places, expectation.caught[case] / scale, "D", color=INK, label="caught")
        each.set_xticks(places, labels)
        each.set_title(pour.name, fontsize=BODY, loc="left")
        each.set_ylabel("flow [L/min]")
    axes[-1].set_xlabel("outlet")
    handles, names = axes[-1].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower center", ncols=3, frameon=False, fontsize=BODY)
    return figure


@pens
def diagnosis_picture(headline: str, found: Diagnosis) -> Figure:
    """Draw the leading causes with their chances; none is announced."""
    answers = told_causes(found)[:_MOST_CAUSES]
    names = [each.short for each in answers]
    chances = [100 * each.probability for each in answers]
    figure = Figure(figsize=(8.25, 1.4 + 0.35 * len(answers)), layout="constrained")
    figure.suptitle(headline, fontsize=HEADING, wrap=True)
    axes = figure.subplots()
    places = np.arange(len(answers))[::-1]
    axes.barh(places, chances, 0.6, color=PALE, **EDGE)
    for place, chance in zip(places, chances, strict=True):
        axes.text(chance + 1.0, place, chance_text(chance / 100), va="center", fontsize=BODY)
    axes.set_yticks(places, names)
    axes.set(
        xlim=(0, 120),
        xticks=range(0, 101, 20),
        xlabel="chance given what was seen [%]; ranked, none is announced",
    )
    return figure


_ACROSS, _WIDTH, _ROW, _HEAD = 2, 8.25, 2.35, 1.25
_SIDES = 2.0


@pens
def grades_figure(title: str, grading: Grading) -> Figure:
    """Draw every run from the side."""
    if not grading.runs:
        raise DomainError(
            "nothing is read yet, so there are no falls to draw; print the plan: dbox sheet FILE "
            "--kind field"
        )
    rows = -(-len(grading.runs) // _ACROSS)
    height = _HEAD + rows * _ROW
    figure = Figure(figsize=(_WIDTH, height))
    lines = [*wrap(title, _WIDTH - 1.0, TITLE, "bold", 1), HEADLINES[grading.verdict]]
    for number, (line, size) in enumerate(zip(lines, (TITLE, HEADING), strict=True)):
        figure.text(0.06, 1 - (0.2 + 0.3 * number) / height, line, fontsize=size, va="top",
                    weight="bold" if number == 0 else "normal")  # fmt: skip
    figure.text(
        0.06,
        0.2 / height,
        f"bars: {_SIDES:.0f} standard deviations of a reading either way; dashed: the least fall "
        "from the first station; ring: sags beyond the error",
        fontsize=SMALL,
    )
    for index, grade in enumerate(grading.runs):
        row, column = divmod(index, _ACROSS)
        bottom = height - 0.85 - (row + 1) * _ROW + 0.62
        place = ((0.85 + column * 4.05) / _WIDTH, bottom / height, 3.1 / _WIDTH, 1.4 / height)
        _profile(figure.add_axes(place), grade)
    return figure


def _profile(axes: Axes, grade: RunGrade) -> None:
    """One run: heights against distance, both from its first station."""
    at, height = grade.at / FOOT, (grade.height - grade.height[0]) / INCH
    at, bars = at - at[0], _SIDES * grade.error / INCH
    axes.errorbar(
        at, height, yerr=bars, color=INK, marker="o", markersize=3.5, linewidth=THIN, capsize=2
    )
    if grade.limit and not grade.flatness:
        least = -grade.limit.value * (grade.at - grade.at[0]) / INCH
        axes.plot(at, least, color=INK, linewidth=THIN, linestyle=DASHES[1])
    belly = np.flatnonzero(grade.belly & (grade.flatness is None))
    if belly.size:
        axes.plot(at[belly], height[belly], "o", markersize=11, fillstyle="none", color=INK)
    whole = float(grade.whole.fall) / float(grade.at[-1] - grade.at[0])
    axes.set_title(f"{grade.run.name}: {slope_text(whole)}", fontsize=BODY, loc="left")
    axes.set_xlabel("distance along the run [ft]", fontsize=SMALL)
    axes.set_ylabel("height over\nits start [in]", fontsize=SMALL)
    axes.tick_params(labelsize=SMALL)
    axes.margins(x=0.04, y=0.12)
    axes.locator_params(nbins=5, steps=[1, 2, 5, 10])
    axes.set_xticks(_inside(axes.get_xticks(), axes.get_xlim()))
    axes.set_yticks(_inside(axes.get_yticks(), axes.get_ylim()))


def _inside(ticks: Array, ends: tuple[float, float]) -> Array:
    """The ticks that can be seen."""
    low, high = ends
    return ticks[(ticks >= low) & (ticks <= high)]
