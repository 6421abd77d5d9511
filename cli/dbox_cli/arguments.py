"""Arguments that several commands share, and what goes with them."""

import os
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.output import say

if TYPE_CHECKING:
    from dbox.fieldwork.setup import Pass
    from dbox.fieldwork.site import Site

FILE_HELP = 'Scenario file, or name of a shipped one, such as "off-level".'

File = Annotated[str, typer.Argument(help=FILE_HELP)]
OptionalFile = Annotated[str | None, typer.Argument(help=FILE_HELP)]
Flows = Annotated[
    list[str] | None,
    typer.Option(
        "--flow", metavar="FLOW", help='Flow to compute, such as "5 gal in 40 s"; may be repeated.'
    ),
]
Readings = Annotated[
    str | None,
    typer.Option(
        metavar="FILE.csv",
        help="Readings from a table, in place of those of FILE: outlet,reading (in); "
        "1,000 rows at most.",
    ),
]
WriteCsv = Annotated[
    Path | None, typer.Option(metavar="FILE.csv", help="Write the table to fill in; a new file.")
]
Opening = Annotated[
    str | None,
    typer.Option(help='Each opening: "circle 2 in", "notch 90 deg", "slot 1 in", "pipe 4 in".'),
]
Coefficient = Annotated[float | None, typer.Option(help="Discharge coefficient of openings [-].")]
Spread = Annotated[
    str | None, typer.Option(help='Spread of one reading, such as "1/32 in" [1/16 in].')
]
Tolerance = Annotated[
    str | None, typer.Option(help='Allowed difference from target, such as "10 %".')
]
Inlet = Annotated[
    str | None, typer.Option(help="How the inlet ends: straight, turned down, tee or baffle.")
]
Units = Annotated[str | None, typer.Option(help="Unit of bare lengths [in].")]
AsJson = Annotated[bool, typer.Option("--json", help="Machine output, in SI.")]
Picture = Annotated[
    Path | None, typer.Option(help="Draw the answer to this .png, .pdf or .svg file.")
]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")]
Seed = Annotated[int, typer.Option(min=0, help="Seed of the bands; same seed, same answer.")]
Samples = Annotated[int, typer.Option(min=100, max=1_000_000, help="Boxes drawn for the bands.")]
Gate = Annotated[bool, typer.Option("--gate", help="Exit with 1 where the verdict is outside.")]


@contextmanager
def naming(source: str) -> Iterator[None]:
    """Put the name of the file, or of the arguments, before what is wrong with its numbers."""
    from dbox.errors import DomainError, ScenarioError

    try:
        yield
    except DomainError as error:
        raise ScenarioError(f"{source}: {error}") from error


def refuse_idle(context: typer.Context, idle: Mapping[str, str]) -> None:
    """Refuse options that were given and would do nothing; `idle`: why, where there is a why."""
    for param in context.command.params:
        source = context.get_parameter_source(param.name or "")
        why = idle.get(param.opts[0])
        if why and source is not None and source.name == "COMMANDLINE":
            raise typer.BadParameter(f"{param.opts[0]} means nothing {why}; leave it out")


def refuse_one_file_twice(files: Mapping[str, Path | str | None]) -> None:
    """Refuse arguments that name the same file, however each is spelled or linked."""
    from dbox.errors import ScenarioError

    seen: dict[object, str] = {}
    for argument, path in files.items():
        if path is None:
            continue
        other = seen.setdefault(_identity(path), argument)
        if other != argument:
            raise ScenarioError(f"{path}: is named by {other} and by {argument}; name two files")


def check_picture(
    path: Path | None, others: Mapping[str, Path | str | None], *, overwrite: bool
) -> None:
    """Refuse a picture that cannot be, before anything is computed for it.

    `others` are the files that the command reads or writes besides, by the arguments for them.
    """
    refuse_one_file_twice({**others, "--picture": path})
    if path:
        from dbox.drawings.style import check_picture

        check_picture(path, overwrite=overwrite)


def _identity(path: Path | str) -> object:
    """What two names of one file have in common; by its place where it is not there yet."""
    try:
        found = os.stat(path)
    except ValueError:
        # a NUL in it: no path at all, which is told where it is used
        return path
    except OSError:
        return os.path.normcase(os.path.realpath(path))
    return found.st_dev, found.st_ino


def site_of(
    file: str, flows: Sequence[str] | None, readings: str | None = None, *, written: bool = False
) -> "Site":
    """The site of a scenario; typed flows and a table of readings take the place of its own.

    Where the file holds no reading, the box is as its set-up has last read it, unless `written`
    asks for what is in the file alone.
    """
    from dataclasses import replace

    from dbox.files.job_log import log_path
    from dbox.files.scenario import load, resolve

    path = resolve(file)
    site = load(path)
    if readings:
        from dbox.files.readings_csv import with_readings

        site = with_readings(site, readings)
    elif not written and (last := last_read(path, site)):
        from dbox.errors import outlets_text
        from dbox.report.text import moment

        read = {outlet.label for outlet in last.site.outlets}
        new = [outlet.label for outlet in site.outlets if outlet.label not in read]
        since = f"; without {outlets_text(new)}, not read yet" if new else ""
        say(f"dbox: note: the box as its set-up read it, {moment(last.still_at)}{since}", err=True)
        # an inlet seen to since then counts as the file has it now
        box = replace(last.site.box, inlet=site.box.inlet or last.site.box.inlet)
        site = replace(last.site, box=box)
    elif not written and _holds_readings(site) and log_path(path.resolve()).exists():
        say(
            f"dbox: note: these are the readings of {file}; a set-up has read the box since. For "
            f"those: dbox setup {file} --write-after, then name the file that it writes",
            err=True,
        )
    if not flows:
        return site
    from dbox.files.typed import typed_flows

    return replace(site, flows=typed_flows(flows))


def _holds_readings(site: "Site") -> bool:
    return any(outlet.readings for outlet in site.outlets)


def own_file(file: str) -> Path:
    """The file of a scenario that is written into, where it is sound and one's own."""
    from dbox.files.scenario import load, resolve

    path = resolve(file)
    refuse_shipped(file)
    load(path)
    return path


def refuse_shipped(file: str) -> None:
    """Refuse the name of a shipped scenario, which nothing is written into."""
    from dbox.files.scenario import resolve, shipped_names

    if not Path(file).exists() and file.removesuffix(".toml") in shipped_names():
        raise typer.BadParameter(
            f"{file} is a shipped scenario; copy {resolve(file)} and name the copy"
        )


def last_read(scenario: Path, site: "Site") -> "Pass | None":
    """The last whole pass of its set-up, where the file itself holds no reading."""
    from dbox.files.job_log import kept_setup, log_path

    if _holds_readings(site) or not log_path(scenario.resolve()).exists():
        return None
    from dbox.fieldwork.setup import Rules

    job = kept_setup(scenario, site, Rules())
    return None if job is None else job.last_complete


def flow_index(site: "Site", name: str | None) -> int | None:
    """Index of a flow by its name; None where none is named."""
    names = [flow.name for flow in site.flows]
    if name is None:
        return None
    if name not in names:
        from dbox.errors import did_you_mean, show

        raise typer.BadParameter(f"--at is {show(name)}, no flow here; {did_you_mean(name, names)}")
    return names.index(name)
