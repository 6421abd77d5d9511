"""A set-up in its log: what is written is what is played back, and another box is refused."""

import json
from dataclasses import replace
from math import cos, pi
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork import setup
from dbox.fieldwork.setup import Rules
from dbox.fieldwork.shares import target_shares
from dbox.files.job_log import (
    JobLog,
    all_played,
    carried_angles,
    carried_stuck,
    entry_of,
    event_of,
    interview_answers,
    played,
    read_log,
    visits,
)
from dbox.files.logged_box import differences, identity, line_changes, logged_site
from dbox.files.scenario import loads

TEXT = """
title = "Two lines"
units = "in"
insert = {kind = "circle", diameter = 2, offset = "1/2"}
outlet = [{label = "north", clock = "6:00"}, {label = "south", clock = "7:30"}]
tolerance = {share = "10 %"}
"""
SITE = loads(TEXT)

EVERY = (
    setup.ClockSet(at="09:00", outlet=1, angle=-pi / 3),
    setup.ClockSet(at="09:00", outlet=0, angle=None),
    setup.Still(at="09:01", method="ruler, Ø 1 mm"),
    setup.Read(at="09:02", outlet=0, heights=(0.0031750000000000003, -1e-3), doubtful=True),
    setup.Confirmed(at="", sure=True),
    setup.Settled(at="", outlet=0),
    setup.Skipped(at="", outlet=1),
    setup.Correcting(at="", outlet=1),
    setup.Left(at="", outlet=1, angle=0.1),
    setup.Turned(at="", angles=(None, 0.25)),
    setup.Closed(at=""),
    setup.Carried(at="", outlets=(1,)),
    setup.Stuck(at="", outlets=(1,)),
    setup.Undone(at=""),
)


@pytest.mark.parametrize("event", EVERY, ids=lambda e: type(e).__name__)
def test_an_event_comes_back_from_its_line(event):
    line = json.dumps(entry_of(event, SITE, "as typed"), allow_nan=False)
    assert event_of(json.loads(line), SITE) == event
    assert json.loads(line)["typed"] == "as typed"


def test_lines_name_outlets_and_units():
    read = entry_of(EVERY[3], SITE, "1/8")
    assert read["outlet"] == "north"
    assert read["readings_m"] == (0.0031750000000000003, -1e-3)
    assert entry_of(EVERY[9], SITE, "")["angles_rad"] == {"north": None, "south": 0.25}


@pytest.mark.parametrize(
    "change",
    [{"outlet": "west"}, {"outlet": None}, {"readings_m": []}, {"readings_m": ["1"]},
     {"readings_m": 0.1}, {"readings_m": [1e9]}, {"doubtful": "no"}, {"readings_m": None}],
    ids=str,
)  # fmt: skip
def test_a_line_that_does_not_say_what_it_must_is_refused(change):
    line = {**entry_of(EVERY[3], SITE, "1/8"), **change}
    with pytest.raises(ScenarioError, match="does not go with"):
        event_of(line, SITE)


def begun(log: JobLog, site=SITE, **more) -> None:
    log.append({"event": "begun", "at": "", "box": identity(site), **more})


def test_a_job_is_where_it_was_once_its_log_is_read(tmp_path: Path):
    path = tmp_path / "log"
    with JobLog(path, "09:00") as log:
        begun(log)
        for event in EVERY[2:5]:
            log.append(entry_of(event, SITE, "typed"))
    again = played(SITE, Rules(), visits(read_log(path))[-1])
    assert again == setup.replay(setup.begin(SITE), EVERY[2:5])
    assert again.last == EVERY[4]


def test_a_second_beginning_leaves_the_first_behind(tmp_path: Path):
    path = tmp_path / "log"
    with JobLog(path, "09:00") as log:
        begun(log)
        log.append(entry_of(EVERY[2], SITE, ""))
        begun(log, angles_rad={"north": 0.5, "south": None})
    job = played(SITE, Rules(), visits(read_log(path))[-1])
    assert job.now.angles == (0.5, None)
    assert job.now.method is None


def test_a_stuck_insert_is_stuck_at_the_next_visit_but_for_one_that_is_new(tmp_path: Path):
    path = tmp_path / "log"
    with JobLog(path, "09:00") as log:
        begun(log)
        log.append(entry_of(setup.Stuck(outlets=(1,)), SITE, "stuck 2"))
    before = played(SITE, Rules(), visits(read_log(path))[-1])
    assert carried_stuck(before, SITE) == ["south"]
    other = loads(TEXT.replace('"south",', '"south", offset = "3/4",'))
    assert carried_stuck(before, other) == []
    with JobLog(path, "10:00") as log:
        log.append(entry_of(EVERY[2], SITE, ""))
        log.append(entry_of(EVERY[3], SITE, ""))
        begun(log, stuck=["south"])
    again = played(SITE, Rules(), visits(read_log(path))[-1], before)
    assert again.now.stuck == (1,)


