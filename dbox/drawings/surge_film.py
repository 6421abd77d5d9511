"""A run as a film: GIF or MP4.

The film is written by matplotlib's own writers. They save the whole figure for every frame; here
the figure is drawn once, and for each frame only what moves is drawn over a copy of that, so that
saving hands over what stands on the canvas. A GIF is kept in sixteen greys all along.
"""

from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from subprocess import CalledProcessError
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.animation import FFMpegWriter
from matplotlib.artist import Artist
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from PIL import Image

from dbox.arrays import Array
from dbox.drawings.fonts import use_fonts
from dbox.drawings.style import (
    DASHES,
    GREY,
    HEADING,
    INK,
    MEDIUM,
    SMALL,
    THIN,
    TITLE,
    Sheet,
    check_outlets,
    pens,
    wrap,
)
from dbox.drawings.surge_picture import (
    TITLE_TEXT,
    BoxView,
    Scale,
    ShareView,
    clock,
    time_axes,
    time_unit,
)
from dbox.errors import ScenarioError, any_of
from dbox.fieldwork.surge import (
    MOVING_FRAMES,
    SurgeOutcome,
    frame_times,
    highest_share,
    shown_until,
)
from dbox.files.write_file import check_place, write_file
from dbox.report.surge_report import volume_text
from dbox.report.wording import joined
from dbox.units import GALLON, INCH, MINUTE, gpm

FRAME = 0.08
"""Playing time of a frame; whole hundredths, as a GIF counts. [s]"""

WIDTH, HEIGHT, DOTS = 8.0, 6.0, 100
"""Size of a frame [in], and its dots per inch."""

_LEFT, _RIGHT, _TOP = 0.75, 7.85, 5.88


class SurgeFrame:
    """A figure that shows a run at one moment, drawn in an empty figure or in a new one."""

    @pens
    def __init__(self, outcome: SurgeOutcome, figure: Figure | None = None) -> None:
        check_outlets(len(outcome.labels))
        self.run = run = outcome.surge
        self.lengths = outcome.site.lengths
        self.figure = figure if figure is not None else Figure()
        self.figure.set(size_inches=(WIDTH, HEIGHT), dpi=DOTS)
        page = self.figure.add_axes((0, 0, 1, 1))
        page.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
        page.set_axis_off()
        sheet = Sheet(self.figure, page, _LEFT, _RIGHT, 0.1, _TOP)

        title = wrap(outcome.site.title or TITLE_TEXT, 6.0, HEADING, "bold", 1)[0]
        about = wrap(f"{run.event.name or 'a flow'}: {volume_text(run)}", 6.0, SMALL, most=1)[0]
        notes = " ".join(f"! {note}." for note in joined(outcome.warnings))
        sheet.write(0.12, _TOP, title, HEADING, weight="bold")
        sheet.write(0.12, _TOP - 0.22, about)
        self.status = sheet.write(0.12, _TOP - 0.42, "")
        sheet.write(0.12, _TOP - 0.64, "\n".join(wrap(notes, _RIGHT - 0.12, SMALL, most=2)))
        self.clock = sheet.write(_RIGHT, _TOP, "", TITLE, ha="right", weight="bold")

        place = (_LEFT, _RIGHT, 2.55, _TOP - 1.0)
        self.box = BoxView(sheet, outcome, Scale.of(run), place)
        self.shares = ShareView(sheet, self.box, (1.45, 2.5), highest_share([outcome]))
        # left of the bars, under the inlet's column
        room = self.box.first - 0.6 * self.box.column - 0.12
        sheet.write(0.12, 2.4, "\n".join(wrap("share so far; dashed: its target", room, SMALL)))

        self.unit, name = time_unit(shown_until(run))
        over = (run.level - run.system.still_level) / INCH
        flows = [flow * MINUTE / GALLON for flow in (run.inflow, run.flow.sum(1))]
        self.marks: list[Line2D] = []
        for left, right, words, curves in (
            (_LEFT, 4.15, f"water over the lowest lip, in, against {name}", [over]),
            (4.7, _RIGHT, "gpm: in (solid), all outlets (dashed)", flows),
        ):
            axes = sheet.axes(left, right, 0.4, 1.12)
            most = max(float(np.max(curve)) for curve in curves)
            time, _ = time_axes(axes, run, 0.0, 1.08 * most if most > 0 else 1.0, count=3)
            for curve, dashes in zip(curves, DASHES, strict=False):
                # light enough for the mark to be seen
                axes.plot(time, curve, color=GREY, linewidth=THIN, linestyle=dashes)
            sheet.write(left, 1.3, words)
            self.marks += axes.plot([0.0, 0.0], axes.get_ylim(), color=INK, linewidth=MEDIUM,
                                    label="now", zorder=5)  # fmt: skip
        self.show(0.0)
        use_fonts([self.figure])
        for artist in self.moving:
            artist.set_animated(True)

    @property
    def moving(self) -> list[Artist]:
        """What changes from one moment to the next, from the back to the front."""
        return [*self.box.moving, *self.shares.moving, *self.marks, self.clock, self.status]

    @pens
    def show(self, time: float) -> None:
        """Move everything to a time; time [s]."""
        now = self.run.at(time)
        self.box.show(now)
        self.shares.show(now.share)
        for mark in self.marks:
            mark.set_xdata([time / self.unit] * 2)
        self.clock.set_text(clock(time))
        over = self.lengths.both(now.level - self.run.system.still_level)
        words = f"in {gpm(now.inflow)};  water {over} over the lowest lip"
        if self.run.system.rim is not None and now.overflow > 0:
            words += f";  OVER THE RIM {gpm(now.overflow)}"
        self.status.set_text(words)


