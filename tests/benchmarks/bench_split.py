"""How much faster than a general root finder, in how much memory, and how quickly is the command?

Only ratios within one run are told: the machine cancels out. Run from the top folder:

    python -m tests.benchmarks.bench_split            a million boxes
    python -m tests.benchmarks.bench_split --quick    fewer, for every day

The boxes: six 2 in holes, lips scattered by 1.5 mm (normal), inflows 0.01 to 2 L/s (even in their
logarithm). The other side is scipy's vectorised bracketing search on the same exact rating.
"""

import argparse
import os
import subprocess
import sys
import tempfile
import time
import tracemalloc
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from dbox import Circle, Split, split
from dbox.arrays import Array

OUTLETS = 6
LEAST_SPEED = 10.0
MOST_IMBALANCE = 1e-10
MOST_MEMORY = 2**30
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
    """Water levels by scipy, to its default tolerance."""
    from scipy.optimize import elementwise

    def surplus(level: Array, wanted: Array, *each: Array) -> Array:
        total: Array = sum(hole.discharge(level - lip) for lip in each) - wanted
        return total

    low = lips.min(-1)
    found = elementwise.find_root(surplus, (low, low + 0.3), args=(inflow, *lips.T.copy()))
    if not found.success.all():
        raise RuntimeError("find_root did not succeed everywhere")
    levels: Array = found.x
    return levels


def timed(work: Callable[[], object]) -> float:
    """Wall time of a call. [s]"""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def peak_memory(work: Callable[[], Split]) -> tuple[int, Split]:
    """Most memory that a call held at once over what was there before, and its result. [B]"""
    tracemalloc.start()
    result = work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak, result


def compare_speed(count: int, hole: Circle) -> tuple[list[str], list[str]]:
    """Time both ways on the same boxes; says what was too slow, and what else fell short."""
    inflow, lips = boxes(count)
    # the first calls load and warm up; then each in turn, the better of both sides
    split(inflow[:100], lips[:100], hole)
    find_root(inflow[:100], lips[:100], hole)
    ours, theirs = np.inf, np.inf
    for _ in range(2):
        ours = min(ours, timed(lambda: split(inflow, lips, hole)))
        theirs = min(theirs, timed(lambda: find_root(inflow, lips, hole)))
    some = slice(10_000)
    levels = find_root(inflow[some], lips[some], hole)
    memory, result = peak_memory(lambda: split(inflow, lips, hole))
    imbalance = float(result.imbalance.max())
    apart = float(np.abs(levels - result.level[some]).max())
    print(f"{count:,} boxes, {hole}")
    print(f"  times as fast as find_root   {theirs / ours:8.1f}   (at least {LEAST_SPEED:g})")
    print(f"  largest residual             {imbalance:8.1e}   (at most {MOST_IMBALANCE:g})")
    print(f"  peak memory, GiB             {memory / 2**30:8.2f}   (below 1)")
    print(f"  levels apart by at most, m   {apart:8.1e}")
    slow, short = [], []
    if theirs / ours < LEAST_SPEED:
        slow.append(f"only {theirs / ours:.1f} times as fast as find_root")
    if imbalance > MOST_IMBALANCE:
        short.append(f"residual {imbalance:.1e}")
    if memory >= MOST_MEMORY:
        short.append(f"{memory / 2**30:.2f} GiB")
    return slow, short


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


def compare_commands(times: int) -> list[str]:
    """Wall time of commands over that of `import numpy`, run in turn; says what fell short."""
    jobs = {"import numpy": ["-c", "import numpy"]} | {n: a for n, (a, _) in COMMANDS.items()}
    best = dict.fromkeys(jobs, np.inf)
    for _ in range(times):
        for name, arguments in jobs.items():
            best[name] = min(best[name], timed(lambda a=arguments: run_python(a)))
    short = []
    for name, (_, most) in COMMANDS.items():
        ratio = best[name] / best["import numpy"]
        print(f"{name}: {ratio:.2f} times `import numpy`   (at most {most:g})")
        if ratio > most:
            short.append(f"{name} takes {ratio:.2f} times `import numpy`")
    return short


def main() -> int:
    """Print the ratios; 1 where one of them falls short."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="a tenth of the boxes, fewer runs")
    quick = parser.parse_args().quick
    short = []
    for hole in (Circle(0.0508, coefficient=0.6), Circle(0.0508)):
        slow, wrong = compare_speed(100_000 if quick else 1_000_000, hole)
        # start-up counts too much in a short call: its speed is told, not judged
        short += wrong if quick else slow + wrong
    slow = compare_commands(3 if quick else 9)
    short += [] if quick else slow
    for line in short:
        print(f"falls short: {line}", file=sys.stderr)
    return 1 if short else 0


if __name__ == "__main__":
    sys.exit(main())
