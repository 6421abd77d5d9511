"""The questions that make a scenario where there is none, and the checks of their answers.

Each question has a key; its answer is text, checked at once and kept as typed, so that the
scenario written in the end says what the person said: `1-3/4 in`, not 44.45 mm. An empty answer,
Enter alone, is "left out" and stays out of the file: not measured, never zero. What cannot be
raises `ScenarioError` with a message that begins with `is` and ends with the mend.
"""

import re
import tomllib
from collections.abc import Callable, Iterator, Mapping
from importlib import resources
from math import cos, sin
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork.site import INLETS, INLETS_WITH_AIR, UNLIKE
from dbox.files.scenario import read
from dbox.files.scenario_tables import POINTS, UNITS, OutletTable, point
from dbox.files.toml_file import toml_text
from dbox.files.typed import opening_from_text
from dbox.hydraulics.openings import KINDS
from dbox.keys import Reader, keys_of

Answers = Mapping[str, str]
Check = Callable[[str, Answers], str]
"""From what was typed and the answers so far to the text that is kept."""

MOST_OUTLETS = 20
"""A box with more is written as a file."""

YES = ("yes", "y", "ok", "okay", "yep", "yeah", "sure", "done")
NO = ("no", "n", "nope")
NOT_KNOWN = ("skip", "none", "idk", "don't know", "dont know", "not known", "unknown", "n/a", "na")
"""What people type for yes, for no and for what they do not know, wherever that can be answered."""

_FIXED = ("fixed", "none", "no", "cannot be turned", "0")
_OTHER_ANSWER = re.compile(r"[0-9]{1,2}(:[0-9]{2})?|[-+0-9./ ]+\s*(in|mm|cm|%|\"|gpm)")
_UNIT_WORDS = {"inch": "in", "inches": "in", '"': "in", "millimeters": "mm", "centimeters": "cm"}
_HOLE_WORDS = {"round": "circle", "hole": "circle", "v-notch": "notch", "bare": "pipe"}
"""Other words for a hole; where two of them stand, the first one counts."""


def labels_of(answers: Answers) -> list[str]:
    """Labels of the outlets, clockwise from the inlet.

    >>> labels_of({"outlets": "3"}), labels_of({"outlets": "north, east"})
    (['1', '2', '3'], ['north', 'east'])
    """
    text = answers.get("outlets", "")
    if text.isdecimal():
        return [str(number) for number in range(1, int(text) + 1)]
    return _listed(text)


def standing(answers: Answers) -> dict[str, str]:
    """The answers but for those that were given for other outlets, which are asked anew."""
    labels, counts = labels_of(answers), (0, 1, len(labels_of(answers)))
    return {
        key: text
        for key, text in answers.items()
        if not (key == "capped" and not set(_listed(text)) <= set(labels))
        and not (key in ("lengths", "target") and len(_listed(text)) not in counts)
    }


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
        mend = "write how many there are, or their names with commas between"
        raise ScenarioError(f"is {show(text)}; {mend}")
    return ", ".join(names)


def _capped(text: str, answers: Answers) -> str:
    labels = labels_of(answers)
    named = {outlet_named(part.strip(), labels) for part in text.split(",")} if text else set()
    if labels and len(named) == len(labels):
        raise ScenarioError(f"is {show(text)}; leave one open, so that water can leave")
    return ", ".join(labels[i] for i in sorted(named))


def _hole(text: str, answers: Answers) -> str:
    """An opening, its kind before or after its sizes; a size alone is that of a round hole."""
    words = units.clean(units.said_number(text)).replace("v notch", "notch").split()
    kinds = [kind for word in words if (kind := _HOLE_WORDS.get(word, word)) in KINDS]
    sizes = " ".join(word for word in words if _HOLE_WORDS.get(word, word) not in KINDS)
    kind = kinds[0] if kinds else "circle" if sizes[:1].isdigit() else ""
    if kind == "notch":
        sizes = units.said_number(sizes, "deg")
    plain = f"{kind} {sizes}".strip()
    if plain:
        opening = opening_from_text(plain if kind else text, None, answers["units"])
        if not kinds and not 0.02 <= opening.top <= 0.1:  # judgement: 6 is a clock, 1/2 an offset
            raise ScenarioError(f"is {show(text)}; write its kind too, as circle {text}")
    return plain


def _as_typed(read_key: Reader[float], unit: str = "") -> Check:
    """The check of what a reader of the scenario takes, with the unit of bare lengths."""

    def check(text: str, answers: Answers) -> str:
        plain = units.said_number(text, unit)
        if plain:
            read_key(plain, answers["units"])
        return plain

    return check


def _offset(text: str, answers: Answers) -> str:
    if text.lower() in _FIXED:
        return "fixed"
    return "unknown" if text.lower() in NOT_KNOWN else _as_typed(keys.offset)(text, answers)


