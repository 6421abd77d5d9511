"""A film of runs: GIF or MP4.

A film opens on a title that says what to watch for, and ends on a still of what it came to. In
between the figure is drawn once, and for each frame only what moves is drawn over a copy of that,
so that saving hands over what stands on the canvas. A GIF has one palette, of the colours that its
first and last pictures hold.
"""

from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from subprocess import CalledProcessError
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.animation import FFMpegWriter
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgba
from matplotlib.figure import Figure
from PIL import Image

from dbox.drawings.style import PALE, PALETTE, pens
from dbox.drawings.surge_frames import (
    CLOSING,
    FRAME,
    OPENING,
    Show,
    SurgeFrame,
    closing_figure,
    opening_figure,
)
from dbox.errors import ScenarioError, any_of
from dbox.fieldwork.surge import SurgeOutcome
from dbox.files.write_file import check_place, write_file

FILM_SUFFIXES = (".gif", ".mp4")
"""Kinds of film that can be written."""

_MOST_COLOURS = 127
"""Colours of a GIF, besides the one that stands for what was there before. [-] (judgement)"""

_BIT_RATE = 800
"""Of an MP4: 1.4 MB for a usual film. [kbit/s] (judgement)"""

Picture = npt.NDArray[np.uint8]
"""Red, green, blue and whole cover of every dot, (height, width, 4)."""


class Screen(Figure):
    """A figure whose saving hands over the picture that is shown."""

    picture: Picture

    def savefig(self, fname: Any, **how: Any) -> None:
        """Write the picture, as the writers of films ask for it."""
        if how["format"] == "rgba":
            fname.write(self.picture)
        else:
            Image.fromarray(self.picture).save(fname, format=how["format"])


class Film:
    """Runs on a canvas: the title, frame after frame, and the last still."""

    @pens
    def __init__(self, outcomes: Sequence[SurgeOutcome], how: Show | None = None) -> None:
        self.how = how or Show()
        self.screen = Screen()
        self.frame = SurgeFrame(outcomes, self.how, self.screen)
        self.times = self.how.times(self.frame.outcomes)
        self.opening = _painted(opening_figure(outcomes, self.how))
        self.closing = _painted(closing_figure(outcomes, self.how))
        canvas: Any = FigureCanvasAgg(self.screen)
        self.canvas = canvas
        self.canvas.draw()
        self.still = self.canvas.copy_from_bbox(self.screen.bbox)

    @pens
    def show(self, time: float, speed: float = 1.0) -> Picture:
        """Draw the frame of a time [s]."""
        self.frame.show(time, speed)
        self.canvas.restore_region(self.still)
        renderer = self.canvas.get_renderer()
        for artist in self.frame.moving:
            artist.draw(renderer)
        return np.asarray(self.canvas.buffer_rgba())

    def pictures(
        self, progress: Callable[[float], None] | None = None
    ) -> Iterator[tuple[Picture, float]]:
        """Every picture and how long it stands. [s]"""
        yield self.opening, OPENING
        # the last frame leaps to the end of the run
        even = self.times[:-1] if self.times.size > 2 else self.times
        speeds = np.gradient(even) / FRAME
        speeds = np.append(speeds, speeds[-1])[: self.times.size]
        for count, (time, speed) in enumerate(zip(self.times, speeds, strict=True), start=1):
            yield self.show(float(time), float(speed)), FRAME
            if progress:
                progress(count / self.times.size)
        yield self.closing, CLOSING

    def colours(self) -> "Colours":
        """The colours of its title, of some of its frames and of its last still."""
        some = [
            self.show(float(time)).copy() for time in self.times[:: max(self.times.size // 3, 1)]
        ]
        return Colours([self.opening, *some, self.closing])


def _painted(figure: Figure) -> Picture:
    canvas: Any = FigureCanvasAgg(figure)
    canvas.draw()
    return np.asarray(canvas.buffer_rgba())


class Colours:
    """The most frequent colours of some pictures, those of the palette first."""

    def __init__(self, pictures: Sequence[Picture]) -> None:
        # every third column holds all colours that fill more than a hair
        dots = np.concatenate([picture[:, ::3].reshape(-1, 4) for picture in pictures])
        bins = _bins(dots)
        counts = np.bincount(bins, minlength=_BINS)
        names = (*(role.colour for role in PALETTE), "white", PALE)
        own = np.rint(255 * np.array([to_rgba(name) for name in names])).astype(np.uint8)
        counts[_bins(own)] = 0
        frequent = np.argsort(-counts, kind="stable")[: _MOST_COLOURS - len(own)]
        frequent = frequent[counts[frequent] > 0]
        sums = [np.bincount(bins, band, _BINS)[frequent] for band in dots.T]
        means = np.rint(np.stack(sums, -1) / counts[frequent, None]).astype(np.uint8)
        table = np.vstack([own, means])
        self.table = table[:, :3]
        every = np.arange(_BINS)
        middles = np.stack([every & 31, every >> 5 & 31, every >> 10], -1) * 8.0 + 3.5
        # squares of the distances, but for that part which is alike for all of the table
        held = self.table.astype(np.float64)
        apart = (held**2).sum(-1) - 2.0 * middles @ held.T
        self._nearest = apart.argmin(1).astype(np.uint8)
        self._nearest[_bins(table)[::-1]] = np.arange(len(table), dtype=np.uint8)[::-1]

    def of(self, picture: Picture) -> Picture:
        """Which colour each dot of a picture is."""
        dots: Picture = self._nearest[_bins(picture)]
        return dots


_BINS = 32**3


def _bins(dots: Picture) -> npt.NDArray[np.intp]:
    """Which of 32 x 32 x 32 colours each is, red in the lowest place."""
    whole: Any = np.ascontiguousarray(dots).view("<u4")[..., 0]
    bins: npt.NDArray[np.intp] = whole >> 3 & 31 | whole >> 6 & 992 | whole >> 9 & 31744
    return bins


def write_gif(film: Film, path: Path, progress: Callable[[float], None] | None = None) -> None:
    """Write a GIF of one palette; of each frame only the dots that are not as they were before."""
    colours = film.colours()
    before, pictures, durations = None, [], []
    for picture, seconds in film.pictures(progress):
        dots = colours.of(picture)
        changed = dots if before is None else np.where(dots == before, _MOST_COLOURS, dots)
        before = dots
        pictures.append(Image.fromarray(changed, "P"))
        pictures[-1].putpalette(colours.table.tobytes())
        durations.append(round(1000 * seconds))
    pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=durations, loop=0,
                     optimize=False, disposal=1, transparency=_MOST_COLOURS)  # fmt: skip


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
    outcomes: Sequence[SurgeOutcome],
    path: Path | str,
    how: Show | None = None,
    *,
    overwrite: bool = False,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write the film of runs as GIF or MP4, as the suffix says."""
    path = check_film(path, overwrite=overwrite)
    film = Film(outcomes, how)
    fps: Any = 1.0 / FRAME

    def make(draft: Path) -> None:
        if draft.suffix == ".gif":
            write_gif(film, draft, progress)
            return
        writer: Any = FFMpegWriter(fps=fps, bitrate=_BIT_RATE)
        try:
            with writer.saving(film.screen, draft, film.screen.dpi):
                for picture, seconds in film.pictures(progress):
                    film.screen.picture = picture
                    for _ in range(round(seconds / FRAME)):
                        writer.grab_frame()
        except CalledProcessError as error:
            raise ScenarioError(
                f"{path}: ffmpeg cannot write it (it ended with {error.returncode}); make room, "
                "name another place, or write .gif or .html"
            ) from error

    write_file(path, make, overwrite=overwrite)
