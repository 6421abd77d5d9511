"""`dbox teach ...`: what an instructor shows. Sweeps, openings compared, a live box, a handout."""

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import (
    FILE_HELP,
    AsJson,
    Flows,
    Overwrite,
    Picture,
    naming,
    refuse_one_file_twice,
)
from dbox_cli.sheet import Paper, PaperChoice
from dbox_cli.teach import case as teach_case

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.lessons.compare import Comparison
    from dbox.fieldwork.lessons.one_lip import LipTable
    from dbox.fieldwork.lessons.sweep import Sweep

app = typer.Typer(
    rich_markup_mode=None,
    no_args_is_help=True,
    help="Why a dead-level box matters: sweeps, a live box, cases to guess, handouts.",
)
app.command("case")(teach_case.command)


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
    from dbox.fieldwork.lessons.sweep import sweep
    from dbox.files.lessons.results import sweep_csv, sweep_json
    from dbox.files.lessons.typed import lesson_height
    from dbox_cli.teach.output import check_files, hand_over, lesson_box
    from dbox_cli.teach.report import sweep_report

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
    from dbox.fieldwork.lessons.compare import compare
    from dbox.files.lessons.results import compare_csv, compare_json
    from dbox.files.lessons.typed import lesson_flows, lesson_height, lesson_kinds
    from dbox_cli.teach.output import check_files, hand_over
    from dbox_cli.teach.report import compare_report

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
    from dbox.fieldwork.lessons.bench import Bench
    from dbox.files.lessons.typed import lesson_outlet
    from dbox_cli.teach.output import lesson_box

    refuse_one_file_twice({"FILE": file, "--out": out})
    site = lesson_box(file, outlets)
    with naming(file or "teach live"):
        bench = Bench(site=site, outlet=lesson_outlet(site, outlet))
    from dbox.drawings.teach.live import has_screen, show

    if out is None and has_screen():
        show(bench)
        return
    from dbox.drawings.teach.player import player_html, save_html
    from dbox.fieldwork.lessons.bench import frames

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
    from dbox.drawings.sheets.file import check_sheet, save_pages
    from dbox.drawings.teach.handout import handout_key, handout_pages
    from dbox.fieldwork.lessons.bench_box import LESSON_FLOWS
    from dbox.fieldwork.lessons.exercise import exercise
    from dbox.fieldwork.lessons.one_lip import lip_table
    from dbox_cli.teach.output import lesson_box

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
        from dbox.files.lessons.results import table_json
        from dbox_cli.output import print_json

        print_json({**table_json(lips), "files": [str(path) for path in files]})
        return
    from dbox_cli.teach.report import table_report

    typer.echo("\n".join([*table_report(lips), "", *(f"wrote {path}" for path in files)]))


def _sweep_figure(swept: "Sweep") -> "Figure":
    from dbox.drawings.teach.sweep_sheet import sweep_figure

    return sweep_figure(swept)


def _compare_figure(compared: "Comparison") -> "Figure":
    from dbox.drawings.teach.compare_sheet import compare_figure

    return compare_figure(compared)