def _clock(text: str, _: Answers) -> str:
    if not text:
        raise ScenarioError("is empty; write a clock position, or skip where it is not known")
    units.clock(units.said_clock(text))
    return units.said_clock(text)


def _inside(text: str, answers: Answers) -> str:
    parts = _parts(text)
    if len(parts) > 2:
        raise ScenarioError(f"is {show(text)}; write it as 16 in x 20 in, or one diameter")
    keys.each(parts, lambda part: keys.side(part, answers["units"]))
    return " x ".join(parts)


def _place(text: str, answers: Answers) -> str:
    parts = _parts(text)
    if text and len(parts) != 2:
        mend = "write the distances along and across, as 16 in, 4 in"
        raise ScenarioError(f"is {show(text)}; {mend}")
    keys.each(parts, lambda part: keys.place(part, answers["units"]))
    return ", ".join(parts)


def _direction(text: str, answers: Answers) -> str:
    if text and _clock(text, answers) == "12:00":
        raise ScenarioError(f"is {show(text)}, where the inlet is; write another direction")
    return _clock(text, answers) if text else ""


def _at(label: str, answers: Answers) -> list[str]:
    """The place of an outlet as a scenario has it, along and across."""
    way, inside = answers.get(f"direction {label}"), _parts(answers.get("inside", ""))
    if not way or len(inside) != 1:
        return _parts(answers.get(f"place {label}", ""))
    unit, angle = answers["units"], units.clock(way)
    radius = keys.side(inside[0], unit) / units.LENGTH_UNITS[unit] / 2
    return [f"{round(radius * (1 + part), 2):g} {unit}" for part in (cos(angle), sin(angle))]


def _each_outlet(text: str, answers: Answers) -> list[str]:
    """Parts of an answer with one for each outlet, or one for all of them."""
    for said in (text, units.said_number(text)):
        parts = _listed(said.replace(";", ","))
        if len(parts) == len(labels_of(answers)):
            return parts
    if len(parts := text.split()) == len(labels_of(answers)) and not re.search("[a-z]", text):
        return parts
    return [text] * len(labels_of(answers)) if text else []


def _lengths(text: str, answers: Answers) -> str:
    unit = "ft" if answers["units"] == "in" else "m"
    parts = [units.said_number(part, unit) for part in _each_outlet(text, answers)]
    keys.each(
        dict.fromkeys(parts), lambda part: keys_of(OutletTable)["line_length"].reader(part, None)
    )
    return ", ".join(parts)


def _inlet(text: str, _: Answers) -> str:
    """How the inlet ends; where it is not known, the rest about pipes is asked all the same."""
    if text.lower() in NOT_KNOWN:
        return "unknown"
    return keys.choice(text, INLETS) if text else ""


def _yes_no(text: str, _: Answers) -> str:
    mend = "write yes or no, or Enter where it is not known"
    return _said(text, mend, YES, (*NO, "none")) if text else ""


NOT_SAID = "not said"
"""The target of lines of unlike length where it was asked for and left out."""


def _target(text: str, answers: Answers) -> str:
    if text.lower() in ("", "equal"):
        return NOT_SAID if not text and lengths_differ(answers) else ""
    if text.lower() == "length" and answers.get("lengths"):
        return "length"
    parts = text.replace(",", " ").split()
    if len(parts) != len(labels_of(answers)):
        mend = "equal, length where line lengths were given, or a number for each outlet"
        raise ScenarioError(f"is {show(text)}; write {mend}")
    keys.each(parts, keys.weight)
    return ", ".join(parts)


def lengths_differ(answers: Answers) -> bool:
    """Whether the open lines are of such lengths that equal shares are not taken for granted."""
    capped, labels = _listed(answers.get("capped", "")), labels_of(answers)
    texts = zip(labels, _each_outlet(answers.get("lengths", ""), answers), strict=False)
    known = [units.length(text) for label, text in texts if label not in capped]
    return bool(known) and max(known) > (1.0 + UNLIKE) * min(known)


def _flows(text: str, _: Answers) -> str:
    plain = units.said_number(text)
    keys.each(_named_flows(plain).values(), keys.flow_rate)
    return plain


def _named_flows(text: str) -> dict[str, str]:
    """Flows by name; one that has none is called as it is written."""
    named = [re.fullmatch(r"(.*?)[:=\s]*([0-9.].*)?", part.strip()) for part in text.split(",")]
    return {m[1] or m[2]: m[2] or "" for m in named if m is not None and m[0]}


