"""A run over a list: the same bytes whatever happens to it, and nothing of anybody else lost."""

import csv
import os
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from dbox import ScenarioError
from dbox.files.list_boxes import read_settings
from dbox.files.list_rows import layout_of, pieces
from dbox.files.list_run import run_batch
from dbox.files.scenario import LIST, resolve

from .lists import SETTINGS

FIVE = "box,outlet 1,outlet 2\nA,0,1/8\nB,1/8,0\nC,0,0\nD,0,1/4\nE,1/4,0\n"


@pytest.fixture
def out(tmp_path: Path) -> Path:
    (tmp_path / "list.csv").write_text(FIVE)
    return tmp_path / "r.csv"


def run(out: Path, source: str = "list.csv", settings=SETTINGS, **options):
    return run_batch(out.with_name(source), out, settings, processes=1, **options)


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


def stopped(out: Path, monkeypatch: pytest.MonkeyPatch, done: int = 1) -> None:
    """A run that was killed after some pieces."""
    monkeypatch.setattr("dbox.files.list_run._KEEP_EVERY", 0.0)
    monkeypatch.setattr("dbox.files.list_run._DRAWN_PIECE", 8)
    with pytest.raises(StoppedError):
        run(out, told=stop_after(done))


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


def test_a_box_whose_rows_stand_apart_is_kept_out_whole(out):
    out.with_name("list.csv").write_text(
        "box,outlet,reading\nA,1,0\nA,2,1/8\nB,1,0\nA,3,0\nC,1,0\n"
    )
    run(out)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["B", "C"]
    bad = out.with_name("r.bad.csv").read_text().splitlines()
    assert [line.split(",")[:2] for line in bad[1:]] == [["2", "A"], ["5", "A"]]
    assert all("put its rows together" in line for line in bad[1:])


@pytest.mark.everyday(1)
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


def stop_drawing(_):
    raise StoppedError


def test_a_run_stopped_at_its_end_is_ended(out):
    """The picture is made once the results are there; a stop then leaves only that to do."""
    with pytest.raises(StoppedError):
        run(out, draw=stop_drawing)
    written = out.read_bytes()
    told = []
    outcome = run(out, draw=lambda outcome: told.append(outcome.tally.boxes))
    assert (outcome.resumed, told, out.read_bytes()) == (True, [5], written)
    assert {path.name for path in out.parent.iterdir()} == {"list.csv", "r.csv"}


def test_results_that_went_in_the_meantime_are_missed(out):
    with pytest.raises(StoppedError):
        run(out, draw=stop_drawing)
    out.unlink()
    with pytest.raises(ScenarioError, match="was written and is gone"):
        run(out)


@pytest.mark.parametrize("changed", ["list", "options"])
def test_a_run_goes_on_with_nothing_else_than_it_began_with(out, monkeypatch, changed):
    stopped(out, monkeypatch)
    if changed == "list":
        out.with_name("list.csv").write_text(FIVE.replace("1/4", "1/2"))
    settings = replace(SETTINGS, seed=1) if changed == "options" else SETTINGS
    said = f"begun with another .*{changed}.*; go on with the same"
    with pytest.raises(ScenarioError, match=said):
        run(out, settings=settings)


def test_two_runs_at_once_are_refused(out):
    def second(_):
        with pytest.raises(ScenarioError, match="another run is writing it"):
            run(out)

    run(out, told=second)
    assert out.exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"", "there is no column box"),
        ("box,outlet 1\nA,0".encode("utf-16"), "save it as CSV in UTF-8"),
        (b"box,outlet 1\rA,0\r", "lines end with CR alone"),
        (b"box,outlet 1\r" + b"A,0\r" * 100_000, "lines end with CR alone"),
        (b"box,outlet 1\n" + b"x" * 100_001, "line of more than 100,000 bytes"),
    ],
)
def test_files_that_are_no_lists_are_refused(out, content, said):
    out.with_name("list.csv").write_bytes(content)
    with pytest.raises(ScenarioError, match=said):
        run(out)


def test_names_that_are_no_utf8_stay_as_they_are(out):
    out.with_name("list.csv").write_bytes(b"\xef\xbb\xbfbox,outlet 1\r\nCaf\xe9,0\r\n")
    run(out)
    assert out.read_bytes().split(b"\n")[1].startswith(b"Caf\xe9,within")


def test_the_shipped_list_says_that_it_is_invented_and_is_sound(tmp_path):
    settings = read_settings(samples=0)
    outcome = run_batch(resolve("forty-boxes", LIST), tmp_path / "out.csv", settings)
    assert outcome.tally.boxes == 40
    assert outcome.with_work
    assert not outcome.tally.refused.any()
    # an example of each verdict at one flow or another, and of each kind of work at the lips; no
    # ruler shows a box to be within at a trickle
    assert outcome.tally.by_flow.sum(0).all()
    assert outcome.tally.work[1:4].all()
    with (tmp_path / "out.csv").open(newline="") as file:
        assert all(row["box"].startswith("invented") for row in csv.DictReader(file))


@pytest.mark.parametrize(
    ("place", "said"), [("no/such/out.csv", "there is no folder"), (".", "is a folder")]
)
def test_results_that_cannot_be_written_are_refused_first(out, place, said):
    with pytest.raises(ScenarioError, match=said):
        run_batch(out.with_name("list.csv"), out.parent / place, SETTINGS)


