"""How does a run become a film: a GIF, an MP4, or a page with a player that needs no network?

The film is written by matplotlib's own writers. They save the whole figure for every frame; here
the figure is drawn once, and for each frame only what moves is drawn over a copy of that, so that
saving hands over what stands on the canvas. A GIF is kept in sixteen greys all along.
"""

import re
from collections.abc import Callable
from pathlib import Path
from subprocess import CalledProcessError
from typing import Any

import numpy as np
import numpy.typing as npt
from matplotlib.animation import AbstractMovieWriter, FFMpegWriter, HTMLWriter, PillowWriter
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from PIL import Image

from dbox.arrays import Array
from dbox.drawings.style import pens
from dbox.drawings.surge.frame import SurgeFrame
from dbox.drawings.surge.moment import FRAME, MOVING_FRAMES, frame_times
from dbox.errors import ScenarioError
from dbox.fieldwork.surge.run import Outcome
from dbox.files.faults import any_of
from dbox.files.write_file import check_place, write_file

FILM_SUFFIXES = (".gif", ".mp4", ".html")
"""Kinds of film that can be written."""

LAST_FRAME = 2.0
"""How long the last frame of a GIF stands. [s]"""

_GREYS = 16
_TO_GREY = np.rint(np.arange(256) * (_GREYS - 1) / 255).astype(np.uint8)
_PALETTE = np.repeat(np.arange(_GREYS) * 255 // (_GREYS - 1), 3).astype(np.uint8).tobytes()

_PLAYER_STYLE = """<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<style>
.animation img { max-width: 100%; height: auto; }
.anim-controls { max-width: 100%; }
.fa { font-style: normal; }
.fa-minus::before { content: "\\2212"; }
.fa-plus::before { content: "+"; }
.fa-fast-backward::before { content: "|\\25C0"; }
.fa-step-backward::before { content: "\\2039"; }
.fa-play::before { content: "\\25B6"; }
.fa-play.fa-flip-horizontal::before { content: "\\25C0"; }
.fa-pause::before { content: "\\2016"; }
.fa-step-forward::before { content: "\\203A"; }
.fa-fast-forward::before { content: "\\25B6|"; }
</style>
"""


class Screen(Figure):
    """A figure whose saving hands over what stands on its canvas."""

    def savefig(self, fname: Any, **how: Any) -> None:
        """Write the canvas, as the writers of films ask for it.

        Parameters
        ----------
        fname : binary file
            Where.
        **how
            `format`, which is `rgba` or `png`; the dots are those of the canvas.
        """
        canvas: Any = self.canvas
        if how["format"] == "rgba":
            fname.write(canvas.buffer_rgba())
        else:
            grey_picture(canvas).save(fname, format=how["format"])


class GreyGif(PillowWriter):
    """Pillow's GIF, its frames in one palette of greys from the start."""

    def setup(self, fig: Figure, outfile: Any, dpi: float | None = None) -> None:
        """Begin a film.

        Parameters
        ----------
        fig : Figure
            On a canvas of Agg.
        outfile : path
            Where.
        dpi : float, optional
            Resolution, that of the canvas. [dots/in]
        """
        super().setup(fig, outfile, dpi=dpi)
        self.pictures: list[Image.Image] = []

    def grab_frame(self, **_: Any) -> None:
        """Take what stands on the canvas."""
        canvas: Any = self.fig.canvas
        self.pictures.append(grey_picture(canvas))

    def finish(self) -> None:
        """Write the file; the last frame stands for `LAST_FRAME`."""
        each = round(1000 / self.fps)
        durations = [each] * (len(self.pictures) - 1) + [round(1000 * LAST_FRAME)]
        first, *others = self.pictures
        first.save(self.outfile, save_all=True, append_images=others, duration=durations, loop=0,
                   optimize=False)  # fmt: skip


def grey_picture(canvas: Any) -> Image.Image:
    """What stands on a canvas, in sixteen greys.

    Parameters
    ----------
    canvas : FigureCanvasAgg
        Drawn in black and white.
    """
    red: npt.NDArray[np.uint8] = np.asarray(canvas.buffer_rgba())[:, :, 0]
    picture = Image.fromarray(_TO_GREY[red], "P")
    picture.putpalette(_PALETTE)
    return picture


class Film:
    """A run on a canvas, frame after frame.

    Parameters
    ----------
    outcome : Outcome
        The run.
    """

    @pens
    def __init__(self, outcome: Outcome) -> None:
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

    def play(
        self,
        writer: AbstractMovieWriter,
        path: Path,
        times: Array,
        progress: Callable[[float], None] | None = None,
    ) -> None:
        """Hand every frame to a writer.

        Parameters
        ----------
        writer : AbstractMovieWriter
            One of matplotlib's.
        path : Path
            Where it writes.
        times : ndarray, shape (f,)
            Moments of the run. [s]
        progress : callable, optional
            Told after each frame how much is done, from 0 to 1.
        """
        with writer.saving(self.screen, path, self.screen.dpi):
            for count, time in enumerate(times, start=1):
                self.show(float(time))
                writer.grab_frame()
                if progress:
                    progress(count / times.size)


def check_film(path: Path | str, *, overwrite: bool = False) -> Path:
    """Refuse a film that cannot be written, before anything is computed for it.

    Parameters
    ----------
    path : Path or str
        Where it would be written.
    overwrite : bool
        Whether a file that is there may be replaced.

    Returns
    -------
    Path
        The same path.

    Raises
    ------
    ScenarioError
        Where the suffix is not one of `FILM_SUFFIXES`, ffmpeg is needed and not there, there is no
        such folder, the path is one, or a file is there and may not be replaced.

    >>> check_film("surge.avi")
    Traceback (most recent call last):
    dbox.errors.ScenarioError: surge.avi: no film ends like this; write .gif, .mp4 or .html
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
    outcome: Outcome,
    path: Path | str,
    *,
    overwrite: bool = False,
    frames: int = MOVING_FRAMES,
    progress: Callable[[float], None] | None = None,
) -> None:
    """Write the film of a run as GIF, MP4 or HTML, as the suffix says.

    Parameters
    ----------
    outcome : Outcome
        The run.
    path : Path or str
        Where.
    overwrite : bool
        Whether a file that is there may be replaced.
    frames : int
        Frames for the time in which water moves.
    progress : callable, optional
        Told after each frame how much is done, from 0 to 1.

    Raises
    ------
    ScenarioError
        As `check_film`, or where the file cannot be written.
    """
    path = check_film(path, overwrite=overwrite)
    film = Film(outcome)

    def make(draft: Path) -> None:
        try:
            film.play(_writer(draft), draft, frame_times(outcome.surge, frames), progress)
        except CalledProcessError as error:
            raise ScenarioError(
                f"{path}: ffmpeg cannot write it (it ended with {error.returncode}); make room, "
                "name another place, or write .gif or .html"
            ) from error
        if draft.suffix == ".html":
            draft.write_text(_alone(draft.read_text(encoding="utf-8")), encoding="utf-8")

    write_file(path, make, overwrite=overwrite)


def _writer(path: Path) -> AbstractMovieWriter:
    fps: Any = 1.0 / FRAME
    if path.suffix == ".gif":
        return GreyGif(fps=fps)
    if path.suffix == ".mp4":
        return FFMpegWriter(fps=fps)
    return HTMLWriter(fps=fps, embed_frames=True, default_mode="once", embed_limit=1000.0)


def _alone(page: str) -> str:
    """Rid matplotlib's player of what it fetches: its buttons' letters; and of its random name."""
    page = re.sub(r"<link [^>]*>", "", page)
    name = re.search(r"_anim_img([0-9a-f]{32})", page)
    assert name is not None
    return "<!DOCTYPE html>\n" + _PLAYER_STYLE + page.replace(name[1], "surge")
