"""How does a figure become a file? The same figure gives the same bytes, on any day."""

import os
from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from dbox.errors import ScenarioError
from dbox.files.faults import any_of

SUFFIXES = (".png", ".pdf", ".svg")
"""Kinds of picture that can be written."""

_DOTS_PER_INCH = 200

_METADATA: dict[str, dict[str, Any]] = {
    ".png": {"Software": None},
    ".pdf": {"CreationDate": None, "ModDate": None},
    ".svg": {"Date": None},
}

# names inside an SVG come from a hash with a random salt unless told; PDF letters stay text
_STEADY: dict[Any, Any] = {"svg.hashsalt": "dbox", "svg.fonttype": "path", "pdf.fonttype": 42}


def check_picture(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a picture that cannot be written, before anything is computed for it.

    Parameters
    ----------
    path : Path or str
        Where it would be written.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    ScenarioError
        Where the suffix is not one of `SUFFIXES`, there is no such folder, the path is one, or
        a file is there and may not be replaced.

    >>> check_picture("split.jpg")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: split.jpg: no picture ends like this; write .png, .pdf or .svg
    """
    path = Path(path)
    if path.suffix.lower() not in SUFFIXES:
        raise ScenarioError(f"{path}: no picture ends like this; write {any_of(SUFFIXES)}")
    return check_place(path, overwrite=overwrite)


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


def save(figure: Figure, path: Path | str, *, overwrite: bool = False) -> None:
    """Write a figure as PNG, PDF or SVG, as the suffix says.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : Path or str
        Where.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    ScenarioError
        As `check_picture`, or where the file cannot be written.
    """
    path = check_picture(path, overwrite=overwrite)
    suffix = path.suffix.lower()
    # drawn in memory first, so that a failure leaves no half a file
    picture = BytesIO()
    with matplotlib.rc_context(_STEADY):
        figure.savefig(picture, format=suffix[1:], dpi=_DOTS_PER_INCH, metadata=_METADATA[suffix])
    put(picture.getvalue(), path, overwrite=overwrite)


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
