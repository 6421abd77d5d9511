"""The house holds: arrows, names, what an import loads, and a unit and source on every constant."""

import ast
import inspect
import re
import subprocess
import sys
import tomllib
from functools import cache
from pathlib import Path

import pytest

import dbox

ROOT = Path(__file__).parents[1]
FLOORS = ["dbox.hydraulics", "dbox.fieldwork", "dbox.files", "dbox.report", "dbox.drawings",
          "dbox.api", "dbox_cli"]  # fmt: skip
"""From the ground up: each may import only itself, what stands before it, and the ground."""

GROUND = ["dbox.arrays", "dbox.errors", "dbox.units", "dbox.lengths", "dbox.keys", "dbox.notes"]
FRONT = "dbox"
"""The package's own page names what `dbox.api` offers, and loads it when it is first used."""

MOST_LINES = 600


def modules() -> dict[str, Path]:
    """Every module of dbox and cli by its dotted name."""
    found = {}
    for base, folder in ((ROOT, "dbox"), (ROOT / "cli", "dbox_cli")):
        for path in sorted((base / folder).rglob("*.py")):
            parts = path.relative_to(base).with_suffix("").parts
            found[".".join(p for p in parts if p != "__init__")] = path
    return found


MODULES = modules()


def test_every_package_is_installed():
    """Setuptools installs only the packages that are listed by name."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    packages = {name for name, path in MODULES.items() if path.name == "__init__.py"}
    assert {*listed} == packages | {"dbox_scenarios"}


def imports(nodes: list[ast.AST]) -> set[str]:
    """Modules of the house among what these nodes import."""
    names = set()
    for node in nodes:
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            full = {f"{node.module}.{alias.name}" for alias in node.names}
            names |= (full & MODULES.keys()) or {str(node.module)}
    return names & MODULES.keys()


def floor(name: str) -> int:
    """Place of a module among the floors; the ground is below them all."""
    if name in GROUND:
        return -1
    places = [i for i, top in enumerate(FLOORS) if name == top or name.startswith(top + ".")]
    assert places, f"{name} stands on no floor"
    return places[0]


HOUSE = [name for name in MODULES if name not in (FRONT, "dbox.__main__")]


@cache
def imported(name: str) -> set[str]:
    """Modules of the house that a module imports, inside its functions too."""
    return imports(list(ast.walk(ast.parse(MODULES[name].read_text())))) - {FRONT}


def test_arrows_point_down():
    upward = [
        f"{name} imports {other}"
        for name in HOUSE
        for other in imported(name)
        if floor(other) > floor(name)
    ]
    assert upward == []


def test_no_modules_import_each_other_in_a_circle():
    waiting = {name: imported(name) - {name} for name in HOUSE}
    while free := [name for name, needs in waiting.items() if not needs & waiting.keys()]:
        for name in free:
            del waiting[name]
    assert sorted(waiting) == []


def test_no_file_name_stands_twice():
    names = [p.name for p in MODULES.values() if p.name not in ("__init__.py", "__main__.py")]
    assert sorted({name for name in names if names.count(name) > 1}) == []


@cache
def libraries(name: str) -> set[str]:
    """Top names of what a module imports when it runs; names for types alone load nothing."""
    tree = ast.parse(MODULES[name].read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = [ast.Pass()]
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(str(node.module))
    return {each.split(".")[0] for each in found}


@pytest.mark.parametrize(
    ("library", "homes"),
    [("matplotlib", ("dbox.drawings",)), ("typer", ("dbox_cli",)), ("rich", ("dbox_cli",)),
     ("pydantic", ("dbox.files",)), ("tomlkit", ("dbox.files",))],
)  # fmt: skip
def test_libraries_keep_to_their_floor(library, homes):
    users = [name for name in MODULES if library in libraries(name)]
    assert [n for n in users if not f"{n}.".startswith(tuple(f"{home}." for home in homes))] == []


def loaded(code: str) -> set[str]:
    """Packages that a fresh interpreter has loaded after some code."""
    told = "import sys; print(' '.join(sorted({m.split('.')[0] for m in sys.modules})))"
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\n{told}"],
        cwd=ROOT, env={"PYTHONPATH": f"{ROOT}:{ROOT / 'cli'}", "PATH": ""},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(run.stdout.splitlines()[-1].split())


@pytest.mark.parametrize(
    ("code", "not_loaded"),
    [
        ("import dbox", {"scipy", "matplotlib", "pydantic", "typer", "rich"}),
        ("import dbox; dbox.split(1e-5, [0.0, 0.001], dbox.Circle(0.05)).share",
         {"scipy", "matplotlib", "pydantic"}),
        ("import sys\nfrom dbox_cli.main import run\nsys.argv = ['dbox', '--help']\n"
         "try:\n    run()\nexcept SystemExit as stop:\n    assert not stop.code",
         {"scipy", "matplotlib", "numpy"}),
        ("import dbox.files.scenario", {"scipy", "matplotlib", "typer", "rich"}),
    ],
    ids=["import", "split", "help", "scenario"],
)  # fmt: skip
def test_nothing_heavy_is_loaded(code, not_loaded):
    assert loaded(code) & not_loaded == set()


def test_modules_are_chapters():
    paths = [*MODULES.values(), *(ROOT / "tests").rglob("[!_]*.py")]
    chapters = {str(path.relative_to(ROOT)): path.read_text() for path in paths}
    assert [name for name, text in chapters.items() if len(text.splitlines()) > MOST_LINES] == []
    assert [name for name, text in chapters.items() if not ast.get_docstring(ast.parse(text))] == []


# Constants of the model.

UNIT = re.compile(r"\[[^\[\]]+\]")
ORIGIN = re.compile(
    r"judgement|common practice|from memory|by definition|exact|rounding|numerical|invented"
    r"|\b(1[89]|20)\d\d\b"
)


def beside(body: list[ast.stmt], place: int, lines: list[str]) -> str:
    """What stands beside an assignment: on its lines, in comments above, in a string below."""
    node = body[place]
    text = lines[node.lineno - 1 : node.end_lineno]
    above = node.lineno - 2
    while above >= 0 and lines[above].startswith("#"):
        text.append(lines[above])
        above -= 1
    below = body[place + 1] if place + 1 < len(body) else None
    if isinstance(below, ast.Expr) and isinstance(below.value, ast.Constant):
        text.append(str(below.value.value))
    return " ".join(text)


def is_number(value: ast.expr) -> bool:
    """Whether an expression is made of numbers alone."""
    parts = [part.value for part in ast.walk(value) if isinstance(part, ast.Constant)]
    plain = [part for part in parts if isinstance(part, float | int) and not isinstance(part, bool)]
    return bool(plain) and not any(isinstance(part, str | bytes) for part in parts)


def bare_constants(text: str) -> list[str]:
    """Numeric constants of a module that lack a unit, or a source or the word judgement."""
    body, lines, found = ast.parse(text).body, text.splitlines(), []
    for place, node in enumerate(body):
        if not isinstance(node, ast.Assign | ast.AnnAssign) or node.value is None:
            continue
        if isinstance(node.value, ast.Dict | ast.DictComp | ast.Lambda) or not is_number(
            node.value
        ):
            continue
        said = beside(body, place, lines)
        if not UNIT.search(said) or not ORIGIN.search(said):
            found.append(ast.unparse(node).split(" = ")[0])
    return found


def test_every_constant_of_the_model_has_unit_and_origin():
    model = [name for name in HOUSE if floor(name) in (0, 1)]
    bare = {name: bare_constants(MODULES[name].read_text()) for name in model}
    assert {name: found for name, found in bare.items() if found} == {}


def test_the_rule_for_constants_finds_what_is_missing():
    assert bare_constants('A = 2.0\n"""Width. [m] (judgement)"""\n') == []
    assert bare_constants("# Width. [m] (USDA 1980)\n_A = 2.0\n_B = 3.0  # [m]\n") == ["_B"]


# What `import dbox` offers.


@pytest.mark.parametrize("name", dbox.__all__)
def test_what_is_offered_is_told_in_full(name):
    """Shape and unit of every number, in the docstring of the name or of its fields."""
    thing = getattr(dbox, name)
    text = inspect.getdoc(thing) or ""
    assert len(text.split()) > 3
    if inspect.isfunction(thing):
        told = [p for p in inspect.signature(thing).parameters if p not in ("self", "progress")]
        assert [p for p in told if not re.search(rf"^{p}\b.* : ", text, re.MULTILINE)] == []
        assert "Returns\n-------" in text
