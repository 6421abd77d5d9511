"""The log of a guided set-up: every answer kept, and the job that it leads to.

The log of `box.toml` is `box.toml.log.jsonl`, next to it. One line is one complete event,
here cut in two:

    {"n": 7, "event": "read", "at": "2025-05-06T09:30:00+02:00", "outlet": "3",
     "readings_m": [0.0032]}

Lines are numbered, so that one that was taken out, doubled or moved by hand is noticed; those of
earlier versions are not. A blank line says nothing.

An event is on the disk (`fsync`) before the next question is asked. A last line without its newline
was torn off by a kill or a power cut: where it is no event, it is set aside in a file of its own.
Where a write fails, as on a full disk, the log is cut back to the last complete event. The system's
lock on the open log, which ends with the process however that ends, keeps a second job off the same
scenario; so the log grows in place, since a file that is replaced leaves its lock behind.

Lines of the interview (where there was no scenario yet) come first. `begun` names the box that the
job is about and what the visit is called; what follows are the events of `fieldwork.setup`. A
second `begun` is another visit in the same log; the visits before it stay as they are, each with
the box that it was about. Each line carries what was typed beside what it means in SI.

Which box a log goes with: see `logged_box`.
"""

import contextlib
import json
import os
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import Field, StrictBool, StrictStr, TypeAdapter

from dbox.errors import DomainError, ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Event, Job, Rules, begin, replay
from dbox.fieldwork.site import INLETS, Site
from dbox.files.logged_box import Number, differences, identity, line_changes, logged_site
from dbox.files.write_file import cannot_write, keep_name, lock

MOST_BYTES = 5_000_000
"""A job of a thousand passes is smaller."""

Entry = dict[str, Any]


def log_path(scenario: Path) -> Path:
    """Where the log of a scenario is kept.

    >>> log_path(Path("box.toml")).name
    'box.toml.log.jsonl'
    """
    return scenario.with_name(f"{scenario.name}.log.jsonl")


def read_log(path: Path) -> list[Entry]:
    """Read a log that another process may be writing; a torn last line is left out."""
    try:
        with path.open("rb") as file:
            return _entries(path, file.read(MOST_BYTES + 1))[0]
    except FileNotFoundError:
        return []
    except OSError as error:
        raise ScenarioError(
            f"{path}: cannot be read ({error.strerror}); name another place"
        ) from error


def _entries(path: Path, content: bytes) -> tuple[list[Entry], bytes]:
    """Every event, and what is left of a torn last line."""
    if len(content) > MOST_BYTES:
        raise ScenarioError(f"{path}: is bigger than {MOST_BYTES} bytes; move it away")
    end = content.rfind(b"\n") + 1
    entries: list[Entry] = []
    for number, line in enumerate(content[:end].splitlines(), start=1):
        if not line.strip():
            continue
        entry = _entry(line)
        if entry is None:
            told = show(line.decode(errors="replace"))
            raise _not_as_written(path, number, f"{told}, which is no event of a job")
        entries.append(_in_turn(path, number, entry, len(entries) + 1))
    # all of the last event may be there, with only its newline missing
    last = _entry(content[end:])
    if last is None:
        return entries, content[end:]
    return [*entries, _in_turn(path, content.count(b"\n") + 1, last, len(entries) + 1)], b""


def _in_turn(path: Path, line: int, entry: Entry, turn: int) -> Entry:
    """An event without its number, which is its turn where there is one."""
    number = entry.pop("n", turn)
    if number != turn:
        raise _not_as_written(
            path, line, f"number {show(number)}, not {turn}: lines were lost, doubled or moved"
        )
    return entry


def _not_as_written(path: Path, line: int, fault: str) -> ScenarioError:
    return ScenarioError(
        f"{path}: line {line} is {fault}; put the log back as it was, or move it away and "
        "start over"
    )


