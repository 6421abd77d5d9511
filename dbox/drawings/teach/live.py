"""What happens if I lean it so? A window with sliders, redrawn many times a second.

What stands still is drawn once and kept as a picture; each frame puts that picture back and draws
the moving artists over it. The sliders' own knobs and words count as moving: left to themselves
the sliders would have the whole figure drawn at each step, which is several times slower.
"""

from collections.abc import Callable
from functools import partial

import matplotlib
import numpy as np
from matplotlib.artist import Artist
from matplotlib.backend_bases import DrawEvent, Event
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.widgets import CheckButtons, RadioButtons, Slider

from dbox.drawings.fonts import drawable, families, use_fonts, write_on
from dbox.drawings.style import BODY, HEADING, INK, SMALL, TINT, pens
from dbox.drawings.teach.bench_view import Motion, PlanView, SectionView, ShareView
from dbox.fieldwork.lessons.bench import Bench
from dbox.fieldwork.lessons.bench_box import LITRE_PER_MINUTE
from dbox.fieldwork.targets import target_shares
from dbox.files.notation import gpm_litres, inches, millimetres
from dbox.files.units import INCH

SIZE = (11.0, 7.2)
"""Size of the window. [in]"""

MOST_LEAN, MOST_LIP = 0.5 * INCH, 0.25 * INCH
"""How far the sliders go, either way. [m]"""

FLOWS = (1.0, 120.0)
"""Least and most flow of the slider. [L/min]"""


class LiveWindow:
    """A bench with sliders; keep it as long as its window is open.

    Parameters
    ----------
    bench : Bench
        The box.
    figure : Figure
        An empty figure on a canvas that can keep a part of itself, as every window's can.

    Notes
    -----
    `sliders` are `far`, `right`, `lip` (inches, as those on site think) and `flow` (the logarithm
    to base 10 of litres a minute); `kinds` and `trench` are the buttons.
    """

    @pens
    def __init__(self, bench: Bench, figure: Figure) -> None:
        self.bench, self.figure = bench, figure
        figure.set_size_inches(*SIZE)
        self._background: object | None = None
        section = figure.add_axes((0.09, 0.55, 0.52, 0.36))
        self.section = SectionView(
            section, bench, section.bbox.width / section.bbox.height / len(bench.site.outlets)
        )
        self.plan = PlanView(figure.add_axes((0.64, 0.47, 0.35, 0.46)), bench)
        self.shares = ShareView(figure.add_axes((0.09, 0.31, 0.52, 0.17)), bench, target_shares(
            bench.site))  # fmt: skip
        figure.text(0.03, 0.965, "Lean it, and watch the water", fontsize=HEADING + 2,
                    weight="bold", va="top")  # fmt: skip
        self.words = figure.text(0.97, 0.965, "", fontsize=BODY, va="top", ha="right")
        # widgets draw the whole figure as they come
        use_fonts([figure])
        with matplotlib.rc_context({"font.family": families(self._label)}):
            self._add_widgets()
        figure.text(
            0.03, 0.012, _INVENTED * bench.site.record.invented + _NOTE, fontsize=SMALL, va="bottom"
        )
        for slider in self.sliders.values():
            slider.on_changed(self._changed)
        self.kinds.on_clicked(self._changed)
        self.trench.on_clicked(self._changed)
        self._set_moving()
        self.motion = self._move()
        figure.canvas.mpl_connect("draw_event", self._keep)

    @property
    def _label(self) -> str:
        return drawable(self.bench.site.outlets[self.bench.outlet].label)

    def _add_widgets(self) -> None:
        self.sliders = self._sliders()
        self.kinds = RadioButtons(
            self.figure.add_axes((0.66, 0.05, 0.17, 0.24), frameon=False),
            [kind.name for kind in self.bench.kinds], activecolor=INK, useblit=False,
        )  # fmt: skip
        self.trench = CheckButtons(
            self.figure.add_axes((0.83, 0.17, 0.16, 0.1), frameon=False),
            [f"trench of line\n{self._label} full"],
            useblit=False,
        )

    @property
    def moving(self) -> list[Artist]:
        """Everything that is drawn anew for each frame."""
        knobs = [
            artist
            for slider in self.sliders.values()
            for artist in (slider.poly, *slider.ax.lines, slider.valtext)
        ]
        views = [*self.section.artists, *self.shares.artists, *self.plan.artists]
        return [*views, self.words, *knobs]

    def redraw(self) -> None:
        """Draw one frame: what stands still from the kept picture, the rest anew."""
        canvas = self.figure.canvas
        if self._background is None or not isinstance(canvas, FigureCanvasAgg):
            canvas.draw()
            return
        canvas.restore_region(self._background)  # type: ignore[no-untyped-call]
        self._draw_moving()
        canvas.blit(self.figure.bbox)

    def _sliders(self) -> dict[str, Slider]:
        lean, lip = MOST_LEAN / INCH, MOST_LIP / INCH
        low, high = (float(np.log10(flow)) for flow in FLOWS)
        bars: dict[str, tuple[str, float, float, float, Callable[[float], str]]] = {
            "right": ("right side low", -lean, lean, 0.0, _height_words),
            "far": ("far side low", -lean, lean, 0.0, _height_words),
            "lip": (f"lip {self._label} alone", -lip, lip, 0.0, _height_words),
            "flow": ("flow", low, high, low, _flow_words),
        }
        made = {}
        for row, (name, (label, least, most, start, words)) in enumerate(bars.items()):
            axes = self.figure.add_axes((0.14, 0.215 - 0.05 * row, 0.33, 0.035))
            # drawn by redraw, not by the slider itself
            slider = Slider(axes, label, least, most, valinit=start, color=TINT, track_color="0.95",
                            initcolor="none", dragging=True)  # fmt: skip
            slider.drawon = False
            slider.valtext.set_text(words(start))
            slider.on_changed(partial(_say, slider, words))
            made[name] = slider
        return made

    def _set_moving(self) -> None:
        for artist in self.moving:
            artist.set_animated(True)

    def _changed(self, _: object) -> None:
        self.motion = self._move()
        self.redraw()

    def _move(self) -> Motion:
        """Split at what is set, and move every artist to it."""
        far, right, lip = (INCH * self.sliders[name].val for name in ("far", "right", "lip"))
        inflow = LITRE_PER_MINUTE * 10 ** self.sliders["flow"].val
        kind = int(self.kinds.index_selected)
        filled = bool(self.trench.get_status()[0])
        result = self.bench.split(kind, inflow, far, right, lip, filled)
        lips = self.bench.lips(far, right, lip)
        motion = Motion(result, kind, lips, far, right, filled)
        for view in (self.section, self.plan, self.shares):
            view.move(motion)
        write_on(self.words, _words(self.bench, motion))
        return motion

    def _keep(self, event: Event) -> None:
        """After the whole figure was drawn, without what moves: keep it, and add what moves."""
        canvas = self.figure.canvas
        saving = canvas.is_saving()
        if isinstance(event, DrawEvent) and isinstance(canvas, FigureCanvasAgg) and not saving:
            self._background = canvas.copy_from_bbox(  # type: ignore[no-untyped-call]
                self.figure.bbox
            )
        self._draw_moving()

    def _draw_moving(self) -> None:
        for artist in self.moving:
            self.figure.draw_artist(artist)


