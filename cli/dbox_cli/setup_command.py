"""`dbox setup FILE`: the guided job on site, pass after pass."""

from dataclasses import dataclass
from datetime import datetime
from math import radians
from pathlib import Path
from typing import Annotated

import typer

from dbox.errors import ScenarioError
from dbox.fieldwork.setup import Job, Rules, begin
from dbox.fieldwork.site import Site
from dbox.files import job_log, toml_file
from dbox.files.box_interview import next_key, scenario_text
from dbox.files.scenario import load, resolve, shipped_names
from dbox.files.write_file import is_begun, write_file
from dbox.report import setup_report
from dbox.report.text import wrapped
from dbox.units import clock_text
from dbox_cli.arguments import AsJson, flow_index, naming, refuse_one_file_twice
from dbox_cli.console import Talk, hold
from dbox_cli.level_command import At, Goal, GoalChoice, Step
from dbox_cli.output import print_json
from dbox_cli.setup_questions import BoxScript, PassScript


@dataclass(frozen=True, kw_only=True)
class Setup:
    """A set-up of a scenario, and the options that it is led by."""

    file: str  # As the person names it.
    goal: GoalChoice
    at: str | None
    step: float  # [deg]
    again: bool
    edited: bool

    @property
    def path(self) -> Path:
        """The file itself, behind any link, so that it has one log whatever it is called."""
        return Path(self.file).resolve()

    def rules(self, site: Site) -> Rules:
        """How turns are worked out."""
        return Rules(
            match_highest=self.goal is GoalChoice.HIGHEST,
            design_flow=flow_index(site, self.at),
            hand_step=radians(self.step),
        )

    def kept(self) -> Job | None:
        """The job as its log has it; None while its scenario is still being asked for."""
        entries = job_log.read_log(job_log.log_path(self.path))
        told = job_log.visits(entries)
        if not told and (job_log.interview_answers(entries) or not self.path.exists()):
            return None
        site = load(self.path)
        if told and not self.edited:
            self._refuse_another(told[-1], site)
        rules = self.rules(site)
        return job_log.played(site, rules, told[-1]) if told else begin(site, rules)

    def lead(self, talk: Talk) -> None:
        """Ask until the job ends or the person pauses."""
        paused = f"Paused; every answer is kept. Go on with: dbox setup {self.file}"
        with job_log.JobLog(job_log.log_path(self.path), _now()) as log:
            if log.torn:
                talk.say(
                    wrapped(
                        f"The last line of {log.path} was torn off, as by a power cut. It is set "
                        f"aside in {log.torn}; the answer in it is asked for again.",
                        first="! ",
                    )
                )
            asked = job_log.interview_answers(log.entries)
            if not job_log.visits(log.entries) and (asked or not self.path.exists()):
                if self.path.exists() and next_key(asked) is not None:
                    raise ScenarioError(
                        f"{self.path}: has come since its questions began; move it away, or move "
                        f"{log.path} away to begin with it"
                    )
                script = BoxScript(self.path, log, _now)
                if not hold(talk, script, paused):
                    return
                text = scenario_text(script.answers)
                write_file(self.path, text, overwrite=is_begun(self.path, text.encode()))
                talk.say([f"wrote {self.path}", ""])
            site = load(self.path)
            talk.say(self._begin(log, site))
            job = job_log.played(site, self.rules(site), job_log.visits(log.entries)[-1])
            stated = toml_file.parse(toml_file.read_text(self.path), str(self.path)).get("units")
            with naming(self.file):
                passes = PassScript(job, log, stated, _now)
                if hold(talk, passes, paused):
                    talk.say(["", *setup_report.end_lines(passes.job, self.file)])

    def _begin(self, log: job_log.JobLog, site: Site) -> list[str]:
        """Write which box the job is about, where the log does not say it; lines to say."""
        told = job_log.visits(log.entries)
        entry = {"at": _now(), "scenario": self.path.name, "box": job_log.identity(site)}
        if not told:
            log.append({"event": "begun", **entry})
            return []
        visit = told[-1]
        if self.again:
            # the holes are where the visit before left them
            was = job_log.logged_site(visit.box, site)
            before = job_log.played(was, self.rules(was), visit)
            angles = job_log.carried_angles(before, site)
            log.append({"event": "begun", **entry, "angles_rad": angles})
            return _carried(before, angles)
        if not self.edited:
            self._refuse_another(visit, site)
        elif job_log.differences(visit.box, site):
            # what was answered before goes with the mended file, or this raises
            job_log.played(site, self.rules(site), visit)
            log.append({"event": "edited", "at": _now(), "box": job_log.identity(site)})
        return []

    def _refuse_another(self, visit: job_log.Visit, site: Site) -> None:
        if changed := job_log.differences(visit.box, site):
            raise ScenarioError(
                f"{job_log.log_path(self.path)}: belongs to another scenario than "
                f"{self.path.name}: {'; '.join(changed)}. The same box, and you mended its file? "
                "Use --edited. Another visit? Use --again, which keeps all of this one. Another "
                "box? Move the log away"
            )


def _carried(before: Job, angles: dict[str, float | None]) -> list[str]:
    """Where the holes are taken to stand, and what is no longer there."""
    places = ", ".join(f"{n} {'?' if a is None else clock_text(a)}" for n, a in angles.items())
    gone = [o.label for o in before.site.outlets if o.label not in angles]
    lost = f" Outlet {', '.join(gone)} is no longer in the file; its record stays." if gone else ""
    return wrapped(
        f"Another visit; all that was recorded before stays in the log. Holes as it left them, or "
        f"as the file says where the insert is new or its clock was written anew: {places}.{lost}"
    )


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

    if not Path(file).exists() and file.removesuffix(".toml") in shipped_names():
        raise ScenarioError(
            f"{file}: is a shipped example; copy {resolve(file)} to a file of your own, name that"
        )
    setup = Setup(file=file, goal=goal, at=at, step=step, again=again, edited=edited)
    log, after = job_log.log_path(setup.path), setup_report.after_path(setup.path)
    refuse_one_file_twice(
        {"FILE": setup.path, "its log": log, "--answers": answers,
         "--write-after": after if write_after else None}
    )  # fmt: skip
    if write_after and after.exists():
        raise ScenarioError(f"{after}: exists already; move it away first")
    looks_only = as_json and answers is None
    if looks_only and not log.exists():
        load(setup.path)
    job = setup.kept() if looks_only or (setup.path.exists() and not again) else None
    if job is not None and job.closed:
        if not as_json:
            typer.echo(
                "\n".join(
                    [*setup_report.pass_lines(job.now), "", *setup_report.end_lines(job, file)]
                )
            )
    elif not looks_only:
        talk = Talk(answers, quiet=as_json)
        talk.say([*setup_report.cautions(), ""])
        setup.lead(talk)
        job = setup.kept()
    if write_after:
        last = None if job is None else job.last_complete
        if last is None:
            raise ScenarioError(f"{setup.path}: no pass is complete yet, so none can be written")
        write_file(after, setup_report.after_text(setup.path, last))
        typer.echo(f"wrote {after}", err=as_json)
    if as_json:
        print_json(setup_report.setup_json(job))
