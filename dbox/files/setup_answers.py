"""Typed answers of a guided set-up, to events.

Commands come first, as they mean the same at every question; what is left is read by the question
that it answers.
"""

from enum import Enum

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job, Question, doubt
from dbox.files.box_interview import YES, outlet_named
from dbox.files.typed_box import read_heights

LONGEST_ANSWER = 200
"""Characters of one answer; more cannot be one."""

USUAL_METHOD = "ruler from still water"

_NO = ("no", "n")


class Command(Enum):
    """An answer that is no event."""

    HELP = "?"
    PAUSE = "pause"


_COMMANDS = {
    "?": Command.HELP,
    "help": Command.HELP,
    "pause": Command.PAUSE,
    "quit": Command.PAUSE,
    "exit": Command.PAUSE,
    "q": Command.PAUSE,
}


def read_command(typed: str) -> Command | None:
    """The command that a line is; None where it is none.

    >>> read_command(" Pause ")
    <Command.PAUSE: 'pause'>
    """
    if len(typed) > LONGEST_ANSWER:
        raise ScenarioError(f"is {show(typed)}, {len(typed)} characters; write a short answer")
    return _COMMANDS.get(typed.strip().lower())


def usual_method(job: Job) -> str:
    """How heights are read where Enter alone is pressed: as in the pass before."""
    methods = [each.method for each in job.passes if each.method]
    return methods[-1] if methods else USUAL_METHOD


def offered(job: Job, question: Question) -> tuple[float, ...]:
    """Heights that Enter alone takes: those that are corrected, or those of the scenario. [m]"""
    outlet = question.outlet or 0
    if job.now.correcting is not None:
        return job.now.readings[outlet]
    return job.site.outlets[outlet].readings if job.now.number == 1 else ()


def read_answer(
    job: Job, question: Question, typed: str, *, bare_unit: str | None, at: str
) -> setup.Event | Command:
    """What a line means as an answer."""
    command = read_command(typed)
    if command is not None:
        return command
    text = typed.strip()
    word, _, rest = text.lower().partition(" ")
    if word == "undo":
        return setup.Undone(at=at)
    if word == "correct":
        return setup.Correcting(at=at, outlet=_outlet(job, rest))
    if word == "clock":
        outlet, angle = _outlet_at(job, text[len(word) :])
        return setup.ClockSet(at=at, outlet=outlet, angle=angle)
    return _READERS[question.kind](_Asked(job, question, bare_unit, at), text)


class _Asked:
    """A question with all that reading its answer needs."""

    def __init__(self, job: Job, question: Question, bare_unit: str | None, at: str) -> None:
        self.job, self.at, self.bare_unit = job, at, bare_unit
        # only questions about an outlet look at it
        self.outlet = question.outlet or 0

    def clock(self, text: str) -> setup.Event:
        """Where the hole stands."""
        if text.lower() == "skip":
            return setup.ClockSet(at=self.at, outlet=self.outlet, angle=None)
        if not text:
            raise ScenarioError("is empty; write a clock position, or skip where it is not known")
        return setup.ClockSet(at=self.at, outlet=self.outlet, angle=units.clock(text))

    def still(self, text: str) -> setup.Event:
        """How heights are read from the still water."""
        if text.lower() in ("", "still", *YES):
            return setup.Still(at=self.at, method=usual_method(self.job))
        if text.lower() in _NO:
            raise ScenarioError(f"is {show(text)}; wait until the water is still, then press Enter")
        if not any(letter.isalpha() for letter in text) or _is_height(text, self.bare_unit):
            raise ScenarioError(
                f"is {show(text)}; press Enter once the water is still, readings come next"
            )
        return setup.Still(at=self.at, method=keys.text(text))

    def reading(self, text: str) -> setup.Event:
        """The heights of an outlet."""
        job, outlet = self.job, self.outlet
        if text.lower() == "skip":
            return setup.Skipped(at=self.at, outlet=outlet)
        if text:
            return self._read(read_heights(text, self.bare_unit), ())
        ready = offered(job, Question(kind="reading", outlet=outlet))
        if not ready:
            raise ScenarioError("is empty; write the reading, or skip where it is not measured")
        if job.now.correcting is not None:
            return setup.Settled(at=self.at, outlet=outlet)
        return self._read(ready, ())

    def repeat(self, text: str) -> setup.Event:
        """One more reading of the same outlet, or none."""
        if text.lower() in ("", "skip", "enough", "ok", "done", *_NO):
            return setup.Settled(at=self.at, outlet=self.outlet)
        before = self.job.now.readings[self.outlet]
        return self._read(read_heights(text, self.bare_unit), before)

    def _read(self, heights: tuple[float, ...], before: tuple[float, ...]) -> setup.Event:
        odd = doubt(self.job.site, self.job.now, self.outlet, before + heights)
        return setup.Read(at=self.at, outlet=self.outlet, heights=heights, doubtful=odd is not None)

    def confirm(self, text: str) -> setup.Event:
        """Whether a doubtful reading is meant."""
        if text.lower() == "skip":
            return setup.Skipped(at=self.at, outlet=self.outlet)
        if text.lower() in YES:
            return setup.Confirmed(at=self.at, sure=True)
        if text.lower() in ("", *_NO):
            return setup.Confirmed(at=self.at, sure=False)
        raise ScenarioError(f"is {show(text)}; write yes if it is meant, or no to read again")

    def turn(self, text: str) -> setup.Event:
        """Whether turning is done, or a hole that was left elsewhere."""
        if text.lower() in ("", *YES):
            return setup.Turned(at=self.at, angles=self.job.told_angles)
        if text.lower() == "skip":
            return setup.Turned(at=self.at, angles=self.job.left_angles)
        if text.lower() == "end":
            return setup.Closed(at=self.at)
        outlet, angle = _outlet_at(self.job, text)
        return setup.Left(at=self.at, outlet=outlet, angle=angle)

    def close(self, text: str) -> setup.Event:
        """Whether the job ends, or one more pass is wanted."""
        if text.lower() in ("", "end", *YES):
            return setup.Closed(at=self.at)
        if text.lower() == "pass":
            return setup.Turned(at=self.at, angles=self.job.left_angles)
        if ":" not in text:
            raise ScenarioError(
                f"is {show(text)}; press Enter to end the job, or write pass to read once more"
            )
        outlet, angle = _outlet_at(self.job, text)
        return setup.Left(at=self.at, outlet=outlet, angle=angle)


_READERS = {
    "clock": _Asked.clock,
    "still": _Asked.still,
    "reading": _Asked.reading,
    "repeat": _Asked.repeat,
    "confirm": _Asked.confirm,
    "turn": _Asked.turn,
    "close": _Asked.close,
}


def _is_height(text: str, bare_unit: str | None) -> bool:
    try:
        read_heights(text, bare_unit)
    except ScenarioError:
        return False
    return True


def _outlet(job: Job, text: str) -> int:
    return outlet_named(text.strip(), [outlet.label for outlet in job.site.outlets])


def _outlet_at(job: Job, text: str) -> tuple[int, float]:
    """An outlet and a clock position, as in `3 7:45`."""
    name, _, position = text.strip().rpartition(" ")
    if not name:
        raise ScenarioError(
            f"is {show(text.strip())}; write Enter alone, or an outlet and where its hole stands, "
            "as 3 7:45"
        )
    return _outlet(job, name.removesuffix(" at")), units.clock(position)
