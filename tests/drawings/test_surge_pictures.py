"""Films and stills of a run show its numbers, legibly, in files that play anywhere."""

from dataclasses import replace
from functools import cache, lru_cache
from io import BytesIO

import numpy as np
import pytest
from matplotlib.lines import Line2D
from matplotlib.patches import Polygon, Rectangle
from PIL import Image

from dbox.drawings import surge_film
from dbox.drawings.surge_film import FRAME, LAST_FRAME, Film, SurgeFrame, check_film, write_film
from dbox.drawings.surge_picture import contrast_figure, surge_figure
from dbox.errors import DomainError, ScenarioError
from dbox.fieldwork.surge import (
    frame_times,
    house_event,
    run,
    run_days,
    settling_rates,
    shown_until,
    side_by_side,
)
from dbox.hydraulics.surge.inflow import steady
from dbox.report.wording import sentences
from dbox.units import GALLON, INCH
from tests.drawings import paper
from tests.drawings.cases import GPM, box, sites

EVENTS = {
    "shower": ("family-of-four", None),
    "flood over the rim": ("family-of-four", steady(150 * GPM, 20.0, name="flood")),
    "twenty, no positions": ("twenty, no positions", steady(20 * GPM, 60.0)),
    "six, long labels, no tolerance": ("six, long labels, no tolerance", steady(GPM, 300.0)),
    "twelve, two capped": ("twelve, two capped", steady(5 * GPM, 60.0)),
    "every hole": ("every hole", steady(5 * GPM, 60.0)),
    "one": ("one", steady(5 * GPM, 60.0)),
    "round": ("round", steady(30 * GPM, 60.0)),
}
SLOW = ("twenty, no positions", "every hole", "one", "round")
NAMES = tuple(pytest.param(n, marks=[pytest.mark.slow] if n in SLOW else []) for n in EVENTS)
"""Every run; half of them are looked at every day, the rest in the longer checks."""


@lru_cache(2)
def outcome(name):
    site, event = EVENTS[name]
    return run(sites()[site], event or house_event(["shower"]))


@lru_cache(2)
def frame(name):
    return SurgeFrame(outcome(name))


@cache
def contrast():
    return side_by_side(sites()["family-of-four"], 20 * GALLON)


def film_times(frames):
    return frame_times(outcome("shower").surge, frames)


def one(figure, kind, label):
    (artist,) = paper.named(figure, kind, label)
    return artist


def width(stream):
    return np.ptp(stream.get_xy()[:, 0]) if stream.get_visible() else 0.0


