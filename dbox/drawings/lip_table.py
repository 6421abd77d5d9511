"""How high is every lip? The table under the section, one column per outlet."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from dbox.drawings.lettering import text_width, told_apart, wrap
from dbox.drawings.style import BODY, GREY, SMALL, Sheet, line_height
from dbox.fieldwork.confidence import Assessment
from dbox.files.notation import inches, millimetres

ROW_GAP = 0.05
"""Paper between rows of the table. [in]"""

_DEEPEST, _NARROW, _SPACE = 1.1, 0.5, 0.04
_NO_LIP = "-"


@dataclass(frozen=True)
class Row:
    """One row of the table under the section: words, set upright where they are wide.

    Parameters
    ----------
    head : str
        What the row is.
    cells : tuple of str
        One text per outlet, with its line breaks.
    depth : float
        Height of the row on paper. [in]
    upright : bool
        Whether the cells are turned to read upwards.
    size : float
        Size of the letters. [pt]
    weight : str
        `normal` or `bold`.
    """

    head: str
    cells: tuple[str, ...]
    depth: float
    upright: bool
    size: float
    weight: str

    @classmethod
    def words(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit labels into columns of a width. [in]"""
        room = column - _SPACE
        words = [word for cell in cells for word in cell.split()]
        size = BODY if max(text_width(word, BODY, "bold") for word in words) <= room else SMALL
        if max(text_width(word, size, "bold") for word in words) > room and column < _NARROW:
            return cls._upright(head, cells, size, "bold")
        texts = ["\n".join(wrap(cell, room, size, "bold", 3)) for cell in cells]
        texts = told_apart(cells, texts)
        depth = max(text.count("\n") + 1 for text in texts) * line_height(size)
        return cls(head, tuple(texts), depth, False, size, "bold")

    @classmethod
    def numbers(cls, head: str, cells: list[str], column: float) -> "Row":
        """Fit numbers into columns of a width. [in]"""
        if max(text_width(cell, SMALL) for cell in cells) > column - _SPACE:
            return cls._upright(head, cells, SMALL, "normal")
        return cls(head, tuple(cells), line_height(SMALL), False, SMALL, "normal")

    @classmethod
    def _upright(cls, head: str, cells: list[str], size: float, weight: str) -> "Row":
        cut = [wrap(cell, _DEEPEST, size, weight, 1)[0] for cell in cells]
        texts = told_apart(cells, cut)
        depth = max(text_width(text, size, weight) for text in texts)
        return cls(head, tuple(texts), depth, True, size, weight)


def lip_rows(assessment: Assessment, column: float) -> list[Row]:
    """Label and lip of every outlet, to be written under its column of the section.

    Parameters
    ----------
    assessment : Assessment
        Labels and lips.
    column : float
        Width of a column on paper. [in]
    """
    lips = assessment.lips.height
    rows = {
        f"lip, {unit}": [_NO_LIP if np.isposinf(lip) else write(lip, signed=True) for lip in lips]
        for unit, write in (("in", inches), ("mm", millimetres))
    }
    if max(text_width(c, SMALL) for cells in rows.values() for c in cells) > column - _SPACE:
        rows = {head: [cell.split()[0] for cell in cells] for head, cells in rows.items()}
    labels = Row.words("outlet", list(assessment.labels), column)
    return [labels, *(Row.numbers(head, cells, column) for head, cells in rows.items())]


def write_rows(sheet: Sheet, rows: list[Row], left: float, column: float) -> None:
    """Write rows under one another and lower what is free.

    Parameters
    ----------
    sheet : Sheet
        The page.
    rows : list of Row
        From the top.
    left, column : float
        Left edge of the first column and the width of each. [in]
    """
    for row in rows:
        sheet.write(left - 0.1, sheet.top, row.head, ha="right", color=GREY)
        look: dict[str, Any] = {
            "rotation": 90 if row.upright else 0,
            "weight": row.weight,
            "ha": "center",
        }
        for i, cell in enumerate(row.cells):
            sheet.write(left + (i + 0.5) * column, sheet.top, cell, row.size, **look)
        sheet.top -= row.depth + ROW_GAP
