"""How wide is a text on paper, and how is it broken or cut to fit? Without drawing it first."""

from collections.abc import Iterable, Sequence
from itertools import takewhile

from dbox.drawings.fonts import advance, letters

_SLACK = 1.03
"""Letters are placed on whole dots of a screen, which may widen a text by this much."""


def text_width(text: str, size: float, weight: str = "normal") -> float:
    """Width of one line of text on paper.

    Parameters
    ----------
    text : str
        A line without breaks.
    size : float
        Size of the letters. [pt]
    weight : str
        `normal` or `bold`.

    Returns
    -------
    float
        [in]
    """
    return _SLACK * size / 72 * sum(advance(letter, weight) for letter in letters(text))


def wrap(
    text: str, width: float, size: float, weight: str = "normal", most: int | None = None
) -> list[str]:
    """Break a text into lines of at most a width, between words where that can be done.

    Parameters
    ----------
    text : str
        Any text; line breaks in it count as blanks.
    width : float
        Width on paper. [in]
    size : float
        Size of the letters. [pt]
    weight : str
        `normal` or `bold`.
    most : int, optional
        Lines allowed; of what is over, the middle gives way to an ellipsis.

    Returns
    -------
    list of str
        At least one line.

    >>> wrap("the far line", 0.5, 8.0)
    ['the far', 'line']
    >>> wrap("the far line", 0.5, 8.0, most=1)
    ['the…ine']
    """
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".lstrip()
        if text_width(longer, size, weight) <= width:
            lines[-1] = longer
            continue
        pieces = _pieces(word, width, size, weight)
        lines = [*lines, *pieces] if lines[-1] else [*lines[:-1], *pieces]
    if most is None or len(lines) <= most:
        return lines
    return [*lines[: most - 1], _cut(" ".join(lines[most - 1 :]), width, size, weight)]


def _pieces(word: str, width: float, size: float, weight: str) -> list[str]:
    """Break a word that is longer than a line."""
    pieces = [""]
    for letter in letters(word):
        if pieces[-1] and text_width(pieces[-1] + letter, size, weight) > width:
            pieces.append("")
        pieces[-1] += letter
    return pieces


def _cut(text: str, width: float, size: float, weight: str) -> str:
    """Take the middle out of a text: labels of one job mostly differ at their ends."""
    parted = letters(text)
    keep = len(parted)
    while True:
        head = "".join(parted[: (keep + 1) // 2]).rstrip()
        tail = "".join(parted[len(parted) - keep // 2 :]).lstrip()
        if not keep or text_width(f"{head}…{tail}", size, weight) <= width:
            return f"{head}…{tail}"
        keep -= 1


def told_apart(labels: Sequence[str], cut: Sequence[str]) -> list[str]:
    """Replace labels that were cut to the same text by what sets them apart.

    Parameters
    ----------
    labels : sequence of str
        Whole labels.
    cut : sequence of str
        The same, shortened.

    Returns
    -------
    list of str
        The shortened ones, unless two of them no longer differ.

    >>> told_apart(["line 1 up", "line 2 up"], ["li…up", "li…up"])
    ['…1…', '…2…']
    """
    if len(set(cut)) == len(set(labels)):
        return list(cut)
    whole = [letters(label) for label in labels]
    head = _alike(whole)
    tail = _alike([label[head:][::-1] for label in whole])
    return [f"…{''.join(label[head : len(label) - tail])}…" for label in whole]


def _alike(labels: Sequence[Sequence[str]]) -> int:
    """How many letters all labels begin with alike."""
    columns = zip(*labels, strict=False)
    return sum(1 for _ in takewhile(lambda letters: len(set(letters)) == 1, columns))


def spread_out(wanted: list[float], gap: float, low: float, high: float) -> list[float]:
    """Move positions apart to at least a gap, within limits, keeping their order.

    Parameters
    ----------
    wanted : list of float
        Where each would like to be, in any order. [in]
    gap : float
        Least distance between two. [in]
    low, high : float
        Where the first and the last may be; they must leave room for all. [in]

    Returns
    -------
    list of float
        In the order of `wanted`. [in]

    >>> spread_out([0.0, 0.1, 3.0], 1.0, 0.0, 3.0)
    [0.0, 1.0, 3.0]
    >>> spread_out([5.0, 4.0], 1.0, 0.0, 4.5)
    [4.5, 3.5]
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    placed = list(wanted)
    floor = low
    for i in order:
        placed[i] = max(placed[i], floor)
        floor = placed[i] + gap
    ceiling = high
    for i in reversed(order):
        placed[i] = min(placed[i], ceiling)
        ceiling = placed[i] - gap
    return placed


def joined(sentences: Iterable[str]) -> list[str]:
    """Say once what several sentences say after their last semicolon.

    Parameters
    ----------
    sentences : iterable of str
        Such as the warnings of a result.

    Returns
    -------
    list of str
        In the order in which each ending first came.

    >>> joined(["a: 2 mm; too low", "full", "b: 3 mm; too low", "full"])
    ['a: 2 mm, b: 3 mm; too low', 'full']
    """
    beginnings: dict[str, list[str]] = {}
    for sentence in dict.fromkeys(sentences):
        beginning, semicolon, ending = sentence.rpartition("; ")
        beginnings.setdefault(semicolon + ending, []).append(beginning)
    return [", ".join(begun) + ending for ending, begun in beginnings.items()]
