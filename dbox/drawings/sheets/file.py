"""How do pages become one PDF file? The same pages give the same bytes, on any day."""

from collections.abc import Sequence
from io import BytesIO
from pathlib import Path

import matplotlib
from matplotlib.backends.backend_pdf import PdfPages
from matplotlib.figure import Figure

from dbox.drawings.save import check_picture
from dbox.drawings.style import pens
from dbox.errors import ScenarioError
from dbox.files.write_file import write_file


def check_sheet(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a file that cannot be written, before anything is computed for it.

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
        Where it does not end in .pdf, or as `save.check_picture`.

    >>> check_sheet("form.png")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: form.png: a sheet is a PDF file; name one that ends in .pdf
    """
    if Path(path).suffix.lower() != ".pdf":
        raise ScenarioError(f"{path}: a sheet is a PDF file; name one that ends in .pdf")
    return check_picture(path, overwrite=overwrite)


@pens
def save_pages(
    figures: Sequence[Figure], path: Path | str, *, title: str = "", overwrite: bool = False
) -> None:
    """Write pages as one PDF.

    Parameters
    ----------
    figures : sequence of Figure
        The pages, each of the size of its paper.
    path : Path or str
        Where.
    title : str
        Title in the file's own description.
    overwrite : bool
        Whether a file that is there may be replaced.

    Raises
    ------
    ScenarioError
        As `check_sheet`, or where the file cannot be written.
    """
    path = check_sheet(path, overwrite=overwrite)
    content = BytesIO()
    # whole pages, letters kept as text, and no setting of the reader's own
    with matplotlib.rc_context({"pdf.fonttype": 42, "pdf.compression": 6, "savefig.bbox": None}):
        _draw(figures, content, title)
    write_file(path, content.getvalue(), overwrite=overwrite)


def _draw(figures: Sequence[Figure], content: BytesIO, title: str) -> None:
    about = {"Title": title, "CreationDate": None, "ModDate": None}
    with PdfPages(content, metadata=about) as pdf:
        for figure in figures:
            pdf.savefig(figure)
