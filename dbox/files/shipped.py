"""Which file is meant? A path, or the bare name of a scenario shipped with the package."""

from importlib import resources
from pathlib import Path

from dbox.errors import ScenarioError
from dbox.files.faults import any_of, closest, show

_PACKAGE = "dbox_scenarios"
_ENDING = ".toml"


def shipped_names() -> tuple[str, ...]:
    """Names of the shipped scenarios, in alphabetical order."""
    files = resources.files(_PACKAGE).iterdir()
    return tuple(sorted(f.name.removesuffix(_ENDING) for f in files if f.name.endswith(_ENDING)))


def resolve(name_or_path: str) -> Path:
    """Find a scenario file.

    Parameters
    ----------
    name_or_path : str
        A path, or a bare name such as `off-level`. A file or folder of that name wins over a
        shipped scenario.

    Returns
    -------
    Path
        Of the file, or of whatever stands at a path that exists.

    Raises
    ------
    ScenarioError
        Where there is neither; with the names of the shipped scenarios.
    """
    path = Path(name_or_path)
    if name_or_path and _exists(path):
        return path
    names = shipped_names()
    name = name_or_path.removesuffix(_ENDING)
    if name in names:
        # An installed package is a folder, so the resource is a file with a path.
        return Path(str(resources.files(_PACKAGE) / f"{name}{_ENDING}"))
    close = closest(name, names)
    hint = f"did you mean {close}? " if close else ""
    raise ScenarioError(
        f"{show(name_or_path)} is neither a file nor a shipped scenario; "
        f"{hint}shipped are {any_of(names)}"
    )


def _exists(path: Path) -> bool:
    """Tell whether there is such a path; what cannot be a path is none."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return False
