"""`dbox setup FILE`: the guided job on site, pass after pass."""

from pathlib import Path
from typing import Annotated

import typer

from dbox_cli.arguments import AsJson, refuse_one_file_twice, refuse_shipped
from dbox_cli.level_command import At, Goal, GoalChoice, Step

File = Annotated[str, typer.Argument(help="Scenario file; where there is none, questions make it.")]
AnswersFile = Annotated[
    Path | None, typer.Option("--answers", help="Take answers from this file, one a line.")
]
Source = Annotated[
    Path | None,
    typer.Option("--from", metavar="SAVED.json", help="Take in what a page (dbox page) has saved."),
]
Again = Annotated[
    bool, typer.Option("--again", help="Start over; the answers so far stay in the log.")
]
Visit = Annotated[
    str | None,
    typer.Option("--visit", help="What visit this is, as 'after backfill': begins or goes on."),
]
Edited = Annotated[
    bool, typer.Option("--edited", help="Go on although the box in FILE was changed: same box.")
]
WriteAfter = Annotated[
    bool,
    typer.Option("--write-after", help="Write FILE-after.toml, the box as last read, for split."),
]


def command(
    file: File,
    answers: AnswersFile = None,
    source: Source = None,
    again: Again = False,
    visit: Visit = None,
    edited: Edited = False,
    write_after: WriteAfter = False,
    goal: Goal = GoalChoice.LEAST_TURNING,
    at: At = None,
    step: Step = 2.5,
    as_json: AsJson = False,
) -> None:
    """Lead a set-up: readings, shares, turns, pass after pass, until nothing is left to turn.

    Every answer is on the disk before the next question (FILE.log.jsonl). Run the same command to
    go on after a pause or a power cut. What FILE lacks of inlet, rim, pipes and lines is asked
    once, but not with --answers. Once a job has ended it asks whether this is another visit, holds
    what is read then against the one before, and says what moved. --json asks nothing unless
    --answers is given.
    """
    from dataclasses import replace

    from dbox.errors import ScenarioError
    from dbox.files.job_log import log_path, read_log, visits
    from dbox.files.scenario import load
    from dbox.files.write_file import write_file
    from dbox.report import setup_report
    from dbox.report.cautions import FOOT
    from dbox.report.recheck_report import recheck_lines
    from dbox.report.text import wrapped
    from dbox_cli.console import Talk, hold
    from dbox_cli.output import print_json, say
    from dbox_cli.setup_questions import Setup
    from dbox_cli.visit_questions import VisitScript, visit_name

    try:
        name = visit if visit is None else visit_name(visit)
    except ScenarioError as error:
        raise typer.BadParameter(f"--visit {error}") from error
    setup = Setup(file=file, goal=goal, at=at, step=step, again=again, edited=edited, visit=name)
    log, after = log_path(setup.path), setup_report.after_path(setup.path)
    refuse_shipped(file)
    refuse_one_file_twice(
        {"FILE": setup.path, "its log": log, "--answers": answers, "--from": source,
         "--write-after": after if write_after else None}
    )  # fmt: skip
    if write_after and after.exists():
        raise ScenarioError(f"{after}: is there already; move it away first")
    if source is not None:
        if answers is not None:
            raise typer.BadParameter("--from takes no --answers; give one of the two")
        typer.echo("\n".join(setup.take(source)), err=as_json)
    looks_only = source is not None or (as_json and answers is None)
    if looks_only and not log.exists():
        load(setup.path)
    talk = None if looks_only else Talk(answers, quiet=as_json)
    begins = not looks_only and setup.begins(read_log(log))
    job = setup.kept() if looks_only or (setup.path.exists() and not begins) else None
    if job is not None and job.closed:
        if not as_json:
            say(*recheck_lines(job), *setup_report.pass_lines(job.now), "",
                *setup_report.end_lines(job, file))  # fmt: skip
        asked, asks = VisitScript(), talk is not None and not write_after
        if talk is not None and asks and hold(talk, asked, "No visit was begun.") and asked.name:
            setup, begins = replace(setup, again=True, visit=asked.name), True
    if talk is not None and (begins or job is None or not job.closed):
        # a plan, too, has asked for the box, but then no lid was open
        entries = read_log(log)
        at_box = bool(visits(entries)) or not setup.path.exists()
        goes_on = not begins and at_box and any("typed" in entry for entry in entries)
        talk.say([*(wrapped(FOOT) if goes_on else setup_report.cautions()), ""])
        setup.lead(talk)
        job = replace(setup, again=False).kept()
    if write_after:
        last = None if job is None else job.last_complete
        if last is None:
            raise ScenarioError(f"{setup.path}: no pass is complete yet, so none can be written")
        write_file(after, setup_report.after_text(setup.path, last))
        say(f"wrote {after}", err=as_json)
    if as_json:
        print_json(setup_report.setup_json(job))
