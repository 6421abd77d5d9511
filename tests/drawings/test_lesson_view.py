"""The live window moved by its sliders, on a canvas without a screen."""

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from dbox import split
from dbox.drawings.lesson_view import LiveWindow, has_screen
from dbox.fieldwork.lessons import FILLED, Bench, lesson_site
from dbox.units import INCH, LITRE_PER_MINUTE
from tests.drawings import paper


@pytest.fixture
def window():
    figure = Figure()
    FigureCanvasAgg(figure)
    window = LiveWindow(Bench(site=lesson_site()), figure)
    figure.canvas.draw()
    return window


def pixels(window: LiveWindow) -> np.ndarray:
    return np.asarray(window.figure.canvas.buffer_rgba()).astype(int)


def set_some(window: LiveWindow) -> None:
    window.sliders["right"].set_val(0.125)
    window.sliders["far"].set_val(-0.0625)
    window.sliders["lip"].set_val(-0.1)
    window.sliders["flow"].set_val(np.log10(30.0))


def test_the_water_stands_at_the_level_of_a_single_split(window):
    set_some(window)
    window.kinds.set_active(3)
    window.trench.set_active(0)
    site, kind = window.bench.site, window.bench.kinds[3]
    lips = [
        -0.0625 * INCH * (0.5 - o.position[0] / (16 * INCH))
        + 0.125 * INCH * (0.5 - o.position[1] / (20 * INCH))
        - (0.1 * INCH if i == 0 else 0.0)
        for i, o in enumerate(site.outlets)
    ]
    one = split(30 * LITRE_PER_MINUTE, lips, kind.opening, [FILLED, *[-np.inf] * 3])
    assert window.section.level.get_ydata() == pytest.approx([float(one.level)] * 2)
    drawn = [line.get_ydata()[0] for line in window.section.lips]
    assert drawn == pytest.approx(lips)
    bars = [bar.get_height() for bar in window.shares.bars]
    assert bars == pytest.approx(100 * one.share)
    assert window.section.tail.get_visible()


@pytest.mark.slow
def test_more_flow_raises_the_water_and_a_lean_lowers_lips(window):
    (low, _) = window.section.level.get_ydata()
    window.sliders["flow"].set_val(2.0)
    assert window.section.level.get_ydata()[0] > low
    before = [line.get_ydata()[0] for line in window.section.lips]
    window.sliders["right"].set_val(0.25)
    after = [line.get_ydata()[0] for line in window.section.lips]
    assert after[0] > before[0]
    assert after[-1] < before[-1]


@pytest.mark.slow
def test_a_cheap_frame_looks_like_a_whole_drawing(window):
    still = pixels(window)
    set_some(window)
    cheap = pixels(window)
    window.figure.canvas.draw()
    assert (cheap != still).any()
    assert np.array_equal(cheap, pixels(window))


@pytest.mark.slow
def test_buttons_are_seen_in_later_frames(window):
    window.trench.set_active(0)
    window.kinds.set_active(2)
    window.sliders["lip"].set_val(0.05)
    cheap = pixels(window)
    window.figure.canvas.draw()
    assert np.array_equal(cheap, pixels(window))


@pytest.mark.everyday(1)
@pytest.mark.parametrize("n", [2, 8])
def test_every_word_of_the_window_can_be_read(n):
    figure = Figure()
    FigureCanvasAgg(figure)
    window = LiveWindow(Bench(site=lesson_site(n)), figure)
    set_some(window)
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []


def test_there_is_no_screen_where_pictures_go_to_files_only(monkeypatch):
    import matplotlib

    monkeypatch.setitem(matplotlib.rcParams, "backend", "agg")
    assert not has_screen()
