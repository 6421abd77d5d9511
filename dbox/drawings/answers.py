"""Small pictures of answers that have no sheet of their own: a pour and a diagnosis."""

import numpy as np
from matplotlib.figure import Figure

from dbox.drawings.style import BODY, GREY, HEADING, INK, PALE, THIN, pens
from dbox.fieldwork.diagnosis.diagnose import Diagnosis
from dbox.fieldwork.pour import Expectation
from dbox.files.evidence_words import cause_words
from dbox.report.text import chance_text
from dbox.units import LITRE, MINUTE

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
        each.bar(places, flow, 0.6, color=PALE, edgecolor=INK, linewidth=THIN, label="expected")
        each.errorbar(places, flow, yerr=np.maximum(ends, 0.0), fmt="none", ecolor=GREY,
                      capsize=4, label="5 to 95 %")  # fmt: skip
        if pour.done:
            each.plot(places, expectation.caught[case] / scale, "D", color=INK, label="caught")
        each.set_xticks(places, labels)
        each.set_title(pour.name, fontsize=BODY, loc="left")
        each.set_ylabel("flow [L/min]")
        each.spines[["top", "right"]].set_visible(False)
    axes[-1].set_xlabel("outlet")
    handles, names = axes[-1].get_legend_handles_labels()
    figure.legend(handles, names, loc="outside lower center", ncols=3, frameon=False, fontsize=BODY)
    return figure


@pens
def diagnosis_picture(headline: str, found: Diagnosis) -> Figure:
    """Draw the leading causes with their chances; none is announced."""
    answers = found.answers[:_MOST_CAUSES]
    names = [cause_words(found.site, each) for each in answers]
    chances = [100 * each.probability for each in answers]
    figure = Figure(figsize=(8.25, 1.4 + 0.35 * len(answers)), layout="constrained")
    figure.suptitle(headline, fontsize=HEADING, wrap=True)
    axes = figure.subplots()
    places = np.arange(len(answers))[::-1]
    axes.barh(places, chances, 0.6, color=PALE, edgecolor=INK, linewidth=THIN)
    for place, chance in zip(places, chances, strict=True):
        axes.text(chance + 1.0, place, chance_text(chance / 100), va="center", fontsize=BODY)
    axes.set_yticks(places, names)
    axes.set(
        xlim=(0, 120),
        xticks=range(0, 101, 20),
        xlabel="chance given what was seen [%]; ranked, none is announced",
    )
    axes.spines[["top", "right"]].set_visible(False)
    return figure
