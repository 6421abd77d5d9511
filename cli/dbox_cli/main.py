"""The command's front door: its subcommands, and how errors are told.

Exit 0: done. 1: done and the answer is "outside tolerance" (only with --gate). 2: bad input.
70: a bug; set DBOX_TRACEBACK=1 to see where.
"""

import contextlib
import logging
import os
import sys
import warnings
from collections.abc import Callable
from functools import partial
from textwrap import TextWrapper
from typing import Annotated, Any

import typer

from dbox.report.cautions import MODEL
from dbox.report.text import WIDTH, narrowed
from dbox_cli import (
    batch_command,
    diagnose_command,
    grades_command,
    level_command,
    page_command,
    pour_command,
    scenario_commands,
    setup_command,
    sheet_command,
    split_command,
    surge_command,
    teach_command,
)
from dbox_cli.output import say, terminal_columns

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
app.command("page")(page_command.command)
app.command("grades")(grades_command.command)
app.command("sheet")(sheet_command.command)
app.command("pour")(pour_command.command)
app.command("batch")(batch_command.command)
app.command("diagnose")(diagnose_command.command)
app.command("surge")(surge_command.command)
app.command("schema")(scenario_commands.schema)
for each in (*app.registered_commands, *teach_command.app.registered_commands):
    # a list of commands wraps what it is given, but cuts what it takes from a docstring itself
    each.short_help = " ".join(str(each.callback.__doc__).partition("\n\n")[0].split())
app.add_typer(teach_command.app, name="teach", short_help=teach_command.app.info.help)
# names such as off-level stay whole where help is wrapped
TextWrapper.wordsep_re = TextWrapper.wordsep_simple_re


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
    _open_streams()
    # that it has no folder to keep fonts in, say, is nothing that a person can use
    logging.getLogger("matplotlib").setLevel(logging.ERROR)
    with narrowed(terminal_columns(sys.stdout) or WIDTH), warnings.catch_warnings():
        # known by their words: their classes come with numpy, which help does not wait for
        for words in ("no font here has", "a spreadsheet would run"):
            warnings.filterwarnings("always", words, UserWarning)
        warnings.showwarning = partial(_warn, warnings.showwarning)
        try:
            code = app(prog_name="dbox", standalone_mode=False)
            sys.stdout.flush()
        except SystemExit as stop:
            if not isinstance(stop.__context__, BrokenPipeError):
                raise
            # the reader has gone, of which typer makes an exit with 1
            code = _let_go()
        except Exception as error:
            code = _tell(error)
    sys.exit(code)


def _open_streams() -> None:
    """Let a stream that is closed lead nowhere: a file opened later would take its place."""
    for name, mode in (("stdin", "r"), ("stdout", "w"), ("stderr", "w")):
        if getattr(sys, name) is None:
            setattr(sys, name, open(os.devnull, mode))  # noqa: SIM115


def _let_go() -> int:
    """Let what stdout still holds lead nowhere, so that it is not tried again on exit."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
    return 0


def _warn(
    otherwise: Callable[..., None],
    message: Warning | str,
    category: type[Warning],
    *where: Any,
    **how: Any,
) -> None:
    from dbox.errors import CellWarning, LetterWarning

    if issubclass(category, LetterWarning | CellWarning):
        say(f"dbox: warning: {message}", err=True)
    else:
        otherwise(message, category, *where, **how)


def _tell(error: Exception) -> int:
    """Say on stderr what went wrong; the exit code of it."""
    from dbox.errors import DboxError, SolveError

    if isinstance(error, BrokenPipeError):
        return _let_go()
    code, start, told = 2, "dbox: error: ", str(error).splitlines()
    if type(error).__name__ == "NoArgsIsHelpError":
        start = ""
    elif hasattr(error, "format_message"):
        told = [_usage_fault(error)]
    elif isinstance(error, OSError) and error.filename is None:
        # files tell of themselves
        _let_go()
        told = [f"the output cannot be written ({error.strerror}); make room, or send it elsewhere"]
    elif not isinstance(error, DboxError) or isinstance(error, SolveError):
        if os.environ.get("DBOX_TRACEBACK") == "1":
            raise error
        code, start = 70, "dbox: "
        told = [f"bug: {type(error).__name__}: {error}",
                "set DBOX_TRACEBACK=1 and run again to see where"]  # fmt: skip
    # where stderr takes nothing, the code alone says it
    with contextlib.suppress(OSError):
        say(*(f"{start}{line}" for line in told), err=True)
    return code


def _usage_fault(error: Any) -> str:
    """Word what is wrong with an argument: which one, its value, the mend."""
    from dbox.errors import any_of, closest, shorten, show

    kind, message = type(error).__name__, shorten(error.message, 500)
    command = error.ctx.command_path if error.ctx else "dbox"
    helps = f"{command} --help tells more"
    if param := getattr(error, "param", None):
        place = param.opts[0] if param.opts[0][0] == "-" else param.metavar or "FILE"
        if kind == "MissingParameter":
            return f"{command}: {place} is missing; {helps}"
        # what the value was is known to what has read it alone
        found = error.__cause__.errors()[0]
        limits, (_, one_of, words) = found.get("ctx", {}), message.partition(" is not one of ")
        if one_of:
            mend = any_of(words.rstrip(".").replace("'", "").split(", "))
        elif "ge" in limits:
            mend = f"{limits['ge']} or more"
        elif "le" in limits:
            mend = f"{limits['le']} or less"
        else:
            mend = "a whole number" if "int" in found["type"] else "a number"
        return f"{place} is {show(str(found['input']))}; write {mend}"
    if kind == "NoSuchOption":
        options = [option for param in error.ctx.command.params for option in param.opts]
        close = closest(error.option_name, options)
        mend = f"did you mean {close}?" if close else helps
        return f"{shorten(error.option_name)} is no option of {command}; {mend}"
    if kind == "BadOptionUsage":
        if "does not take" in message:
            return f"{error.option_name} takes no value; leave out what stands after it"
        return f"{error.option_name} has no value; write one after it"
    _, quoted, word = message.partition("No such command ")
    if quoted:
        word = word[1:].partition("'.")[0]
        close = closest(word, error.ctx.command.commands)
        mend = f"did you mean {close}?" if close else helps
        return f"{show(word)} is no command of {command}; {mend}"
    _, extra, words = message.partition("extra argument(s) ")
    if extra:
        return f"{words[1:-1]} is more than {command} takes; put in quotes what has spaces"
    return message if message != "Missing command." else f"{command}: no command is named; {helps}"
