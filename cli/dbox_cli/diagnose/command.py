"""`dbox diagnose FILE`: which causes fit what was seen, and what to look at next?"""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import AsJson, File, Seed, naming

if TYPE_CHECKING:
    from dbox.fieldwork.site import Site

Draws = Annotated[
    int, typer.Option(min=20, max=5000, help="Boxes drawn for each cause at each outlet.")
]
Ask = Annotated[
    bool, typer.Option("--ask", help="Ask what was seen first, and write it to FILE-seen.toml.")
]


def command(
    file: File, seed: Seed = 0, draws: Draws = 400, as_json: AsJson = False, ask: Ask = False
) -> None:
    """Rank the causes of a wet line by what was seen of it; none is announced."""
    from dbox.fieldwork.diagnosis.diagnose import diagnose
    from dbox_cli.arguments import site_of

    if ask:
        from dbox_cli.diagnose.ask import ask as ask_all

        file = str(ask_all(file, quiet=as_json))
    site, notes = _measured(site_of(file, None))
    with naming(file):
        found = diagnose(site, seed=seed, draws=draws)
    found = replace(found, warnings=(*notes, *found.warnings))
    if as_json:
        from dbox.files.evidence.results import diagnosis_json
        from dbox_cli.output import print_json

        print_json(diagnosis_json(found))
    else:
        from dbox_cli.diagnose.report import report

        typer.echo("\n".join(report(found)))


def _measured(site: "Site") -> "tuple[Site, tuple[str, ...]]":
    """The site without readings that are only placeholders, and a note of it."""
    from dbox.files.starter import PLACEHOLDER

    if PLACEHOLDER not in site.title:
        return site, ()
    outlets = tuple(replace(outlet, readings=()) for outlet in site.outlets)
    note = f"the title says {PLACEHOLDER}: the readings of the file are taken as not made"
    return replace(site, outlets=outlets), (note,)
