"""How quickly does the live window redraw, and the page for a browser come to be?

Run from the top folder:

    python -m tests.benchmarks.bench_live            200 frames
    python -m tests.benchmarks.bench_live --quick    fewer, for every day

The window is drawn on a canvas without a screen, its sliders moved one small step a frame. It must
redraw at least 10 times a second; a whole drawing of the figure is timed beside it. The time that a
real window takes to hand the picture to the screen is not in it.
"""

import argparse
import sys
import time

import numpy as np
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dbox.drawings.teach.live import LiveWindow
from dbox.drawings.teach.player import player_html
from dbox.fieldwork.lessons.bench import Bench, frames
from dbox.fieldwork.lessons.bench_box import lesson_site

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


def main() -> int:
    """Print the times; 1 where the window is too slow."""
    parser = argparse.ArgumentParser(description="Time the live window.")
    parser.add_argument("--quick", action="store_true", help="fewer frames")
    count = 40 if parser.parse_args().quick else 200
    bench = Bench(site=lesson_site())
    figure = Figure()
    canvas = FigureCanvasAgg(figure)
    window = LiveWindow(bench, figure)
    start = time.perf_counter()
    canvas.draw()
    print(f"whole drawing         {1e3 * (time.perf_counter() - start):7.1f} ms")
    times = frame_times(window, count)
    for name, taken in times.items():
        print(f"frame, slider {name:<8}{1e3 * taken:7.1f} ms  {1 / taken:5.0f} a second")
    start = time.perf_counter()
    size = len(player_html(frames(bench)))
    print(
        f"page for a browser    {1e3 * (time.perf_counter() - start):7.1f} ms  {size / 1e6:.2f} MB"
    )
    slow = max(times.values()) > 1 / LEAST_FRAMES
    if slow:
        print(f"too slow: fewer than {LEAST_FRAMES:.0f} frames a second", file=sys.stderr)
    return int(slow)


if __name__ == "__main__":
    sys.exit(main())
