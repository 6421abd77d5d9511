"""What was done in a set-up, pass by pass? The result that reports and sheets are made from."""

from dataclasses import dataclass

from dbox.fieldwork.levelling.plan import Levelling
from dbox.fieldwork.setup.job import Job
from dbox.fieldwork.setup.passes import conclude, levelled
from dbox.fieldwork.site import Site

STOPPED = "stopped"
"""Outcome of a job that was ended while there was still something to turn."""


@dataclass(frozen=True, kw_only=True)
class PassRecord:
    """One pass over the box; tuples have one entry per outlet.

    Parameters
    ----------
    number : int
        From 1.
    site : Site
        The box with the readings and the clock positions of this pass, over its still water.
    method : str
        How the heights were read; empty while the water was not still.
    still_at, done_at : str
        When the water was called still and when turning was done; empty where it was not. ISO 8601.
    read_at : tuple of str
        When each outlet was read; empty where it was not. ISO 8601.
    levelling : Levelling or None
        Shares with bands, and turns; None where an open outlet was not read.
    conclusion : str or None
        As `passes.conclude`; None with levelling.
    angles_after : tuple of float or None, or None
        Where each hole stood after the turning, None where unknown; None where there was none.
        [rad]
    """

    number: int
    site: Site
    method: str
    still_at: str
    done_at: str
    read_at: tuple[str, ...]
    levelling: Levelling | None
    conclusion: str | None
    angles_after: tuple[float | None, ...] | None


@dataclass(frozen=True, kw_only=True)
class SetupRecord:
    """A whole set-up.

    Parameters
    ----------
    site : Site
        The box as the scenario gives it.
    passes : tuple of PassRecord
        In order; the last one may be incomplete.
    finished : bool
        Whether the job has ended.
    outcome : str or None
        `within`, `inlet`, `ruler`, `hand`, `re-bed` or `stopped`; None while the job goes on.
    asks : str or None
        Kind of the question that stands; None where the job has ended.
    visit, visits : int
        Which visit to the box this is, of how many there are, from 1; from the second on it is a
        re-check of a box that was read before.
    begun_at : str
        When it began, as ISO 8601; empty where not known.
    """

    site: Site
    passes: tuple[PassRecord, ...]
    finished: bool
    outcome: str | None
    asks: str | None
    visit: int = 1
    visits: int = 1
    begun_at: str = ""

    @property
    def last_complete(self) -> PassRecord | None:
        """The last pass in which every open outlet was read."""
        complete = [p for p in self.passes if p.levelling is not None]
        return complete[-1] if complete else None


def record(job: Job, *, visit: int = 1, visits: int = 1, begun_at: str = "") -> SetupRecord:
    """Write down a job as it stands.

    Parameters
    ----------
    job : Job
        Finished or not.
    visit, visits, begun_at
        As in `SetupRecord`.

    Returns
    -------
    SetupRecord
        With everything worked out that the readings allow.
    """
    question = job.question
    ended = STOPPED if job.conclusion == "adjust" else job.conclusion
    return SetupRecord(
        site=job.site,
        passes=tuple(_pass_record(job, number) for number in range(len(job.passes))),
        finished=job.closed,
        outcome=ended if job.closed else None,
        asks=None if question is None else question.kind,
        visit=visit,
        visits=visits,
        begun_at=begun_at,
    )


def _pass_record(job: Job, index: int) -> PassRecord:
    each = job.passes[index]
    read = each.as_read(job.site)
    levelling = levelled(read, job.rules) if each.complete(job.site) else None
    return PassRecord(
        number=each.number,
        site=read,
        method=each.method or "",
        still_at=each.still_at,
        done_at=each.done_at,
        read_at=each.read_at,
        levelling=levelling,
        conclusion=None if levelling is None else conclude(levelling, each.number),
        angles_after=each.turned,
    )
