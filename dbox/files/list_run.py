"""A run over a list in pieces, on all cores, that goes on where it was stopped.

`results.csv` is written as `results.csv.part`, and the rows that could not be computed beside it;
`results.csv.state` says how many pieces of the list are in them, how long they were then, and what
was counted. A line is added to it after what it tells of is on the disk; the last whole one counts,
and a run holds it locked. A run that is killed leaves all of them; the same command cuts the parts
back to what the state tells of and goes on from there. Files of these names that no run has made
are refused and left as they are.

The answers to a piece depend on the piece alone, so that a run which was killed and started again
writes the same file, byte for byte.
"""

import contextlib
import gc
import hashlib
import os
import signal
import stat
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import closing
from dataclasses import dataclass, replace
from functools import partial
from importlib.metadata import version
from itertools import chain, islice
from multiprocessing import get_context, parent_process
from pathlib import Path
from typing import Annotated, Any, BinaryIO

import numpy as np
from pydantic import Field, TypeAdapter

from dbox.errors import ScenarioError
from dbox.fieldwork.many_boxes import Tally
from dbox.files.list_boxes import Settings, boxes_of
from dbox.files.list_results import answer, columns, csv_line
from dbox.files.list_rows import (
    OFFSET,
    OPENING,
    TOLERANCE,
    Layout,
    Piece,
    Remarks,
    layout_of,
    pieces,
    read_rows,
)
from dbox.files.write_file import behind_links, check_place, lock, put, write_file

_FILES = ("results", "bad")
_LONGEST = 10_000_000
_OPEN = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Places:
    """The files of a run."""

    results: Path  # The results.

    def __post_init__(self) -> None:
        check_place(self.results, overwrite=True)
        behind_links(self.results, ".bad.csv.part")

    @property
    def bad(self) -> Path:
        """The rows that could not be computed."""
        return self.results.with_name(f"{self.results.stem}.bad.csv")

    @property
    def state(self) -> Path:
        """How far a run has come that has not ended; locked as long as it goes on."""
        return self.results.with_name(f"{self.results.name}.state")

    def part(self, name: str) -> Path:
        """The results, or the bad rows, while they are being written."""
        path: Path = getattr(self, name)
        return path.with_name(f"{path.name}.part")

    @property
    def begin_anew(self) -> str:
        """What to do where a run cannot be gone on with."""
        return f"to begin anew remove {self.state} and what ends in .part beside it"


Count = Annotated[int, Field(ge=0, lt=2**62)]


@dataclass(frozen=True, kw_only=True)
class State:
    """How far a run has come: a line of its state."""

    about: Mapping[str, str]  # What the run is about: the list and all that decides its answers.
    pieces: Count  # Pieces of the list that are in the parts.
    lengths: Mapping[str, Count]  # Of the parts then. [bytes]
    content: Mapping[str, list[Count] | list[list[Count]]]  # What was counted of them.
    done: bool  # Whether all pieces are in the parts.


_STATE = TypeAdapter(State)


