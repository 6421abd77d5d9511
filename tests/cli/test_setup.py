"""`dbox setup` driven from a file of answers: the loop, its ends, and what it refuses."""

import io
import json
import os
from pathlib import Path

import pytest

BOX = """
title = "Four lines"
units = "in"
box = {inside = ["16 in", "20 in"]}
insert = {kind = "circle", diameter = 2, offset = "1/2"}
readings = {spread = "1/32"}
outlet = [
    {label = "1", clock = "6:00", at = [4, 0]}, {label = "2", clock = "6:00", at = [12, 0]},
    {label = "3", clock = "6:00", at = [12, 20]}, {label = "4", clock = "6:00", at = [4, 20]},
]
tolerance = {share = "10 %", source = "permit 7"}
"""
TURNED = ["", "0 0", "1/4 1/4", "0 0", "0 0", ""]
LEVEL = ["", "0 0 0", "0 0 0", "0 0 0", "0 0 0"]


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "box.toml"
    path.write_text(BOX)
    return path


@pytest.fixture
def log(file: Path) -> Path:
    return file.with_name("box.toml.log.jsonl")


@pytest.fixture
def run(dbox, file: Path):
    """Run a set-up of box.toml with answers; give exit code, stdout and stderr."""

    def call(answers: list[str], *options: str):
        typed = file.with_name("answers.txt")
        typed.write_text("# answers\n" + "\n".join(answers) + "\n")
        return dbox("setup", str(file), "--answers", str(typed), *options)

    return call


@pytest.fixture
def state(dbox, file: Path):
    """The job as JSON."""

    def call(of: Path = file):
        code, out, _ = dbox("setup", str(of), "--json")
        assert code == 0
        return json.loads(out)

    return call


def clocks(told, number: int) -> dict[str, str]:
    """Where each hole stood in a pass."""
    return {o["label"]: o["clock"] for o in told["passes"][number - 1]["outlets"]}


@pytest.mark.slow
def test_a_pour_says_that_a_set_up_has_read_the_box_since(run, dbox, file, tmp_path: Path):
    file.write_text(BOX.replace('"6:00"', '"6:00", reading = 0'))
    code, out, _ = run([*TURNED, *LEVEL, ""])
    assert "--write-after" in out
    dbox("setup", str(file), "--write-after")
    code, _, err = dbox("pour", str(tmp_path / "box-after.toml"))
    assert (code, err) == (0, "")
    _, _, err = dbox("pour", str(file))
    assert "a set-up has read the box since" in err


def test_a_file_without_readings_is_taken_as_its_set_up_read_it(run, dbox, file):
    """Nothing is read twice: the lips of the last pass stood at the water, 0 in."""
    code, out, _ = run([*TURNED, *LEVEL, ""])
    assert "--write-after" not in out
    dbox("setup", str(file), "--write-after")
    code, out, err = dbox("split", str(file), "--json")
    assert code == 0
    assert err.startswith("dbox: note: the box as its set-up read it, 2")
    assert {each["lip_m"] for each in json.loads(out)["cases"][0]["outlets"]} == {0.0}
    after = dbox("split", str(file.with_name("box-after.toml")), "--json")[1]
    assert json.loads(out) == json.loads(after)
    assert "its readings are those of its set-up" in dbox("check", str(file))[1]


def test_two_passes_end_at_the_ruler(run, state, tmp_path: Path):
    code, out, err = run([*TURNED, *LEVEL, ""])
    assert (code, err) == (0, "")
    assert all(len(line) <= 72 for line in out.replace(str(tmp_path), "").splitlines())
    assert out.index("PASS 1: ADJUST") < out.index("Turn in this order") < out.index("PASS 2: ")
    assert "FINISHED after 2 passes: what still differs is smaller than the rule can tell." in (
        " ".join(out.split()))  # fmt: skip
    last = " ".join(out.split()).partition("For the inspector. ")[2]
    assert last.startswith("Asked: within 10 % of each line's own target. Source: permit 7.")
    assert "at dose the lines get 100 % of their targets (within; chance" in last
    told = state()
    assert (told["finished"], told["outcome"]) == (True, "ruler")
    assert [each["conclusion"] for each in told["passes"]] == ["adjust", "ruler"]
    assert (
        told["passes"][1]["outlets"][0]["clock"] == told["passes"][0]["outlets"][0]["clock_after"]
    )


