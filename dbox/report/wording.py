"""Notes in words: each warning is worded once, here, for terminal, paper and JSON alike."""

from collections.abc import Callable, Iterable

from dbox.notes import Note
from dbox.units import LITRE, MINUTE


def _value(note: Note, key: str, unit: float = 1.0) -> float:
    """A number of a note, in a unit [SI]."""
    value = note.values[key]
    assert isinstance(value, float)
    return value / unit


def _names(note: Note, key: str) -> str:
    value = note.values[key]
    assert isinstance(value, tuple)
    return " and ".join(map(str, value))


WORDS: dict[str, Callable[[Note], str]] = {
    "surge: backs up": lambda _: (
        "the water in the box rises over the inlet's invert and backs up toward the tank; that it "
        "then comes more slowly is not computed"
    ),
    "surge: capillary": lambda note: (
        f"{_value(note, 'part', 0.01):.0f} % of the water passed at heads below "
        f"{_value(note, 'head', 1e-3):.0f} mm, where surface tension decides and weir formulas are "
        "out of their range"
    ),
    "surge: drowned": lambda note: (
        f"the trench of outlet {note.where} stands over its lip and drowns it"
    ),
    "surge: jet not computed": lambda _: (
        "the inlet is straight, but its jet is not computed: places of outlets are not given"
    ),
    "surge: jet strikes": lambda note: (
        f"at {_value(note, 'inflow', LITRE / MINUTE):.3g} L/min {note.values['jet']}"
    ),
    "surge: no supply": lambda _: "[supply] is not given: the water comes to the box without delay",
    "surge: no tank": lambda _: (
        "[tank] is not given: the water comes as it leaves the house, not smoothed by a tank"
    ),
    "surge: no trench": lambda _: (
        "[trench] is not given: every line takes what it gets, none can pond"
    ),
    "surge: overtops": lambda note: (
        f"the box overtops at its rim: {_value(note, 'volume', LITRE):.3g} L are spilled"
    ),
    "surge: soil invented": lambda note: (
        f"soil is {_names(note, 'states')}: how that changes the long-term acceptance rate is "
        "invented, not measured"
    ),
    "surge: supply full": lambda _: (
        "the supply pipe runs full: what flows is then decided by its head"
    ),
    "surge: surfaces": lambda note: (
        f"the trench of outlet {note.where} is full: {_value(note, 'volume', LITRE):.3g} L come to "
        "the surface"
    ),
}
"""What is said of each kind of note, in the order of their names."""


def sentences(notes: Iterable[Note | str]) -> list[str]:
    """Notes as sentences, repeated ones once; what is a sentence already stays as it is."""
    said = (note if isinstance(note, str) else WORDS[note.what](note) for note in notes)
    return list(dict.fromkeys(said))
