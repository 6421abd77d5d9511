"""A set-up between a page on a phone and the log here: what a page begins with, what it saves.

The page keeps its job as lines of the log (`job_log`), so what it saves is played again here event
by event before anything is written. A log takes what the page knows beyond it; where the two have
gone on apart, neither is changed.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import repeat
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from dbox import keys
from dbox.errors import DomainError, ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.readings import Doubt, without_placeholders
from dbox.fieldwork.setup import Job, Rules
from dbox.fieldwork.site import Site
from dbox.files import box_interview, job_log
from dbox.files.job_log import Entry, JobLog, Visit, entry_of, event_of, visits
from dbox.files.logged_box import Number, differences, identity, line_changes
from dbox.files.pour_keys import DRY
from dbox.files.scenario import loads
from dbox.files.toml_file import parse, read_text, with_values
from dbox.files.write_file import write_file

KIND, VERSION = "a set-up of dbox, saved from its page", 1
"""What tells such a file from any other."""

RECORD = ("permit", "address", "who", "notes")
"""Entries of the record that the page asks for."""


def page_start(site: Site, told: Sequence[Visit], file: str) -> tuple[Site, dict[str, Any]]:
    """The box that a page begins with, and what is known of its job besides; told: of its log."""
    start, entries = without_placeholders(site), []
    if told:
        visit = told[-1]
        entries = list(visit.entries)
        if any(entry["event"] == "carried" for entry in entries):
            raise ScenarioError(
                f"{file}: its present visit takes over lips that were read before, which a page "
                f"cannot; go on with: dbox setup {file}"
            )
        job = job_log.present_job(told, site, Rules())
        angles, stuck = visit.angles or {}, {job.site.outlets[i].label for i in job.now.stuck}
        # what the file holds of a later visit is old; what was stuck before it is told in no entry
        outlets = tuple(
            replace(
                o,
                clock=angles.get(o.label, o.clock),
                readings=o.readings * (len(told) == 1),
                hole_offset=None if o.label in stuck.intersection(visit.stuck) else o.hole_offset,
            )
            for o in job.site.outlets
        )
        start = replace(job.site, outlets=outlets)
    record = {name: getattr(site.record, name) for name in RECORD}
    known = {"name": site.title, "file": file, "box": identity(site), "starter": site.placeholder,
             "invented": site.record.invented, "answers": None, "entries": entries,
             "record": record, "pours": []}  # fmt: skip
    return start, known


class _Table(BaseModel):
    model_config = ConfigDict(strict=True, extra="ignore")


_Text = Annotated[str, Field(max_length=2000)]


class SavedPour(_Table):
    """A pour as it was typed on the page."""

    volume: _Text
    time: _Text
    jug: _Text
    way: Literal["jug", "volume"]
    seconds: _Text
    catches: dict[str, _Text]

    def table(self, *, metric: bool) -> dict[str, Any] | None:
        """The pour as a scenario has it; None while it lacks what it cannot do without."""
        pail, jug = ("L", "L") if metric else ("gal", "qt")
        known = {label: text for label, text in self.catches.items() if text.strip()}
        needed = (self.volume, self.time, self.jug if self.way == "jug" else self.seconds)
        if not known or not all(text.strip() for text in needed):
            return None

        def caught(text: str) -> str:
            if text == DRY:
                return DRY
            plain = _plain(text)
            by_jug = self.way == "jug"
            return f"{plain} s" if by_jug else f"{plain} {jug} in {_plain(self.seconds)} s"

        table = {"volume": f"{_plain(self.volume)} {pail}", "time": f"{_plain(self.time)} s"}
        if self.way == "jug":
            table["jug"] = f"{_plain(self.jug)} {jug}"
        return {**table, "catch": {label: caught(text) for label, text in known.items()}}


def _plain(text: str) -> str:
    return text.strip().replace(",", ".")


class _SavedOutlet(_Table):
    label: _Text
    clock: Number | None


class _SavedSite(_Table):
    units: Literal["in", "mm"]
    outlets: list[_SavedOutlet]


class Saved(_Table):
    """What a page has saved."""

    path: Annotated[Path, Field(exclude=True)] = Path()  # Where it was read; not in it.
    kind: Literal["a set-up of dbox, saved from its page"]
    version: Literal[1]
    name: _Text  # What the job is called.
    box: dict[str, Any] | None  # As `identity`; None where the page has asked for the box.
    answers: dict[str, str] | None  # To the questions of `box_interview`, by key.
    site: _SavedSite
    entries: list[Entry]  # As lines of the log.
    pours: list[SavedPour]
    record: dict[str, _Text]


def read_saved(path: Path) -> Saved:
    """Read a file that a page has saved."""
    text = read_text(path, most_bytes=job_log.MOST_BYTES, limit="a saved set-up is smaller")
    try:
        saved = Saved.model_validate_json(text.removeprefix("\ufeff"))
    except ValidationError as error:
        raise ScenarioError(f"{path}: {_fault(error)}") from error
    return saved.model_copy(update={"path": path})


_AGAIN = "save the job once more on its page"


def _fault(error: ValidationError) -> str:
    """What is wrong with such a file: where, the value, the mend."""
    first = min(error.errors(), key=lambda each: each["loc"] not in (("kind",), ("version",)))
    place = ""
    for part in first["loc"]:
        place += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if place else part
    if first["type"] == "json_invalid":
        return f"is no whole file of a page ({first['ctx']['error']}); {_AGAIN}"
    if place == "version":
        return f"version is {show(first['input'])}, which this dbox does not know; update it"
    if not place or place == "kind":
        return f"was not saved by a page of dbox; {_AGAIN} and name that file"
    if first["type"] == "missing":
        return f"has no {place}; {_AGAIN}"
    return f"{place} is {show(first['input'])}; {_AGAIN}"


@dataclass(frozen=True, kw_only=True)
class Taking:
    """What a log is to take of a saved set-up; nothing of it is written yet."""

    scenario: str  # The text of the scenario once it is taken.
    makes: bool  # Whether there is no scenario yet.
    described: Mapping[str, str]  # Answers about the box, where the scenario is made of them.
    begun: Entry | None  # The line that begins a visit; None where one goes on.
    entries: tuple[Entry, ...]  # Lines that the log lacks.
    # Readings that the page has not asked about and that look odd, each with its outlet.
    doubts: tuple[tuple[int, Doubt], ...]
    left: tuple[str, ...]  # What stays in the saved file alone, and why.
    inlet: str | None  # How a straight inlet ends by now, where that was told.
    job: Job  # How the job stands then.


def taking(
    saved: Saved, path: Path, logged: Iterable[Entry], at: str, *, again: bool, name: str | None
) -> Taking:
    """Play a saved set-up against a scenario and its log; again: as another visit of a name."""
    logged = list(logged)
    makes, described = not path.exists(), {}
    if saved.answers is not None:
        described = _described(saved)
    if makes and saved.box is not None:
        raise ScenarioError(
            f"{path}: is not there, and {saved.path} is of a box that came from a scenario; name "
            "the file that the page was made from"
        )
    if makes and job_log.interview_answers(logged):
        raise ScenarioError(
            f"{job_log.log_path(path)}: holds answers about a box already; finish them with: dbox "
            f"setup {path}, or take another name"
        )
    text = box_interview.scenario_text(described) if makes else read_text(path)
    site = loads(text, str(path))
    wanted = saved.box or identity(loads(box_interview.scenario_text(described), str(saved.path)))
    if changed := [*differences(wanted, site), *line_changes(wanted, identity(site))]:
        raise ScenarioError(
            f"{saved.path}: is of another box than {path}: {'; '.join(changed)}; name the scenario "
            "that it goes with"
        )
    told = visits(logged)
    begun = None
    if again or not told:
        begun = {"event": "begun", "at": at, "scenario": path.name, "box": identity(site)}
        begun |= {"visit": name} if name else {}
        if told:
            before = job_log.all_played(told, site, Rules())[-1]
            clocks = {outlet.label: outlet.clock for outlet in saved.site.outlets}
            begun |= {"angles_rad": clocks, "told": job_log.carried_told(before),
                      "stuck": job_log.carried_stuck(before, site)}  # fmt: skip
        told = visits([*logged, begun])
    events = [_event(saved, i, site) for i in range(len(saved.entries))]
    typed = [entry.get("typed") for entry in saved.entries]
    lines = [entry_of(*each) for each in zip(events, repeat(site), typed, strict=False)]
    # as they would come back from the log
    lines = json.loads(json.dumps(lines))
    known = told[-1].entries
    alike = next(
        (i for i, (a, b) in enumerate(zip(known, lines, strict=False)) if a != b),
        min(len(known), len(lines)),
    )
    if alike < len(known) and alike < len(lines):
        raise ScenarioError(
            f"{job_log.log_path(path)}: has gone on apart from {saved.path}: {alike} answers are "
            "the same, the next is not; both are kept as they are. To keep the page's as another "
            "visit, add --again"
        )
    job, doubts = _played(saved, told, site, events, alike)
    # the file says what the box is like: an inlet that was turned down since is written there
    said = any(isinstance(event, setup.Told) for event in events[alike:])
    now = job.told.get("inlet") if said and job.site.box.inlet == "straight" else None
    inlet = None if now == "straight" else now
    scenario, left = _with_paper(saved, text, path, inlet)
    if inlet:
        job, doubts = _played(saved, told, loads(scenario, str(path)), events, alike)
    return Taking(
        scenario=scenario, makes=makes, described=described if makes else {}, begun=begun,
        entries=tuple(lines[alike:]), doubts=doubts, left=tuple(left), inlet=inlet, job=job,
    )  # fmt: skip


def _played(
    saved: Saved, told: Sequence[Visit], site: Site, events: Sequence[setup.Event], known: int
) -> tuple[Job, tuple[tuple[int, Doubt], ...]]:
    """The job that a log and what it lacks lead to, and readings to look at again; known: events
    that the log has."""
    job, doubts = job_log.present_job(told, site, Rules()), []
    for number, event in enumerate(events[known:], start=known + 1):
        if isinstance(event, setup.Read) and not event.doubtful:
            heights = (*job.now.readings[event.outlet], *event.heights)
            if job.now.correcting == event.outlet:
                heights = event.heights
            odd = job.now.doubt(event.outlet, heights)
            doubts += [(event.outlet, odd)] if odd else []
        try:
            job = job.after(event)
        except (DomainError, IndexError, ValueError) as error:
            raise ScenarioError(
                f"{saved.path}: entries[{number}] is {show(saved.entries[number - 1]['event'])} at "
                f"{show(event.at)}, which cannot follow ({error}); {_AGAIN}"
            ) from error
    return job, tuple(doubts)


def take(
    saved: Saved, path: Path, at: str, *, again: bool = False, name: str | None = None
) -> Taking:
    """Take a saved set-up into the log of a scenario; where it cannot be, nothing is changed."""
    log_path = job_log.log_path(path)
    taking(saved, path, job_log.read_log(log_path), at, again=again, name=name)
    with JobLog(log_path, at) as log:
        found = taking(saved, path, log.entries, at, again=again, name=name)
        for key, typed in found.described.items():
            log.append({"event": "described", "at": at, "key": key, "typed": typed})
        if found.makes or found.scenario != read_text(path):
            write_file(path, found.scenario, overwrite=True)
        if found.begun:
            log.append(found.begun)
        for entry in found.entries:
            log.append(entry)
    return found


def _described(saved: Saved) -> dict[str, str]:
    """The answers about the box, each checked as if it were typed."""
    answers, told = dict(saved.answers or {}), dict[str, str]()
    while (key := box_interview.next_key(told, pipes=True)) is not None:
        try:
            told[key] = box_interview.check(key, answers.pop(key, ""), told)
        except ScenarioError as error:
            raise ScenarioError(f"{saved.path}: answers.{key} {error}") from error
    if answers:
        raise ScenarioError(
            f"{saved.path}: answers.{next(iter(answers))} is no question of this box; {_AGAIN}"
        )
    return told


def _event(saved: Saved, i: int, site: Site) -> setup.Event:
    """An entry as an event, checked as far as that goes without those before it."""
    entry, place = saved.entries[i], f"{saved.path}: entries[{i + 1}]"
    if entry.get("event") not in job_log.EVENTS:
        raise ScenarioError(f"{place}.event is {show(entry.get('event'))}, no event; {_AGAIN}")
    try:
        datetime.fromisoformat(entry["at"])
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(f"{place}.at is {show(entry.get('at'))}, no time; {_AGAIN}") from error
    try:
        event = event_of(entry, site)
        if isinstance(event, setup.Still):
            keys.text(event.method)
        keys.text(entry.get("typed", ""))
    except ScenarioError as error:
        labels = ", ".join(outlet.label for outlet in site.outlets)
        raise ScenarioError(
            f"{place} is {show(entry['event'])} at {show(entry['at'])}, which does not go with "
            f"outlets {labels}, or holds no number where one is wanted; {_AGAIN}"
        ) from error
    return event


def _with_paper(saved: Saved, text: str, path: Path, inlet: str | None) -> tuple[str, list[str]]:
    """The text of a scenario with pours, record and inlet of the page; what could not go in."""
    tables, left = parse(text, str(path)), []
    if inlet:
        tables.setdefault("box", {})["inlet"] = inlet
    record = tables.get("record", {})
    for name, told in saved.record.items():
        if name not in RECORD or not told.strip():
            continue
        if str(record.get(name, told)) != told:
            left.append(f"record.{name}, which is {show(str(record[name]))} in {path.name}")
        elif name not in record:
            tables.setdefault("record", {})[name] = told
    metric = saved.site.units == "mm"
    for number, pour in enumerate(saved.pours, start=1):
        table = pour.table(metric=metric)
        if table is None:
            if any(each.strip() for each in pour.catches.values()):
                left.append(f"pour {number}, which lacks its volume, its time or the jug")
        elif not any({k: p.get(k) for k in table} == table for p in tables.get("pour", ())):
            tables.setdefault("pour", []).append(table)
    written = with_values(text, tables)
    try:
        loads(written, str(path))
    except ScenarioError as error:
        raise ScenarioError(
            *(f"{saved.path}: as taken into {fault}" for fault in error.faults)
        ) from error
    return written, left