@pytest.mark.slow
def test_yes_typed_for_enter_ends_the_same_job(run, state):
    code, out, _ = run(["yes", *TURNED[1:-1], "y", "ok", *LEVEL[1:], "done"])
    assert code == 0
    assert "! that is" not in out
    told = state()
    assert told["finished"]
    assert {each["method"] for each in told["passes"]} == {"ruler from still water"}


def test_a_goal_out_of_one_insert_s_reach_does_not_end_the_job_at_re_bed(run, file):
    """Hole 4 stands up, 30 mm over the water; the others end 25.4 mm over it."""
    file.write_text(BOX.replace('"4", clock = "6:00"', '"4", clock = "12:00"'))
    answers = ["", "0 0", "0 0", "0 0", "30 mm 30 mm", "yes"]
    out = " ".join(run(answers, "--goal", "highest")[1].split())
    assert "PASS 1: ADJUST" in out
    assert "which outlets 1, 2 and 3 cannot reach" in out
    assert "turned? (Enter: yes)" in out


def test_every_caution_comes_first(run):
    out = run([])[1]
    for word in ("never enter or lean into", "children", "trench can cave in", "disease",
                 "1926.651-652", "gloves", "utilities", "pump", "clean water only", "code",
                 "permit", "licensed"):  # fmt: skip
        assert word in out[: out.index("PASS 1")]


def test_pauses_and_goes_on_where_it_was(run, state, log):
    """Any split of the answers over several runs is the same job."""
    whole = [*TURNED, *LEVEL, ""]
    run(whole)
    once = state()
    log.unlink()
    for answer in whole:
        code, out, _ = run([answer])
        assert code == 0
        assert "Paused; every answer is kept." in out or "FINISHED" in out
    assert stripped(state()) == stripped(once)


def stripped(told):
    """The same without the times of the answers."""
    if isinstance(told, dict):
        return {key: stripped(value) for key, value in told.items() if not key.endswith("_at")}
    return [stripped(value) for value in told] if isinstance(told, list) else told


def test_a_bad_answer_is_asked_again_with_the_mend(run, state):
    out = run(["", "13/16/2", "5 gal", "1/8 1/8"])[1]
    assert '! that is "13/16/2"; write a fraction as 13/16 or 1-3/16' in out
    assert out.count("outlet 1 >") == 3
    assert state()["passes"][0]["outlets"][0]["readings_m"] == (
        pytest.approx([0.003175] * 2))  # fmt: skip


def test_a_reading_beyond_reach_asks_whether_it_is_meant(run, state):
    out = run(["", "3", "no", "1/8", ""])[1]
    assert "beyond the full travel of its insert" in " ".join(out.split())
    assert "not taken; read it again" in out
    first = state()["passes"][0]["outlets"][0]
    assert first["readings_m"] == pytest.approx([0.003175])


def test_undo_skip_and_correct(run, state):
    answers = ["", "1/8 1/8", "undo", "1/16 1/16", "skip", "0 0", "0 0", "1/8 1/8",
               "correct 1", "0 0", "correct 4", ""]  # fmt: skip
    code, out, _ = run(answers)
    assert code == 0
    assert "taken back: the reading of outlet 1" in out
    assert "Outlet 2 is not measured yet" in out
    told = state()
    readings = [outlet["readings_m"][0] for outlet in told["passes"][0]["outlets"]]
    assert readings == pytest.approx([0, 0.003175, 0, 0])


def test_holes_left_elsewhere_are_where_they_were_left(run, state):
    run([*TURNED[:-1], "1 7:45", ""])
    told = state()
    assert told["passes"][1]["outlets"][0]["clock"] == "7:45"


def test_it_ends_within_tolerance_where_readings_are_fine(run, file):
    file.write_text(BOX.replace('"1/32"', '"0.01 mm"'))
    out = run([*LEVEL, ""])[1]
    assert "WITHIN TOLERANCE at every flow." in out
    assert "FINISHED after 1 pass: every flow is within the tolerance." in out


