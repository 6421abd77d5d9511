"""The words of a set-up's questions: what is told before, the prompt itself, and its help."""

from dbox.fieldwork.setup.doubts import Doubt
from dbox.fieldwork.setup.events import (
    ClockSet,
    Confirmed,
    Correcting,
    Event,
    Left,
    Read,
    Settled,
    Skipped,
    Still,
    Turned,
)
from dbox.fieldwork.setup.job import Job, Question
from dbox.files.notation import clock_text, inches_mm, millimetres
from dbox.files.setup.answers import offered, usual_method
from dbox_cli.output import wrapped


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
    """What was understood, said back where there is something to check.

    Parameters
    ----------
    job : Job
        After the event.
    event : Event
        What was understood.
    typed : str
        What was typed.
    """
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
