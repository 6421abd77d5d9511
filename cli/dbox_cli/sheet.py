"""`dbox sheet FILE`: a form to fill in, a record to sign, or a sheet to inspect by, as a PDF."""

from enum import Enum
from math import radians
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import File, Flows, Seed, naming, site_of
from dbox_cli.level import At, Goal, GoalChoice, Step

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.site import Site


class Kind(Enum):
    """What the sheet is for."""

    FIELD = "field"
    SETUP = "setup"
    INSPECTION = "inspection"


class Paper(Enum):
    """What it is printed on."""

    LETTER = "letter"
    A4 = "a4"


KindChoice = Annotated[
    Kind,
    typer.Option("--kind", help="A blank form, the record of a set-up, or an inspection."),
]
PaperChoice = Annotated[Paper, typer.Option("--paper", help="Paper to print on.")]
Out = Annotated[Path, typer.Option("--out", help="PDF file to write.")]
Overwrite = Annotated[bool, typer.Option("--overwrite", help="Replace a file that is there.")]
AsJson = Annotated[bool, typer.Option("--json", help="Machine output.")]


def command(
    file: File,
    kind: KindChoice,
    out: Out,
    paper: PaperChoice = Paper.LETTER,
    goal: Goal = GoalChoice.LEAST_TURNING,
    at: At = None,
    step: Step = 5.0,
    flow: Flows = None,
    seed: Seed = 0,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Printable PDF: blank field form, set-up record, inspection sheet.

    --goal, --at and --step are for the set-up record and mean what they mean to dbox level.
    """
    from dbox.drawings.sheet_file import check_sheet, save_pages

    check_sheet(out, overwrite=overwrite)
    site = site_of(file, flow)
    with naming(file):
        if kind is Kind.SETUP:
            pages = _record(site, goal, at, step, seed, paper.value)
        else:
            pages = _blank(site, kind, paper.value)
    save_pages(pages, out, title=f"{kind.value}: {site.title}", overwrite=overwrite)
    if as_json:
        from dbox_cli.output import print_json

        print_json({"kind": kind.value, "paper": paper.value, "pages": len(pages),
                    "files": [str(out)]})  # fmt: skip
    else:
        typer.echo(f"wrote {out}: {len(pages)} pages on {paper.value} paper")


def _blank(site: "Site", kind: Kind, paper: str) -> tuple["Figure", ...]:
    """A sheet that is filled in by hand."""
    if kind is Kind.INSPECTION:
        from dbox.drawings.sheet_inspection import inspection_sheet

        return inspection_sheet(site, paper)
    from dbox.drawings.sheet_field import field_sheet
    from dbox.fieldwork.turn_table import turn_tables

    return field_sheet(site, turn_tables(site), paper)


def _record(
    site: "Site", goal: GoalChoice, at: str | None, step: float, seed: int, paper: str
) -> tuple["Figure", ...]:
    """The record of a set-up, from the readings of the scenario."""
    from dbox.drawings.sheet_setup import setup_sheet
    from dbox.fieldwork.grades import grade
    from dbox.fieldwork.levelling import level
    from dbox.fieldwork.pour import expect

    names = [flow.name for flow in site.flows]
    if at is not None and at not in names:
        raise typer.BadParameter(f"--at is {at!r}; the flows are {', '.join(names)}")
    levelling = level(
        site,
        match_highest=goal is GoalChoice.HIGHEST,
        design_flow=0 if at is None else names.index(at),
        hand_step=radians(step),
        seed=seed,
    )
    return setup_sheet(
        [levelling],
        grading=grade(site) if site.grades else None,
        expectation=expect(site, site.pours, seed=seed) if site.pours else None,
        paper=paper,
    )