class Progress:
    """The parts of a run and how far they have come; locked against every other run.

    places: Where they are kept.
    about: What the run is about.
    heads: First line of the `results` and of the `bad` rows.

    Attributes
    ----------
    now : State
        How far they have come and that was kept.
    resumed : bool
        Whether an earlier run is gone on with that had come to something.
    """

    def __init__(
        self, places: Places, about: Mapping[str, str], heads: Mapping[str, bytes]
    ) -> None:
        self.places, self._heads = places, heads
        self._ends = [places.results, places.bad]
        self._files: dict[str, BinaryIO] = {}
        self.now = State(about=about, pieces=0, lengths={}, content={}, done=False)
        self._state = self._locked()
        try:
            self.now = self._kept()
            self._pieces = self.now.pieces
            self.resumed = self.now.done or self.now.pieces > 0
            if not self.now.done:
                _refuse_old(self._ends)
                for name in _FILES:
                    self._open(name, self.now.lengths.get(name, 0))
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close all files, which frees them for others."""
        for file in (*self._files.values(), self._state):
            # what a full disk does not take any more has not been counted
            with contextlib.suppress(OSError):
                file.close()

    def write(self, results: bytes, bad: bytes) -> None:
        """Add one piece to the parts."""
        with _told(self.places.results):
            self._files["results"].write(results)
            self._files["bad"].write(bad)
        self._pieces += 1

    def keep(self, tally: Tally, *, done: bool = False) -> None:
        """Let all that was written count."""
        content = {name: counts.tolist() for name, counts in vars(tally).items()}
        with _told(self.places.results):
            for file in self._files.values():
                _flush(file)
            lengths = {name: file.tell() for name, file in self._files.items()}
            self.now = replace(
                self.now, pieces=self._pieces, lengths=lengths, content=content, done=done
            )
            self._state.write(_line(self.now))
            _flush(self._state)

    def put_in_place(self, **wanted: bool) -> None:
        """Give those parts that are wanted their names, once all is done.

        Again where that was cut short.
        """
        for file in self._files.values():
            file.close()
        for name, path in zip(_FILES, self._ends, strict=True):
            part = self.places.part(name)
            if os.path.lexists(part):
                with _told(path):
                    _own(part, self._heads[name], linked=wanted[name]).close()
                    if wanted[name]:
                        put(part, path)
                    else:
                        # nothing but its head
                        part.unlink()
            elif wanted[name] and not path.exists():
                raise ScenarioError(f"{path}: was written and is gone; {self.places.begin_anew}")

    def end(self) -> None:
        """Forget how far the run had come: nothing is left to do."""
        self.places.state.unlink()

    def _locked(self) -> BinaryIO:
        """The state, made where there is none, and locked as long as the run goes on."""
        state = self.places.state
        if not os.path.lexists(state):
            _refuse_old([*self._ends, *map(self.places.part, _FILES)])
            write_file(state, _line(self.now))
        with _told(state):
            file = _own(state, linked=True)
            # the run that had it open may have ended, and its name with it
            if not lock(file.fileno()) or not _same(file, state):
                file.close()
                raise ScenarioError(
                    f"{self.places.results}: another run writes it; let that one end"
                )
        return file

    def _kept(self) -> State:
        """What has been kept last, by an earlier run or as this one began."""
        state = self.places.state
        self._state.seek(0)
        first = self._state.readline(_LONGEST)
        if _entry(first) is None:
            raise _not_own(state)
        lines = [first, *self._state.read().splitlines(keepends=True)]
        if not lines[-1].endswith(b"\n"):
            # torn off; the next line begins anew
            self._state.write(b"\n")
        kept = next(entry for entry in map(_entry, reversed(lines)) if entry)
        other = [what for what, value in self.now.about.items() if kept.about.get(what) != value]
        if other:
            raise ScenarioError(
                f"{state}: was begun with another {' and another '.join(other)}; go on with the "
                f"same, or {self.places.begin_anew}"
            )
        return kept

    def _open(self, name: str, length: int) -> None:
        """Open a part and cut it back to what has been kept."""
        path = self.places.part(name)
        with _told(path):
            file = _own(path, self._heads[name]) if os.path.lexists(path) else path.open("x+b")
            self._files[name] = file
            if file.seek(0, os.SEEK_END) < length:
                raise ScenarioError(
                    f"{path}: is shorter than the run had written; {self.places.begin_anew}"
                )
            file.truncate(length)
            file.seek(length)
            if not length:
                file.write(self._heads[name])


def _flush(file: BinaryIO) -> None:
    file.flush()
    os.fsync(file.fileno())


def _own(path: Path, head: bytes = b"", *, linked: bool = False) -> BinaryIO:
    """Open a file that a run has made, never through a link; it begins with its head.

    `linked`: it may have its last name already, besides.
    """
    if path.is_symlink():
        raise _not_own(path)
    file = open(os.open(path, _OPEN), "r+b")  # noqa: SIM115
    about = os.fstat(file.fileno())
    begins = file.read(len(head)) if stat.S_ISREG(about.st_mode) else None
    if begins is None or not head.startswith(begins) or (about.st_nlink > 1 and not linked):
        file.close()
        raise _not_own(path)
    return file


def _same(file: BinaryIO, path: Path) -> bool:
    """Whether the open file still has its name."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.lstat())
    except FileNotFoundError:
        return False