def test_it_ends_at_re_bed_with_the_lift(run):
    out = run(["", "0 0", "0 0", "1-1/2 1-1/2", "yes", "1-1/2 1-1/2", "yes", ""])[1]
    assert "RE-BED" in out
    assert "lift the left side by" in out
    assert "FINISHED after 1 pass: the box must be bedded again." in out


def test_a_finished_job_is_shown_again_and_begun_anew_only_when_told(run, state, log):
    run([*TURNED, *LEVEL, ""])
    kept = log.read_bytes()
    code, out, _ = run(LEVEL)
    assert code == 0
    assert "FINISHED after 2 passes" in out
    assert "still?" not in out
    assert log.read_bytes() == kept
    before = clocks(state(), 2)
    assert "PASS 1" in run(["", "0 0"], "--again")[1]
    # nothing of the old job is lost, and the holes are where it left them
    assert log.read_bytes().startswith(kept)
    assert len(state()["passes"]) == 1
    assert clocks(state(), 1) == before


FIFTH = ('{label = "1"', '{label = "new", clock = "5:00", at = [8, 0]},\n    {label = "1"')
SECOND_GONE = ('{label = "2", clock = "6:00", at = [12, 0]},', "")
OTHER_INSERT = ('"4", clock = "6:00"', '"4", clock = "6:00", diameter = 3')


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("mends", "changed", "said"),
    [
        # holes go by their labels, not by their places; a new one is as the file says
        ([FIFTH], {"new": "5:00"}, "all that was recorded before stays in the log"),
        # a clock written anew in the file is newer than the log
        ([('"2", clock = "6:00"', '"2", clock = "8:30"')], {"2": "8:30"}, "or its clock is new"),
        ([SECOND_GONE, OTHER_INSERT], {"2": None, "4": "6:00"},
         "Outlet 2 is no longer in the file; its record stays."),
    ],
)  # fmt: skip
def test_another_visit_begins_where_the_log_left_the_holes(
    run, state, file, log, mends, changed, said
):
    run([*TURNED, *LEVEL, "1 7:45", ""])
    before, kept = clocks(state(), 2), log.read_bytes()
    assert set(before.values()) != {"6:00"}
    text = BOX
    for old, new in mends:
        text = text.replace(old, new)
    file.write_text(text)
    out = " ".join(run(["", "0 0"], "--again")[1].split())
    assert "Another visit;" in out
    assert said in out
    assert log.read_bytes().startswith(kept)
    wanted = {**before, "1": "7:45", **changed}
    assert clocks(state(), 1) == {label: clock for label, clock in wanted.items() if clock}
    assert (state()["visit"], state()["visits"]) == (2, 2)


@pytest.mark.slow
def test_a_re_check_is_called_one_with_its_date(run, state):
    run([*TURNED, *LEVEL, ""])
    out = " ".join(run([*LEVEL, ""], "--again")[1].split())
    begun = state()["begun_at"]
    assert f"RE-CHECK of {begun[:10]}, visit 2, FINISHED after 1 pass" in out
    assert "--kind setup --visit 1" in out


def test_an_outlet_added_while_its_first_pass_runs_is_asked_for(run, state, file):
    """At another visit the log tells every clock but that of the outlet that has come since."""
    run([*TURNED, *LEVEL, ""])
    run(["", "1/8 1/8"], "--again")
    file.write_text(
        BOX.replace("at = [4, 20]},", 'at = [4, 20]},\n    {label = "5", clock = "5:00"},')
    )
    code, out, err = run(["0 0", "0 0", "0 0"], "--edited")
    assert (code, err) == (0, "")
    assert "outlet 5 >" in out
    outlets = state(file)["passes"][0]["outlets"]
    assert outlets[0]["readings_m"] == pytest.approx([0.003175] * 2)
    assert outlets[4]["clock"] == "5:00"


def test_a_log_of_another_scenario_is_refused(run, file, log):
    run(["", "0 0"])
    kept = log.read_bytes()
    file.write_text(BOX.replace("diameter = 2", "diameter = 3").replace("Four", "Other"))
    for options in ((), ("--json",)):
        code, out, err = run(LEVEL, *options)
        assert (code, out) == (2, "")
        assert "belongs to another scenario" in err
        assert 'title was "Four lines", is "Other lines"; outlet 1 has another hole' in err
    assert log.read_bytes() == kept
    # the person knows that it is the same box
    code, out, _ = run(["0 0"], "--edited")
    assert code == 0
    assert "outlet 2 >" in out
    assert run([])[0] == 0


