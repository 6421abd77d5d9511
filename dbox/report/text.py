"""Text at 72 columns or fewer: width in columns, names cut short, wrapped lines, bars and notes."""

import re
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import takewhile
from unicodedata import category, east_asian_width

from dbox.units import DAY, HOUR, MINUTE

WIDTH = 72
"""Columns that a report fills at most."""

_LEAST = 24
"""Columns that a report is set in at least: judgement."""

_columns = ContextVar("columns", default=WIDTH)

TOGETHER = "\u00a0"
"""A blank at which words are not parted."""

CUT = "…"
"""Stands where a name was cut short."""

_JOINER = "\u200d"
_SKINS = tuple(map(chr, range(0x1F3FB, 0x1F400)))
"""Skin tones, which colour the emoji before them (Unicode Technical Standard 51)."""

_ON_A_LETTER = ("Mn", "Mc", "Me", "Cf")
"""Marks, joiners and selectors, as Unicode's General Category names them."""


def letters(text: str) -> list[str]:
    """Part a text into letters, each with the marks that are set on it.

    >>> [len(letter) for letter in letters("e\u0301te")]
    [2, 1, 1]
    """
    parted: list[str] = []
    for sign in text:
        joins = category(sign) in _ON_A_LETTER or sign in _SKINS
        if parted and parted[-1] != "\n" and (joins or parted[-1][-1] == _JOINER):
            parted[-1] += sign
        else:
            parted.append(sign)
    return parted


def moment(at: str) -> str:
    """A time as ISO 8601 as a person writes it.

    >>> moment("2025-05-06T09:30:00+02:00")
    '2025-05-06 09:30'
    """
    return at[:16].replace("T", " ")


def cells(text: str) -> int:
    """Columns of a terminal that a text fills: two for a wide letter, none for a mark on one.

    Unicode Standard Annex 11, East Asian Width.

    >>> cells("line 1"), cells("水"), cells("e\u0301")
    (6, 2, 1)
    """
    if text.isascii():
        return len(text)
    wide = (1 + (east_asian_width(letter[0]) in "FW") for letter in letters(text)
            if category(letter[0]) not in _ON_A_LETTER)  # fmt: skip
    return sum(wide)


def padded(text: str, width: int, align: str = "left") -> str:
    """Fill a text with blanks to a width in columns."""
    blanks = " " * (width - cells(text))
    return blanks + text if align == "right" else text + blanks


def shortened(names: Sequence[str], fits: Callable[[str], bool]) -> list[str]:
    """Cut the names of one box to what fits, at words where that can be done, and keep them apart.

    A name that fits stays whole. Names that would be cut to the same text keep what differs, and
    those that have no room even for that are told by their places.

    >>> shortened(["barn", "far end of the barn", "shed"], lambda name: len(name) <= 8)
    ['barn', 'far end…', 'shed']
    >>> shortened(["trench by the barn 1", "trench by the barn 12"], lambda name: len(name) <= 10)
    ['trench…1', 'trench…12']
    """
    each = list(dict.fromkeys(names))
    short = dict(zip(each, _told_apart(each, fits), strict=True))
    count = Counter(short.values())
    for place, name in enumerate(each, start=1):
        if count[short[name]] > 1 or not fits(short[name]):
            short[name] = f"#{place}"
    return [short[name] for name in names]


def _told_apart(names: Sequence[str], fits: Callable[[str], bool]) -> list[str]:
    """Cut names to what fits; those that are then alike may be left so."""
    short = {name: name if fits(name) else _begun(name, fits) for name in names}
    for text, count in Counter(short.values()).items():
        if count > 1:
            alike = [name for name in names if short[name] == text]
            short |= zip(alike, _by_difference(alike, fits), strict=True)
    return [short[name] for name in names]


def _begun(name: str, fits: Callable[[str], bool]) -> str:
    """As many words from the beginning as fit, or letters where not even one word does."""
    for parts, blank in ((name.split(), " "), (letters(name), "")):
        for keep in range(len(parts) - 1, 0, -1):
            if fits(text := blank.join(parts[:keep]).rstrip(" ,;:") + CUT):
                return text
    return CUT


def _by_difference(names: Sequence[str], fits: Callable[[str], bool]) -> list[str]:
    """What differs between names, by words if they do there; before it what they begin with."""
    words = [name.split() for name in names]
    parted, blank = (words, " ") if _alike(words) else ([letters(name) for name in names], "")
    head = _alike(parted)
    tail = _alike([parts[head:][::-1] for parts in parted])
    end = CUT if tail else ""
    rests = [blank.join(parts[head : len(parts) - tail]) for parts in parted]
    if not (head or tail):
        return list(names)
    cut = _told_apart(rests, lambda rest: fits(f"{CUT}{rest}{end}"))
    for keep in range(head, 0, -1):
        begun = blank.join(parted[0][:keep]).rstrip(" ,;:")
        texts = [f"{begun}{CUT}{rest}{end}" for rest in cut]
        if all(map(fits, texts)):
            return texts
    return [f"{CUT}{rest}{end}" for rest in cut]


def _alike(names: Sequence[Sequence[str]]) -> int:
    """How many parts all names begin with alike."""
    columns = zip(*names, strict=False)
    return sum(1 for _ in takewhile(lambda parts: len(set(parts)) == 1, columns))


@contextmanager
def narrowed(columns: int) -> Iterator[None]:
    """Set reports for a terminal of so many columns, where it has fewer than `WIDTH`."""
    before = _columns.set(max(min(columns, WIDTH), _LEAST))
    try:
        yield
    finally:
        _columns.reset(before)


def line_width() -> int:
    """Columns that lines are broken to."""
    return _columns.get()


def wrapped(text: str, *, first: str = "", indent: str = "", width: int = 0) -> list[str]:
    """Break a sentence to lines of at most a width in columns, that of reports unless told."""
    width = width or line_width()
    lines, line, used = [], first, cells(first)
    begun = False
    for blanks, whole in re.findall(r"([ \t\n]*)([^ \t\n]+)", text):
        for word in _pieces(whole, width - cells(indent)):
            wide = cells(word)
            if begun and used + len(blanks) + wide > width:
                lines.append(line)
                line, used, begun = indent, cells(indent), False
            blank = " " * len(blanks) if begun or not lines else ""
            line, used, begun = f"{line}{blank}{word}", used + len(blank) + wide, True
            blanks = ""
    return [each.replace(TOGETHER, " ") for each in (*lines, *[line] * begun)]


def fitted(line: str, *, first: str = "", indent: str = "", width: int = 0) -> list[str]:
    """A line as it stands, blanks and all, or wrapped where it is too long."""
    if cells(first + line) <= (width or line_width()):
        return [first + line]
    return wrapped(re.sub(" +", " ", line), first=first, indent=indent, width=width)


def _pieces(word: str, width: int) -> Iterator[str]:
    """Break a word that is longer than a line; never a path, which is there to be copied."""
    if cells(word) <= width or "/" in word or "\\" in word:
        yield word
        return
    piece = ""
    for letter in letters(word):
        if piece and cells(piece + letter) > width:
            yield piece
            piece = ""
        piece += letter
    yield piece


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
