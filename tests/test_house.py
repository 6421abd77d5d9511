"""The house holds: arrows, what an import loads, sizes, and a unit on every parameter."""

import ast
import inspect
import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
LAYERS = ["dbox.hydraulics", "dbox.fieldwork", "dbox.files", "dbox.drawings", "dbox_cli"]
"""From the ground up: each may import only itself and what stands before it."""

GROUND = ["dbox", "dbox.arrays", "dbox.errors"]
"""Below them all; the package's own front page shows what hydraulics offers."""

MOST_LINES = 400
MOST_CODE_LINES = 40


def modules() -> dict[str, Path]:
    """Every module of dbox and cli by its dotted name."""
    found = {}
    for base, folder in ((ROOT, "dbox"), (ROOT / "cli", "dbox_cli")):
        for path in sorted((base / folder).rglob("*.py")):
            parts = path.relative_to(base).with_suffix("").parts
            found[".".join(p for p in parts if p != "__init__")] = path
    return found


MODULES = modules()


def test_exact_every_package_is_installed():
    """Setuptools installs only the packages that are listed by name."""
    listed = tomllib.loads((ROOT / "pyproject.toml").read_text())["tool"]["setuptools"]["packages"]
    packages = {name for name, path in MODULES.items() if path.name == "__init__.py"}
    assert {*listed} == packages | {"dbox_scenarios"}


def imports(tree: ast.AST) -> set[str]:
    """Dotted names that a module imports, at its top or inside a function."""
    names = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are absolute"
            names |= {str(node.module)} | {f"{node.module}.{alias.name}" for alias in node.names}
    return names


IMPORTS = {name: imports(ast.parse(path.read_text())) for name, path in MODULES.items()}


def libraries(path: Path) -> set[str]:
    """Top names of what a module imports when it runs; names for types alone load nothing."""
    tree = ast.parse(path.read_text())
    for node in ast.walk(tree):
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING":
            node.body = [ast.Pass()]
    return {name.split(".")[0] for name in imports(tree)}


def layer(name: str) -> int | None:
    """Place of a module among the layers; None outside them."""
    places = [i for i, top in enumerate(LAYERS) if name == top or name.startswith(top + ".")]
    return places[0] if places else None


def test_exact_every_module_has_its_place():
    stray = [n for n in MODULES if layer(n) is None and n not in [*GROUND, "dbox.__main__"]]
    assert stray == []
    assert {layer(n) for n in MODULES} >= set(range(len(LAYERS)))


@pytest.mark.parametrize("name", MODULES)
def test_exact_arrows_point_down(name):
    mine = layer(name)
    front_page = 0 if name == "dbox" else -1
    allowed = front_page if mine is None else mine
    upward = [n for n in IMPORTS[name] if (place := layer(n)) is not None and place > allowed]
    assert upward == []


@pytest.mark.parametrize(
    ("library", "home"),
    [("matplotlib", "dbox.drawings"), ("typer", "dbox_cli"), ("rich", "dbox_cli"),
     ("pydantic", "dbox.files")],
)  # fmt: skip
def test_exact_libraries_keep_to_their_floor(library, home):
    users = [n for n, path in MODULES.items() if library in libraries(path)]
    assert [n for n in users if n != home and not n.startswith(home + ".")] == []


