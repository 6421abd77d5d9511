"""How the commands print: JSON, text as wide as the terminal, bars, and pictures to files."""

import json
import os
import re
import sys
import warnings
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec, TextIO

import typer

from dbox.report.text import fitted

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_NO_SIZE = 80
"""Columns of a terminal that does not say how wide it is: common practice."""

_FINDING = re.compile(r" *(PASS \d+: )?(?!INVENTED)[A-Z]{4}|RE-BED|NO ")
"""How the line of a verdict begins, or one that heads what follows."""


def terminal_columns(stream: TextIO) -> int | None:
    """Columns of the terminal that a stream leads to; None where it leads to none."""
    if not stream.isatty():
        return None
    asked = os.environ.get("COLUMNS", "")
    if asked.isdigit() and int(asked):
        return int(asked)
    try:
        return os.get_terminal_size(stream.fileno()).columns or _NO_SIZE
    except OSError:
        return _NO_SIZE


def tell(lines: Iterable[str], stream: TextIO) -> None:
    """Print lines for a person: on a terminal broken to its width, and what was found in bold."""
    width = terminal_columns(stream)
    bold = width and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"
    for line in lines:
        shown = [line]
        if width:
            indent = line[: len(line) - len(line.lstrip())]
            shown = fitted(line.lstrip(), first=indent, indent=f"{indent}  ", width=width)
        if bold and _FINDING.match(line):
            shown = [f"\x1b[1m{part}\x1b[0m" for part in shown]
        print("\n".join(shown), file=stream)


def say(*lines: str, err: bool = False) -> None:
    """Print lines for a person; on stderr where stdout is for machines."""
    tell(lines, sys.stderr if err else sys.stdout)


def print_json(content: dict[str, Any]) -> None:
    """Print one JSON object and nothing else."""
    typer.echo(json.dumps(content, indent=2, allow_nan=False, ensure_ascii=False))


P = ParamSpec("P")


def print_answer(
    as_json: bool,
    to_json: Callable[P, dict[str, Any]],
    to_lines: Callable[P, list[str]],
    *results: P.args,
    **options: P.kwargs,
) -> None:
    """Print what was found, for machines or for people."""
    if as_json:
        print_json(to_json(*results, **options))
    else:
        say(*to_lines(*results, **options))


def save_picture(
    figure: "Figure", path: Path, *, overwrite: bool, quiet: bool, again: bool = False
) -> None:
    """Write a picture and name it; on stderr where stdout is for machines."""
    from dbox.drawings.style import save

    save(figure, path, overwrite=overwrite, again=again)
    say(f"wrote {path}", err=quiet)


@contextmanager
def heard() -> Iterator[list[str]]:
    """Gather what is warned of meanwhile, and pass it on."""
    told: list[str] = []
    with warnings.catch_warnings(record=True) as caught:
        yield told
    for warning in caught:
        told.append(str(warning.message))
        warnings.showwarning(warning.message, warning.category, warning.filename, warning.lineno)


@contextmanager
def progress_bar(what: str) -> Iterator[Callable[[float], None] | None]:
    """A bar on stderr where that is a terminal; what it yields takes the part that is done."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.progress import Progress

    with Progress(console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(what, total=1.0)
        yield lambda done: bar.update(task, completed=done)
