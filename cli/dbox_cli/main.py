"""The command's front door: its subcommands, and how errors are told.

Exit 0: done. 1: done and the answer is "outside tolerance" (only with --gate). 2: bad input.
70: a bug; set DBOX_TRACEBACK=1 to see where.
"""

import os
import sys
import warnings
from collections.abc import Callable
from functools import partial
from typing import Annotated, Any

import typer

from dbox.report.cautions import MODEL
from dbox_cli import (
    batch_command,
    diagnose_command,
    grades_command,
    level_command,
    pour_command,
    scenario_commands,
    setup_command,
    sheet_command,
    split_command,
    surge_command,
    teach_command,
)

app = typer.Typer(
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    no_args_is_help=True,
    add_completion=True,
    help="How a distribution box splits its flow, and what to turn to level it.",
    epilog=MODEL,
)
app.command("new")(scenario_commands.new)
app.command("check")(scenario_commands.check)
app.command("split")(split_command.command)
app.command("level")(level_command.command)
app.command("setup")(setup_command.command)
app.command("grades")(grades_command.command)
app.command("sheet")(sheet_command.command)
app.command("pour")(pour_command.command)
app.command("batch")(batch_command.command)
app.command("diagnose")(diagnose_command.command)
app.add_typer(teach_command.app, name="teach")
app.command("surge")(surge_command.command)
app.command("schema")(scenario_commands.schema)


def _version(wanted: bool) -> None:
    if wanted:
        from importlib.metadata import version

        typer.echo(f"dbox {version('dbox')}")
        raise typer.Exit


@app.callback()
def _options(
    version: Annotated[
        bool, typer.Option("--version", callback=_version, is_eager=True, help="Show the version.")
    ] = False,
) -> None:
    pass


def run() -> None:
    """Run the command; what dbox raises or warns of on purpose becomes a line on stderr."""
    with warnings.catch_warnings():
        # known by their words: their classes come with numpy, which help does not wait for
        for words in ("no font here has", "a spreadsheet would run"):
            warnings.filterwarnings("always", words, UserWarning)
        warnings.showwarning = partial(_warn, warnings.showwarning)
        try:
            app()
        except Exception as error:
            _tell(error)


def _warn(
    otherwise: Callable[..., None],
    message: Warning | str,
    category: type[Warning],
    *where: Any,
    **how: Any,
) -> None:
    from dbox.errors import CellWarning, LetterWarning

    if issubclass(category, LetterWarning | CellWarning):
        print(f"dbox: warning: {message}", file=sys.stderr)
    else:
        otherwise(message, category, *where, **how)


def _tell(error: Exception) -> None:
    from dbox.errors import DboxError, SolveError

    if isinstance(error, BrokenPipeError):
        # the reader has gone; let the interpreter not complain about it again on exit
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)
    if isinstance(error, DboxError) and not isinstance(error, SolveError):
        for line in str(error).splitlines():
            print(f"dbox: error: {line}", file=sys.stderr)
        sys.exit(2)
    if os.environ.get("DBOX_TRACEBACK") == "1":
        raise error
    print(f"dbox: bug: {type(error).__name__}: {error}", file=sys.stderr)
    print("dbox: set DBOX_TRACEBACK=1 and run again to see where", file=sys.stderr)
    sys.exit(70)