@pytest.mark.parametrize("stuck", [5, True, {"south": 1}, "south"])
def test_a_log_that_says_nonsense_of_what_is_stuck_is_refused_or_read(stuck, tmp_path: Path):
    with JobLog(tmp_path / "log", "09:00") as log:
        begun(log, stuck=stuck)
    told = visits(read_log(tmp_path / "log"))[-1]
    if isinstance(stuck, int):
        with pytest.raises(ScenarioError, match="does not go with the outlets"):
            played(SITE, Rules(), told)
    else:
        assert played(SITE, Rules(), told).now.stuck == (1,)


def read_at(outlet: int, site=SITE) -> dict:
    return entry_of(setup.Read(outlet=outlet, heights=(0.0,)), site, "0")


def test_every_visit_in_which_something_was_read_is_counted():
    box, still = identity(SITE), entry_of(EVERY[2], SITE, "")
    lines = [
        {"event": "begun", "at": "2025-05-06T09:00", "box": box}, still, read_at(0),
        {"event": "begun", "at": "2026-05-06T09:00", "box": box}, still,
        {"event": "begun", "at": "2027-05-06T09:00", "box": box}, still, read_at(1),
        {"event": "begun", "at": "2028-05-06T09:00", "box": box},
    ]  # fmt: skip
    told = visits(lines)
    assert [each.begun_at[:4] for each in told] == ["2025", "2027", "2028"]
    assert [(each.number, each.count) for each in told] == [(1, 3), (2, 3), (3, 3)]
    assert [len(each.entries) for each in told] == [2, 2, 0]
    assert visits([]) == ()


@pytest.mark.parametrize(
    "insert",
    ['kind = "circle", diameter = 2, offset = "1/2"', 'kind = "notch", angle = "60 deg"',
     'kind = "slot", width = 1', 'kind = "slot", width = 1, height = 2, coefficient = 0.6',
     'kind = "pipe", diameter = 4'],
)  # fmt: skip
def test_a_box_comes_back_from_its_log_whatever_its_file_has_become(insert):
    was = loads(TEXT.replace('kind = "circle", diameter = 2, offset = "1/2"', insert))
    box = json.loads(json.dumps(identity(was)))
    third = '{label = "west"}, {label = "south", clock = "9:00", state = "capped"'
    text = TEXT.replace("diameter = 2", "diameter = 3").replace(
        '{label = "south", clock = "7:30"', third
    )
    present = loads(
        text.replace("Two", "Three").replace("10 %", "5 %") + "[target]\nby = [3, 2, 1]\n"
    )
    logged = logged_site(box, present)
    assert {**identity(logged), "target": 0} == {**identity(was), "target": 0}
    assert logged.tolerance == present.tolerance
    # weights go by label: north 3, south 1
    assert logged.target.weights == (3.0, 1.0)
    assert logged_site(identity(present), present) is present


@pytest.mark.parametrize(
    ("then", "now", "shares"),
    [
        ('"length"', '"length"', (0.6, 0.4)),
        ("[3, 1]", "[1]", (0.75, 0.25)),
        ('"equal"', "[1]", (0.5, 0.5)),
    ],
)
def test_a_line_that_is_gone_keeps_its_part_of_the_target(then, now, shares):
    """Its length or weight stands in the log alone."""
    north, south = (
        f'{{label = "{label}", clock = "6:00", line_length = "{length} ft"}}'
        for label, length in (("north", 60), ("south", 40))
    )
    head = TEXT[: TEXT.index("outlet")]
    was = loads(f"{head}outlet = [{north}, {south}]\ntarget = {{by = {then}}}\n")
    present = loads(f"{head}outlet = [{north}]\ntarget = {{by = {now}}}\n")
    box = json.loads(json.dumps(identity(was)))
    assert target_shares(logged_site(box, present)) == pytest.approx(shares)


@pytest.mark.parametrize(
    "box",
    [{}, *({"title": "A", "outlets": [o]} for o in ({"label": "1"}, {"hole": {"kind": "x"}}))],
)
def test_a_log_that_does_not_say_its_box_is_refused(box):
    with pytest.raises(ScenarioError, match="which box it is about"):
        logged_site(box, SITE)


def test_the_same_box_whatever_is_mended_about_the_job():
    mended = TEXT.replace("10 %", "5 %") + '[flows]\npour = "5 gpm"\n[target]\nby = [2, 1]\n'
    present = loads(mended.replace("units", "# mended\nunits"))
    logged = json.loads(json.dumps(identity(SITE)))
    assert differences(logged, present) == []


@pytest.mark.parametrize(
    ("was", "is_now", "told"),
    [
        ("Two lines", "Other house", 'title was "Two lines", is "Other house"'),
        ("diameter = 2", "diameter = 3", "outlet north has another hole; outlet south"),
        ('"1/2"', '"3/8"', "another offset"),
        ("7:30", "7:40", "outlet south has another clock"),
        ('outlet = [{label = "north", clock = "6:00"}, {label = "south", clock = "7:30"}]',
         "outlet = [{}, {}]", "its outlets were north, south, are 1, 2"),
        ('units = "in"', 'units = "in"\nreadings = {point = "top"}', "another point of reading"),
    ],
)  # fmt: skip
def test_another_box_is_told_by_what_differs(was, is_now, told):
    logged = json.loads(json.dumps(identity(SITE)))
    found = "; ".join(differences(logged, loads(TEXT.replace(was, is_now))))
    assert told in found