def _entry(line: bytes) -> Entry | None:
    """One event; None where the line is none."""
    try:
        entry = json.loads(line, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return None
    return entry if isinstance(entry, dict) and _has_form(entry) else None


def _has_form(entry: Entry) -> bool:
    """Whether an entry names its event, and what it says of a box can be looked up in it."""
    tables = [entry.get(key) for key in ("box", "angles_rad", "told")]
    if isinstance(tables[0], dict):
        outlets = tables[0].get("outlets", [])
        tables += outlets if isinstance(outlets, list) else ["no list"]
    return isinstance(entry.get("event"), str) and all(
        table is None or isinstance(table, dict) for table in tables
    )


def _refuse(constant: str) -> None:
    raise ValueError(constant)


class NotKeptError(ScenarioError):
    """An answer that no disk takes; the job cannot go on, and all before it is kept."""


class JobLog:
    """A log that is open for one job and locked against every other.

    path: The log; made where there is none.
    at: The time, for the line that says who has it open.
    entries: Every event so far.
    torn: Where a torn last line was set aside just now; None: there was none.
    """

    def __init__(self, path: Path, at: str) -> None:
        self.path = path
        self.torn: Path | None = None
        new = not path.exists()
        try:
            self._file = path.open("a+b", buffering=0)
        except OSError as error:
            raise cannot_write(path, error) from error
        try:
            if not lock(self._file.fileno()):
                opened = [e.get("process") for e in read_log(path) if e["event"] == "opened"]
                who = f"process {opened[-1]}" if opened else "another process"
                raise ScenarioError(
                    f"{path}: {who} has this job open; end it there, or go on there"
                )
            self.entries = self._mended()
            self.append({"event": "opened", "at": at, "process": os.getpid()})
            if new:
                keep_name(path)
        except OSError as error:
            self.close()
            raise cannot_write(path, error) from error
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "JobLog":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """Close the log, which frees it for others."""
        self._file.close()

    def append(self, entry: Mapping[str, object]) -> None:
        """Bring one event to the disk."""
        length = os.fstat(self._file.fileno()).st_size
        try:
            line = json.dumps({"n": len(self.entries) + 1, **entry}, allow_nan=False)
            self._write(line.encode("ascii") + b"\n")
            os.fsync(self._file.fileno())
        except OSError as error:
            # where this fails too, the piece is set aside when the log is opened again
            with contextlib.suppress(OSError):
                self._file.truncate(length)
            raise NotKeptError(
                f"{self.path}: the last step cannot be kept ({error.strerror}); all before it "
                "are. Make room and run the same command again"
            ) from error
        self.entries.append(dict(entry))

    def _write(self, content: bytes) -> None:
        """Write all of the content; a disk that is nearly full takes a part first."""
        while content:
            content = content[self._file.write(content) :]

    def _mended(self) -> list[Entry]:
        """Every event; a torn last line gets its newline or is set aside."""
        self._file.seek(0)
        content = self._file.read()
        entries, torn = _entries(self.path, content)
        if torn:
            aside = self.path.with_name(f"{self.path.name}.torn")
            with aside.open("ab") as file:
                file.write(torn + b"\n")
                file.flush()
                os.fsync(file.fileno())
            self._file.truncate(len(content) - len(torn))
            self.torn = aside
        elif not content.endswith(b"\n"):
            self._write(b"\n" if content else b"")
        return entries


@dataclass(frozen=True, kw_only=True)
class Visit:
    """One visit to a box, as its log tells it."""

    box: Mapping[str, Any]  # The box that it is about, as `identity`.
    # Where holes stood at the beginning, by label, where that was told. [rad]
    angles: Mapping[str, float | None] | None
    begun_at: str  # When it began, as ISO 8601; empty where not known.
    name: str = ""  # What it is called; empty where nobody said.
    # What earlier visits were told of the box, by topic.
    told: Mapping[str, Any] = field(default_factory=dict)
    stuck: Sequence[str] = ()  # Labels of the outlets whose inserts did not turn by then.
    entries: tuple[Entry, ...] = ()  # Lines of its job.
    number: int = 1  # From 1; one in which nothing was read or taken over is not counted.
    count: int = 1  # Of how many.


def visits(entries: Iterable[Entry]) -> tuple[Visit, ...]:
    """Every visit that a log tells of, the first one first."""
    found: list[Visit] = []
    for entry in entries:
        kind = entry["event"]
        if kind == "begun":
            if found and not any(
                each["event"] in ("read", "carried") for each in found[-1].entries
            ):
                found.pop()
            found.append(
                Visit(box=entry.get("box") or {}, angles=entry.get("angles_rad"),
                      begun_at=str(entry.get("at", "")), name=str(entry.get("visit") or ""),
                      told=entry.get("told") or {}, stuck=entry.get("stuck") or ())
            )  # fmt: skip
        elif kind == "edited" and found:
            box, angles = entry.get("box") or {}, found[-1].angles
            if angles is not None:
                # an outlet that has come since stands as the file said then
                clocks = {o.get("label"): o.get("clock_rad") for o in box.get("outlets", ())}
                angles = {**clocks, **angles}
            found[-1] = replace(found[-1], box=box, angles=angles)
        elif kind in _NAMES and found:
            found[-1] = replace(found[-1], entries=(*found[-1].entries, entry))
    return tuple(replace(v, number=i, count=len(found)) for i, v in enumerate(found, start=1))


def interview_answers(entries: Iterable[Entry]) -> dict[str, str]:
    """The answers of the interview that stand, by key."""
    asked: list[Entry] = []
    for entry in entries:
        if entry["event"] == "begun":
            break
        if entry["event"] in ("described", "asked again"):
            asked.append(entry)
        elif entry["event"] == "undone" and asked:
            asked.pop()
    answers: dict[str, str] = {}
    for entry in asked:
        answers.pop(str(entry.get("key")), None)
        if entry["event"] == "described":
            answers[str(entry.get("key"))] = str(entry.get("typed", ""))
    return answers


_NAMED = (setup.Still, setup.Read, setup.Confirmed, setup.Settled, setup.Skipped, setup.Correcting,
          setup.Left, setup.Stuck, setup.Carried, setup.Turned, setup.Told, setup.Closed,
          setup.Undone)  # fmt: skip
_NAMES: dict[str, type[Event]] = {
    "clock": setup.ClockSet, **{kind.__name__.lower(): kind for kind in _NAMED}
}  # fmt: skip
EVENTS = frozenset(_NAMES)
"""What an event of a job may be called."""

_FIELDS: dict[str, TypeAdapter[Any]] = {
    "angle": TypeAdapter(Number | None),
    "heights": TypeAdapter(Annotated[tuple[Number, ...], Field(min_length=1)]),
    "method": TypeAdapter(StrictStr),
    "doubtful": TypeAdapter(StrictBool),
    "sure": TypeAdapter(StrictBool),
}
_TOLD: dict[str, Any] = {
    "inlet": Literal[INLETS],
    "air_hole": StrictBool,
    "drop": Number,
    "pipes": StrictStr,
    "rim": Annotated[float, Field(strict=True, ge=0, le=5)],
    "lengths": dict[str, Annotated[float, Field(strict=True, gt=0, le=1000)] | None],
    "target": Literal["equal", "length"] | dict[str, Annotated[float, Field(strict=True, ge=0)]],
}
"""What may be told of a box, by topic; what is told outlet by outlet, by label."""


def carried_told(before: Job) -> dict[str, Any]:
    """What a job was told of its box that holds at another visit too."""
    # a rim is told over a still water that will be another
    return {
        topic: _labelled(value, before.site)
        for topic, value in before.told.items()
        if value is not None and topic != "rim"
    }


def _labelled(value: Any, site: Site) -> Any:
    if not isinstance(value, tuple):
        return value
    return dict(zip((outlet.label for outlet in site.outlets), value, strict=True))


def _told_value(topic: object, value: object, site: Site) -> Any:
    """What was told of a box; None: left out, or there are other outlets by now."""
    told = TypeAdapter(_TOLD[str(topic)] | None).validate_python(value)
    if not isinstance(told, dict):
        return told
    each = tuple(told.get(outlet.label) for outlet in site.outlets)
    return None if topic == "target" and None in each else each


_KEYS = {"heights": "readings_m", "angle": "angle_rad", "angles": "angles_rad"}


def entry_of(event: Event, site: Site, typed: str | None) -> Entry:
    """Write an event as a line of the log; `typed` is None where it follows from the one before."""
    name = next(name for name, kind in _NAMES.items() if kind is type(event))
    fields = {_KEYS.get(key, key): value for key, value in vars(event).items()}
    entry = {"event": name, "at": fields.pop("at"), **fields}
    if typed is not None:
        entry["typed"] = typed
    labels = [outlet.label for outlet in site.outlets]
    if "outlet" in entry:
        entry["outlet"] = labels[fields["outlet"]]
    if "outlets" in entry:
        entry["outlets"] = [labels[i] for i in fields["outlets"]]
    if isinstance(event, setup.Told):
        entry["value"] = _labelled(event.value, site)
    if "angles_rad" in entry:
        entry["angles_rad"] = dict(zip(labels, fields["angles_rad"], strict=True))
    return entry


def event_of(entry: Entry, site: Site) -> Event:
    """Read an event from a line of the log."""
    kind = _NAMES[entry["event"]]
    labels = [outlet.label for outlet in site.outlets]
    fields: dict[str, Any] = {"at": str(entry.get("at", ""))}
    try:
        for name in kind.__dataclass_fields__.keys() - {"at"}:
            value = entry[_KEYS.get(name, name)]
            if name == "outlet":
                fields[name] = labels.index(value)
            elif name == "outlets":
                fields[name] = tuple(map(labels.index, value))
            elif name == "angles":
                fields[name] = tuple(_FIELDS["angle"].validate_python(value[o]) for o in labels)
            elif kind is setup.Told:
                fields |= {"key": entry["key"]}
                fields["value"] = _told_value(entry["key"], entry["value"], site)
            else:
                fields[name] = _FIELDS[name].validate_python(value)
        return kind(**fields)
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(
            f"the answer {show(entry['event'])} of {show(entry.get('at', '?'))} does not go with "
            "the outlets of the scenario; put the log or the scenario back as it was, or begin "
            "another visit with --again, which keeps all of this one"
        ) from error


def carried_stuck(before: Job, site: Site) -> list[str]:
    """Labels of the outlets whose inserts did not turn and are the same at another visit."""
    stuck = [before.site.outlets[i] for i in before.now.stuck]
    inserts = {(o.label, o.opening, o.hole_offset) for o in stuck}
    return [o.label for o in site.outlets if (o.label, o.opening, o.hole_offset) in inserts]


def carried_angles(before: Job, site: Site) -> dict[str, float | None]:
    """Where the holes stand at another visit, by label. [rad]"""
    left = dict(zip(before.site.outlets, before.left_angles, strict=True))
    inserts = {(o.label, o.opening, o.hole_offset, o.clock): left[o] for o in left}
    return {
        o.label: inserts.get((o.label, o.opening, o.hole_offset, o.clock), o.clock)
        for o in site.outlets
    }


def played(site: Site, rules: Rules, visit: Visit, earlier: Job | None = None) -> Job:
    """The job that a visit has come to, as its log tells it; earlier: the visit before."""
    angles = None
    try:
        stuck = [i for i, o in enumerate(site.outlets) if o.label in visit.stuck]
        if visit.angles is not None:
            # the log knows nothing of an outlet that has come since
            known = {o.get("label") for o in visit.box.get("outlets", ())} | visit.angles.keys()
            angles = [
                _FIELDS["angle"].validate_python(visit.angles[o.label])
                if o.label in known
                else o.clock
                for o in site.outlets
            ]
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(
            "where the holes stand by the log does not go with the outlets; put the log or the "
            "scenario back as it was, or begin another visit with --again"
        ) from error
    start = begin(site, rules, angles, earlier, stuck)
    changed: list[str] = []
    if start.compared is not None:
        was = identity(start.compared.site)
        changed = [*differences(was, site), *line_changes(was, identity(site))]
    start = replace(
        start,
        visit=visit.number,
        visits=visit.count,
        begun_at=visit.begun_at,
        name=visit.name,
        changed=tuple(changed),
    )
    events = [event_of(entry, site) for entry in visit.entries]
    try:
        for topic, value in visit.told.items():
            known = _told_value(topic, value, site)
            start = start if known is None else start.having(topic, known)
        return replay(start, events)
    except (DomainError, IndexError, KeyError, ValueError) as error:
        said = f": {error}" if isinstance(error, DomainError) else ""
        raise ScenarioError(
            f"the log cannot be played again{said}; put it back as it was, or move it away and "
            "start over"
        ) from error


def all_played(told: Iterable[Visit], site: Site, rules: Rules) -> list[Job]:
    """The jobs of visits, each with the box that it was about, the first one first."""
    jobs: list[Job] = []
    for each in told:
        earlier = jobs[-1] if jobs else None
        box = logged_site(each.box, site, earlier=each.number < each.count)
        jobs.append(played(box, rules, each, earlier))
    return jobs


def present_job(told: Sequence[Visit], site: Site, rules: Rules, *, mended: bool = False) -> Job:
    """The job of the last visit: that of the file while it goes on, or where the file was mended.

    Raises `ScenarioError` where what was answered does not go with the file.
    """
    *before, last = told
    jobs = all_played(before, site, rules)
    earlier = jobs[-1] if jobs else None
    logged = site if mended else logged_site(last.box, site)
    job = played(logged, rules, last, earlier)
    return job if job.closed or logged is site else played(site, rules, last, earlier)


def kept_setup(scenario: Path, site: Site, rules: Rules, visit: int | None = None) -> Job | None:
    """Read what was done in a set-up, finished or not."""
    log = log_path(scenario.resolve())
    told: Sequence[Visit] = visits(read_log(log))
    if visit is not None:
        if not 1 <= visit <= len(told):
            raise ScenarioError(f"{log}: holds {len(told)} visits; there is no visit {visit}")
        return all_played(told[:visit], site, rules)[-1]
    if not told:
        return None
    if changed := differences(told[-1].box, site):
        raise ScenarioError(
            f"{log}: belongs to another scenario than {scenario.name}: {'; '.join(changed)}; move "
            f"the log away, mend the scenario, or print what it holds with --visit {len(told)}"
        )
    jobs = all_played(told, site, rules)
    # a visit that was only begun does not pass over the one before it
    return next((job for job in reversed(jobs) if job.last_complete), jobs[-1])
