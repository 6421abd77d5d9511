"""`dbox teach ...`: what an instructor shows."""

from enum import Enum
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import (
    FILE_HELP,
    AsJson,
    Flows,
    Overwrite,
    Picture,
    Units,
    check_picture,
    naming,
    refuse_idle,
    refuse_one_file_twice,
    site_of,
)
from dbox_cli.output import print_answer, print_json, save_picture, say
from dbox_cli.sheet_command import Paper, PaperChoice

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.site import Site

app = typer.Typer(
    rich_markup_mode=None,
    no_args_is_help=True,
    help="Why a dead-level box matters: sweeps, a live box, cases to guess, handouts.",
)


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
Page = Annotated[
    Path | None,
    typer.Option("--out", help="The page to write, .html [dbox-live.html]."),
]
LIVE_PAGE = Path("dbox-live.html")


@app.command("case")
def case_command(
    context: typer.Context,
    seed: Annotated[int, typer.Option(min=0, help="Same seed, same cases.")],
    groups: Annotated[int, typer.Option(min=1, help="How many groups, each its own case.")] = 1,
    topic: Annotated[
        list[str] | None,
        typer.Option(help="What is wrong, such as full-trench; may be repeated [any]."),
    ] = None,
    difficulty: Annotated[
        str, typer.Option(help="easy, usual, or hard: a smaller fault, and fewer looks taken.")
    ] = "usual",
    out: Annotated[
        Path | None,
        typer.Option(help="Write to this .pdf or .txt file; its key goes to NAME-key beside it."),
    ] = None,
    paper: PaperChoice = Paper.LETTER,
    key: Annotated[
        bool, typer.Option("--key", help="Without --out: print the key instead.")
    ] = False,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Cases to guess from readings and observations; the key is kept apart.

    Each has a box of its own: two to eight outlets, any opening, inches or millimetres.
    """
    from dbox.fieldwork.lesson_cases import make_cases
    from dbox.files.typed import lesson_topics
    from dbox.report.case_report import case_report, cases_json, key_report

    as_text = out is not None and out.suffix.lower() == ".txt"
    refuse_idle(context, {
        "--key": "with --out, which writes it beside" * (out is not None and not as_json),
        "--paper": "without --out FILE.pdf" * (out is None or as_text),
    })  # fmt: skip
    files = check_pair(out, as_text=as_text, overwrite=overwrite)
    topics, level = lesson_topics(topic or (), difficulty)
    with naming("--groups"):
        cases = make_cases(seed, groups, topics, level)
    if as_json:
        print_json({**cases_json(cases, key=key), "files": [str(file) for file in files]})
    elif out is None:
        say(*(key_report(cases) if key else case_report(cases)))
    if as_text:
        for file, lines in zip(files, (case_report(cases), key_report(cases)), strict=True):
            write_text("\n".join([*lines, ""]), file, overwrite=overwrite, quiet=as_json)
    elif files:
        from dbox.drawings.lesson_papers import case_key, case_pages

        title, size = f"Mystery cases, seed {seed}", paper.value
        pair = case_pages(cases, size), case_key(cases, size)
        save_pair(pair, files, title, overwrite=overwrite)
        for file in files:
            typer.echo(f"wrote {file}", err=as_json)


@app.command("sweep")
def sweep_command(
    file: LessonFile = None,
    outlets: Outlets = None,
    opening: Opening = None,
    coefficient: Coefficient = None,
    flow: Flows = None,
    tolerance: Tolerance = None,
    toward: Annotated[Side, typer.Option(help="Side that is let down, seen from the inlet.")] = (
        Side.RIGHT
    ),
    most: Annotated[
        str | None, typer.Option(help="How far it is let down at most [3/8 in, 12 mm].")
    ] = None,
    units: Units = None,
    table: Table = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
) -> None:
    """Share of the worst line against tilt, direction of tilt and flow."""
    from dbox.fieldwork.lessons import sweep
    from dbox.files.typed import lesson_box, lesson_height
    from dbox.report.teach_report import sweep_csv, sweep_json, sweep_report

    check_files(picture, table, file, overwrite=overwrite)
    site = lesson_box(
        own_site(file, outlets, units), outlets=outlets, opening=opening, coefficient=coefficient,
        flows=flow or (), tolerance=tolerance, units=units,
    )  # fmt: skip
    edge = None if most is None else lesson_height("--most", most, units)
    with naming(file or "teach sweep"):
        swept = sweep(site, toward=toward.value, most=edge)
    print_answer(as_json, sweep_json, sweep_report, swept)
    if table:
        write_text(sweep_csv(swept), table, overwrite=overwrite, quiet=as_json)
    if picture:
        from dbox.drawings.lesson_pictures import sweep_figure

        save_picture(sweep_figure(swept), picture, overwrite=overwrite, quiet=as_json)


@app.command("compare")
def compare_command(
    context: typer.Context,
    file: LessonFile = None,
    opening: Annotated[
        list[str] | None,
        typer.Option("--opening", help="Opening to compare; may be repeated [five usual ones]."),
    ] = None,
    outlets: Outlets = None,
    error: Annotated[
        str | None,
        typer.Option(help="The one wrong lip over the others; - is low [-1/8 in, -3 mm]."),
    ] = None,
    flow: Flows = None,
    tolerance: Tolerance = None,
    spread: Annotated[
        str | None, typer.Option(help='How far one lip may be off, "1/32 in" [1/16 in].')
    ] = None,
    offset: Annotated[
        str | None, typer.Option(help='Offset of round holes that turn, "1/2 in".')
    ] = None,
    units: Units = None,
    table: Table = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
) -> None:
    """Which opening forgives a wrong lip the most, and what it costs in drop.

    With --opening it helps to choose: water over the lips, what a lip off by --spread does, how far
    a side may settle till a line is outside --tolerance, what inserts of --offset make up for, how
    it clogs. FILE gives box, outlets, flows and all of these that it holds.
    """
    from dbox.fieldwork.lessons import choose, compare
    from dbox.files.typed import choice_box, lesson_height, lesson_kinds
    from dbox.report.teach_report import compare_csv, compare_json, compare_report

    alone = "without --opening" * (not opening)
    refuse_idle(context, dict.fromkeys(("--tolerance", "--spread", "--offset"), alone))
    check_files(picture, table, file, overwrite=overwrite)
    site, off = choice_box(
        own_site(file, outlets, units), outlets=outlets, flows=flow or (), tolerance=tolerance,
        offset=offset, spread=spread, units=units,
    )  # fmt: skip
    kinds = lesson_kinds(opening or (), units)
    wrong = error or ("-3 mm" if site.metric else "-1/8 in")
    with naming(file or "teach compare"):
        compared = compare(
            kinds,
            outlets=sum(not outlet.capped for outlet in site.outlets),
            flows=site.flows,
            error=lesson_height("--error", wrong, units),
        )
        choice = choose(site, kinds, off) if opening else None
    to_text = partial(compare_report, lengths=site.lengths)
    print_answer(as_json, compare_json, to_text, compared, choice)
    if table:
        write_text(compare_csv(compared), table, overwrite=overwrite, quiet=as_json)
    if picture:
        from dbox.drawings.lesson_pictures import compare_figure

        drawn = compare_figure(compared, site.lengths)
        save_picture(drawn, picture, overwrite=overwrite, quiet=as_json)


@app.command("live")
def live_command(
    file: LessonFile = None,
    outlets: Outlets = None,
    outlet: Annotated[
        str | None, typer.Option(help="Outlet with the wrong lip, by label [first].")
    ] = None,
    out: Page = None,
    overwrite: Overwrite = False,
) -> None:
    """A box to lean, as a page for a browser: for a phone, a laptop or a projector.

    A box of FILE has 1 to 20 outlets. Without --out the page is dbox-live.html.
    """
    from dbox.drawings.phone_page import check_page, lesson_page, save_page
    from dbox.fieldwork.lessons import Bench
    from dbox.files.typed import lesson_box, lesson_outlet

    refuse_one_file_twice({"FILE": file, "--out": out})
    page = out or LIVE_PAGE
    check_page(page, overwrite=overwrite)
    site = lesson_box(own_site(file, outlets), outlets=outlets)
    with naming(file or "teach live"):
        bench = Bench(site=site, outlet=lesson_outlet(site, outlet))
    save_page(lesson_page(bench), page, overwrite=overwrite)
    typer.echo(f"wrote {page}")
    typer.echo("dbox: note: open it in a browser", err=True)


@app.command("handout")
def handout_command(
    out: Annotated[Path, typer.Option("--out", help="PDF file; its key goes to NAME-key.pdf.")],
    opening: Opening = None,
    coefficient: Coefficient = None,
    outlets: Annotated[int, typer.Option(min=2, max=8, help="Outlets of the bench box.")] = 4,
    units: Units = None,
    paper: PaperChoice = Paper.LETTER,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Two printable pages: the idea, the answers under a fold, a bench exercise.

    Its key is a file of its own, with notes for the instructor: an hour, minute by minute.
    """
    from dbox.drawings.lesson_papers import handout_key, handout_pages
    from dbox.fieldwork.lessons import (
        LESSON_ERROR,
        LESSON_ERRORS,
        LESSON_FLOWS,
        exercise,
        lip_table,
    )
    from dbox.files.typed import lesson_box
    from dbox.report.teach_report import table_json, table_report

    files = check_pair(out, overwrite=overwrite)
    site = lesson_box(outlets=outlets, opening=opening, coefficient=coefficient, units=units)
    hole, lengths = site.outlets[0].opening, site.lengths
    lips = lip_table(hole, outlets, LESSON_FLOWS, LESSON_ERRORS[site.metric])
    bench = exercise(hole, outlets, error=LESSON_ERROR[site.metric])
    pair = (handout_pages(lips, bench, paper.value, lengths),
            handout_key(lips, bench, paper.value, lengths))  # fmt: skip
    save_pair(pair, files, "Why a dead-level box matters", overwrite=overwrite)
    if as_json:
        print_json({**table_json(lips), "files": [str(path) for path in files]})
    else:
        told = table_report(lips, lengths)
        say(*told, "", *(f"wrote {path}" for path in files))


def own_site(file: str | None, outlets: int | None, units: str | None = None) -> "Site | None":
    """The site of a scenario, which says itself how many outlets it has and in which unit."""
    typed = [name for name, value in (("--outlets", outlets), ("--units", units)) if value]
    if file is not None and typed:
        raise typer.BadParameter(f"{', '.join(typed)} is for use without FILE; {file} says it")
    return None if file is None else site_of(file, None)


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


def check_pair(out: Path | None, *, as_text: bool = False, overwrite: bool) -> tuple[Path, ...]:
    """Where pages and their key go, refused before anything is made; nowhere without `out`."""
    if out is None:
        return ()
    from dbox.drawings.paper import check_sheet
    from dbox.files.write_file import check_place

    key = out.with_name(f"{out.stem}-key{out.suffix}")
    refuse_one_file_twice({"--out": out, "its key": key})
    for file in (out, key):
        (check_place if as_text else check_sheet)(file, overwrite=overwrite)
    return out, key


def save_pair(
    pair: "tuple[tuple[Figure, ...], tuple[Figure, ...]]",
    files: tuple[Path, ...],
    title: str,
    *,
    overwrite: bool,
) -> None:
    """Write pages to one file and their key to another."""
    from dbox.drawings.paper import save_pages

    for pages, file, name in zip(pair, files, (title, f"Key: {title}"), strict=True):
        save_pages(pages, file, title=name, overwrite=overwrite)


def write_text(text: str, path: Path, *, overwrite: bool, quiet: bool) -> None:
    """Write a text and name its file; on stderr where stdout is for machines."""
    from dbox.files.write_file import write_file

    write_file(path, text, overwrite=overwrite)
    typer.echo(f"wrote {path}", err=quiet)
