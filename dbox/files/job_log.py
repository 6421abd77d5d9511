"""The log of a guided set-up: every answer kept, and the job that it leads to.

The log of `box.toml` is `box.toml.log.jsonl`, next to it. One line is one complete event:

    {"event": "read", "at": "2025-05-06T09:30:00+02:00", "outlet": "3", "readings_m": [0.0032]}

An event is on the disk (`fsync`) before the next question is asked. A line is written in one go and
ends with a newline, so a last line without one was torn off by a kill or a power cut: it is set
aside in a file of its own. Where a write fails, as on a full disk, the log is cut back to the last
complete event. The system's lock on the open log, which ends with the process however that ends,
keeps a second job off the same scenario.

Lines of the interview (where there was no scenario yet) come first. `begun` names the box that the
job is about; what follows are the events of `fieldwork.setup.events`. A second `begun` is another
visit in the same log; the visits before it stay as they are, each with the box that it was about,
and are told apart by their number. Each line carries what was typed beside what it means in SI.

A log goes with a box, not with the bytes of a file: by the title and, for each outlet, the label,
the hole, its offset, where it stood at first, the point that is read, and whether it is capped. All
that a person may mend while the job runs (tolerance, flows, target, spread, places, line lengths)
is free to change, and is then worked out anew. Any other difference means another box.
"""

import contextlib
import json
import math
import os
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from types import TracebackType
from typing import Any

from dbox.errors import DomainError, ScenarioError, show
from dbox.fieldwork import setup
from dbox.fieldwork.evidence import Evidence
from dbox.fieldwork.setup import Event, Job, Rules, SetupRecord, begin, record, replay, standing
from dbox.fieldwork.site import Outlet, Site, Target, Works
from dbox.files.write_file import keep_name, lock
from dbox.hydraulics.openings import Circle, Notch, Opening, PipeEnd, Slot

MOST_BYTES = 5_000_000
"""A job of a thousand passes is smaller."""

Entry = dict[str, Any]

_BINARY = getattr(os, "O_BINARY", 0)


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
            content = file.read(MOST_BYTES + 1)
    except FileNotFoundError:
        return []
    except OSError as error:
        raise _cannot(path, "read", error) from error
    whole, last = _split(path, content)
    return [*_entries(path, whole), *([] if (entry := _entry(last)) is None else [entry])]


