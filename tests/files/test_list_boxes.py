"""A list of boxes becomes arrays; what is wrong with a row keeps that box out and no other."""

import csv
import io
import re

import numpy as np
import pytest

from dbox import Circle, ScenarioError
from dbox.files.csv_table import Dialect
from dbox.files.list_results import answer, columns
from dbox.files.list_rows import read_heads

from .lists import INCH, SETTINGS, listed


def table(lines):
    """Results with work as their file holds them."""
    heads = [head for head, _ in columns(SETTINGS, with_work=True)]
    return f"{','.join(heads)}\n{lines.decode()}"


def why(faults):
    return {(fault.line, fault.box): fault.why for fault in faults}


def test_a_row_is_a_box():
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
        *((b, b.openings) for _, _, b in boxes.alike(np.array([1e-4]))), strict=True
    )
    assert {len(three), len(two)} == {2, 3}
    assert {*three, *two} == {Circle(2 * INCH)}
    assert {first.lip.shape, second.lip.shape} == {(1, 3), (1, 2)}
    assert (first.hole_offset == 0.5 * INCH).all()


def test_a_row_is_an_outlet():
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
    kinds = [type(o).__name__ for _, _, b in boxes.alike(np.array([1e-4])) for o in b.openings]
    assert sorted(kinds) == ["Circle", "Circle", "Circle", "Notch"]


def test_columns_take_the_place_of_what_is_typed():
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
    ("head", "cell", "said"),
    [
        ("outlet 2", "", "is empty; write the height, capped, or none"),
        ("outlet 2", "12-May", 'is "12-May", a date'),
        ("outlet 2", "90", 'is "90 in"; a reading at a box is less than 1 m'),
        ("outlet 2", "nan", 'is "nan"'),
        ("outlet 2", "1/0", 'is "1/0 in"; a fraction cannot have 0 below'),
        ("outlet 2", "-inf", 'is "-inf"'),
        ("outlet 2", "0_1", 'is "0_1 in"'),
        ("offset", "-0.5", 'is "-0.5 in"; an offset is between 0 and 150 mm'),
        ("spread", "0", 'is "0 in"; a spread is above 0'),
        ("clock 1", "13:00", 'is "13:00"; write a clock position'),
        ("tolerance", "10", 'is "10"'),
        ("opening", "hole 2", 'is "hole 2"'),
    ],
)
def test_a_bad_cell_keeps_its_box_out_and_no_other(head, cell, said):
    rows = ["A,0,0", f"B,0,{cell}", "C,1/8,0"]
    if head != "outlet 2":
        rows = ["A,0,", f"B,0,{cell}", "C,1/8,"]
    boxes, faults = listed(f"box,outlet 1 (in),{head}", *rows)
    assert [*boxes.names] == ["A", "C"]
    ((place, reason),) = why(faults).items()
    assert place == (3, "B")
    assert reason.startswith(f'"{head}" {said}')


def test_torn_lines_are_told_and_the_rest_go_on():
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
def test_a_box_with_a_bad_outlet_is_kept_out_whole(lines, said):
    boxes, faults = listed("box,outlet,reading", *lines, "Z,1,0", "Z,2,1/8")
    assert [*boxes.names][-1] == "Z"
    assert [*boxes.names] == ["Z"]
    assert any(said in fault.why for fault in faults)


def test_an_outlet_whose_line_is_torn_takes_its_neighbours_along():
    """Which box a line without a name is of cannot be told, so both it may be of are kept out."""
    boxes, faults = listed("box,outlet,reading", "A,1,0", '"B,2,0', "C,1,0", "D,1,0")
    assert boxes.names == ["D"]
    assert {fault.line for fault in faults} == {2, 3, 4}


@pytest.mark.parametrize("line", ['"A,1,0', "A", ""])
@pytest.mark.parametrize("head", ["box,outlet,reading", "box,outlet 1,outlet 2"])
def test_a_piece_without_a_row_has_no_boxes(head, line):
    boxes, faults = listed(head, line)
    assert [*boxes.names] == []
    assert [fault.line for fault in faults] == [2] * bool(line)


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
        ("box,outlet 1,opening 1", '"opening 1" fits no outlet'),
        ("box,outlet 1,clock 7", '"clock 7" fits no outlet'),
        ("box,outlet 1 (furlong)", 'its unit is "1 furlong"'),
        ("box,outlet 1,tolerance (mm)", 'tolerance \\(mm\\)": its unit'),
        ("box,outlet 1,clock 1 (deg)", '"clock 1 \\(deg\\)" has a unit'),
    ],
)
def test_heads_that_are_none_are_refused(head, said):
    with pytest.raises(ScenarioError, match=said):
        read_heads([head, ""])


