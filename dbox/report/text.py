"""Text at 72 columns: wrapped lines, bars and notes."""

import textwrap
from collections.abc import Sequence

from dbox.units import DAY, HOUR, MINUTE

WIDTH = 72
"""Columns that a report fills at most."""

TOGETHER = "\u00a0"
"""A blank at which words are not parted."""


def wrapped(text: str, *, first: str = "", indent: str = "") -> list[str]:
    """Break a sentence to lines of at most `WIDTH` columns."""
    lines = textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=indent, break_on_hyphens=False
    )
    return [line.replace(TOGETHER, " ") for line in lines]


def cut(text: str, width: int) -> str:
    """A text that is shorter than its column, marked where its end was cut off."""
    return text if len(text) < width else f"{text[: width - 2]}~"


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


def chance_text(chance: float) -> str:
    """A chance in whole per cent; none is called certain.

    >>> chance_text(0.999), chance_text(0.42), chance_text(0.0)
    ('over 99 %', '42 %', 'under 1 %')
    """
    if chance > 0.99:
        return "over 99 %"
    return "under 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"


def duration(seconds: float) -> str:
    """Write a time as people say it, to three digits or to the second.

    >>> duration(95.0), duration(7200.0), duration(593869.0)
    ('1 min 35 s', '2 h', '6.87 days')
    """
    if seconds < MINUTE:
        return f"{seconds:.0f} s"
    if seconds < HOUR:
        minutes, rest = divmod(round(seconds), 60)
        return f"{minutes} min {rest} s" if rest else f"{minutes} min"
    size, unit = (HOUR, "h") if seconds < 2 * DAY else (DAY, "days")
    return f"{seconds / size:.3g} {unit}"
