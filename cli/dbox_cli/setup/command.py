"""`dbox setup FILE`: the guided job on site, pass after pass, every answer kept."""

from pathlib import Path
from typing import Annotated

import typer

from dbox_cli.arguments import AsJson
from dbox_cli.level import At, Goal, GoalChoice, Step

File = Annotated[str, typer.Argument(help="Scenario file; where there is none, questions make it.")]
AnswersFile = Annotated[
    Path | None, typer.Option("--answers", help="Take answers from this file, one a line.")
]
Again = Annotated[
    bool, typer.Option("--again", help="Begin anew; the answers so far stay in the log.")
]
Edited = Annotated[
    bool, typer.Option("--edited", help="Go on although the scenario's box was changed: same box.")
]
WriteAfter = Annotated[
    bool,
    typer.Option("--write-after", help="Write FILE-after.toml, the box as last read, for split."),
]


def command(
    file: File,
    answers: AnswersFile = None,
    again: Again = False,
    edited: Edited = False,
    write_after: WriteAfter = False,
    goal: Goal = GoalChoice.LEAST_TURNING,
    at: At = None,
    step: Step = 5.0,
    as_json: AsJson = False,
) -> None:
    """Lead a set-up: readings, shares, turns, pass after pass, until nothing is left to turn.

    Every answer is on the disk before the next question (FILE.log.jsonl). Run the same command to
    go on after a pause or a power cut. --json asks nothing unless --answers is given.
    """
    from dbox_cli.setup.run import Wishes, finish, run

    wishes = Wishes(
        highest=goal is GoalChoice.HIGHEST, at=at, step=step, again=again, edited=edited,
        write_after=write_after, as_json=as_json,
    )  # fmt: skip
    finish(run(file, answers, wishes), wishes)
