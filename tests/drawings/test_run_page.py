"""The page of a run holds that run: its rows, its totals, the least and greatest of each column."""

import json
import re
from functools import cache
from itertools import pairwise

import numpy as np
import pytest

from dbox.drawings.run_page import day_means, film_data, kept_rows, pace, run_page
from dbox.errors import DomainError
from dbox.fieldwork.surge import (
    house_event,
    run,
    run_days,
    settling_rates,
    shown_until,
    side_by_side,
)
from dbox.hydraulics.surge.inflow import steady
from dbox.report.split_report import share_text
from dbox.report.surge_report import clock, surge_json
from dbox.units import (
    GALLON,
    INCH,
    gpm,
    inches,
    litres_per_min,
    millimetres,
    three_digits,
)
from tests.drawings.cases import GPM, box, sites
from tests.drawings.scripts import Script

WICKED = ["</script><b>1", "\u05e7\u05d5 \u0661 \u202e<i>", 'line \U0001f6b0 & "it\'s"']
RUNS = {
    "shower": lambda: (run(sites()["family-of-four"], house_event(["shower"])),),
    "day": lambda: (run_days(sites()["family-of-four"], 1),),
    "contrast": lambda: side_by_side(sites()["family-of-four"], 20 * GALLON),
    "twelve, two capped": lambda: (run(sites()["twelve, two capped"], steady(5 * GPM, 60.0)),),
    "over the rim": lambda: (run(sites()["family-of-four"], steady(150 * GPM, 20.0)),),
}


@cache
def outcomes(name):
    return RUNS[name]()


@pytest.fixture(scope="module")
def script():
    return Script("units", "scene", "runs")


def settled():
    """A day of a box that sinks to its right."""
    site = sites()["family-of-four"]
    return (run_days(site, 1, settling=settling_rates(site, 30 * INCH, "right")),)


@pytest.mark.parametrize("name", RUNS)
def test_totals_are_those_of_the_answer(script, name):
    data = film_data(outcomes(name))
    for held, outcome in zip(data["runs"], outcomes(name), strict=True):
        told = surge_json(outcome)
        end = script.call("dbox.film.moment", script.call("dbox.film.read", held), held["seconds"])
        shares = [o["share"] for o in told["outlets"]]
        volumes = [o["volume_m3"] for o in told["outlets"]]
        assert end["share"] == pytest.approx(shares, abs=3e-6)
        assert end["volume"] == pytest.approx(volumes, abs=1e-6 * sum(volumes))
    assert [o["target"] for o in data["outlets"]] == [o["target"] for o in told["outlets"]]
    assert [o["label"] for o in data["outlets"]] == [o["label"] for o in told["outlets"]]


