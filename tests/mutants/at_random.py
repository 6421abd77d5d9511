"""Faults that nobody chose: an operator, a comparison or a number changed at a random place.

    python -m tests.mutants --random 60 --seed 1

Every place in hydraulics, fieldwork and files is as likely as any other. Which tests run a line is
noted once, with `coverage` (`pip install coverage`; nothing else needs it). Only these tests of the
floor are then run with a fault, the quickest first; the others cannot notice it. A line that runs
at import may tell wherever its module is imported: then the tests that run a line there.

Each survivor is printed with what it changes; whether any answer changes is for a reader to judge.
"""

import ast
import json
import random
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from tests.mutants.tree import failing
from tests.test_house import imports

FLOORS = ("hydraulics", "fieldwork", "files")
SWAPPED = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult}
TURNED = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt}


@dataclass(frozen=True)
class Place:
    """An expression of a file, its statement, and what to put there."""

    file: str
    part: ast.expr
    statement: ast.stmt
    new: str

    @property
    def lines(self) -> range:
        """Lines of the statement, of one with a body those before it."""
        body = getattr(self.statement, "body", None)
        end = body[0].lineno - 1 if body else self.statement.end_lineno
        return range(self.statement.lineno, max(end, self.statement.lineno) + 1)

    def planted(self, text: str) -> str:
        """The file's text with the fault."""
        part, lines = self.part, text.encode().splitlines(keepends=True)
        first, last = lines[part.lineno - 1], lines[part.end_lineno - 1]
        line = first[: part.col_offset] + self.new.encode() + last[part.end_col_offset :]
        return b"".join([*lines[: part.lineno - 1], line, *lines[part.end_lineno :]]).decode()


def changed(part: ast.AST) -> ast.expr | None:
    """What to put in the place of an expression; None where it is to stay."""
    match part:
        case ast.BinOp(left, op, right) if type(op) in SWAPPED:
            return ast.BinOp(left, SWAPPED[type(op)](), right)
        case ast.Compare(left, [op, *more], sides) if type(op) in TURNED:
            return ast.Compare(left, [TURNED[type(op)](), *more], sides)
        case ast.UnaryOp(ast.USub(), operand) if not isinstance(operand, ast.Constant):
            return operand
        case ast.Constant(float(value)) if value not in (0, 1):
            return ast.Constant(1.5 * value)
        case ast.Constant(int(value)) if value not in (0, 1, 2):
            return ast.Constant(value + 1)
    return None


def places(file: str, text: str) -> Iterator[Place]:
    """Every place of a file at which a fault can be planted."""

    def walk(node: ast.AST, statement: ast.stmt | None) -> Iterator[Place]:
        if isinstance(node, ast.JoinedStr):
            return  # its parts do not say where they stand
        statement = node if isinstance(node, ast.stmt) else statement
        if statement and (new := changed(node)):
            yield Place(file, node, statement, f"({ast.unparse(new)})")
        for child in ast.iter_child_nodes(node):
            yield from walk(child, statement)

    return walk(ast.parse(text), None)


def try_at_random(tree: Path, count: int, seed: int) -> None:
    """Plant faults in a copy of the tree, one at a time, and print what became of each."""
    files = sorted(p for floor in FLOORS for p in (tree / "dbox" / floor).rglob("*.py"))
    found = [p for path in files for p in places(str(path.relative_to(tree)), path.read_text())]
    notes = {floor: Notes(tree, floor) for floor in FLOORS}
    caught = 0
    for number, place in enumerate(random.Random(seed).sample(found, count), 1):
        path = tree / place.file
        text = path.read_text()
        path.write_text(place.planted(text))
        try:
            by = notes[path.relative_to(tree).parts[1]].noticed(place)
        finally:
            path.write_text(text)
        caught += bool(by)
        print(f"{number:3} {'caught' if by else 'SURVIVED':8} {place.file}:{place.part.lineno}")
        print(f"    {ast.unparse(place.part)}  ->  {place.new}\n    {by}", flush=True)
    print(f"{caught} of {count} caught by the tests of their floor")


class Notes:
    """Which tests of a floor run which lines of it."""

    def __init__(self, tree: Path, floor: str) -> None:
        from coverage import CoverageData

        self.tree, kept = tree, str(tree / f"{floor}.notes")
        tests = (f"tests/{floor}", "tests/published", f"dbox/{floor}")
        if failure := failing(tree, ("-p", "tests.mutants.touched", *tests), LINES_TOUCHED=kept):
            raise RuntimeError(f"{failure} fails without any fault")
        self.seconds = json.loads(Path(f"{kept}.json").read_text())
        self.data = CoverageData(kept)
        self.data.read()
        files = self.data.measured_files()
        self.imports = {f: imports(ast.parse((tree / f).read_text())) for f in files}

    def noticed(self, place: Place) -> str:
        """Which test fails with the fault that is planted; nothing where none does."""
        by_line = self.data.contexts_by_lineno(place.file)
        runs = {test for line in place.lines for test in by_line.get(line, ())} - {""}
        if not any(line in by_line for line in place.lines):
            return ""  # no test runs it
        order = sorted(runs or self._beyond(place.file), key=lambda test: self.seconds[test])
        listed = self.tree / "chosen.txt"
        listed.write_text("\n".join(order))
        files = sorted({test.split("::")[0] for test in order})
        return failing(self.tree, ("-p", "tests.mutants.chosen", *files), CHOSEN_TESTS=str(listed))

    def _beyond(self, file: str) -> set[str]:
        """Tests that run a line of a file, or of one that imports it, straight or not."""
        users, size = {file}, 0
        while len(users) > size:
            size = len(users)
            names = {user.removesuffix(".py").replace("/", ".") for user in users}
            users |= {f for f, imported in self.imports.items() if names & imported}
        tests = {t for f in users for on in self.data.contexts_by_lineno(f).values() for t in on}
        return tests - {""}
