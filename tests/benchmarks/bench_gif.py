"""How much faster is a film of a run written than matplotlib writes it?

Run from the top folder:

    python -m tests.benchmarks.bench_gif            120 frames each way
    python -m tests.benchmarks.bench_gif --quick    30 frames, for every day

Both ways draw the same figure at the same moments into a GIF: `Film` with `write_gif`, which also
makes the title and the last still, and `FuncAnimation(..., blit=True).save` with `PillowWriter`.
Ours must be at least 3 times as fast.
"""

import sys
from collections.abc import Iterable, Iterator
from pathlib import Path
from tempfile import TemporaryDirectory

from matplotlib.animation import FuncAnimation, PillowWriter
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.style import pens
from dbox.drawings.surge_film import Film, write_gif
from dbox.drawings.surge_frames import FRAME, SurgeFrame
from dbox.fieldwork.surge import SurgeOutcome, frame_times, house_event, run
from dbox.files import scenario
from tests.benchmarks.ratios import Row, alone, best_of

LEAST_RATIO = 3.0
SCENARIO = Path(__file__).parents[2] / "scenarios" / "family-of-four.toml"


def ours(outcome: SurgeOutcome, times: Array, path: Path) -> None:
    """Write the film as the package does."""
    film = Film([outcome])
    film.times = times
    write_gif(film, path)


@pens
def matplotlibs(outcome: SurgeOutcome, times: Array, path: Path) -> None:
    """Write the same frames as matplotlib's own animation does."""
    figure = Figure()
    FigureCanvasAgg(figure)
    frame = SurgeFrame([outcome], figure=figure)

    def show(at: float) -> Iterable[Artist]:
        frame.show(at, 1.0)
        return frame.moving

    film = FuncAnimation(
        figure, show, frames=times.tolist(), init_func=lambda: frame.moving, blit=True
    )
    film.save(path, writer=PillowWriter(fps=1 / FRAME))


def measure(quick: bool) -> Iterator[Row]:
    """Both ways in turn, the better of two runs each; then the sizes of the files."""
    count = 30 if quick else 120
    outcome = run(scenario.load(SCENARIO), house_event(["shower"]))
    times = frame_times(outcome.surge, frames=count)
    with TemporaryDirectory() as folder:
        paths = [Path(folder) / name for name in ("ours.gif", "theirs.gif")]
        jobs = {
            "ours": lambda: ours(outcome, times, paths[0]),
            "theirs": lambda: matplotlibs(outcome, times, paths[1]),
        }
        best = best_of(jobs, 2)
        mine, theirs = (path.stat().st_size for path in paths)
    frames = f"{count} frames"
    yield Row(
        what="film of a run against FuncAnimation.save",
        sizes=frames, value=best["theirs"] / best["ours"], least=LEAST_RATIO,
    )  # fmt: skip
    yield Row(
        what="size of the file over that of FuncAnimation.save",
        sizes=frames, value=mine / theirs,
    )  # fmt: skip


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
