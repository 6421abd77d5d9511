"""How long does a list of boxes take, over what `csv.reader` alone takes to read it?

Run from the top folder:

    python -m tests.benchmarks.bench_batch            a million boxes
    python -m tests.benchmarks.bench_batch --quick    fewer, for every day

The list: one row a box of six 1-3/4 in holes, lips within about 1/16 in (normal), to a thousandth
of an inch. Shares and verdicts at three flows are written; then, on fewer boxes, what turns and
probabilities cost over that. Memory is that of the parent and, for each core, of the largest child.
"""

import csv
import os
import resource
import sys
import tempfile
from collections.abc import Iterator
from functools import partial
from pathlib import Path

import numpy as np

from dbox.files.list_boxes import Settings, read_settings
from dbox.files.list_run import run_batch
from tests.benchmarks.bench_growth import fitted
from tests.benchmarks.ratios import Row, alone, best_of

OUTLETS = 6
MOST_TIME, MOST_GROWTH, MOST_MEMORY = 12.0, 1.05, 1.5
GROWN = (50_000, 100_000, 200_000, 400_000, 1_000_000)
OPTIONS = {
    "opening": "circle 1-3/4 in",
    "coefficient": 0.6,
    "tolerance": "10 %",
    "spread": "1/32 in",
    "flows": ["0.5 gpm", "5 gpm", "30 gpm"],
}


def write_list(path: Path, boxes: int) -> None:
    """Write a list; its shorter ones are its beginnings."""
    rng = np.random.default_rng(1)
    with path.open("w", newline="") as file:
        file.write(",".join(["box", *(f"outlet {i} (in)" for i in range(1, OUTLETS + 1))]) + "\n")
        for first in range(0, boxes, 10_000):
            lips = rng.normal(0, 0.06, (min(10_000, boxes - first), OUTLETS))
            rows = zip(range(first, boxes), lips.tolist(), strict=False)
            file.writelines(f"box {i},{','.join(f'{h:.3f}' for h in row)}\n" for i, row in rows)


def read(path: Path) -> None:
    """What is compared with."""
    with path.open(newline="") as file:
        for _ in csv.reader(file):
            pass


def judge(path: Path, settings: Settings) -> None:
    """A run from an empty folder."""
    out = path.with_name("results.csv")
    run_batch(path, out, settings)
    out.unlink()


def memory() -> float:
    """Most memory of this process and its children. [GiB]"""
    kib = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    kib += (os.cpu_count() or 1) * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss
    return kib / 2**20


def measure(quick: bool) -> Iterator[Row]:
    """Time over that of reading, growth, memory, and the cost of draws and turns."""
    shares = read_settings(**OPTIONS, samples=0, shares=True)
    sizes = [count // (20 if quick else 1) for count in GROWN]
    with tempfile.TemporaryDirectory() as folder:
        lists = {count: Path(folder, f"{count}.csv") for count in sizes}
        for count, path in lists.items():
            write_list(path, count)
        most = sizes[-1]
        jobs = {("read", most): partial(read, lists[most])}
        jobs |= {("judge", count): partial(judge, path, shares) for count, path in lists.items()}
        times = best_of(jobs, 2 if quick else 3)
        ratio = times["judge", most] / times["read", most]
        name = f"{most:,} boxes, 3 flows, {os.cpu_count()} cores"
        yield Row(what="batch: shares and verdicts over csv.reader on the same list", sizes=name,
                  value=ratio, most=MOST_TIME, judged=not quick)  # fmt: skip
        took = np.array([times["judge", count] for count in sizes])
        exponent, first = fitted(np.array(sizes), took)
        yield Row(what="batch as boxes grow", sizes=f"{sizes[0]:,} to {most:,}", value=exponent,
                  form=f"n^{{}} from {sizes[first]:,} on", most=MOST_GROWTH,
                  judged=not quick)  # fmt: skip
        yield Row(what="batch: memory of all processes", sizes=name, value=memory(),
                  form="{} GiB", most=MOST_MEMORY)  # fmt: skip
        each = times["judge", most] / most
        yield from compare_more(Path(folder), 500 if quick else 20_000, each)


def compare_more(folder: Path, count: int, quick_each: float) -> Iterator[Row]:
    """What turns and draws cost for a box, over quick verdicts and shares in the longest list."""
    path = folder / "more.csv"
    write_list(path, count)
    ways = {
        "turns": read_settings(**OPTIONS, samples=0, offset="1/2 in"),
        "400 draws": read_settings(**OPTIONS, samples=400),
        "400 draws and turns": read_settings(**OPTIONS, samples=400, offset="1/2 in"),
    }
    best = best_of({way: partial(judge, path, settings) for way, settings in ways.items()}, 1)
    for way, took in best.items():
        yield Row(what=f"batch with {way} over quick verdicts, per box", sizes=f"{count:,} boxes",
                  value=took / count / quick_each)  # fmt: skip


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
