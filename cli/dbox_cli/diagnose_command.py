"""`dbox diagnose FILE`: causes from evidence, and the next look."""

from typing import Annotated

import typer

from dbox_cli.arguments import AsJson, File, Seed, naming, site_of
from dbox_cli.output import print_answer


def command(
    file: File,
    seed: Seed = 0,
    draws: Annotated[int, typer.Option(
        min=20, max=5000,
        help="Boxes made up for each cause at each outlet: more are finer, slower.")] = 60,
    as_json: AsJson = False,
    ask: Annotated[bool, typer.Option(
        "--ask", help="First ask what was seen, and write it to FILE-seen.toml.")] = False,
) -> None:  # fmt: skip
    """Rank the causes of a wet line by what was seen; name the next look.

    On invented jobs of three kinds the right cause came first in 26 of 100 after four looks, in 38
    after eight, in 80 after most; where it gave one over 90 %, that was right in 99 of 100.
    """
    from dbox.fieldwork.diagnosis.diagnose import diagnose
    from dbox.report.diagnose_report import diagnosis_json, report

    if ask:
        from dbox_cli.console import Talk
        from dbox_cli.evidence_questions import ask_all

        file = str(ask_all(file, Talk(None, quiet=as_json)))
    with naming(file):
        found = diagnose(site_of(file, None), seed=seed, draws=draws)
    print_answer(as_json, diagnosis_json, report, found)
