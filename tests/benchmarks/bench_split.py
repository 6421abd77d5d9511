"""How much faster than general root finders, in how much memory, and how quickly is the command?

Run from the top folder:

    python -m tests.benchmarks.bench_split            a million boxes
    python -m tests.benchmarks.bench_split --quick    fewer, for every day

The rising state, dry lips holding 3 mm back, is set against the falling one on the same boxes, at
the same inflows and all at a trickle of 2 L/min, where most boxes leave some lips dry.

The boxes: six 2 in holes, lips scattered by 1.5 mm (normal), inflows 0.01 to 2 L/s (even in their
logarithm). The other sides, on the same exact rating: scipy's vectorised bracketing search on the
same boxes, and a Python loop of scipy's brentq over the first of them, cost per box against cost
per box. The commands are set against `import numpy` in a fresh interpreter.
"""

import os
import subprocess
import sys
import tempfile
import tracemalloc
from collections.abc import Callable, Iterator, Sequence
from functools import partial
from pathlib import Path

import numpy as np
from scipy.optimize import brentq, elementwise

from dbox import Circle, Split, split
from dbox.arrays import Array
from tests.benchmarks.ratios import Row, alone, best_of

OUTLETS = 6
HIGHEST = 0.3
"""Every root lies within this height over the lowest lip. [m]"""

LEAST_SPEED = 10.0
MOST_RISING = 2.0
HOLD_BACK = 0.003
TRICKLE = 2e-3 / 60
MOST_IMBALANCE = 1e-10
MOST_MEMORY = 1.0
MOST_APART = 1e-8
MOST_HELP, MOST_SPLIT = 2.5, 6.0
COMMANDS = {
    "dbox --help": (["-m", "dbox", "--help"], MOST_HELP),
    "dbox split off-level": (["-m", "dbox", "split", "off-level"], MOST_SPLIT),
}
ROOT = Path(__file__).parents[2]


def boxes(count: int) -> tuple[Array, Array]:
    """Inflows (count,) [m3/s] and lips (count, 6) [m]."""
    rng = np.random.default_rng(1)
    inflow = 10 ** rng.uniform(-5, np.log10(2e-3), count)
    return inflow, rng.normal(0, 0.0015, (count, OUTLETS))


def find_root(inflow: Array, lips: Array, hole: Circle) -> Array:
    """Water levels (count,) by scipy's vectorised search, to its default tolerance. [m]"""

    def surplus(level: Array, wanted: Array, *each: Array) -> Array:
        total: Array = sum(hole.discharge(level - lip) for lip in each) - wanted
        return total

    low = lips.min(-1)
    found = elementwise.find_root(surplus, (low, low + HIGHEST), args=(inflow, *lips.T.copy()))
    if not found.success.all():
        raise RuntimeError("find_root did not succeed everywhere")
    levels: Array = found.x
    return levels


def brentq_loop(inflow: Array, lips: Array, hole: Circle) -> Array:
    """Water levels (count,) box after box, to brentq's default tolerance. [m]"""

    def surplus(level: float, wanted: float, each: Array) -> float:
        return float(hole.discharge(level - each).sum() - wanted)

    pairs = zip(inflow.tolist(), lips, strict=True)
    levels = [brentq(surplus, min(b), min(b) + HIGHEST, args=(wanted, b)) for wanted, b in pairs]
    return np.array(levels)


def peak_memory(work: Callable[[], Split]) -> tuple[float, Split]:
    """Most memory that a call held at once over what was there before, and its result. [GiB]"""
    tracemalloc.start()
    result = work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**30, result


