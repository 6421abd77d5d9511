"""`dbox new`, `dbox check` and `dbox schema`: a scenario file made, validated, described."""

from pathlib import Path
from typing import Annotated

import typer

from dbox.errors import outlets_text
from dbox_cli.arguments import (
    AsJson,
    File,
    Readings,
    WriteCsv,
    last_read,
    naming,
    refuse_one_file_twice,
    site_of,
)
from dbox_cli.output import print_json, say


def new(
    file: Annotated[Path, typer.Argument(help="File to write; never overwritten.")],
) -> None:
    """Write a commented starter scenario to fill in at the box."""
    from dbox.files.scenario import shipped_names, starter
    from dbox.files.write_file import write_file

    if str(file) in shipped_names():
        raise typer.BadParameter(f"{file} is a shipped scenario; name another file, as job.toml")
    write_file(file, starter())
    say(f"wrote {file}: fill it in, then: dbox check {file}")


def check(
    file: File, readings: Readings = None, write_csv: WriteCsv = None, as_json: AsJson = False
) -> None:
    """Validate a scenario; every fault is told at once."""
    from dbox.fieldwork.falls_plan import aim
    from dbox.fieldwork.readings import odd_notes, without_placeholders
    from dbox.fieldwork.series import fed
    from dbox.fieldwork.ties import tie_notes
    from dbox.files.scenario import resolve
    from dbox.report.text import noted, wrapped
    from dbox.report.wording import sentences

    refuse_one_file_twice({"FILE": file, "--readings": readings, "--write-csv": write_csv})
    written = site_of(file, None, readings, written=True)
    site = without_placeholders(written)
    if site.plan and site.plan.begins:
        with naming(file):
            aim(site)  # raises where water would have to run uphill
    missing = [o.label for o in site.outlets if not o.capped and not o.readings]
    if write_csv:
        from dbox.files.readings_csv import readings_csv
        from dbox.files.write_file import write_file

        write_file(write_csv, readings_csv(site))
        say(f"wrote {write_csv}", err=as_json)
    if as_json:
        print_json({"file": file, "outlets": len(site.outlets), "not_measured": missing,
                    "placeholder": written.placeholder})  # fmt: skip
        return
    say(f"{file}: in order; {len(site.outlets)} outlets, {len(site.flows)} flows")
    for i, box in fed(site):
        named = f"another box{f': {box.title}' if box.title else ''}"
        words = f"outlet {site.outlets[i].label} feeds {named}, {len(box.outlets)} outlets"
        say(*wrapped(words))
    if told := noted(sentences([*odd_notes(site), *tie_notes(site.ties)])):
        say(*told[1:])
    if written.placeholder:
        say("its readings are placeholders: put in your own, then take out the line")
        say("placeholder = true, or the word PLACEHOLDER in the title")
    if last_read(resolve(file), site):
        say("its readings are those of its set-up")
    elif missing:
        say(f"not measured yet: {outlets_text(missing)}")


def schema() -> None:
    """Print the JSON Schema of the scenario file."""
    from dbox.files.scenario_tables import schema

    print_json(schema())
