"""How is every answer of a job kept, whatever happens next? An append-only log of JSON Lines.

The log of `box.toml` is `box.toml.log.jsonl`, next to it. One line is one complete event:

    {"event": "read", "at": "2025-05-06T09:30:00+02:00", "outlet": "3", "readings_m": [0.0032]}

An event is on the disk (`fsync`) before the next question is asked. A line is written in one go and
ends with a newline, so a last line without one was torn off by a kill or a power cut: it is set
aside in a file of its own. Where a write fails, as on a full disk, the log is cut back to the last
complete event. The system's lock on the open log, which ends with the process however that ends,
keeps a second job off the same scenario.
"""

import contextlib
import json
import os
from collections.abc import Mapping
from pathlib import Path
from types import TracebackType
from typing import Any

from dbox.errors import ScenarioError
from dbox.files.faults import show
from dbox.files.lock import lock
from dbox.files.write_file import keep_name

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
    """Read a log that another process may be writing; a torn last line is left out.

    Parameters
    ----------
    path : Path
        The log.

    Returns
    -------
    list of dict
        Its events, each with a text under `event`; none where there is no log.

    Raises
    ------
    ScenarioError
        Where it cannot be read, or a complete line is no event.
    """
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

    Parameters
    ----------
    path : Path
        The log; made where there is none.
    at : str
        The time, for the line that says who has it open.

    Attributes
    ----------
    entries : list of dict
        Every event so far.
    torn : Path or None
        Where a torn last line was set aside just now.

    Raises
    ------
    ScenarioError
        Where another job has it open, it cannot be written, or a complete line is no event.
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
        """Bring one event to the disk.

        Parameters
        ----------
        entry : mapping
            What `json` can write; `event` says what it is.

        Raises
        ------
        ScenarioError
            Where it cannot be kept; every event before it is.
        """
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
