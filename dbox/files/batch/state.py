"""How far has a run come? What it has written counts once a small file beside it says so.

`results.csv` is written as `results.csv.part`, and the rows that could not be computed beside it;
`results.csv.state` says how many pieces of the list are in them, how long they were then, and what
was counted. It is put in place in one step, after what it tells of is on the disk. A run that is
killed leaves all of them; the same command cuts the parts back to what the state tells of and goes
on from there.
"""

import json
import os
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any, BinaryIO

from dbox.errors import ScenarioError
from dbox.files.lock import lock
from dbox.files.place import check_place

_FILES = ("results", "bad")


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
    def lock(self) -> Path:
        """What a run holds as long as it goes on."""
        return self.results.with_name(f"{self.results.name}.lock")

    @property
    def state(self) -> Path:
        """How far a run has come that has not ended."""
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
        self.places, self._about = places, dict(about)
        self._files: dict[str, BinaryIO] = {}
        self._lock = self._locked()
        try:
            kept = self._kept()
            self.pieces: int = kept["pieces"]
            self.content: dict[str, Any] = kept["content"]
            self.done: bool = kept["done"]
            self.resumed = self.done or self.pieces > 0
            if not self.done:
                self._open(kept["lengths"], heads)
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Close all files, which frees them for others."""
        for file in self._files.values():
            file.close()
        self._files = {}
        if not self._lock.closed:
            # removed while it is held, so that no other run has it by then
            self.places.lock.unlink(missing_ok=True)
            self._lock.close()

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
            self._put_state(lengths)

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
            if part.exists():
                part.replace(path)
            elif not path.exists():
                raise ScenarioError(f"{path}: was written and is gone; {self.places.begin_anew()}")
        if not with_bad:
            self.places.part("bad").unlink(missing_ok=True)

    def end(self) -> None:
        """Forget how far the run had come: nothing is left to do."""
        self.places.state.unlink()

    def _locked(self) -> BinaryIO:
        """A file that is locked as long as the run goes on."""
        with _told(self.places.lock):
            file = self.places.lock.open("ab")
        if not lock(file.fileno()):
            file.close()
            raise ScenarioError(f"{self.places.results}: another run writes it; let that one end")
        return file

    def _kept(self) -> dict[str, Any]:
        """What an earlier run has kept; the state of one that begins where there is none."""
        state = self.places.state
        ends = [self.places.results, self.places.bad]
        if not state.exists():
            _refuse_old([*ends, *map(self.places.part, _FILES)])
            self.pieces, self.content, self.done = 0, {}, False
            with _told(state):
                self._put_state({})
        try:
            kept: dict[str, Any] = json.loads(state.read_text(encoding="ascii"))
            about, done = kept["about"], kept["done"]
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise ScenarioError(
                f"{state}: cannot be read ({error}); {self.places.begin_anew()}"
            ) from error
        other = [what for what, value in self._about.items() if about.get(what) != value]
        if other:
            raise ScenarioError(
                f"{state}: was begun with another {' and another '.join(other)}; go on with the "
                f"same, or {self.places.begin_anew()}"
            )
        if not done:
            _refuse_old(ends)
        return kept

    def _put_state(self, lengths: Mapping[str, int]) -> None:
        state = {
            "about": self._about,
            "pieces": self.pieces,
            "lengths": lengths,
            "content": self.content,
            "done": self.done,
        }
        aside = self.places.state.with_name(f"{self.places.state.name}.new")
        with aside.open("w", encoding="ascii") as new:
            json.dump(state, new)
            new.flush()
            os.fsync(new.fileno())
        aside.replace(self.places.state)

    def _open(self, lengths: Mapping[str, int], heads: Mapping[str, bytes]) -> None:
        for name in _FILES:
            path, length = self.places.part(name), lengths.get(name, 0)
            with _told(path):
                # there is a state, so what stands there is of this run
                file = path.open("r+b" if path.exists() else "x+b")
                self._files[name] = file
                if file.seek(0, os.SEEK_END) < length:
                    raise ScenarioError(
                        f"{path}: is shorter than the run had written; {self.places.begin_anew()}"
                    )
                file.truncate(length)
                file.seek(length)
                if not length:
                    file.write(heads[name])


@contextmanager
def _told(path: Path) -> Iterator[None]:
    """Tell what the system refuses."""
    try:
        yield
    except OSError as error:
        raise ScenarioError(
            f"{path}: cannot be written ({error.strerror}); make room or name another place, and "
            "give the same command again"
        ) from error


def _refuse_old(paths: Iterable[Path]) -> None:
    for path in paths:
        check_place(path, overwrite=False)
