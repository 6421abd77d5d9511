"""How far has a run come? What it has written counts once a small file beside it says so.

`results.csv` is written as `results.csv.part`, and the rows that could not be computed beside it;
`results.csv.state` says how many pieces of the list are in them, how long they were then, and what
was counted. A line is added to it after what it tells of is on the disk; the last whole one counts,
and a run holds it locked. A run that is killed leaves all of them; the same command cuts the parts
back to what the state tells of and goes on from there. Files of these names that no run has made
are refused and left as they are.
"""

import contextlib
import json
import os
import stat
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from dbox.errors import ScenarioError
from dbox.files.lock import lock
from dbox.files.write_file import check_place, put, write_file

_FILES = ("results", "bad")
_KEPT = {"about": dict, "pieces": int, "lengths": dict, "content": dict, "done": bool}
_LONGEST = 10_000_000
_OPEN = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)


@dataclass(frozen=True)
class Places:
    """The files of a run.

    Parameters
    ----------
    results : Path
        The results.

    Raises
    ------
    ScenarioError
        Where no file of that name can be written.
    """

    results: Path

    def __post_init__(self) -> None:
        check_place(self.results, overwrite=True)

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

    def begin_anew(self) -> str:
        """What to do where a run cannot be gone on with."""
        return f"to begin anew remove {self.state} and what ends in .part beside it"


