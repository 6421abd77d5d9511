"""Coming back to a box: another visit in the same log, and lines that come, close and open."""

import json
from functools import partial
from pathlib import Path

import pytest

from dbox.fieldwork.setup import Rules
from dbox.files.scenario import load

BOX = """\
# An invented box.
title = "Four lines"
units = "in"
box = {inside = ["16 in", "20 in"]}
insert = {kind = "circle", diameter = 2, offset = "1/2"}
readings = {spread = "0.4 mm", mark = "1/64"}

# by the drive
[[outlet]]
label = "1"
clock = "6:00"
at = [2, 0]
line_length = "60 ft"

[[outlet]]
label = "2"
clock = "6:00"  # seen
at = [14, 0]
line_length = "60 ft"

# at the oak
[[outlet]]
label = "3"
clock = "6:00"
at = [14, 20]
line_length = "40 ft"

[[outlet]]
label = "4"
clock = "6:00"
at = [2, 20]
line_length = "60 ft"

[tolerance]
share = "10 %"
"""
LEVEL = ["", "0 0 0", "0 0 0", "0 0 0", "0 0 0", "end"]
DROPPED = ["", "5/32 5/32 5/32", "5/32 5/32 5/32", "0 0 0", "5/32 5/32 5/32", "end"]
"""Outlet 3 stands 4 mm under the others, where the water is."""


@pytest.fixture
def file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A box that is worked out with few draws, which take most of the time."""
    monkeypatch.setattr("dbox_cli.setup_questions.Rules", partial(Rules, samples=100))
    path = tmp_path / "box.toml"
    path.write_text(BOX)
    return path


@pytest.fixture
def log(file: Path) -> Path:
    return file.with_name("box.toml.log.jsonl")


@pytest.fixture
def run(dbox, file: Path):
    """Run a set-up with answers; give its output, after what must hold of every run."""

    def call(answers: list[str], *options: str) -> str:
        typed = file.with_name("answers.txt")
        typed.write_text("".join(f"{answer}\n" for answer in answers))
        code, out, err = dbox("setup", str(file), "--answers", str(typed), *options)
        assert (code, err) == (0, "")
        assert max(map(len, out.replace(str(file.parent), "").splitlines())) <= 72
        return " ".join(out.split())

    return call


@pytest.fixture
def state(dbox, file: Path):
    def call():
        code, out, err = dbox("setup", str(file), "--json")
        assert (code, err) == (0, "")
        return json.loads(out)

    return call


def test_a_finished_job_asks_which_visit_this_is(run, state, log):
    first = run(LEVEL)
    assert "before it is covered" in first
    kept, after = log.read_bytes(), run([""])
    assert "What visit is this?" in after
    assert log.read_bytes() == kept
    second = run(["2", *DROPPED])
    assert log.read_bytes().startswith(kept)
    last = second.rpartition("RE-CHECK of")[2]
    assert "visit 2 (after a season), FINISHED" in last
    assert "MOVED: outlet 3 dropped" in last
    # a quarter of the flow on 40 ft
    assert "6.2 >" in second
    assert "before it is covered" not in second.partition("What visit is this?")[2]
    assert "nobody in the house lets water run" in second
    told = state()
    assert (told["visit"], told["visits"], told["name"]) == (2, 2, "after a season")
    assert [each["name"] for each in told["history"]] == ["set-up", "after a season"]
    assert [each["verdict"] for each in told["history"]] == [None, "outlet"]
    assert told["recheck"]["verdict"] == "outlet"
    moved = {each["label"]: each["moved_m"] for each in told["recheck"]["movement"]["outlets"]}
    assert moved["1"] - moved["3"] == pytest.approx(5 / 32 * 0.0254)
    third = told["recheck"]["flows"][0]["outlets"][2]
    assert third["share_before"] < third["share_after"]
    assert third["change_low"] < third["share_after"] - third["share_before"] < third["change_high"]
    assert third["load_after_1_m"] == pytest.approx(third["share_after"] / (40 * 0.3048))


def test_an_earlier_visit_is_judged_with_the_inlet_it_then_had(run, state, file, dbox):
    """A straight inlet's jet strikes the line opposite; turned down since, all are even."""
    opposite = BOX.replace("[14, 20]", "[16, 10]")
    file.write_text(opposite.replace("inside", 'inlet = "straight", inside'))
    run(LEVEL)
    file.write_text(opposite.replace("inside", 'inlet = "turned down", inside'))
    run(["2", *LEVEL])
    before, after = (
        [o[f"share_{when}"] for o in state()["recheck"]["flows"][2]["outlets"]]
        for when in ("before", "after")
    )
    assert after == pytest.approx([0.25] * 4)
    assert before[2] > 0.28
    # and all that reads the box as it was last read goes by the file
    code, out, _ = dbox("split", str(file), "--json", "--samples", "100")
    assert code == 0
    assert [o["share"] for o in json.loads(out)["cases"][2]["outlets"]] == pytest.approx(after)


