"""`dbox new FILE`: a commented starter scenario."""

from pathlib import Path
from typing import Annotated

import typer


def command(
    file: Annotated[Path, typer.Argument(help="File to write; never overwritten.")],
) -> None:
    """Write a commented starter scenario to fill in at the box."""
    from dbox.files.place import write_text_new
    from dbox.files.shipped import shipped_names
    from dbox.files.starter import starter

    if str(file) in shipped_names():
        raise typer.BadParameter(f"{file} is a shipped scenario; name another file, as job.toml")
    write_text_new(file, starter())
    typer.echo(f"wrote {file}: fill it in, then: dbox check {file}")
