"""A run over a list: the same bytes whatever happens to it, and nothing of anybody else lost."""

import csv
from dataclasses import replace

import numpy as np
import pytest

from dbox import ScenarioError
from dbox.files.list_boxes import read_settings
from dbox.files.list_rows import layout_of, pieces
from dbox.files.list_run import run_batch
from dbox.files.scenario import LIST, resolve

from .lists import SETTINGS


@pytest.mark.parametrize("size", [1, 7, 64, 10_000])
@pytest.mark.parametrize("end", ["", "\n"])
def test_pieces_hold_every_line_once_and_whole_boxes(tmp_path, size, end):
    lines = ["box,outlet,reading", *(f"{name},{i},{i}" for name in "ABBCDA" for i in (1, 2, 3))]
    path = tmp_path / "list.csv"
    path.write_text("\n".join(lines) + end)
    layout, above = layout_of(path, ())
    found = [*pieces(path, layout, above, size)]
    assert "".join(piece.text for piece in found).rstrip("\n").split("\n") == lines[1:]
    for piece in found:
        assert lines[piece.first_line - 1] == piece.text.split("\n")[0]
        names = {line[0] for line in piece.text.split()}
        # A has rows in two places; every other box is whole in one piece
        assert piece.apart == names & {"A"}
        others = [{line[0] for line in p.text.split()} for p in found if p is not piece]
        assert not any((names & other) - {"A"} for other in others)
    assert found[-1].end == path.stat().st_size


def test_a_box_whose_rows_stand_apart_is_kept_out_whole(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet,reading\nA,1,0\nA,2,1/8\nB,1,0\nA,3,0\nC,1,0\n")
    run_batch(source, out, SETTINGS)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["B", "C"]
    bad = out.with_name("out.bad.csv").read_text().splitlines()
    assert [line.split(",")[:2] for line in bad[1:]] == [["2", "A"], ["5", "A"]]
    assert all("put its rows together" in line for line in bad[1:])


class StoppedError(Exception):
    """Stands for a kill."""


def stop_after(pieces_done):
    """A listener that stops a run once so many pieces are done."""
    left = [pieces_done]

    def told(_):
        left[0] -= 1
        if left[0] < 0:
            raise StoppedError

    return told


@pytest.mark.parametrize("keep_every", [0.0, 1e9])
def test_a_run_stopped_anywhere_goes_on_to_the_same_bytes(tmp_path, monkeypatch, keep_every):
    """Whether all that was written counts, or none of it, and whatever was written after that."""
    monkeypatch.setattr("dbox.files.list_run._KEEP_EVERY", keep_every)
    monkeypatch.setattr("dbox.files.list_run._DRAWN_PIECE", 100)
    source, whole, out = tmp_path / "list.csv", tmp_path / "whole.csv", tmp_path / "out.csv"
    rows = (f"box {i},{i % 5},{'x' if i % 17 == 3 else i % 3 / 4}" for i in range(150))
    source.write_text("\n".join(["box,outlet 1 (mm),outlet 2", *rows]))
    run_batch(source, whole, SETTINGS, processes=1)
    for pieces_done in (0, 1, 2, 3):
        with pytest.raises(StoppedError):
            run_batch(source, out, SETTINGS, processes=1, told=stop_after(pieces_done))
        assert not out.exists()
        with (tmp_path / "out.csv.part").open("ab") as part:
            part.write(b"torn off in the mid")
    outcome = run_batch(source, out, SETTINGS, processes=1)
    assert outcome.resumed is (keep_every == 0.0)
    assert out.read_bytes() == whole.read_bytes()
    assert out.with_name("out.bad.csv").read_bytes() == (tmp_path / "whole.bad.csv").read_bytes()
    again = run_batch(source, tmp_path / "third.csv", SETTINGS, processes=1)
    for name, counts in vars(outcome.tally).items():
        np.testing.assert_array_equal(counts, getattr(again.tally, name))
    assert {path.suffix for path in tmp_path.iterdir()} == {".csv"}


def test_a_run_stopped_at_its_end_is_ended(tmp_path):
    """The picture is made once the results are there; a stop then leaves only that to do."""
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")

    def stop(_):
        raise StoppedError

    with pytest.raises(StoppedError):
        run_batch(source, out, SETTINGS, draw=stop)
    written = out.read_bytes()
    told = []
    outcome = run_batch(
        source, out, SETTINGS, draw=lambda outcome: told.append(outcome.tally.boxes)
    )
    assert (outcome.resumed, told, out.read_bytes()) == (True, [1], written)
    assert {path.name for path in tmp_path.iterdir()} == {"list.csv", "out.csv"}


@pytest.mark.parametrize("changed", ["list", "options"])
def test_a_run_goes_on_with_nothing_else_than_it_began_with(tmp_path, monkeypatch, changed):
    monkeypatch.setattr("dbox.files.list_run._KEEP_EVERY", 0.0)
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(StoppedError):
        run_batch(source, out, SETTINGS, told=stop_after(0))
    settings = SETTINGS
    if changed == "list":
        source.write_text("box,outlet 1,outlet 2\nA,0,1/4\n")
    else:
        settings = replace(SETTINGS, seed=1)
    with pytest.raises(
        ScenarioError, match=f"begun with another .*{changed}.*; go on with the same"
    ):
        run_batch(source, out, settings)


def test_two_runs_at_once_are_refused(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")

    def second(_):
        with pytest.raises(ScenarioError, match="another run writes it"):
            run_batch(source, out, SETTINGS)

    run_batch(source, out, SETTINGS, told=second)
    assert out.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "there is no column box"),
        ("box,outlet 1\nA,0".encode("utf-16"), "save it as CSV in UTF-8"),
        (b"box,outlet 1\n" + b"x" * 100_001, "line of more than 100,000 bytes"),
    ],
)
def test_files_that_are_no_lists_are_refused(tmp_path, content, said):
    source = tmp_path / "list.csv"
    source.write_bytes(content)
    with pytest.raises(ScenarioError, match=said):
        run_batch(source, tmp_path / "out.csv", SETTINGS)


