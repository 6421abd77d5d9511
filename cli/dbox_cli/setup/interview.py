"""The questions that make a scenario where there is none yet."""

from collections.abc import Callable
from pathlib import Path

from dbox.errors import ScenarioError
from dbox.files.faults import at_place
from dbox.files.joblog import JobLog
from dbox.files.setup.answers import Command, read_command
from dbox.files.setup.interview import NEEDED, check, keys, next_key, scenario_text
from dbox.files.setup.interview_checks import clock_before
from dbox.files.setup.log import story
from dbox.files.write_file import is_begun, write_file
from dbox_cli.output import wrapped
from dbox_cli.setup.talk import PausedError, Talk

_ASK = {
    "units": ("Unit of lengths that you write without one: in, mm or cm.", "in"),
    "title": ("What is the job called?", "no name"),
    "outlets": (
        "Outlets, clockwise from the inlet as seen from above: how many, or their names with "
        "commas between.",
        "",
    ),
    "capped": ("Which of them are capped?", "none"),
    "hole": (
        "The hole that the water leaves through, the same at every outlet: circle 2 in, notch 90 "
        "deg, slot 1 in x 2 in, or pipe 4 in for a bare end.",
        "",
    ),
    "offset": (
        "Can the inserts be turned? How far is the centre of the hole from the centre of its "
        "pipe, as 1/2 in; or fixed: cannot be turned.",
        "",
    ),
    "clock": (
        "Where does the hole of each outlet stand now, as on a clock face seen from inside the "
        "box? 6:00 is straight down. skip: not known.",
        "",
    ),
    "inside": (
        "Inside of the box, along the way the water comes in and across it, as 16 in x 20 in; one "
        "diameter if it is round. It tells which side to lift if the box must be bedded again.",
        "not measured",
    ),
    "place": (
        "Where is each outlet, from the left corner of the inlet wall: along the way the water "
        "comes in, then across it, as 16 in, 4 in.",
        "not measured",
    ),
    "point": ("Which point of the hole will you read: lip (lowest point), centre or top?", "lip"),
    "spread": (
        "Spread of your ruler: how far two honest readings of one hole differ. About 1/32 in at "
        "best, 1/16 in usual (common practice, no source).",
        "not stated",
    ),
    "tolerance": (
        "How far may a line be off its share, in per cent of it, as 10 %? There is no general "
        "value: it comes from the permit, the code or the inspector.",
        "none",
    ),
    "source": ("Who says so: permit number, code section or name?", "not named"),
    "write": ("This is the scenario. Enter writes it; undo goes back.", "write it"),
}
"""What is asked under each key, and what Enter alone means."""

HELP = (
    "  undo        take the last answer back, as often as you like",
    "  skip        leave this one out",
    "  correct 5   answer question 5 anew",
    "  pause       stop here; every answer is kept (Ctrl-C, Ctrl-D too)",
)


def interview(talk: Talk, log: JobLog, path: Path, now: Callable[[], str]) -> None:
    """Ask for what a scenario needs and write it.

    Parameters
    ----------
    talk : Talk
        Where to ask.
    log : JobLog
        Keeps every answer.
    path : Path
        The scenario to write; never overwritten.
    now : callable
        Tells the time.
    """
    answers = story(log.entries).answers
    if path.exists() and next_key(answers) is not None:
        raise ScenarioError(
            f"{path}: has come since its questions began; move it away, or move {log.path} away "
            "to begin with it"
        )
    if not answers:
        talk.say(wrapped(f"{path} is not there yet: a few questions make it. ? helps."))
    topic = ""
    while (key := next_key(answers)) is not None:
        if topic != key.partition(" ")[0]:
            topic = key.partition(" ")[0]
            talk.say(_question(key, answers))
        typed = talk.ask(_prompt(key, answers))
        try:
            entry = _entry(key, typed, answers)
        except ScenarioError as error:
            talk.say(_faults(error))
            continue
        if entry is None:
            talk.say(HELP)
            topic = ""
            continue
        log.append({"event": entry[0], "at": now(), **entry[1]})
        answers = story(log.entries).answers
    text = scenario_text(answers)
    write_file(path, text, overwrite=is_begun(path, text.encode()))
    talk.say([f"wrote {path}", ""])


def _question(key: str, answers: dict[str, str]) -> list[str]:
    """What is asked, said once for all questions of one topic."""
    shown = scenario_text(answers).splitlines() if key == "write" else []
    text, enter = _ASK[key.partition(" ")[0]]
    words = f"{text} Enter: {enter}." if enter else text
    return ["", *shown, *wrapped(words)]


def _prompt(key: str, answers: dict[str, str]) -> str:
    """The prompt with the number of the question, for `correct`."""
    number = list(keys(answers)).index(key) + 1
    before = clock_before(answers) if key.startswith("clock ") else ""
    enter = f" (Enter: {before})" if before else ""
    return f"{number}. {'write it?' if key == 'write' else key}{enter} > "


def _entry(key: str, typed: str, answers: dict[str, str]) -> tuple[str, dict[str, str]] | None:
    """The line of the log that an answer makes; None where help is wanted."""
    command = read_command(typed)
    if command is Command.PAUSE:
        raise PausedError
    if command is Command.HELP:
        return None
    word, _, rest = typed.strip().lower().partition(" ")
    if word == "undo":
        if not answers:
            raise ScenarioError("is the first question; there is nothing to take back")
        return "undone", {"typed": typed}
    if word == "correct":
        return "asked again", {"key": _numbered(rest, answers), "typed": typed}
    topic = key.partition(" ")[0]
    if word == "skip" and topic not in (*NEEDED, "write"):
        return "described", {
            "key": key,
            "typed": "" if topic == "clock" else check(key, "", answers),
        }
    return "described", {"key": key, "typed": check(key, typed, answers)}


def _numbered(text: str, answers: dict[str, str]) -> str:
    """Key of an answered question by its number."""
    known = list(keys(answers))
    number = int(text) if text.isascii() and text.isdecimal() and len(text) < 4 else 0
    if not 1 <= number <= len(known) or known[number - 1] not in answers:
        raise ScenarioError(f'is "correct {text}"; write the number of a question answered before')
    return known[number - 1]


def _faults(error: ScenarioError) -> list[str]:
    return [
        line
        for fault in error.faults
        for line in wrapped(
            at_place("that", fault) if fault[:2] == "is" else fault, first="! ", indent="  "
        )
    ]
