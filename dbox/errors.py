"""The errors that the package raises on purpose, and how a fault is worded.

Each is also the builtin error a caller would expect, so `except ValueError` works.

Every fault reads `place is value; mend`, so that the person sees what to change without opening a
manual. The reader of a value knows the value and the mend; whoever called it knows the place and
puts it in front with `at_place`.
"""

import difflib
from collections.abc import Iterable


class DboxError(Exception):
    """Base of every error raised on purpose."""


class ScenarioError(DboxError, ValueError):
    """What a person wrote cannot be read; carries every fault found, not only the first.

    Parameters
    ----------
    faults : sequence of str
        One line per fault: where it is, the value as written, and the mend.
    """

    def __init__(self, *faults: str) -> None:
        super().__init__("\n".join(faults))
        self.faults: tuple[str, ...] = faults


class DomainError(DboxError, ValueError):
    """A number that has no physical meaning where it was given."""


class SolveError(DboxError, RuntimeError):
    """A solver that did not reach its tolerance; the message gives bracket and residual."""


class LetterWarning(UserWarning):
    """Letters of a title or label that no font of this machine has, so that a mark is drawn."""


class CellWarning(UserWarning):
    """Text that was made harmless before it was written to a table."""


LONGEST_SHOWN = 40
"""Characters of a value or a key that a fault repeats before it is cut short."""

LARGEST_INTEGER_SHOWN = 10**LONGEST_SHOWN


def shorten(text: str, longest: int = LONGEST_SHOWN) -> str:
    r"""Make text safe to print on one line: cut short, control characters spelled out.

    >>> shorten("bell\a")
    'bell\\x07'
    """
    # spelled out before it is cut: a spelled character takes up to ten places
    plain = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in text[: longest + 1])
    return plain if len(plain) <= longest else plain[:longest] + "..."


def show(value: object) -> str:
    """Write a value the way it stands in the file, or say what it is where that would be long.

    >>> show("13/16/2 in"), show('1 3/16"'), show(True), show([1, 2])
    ('"13/16/2 in"', '\\'1 3/16"\\'', 'true', 'a list')
    """
    if isinstance(value, str):
        quote = "'" if '"' in value else '"'
        return f"{quote}{shorten(value)}{quote}"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) >= LARGEST_INTEGER_SHOWN:
        return f"a whole number of {value.bit_length()} bits"
    if isinstance(value, int | float):
        return str(value)
    if isinstance(value, list | tuple):
        return "a list"
    if isinstance(value, dict):
        return "a table"
    return shorten(str(value))


def key_text(key: str) -> str:
    """Write a key of the file, in quotes where TOML asks for them.

    >>> key_text("reading"), key_text("first pour")
    ('reading', '"first pour"')
    """
    plain = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return shorten(key) if plain else show(key)


def closest(word: str, known: Iterable[str]) -> str | None:
    """Find the known word that a misspelt one is closest to; None where none is close.

    >>> closest("diamter", ["diameter", "angle"])
    'diameter'
    """
    found = difflib.get_close_matches(word[:LONGEST_SHOWN].lower(), list(known), n=1)
    return found[0] if found else None


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Name the closest known word, or list them all where none is close.

    >>> did_you_mean("diamter", ["diameter", "angle"])
    'did you mean diameter?'
    >>> did_you_mean("xyz", ["open", "capped"])
    'use open or capped'
    """
    words = list(known)
    close = closest(word, words)
    return f"did you mean {close}?" if close else f"use {any_of(words)}"


def any_of(words: Iterable[str]) -> str:
    """Join words as a person would.

    >>> any_of(["in", "mm", "cm"])
    'in, mm or cm'
    """
    *most, last = words
    return f"{', '.join(most)} or {last}" if most else last


def outlets_text(labels: Iterable[str]) -> str:
    """Name one outlet or several as a person would.

    >>> outlets_text(["2"]), outlets_text(["2", "3"]), outlets_text("135")
    ('outlet 2', 'outlets 2 and 3', 'outlets 1, 3 and 5')
    """
    *most, last = labels
    return f"outlets {', '.join(most)} and {last}" if most else f"outlet {last}"


def at_place(place: str, fault: str) -> str:
    """Put the place before a fault, which begins with `is` or goes deeper: `[2] is`, `.dose is`.

    >>> at_place("outlet[3].reading", 'is "5"; give its unit')
    'outlet[3].reading is "5"; give its unit'
    """
    return f"{place}{fault}" if fault.startswith(("[", ".")) else f"{place} {fault}"
