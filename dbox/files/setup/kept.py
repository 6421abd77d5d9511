"""What has the log of a set-up kept, without going on with it? For those who only read."""

from pathlib import Path

from dbox.errors import ScenarioError
from dbox.fieldwork.setup.passes import Rules
from dbox.fieldwork.setup.record import SetupRecord
from dbox.fieldwork.site import Site
from dbox.files.joblog import log_path, read_log
from dbox.files.setup.job import SetupJob
from dbox.files.setup.log import Story, differences, identity, logged_site, visits


def kept_setup(
    scenario: Path, site: Site, rules: Rules, visit: int | None = None
) -> SetupRecord | None:
    """Read what was done in a set-up, finished or not.

    Parameters
    ----------
    scenario : Path
        The scenario file that the log stands next to.
    site : Site
        What it says.
    rules : Rules
        How turns are worked out.
    visit : int, optional
        Which visit, from 1; without it the last one in which every open outlet was read.

    Returns
    -------
    SetupRecord or None
        None where no set-up has begun.

    Raises
    ------
    ScenarioError
        Where the log cannot be read or has no such visit, or, none being named, where it belongs
        to another box.
    """
    log = log_path(scenario.resolve())
    told = visits(read_log(log))
    if visit is not None:
        if told[-1].box is None or not 1 <= visit <= len(told):
            count = len(told) if told[-1].box is not None else 0
            raise ScenarioError(f"{log}: holds {count} visits; there is no visit {visit}")
        return _record(site, rules, told[visit - 1])
    if told[-1].box is None:
        return None
    changed = differences(told[-1].box, identity(site))
    if changed:
        raise ScenarioError(
            f"{log}: belongs to another scenario than {scenario.name}: {'; '.join(changed)}; move "
            f"the log away, mend the scenario, or print what it holds with --visit {len(told)}"
        )
    # a visit that was only begun does not pass over the one before it
    records = (_record(site, rules, each) for each in reversed(told))
    complete = (each for each in records if each.last_complete is not None)
    return next(complete, None) or _record(site, rules, told[-1])


def _record(site: Site, rules: Rules, told: Story) -> SetupRecord:
    return SetupJob(logged_site(told.box or {}, site), rules, told).record()
