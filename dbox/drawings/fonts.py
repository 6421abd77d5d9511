"""Fonts of this machine that have a letter, and what stands in for one that none has.

Drawings are set in DejaVu Sans, which comes with matplotlib. What it lacks is taken from whatever
fonts are installed; what those lack too is drawn as a mark in its place, and warned of.
"""

import warnings
from collections.abc import Iterable, Sequence
from dataclasses import replace
from functools import cache, lru_cache
from operator import attrgetter
from typing import NamedTuple
from unicodedata import category

import numpy as np
import numpy.typing as npt
from matplotlib.axis import Axis
from matplotlib.figure import Figure
from matplotlib.font_manager import (
    FontEntry,
    FontProperties,
    findfont,
    findSystemFonts,
    fontManager,
    get_font,
)
from matplotlib.ft2font import FaceFlags, FT2Font
from matplotlib.text import Text

from dbox.errors import LetterWarning
from dbox.report.text import letters

BASE = "DejaVu Sans"
"""The font of every drawing."""

SUBSTITUTE = "\ufffd"
"""The replacement character, which stands for one that cannot be shown (The Unicode Standard,
chapter 23, Specials)."""

WEIGHTS = {"normal": 400, "bold": 700}
"""Weights that the drawings use, as fonts number them (OpenType, table OS/2, usWeightClass)."""

_MEASURED_AT = 1000.0
_NO_LETTERS = "Last Resort"
"""Fonts so named draw boxes for what they lack; they are for debugging."""

_SELECTORS = tuple(map(chr, range(0xFE00, 0xFE10)))
"""Variation selectors, which like joiners choose a shape and have none of their own (The Unicode
Standard, chapter 23, Variation Selectors)."""

_OURS = "dbox: "
"""Before the name of a font that is called up for its letters."""


class Face(NamedTuple):
    """One file of letters, by the name that drawings call it by; its codes are in order."""

    family: str
    entry: FontEntry
    codes: npt.NDArray[np.uint32]

    def has(self, letter: str) -> bool:
        """Whether it draws a letter with ink; fonts of coloured pictures leave an empty frame."""
        signs = np.array([*map(ord, letter)], np.uint32)
        places = np.searchsorted(self.codes, signs).clip(max=self.codes.size - 1)
        if not np.array_equal(self.codes[places], signs):
            return False
        glyph = _opened(self.entry.fname, self.entry.index).load_char(ord(letter[0]))
        return glyph.width > 0 and glyph.height > 0


def drawable(text: str, weight: str = "normal") -> str:
    """Text as it can be drawn here: a mark in place of each letter that no font has.

    >>> drawable("line \\ue000")
    'line \ufffd'
    """
    return "".join(_drawn(letter, weight) for letter in letters(text))


def advance(letter: str, weight: str) -> float:
    """Width of a letter, or of what stands in for it, over the size of the letters. [-]"""
    return sum(_advance(drawn, weight) for drawn in letters(_drawn(letter, weight)))


def families(text: str, weight: str = "normal") -> list[str]:
    """Names of the fonts that a text needs, that of every drawing first.

    >>> families("line 1")
    ['DejaVu Sans']
    """
    found = (_family(letter, weight) for letter in letters(text))
    return [*dict.fromkeys([BASE, *(family for family in found if family)])]


def write_on(artist: Text, words: str) -> list[str]:
    """Have an artist say words in the fonts that have them."""
    weight = "bold" if artist.get_fontweight() == "bold" else "normal"
    drawn = drawable(words, weight)
    artist.set_text(drawn)
    artist.set_fontfamily(families(drawn, weight))
    return _left_out(words, weight)


def use_fonts(figures: Iterable[Figure]) -> None:
    """Set every word of figures in fonts that have its letters, and warn of those that none has."""
    missing: dict[str, None] = {}
    for figure in figures:
        for axes in filter(attrgetter("axison"), figure.axes):
            for axis in (axes.xaxis, axes.yaxis):
                missing |= dict.fromkeys(_name_ticks(axis))
        for artist in figure.findobj(Text):
            if isinstance(artist, Text) and not artist.get_text().isascii():
                missing |= dict.fromkeys(write_on(artist, artist.get_text()))
    if missing:
        warnings.warn(LetterWarning(_told(list(missing))), stacklevel=3)


def _name_ticks(axis: Axis) -> list[str]:
    """Letters left out beside an axis; its names are written anew whenever it is drawn."""
    left_out = write_on(axis.label, axis.label.get_text())
    artists = axis.get_ticklabels()
    names = [artist.get_text() for artist in artists]
    drawn = [drawable(name) for name in names]
    if drawn != names:
        axis.set_ticklabels(drawn)
    for artist in artists:
        artist.set_fontfamily(families(artist.get_text()))
    return [*left_out, *(letter for name in names for letter in _left_out(name))]