@pytest.mark.parametrize("make", [lambda: outcomes("shower"), settled])
def test_a_moment_is_the_run_at_that_time(script, make):
    (outcome,) = make()
    found, (held,) = outcome.surge, film_data([outcome])["runs"]
    rows = kept_rows(found)
    read = script.call("dbox.film.read", held)
    for time in found.time[rows][:: max(1, rows.size // 12)]:
        now = script.call("dbox.film.moment", read, float(time))
        true = found.at(float(time))
        assert now["level"] == pytest.approx(true.level, abs=2e-5)
        assert now["inflow"] == pytest.approx(true.inflow, abs=1e-3 * found.inflow.max())
        assert now["flow"] == pytest.approx(true.flow, abs=1e-3 * found.peak_flow.max())
        assert now["depth"] == pytest.approx(np.nan_to_num(true.depth), abs=2e-4)
        assert now["lips"] == pytest.approx(true.lips, abs=1e-9)


def test_each_column_keeps_its_least_and_greatest():
    """Against a plain walk over all rows."""
    found, columns = outcomes("day")[0].surge, 24
    rows = kept_rows(found, columns)
    assert rows[0] == 0
    assert rows[-1] == found.time.size - 1
    assert rows.size < 0.8 * found.time.size
    kept = set(rows.tolist())
    spans = {}
    for row, time in enumerate(found.time):
        spans.setdefault(min(int(time / found.seconds * columns), columns - 1), []).append(row)
    for all_rows in spans.values():
        some = [row for row in all_rows if row in kept]
        for values in (found.level, found.inflow, *found.flow.T, *found.depth.T):
            assert values[some].max() == values[all_rows].max()
            assert values[some].min() == values[all_rows].min()


@pytest.mark.parametrize("name", ["shower", "day", "contrast"])
def test_the_film_goes_on_to_the_end_of_the_run(script, name):
    runs = [outcome.surge for outcome in outcomes(name)]
    pairs = np.array(pace(runs))
    assert pairs[0].tolist() == [0.0, 0.0]
    assert pairs[-1, 0] == max(found.seconds for found in runs)
    assert (np.diff(pairs, axis=0) > 0).all()
    assert 10.0 < pairs[-1, 1] < 60.0
    for time in np.linspace(0.0, pairs[-1, 0], 9):
        played = script.call("dbox.film.playedAt", pairs.tolist(), float(time))
        assert played == pytest.approx(np.interp(time, *pairs.T))
        assert script.call("dbox.film.timeAt", pairs.tolist(), played) == pytest.approx(time)


def test_runs_side_by_side_have_one_clock_that_waits_for_each():
    runs = [outcome.surge for outcome in outcomes("contrast")]
    times = [time for time, _ in pace(runs)]
    assert {shown_until(found) for found in runs} <= set(times)
    data = film_data(outcomes("contrast"))
    assert len({json.dumps(data[key]) for key in ("pace", "perFlow")}) == 2
    assert not any("perFlow" in held or "pace" in held for held in data["runs"])


@pytest.mark.parametrize("name", RUNS)
def test_a_page_is_small(name):
    assert len(run_page(outcomes(name)).encode()) <= 300_000


@pytest.mark.slow
@pytest.mark.parametrize("days", [1, 365])
def test_a_page_of_many_outlets_and_days_is_small(days):
    site = sites()["family-of-four"]
    assert len(run_page([run_days(site, days)]).encode()) <= 300_000
    wide = box(20)
    flows = [steady((5 + i) * GPM, 3600.0) for i in range(4)]
    assert len(run_page([run(wide, flow) for flow in flows]).encode()) <= 300_000


def test_labels_in_any_script_and_with_any_markup_stay_text():
    event = steady(5 * GPM, 60.0, name="<b>5</b> gal")
    page = run_page([run(box(3, labels=WICKED, title="<h1>\u2028&amp;</script>"), event)])
    plain = run_page([run(box(3), event)])
    assert page.count("<") == plain.count("<")
    told = json.loads(re.search(r"application/json[^>]*>(.*?)</script>", page)[1])["film"]
    assert [o["label"] for o in told["outlets"]] == WICKED
    assert "<b>5</b> gal" in told["opening"]


def test_it_opens_on_what_runs_and_ends_on_what_came_of_it():
    for name in ("day", "contrast"):
        data = film_data(outcomes(name))
        first = outcomes(name)[0].surge
        assert "gal" in data["opening"]
        assert "Watch" in data["opening"]
        gets = [f"{100 * o.surge.share[0]:.0f} %" for o in outcomes(name)]
        assert gets[0] in data["finding"]
        assert gets[-1] in data["finding"]
        assert ("no trench fills to its pipe" in data["finding"]) == (name == "day")
        assert first.event.name.lower() in data["opening"].lower() or len(gets) > 1


def test_warnings_and_what_is_left_out_stand_under_the_film():
    shown = film_data([run(sites()["twenty, no positions"], steady(GPM, 60.0))])
    assert any("trench" in note for note in shown["notes"])
    with pytest.raises(DomainError, match="no run"):
        film_data([])
    with pytest.raises(DomainError, match="21 outlets"):
        film_data([run(box(21), steady(GPM, 60.0))])


NUMBERS = [0.0, 1e-7, 3.1545e-5, 0.00079, 0.0123, 0.9996, 1.0, 12.34, 99.95, 1234.5]


def test_the_page_words_heights_flows_and_times_as_the_library(script):
    for value in NUMBERS:
        assert script.call("dbox.words.flow", value, False) == gpm(value)
        assert script.call("dbox.words.flow", value, True) == litres_per_min(value)
    for thirty_second in range(-70, 71, 3):
        # not half-way between two tenths of a millimetre, which are rounded either way
        metres = thirty_second * INCH / 32 + 1e-6
        inch = inches(metres, signed=True)
        assert script.call("dbox.length.text", metres, {"signed": True}) == inch
        both = f"{inch} ({millimetres(metres, signed=True)})"
        assert script.call("dbox.length.both", metres, {"signed": True}) == both
    for share in (0.0, 0.0004, 0.0352, 0.0994, 0.0996, 0.17486, 0.4613, 1.0):
        assert script.call("dbox.film.shareText", share) == share_text(share, "")
    for seconds in (0.0, 59.0, 95.0, 3600.0, 86399.0, 86400.0, 93784.0, 172800.0):
        assert script.call("dbox.film.clock", seconds) == clock(seconds)
    assert three_digits(99.95) == "100"


def test_heights_on_the_scale_are_so_far_apart_that_they_can_be_read(script):
    for per_metre in (500.0, 4000.0, 30000.0):
        for metric in (False, True):
            marks = script.call("dbox.scene.ticks", -0.02, 0.06, per_metre, metric, 20)
            at = np.array([mark["at"] for mark in marks])
            assert len(marks) >= 2
            assert (np.diff(at) * per_metre >= 20 - 1e-9).all()
            assert at.min() >= -0.02 - 1e-9
            assert at.max() <= 0.06 + 1e-9
            assert "0" in [mark["words"] for mark in marks]


def test_of_weeks_each_day_is_its_mean():
    """Against plain sums over the rows of each day."""
    outcome = run_days(sites()["family-of-four"], 16)
    found = outcome.surge
    shown = day_means(found)
    assert shown.time.tolist() == [day * 86400.0 for day in range(17)]
    assert shown.volume[-1] == pytest.approx(found.volume[-1], rel=1e-12)
    passed = (shown.flow[1:] * 86400.0).sum(0)
    assert passed == pytest.approx(found.volume[-1], rel=1e-9)
    total = 0.0
    for (early, late), (low, high) in zip(
        pairwise(found.time.tolist()), pairwise(found.level.tolist()), strict=True
    ):
        total += 0.5 * (low + high) * (late - early)
    assert shown.level[1:].mean() == pytest.approx(total / found.seconds, rel=1e-9)
    assert shown.level.max() < found.peak_level
    assert film_data([outcome])["means"]
