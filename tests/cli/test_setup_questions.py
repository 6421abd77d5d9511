"""What a set-up says to an odd answer, to `?`, and to a second thought, and that it goes on."""

import json
from pathlib import Path

import pytest

from dbox.files.job_log import log_path

PLAIN = ["", "My field", "2", "", "circle 2", "1/2", "6:00", "", "", "", "", "", "1/32",
         "10 %", "permit 7", "", ""]  # fmt: skip
BOX = """
units = "in"
insert = {kind = "circle", diameter = "2 in", offset = "1/2 in"}
readings = {spread = "1/32 in"}
outlet = [{clock = "6:00"}, {clock = "12:00"}, {clock = "6:00"}]
"""


@pytest.fixture
def set_up(dbox, tmp_path: Path):
    """Run a set-up of a file with answers; give exit code, stdout in one line, and stderr."""

    def call(file: Path, answers: list[str]) -> tuple[int, str, str]:
        typed = tmp_path / "answers.txt"
        typed.write_text("\n".join(answers) + "\n")
        code, out, err = dbox("setup", str(file), "--answers", str(typed))
        return code, " ".join(out.split()), err

    return call


@pytest.mark.parametrize(
    ("place", "odd", "said"),
    [
        (0, "?", "The unit of your rule."),
        (4, "?", "a slot by width and height"),
        (0, "back", "is the first question; there is nothing to take back"),
        (2, "none", "! that is"),
        (3, "correct 9", 'is "correct 9"; write the number of a question answered before'),
        (3, "correct x", 'is "correct x"; write the number of a question answered before'),
        (12, "12", "! that is"),
    ],
)
def test_an_odd_answer_changes_nothing(set_up, tmp_path: Path, place, odd, said):
    """The scenario is the one that the same answers make without it."""
    plain, other = tmp_path / "plain.toml", tmp_path / "other.toml"
    assert set_up(plain, PLAIN)[0] == 0
    code, out, _ = set_up(other, [*PLAIN[:place], odd, *PLAIN[place:]])
    assert code == 0
    assert said in out
    assert other.read_text() == plain.read_text()


def test_pause_among_the_questions_keeps_the_answers(set_up, tmp_path: Path):
    plain, other = tmp_path / "plain.toml", tmp_path / "other.toml"
    set_up(plain, PLAIN)
    code, out, _ = set_up(other, [*PLAIN[:6], "pause"])
    assert (code, other.exists()) == (0, False)
    assert "Paused; every answer is kept." in out
    set_up(other, PLAIN[6:])
    assert other.read_text() == plain.read_text()