@pytest.mark.everyday(1)
@pytest.mark.parametrize("last", [["skip"], ["0 0", "undo"]], ids=["put off", "taken back"])
def test_an_outlet_found_capped_is_marked_so_and_the_job_goes_on(run, state, file, last):
    """As the set-up itself says it: mark it in the scenario, and go on with --edited."""
    run(["", *["0 0"] * 3, *last])
    file.write_text(BOX.replace('{label = "4",', '{label = "4", state = "capped",'))
    code, out, err = run([""], "--edited")
    assert (code, err) == (0, "")
    assert "FINISHED after 1 pass" in out
    assert state(file)["passes"][0]["outlets"][3]["capped"]


def test_an_edited_tolerance_is_no_other_box(run, state, file):
    run(LEVEL)
    file.write_text(BOX.replace("10 %", "100 %"))
    code, out, _ = run([""])
    assert code == 0
    assert "all within 100 % of it?" in out
    assert state()["finished"]


def test_a_torn_line_is_told_and_set_aside(run, log):
    run(["", "0 0", "1/8 1/8"])
    log.write_bytes(log.read_bytes()[:-9])
    out = " ".join(run([])[1].split())
    assert "was torn off" in out
    assert "outlet 2 >" in out
    assert (log.with_name("box.toml.log.jsonl.torn")).read_bytes()


def test_a_disk_that_takes_no_more_ends_the_job_and_keeps_what_there_was(
    run, state, log, monkeypatch
):
    run(["", "0 0"])
    fsync, calls = os.fsync, iter(range(99))

    def full(descriptor: int) -> None:
        # the line that says who has the log open still goes through
        if next(calls) > 0:
            raise OSError(28, "No space left on device")
        fsync(descriptor)

    with monkeypatch.context() as patch:
        patch.setattr("os.fsync", full)
        code, _, err = run(["1/8 1/8", "0 0"])
    assert code == 2
    assert "the last step cannot be kept (No space left on device); all before it are" in err
    assert log.read_bytes().endswith(b"\n")
    readings = [o["readings_m"] for o in state()["passes"][0]["outlets"]]
    assert readings == [[0.0, 0.0], [], [], []]


def test_the_last_pass_goes_to_split_through_a_file_of_its_own(run, dbox, file, tmp_path: Path):
    code, out, _ = run([*TURNED, *LEVEL, ""], "--write-after")
    assert code == 0
    assert "wrote " in out
    after = str(tmp_path / "box-after.toml")
    seen = json.loads(dbox("split", after, "--json")[1])
    assert [o["lip_m"] for o in seen["cases"][0]["outlets"]] == [0.0] * 4
    assert file.read_text() == BOX
    code, _, err = run([], "--write-after")
    assert code == 2
    assert "is there already" in err


def test_json_is_alone_on_stdout_and_asks_nothing_by_itself(run, state, log):
    code, out, err = run([*TURNED, ""], "--json")
    assert code == 0
    assert (json.loads(out)["asks"], json.loads(out)["asks_outlet"]) == ("read", "1")
    assert "MIND:" in err
    kept = log.read_bytes()
    assert state()["asks"] == "read"
    assert log.read_bytes() == kept


@pytest.mark.everyday(3)
@pytest.mark.parametrize(
    ("answers", "asks", "outlet"),
    [
        ([""], "read", "1"),
        (["", "0 0"], "read", "2"),
        (["", "0 0", "3"], "confirm", "2"),
        (TURNED[:-1], "turn", None),
        (TURNED, "still", None),
        ([*TURNED, *LEVEL], "end", None),
        ([*TURNED, *LEVEL, ""], None, None),
    ],
)
def test_json_says_what_is_asked_of_which_outlet(run, state, answers, asks, outlet):
    """What a script that leads a job goes by."""
    run(answers)
    told = state()
    assert (told["asks"], told["asks_outlet"]) == (asks, outlet)
    assert told["finished"] == (asks is None)


