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
from dbox.drawings.box_views import LEAST_STREAM
from dbox.drawings.run_picture import surge_figure
from dbox.drawings.style import BOX, OVER, SOIL, UNDER, WARNING, WATER
from dbox.drawings.surge_film import Film, check_film, write_film
from dbox.drawings.surge_frames import (
    CLOSING,
    FRAME,
    LEAST_LETTER,
    OPENING,
    Show,
    SurgeFrame,
    closing_figure,
    contrast_figure,
    opening_figure,
)
from dbox.errors import DomainError, ScenarioError
from dbox.fieldwork.surge import (
    house_event,
    run,
    run_days,
    settling_rates,
    side_by_side,
)
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.stepper import MIN_FLOW
from dbox.report.wording import sentences
from dbox.units import GALLON, INCH
from tests.drawings import paper
from tests.drawings.cases import GPM, box, sites

EVENTS = {
    "shower": ("family-of-four", None),
    "twelve, two capped": ("twelve, two capped", steady(5 * GPM, 60.0)),
    "flood over the rim": ("family-of-four", steady(150 * GPM, 20.0, name="flood")),
    "twenty, no positions": ("twenty, no positions", steady(20 * GPM, 60.0)),
    "six, long labels, no tolerance": ("six, long labels, no tolerance", steady(GPM, 300.0)),
    "every hole": ("every hole", steady(5 * GPM, 60.0)),
    "one": ("one", steady(5 * GPM, 60.0)),
    "round": ("round", steady(30 * GPM, 60.0)),
}


@lru_cache(3)
def outcome(name):
    site, event = EVENTS[name]
    return run(sites()[site], event or house_event(["shower"]))


@lru_cache(3)
def frame(name):
    return SurgeFrame([outcome(name)])


@cache
def contrast():
    return side_by_side(sites()["family-of-four"], 20 * GALLON)


def between(frames):
    """A film of so many frames between its title and its last still."""
    return Show(size=(640, 360), seconds=OPENING + frames * FRAME + CLOSING)


def one(figure, kind, label):
    (artist,) = paper.named(figure, kind, label)
    return artist


def words(figure):
    return " ".join(" ".join(paper.texts(figure)).split())


