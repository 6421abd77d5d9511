"""`dbox new FILE`: a commented starter scenario."""

from pathlib import Path
from typing import Annotated

import typer


def command(
    file: Annotated[Path, typer.Argument(help="File to write; never overwritten.")],
) -> None:
    """Write a commented starter scenario to fill in at the box."""
    from dbox.files.shipped import shipped_names
    from dbox.files.starter import starter
    from dbox.files.write_file import write_file

    if str(file) in shipped_names():
        raise typer.BadParameter(f"{file} is a shipped scenario; name another file, as job.toml")
    write_file(file, starter())
    typer.echo(f"wrote {file}: fill it in, then: dbox check {file}")