def loaded(code: str) -> set[str]:
    """Packages that a fresh interpreter has loaded after some code."""
    told = "import sys; print(' '.join(sorted({m.split('.')[0] for m in sys.modules})))"
    run = subprocess.run(
        [sys.executable, "-c", f"{code}\n{told}"],
        cwd=ROOT, env={"PYTHONPATH": f"{ROOT}:{ROOT / 'cli'}", "PATH": ""},
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    return set(run.stdout.splitlines()[-1].split())


def test_exact_import_loads_neither_scipy_nor_matplotlib():
    packages = loaded("import dbox")
    assert "numpy" in packages
    assert not {"scipy", "matplotlib", "pydantic", "typer", "rich"} & packages


def test_exact_help_loads_neither_scipy_nor_matplotlib():
    packages = loaded(
        "import sys\nfrom dbox_cli.main import run\nsys.argv = ['dbox', '--help']\n"
        "try:\n    run()\nexcept SystemExit as stop:\n    assert not stop.code"
    )
    assert "typer" in packages
    assert not {"scipy", "matplotlib"} & packages


def test_exact_a_split_loads_neither_scipy_nor_matplotlib():
    packages = loaded(
        "from dbox import Circle, split\nsplit(1e-5, [0.0, 0.001], Circle(0.05)).share"
    )
    assert not {"scipy", "matplotlib"} & packages


@pytest.mark.parametrize(
    "path",
    [*MODULES.values(), *sorted((ROOT / "tests").rglob("[!_]*.py"))],
    ids=lambda p: str(p.relative_to(ROOT)),
)
def test_exact_modules_are_chapters(path):
    """style: modules never above 400 lines, each with a docstring."""
    text = path.read_text()
    assert len(text.splitlines()) <= MOST_LINES
    assert ast.get_docstring(ast.parse(text))


def code_lines(function: ast.FunctionDef, source: list[str]) -> int:
    """Lines of a function that are neither its docstring, a comment nor blank."""
    told = set()
    if ast.get_docstring(function) is not None:
        told = set(range(function.body[0].lineno, (function.body[0].end_lineno or 0) + 1))
    lines = range(function.lineno, (function.end_lineno or 0) + 1)
    written = (source[i - 1].strip() for i in lines if i not in told)
    return sum(bool(line) and not line.startswith("#") for line in written)


@pytest.mark.parametrize("name", MODULES)
def test_exact_functions_are_paragraphs(name):
    """style: functions never above 40 code lines."""
    text = MODULES[name].read_text()
    functions = [n for n in ast.walk(ast.parse(text)) if isinstance(n, ast.FunctionDef)]
    sizes = {f.name: code_lines(f, text.splitlines()) for f in functions}
    assert {n: size for n, size in sizes.items() if size > MOST_CODE_LINES} == {}


# What a docstring must say of a number. A parameter or field is a number where its annotation
# names one; flags, words, counts, objects and tuples of words need no unit.

NUMBER = re.compile(r"^(?!Callable).*\b(float|Array|ArrayLike)\b")
ARRAY = re.compile(r"\b(Array|ArrayLike|BoolArray)\b")
UNIT = re.compile(r"\[[^\[\]]+\]")
SHAPE = re.compile(r"\(\.\.\.|\(\w+,|shape|\(\w+, \w+\)")
SECTION = re.compile(r"^(\w[\w ]*)\n-{3,}\n", re.MULTILINE)


def sections(docstring: str) -> dict[str, str]:
    """The underlined sections of a docstring, and under `""` what stands before them."""
    parts = SECTION.split(inspect.cleandoc(docstring))
    return {"": parts[0], **dict(zip(parts[1::2], parts[2::2], strict=True))}


def entries(section: str) -> dict[str, str]:
    """Each name of a Parameters section with its type line and description."""
    found: dict[str, str] = {}
    for block in re.split(r"\n(?=\S)", section.strip()):
        head = block.split("\n")[0].split(" : ")[0]
        found |= {name.strip().lstrip("*"): block for name in head.split(",")}
    return found


def parameters(node: ast.FunctionDef | ast.ClassDef) -> dict[str, str]:
    """Names and annotations of a function's parameters or a dataclass's fields."""
    if isinstance(node, ast.FunctionDef):
        arguments = [*node.args.posonlyargs, *node.args.args, *node.args.kwonlyargs]
        arguments += [a for a in (node.args.vararg, node.args.kwarg) if a]
        return {a.arg: ast.unparse(a.annotation) for a in arguments if a.annotation}
    # tables of the scenario file are not dataclasses: their fields are text with a unit of its own
    dataclass = any("dataclass" in ast.unparse(d) for d in node.decorator_list)
    fields = [n for n in node.body if isinstance(n, ast.AnnAssign) and dataclass]
    return {
        n.target.id: ast.unparse(n.annotation)
        for n in fields
        if isinstance(n.target, ast.Name) and not n.target.id.startswith("_")
    }


def public(tree: ast.AST, prefix: str = "") -> Iterator[tuple[str, ast.FunctionDef | ast.ClassDef]]:
    """Public functions, classes and methods."""
    for node in ast.iter_child_nodes(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            yield prefix + node.name, node
            if isinstance(node, ast.ClassDef):
                yield from public(node, f"{prefix}{node.name}.")


def faults(node: ast.FunctionDef | ast.ClassDef) -> list[str]:
    """What a public docstring leaves unsaid."""
    docstring = ast.get_docstring(node)
    if not docstring:
        return ["no docstring"]
    parts = sections(docstring)
    told, summary, missing = entries(parts.get("Parameters", "")), parts[""], []
    for name, kind in parameters(node).items():
        if "Parameters" in parts and name not in told:
            missing.append(f"{name} is not told of")
        # where one sentence tells it all, the unit stands in it
        text = told.get(name, summary)
        if NUMBER.search(kind) and not UNIT.search(text):
            missing.append(f"{name} has no unit")
        if ARRAY.search(kind) and not SHAPE.search(text):
            missing.append(f"{name} has no shape")
    if isinstance(node, ast.FunctionDef) and node.returns:
        kind, text = ast.unparse(node.returns), parts.get("Returns", summary)
        if NUMBER.search(kind) and not UNIT.search(text):
            missing.append("what it returns has no unit")
        if ARRAY.search(kind) and not SHAPE.search(text):
            missing.append("what it returns has no shape")
    return missing


@pytest.mark.parametrize("name", [n for n in MODULES if n.startswith("dbox.")])
def test_exact_every_number_has_a_unit_and_every_array_a_shape(name):
    tree = ast.parse(MODULES[name].read_text())
    unsaid = {what: said for what, node in public(tree) if (said := faults(node))}
    assert unsaid == {}


def test_exact_the_docstring_rule_finds_what_is_missing():
    """The rule itself, on one function that says everything and one that does not."""
    good = ast.parse(
        'def flow(head: ArrayLike, angle: float, name: str = "") -> Array:\n'
        '    """Flow.\n\n    Parameters\n    ----------\n    head : array_like, shape (...)\n'
        "        Head. [m]\n    angle : float\n        Angle. [rad]\n    name : str\n"
        "        Name.\n\n    Returns\n    -------\n    ndarray, shape (...)\n"
        '        Flow. [m3/s]\n    """\n'
    )
    bad = ast.parse(ast.unparse(good).replace(" [rad]", "").replace(", shape (...)", "", 1))
    assert faults(good.body[0]) == []
    assert faults(bad.body[0]) == ["head has no shape", "angle has no unit"]
    short = ast.parse('def top(head: ArrayLike) -> Array:\n    """Top over a head (...). [m]"""')
    assert faults(short.body[0]) == []
    bare = ast.parse('def top(head: float) -> float:\n    """Top."""')
    assert faults(bare.body[0]) == ["head has no unit", "what it returns has no unit"]