def test_ignored_columns_are_not_read():
    layout, _ = read_heads(["box,Owner,outlet 1", ""], ["owner"])
    assert [column.index for column in layout.readings] == [2]


def test_a_row_without_a_box_keeps_out_the_box_above_it():
    """Spreadsheets show a name once for all its rows; which box the others are of is a guess."""
    boxes, faults = listed("box,outlet,reading", "A,1,0", ",2,1/8", "B,1,0")
    assert boxes.names == ["B"]
    assert [fault.line for fault in faults] == [3]
    boxes, faults = listed("box,outlet 1,outlet 2", "A,0,0", ",0,1/8")
    assert [*boxes.names] == ["A"]
    assert "write its name" in faults[0].why


def test_results_are_a_table_with_a_row_a_box():
    given = ["box,outlet 1,outlet 2", '"Elm, 3",0,0', "O'k 12,0,1/4", "Üb,capped,0"]
    boxes, _ = listed(*given)
    lines, tally = answer(boxes, SETTINGS, with_work=True, dialect=Dialect())
    rows = [*csv.DictReader(io.StringIO(table(lines)))]
    assert [row["box"] for row in rows] == ["Elm, 3", "O'k 12", "Üb"]
    assert rows[0]["1 gpm worst over target"] == "1.000"
    assert rows[0]["1 gpm shares"] == "0.5000 0.5000"
    assert rows[2]["1 gpm shares"] == "0.0000 1.0000"
    assert rows[1]["verdict"] == "outside"
    assert rows[1]["worst outlet"] == "1"
    assert float(rows[1]["1 gpm within probability"]) < 0.05
    assert rows[1]["work"] == "adjust"
    assert "by the ruler" in rows[1]["turns"]
    assert tally.boxes == 3


def test_a_small_move_is_told_in_inches_too():
    """Exact: lips 1/32 in apart (0.79 mm) meet; a rule marked in 32nds shows such a move."""
    boxes, _ = listed("box,outlet 1,outlet 2,spread,tolerance", "A,0,1/32,0.1 mm,2 %")
    lines, _ = answer(boxes, SETTINGS, with_work=True, dialect=Dialect())
    (row,) = csv.DictReader(io.StringIO(table(lines)))
    assert re.search(r"2: lower 1/32 in \(0\.[5678] mm\) by the ruler", row["turns"])


@pytest.mark.parametrize("cell", ["9:00", "09:00:00", "9:00:00 AM"])
def test_times_that_a_spreadsheet_made_of_a_clock_are_read(cell):
    boxes, faults = listed("box,outlet 1,clock 1", f"A,0,{cell}")
    assert not faults
    assert boxes.clock[0, 0] == np.pi / 2


def test_blanks_around_names_mean_nothing():
    boxes, faults = listed("box,outlet,reading", "A,1,0", "A , 2,1/8", ",,")
    assert (boxes.names, [[*labels] for labels in boxes.labels], faults) == (
        ["A"], [["1", "2"]], [])  # fmt: skip
    _, faults = listed("box,outlet,reading", "A,1,0", "A, 1,1/8")
    assert "its box has already" in faults[0].why


def test_an_outlet_that_is_capped_has_no_height():
    boxes, faults = listed("box,outlet,reading,reading 2", "A,1,capped,0", "A,2,0,")
    assert not boxes.names
    assert "is capped and has a height" in faults[0].why


def test_a_line_that_csv_refuses_is_one_bad_row():
    boxes, faults = listed("box,outlet 1", "A,0", "B\rC,0", "D," + "9" * 140_000, "E,0")
    assert [*boxes.names] == ["A", "E"]
    assert [fault.line for fault in faults] == [3, 4]


def test_shares_keep_the_place_of_an_outlet_that_is_not_there():
    boxes, _ = listed("box,outlet 1,outlet 2,outlet 3", "A,0,none,0")
    lines, _ = answer(boxes, SETTINGS, with_work=False, dialect=Dialect())
    assert b"0.5000 - 0.5000" in lines


def test_an_opening_in_the_unit_of_its_column():
    boxes, _ = listed("box,outlet 1,opening (mm)", "A,0,circle 30")
    assert boxes.openings == [Circle(0.03)]