@pytest.mark.everyday(4)
@pytest.mark.parametrize("size", [1, 8, 20, 10_000])
@pytest.mark.parametrize("line", ['"B,1,0', "B", 'B,1,0"'])
def test_torn_lines_cost_the_same_boxes_in_pieces_of_any_size(out, monkeypatch, size, line):
    """A line that tells no box may be of the one before it or of the one after it."""
    monkeypatch.setattr("dbox.files.list_run._DRAWN_PIECE", size)
    lines = ["A,1,0", "A,2,1/8", line, "B,2,0", "B,3,1/8", "", "C,1,0", "C,2,0", "D,1,0"]
    out.with_name("list.csv").write_text("\n".join(["box,outlet,reading", *lines]))
    run(out)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["C", "D"]


@pytest.mark.parametrize("name", ["r.csv.lock", "r.csv.state.new", "r.csv.new", "r.bad.csv.lock"])
def test_files_that_are_called_alike_are_left_alone(out, name):
    """Among them the very list that is read."""
    source = out.with_name(name)
    source.write_text(FIVE)
    run(out, name)
    assert source.read_text() == FIVE
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


ODD = """box;outlet 1 (mm);outlet 2 (mm);
=cmd|' /C calc'!A0;3,2;0;
Oak 12;3,5;0;
Oak 12;3;-1;left side broken
\u202eb;2;0;
-2;x;0;
"""


def remarked(remarks):
    return remarks.twice, remarks.harmed, remarks.bare


def test_what_is_odd_in_a_list_is_told_whether_a_run_was_stopped_or_not(out, monkeypatch):
    out.with_name("list.csv").write_text(ODD, encoding="utf-8")
    whole = run(out.with_name("whole.csv"))
    stopped(out, monkeypatch, done=2)
    again = run(out)
    assert again.resumed
    assert remarked(again.remarks) == remarked(whole.remarks)
    assert whole.remarks.twice == (1, (3, 4))
    assert whole.remarks.harmed == ("=cmd|' /C calc'!A0", 3)
    assert whole.remarks.bare == ('"left side broken" in row 4, column 4', 1)


def test_results_are_written_as_the_list_is_and_hold_no_formula(out):
    out.with_name("list.csv").write_text(ODD, encoding="utf-8")
    run(out)
    with out.open(newline="", encoding="utf-8") as file:
        rows = [*csv.DictReader(file, delimiter=";")]
    names = ["'=cmd|' /C calc'!A0", "Oak 12", "Oak 12", "\\u202eb"]
    assert [row["box"] for row in rows] == names
    for row in rows:
        shares = [float(share.replace(",", ".")) for share in row["1 gpm shares"].split()]
        assert sum(shares) == pytest.approx(1.0, abs=2e-4)
        assert "." not in row["1 gpm worst over target"] + row["1 gpm within probability"]
    bad = out.with_name("r.bad.csv").read_text(encoding="utf-8").splitlines()
    assert bad[0] == "row;box;reason"
    assert bad[1].startswith("6;'-2;")


@pytest.mark.parametrize(
    ("rows", "decimal"),
    [("A;3.5;0", "."), ("A;3,5;0", ","), ("A;3;0", ","), ("A;3;0\nB;0.5;1,5", ".")],
)
def test_decimals_are_those_of_the_list(out, rows, decimal):
    out.with_name("list.csv").write_text(f"box;outlet 1 (mm);outlet 2 (mm)\n{rows}\n")
    run(out)
    assert f";1{decimal}" in out.read_text().splitlines()[1]


@pytest.mark.parametrize(
    ("rows", "said"), [("A,x,0\nB,1\n", "r.bad.csv says why"), ("", "write a row for each")]
)
def test_a_list_without_one_good_row_has_no_results(out, rows, said):
    out.with_name("list.csv").write_text(f"box,outlet 1,outlet 2\n{rows}")
    with pytest.raises(ScenarioError, match=said):
        run(out)
    left = {"list.csv", "r.bad.csv"} if rows else {"list.csv"}
    assert {path.name for path in out.parent.iterdir()} == left


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


def test_results_that_come_while_a_run_is_stopped_are_not_replaced(out, monkeypatch):
    stopped(out, monkeypatch)
    out.write_text("mine")
    with pytest.raises(ScenarioError, match="is there already"):
        run(out)
    assert out.read_text() == "mine"


@pytest.mark.parametrize("last", [b'{"about": {"li', b"\n", b"", None])
def test_a_state_whose_last_line_is_another_is_gone_on_with(out, monkeypatch, last):
    """Torn off, or as version 0.1 left it: one object without an end of line."""
    run(out.with_name("whole.csv"))
    stopped(out, monkeypatch)
    state = out.with_name("r.csv.state")
    kept = state.read_bytes()
    state.write_bytes(kept.splitlines()[-1].partition(b" ")[2] if last is None else kept + last)
    with pytest.raises(StoppedError):
        run(out, told=stop_after(0))
    assert run(out).resumed
    assert out.read_bytes() == out.with_name("whole.csv").read_bytes()
