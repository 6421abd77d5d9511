"""What `dbox surge --out FILE` writes: a film or a still of one run, or several side by side."""

from pathlib import Path
from typing import TYPE_CHECKING

import typer

from dbox_cli.output import progress_bar

if TYPE_CHECKING:
    from dbox.fieldwork.surge.run import Outcome

_FILMS = (".gif", ".mp4", ".html")


def check_out(out: Path | None, *, overwrite: bool, contrast: bool) -> None:
    """Refuse a picture or film that could not be written, before anything is computed for it."""
    if out is None:
        return
    from dbox.errors import ScenarioError

    if out.suffix.lower() in _FILMS:
        if contrast:
            raise ScenarioError(f"{out}: --contrast is no film; write .png, .pdf or .svg")
        from dbox.drawings.surge.animation import check_film

        check_film(out, overwrite=overwrite)
        return
    from dbox.drawings.save import SUFFIXES, check_picture

    if out.suffix.lower() not in SUFFIXES:
        kinds = ", ".join((*SUFFIXES, *_FILMS[:-1]))
        raise ScenarioError(f"{out}: nothing ends like this; write {kinds} or {_FILMS[-1]}")
    check_picture(out, overwrite=overwrite)


def write_out(
    outcomes: "tuple[Outcome, ...]", out: Path, *, overwrite: bool, contrast: bool, quiet: bool
) -> None:
    """Write the file and name it; on stderr where stdout is for machines."""
    if out.suffix.lower() in _FILMS:
        from dbox.drawings.surge.animation import write_film

        with progress_bar(out.name) as progress:
            write_film(outcomes[0], out, overwrite=overwrite, progress=progress)
        typer.echo(f"wrote {out}", err=quiet)
        return
    from dbox.drawings.surge.contrast import contrast_figure
    from dbox.drawings.surge.still import surge_figure
    from dbox_cli.output import save_picture

    figure = contrast_figure(outcomes) if contrast else surge_figure(outcomes[0])
    save_picture(figure, out, overwrite=overwrite, quiet=quiet)
