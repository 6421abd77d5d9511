"""`dbox batch LIST.csv`: every box of a list."""

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import AsJson, Flows, Gate, Overwrite, Picture, Seed
from dbox_cli.output import check_picture, print_json, progress_bar, save_picture

if TYPE_CHECKING:
    from dbox.files.list_boxes import Settings
    from dbox.files.list_run import Outcome

List = Annotated[
    str,
    typer.Argument(
        metavar="LIST.csv", help='One row a box, or one an outlet; or a shipped one, "forty-boxes".'
    ),
]
Out = Annotated[Path, typer.Option(metavar="RESULTS.csv", help="Results to write; one row a box.")]
Opening = Annotated[
    str | None, typer.Option(help='Opening of every outlet, such as "circle 2 in".')
]
Coefficient = Annotated[float | None, typer.Option(help="Discharge coefficient of openings [-].")]
Offset = Annotated[
    str | None,
    typer.Option(help='Hole centre from pipe centre, such as "1/2 in": says what to turn.'),
]
Spread = Annotated[str | None, typer.Option(help="Spread of one reading [1/16 in].")]
Tolerance = Annotated[
    str | None, typer.Option(help='Allowed difference from target, such as "10 %".')
]
Units = Annotated[str, typer.Option(help="Unit of bare lengths.")]
Samples = Annotated[int, typer.Option(min=50, max=100_000, help="Lips drawn for each box.")]
Quick = Annotated[
    bool, typer.Option("--quick", help="Verdicts to first order, without probabilities.")
]
Shares = Annotated[bool, typer.Option("--shares", help="Write the share of every outlet, too.")]
Ignored = Annotated[
    list[str] | None,
    typer.Option("--ignore", metavar="COLUMN", help="Column not to read; may be repeated."),
]
Processes = Annotated[
    int | None, typer.Option(min=1, max=256, help="Processes to work with [one a core].")
]


def command(
    file: List,
    out: Out,
    opening: Opening = None,
    coefficient: Coefficient = None,
    offset: Offset = None,
    spread: Spread = None,
    tolerance: Tolerance = None,
    units: Units = "in",
    flow: Flows = None,
    samples: Samples = 400,
    quick: Quick = False,
    shares: Shares = False,
    ignore: Ignored = None,
    seed: Seed = 0,
    processes: Processes = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
    gate: Gate = False,
) -> None:
    """Verdict, worst line and turns of every box of a list, however long.

    The heads tell the shape: box,outlet 1,outlet 2,... or box,outlet,reading; also clock 1, ...,
    opening, offset, spread, tolerance. A run that was stopped goes on when it is started again.
    """
    from dbox.files.list_boxes import read_settings

    _check_files(file, out, picture, overwrite=overwrite)
    settings = read_settings(
        flows=flow or (), opening=opening, coefficient=coefficient, offset=offset, spread=spread,
        tolerance=tolerance, units=units, samples=0 if quick else samples, seed=seed, shares=shares,
    )  # fmt: skip
    draw = _drawing(settings, picture, overwrite=overwrite, quiet=as_json)
    outcome = _run(file, out, settings, ignore or (), processes, picture, draw)
    _tell(outcome, settings, as_json=as_json)
    if gate and _any_outside(outcome):
        raise typer.Exit(1)


def _any_outside(outcome: "Outcome") -> bool:
    from dbox.fieldwork.shares import VERDICTS

    return bool(outcome.tally.verdicts[VERDICTS.index("outside")])


def _tell(outcome: "Outcome", settings: "Settings", *, as_json: bool) -> None:
    if as_json:
        from dbox.files.list_run import batch_json

        print_json(batch_json(outcome, settings))
    else:
        from dbox.report.batch_report import report

        typer.echo("\n".join(report(outcome, settings)))


def _check_files(file: str, out: Path, picture: Path | None, *, overwrite: bool) -> None:
    """Refuse files that are one, and a picture that could not be written."""
    from dbox.files.list_run import Places

    places = Places(out)
    others: dict[str, Path | str | None] = {
        "LIST": file,
        "--out": out,
        "the bad rows": places.bad,
    }
    # a run that is gone on with may have made the picture
    check_picture(picture, others, overwrite=overwrite or places.state.exists())


def _run(
    file: str,
    out: Path,
    settings: "Settings",
    ignored: Sequence[str],
    processes: int | None,
    picture: Path | None,
    draw: "Callable[[Outcome], None] | None",
) -> "Outcome":
    from dbox.files.list_run import run_batch
    from dbox.files.scenario import LIST, resolve

    source = resolve(file, LIST)
    try:
        with progress_bar(out.name) as told:
            return run_batch(
                source, out, settings, ignored=ignored, processes=processes, told=told,
                picture=picture, draw=draw,
            )  # fmt: skip
    except KeyboardInterrupt:
        typer.echo("dbox: stopped; the same command goes on from here", err=True)
        raise typer.Exit(130) from None


def _drawing(
    settings: "Settings", picture: Path | None, *, overwrite: bool, quiet: bool
) -> "Callable[[Outcome], None] | None":
    """What draws the picture, where one is wanted."""
    if picture is None:
        return None

    def draw(outcome: "Outcome") -> None:
        from dbox.drawings.batch_picture import batch_figure

        figure = batch_figure(settings.flows, outcome.tally)
        save_picture(figure, picture, overwrite=overwrite, again=outcome.resumed, quiet=quiet)

    return draw