def compare_speed(count: int, few: int, hole: Circle, judged: bool) -> Iterator[Row]:
    """All ways in turn on the same boxes, the best of three rounds each."""
    inflow, lips = boxes(count)
    # the first calls load and warm up
    split(inflow[:100], lips[:100], hole)
    find_root(inflow[:100], lips[:100], hole)
    some = slice(few)
    jobs: dict[str, Callable[[], object]] = {
        "ours": lambda: split(inflow, lips, hole),
        "find_root": lambda: find_root(inflow, lips, hole),
        "brentq": lambda: brentq_loop(inflow[some], lips[some], hole),
    }
    best = best_of(jobs, 3)
    ours, law = best["ours"] / count, "C 0.6" if hole.coefficient else "C by its law"
    sizes = f"{count:,} boxes"
    yield Row(
        what=f"split, {law}, against scipy's find_root", sizes=sizes,
        value=best["find_root"] / count / ours, least=LEAST_SPEED, judged=judged,
    )  # fmt: skip
    yield Row(
        what=f"split, {law}, against a loop of brentq, per box", sizes=f"{few:,} by brentq",
        value=best["brentq"] / few / ours,
    )  # fmt: skip
    yield from compare_levels(inflow, lips, hole, few, sizes)
    yield from compare_states(inflow, lips, hole, f"{law}, {sizes}", judged)


def compare_states(
    inflow: Array, lips: Array, hole: Circle, sizes: str, judged: bool
) -> Iterator[Row]:
    """The rising state against the falling one."""
    for what, flows in (("", inflow), (" at a trickle", np.full_like(inflow, TRICKLE))):
        jobs: dict[str, Callable[[], object]] = {
            "falling": partial(split, flows, lips, hole),
            "rising": partial(split, flows, lips, hole, hold_back=HOLD_BACK, rising=True),
        }
        best = best_of(jobs, 3)
        yield Row(
            what=f"split in the rising state over the falling one{what}", sizes=sizes,
            value=best["rising"] / best["falling"], most=MOST_RISING, judged=judged,
        )  # fmt: skip


def compare_levels(inflow: Array, lips: Array, hole: Circle, few: int, sizes: str) -> Iterator[Row]:
    """Whether all ways found the same water, and in how much memory."""
    memory, result = peak_memory(lambda: split(inflow, lips, hole))
    some = slice(few)
    deepest = result.head[some].max(-1)
    apart = max(
        float((np.abs(way(inflow[some], lips[some], hole) - result.level[some]) / deepest).max())
        for way in (find_root, brentq_loop)
    )
    residual = float(result.imbalance.max())
    yield Row(
        what="flow unaccounted for over inflow", sizes=sizes,
        value=residual, form="{}", most=MOST_IMBALANCE,
    )  # fmt: skip
    yield Row(
        what="levels apart over the deepest head", sizes=f"{few:,} boxes",
        value=apart, form="{}", most=MOST_APART,
    )  # fmt: skip
    yield Row(
        what="peak memory of split", sizes=sizes, value=memory, form="{} GiB", most=MOST_MEMORY
    )


def run_python(arguments: Sequence[str]) -> None:
    """One fresh interpreter, away from the sources so that nothing is read beside the package."""
    paths = os.pathsep.join([str(ROOT), str(ROOT / "cli")])
    subprocess.run(
        [sys.executable, *arguments],
        check=True,
        stdout=subprocess.DEVNULL,
        cwd=tempfile.gettempdir(),
        env={**os.environ, "PYTHONPATH": paths},
    )


def compare_commands(rounds: int, judged: bool) -> Iterator[Row]:
    """Wall time of commands over that of `import numpy`, run in turn."""
    jobs = {name: partial(run_python, arguments) for name, (arguments, _) in COMMANDS.items()}
    jobs["import numpy"] = partial(run_python, ["-c", "import numpy"])
    best = best_of(jobs, rounds)
    for name, (_, most) in COMMANDS.items():
        yield Row(
            what=f"{name} over import numpy", sizes=f"best of {rounds}",
            value=best[name] / best["import numpy"], most=most, judged=judged,
        )  # fmt: skip


def measure(quick: bool) -> Iterator[Row]:
    """Split two ways of rating, then the commands; what start-up rules is told, not judged."""
    count, few = (100_000, 200) if quick else (1_000_000, 2000)
    for hole in (Circle(0.0508, coefficient=0.6), Circle(0.0508)):
        yield from compare_speed(count, few, hole, judged=not quick)
    yield from compare_commands(3 if quick else 9, judged=not quick)


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
