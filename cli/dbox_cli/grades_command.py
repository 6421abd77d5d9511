"""`dbox grades FILE`: falls of the pipes."""

from functools import partial
from pathlib import Path
from typing import Annotated

import typer

from dbox_cli.arguments import (
    AsJson,
    File,
    Flows,
    Gate,
    Overwrite,
    Picture,
    check_picture,
    naming,
    site_of,
)
from dbox_cli.output import print_answer, save_picture


def command(
    file: File,
    flow: Flows = None,
    as_json: AsJson = False,
    picture: Picture = None,
    overwrite: Overwrite = False,
    gate: Gate = False,
    ask: Annotated[bool, typer.Option(
        "--ask", help="Ask for the plan first: into FILE, or FILE-plan.toml.")] = False,
) -> None:  # fmt: skip
    """Falls of pipes and trench bottoms as read; before digging, what the rod is to read."""
    from dbox.fieldwork.grades import grade
    from dbox.report.grades_report import grades_json, report

    check_picture(picture, {"FILE": file}, overwrite=overwrite)
    if ask:
        from dbox.files.scenario import shipped_names
        from dbox_cli.console import Talk
        from dbox_cli.evidence_questions import PlanScript, ask_all
        from dbox_cli.setup_questions import Setup

        talk = Talk(None, quiet=as_json)
        there = Path(file).exists() or file.removesuffix(".toml") in shipped_names()
        with naming(file):
            if not there and not Setup(file=file).plan(talk):
                return
            file = str(ask_all(file, talk, PlanScript))
    site = site_of(file, flow, written=True)
    with naming(file):
        grading = grade(site)
        figure = None
        if picture:
            from dbox.drawings.answers import grades_figure

            figure = grades_figure(site.title, grading)
    print_answer(as_json, grades_json, partial(report, site), grading)
    if picture and figure:
        save_picture(figure, picture, overwrite=overwrite, quiet=as_json)
    if gate and grading.verdict == "outside":
        raise typer.Exit(1)