def _name(text: str, _: Answers) -> str:
    """A name; what answers another question only where it stands in quotes."""
    if len(text) > 2 and text[0] == text[-1] == '"':
        return keys.text(text[1:-1])
    if text.lower() in (*YES, *NO, *UNITS, *POINTS) or _OTHER_ANSWER.fullmatch(text.lower()):
        raise ScenarioError(f"is {show(text)}; write a name, in quotes if that is one, or Enter")
    return keys.text(text)


def _said(text: str, mend: str, *answers: tuple[str, ...]) -> str:
    """Which of these answers a word is, by its first word; Enter alone is the first."""
    found = [words[0] for words in answers if text.lower() in words or not text]
    if not found:
        raise ScenarioError(f"is {show(text)}; {mend}")
    return found[0]


_CHECKS: dict[str, Check] = {
    "units": lambda text, _: keys.choice(_UNIT_WORDS.get(text.lower(), text or "in"), UNITS),
    "title": _name,
    "outlets": _outlets,
    "alike": lambda text, _: _said(text, "write yes or no", YES, NO),
    "capped": _capped,
    "hole": _hole,
    "offset": _offset,
    "clock": _clock,
    "inside": _inside,
    "place": _place,
    "direction": _direction,
    "inlet": _inlet,
    "air_hole": _yes_no,
    "drop": _as_typed(keys.drop),
    "pipes": lambda text, _: keys.text(text),
    "rim": _as_typed(keys.depth),
    "lengths": _lengths,
    "target": _target,
    "point": lambda text, _: point(text or "lip"),
    "mark": _as_typed(keys.mark),
    "spread": _as_typed(keys.length(1e-6, 0.01, "two honest readings differ by less than 10 mm")),
    "tolerance": _as_typed(
        keys.limited(units.percent, 0.01, 1, "a tolerance is 1 % to 100 %"), "%"
    ),
    "source": _name,
    "flows": _flows,
    "write": lambda text, _: _said(text, "press Enter to write it, or go back with undo", YES),
}
"""How the answer of every question is checked, by the first word of its keys."""

WORDS = tomllib.loads((resources.files("dbox.files") / "questions.toml").read_text("utf-8"))
"""What is asked, what it means, and what Enter alone means."""


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


NEEDED = ("outlets", "alike", "hole", "offset")
"""Questions that cannot be left out; the first clock position has to be given or skipped."""

PIPES = ("inlet", "air_hole", "drop", "pipes")
"""Questions that are left out together where the first one is."""

_AS_BEFORE = ("hole", "offset", "clock")
"""Questions of each outlet at which Enter alone means: as at the one before."""


def before(key: str, answers: Answers) -> str:
    """What Enter alone takes from the outlet before; empty where there is none."""
    topic = key.partition(" ")[0]
    given = [value for told, value in answers.items() if told.startswith(f"{topic} ") and value]
    return given[-1] if given and topic in _AS_BEFORE else ""


def next_key(answers: Answers, *, pipes: bool = False, placed: bool = True) -> str | None:
    """Key of the first question that is not answered; None where all are.

    pipes: Whether inlet and pipes are asked about; a file of answers may be older than that.
    placed: Whether the inserts are in their outlets, so that their holes stand somewhere.

    >>> next_key({"units": "in", "title": ""})
    'outlets'
    """
    asked = keys_asked(answers, pipes=pipes, placed=placed)
    left = (key for key in asked if key not in answers)
    return None if "write" in answers else next(left, None)


def keys_asked(answers: Answers, *, pipes: bool = False, placed: bool = True) -> Iterator[str]:
    """Keys of the questions that these answers lead to, in order; options as for `next_key`."""
    yield from ("units", "title", "outlets", "alike")
    labels = labels_of(answers)
    alike = answers.get("alike") != "no"
    if not alike or "capped" in answers:
        yield "capped"
    capped = _listed(answers.get("capped", ""))
    for each in [""] if alike else [f" {label}" for label in labels if label not in capped]:
        yield f"hole{each}"
        if answers.get(f"hole{each}", "circle").startswith("circle"):
            yield f"offset{each}"
            if placed and answers.get(f"offset{each}", "") not in ("", "fixed"):
                yield f"clock{each}"
    yield "inside"
    if answers.get("inside"):
        place = "direction" if len(_parts(answers["inside"])) == 1 else "place"
        # where the first is left out, so are the others
        given = answers.get(f"{place} {labels[0]}") if labels else ""
        yield from (f"{place} {label}" for label in (labels if given else labels[:1]))
    if pipes or "inlet" in answers:
        yield "inlet"
        if answers.get("inlet") in INLETS_WITH_AIR:
            yield "air_hole"
        if answers.get("inlet"):
            yield from ("drop", "pipes")
    yield from ("lengths", "target", "point", "mark", "spread", "tolerance")
    if answers.get("tolerance"):
        yield "source"
    yield from ("flows", "write")


