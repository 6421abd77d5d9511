"""How do a job and its log keep in step? Nothing counts before it is on the disk."""

from dbox.errors import DomainError, ScenarioError
from dbox.fieldwork.setup.events import Event
from dbox.fieldwork.setup.job import Job, begin, replay, standing
from dbox.fieldwork.setup.passes import Rules
from dbox.fieldwork.site import Site
from dbox.files.joblog import JobLog
from dbox.files.setup.log import Story, angle_of, entry_of, event_of


class SetupJob:
    """A job that is kept in step with its log: what it knows is on the disk.

    Parameters
    ----------
    site : Site
        The box.
    rules : Rules
        How turns are worked out.
    told : Story
        What the log tells so far.
    log : JobLog or None
        The open log; None for a job that is only looked at.

    Raises
    ------
    ScenarioError
        Where the log does not go with the box.
    """

    def __init__(self, site: Site, rules: Rules, told: Story, log: JobLog | None = None) -> None:
        angles = told.angles
        try:
            start = None if angles is None else [angle_of(angles[o.label]) for o in site.outlets]
        except (KeyError, TypeError, ValueError) as error:
            raise ScenarioError(f"the log does not go with the outlets: {error}") from error
        self._log = log
        self._start = begin(site, rules, start)
        self._events = tuple(event_of(entry, site) for entry in told.events)
        try:
            self.job: Job = replay(self._start, self._events)
        except (DomainError, IndexError) as error:
            raise ScenarioError(
                f"the log cannot be played again: {error}; put it back as it was, or begin anew"
            ) from error

    @property
    def last(self) -> Event | None:
        """The last event that stands; None where there is none."""
        events = standing(self._events)
        return events[-1] if events else None

    def tell(self, event: Event, typed: str) -> None:
        """Let an event happen and bring it to the disk.

        Parameters
        ----------
        event : Event
            What was answered.
        typed : str
            What was typed.

        Raises
        ------
        DomainError
            Where it cannot happen now; nothing is kept then.
        ScenarioError
            Where it cannot be kept.
        """
        happened = (*self._events, event)
        job = replay(self._start, happened)
        if self._log is not None:
            self._log.append(entry_of(event, self.job.site, typed))
        self._events, self.job = happened, job