class Progress:
    """The parts of a run and how far they have come; locked against every other run.

    Parameters
    ----------
    places : Places
        Where they are kept.
    about : mapping
        What the run is about: the list and all that decides its answers.
    heads : mapping of str to bytes
        First line of the `results` and of the `bad` rows.

    Attributes
    ----------
    pieces : int
        Pieces of the list that are in the parts.
    content : dict
        What was counted of them; empty before the first.
    done : bool
        Whether all pieces are.
    resumed : bool
        Whether an earlier run is gone on with that had come to something.

    Raises
    ------
    ScenarioError
        Where results are there already, another run has them open, an earlier run was about
        something else, or a file cannot be written.
    """

    def __init__(
        self, places: Places, about: Mapping[str, str], heads: Mapping[str, bytes]
    ) -> None:
        self.places, self._about, self._heads = places, dict(about), heads
        self._files: dict[str, BinaryIO] = {}
        self._state = self._opened()
        try:
            kept = self._kept()
            self.pieces: int = kept["pieces"]
            self.content: dict[str, Any] = kept["content"]
            self.done: bool = kept["done"]
            self.resumed = self.done or self.pieces > 0
            if not self.done:
                self._open(kept["lengths"])
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close all files, which frees them for others."""
        for file in (*self._files.values(), self._state):
            # what a full disk does not take any more has not been counted
            with contextlib.suppress(OSError):
                file.close()
        self._files = {}

    def write(self, results: bytes, bad: bytes) -> None:
        """Add one piece to the parts."""
        with _told(self.places.results):
            self._files["results"].write(results)
            self._files["bad"].write(bad)
        self.pieces += 1

    def keep(self, content: Mapping[str, Any], *, done: bool = False) -> None:
        """Let all that was written count.

        Parameters
        ----------
        content : mapping
            What was counted of the pieces so far.
        done : bool
            Whether those were all.
        """
        with _told(self.places.results):
            for file in self._files.values():
                file.flush()
                os.fsync(file.fileno())
            lengths = {name: file.tell() for name, file in self._files.items()}
            self.content, self.done = dict(content), done
            self._state.write(self._line(lengths))
            self._state.flush()
            os.fsync(self._state.fileno())

    def put_in_place(self, *, with_bad: bool) -> None:
        """Give the parts their names, once all is done; again where that was cut short.

        Parameters
        ----------
        with_bad : bool
            Whether there are bad rows; their part is removed where there are none.
        """
        for file in self._files.values():
            file.close()
        for name in _FILES if with_bad else _FILES[:1]:
            part, path = self.places.part(name), getattr(self.places, name)
            if os.path.lexists(part):
                with _told(path):
                    _own(part, self._heads[name], linked=True).close()
                    put(part, path)
            elif not path.exists():
                raise ScenarioError(f"{path}: was written and is gone; {self.places.begin_anew()}")
        if not with_bad and self.places.part("bad").exists():
            # nothing but its head
            _own(self.places.part("bad"), self._heads["bad"]).close()
            self.places.part("bad").unlink()

    def end(self) -> None:
        """Forget how far the run had come: nothing is left to do."""
        self.places.state.unlink()

    def _opened(self) -> BinaryIO:
        """The state, made where there is none, and locked as long as the run goes on."""
        state = self.places.state
        if not os.path.lexists(state):
            _refuse_old([*self._ends, *map(self.places.part, _FILES)])
            self.pieces, self.content, self.done = 0, {}, False
            write_file(state, self._line({}))
        with _told(state):
            file = _own(state, linked=True)
            taken = lock(file.fileno())
        if not taken or not _same(file, state):
            file.close()
            raise ScenarioError(f"{self.places.results}: another run writes it; let that one end")
        return file

    def _kept(self) -> dict[str, Any]:
        """What has been kept last, by an earlier run or as this one began."""
        state = self.places.state
        self._state.seek(0)
        first = self._state.readline(_LONGEST)
        kept = _entry(first)
        if kept is None:
            raise _not_own(state)
        others = self._state.read().splitlines(keepends=True)
        if not [first, *others][-1].endswith(b"\n"):
            # torn off; the next line begins anew
            self._state.write(b"\n")
        kept = next((e for e in map(_entry, reversed(others)) if e), kept)
        about = kept["about"]
        other = [what for what, value in self._about.items() if about.get(what) != value]
        if other:
            raise ScenarioError(
                f"{state}: was begun with another {' and another '.join(other)}; go on with the "
                f"same, or {self.places.begin_anew()}"
            )
        if not kept["done"]:
            _refuse_old(self._ends)
        return kept

    @property
    def _ends(self) -> list[Path]:
        return [self.places.results, self.places.bad]

    def _line(self, lengths: Mapping[str, int]) -> bytes:
        state = {
            "about": self._about,
            "pieces": self.pieces,
            "lengths": lengths,
            "content": self.content,
            "done": self.done,
        }
        return json.dumps(state).encode("ascii") + b"\n"

    def _open(self, lengths: Mapping[str, int]) -> None:
        for name in _FILES:
            path, length = self.places.part(name), lengths.get(name, 0)
            with _told(path):
                is_new = not os.path.lexists(path)
                file = path.open("x+b") if is_new else _own(path, self._heads[name])
                self._files[name] = file
                if file.seek(0, os.SEEK_END) < length:
                    raise ScenarioError(
                        f"{path}: is shorter than the run had written; {self.places.begin_anew()}"
                    )
                file.truncate(length)
                file.seek(length)
                if not length:
                    file.write(self._heads[name])


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
    """Whether the open file still has its name; the run that had it open may have ended."""
    try:
        return os.path.samestat(os.fstat(file.fileno()), path.lstat())
    except FileNotFoundError:
        return False


def _entry(line: bytes) -> dict[str, Any] | None:
    """A line of a state; None where it is none."""
    try:
        entry = json.loads(line)
    except (ValueError, RecursionError):
        return None
    if not isinstance(entry, dict):
        return None
    return entry if all(isinstance(entry.get(k), kind) for k, kind in _KEPT.items()) else None


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
        check_place(path, overwrite=False)
        raise
    except OSError as error:
        raise ScenarioError(
            f"{path}: cannot be written ({error.strerror}); make room or name another place, and "
            "give the same command again"
        ) from error


def _refuse_old(paths: Iterable[Path]) -> None:
    for path in paths:
        check_place(path, overwrite=False)