_INVENTED = "Invented box. "
_NOTE = (
    "The lips are level before the box leans. Below 5 mm of head surface tension decides and "
    "the formulas are out of their range. Local code and permit decide."
)


def show(bench: Bench) -> None:
    """Open the window and wait until it is closed.

    Parameters
    ----------
    bench : Bench
        The box.
    """
    from matplotlib import pyplot

    window = LiveWindow(bench, pyplot.figure("dbox teach live"))
    pyplot.show()
    del window


def has_screen() -> bool:
    """Whether matplotlib finds a way to open a window here."""
    from matplotlib import pyplot
    from matplotlib.backends.registry import BackendFilter, backend_registry

    windows = backend_registry.list_builtin(  # type: ignore[no-untyped-call]
        BackendFilter.INTERACTIVE
    )
    name = matplotlib.get_backend()
    if name.lower() not in windows:
        return False
    try:
        pyplot.switch_backend(name)
    except ImportError:
        # a backend was asked for that finds no screen
        return False
    return True


def _say(slider: Slider, words: Callable[[float], str], value: float) -> None:
    slider.valtext.set_text(words(value))


def _height_words(value: float) -> str:
    return f"{inches(value * INCH, signed=True, parts=32)}, {millimetres(value * INCH)}"


def _flow_words(value: float) -> str:
    return gpm_litres(LITRE_PER_MINUTE * 10**value)


def _words(bench: Bench, motion: Motion) -> str:
    share = motion.result.share
    most = int(np.argmax(share))
    fair = target_shares(bench.site)[most]
    return (
        f"outlet {bench.site.outlets[most].label} gets {100 * share[most]:.0f} %, "
        f"fair is {100 * fair:.3g} %"
    )
