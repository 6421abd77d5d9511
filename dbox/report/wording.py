"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable

from dbox.notes import Note

WORDS: dict[str, Callable[[Note], str]] = {
    "lesson: heads out of range": lambda _: (
        "many of these heads lie outside those at which the coefficients were measured, and below "
        "5 mm surface tension decides: take the order of the openings, not the last digit"
    ),
}
"""What is said of each kind of note, in the order of their names."""


def sentences(notes: Iterable[Note]) -> list[str]:
    """Notes as sentences, repeated ones once."""
    return list(dict.fromkeys(WORDS[note.what](note) for note in notes))