class JobLog:
    """A log that is open for one job and locked against every other.

    path: The log; made where there is none.
    at: The time, for the line that says who has it open.

    Attributes
    ----------
    entries : list of dict
        Every event so far.
    torn : Path or None
        Where a torn last line was set aside just now.
    """

    def __init__(self, path: Path, at: str) -> None:
        self.path = path
        self.torn: Path | None = None
        new = not path.exists()
        try:
            flags = os.O_RDWR | os.O_CREAT | os.O_APPEND | _BINARY
            self._descriptor = os.open(path, flags, 0o644)
        except OSError as error:
            raise _cannot(path, "written", error) from error
        try:
            self._take()
            self.entries = self._recover()
            self.append({"event": "opened", "at": at, "process": os.getpid()})
            if new:
                self._keep_name()
        except BaseException:
            self.close()
            raise

    def __enter__(self) -> "JobLog":
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the log, which frees it for others."""
        os.close(self._descriptor)

    def append(self, entry: Mapping[str, object]) -> None:
        """Bring one event to the disk."""
        line = json.dumps(entry, allow_nan=False).encode("ascii") + b"\n"
        length = os.fstat(self._descriptor).st_size
        try:
            _write(self._descriptor, line)
            os.fsync(self._descriptor)
        except OSError as error:
            # where this fails too, the piece is set aside when the log is opened again
            with contextlib.suppress(OSError):
                os.ftruncate(self._descriptor, length)
            raise ScenarioError(
                f"{self.path}: the last step cannot be kept ({error.strerror}); all before it "
                "are. Make room and run the same command again"
            ) from error
        self.entries.append(dict(entry))

    def _keep_name(self) -> None:
        try:
            keep_name(self.path)
        except OSError as error:
            raise _cannot(self.path, "kept", error) from error

    def _take(self) -> None:
        """Lock the log, or say who has it."""
        try:
            taken = lock(self._descriptor)
        except OSError as error:
            raise _cannot(self.path, "locked", error) from error
        if not taken:
            opened = [e for e in read_log(self.path) if e["event"] == "opened"]
            who = f"process {opened[-1].get('process')}" if opened else "another process"
            raise ScenarioError(
                f"{self.path}: {who} has this job open; end it there, or go on there"
            )

    def _recover(self) -> list[Entry]:
        """Every event of the log, a torn last line mended or set aside."""
        os.lseek(self._descriptor, 0, os.SEEK_SET)
        content = b""
        while piece := os.read(self._descriptor, 1 << 20):
            content += piece
        whole, last = _split(self.path, content)
        entries = _entries(self.path, whole)
        entry = _entry(last)
        try:
            if entry is not None:
                # all of the event is there, only its newline is missing
                _write(self._descriptor, b"\n")
                entries.append(entry)
            elif last:
                self._set_aside(last, len(whole))
        except OSError as error:
            raise _cannot(self.path, "mended", error) from error
        return entries

    def _set_aside(self, piece: bytes, length: int) -> None:
        aside = self.path.with_name(f"{self.path.name}.torn")
        with aside.open("ab") as file:
            file.write(piece + b"\n")
            file.flush()
            os.fsync(file.fileno())
        os.ftruncate(self._descriptor, length)
        self.torn = aside


def _write(descriptor: int, content: bytes) -> None:
    """Write all of the content; a disk that is nearly full takes a part first."""
    while content:
        content = content[os.write(descriptor, content) :]


def _split(path: Path, content: bytes) -> tuple[bytes, bytes]:
    """Part complete lines from what follows the last newline."""
    if len(content) > MOST_BYTES:
        raise ScenarioError(f"{path}: is bigger than {MOST_BYTES} bytes; move it away")
    end = content.rfind(b"\n") + 1
    return content[:end], content[end:]


def _entries(path: Path, whole: bytes) -> list[Entry]:
    entries = []
    for number, line in enumerate(whole.splitlines(), start=1):
        entry = _entry(line)
        if entry is None:
            told = show(line.decode(errors="replace"))
            raise ScenarioError(
                f"{path}: line {number} is {told}, which is no event of a job; put the log back as "
                "it was, or move it away and begin anew"
            )
        entries.append(entry)
    return entries


def _entry(line: bytes) -> Entry | None:
    """One event; None where the line is none."""
    try:
        entry = json.loads(line, parse_constant=_refuse)
    except (ValueError, RecursionError):
        return None
    return entry if isinstance(entry, dict) and isinstance(entry.get("event"), str) else None


def _refuse(constant: str) -> None:
    raise ValueError(constant)


def _cannot(path: Path, what: str, error: OSError) -> ScenarioError:
    return ScenarioError(f"{path}: cannot be {what} ({error.strerror}); name another place")


_NAMES: dict[str, type[setup.Event]] = {
    "clock": setup.ClockSet,
    "still": setup.Still,
    "read": setup.Read,
    "confirmed": setup.Confirmed,
    "settled": setup.Settled,
    "skipped": setup.Skipped,
    "correcting": setup.Correcting,
    "left": setup.Left,
    "turned": setup.Turned,
    "closed": setup.Closed,
    "undone": setup.Undone,
}
_KEYS = {"heights": "readings_m", "angle": "angle_rad", "angles": "angles_rad"}
_HOLES: dict[str, type[Opening]] = {kind.__name__: kind for kind in (Circle, Notch, Slot, PipeEnd)}
_UNITS = {"diameter": "_m", "width": "_m", "height": "_m", "angle": "_rad"}


@dataclass(frozen=True, kw_only=True)
class Story:
    """What a log tells."""

    answers: dict[str, str]  # Answers of the interview that stand, by key.
    # The box that the job is about, as `identity`; None before it began.
    box: dict[str, Any] | None
    # Where holes stood at the beginning, by label, where that was told. [rad]
    angles: dict[str, float | None] | None
    events: tuple[Entry, ...]  # Lines of the job, since it last began.
    # Which visit that is, of how many, from 1; one in which nothing was read is not counted.
    visit: int = 1
    # Which visit that is, of how many, from 1; one in which nothing was read is not counted.
    visits: int = 1
    begun_at: str = ""  # When it began, as ISO 8601; empty where not known.


def story(entries: Sequence[Entry]) -> Story:
    """Read a log from its first line to its last."""
    asked: list[Entry] = []
    box, angles, visit, begun_at = None, None, 1, ""
    job: list[Entry] = []
    for entry in entries:
        kind = entry["event"]
        if kind in ("begun", "edited"):
            box = entry.get("box")
            if kind == "begun":
                visit += _has_read(job)
                job, angles, begun_at = [], entry.get("angles_rad"), str(entry.get("at", ""))
            elif angles is not None:
                # an outlet that has come since stands as the file said then
                angles = {**_clocks(box), **angles}
        elif box is not None and kind in _NAMES:
            job.append(entry)
        elif kind == "undone" and asked:
            asked.pop()
        elif kind in ("described", "asked again"):
            asked.append(entry)
    return Story(
        answers=_answers(asked),
        box=box,
        angles=angles,
        events=tuple(job),
        visit=visit,
        visits=visit,
        begun_at=begun_at,
    )


def visits(entries: Sequence[Entry]) -> tuple[Story, ...]:
    """Every visit that a log tells of, the first one first."""
    begun = [i for i, entry in enumerate(entries) if entry["event"] == "begun"]
    told = [story(entries[:end]) for end in (*begun[1:], len(entries))]
    kept = [each for each in told[:-1] if _has_read(each.events)] + told[-1:]
    return tuple(replace(each, visits=kept[-1].visit) for each in kept)


def _clocks(box: Mapping[str, Any] | None) -> dict[str, float | None]:
    """Where holes stand by what a log names as its box. [rad]"""
    return {o.get("label"): o.get("clock_rad") for o in (box or {}).get("outlets", ())}


def _has_read(job: Sequence[Entry]) -> bool:
    return any(entry["event"] == "read" for entry in job)


def _answers(asked: Sequence[Entry]) -> dict[str, str]:
    answers: dict[str, str] = {}
    for entry in asked:
        key = str(entry.get("key"))
        if entry["event"] == "asked again":
            answers.pop(key, None)
        else:
            answers[key] = str(entry.get("typed", ""))
    return answers


def identity(site: Site) -> dict[str, Any]:
    """What a log goes by: the box, as JSON in SI."""
    return {
        "title": site.title,
        "outlets": [
            {
                "label": outlet.label,
                "hole": {
                    "kind": type(outlet.opening).__name__,
                    **{
                        f"{name}{_UNITS.get(name, '')}": value
                        for name, value in asdict(outlet.opening).items()
                    },
                },
                "offset_m": outlet.hole_offset,
                "clock_rad": outlet.clock,
                "point_over_lip_m": outlet.point_over_lip,
                "capped": outlet.capped,
            }
            for outlet in site.outlets
        ],
    }


def logged_site(box: Mapping[str, Any], present: Site) -> Site:
    """The box that a log goes with, whatever its scenario has become since."""
    if not differences(box, identity(present)):
        return present
    own = {outlet.label: outlet for outlet in present.outlets}
    try:
        outlets = tuple(_logged_outlet(told, own) for told in box["outlets"])
        title = str(box["title"])
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(f"the log does not say which box it is about: {error!r}") from error
    same = [outlet.label for outlet in outlets] == list(own)
    logged = replace(present, title=title, outlets=outlets, target=_target_of(outlets, present))
    # what is told outlet by outlet belongs to the outlets that there are now
    return logged if same else replace(logged, pours=(), evidence=Evidence(), works=Works())


def _logged_outlet(told: Mapping[str, Any], own: Mapping[str, Outlet]) -> Outlet:
    sizes = {key.removesuffix("_m").removesuffix("_rad"): v for key, v in told["hole"].items()}
    opening = _HOLES[sizes.pop("kind")](**sizes)
    label = str(told["label"])
    return replace(
        own.get(label, Outlet(label=label, opening=opening)),
        opening=opening,
        hole_offset=told["offset_m"],
        clock=angle_of(told["clock_rad"]),
        point_over_lip=_finite(told["point_over_lip_m"]),
        capped=bool(told["capped"]),
    )


def _target_of(outlets: Sequence[Outlet], present: Site) -> Target:
    """The target of some of the outlets of a scenario; its own where one has no weight there."""
    known = {o.label: w for o, w in zip(present.outlets, present.target.weights, strict=False)}
    labels = [outlet.label for outlet in outlets]
    if not known or not set(labels) <= set(known):
        return present.target
    return replace(present.target, weights=tuple(known[label] for label in labels))


def differences(logged: Mapping[str, Any], present: Mapping[str, Any]) -> list[str]:
    """In what a scenario differs from the one that a log goes with."""
    told = []
    if logged.get("title") != present["title"]:
        told.append(f"title was {show(logged.get('title'))}, is {show(present['title'])}")
    before, now = logged.get("outlets", []), present["outlets"]
    if len(before) != len(now):
        return [*told, f"there were {len(before)} outlets, there are {len(now)}"]
    for i, (old, new) in enumerate(zip(before, now, strict=True), start=1):
        changed = [key for key in new if old.get(key) != new[key]]
        if changed:
            told.append(f"outlet {i} has another {' and '.join(map(_plain, changed))}")
    return told


def _plain(key: str) -> str:
    words = {"offset_m": "offset", "clock_rad": "clock", "point_over_lip_m": "point of reading"}
    return words.get(key, key)


def entry_of(event: setup.Event, site: Site, typed: str) -> Entry:
    """Write an event as a line of the log."""
    name = next(name for name, kind in _NAMES.items() if kind is type(event))
    fields = {_KEYS.get(key, key): value for key, value in vars(event).items()}
    entry = {"event": name, "at": fields.pop("at"), **fields, "typed": typed}
    if "outlet" in entry:
        entry["outlet"] = site.outlets[fields["outlet"]].label
    if "angles_rad" in entry:
        entry["angles_rad"] = angles_by_label(site, fields["angles_rad"])
    return entry


def angles_by_label(site: Site, angles: Sequence[float | None]) -> dict[str, float | None]:
    """Name angles by the labels of their outlets. [rad]"""
    return {o.label: angle for o, angle in zip(site.outlets, angles, strict=True)}


def event_of(entry: Entry, site: Site) -> setup.Event:
    """Read an event from a line of the log."""
    kind = _NAMES[entry["event"]]
    labels = {outlet.label: i for i, outlet in enumerate(site.outlets)}
    fields: dict[str, Any] = {"at": str(entry.get("at", ""))}
    try:
        for name in kind.__dataclass_fields__:
            if name == "outlet":
                fields[name] = labels[entry["outlet"]]
            elif name == "angles":
                angles = entry["angles_rad"]
                fields[name] = tuple(angle_of(angles[label]) for label in labels)
            elif name == "angle":
                fields[name] = angle_of(entry["angle_rad"])
            elif name == "heights":
                fields[name] = _heights(entry["readings_m"])
            elif name != "at":
                fields[name] = _as(str if name == "method" else bool, entry[name])
        return kind(**fields)
    except (KeyError, TypeError, ValueError) as error:
        raise ScenarioError(
            f"the answer {show(entry['event'])} of {show(entry.get('at', '?'))} does not go with "
            "the outlets of the scenario; put the log or the scenario back as it was, or begin "
            "another visit with --again, which keeps all of this one"
        ) from error


def angle_of(value: object) -> float | None:
    """An angle from a log, None where it is not known; raises TypeError or ValueError. [rad]"""
    return None if value is None else _finite(value)


def _heights(values: object) -> tuple[float, ...]:
    heights = tuple(map(_finite, _as(list, values)))
    if not heights:
        raise ValueError("no height")
    return heights


def _finite(value: object) -> float:
    number = float(_as((int, float), value))
    if not math.isfinite(number) or abs(number) > 100:
        raise ValueError("not a height or an angle at a box")
    return number


def _as(kind: Any, value: object) -> Any:
    if not isinstance(value, kind):
        raise TypeError(f"{value!r} is no {kind}")
    return value


def carried_angles(before: Job, site: Site) -> dict[str, float | None]:
    """Where the holes stand at another visit, by label. [rad]"""
    left = {
        o.label: (o, angle)
        for o, angle in zip(before.site.outlets, before.left_angles, strict=True)
    }
    angles: dict[str, float | None] = {}
    for outlet in site.outlets:
        was, angle = left.get(outlet.label, (None, None))
        insert = (outlet.opening, outlet.hole_offset, outlet.clock)
        known = was is not None and (was.opening, was.hole_offset, was.clock) == insert
        angles[outlet.label] = angle if known else outlet.clock
    return angles


class SetupJob:
    """A job that is kept in step with its log: what it knows is on the disk.

    site: The box.
    rules: How turns are worked out.
    told: What the log tells so far.
    log: The open log; None for a job that is only looked at.
    """

    def __init__(self, site: Site, rules: Rules, told: Story, log: JobLog | None = None) -> None:
        angles = told.angles
        named = {outlet.get("label") for outlet in (told.box or {}).get("outlets", ())}
        try:
            start = (
                None
                if angles is None
                else [
                    # the log knows nothing of an outlet that has come since
                    angle_of(angles[o.label]) if o.label in {*named, *angles} else o.clock
                    for o in site.outlets
                ]
            )
        except (KeyError, TypeError, ValueError) as error:
            raise ScenarioError(f"the log does not go with the outlets: {error}") from error
        self._log, self._told = log, told
        self._start = begin(site, rules, start)
        self._events = tuple(event_of(entry, site) for entry in told.events)
        try:
            self.job: Job = replay(self._start, self._events)
        except (DomainError, IndexError) as error:
            raise ScenarioError(
                f"the log cannot be played again: {error}; put it back as it was, or begin anew"
            ) from error

    def record(self) -> SetupRecord:
        """What was done, with the visit that it was done in."""
        told = self._told
        return record(self.job, visit=told.visit, visits=told.visits, begun_at=told.begun_at)

    @property
    def last(self) -> Event | None:
        """The last event that stands; None where there is none."""
        events = standing(self._events)
        return events[-1] if events else None

    def tell(self, event: Event, typed: str) -> None:
        """Let an event happen and bring it to the disk."""
        happened = (*self._events, event)
        job = replay(self._start, happened)
        if self._log is not None:
            self._log.append(entry_of(event, self.job.site, typed))
        self._events, self.job = happened, job


def kept_setup(
    scenario: Path, site: Site, rules: Rules, visit: int | None = None
) -> SetupRecord | None:
    """Read what was done in a set-up, finished or not."""
    log = log_path(scenario.resolve())
    told = visits(read_log(log))
    if visit is not None:
        if told[-1].box is None or not 1 <= visit <= len(told):
            count = len(told) if told[-1].box is not None else 0
            raise ScenarioError(f"{log}: holds {count} visits; there is no visit {visit}")
        return _record(site, rules, told[visit - 1])
    if told[-1].box is None:
        return None
    changed = differences(told[-1].box, identity(site))
    if changed:
        raise ScenarioError(
            f"{log}: belongs to another scenario than {scenario.name}: {'; '.join(changed)}; move "
            f"the log away, mend the scenario, or print what it holds with --visit {len(told)}"
        )
    # a visit that was only begun does not pass over the one before it
    records = (_record(site, rules, each) for each in reversed(told))
    complete = (each for each in records if each.last_complete is not None)
    return next(complete, None) or _record(site, rules, told[-1])


def _record(site: Site, rules: Rules, told: Story) -> SetupRecord:
    return SetupJob(logged_site(told.box or {}, site), rules, told).record()
