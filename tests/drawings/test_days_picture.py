"""A run of days on one sheet: curves that hold what the headline says, and words apart."""

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.collections import FillBetweenPolyCollection
from matplotlib.lines import Line2D

from dbox.drawings.run_picture import run_figure, thinned
from dbox.fieldwork.surge import daily_shares, run_days, settling_rates
from dbox.report.surge_report import finding
from dbox.units import DAY, INCH
from tests.drawings import paper
from tests.drawings.cases import box, sites

DAYS = 14


@cache
def settling():
    """Two weeks in which the far side of the box comes to lie lower than the others."""
    site = sites()["family-of-four"]
    return run_days(site, DAYS, settling=settling_rates(site, INCH, "right"))


@cache
def drawn():
    return run_figure(settling())


def one(kind, label):
    (artist,) = paper.named(drawn(), kind, label)
    return artist


def test_shares_of_the_days_weighted_by_their_water_are_those_of_the_run():
    found = settling().surge
    each = daily_shares(found)
    rows = [np.flatnonzero(found.time <= day * DAY)[-1] for day in range(DAYS + 1)]
    water = np.diff(found.volume[rows].sum(1))
    assert each.shape == (DAYS, 5)
    assert each.sum(1) == pytest.approx(np.ones(DAYS))
    assert water @ each / water.sum() == pytest.approx(found.share)


def test_thinning_keeps_least_and_greatest_of_every_column():
    rng = np.random.default_rng(1)
    time = np.sort(rng.uniform(0.0, 5.0, 4000))
    curve = rng.normal(size=4000)
    x, low, high = thinned(time, curve, curve, 60)
    width = (time[-1] - time[0]) / 60
    for column in range(60):
        edges = time[0] + width * np.array([column, column + 1])
        inside = curve[(time >= edges[0]) & ((time < edges[1]) | (column == 59))]
        assert (low[column], high[column]) == (inside.min(), inside.max())
        assert edges[0] <= x[column] < edges[1]


def test_the_water_is_drawn_up_to_the_peak_that_the_words_name():
    case = settling()
    water = one(FillBetweenPolyCollection, "level")
    top = water.get_datalim(water.axes.transData).y1
    assert top == pytest.approx(case.surge.peak_level - case.surge.system.still_level)
    # rows half an hour apart alone would miss it
    assert case.surge.level.max() < case.surge.peak_level
    assert water.axes.get_ylim()[1] > top
    assert any(f"highest: {case.site.lengths.both(case.surge.rise)}" in text
               for text in paper.texts(drawn()))  # fmt: skip


def test_lips_are_drawn_from_where_they_were_to_where_they_are():
    found = settling().surge
    for i, label in enumerate(settling().labels):
        lip = one(Line2D, f"lip {label}")
        ends = np.array([found.system.lips[i], found.lips_end[i]]) - found.system.still_level
        assert lip.get_ydata() == pytest.approx(ends, abs=1e-12)
        low, high = lip.axes.get_ylim()
        assert low < min(ends) <= max(ends) < high


def test_every_share_and_depth_lies_within_its_axes():
    found, each = settling().surge, daily_shares(settling().surge)
    for i, label in enumerate(settling().labels):
        share, pipe = one(Line2D, f"share {label}"), one(Line2D, f"pipe {label}")
        assert np.asarray(share.get_ydata())[:-1] == pytest.approx(each[:, i])
        assert share.axes.get_ylim()[1] >= each.max()
        assert pipe.axes.get_ylim()[1] > max(found.depth.max(), pipe.get_ydata()[0])


def test_a_full_trench_is_marked_where_it_reached_its_pipe_and_the_headline_agrees():
    case = settling()
    full = np.flatnonzero(np.isfinite(case.surge.time_full))
    assert full.size > 0
    for i in full:
        mark, pipe = one(Line2D, f"full {case.labels[i]}"), one(Line2D, f"pipe {case.labels[i]}")
        assert mark.get_xdata() == pytest.approx([case.surge.time_full[i] / DAY])
        assert mark.get_ydata() == pytest.approx(pipe.get_ydata()[:1])
    first = full[np.argmin(case.surge.time_full[full])]
    day = int(np.ceil(case.surge.time_full[first] / DAY))
    assert finding(case).startswith(f"Outlet {case.labels[first]} gets ")
    assert f"day {day}" in finding(case)
    assert finding(case) in " ".join(paper.texts(drawn())).replace("\n", " ")


def test_it_can_be_read_and_says_that_it_is_invented():
    assert paper.overlaps(drawn()) == []
    assert paper.off_page(drawn()) == []
    assert paper.smallest(drawn()) >= 8.0
    assert any("invented" in text for text in paper.texts(drawn()))


@pytest.mark.slow
@pytest.mark.parametrize("change", ["no trench", "twenty", "a year"])
def test_it_can_be_read_whatever_the_box(change):
    family, days = sites()["family-of-four"], 365 if change == "a year" else 3
    site = family
    if change == "no trench":
        site = replace(family, works=replace(family.works, trenches=()))
    elif change == "twenty":
        wide = box(20, capped=(2, 9), title="Twenty (invented)")
        works = replace(family.works, trenches=family.works.trenches * 4, headers=())
        site = replace(wide, works=works)
    case = run_days(site, days)
    figure = run_figure(case)
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.smallest(figure) >= 8.0
    water = paper.named(figure, FillBetweenPolyCollection, "level")[0]
    top = water.get_datalim(water.axes.transData).y1
    assert top == pytest.approx(case.surge.peak_level - case.surge.system.still_level)
