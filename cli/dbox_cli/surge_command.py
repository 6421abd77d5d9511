"""`dbox surge FILE`: a discharge through tank, box and trenches."""

from enum import Enum
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from dbox_cli.arguments import (
    AsJson,
    File,
    Overwrite,
    naming,
    refuse_idle,
    refuse_one_file_twice,
    site_of,
)
from dbox_cli.output import print_json, progress_bar, save_picture, say

if TYPE_CHECKING:
    from dbox.fieldwork.surge import SurgeOutcome


class Side(Enum):
    """Where a box settles to, as seen from the inlet."""

    RIGHT = "right"
    LEFT = "left"
    FAR = "far"
    INLET = "inlet"


def command(
    context: typer.Context,
    file: File,
    event: Annotated[list[str] | None, typer.Option(
        metavar="FIXTURE",
        help="toilet, shower, bath, washer, dishwasher or sink; several start together.",
    )] = None,
    day: Annotated[bool, typer.Option("--day", help="A plausible day of the house.")] = False,
    days: Annotated[int | None, typer.Option(
        min=1, max=3660, help="So many days of the house, each drawn anew.")] = None,
    dose: Annotated[str | None, typer.Option(
        help='pump or siphon of FILE, or typed, as "60 gal at 30 gpm".')] = None,
    inflow: Annotated[str | None, typer.Option(
        metavar="FILE.csv",
        help="What was measured at the box: columns seconds,m3_s; 1,000,000 rows at most.")] = None,
    contrast: Annotated[bool, typer.Option(
        "--contrast", help="The same volume at each flow of FILE, side by side.")] = False,
    volume: Annotated[str, typer.Option(help="Volume that --contrast lets in.")] = "20 gal",
    people: Annotated[int | None, typer.Option(
        min=1, max=100, help="How many live in the house [as in FILE].")] = None,
    settling: Annotated[str | None, typer.Option(
        help='How much one side of the box sinks in a year, as "1/4 in".')] = None,
    toward: Annotated[Side, typer.Option(
        help="Which side sinks, as seen from the inlet.")] = Side.RIGHT,
    until: Annotated[str | None, typer.Option(
        "--for", help='How long to follow the water, such as "2 h" [till it is through].')] = None,
    seed: Annotated[int, typer.Option(
        min=0, help="Seed of the days; same seed, same days.")] = 0,
    as_json: AsJson = False,
    out: Annotated[Path | None, typer.Option(
        help="Film (.html to play in a browser, .gif, .mp4) or picture (.png, .pdf, .svg) to "
             "write.")] = None,
    size: Annotated[str | None, typer.Option(
        metavar="WxH", help="Of a film, in dots: 640x360 to 1920x1080 [1280x720].")] = None,
    seconds: Annotated[str | None, typer.Option(
        metavar="8-30", help="How long a film lasts, title and end included [13.5].")] = None,
    speed: Annotated[str | None, typer.Option(
        metavar="TIMES", help="Of a film, all along: 60 is 60 times as fast as the water "
        "[slow where lines start and where the water turns].")] = None,
    overwrite: Overwrite = False,
) -> None:  # fmt: skip
    """A discharge through tank, pipe, box and trenches, minute by minute."""
    from dataclasses import replace

    from dbox.fieldwork.surge import house_event, run, run_days, settling_rates, side_by_side
    from dbox.files import scenario_tables
    from dbox.files.readings_csv import read_inflow
    from dbox.files.typed import film_seconds, film_size, film_speed, run_time, typed, typed_dose
    from dbox.report.surge_report import contrast_json, contrast_report, report, surge_json

    refuse_one_file_twice({"FILE": file, "--inflow": inflow, "--out": out})
    site = site_of(file, None)
    if people is not None:
        site = replace(site, works=replace(site.works, people=people))
    wishes = {"--event": event, "--day": day or None, "--days": days, "--dose": dose,
              "--inflow": inflow, "--contrast": contrast or None}  # fmt: skip
    given = [option for option, wish in wishes.items() if wish is not None]
    if len(given) > 1:
        raise typer.BadParameter(f"{' and '.join(given)}: ask for one of them at a time")
    # with none asked for, a day where it is known who lives there
    asked = (given or ["--contrast" if site.works.people is None else "--day"])[0]
    compared, drawn, beside = asked == "--contrast", asked in ("--day", "--days"), f"with {asked}"
    refuse_idle(context, {
        "--for": beside * (drawn or compared),
        "--settling": beside * compared,
        "--toward": "without --settling" * (settling is None),
        "--volume": beside * (not compared),
        "--seed": beside * (not drawn),
        **dict.fromkeys(("--size", "--seconds", "--speed"), _no_film(out)),
    })  # fmt: skip
    if seconds is not None and speed is not None:
        raise typer.BadParameter("--seconds and --speed: ask for one of them at a time")
    played: dict[str, Any] = {}
    if size is not None:
        played["size"] = typed("--size", size, lambda text, _: film_size(text))
    if seconds is not None:
        played["seconds"] = typed("--seconds", seconds, lambda text, _: film_seconds(text))
    if speed is not None:
        played["speed"] = typed("--speed", speed, lambda text, _: film_speed(text))
    if out:
        _check_out(out, overwrite=overwrite)
    with naming(file):
        sinks, lasts, days = None, None, days or 1
        if settling is not None:
            sinking = typed("--settling", settling, scenario_tables.settling)
            sinks = settling_rates(site, sinking, toward.value)
        if compared:
            outcomes = side_by_side(site, typed("--volume", volume, scenario_tables.some_volume))
        elif drawn:
            with progress_bar(f"{days} days") as progress:
                found = run_days(site, days, seed=seed, settling=sinks, progress=progress)
            outcomes = (found,)
        else:
            if inflow is not None:
                flow = read_inflow(inflow)
            elif dose is not None:
                flow = typed_dose(site.works, dose)
            else:
                flow = house_event(event or ())
            if until is not None:
                lasts = typed("--for", until, run_time)
            outcomes = (run(site, flow, seconds=lasts, settling=sinks),)
    if out:
        _write_out(outcomes, out, played, overwrite=overwrite, contrast=compared, quiet=as_json)
    files = [str(out)] if out else []
    if as_json:
        print_json(contrast_json(outcomes, files) if compared else surge_json(outcomes[0], files))
    else:
        say(*(contrast_report(outcomes) if compared else report(outcomes[0])))