def width(stream):
    return np.ptp(stream.get_xy()[:, 0]) if stream.get_visible() else 0.0


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", EVENTS)
def test_water_bars_and_streams_are_those_of_the_run(name):
    shown, case = frame(name), outcome(name)
    (box_view,), (bars,) = shown.boxes, shown.shares
    found, (low, high) = case.surge, box_view.axes.get_ylim()
    peak = int(np.argmax(found.level))
    for row in (0, found.time.size // 2, found.time.size - 1, peak):
        shown.show(float(found.time[row]), 1.0)
        level = np.asarray(one(shown.figure, Line2D, "level").get_ydata())
        water = one(shown.figure, Rectangle, "water")
        assert level == pytest.approx(np.full(2, found.level[row]), abs=1e-12)
        assert water.get_y() + water.get_height() == pytest.approx(level[0])
        assert low < level[0] < high
        heights = [bar.get_height() for bar in bars.bars]
        assert heights == pytest.approx(found.running_share[row], abs=1e-12)
    inlet = width(one(shown.figure, Polygon, "inlet"))
    thinnest = LEAST_STREAM / 72 / box_view.column
    for i, outlet in enumerate(case.site.outlets):
        if not outlet.capped:
            wide = width(one(shown.figure, Polygon, f"stream {outlet.label}"))
            part = found.flow[peak, i] / found.inflow[peak]
            runs = found.flow[peak, i] > MIN_FLOW
            assert wide == pytest.approx(max(part * inlet, thinnest) * runs, rel=1e-3)


@pytest.mark.everyday(2)
@pytest.mark.parametrize("name", EVENTS)
def test_no_bar_or_stream_is_ever_cut_off(name):
    shown, found = frame(name), outcome(name).surge
    (view,), (bars,) = shown.boxes, shown.shares
    assert found.running_share.max() <= bars.axes.get_ylim()[1]
    inlet = -0.5 - view.axes.get_xlim()[0]
    assert found.inflow.max() * view.scale.per_flow < inlet
    assert found.peak_flow.max() * view.scale.per_flow < 1.0


def test_lips_targets_and_trenches_stand_at_their_heights():
    shown, case = frame("shower"), outcome("shower")
    shown.show(case.surge.seconds, 1.0)
    for i, label in enumerate(case.labels):
        lip = one(shown.figure, Line2D, f"lip {label}").get_ydata()
        target = one(shown.figure, Line2D, f"target {label}").get_ydata()
        assert lip == pytest.approx([case.surge.system.lips[i]] * 2, abs=1e-12)
        assert target == pytest.approx([case.target[i]] * 2)
    first, second = (shown.boxes[0].trenches[i].get_height() for i in range(2))
    depth = case.surge.depth[-1]
    assert first / second == pytest.approx(depth[0] / depth[1])


def test_trenches_share_one_scale_with_their_pipes_once_one_is_passed():
    case = outcome("shower")
    depth = case.surge.depth.copy()
    depth[-1] = [0.4, 0.15, 0.1, 0.0, 0.0]
    shown = SurgeFrame([replace(case, surge=replace(case.surge, depth=depth))])
    shown.show(case.surge.seconds, 1.0)
    for i, water in shown.boxes[0].trenches.items():
        pipe = one(shown.figure, Line2D, f"pipe {case.labels[i]}").get_ydata()[0]
        part = depth[-1, i] / case.surge.system.trenches[i].pipe_height
        assert water.get_height() / (pipe - water.get_y()) == pytest.approx(part)


def test_a_settling_box_takes_its_lips_along():
    site = sites()["family-of-four"]
    case = run_days(site, 1, settling=settling_rates(site, 30 * INCH, "right"))
    shown = SurgeFrame([case])
    shown.show(case.surge.seconds, 1.0)
    for i, label in enumerate(case.labels):
        lip = one(shown.figure, Line2D, f"lip {label}").get_ydata()[0]
        assert lip == pytest.approx(case.surge.lips_end[i], abs=1e-12)
        hole = one(shown.figure, Polygon, f"hole {label}").get_xy()[:, 1]
        assert hole.min() == pytest.approx(lip, abs=1e-12)


def test_water_over_the_rim_is_said():
    shown, found = frame("flood over the rim"), outcome("flood over the rim").surge
    shown.show(found.peak_time, 1.0)
    assert found.spilled[-1] > 0
    assert "OVER THE RIM" in shown.status[0].get_text()
    assert shown.status[0].get_color() == WARNING.colour
    assert one(shown.figure, Line2D, "rim").get_ydata() == pytest.approx([found.system.rim] * 2)


SMALL = Show(size=(640, 360))
SIZES = (SMALL, Show(), Show(size=(960, 720)))


def check_words(figure):
    paper.words.cache_clear()
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert figure.dpi == 72  # a point is a dot
    assert paper.smallest(figure) >= LEAST_LETTER == 14


@pytest.mark.everyday(1)
@pytest.mark.parametrize("how", SIZES)
@pytest.mark.parametrize("name", sorted(EVENTS, key="six, long labels, no tolerance".__ne__))
def test_no_words_of_a_film_lie_on_words_or_are_too_small(name, how):
    case = [outcome(name)]
    shown = SurgeFrame(case, how)
    for at in (0.0, case[0].surge.peak_time, case[0].surge.seconds):
        shown.show(float(at), 1234.0)
        check_words(shown.figure)
    check_words(opening_figure(case, how))
    check_words(closing_figure(case, how))


@pytest.mark.slow
@pytest.mark.parametrize("name", ["family-of-four", "twelve, two capped", "two", "round"])
def test_no_words_of_a_contrast_lie_on_words_or_are_too_small(name):
    runs = side_by_side(sites()[name], 20 * GALLON)
    for how in SIZES:
        shown = SurgeFrame(runs, how)
        for at in (0.0, 60.0, 2400.0):
            shown.show(at, 1234.0)
            check_words(shown.figure)
        check_words(opening_figure(runs, how))
        check_words(closing_figure(runs, how))
    page = contrast_figure(runs)
    assert paper.overlaps(page) == []
    assert paper.off_page(page) == []
    assert paper.smallest(page) >= 8.0


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", EVENTS)
def test_the_still_is_legible_and_holds_every_flow(name):
    case, figure = outcome(name), surge_figure(outcome(name))
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert np.ptp(one(figure, Line2D, "level").get_ydata()) == pytest.approx(
        np.ptp(case.surge.level)
    )
    for i, label in enumerate(case.labels):
        flow = one(figure, Line2D, f"flow {label}")
        assert np.array_equal(flow.get_ydata(), case.surge.flow[:, i])


def test_the_contrast_shows_each_peak_on_one_scale():
    figure = contrast_figure(contrast())
    levels = paper.named(figure, Line2D, "level")
    assert [line.get_ydata()[0] for line in levels] == pytest.approx(
        [o.surge.peak_level for o in contrast()]
    )
    assert len({line.axes.get_ylim() for line in levels}) == 1
    for label, place in (("1", 0), ("5", 4)):
        bars = paper.named(figure, Rectangle, f"share {label}")
        shares = [o.surge.share[place] for o in contrast()]
        assert [bar.get_height() for bar in bars] == pytest.approx(shares)


def test_a_contrast_has_one_clock_and_one_scale_of_streams():
    shown, at = SurgeFrame(contrast()), 30.0
    shown.show(at, 1.0)
    views = shown.boxes
    assert len({view.scale.per_flow for view in views}) == 1
    assert np.ptp([view.column for view in views]) < 1e-9
    levels = [line.get_ydata()[0] for line in paper.named(shown.figure, Line2D, "level")]
    inlets = [width(stream) for stream in paper.named(shown.figure, Polygon, "inlet")]
    now = [o.surge.at(at) for o in contrast()]
    assert levels == pytest.approx([moment.level for moment in now])
    bucket, dose = (moment.inflow for moment in now[1:])
    assert inlets[2] / inlets[1] == pytest.approx(dose / bucket)


def test_a_film_ends_on_the_shares_of_the_run():
    for cases in ([outcome("shower")], contrast()):
        figure = closing_figure(cases, Show())
        for i, label in enumerate(cases[0].labels):
            bars = paper.named(figure, Rectangle, f"share {label}")
            shares = [case.surge.share[i] for case in cases]
            assert [bar.get_height() for bar in bars] == pytest.approx(shares)
            assert max(shares) <= bars[0].axes.get_ylim()[1]


@cache
def opening():
    return opening_figure([outcome("shower")], Show())


@pytest.mark.everyday(1)
@pytest.mark.parametrize("drawn", [lambda: frame("shower").figure, opening], ids=["film", "first"])
def test_the_titles_say_the_finding(drawn):
    # 50.2 % and 3.0 % are what `dbox surge family-of-four --event shower` prints
    said = "1/8 in low: outlet 1 gets 50 % of a shower, outlet 5 gets 3.0 %"
    assert said in words(drawn())


def test_the_titles_of_a_contrast_say_the_finding():
    share = [round(100 * o.surge.share[0]) for o in (contrast()[0], contrast()[-1])]
    said = f"outlet 1 gets {share[0]} % of a trickle, {share[1]} % of a dose"
    assert said in words(closing_figure(contrast(), Show()))


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    "drawn",
    [
        opening,
        lambda: contrast_figure([outcome("shower")]),
        lambda: surge_figure(outcome("shower")),
    ],
    ids=["film", "contrast", "still"],
)
def test_warnings_stand_in_every_picture(drawn):
    warnings = sentences(outcome("shower").warnings)
    told = words(drawn())
    assert warnings
    assert all(warning in told for warning in warnings)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("drawn", [lambda five: opening_figure(five, Show()), contrast_figure])