def test_a_box_that_stood_still_is_told_what_the_rule_could_have_shown(run):
    run(LEVEL)
    out = run(LEVEL, "--visit", "after backfill")
    assert "THE RULE CANNOT TELL that anything moved" in out
    assert "nine times in ten it would have shown a lean of" in out.lower()
    assert "look again after a season" in out


def test_the_same_command_goes_on_with_a_visit_and_then_shows_it(run, state, log):
    run(LEVEL)
    again = ("--visit", "After the flood")
    run(DROPPED[:2], *again)
    assert state()["history"][1]["finished"] is False
    run(DROPPED[2:], *again)
    assert (state()["visits"], state()["finished"]) == (2, True)
    kept = log.read_bytes()
    assert "What visit is this?" in run([], *again)
    assert log.read_bytes() == kept
    # once more, by its name
    run(["", "0 0 0"], "--again", *again)
    assert [each["name"] for each in state()["history"]][1:] == ["After the flood"] * 2


ADDED = ["add 5 after 2", "16 in, 10 in", "50", "6:00"]


def test_a_line_added_and_one_rested_ask_only_what_is_new(run, state, file):
    run(["", *["1/16 1/16 1/16"] * 3, "0 0 0", "end"])
    out = run(["4", "rest 1", *ADDED, "carry", "", "1/8 1/8 1/8", "0 0 0", "end"])
    assert "outlet 5 is new; outlet 1 is capped now" in out
    # the lowest, where the water stands, ties the new one to the others
    assert [label for label in "12345" if f"outlet {label} > " in out] == ["4", "5"]
    assert "clock of outlet 5 >" in out
    assert "clock of outlet 2 >" not in out
    text = file.read_text()
    for comment in ("# An invented box.", "# by the drive", "# seen", "# at the oak"):
        assert text.count(comment) == 1
    assert text.index('label = "2"') < text.index('label = "5"') < text.index("# at the oak")
    told = state()
    assert told["changed"] == ["outlet 5 is new", "outlet 1 is capped now"]
    assert told["recheck"]["not_read_again"] is True
    outlets = {o["label"]: o for o in told["recheck"]["flows"][1]["outlets"]}
    assert 0.2 < outlets["1"]["share_before"] < 0.25
    assert outlets["1"]["share_after"] == 0
    assert outlets["5"]["share_before"] is None
    assert sum(o["share_after"] for o in outlets.values()) == pytest.approx(1)
    # 2 and 3 stood alike, and still do
    assert outlets["2"]["share_after"] == pytest.approx(outlets["3"]["share_after"])
    lips = {o["label"]: o["lip_m"] for o in told["passes"][0]["split"]["cases"][0]["outlets"]}
    assert lips["5"] - lips["3"] == pytest.approx(0.0254 / 16, abs=1e-5)
    # and open again, with nothing typed twice: it is read, the others are not
    out = run(["4", "open 1", "carry", "", "0 0 0", "0 0 0", "end"])
    assert "outlet 1 is open again" in out
    assert [label for label in "12345" if f"outlet {label} > " in out] == ["1", "4"]
    assert {o["label"]: o["clock"] for o in state()["passes"][0]["outlets"]}["1"] == "6:00"


