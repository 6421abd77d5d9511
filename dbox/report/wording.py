"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable
from typing import Any

from dbox.notes import Note
from dbox.units import FOOT


def _late(note: Note) -> str:
    of: dict[str, Any] = dict(note.values)
    jugs = f" and filling the jug at one outlet after another {of['filling']:.0f} s"
    return (
        f"{note.where}: the pour lasts {of['lasts']:.0f} s, the level takes about "
        f"{of['settling']:.0f} s to be steady{jugs if of['filling'] else ''}; pour longer, or "
        "catch at several at once"
    )


def _mm(note: Note, key: str, digits: int = 0) -> str:
    """A length of a note. [m]"""
    length: Any = note.values[key]
    return f"{1000 * length:.{digits}f} mm"


def _spacing(note: Note) -> str:
    spacing: Any = note.values["spacing"]
    return f"{spacing / FOOT:.3g} ft ({note.values['source']})"


WORDS: dict[str, Callable[[Note], str]] = {
    "grades: entered drop": lambda note: (
        f"the box's inlet drop is entered as {_mm(note, 'entered')}; by the rod it is "
        f"{_mm(note, 'read')} over outlet {note.where}"
    ),
    "grades: no diameter": lambda note: (
        f"{note.where}: no pipe diameter, so whether it is flatter than critical is not known"
    ),
    "grades: no spread": lambda note: (
        f"no spread stated: one rod reading is taken to be good to {_mm(note, 'spread', 1)} "
        "(1/8 in, common practice)"
    ),
    "grades: runs full": lambda note: (
        f"{note.where}: {note.values['flow']} is more than it carries with a free surface; it "
        "runs full"
    ),
    "grades: stations far apart": lambda note: (
        f"{note.where}: stations farther apart than about {_spacing(note)}; a belly between them "
        "is not seen"
    ),
    "pour: order": lambda note: (
        f"{note.where}: outlet {note.values['started']} started before outlet "
        f"{note.values['waited']}, though its lip was read {_mm(note, 'rise', 1)} higher; read "
        "both again"
    ),
    "pour: too short": _late,
}
"""What is said of each kind of note, in the order of their names."""


def sentences(notes: Iterable[Note | str]) -> list[str]:
    """Notes as sentences, repeated ones once; what is a sentence already stays as it is."""
    worded = (note if isinstance(note, str) else WORDS[note.what](note) for note in notes)
    return list(dict.fromkeys(worded))
