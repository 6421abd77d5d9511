"""Runs the kept commands in this process and writes or compares what they say.

python -m tests.golden.run [NAME ...]      write the named files anew, or all of them
"""

import json
import math
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from io import StringIO
from pathlib import Path

from dbox_cli.main import run
from tests.golden.commands import HERE, ODD, commands

KEPT = HERE / "kept"
TIME = re.compile(r"\d{4}-\d\d-\d\d[T ]\d\d:\d\d(?::\d\d)?(?:[+-]\d\d:\d\d|Z)?")
PROCESS = re.compile(r'"process": \d+')


@contextmanager
def redirect_stdin(typed: StringIO) -> Iterator[None]:
    """What is typed meanwhile."""
    before, sys.stdin = sys.stdin, typed
    try:
        yield
    finally:
        sys.stdin = before


@contextmanager
def words_on_paper() -> Iterator[list[str]]:
    """The words of every figure that is saved meanwhile, each figure's sorted."""
    from matplotlib.figure import Figure
    from matplotlib.text import Text

    found: list[str] = []
    save = Figure.savefig

    def noted(figure: Figure, *arguments: object, **options: object) -> None:
        save(figure, *arguments, **options)  # type: ignore[arg-type]
        texts = [t for t in figure.findobj(Text) if isinstance(t, Text) and t.get_visible()]
        found.extend(sorted(t.get_text() for t in texts if t.get_text().strip()))

    Figure.savefig = noted  # type: ignore[method-assign, assignment]
    try:
        yield found
    finally:
        Figure.savefig = save  # type: ignore[method-assign]


def said(arguments: list[str], folder: Path) -> str:
    """Exit code, streams, text files and words on paper of a command, paths and times masked."""
    if arguments[1:2] == ["{out}/job.toml"]:
        shutil.copy(ODD / "job.toml.txt", folder / "job.toml")
    given = [each.replace("{out}", str(folder)) for each in arguments]
    out, err, code = StringIO(), StringIO(), 0
    sys.argv = ["dbox", *given]
    typed = StringIO((ODD / "looks.txt").read_text() if "--ask" in arguments else "")
    with (
        redirect_stdout(out),
        redirect_stderr(err),
        redirect_stdin(typed),
        words_on_paper() as words,
    ):
        try:
            run()
        except SystemExit as stop:
            code = int(stop.code or 0)
    parts = [f"exit {code}", "--- stdout", out.getvalue(), "--- stderr", err.getvalue()]
    if words:
        parts += ["--- words on paper", *words]
    for path in sorted(folder.iterdir()):
        if path.suffix in (".toml", ".csv", ".txt", ".jsonl") and path.name != "job.toml":
            parts += [f"--- {path.name}", path.read_text()]
    text = "\n".join(parts)
    for shown, mask in ((str(folder), "{out}"), (str(ODD), "{odd}")):
        text = text.replace(shown, mask)
    return PROCESS.sub('"process": 0', TIME.sub("{time}", text))


def answer(name: str) -> str:
    """What the named command says now."""
    with tempfile.TemporaryDirectory(prefix="dbox-") as folder:
        return said(commands()[name], Path(folder))


def differences(kept: str, now: str) -> list[str]:
    """Where two answers differ: JSON by value, numbers to 1e-9, all else exactly."""
    old, new = (_parts(text) for text in (kept, now))
    found = [f"{part}: only in one" for part in old.keys() ^ new.keys()]
    for part in old.keys() & new.keys():
        try:
            found += _unlike(json.loads(old[part]), json.loads(new[part]), part)
        except ValueError:
            pairs = zip(old[part].splitlines(), new[part].splitlines(), strict=False)
            found += [f"{part}: {a!r} is now {b!r}" for a, b in pairs if a != b]
            if len(old[part].splitlines()) != len(new[part].splitlines()):
                found.append(f"{part}: another number of lines")
    return found


def _parts(text: str) -> dict[str, str]:
    pieces = re.split(r"^(exit \d+|--- .*)$", text, flags=re.MULTILINE)[1:]
    return dict(zip(pieces[::2], pieces[1::2], strict=True))


def _unlike(old: object, new: object, place: str) -> list[str]:
    if isinstance(old, dict) and isinstance(new, dict):
        lost = [f"{place}.{key}: only in one" for key in old.keys() ^ new.keys()]
        shared = [key for key in old if key in new]
        return lost + [f for key in shared for f in _unlike(old[key], new[key], f"{place}.{key}")]
    if isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        pairs = enumerate(zip(old, new, strict=True))
        return [f for i, (a, b) in pairs for f in _unlike(a, b, f"{place}[{i}]")]
    numbers = all(isinstance(each, float | int) for each in (old, new))
    if numbers and math.isclose(old, new, rel_tol=1e-9, abs_tol=1e-12):  # type: ignore[arg-type]
        return []
    return [] if old == new else [f"{place}: {old!r} is now {new!r}"]


if __name__ == "__main__":
    KEPT.mkdir(exist_ok=True)
    for name in sys.argv[1:] or commands():
        (KEPT / f"{name}.txt").write_text(answer(name))
        print(name, file=sys.stderr)
