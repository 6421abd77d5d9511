"""`dbox check FILE`: is the scenario in order?"""

from typing import Annotated

import typer


def command(
    file: Annotated[str, typer.Argument(help="Scenario file, or name of a shipped one.")],
    as_json: Annotated[bool, typer.Option("--json", help="Machine output.")] = False,
) -> None:
    """Validate a scenario; every fault is told at once."""
    from dbox.files.scenario import load
    from dbox.files.shipped import resolve

    site = load(resolve(file))
    missing = [o.label for o in site.outlets if not o.capped and not o.readings]
    if as_json:
        from dbox_cli.output import print_json

        print_json({"file": file, "outlets": len(site.outlets), "not_measured": missing})
        return
    typer.echo(f"{file}: in order; {len(site.outlets)} outlets, {len(site.flows)} flows")
    if missing:
        typer.echo(f"not measured yet: outlet {', '.join(missing)}")
