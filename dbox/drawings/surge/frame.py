"""One frame of the film of a run: what stands still is drawn once, what moves is moved."""

import numpy as np
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from dbox.arrays import Array
from dbox.drawings.fonts import use_fonts
from dbox.drawings.lettering import joined, wrap
from dbox.drawings.style import (
    DASHES,
    GREY,
    HEADING,
    INK,
    MEDIUM,
    MOST_OUTLETS,
    SMALL,
    THIN,
    TITLE,
    Sheet,
    pens,
)
from dbox.drawings.surge.box_view import BoxView, Scale
from dbox.drawings.surge.curves import dress
from dbox.drawings.surge.moment import about, clock, moment, shown_until, time_unit
from dbox.drawings.surge.share_view import ShareView, full_bar
from dbox.errors import DomainError
from dbox.fieldwork.surge.run import Outcome
from dbox.files.notation import gpm, inches_mm
from dbox.files.units import GALLON, INCH, MINUTE

WIDTH, HEIGHT, DOTS = 8.0, 6.0, 100
"""Size of a frame [in], and its dots per inch."""

_LEFT, _RIGHT, _TOP = 0.75, 7.85, 5.88


class SurgeFrame:
    """A figure that shows a run at one moment.

    Parameters
    ----------
    outcome : Outcome
        The run.
    figure : Figure, optional
        An empty figure to draw in; left out, a new one.

    Raises
    ------
    DomainError
        Where there are more outlets than a drawing holds.
    """

    @pens
    def __init__(self, outcome: Outcome, figure: Figure | None = None) -> None:
        if len(outcome.labels) > MOST_OUTLETS:
            raise DomainError(
                f"{len(outcome.labels)} outlets: a drawing holds at most {MOST_OUTLETS}"
            )
        self.outcome, self.run = outcome, outcome.surge
        self.figure = figure if figure is not None else Figure()
        self.figure.set(size_inches=(WIDTH, HEIGHT), dpi=DOTS)
        page = self.figure.add_axes((0, 0, 1, 1))
        page.set(xlim=(0, WIDTH), ylim=(0, HEIGHT))
        page.set_axis_off()
        sheet = Sheet(self.figure, page, _LEFT, _RIGHT, 0.1, _TOP)
        self._write_head(sheet)
        place = (_LEFT, _RIGHT, 2.55, _TOP - 1.0)
        self.box = BoxView(sheet, outcome.site, self.run, Scale.of(self.run), place)
        whole = full_bar(outcome)
        first, column = self.box.first, self.box.column
        self.shares = ShareView(sheet, outcome, first, column, 1.45, 2.5, whole)
        self._write_key(sheet)
        self._draw_strips(sheet)
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
        """Move everything to a time.

        Parameters
        ----------
        time : float
            [s]
        """
        now = moment(self.run, time)
        self.box.show(now)
        self.shares.show(now.share)
        for mark in self.marks:
            mark.set_xdata([time / self.unit] * 2)
        self.clock.set_text(clock(time))
        still = self.run.system.still_level
        words = f"in {gpm(now.inflow)};  water {inches_mm(now.level - still)} over the lowest lip"
        if self.run.system.rim is not None and now.overflow > 0:
            words += f";  OVER THE RIM {gpm(now.overflow)}"
        self.status.set_text(words)

    def _write_head(self, sheet: Sheet) -> None:
        title = self.outcome.site.title or "A discharge on its way through the box"
        sheet.write(0.12, _TOP, wrap(title, 6.0, HEADING, "bold", 1)[0], HEADING, weight="bold")
        sheet.write(0.12, _TOP - 0.22, wrap(about(self.run), 6.0, SMALL, most=1)[0])
        notes = " ".join(f"! {note}." for note in joined(self.outcome.warnings))
        sheet.write(0.12, _TOP - 0.64, "\n".join(wrap(notes, _RIGHT - 0.12, SMALL, most=2)))
        look = {"ha": "right", "weight": "bold"}
        self.clock = sheet.write(_RIGHT, _TOP, "", TITLE, **look)
        self.status = sheet.write(0.12, _TOP - 0.42, "")

    def _write_key(self, sheet: Sheet) -> None:
        """Left of the bars, under the inlet's column."""
        room = self.box.first - 0.6 * self.box.column - 0.12
        lines = wrap("share so far; dashed: its target", room, SMALL)
        sheet.write(0.12, 2.4, "\n".join(lines))

    def _draw_strips(self, sheet: Sheet) -> None:
        run, until = self.run, shown_until(self.run)
        self.unit, name = time_unit(until)
        self.marks = []
        over = (run.level - run.system.still_level) / INCH
        rate = MINUTE / GALLON
        strips = [
            (_LEFT, 4.15, f"water over the lowest lip, in, against {name}", [over]),
            (4.7, _RIGHT, "gpm: in (solid), all outlets (dashed)",
             [run.inflow * rate, run.flow.sum(1) * rate]),
        ]  # fmt: skip
        for left, right, words, curves in strips:
            axes = sheet.axes(left, right, 0.4, 1.12)
            _plot(axes, run.time / self.unit, curves, until / self.unit)
            sheet.write(left, 1.3, words)
            (mark,) = axes.plot([0.0, 0.0], axes.get_ylim(), color=INK, linewidth=MEDIUM,
                                label="now", zorder=5)  # fmt: skip
            self.marks.append(mark)


def _plot(axes: Axes, time: Array, curves: list[Array], until: float) -> None:
    """Curves from 0 on, light enough for the mark to be seen."""
    most = max(float(np.max(curve)) for curve in curves)
    dress(axes, until, 0.0, 1.08 * most if most > 0 else 1.0, count=3)
    for curve, dashes in zip(curves, DASHES, strict=False):
        axes.plot(time, curve, color=GREY, linewidth=THIN, linestyle=dashes)
