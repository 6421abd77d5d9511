"""May a file be written there, and does all of it get there? Nothing that is there is lost."""

import os
from pathlib import Path

from dbox.errors import ScenarioError
from dbox.files.faults import shorten


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
        Where there is no such folder, the path is one, the name cannot be one, or a file is there
        and may not be replaced.
    """
    try:
        is_folder, is_there = path.is_dir(), path.exists()
    except (OSError, ValueError) as error:
        # too long a name, or a NUL in it
        raise _cannot(path, error) from error
    if is_folder:
        raise ScenarioError(f"{path}: is a folder; name a file in it")
    if not path.parent.is_dir():
        raise ScenarioError(f"{path}: there is no folder {path.parent}; make it first")
    if not os.access(path.parent, os.W_OK):
        raise ScenarioError(f"{path}: the folder {path.parent} cannot be written to; name another")
    if is_there and not overwrite:
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


def write_text_new(path: Path, text: str) -> None:
    """Write text into a new file, down to the disk.

    Parameters
    ----------
    path : Path
        The file to make; one that is there is left as it is.
    text : str
        Its content.

    Raises
    ------
    ScenarioError
        Where something stands there already, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise ScenarioError(f"{path}: exists already and is left alone; name a new file") from error
    except (OSError, ValueError) as error:
        raise _cannot(path, error) from error


def finish_text(path: Path, text: str) -> None:
    """Write text into a new file, or finish one that was torn off while it was being written.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        Its content.

    Raises
    ------
    ScenarioError
        Where something else stands there, which is left as it is, or it cannot be written.
    """
    try:
        begun = path.read_bytes()
    except FileNotFoundError:
        write_text_new(path, text)
        return
    except OSError as error:
        raise _cannot(path, error) from error
    content = text.encode()
    if not content.startswith(begun):
        raise ScenarioError(f"{path}: exists already and is left alone; name a new file")
    try:
        with path.open("ab") as file:
            file.write(content[len(begun) :])
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise _cannot(path, error) from error


def _cannot(path: Path, error: OSError | ValueError) -> ScenarioError:
    # a path with a NUL in it is a ValueError, which has no strerror
    reason = getattr(error, "strerror", None) or error
    return ScenarioError(f"{shorten(str(path))}: cannot be written ({reason}); name another place")
