"""`dbox batch LIST.csv`: every box of a list."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli import arguments
from dbox_cli.output import print_answer, progress_bar, save_picture

if TYPE_CHECKING:
    from dbox.files.list_run import Outcome


def command(
    context: typer.Context,
    file: Annotated[str, typer.Argument(
        metavar="LIST.csv", help='One row a box, or one an outlet; or a shipped one, "forty-boxes".'
    )],
    out: Annotated[Path, typer.Option(
        metavar="RESULTS.csv", help="Results to write; one row a box.")],
    opening: arguments.Opening = None,
    coefficient: arguments.Coefficient = None,
    offset: Annotated[str | None, typer.Option(
        help='Hole centre from pipe centre, such as "1/2 in": says what to turn.')] = None,
    spread: arguments.Spread = None,
    tolerance: arguments.Tolerance = None,
    inlet: arguments.Inlet = None,
    pipe: Annotated[str | None, typer.Option(
        help="Inside diameter of the gravity pipe to the box.")] = None,
    main: Annotated[str | None, typer.Option(
        help="Inside diameter of the pump's main to the box.")] = None,
    units: arguments.Units = None,
    flow: arguments.Flows = None,
    samples: Annotated[int, typer.Option(
        min=50, max=100_000, help="Lips drawn for each box.")] = 400,
    quick: Annotated[bool, typer.Option(
        "--quick", help="Verdicts to first order, without probabilities.")] = False,
    shares: Annotated[bool, typer.Option(
        "--shares", help="Write the share of every outlet, too.")] = False,
    ignore: Annotated[list[str] | None, typer.Option(
        metavar="COLUMN", help="Column not to read; may be repeated.")] = None,
    seed: arguments.Seed = 0,
    processes: Annotated[int | None, typer.Option(
        min=1, max=256, help="Processes to work with [one a core].")] = None,
    as_json: arguments.AsJson = False,
    picture: arguments.Picture = None,
    overwrite: arguments.Overwrite = False,
    gate: arguments.Gate = False,
) -> None:  # fmt: skip
    """Verdict, worst line and turns of every box of a list, however long.

    The heads tell the shape: box,outlet 1,outlet 2,... or box,outlet,reading; also clock 1, ...,
    opening, offset, spread, tolerance, inlet, pipe, main. A run that was stopped goes on when it is
    started again.
    """
    from dbox.fieldwork.shares import VERDICTS
    from dbox.files.list_boxes import read_settings
    from dbox.files.list_run import Places, run_batch
    from dbox.files.scenario import LIST, resolve
    from dbox.report.batch_report import batch_json, report

    places = Places(out)
    arguments.check_picture(
        picture,
        {"LIST": file, "--out": out, "the bad rows": places.bad},
        # a run that is gone on with may have made the picture
        overwrite=overwrite or places.state.exists(),
    )
    arguments.refuse_idle(context, {
        "--samples": "with --quick" * quick,
        "--seed": "with --quick" * quick,
        "--overwrite": "without --picture: results are never replaced" * (picture is None),
    })  # fmt: skip
    settings = read_settings(
        flows=flow or (), opening=opening, coefficient=coefficient, offset=offset, spread=spread,
        tolerance=tolerance, inlet=inlet, pipe=pipe, main=main, units=units or "in",
        samples=0 if quick else samples, seed=seed, shares=shares,
    )  # fmt: skip
    source = resolve(file, LIST)

    def draw(outcome: "Outcome") -> None:
        if picture:
            from dbox.drawings.batch_picture import batch_figure

            # a shipped list is found elsewhere than where its name points
            shipped = source.parent != Path(file).parent
            name = f"{source.stem}{' (invented)' * shipped}"
            figure = batch_figure(settings.flows, outcome.tally, name)
            save_picture(figure, picture, overwrite=overwrite, again=outcome.resumed, quiet=as_json)

    try:
        with progress_bar(out.name) as told:
            outcome = run_batch(
                source, out, settings, ignored=ignore or (), processes=processes, told=told,
                picture=picture, draw=draw,
            )  # fmt: skip
    except KeyboardInterrupt:
        typer.echo("dbox: stopped; the same command goes on from here", err=True)
        raise typer.Exit(130) from None
    print_answer(as_json, batch_json, report, outcome, settings)
    if gate and outcome.tally.verdicts[VERDICTS.index("outside")]:
        raise typer.Exit(1)
