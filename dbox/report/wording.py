"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable

from dbox.notes import Note

WORDS: dict[str, Callable[[Note], str]] = {
    "diagnose: few boxes": lambda _: (
        "few of the drawn boxes fit: the probabilities are rough; take more --draws"
    ),
    "diagnose: placeholders": lambda _: (
        "placeholders stand for readings: the readings of the file are taken as not made"
    ),
    "diagnose: places": lambda _: (
        "places of outlets are not all given: they are taken to lie evenly around the box, "
        "clockwise from the inlet"
    ),
    "diagnose: spilt": lambda note: (
        f"pour {note.where}: {100 * _number(note, 'caught over poured'):.0f} % of what was poured "
        "was caught; a volume or a time is wrong"
    ),
}
"""What is said of each kind of note, in the order of their names."""


def sentences(notes: Iterable[Note]) -> list[str]:
    """Notes as sentences, repeated ones once."""
    return list(dict.fromkeys(WORDS[note.what](note) for note in notes))


def _number(note: Note, name: str) -> float:
    value = note.values[name]
    assert isinstance(value, float)
    return value
