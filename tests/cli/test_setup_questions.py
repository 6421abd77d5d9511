"""What a set-up says to an odd answer, to `?`, and to a second thought, and that it goes on."""

import json
from pathlib import Path

import pytest

PLAIN = ["", "My field", "2", "", "circle 2", "1/2", "6:00", "", "", "", "1/32", "10 %", "permit 7",
         ""]  # fmt: skip
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
        (0, "?", "undo take the last answer back"),
        (0, "undo", "is the first question; there is nothing to take back"),
        (2, "none", "! that is"),
        (3, "correct 9", 'is "correct 9"; write the number of a question answered before'),
        (3, "correct x", 'is "correct x"; write the number of a question answered before'),
        (11, "12", "! that is"),
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
    assert "correct 3 read outlet 3 of this pass anew" in out
    assert out.count("outlet 1 >") == 2
    assert "outlet 2 >" in out
