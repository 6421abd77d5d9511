"""`dbox page [FILE]`: one page for a phone, that leads a set-up at the box by itself."""

from pathlib import Path
from typing import Annotated

import typer

from dbox_cli.arguments import OptionalFile, Overwrite, refuse_one_file_twice


def command(
    file: OptionalFile = None,
    out: Annotated[
        Path, typer.Option("--out", metavar="PAGE.html", help="The page to write.")
    ] = Path("box.html"),
    overwrite: Overwrite = False,
) -> None:
    """One page for a phone: a set-up at the box with no network, its pour test and its record.

    With FILE it begins with that box, or goes on with its set-up; without, it asks for the box.
    What is done on it comes back with: dbox setup FILE --from SAVED.json
    """
    from dbox.drawings.phone_page import box_page, check_page, save_page
    from dbox.files.job_log import log_path, read_log, visits
    from dbox.files.page_file import page_start
    from dbox.files.scenario import load, resolve

    refuse_one_file_twice({"FILE": file, "--out": out})
    check_page(out, overwrite=overwrite)
    start, known = None, None
    if file is not None:
        path = resolve(file)
        site = load(path)
        told = visits(read_log(log_path(path.resolve())))
        start, known = page_start(site, told, path.name)
    save_page(box_page(start, known), out, overwrite=overwrite)
    typer.echo(f"wrote {out}")
    typer.echo("send it to the phone, save it there, and open it with the browser", err=True)
