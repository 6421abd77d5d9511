"""An insert that does not turn: what is told then, and what of it stays."""

import json
from functools import partial
from pathlib import Path

import pytest

from dbox.fieldwork.setup import Rules
from dbox.files.job_log import log_path, read_log, visits
from dbox.files.page_file import page_start
from dbox.files.scenario import load

BOX = """
# An invented box.
title = "Six lines"
units = "in"
box = {inside = ["18 in", "14 in"], inlet = "tee"}
insert = {kind = "circle", diameter = "1-3/4", offset = "1/2"}
readings = {spread = "0.4 mm", mark = "1/64"}
outlet = [
    {label = "1", clock = "8:20"}, {label = "2", clock = "4:00"}, {label = "3", clock = "9:10"},
    {label = "4", clock = "7:30"}, {label = "5", clock = "8:00"}, {label = "6", clock = "4:30"},
]
tolerance = {share = "30 %", source = "permit 7"}
flows = {bucket = "5 gpm"}
"""
HIGH = ["", "0 0", "1/8 1/8", "1/4 1/4", "0 0", "1/16 1/16", "1/16 1/16"]
"""Outlet 3 stands a quarter of an inch over the lowest."""
LEVEL = ["", *["0 0"] * 6]


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A box that is worked out with few draws, which take most of the time."""
    monkeypatch.setattr("dbox_cli.setup_questions.Rules", partial(Rules, samples=100))
    path = tmp_path / "box.toml"
    path.write_text(BOX)
    return path


@pytest.fixture
def run(dbox, file: Path):
    """Run its set-up with answers; give what is said, blanks made one."""

    def call(answers: list[str], *options: str) -> str:
        typed = file.with_name("answers.txt")
        typed.write_text("\n".join(answers) + "\n")
        code, out, err = dbox("setup", str(file), "--answers", str(typed), *options)
        assert (code, err) == (0, "")
        return " ".join(out.split())

    return call


def told_to_turn(pass_json) -> list[str]:
    return pass_json["level"]["order"]


def test_the_others_are_raised_to_a_stuck_insert_and_the_job_ends_well(run, dbox, file):
    out = run([*HIGH, "stuck 3", "", *LEVEL, ""])
    before, _, after = out.partition("Stuck, not to be turned: outlet 3.")
    assert "outlet 3: 9:10 to 8:10" in before
    assert "PASS 1: ADJUST: turn 5 of 6 inserts, lips to +1/4 in" in after
    assert "outlet 3: 9:10 to" not in after.partition("PASS 2")[0]
    assert "FINISHED after 2 passes: every flow is within the tolerance." in after
    job = json.loads(dbox("setup", str(file), "--json")[1])
    first, last = job["passes"]
    assert sorted(told_to_turn(first)) == ["1", "2", "4", "5", "6"]
    for each in (first, last):
        assert [o["label"] for o in each["outlets"] if o["stuck"]] == ["3"]
    assert (first["outlets"][2]["clock"], first["outlets"][2]["clock_after"]) == ("9:10", "9:10")
    assert (first["conclusion"], last["conclusion"]) == ("adjust", "within")


def test_a_pass_keeps_what_was_told_before_an_insert_stuck(run, dbox, file):
    run([*HIGH, "3 9:10", ""])
    before = json.loads(dbox("setup", str(file), "--json")[1])["passes"][0]
    assert "3" in told_to_turn(before)
    run([*HIGH, "3 fixed"])
    one, two = json.loads(dbox("setup", str(file), "--json")[1])["passes"]
    assert one == before
    assert "3" not in told_to_turn(two)


def test_a_hole_that_was_left_is_said_once_and_tells_no_turn_to_where_it_stands(run):
    out = run([*HIGH, "3 9:10"])
    after = out.partition("turned? (Enter: yes) > 3 9:10")[2]
    assert "Left: outlet 3 at 9:10, where it stood. To turn: outlet 2 from" in after
    assert "PASS 1" not in after
    assert "9:10 to 9:10" not in after
    assert "stuck 3" in after


def test_stuck_is_taken_back_by_undo_and_by_free(run):
    for back in ("undo", "free 3"):
        out = run([*HIGH, "stuck 3", back] if back == "undo" else ["stuck 3", back])
        assert "outlet 3: 9:10 to 8:10" in out.rpartition("PASS 1: ADJUST")[2]


def test_what_is_stuck_is_fixed_in_the_box_as_last_read(run, file):
    run([*HIGH, "stuck 3", "", *LEVEL, ""], "--write-after")
    after = load(file.with_name("box-after.toml"))
    assert [outlet.hole_offset is None for outlet in after.outlets] == [
        label == "3" for label in "123456"
    ]
    assert [outlet.hole_offset for outlet in load(file).outlets] == [0.0127] * 6


def test_it_is_stuck_at_the_next_visit_and_for_a_page_too(run, dbox, file):
    run([*HIGH, "stuck 3", "", *LEVEL, ""])
    out = run(["", *HIGH[1:]], "--visit", "after a season")
    assert "PASS 1 Stuck, not to be turned: outlet 3." in out
    told = json.loads(dbox("setup", str(file), "--json")[1])["passes"][0]
    assert "3" not in told_to_turn(told)
    start, known = page_start(load(file), visits(read_log(log_path(file))), "box.toml")
    assert [outlet.hole_offset for outlet in start.outlets][2] is None
    assert {outlet["offset_m"] for outlet in known["box"]["outlets"]} == {0.0127}


def test_whether_it_slipped_is_not_asked_again_once_it_is_stuck(run):
    """All were taken as turned, and outlet 3 still stands where it stood."""
    out = run([*HIGH, "", "", "0 0", "0 0", "1/4 1/4", *["0 0"] * 3, "stuck 3"])
    before, _, after = out.partition("Stuck, not to be turned")
    assert "outlet 3: it does not stand where it was left" in before
    assert "where it was left" not in after
    assert "PASS 2: ADJUST: turn 5 of 6 inserts, lips to +1/4 in" in after
