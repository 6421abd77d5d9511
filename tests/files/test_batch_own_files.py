"""A run over a list touches no file but its own, whatever the others are called."""

import json
import os
from pathlib import Path

import pytest

from dbox import ScenarioError
from dbox.files.list_run import run_batch
from tests.files.test_batch_run import SETTINGS, StoppedError, stop_after

LIST = "box,outlet 1,outlet 2\nA,0,1/8\nB,1/8,0\nC,0,0\nD,0,1/4\nE,1/4,0\n"


@pytest.fixture
def out(tmp_path: Path) -> Path:
    (tmp_path / "list.csv").write_text(LIST)
    return tmp_path / "r.csv"


def run(out: Path, source: str = "list.csv", **options):
    return run_batch(out.with_name(source), out, SETTINGS, processes=1, **options)


def stopped(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A run that was killed after its first piece."""
    monkeypatch.setattr("dbox.files.list_run._KEEP_EVERY", 0.0)
    monkeypatch.setattr("dbox.files.list_run._DRAWN_PIECE", 8)
    with pytest.raises(StoppedError):
        run(out, told=stop_after(1))


@pytest.mark.parametrize("name", ["r.csv.lock", "r.csv.state.new", "r.csv.new", "r.bad.csv.lock"])
def test_files_that_are_called_alike_are_left_alone(out, name):
    """Among them the very list that is read."""
    source = out.with_name(name)
    source.write_text(LIST)
    run(out, name)
    assert source.read_text() == LIST
    assert {path.name for path in out.parent.iterdir()} == {"list.csv", "r.csv", name}


@pytest.mark.parametrize(
    "name", ["r.csv", "r.bad.csv", "r.csv.state", "r.csv.part", "r.bad.csv.part"]
)
@pytest.mark.parametrize("kind", ["file", "json", "link", "hard link", "link to nothing"])
def test_files_of_others_are_refused_and_stay(out, name, kind):
    other, mine = out.with_name(name), out.with_name("precious.csv")
    mine.write_text('{"pieces": 1}' if kind == "json" else "mine")
    if kind == "link":
        other.symlink_to(mine)
    elif kind == "hard link":
        os.link(mine, other)
    elif kind == "link to nothing":
        other.symlink_to(out.with_name("nothing"))
    else:
        other.write_bytes(mine.read_bytes())
    before = mine.read_bytes()
    with pytest.raises(ScenarioError, match=r"is there already|left alone") as caught:
        run(out)
    assert str(other) in str(caught.value)
    assert mine.read_bytes() == before
    assert other.is_symlink() == kind.startswith("link")
    if kind != "link to nothing":
        assert other.read_bytes() == before
    assert {path.name for path in out.parent.iterdir()} == {"list.csv", "precious.csv", name}


@pytest.mark.parametrize("name", ["r.csv.part", "r.bad.csv.part", "r.csv.state"])
@pytest.mark.parametrize("kind", ["file", "link"])
def test_what_has_taken_the_place_of_a_part_is_left_alone(out, monkeypatch, name, kind):
    stopped(out, monkeypatch)
    part, mine = out.with_name(name), out.with_name("precious.csv")
    mine.write_text("mine, and longer than all that the run has written\n" * 100)
    part.unlink()
    if kind == "link":
        part.symlink_to(mine)
    else:
        part.write_bytes(mine.read_bytes())
    with pytest.raises(ScenarioError, match="left alone"):
        run(out)
    assert part.read_bytes() == mine.read_bytes()
    assert mine.read_text().count("mine") == 100


def test_results_that_come_during_the_run_are_not_replaced(out):
    def come(_):
        out.write_text("mine")

    with pytest.raises(ScenarioError, match="is there already"):
        run(out, told=come)
    assert out.read_text() == "mine"
    out.unlink()
    run(out)
    assert len(out.read_text().splitlines()) == 6


@pytest.mark.parametrize("torn", [b'{"about": {"li', b"\n", b""])
def test_a_last_line_of_the_state_that_was_torn_off_is_passed_over(out, monkeypatch, torn):
    run(out.with_name("whole.csv"))
    stopped(out, monkeypatch)
    state = out.with_name("r.csv.state")
    state.write_bytes(state.read_bytes() + torn)
    with pytest.raises(StoppedError):
        run(out, told=stop_after(0))
    assert run(out).resumed
    assert out.read_bytes() == out.with_name("whole.csv").read_bytes()


def test_a_state_of_version_0_1_is_gone_on_with(out, monkeypatch):
    """There it was one object without an end of line, put in place anew each time."""
    run(out.with_name("whole.csv"))
    stopped(out, monkeypatch)
    state = out.with_name("r.csv.state")
    state.write_text(json.dumps(json.loads(state.read_text().splitlines()[-1])))
    with pytest.raises(StoppedError):
        run(out, told=stop_after(0))
    assert run(out).resumed
    assert out.read_bytes() == out.with_name("whole.csv").read_bytes()