@pytest.mark.parametrize("readings", ["0", "0 0"])
def test_a_pass_is_an_empty_line_and_a_line_an_outlet(run, state, readings):
    """As scripts write it, one reading a line or several."""
    run(["", *[readings] * 4])
    told = state()["passes"][0]
    assert [len(o["readings_m"]) for o in told["outlets"]] == [len(readings.split())] * 4
    assert told["conclusion"] is not None


def test_questions_make_a_scenario_where_there_is_none(dbox, tmp_path: Path):
    file, typed = tmp_path / "new.toml", tmp_path / "typed.txt"
    typed.write_text(
        "\n".join(["", "My field", "2", "", "circle 2", "1/2", "6:00", "", "", "", "", "", "1/32",
                   "10 %", "permit 7", "back", "permit 8", "", "correct 2", "Our field",
                   "", "", "0 0"])
    )  # fmt: skip
    code, out, err = dbox("setup", str(file), "--answers", str(typed))
    assert (code, err) == (0, "")
    assert f"wrote {file}" in out
    assert "outlet 2 >" in out
    text = file.read_text()
    assert 'title = "Our field"' in text
    assert 'source = "permit 8"' in text
    assert dbox("check", str(file))[0] == 0


@pytest.mark.everyday(6)
@pytest.mark.parametrize("count", range(19))
def test_questions_go_on_where_they_were(dbox, state, tmp_path: Path, count):
    answers = ["", "My field", "2", "", "circle 2", "1/2", "6:00", "", "", "", "", "", "", "10 %",
               "p", "", "", "", "0 0"]  # fmt: skip
    file, typed = tmp_path / "new.toml", tmp_path / "typed.txt"
    for part in (answers[:count], answers[count:]):
        typed.write_text("".join(f"{line}\n" for line in part))
        assert dbox("setup", str(file), "--answers", str(typed))[0] == 0
    told = state(file)
    assert told["title"] == "My field"
    assert told["passes"][0]["outlets"][0]["readings_m"] == [0.0, 0.0]


def test_a_scenario_torn_off_while_written_is_finished(dbox, tmp_path: Path):
    answers = ["", "", "2", "", "circle 2", "fixed", *[""] * 9]
    file, typed = tmp_path / "new.toml", tmp_path / "typed.txt"
    typed.write_text("".join(f"{line}\n" for line in answers))
    dbox("setup", str(file), "--answers", str(typed))
    text, log = file.read_text(), tmp_path / "new.toml.log.jsonl"
    lines = log.read_text().splitlines(keepends=True)
    before = "".join(line for line in lines if '"begun"' not in line)
    typed.write_text("")
    for torn in ("", text[:50], text):
        file.write_text(torn)
        log.write_text(before)
        assert dbox("setup", str(file), "--answers", str(typed))[0] == 0
        assert file.read_text() == text
    file.write_text("# mine\n")
    log.write_text(before)
    code, _, err = dbox("setup", str(file), "--answers", str(typed))
    assert code == 2
    assert "not replaced" in err or "no outlets" in err
    assert file.read_text() == "# mine\n"


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["off-level"], "is a shipped scenario; copy "),
        (["missing.toml", "--json"], "there is no such file"),
        (["box.toml", "--answers", "nowhere.txt"], "nowhere.txt: there is no such file"),
        (["box.toml", "--write-after"], "no pass is complete"),
        ([".", "--json"], "is a folder"),
    ],
)
def test_what_cannot_be_done_is_refused(dbox, file, tmp_path: Path, monkeypatch, arguments, told):
    monkeypatch.chdir(tmp_path)
    file.write_text(BOX)
    monkeypatch.setattr("sys.stdin", io.StringIO())
    code, _, err = dbox("setup", *arguments)
    assert code == 2
    assert told in err


def test_placeholder_readings_are_never_taken_for_measured(dbox, state, tmp_path: Path):
    file, typed = tmp_path / "new.toml", tmp_path / "answers.txt"
    assert dbox("new", str(file))[0] == 0
    typed.write_text("\n" * 12)
    _, out, _ = dbox("setup", str(file), "--answers", str(typed))
    assert "from the file" not in out
    assert "FINISHED" not in out
    told = state(file)
    assert not told["finished"]