def _line(state: State) -> bytes:
    written = _STATE.dump_json(state)
    return hashlib.sha256(written).hexdigest().encode() + b" " + written + b"\n"


def _entry(line: bytes) -> State | None:
    """A line of a state; None where it is none, or no longer what was written."""
    digest, _, written = line.removesuffix(b"\n").partition(b" ")
    if line.startswith(b"{"):
        # of version 0.1
        written = line
    elif digest != hashlib.sha256(written).hexdigest().encode():
        return None
    try:
        return _STATE.validate_json(written, strict=True)
    except ValueError:
        return None


def _tallied(progress: Progress, flows: int) -> Tally:
    """What has been counted so far."""
    tally = Tally.empty(flows)
    for name, counts in progress.now.content.items():
        total = getattr(tally, name, None)
        if total is None or total.shape != np.array(counts, object).shape:
            raise _not_own(progress.places.state)
        total += np.array(counts, np.int64)
    return tally


def _not_own(path: Path) -> ScenarioError:
    return ScenarioError(
        f"{path}: is not what a run over a list leaves, so it is left alone; move it away, or name "
        "other results"
    )


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell what the system refuses."""
    try:
        yield
    except FileExistsError:
        check_place(path)
        raise
    except OSError as error:
        raise ScenarioError(
            f"{path}: cannot be written ({error.strerror}); make room or name another place, and "
            "give the same command again"
        ) from error


def _refuse_old(paths: Iterable[Path]) -> None:
    for path in paths:
        check_place(path)


_QUICK_PIECE, _DRAWN_PIECE = 2**17, 2**14
_KEEP_EVERY = 2.0
_AHEAD = 2
_KEPT_BLOCK = 24 * 2**20

Answer = tuple[bytes, bytes, Tally, Remarks]


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What a run over a list came to."""

    tally: Tally  # The boxes counted.
    with_work: bool  # Whether it was worked out what to turn.
    resumed: bool  # Whether an earlier run was gone on with.
    remarks: Remarks  # What is to be told of the list.
    places: Places  # The files that were written; the bad rows only where there are some.


