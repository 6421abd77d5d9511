"""`dbox teach case`: mystery cases from a seed, the key in a file of its own."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from dbox_cli.arguments import AsJson, Overwrite, naming, refuse_one_file_twice
from dbox_cli.sheet import Paper, PaperChoice

if TYPE_CHECKING:
    from dbox.fieldwork.lessons.cases import Case

CaseSeed = Annotated[int, typer.Option("--seed", min=0, help="Same seed, same cases.")]
Groups = Annotated[int, typer.Option(min=1, help="How many groups, each its own case.")]
Out = Annotated[
    Path | None,
    typer.Option(help="Write to this .pdf or .txt file; its key goes to NAME-key beside it."),
]
Key = Annotated[bool, typer.Option("--key", help="Without --out: print the key instead.")]


def command(
    seed: CaseSeed,
    groups: Groups = 1,
    out: Out = None,
    paper: PaperChoice = Paper.LETTER,
    key: Key = False,
    overwrite: Overwrite = False,
    as_json: AsJson = False,
) -> None:
    """Cases to guess from readings and observations; the key is kept apart."""
    from dbox.fieldwork.lessons.cases import make_cases
    from dbox_cli.teach.report import case_report, key_report

    files = _files(out, overwrite=overwrite)
    with naming("--groups"):
        cases = make_cases(seed, groups)
    if as_json:
        from dbox.files.lessons.results import cases_json
        from dbox_cli.output import print_json

        print_json({**cases_json(cases, key=key), "files": [str(file) for file in files]})
    elif out is None:
        typer.echo("\n".join(key_report(cases) if key else case_report(cases)))
    if out is not None:
        _write(cases, files, paper.value, overwrite=overwrite, quiet=as_json)


def _files(out: Path | None, *, overwrite: bool) -> list[Path]:
    """Where handout and key go, refused before anything is made."""
    if out is None:
        return []
    from dbox.drawings.sheets.file import check_sheet
    from dbox.files.write_file import check_place

    files = [out, out.with_name(f"{out.stem}-key{out.suffix}")]
    refuse_one_file_twice({"--out": files[0], "its key": files[1]})
    for file in files:
        if out.suffix.lower() == ".txt":
            check_place(file, overwrite=overwrite)
        else:
            check_sheet(file, overwrite=overwrite)
    return files


def _write(
    cases: "tuple[Case, ...]", files: list[Path], paper: str, *, overwrite: bool, quiet: bool
) -> None:
    from dbox_cli.teach.output import write_text
    from dbox_cli.teach.report import case_report, key_report

    handout, key = files
    if handout.suffix.lower() == ".txt":
        write_text("\n".join([*case_report(cases), ""]), handout, overwrite=overwrite, quiet=quiet)
        write_text("\n".join([*key_report(cases), ""]), key, overwrite=overwrite, quiet=quiet)
        return
    from dbox.drawings.sheets.file import save_pages
    from dbox.drawings.teach.case_pages import case_key, case_pages

    title = f"Mystery cases, seed {cases[0].seed}"
    save_pages(case_pages(cases, paper), handout, title=title, overwrite=overwrite)
    save_pages(case_key(cases, paper), key, title=f"Key: {title}", overwrite=overwrite)
    for file in files:
        typer.echo(f"wrote {file}", err=quiet)
