"""`dbox surge FILE`: a discharge through tank, box and trenches."""

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import AsJson, File, Overwrite, naming, refuse_one_file_twice, site_of
from dbox_cli.output import progress_bar

if TYPE_CHECKING:
    from dbox.arrays import Array
    from dbox.fieldwork.site import Site
    from dbox.fieldwork.surge import Outcome

_FILMS = (".gif", ".mp4", ".html")


def check_out(out: Path | None, *, overwrite: bool, contrast: bool) -> None:
    """Refuse a picture or film that could not be written, before anything is computed for it."""
    if out is None:
        return
    from dbox.errors import ScenarioError

    if out.suffix.lower() in _FILMS:
        if contrast:
            raise ScenarioError(f"{out}: --contrast is no film; write .png, .pdf or .svg")
        from dbox.drawings.surge_film import check_film

        check_film(out, overwrite=overwrite)
        return
    from dbox.drawings.style import SUFFIXES, check_picture

    if out.suffix.lower() not in SUFFIXES:
        kinds = ", ".join((*SUFFIXES, *_FILMS[:-1]))
        raise ScenarioError(f"{out}: nothing ends like this; write {kinds} or {_FILMS[-1]}")
    check_picture(out, overwrite=overwrite)


def write_out(
    outcomes: "tuple[Outcome, ...]", out: Path, *, overwrite: bool, contrast: bool, quiet: bool
) -> None:
    """Write the file and name it; on stderr where stdout is for machines."""
    if out.suffix.lower() in _FILMS:
        from dbox.drawings.surge_film import write_film

        with progress_bar(out.name) as progress:
            write_film(outcomes[0], out, overwrite=overwrite, progress=progress)
        typer.echo(f"wrote {out}", err=quiet)
        return
    from dbox.drawings.surge_picture import contrast_figure, surge_figure
    from dbox_cli.output import save_picture

    figure = contrast_figure(outcomes) if contrast else surge_figure(outcomes[0])
    save_picture(figure, out, overwrite=overwrite, quiet=quiet)


class Side(Enum):
    """Where a box settles to, as seen from the inlet."""

    RIGHT = "right"
    LEFT = "left"
    FAR = "far"
    INLET = "inlet"


Event = Annotated[
    list[str] | None,
    typer.Option(
        "--event",
        metavar="FIXTURE",
        help="toilet, shower, bath, washer, dishwasher or sink; repeated ones start together.",
    ),
]
Day = Annotated[bool, typer.Option("--day", help="A plausible day of the house.")]
Days = Annotated[int | None, typer.Option(min=1, max=3660, help="That many days, each drawn anew.")]
Dose = Annotated[
    str | None, typer.Option(help='pump, siphon (of FILE), or such as "60 gal at 30 gpm".')
]
InflowFile = Annotated[
    str | None,
    typer.Option("--inflow", metavar="FILE.csv", help="Measured at the box: seconds,m3_s."),
]
Contrast = Annotated[
    bool, typer.Option("--contrast", help="The same volume at each flow of FILE, side by side.")
]
Volume = Annotated[str, typer.Option(help="That volume.")]
People = Annotated[
    int | None, typer.Option(min=1, max=100, help="How many live in the house [as in FILE].")
]
Settling = Annotated[
    str | None, typer.Option(help='How much one side of the box sinks in a year, as "1/4 in".')
]
Toward = Annotated[Side, typer.Option(help="Which side sinks, as seen from the inlet.")]
Until = Annotated[
    str | None, typer.Option("--for", help='How long to go on, such as "2 h" [till it is through].')
]
DaysSeed = Annotated[int, typer.Option(min=0, help="Seed of the days; same seed, same days.")]
Out = Annotated[
    Path | None,
    typer.Option(help="Film (.gif, .mp4, .html) or picture (.png, .pdf, .svg) to write."),
]


