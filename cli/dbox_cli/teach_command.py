"""`dbox teach ...`: what an instructor shows."""

from collections.abc import Callable
from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dbox_cli.arguments import (
    FILE_HELP,
    AsJson,
    Flows,
    Overwrite,
    Picture,
    naming,
    refuse_one_file_twice,
    site_of,
)
from dbox_cli.output import check_picture, print_json, save_picture
from dbox_cli.sheet_command import Paper, PaperChoice

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.lesson_cases import Case
    from dbox.fieldwork.lesson_sweeps import Comparison, LipTable, Sweep
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
    from dbox.files.typed_lesson import LessonWords

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


CaseSeed = Annotated[int, typer.Option("--seed", min=0, help="Same seed, same cases.")]
Groups = Annotated[int, typer.Option(min=1, help="How many groups, each its own case.")]
Out = Annotated[
    Path | None,
    typer.Option(help="Write to this .pdf or .txt file; its key goes to NAME-key beside it."),
]
Key = Annotated[bool, typer.Option("--key", help="Without --out: print the key instead.")]


def command(
    seed: CaseSeed,
    groups: Groups = 1,
    out: Out = None,
    paper: PaperChoice = Paper.LETTER,
    key: Key = False,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Cases to guess from readings and observations; the key is kept apart."""
    from dbox.fieldwork.lesson_cases import make_cases
    from dbox.report.teach_report import case_report, key_report

    files = _files(out, overwrite=overwrite)
    with naming("--groups"):
        cases = make_cases(seed, groups)
    if as_json:
        from dbox.report.teach_report import cases_json
        from dbox_cli.output import print_json

        print_json({**cases_json(cases, key=key), "files": [str(file) for file in files]})
    elif out is None:
        typer.echo("\n".join(key_report(cases) if key else case_report(cases)))
    if out is not None:
        _write(cases, files, paper.value, overwrite=overwrite, quiet=as_json)


def _files(out: Path | None, *, overwrite: bool) -> list[Path]:
    """Where handout and key go, refused before anything is made."""
    if out is None:
        return []
    from dbox.drawings.paper import check_sheet
    from dbox.files.write_file import check_place

    files = [out, out.with_name(f"{out.stem}-key{out.suffix}")]
    refuse_one_file_twice({"--out": files[0], "its key": files[1]})
    for file in files:
        if out.suffix.lower() == ".txt":
            check_place(file, overwrite=overwrite)
        else:
            check_sheet(file, overwrite=overwrite)
    return files


def _write(
    cases: "tuple[Case, ...]", files: list[Path], paper: str, *, overwrite: bool, quiet: bool
) -> None:
    from dbox.report.teach_report import case_report, key_report

    handout, key = files
    if handout.suffix.lower() == ".txt":
        write_text("\n".join([*case_report(cases), ""]), handout, overwrite=overwrite, quiet=quiet)
        write_text("\n".join([*key_report(cases), ""]), key, overwrite=overwrite, quiet=quiet)
        return
    from dbox.drawings.lesson_papers import case_key, case_pages
    from dbox.drawings.paper import save_pages

    title = f"Mystery cases, seed {cases[0].seed}"
    save_pages(case_pages(cases, paper), handout, title=title, overwrite=overwrite)
    save_pages(case_key(cases, paper), key, title=f"Key: {title}", overwrite=overwrite)
    for file in files:
        typer.echo(f"wrote {file}", err=quiet)


app = typer.Typer(
    rich_markup_mode=None,
    no_args_is_help=True,
    help="Why a dead-level box matters: sweeps, a live box, cases to guess, handouts.",
)
app.command("case")(command)


class Side(Enum):
    """Which side of the box is let down."""

    FAR = "far"
    INLET = "inlet"
    RIGHT = "right"
    LEFT = "left"


LessonFile = Annotated[str | None, typer.Argument(help=f"{FILE_HELP} Left out: a made-up box.")]
Outlets = Annotated[int | None, typer.Option(min=2, max=20, help="Outlets of the made-up box [4].")]
Opening = Annotated[
    str | None,
    typer.Option(help='Opening of every outlet: "circle 2 in", "notch 90 deg", "slot 1 in".'),
]
Coefficient = Annotated[float | None, typer.Option(help="Discharge coefficient of --opening [-].")]
Tolerance = Annotated[str | None, typer.Option(help='Allowed difference from target, "10 %".')]
Table = Annotated[Path | None, typer.Option("--csv", help="Write the numbers to this .csv file.")]
Toward = Annotated[Side, typer.Option(help="Side that is let down, seen from the inlet.")]
Most = Annotated[str, typer.Option(help="How far it is let down at most.")]
Openings = Annotated[
    list[str] | None,
    typer.Option("--opening", help="Opening to compare; may be repeated [five usual ones]."),
]
Error = Annotated[str, typer.Option(help="The one wrong lip over the others; - is low.")]
Outlet = Annotated[str | None, typer.Option(help="Outlet with the wrong lip, by label [first].")]
Page = Annotated[
    Path | None,
    typer.Option("--out", help="Write a page for a browser, .html, in place of a window."),
]
Handout = Annotated[Path, typer.Option("--out", help="PDF file; its key goes to NAME-key.pdf.")]
NO_SCREEN_PAGE = Path("dbox-live.html")


@app.command("sweep")
def sweep_command(
    file: LessonFile = None,
    outlets: Outlets = None,
    opening: Opening = None,
    coefficient: Coefficient = None,
    flow: Flows = None,
    tolerance: Tolerance = None,
    toward: Toward = Side.RIGHT,
    most: Most = "3/8 in",
    table: Table = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
) -> None:
    """Share of the worst line against tilt, direction of tilt and flow."""
    from dbox.fieldwork.lesson_sweeps import sweep
    from dbox.files.typed_lesson import lesson_height
    from dbox.report.teach_report import sweep_csv, sweep_json, sweep_report

    check_files(picture, table, file, overwrite=overwrite)
    site = lesson_box(file, outlets, opening, coefficient, flow, tolerance)
    with naming(file or "teach sweep"):
        swept = sweep(site, toward=toward.value, most=lesson_height("--most", most))
    hand_over(
        text=lambda: sweep_report(swept), json=lambda: sweep_json(swept),
        csv=lambda: sweep_csv(swept), figure=lambda: _sweep_figure(swept),
        as_json=as_json, table=table, picture=picture, overwrite=overwrite,
    )  # fmt: skip


@app.command("compare")
def compare_command(
    opening: Openings = None,
    outlets: Annotated[int, typer.Option(min=2, max=20, help="Outlets of the box.")] = 4,
    error: Error = "-1/8 in",
    flow: Flows = None,
    table: Table = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
) -> None:
    """Which opening forgives a wrong lip the most, and what it costs in drop."""
    from dbox.fieldwork.lesson_sweeps import compare
    from dbox.files.typed_lesson import lesson_flows, lesson_height, lesson_kinds
    from dbox.report.teach_report import compare_csv, compare_json, compare_report

    check_files(picture, table, overwrite=overwrite)
    compared = compare(
        lesson_kinds(opening or ()),
        outlets=outlets,
        flows=lesson_flows(flow or ()),
        error=lesson_height("--error", error),
    )
    hand_over(
        text=lambda: compare_report(compared), json=lambda: compare_json(compared),
        csv=lambda: compare_csv(compared), figure=lambda: _compare_figure(compared),
        as_json=as_json, table=table, picture=picture, overwrite=overwrite,
    )  # fmt: skip


@app.command("live")
def live_command(
    file: LessonFile = None,
    outlets: Outlets = None,
    outlet: Outlet = None,
    out: Page = None,
    overwrite: Overwrite = False,
) -> None:
    """A box to lean with sliders; where there is no screen, a page for a browser.

    Without a screen and without --out the page is dbox-live.html.
    """
    from dbox.fieldwork.lesson_bench import Bench
    from dbox.files.typed_lesson import lesson_outlet

    refuse_one_file_twice({"FILE": file, "--out": out})
    site = lesson_box(file, outlets)
    with naming(file or "teach live"):
        bench = Bench(site=site, outlet=lesson_outlet(site, outlet))
    from dbox.drawings.lesson_view import has_screen, show

    if out is None and has_screen():
        show(bench)
        return
    from dbox.drawings.lesson_page import player_html, save_html
    from dbox.fieldwork.lesson_bench import frames

    page = out or NO_SCREEN_PAGE
    if out is None:
        typer.echo("no screen here; writing a page for a browser instead", err=True)
    save_html(player_html(frames(bench)), page, overwrite=overwrite)
    typer.echo(f"wrote {page}")


@app.command("handout")
def handout_command(
    out: Handout,
    opening: Opening = None,
    coefficient: Coefficient = None,
    outlets: Annotated[int, typer.Option(min=2, max=8, help="Outlets of the bench box.")] = 4,
    paper: PaperChoice = Paper.LETTER,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Two printable pages: the idea, the table, a bench exercise; the key is a file of its own."""
    from dbox.drawings.lesson_papers import handout_key, handout_pages
    from dbox.drawings.paper import check_sheet, save_pages
    from dbox.fieldwork.lesson_box import LESSON_FLOWS
    from dbox.fieldwork.lesson_sweeps import exercise, lip_table

    key = out.with_name(f"{out.stem}-key{out.suffix}")
    refuse_one_file_twice({"--out": out, "its key": key})
    for path in (out, key):
        check_sheet(path, overwrite=overwrite)
    hole = lesson_box(None, outlets, opening, coefficient).outlets[0].opening
    lips, bench = lip_table(hole, outlets, LESSON_FLOWS), exercise(hole, outlets)
    title = "Why a dead-level box matters"
    save_pages(handout_pages(lips, bench, paper.value), out, title=title, overwrite=overwrite)
    save_pages(handout_key(lips, bench, paper.value), key, title=f"Key: {title}",
               overwrite=overwrite)  # fmt: skip
    _tell_handout(lips, [out, key], as_json=as_json)


def _tell_handout(lips: "LipTable", files: list[Path], *, as_json: bool) -> None:
    if as_json:
        from dbox.report.teach_report import table_json
        from dbox_cli.output import print_json

        print_json({**table_json(lips), "files": [str(path) for path in files]})
        return
    from dbox.report.teach_report import table_report

    typer.echo("\n".join([*table_report(lips), "", *(f"wrote {path}" for path in files)]))


def _sweep_figure(swept: "Sweep") -> "Figure":
    from dbox.drawings.lesson_pictures import sweep_figure

    return sweep_figure(swept)


def _compare_figure(compared: "Comparison") -> "Figure":
    from dbox.drawings.lesson_pictures import compare_figure

    return compare_figure(compared)
