"""Which visit to a box it is, and what has come, gone or been closed at its lines."""

from collections.abc import Callable

from dbox import keys
from dbox.errors import ScenarioError, outlets_text, show
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Job
from dbox.files import box_interview as box
from dbox.files import setup_answers
from dbox.report.recheck_report import since_words
from dbox.report.text import wrapped
from dbox_cli.console import Asking, Script

Change = Callable[[Callable[[str], str], str], Job]
"""Lets the file and the log follow a change of the text, and what was typed; gives the job then."""


_LONGEST = 60
"""Characters of the name of a visit."""


class VisitScript(Script):
    """Which visit it is, where the one before has ended; nothing is begun where none is named."""

    def __init__(self) -> None:
        self.name, self._asks = "", True  # Empty until a visit is named.

    def asking(self) -> Asking | None:
        """The one question."""
        words = ["", *wrapped(box.WORDS["visit"]["name"]["asks"])]
        return Asking(topic="visit", words=words, prompt="visit > ") if self._asks else None

    def answer(self, typed: str) -> list[str]:
        """Take the name, or the number of a usual one."""
        names = box.WORDS["visit"]["usual"]
        text = typed.strip()
        number = int(text) if text.isascii() and text.isdecimal() and len(text) < 3 else 0
        if number > len(names):
            raise ScenarioError(f"is {show(text)}; write 1 to {len(names)}, or what visit it is")
        self.name = names[number - 1] if number else visit_name(text) if text else ""
        self._asks = False
        return []

    def help(self) -> list[str]:
        """What a visit is."""
        return wrapped(box.WORDS["visit"]["name"]["help"], first="  ", indent="  ")


def visit_name(text: str) -> str:
    """What a visit is called, as it is kept."""
    if not text.strip():
        raise ScenarioError("is empty; write what visit this is, as after backfill")
    return keys.text(text, _LONGEST)


class LineQuestions:
    """What is typed about lines while a job goes on, and what is asked of a new one."""

    def __init__(self, change: Change, job: Job) -> None:
        self._change = change
        self._first = [outlet.label for outlet in job.site.outlets]
        self._wanted: list[tuple[str, str]] = []  # Topic and label of what is still asked.
        if job.compared and job.now.method is None:
            known = [outlet.label for outlet in job.compared.site.outlets]
            self._want(job, known)

    def _want(self, job: Job, known: list[str]) -> None:
        """Ask for the place and the length of lines that are not known, where others have them."""
        outlets = job.site.outlets
        told = (("place", "position"), ("lengths", "line_length"))
        self._wanted = [
            (topic, own.label)
            for own in outlets
            for topic, name in told
            if own.label not in known and getattr(own, name) is None
            if any(getattr(each, name) is not None for each in outlets)
        ]

    def asking(self) -> Asking | None:
        """What is asked of a new line, where something is."""
        if not self._wanted:
            return None
        topic, label = self._wanted[0]
        words = wrapped(box.WORDS["visit"][topic]["asks"].format(label=label))
        prompt = f"{'place' if topic == 'place' else 'line'} of outlet {label} > "
        return Asking(topic=words, words=words, prompt=prompt)

    def follow(self, job: Job, typed: str) -> tuple[Job, list[str]] | None:
        """Take what was typed about a line; None where it is about something else."""
        if self._wanted:
            topic, label = self._wanted[0]
            if typed.strip().lower() not in ("", *box.NOT_KNOWN):

                def with_detail(text: str) -> str:
                    return setup_answers.with_detail(text, topic, label, typed)

                job = self._change(with_detail, typed)
            self._wanted.pop(0)
            return job, []
        change = setup_answers.line_change(typed)
        if change is None:
            return None
        known = [outlet.label for outlet in job.site.outlets]
        old = [o.label for o in job.compared.site.outlets] if job.compared else self._first
        if change[0] == "drop" and change[1] in old:
            mend = (
                f"only a line that came at this visit can be dropped; close it with cap {change[1]}"
            )
            raise ScenarioError(f"is {show(typed)}; {mend}")
        job = self._change(lambda text: setup_answers.with_line_change(text, *change), typed)
        self._want(job, known)
        lines = ", ".join(f"{o.label}{' (capped)' * o.capped}" for o in job.site.outlets)
        return job, wrapped(f"in the file; its outlets now: {lines}", first="  ", indent="  ")


def since(job: Job, before: Job) -> list[str]:
    """What has changed since the visit before, and what can be said about it."""
    said, changed = box.WORDS["visit"]["lines"], "; ".join(job.changed)
    lines = wrapped(f"{since_words(before)}: {changed}.") if changed else []
    if changed and setup_answers.known_before(job):
        lines += wrapped(said["carry"])
    return lines + wrapped(said["asks"])


def taken_over(job: Job, event: setup.Carried) -> str:
    """What is not read again, and what is."""
    labels, before = [outlet.label for outlet in job.site.outlets], job.compared
    told = f"not read again: {outlets_text([labels[i] for i in event.outlets])}"
    told += f", as left on {before.begun_at[:10]}" if before else ""
    unread = [labels[i] for i, settled in enumerate(job.now.settled) if not settled]
    return f"{told}. To read: {outlets_text(unread)}" if unread else told