def test_a_line_that_is_only_closed_asks_for_no_reading(run, state):
    run(DROPPED)
    out = run(["cap 3", "carry", "end"], "--visit", "a line changed")
    assert "still?" in out
    assert "outlet 1 >" not in out
    assert "Reached, with the lips of outlets 1, 2 and 4 as the visit before left them: at" in out
    told = state()
    assert told["finished"]
    flows = told["recheck"]["flows"]
    assert [o["share_after"] for o in flows[0]["outlets"]] == pytest.approx(
        [1 / 3, 1 / 3, 0, 1 / 3]
    )


def test_a_pour_of_a_line_that_is_closed_since_stays_as_a_comment(run, file):
    pours = """
[[pour]]
name = "first"
flow = "5 gpm"
catch = {2 = "1 L in 5 s", 3 = "1 L in 6 s"}

[[pour]]
name = "second"
flow = "5 gpm"
catch = {3 = "1 L in 6 s"}
"""
    run(LEVEL)
    run(["4", "pause"])
    file.write_text(BOX + pours)  # Poured at this visit.
    assert "in the file; its outlets now: 1, 2 (capped), 3, 4" in run(["cap 2", "pause"])
    text = file.read_text()
    assert [p.name for p in load(file).pours] == ["second"]
    after = text.partition("# Poured before outlet 2 was capped:")[2]
    assert '# name = "first"' in after
    assert '2 = "1 L in 5 s"' in after


def test_a_pour_of_an_earlier_visit_is_kept_as_a_comment(run, file):
    """It tells of the box as it stood then: a diagnosis must not hold it against lips of today."""
    file.write_text(f'{BOX}[[pour]]\nflow = "5 gpm"\ncatch = {{3 = "1 L in 6 s"}}\n')
    run(LEVEL)
    assert len(load(file).pours) == 1
    assert "they stay in box.toml as comments" in run(["2", "pause"])
    assert load(file).pours == ()
    assert '# 3 = "1 L in 6 s"' in file.read_text()


def test_an_insert_that_somebody_turned_is_read_all_the_same(run):
    run(DROPPED)
    out = run(["4", "cap 1", "clock 2 7:00", "carry", "pause"])
    assert "not read again: outlet 4, as left on" in out
    assert "To read: outlets 2 and 3" in out


@pytest.mark.slow
@pytest.mark.parametrize(
    ("answers", "said"),
    [
        (["cap 9"], 'that is "9"; the outlets are 1, 2, 3, 4'),
        (["add 2"], "an outlet is called that; take another name"),
        (["cap 1", "cap 2", "cap 3", "cap 4"], "every outlet is capped; leave at least one open"),
        (["drop 2"], "close it with cap 2"),
        (["carry"], "press Enter once the water is still, and read every outlet"),
        (["", "0 0 0", "cap 1"], "does not go with what was read in this visit"),
        (["add 5", "a, b"], "place of outlet 5 > "),
    ],
)
def test_what_cannot_be_is_told_and_nothing_is_lost(run, state, answers, said):
    run(LEVEL)
    before = state()["outcome"]
    out = run(["2", *answers, "pause"])
    assert said in out
    run([*LEVEL, *LEVEL])
    assert state()["history"][0]["outcome"] == before


@pytest.mark.parametrize("name", ["", "x" * 61])
def test_a_name_that_is_none_is_refused(dbox, file, log, name):
    code, out, err = dbox("setup", str(file), "--visit", name)
    assert (code, out) == (2, "")
    assert "--visit is" in err
    assert not log.exists()


@pytest.mark.parametrize(
    ("by", "bare", "typed", "told"),
    [
        ("[2, 1, 1, 1]", "with 1, its part", "add 5 after 1 with 3", "by = [2, 3.0, 1, 1, 1]"),
        ('"length"', "with 60 ft, its length", "add 5 with 55 ft", 'line_length = "55 ft"'),
    ],
)
def test_a_new_line_tells_what_the_target_goes_by(run, file, by, bare, typed, told):
    file.write_text(f"{BOX}[target]\nby = {by}\n")
    run(LEVEL)
    assert bare in run(["2", "add 5", "pause"])
    assert "Paused" in run([typed, "pause"])
    assert told in file.read_text()