def run_batch(
    source: Path,
    out: Path,
    settings: Settings,
    *,
    ignored: Sequence[str] = (),
    processes: int | None = None,
    told: Callable[[float], None] | None = None,
    picture: Path | None = None,
    draw: Callable[[Outcome], None] | None = None,
) -> Outcome:
    """Judge every box of a list and write what is found; told [-]."""
    layout, above = layout_of(source, ignored)
    # what neither a column nor the command line says is wrong with every row: it is said once
    unsaid = []
    if settings.opening is None and OPENING not in layout.others:
        unsaid.append(f'has no column {OPENING}; add it, or give --opening "circle 2 in"')
    if settings.tolerance is None and TOLERANCE not in layout.others:
        unsaid.append(
            f'has no column {TOLERANCE}; add it, or give --tolerance "10 %": there is no general '
            "one, it is the permit's or yours"
        )
    if unsaid:
        raise ScenarioError(*(f"{source}: {fault}" for fault in unsaid))
    with_work = settings.offset is not None or OFFSET in layout.others
    heads = [head for head, _ in columns(settings, with_work=with_work)]
    firsts = {
        "results": csv_line(heads, layout.dialect),
        "bad": csv_line(["row", "box", "reason"], layout.dialect),
    }
    with source.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    about = {
        "list": digest,
        "set of options": repr((settings, layout)),
        "version of dbox": version("dbox"),
        # a name may hold bytes that are no text
        "picture": str(picture or "").encode("ascii", "backslashreplace").decode(),
    }
    with closing(Progress(Places(out), about, firsts)) as progress:
        tally = _tallied(progress, len(settings.flows))
        step = _DRAWN_PIECE if settings.samples or with_work else _QUICK_PIECE
        rest = pieces(source, layout, above, step)
        remarks = Remarks()
        # what an earlier run was to tell of its pieces it did not keep
        for piece in islice(rest, progress.now.pieces):
            remarks += Remarks.of(read_rows(piece.text, piece.first_line, layout)[0], layout)
        if not progress.now.done:
            job = partial(_answered, layout, settings, with_work)
            answers = _in_order(rest, job, processes or os.cpu_count() or 1)
            kept, size = time.monotonic(), source.stat().st_size
            for end, (lines, bad, counted, remarked) in answers:
                progress.write(lines, bad)
                tally += counted
                remarks += remarked
                if time.monotonic() - kept > _KEEP_EVERY:
                    progress.keep(tally)
                    kept = time.monotonic()
                if told:
                    told(end / size)
            progress.keep(tally, done=True)
        outcome = Outcome(
            tally=tally, with_work=with_work, resumed=progress.resumed, remarks=remarks,
            places=progress.places,
        )  # fmt: skip
        refused = bool(tally.refused.any())
        progress.put_in_place(results=bool(tally.boxes), bad=refused)
        if draw and tally.boxes:
            draw(outcome)
        progress.end()
    if not tally.boxes:
        why = "write a row for each box"
        if refused:
            why = f"why is told in {outcome.places.bad}; mend the rows, and move that file away"
        raise ScenarioError(f"{source}: has no row that is a box that can be computed; {why}")
    return outcome


def _answered(layout: Layout, settings: Settings, with_work: bool, piece: Piece) -> Answer:
    """The answers to one piece: results, bad rows, counts."""
    rows, torn = read_rows(piece.text, piece.first_line, layout)
    listed, faults = boxes_of(rows, torn, layout, settings, apart=piece.apart)
    dialect = layout.dialect
    lines, tally = answer(listed, settings, with_work=with_work, dialect=dialect)
    bad = b"".join(csv_line([str(fault.line), fault.box, fault.why], dialect) for fault in faults)
    tally += Tally.empty(len(settings.flows), len(faults))
    return lines, bad, tally, Remarks.of(rows, layout)


def _in_order(
    rest: Iterator[Piece], job: Callable[[Piece], Answer], processes: int
) -> Iterator[tuple[int, Answer]]:
    """Ends of the pieces and the answers to them, as many at once as there are processes."""
    first = [*islice(rest, 2)]
    every = chain(first, rest)
    if processes == 1 or len(first) < 2:
        yield from ((piece.end, job(piece)) for piece in every)
        return
    # a process of its own each time, not a copy of this one: the same on every system
    context = get_context("spawn")
    with ProcessPoolExecutor(processes, context, initializer=_begin_work) as pool:
        waiting: deque[tuple[int, Future[Answer]]] = deque()
        try:
            for piece in every:
                waiting.append((piece.end, pool.submit(job, piece)))
                if len(waiting) > processes + _AHEAD:
                    end, found = waiting.popleft()
                    yield end, found.result()
            for end, found in waiting:
                yield end, found.result()
        finally:
            pool.shutdown(wait=False, cancel_futures=True)


def _begin_work() -> None:
    """Make a process ready: it makes no cycles, is not interrupted, and ends with its parent."""
    gc.disable()
    # once a large block was given back, glibc keeps smaller ones for the next piece, where it
    # would else return them to the system and fetch them again, page by page
    np.empty(_KEPT_BLOCK, dtype=np.uint8)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    parent = parent_process()
    if parent is not None:
        threading.Thread(target=_end_with, args=(parent,), daemon=True).start()


def _end_with(parent: Any) -> None:
    parent.join()
    os._exit(1)
