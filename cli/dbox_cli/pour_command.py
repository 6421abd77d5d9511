"""`dbox pour FILE`: a pour test."""

from collections.abc import Sequence
from typing import Annotated

import typer

from dbox_cli import arguments
from dbox_cli.output import print_answer


def command(
    file: arguments.File,
    flow: Annotated[list[str] | None, typer.Option(
        metavar="FLOW",
        help='Pour to plan, such as "5 gal in 60 s", in place of those of FILE; may be repeated.',
    )] = None,
    jug: Annotated[str | None, typer.Option(
        help='Content of the jug filled at the outlets, such as "1 qt".')] = None,
    error: Annotated[str | None, typer.Option(
        help='Error of a timed catch [that of FILE, or "5 %"].')] = None,
    catches: Annotated[str | None, typer.Option(
        metavar="FILE.csv",
        help="Catches from a table: outlet, then a column per pour; 1,000 rows at most.")] = None,
    catch: Annotated[str | None, typer.Option(
        help='What was caught in the one --flow, written into FILE: "1 58 s, 2 dry, others 61 s".',
    )] = None,
    readings: arguments.Readings = None,
    write_csv: arguments.WriteCsv = None,
    seed: arguments.Seed = 0,
    samples: arguments.Samples = 4000,
    as_json: arguments.AsJson = False,
) -> None:  # fmt: skip
    """Pour test: what each outlet should give; then whether ruler and water agree."""
    from dbox.fieldwork.pour import expect
    from dbox.fieldwork.pour_fit import explain, judge
    from dbox.files.typed import with_typed_pours
    from dbox.report.pour_report import pour_json, report

    arguments.refuse_one_file_twice(
        {"FILE": file, "--catches": catches, "--readings": readings, "--write-csv": write_csv}
    )
    if catch and catches:
        raise typer.BadParameter("--catch and --catches: give one of them")
    if catch:
        _put_into(file, catch, flow or (), jug, error, quiet=as_json)
        flow = jug = error = None
    site = with_typed_pours(arguments.site_of(file, None, readings), flow or (), jug, error)
    if catches:
        from dbox.files.readings_csv import with_catches

        site = with_catches(site, catches)
    with arguments.naming(file):
        expectation = expect(site, site.pours, seed=seed, samples=samples)
        explanations = explain(expectation) if expectation.weighed else ()
        finding = judge(expectation, explanations) if explanations else None
    print_answer(as_json, pour_json, report, expectation, explanations, finding)
    if write_csv:
        from dbox.files.readings_csv import catches_csv
        from dbox.files.write_file import write_file

        write_file(write_csv, catches_csv(site.pours, [outlet.label for outlet in site.outlets]))
        typer.echo(f"wrote {write_csv}", err=as_json)


def _put_into(
    file: str, caught: str, flows: Sequence[str], jug: str | None, error: str | None, *, quiet: bool
) -> None:
    """Write a pour that was done into the scenario, and say so."""
    from dbox.errors import ScenarioError, at_place
    from dbox.files import toml_file
    from dbox.files.evidence_interview import with_pour
    from dbox.files.write_file import write_file

    path = arguments.own_file(file)
    if len(flows) != 1:
        raise typer.BadParameter("--catch goes with one --flow, what was poured")
    text = toml_file.read_text(path)
    try:
        told = with_pour(toml_file.parse(text, file), flows[0], caught, jug, error)
    except ScenarioError as fault:
        raise ScenarioError(*(at_place("--catch", each) for each in fault.faults)) from fault
    write_file(path, toml_file.with_values(text, told), overwrite=True)
    typer.echo(f"wrote {path}: pour", err=quiet)
