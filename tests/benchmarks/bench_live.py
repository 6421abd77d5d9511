"""How quickly does the live window redraw, and the page for a browser come to be?

Run from the top folder:

    python -m tests.benchmarks.bench_live            200 frames
    python -m tests.benchmarks.bench_live --quick    fewer, for every day

The window is drawn on a canvas without a screen, its sliders moved one small step a frame. It must
redraw at least 10 times a second; a whole drawing of the figure is timed beside it. The time that a
real window takes to hand the picture to the screen is not in it.
"""

import sys
import time
from collections.abc import Iterator

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dbox.drawings.lesson_view import LiveWindow, player_html
from dbox.fieldwork.lessons import Bench, frames, lesson_site
from tests.benchmarks.ratios import Row, alone, best_of

LEAST_FRAMES = 10.0


def frame_times(window: LiveWindow, count: int) -> dict[str, float]:
    """Middle time of a frame for each slider [s]."""
    times = {}
    for name, slider in window.sliders.items():
        taken = []
        for value in np.linspace(slider.valmin, slider.valmax, count // len(window.sliders)):
            start = time.perf_counter()
            slider.set_val(float(value))
            taken.append(time.perf_counter() - start)
        times[name] = float(np.median(taken))
    return times


def measure(quick: bool) -> Iterator[Row]:
    """The slowest slider against a tenth of a second; a whole drawing and the page beside it."""
    count = 40 if quick else 200
    bench = Bench(site=lesson_site())
    figure = Figure()
    canvas = FigureCanvasAgg(figure)
    window = LiveWindow(bench, figure)
    jobs = {"drawing": canvas.draw, "page": lambda: player_html(frames(bench))}
    best = best_of(jobs, 2)
    times = frame_times(window, count)
    slowest = max(times, key=lambda name: times[name])
    frame = times[slowest]
    yield Row(
        what=f"1/{LEAST_FRAMES:.0f} s over a frame of the live window, slider {slowest}",
        sizes=f"{count} frames", value=1 / LEAST_FRAMES / frame, least=1,
    )  # fmt: skip
    yield Row(
        what="a whole drawing over that frame", sizes="1 figure", value=best["drawing"] / frame
    )
    yield Row(
        what="the page for a browser over a whole drawing",
        sizes="1 page",
        value=best["page"] / best["drawing"],
    )


if __name__ == "__main__":
    sys.exit(alone(__doc__, measure))