def line_answers(
    typed: str, answers: Answers, *, pipes: bool = False, placed: bool = True
) -> dict[str, str]:
    """What a line says, in the form that is kept, by key: the question that stands or, with a part
    for each outlet that is still to be asked, all of them."""
    key = next_key(answers, pipes=pipes, placed=placed) or "write"
    topic, _, label = key.partition(" ")
    asked = keys_asked({**answers, key: typed}, pipes=pipes, placed=placed)
    left = [k for k in asked if k.startswith(f"{topic} ") and k not in answers]
    # elsewhere a comma may be that of a decimal, or part a place
    mark = "[;,]" if topic in ("clock", "direction") else ";"
    parts = re.split(mark, typed) if label else [typed]
    if len(parts) > 1 and len(parts) != len(left):
        mend = f"write one answer, or one for each of the {len(left)} outlets left"
        raise ScenarioError(f"is {show(typed)}; {mend}")
    told: dict[str, str] = {}
    for each, part in zip(left if len(parts) > 1 else [key], parts, strict=True):
        told[each] = check(each, part, {**answers, **told})
    return told


def left_out(topic: str, text: str) -> bool:
    """Whether a word says that something is not known."""
    word = text.strip().lower()
    # no air hole is none
    return word in NOT_KNOWN and (topic, word) != ("air_hole", "none") and topic != "write"


def check(key: str, text: str, answers: Answers) -> str:
    """Check an answer and bring it to the form that is kept."""
    topic, text = key.partition(" ")[0], text.strip()
    if left_out(topic, text) and topic not in ("offset", "inlet"):
        if topic in NEEDED:
            how = WORDS["box"][topic]["help"]
            raise ScenarioError(f"is {show(text)}; this one is needed. {how}")
        kept = "" if topic == "clock" else _CHECKS[topic]("", answers)
    else:
        kept = _CHECKS[topic](text or before(key, answers), answers)
    if topic in NEEDED and not kept:
        raise ScenarioError(f"is empty; this one is needed. {WORDS['box'][topic]['help']}")
    told = standing({**answers, key: kept})
    if any(each.startswith("hole") and each in told for each in keys_asked(told)):
        scenario_text(told)
    return kept


def scenario_text(answers: Answers) -> str:
    """The scenario that the answers make."""
    inside, target = _parts(answers.get("inside", "")), answers.get("target", "")
    if "target" in answers and not target and lengths_differ(answers):
        target = "equal"
    labels, capped = labels_of(answers), _listed(answers.get("capped", ""))
    alike = answers.get("alike") != "no"
    inserts = [_insert("" if alike else f" {label}", answers) for label in labels]
    known = [insert for insert in inserts if insert]
    lengths = _each_outlet(answers.get("lengths", ""), answers)
    shape = inside and {"shape": "rectangle" if len(inside) == 2 else "round", "inside": inside}
    air, ends = answers.get("air_hole"), answers.get("inlet", "").replace("unknown", "")
    document = _given(
        title=answers.get("title"),
        units=answers.get("units", "in"),
        box={
            **(shape or {}),
            **_given(inlet=ends, inlet_drop=answers.get("drop")),
            **({"air_hole": air == "yes"} if air else {}),
        },
        insert=known[0] if alike and known else {},
        readings=_given(
            point=answers.get("point"), mark=answers.get("mark"), spread=answers.get("spread")
        ),
        outlet=[
            _given(
                label=label,
                **({} if alike or not known else inserts[i] or known[0]),
                at=_at(label, answers),
                clock=(alike and answers.get("clock")) or answers.get(f"clock {label}"),
                line_length=lengths[i] if lengths else "",
                state="capped" if label in capped else "",
            )
            for i, label in enumerate(labels)
        ],
        target=target not in ("", NOT_SAID)
        and {
            "by": target if target in ("equal", "length") else [*map(units.number, _listed(target))]
        },
        flows=_named_flows(answers.get("flows", "")),
        tolerance=_given(share=answers.get("tolerance"), source=answers.get("source")),
        record=_given(pipe_bed=answers.get("pipes")),
    )
    read(document)
    return HEAD + toml_text(document)


def _insert(of: str, answers: Answers) -> dict[str, str]:
    """Hole and offset of an outlet, or those of all."""
    kind, _, sizes = answers.get(f"hole{of}", "").partition(" ")
    named = zip(KINDS[kind].sizes(), _parts(sizes), strict=False) if kind else ()
    offset = answers.get(f"offset{of}", "").replace("fixed", "")
    return _given(kind=kind, **dict(named), offset=offset)


HEAD = """\
# Written by the questions of `dbox setup`. Its readings are in the
# log next to it; `dbox new` shows all that can be added.

"""
"""What a file begins with that the questions made."""


def _given(**values: Any) -> dict[str, Any]:
    """The values that are not left out."""
    return {key: value for key, value in values.items() if value}
