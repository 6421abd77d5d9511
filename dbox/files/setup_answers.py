"""Typed answers of a guided set-up, to events: each is read by the question that it answers.

A line of readings is all that is read of one outlet. With `all` before it, or typed where the water
is asked for, it holds one for each outlet that is not read yet, or those of each between commas.
"""

import re
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job, Question, doubt
from dbox.files.box_interview import NO, NOT_KNOWN, YES, check, left_out, outlet_named
from dbox.files.typed import read_heights

USUAL_METHOD = "ruler from still water"

_TOOLS = ("rule", "tape", "laser", "rod", "straightedge", "gauge", "stick", "caliper", "transit")
"""What heights are read by, so that no other word is taken for that."""


def usual_method(job: Job) -> str:
    """How heights are read where that is not said: as in the pass before."""
    methods = [each.method for each in job.passes if each.method]
    return methods[-1] if methods else USUAL_METHOD


def offered(job: Job, outlet: int) -> tuple[float, ...]:
    """Heights that `same` takes: those that are corrected, or those of the scenario. [m]"""
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
    if word == "end" and job.now.complete:
        return setup.Closed(at=at)
    if question.kind == "clock":
        if not text:
            raise ScenarioError("is empty; write a clock position, or skip where it is not known")
        known = None if word in NOT_KNOWN else units.clock(units.said_clock(text))
        return setup.ClockSet(at=at, outlet=outlet, angle=known)
    if question.kind == "still":
        return setup.Still(at=at, method=_method(job, text))
    if question.kind == "reading":
        if word in NOT_KNOWN:
            return setup.Skipped(at=at, outlet=outlet)
        if word == "same" and job.now.correcting is not None:
            return setup.Settled(at=at, outlet=outlet)
        heights = offered(job, outlet) if word == "same" else ()
        if not heights and word in ("", "same"):
            said = show(text) if text else "empty"
            raise ScenarioError(f"is {said}; write the reading, or skip where it is not measured")
        return read_of(job, outlet, heights or said_heights(text, bare_unit), at)
    if question.kind == "confirm":
        if word in NOT_KNOWN:
            return setup.Skipped(at=at, outlet=outlet)
        if word not in ("", *NO, *YES):
            raise ScenarioError(f"is {show(text)}; write yes if it is meant, or no to read again")
        return setup.Confirmed(at=at, sure=word in YES)
    if yes and question.kind == "close":
        return setup.Closed(at=at)
    if yes:
        return setup.Turned(at=at, angles=job.told_angles)
    if word in (NOT_KNOWN[:2] if question.kind == "turn" else ("pass",)):
        return setup.Turned(at=at, angles=job.left_angles)
    if question.kind == "close" and not any(mark in text for mark in ":."):
        raise ScenarioError(
            f"is {show(text)}; press Enter to end the job, or write pass to read once more"
        )
    named, angle = _outlet_at(job, text)
    return setup.Left(at=at, outlet=named, angle=angle)


def read_told(job: Job, topic: str, typed: str, bare_unit: str | None) -> Any:
    """What a line says of the box, in SI; None where it is left out."""
    if not typed.strip() or left_out(topic, typed):
        return None
    unit = bare_unit or ("mm" if job.site.metric else "in")
    known = {"units": unit, "outlets": str(len(job.site.outlets)), "lengths": "known"}
    kept = check(topic, typed, known)
    if topic == "air_hole":
        return kept == "yes"
    if topic in ("drop", "rim"):
        return (keys.depth if topic == "rim" else keys.drop)(kept, unit)
    parts = kept.split(", ")
    if topic == "lengths":
        return tuple(units.length(part) for part in parts)
    weights = topic == "target" and len(parts) > 1
    return tuple(float(part) for part in parts) if weights else kept or "equal"


def _method(job: Job, text: str) -> str:
    """How heights are read, as it is said where the water is told to be still."""
    first = text.lower().partition(" ")[0].rstrip(",.")
    if by := re.search(r"\bby (.+)", text, re.IGNORECASE):
        return keys.text(by[1])
    if first in ("", *YES, "still", "ready"):
        return usual_method(job)
    if any(tool in text.lower() for tool in _TOOLS):
        return keys.text(text)
    how = "" if first in NO else ", or say how heights are read, as by laser"
    raise ScenarioError(f"is {show(text)}; press Enter once the water is still{how}")


def read_of(job: Job, outlet: int, heights: tuple[float, ...], at: str) -> setup.Read:
    """Heights of one outlet as an event, in doubt where they look odd. [m]"""
    doubtful = doubt(job.now, outlet, heights) is not None
    return setup.Read(at=at, outlet=outlet, heights=heights, doubtful=doubtful)


def said_heights(text: str, bare_unit: str | None) -> tuple[float, ...]:
    """Heights on a line, with a point or a comma for decimals. [m]"""
    # a fraction with no unit is of an inch (common practice, no source)
    unit = "in" if bare_unit is None and "/" in text else bare_unit
    return read_heights(units.said_number(text), unit)


def readings_of_all(
    job: Job, question: Question, typed: str, bare_unit: str | None
) -> list[tuple[int, tuple[float, ...]]]:
    """Heights of each outlet that is not read yet, where a line gives them all; else none. [m]"""
    text = typed.strip()
    every = re.sub(r"^all\b[\s:]*", "", text, flags=re.IGNORECASE)
    number = re.match(r"[-+.]?\s*[0-9]", units.clean(text)) and question.kind == "still"
    if not (number or every != text) or question.kind not in ("still", "reading"):
        return []
    unread = [i for i, outlet in enumerate(job.site.outlets) if not outlet.capped]
    if question.kind == "reading":
        unread = [i for i in unread if not (job.now.settled[i] or i in job.now.skipped)]
    told = said_heights(every, bare_unit)
    if len(told) == len(unread):
        return [(i, (height,)) for i, height in zip(unread, told, strict=True)]
    parts = re.split(r"\s*;\s*|,\s+", every)
    if len(parts) != len(unread):
        said = f"{show(text)}, {len(told)} readings for {len(unread)} outlets"
        raise ScenarioError(f"is {said}; write one for each, or press Enter: readings come next")
    bare_unit = re.sub(r".*?([a-z\"]*)$", r"\1", every.lower()) or bare_unit
    return [(i, said_heights(p, bare_unit)) for i, p in zip(unread, parts, strict=True)]


def outlet_of(job: Job, text: str) -> int:
    """The outlet that is named by a label or a number."""
    return outlet_named(text.strip(), [outlet.label for outlet in job.site.outlets])


def _outlet_at(job: Job, text: str) -> tuple[int, float]:
    """An outlet and a clock position, as in `3 7:45`."""
    plain = re.sub(r"\s*o['’]?\s*clock$", "", text.strip(), flags=re.IGNORECASE)
    name, _, position = plain.rpartition(" ")
    if not name:
        raise ScenarioError(
            f"is {show(text.strip())}; write Enter alone, or an outlet and where its hole stands, "
            "as 3 7:45"
        )
    name = name.strip().removesuffix(" at").removeprefix("outlet ")
    return outlet_of(job, name), units.clock(units.said_clock(position))
