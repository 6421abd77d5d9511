"""`dbox sheet FILE`: printable pages."""

from collections.abc import Sequence
from math import radians
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from dbox_cli import arguments
from dbox_cli.level_command import At, Goal, GoalChoice, Step
from dbox_cli.output import heard, print_json, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from dbox.fieldwork.setup import Rules
    from dbox.fieldwork.site import Site


Kind = Literal["field", "setup", "inspection", "owner"]
Paper = Literal["letter", "a4"]
PaperChoice = Annotated[Paper, typer.Option("--paper", help="Paper to print on.")]


Outlets = Annotated[
    int | None, typer.Option(help="Instead of FILE: a blank field form for so many outlets.")
]


def command(
    context: typer.Context,
    file: arguments.OptionalFile = None,
    *,
    kind: Annotated[Kind, typer.Option(
        help="A blank form, the record of a set-up, an inspection, or the owner's page.")],
    out: Annotated[Path, typer.Option(help="PDF file to write.")],
    paper: PaperChoice = "letter",
    outlets: Outlets = None,
    goal: Goal = GoalChoice.LEAST_TURNING,
    at: At = None,
    step: Step = 2.5,
    flow: arguments.Flows = None,
    seed: arguments.Seed = 0,
    visit: Annotated[int | None, typer.Option(
        help="Of a set-up: the record of this visit, from 1 [the last].")] = None,
    tie: Annotated[list[str] | None, typer.Option(
        help='For the owner, written into FILE: a fixed point, the tape to the box, the tapes from '
        'the points before it, as "oak; 27 ft; 30 ft". Two or three.')] = None,
    side: Annotated[str | None, typer.Option(
        help="left or right: the box, seen from the first tie to the second.")] = None,
    call: Annotated[list[str] | None, typer.Option(
        help="For the owner, written into FILE: whom to call, and for what.")] = None,
    overwrite: arguments.Overwrite = False,
    as_json: arguments.AsJson = False,
) -> None:  # fmt: skip
    """Printable PDF: blank field form, set-up record, inspection sheet, owner's page.

    A set-up record is made of what dbox setup has logged, else of the readings in FILE. --goal,
    --at and --step are for it and mean what they mean to dbox level. It says which visits there
    were, and what moved since the one before; --visit prints an earlier one.
    """
    from dbox.drawings.paper import check_sheet, save_pages
    from dbox.drawings.setup_sheet import blank_sheet
    from dbox.fieldwork.setup import Rules
    from dbox.fieldwork.ties import tie_notes
    from dbox.report.text import noted
    from dbox.report.wording import sentences

    other, beside = kind != "setup", f"with --kind {kind}"
    arguments.refuse_idle(context, {
        **dict.fromkeys(("--visit", "--goal", "--at", "--step"), beside * other),
        "--seed": beside * (other and kind != "inspection"),
        "--flow": "without FILE" * (file is None),
    })  # fmt: skip
    told = {"--tie": tie, "--side": side, "--call": call}
    if given := [option for option, value in told.items() if value]:
        if kind != "owner" or file is None:
            raise typer.BadParameter(f"{' and '.join(given)}: for FILE and --kind owner only")
        if side and not tie:
            raise typer.BadParameter("--side goes with --tie; give both")
    arguments.refuse_one_file_twice({"FILE": file, "--out": out})
    if (file is None) == (outlets is None) or (outlets is not None and kind != "field"):
        raise typer.BadParameter("give FILE, or with --kind field alone --outlets instead of it")
    check_sheet(out, overwrite=overwrite)
    if file is None:
        source, title = f"{outlets} outlets", "field form"
    else:
        if given:
            _put_into(file, tie or (), side, call or (), overwrite=overwrite, quiet=as_json)
        site = arguments.site_of(file, flow, written=kind != "inspection")
        source, title = file, f"{kind}: {site.title}"
    with arguments.naming(source), heard() as warned:
        if file is None:
            pages = blank_sheet(outlets or 0, paper)
        elif kind == "setup":
            turn = Rules(
                match_highest=goal is GoalChoice.HIGHEST,
                design_flow=arguments.flow_index(site, at),
                hand_step=radians(step),
            )
            pages, source = _record(site, file, turn, seed, paper, visit)
        else:
            pages = _form(site, kind, seed, paper, file)
    warnings = sentences(tie_notes(site.ties)) if kind == "owner" else []
    save_pages(pages, out, title=title, overwrite=overwrite)
    if not as_json:
        count = "1 page" if len(pages) == 1 else f"{len(pages)} pages"
        say(f"wrote {out}: {count} on {paper} paper, from {source}", *noted(warnings))
        return
    about = {"kind": kind, "paper": paper, "pages": len(pages), "from": source}
    print_json({**about, "files": [str(out)], "warnings": [*warned, *warnings]})


