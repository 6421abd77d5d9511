"""The words of a set-up's questions, and those that make a scenario."""

from collections.abc import Callable
from pathlib import Path

from dbox.errors import ScenarioError, at_place
from dbox.fieldwork.setup import (
    ClockSet,
    Confirmed,
    Correcting,
    Doubt,
    Event,
    Job,
    Left,
    Question,
    Read,
    Settled,
    Skipped,
    Still,
    Turned,
)
from dbox.files.box_interview import NEEDED, check, clock_before, keys, next_key, scenario_text
from dbox.files.job_log import JobLog, story
from dbox.files.setup_answers import Command, offered, read_command, usual_method
from dbox.files.write_file import is_begun, write_file
from dbox.report.text import wrapped
from dbox.units import clock_text, inches_mm, millimetres
from dbox_cli.console import PausedError, Talk


def told(job: Job, question: Question) -> list[str]:
    """What to say before a question is asked; nothing where the prompt says it all."""
    if question.kind == "clock":
        return wrapped(
            "Where does this hole stand now, as on a clock face seen from inside the box? 6:00 is "
            "straight down. skip: not known."
        )
    if question.kind == "still":
        return _still(job)
    if question.kind == "reading" and question.outlet in job.now.skipped:
        return wrapped(
            f"Outlet {_label(job, question)} is not measured yet: without it no share is known. If "
            'it is capped, pause, write state = "capped" under it, and go on with --edited.'
        )
    if question.kind == "confirm":
        return wrapped(_doubt(job, question))
    if question.kind == "turn":
        return [
            *_left(job),
            *wrapped(
                "Enter: all turned as told. Left one elsewhere? Write where, as 3 7:45. skip: none "
                "was turned. end: leave the box as it is."
            ),
        ]
    if question.kind == "close":
        again = "reads anew, once it is bedded" if job.conclusion == "re-bed" else "reads anew"
        return [
            *_left(job),
            *wrapped(f"Enter: end the job. pass: {again}. undo and correct N still work."),
        ]
    return []


def _left(job: Job) -> list[str]:
    """The holes that were said to stand elsewhere than told."""
    places = [
        f"outlet {job.site.outlets[i].label} at {'?' if angle is None else clock_text(angle)}"
        for i, angle in job.now.left
    ]
    return wrapped(f"Left: {', '.join(places)}.") if places else []


def prompt(job: Job, question: Question) -> str:
    """The prompt, with what Enter alone does."""
    label = _label(job, question)
    if question.kind == "reading":
        ready = offered(job, question)
        if not ready:
            return f"outlet {label} > "
        heights = ", ".join(millimetres(height, signed=True) for height in ready)
        whence = "as before" if job.now.correcting is not None else "from the file"
        return f"outlet {label} (Enter: {heights}, {whence}) > "
    return {
        "clock": f"clock of outlet {label} > ",
        "still": f"still? (Enter: yes, {usual_method(job)}) > ",
        "repeat": f"outlet {label} again (Enter: enough) > ",
        "confirm": "really? yes or no (Enter: no) > ",
        "turn": "turned? (Enter: yes) > ",
        "close": "end? (Enter: yes) > ",
    }[question.kind]


def _label(job: Job, question: Question) -> str:
    return "" if question.outlet is None else job.site.outlets[question.outlet].label


def _still(job: Job) -> list[str]:
    number = job.now.number
    lines = ["", f"PASS {number}"]
    if number == 1:
        lines += wrapped(
            "Fill the box with clean water until it just spills, stop, and wait until it lies "
            "still: it then stands at the lowest open lip."
        )
    else:
        lines += wrapped(
            "Top up until it just spills, stop, and wait until it lies still. The still level has "
            "moved, so every outlet is read anew."
        )
    lines += wrapped(
        f"Measure from the water to {_point(job)} of each hole, clockwise from the inlet: + above "
        "the water, - below it. More than once is better: 1/8 3/16 on one line, or one by one."
    )
    return [*lines, *wrapped("Read in another way? Type how. ? shows what else can be typed.")]


