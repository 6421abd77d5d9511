"""Typed answers of a guided set-up, to events: each is read by the question that it answers."""

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job, Question, doubt
from dbox.files.box_interview import YES, outlet_named
from dbox.files.typed import read_heights

USUAL_METHOD = "ruler from still water"

_NO = ("no", "n")


def usual_method(job: Job) -> str:
    """How heights are read where Enter alone is pressed: as in the pass before."""
    methods = [each.method for each in job.passes if each.method]
    return methods[-1] if methods else USUAL_METHOD


def offered(job: Job, outlet: int) -> tuple[float, ...]:
    """Heights that Enter alone takes: those that are corrected, or those of the scenario. [m]"""
    if job.now.correcting is not None:
        return job.now.readings[outlet]
    return job.site.outlets[outlet].readings if job.now.number == 1 else ()


def read_answer(
    job: Job, question: Question, typed: str, *, bare_unit: str | None, at: str
) -> setup.Event:
    """What a line means as an answer."""
    text = typed.strip()
    word = text.lower()
    yes = word in ("", *YES)
    # only questions about an outlet look at it
    outlet = question.outlet or 0
    if word == "clock" or word.startswith("clock "):
        named, angle = _outlet_at(job, text[len("clock") :])
        return setup.ClockSet(at=at, outlet=named, angle=angle)
    if question.kind == "clock":
        if not text:
            raise ScenarioError("is empty; write a clock position, or skip where it is not known")
        return setup.ClockSet(
            at=at, outlet=outlet, angle=None if word == "skip" else units.clock(text)
        )
    if question.kind == "still":
        if yes or word == "still":
            return setup.Still(at=at, method=usual_method(job))
        if word in _NO:
            raise ScenarioError(f"is {show(text)}; wait until the water is still, then press Enter")
        if not any(letter.isalpha() for letter in text) or _is_height(text, bare_unit):
            raise ScenarioError(
                f"is {show(text)}; press Enter once the water is still, readings come next"
            )
        return setup.Still(at=at, method=keys.text(text))
    if question.kind == "reading":
        if word == "skip":
            return setup.Skipped(at=at, outlet=outlet)
        ready = offered(job, outlet)
        if not text and not ready:
            raise ScenarioError("is empty; write the reading, or skip where it is not measured")
        if not text and job.now.correcting is not None:
            return setup.Settled(at=at, outlet=outlet)
        return _read(job, outlet, read_heights(text, bare_unit) if text else ready, (), at)
    if question.kind == "repeat":
        if word in ("", "skip", "enough", "ok", "done", *_NO):
            return setup.Settled(at=at, outlet=outlet)
        heights = read_heights(text, bare_unit)
        return _read(job, outlet, heights, job.now.readings[outlet], at)
    if question.kind == "confirm":
        if word == "skip":
            return setup.Skipped(at=at, outlet=outlet)
        if word not in ("", *_NO, *YES):
            raise ScenarioError(f"is {show(text)}; write yes if it is meant, or no to read again")
        return setup.Confirmed(at=at, sure=word in YES)
    if word == "end" or (yes and question.kind == "close"):
        return setup.Closed(at=at)
    if yes:
        return setup.Turned(at=at, angles=job.told_angles)
    if word == ("skip" if question.kind == "turn" else "pass"):
        return setup.Turned(at=at, angles=job.left_angles)
    if question.kind == "close" and ":" not in text:
        raise ScenarioError(
            f"is {show(text)}; press Enter to end the job, or write pass to read once more"
        )
    named, angle = _outlet_at(job, text)
    return setup.Left(at=at, outlet=named, angle=angle)


def _read(
    job: Job, outlet: int, heights: tuple[float, ...], before: tuple[float, ...], at: str
) -> setup.Read:
    odd = doubt(job.now, outlet, before + heights)
    return setup.Read(at=at, outlet=outlet, heights=heights, doubtful=odd is not None)


def _is_height(text: str, bare_unit: str | None) -> bool:
    try:
        read_heights(text, bare_unit)
    except ScenarioError:
        return False
    return True


def outlet_of(job: Job, text: str) -> int:
    """The outlet that is named by a label or a number."""
    return outlet_named(text.strip(), [outlet.label for outlet in job.site.outlets])


def _outlet_at(job: Job, text: str) -> tuple[int, float]:
    """An outlet and a clock position, as in `3 7:45`."""
    name, _, position = text.strip().rpartition(" ")
    if not name:
        raise ScenarioError(
            f"is {show(text.strip())}; write Enter alone, or an outlet and where its hole stands, "
            "as 3 7:45"
        )
    return outlet_of(job, name.removesuffix(" at")), units.clock(position)
