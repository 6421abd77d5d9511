"""`dbox setup FILE`: the guided job on site, pass after pass."""

from dataclasses import dataclass
from datetime import datetime
from math import radians
from pathlib import Path
from typing import Annotated

import typer

from dbox.errors import DomainError, ScenarioError, at_place
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.setup import Event, Job, Question, Rules, SetupRecord, Undone
from dbox.fieldwork.site import Site
from dbox.files import toml_file
from dbox.files.job_log import (
    JobLog,
    SetupJob,
    Story,
    carried_angles,
    differences,
    identity,
    log_path,
    logged_site,
    read_log,
    story,
)
from dbox.files.scenario import load, resolve, shipped_names
from dbox.files.setup_answers import Command, read_answer
from dbox.files.write_file import write_file
from dbox.report.setup_report import (
    after_path,
    after_text,
    cautions,
    end_lines,
    pass_lines,
    setup_json,
)
from dbox.report.text import wrapped
from dbox.units import clock_text
from dbox_cli.arguments import AsJson, flow_index, naming, refuse_one_file_twice
from dbox_cli.console import PausedError, Talk
from dbox_cli.level_command import At, Goal, GoalChoice, Step
from dbox_cli.output import print_json
from dbox_cli.setup_questions import (
    heard,
    help_lines,
    interview,
    prompt,
    readings_so_far,
    taken_back,
    told,
)


@dataclass(frozen=True, kw_only=True)
class Wishes:
    """The options of the command."""

    highest: bool
    at: str | None
    step: float
    again: bool
    edited: bool
    write_after: bool
    as_json: bool

    def rules(self, site: Site) -> Rules:
        """How turns are worked out."""
        return Rules(
            match_highest=self.highest,
            design_flow=flow_index(site, self.at),
            hand_step=radians(self.step),
        )


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """Where a run has come to."""

    path: Path
    record: SetupRecord | None


def run(file: str, answers: Path | None, wishes: Wishes) -> Outcome:
    """Lead a set-up, or look at one that is finished."""
    path = _scenario(file)
    after = after_path(path) if wishes.write_after else None
    refuse_one_file_twice(
        {"FILE": path, "its log": log_path(path), "--answers": answers, "--write-after": after}
    )
    if wishes.write_after and after_path(path).exists():
        raise ScenarioError(f"{after_path(path)}: exists already; move it away first")
    looks_only = wishes.as_json and answers is None
    if looks_only and not log_path(path).exists():
        load(path)
    if looks_only or (path.exists() and not wishes.again):
        kept = _kept(path, wishes)
        if looks_only or (kept is not None and kept.finished):
            if kept is not None and not wishes.as_json:
                _show(kept, file)
            return Outcome(path=path, record=kept)
    talk = Talk(answers, quiet=wishes.as_json)
    talk.say([*cautions(), ""])
    with JobLog(log_path(path), _now()) as log:
        try:
            job = _begun(talk, log, path, wishes)
            with naming(file):
                _ask_all(talk, job, _bare_unit(path), file)
        except (PausedError, KeyboardInterrupt):
            talk.say(["", *wrapped(f"Paused; every answer is kept. Go on with: dbox setup {file}")])
    return Outcome(path=path, record=_kept(path, wishes))


def finish(outcome: Outcome, wishes: Wishes) -> None:
    """Write and print what was asked for besides."""
    if wishes.write_after:
        last = None if outcome.record is None else outcome.record.last_complete
        if last is None:
            raise ScenarioError(f"{outcome.path}: no pass is complete yet, so none can be written")
        made = after_path(outcome.path)
        write_file(made, after_text(outcome.path, last))
        typer.echo(f"wrote {made}", err=wishes.as_json)
    if wishes.as_json:
        print_json(setup_json(outcome.record))


def _scenario(file: str) -> Path:
    """The file itself, behind any link, so that it has one log whatever it is called."""
    path = Path(file)
    if not path.exists() and file.removesuffix(".toml") in shipped_names():
        raise ScenarioError(
            f"{file}: is a shipped example; copy {resolve(file)} to a file of your own, name that"
        )
    return path.resolve()


def _kept(path: Path, wishes: Wishes) -> SetupRecord | None:
    """The job as its log has it; None while its scenario is still being asked for."""
    told_story = story(read_log(log_path(path)))
    if told_story.box is None and (told_story.answers or not path.exists()):
        return None
    site = load(path)
    if told_story.box is not None and not wishes.edited:
        _refuse_another(path, told_story, site)
    return SetupJob(site, wishes.rules(site), told_story).record()


def _refuse_another(path: Path, told_story: Story, site: Site) -> None:
    changed = differences(told_story.box or {}, identity(site))
    if changed:
        raise ScenarioError(
            f"{log_path(path)}: belongs to another scenario than {path.name}: "
            f"{'; '.join(changed)}. The same box, and you mended its file? Use --edited. Another "
            "visit? Use --again, which keeps all of this one. Another box? Move the log away"
        )