def _point(job: Job) -> str:
    """The point of the holes that is read."""
    outlet = next(outlet for outlet in job.site.outlets if not outlet.capped)
    if not outlet.point_over_lip:
        return "the lip (lowest point)"
    at_top = outlet.point_over_lip == outlet.opening.top
    return "the top" if at_top else "the centre"


def _doubt(job: Job, question: Question) -> str:
    odd, label = question.doubt, _label(job, question)
    if odd is None:
        return f"Outlet {label}: is that reading meant?"
    return f"Outlet {label}: {_why(job, odd)}"


def _why(job: Job, odd: Doubt) -> str:
    amount = inches_mm(odd.amount)
    if odd.why == "apart":
        return f"its readings differ by {amount}, more than reading errors do."
    if odd.why == "under water":
        return (
            f"its lip would lie {amount} under water, which would still be running out there. Is "
            "the water still, and the sign right?"
        )
    if odd.why == "high":
        return f"its lip would stand {amount} over the water, higher than its hole is high."
    if odd.other is None:
        return (
            f"that is {amount} beyond the full travel of its insert: no turning could bring it "
            "and the lowest lip together."
        )
    other = job.site.outlets[odd.other].label
    return f"no turning could bring it and outlet {other} together; {amount} would be missing."


def heard(job: Job, event: Event, typed: str) -> list[str]:
    """What was understood, said back where there is something to check."""
    if isinstance(event, Read):
        heights = ", ".join(millimetres(height, signed=True) for height in event.heights)
        said = f"{typed.strip()} is {heights}" if typed.strip() else heights
        return wrapped(said, first="  ", indent="  ")
    if isinstance(event, ClockSet | Left):
        where = "somewhere" if event.angle is None else f"at {clock_text(event.angle)}"
        return [f"  outlet {job.site.outlets[event.outlet].label}: hole {where}"]
    if isinstance(event, Confirmed) and not event.sure:
        return ["  not taken; read it again"]
    return []


def taken_back(job: Job, event: Event) -> list[str]:
    """What an undo takes back, said of the event that it undoes."""
    names = {
        ClockSet: "the clock position",
        Still: "still water",
        Read: "the reading",
        Confirmed: "the yes or no",
        Settled: "that the readings are enough",
        Skipped: "the skip",
        Correcting: "the correction",
        Left: "where the hole was left",
        Turned: "that turning is done",
    }
    what = names.get(type(event), "the last answer")
    outlet = getattr(event, "outlet", None)
    of = "" if outlet is None else f" of outlet {job.site.outlets[outlet].label}"
    return [f"  taken back: {what}{of}"]


_HELP = {
    "clock": "6:30          where the hole stands; skip: not known",
    "still": "Enter         the water lies still; or type how heights are read",
    "reading": "1/8 3/16      heights in the unit of the scenario, or 3 mm, -1/16 in",
    "repeat": "1/8           one more reading; Enter: enough",
    "confirm": "yes, no       take the reading as typed, or read again",
    "turn": "3 7:45        the hole of outlet 3 was left at 7:45",
    "close": "pass          one more pass; Enter: end the job",
}


def help_lines(question: Question) -> list[str]:
    """What can be typed at a question."""
    return [
        f"  {_HELP[question.kind]}",
        "  undo          take the last answer back, as often as you like",
        "  skip          not measured now, not known, or not turned",
        "  correct 3     read outlet 3 of this pass anew",
        "  clock 3 6:30  the hole of outlet 3 stood at 6:30 when it was read",
        "  pause         stop here; every answer is kept (Ctrl-C, Ctrl-D too)",
    ]


def readings_so_far(job: Job) -> list[str]:
    """The readings of a pass that is not complete, to go on from."""
    lines = []
    for outlet, heights in zip(job.site.outlets, job.now.readings, strict=True):
        if heights:
            told_heights = ", ".join(inches_mm(height, signed=True) for height in heights)
            lines += wrapped(f"outlet {outlet.label}: {told_heights}", first="  ", indent="    ")
    return ["Read so far in this pass:", *lines] if lines else []


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
    """Ask for what a scenario needs and write it."""
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
