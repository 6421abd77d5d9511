"""What has the log of a set-up kept, without going on with it? For those who only read."""

from pathlib import Path

from dbox.errors import ScenarioError
from dbox.fieldwork.setup.passes import Rules
from dbox.fieldwork.setup.record import SetupRecord, record
from dbox.fieldwork.site import Site
from dbox.files.joblog import log_path, read_log
from dbox.files.setup.job import SetupJob
from dbox.files.setup.log import differences, identity, story


def kept_setup(scenario: Path, site: Site, rules: Rules) -> SetupRecord | None:
    """Read what was done in a set-up, finished or not.

    Parameters
    ----------
    scenario : Path
        The scenario file that the log stands next to.
    site : Site
        What it says.
    rules : Rules
        How turns are worked out.

    Returns
    -------
    SetupRecord or None
        None where no set-up has begun.

    Raises
    ------
    ScenarioError
        Where the log cannot be read, or belongs to another box.
    """
    log = log_path(scenario.resolve())
    told = story(read_log(log))
    if told.box is None:
        return None
    changed = differences(told.box, identity(site))
    if changed:
        raise ScenarioError(
            f"{log}: belongs to another scenario than {scenario.name}: {'; '.join(changed)}; move "
            "the log away, or mend the scenario"
        )
    return record(SetupJob(site, rules, told).job)
