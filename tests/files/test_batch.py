"""A list of boxes becomes arrays; what is wrong with a row keeps that box out and no other."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle, ScenarioError
from dbox.files.batch.boxes import read_boxes
from dbox.files.batch.heads import read_heads
from dbox.files.batch.pieces import layout_of, pieces
from dbox.files.batch.results import answer, heads
from dbox.files.batch.run import run_batch
from dbox.files.batch.typed import read_settings
from dbox.files.shipped import LIST, resolve

INCH = 0.0254
SETTINGS = read_settings(
    opening="circle 2 in", offset="1/2 in", tolerance="10 %", spread="1 mm", flows=["1 gpm"],
    samples=100, shares=True,
)  # fmt: skip


def listed(*lines, settings=SETTINGS):
    layout, above = read_heads([line + "\n" for line in lines[:2]])
    return read_boxes("\n".join(lines[above:]), above + 1, layout, settings)


def why(faults):
    return {(fault.line, fault.box): fault.why for fault in faults}


def test_exact_a_row_is_a_box():
    boxes, faults = listed(
        "box,outlet 1 (in),outlet 2 (in),outlet 3 (in),clock 1,clock 2,clock 3",
        "Elm 3,1/8,-0.25,3 mm,6:00,9:00,",
        "Oak 12,0,capped,none,,,",
    )
    assert not faults
    assert boxes.names == ["Elm 3", "Oak 12"]
    np.testing.assert_allclose(boxes.lip[0], [INCH / 8, -INCH / 4, 0.003])
    np.testing.assert_array_equal(boxes.lip[1], [0.0, np.inf, np.nan])
    np.testing.assert_array_equal(boxes.clock[0], [0.0, np.pi / 2, np.nan])
    np.testing.assert_array_equal(boxes.error[1, :2], [0.001, 0.0])
    (first, second), (three, two) = zip(
        *((b, b.openings) for _, _, b in boxes.alike()), strict=True
    )
    assert {len(three), len(two)} == {2, 3}
    assert {*three, *two} == {Circle(2 * INCH)}
    assert {first.lip.shape, second.lip.shape} == {(1, 3), (1, 2)}
    assert (first.hole_offset == 0.5 * INCH).all()


def test_exact_a_row_is_an_outlet():
    boxes, faults = listed(
        "box;outlet;reading (mm);reading 2 (mm);clock;opening",
        "Elm 3;1;3,2;3,0;6:00;",
        "Elm 3;2;0;;;notch 90 deg",
        "",
        "Oak 12;A;capped;;;",
        "Oak 12;B;1;1;;",
    )
    assert not faults
    assert boxes.names == ["Elm 3", "Oak 12"]
    assert [[*labels] for labels in boxes.labels] == [["1", "2"], ["A", "B"]]
    np.testing.assert_allclose(boxes.lip, [[0.0031, 0.0], [np.inf, 0.001]])
    root = 0.001 / np.sqrt(2)
    np.testing.assert_allclose(boxes.error, [[root, 0.001], [0.0, root]])
    kinds = [type(o).__name__ for _, _, b in boxes.alike() for o in b.openings]
    assert sorted(kinds) == ["Circle", "Circle", "Circle", "Notch"]


def test_exact_columns_take_the_place_of_what_is_typed():
    boxes, _ = listed(
        "box,outlet 1,opening,offset (mm),spread (mm),tolerance (%)",
        "Elm 3,0,circle 1 in,10,2,25",
        "Oak 12,0,,,,",
    )
    assert boxes.tolerance.tolist() == [0.25, 0.1]
    np.testing.assert_allclose(boxes.error[:, 0], [0.002, 0.001])
    np.testing.assert_allclose(boxes.offset[:, 0], [0.01, 0.5 * INCH])
    assert [boxes.openings[i] for i in boxes.opening[:, 0]] == [Circle(INCH), Circle(2 * INCH)]


@pytest.mark.parametrize(
    ("cell", "said"),
    [
        ("", "is empty; write the height, capped, or none"),
        ("12-May", 'is "12-May", a date'),
        ("90", "a reading at a box is less than 1 m"),
        ("nan", "is"),
        ("1/0", "is"),
        ("-inf", "is"),
    ],
)
def test_exact_a_bad_cell_keeps_its_box_out_and_no_other(cell, said):
    boxes, faults = listed("box,outlet 1 (in),outlet 2", "A,0,0", f"B,0,{cell}", "C,1/8,0")
    assert [*boxes.names] == ["A", "C"]
    ((place, reason),) = why(faults).items()
    assert place == (3, "B")
    assert reason.startswith('"outlet 2" is')
    assert said in reason


def test_exact_torn_lines_are_told_and_the_rest_go_on():
    boxes, faults = listed("box,outlet 1,outlet 2", "A,0,0", "B,0", 'C,"0,0', "D,0,0,,", "E,0,0,1")
    assert [*boxes.names] == ["A", "D"]
    reasons = why(faults)
    assert [*reasons] == [(3, "B"), (4, ""), (6, "E")]
    assert reasons[3, "B"].startswith("has 2 cells under 3 heads")
    assert reasons[6, "E"].startswith("has 4 cells under 3 heads")


@pytest.mark.parametrize(
    ("lines", "said"),
    [
        (["A,1,0", "A,1,0"], "its box has already"),
        (["A,1,0", "A,,0"], "has no outlet"),
        (["A,1,capped", "A,2,capped"], "has no open outlet"),
        (["A,1,", "A,2,0"], "has no reading"),
        (["A,1,0", ",2,0"], "has no box; write its name in every row"),
        (["A,1,0", "A,2"], "has 2 cells under 3 heads"),
    ],
)
def test_exact_a_box_with_a_bad_outlet_is_kept_out_whole(lines, said):
    boxes, faults = listed("box,outlet,reading", *lines, "Z,1,0", "Z,2,1/8")
    assert [*boxes.names][-1] == "Z"
    assert [*boxes.names] == ["Z"]
    assert any(said in fault.why for fault in faults)


def test_exact_an_outlet_whose_line_is_torn_takes_its_neighbours_along():
    """Which box a line without a name is of cannot be told, so both it may be of are kept out."""
    boxes, faults = listed("box,outlet,reading", "A,1,0", '"B,2,0', "C,1,0", "D,1,0")
    assert boxes.names == ["D"]
    assert {fault.line for fault in faults} == {2, 3, 4}


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("box,outlet 1,tolerence", 'unknown column "tolerence"'),
        ("box,outlet 1,owner", '--ignore "owner"'),
        ("outlet 1,outlet 2", "there is no column box"),
        ("box,clock 1", "no column of heights"),
        ("box,outlet,clock", "no column of heights"),
        ("box,outlet 1,outlet 3", "not all there"),
        ("box,outlet 1,Outlet 1", "is there twice"),
        ("box,outlet 1,outlet 2,outlet,reading", '"outlet 1" is of the other shape'),
        ("box,outlet 1,reading", '"reading" is of the other shape'),
        ("", "there is no column box"),
    ],
)
def test_exact_heads_that_are_none_are_refused(head, said):
    with pytest.raises(ScenarioError, match=said):
        read_heads([head, ""])


def test_exact_ignored_columns_are_not_read():
    layout, _ = read_heads(["box,Owner,outlet 1", ""], ["owner"])
    assert [column.index for column in layout.readings] == [2]


@pytest.mark.parametrize("size", [1, 7, 64, 10_000])
@pytest.mark.parametrize("end", ["", "\n"])
def test_exact_pieces_hold_every_line_once_and_whole_boxes(tmp_path, size, end):
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


def test_exact_a_box_whose_rows_stand_apart_is_kept_out_whole(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet,reading\nA,1,0\nA,2,1/8\nB,1,0\nA,3,0\nC,1,0\n")
    run_batch(source, out, SETTINGS)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["B", "C"]
    bad = out.with_name("out.bad.csv").read_text().splitlines()
    assert [line.split(",")[:2] for line in bad[1:]] == [["2", "A"], ["5", "A"]]
    assert all("put its rows together" in line for line in bad[1:])


def test_exact_a_row_without_a_box_keeps_out_the_box_above_it():
    """Spreadsheets show a name once for all its rows; which box the others are of is a guess."""
    boxes, faults = listed("box,outlet,reading", "A,1,0", ",2,1/8", "B,1,0")
    assert boxes.names == ["B"]
    assert [fault.line for fault in faults] == [3]
    boxes, faults = listed("box,outlet 1,outlet 2", "A,0,0", ",0,1/8")
    assert [*boxes.names] == ["A"]
    assert "write its name" in faults[0].why


def test_exact_results_are_a_table_with_a_row_a_box():
    rows = ["box,outlet 1,outlet 2", '"Elm, 3",0,0', "O'k 12,0,1/4", "Üb,capped,0"]
    boxes, _ = listed(*rows)
    lines, tally = answer(boxes, SETTINGS, with_work=True)
    text = (heads(SETTINGS, with_work=True) + lines).decode()
    table = [*csv.DictReader(io.StringIO(text))]
    assert [row["box"] for row in table] == ["Elm, 3", "O'k 12", "Üb"]
    assert table[0]["1 gpm worst over target"] == "1.000"
    assert table[0]["1 gpm shares"] == "0.5000 0.5000"
    assert table[2]["1 gpm shares"] == "0.0000 1.0000"
    assert table[1]["verdict"] == "outside"
    assert table[1]["worst outlet"] == "1"
    assert float(table[1]["1 gpm within probability"]) < 0.05
    assert table[1]["work"] == "adjust"
    assert "by the ruler" in table[1]["turns"]
    assert tally.boxes == 3


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
def test_exact_a_run_stopped_anywhere_goes_on_to_the_same_bytes(tmp_path, monkeypatch, keep_every):
    """Whether all that was written counts, or none of it, and whatever was written after that."""
    monkeypatch.setattr("dbox.files.batch.run._KEEP_EVERY", keep_every)
    monkeypatch.setattr("dbox.files.batch.run._DRAWN_PIECE", 100)
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


def test_exact_a_run_stopped_at_its_end_is_ended(tmp_path):
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
def test_exact_a_run_goes_on_with_nothing_else_than_it_began_with(tmp_path, monkeypatch, changed):
    monkeypatch.setattr("dbox.files.batch.run._KEEP_EVERY", 0.0)
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


def test_exact_two_runs_at_once_are_refused(tmp_path):
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
def test_exact_files_that_are_no_lists_are_refused(tmp_path, content, said):
    source = tmp_path / "list.csv"
    source.write_bytes(content)
    with pytest.raises(ScenarioError, match=said):
        run_batch(source, tmp_path / "out.csv", SETTINGS)


def test_exact_names_that_are_no_utf8_stay_as_they_are(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_bytes(b"\xef\xbb\xbfbox,outlet 1\r\nCaf\xe9,0\r\n")
    run_batch(source, out, SETTINGS)
    assert out.read_bytes().split(b"\n")[1].startswith(b"Caf\xe9,within")


def test_exact_the_shipped_list_says_that_it_is_invented_and_is_sound(tmp_path):
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


def test_exact_parts_that_no_run_has_left_are_not_touched(tmp_path):
    source, part = tmp_path / "out.csv.part", tmp_path / "out.csv.part"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(ScenarioError, match="is there already"):
        run_batch(source, tmp_path / "out.csv", SETTINGS)
    assert part.read_text().startswith("box,outlet 1")
    assert [*tmp_path.iterdir()] == [part]


@pytest.mark.parametrize(
    ("out", "said"), [("no/such/out.csv", "there is no folder"), (".", "is a folder")]
)
def test_exact_results_that_cannot_be_written_are_refused_first(tmp_path, out, said):
    source = tmp_path / "list.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(ScenarioError, match=said):
        run_batch(source, tmp_path / out, SETTINGS)


@pytest.mark.parametrize("cell", ["9:00", "09:00:00", "9:00:00 AM"])
def test_exact_times_that_a_spreadsheet_made_of_a_clock_are_read(cell):
    boxes, faults = listed("box,outlet 1,clock 1", f"A,0,{cell}")
    assert not faults
    assert boxes.clock[0, 0] == np.pi / 2


def test_exact_results_that_came_in_the_meantime_are_not_replaced(tmp_path):
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    with pytest.raises(StoppedError):
        run_batch(source, out, SETTINGS, told=stop_after(0))
    out.write_text("mine")
    with pytest.raises(ScenarioError, match="is there already"):
        run_batch(source, out, SETTINGS)
    assert out.read_text() == "mine"


def test_exact_results_that_went_in_the_meantime_are_missed(tmp_path):
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
def test_exact_torn_lines_cost_the_same_boxes_in_pieces_of_any_size(tmp_path, monkeypatch, size):
    """A line that tells no box may be of the one before it or of the one after it."""
    monkeypatch.setattr("dbox.files.batch.run._DRAWN_PIECE", size)
    source, out = tmp_path / "list.csv", tmp_path / "out.csv"
    lines = ["A,1,0", "A,2,1/8", '"B,1,0', "B,2,0", "B,3,1/8", "", "C,1,0", "C,2,0", "D,1,0"]
    source.write_text("\n".join(["box,outlet,reading", *lines]))
    run_batch(source, out, SETTINGS, processes=1)
    with out.open(newline="") as file:
        assert [row["box"] for row in csv.DictReader(file)] == ["C", "D"]


def test_exact_blanks_around_names_mean_nothing():
    boxes, faults = listed("box,outlet,reading", "A,1,0", "A , 2,1/8", ",,")
    assert (boxes.names, [[*labels] for labels in boxes.labels], faults) == (
        ["A"], [["1", "2"]], [])  # fmt: skip
    _, faults = listed("box,outlet,reading", "A,1,0", "A, 1,1/8")
    assert "its box has already" in faults[0].why


@pytest.mark.parametrize(
    ("head", "said"),
    [
        ("box,outlet 1,opening 1", '"opening 1" is of no outlet'),
        ("box,outlet 1,clock 7", '"clock 7" is of no outlet'),
        ("box,outlet 1,clock 1 (deg)", '"clock 1 \\(deg\\)" has a unit'),
    ],
)
def test_exact_heads_that_would_not_be_read_are_refused(head, said):
    with pytest.raises(ScenarioError, match=said):
        read_heads([head, ""])


@pytest.mark.parametrize(
    ("head", "row", "said"),
    [
        ("box,outlet 1,offset", "A,0,-0.5", "is"),
        ("box,outlet 1,outlet 2", "A,0_1,0", "is"),
        ("box,outlet,reading,reading 2", "A,1,capped,0", "is capped and has a height"),
    ],
)
def test_exact_what_python_takes_and_a_box_does_not_is_refused(head, row, said):
    boxes, faults = listed(head, row)
    assert not boxes.names
    assert said in faults[0].why


def test_exact_a_line_that_csv_refuses_is_one_bad_row():
    boxes, faults = listed("box,outlet 1", "A,0", "B\rC,0", "D," + "9" * 140_000, "E,0")
    assert [*boxes.names] == ["A", "E"]
    assert [fault.line for fault in faults] == [3, 4]


def test_exact_shares_keep_the_place_of_an_outlet_that_is_not_there():
    boxes, _ = listed("box,outlet 1,outlet 2,outlet 3", "A,0,none,0")
    lines, _ = answer(boxes, SETTINGS, with_work=False)
    assert b"0.5000 - 0.5000" in lines


def test_exact_an_opening_in_the_unit_of_its_column():
    boxes, _ = listed("box,outlet 1,opening (mm)", "A,0,circle 30")
    assert boxes.openings == [Circle(0.03)]
