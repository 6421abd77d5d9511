"""A set-up for machines and for the other commands: nothing changed on the way."""

import json
from dataclasses import replace
from math import pi
from pathlib import Path

import pytest

from dbox.fieldwork import setup
from dbox.fieldwork.setup import begin, replay
from dbox.files.scenario import load
from dbox.files.write_file import write_file
from dbox.report.setup_report import after_path, after_text, setup_json

TEXT = """# my own remark
title = "Three lines"
units = "in"
box = {inside = ["16 in", "20 in"]}
insert = {kind = "circle", diameter = "1-3/4", offset = "1/2"}
readings = {spread = "1/32", rim = "5"}
outlet = [
    {label = "north", clock = "6:00", reading = ["1/4", "1/8"], at = [4, 0]},
    {label = "east", clock = "6:00", line_length = "60 ft", state = "capped"},
    {label = "south", reading = 0},
]
flows = {day = "0.5 gpm"}
tolerance = {share = "10 %", source = "permit"}
"""
HEIGHTS = ((0.003175, 0.0047625), (), (0.00123456,))
STORY = (
    setup.ClockSet(outlet=2, angle=None),
    setup.Still(at="09:00", method="laser"),
    setup.Read(at="09:01", outlet=0, heights=(0.0, 0.0)),
    setup.Read(at="09:02", outlet=2, heights=(0.004, 0.004)),
    setup.Turned(at="09:05", angles=(pi / 4, 0.0, None)),
    setup.Still(at="09:10", method="laser"),
    setup.Read(at="09:11", outlet=0, heights=HEIGHTS[0]),
    setup.Read(at="09:12", outlet=2, heights=HEIGHTS[2]),
    setup.Settled(at="09:13", outlet=2),
)


@pytest.fixture
def scenario(tmp_path: Path) -> Path:
    path = tmp_path / "three.toml"
    path.write_text(TEXT)
    return path


def test_other_commands_see_the_box_as_last_read(scenario: Path):
    job = replay(begin(load(scenario)), STORY)
    last = job.last_complete
    made = after_path(scenario)
    write_file(made, after_text(scenario, last))
    seen = load(made)
    assert scenario.read_text() == TEXT
    for outlet, heights, clock in zip(seen.outlets, HEIGHTS, (pi / 4, 0.0, None), strict=True):
        assert outlet.readings == pytest.approx(heights, abs=1e-9)
        assert outlet.clock == (clock if clock is None else pytest.approx(clock))
    assert seen.box.rim == pytest.approx(last.site.box.rim, abs=1e-8)
    assert seen.box.rim != load(scenario).box.rim
    # all else is as the scenario has it
    asis = load(scenario)
    for outlet, before in zip(seen.outlets, asis.outlets, strict=True):
        same = replace(outlet, readings=before.readings, clock=before.clock)
        assert same == before
    assert replace(seen, outlets=asis.outlets, box=asis.box) == asis


def test_a_job_in_millimetres_is_written_in_millimetres(tmp_path: Path):
    """A half inch too, which is a whole length in both units."""
    path = tmp_path / "box.toml"
    path.write_text('units = "mm"\ninsert = {kind = "circle", diameter = 50}\noutlet = [{}, {}]\n')
    told = [setup.Still(at="1", method="rule")]
    told += [setup.Read(at="2", outlet=i, heights=(h, h)) for i, h in enumerate((0.0, 0.0127))]
    text = after_text(path, replay(begin(load(path)), told).last_complete)
    assert '["0 mm", "0 mm"]' in text
    assert '["12.7 mm", "12.7 mm"]' in text


def test_the_json_is_si_and_knows_what_is_not_known(scenario: Path):
    kept = replay(begin(load(scenario)), STORY)
    told = json.loads(json.dumps(setup_json(kept), allow_nan=False))
    assert (told["title"], told["finished"], told["outcome"]) == ("Three lines", False, None)
    assert told["asks"] in ("turn", "end")
    assert told["tolerance"] == {"share": pytest.approx(0.1), "source": "permit"}
    one, two = told["passes"]
    assert (one["method"], one["still_at"], one["done_at"]) == ("laser", "09:00", "09:05")
    assert two["done_at"] is None
    north, east, south = one["outlets"]
    assert (north["clock"], north["clock_after"]) == ("6:00", "7:30")
    assert north["angle_after_rad"] == pytest.approx(pi / 4)
    assert (south["clock"], south["clock_after"], south["read_at"]) == (None, None, "09:02")
    assert (east["capped"], east["readings_m"], east["read_at"]) == (True, [], None)
    assert two["outlets"][0]["readings_m"] == pytest.approx(HEIGHTS[0])
    assert [case["name"] for case in two["split"]["cases"]] == ["day"]
    assert two["level"]["verdict"] in ("nothing to do", "adjust", "re-bed")


def test_an_incomplete_pass_has_no_answer_yet(scenario: Path):
    told = setup_json(replay(begin(load(scenario)), STORY[:3]))
    assert told["passes"][0]["split"] is None
    assert told["passes"][0]["conclusion"] is None
    assert told["asks"] == "read"
    assert setup_json(None)["asks"] == "scenario"
