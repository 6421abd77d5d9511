"""`dbox diagnose FILE`: causes from evidence, and the next look."""

import os
from collections.abc import Iterable
from pathlib import Path
from typing import Annotated

import typer

from dbox.errors import ScenarioError, at_place
from dbox.files import toml_file
from dbox.files.evidence_interview import Document, Query, answered, labels_of, queries, said
from dbox.files.scenario import load, resolve
from dbox.files.toml_file import toml_text
from dbox.files.write_file import write_file
from dbox.report.cautions import RANKED
from dbox.report.text import wrapped
from dbox_cli.arguments import AsJson, File, Seed, naming
from dbox_cli.console import PausedError, Talk

_HEAD = (
    "# Written by the questions of `dbox diagnose --ask`. Comments of the\n"
    "# file that it began with are not kept here.\n\n"
)
_HELP = (
    "  Enter                 not looked at, or as the file says",
    "  4 full, others dry    by outlet; or one word for all of them",
    "  dry, dry, -, full     one for each, in the order of the file",
    "  head and end          more than one wet place, depth or reading",
    "  -                     not looked at; takes what the file says out",
    "  undo                  take the last answer back",
    "  pause                 stop asking; every answer is kept (Ctrl-C, Ctrl-D)",
)


def ask_all(file: str, *, quiet: bool) -> Path:
    """Ask what was seen and write it beside the scenario; give the file to diagnose."""
    source = resolve(file)
    load(source)
    begun: Document = toml_file.parse(toml_file.read_text(source), str(source))
    folder = source.parent if Path(file).exists() else Path()
    if not os.access(folder, os.W_OK):
        raise ScenarioError(f"{folder}: cannot be written; copy the scenario to another folder")
    talk = Talk(None, quiet=quiet)
    told = _asked(talk, begun)
    if told == begun:
        talk.say(["", *wrapped(f"Nothing was added to {source.name}."), ""])
        return source
    made = _written(folder, source.stem, _HEAD + toml_text(told), talk)
    talk.say(["", f"wrote {made}", ""])
    return made


def _asked(talk: Talk, begun: Document) -> Document:
    """The scenario with all that was answered, however the questions ended."""
    states = [begun]
    try:
        _ask_all(talk, states)
    except (PausedError, KeyboardInterrupt):
        talk.say(["", *wrapped("Stopped asking; every answer so far is kept.")])
    return states[-1]


def _ask_all(talk: Talk, states: list[Document]) -> None:
    labels = ", ".join(labels_of(states[0]))
    talk.say(wrapped(RANKED))
    talk.say(["", *wrapped(f"Outlets {labels}. Enter: not looked at. ? helps. Any order will do.")])
    pours = len(states[0].get("pour", ()))
    part, place = "", 0
    while place < len(asked := list(queries(states[-1], pours))):
        query = asked[place]
        if query.part != part:
            part = query.part
            talk.say(["", part.upper()])
        talk.say(_question(query))
        typed = talk.ask(_prompt(states[-1], query)).strip()
        if typed.lower() == "undo":
            talk.say(["  taken back" if place else "  this is the first question"])
            if place:
                place -= 1
                states.pop()
            continue
        if typed == "?":
            talk.say([*_words(query), *_HELP])
            continue
        if typed.lower() == "pause":
            raise PausedError
        try:
            states.append(answered(states[-1], query, typed) if typed else states[-1])
        except ScenarioError as error:
            talk.say(_faults(error.faults))
            continue
        if typed and query.of_outlets:
            talk.say(wrapped(said(states[-1], query) or "not looked at", first="  ", indent="  "))
        place += 1


def _question(query: Query) -> list[str]:
    words = f" [{' / '.join(query.words)}]" if query.words else ""
    stop = "" if query.text.endswith("?") else "."
    return wrapped(f"{query.text[0].upper()}{query.text[1:]}{stop}{words}", indent="  ")


def _words(query: Query) -> list[str]:
    return [f"  {word}" for word in query.words]


def _prompt(told: Document, query: Query) -> str:
    name = f"pour {query.pour + 1} {query.key}" if query.kind == "pour" else query.key
    before = said(told, query)
    name = name.replace("_", " ")
    return f"{name} (Enter: {before}) > " if before else f"{name} > "


def _faults(faults: Iterable[str]) -> list[str]:
    return [
        line
        for fault in faults
        for line in wrapped(
            at_place("that", fault) if fault.startswith("is ") else fault, first="! ", indent="  "
        )
    ]


def _written(folder: Path, stem: str, text: str, talk: Talk) -> Path:
    """Write a file that is not there yet: FILE-seen.toml, FILE-seen-2.toml and so on."""
    number = 1
    while True:
        path = folder / f"{stem}-seen{'' if number == 1 else f'-{number}'}.toml"
        try:
            if not path.exists():
                write_file(path, text)
                return path
        except ScenarioError:
            if not path.exists():
                # nothing typed is lost: what no disk takes is left on the screen
                talk.say(["", *text.splitlines(), ""])
                raise
        number += 1


Draws = Annotated[
    int, typer.Option(min=20, max=5000, help="Boxes drawn for each cause at each outlet.")
]
Ask = Annotated[
    bool, typer.Option("--ask", help="Ask what was seen first, and write it to FILE-seen.toml.")
]


def command(
    file: File, seed: Seed = 0, draws: Draws = 400, as_json: AsJson = False, ask: Ask = False
) -> None:
    """Rank the causes of a wet line by what was seen of it; none is announced."""
    from dbox.fieldwork.diagnosis.diagnose import diagnose
    from dbox_cli.arguments import site_of

    if ask:
        file = str(ask_all(file, quiet=as_json))
    with naming(file):
        found = diagnose(site_of(file, None), seed=seed, draws=draws)
    if as_json:
        from dbox.report.diagnose_report import diagnosis_json
        from dbox_cli.output import print_json

        print_json(diagnosis_json(found))
    else:
        from dbox.report.diagnose_report import report

        typer.echo("\n".join(report(found)))
