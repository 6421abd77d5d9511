"""How does the pour test stand on a printed sheet? Filled where it was done, else to be filled."""

import numpy as np

from dbox.drawings.sheets.page import Pages
from dbox.drawings.sheets.parts import outlet_text
from dbox.drawings.sheets.table import BY_HAND, Column, entries, table
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.pour.predict import Expectation, balance
from dbox.files.notation import gpm_litres, litres_per_min, percent

_ROW = 0.27
_STANDS = {-1.0: "LESS than expected", 0.0: "as expected", 1.0: "MORE than expected"}


def pour_part(pages: Pages, expectation: Expectation | None) -> None:
    """Set the pour test.

    Parameters
    ----------
    pages : Pages
        Where it goes.
    expectation : Expectation or None
        Pours, planned or done; None for a blank to be filled by hand.
    """
    if expectation is None or not expectation.pours:
        _blank(pages)
        return
    for case, pour in enumerate(expectation.pours):
        rows = _rows(pages, expectation, case)
        title = f"Pour test: {pour.name}, {gpm_litres(pour.inflow)}"
        pages.heading(title, keep=0.8 + _ROW * len(rows))
        if pour.order:
            labels = [outlet_text(i + 1, pages.site.outlets[i]) for i in pour.order]
            pages.paragraph(f"Started in this order: {', '.join(labels)}.")
        if expectation.jet_decides[case]:
            pages.paragraph(
                "The jet of the straight inlet decides in this pour; what is expected is without "
                f"it. To be sure, {CURE}."
            )
        columns = [
            Column("outlet", 1.1),
            Column("expected, L/min", 1.8, "right"),
            Column("caught", 1.3, "right"),
            Column("of all caught", 1.2, "right"),
            Column("it is", 1.9),
        ]
        table(pages, columns, rows, least_height=_ROW)
        if pour.done:
            pages.paragraph(_balance_words(expectation, case))


def _rows(pages: Pages, expectation: Expectation, case: int) -> list[list[str]]:
    caught, stands = expectation.caught[case], expectation.stands[case]
    total = float(np.nansum(caught))
    rows = []
    for i, outlet in enumerate(pages.site.outlets):
        if outlet.capped:
            continue
        low, high = (60e3 * float(end[case, i]) for end in (expectation.low, expectation.high))
        flow = 60e3 * float(expectation.result.flow[case, i])
        cells = ["", "", ""]
        if np.isfinite(caught[i]):
            share = percent(float(caught[i]) / total) if total > 0 else ""
            word = "not told: the jet" if np.isnan(stands[i]) else _STANDS[float(stands[i])]
            cells = [litres_per_min(float(caught[i])), share, word]
        expected = f"{flow:.2f} ({low:.2f} to {high:.2f})"
        rows.append([outlet_text(i + 1, outlet), expected, *cells])
    return rows


def _balance_words(expectation: Expectation, case: int) -> str:
    found = balance(expectation, case)
    ends = f"{60e3 * found.low:.2f} to {60e3 * found.high:.2f} L/min"
    verdict = {
        "balanced": "all that was poured came out again",
        "less": "LESS was caught than poured: it leaks or spills",
        "more": "MORE was caught than poured: a volume or a time is wrong",
        "open": "some outlets were not caught, so it does not tell of leaks",
    }[found.verdict]
    caught = litres_per_min(found.caught)
    return f"Caught in all {caught}; poured less caught is {ends}; {verdict}."


def _blank(pages: Pages) -> None:
    rows = [
        [outlet_text(i, o), "", "", "", ""]
        for i, o in enumerate(pages.site.outlets, start=1)
        if not o.capped
    ]
    pages.heading("Pour test, clean water", keep=1.0 + BY_HAND * len(rows))
    entries(pages, [("Poured", ""), ("In seconds", ""), ("Jug holds", ""), ("Lost or leaked", "")])
    columns = [
        Column("outlet", 1.3),
        Column("order of start", 1.2),
        Column("caught", 1.3),
        Column("in seconds", 1.1),
        Column("remarks", 2.3),
    ]
    table(pages, columns, rows, least_height=BY_HAND)
