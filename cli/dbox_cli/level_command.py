"""`dbox level FILE`: what to turn, how far and to where, or re-bed."""

from enum import Enum
from typing import Annotated

import typer

from dbox_cli import arguments
from dbox_cli.output import print_answer, save_picture


class GoalChoice(Enum):
    """Which common height the lips are brought to."""

    LEAST_TURNING = "least-turning"
    HIGHEST = "highest"


Goal = Annotated[
    GoalChoice,
    typer.Option(help="The height with the least turning, or the highest lip as in practice."),
]
At = Annotated[
    str | None,
    typer.Option(
        help="Flow, by name, at which unequal targets are met [all, as nearly as can be]."
    ),
]
Step = Annotated[
    float, typer.Option(min=0.001, max=45, help="Turns are rounded to this much [deg].")
]


def command(
    file: arguments.File,
    goal: Goal = GoalChoice.LEAST_TURNING,
    at: At = None,
    step: Step = 2.5,
    flow: arguments.Flows = None,
    readings: arguments.Readings = None,
    seed: arguments.Seed = 0,
    samples: arguments.Samples = 4000,
    as_json: arguments.AsJson = False,
    picture: arguments.Picture = None,
    overwrite: arguments.Overwrite = False,
    gate: arguments.Gate = False,
) -> None:
    """What to turn, how far, to which clock position; or which side to lift."""
    from math import radians

    from dbox.fieldwork.levelling import level
    from dbox.report.level_report import level_json, report

    arguments.check_picture(picture, {"FILE": file, "--readings": readings}, overwrite=overwrite)
    site = arguments.site_of(file, flow, readings)
    with arguments.naming(file):
        levelling = level(
            site,
            match_highest=goal is GoalChoice.HIGHEST,
            design_flow=arguments.flow_index(site, at),
            hand_step=radians(step),
            seed=seed,
            samples=samples,
        )
    print_answer(as_json, level_json, report, levelling)
    if picture:
        from dbox.drawings.level_picture import level_figure

        save_picture(level_figure(levelling), picture, overwrite=overwrite, quiet=as_json)
    if gate and "outside" in levelling.before.verdicts:
        raise typer.Exit(1)