def test_a_scenario_that_has_come_since_is_left_alone(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    set_up(file, PLAIN[:4])
    file.write_text(BOX)
    code, _, err = set_up(file, PLAIN[4:])
    assert code == 2
    assert "has come since its questions began; move it away" in err
    assert file.read_text() == BOX


@pytest.mark.parametrize(
    ("readings", "said"),
    [
        (["0 1/2"], "its readings differ by 1/2 in (12.7 mm), more than reading errors do."),
        (["-1/2 -1/2"], "its lip would lie 1/2 in (12.7 mm) under water"),
        (["1-1/2 1-1/2"], "that is 1/2 in (12.7 mm) beyond the full travel of its insert"),
        # hole 1 is down and can only rise, hole 2 is up and can only sink
        (["1/2 1/2", "0 0"], "no turning could bring it and outlet 1 together; 1/2 in (12.7 mm)"),
    ],
)
def test_a_reading_in_doubt_is_asked_about_and_a_no_drops_it(
    set_up, tmp_path: Path, readings, said
):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", *readings, "no"])
    assert f"Outlet {len(readings)}: {said}" in out
    after = out[out.index("not taken; read it again") :]
    assert f"outlet {len(readings)} >" in after


def test_a_fixed_lip_higher_than_its_hole_is_asked_about(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX.replace(', offset = "1/2 in"', ""))
    _, out, _ = set_up(file, ["", "2-1/2 2-1/2", "no"])
    assert "its lip would stand 2-1/2 in (63.5 mm) over the water" in out


@pytest.mark.parametrize(
    ("point", "words"),
    [("lip", "the lip (lowest point)"), ("centre", "the centre"), ("top", "the top")],
)
def test_the_point_that_is_read_is_named(set_up, tmp_path: Path, point, words):
    file = tmp_path / "box.toml"
    file.write_text(BOX.replace("readings = {", f'readings = {{point = "{point}", '))
    assert f"Measure from the water to {words} of each hole" in set_up(file, [])[1]


def test_what_cannot_happen_yet_is_told_and_not_kept(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["correct 1", "undo"])
    assert "! nothing is read before the water is still" in out
    assert "! there is nothing to take back" in out
    log = file.with_name("box.toml.log.jsonl").read_text()
    assert [json.loads(line)["event"] for line in log.splitlines()] == ["opened", "begun"]


def test_help_at_a_question_shows_what_can_be_typed_and_asks_again(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", "?", "0 0"])
    assert "Hold the rule upright in the hole" in out
    assert "correct 3: read outlet 3 again" in out
    assert out.count("outlet 1 >") == 2
    assert "outlet 2 >" in out


SIX = ["", "Six lines", "6", "", "1-3/4", "1/2", "6", *[""] * 9, "1/8 0 -1/16 1/8 0 0"]
"""Six equal outlets from nothing, to the first advice."""


def test_six_equal_outlets_from_nothing_take_few_answers(set_up, tmp_path: Path):
    file = tmp_path / "six.toml"
    code, out, err = set_up(file, SIX)
    assert (code, err) == (0, "")
    assert len(SIX) <= 20
    assert "outlet 1 +3.2 mm; outlet 2 0.0 mm; outlet 3 -1.6 mm" in out
    assert "PASS 1:" in out
    assert "! that" not in out


def test_a_clock_that_is_not_known_is_asked_for_once(set_up, tmp_path: Path):
    _, out, _ = set_up(tmp_path / "six.toml", [*SIX[:6], "idk", *SIX[7:]])
    assert "clock of outlet" not in out
    assert "PASS 1:" in out
    # in a file that does not say it, every clock is asked for, the question said once
    file = tmp_path / "box.toml"
    file.write_text(BOX.replace('{clock = "12:00"}', "{}").replace('{clock = "6:00"}', "{}"))
    _, out, _ = set_up(file, ["6", "6.30", "idk", ""])
    assert "clock of outlet 1 > 6 outlet 1: hole at 6:00 clock of outlet 2 > 6.30" in out
    assert "outlet 1 >" in out


def test_an_insert_of_unknown_offset_is_turned_by_the_rule(set_up, tmp_path: Path):
    answers = [*SIX[:5], "idk", *SIX[6:12], "1/32", *SIX[13:-1], "1/8 0 1/2 1/8 0 0"]
    _, out, _ = set_up(tmp_path / "six.toml", answers)
    assert ": turn until the rule shows" in out
    assert " by the rule" in out
    assert "?" not in out[out.index("To turn: ") : out.index("Enter: all turned")]


def test_a_pass_in_which_nothing_was_turned_is_not_followed_by_a_turn(set_up, tmp_path: Path):
    _, out, _ = set_up(tmp_path / "six.toml", SIX)
    assert "NOTHING TO TURN YET" in out
    assert "The still level has moved" not in out


def test_what_is_asked_about_holds_up_the_rest_of_its_line_and_loses_none(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["0 4 0", "no", "0", "back", "0"])
    assert "outlet 1 0.0 mm; outlet 2 +101.6 mm; not taken yet: 3" in out
    # outlet 3 comes by itself once outlet 2 is read
    assert "outlet 2 > 0 0 is 0.0 mm outlet 3 0.0 mm" in out
    assert "taken back: the reading of outlet 3" in out
    assert "outlet 3 > 0 0 is 0.0 mm" in out
    log = [json.loads(line) for line in log_path(file).read_text().splitlines()]
    assert [e["typed"] for e in log if "typed" in e] == ["0 4 0", "no", "0", "back", "0"]


def test_a_correction_waits_for_the_reading_in_doubt(set_up, tmp_path: Path):
    """Else taking that reading would drop the correction."""
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", "0", "4", "correct 1", "yes", "correct 1", "1/8"])
    assert '! that is "correct 1"; say first whether the reading is meant' in out
    assert "outlet 3 > correct 1 outlet 1 (same: 0.0 mm, as before) > 1/8" in out


def test_going_back_says_which_readings_of_the_line_are_dropped(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["4 0 0", "back", "0"])
    assert "taken back: the reading of outlet 1; the rest of its line is dropped: outlet 2, 3" in (
        out)  # fmt: skip
    assert "outlet 2 > Paused; every answer is kept." in out


@pytest.mark.everyday(1)
@pytest.mark.parametrize("cut", range(1, 12))
def test_a_line_of_readings_that_was_cut_off_goes_on_at_the_next_outlet(
    set_up, tmp_path: Path, cut
):
    """As by a power cut between two of its outlets, or before a reading was settled."""
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    set_up(file, ["1/32 0 1/16"])
    lines = log_path(file).read_text().splitlines(keepends=True)
    assert len(lines) == 9
    kept = lines[:cut]
    log_path(file).write_text("".join(kept))
    code, out, _ = set_up(file, ["pause"])
    assert code == 0
    read = sum('"event": "read"' in line for line in kept)
    asked = f"outlet {read + 1} > pause" if read < 3 else "PASS 1: "
    assert (asked if cut > 2 else "still? (Enter: yes") in out
    assert log_path(file).read_text().startswith("".join(kept))


def test_the_readings_of_one_outlet_that_look_like_those_of_all_are_told(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", "0 1/32 1/16", "back", "all 0 1/32 1/16"])
    told = "all of this outlet. One for each outlet? Type back, then all 0 1/32 1/16"
    assert told in " ".join(out.split())
    assert "outlet 1 0.0 mm; outlet 2 +0.8 mm; outlet 3 +1.6 mm" in out


def test_a_single_reading_is_all_of_its_outlet(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", "0", "0", "back", "1/32", "0"])
    assert "taken back: the reading of outlet 2" in out
    assert "PASS 1:" in out


def test_an_outlet_read_out_of_turn_is_not_asked_for_again(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    _, out, _ = set_up(file, ["", "correct 3", "0", "back", "0", "1/32", "1/16"])
    assert out.count("taken back: the reading of outlet 3 outlet 3 > 0") == 1
    assert "PASS 1:" in out


def test_readings_of_the_file_are_taken_only_when_that_is_said(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX.replace('clock = "12:00"', 'clock = "12:00", reading = "1/32"'))
    _, out, _ = set_up(file, ["", "0", "", "same", "0"])
    assert "outlet 2 (same: +0.8 mm, from the file) > ! that is empty" in out
    assert "same is +0.8 mm" in out


def test_cautions_are_given_in_full_once_in_a_job(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    assert "MIND: - Sewer gas kills" in set_up(file, ["", "0"])[1]
    out = set_up(file, ["0"])[1]
    assert "MIND:" not in out
    assert out.startswith("Never enter or lean into a tank or a box: the gas kills.")


@pytest.mark.slow
def test_what_to_turn_stands_beside_the_prompt(set_up, tmp_path: Path):
    file = tmp_path / "box.toml"
    file.write_text(BOX)
    out = set_up(file, ["", "0 0", "1/4 1/4", "1/4 1/4", "?"])[1]
    assert out.count("To turn: outlet 1 from 6:00 to 8:00. Enter: all turned as told.") == 2