@pytest.mark.parametrize(
    ("was", "is_now", "told"),
    [
        ('{label = "south"', '{label = "5"}, {label = "south"', ["outlet 5 is new"]),
        ("7:30", '7:30", state = "capped', ["outlet south is capped now"]),
        ("north", "west", ["outlet west is new", "outlet north is gone"]),
        ("south", "south", []),
    ],
)
def test_lines_that_come_go_or_close_are_changes_of_the_same_box(was, is_now, told):
    logged, present = json.loads(json.dumps(identity(SITE))), loads(TEXT.replace(was, is_now))
    assert differences(logged, present) == []
    assert line_changes(logged, identity(present)) == told
    back = line_changes(identity(present), logged)
    for one, other in (("is new", "is gone"), ("is capped now", "is open again")):
        assert sum(one in each for each in told) == sum(other in each for each in back)


def test_a_log_that_cannot_be_played_is_refused():
    (told,) = visits([{"event": "begun", "box": identity(SITE)}, entry_of(EVERY[4], SITE, "")])
    with pytest.raises(ScenarioError, match="cannot be played again"):
        played(SITE, Rules(), told)
    fewer = replace(SITE, outlets=SITE.outlets[:1])
    (told,) = visits([{"event": "begun", "angles_rad": {"south": 0.0}, "box": identity(SITE)}])
    with pytest.raises(ScenarioError, match="does not go with"):
        played(fewer, Rules(), told)


def test_the_answers_of_an_interview_are_those_that_stand():
    lines = [
        {"event": "described", "key": "units", "typed": "in"},
        {"event": "described", "key": "title", "typed": "A"},
        {"event": "undone"},
        {"event": "described", "key": "title", "typed": "B"},
        {"event": "asked again", "key": "units"},
    ]
    assert interview_answers(lines) == {"title": "B"}
    assert interview_answers([*lines, {"event": "undone"}]) == {"units": "in", "title": "B"}
    assert visits(lines) == ()


OLD = """
{"event": "opened", "at": "2025-05-06T09:00:00+02:00", "process": 7}
{"event": "begun", "at": "2025-05-06T09:00:00+02:00", "scenario": "box.toml", "box": {"title": \
"Two lines", "outlets": [{"label": "north", "hole": {"kind": "Circle", "diameter_m": 0.0508, \
"coefficient": null}, "offset_m": 0.0127, "clock_rad": 0.0, "point_over_lip_m": 0.0, "capped": \
false}, {"label": "south", "hole": {"kind": "Circle", "diameter_m": 0.0508, "coefficient": null}, \
"offset_m": 0.0127, "clock_rad": 0.7853981633974483, "point_over_lip_m": 0.0, "capped": false}]}}
{"event": "still", "at": "2025-05-06T09:01:00+02:00", "method": "ruler", "typed": ""}
{"event": "read", "at": "2025-05-06T09:02:00+02:00", "outlet": "north", "readings_m": [0.003], \
"doubtful": false, "typed": "3 mm"}
{"event": "settled", "at": "2025-05-06T09:02:00+02:00", "outlet": "north"}
{"event": "read", "at": "2025-05-06T09:03:00+02:00", "outlet": "south", "readings_m": [0.0], \
"doubtful": false, "typed": "0"}
{"event": "settled", "at": "2025-05-06T09:03:00+02:00", "outlet": "south"}
{"event": "turned", "at": "2025-05-06T09:09:00+02:00", "angles_rad": {"north": -0.5, "south": \
0.7853981633974483}, "typed": ""}
""".replace("\\\n", "")
"""As logs were before visits had names; invented."""


def test_a_log_from_before_visits_had_names_is_compared_with(tmp_path: Path):
    path = tmp_path / "log"
    path.write_text(OLD.lstrip())
    with JobLog(path, "2026-05-06") as log:
        was = all_played(visits(log.entries), SITE, Rules(samples=50))[-1]
        begun(log, SITE, visit="after a season", angles_rad=carried_angles(was, SITE))
        for event in (EVERY[2], setup.Read(outlet=0, heights=(0.0,)), setup.Settled(outlet=0),
                      setup.Read(outlet=1, heights=(0.0,)), setup.Settled(outlet=1)):  # fmt: skip
            log.append(entry_of(event, SITE, ""))
    first, second = all_played(visits(read_log(path)), SITE, Rules(samples=50))
    assert (first.called, second.called) == ("set-up", "after a season")
    assert second.now.angles == (-0.5, pi / 4)
    # what was turned and not read again is where the clock says
    rise = 0.0127 * (1 - cos(0.5))
    left, found = second.recheck.before.lips.height, second.recheck.now.lips.height
    assert left[0] - left[1] == pytest.approx(0.003 + rise)
    moved = second.recheck.movement.moved
    assert moved[0] - moved[1] == pytest.approx((found[0] - found[1]) - (left[0] - left[1]))
