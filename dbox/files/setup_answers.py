"""Typed answers of a guided set-up, to events: each is read by the question that it answers.

A line of readings is all that is read of one outlet. With `all` before it, or typed where the water
is asked for, it holds one for each outlet that is not read yet, or those of each between commas.
"""

import re
from typing import Any

from dbox import keys, units
from dbox.errors import ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job, Question
from dbox.files import toml_file
from dbox.files.box_interview import NO, NOT_KNOWN, YES, check, left_out, outlet_named
from dbox.files.scenario_tables import InsertTable
from dbox.files.toml_file import with_values
from dbox.files.typed import read_heights
from dbox.keys import keys_of

USUAL_METHOD = "ruler from still water"

_TOOLS = ("rule", "tape", "laser", "rod", "straightedge", "gauge", "stick", "caliper", "transit")
"""What heights are read by, so that no other word is taken for that."""


CARRY = ("carry", "carry over", "as before")
"""What takes over what the visit before has read."""


def usual_method(job: Job) -> str:
    """How heights are read where that is not said: as in the pass before."""
    methods = [each.method for each in job.passes if each.method not in (None, setup.NOT_READ)]
    return (methods[-1] if methods else None) or USUAL_METHOD


def offered(job: Job, outlet: int) -> tuple[float, ...]:
    """Heights that `same` takes: those that are corrected, or those of the scenario. [m]

    At a later visit what the scenario says is old.
    """
    if job.now.correcting is not None:
        return job.now.readings[outlet]
    first = job.now.number == 1 and job.compared is None
    return job.site.outlets[outlet].readings if first else ()


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
    if question.kind == "still" and word in CARRY:
        return setup.Carried(at=at, outlets=carried(job))
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


_STUCK = re.compile(
    r"(?P<word>stuck|fixed|free)\b[\s:]*(?P<which>.*)|(?P<first>.+?)(?:\s+is)?\s+(?P<last>stuck|fixed)",
    re.IGNORECASE,
)


def said_stuck(job: Job, typed: str, at: str) -> setup.Stuck | None:
    """Inserts that are stuck, or `free` again after all; None where something else was typed."""
    match = _STUCK.fullmatch(typed.strip())
    if match is None:
        return None
    word = (match["word"] or match["last"]).lower()
    named, outlets = (match["which"] or match["first"] or "").strip(), job.site.outlets
    labels = [outlet.label for outlet in outlets]
    parts = [named] if named.lower() in map(str.lower, labels) else re.split(
        r"\s*[,;&]\s*|\s+and\s+|\s+", named)  # fmt: skip
    try:
        told = {outlet_named(part, labels) for part in parts if part.lower() != "outlet"}
    except ScenarioError as error:
        raise ScenarioError(
            f"is {show(typed.strip())}; for inserts that cannot be turned write stuck 3, or "
            f"stuck 3 5; the outlets are {', '.join(labels[:20])}"
        ) from error
    now = set(job.now.stuck)
    for i in sorted(told):
        if word == "free" and i not in now:
            raise ScenarioError(
                f"is {show(typed.strip())}; outlet {labels[i]} was not called stuck"
            )
        if word != "free" and (outlets[i].capped or not outlets[i].hole_offset):
            why = "is capped" if outlets[i].capped else "has no insert that turns, by its file"
            raise ScenarioError(f"is {show(typed.strip())}; outlet {labels[i]} {why}")
    return setup.Stuck(at=at, outlets=tuple(sorted(now - told if word == "free" else now | told)))


def known_before(job: Job) -> list[int]:
    """Outlets whose lips stand as the visit before left them, as far as anyone said.

    The lowest one, which the water shows, comes first.
    """
    before = job.compared
    if before is None or before.left is None:
        return []
    left = dict(zip((o.label for o in before.site.outlets), before.left_angles, strict=True))
    found = []
    for i, outlet in enumerate(job.site.outlets):
        place = before.left.lip_of(outlet)
        if place is not None and job.now.angles[i] == left[outlet.label]:
            found.append((float(before.left.lips.height[place]), i))
    return [i for _, i in sorted(found)]


def carried(job: Job) -> tuple[int, ...]:
    """Outlets that need no reading. Where one is new, the lowest old one ties it to the others."""
    known = known_before(job)
    if job.now.number > 1 or not job.changed or not known:
        raise ScenarioError(
            "is to take over what the visit before has read, which can be where a line was added, "
            "capped or opened since; press Enter once the water is still, and read every outlet"
        )
    new = any(not o.capped and i not in known for i, o in enumerate(job.site.outlets))
    return tuple(sorted(known[1:] if new else known))


_CHANGE = re.compile(r"(add|cap|rest|open|drop)\s+(?:outlet\s+)?(\S.*)", re.IGNORECASE)
_ADDED = re.compile(r"(.+?)(?:\s+like\s+(.+?))?(?:\s+after\s+(.+?))?(?:\s+(?:gets|with)\s+(.+))?")


