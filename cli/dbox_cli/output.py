"""How the commands print: JSON, text at 72 columns, bars, and pictures to files."""

import json
import sys
import warnings
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, ParamSpec

import typer

from dbox_cli.arguments import refuse_one_file_twice

if TYPE_CHECKING:
    from matplotlib.figure import Figure


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
        typer.echo("\n".join(to_lines(*results, **options)))


def check_picture(
    path: Path | None, others: Mapping[str, Path | str | None], *, overwrite: bool
) -> None:
    """Refuse a picture that cannot be, before anything is computed for it.

    `others` are the files that the command reads or writes besides, by the arguments for them.
    """
    refuse_one_file_twice({**others, "--picture": path})
    if path:
        from dbox.drawings.style import check_picture

        check_picture(path, overwrite=overwrite)


def save_picture(
    figure: "Figure", path: Path, *, overwrite: bool, quiet: bool, again: bool = False
) -> None:
    """Write a picture and name it; on stderr where stdout is for machines."""
    from dbox.drawings.style import save

    save(figure, path, overwrite=overwrite, again=again)
    typer.echo(f"wrote {path}", err=quiet)


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