def test_a_box_that_feeds_another_is_changed_from_any_folder(run, file):
    second = file.with_name("second.toml")
    second.write_text(BOX)
    file.write_text(BOX.replace("at = [2, 20]", 'at = [2, 20]\nfeeds = "second.toml"'))
    assert "in the file; its outlets now: 1 (capped), 2, 3, 4" in run(["cap 1", "0 0 0"])


def test_the_length_of_a_new_line_is_kept_whatever_the_target_goes_by(run, file):
    trench = '{width = "24 in", depth = "12 in", pipe = "8 in", acceptance = "0.45 gal/ft2/day"}'
    file.write_text(BOX.replace("# by the drive", f"trench = {trench}\n# by the drive", 1))
    run(LEVEL)
    assert "more of it is needed: add 5 with 60 ft, its length" in run(["2", "add 5", "pause"])
    assert "line of outlet 5 >" not in run(["add 5 with 55 ft", "skip", "pause"])
    assert 'line_length = "55 ft"' in file.read_text()


def test_a_slip_is_taken_out_again(run, file):
    run(LEVEL)
    run(["2", "add 55", "skip", "skip", "drop 55", "cap 2", "open 2", *LEVEL])
    assert file.read_text().rstrip() == BOX.rstrip()


@pytest.mark.slow
def test_lines_changed_by_an_editor_are_a_change_too(run, state, file, dbox):
    run(LEVEL)
    file.write_text(BOX.replace("at = [2, 20]", 'at = [2, 20]\nstate = "capped"'))
    assert state()["finished"]
    out = run(["1", "carry", "end"])
    assert "outlet 4 is capped now" in out
    record = file.with_name("x.pdf")
    assert dbox("sheet", str(file), "--kind", "setup", "--out", str(record))[0] == 0


@pytest.mark.slow
def test_a_kill_at_any_moment_loses_nothing(run, state, log):
    """Every state that a disk can be left in: a log cut after any line, the file ahead of it."""
    run(LEVEL)
    begun = len(log.read_bytes().splitlines())
    run(["4", "cap 1", *ADDED, "carry", "", "0 0 0", "1/16 1/16 1/16", "end"])
    whole, lines = state(), log.read_bytes().splitlines(keepends=True)
    assert len(lines) > begun + 8
    for count in range(begun + 1, len(lines)):
        log.write_bytes(b"".join(lines[:count]))
        told = state()
        assert len(told["history"]) in (1, 2)
        assert told["history"][0]["outcome"] == whole["history"][0]["outcome"]
        if len(told["history"]) == 2:
            assert told["changed"] == whole["changed"]


def test_a_log_without_names_of_visits_still_loads(run, state, log):
    """As it was written before visits had names: no event knows of them."""
    run(LEVEL)
    run(DROPPED, "--again")
    kept = [json.loads(line) for line in log.read_text().splitlines()]
    assert not any("visit" in each for each in kept)
    assert {each["event"] for each in kept} == {"opened", "begun", "still", "read", "closed"}
    assert [each["name"] for each in state()["history"]] == ["set-up", "re-check"]


def spoken(pages) -> str:
    """All words of some pages, in one line."""
    return " ".join(" ".join(t.get_text() for p in pages for t in p.axes[0].texts).split())


@pytest.mark.slow
def test_the_record_prints_the_visits_and_what_moved(run, dbox, file, monkeypatch):
    run(LEVEL)
    run(["2", *DROPPED])
    printed = []
    monkeypatch.setattr(
        "dbox.drawings.paper.save_pages", lambda pages, *_, **__: printed.append(spoken(pages))
    )
    for kind in ("setup", "field"):
        assert (
            dbox("sheet", str(file), "--kind", kind, "--out", str(file.with_name("x.pdf")))[0] == 0
        )
    record, form = printed
    for words in ("Re-check record", "Visits", "set-up", "after a season", "outlet 3 dropped",
                  "Lips, old against new", "Load: % of the flow"):  # fmt: skip
        assert words in record
    assert "nobody in the house lets water run" in form
    for each in printed:
        assert "before it is covered" not in each


def test_a_line_that_is_not_read_yet_is_missed_aloud(run, dbox, file):
    run(LEVEL)
    run(["2", "add 5", "pause"])
    said = "without outlet 5, not read yet"
    assert said in dbox("split", str(file))[2]
