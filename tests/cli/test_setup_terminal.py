"""`dbox setup` on a real pseudo-terminal: a whole job, and nothing lost when it is killed."""

import json
import os
import random
import time
from pathlib import Path
from typing import Any

import pytest

pytest.importorskip("pty", reason="a pseudo-terminal is needed")

from dbox.files.job_log import log_path, read_log
from tests.cli.terminal import BOX, INCH, Installer, Terminal

SEED = 3
"""A box that this installer sets in two passes."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "box.toml"
    path.write_text(BOX)
    return path


def finish(terminal: Terminal, installer: Installer) -> None:
    """Do the job to its end."""
    while (prompt := terminal.prompt()) is not None:
        terminal.type(installer.answer(prompt, terminal.screen) + "\n")


@pytest.fixture
def state(dbox):
    """The job as JSON without the times of its answers."""

    def call(file: Path) -> Any:
        code, out, _ = dbox("setup", str(file), "--json")
        assert code == 0
        return without_times(json.loads(out))

    return call


def without_times(told: Any) -> Any:
    if isinstance(told, dict):
        return {key: without_times(v) for key, v in told.items() if not key.endswith("_at")}
    return [without_times(value) for value in told] if isinstance(told, list) else told


@pytest.mark.slow
def test_a_six_outlet_box_is_set_in_two_passes(dbox, file: Path, state):
    installer = Installer(SEED)
    with Terminal("setup", str(file)) as terminal:
        finish(terminal, installer)
        assert terminal.process.wait(10) == 0
        screen = terminal.screen
    assert "PASS 1: ADJUST" in screen
    told = state(file)
    assert len(told["passes"]) == 2
    assert told["finished"]
    assert told["outcome"] in ("within", "ruler")
    # the lips of the box itself now stand level, to what ruler and hand allow
    assert max(installer.lips) - min(installer.lips) < INCH / 8
    assert [o["angle_rad"] for o in told["passes"][1]["outlets"]] == pytest.approx(
        installer.angles)  # fmt: skip
    shown = [line for line in screen.splitlines() if str(file) not in line]
    assert max(map(len, shown)) <= 72
    assert "\x1b" not in screen
    sheet = file.with_suffix(".pdf")
    code, said, _ = dbox("sheet", str(file), "--kind", "setup", "--out", str(sheet))
    assert code == 0
    assert f"from 2 passes in {file}.log.jsonl" in said
    assert sheet.read_bytes()[:5] == b"%PDF-"


FROM_NOTHING = {
    "six": ["", "Hillside", "6", "y", "2 in circle", "1/2", "6 o'clock", *[""] * 6, "1/32", "10",
            "permit 7", "", "", "1/8 0 -1/16 1/8 0 0", ""],
    "round": ["", "", "4", "", "circle 1-3/4", "1/2", "6.30", "24", "2, 4.30, 7.30, 10", "tee", "",
              "2", "", "60", "", "", "1/32", "", "none", "", "", "0 0, 1/16 1/8, 0 1/32, 0 0", "6"],
    "millimetres": ["mm", "Hof", "5", "no", "3", "45", "12,5", "6", *[""] * 9, "400 x 500", "skip",
                    "skip", "30", "", "20", "2 1 0 1 1", "", "1", "0,5", "15", "", "", "",
                    "2,5 0 3 1,5", ""],
    "no inserts": ["", "", "3", "", "none", "4 in pipe", *[""] * 10, "ok", "1/8", "0", "0 1/16",
                   ""],
}  # fmt: skip
"""Boxes from nothing to the first advice, as typed."""


@pytest.mark.slow
@pytest.mark.everyday(1)
@pytest.mark.parametrize("box", FROM_NOTHING)
def test_a_box_from_nothing_is_read_on_screens_of_24_lines(tmp_path: Path, box: str):
    file = tmp_path / "new.toml"
    with Terminal("setup", str(file)) as terminal:
        assert terminal.prompt() is not None
        for line in FROM_NOTHING[box]:
            asked = len(terminal.screen)
            terminal.type("?\n")
            assert terminal.prompt() is not None
            # what a question means and the question itself are on the screen together
            most = 40 if "write it" in terminal.screen[asked:] else 24
            assert len(terminal.screen[asked:].splitlines()) <= most
            terminal.type(f"{line}\n")
            assert terminal.prompt() is not None
        assert "PASS 1: " in terminal.screen
        shown = [line for line in terminal.screen.splitlines() if str(file) not in line]
    assert max(map(len, shown)) <= 72
    assert file.exists()


def test_the_common_box_takes_at_most_20_answers():
    assert len(FROM_NOTHING["six"]) <= 20


def typed(file: Path) -> list[str]:
    """Every answer that the log holds."""
    return [entry["typed"] for entry in read_log(log_path(file)) if "typed" in entry]


def work_until_killed(file: Path, installer: Installer, rng: random.Random) -> bool:
    """Answer a few questions, be killed at any moment; whether the job ended before that."""
    kept = typed(file)
    with Terminal("setup", str(file)) as terminal:
        left = rng.randrange(0, 5)
        if left == 0:
            # while it starts, reads the log and works out where it was
            prompt = terminal.prompt(rng.uniform(0.0, 0.9))
            terminal.kill()
            assert typed(file) == kept
            return False
        sent: str | None = None
        for _ in range(left):
            prompt = terminal.prompt()
            if sent is not None:
                kept.append(sent)
            if prompt is None:
                assert typed(file) == kept
                return True
            if prompt == "visit":
                # killed when the last answer was kept: a look at what is there is no answer
                assert "closed" in [entry["event"] for entry in read_log(log_path(file))]
                terminal.type("\n")
                assert terminal.prompt() is None
                assert typed(file) == kept
                return True
            sent = installer.answer(prompt, terminal.screen)
            terminal.type(sent + "\n")
        time.sleep(rng.uniform(0.0, 0.02))
        terminal.kill()
    # each answered question is in the log; the last answer may be there or not
    assert typed(file) in (kept, [*kept, sent])
    return False


def kill_and_resume(file: Path, state, kills: int) -> None:
    whole = file.with_name("whole.toml")
    whole.write_text(BOX)
    with Terminal("setup", str(whole)) as terminal:
        finish(terminal, Installer(SEED))
    expected, rng = state(whole), random.Random(1)
    installer, done = Installer(SEED), 0
    while done < kills:
        if work_until_killed(file, installer, rng):
            assert state(file) == expected
            log_path(file).unlink()
            installer = Installer(SEED)
        else:
            done += 1
    with Terminal("setup", str(file)) as terminal:
        finish(terminal, installer)
    assert state(file) == expected
    assert typed(file) == typed(whole)


@pytest.mark.parametrize("times", [1, pytest.param(50, marks=pytest.mark.slow)])
def test_killed_at_any_moment_nothing_is_lost(file: Path, state, times):
    kill_and_resume(file, state, times)


@pytest.mark.everyday(1)
@pytest.mark.parametrize("key", [b"\x03", b"\x04", b"pause\n"], ids=["ctrl-c", "ctrl-d", "pause"])
def test_it_pauses_and_keeps_what_was_said(file: Path, key: bytes):
    with Terminal("setup", str(file)) as terminal:
        terminal.prompt()
        terminal.type("\n")
        terminal.prompt()
        terminal.type(key)
        assert terminal.code() == 0
        assert "Paused; every answer is kept." in terminal.screen
    assert typed(file) == [""]
    with Terminal("setup", str(file)) as terminal:
        assert terminal.prompt() == "outlet 1"


def test_a_closed_terminal_loses_nothing(file: Path):
    terminal = Terminal("setup", str(file))
    terminal.prompt()
    terminal.type("\n")
    terminal.prompt()
    os.close(terminal.master)
    terminal.process.wait(10)
    assert typed(file) == [""]


@pytest.mark.slow
def test_bytes_that_are_no_text_are_an_answer_that_cannot_be_read(file: Path):
    with Terminal("setup", str(file)) as terminal:
        terminal.prompt()
        terminal.type("\n")
        terminal.prompt()
        terminal.type(b"\xff\xfe1/8\n")
        assert terminal.prompt() == "outlet 1"
        assert "write" in terminal.screen


def test_a_second_set_up_at_the_same_time_is_refused(file: Path):
    with Terminal("setup", str(file)) as first:
        first.prompt()
        with Terminal("setup", str(file)) as second:
            assert second.code() == 2
            assert f"process {first.process.pid} has this job open" in second.screen
        first.type("\n")
        assert first.prompt() == "outlet 1"
