"""What do all timings say, side by side? Run from the top folder:

    python -m tests.benchmarks            what was promised; keep the machine quiet
    python -m tests.benchmarks --quick    smaller, for every day: proves that they work

Exits 1 where a line that is judged falls short, or a bench stops early. Each bench is an
interpreter of its own: the memory, caches and threads that one leaves behind never reach the next.
"""

import argparse
import json
import os
import platform
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

from tests.benchmarks.ratios import Row, show

BENCHES = ("split", "growth", "batch", "surge", "gif")
"""The modules bench_*, in the order of the table."""

ROOT = Path(__file__).parents[2]


def machine() -> str:
    """Processor and versions, in two lines."""
    cpuinfo = Path("/proc/cpuinfo")
    lines = cpuinfo.read_text().splitlines() if cpuinfo.exists() else []
    models = [line.partition(":")[2].strip() for line in lines if line.startswith("model name")]
    model = models[0] if models else platform.processor() or platform.machine()
    libraries = [f"{name} {version(name)}" for name in ("numpy", "scipy", "matplotlib")]
    python = f"{platform.python_implementation()} {platform.python_version()}"
    return f"{model}, {os.cpu_count()} cores\n{', '.join([python, *libraries])}"


def rows_of(name: str, quick: bool) -> list[Row]:
    """Lines of one bench; a last one that falls short where it stopped early."""
    bench = f"bench_{name}"
    print(f"{bench} ...", file=sys.stderr, flush=True)
    command = [sys.executable, "-m", f"tests.benchmarks.{bench}", "--json", *["--quick"] * quick]
    run = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, check=False)
    rows = [Row(**json.loads(line)) for line in run.stdout.splitlines()]
    if run.returncode != any(row.falls_short for row in rows):
        form = f"stopped early, exit {run.returncode}"
        rows.append(Row(what=bench, sizes="", value=0, form=form, least=1))
    return rows


def main() -> int:
    """Print the one table; 1 where a line falls short."""
    parser = argparse.ArgumentParser(description=__doc__.partition("?")[0])
    parser.add_argument("--quick", action="store_true", help="fewer and smaller, for every day")
    quick = parser.parse_args().quick
    rows = [row for name in BENCHES for row in rows_of(name, quick)]
    print(f"{machine()}\n")
    show(rows)
    short = sum(row.falls_short for row in rows)
    if short:
        print(f"{short} of {len(rows)} lines fall short", file=sys.stderr)
    return int(short > 0)


if __name__ == "__main__":
    sys.exit(main())
