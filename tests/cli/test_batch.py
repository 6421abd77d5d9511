"""`dbox batch` as its users type it: bad rows, restarts, and the same bytes every time."""

import csv
import json
import os
import random
import subprocess
import sys
import time

import numpy as np
import pytest


def rows_of(path):
    with path.open(newline="") as file:
        return [*csv.DictReader(file)]


OPTIONS = ("--opening", "circle 1-3/4 in", "--tolerance", "10 %", "--spread", "1/32 in")
ALONE = ("--processes", "1")
"""Another process takes as long to begin as these lists take; the answers are the same (below)."""


@pytest.fixture
def boxes(tmp_path):
    """A list of 1500 invented boxes, a few rows of it bad."""
    lips = np.random.default_rng(4).normal(0, 0.06, (1500, 4)).round(3).tolist()
    rows = [[f"box {i}", *map(str, row)] for i, row in enumerate(lips)]
    rows[7][2] = "broken"
    rows[1200].pop()
    path = tmp_path / "list.csv"
    with path.open("w", newline="") as file:
        csv.writer(file).writerows([["box", *(f"outlet {i} (in)" for i in range(1, 5))], *rows])
    return path


def test_bad_rows_go_to_their_own_file_and_the_rest_go_on(dbox, boxes):
    out = boxes.with_name("results.csv")
    code, said, _ = dbox("batch", str(boxes), "--out", str(out), *OPTIONS, *ALONE, "--quick")
    assert code == 0
    assert "1,498 boxes judged" in said
    assert "2 rows are no boxes" in said
    # a path is not broken
    lines = [line for line in said.splitlines() if str(boxes.parent) not in line]
    assert 0 < max(map(len, lines)) <= 72
    bad = rows_of(boxes.with_name("results.bad.csv"))
    assert [(row["row"], row["box"]) for row in bad] == [("9", "box 7"), ("1202", "box 1200")]
    names = [row["box"] for row in rows_of(out)]
    assert names == [f"box {i}" for i in range(1500) if i not in (7, 1200)]
    assert {path.name for path in boxes.parent.iterdir()} == {
        "list.csv", "results.csv", "results.bad.csv"
    }  # fmt: skip


def test_a_box_is_told_what_split_and_level_tell(dbox, tmp_path):
    path = tmp_path / "one.csv"
    path.write_text(
        "box,outlet 1,outlet 2,outlet 3,clock 1,clock 2,clock 3\nA,0,1/8,-1/16" + 3 * ",6:00"
    )
    out = tmp_path / "out.csv"
    dbox("batch", str(path), "--out", str(out), *OPTIONS, *ALONE, "--offset", "1/2 in",
         "--flow", "1 gpm", "--samples", "200", "--shares")  # fmt: skip
    (row,) = rows_of(out)
    _, told, _ = dbox("split", "--heights", "0, 1/8, -1/16", *OPTIONS, "--flow", "1 gpm", "--json")
    (case,) = json.loads(told)["cases"]
    assert row["verdict"] == case["verdict"]
    assert row["worst outlet"] == "3"
    assert float(row["1 gpm worst over target"]) == round(case["worst_over_target"], 3)
    assert float(row["1 gpm within probability"]) == round(case["within_probability"], 3)
    shares = [round(outlet["share"], 4) for outlet in case["outlets"]]
    assert [float(share) for share in row["1 gpm shares"].split()] == shares
    assert row["work"] == "adjust"


def test_one_process_or_more_the_same_bytes(dbox, boxes):
    found = []
    for count in ("1", "2"):
        out = boxes.with_name(f"{count}.csv")
        dbox("batch", str(boxes), "--out", str(out), *OPTIONS, "--samples", "60",
             "--processes", count)  # fmt: skip
        found.append((out.read_bytes(), out.with_name(f"{count}.bad.csv").read_bytes()))
    assert found[0] == found[1]


KILLS = 25
"""For one process and for two each."""


@pytest.mark.slow
@pytest.mark.parametrize("processes", ["1", "2"])
def test_killed_at_random_and_started_again_the_same_bytes(dbox, boxes, processes):
    """Exact: each kill comes at any moment once the run has files of its own, drawn boxes in it."""

    def command(out, processes="1"):
        return ("batch", str(boxes), "--out", str(out), *OPTIONS, "--samples", "60", "--shares",
                "--processes", processes)  # fmt: skip

    whole, killed = boxes.with_name("whole.csv"), boxes.with_name("killed.csv")
    made = [killed, killed.with_name("killed.bad.csv")]
    dbox(*command(whole))
    draw, kills = random.Random(int(processes)), 0
    while kills < KILLS:
        run = subprocess.Popen([sys.executable, "-m", "dbox_cli", *command(killed, processes)],
                               stdout=subprocess.PIPE, stderr=subprocess.PIPE)  # fmt: skip
        while not killed.with_name("killed.csv.state").exists() and run.poll() is None:
            time.sleep(0.01)
        time.sleep(draw.uniform(0.0, 0.6))
        kills += run.poll() is None
        run.kill()
        run.communicate()
        if kills == KILLS and not killed.exists():
            dbox(*command(killed))
        if killed.exists() and not killed.with_name("killed.csv.state").exists():
            assert {*boxes.parent.glob("killed*")} == {*made}
            assert made[0].read_bytes() == whole.read_bytes()
            assert made[1].read_bytes() == whole.with_name("whole.bad.csv").read_bytes()
            for path in made:
                path.unlink()