def test_flows_that_a_contrast_leaves_out_are_named(drawn):
    five = tuple(contrast()) + tuple(contrast())[:2]
    assert "not drawn: bucket" in words(drawn(five))
    with pytest.raises(DomainError, match="no run"):
        contrast_figure(())


@pytest.mark.everyday(1)
@pytest.mark.parametrize("how", SIZES)
def test_a_frame_is_the_same_drawn_over_or_anew(how):
    film, at = Film([outcome("shower")], how), 600.0
    for before in (3000.0, at):
        partly = film.show(before)
    partly = partly.astype(int)
    anew = SurgeFrame([outcome("shower")], how)
    anew.show(at, 1.0)
    picture = BytesIO()
    anew.figure.savefig(picture, format="png", dpi=anew.figure.dpi)
    whole = np.asarray(Image.open(picture).convert("RGBA")).astype(int)
    assert partly.shape == whole.shape == (*how.size[::-1], 4)
    assert np.mean(np.abs(partly - whole).max(2) > 40) < 1e-4


@pytest.mark.everyday(1)
@pytest.mark.parametrize("frames", [3, 10])
def test_a_gif_has_its_frames_its_colours_and_lasts_as_long(tmp_path, frames):
    path, told, how = tmp_path / "surge.gif", [], between(frames)
    write_film([outcome("shower")], path, how, progress=told.append)
    with Image.open(path) as film:
        assert (film.n_frames, film.size, film.info["loop"]) == (frames + 2, (640, 360), 0)
        lasts, seen = 0, set()
        for number in range(film.n_frames):
            film.seek(number)
            lasts += film.info["duration"]
            dots = film.convert("RGB").reduce(1)
            seen |= {f"#{r:02X}{g:02X}{b:02X}" for _, (r, g, b) in dots.getcolors(1 << 20)}
    assert lasts == pytest.approx(1000 * how.seconds)
    assert told == pytest.approx(np.arange(1, frames + 1) / frames)
    assert {role.colour for role in (WATER, OVER, UNDER, SOIL, BOX)} <= seen


