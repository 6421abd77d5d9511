"""A guided set-up: the questions that make a scenario, those of its passes, and what leads on."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from math import radians
from pathlib import Path

from dbox.errors import ScenarioError, outlets_text, shorten, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job, Pass, Question, Rules, begin
from dbox.fieldwork.site import Site
from dbox.files import box_interview as box
from dbox.files import job_log, logged_box, page_file, setup_answers, toml_file
from dbox.files.job_log import JobLog
from dbox.files.scenario import load, loads
from dbox.files.write_file import behind_links, is_begun, write_file
from dbox.report.cautions import IN_USE
from dbox.report.recheck_report import recheck_lines, recheck_text
from dbox.report.setup_report import doubt_text, end_lines, pass_lines, taken_lines
from dbox.report.text import moment, wrapped
from dbox.units import clock_text, millimetres
from dbox_cli.arguments import flow_index, naming
from dbox_cli.console import Asking, Talk, hold
from dbox_cli.level_command import GoalChoice
from dbox_cli.visit_questions import Change, LineQuestions, since, taken_over


class BoxScript:
    """What a scenario needs, asked where there is none; each answer goes to the log."""

    def __init__(self, path: Path, log: JobLog, *, by_hand: bool, placed: bool) -> None:
        self._path, self._log = path, log
        self._asks = {"pipes": by_hand, "placed": placed}

    @property
    def answers(self) -> Mapping[str, str]:
        """The answers that stand, by key."""
        return box.standing(job_log.interview_answers(self._log.entries))

    def opening(self) -> list[str]:
        """What this is about, at its beginning."""
        there = f"{self._path} is not there yet: a few questions make it. ? at any of them says "
        return [] if self.answers else wrapped(f"{there}what it means and how to measure.")

    def asking(self) -> Asking | None:
        """The first question that is not answered, its prompt with the number for `correct`."""
        answers = self.answers
        key = box.next_key(answers, **self._asks)
        if key is None:
            return None
        known = list(box.keys_asked(answers, **self._asks))
        shown = [""] if key == "write" else []
        for number, each in enumerate(known[:-1] if shown else (), start=1):
            kept = answers[each] or ("equal" if each == "target" else "-")
            shown += wrapped(f"{number:>2}. {each}: {kept}", indent="    ")
        topic, before = key.partition(" ")[0], box.before(key, answers)
        unlike = topic == "target" and box.lengths_differ(answers)
        words = [*shown, "", *_box_words(topic, unlike=unlike)]
        prompt = f"{known.index(key) + 1}. {'write it?' if shown else key}"
        prompt += f" (Enter: {before}) > " if before else " > "
        return Asking(topic=topic, words=words, prompt=prompt)

    def answer(self, typed: str) -> list[str]:
        """Check an answer, or one for each outlet, and keep it."""
        told = box.line_answers(typed, self.answers, **self._asks)
        for key, kept in told.items():
            self._keep("described", key=key, typed=kept)
        said = "; ".join(kept for kept in told.values() if kept not in ("yes", typed.strip()))
        return wrapped(said, first="  ", indent="  ") if typed.strip() else []

    def undo(self, typed: str, /) -> list[str]:
        """Take the last answer back."""
        if not self.answers:
            raise ScenarioError("is the first question; there is nothing to take back")
        return self._keep("undone", typed=typed)

    def correct(self, which: str, typed: str, /) -> list[str]:
        """Ask for an answer anew by the number of its question."""
        answers = self.answers
        known = list(box.keys_asked(answers, **self._asks))
        number = int(which) if which.isascii() and which.isdecimal() and len(which) < 4 else 0
        if not 1 <= number <= len(known) or known[number - 1] not in answers:
            raise ScenarioError(
                f'is "correct {shorten(which)}"; write the number of a question answered before'
            )
        return self._keep("asked again", key=known[number - 1], typed=typed)

    def help(self) -> list[str]:
        """What the question means, and what can be typed at every one."""
        key = box.next_key(self.answers, **self._asks) or "write"
        return _helped(key.partition(" ")[0], "box")

    def _keep(self, event: str, **entry: str) -> list[str]:
        self._log.append({"event": event, "at": _now(), **entry})
        return []


def _box_words(topic: str, *, unlike: bool = False, at_box: bool = False) -> list[str]:
    """A question about the box, and what Enter alone means.

    unlike: Whether it is what lines of unlike length get; at_box: Whether the box is read already.
    """
    said = box.WORDS["box"][topic]
    left = f"not {'said' if unlike else 'known'}; {said.get('lost', '')}" if "lost" in said else ""
    enter = left if unlike or at_box else said.get("enter", left)
    return wrapped(said["unlike" if unlike else "asks"] + (f" Enter: {enter}." if enter else ""))


class PassScript:
    """The passes of a set-up, until the job ends.

    change: Lets the file and the log follow what was typed about a line, and gives the job then.
    leaves: What is not asked about the box; None: nothing is asked.
    """

    def __init__(
        self,
        job: Job,
        log: JobLog,
        bare_unit: str | None,
        change: Change,
        leaves: Collection[str] | None = None,
    ) -> None:
        self.job = job  # What the log holds, and no more.
        self._log, self._bare_unit, self._leaves = log, bare_unit, leaves
        self._lines = LineQuestions(change, job)
        self._reported: Pass | None = None  # What was shown last.
        # Outlets and heights of a line, on their way one by one. [m]
        self._coming: list[tuple[int, tuple[float, ...]]] = []

    @property
    def _question(self) -> Question:
        question = self.job.question
        assert question is not None, "the loop ends with the last question"
        return question

    @property
    def _topic(self) -> str | None:
        """What is asked about the box: once a job, while the first still water stands."""
        job = self.job
        if self._leaves is None or job.closed or len(job.passes) > 1 or not job.now.complete:
            return None
        left = (t for t in job.site.lacks if t not in job.told and t not in (self._leaves or ()))
        return next(left, None)

    def opening(self) -> list[str]:
        """Where the job stands as it is taken up: what was read of a pass, or what it asks for."""
        self._settle()
        now, lines = self.job.now, []
        if self.job.last is not None:
            when = moment(self.job.last.at)
            lines += [*wrapped(f"Going on with pass {now.number}; the last answer: {when}."), ""]
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
        if self.job.closed or self._topic:
            return []
        now, told = self.job.now, self._reported
        # where a hole was left changes nothing for the others, but where it is stuck there
        shown = replace(now, left=tuple(each for each in now.left if each[0] in now.stuck))
        if not now.complete or (told and told == shown and told.entered is now.entered):
            return []
        self._reported = shown
        if now.number > 1:
            return ["", *pass_lines(now), ""]
        return [
            "",
            *recheck_lines(self.job),
            *pass_lines(now, above=wrapped(recheck_text(self.job))),
            "",
        ]

    def _tell(self, event: setup.Event, typed: str | None) -> None:
        """Let an event happen and bring it to the disk."""
        job = self.job.after(event)
        self._log.append(job_log.entry_of(event, job.site, typed))
        self.job = job

    @property
    def _loose(self) -> list[int]:
        """Outlets that are read and not settled; none while one is in doubt or read anew."""
        now = self.job.now
        waits = now.doubtful is not None or now.correcting is not None
        return [] if waits else [i for i, h in enumerate(now.readings) if h and not now.settled[i]]

    def _settle(self) -> None:
        """A line holds all readings of an outlet, one or several."""
        for outlet in self._loose:
            self._tell(setup.Settled(at=_now(), outlet=outlet), None)

    def leave_out(self, answers: Mapping[str, str]) -> None:
        """Ask for no clock that the interview has just said is not known."""
        while (question := self.job.question) is not None and question.kind == "clock":
            if answers.get("clock", answers.get(f"clock {_label(self.job, question)}")) != "":
                return
            self._tell(setup.ClockSet(at=_now(), outlet=question.outlet or 0, angle=None), None)

    def asking(self) -> Asking | None:
        """The question that stands."""
        if (about_line := self._lines.asking()) is not None:
            return about_line
        if topic := self._topic:
            first = ["", *wrapped(box.WORDS["pass"]["told"]["asks"])] * (not self.job.told)
            words = [*first, *_box_words(topic, unlike=topic == "target", at_box=True)]
            return Asking(topic=topic, words=words, prompt=f"{topic.replace('_', ' ')} > ")
        question = self.job.question
        if question is None:
            return None
        words = _words(self.job, question)
        return Asking(topic=words, words=words, prompt=_prompt(self.job, question))

    def answer(self, typed: str) -> list[str]:
        """Let an answer count, and say what was understood where there is something to check."""
        followed = self._lines.follow(self.job, typed)
        if followed is not None:
            self.job, told = followed
            return [*told, *self._report()]
        if topic := self._topic:
            value = setup_answers.read_told(self.job, topic, typed, self._bare_unit)
            self._tell(setup.Told(at=_now(), key=topic, value=value), typed)
            lengths = self.job.site.lengths
            said = lengths.both(value) if isinstance(value, float) else ""
            return [*wrapped(said, first="  ", indent="  "), *self._report()]
        job, question, unit = self.job, self._question, self._bare_unit
        coming = setup_answers.readings_of_all(job, question, typed, unit)
        if coming:
            self._coming, is_still = coming, question.kind == "still"
            if is_still:
                self._tell(setup.Still(at=_now(), method=setup_answers.usual_method(job)), typed)
            return [*self._come(None if is_still else typed), *self._report()]
        event = setup_answers.said_stuck(job, typed, _now()) or setup_answers.read_answer(
            job, question, typed, bare_unit=unit, at=_now()
        )
        self._tell(event, typed)
        self._settle()
        said = ""
        if isinstance(event, setup.Read):
            said = f"{typed.strip()} is {_told(event.heights)}"
            if len(event.heights) == sum(not outlet.capped for outlet in job.site.outlets) > 2:
                said += (
                    ", all of this outlet. One for each outlet? Type back, then all "
                    f"{typed.strip()}"
                )
        elif isinstance(event, setup.Stuck):
            said = _stuck(self.job) or "No insert is stuck."
        elif isinstance(event, setup.ClockSet | setup.Left):
            where = "not known" if event.angle is None else f"at {clock_text(event.angle)}"
            said = f"outlet {job.site.outlets[event.outlet].label}: hole {where}"
        elif isinstance(event, setup.Still) and event.method != setup_answers.USUAL_METHOD:
            said = f"read by {event.method}"
        elif isinstance(event, setup.Carried):
            said = taken_over(self.job, event)
        elif isinstance(event, setup.Confirmed) and not event.sure:
            said = "not taken; read it again"
        return [*wrapped(said, first="  ", indent="  "), *self._come(None), *self._report()]

    def _come(self, typed: str | None) -> list[str]:
        """Take the readings of a line as far as none is in doubt; say what is taken."""
        told: list[str] = []
        labels = [outlet.label for outlet in self.job.site.outlets]
        for outlet, heights in tuple(self._coming):
            if self._question.kind != "reading" or self._question.outlet != outlet:
                break
            read = setup_answers.read_of(self.job, outlet, heights, _now())
            self._tell(read, None if told else typed)
            self._settle()
            self._coming.pop(0)
            told.append(f"outlet {labels[outlet]} {_told(heights)}")
        if self._coming:
            told.append(f"not taken yet: {', '.join(labels[i] for i, _ in self._coming)}")
        return wrapped("; ".join(told), first="  ", indent="  ")

    def undo(self, typed: str, /) -> list[str]:
        """Take the last event back, and say which; with it what followed from it by itself."""
        undone, labels = self.job.last, [outlet.label for outlet in self.job.site.outlets]
        self._tell(setup.Undone(at=_now()), typed)
        while self._loose:
            undone = self.job.last
            self._tell(setup.Undone(at=_now()), None)
        outlet = getattr(undone, "outlet", None)
        what = box.WORDS["taken_back"].get(type(undone).__name__, "the last answer")
        what += "" if outlet is None else f" of outlet {labels[outlet]}"
        rest = ", ".join(labels[i] for i, _ in self._coming)
        self._coming.clear()
        rest = f"; the rest of its line is dropped: outlet {rest}" if rest else ""
        return [*wrapped(f"taken back: {what}{rest}", first="  ", indent="  "), *self._report()]

    def correct(self, which: str, typed: str, /) -> list[str]:
        """Read an outlet of this pass anew."""
        if self.job.question and self._question.kind == "confirm":
            raise ScenarioError(f"is {show(typed)}; say first whether the reading is meant")
        outlet = setup_answers.outlet_of(self.job, which)
        self._tell(setup.Correcting(at=_now(), outlet=outlet), typed)
        return self._report()

    def help(self) -> list[str]:
        """What the question that stands means, and what can be typed at every one."""
        return _helped(self._topic or self._question.kind, "pass")


def _helped(topic: str, part: str) -> list[str]:
    asked = box.WORDS["box"] | box.WORDS[part]
    told = (asked[topic]["help"], box.WORDS["typed"][part])
    return [line for text in told for line in wrapped(text, first="  ", indent="  ")]


def _words(job: Job, question: Question) -> list[str]:
    """What to say before a question is asked; nothing where the prompt says it all."""
    said = (box.WORDS["box"] | box.WORDS["pass"])[question.kind]
    now, label = job.now, _label(job, question)
    if question.kind == "confirm":
        return wrapped(f"Outlet {label}: {doubt_text(question.doubt, job.site)}")
    if question.kind == "reading" and question.outlet not in now.skipped:
        return []
    labels, told = [outlet.label for outlet in job.site.outlets], job.told_angles
    places = ", ".join(
        f"outlet {labels[i]} at {_clock(angle)}{', where it stood' * (angle == now.angles[i])}"
        for i, angle in now.left
    )
    lines = wrapped(f"Left: {places}.") if places else []
    if question.kind == "turn" and now.levelling is not None:
        # what to do stands beside the prompt, however long the numbers are
        turns = [f"{labels[i]} by the rule" if told[i] is None else
                 f"{labels[i]} from {_clock(now.angles[i])} to {_clock(told[i])}"
                 for i in now.levelling.order if (i, now.angles[i]) not in now.left]  # fmt: skip
        lines += wrapped(f"To turn: outlet {', then '.join(turns)}.") if turns else []
    if question.kind == "still":
        number = now.number + now.complete
        stuck, first = wrapped(_stuck(job)), "first" if number == 1 else "later"
        lines = ["", f"PASS {number}", *stuck, *wrapped(said[first])]
        if number > 1:
            return lines
        if job.compared:
            lines += ["", *since(job, job.compared)]
    outlet = next(outlet for outlet in job.site.outlets if not outlet.capped)
    point = "the top" if outlet.point_over_lip == outlet.opening.top else "the centre"
    point = point if outlet.point_over_lip else "the lip (lowest point)"
    again = "read all again" + ", once it is bedded" * (now.conclusion == "re-bed")
    lines += wrapped(said["asks"].format(point=point, again=again, label=label))
    shown = said.get("metric" if job.site.metric else "inch", {})
    return lines + wrapped(said.get("all", "").format(**shown))


def _stuck(job: Job) -> str:
    """Inserts that are not to be turned, and how that is taken back; empty: none."""
    labels = [job.site.outlets[i].label for i in job.now.stuck]
    if not labels:
        return ""
    return f"Stuck, not to be turned: {outlets_text(labels)}. Turns after all? free {labels[0]}."


def _clock(angle: float | None) -> str:
    return "?" if angle is None else clock_text(angle)


def _told(heights: Iterable[float]) -> str:
    return ", ".join(millimetres(height, signed=True) for height in heights)


def _prompt(job: Job, question: Question) -> str:
    """The prompt, with what Enter alone does."""
    label = _label(job, question)
    if question.kind == "reading":
        heights = _told(setup_answers.offered(job, question.outlet or 0))
        whence = "as before" if job.now.correcting is not None else "from the file"
        return f"outlet {label}{f' (same: {heights}, {whence})' if heights else ''} > "
    return {
        "clock": f"clock of outlet {label} > ",
        "still": f"still? (Enter: yes, {setup_answers.usual_method(job)}) > ",
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
    goal: GoalChoice = GoalChoice.LEAST_TURNING
    at: str | None = None
    step: float = 2.5  # [deg]
    again: bool = False
    edited: bool = False
    visit: str | None = None  # What the visit is called.

    @property
    def path(self) -> Path:
        """The file itself, behind any link, so that it has one log whatever it is called."""
        return behind_links(Path(self.file), ".log.jsonl.torn")

    def rules(self, site: Site) -> Rules:
        """How turns are worked out."""
        return Rules(
            match_highest=self.goal is GoalChoice.HIGHEST,
            design_flow=flow_index(site, self.at),
            hand_step=radians(self.step),
        )

    def begins(self, entries: Iterable[job_log.Entry]) -> bool:
        """Whether another visit is asked for than the last one of the log."""
        told = job_log.visits(entries)
        named = self.visit is not None and bool(told)
        return self.again or (named and told[-1].name.lower() != (self.visit or "").lower())

    def kept(self) -> Job | None:
        """The job as its log has it; None while its scenario is still being asked for."""
        entries = job_log.read_log(job_log.log_path(self.path))
        told = job_log.visits(entries)
        if not told and (job_log.interview_answers(entries) or not self.path.exists()):
            return None
        site = load(self.path)
        return self._job(told, site) if told else begin(site, self.rules(site))

    def _job(self, told: Sequence[job_log.Visit], site: Site) -> Job:
        """The job of the last visit, where the file still is of its box."""
        mended = self.edited and bool(logged_box.differences(told[-1].box, site))
        if not self.edited:
            self._refuse_another(told[-1], site)
        try:
            return job_log.present_job(told, site, self.rules(site), mended=mended)
        except ScenarioError as error:
            changed = "; ".join(logged_box.line_changes(told[-1].box, logged_box.identity(site)))
            if not changed:
                raise
            raise ScenarioError(
                f"{job_log.log_path(self.path)}: since this visit began {changed}, which does not "
                f"go with what was read in it ({error}). Begin another, which keeps all of it: "
                f'dbox setup {self.path.name} --visit "a line changed"'
            ) from error

    def take(self, source: Path) -> list[str]:
        """Take in what a page has saved; lines to say."""
        begins = self.begins(job_log.read_log(job_log.log_path(self.path)))
        saved = page_file.read_saved(source)
        found = page_file.take(saved, self.path, _now(), again=begins, name=self.visit)
        return taken_lines(found, source, self.file)

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
                if not self._make(talk, log, paused):
                    return
            site = load(self.path)
            talk.say(self._begin(log, site))
            job = self._job(job_log.visits(log.entries), site)
            stated = toml_file.parse(toml_file.read_text(self.path), str(self.path)).get("units")
            with naming(self.file):
                asked = job_log.interview_answers(log.entries)
                # what was left out there is not asked once more
                leaves = {*asked, *(box.PIPES if "inlet" in asked else ())}
                passes = PassScript(
                    job,
                    log,
                    stated,
                    lambda edit, typed: self._edit(log, edit, typed),
                    leaves if talk.by_hand else None,
                )
                if job.last is None:
                    passes.leave_out(asked)
                if hold(talk, passes, paused):
                    talk.say(["", *end_lines(passes.job, self.file)])

    def plan(self, talk: Talk) -> bool:
        """Make the file of a box before digging; what is left out of it is asked at the set-up."""
        with JobLog(job_log.log_path(self.path), _now()) as log:
            paused = f"Paused; every answer is kept. Go on with: dbox grades {self.file} --ask"
            if not self._make(talk, log, paused, placed=False):
                return False
            for key, kept in job_log.interview_answers(log.entries).items():
                if kept == box.NOT_SAID or not (kept or key in ("target", "flows")):
                    log.append({"event": "asked again", "at": _now(), "key": key, "typed": ""})
            return True

    def _make(self, talk: Talk, log: JobLog, paused: str, *, placed: bool = True) -> bool:
        """Ask for the box and write its file, unless that was done; False where it was paused."""
        script = BoxScript(self.path, log, by_hand=talk.by_hand, placed=placed)
        if not hold(talk, script, paused):
            return False
        text = box.scenario_text(script.answers)
        if is_begun(self.path, text.encode()) or not self.path.exists():
            write_file(self.path, text, overwrite=True)
            talk.say([f"wrote {self.path}", ""])
        return True

    def _begin(self, log: JobLog, site: Site) -> list[str]:
        """Write which box the job is about, where the log does not say it; lines to say."""
        told = job_log.visits(log.entries)
        entry = {"at": _now(), "scenario": self.path.name, "box": logged_box.identity(site)}
        entry |= {"visit": self.visit} if self.visit else {}
        if not told:
            log.append({"event": "begun", **entry})
            words = (
                f"{self.path.name} is a starter: its readings are not used, but its outlets, "
                "holes, clocks and sizes are. Make sure that they are yours."
            )
            return wrapped(words * site.placeholder, first="! ", indent="  ")
        visit = told[-1]
        if self.begins(log.entries):
            # the holes are where the visit before left them
            before = job_log.all_played(told, site, self.rules(site))[-1]
            angles = job_log.carried_angles(before, site)
            holds = {"told": job_log.carried_told(before),
                     "stuck": job_log.carried_stuck(before, site)}  # fmt: skip
            text = toml_file.read_text(self.path)
            today = f"the visit of {_now()[:10]}"
            kept = setup_answers.with_pours_aside(text, today)
            if kept != text:
                write_file(self.path, kept, overwrite=True)
            log.append({"event": "begun", **entry, "angles_rad": angles, **holds})
            aside = f"Its pours were of the box before; they stay in {self.path.name} as comments."
            return [*_carried(before, angles), *wrapped(aside * (kept != text))]
        # what was answered before goes with the file as it is now, or this raises
        job = self._job(told, site)
        identity = logged_box.identity(site)
        changed = logged_box.differences(visit.box, site) + logged_box.line_changes(
            visit.box, identity
        )
        other_inlet = visit.box.get("inlet", site.box.inlet) != site.box.inlet
        if not job.closed and (changed or other_inlet):
            log.append({"event": "edited", "at": _now(), "box": identity})
        return []

    def _edit(self, log: JobLog, edit: Callable[[str], str], typed: str) -> Job:
        """Change the file, where what was answered goes with it; the log follows, and the job."""
        text = edit(toml_file.read_text(self.path))
        site = loads(text, str(self.path))
        self._refuse_another(job_log.visits(log.entries)[-1], site)
        identity = logged_box.identity(site)
        entry = {"event": "edited", "at": _now(), "box": identity, "typed": typed}
        try:
            job = self._job(job_log.visits([*log.entries, entry]), site)
        except ScenarioError as error:
            raise ScenarioError(
                f"is {show(typed)}, which does not go with what was read in this visit: read the "
                "others, end it, and begin the next one with that"
            ) from error
        write_file(self.path, text, overwrite=True)
        log.append(entry)
        return job

    def _refuse_another(self, visit: job_log.Visit, site: Site) -> None:
        if changed := logged_box.differences(visit.box, site):
            raise ScenarioError(
                f"{job_log.log_path(self.path)}: belongs to another scenario than "
                f"{self.path.name}: {'; '.join(changed)}. The same box, and you mended its file? "
                "Use --edited. Another visit? Use --again, which keeps all of this one. Another "
                "box? Move the log away"
            )


def _carried(before: Job, angles: dict[str, float | None]) -> list[str]:
    """Where the holes are taken to stand, and what is no longer there."""
    places = ", ".join(f"{label} {_clock(angle)}" for label, angle in angles.items())
    gone = [o.label for o in before.site.outlets if o.label not in angles]
    lost = f" Outlet {', '.join(gone)} is no longer in the file; its record stays." if gone else ""
    holes = (
        "Holes stand as left then, or as the file says where an insert or its clock is new: "
        f"{places}."
    ) * any(angle is not None for angle in angles.values())
    said = "Another visit; all that was recorded before stays in the log."
    return [*wrapped(f"{said} {holes}{lost}"), *wrapped(IN_USE, first="! ", indent="  ")]


def _now() -> str:
    return datetime.now().astimezone().isoformat(timespec="seconds")
