"""Lines out, lines in, on a terminal, a pipe or a file of answers, and the one question loop.

What is typed means the same at every question: `undo` or `back`, `correct ...`, `pause` and `?` are
heeded here, for every script; all else, Enter alone too, is an answer that the script reads. An
answer that cannot be is told with its mend, and the prompt comes again.
"""

import io
import re
import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from dbox.errors import DomainError, ScenarioError, at_place, shorten, show
from dbox.files.job_log import NotKeptError
from dbox.files.toml_file import read_text
from dbox.report.text import fitted, wrapped
from dbox_cli.output import tell, terminal_columns

LONGEST_ANSWER = 5000
"""Characters of one answer; more cannot be one."""

_MOST_BYTES = 1_000_000
"""Of a file of answers, and of a line that is typed; a long job has some thousand short answers."""

_HELP = ("?", "??", "help")
_PAUSE = ("pause", "quit", "exit", "q")


class _PausedError(Exception):
    """No more answers: the person paused, or what they came from has ended."""


class Talk:
    """A conversation.

    answers: A file with one answer a line, `#` before a remark; None: answers are typed.
    quiet: Whether stdout is for machines, so that all talk goes to stderr.
    """

    def __init__(self, answers: Path | None, *, quiet: bool) -> None:
        self._answers: Iterator[str] | None = None
        if answers is not None:
            text = read_text(
                answers, most_bytes=_MOST_BYTES, limit="a file of answers has one a line"
            )
            self._answers = iter([x for x in text.splitlines() if not x.startswith("#")])
        self._out = sys.stderr if quiet else sys.stdout
        self._before = "nothing yet"
        if isinstance(sys.stdin, io.TextIOWrapper):
            # a byte that is no text is an answer that cannot be read, not the end of the job
            sys.stdin.reconfigure(errors="replace")

    @property
    def by_hand(self) -> bool:
        """Whether a person types, and not a file of answers, which may be older than a question."""
        return self._answers is None

    def say(self, lines: Iterable[str]) -> None:
        """Print lines, never two blank ones in a row."""
        for line in lines:
            if line or self._before:
                tell([line], self._out)
            self._before = line
        self._out.flush()

    def leave(self, text: str) -> None:
        """Leave a text on the screen as it stands."""
        print("", text, "", sep="\n", file=self._out, flush=True)

    def ask(self, prompt: str) -> str:
        """Print a prompt and wait for its answer."""
        first, blank = prompt.rstrip(), prompt[len(prompt.rstrip()) :]
        *lines, last = fitted(first, width=terminal_columns(self._out) or len(prompt) * 2)
        tell(lines, self._out)
        print(last, end=blank, file=self._out, flush=True)
        self._before = last
        if self._answers is not None:
            typed = next(self._answers, None)
            if typed is not None:
                tell([typed], self._out)
        else:
            line = sys.stdin.readline(_MOST_BYTES)
            if len(line) == _MOST_BYTES:
                raise ScenarioError(
                    f"an answer goes on for {_MOST_BYTES:,} characters; type a short one"
                )
            # without its end a line was cut off, so it is no answer
            typed = line.rstrip("\r\n") if line.endswith("\n") else None
        if typed is None:
            print(file=self._out)
            raise _PausedError
        return typed


@dataclass(frozen=True, kw_only=True)
class Asking:
    """A question as it is put."""

    topic: object  # Its words are said once for all questions in a row of one topic.
    words: list[str]
    prompt: str
    part: str = ""  # A heading, said where it changes.


class Script(Protocol):
    """One job's questions; what its methods give are lines to say.

    `answer`, `undo` and `correct` raise `ScenarioError` or `DomainError` where that cannot be.
    """

    def opening(self) -> list[str]:
        """What to say before the first question."""
        return []

    def asking(self) -> Asking | None:
        """The question that stands; None where there is none left."""

    def answer(self, typed: str) -> list[str]:
        """Take an answer, and keep it before anything else is asked."""

    def undo(self, typed: str, /) -> list[str]:
        """Take the last answer back."""
        raise ScenarioError(f"is {show(typed)}, and there is nothing to take back")

    def correct(self, which: str, typed: str, /) -> list[str]:
        """Ask a question anew that was answered before."""
        raise ScenarioError(f"is {show(typed)}; there is no answer {shorten(which)} to correct")

    def help(self) -> Iterable[str]:
        """What can be typed now."""


def hold(talk: Talk, script: Script, paused: str) -> bool:
    """Ask until no question is left; False where the person paused, which is told."""
    topic: object = None
    part = ""
    try:
        talk.say(script.opening())
        while (asking := script.asking()) is not None:
            if asking.part != part:
                part = asking.part
                talk.say(["", part.upper()])
            if asking.topic != topic:
                topic = asking.topic
                talk.say(asking.words)
            typed = talk.ask(asking.prompt)
            word, _, rest = typed.strip().lower().partition(" ")
            if not rest and word in _PAUSE:
                raise _PausedError
            if not rest and word in _HELP:
                talk.say(script.help())
                topic = None
                continue
            try:
                if len(typed) > LONGEST_ANSWER:
                    raise ScenarioError(
                        f"is {show(typed)}, {len(typed)} characters; write a short answer"
                    )
                if word in ("undo", "back") and not rest:
                    talk.say(script.undo(typed))
                elif word == "correct":
                    talk.say(script.correct(rest, typed))
                else:
                    talk.say(script.answer(typed))
            except NotKeptError:
                raise
            except (ScenarioError, DomainError) as error:
                for fault in str(error).splitlines():
                    said = re.sub(r"^\[(\d+)\](?= is )", r"part \1", fault)
                    said = at_place("that", said) if said.startswith(("is ", "[")) else said
                    talk.say(wrapped(said, first="! ", indent="  "))
    except (_PausedError, KeyboardInterrupt):
        talk.say(["", *wrapped(paused)])
        return False
    return True