@pytest.mark.parametrize("name", NAMES)
def test_water_bars_and_streams_are_those_of_the_run(name):
    shown, case = frame(name), outcome(name)
    found, (low, high) = case.surge, shown.box.axes.get_ylim()
    peak = int(np.argmax(found.level))
    for row in (0, found.time.size // 2, found.time.size - 1, peak):
        shown.show(float(found.time[row]))
        level = np.asarray(one(shown.figure, Line2D, "level").get_ydata())
        water = one(shown.figure, Rectangle, "water")
        assert level == pytest.approx(np.full(2, found.level[row]), abs=1e-12)
        assert water.get_y() + water.get_height() == pytest.approx(level[0])
        assert low < level[0] < high
        bars = [bar.get_height() for bar in shown.shares.bars]
        assert bars == pytest.approx(found.running_share[row], abs=1e-12)
    inlet = width(one(shown.figure, Polygon, "inlet"))
    assert inlet > 0
    for i, outlet in enumerate(case.site.outlets):
        if not outlet.capped:
            wide = width(one(shown.figure, Polygon, f"stream {outlet.label}"))
            part = found.flow[peak, i] / found.inflow[peak]
            assert wide / inlet == pytest.approx(part, abs=1e-3)


def test_lips_targets_and_trenches_stand_at_their_heights():
    shown, case = frame("shower"), outcome("shower")
    shown.show(case.surge.seconds)
    for i, label in enumerate(case.labels):
        lip = one(shown.figure, Line2D, f"lip {label}").get_ydata()
        target = one(shown.figure, Line2D, f"target {label}").get_ydata()
        assert lip == pytest.approx([case.surge.system.lips[i]] * 2, abs=1e-12)
        assert target == pytest.approx([case.target[i]] * 2)
    first, second = (shown.box.trenches[i].get_height() for i in range(2))
    depth = case.surge.depth[-1]
    assert first / second == pytest.approx(depth[0] / depth[1])


def test_trenches_share_one_scale_with_their_pipes_once_one_is_passed():
    case = outcome("shower")
    depth = case.surge.depth.copy()
    depth[-1] = [0.4, 0.15, 0.1, 0.0, 0.0]
    shown = SurgeFrame(replace(case, surge=replace(case.surge, depth=depth)))
    shown.show(case.surge.seconds)
    for i, water in shown.box.trenches.items():
        pipe = one(shown.figure, Line2D, f"pipe {case.labels[i]}").get_ydata()[0]
        part = depth[-1, i] / case.surge.system.trenches[i].pipe_height
        assert water.get_height() / (pipe - water.get_y()) == pytest.approx(part)


def test_a_settling_box_takes_its_lips_along():
    site = sites()["family-of-four"]
    case = run_days(site, 1, settling=settling_rates(site, 30 * INCH, "right"))
    shown = SurgeFrame(case)
    shown.show(case.surge.seconds)
    for i, label in enumerate(case.labels):
        lip = one(shown.figure, Line2D, f"lip {label}").get_ydata()[0]
        assert lip == pytest.approx(case.surge.lips_end[i], abs=1e-12)
        hole = one(shown.figure, Polygon, f"hole {label}").get_xy()[:, 1]
        assert hole.min() == pytest.approx(lip, abs=1e-12)


def test_water_over_the_rim_is_said():
    shown, found = frame("flood over the rim"), outcome("flood over the rim").surge
    shown.show(found.peak_time)
    assert found.spilled[-1] > 0
    assert "OVER THE RIM" in shown.status.get_text()
    assert one(shown.figure, Line2D, "rim").get_ydata() == pytest.approx([found.system.rim] * 2)


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", NAMES)
def test_no_words_lie_on_words_at_any_time(name):
    shown = SurgeFrame(outcome(name))
    for at in np.linspace(0.0, shown_until(outcome(name).surge), 3):
        shown.show(float(at))
        paper.words.cache_clear()
        assert paper.overlaps(shown.figure) == []
        assert paper.off_page(shown.figure) == []
        assert paper.smallest(shown.figure) >= 7.0


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", NAMES)
def test_the_still_is_legible_and_holds_every_flow(name):
    case, figure = outcome(name), surge_figure(outcome(name))
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert np.ptp(one(figure, Line2D, "level").get_ydata()) * INCH == pytest.approx(
        np.ptp(case.surge.level)
    )
    for i, label in enumerate(case.labels):
        flow = one(figure, Line2D, f"flow {label}")
        assert np.array_equal(flow.get_ydata(), case.surge.flow[:, i])


def test_the_contrast_shows_each_peak_on_one_scale():
    figure = contrast_figure(contrast())
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    levels = paper.named(figure, Line2D, "level")
    assert [line.get_ydata()[0] for line in levels] == pytest.approx(
        [o.surge.peak_level for o in contrast()]
    )
    assert len({line.axes.get_ylim() for line in levels}) == 1
    for label, place in (("1", 0), ("5", 4)):
        bars = paper.named(figure, Rectangle, f"share {label}")
        shares = [o.surge.share[place] for o in contrast()]
        assert [bar.get_height() for bar in bars] == pytest.approx(shares)


def test_warnings_stand_in_every_picture():
    case = outcome("shower")
    assert case.warnings
    for figure in (frame("shower").figure, surge_figure(case), contrast_figure([case])):
        words = " ".join(" ".join(paper.texts(figure)).split())
        assert all(warning in words for warning in sentences(case.warnings))


def test_flows_that_a_contrast_leaves_out_are_named():
    five = tuple(contrast()) + tuple(contrast())[:2]
    words = " ".join(" ".join(paper.texts(contrast_figure(five))).split())
    assert "not drawn: bucket" in words
    with pytest.raises(DomainError, match="no run"):
        contrast_figure(())


def test_a_frame_is_the_same_drawn_over_or_anew():
    film, at = Film(outcome("shower")), 600.0
    for before in (0.0, 3000.0, at):
        film.show(before)
    partly = np.asarray(film.canvas.buffer_rgba()).astype(int)
    anew = SurgeFrame(outcome("shower"))
    anew.show(at)
    picture = BytesIO()
    anew.figure.savefig(picture, format="png", dpi=anew.figure.dpi)
    whole = np.asarray(Image.open(picture).convert("RGBA")).astype(int)
    assert partly.shape == whole.shape
    assert np.mean(np.abs(partly - whole).max(2) > 40) < 1e-4


def test_a_gif_has_its_frames_and_lasts_as_long(tmp_path):
    path, told = tmp_path / "surge.gif", []
    write_film(outcome("shower"), path, frames=10, progress=told.append)
    count = film_times(10).size
    with Image.open(path) as film:
        assert film.n_frames == count
        lasts = 0
        for number in range(film.n_frames):
            film.seek(number)
            lasts += film.info["duration"]
            rgb = np.asarray(film.convert("RGB"))
            assert np.ptp(rgb, axis=2).max() == 0
        assert film.info["loop"] == 0
    assert lasts == pytest.approx(1000 * ((count - 1) * FRAME + LAST_FRAME))
    assert told == pytest.approx(np.arange(1, count + 1) / count)


def test_an_mp4_without_ffmpeg_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(surge_film.FFMpegWriter, "isAvailable", classmethod(lambda _: False))
    with pytest.raises(ScenarioError, match=r"needs ffmpeg.*\.gif or \.html"):
        check_film(tmp_path / "surge.mp4")


def test_too_many_outlets_are_refused():
    site = box(21)
    case = run(site, steady(GPM, 60.0))
    for draw in (SurgeFrame, surge_figure, lambda o: contrast_figure([o])):
        with pytest.raises(DomainError, match="21 outlets"):
            draw(case)


def test_water_that_never_moves_can_still_be_drawn():
    quiet = outcome("one")
    still = replace(
        quiet,
        surge=replace(
            quiet.surge, inflow=0 * quiet.surge.inflow, flow=0 * quiet.surge.flow,
            volume=0 * quiet.surge.volume, peak_flow=0 * quiet.surge.peak_flow,
        ),
    )  # fmt: skip
    assert SurgeFrame(still).shares.bars[0].get_height() == 0.0