def _told(left_out: Sequence[str]) -> str:
    codes = ", ".join(
        f"{letter} ({' '.join(f'U+{ord(sign):04X}' for sign in letter)})"
        for letter in left_out[:_MOST_TOLD]
    )
    more = f" and {len(left_out) - _MOST_TOLD} more" if len(left_out) > _MOST_TOLD else ""
    return (
        f"no font here has {codes}{more}; {SUBSTITUTE} is drawn instead; install a font that has "
        f"{'it' if len(left_out) == 1 else 'them'}"
    )


_MOST_TOLD = 8
"""Letters that a warning names: judgement."""


def _left_out(words: str, weight: str = "normal") -> list[str]:
    """The letters that are drawn as the substitute, or that lose a mark to it."""
    return [
        letter
        for letter in letters(words)
        if SUBSTITUTE in _drawn(letter, weight) and SUBSTITUTE not in letter
    ]


@cache
def _drawn(letter: str, weight: str) -> str:
    """A letter with its marks, or what stands in for it and for those that it cannot carry."""
    if letter == "\n" or _family(letter, weight):
        return letter
    first, marks = letter[0], letter[1:]
    done, last = "", first if _family(first, weight) else _stand_in(first)
    for mark in marks:
        if last and _family(last + mark, weight):
            last += mark
        else:
            done, last = done + last, _stand_in(mark)
    return done + last


def _stand_in(sign: str) -> str:
    """A blank for a blank, nothing for what has no shape of its own, else the substitute."""
    kind = category(sign)
    if kind == "Zs":
        return " "
    return "" if kind == "Cf" or sign in _SELECTORS else SUBSTITUTE


@cache
def _family(letter: str, weight: str) -> str | None:
    """Name of the font that draws a letter and all its marks; None where no font has them.

    Only one font sets a mark where it belongs on its letter.
    """
    base = get_font(_base(weight))
    if all(base.get_char_index(ord(sign)) for sign in letter):
        return BASE
    # no two fonts agree on what a letter for private use means
    if letter == "\n" or any(category(sign) == "Co" for sign in letter):
        return None
    face = next((face for face in _faces(weight) if face.has(letter)), None)
    if face is None:
        return None
    _call_up(face, weight)
    return face.family


@cache
def _advance(letter: str, weight: str) -> float:
    """Width of a letter that some font has, over the size of the letters. [-]"""
    family = _family(letter, weight)
    if family == BASE:
        font = get_font(_base(weight))
    else:
        entry = next(face.entry for face in _faces(weight) if face.family == family)
        font = _opened(entry.fname, entry.index)
    font.set_size(_MEASURED_AT, 72.0)
    wide = sum(font.load_char(ord(sign)).linearHoriAdvance for sign in letter)
    return wide / 65536 / _MEASURED_AT


@cache
def _base(weight: str) -> str:
    return findfont(FontProperties(family=[BASE], weight=weight))


@lru_cache(8)
def _opened(file: str, index: int) -> FT2Font:
    return FT2Font(file, face_index=index)


@cache
def _faces(weight: str) -> tuple[Face, ...]:
    """Every upright font but the base, the likeliest to suit it first.

    Outlines before coloured pictures, plain strokes before serifs, and of those the fonts with the
    most letters, so that a line of one script is not patched from several.
    """
    faces = []
    for entry in _entries():
        try:
            font = _opened(entry.fname, entry.index)
        except (OSError, RuntimeError):
            # gone since matplotlib last looked, or no font at all
            continue
        codes = np.array(sorted(font.get_charmap()), np.uint32)
        if not codes.size:
            continue
        rank = (
            bool(font.face_flags & FaceFlags.COLOR),
            "sans" not in entry.name.lower(),
            -codes.size // 1000,
            entry.name,
            abs(int(entry.weight) - WEIGHTS[weight]),
            entry.fname,
        )
        name = f"{_OURS}{entry.name} {entry.weight} for {weight}"
        faces.append((rank, Face(name, entry, codes)))
    return tuple(face for _, face in sorted(faces, key=lambda pair: pair[0]))


@cache
def _entries() -> tuple[FontEntry, ...]:
    """Upright fonts that matplotlib knows, those among them that came since it last looked."""
    known = {entry.fname for entry in fontManager.ttflist}
    for path in sorted({*findSystemFonts()} - known):
        try:
            fontManager.addfont(path)
        except (OSError, RuntimeError):
            # a file that is no font, or one without outlines
            continue
    upright = [e for e in fontManager.ttflist if e.style == "normal" and e.name != BASE]
    files = {(e.fname, e.index): e for e in upright if not e.name.startswith((_OURS, _NO_LETTERS))}
    return tuple(files.values())


def _call_up(face: Face, weight: str) -> None:
    """Make a font known by a name of ours: matplotlib complains of a weight that a family lacks."""
    if face.family not in {entry.name for entry in fontManager.ttflist}:
        fontManager.ttflist.append(replace(face.entry, name=face.family, weight=WEIGHTS[weight]))
