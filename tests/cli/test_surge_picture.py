"""`dbox surge --out`: which file is written, and what is refused before anything is computed."""

import json
from pathlib import Path

import pytest

from dbox.drawings import surge_frames
from dbox.fieldwork.surge import frame_times

FAMILY = "family-of-four"
SHORT = ("--event", "toilet", "--for", "2 min")


@pytest.fixture(autouse=True)
def few_frames(monkeypatch):
    """Films as the command makes them, but of a tenth of their frames."""
    monkeypatch.setattr(
        surge_frames, "frame_times", lambda *runs, frames: frame_times(*runs, frames=frames // 10)
    )


@pytest.mark.everyday(1)
@pytest.mark.parametrize(
    ("asked", "name", "begins"),
    [
        (("--contrast", "--size", "640x360", "--seconds", "8"), "film.gif", b"GIF89a"),
        (SHORT, "film.html", b"<!DOCTYPE html>"),
        (("--contrast",), "contrast.html", b"<!DOCTYPE html>"),
        (SHORT, "still.png", b"\x89PNG"),
        (("--contrast",), "contrast.pdf", b"%PDF"),
    ],
)
def test_the_suffix_says_what_is_written(dbox, tmp_path: Path, asked, name, begins):
    path = tmp_path / name
    code, out, err = dbox("surge", FAMILY, *asked, "--out", str(path))
    assert (code, err) == (0, "")
    assert f"wrote {path}" in out
    assert path.read_bytes().lstrip().startswith(begins)


def test_with_json_the_file_is_named_there_and_on_stderr(dbox, tmp_path: Path):
    path = tmp_path / "still.svg"
    code, out, err = dbox("surge", FAMILY, *SHORT, "--json", "--out", str(path))
    assert code == 0
    assert json.loads(out)["files"] == [str(path)]
    assert err == f"wrote {path}\n"


@pytest.mark.slow
def test_on_a_terminal_a_bar_tells_how_far_a_film_is(tmp_path: Path):
    terminal = pytest.importorskip("tests.cli.terminal", reason="a pseudo-terminal is needed")
    path = tmp_path / "film.gif"
    with terminal.Terminal("surge", FAMILY, *SHORT, "--out", str(path)) as shown:
        assert shown.code() == 0
        assert "\u2501" in shown.screen
    assert path.read_bytes().startswith(b"GIF89a")


@pytest.mark.parametrize(
    ("asked", "name", "mend"),
    [
        (SHORT, "film.avi", "write .png, .pdf, .svg, .gif, .mp4 or .html"),
        ((*SHORT, "--size", "640x90"), "film.gif", '--size is "640x90"; write width x height'),
        ((*SHORT, "--size", "641x480"), "film.gif", "even numbers from 640x360 to 1920x1080"),
        ((*SHORT, "--seconds", "3"), "film.gif", '--seconds is "3"; a film lasts 8 to 30 seconds'),
        ((*SHORT, "--speed", "-2"), "film.gif", '--speed is "-2"'),
        ((*SHORT, "--speed", "90"), "film.gif", "--speed 90: the film would last 5 s"),
        ((*SHORT, "--speed", "9", "--seconds", "9"), "film.gif", "ask for one of them at a time"),
        ((*SHORT, "--speed", "9"), "still.png", "--speed means nothing with a .png; leave it out"),
        (SHORT, "none/film.gif", "make it first"),
        (SHORT, "mine.gif", "is there already"),
        (SHORT, "mine.png", "is there already"),
    ],
)
def test_what_cannot_be_written_is_refused_with_its_mend(dbox, tmp_path: Path, asked, name, mend):
    mine = [tmp_path / "mine.gif", tmp_path / "mine.png"]
    for path in mine:
        path.write_text("mine")
    code, out, err = dbox("surge", FAMILY, *asked, "--out", str(tmp_path / name))
    assert (code, out) == (2, "")
    assert mend in err
    assert sorted(tmp_path.iterdir()) == mine
    assert {path.read_text() for path in mine} == {"mine"}
