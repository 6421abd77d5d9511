"""How do the falls of the pipes stand on a printed sheet?"""

from dbox.drawings.sheets.page import Pages
from dbox.drawings.sheets.table import Column, table
from dbox.fieldwork.grades.assess import Grading
from dbox.fieldwork.grades.falls import Falls
from dbox.files.grades.words import HEADLINES, doubts, findings, limit_text, slope_text
from dbox.files.notation import feet, inches_mm, percent

_WORDS = {"too flat": "TOO FLAT", "back-pitched": "BACK-PITCHED"}


def grades_part(pages: Pages, grading: Grading | None) -> None:
    """Set the falls of every run, what is wrong with them and what they are held to.

    Parameters
    ----------
    pages : Pages
        Where it goes.
    grading : Grading or None
        The falls; None where nothing was read, which is then said.
    """
    pages.heading("Falls of the pipes", keep=1.2)
    if grading is None:
        pages.paragraph("No rod readings were entered.")
        return
    pages.paragraph(HEADLINES[grading.verdict], weight="bold")
    for sentence in findings(grading):
        pages.paragraph(sentence, mark="!")
    for sentence in doubts(grading):
        pages.paragraph(sentence, mark="?")
    columns = [
        Column("run", 1.35),
        Column("fall", 1.6),
        Column("over", 0.75, "right"),
        Column("slope", 0.8, "right"),
        Column("chance enough", 1.0, "right"),
        Column("verdict", 1.3),
    ]
    table(pages, columns, _rows(grading))
    limits, kinds = grading.survey.limits, dict.fromkeys(g.run.kind for g in grading.runs)
    said = [
        limit_text(kind, limits.fall(kind), slope_text(limits.fall(kind).value)) for kind in kinds
    ]
    if grading.drops:
        drop = limits.inlet_drop
        said.append(limit_text("inlet over outlets", drop, inches_mm(drop.value)))
    pages.paragraph(
        f"Held to: {'; '.join(said)}. One rod reading is good to {inches_mm(grading.spread)}, "
        f"{'assumed' if grading.survey.spread is None else 'as stated'}."
    )
    for sentence in grading.warnings:
        pages.paragraph(sentence, mark="-")


def _rows(grading: Grading) -> list[list[str]]:
    rows = []
    for grade in grading.runs:
        length = float(grade.at[-1] - grade.at[0])
        slope = percent(float(grade.whole.fall) / length, 2)
        rows.append([grade.run.name, *_cells(grade.whole, feet(length), slope)])
    for drop in grading.drops:
        cells = _cells(drop.fall, "", "")
        cells[-1] = "TOO SMALL" if cells[-1] == "TOO FLAT" else cells[-1]
        rows.append([f"inlet over outlet {drop.outlet}", *cells])
    return rows


def _cells(falls: Falls, over: str, slope: str) -> list[str]:
    chance = float(falls.probability)
    likely = "over 99 %" if chance > 0.99 else f"{100 * chance:.0f} %"
    verdict = falls.verdicts[0]
    return [
        inches_mm(float(falls.fall)),
        over,
        slope,
        "under 1 %" if chance < 0.01 else likely,
        _WORDS.get(verdict, verdict),
    ]