def _no_film(out: Path | None) -> str:
    """Why there is no film to be played in another way; nothing where there is."""
    if out is None:
        return "without --out x.gif or x.mp4"
    suffix = out.suffix.lower()
    return "" if suffix in (".gif", ".mp4") else f"with a {suffix or 'file without ending'}"


def _check_out(out: Path, *, overwrite: bool) -> None:
    """Refuse a picture or film that could not be written, before anything is computed for it."""
    from dbox.drawings.phone_page import check_page
    from dbox.drawings.style import SUFFIXES, check_picture
    from dbox.errors import ScenarioError, any_of

    suffix = out.suffix.lower()
    if suffix in SUFFIXES:
        check_picture(out, overwrite=overwrite)
        return
    if suffix == ".html":
        check_page(out, overwrite=overwrite)
        return
    # what writes films takes its time to load
    from dbox.drawings.surge_film import FILM_SUFFIXES, check_film

    if suffix not in FILM_SUFFIXES:
        kinds = any_of((*SUFFIXES, *FILM_SUFFIXES, ".html"))
        raise ScenarioError(f"{out}: nothing ends like this; write {kinds}")
    check_film(out, overwrite=overwrite)


def _write_out(
    outcomes: "tuple[SurgeOutcome, ...]", out: Path, played: dict[str, Any], *,
    overwrite: bool, contrast: bool, quiet: bool,
) -> None:  # fmt: skip
    """Write the file and name it; on stderr where stdout is for machines."""
    from dbox.drawings.style import SUFFIXES

    suffix = out.suffix.lower()
    if suffix == ".html":
        from dbox.drawings.phone_page import save_page
        from dbox.drawings.run_page import run_page

        save_page(run_page(outcomes), out, overwrite=overwrite)
    elif suffix not in SUFFIXES:
        from dbox.drawings.surge_film import write_film
        from dbox.drawings.surge_frames import Show

        with progress_bar(out.name) as progress:
            write_film(outcomes, out, Show(**played), overwrite=overwrite, progress=progress)
    else:
        from dbox.drawings.run_picture import run_figure
        from dbox.drawings.surge_frames import contrast_figure

        figure = contrast_figure(outcomes) if contrast else run_figure(outcomes[0])
        save_picture(figure, out, overwrite=overwrite, quiet=quiet)
        return
    typer.echo(f"wrote {out}", err=quiet)