def test_names_that_are_no_utf8_stay_as_they_are(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_bytes(b"\xef\xbb\xbfbox,outlet 1\r\nCaf\xe9,0\r\n")
    run_batch(source, out, SETTINGS)
    assert out.read_bytes().split(b"\n")[1].startswith(b"Caf\xe9,within")


def test_the_shipped_list_says_that_it_is_invented_and_is_sound(tmp_path):
    settings = read_settings(samples=0)
    outcome = run_batch(resolve("forty-boxes", LIST), tmp_path / "out.csv", settings)
    assert outcome.tally.boxes == 40
    assert outcome.with_work
    assert not outcome.tally.refused.any()
    # an example of each verdict at one flow or another, and of each kind of work; no ruler shows
    # a box to be within at a trickle
    assert outcome.tally.by_flow.sum(0).all()
    assert outcome.tally.work[1:].all()
    with (tmp_path / "out.csv").open(newline="") as file:
        assert all(row["box"].startswith("invented") for row in csv.DictReader(file))


def test_parts_that_no_run_has_left_are_not_touched(tmp_path):
    source, part = tmp_path / "out.csv.part", tmp_path / "out.csv.part"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(ScenarioError, match="is there already"):
        run_batch(source, tmp_path / "out.csv", SETTINGS)
    assert part.read_text().startswith("box,outlet 1")
    assert [*tmp_path.iterdir()] == [part]


@pytest.mark.parametrize(
    ("out", "said"), [("no/such/out.csv", "there is no folder"), (".", "is a folder")]
)
def test_results_that_cannot_be_written_are_refused_first(tmp_path, out, said):
    source = tmp_path / "list.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(ScenarioError, match=said):
        run_batch(source, tmp_path / out, SETTINGS)


def test_results_that_came_in_the_meantime_are_not_replaced(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(StoppedError):
        run_batch(source, out, SETTINGS, told=stop_after(0))
    out.write_text("mine")
    with pytest.raises(ScenarioError, match="is there already"):
        run_batch(source, out, SETTINGS)
    assert out.read_text() == "mine"


def test_results_that_went_in_the_meantime_are_missed(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")

    def stop(_):
        raise StoppedError

    with pytest.raises(StoppedError):
        run_batch(source, out, SETTINGS, draw=stop)
    out.unlink()
    with pytest.raises(ScenarioError, match="was written and is gone"):
        run_batch(source, out, SETTINGS)


@pytest.mark.parametrize("size", [1, 8, 20, 10_000])
def test_torn_lines_cost_the_same_boxes_in_pieces_of_any_size(tmp_path, monkeypatch, size):
    """A line that tells no box may be of the one before it or of the one after it."""
    monkeypatch.setattr("dbox.files.list_run._DRAWN_PIECE", size)
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    lines = ["A,1,0", "A,2,1/8", '"B,1,0', "B,2,0", "B,3,1/8", "", "C,1,0", "C,2,0", "D,1,0"]
    source.write_text("\n".join(["box,outlet,reading", *lines]))
    run_batch(source, out, SETTINGS, processes=1)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["C", "D"]