def test_old_results_are_not_replaced(dbox, boxes):
    out = boxes.with_name("results.csv")
    out.write_text("mine")
    code, _, said = dbox("batch", str(boxes), "--out", str(out), *OPTIONS, *ALONE, "--quick")
    assert (code, out.read_text()) == (2, "mine")
    assert "is there already and is not replaced; name another file\n" in said


@pytest.mark.parametrize(
    ("out", "said"),
    [(".", "is a folder"), ("x" * 300, "cannot be written"), ("no/r.csv", "no/r.csv")],
)
def test_results_that_cannot_be_written_are_refused_by_name(dbox, boxes, out, said):
    code, _, err = dbox("batch", str(boxes), "--out", out, *OPTIONS, *ALONE, "--quick")
    assert code == 2
    assert said in err
    assert "bug" not in err


def test_no_tolerance_and_no_opening_are_asked_for_at_once(dbox, boxes):
    code, _, said = dbox("batch", str(boxes), "--out", str(boxes.with_name("r.csv")))
    assert code == 2
    assert "--opening" in said
    assert "--tolerance" in said
    assert not boxes.with_name("r.csv.part").exists()


def test_json_counts_and_gate(dbox, boxes):
    out, picture = boxes.with_name("r.csv"), boxes.with_name("r.png")
    code, said, _ = dbox("batch", str(boxes), "--out", str(out), *OPTIONS, *ALONE, "--quick",
                         "--json", "--gate", "--picture", str(picture))  # fmt: skip
    answer = json.loads(said)
    assert code == 1
    assert answer["boxes"] == 1498 == sum(answer["verdicts"].values())
    assert answer["refused"] == 2
    assert answer["work"] is None
    assert all(sum(flow["worst_over_target_boxes"]) == 1498 for flow in answer["flows"])
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert os.path.basename(answer["files"][0]) == "r.csv"


def test_what_is_odd_in_a_list_is_told_once(dbox, tmp_path):
    path, out = tmp_path / "list.csv", tmp_path / "r.csv"
    path.write_text("box,outlet 1,outlet 2,\n=1,0,1/8,\n-2,0,0,a note\n-2,0,1/8,\n")
    code, said, err = dbox("batch", str(path), "--out", str(out), *OPTIONS, *ALONE, "--quick")
    assert (code, err) == (0, "")
    told = " ".join(said.split())
    assert told.count("one name stands in rows 3, 4") == 1
    assert told.count('"a note" in row 3, column 4') == 1
    assert told.count('"=1" and 2 more') == 1
    out.unlink()
    _, said, _ = dbox("batch", str(path), "--out", str(out), *OPTIONS, *ALONE, "--quick", "--json")
    assert len(json.loads(said)["warnings"]) == 3


def test_a_list_of_bad_rows_is_no_success(dbox, tmp_path):
    path, out = tmp_path / "list.csv", tmp_path / "r.csv"
    path.write_text("box,outlet 1,outlet 2\nA,x,0\n")
    code, said, err = dbox("batch", str(path), "--out", str(out), *OPTIONS, *ALONE)
    assert (code, said) == (2, "")
    assert "has no row that is a box" in err


def test_labels_in_a_table_to_fill_in_are_harmless_and_it_is_said_once(dbox, tmp_path):
    """Labels as given in JSON; the table is read back by the same labels."""
    path, table = tmp_path / "box.toml", tmp_path / "table.csv"
    path.write_text(
        '[insert]\nkind = "circle"\ndiameter = "2 in"\n[[outlet]]\nlabel = "=1+1"\n'
        'reading = "-1 mm"\n[[outlet]]\nlabel = "+2"\nreading = "1 mm"\n'
    )
    _, _, err = dbox("check", str(path), "--write-csv", str(table))
    assert err.count("in the table it stands with ' in front") == 1
    assert table.read_text().splitlines()[1:] == ["'=1+1,-1", "'+2,1"]
    code, said, _ = dbox("split", str(path), "--readings", str(table), "--json")
    assert code == 0
    labels = [outlet["label"] for outlet in json.loads(said)["cases"][0]["outlets"]]
    assert labels == ["=1+1", "+2"]
