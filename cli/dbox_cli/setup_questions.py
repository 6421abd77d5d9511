"""A guided set-up: the questions that make a scenario, those of its passes, and what leads on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from math import radians
from pathlib import Path

from dbox.errors import ScenarioError, shorten
from dbox.fieldwork import setup
from dbox.fieldwork.levelling import Levelling
from dbox.fieldwork.setup import Job, Question, Rules, begin
from dbox.fieldwork.site import Site
from dbox.files import box_interview as box
from dbox.files import job_log, toml_file
from dbox.files.job_log import JobLog
from dbox.files.scenario import load
from dbox.files.setup_answers import offered, outlet_of, read_answer, usual_method
from dbox.files.write_file import is_begun, write_file
from dbox.report.setup_report import doubt_text, end_lines, pass_lines
from dbox.report.text import wrapped
from dbox.units import clock_text, millimetres
from dbox_cli.arguments import flow_index, naming
from dbox_cli.console import Asking, Talk, hold
from dbox_cli.level_command import GoalChoice


class BoxScript:
    """What a scenario needs, asked where there is none; each answer goes to the log."""

    def __init__(self, path: Path, log: JobLog) -> None:
        self._path, self._log = path, log

    @property
    def answers(self) -> Mapping[str, str]:
        """The answers that stand, by key."""
        return job_log.interview_answers(self._log.entries)

    def opening(self) -> list[str]:
        """What this is about, at its beginning."""
        there = f"{self._path} is not there yet: a few questions make it. ? helps."
        return [] if self.answers else wrapped(there)

    def asking(self) -> Asking | None:
        """The first question that is not answered, its prompt with the number for `correct`."""
        answers = self.answers
        key = box.next_key(answers)
        if key is None:
            return None
        topic = key.partition(" ")[0]
        shown = box.scenario_text(answers).splitlines() if key == "write" else []
        enter = f" Enter: {box.TOPICS[topic].enter}." if box.TOPICS[topic].enter else ""
        words = ["", *shown, *wrapped(f"{box.TOPICS[topic].asks}{enter}")]
        before = box.clock_before(answers) if topic == "clock" else ""
        prompt = "write it?" if key == "write" else key
        prompt += f" (Enter: {before})" if before else ""
        number = list(box.keys_asked(answers)).index(key) + 1
        return Asking(topic=topic, words=words, prompt=f"{number}. {prompt} > ")

    def answer(self, typed: str) -> list[str]:
        """Check an answer and keep it."""
        answers = self.answers
        key = box.next_key(answers) or "write"
        topic = key.partition(" ")[0]
        if typed.strip().lower().partition(" ")[0] == "skip":
            if topic == "clock":
                # Enter alone would take the clock before
                return self._keep("described", key=key, typed="")
            typed = typed if topic in (*box.NEEDED, "write") else ""
        return self._keep("described", key=key, typed=box.check(key, typed, answers))

    def undo(self, typed: str, /) -> list[str]:
        """Take the last answer back."""
        if not self.answers:
            raise ScenarioError("is the first question; there is nothing to take back")
        return self._keep("undone", typed=typed)

    def correct(self, which: str, typed: str, /) -> list[str]:
        """Ask for an answer anew by the number of its question."""
        answers = self.answers
        known = list(box.keys_asked(answers))
        number = int(which) if which.isascii() and which.isdecimal() and len(which) < 4 else 0
        if not 1 <= number <= len(known) or known[number - 1] not in answers:
            raise ScenarioError(
                f'is "correct {shorten(which)}"; write the number of a question answered before'
            )
        return self._keep("asked again", key=known[number - 1], typed=typed)

    def help(self) -> tuple[str, ...]:
        """What can be typed at every question."""
        return (
            "  undo        take the last answer back, as often as you like",
            "  skip        leave this one out",
            "  correct 5   answer question 5 anew",
            "  pause       stop here; every answer is kept (Ctrl-C, Ctrl-D too)",
        )

    def _keep(self, event: str, **entry: str) -> list[str]:
        self._log.append({"event": event, "at": _now(), **entry})
        return []


_HELP = {
    "clock": "6:30          where the hole stands; skip: not known",
    "still": "Enter         the water lies still; or type how heights are read",
    "reading": "1/8 3/16      heights in the unit of the scenario, or 3 mm, -1/16 in",
    "repeat": "1/8           one more reading; Enter: enough",
    "confirm": "yes, no       take the reading as typed, or read again",
    "turn": "3 7:45        the hole of outlet 3 was left at 7:45",
    "close": "pass          one more pass; Enter: end the job",
}


class PassScript:
    """The passes of a set-up, until the job ends."""

    def __init__(self, job: Job, log: JobLog, bare_unit: str | None) -> None:
        self.job = job  # What the log holds, and no more.
        self._log, self._bare_unit = log, bare_unit
        self._reported: Levelling | None = None

    @property
    def _question(self) -> Question:
        question = self.job.question
        assert question is not None, "the loop ends with the last question"
        return question

    def opening(self) -> list[str]:
        """Where the job stands as it is taken up: what was read of a pass, or what it asks for."""
        now, lines = self.job.now, []
        if self.job.last is not None:
            went_on = f"Going on with pass {now.number}; the last answer was given at"
            lines += [*wrapped(f"{went_on} {self.job.last.at}."), ""]
        if not now.complete and any(now.readings):
            lines += ["Read so far in this pass:"]
            lengths = self.job.site.lengths
            for outlet, heights in zip(self.job.site.outlets, now.readings, strict=True):
                told = ", ".join(lengths.both(height, signed=True) for height in heights)
                text = f"outlet {outlet.label}: {told}"
                lines += wrapped(text, first="  ", indent="    ") if heights else []
        return lines + self._report()

    def _report(self) -> list[str]:
        """What a pass has shown, once for the same answer."""
        levelling = self.job.now.levelling
        if self.job.closed or levelling is None or levelling is self._reported:
            return []
        self._reported = levelling
        return ["", *pass_lines(self.job.now), ""]

    def _tell(self, event: setup.Event, typed: str) -> None:
        """Let an event happen and bring it to the disk."""
        job = self.job.after(event)
        self._log.append(job_log.entry_of(event, job.site, typed))
        self.job = job

    def asking(self) -> Asking | None:
        """The question that stands."""
        question = self.job.question
        if question is None:
            return None
        return Asking(
            topic=question, words=_words(self.job, question), prompt=_prompt(self.job, question)
        )

    def answer(self, typed: str) -> list[str]:
        """Let an answer count, and say what was understood where there is something to check."""
        job = self.job
        event = read_answer(job, self._question, typed, bare_unit=self._bare_unit, at=_now())
        self._tell(event, typed)
        lines = []
        if isinstance(event, setup.Read):
            heights = ", ".join(millimetres(height, signed=True) for height in event.heights)
            said = f"{typed.strip()} is {heights}" if typed.strip() else heights
            lines = wrapped(said, first="  ", indent="  ")
        elif isinstance(event, setup.ClockSet | setup.Left):
            where = "somewhere" if event.angle is None else f"at {clock_text(event.angle)}"
            lines = [f"  outlet {job.site.outlets[event.outlet].label}: hole {where}"]
        elif isinstance(event, setup.Confirmed) and not event.sure:
            lines = ["  not taken; read it again"]
        return lines + self._report()

    def undo(self, typed: str, /) -> list[str]:
        """Take the last event back, and say which."""
        undone = self.job.last
        self._tell(setup.Undone(at=_now()), typed)
        outlet = getattr(undone, "outlet", None)
        of = "" if outlet is None else f" of outlet {self.job.site.outlets[outlet].label}"
        what = _TAKEN_BACK.get(type(undone), "the last answer")
        return [f"  taken back: {what}{of}", *self._report()]

    def correct(self, which: str, typed: str, /) -> list[str]:
        """Read an outlet of this pass anew."""
        self._tell(setup.Correcting(at=_now(), outlet=outlet_of(self.job, which)), typed)
        return self._report()

    def help(self) -> list[str]:
        """What can be typed at the question that stands."""
        return [
            f"  {_HELP[self._question.kind]}",
            "  undo          take the last answer back, as often as you like",
            "  skip          not measured now, not known, or not turned",
            "  correct 3     read outlet 3 of this pass anew",
            "  clock 3 6:30  the hole of outlet 3 stood at 6:30 when it was read",
            "  pause         stop here; every answer is kept (Ctrl-C, Ctrl-D too)",
        ]


_TAKEN_BACK: dict[type, str] = {
    setup.ClockSet: "the clock position",
    setup.Still: "still water",
    setup.Read: "the reading",
    setup.Confirmed: "the yes or no",
    setup.Settled: "that the readings are enough",
    setup.Skipped: "the skip",
    setup.Correcting: "the correction",
    setup.Left: "where the hole was left",
    setup.Turned: "that turning is done",
}


def _words(job: Job, question: Question) -> list[str]:
    """What to say before a question is asked; nothing where the prompt says it all."""
    if question.kind == "clock":
        return wrapped(
            "Where does this hole stand now, as on a clock face seen from inside the box? 6:00 is "
            "straight down. skip: not known."
        )
    if question.kind == "still":
        return _still(job)
    if question.kind == "reading" and question.outlet in job.now.skipped:
        return wrapped(
            f"Outlet {_label(job, question)} is not measured yet: without it no share is known. If "
            'it is capped, pause, write state = "capped" under it, and go on with --edited.'
        )
    if question.kind == "confirm":
        return wrapped(f"Outlet {_label(job, question)}: {doubt_text(question.doubt, job.site)}")
    if question.kind not in ("turn", "close"):
        return []
    places = ", ".join(
        f"outlet {job.site.outlets[i].label} at {'?' if angle is None else clock_text(angle)}"
        for i, angle in job.now.left
    )
    again = "reads anew, once it is bedded" if job.now.conclusion == "re-bed" else "reads anew"
    text = {
        "turn": "Enter: all turned as told. Left one elsewhere? Write where, as 3 7:45. skip: none "
        "was turned. end: leave the box as it is.",
        "close": f"Enter: end the job. pass: {again}. undo and correct N still work.",
    }[question.kind]
    return [*(wrapped(f"Left: {places}.") if places else []), *wrapped(text)]


def _still(job: Job) -> list[str]:
    number = job.now.number
    fill = (
        "Fill the box with clean water until it just spills, stop, and wait until it lies still: "
        "it then stands at the lowest open lip."
        if number == 1
        else "Top up until it just spills, stop, and wait until it lies still. The still level has "
        "moved, so every outlet is read anew."
    )
    outlet = next(outlet for outlet in job.site.outlets if not outlet.capped)
    point = "the top" if outlet.point_over_lip == outlet.opening.top else "the centre"
    point = point if outlet.point_over_lip else "the lip (lowest point)"
    return [
        "",
        f"PASS {number}",
        *wrapped(fill),
        *wrapped(
            f"Measure from the water to {point} of each hole, clockwise from the inlet: + above "
            "the water, - below it. More than once is better: 1/8 3/16 on one line, or one by one."
        ),
        *wrapped("Read in another way? Type how. ? shows what else can be typed."),
    ]


def _prompt(job: Job, question: Question) -> str:
    """The prompt, with what Enter alone does."""
    label = _label(job, question)
    if question.kind == "reading":
        heights = ", ".join(
            millimetres(height, signed=True) for height in offered(job, question.outlet or 0)
        )
        whence = "as before" if job.now.correcting is not None else "from the file"
        return (
            f"outlet {label} (Enter: {heights}, {whence}) > " if heights else f"outlet {label} > "
        )
    return {
        "clock": f"clock of outlet {label} > ",
        "still": f"still? (Enter: yes, {usual_method(job)}) > ",
        "repeat": f"outlet {label} again (Enter: enough) > ",
        "confirm": "really? yes or no (Enter: no) > ",
        "turn": "turned? (Enter: yes) > ",
        "close": "end? (Enter: yes) > ",
    }[question.kind]


def _label(job: Job, question: Question) -> str:
    return "" if question.outlet is None else job.site.outlets[question.outlet].label


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
        with JobLog(job_log.log_path(self.path), _now()) as log:
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
                if self.path.exists() and box.next_key(asked) is not None:
                    raise ScenarioError(
                        f"{self.path}: has come since its questions began; move it away, or move "
                        f"{log.path} away to begin with it"
                    )
                script = BoxScript(self.path, log)
                if not hold(talk, script, paused):
                    return
                text = box.scenario_text(script.answers)
                write_file(self.path, text, overwrite=is_begun(self.path, text.encode()))
                talk.say([f"wrote {self.path}", ""])
            site = load(self.path)
            talk.say(self._begin(log, site))
            job = job_log.played(site, self.rules(site), job_log.visits(log.entries)[-1])
            stated = toml_file.parse(toml_file.read_text(self.path), str(self.path)).get("units")
            with naming(self.file):
                passes = PassScript(job, log, stated)
                if hold(talk, passes, paused):
                    talk.say(["", *end_lines(passes.job, self.file)])

    def _begin(self, log: JobLog, site: Site) -> list[str]:
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
