"""How does a figure become a file? The same figure gives the same bytes, on any day."""

from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib
from matplotlib.figure import Figure

from dbox.errors import ScenarioError
from dbox.files.faults import any_of
from dbox.files.write_file import check_place, is_begun, write_file

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


def save(figure: Figure, path: Path | str, *, overwrite: bool = False, again: bool = False) -> None:
    """Write a figure as PNG, PDF or SVG, as the suffix says.

    Parameters
    ----------
    figure : Figure
        What to write.
    path : Path or str
        Where.
    overwrite : bool
        Whether a file that is there may be replaced.
    again : bool
        Whether this very picture may be there already, as a kill may have left it.

    Raises
    ------
    ScenarioError
        As `check_picture`, or where the file cannot be written.
    """
    path = check_picture(path, overwrite=overwrite or again)
    suffix = path.suffix.lower()
    picture = BytesIO()
    with matplotlib.rc_context(_STEADY):
        figure.savefig(picture, format=suffix[1:], dpi=_DOTS_PER_INCH, metadata=_METADATA[suffix])
    content = picture.getvalue()
    write_file(path, content, overwrite=overwrite or (again and is_begun(path, content)))