@pytest.mark.slow
def test_a_gif_shows_the_picture_that_was_drawn(tmp_path):
    path = tmp_path / "surge.gif"
    film = Film([outcome("shower")], between(10))
    drawn = [picture[..., :3].astype(int) for picture, _ in film.pictures()]
    write_film([outcome("shower")], path, between(10))
    with Image.open(path) as written:
        for number in (0, 6, 11):
            written.seek(number)
            off = np.abs(np.asarray(written.convert("RGB")).astype(int) - drawn[number]).max(2)
            # one palette for all: edges may be a shade off, no area is
            assert np.mean(off > 8) < 0.01
            assert off.max() < 80


def test_a_film_too_small_for_its_outlets_is_refused():
    with pytest.raises(ScenarioError, match=r"--size 640x360 is too small for 20 outlets at 3 flo"):
        SurgeFrame([outcome("twenty, no positions")] * 3, SMALL)


def test_a_speed_holds_all_along_and_one_too_slow_is_refused():
    times = Show(speed=1000.0).times([outcome("shower")])
    assert np.diff(times)[:-1] == pytest.approx(1000 * FRAME)
    with pytest.raises(ScenarioError, match=r"--speed 5: the film would last .* write 388 to"):
        Show(speed=5.0).times([outcome("shower")])


def test_an_mp4_without_ffmpeg_says_what_to_do(tmp_path, monkeypatch):
    monkeypatch.setattr(surge_film.FFMpegWriter, "isAvailable", classmethod(lambda _: False))
    with pytest.raises(ScenarioError, match=r"needs ffmpeg.*\.gif or \.html"):
        check_film(tmp_path / "surge.mp4")


def test_too_many_outlets_are_refused():
    site = box(21)
    case = run(site, steady(GPM, 60.0))
    for draw in (lambda o: SurgeFrame([o]), surge_figure, lambda o: contrast_figure([o])):
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
    assert SurgeFrame([still]).shares[0].bars[0].get_height() == 0.0
    assert closing_figure([still], Show())
