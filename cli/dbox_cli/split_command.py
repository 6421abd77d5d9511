"""`dbox split [FILE]`: shares of each outlet at each flow."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from dbox_cli import arguments
from dbox_cli.output import print_answer, save_picture

if TYPE_CHECKING:
    from dbox.fieldwork.site import Site

Heights = Annotated[
    str | None,
    typer.Option(help='Without FILE: each lip over still water, such as "3/32, 0, -5/32".'),
]


def command(
    file: arguments.OptionalFile = None,
    heights: Heights = None,
    opening: arguments.Opening = None,
    coefficient: arguments.Coefficient = None,
    spread: arguments.Spread = None,
    tolerance: arguments.Tolerance = None,
    inlet: arguments.Inlet = None,
    units: arguments.Units = None,
    flow: arguments.Flows = None,
    readings: arguments.Readings = None,
    seed: arguments.Seed = 0,
    samples: arguments.Samples = 4000,
    as_json: arguments.AsJson = False,
    picture: arguments.Picture = None,
    overwrite: arguments.Overwrite = False,
    gate: arguments.Gate = False,
) -> None:
    """Share of every outlet at each flow, with 5 to 95 % bands.

    With no file: dbox split --heights "0, 3/32, -5/32, 0, 3/32" --opening "circle 2 in"; what
    describes such a box (--coefficient, --spread, --tolerance, --inlet, --units) is for use without
    FILE.
    """
    arguments.check_picture(picture, {"FILE": file, "--readings": readings}, overwrite=overwrite)
    typed = {"heights": heights, "opening": opening, "coefficient": coefficient,
             "spread": spread, "tolerance": tolerance, "inlet": inlet, "units": units}  # fmt: skip
    given = {name: value for name, value in typed.items() if value is not None}
    if file is None:
        site = _typed_site(given, flow, readings)
    elif given:
        options = ", ".join(f"--{name}" for name in given)
        raise typer.BadParameter(f"{options} is for use without FILE; {file} says it")
    else:
        site = arguments.site_of(file, flow, readings)
    from dbox.fieldwork.series import through
    from dbox.fieldwork.shares import assess
    from dbox.report.split_report import report, split_json

    with arguments.naming(file or "--heights"):
        assessment = assess(site, seed=seed, samples=samples)
        lines = through(site, seed=seed, samples=samples)
    print_answer(as_json, split_json, report, site, assessment, lines)
    if picture:
        from dbox.drawings.split_picture import split_figure

        save_picture(split_figure(site, assessment), picture, overwrite=overwrite, quiet=as_json)
    if gate and "outside" in assessment.verdicts:
        raise typer.Exit(1)


def _typed_site(given: dict[str, Any], flow: list[str] | None, readings: str | None) -> "Site":
    if readings:
        raise typer.BadParameter("--readings needs a FILE; without one give --heights")
    if not {"heights", "opening"} <= given.keys():
        raise typer.BadParameter(
            'name a FILE, or give --heights and --opening, as --heights "3/32, 0, -5/32" '
            '--opening "circle 2 in"'
        )
    from dbox.files.typed import typed_site

    return typed_site(flows=flow or (), **{"units": "in", **given})