_OF_LINE = {"length": "with 60 ft, its length", "area": "with 180 ft2, the bottom of its trench"}
"""What a new line has to tell where the target goes by it, or the file has trenches."""


def line_change(typed: str) -> tuple[str, str] | None:
    """What is to be done to which line of the file, where that is what was typed.

    >>> line_change("cap outlet 2"), line_change("1/8")
    (('cap', '2'), None)
    """
    match = _CHANGE.fullmatch(typed.strip())
    return None if match is None else (match[1].lower(), match[2])


def with_line_change(text: str, done: str, what: str) -> str:
    """The text of a scenario once a line was added, capped, opened or taken out again."""
    tables = toml_file.parse(text, "the file")
    outlets, weights = tables["outlet"], tables.get("target", {}).get("by")
    labels = [str(table.get("label", i)) for i, table in enumerate(outlets, start=1)]
    if done == "add":
        for table, label in zip(outlets, labels, strict=True):
            table["label"] = label
        text = with_values(text, tables)
        match = _ADDED.fullmatch(what)
        label, like, after, part = match.groups() if match else (what, None, None, None)
        if keys.label(label).lower() in [each.lower() for each in labels]:
            raise ScenarioError(f"is {show(what)}; an outlet is called that; take another name")
        hole = outlets[outlet_named(like, labels) if like else -1]
        place = outlet_named(after, labels) + 1 if after else len(labels)
        own = {key: value for key, value in hole.items() if key in keys_of(InsertTable)}
        outlets.insert(place, {"label": label, **own})
        of_line = "area" if weights == "area" else "length"
        if part is None and (weights in ("length", "area") or isinstance(weights, list)
                             or "trench" in tables):  # fmt: skip
            parted = isinstance(weights, list)
            how = "with 1, its part beside the others'" if parted else _OF_LINE[of_line]
            mend = f"more of it is needed: add {label} {how}"
            raise ScenarioError(f"is {show(f'add {what}')}; {mend}")
        if isinstance(weights, list):
            weights.insert(place, keys.weight(part))
        elif part is not None:
            outlets[place][f"line_{of_line}"] = part
        return with_values(text, tables)
    place = outlet_named(what, labels)
    if done == "drop":
        for each in (outlets, weights):
            if isinstance(each, list):
                del each[place]
    elif done == "open":
        outlets[place].pop("state", None)
    else:
        outlets[place]["state"] = "capped"
        label = labels[place]
        had_part = [p for p in tables.get("pour", ())
                    if label in p.get("catch", ()) or label in p.get("order", ())]  # fmt: skip
        aside = _set_aside(tables, had_part, f"outlet {label} was capped")
        return with_values(text, tables) + aside
    return with_values(text, tables)


def with_pours_aside(text: str, what: str) -> str:
    """The text of a scenario, its pours that were done before something now comments."""
    tables = toml_file.parse(text, "the file")
    done = [pour for pour in tables.get("pour", ()) if pour.get("catch") or pour.get("order")]
    aside = _set_aside(tables, done, what)
    return with_values(text, tables) + aside if done else text


def _set_aside(tables: dict[str, Any], old: list[Any], what: str) -> str:
    """Take out pours of a box that has changed since; as comments they stay."""
    if not old:
        return ""
    tables["pour"] = [pour for pour in tables["pour"] if pour not in old]
    if not tables["pour"]:
        del tables["pour"]
    told = toml_file.toml_text({"pour": old}).strip().splitlines()
    return f"\n# Poured before {what}:\n" + "".join(f"# {x}\n" for x in told)


def with_detail(text: str, topic: str, label: str, typed: str) -> str:
    """The text of a scenario with the place or the length of a line, as the interview asks it."""
    tables = toml_file.parse(text, "the file")
    known = {"units": tables.get("units", "in"), "outlets": "1"}
    said = check(f"{topic} {label}" if topic == "place" else topic, typed, known)
    for i, table in enumerate(tables["outlet"], start=1):
        if str(table.get("label", i)) == label:
            table |= {"line_length": said} if topic == "lengths" else {"at": said.split(", ")}
    return with_values(text, tables)


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
    doubtful = job.now.doubt(outlet, heights) is not None
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
    if question.kind == "reading" or not job.now.complete:
        unread = [i for i in unread if not (job.now.settled[i] or i in job.now.skipped)]
    told = said_heights(every, bare_unit)
    if len(told) == len(unread):
        return [(i, (height,)) for i, height in zip(unread, told, strict=True)]
    parts = re.split(r"\s*;\s*|,\s+", every)
    if len(parts) != len(unread):
        count = f"{len(told)} reading{'s' * (len(told) != 1)}"
        said = f"{show(text)}, {count} for {len(unread)} outlets"
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