FILM_SUFFIXES = (".gif", ".mp4")
"""Kinds of film that can be written."""

LAST_FRAME = 2.0
"""How long the last frame of a GIF stands. [s]"""

_GREYS = 16
_TO_GREY = np.rint(np.arange(256) * (_GREYS - 1) / 255).astype(np.uint8)
_PALETTE = np.repeat(np.arange(_GREYS) * 255 // (_GREYS - 1), 3).astype(np.uint8).tobytes()


class Screen(Figure):
    """A figure whose saving hands over what stands on its canvas."""

    def savefig(self, fname: Any, **how: Any) -> None:
        """Write the canvas, as the writers of films ask for it."""
        canvas: Any = self.canvas
        if how["format"] == "rgba":
            fname.write(canvas.buffer_rgba())
        else:
            grey_picture(canvas).save(fname, format=how["format"])


def grey_picture(canvas: Any) -> Image.Image:
    """What stands on a canvas, in sixteen greys."""
    red: npt.NDArray[np.uint8] = np.asarray(canvas.buffer_rgba())[:, :, 0]
    picture = Image.fromarray(_TO_GREY[red], "P")
    picture.putpalette(_PALETTE)
    return picture


class Film:
    """A run on a canvas, frame after frame."""

    @pens
    def __init__(self, outcome: SurgeOutcome) -> None:
        self.screen = Screen()
        self.frame = SurgeFrame(outcome, self.screen)
        canvas: Any = FigureCanvasAgg(self.screen)
        self.canvas = canvas
        self.canvas.draw()
        self.still = self.canvas.copy_from_bbox(self.screen.bbox)

    @pens
    def show(self, time: float) -> None:
        """Draw the frame of a time [s]."""
        self.frame.show(time)
        self.canvas.restore_region(self.still)
        renderer = self.canvas.get_renderer()
        for artist in self.frame.moving:
            artist.draw(renderer)

    def frames(
        self, times: Array, progress: Callable[[float], None] | None = None
    ) -> Iterator[FigureCanvasAgg]:
        """The canvas at each of some times [s]."""
        for count, time in enumerate(times, start=1):
            self.show(float(time))
            yield self.canvas
            if progress:
                progress(count / times.size)


def write_gif(frames: Iterable[FigureCanvasAgg], path: Path) -> None:
    """Write a GIF, its frames in one palette of greys from the start; the last one stands."""
    first, *others = [grey_picture(canvas) for canvas in frames]
    durations = [round(1000 * FRAME)] * len(others) + [round(1000 * LAST_FRAME)]
    first.save(path, save_all=True, append_images=others, duration=durations, loop=0,
               optimize=False)  # fmt: skip


def check_film(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a film that cannot be written, before anything is computed for it.

    >>> check_film("surge.avi")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: surge.avi: no film ends like this; write .gif or .mp4
    """
    path = Path(path)
    suffix = path.suffix.lower()
    if suffix not in FILM_SUFFIXES:
        raise ScenarioError(f"{path}: no film ends like this; write {any_of(FILM_SUFFIXES)}")
    check_place(path, overwrite=overwrite)
    if suffix == ".mp4" and not FFMpegWriter.isAvailable():
        raise ScenarioError(
            f"{path}: an .mp4 needs ffmpeg, which is not found here; install it, or write .gif "
            "or .html"
        )
    return path


def write_film(
    outcome: SurgeOutcome,
    path: Path | str,
    *,
    overwrite: bool = False,
    frames: int = MOVING_FRAMES,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write the film of a run as GIF or MP4, as the suffix says."""
    path = check_film(path, overwrite=overwrite)
    film, times = Film(outcome), frame_times(outcome.surge, frames)
    fps: Any = 1.0 / FRAME

    def make(draft: Path) -> None:
        shown = film.frames(times, progress)
        if draft.suffix == ".gif":
            write_gif(shown, draft)
            return
        writer: Any = FFMpegWriter(fps=fps)
        try:
            with writer.saving(film.screen, draft, film.screen.dpi):
                for _ in shown:
                    writer.grab_frame()
        except CalledProcessError as error:
            raise ScenarioError(
                f"{path}: ffmpeg cannot write it (it ended with {error.returncode}); make room, "
                "name another place, or write .gif or .html"
            ) from error

    write_file(path, make, overwrite=overwrite)
