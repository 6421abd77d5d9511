"""What was seen, or is planned, asked in its order, and the scenario that it goes into."""

import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, ClassVar

from dbox.errors import ScenarioError, shorten
from dbox.files import plan_interview, toml_file
from dbox.files.box_interview import HEAD, NOT_KNOWN, WORDS
from dbox.files.evidence_interview import Document, answered, labels_of, queries, said
from dbox.files.scenario import load, resolve
from dbox.files.toml_file import with_values
from dbox.files.write_file import behind_links, write_file
from dbox.report.cautions import RANKED, TRENCH, UTILITIES
from dbox.report.setup_report import after_text
from dbox.report.text import wrapped
from dbox_cli.arguments import last_read
from dbox_cli.console import Asking, Talk, hold


@dataclass
class LookScript:
    """What was seen, asked in the order of a visit; each answer goes into the scenario."""

    begun: Document  # The scenario as it was.
    # What stood after each answer: the scenario, and the questions that were answered.
    states: list[tuple[Document, tuple[Any, ...]]] = field(default_factory=list)

    what: ClassVar[str] = "seen"
    command: ClassVar[str] = "diagnose"
    _answered: ClassVar[Callable[..., Document]] = staticmethod(answered)
    _said: ClassVar[Callable[..., str]] = staticmethod(said)

    @property
    def document(self) -> Document:
        """The scenario with all that was answered."""
        return self.states[-1][0] if self.states else self.begun

    @property
    def _done(self) -> tuple[Any, ...]:
        return self.states[-1][1] if self.states else ()

    @property
    def _left(self) -> list[Any]:
        pours = len(self.begun.get("pour", ()))
        return [query for query in queries(self.document, pours) if query not in self._done]

    def opening(self) -> list[str]:
        """What to mind, and how it is answered."""
        outlets = f"Outlets {', '.join(labels_of(self.begun))}."
        words = f"{outlets} Enter: not looked at. ? helps. Any order will do."
        return [*wrapped(RANKED), "", *wrapped(words)]

    def asking(self) -> Asking | None:
        """The first question that is not answered, with what the scenario says under it."""
        if not self._left:
            return None
        query = self._left[0]
        text = f"{query.text[0].upper()}{query.text[1:]}{'' if query.text.endswith('?') else '.'}"
        text += f" [{' / '.join(query.words)}]" if query.words else ""
        before = self._said(self.document, query)
        enter = f" (Enter: {before})" if before else ""
        return Asking(
            part=query.part,
            topic=query,
            words=wrapped(text, indent="  "),
            prompt=f"{query.name}{enter} > ",
        )

    def answer(self, typed: str) -> list[str]:
        """Put an answer into the scenario, and say it back where it is one for each outlet."""
        query, typed = self._left[0], typed.strip()
        if typed.lower() in NOT_KNOWN and typed.lower() not in query.words:
            typed = ""
        told = self._answered(self.document, query, typed) if typed else self.document
        self.states.append((told, (*self._done, query)))
        if not typed or not query.of_outlets:
            return []
        return wrapped(self._said(told, query) or "not looked at", first="  ", indent="  ")

    def undo(self, _: str, /) -> list[str]:
        """Take the last answer back."""
        if not self.states:
            raise ScenarioError("is the first question; there is nothing to take back")
        self.states.pop()
        return ["  taken back"]

    def correct(self, which: str, _: str, /) -> list[str]:
        """Ask for an answer anew by the name of its question."""
        again = [query for query in self._done if query.name == which]
        if not again:
            raise ScenarioError(
                f'is "correct {shorten(which)}"; write the name of a question answered before'
            )
        done = tuple(query for query in self._done if query not in again)
        self.states.append((self.document, done))
        return []

    def help(self) -> list[str]:
        """What the question that stands means, and what can be typed at it."""
        return [
            *wrapped(self._left[0].help, first="  ", indent="  "),
            *(f"  {word}" for word in self._left[0].words),
            *self._forms(),
        ]

    def _forms(self) -> list[str]:
        return str(WORDS["typed"][self.what]).splitlines()


@dataclass
class PlanScript(LookScript):
    """The plan, asked from the tank to the trenches; each answer goes into the scenario."""

    what: ClassVar[str] = "plan"
    command: ClassVar[str] = "grades"
    _answered: ClassVar[Callable[..., Document]] = staticmethod(plan_interview.answered)
    _said: ClassVar[Callable[..., str]] = staticmethod(plan_interview.said)

    @property
    def _done(self) -> tuple[Any, ...]:
        # a plan that is in the file already is changed by `correct`
        known = plan_interview.QUERIES if "plan" in self.begun else ()
        return self.states[-1][1] if self.states else known

    @property
    def _left(self) -> list[Any]:
        runs = len(self.begun.get("grades", {}).get("run", ()))
        queries = plan_interview.plan_queries(self.document, runs)
        return [query for query in queries if query not in self._done]

    def _forms(self) -> list[str]:
        forms = self._left[0].forms
        return [forms] * bool(forms) + super()._forms()

    def opening(self) -> list[str]:
        """What to mind, and how it is answered."""
        words = (
            f"{UTILITIES} {TRENCH} Rod readings are greater where lower. Enter: not planned, or as "
            "the file says. ? helps."
        )
        if "plan" in self.begun:
            words += " The plan is in the file: correct tank outlet asks for that anew."
        return wrapped(words)


def ask_all(file: str, talk: Talk, script_of: type[LookScript] = LookScript) -> Path:
    """Ask what was seen, or is planned, and write it beside the scenario; give the file to use.

    A plan goes into the scenario itself where that was written by questions.
    """
    source = resolve(file)
    last = last_read(source, load(source)) if script_of is LookScript else None
    # what a set-up has read is not asked for again
    text = after_text(source, last) if last else toml_file.read_text(source)
    script = script_of(toml_file.parse(text, str(source)))
    folder = source.parent if Path(file).exists() else Path()
    if not os.access(folder, os.W_OK):
        raise ScenarioError(f"{folder}: cannot be written; copy the scenario to another folder")
    stem = f"{source.stem}-{script.what}"
    behind_links(folder / stem, "-99.toml")
    hold(talk, script, "Stopped asking; every answer so far is kept.")
    if script.document == script.begun:
        talk.say(["", *wrapped(f"Nothing was added to {source.name}."), ""])
        return source
    if script.what == "plan" and text.startswith(HEAD):
        write_file(source, with_values(text, script.document), overwrite=True)
        talk.say(["", f"wrote {source}", ""])
        return source
    head = f"# Written by the questions of `dbox {script.command} --ask`.\n\n"
    made = _written(folder, stem, head + with_values(text, script.document), talk)
    talk.say(["", f"wrote {made}", ""])
    return made


def _written(folder: Path, stem: str, text: str, talk: Talk) -> Path:
    """Write a file that is not there yet: STEM.toml, STEM-2.toml and so on."""
    number = 1
    while True:
        path = folder / f"{stem}{'' if number == 1 else f'-{number}'}.toml"
        try:
            if not path.exists():
                write_file(path, text)
                return path
        except ScenarioError:
            if not path.exists():
                # nothing typed is lost: what no disk takes is left on the screen
                talk.leave(text)
                raise
        number += 1