def _put_into(
    file: str, ties: Sequence[str], side: str | None, call: Sequence[str], *, overwrite: bool,
    quiet: bool,
) -> None:  # fmt: skip
    """Write what was told for the owner into the scenario, and say so."""
    from dbox.files.typed import put_into, typed_ties

    path = arguments.own_file(file)
    tables = {**({"ties": typed_ties(ties, side)} if ties else {}),
              **({"record": {"call": list(call)}} if call else {})}  # fmt: skip
    put_into(path, tables, overwrite=overwrite)
    typer.echo(f"wrote {path}: {' and '.join(tables)}", err=quiet)


def _form(site: "Site", kind: Kind, seed: int, paper: str, file: str) -> tuple["Figure", ...]:
    """A sheet to fill in by hand; an inspection is filled in where the scenario has evidence."""
    if kind == "inspection":
        from dbox.drawings.inspection_sheet import findings_sheet, inspection_sheet
        from dbox.fieldwork.diagnosis.diagnose import diagnose

        if site.evidence.count:
            return findings_sheet(diagnose(site, seed=seed), paper)
        return inspection_sheet(site, paper)
    if kind == "owner":
        from dbox.drawings.owner_sheet import owner_sheet

        return owner_sheet(site, paper)
    from dbox.drawings.setup_sheet import field_sheet
    from dbox.fieldwork.falls_plan import aim
    from dbox.fieldwork.turning import turn_tables
    from dbox.files.job_log import log_path, read_log
    from dbox.files.scenario import resolve

    again = any(entry["event"] == "closed" for entry in read_log(log_path(resolve(file))))
    aims = aim(site) if site.plan and site.plan.begins and not again else None
    return field_sheet(site, turn_tables(site), paper, aims=aims, again=again)


def _record(
    site: "Site", file: str, rules: "Rules", seed: int, paper: str, visit: int | None
) -> tuple[tuple["Figure", ...], str]:
    """The record of a set-up: of its log where there is one, else of the scenario's readings."""
    from dbox.drawings.setup_sheet import setup_sheet
    from dbox.errors import ScenarioError
    from dbox.fieldwork.grades import grade
    from dbox.fieldwork.levelling import level
    from dbox.fieldwork.pour import expect
    from dbox.files.job_log import kept_setup, log_path
    from dbox.files.scenario import resolve
    from dbox.files.typed import with_typed_pours
    from dbox.report.recheck_report import recheck_blocks, recheck_text
    from dbox.report.setup_report import visits_blocks

    scenario = resolve(file)
    kept = kept_setup(scenario, site, rules, visit)
    done = [each for each in kept.passes if each.levelling] if kept else []
    passes = [each.levelling for each in done if each.levelling]
    source = f"{len(passes)} pass{'es' * (len(passes) > 1)} in {log_path(scenario)}"
    if kept and kept.visits > 1:
        what = f"visit {kept.visit} of {kept.visits}, begun {kept.begun_at[:10]}"
        source = f"{'re-check, ' * (kept.visit > 1)}{what}: {source}"
    if kept and visit is not None and not passes:
        raise ScenarioError(f"visit {visit} has no pass in which every open outlet was read")
    if not passes:
        source = f"the readings in {file}"
        passes = [level(site, match_highest=rules.match_highest, design_flow=rules.design_flow,
                        hand_step=rules.hand_step, seed=seed)]  # fmt: skip
    left = with_typed_pours(passes[-1].site, ())
    pages = setup_sheet(
        passes,
        as_left=bool(done) and done[-1].turned is None,
        outcome=(kept.outcome or "") if kept else "",
        done=kept.last.at[:10] if kept and kept.last else "",
        visit=(kept.visit, kept.begun_at[:10]) if kept and done else (1, ""),
        since=recheck_text(kept) if kept else "",
        moved=recheck_blocks(kept) if kept else (),
        visits=visits_blocks(kept) if kept and done else (),
        logged=done,
        grading=grade(site) if site.grades and site.grades.runs else None,
        expectation=expect(left, left.pours, seed=seed),
        paper=paper,
    )
    return pages, source
