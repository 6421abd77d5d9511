"""Text at 72 columns: wrapped lines, bars and notes."""

import textwrap
from collections.abc import Sequence

WIDTH = 72
"""Columns that a report fills at most."""


def wrapped(text: str, *, first: str = "", indent: str = "") -> list[str]:
    """Break a sentence to lines of at most `WIDTH` columns."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    )


def noted(sentences: Sequence[str]) -> list[str]:
    """A list of warnings, each with a mark, repeated ones once."""
    lines = []
    for sentence in dict.fromkeys(sentences):
        lines += wrapped(sentence, first="! ", indent="  ")
    return ["", *lines] if lines else []


def bar(fraction: float, target: float, whole: float, width: int) -> str:
    """A bar of # with the target marked by |, `whole` filling the width."""
    length = min(round(fraction / whole * width), width)
    mark = min(round(target / whole * width), width - 1)
    cells = ["#"] * length + ["."] * (width - length)
    cells[mark] = "|"
    return "".join(cells)


def chance_text(probability: float) -> str:
    """A probability for people, who need no third digit."""
    if probability > 0.99:
        return "over 99 %"
    return "under 1 %" if probability < 0.01 else f"{100 * probability:.0f} %"
