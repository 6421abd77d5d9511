"""Plants each fault of the table in a copy of the tree and runs the tests that ought to notice it.

    python -m tests.mutants             all of them, half an hour and more
    python -m tests.mutants --only 3 7  some of them
    python -m tests.mutants --random 60 --seed 1   others, where nobody chose (see `at_random`)

First the tests of the same topic or folder and those against published values; where these pass,
all other everyday tests, the examples in docstrings with them. Before any fault the first tests
must pass as the tree stands, and must fail on a file that cannot be read at all: that shows that
the copy is what they import. One of the others that notices a fault must pass without it. Exit 1
where less than 90 % are caught, 2 where one of these does not hold.
"""

import argparse
import sys
import tempfile
import time
from collections.abc import Sequence
from pathlib import Path

from tests.mutants.at_random import try_at_random
from tests.mutants.table import Mutant, mutants
from tests.mutants.tree import ROOT, copy_to, failing

LEAST_CAUGHT = 0.9

PUBLISHED = "tests/published"
WATER = ("tests/hydraulics", PUBLISHED)
TOPICS = ("readings", "shares", "turning", "levelling")
LEVELLING = (*(f"tests/fieldwork/test_{topic}.py" for topic in TOPICS), PUBLISHED)
# the table's own test fails wherever a fault is planted
REST = ("tests/cli", "tests", "dbox", "--ignore=tests/test_mutants.py")
BROKEN = Mutant(
    file="dbox/hydraulics/split.py",
    old="def _refuse(what: str, values: Array, good: BoolArray, wanted: str) -> None:",
    new="def _refuse(",
    why="cannot be read",
)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the check and print its table; the exit code."""
    parser = argparse.ArgumentParser(prog="python -m tests.mutants", description=__doc__)
    parser.add_argument("--only", type=int, nargs="+", metavar="N", help="numbers of the table")
    parser.add_argument("--random", type=int, metavar="COUNT", help="faults at random instead")
    parser.add_argument("--seed", type=int, default=0, help="same seed, same faults at random")
    asked = parser.parse_args(arguments)
    only = asked.only
    chosen = {n: m for n, m in enumerate(mutants(), 1) if not only or n in only}
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder)
        copy_to(tree)
        try:
            if asked.random:
                try_at_random(tree, asked.random, asked.seed)
                return 0
            for tests in sorted({first_tests(mutant) for mutant in chosen.values()}):
                check_tests(tree, tests)
            caught = sum(reported(tree, n, mutant) for n, mutant in chosen.items())
        except RuntimeError as error:
            print(error)
            return 2
    print(f"{caught} of {len(chosen)} caught, {100 * caught / len(chosen):.0f} %")
    return 0 if caught >= LEAST_CAUGHT * len(chosen) else 1


def first_tests(mutant: Mutant) -> tuple[str, ...]:
    """The tests that stand nearest to a fault: of its topic, else of its folder.

    Quantities are tested among the files that hold them, a report by the command that prints it.
    """
    *folder, topic = Path(mutant.file).with_suffix("").parts[1:3]
    floor = folder[0] if folder else "files"
    if floor == "report":
        floor, topic = "cli", topic.removesuffix("_report")
    if floor == "hydraulics":
        return WATER
    if topic in TOPICS:
        return LEVELLING
    named = sorted((ROOT / "tests" / floor).glob(f"test_*{topic}*.py"))
    near = [str(path.relative_to(ROOT)) for path in named] or [f"tests/{floor}"]
    return (*near, PUBLISHED)


def check_tests(tree: Path, tests: Sequence[str]) -> None:
    """Refuse tests that fail without a fault, or do not import the copy."""
    if failure := failing(tree, tests):
        raise RuntimeError(f"{failure} fails without any fault")
    if not noticed(tree, BROKEN, tests):
        raise RuntimeError(f"{BROKEN.file} cannot be read, and no test noticed: which one is used?")


def reported(tree: Path, number: int, mutant: Mutant) -> bool:
    """Try one fault and print what became of it."""
    start = time.monotonic()
    first = first_tests(mutant)
    by = noticed(tree, mutant, first)
    if not by:
        by = noticed(tree, mutant, (*REST, *(f"--ignore={test}" for test in first)))
        if by and failing(tree, [by]):
            raise RuntimeError(f"{by} fails without any fault")
    seconds = time.monotonic() - start
    print(f"{number:3} {'caught' if by else 'SURVIVED':8} {seconds:4.0f} s  {mutant.file}")
    print(f"    {mutant.why}\n    {by or mutant.new}", flush=True)
    return bool(by)


def noticed(tree: Path, mutant: Mutant, tests: Sequence[str]) -> str:
    """Which test fails with a fault planted; nothing where none does."""
    path = tree / mutant.file
    text = path.read_text()
    path.write_text(mutant.planted(text))
    try:
        return failing(tree, tests)
    finally:
        path.write_text(text)


if __name__ == "__main__":
    sys.exit(main())
