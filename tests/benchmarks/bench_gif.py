"""How much faster is a film of a run written than matplotlib writes it?

Run from the top folder:

    python -m tests.benchmarks.bench_gif            120 frames each way
    python -m tests.benchmarks.bench_gif --quick    30 frames, for every day

Both ways draw the same figure at the same moments into a GIF: `Film` with `GreyGif`, and
`FuncAnimation(...).save` with `PillowWriter`. Ours must be at least 3 times as fast.
"""

import argparse
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
from matplotlib.animation import FuncAnimation, PillowWriter
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import pens
from dbox.drawings.surge.animation import Film, GreyGif
from dbox.drawings.surge.frame import SurgeFrame
from dbox.drawings.surge.moment import FRAME, shown_until
from dbox.fieldwork.surge.run import Outcome, house_event, run
from dbox.files import scenario

LEAST_RATIO = 3.0
SCENARIO = Path(__file__).parents[2] / "scenarios" / "family-of-four.toml"


def ours(outcome: Outcome, times: Array, path: Path) -> None:
    """Write the film as the package does."""
    Film(outcome).play(GreyGif(fps=1 / FRAME), path, times)


@pens
def matplotlibs(outcome: Outcome, times: Array, path: Path) -> None:
    """Write the same frames as matplotlib's own animation does."""
    figure = Figure()
    FigureCanvasAgg(figure)
    frame = SurgeFrame(outcome, figure)

    def show(at: float) -> list[object]:
        frame.show(at)
        return list(frame.moving)

    film = FuncAnimation(figure, show, frames=times.tolist(), init_func=lambda: frame.moving)
    film.save(path, writer=PillowWriter(fps=1 / FRAME))


def seconds(write: Callable[[Outcome, Array, Path], None], *what: object) -> float:
    """How long one way takes. [s]"""
    start = time.perf_counter()
    write(*what)  # type: ignore[arg-type]
    return time.perf_counter() - start


def main() -> int:
    """Print the times; 1 where ours is not fast enough."""
    parser = argparse.ArgumentParser(description="Time the film of a run.")
    parser.add_argument("--quick", action="store_true", help="fewer frames")
    count = 30 if parser.parse_args().quick else 120
    outcome = run(scenario.load(SCENARIO), house_event(["shower"]))
    times = np.linspace(0.0, shown_until(outcome.surge), count)
    with TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in ("ours.gif", "theirs.gif")]
        fast = seconds(ours, outcome, times, paths[0])
        slow = seconds(matplotlibs, outcome, times, paths[1])
        sizes = [path.stat().st_size / 1e6 for path in paths]
    print(f"{count} frames, FuncAnimation.save {slow:7.2f} s  {sizes[1]:.2f} MB")
    print(f"{count} frames, write_film         {fast:7.2f} s  {sizes[0]:.2f} MB")
    print(f"ratio                          {slow / fast:7.1f}")
    if slow < LEAST_RATIO * fast:
        print(f"too slow: not {LEAST_RATIO:g} times as fast", file=sys.stderr)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
