"""What the lessons share: the box they are about, and how their answers are handed over."""

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from dbox_cli.arguments import site_of
from dbox_cli.output import check_picture, print_json, save_picture

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.site import Site


def lesson_box(
    file: str | None,
    outlets: int | None = None,
    opening: str | None = None,
    coefficient: float | None = None,
    flow: list[str] | None = None,
    tolerance: str | None = None,
) -> "Site":
    """The box of a scenario, or one made up; what was typed takes the place of its own."""
    from dbox.files.lessons.typed import LessonWords

    if file is not None and outlets is not None:
        raise typer.BadParameter(f"--outlets is for use without FILE; {file} says it")
    words = LessonWords(
        outlets=outlets,
        opening=opening,
        coefficient=coefficient,
        flows=flow or (),
        tolerance=tolerance,
    )
    return words.site(None if file is None else site_of(file, None))


def check_files(
    picture: Path | None, table: Path | None, file: str | None = None, *, overwrite: bool
) -> None:
    """Refuse what cannot be written before anything is computed."""
    from dbox.errors import ScenarioError
    from dbox.files.write_file import check_place

    check_picture(picture, {"FILE": file, "--csv": table}, overwrite=overwrite)
    if table:
        if table.suffix.lower() != ".csv":
            raise ScenarioError(f"{table}: a table is a .csv file; name one that ends so")
        check_place(table, overwrite=overwrite)


def hand_over(
    *,
    text: Callable[[], list[str]],
    json: Callable[[], dict[str, Any]],
    csv: Callable[[], str],
    figure: "Callable[[], Figure]",
    as_json: bool,
    table: Path | None,
    picture: Path | None,
    overwrite: bool,
) -> None:
    """Print an answer as text or JSON, and write its table and picture where asked for."""
    if as_json:
        print_json(json())
    else:
        typer.echo("\n".join(text()))
    if table:
        write_text(csv(), table, overwrite=overwrite, quiet=as_json)
    if picture:
        save_picture(figure(), picture, overwrite=overwrite, quiet=as_json)


def write_text(text: str, path: Path, *, overwrite: bool, quiet: bool) -> None:
    """Write a text and name its file; on stderr where stdout is for machines."""
    from dbox.files.write_file import write_file

    write_file(path, text, overwrite=overwrite)
    typer.echo(f"wrote {path}", err=quiet)
