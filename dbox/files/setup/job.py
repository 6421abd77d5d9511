"""How do a job and its log keep in step? Nothing counts before it is on the disk."""

from dbox.errors import DomainError, ScenarioError
from dbox.fieldwork.setup.events import Event
from dbox.fieldwork.setup.job import Job, begin, replay, standing
from dbox.fieldwork.setup.passes import Rules
from dbox.fieldwork.setup.record import SetupRecord, record
from dbox.fieldwork.site import Site
from dbox.files.joblog import JobLog
from dbox.files.setup.log import Story, angle_of, entry_of, event_of


def carried_angles(before: Job, site: Site) -> dict[str, float | None]:
    """Where the holes stand at another visit, by label. [rad]

    Parameters
    ----------
    before : Job
        The visit before, of the box as it was then.
    site : Site
        The box as it is now.

    Returns
    -------
    dict of str to float or None
        As the visit before left each insert; as the scenario says for one that is new or another,
        and for one whose clock position was written anew since. [rad]
    """
    left = {
        o.label: (o, angle)
        for o, angle in zip(before.site.outlets, before.left_angles, strict=True)
    }
    angles: dict[str, float | None] = {}
    for outlet in site.outlets:
        was, angle = left.get(outlet.label, (None, None))
        insert = (outlet.opening, outlet.hole_offset, outlet.clock)
        known = was is not None and (was.opening, was.hole_offset, was.clock) == insert
        angles[outlet.label] = angle if known else outlet.clock
    return angles


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
        named = {outlet.get("label") for outlet in (told.box or {}).get("outlets", ())}
        try:
            start = (
                None
                if angles is None
                else [
                    # the log knows nothing of an outlet that has come since
                    angle_of(angles[o.label]) if o.label in {*named, *angles} else o.clock
                    for o in site.outlets
                ]
            )
        except (KeyError, TypeError, ValueError) as error:
            raise ScenarioError(f"the log does not go with the outlets: {error}") from error
        self._log, self._told = log, told
        self._start = begin(site, rules, start)
        self._events = tuple(event_of(entry, site) for entry in told.events)
        try:
            self.job: Job = replay(self._start, self._events)
        except (DomainError, IndexError) as error:
            raise ScenarioError(
                f"the log cannot be played again: {error}; put it back as it was, or begin anew"
            ) from error

    def record(self) -> SetupRecord:
        """What was done, with the visit that it was done in."""
        told = self._told
        return record(self.job, visit=told.visit, visits=told.visits, begun_at=told.begun_at)

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
