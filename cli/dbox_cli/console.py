"""Lines out, lines in, on a terminal, a pipe or a file of answers."""

import io
import sys
from collections.abc import Iterable, Iterator
from pathlib import Path

from dbox.errors import ScenarioError


class PausedError(Exception):
    """No more answers: the person paused, or what they came from has ended."""


class Talk:
    """A conversation.

    answers: A file with one answer a line, `#` before a remark; None: answers are typed.
    quiet: Whether stdout is for machines, so that all talk goes to stderr.
    """

    def __init__(self, answers: Path | None, *, quiet: bool) -> None:
        self._answers = None if answers is None else _lines_of(answers)
        self._out = sys.stderr if quiet else sys.stdout
        if isinstance(sys.stdin, io.TextIOWrapper):
            # a byte that is no text is an answer that cannot be read, not the end of the job
            sys.stdin.reconfigure(errors="replace")

    def say(self, lines: Iterable[str]) -> None:
        """Print lines."""
        for line in lines:
            print(line, file=self._out)
        self._out.flush()

    def ask(self, prompt: str) -> str:
        """Print a prompt and wait for its answer."""
        print(prompt, end="", file=self._out, flush=True)
        typed = self._next()
        if typed is None:
            self.say([""])
            raise PausedError
        return typed

    def _next(self) -> str | None:
        if self._answers is not None:
            typed = next(self._answers, None)
            if typed is not None:
                self.say([typed])
            return typed
        line = sys.stdin.readline()
        # without its end a line was cut off, so it is no answer
        return line.rstrip("\r\n") if line.endswith("\n") else None


def _lines_of(path: Path) -> Iterator[str]:
    try:
        text = path.read_text(encoding="utf-8-sig", errors="replace")
    except OSError as error:
        raise ScenarioError(
            f"{path}: cannot be read ({error.strerror}); name a file with one answer a line"
        ) from error
    return iter([line for line in text.splitlines() if not line.startswith("#")])
