"""What is one line of the table of timings, and how are times taken so that they can be compared?

Only ratios within one run are told: the machine cancels out. Each `bench_*` module gives its lines
through a generator `measure(quick)` and hands it to `alone`; `tests.benchmarks` gathers them all.
"""

import argparse
import json
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import TypeVar

import numpy as np
from rich.box import SIMPLE_HEAD
from rich.console import Console
from rich.table import Table

PIPED = 160
"""Columns where nobody's terminal sets them: enough for each row to be one line, for grep."""

Name = TypeVar("Name")


@dataclass(frozen=True, kw_only=True)
class Row:
    """One comparison.

    Parameters
    ----------
    what : str
        What is compared with what.
    sizes : str
        How much of it.
    value : float
        The ratio, or the exponent.
    form : str
        How it is written, the number in place of `{}`.
    least, most : float or None
        What was promised; a line without either is told, not judged.
    judged : bool
        Whether this run is large enough to be held to it.
    """

    what: str
    sizes: str
    value: float
    form: str = "{} times"
    least: float | None = None
    most: float | None = None
    judged: bool = True

    @property
    def falls_short(self) -> bool:
        """Whether it is judged and is not as wanted; what is not a number never is."""
        under = self.least is not None and not self.value >= self.least
        over = self.most is not None and not self.value <= self.most
        return self.judged and (under or over)

    def cells(self) -> tuple[str, ...]:
        """The line as the table shows it: what, sizes, ratio, wanted, met."""
        bounds = [("at least", self.least), ("at most", self.most)]
        wanted = [f"{word} {number(bound)}" for word, bound in bounds if bound is not None]
        judged = ("NO" if self.falls_short else "yes") if self.judged else "not judged"
        ratio = self.form.format(number(self.value))
        return self.what, self.sizes, ratio, " and ".join(wanted), judged if wanted else ""


def number(value: float) -> str:
    """A number to two or three digits."""
    if value and abs(value) < 1e-3:
        return f"{value:.0e}"
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def best_of(
    jobs: Mapping[Name, Callable[[], object]],
    rounds: int,
    clock: Callable[[], float] = time.perf_counter,
) -> dict[Name, float]:
    """Least time of each job [s]; all in turn, round after round, so that a busy spell hits all."""
    best = dict.fromkeys(jobs, np.inf)
    for _ in range(rounds):
        for name, job in jobs.items():
            start = clock()
            job()
            best[name] = min(best[name], clock() - start)
    return best


def show(rows: Iterable[Row]) -> None:
    """Print the table on stdout, plain: as wide as the terminal, or a line a row in a file."""
    table = Table("what", box=SIMPLE_HEAD, header_style="", show_edge=False)
    for column in ("sizes", "ratio", "wanted", "met"):
        table.add_column(column, no_wrap=True)
    for row in rows:
        table.add_row(*row.cells())
    width = None if sys.stdout.isatty() else PIPED
    console = Console(width=width, no_color=True, highlight=False, markup=False)
    console.print(table)


def alone(
    about: str,
    measure: Callable[[bool], Iterator[Row]],
    arguments: Sequence[str] | None = None,
) -> int:
    """Run one bench by itself; 1 where a line falls short."""
    parser = argparse.ArgumentParser(description=about.partition("\n")[0])
    parser.add_argument("--quick", action="store_true", help="fewer and smaller, for every day")
    parser.add_argument("--json", action="store_true", help="each line as JSON, when it is there")
    given = parser.parse_args(arguments)
    rows = []
    for row in measure(given.quick):
        rows.append(row)
        if given.json:
            print(json.dumps(asdict(row)), flush=True)
    if not given.json:
        show(rows)
    return int(any(row.falls_short for row in rows))