def command(
    file: File,
    event: Event = None,
    day: Day = False,
    days: Days = None,
    dose: Dose = None,
    inflow: InflowFile = None,
    contrast: Contrast = False,
    volume: Volume = "20 gal",
    people: People = None,
    settling: Settling = None,
    toward: Toward = Side.RIGHT,
    until: Until = None,
    seed: DaysSeed = 0,
    as_json: AsJson = False,
    out: Out = None,
    overwrite: Overwrite = False,
) -> None:
    """A discharge through tank, pipe, box and trenches, minute by minute."""
    wishes = {"--event": event, "--day": day or None, "--days": days, "--dose": dose,
              "--inflow": inflow, "--contrast": contrast or None}  # fmt: skip
    refuse_one_file_twice({"FILE": file, "--inflow": inflow, "--out": out})
    site = _peopled(site_of(file, None), people)
    asked = _asked(site, [option for option, wish in wishes.items() if wish is not None])
    _refuse_idle(asked, until, settling)
    compared = asked == "--contrast"
    check_out(out, overwrite=overwrite, contrast=compared)
    with naming(file):
        sinks = _settling(site, settling, toward)
        if compared:
            outcomes = _contrast(site, volume)
        elif asked in ("--day", "--days"):
            outcomes = (_days(site, days or 1, seed, sinks),)
        else:
            outcomes = (_event(site, event, dose, inflow, until, sinks),)
    if out:
        write_out(outcomes, out, overwrite=overwrite, contrast=compared, quiet=as_json)
    if as_json:
        _print_json(outcomes, out, contrast=compared)
    else:
        _print_text(outcomes, contrast=compared)


def _asked(site: "Site", given: list[str]) -> str:
    """The one thing asked for; with none, a day where it is known who lives there."""
    if len(given) > 1:
        raise typer.BadParameter(f"{' and '.join(given)}: ask for one of them at a time")
    if given:
        return given[0]
    return "--contrast" if site.works.people is None else "--day"


def _refuse_idle(asked: str, until: str | None, settling: str | None) -> None:
    """Refuse options that mean nothing for what was asked."""
    if until is not None and asked in ("--day", "--days", "--contrast"):
        raise typer.BadParameter(f"--for means nothing with {asked}; leave one of them out")
    if settling is not None and asked == "--contrast":
        raise typer.BadParameter("--settling means nothing with --contrast; leave one of them out")


def _print_json(outcomes: "tuple[Outcome, ...]", out: Path | None, *, contrast: bool) -> None:
    from dbox.report.surge_report import contrast_json, surge_json
    from dbox_cli.output import print_json

    files = [str(out)] if out else []
    print_json(contrast_json(outcomes, files) if contrast else surge_json(outcomes[0], files))


def _print_text(outcomes: "tuple[Outcome, ...]", *, contrast: bool) -> None:
    from dbox.report.surge_report import contrast_report, report

    lines = contrast_report(outcomes) if contrast else report(outcomes[0])
    typer.echo("\n".join(lines))


def _peopled(site: "Site", people: int | None) -> "Site":
    from dataclasses import replace

    return site if people is None else replace(site, works=replace(site.works, people=people))


def _contrast(site: "Site", volume: str) -> "tuple[Outcome, ...]":
    from dbox.fieldwork.surge import side_by_side
    from dbox.files.typed_surge import typed_volume

    return side_by_side(site, typed_volume(volume, "--volume"))


def _settling(site: "Site", settling: str | None, toward: Side) -> "Array | None":
    if settling is None:
        return None
    from dbox.fieldwork.surge import settling_rates
    from dbox.files.typed_surge import typed_settling

    return settling_rates(site, typed_settling(settling), toward.value)


def _days(site: "Site", days: int, seed: int, sinks: "Array | None") -> "Outcome":
    from dbox.fieldwork.surge import run_days

    with progress_bar(f"{days} days") as progress:
        return run_days(site, days, seed=seed, settling=sinks, progress=progress)


def _event(
    site: "Site",
    event: list[str] | None,
    dose: str | None,
    inflow: str | None,
    until: str | None,
    sinks: "Array | None",
) -> "Outcome":
    from dbox.fieldwork.surge import house_event, run
    from dbox.files.typed_surge import typed_dose, typed_until

    if inflow is not None:
        from dbox.files.readings_csv import read_inflow

        flow = read_inflow(inflow)
    elif dose is not None:
        flow = typed_dose(site.works, dose)
    else:
        flow = house_event(event or ())
    return run(site, flow, seconds=typed_until(until), settling=sinks)
