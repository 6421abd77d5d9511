"""Which file is meant? A path, or the bare name of a scenario shipped with the package."""

from importlib import resources
from pathlib import Path

from dbox.errors import ScenarioError
from dbox.files.faults import any_of, closest, show

_PACKAGE = "dbox_scenarios"
SCENARIO, LIST = ".toml", ".csv"
"""Endings of the files that are shipped."""

_KINDS = {SCENARIO: "scenario", LIST: "list"}


def shipped_names(ending: str = SCENARIO) -> tuple[str, ...]:
    """Names of the shipped files with an ending, in alphabetical order."""
    files = resources.files(_PACKAGE).iterdir()
    return tuple(sorted(f.name.removesuffix(ending) for f in files if f.name.endswith(ending)))


def resolve(name_or_path: str, ending: str = SCENARIO) -> Path:
    """Find a scenario file, or a list of boxes.

    Parameters
    ----------
    name_or_path : str
        A path, or a bare name such as `off-level`. A file or folder of that name wins over a
        shipped one.
    ending : str
        `SCENARIO` or `LIST`: of which kind it is.

    Returns
    -------
    Path
        Of the file, or of whatever stands at a path that exists.

    Raises
    ------
    ScenarioError
        Where there is neither; with the names of the shipped ones.
    """
    path = Path(name_or_path)
    if name_or_path and _exists(path):
        return path
    names = shipped_names(ending)
    name = name_or_path.removesuffix(ending)
    if name in names:
        # An installed package is a folder, so the resource is a file with a path.
        return Path(str(resources.files(_PACKAGE) / f"{name}{ending}"))
    close = closest(name, names)
    hint = f"did you mean {close}? " if close else ""
    raise ScenarioError(
        f"{show(name_or_path)} is neither a file nor a shipped {_KINDS[ending]}; "
        f"{hint}shipped are {any_of(names)}"
    )


def _exists(path: Path) -> bool:
    """Tell whether there is such a path; what cannot be a path is none."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False
