"""May a file be written there, and does all of it get there? Nothing that is there is lost."""

import os
from pathlib import Path

from dbox.errors import ScenarioError


def check_place(path: Path, *, overwrite: bool) -> Path:
    """Refuse a path that no file can be written to.

    Parameters
    ----------
    path : Path
        Where the file would be.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    ScenarioError
        Where there is no such folder, the path is one, or a file is there and may not be replaced.
    """
    if path.is_dir():
        raise ScenarioError(f"{path}: is a folder; name a file in it")
    if not path.parent.is_dir():
        raise ScenarioError(f"{path}: there is no folder {path.parent}; make it first")
    if not os.access(path.parent, os.W_OK):
        raise ScenarioError(f"{path}: the folder {path.parent} cannot be written to; name another")
    if path.exists() and not overwrite:
        raise ScenarioError(f"{path}: is there already and is not replaced; name another file")
    return path


def put(content: bytes, path: Path, *, overwrite: bool) -> None:
    """Write the bytes of a whole file.

    Parameters
    ----------
    content : bytes
        All of it.
    path : Path
        Where.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    ScenarioError
        Where a file has come there since it was checked, or the file cannot be written.
    """
    try:
        with path.open("wb" if overwrite else "xb") as file:
            file.write(content)
    except FileExistsError as error:
        raise ScenarioError(
            f"{path}: is there already and is not replaced; name another file"
        ) from error
    except OSError as error:
        raise ScenarioError(f"{path}: cannot be written ({error.strerror})") from error
