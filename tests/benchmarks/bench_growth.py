"""How does cost grow with boxes, outlets, samples and days?

Run from the top folder:

    python -m tests.benchmarks.bench_growth            up to a million boxes
    python -m tests.benchmarks.bench_growth --quick    smaller, for every day

Each size is timed in turn, round after round, best of all rounds, in processor time, so that
neither a busy machine nor a second core bends the line. Cost is taken as

    time = a size^p

and p fitted by least squares on logarithms, over the sizes at which start-up counts little: there
one box (outlet, sample, day) costs at most a quarter more than at the largest size. Where it costs
more than twice as much, most of the time is start-up, and the line says so.
"""

import sys
import time
from collections.abc import Callable, Iterator, Sequence
from functools import partial

import numpy as np

from dbox import Circle, split
from dbox.arrays import Array
from dbox.fieldwork.shares import assess
from dbox.hydraulics.surge.inflow import concatenate, household_day, to_inflow
from dbox.hydraulics.surge.stepper import surge
from dbox.units import DAY
from tests.benchmarks.ratios import Row, alone, best_of, number
from tests.fieldwork.sites import box
from tests.hydraulics.test_surge import family

HOLE = Circle(0.0508)
MOST_GROWTH = 1.1
STARTING, GROWING = 2.0, 1.25
"""Cost of one over that at the largest size: above the first, start-up is more than half; up to the
second, a fifth at most. [-]"""

Job = Callable[[], object]


def split_boxes(count: int, outlets: int = 6) -> Job:
    """A split of boxes off level, 0.01 to 2 L/s on six outlets and as much on each of more."""
    rng = np.random.default_rng(1)
    inflow = 10 ** rng.uniform(-5, np.log10(2e-3), count) * outlets / 6
    return partial(split, inflow, rng.normal(0, 0.0015, (count, outlets)), HOLE)


def sample_bands(samples: int) -> Job:
    """Bands and verdicts of one box at three flows, four readings within 1/16 in."""
    site = box([0.0, 0.0016, -0.0008, 0.0008])
    return lambda: assess(site, samples=samples)


def run_days(days: int) -> Job:
    """The same day of the house again and again, so that every day costs alike.

    Above two days, so that all runs take the longer steps of a long run.
    """
    event = concatenate([to_inflow(household_day(4, 0))] * days, DAY)
    return partial(surge, family(), event, seconds=days * DAY)


def fitted(counts: Array, times: Array) -> tuple[float, int]:
    """The exponent, and the index of the first size that it is fitted from."""
    over_last = times / counts / (times[-1] / counts[-1])
    # two sizes at least: a line through one has no slope
    first = min(int(np.argmax(over_last <= GROWING)), len(counts) - 2)
    return float(np.polyfit(np.log(counts[first:]), np.log(times[first:]), 1)[0]), first


def grown(what: str, of: str, sizes: Sequence[int], job: Callable[[int], Job], judged: bool) -> Row:
    """Time all sizes and fit the exponent."""
    rounds = 7 if judged else 5
    best = best_of({size: job(size) for size in sizes}, rounds, time.process_time)
    times, counts = np.array(list(best.values())), np.array(sizes)
    over_last = times / counts / (times[-1] / counts[-1])
    exponent, first = fitted(counts, times)
    told = [number(over) for over in times / times[0]]
    marks = [", mostly start-up" if over > STARTING else "" for over in over_last]
    steps = [f"  {over}{mark}" for over, mark in zip(told, marks, strict=True)]
    return Row(
        what=f"{what} as {of} grow; below, time over that of the smallest",
        sizes="\n".join([f"{sizes[0]:,} to {sizes[-1]:,} {of}", *(f"  {n:,}" for n in sizes)]),
        value=exponent,
        form="\n".join([f"n^{{}} from {sizes[first]:,} on", *steps]),
        most=MOST_GROWTH, judged=judged,
    )  # fmt: skip


def measure(quick: bool) -> Iterator[Row]:
    """One line for each thing that can be more; in quick mode told, not judged."""
    boxes = (100, 1000, 3000, 10_000, 30_000, 100_000, *(() if quick else (300_000, 1_000_000)))
    yield grown("split", "boxes", boxes, split_boxes, not quick)
    count = 2000 if quick else 20_000
    outlets = (2, 4, 8, 16, 32, 64)
    yield grown(
        f"split of {count:,}", "outlets", outlets, lambda n: split_boxes(count, n), not quick
    )
    samples = (100, 1000, 4000, 16_000, *(() if quick else (64_000, 256_000)))
    yield grown("bands of a box", "samples", samples, sample_bands, not quick)
    days = (3, 6, 12, 24) if quick else (3, 10, 30, 100, 300)
    yield grown("surge", "days", days, run_days, not quick)


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
