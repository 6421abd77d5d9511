"""Can that be an answer about the box? One check for each question of the interview.

A check takes what was typed, empty where Enter was pressed alone, and the answers so far; it gives
the text that is kept, empty where the answer is left out. What cannot be raises `ScenarioError`
with a message that begins with `is` and ends with the mend.
"""

from collections.abc import Callable, Mapping

from dbox.errors import ScenarioError
from dbox.files import measures, units
from dbox.files.faults import show
from dbox.files.phrases import opening_from_text
from dbox.files.tables import POINTS, UNITS

Answers = Mapping[str, str]

MOST_OUTLETS = 20
"""A box with more is written as a file."""

YES = ("yes", "y", "ok", "done")
"""What people type for yes, wherever a question can be answered so."""

_FIXED = ("fixed", "none", "no", "cannot be turned", "0")


def labels_of(answers: Answers) -> list[str]:
    """Labels of the outlets, clockwise from the inlet.

    >>> labels_of({"outlets": "3"}), labels_of({"outlets": "north, east"})
    (['1', '2', '3'], ['north', 'east'])
    """
    text = answers.get("outlets", "")
    if text.isdecimal():
        return [str(number) for number in range(1, int(text) + 1)]
    return [part.strip() for part in text.split(",") if part.strip()]


def capped_of(answers: Answers) -> list[str]:
    """Labels of the outlets that are capped."""
    return [part.strip() for part in answers.get("capped", "").split(",") if part.strip()]


def parts_of(text: str) -> list[str]:
    """Parts of a text that are separated by a comma or by x."""
    parts = text.replace("×", "x").replace(",", "x").split("x")
    return [part.strip() for part in parts if part.strip()]


def _units(text: str, _: Answers) -> str:
    return measures.choice(text, UNITS) if text else "in"


def _title(text: str, _: Answers) -> str:
    return measures.text(text)


def _outlets(text: str, _: Answers) -> str:
    if text.isascii() and text.isdecimal():
        if not 1 <= int(text[:4]) <= MOST_OUTLETS or len(text) > 4:
            raise ScenarioError(f"is {show(text)}; this asks for 1 to {MOST_OUTLETS} outlets")
        return text
    names = [measures.name(part) for part in text.split(",")] if text else []
    if len({name.lower() for name in names}) < len(names):
        raise ScenarioError(f"is {show(text)}; give each outlet a name of its own")
    if len(names) == 1:
        raise ScenarioError(
            f"is {show(text)}; write how many there are, or their names with commas between"
        )
    return ", ".join(names)


def _capped(text: str, answers: Answers) -> str:
    labels = labels_of(answers)
    named = [outlet_named(part.strip(), labels) for part in text.split(",")] if text else []
    if labels and len(set(named)) == len(labels):
        raise ScenarioError(f"is {show(text)}; leave one open, so that water can leave")
    return ", ".join(labels[i] for i in sorted(set(named)))


def _hole(text: str, answers: Answers) -> str:
    if not text:
        return ""
    plain = " ".join(text.lower().split())
    opening_from_text(plain, None, answers["units"])
    return plain


def _offset(text: str, answers: Answers) -> str:
    if text.lower() in _FIXED:
        return "fixed"
    if text:
        measures.offset(text, answers["units"])
    return text


def clock_before(answers: Answers) -> str:
    """The last clock position that was given; empty where there is none."""
    given = [value for key, value in answers.items() if key.startswith("clock ") and value]
    return given[-1] if given else ""


def _clock(text: str, answers: Answers) -> str:
    if not (text or clock_before(answers)):
        raise ScenarioError("is empty; write a clock position, or skip where it is not known")
    if text:
        units.clock(text)
    return text or clock_before(answers)


def _inside(text: str, answers: Answers) -> str:
    parts = parts_of(text)
    if len(parts) > 2:
        raise ScenarioError(f"is {show(text)}; write it as 16 in x 20 in, or one diameter")
    measures.each(parts, lambda part: measures.side(part, answers["units"]))
    return " x ".join(parts)


def _place(text: str, answers: Answers) -> str:
    parts = parts_of(text)
    if text and len(parts) != 2:
        raise ScenarioError(
            f"is {show(text)}; write the distances along and across, as 16 in, 4 in"
        )
    measures.each(parts, lambda part: measures.place(part, answers["units"]))
    return ", ".join(parts)


def _point(text: str, _: Answers) -> str:
    return measures.choice("centre" if text == "center" else text, POINTS) if text else "lip"


def _spread(text: str, answers: Answers) -> str:
    if text:
        measures.spread(text, answers["units"])
    return text


def _tolerance(text: str, _: Answers) -> str:
    if text:
        measures.tolerance(text)
    return text


def _write(text: str, _: Answers) -> str:
    if text.lower() not in ("", *YES):
        raise ScenarioError(f"is {show(text)}; press Enter to write it, or go back with undo")
    return "yes"


CHECKS: dict[str, Callable[[str, Answers], str]] = {
    "units": _units,
    "title": _title,
    "outlets": _outlets,
    "capped": _capped,
    "hole": _hole,
    "offset": _offset,
    "clock": _clock,
    "inside": _inside,
    "place": _place,
    "point": _point,
    "spread": _spread,
    "tolerance": _tolerance,
    "source": _title,
    "write": _write,
}


def outlet_named(text: str, labels: list[str]) -> int:
    """Which outlet is meant by its label or, where no label is that, by its number.

    Parameters
    ----------
    text : str
        As typed.
    labels : list of str
        Labels of all outlets, in order.

    Returns
    -------
    int
        Counted from 0.

    Raises
    ------
    ScenarioError
        Where there is no such outlet.

    >>> outlet_named("2", ["north", "east"]), outlet_named("2", ["2", "1"])
    (1, 0)
    """
    lower = [label.lower() for label in labels]
    if text.lower() in lower:
        return lower.index(text.lower())
    if text.isascii() and text.isdecimal() and 1 <= int(text[:4]) <= len(labels):
        return int(text[:4]) - 1
    raise ScenarioError(f"is {show(text)}; the outlets are {', '.join(labels[:20])}")
