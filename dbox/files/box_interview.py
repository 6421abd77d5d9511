"""The questions that make a scenario where there is none, and the checks of their answers.

Each question has a key; its answer is text, checked at once and kept as typed, so that the
scenario written in the end says what the person said: `1-3/4 in`, not 44.45 mm. An empty answer,
Enter alone, is "left out" and stays out of the file: not measured, never zero. What cannot be
raises `ScenarioError` with a message that begins with `is` and ends with the mend.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.files.scenario import read
from dbox.files.scenario_tables import POINTS, UNITS
from dbox.files.toml_file import toml_text
from dbox.files.typed import opening_from_text
from dbox.hydraulics.openings import KINDS

Answers = Mapping[str, str]
Check = Callable[[str, Answers], str]
"""From what was typed and the answers so far to the text that is kept."""

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
    return _listed(text)


def _listed(text: str) -> list[str]:
    return [part.strip() for part in text.split(",") if part.strip()]


def _parts(text: str) -> list[str]:
    """Parts of a text that are separated by a comma or by x."""
    return _listed(text.replace("×", ",").replace("x", ","))


def _outlets(text: str, _: Answers) -> str:
    if text.isascii() and text.isdecimal():
        if not 1 <= int(text[:4]) <= MOST_OUTLETS or len(text) > 4:
            raise ScenarioError(f"is {show(text)}; this asks for 1 to {MOST_OUTLETS} outlets")
        return text
    names = [keys.label(part) for part in text.split(",")] if text else []
    if len({name.lower() for name in names}) < len(names):
        raise ScenarioError(f"is {show(text)}; give each outlet a name of its own")
    if len(names) == 1:
        raise ScenarioError(
            f"is {show(text)}; write how many there are, or their names with commas between"
        )
    return ", ".join(names)


def _capped(text: str, answers: Answers) -> str:
    labels = labels_of(answers)
    named = {outlet_named(part.strip(), labels) for part in text.split(",")} if text else set()
    if labels and len(named) == len(labels):
        raise ScenarioError(f"is {show(text)}; leave one open, so that water can leave")
    return ", ".join(labels[i] for i in sorted(named))


def _hole(text: str, answers: Answers) -> str:
    plain = " ".join(text.lower().split())
    if plain:
        opening_from_text(plain, None, answers["units"])
    return plain


def _as_typed(read_key: Callable[[str, str], object]) -> Check:
    """The check of what a reader of the scenario takes, with the unit of bare lengths."""

    def check(text: str, answers: Answers) -> str:
        if text:
            read_key(text, answers["units"])
        return text

    return check


def _offset(text: str, answers: Answers) -> str:
    fixed = text.lower() in _FIXED
    return "fixed" if fixed else _as_typed(keys.offset)(text, answers)


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
    parts = _parts(text)
    if len(parts) > 2:
        raise ScenarioError(f"is {show(text)}; write it as 16 in x 20 in, or one diameter")
    keys.each(parts, lambda part: keys.side(part, answers["units"]))
    return " x ".join(parts)


def _place(text: str, answers: Answers) -> str:
    parts = _parts(text)
    if text and len(parts) != 2:
        raise ScenarioError(
            f"is {show(text)}; write the distances along and across, as 16 in, 4 in"
        )
    keys.each(parts, lambda part: keys.place(part, answers["units"]))
    return ", ".join(parts)


def _point(text: str, _: Answers) -> str:
    return keys.choice("centre" if text == "center" else text, POINTS) if text else "lip"


def _write(text: str, _: Answers) -> str:
    if text.lower() not in ("", *YES):
        raise ScenarioError(f"is {show(text)}; press Enter to write it, or go back with undo")
    return "yes"


@dataclass(frozen=True)
class Topic:
    """What is asked under a key, or under each of those that begin with its name."""

    check: Check
    asks: str
    enter: str = ""  # What Enter alone means; empty where an answer is needed or it is told.


TOPICS = {
    "units": Topic(
        lambda text, _: keys.choice(text, UNITS) if text else "in",
        "Unit of lengths that you write without one: in, mm or cm.",
        "in",
    ),
    "title": Topic(lambda text, _: keys.text(text), "What is the job called?", "no name"),
    "outlets": Topic(
        _outlets,
        "Outlets, clockwise from the inlet as seen from above: how many, or their names with "
        "commas between.",
    ),
    "capped": Topic(_capped, "Which of them are capped?", "none"),
    "hole": Topic(
        _hole,
        "The hole that the water leaves through, the same at every outlet: circle 2 in, notch 90 "
        "deg, slot 1 in x 2 in, or pipe 4 in for a bare end.",
    ),
    "offset": Topic(
        _offset,
        "Can the inserts be turned? How far is the centre of the hole from the centre of its "
        "pipe, as 1/2 in; or fixed: cannot be turned.",
    ),
    "clock": Topic(
        _clock,
        "Where does the hole of each outlet stand now, as on a clock face seen from inside the "
        "box? 6:00 is straight down. skip: not known.",
    ),
    "inside": Topic(
        _inside,
        "Inside of the box, along the way the water comes in and across it, as 16 in x 20 in; one "
        "diameter if it is round. It tells which side to lift if the box must be bedded again.",
        "not measured",
    ),
    "place": Topic(
        _place,
        "Where is each outlet, from the left corner of the inlet wall: along the way the water "
        "comes in, then across it, as 16 in, 4 in.",
        "not measured",
    ),
    "point": Topic(
        _point, "Which point of the hole will you read: lip (lowest point), centre or top?", "lip"
    ),
    "spread": Topic(
        _as_typed(keys.spread),
        "Spread of your ruler: how far two honest readings of one hole differ. About 1/32 in at "
        "best, 1/16 in usual (common practice, no source).",
        "not stated",
    ),
    "tolerance": Topic(
        _as_typed(lambda text, _: keys.tolerance(text)),
        "How far may a line be off its share, in per cent of it, as 10 %? There is no general "
        "value: it comes from the permit, the code or the inspector.",
        "none",
    ),
    "source": Topic(
        lambda text, _: keys.text(text),
        "Who says so: permit number, code section or name?",
        "not named",
    ),
    "write": Topic(_write, "This is the scenario. Enter writes it; undo goes back.", "write it"),
}
"""Every question by the first word of its keys."""


def outlet_named(text: str, labels: list[str]) -> int:
    """Which outlet is meant by its label or, where no label is that, by its number.

    >>> outlet_named("2", ["north", "east"]), outlet_named("2", ["2", "1"])
    (1, 0)
    """
    lower = [label.lower() for label in labels]
    if text.lower() in lower:
        return lower.index(text.lower())
    if text.isascii() and text.isdecimal() and 1 <= int(text[:4]) <= len(labels):
        return int(text[:4]) - 1
    raise ScenarioError(f"is {show(text)}; the outlets are {', '.join(labels[:20])}")


NEEDED = ("outlets", "hole", "offset")
"""Questions that cannot be left out; the first clock position has to be given or skipped."""


def next_key(answers: Answers) -> str | None:
    """Key of the first question that is not answered; None where all are.

    >>> next_key({"units": "in", "title": ""})
    'outlets'
    """
    return next((key for key in keys_asked(answers) if key not in answers), None)


def keys_asked(answers: Answers) -> Iterator[str]:
    """Keys of the questions that these answers lead to, in order."""
    yield from ("units", "title", "outlets", "capped", "hole")
    labels = labels_of(answers)
    if answers.get("hole", "circle").lower().startswith("circle"):
        yield "offset"
    if answers.get("offset", "") not in ("", "fixed"):
        capped = _listed(answers.get("capped", ""))
        yield from (f"clock {label}" for label in labels if label not in capped)
    yield "inside"
    if answers.get("inside"):
        yield from (f"place {label}" for label in labels)
    yield from ("point", "spread", "tolerance")
    if answers.get("tolerance"):
        yield "source"
    yield "write"


def check(key: str, text: str, answers: Answers) -> str:
    """Check an answer and bring it to the form that is kept."""
    topic = key.partition(" ")[0]
    kept = TOPICS[topic].check(text.strip(), answers)
    if topic in NEEDED and not kept:
        raise ScenarioError("is empty; this one is needed")
    told = {**answers, key: kept}
    if "hole" in told:
        scenario_text(told)
    return kept


def scenario_text(answers: Answers) -> str:
    """The scenario that the answers make."""
    kind, _, sizes = answers["hole"].partition(" ")
    offset, inside = answers.get("offset"), _parts(answers.get("inside", ""))
    capped = _listed(answers.get("capped", ""))
    document = _given(
        title=answers.get("title"),
        units=answers.get("units", "in"),
        box=inside and {"shape": "rectangle" if len(inside) == 2 else "round", "inside": inside},
        insert={
            "kind": kind,
            **dict(zip(KINDS[kind].sizes(), _parts(sizes), strict=False)),
            **_given(offset=None if offset == "fixed" else offset),
        },
        readings=_given(point=answers.get("point"), spread=answers.get("spread")),
        outlet=[
            _given(
                label=label,
                at=_parts(answers.get(f"place {label}", "")),
                clock=answers.get(f"clock {label}"),
                state="capped" if label in capped else "",
            )
            for label in labels_of(answers)
        ],
        tolerance=_given(share=answers.get("tolerance"), source=answers.get("source")),
    )
    read(document)
    return _HEAD + toml_text(document)


_HEAD = """\
# Written by the questions of `dbox setup`. Its readings are in the
# log next to it. Equal shares are wanted and the default flows are
# computed, unless you add [target] and [flows]; `dbox new` shows all.

"""


def _given(**values: Any) -> dict[str, Any]:
    """The values that are not left out."""
    return {key: value for key, value in values.items() if value}