def _begun(talk: Talk, log: JobLog, path: Path, wishes: Wishes) -> SetupJob:
    """The job ready to go on, its log saying which box it is about."""
    if log.torn:
        talk.say(
            wrapped(
                f"The last line of {log.path} was torn off, as by a power cut. It is set aside in "
                f"{log.torn}; the answer in it is asked for again.",
                first="! ",
            )
        )
    told_story = story(log.entries)
    if told_story.box is None and (told_story.answers or not path.exists()):
        interview(talk, log, path, _now)
    site = load(path)
    if told_story.box is None or wishes.again:
        _begin(talk, log, path, site, told_story, wishes)
    elif wishes.edited and differences(told_story.box, identity(site)):
        SetupJob(site, wishes.rules(site), told_story)
        log.append({"event": "edited", "at": _now(), "box": identity(site)})
    elif not wishes.edited:
        _refuse_another(path, told_story, site)
    job = SetupJob(site, wishes.rules(site), story(log.entries), log)
    if job.last is not None:
        talk.say(_welcome_back(job))
    return job


def _begin(
    talk: Talk, log: JobLog, path: Path, site: Site, told_story: Story, wishes: Wishes
) -> None:
    """Write which box the job is about; after an earlier one, with its holes as it left them."""
    entry = {"event": "begun", "at": _now(), "scenario": path.name, "box": identity(site)}
    if told_story.box is not None:
        was = logged_site(told_story.box, site)
        before = SetupJob(was, wishes.rules(was), told_story).job
        angles = carried_angles(before, site)
        entry["angles_rad"] = angles
        talk.say(_carried(before, angles))
    log.append(entry)


def _carried(before: Job, angles: dict[str, float | None]) -> list[str]:
    """Where the holes are taken to stand, and what is no longer there."""
    places = ", ".join(f"{n} {'?' if a is None else clock_text(a)}" for n, a in angles.items())
    gone = [o.label for o in before.site.outlets if o.label not in angles]
    lost = f" Outlet {', '.join(gone)} is no longer in the file; its record stays." if gone else ""
    return wrapped(
        f"Another visit; all that was recorded before stays in the log. Holes as it left them, or "
        f"as the file says where the insert is new or its clock was written anew: {places}.{lost}"
    )


def _welcome_back(job: SetupJob) -> list[str]:
    number = job.job.now.number
    at = job.last.at if job.last else ""
    return [*wrapped(f"Going on with pass {number}; the last answer was given at {at}."), ""]


def _ask_all(talk: Talk, job: SetupJob, bare_unit: str | None, file: str) -> None:
    """Ask until the job ends."""
    if not job.job.now.complete(job.job.site):
        talk.say(readings_so_far(job.job))
    reported: Levelling | None = None
    asked: Question | None = None
    while (question := job.job.question) is not None:
        levelling = job.job.levelling
        if levelling is not None and levelling is not reported:
            talk.say(["", *pass_lines(job.record().passes[-1]), ""])
            reported = levelling
        if question != asked:
            talk.say(told(job.job, question))
            asked = question
        typed = talk.ask(prompt(job.job, question))
        try:
            said = read_answer(job.job, question, typed, bare_unit=bare_unit, at=_now())
        except ScenarioError as error:
            talk.say(_faults(error))
            continue
        if said is Command.PAUSE:
            raise PausedError
        if isinstance(said, Command):
            talk.say(help_lines(question))
            asked = None
        else:
            _take(talk, job, said, typed)
    _show(job.record(), file, talk)


def _take(talk: Talk, job: SetupJob, said: Event, typed: str) -> None:
    """Let an answer count, and say what was understood."""
    undone = job.last
    try:
        job.tell(said, typed)
    except DomainError as error:
        talk.say(_faults(error))
        return
    if isinstance(said, Undone) and undone is not None:
        talk.say(taken_back(job.job, undone))
    else:
        talk.say(heard(job.job, said, typed))


def _faults(error: Exception) -> list[str]:
    lines = []
    for fault in str(error).splitlines():
        said = at_place("that", fault) if fault.startswith(("is ", "[")) else fault
        lines += wrapped(said, first="! ", indent="  ")
    return lines


def _show(found: SetupRecord, file: str, talk: Talk | None = None) -> None:
    lines = end_lines(found, file)
    if talk is None:
        typer.echo("\n".join([*pass_lines(found.passes[-1]), ""]))
        typer.echo("\n".join(lines))
    else:
        talk.say(["", *lines])


def _bare_unit(path: Path) -> str | None:
    """Unit of a bare length, as the scenario states it."""
    stated: str | None = toml_file.parse(toml_file.read_text(path), str(path)).get("units")
    return stated


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")


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

    wishes = Wishes(
        highest=goal is GoalChoice.HIGHEST, at=at, step=step, again=again, edited=edited,
        write_after=write_after, as_json=as_json,
    )  # fmt: skip
    finish(run(file, answers, wishes), wishes)
