"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable

from dbox.notes import Note

WORDS: dict[str, Callable[[Note], str]] = {}
"""What is said of each kind of note, in the order of their names."""


def sentences(notes: Iterable[Note]) -> list[str]:
    """Notes as sentences, repeated ones once."""
    return list(dict.fromkeys(WORDS[note.what](note) for note in notes))
