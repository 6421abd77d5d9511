"""`dbox teach`: text at 72 columns, JSON in SI, tables, pictures, pages, and what is refused."""

import csv
import json
import re
from pathlib import Path

import numpy as np
import pytest

from dbox import Circle, split
from dbox.units import INCH, LITRE_PER_MINUTE


def test_sweep_leads_with_the_contrast(dbox):
    _, out, _ = dbox("teach", "sweep")
    told = " ".join(out.split())
    lips = [-0.125 * INCH * side for side in (-0.5, -0.325, 0.325, 0.5)]
    hole = Circle(2 * INCH, coefficient=0.6)
    for litres in (1, 120):
        share = split(litres * LITRE_PER_MINUTE, lips, hole).share[3]
        assert f"{100 * share:.1f} % at" in told
    assert "its target is 25.0 %" in told
    assert "invented" in told


def test_sweep_json_is_si_and_equals_single_splits(dbox):
    code, out, err = dbox("teach", "sweep", "--json", "--flow", "4 L/min", "--most", "1/4 in")
    assert (code, err) == (0, "")
    answer = json.loads(out)
    (flow,) = answer["flows"]
    assert flow["inflow_m3_s"] == pytest.approx(4 * LITRE_PER_MINUTE)
    lips = [-0.25 * INCH * side for side in (-0.5, -0.325, 0.325, 0.5)]
    share = split(flow["inflow_m3_s"], lips, Circle(2 * INCH, coefficient=0.6)).share
    assert flow["shares"][-1] == pytest.approx(share.tolist(), abs=1e-9)
    assert answer["tilt_m"][-1] == pytest.approx(0.25 * INCH)
    assert answer["tolerance"]["share"] == 0.10
    assert np.shape(flow["map_worst_over_target"]) == (len(answer["map_m"]),) * 2


def test_compare_json_tells_share_and_drop(dbox):
    code, out, _ = dbox("teach", "compare", "--json", "--opening", "circle 2 in", "--flow", "2 gpm")
    assert code == 0
    (kind,) = json.loads(out)["kinds"]
    (flow,) = kind["flows"]
    one = split(flow["inflow_m3_s"], [-INCH / 8, 0, 0, 0], Circle(2 * INCH))
    assert flow["share"] == pytest.approx(one.share[0], abs=1e-9)
    assert kind["drop_m"] == flow["head_m"]


@pytest.mark.slow
def test_tables_and_pictures_are_written_and_named(dbox, tmp_path: Path):
    for command in ("sweep", "compare"):
        table, picture = tmp_path / f"{command}.csv", tmp_path / f"{command}.svg"
        words = ("teach", command, "--csv", str(table), "--picture", str(picture))
        code, out, _ = dbox(*words)
        assert code == 0
        assert f"wrote {table}" in out
        assert f"wrote {picture}" in out
        assert picture.read_text().startswith("<?xml")
        with table.open(newline="") as file:
            heads, *rows = csv.reader(file)
        assert all(len(row) == len(heads) for row in rows)
        code, out, err = dbox(*words)
        assert (code, out) == (2, "")
        assert "not replaced" in err
    assert dbox(*words, "--overwrite")[0] == 0


def test_a_table_of_a_sweep_holds_curve_and_map(dbox, tmp_path: Path):
    table = tmp_path / "sweep.csv"
    dbox("teach", "sweep", "--csv", str(table), "--flow", "4 L/min")
    with table.open(newline="") as file:
        rows = list(csv.DictReader(file))
    shares = [sum(float(row[f"share {i} (%)"]) for i in range(1, 5)) for row in rows]
    assert shares == pytest.approx([100.0] * len(rows), abs=1e-4)
    level = [row for row in rows if row["far side low (mm)"] == row["right side low (mm)"] == "0"]
    assert {row["part"] for row in level} == {"curve", "map"}
    assert all(float(row["worst over target"]) == pytest.approx(1.0) for row in level)


@pytest.mark.slow
def test_a_handout_has_its_key_in_a_file_of_its_own(dbox, tmp_path: Path):
    out_file, key = tmp_path / "class.pdf", tmp_path / "class-key.pdf"
    code, out, _ = dbox("teach", "handout", "--out", str(out_file), "--paper", "a4")
    assert code == 0
    assert f"wrote {out_file}" in out
    assert f"wrote {key}" in out
    assert "70 %" in out
    assert out_file.read_bytes().count(b"/Type /Page ") == 2
    assert key.read_bytes().count(b"/Type /Page ") == 2
    first = out_file.read_bytes()
    assert dbox("teach", "handout", "--out", str(out_file))[0] == 2
    words = ("teach", "handout", "--out", str(out_file), "--paper", "a4", "--overwrite", "--json")
    answer = json.loads(dbox(*words)[1])
    assert answer["files"] == [str(out_file), str(key)]
    assert out_file.read_bytes() == first


def test_live_writes_a_page_and_replaces_none(dbox, tmp_path: Path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = dbox("teach", "live", "off-level", "--outlet", "4")
    assert (code, out) == (0, "wrote dbox-live.html\n")
    assert "browser" in err
    first = (tmp_path / "dbox-live.html").read_bytes()
    code, _, err = dbox("teach", "live")
    assert code == 2
    assert "not replaced" in err
    assert (tmp_path / "dbox-live.html").read_bytes() == first
    assert dbox("teach", "live", "--outlets", "20", "--out", "other.html")[0] == 0
    assert dbox("teach", "live", "--outlets", "21", "--out", "more.html")[0] == 2
    assert dbox("teach", "live", "--out", "page.htm")[0] == 2


def test_a_case_has_its_key_in_a_file_of_its_own(dbox, tmp_path: Path):
    words = ("teach", "case", "--seed", "9", "--groups", "2", "--out")
    made = []
    for file in (tmp_path / "first.txt", tmp_path / "again.txt", tmp_path / "pages.pdf"):
        key = file.with_stem(f"{file.stem}-key")
        code, out, _ = dbox(*words, str(file))
        assert code == 0
        assert out.splitlines() == [f"wrote {file}", f"wrote {key}"]
        made.append((file.read_bytes(), key.read_bytes()))
        assert dbox(*words, str(file))[0] == 2
    first, again, pages = made
    assert first == again
    assert all(content.startswith(b"%PDF") for content in pages)
    cases, keys = (content.decode() for content in first)
    causes = re.findall(r"Cause: (.+)", keys)  # neither is one that cannot be told
    assert len(causes) == 2
    assert not any(cause in cases for cause in causes)
    assert dbox(*words, str(tmp_path / "first.txt"), "--overwrite")[0] == 0


def test_the_key_of_a_case_comes_only_when_asked_for(dbox):
    words = ("teach", "case", "--seed", "5", "--json")
    (shown,) = json.loads(dbox(*words)[1])["cases"]
    (told,) = json.loads(dbox(*words, "--key")[1])["cases"]
    assert "key" not in shown
    key = told.pop("key")
    assert told == shown
    held = [told["evidence"].get(key["look"])]
    held += [outlet["evidence"].get(key["look"]) for outlet in told["outlets"]]
    assert set(held) == {None}
    assert "Cause: " not in dbox("teach", "case", "--seed", "5")[1].replace("Cause:        ", "")
    assert key["cause"]


def test_cases_are_asked_for_by_topic_and_difficulty_and_wrong_ones_are_listed(dbox):
    words = ("teach", "case", "--seed", "2", "--json", "--key", "--groups", "2")
    asked = ("--topic", "full-trench", "--difficulty", "hard")
    told = json.loads(dbox(*words, *asked)[1])["cases"]
    assert [(case["key"]["topic"], case["difficulty"]) for case in told] == [
        ("full trench", "hard")
    ] * 2
    assert {o["evidence"]["port"] for case in told for o in case["outlets"]} == {None}
    code, out, err = dbox(*words, "--topic", "frost", "--difficulty", "mild")
    assert (code, out) == (2, "")
    assert 'error: --topic is "frost"; it may be tilted-box, low-lip,' in err
    assert '--difficulty is "mild"; it may be easy, usual or hard' in err


def test_a_lesson_speaks_in_the_unit_asked(dbox):
    _, out, _ = dbox("teach", "sweep", "--units", "mm")
    assert "3.0 mm (1/8 in) low" in " ".join(out.split())
    assert json.loads(dbox("teach", "sweep", "--units", "mm", "--json")[1])["tilt_m"][-1] == 0.012
    _, out, _ = dbox("teach", "compare", "--units", "mm", "--error", "-4")
    assert "One lip 4.0 mm (5/32 in) low" in out
    code, _, err = dbox("teach", "sweep", "off-level", "--units", "mm")
    assert code == 2
    assert "--units is for use without FILE" in err


def test_two_flows_to_compare_at_are_told_in_full(dbox):
    _, out, _ = dbox("teach", "compare", "--flow", "0.5 gpm", "--flow", "30 gpm")
    assert "1.89 L/min 114 L/min" in " ".join(out.split())
    assert all(len(line) <= 72 for line in out.splitlines())


@pytest.mark.parametrize("flows", [("0.5 gpm",), ("0.5 gpm", "1 gpm", "5 gpm", "30 gpm")])
def test_every_number_of_a_comparison_stands_under_its_own_heading(dbox, flows):
    """One flow or four: nothing cut, and as many cells in a row as headings over it."""
    words = [word for flow in flows for word in ("--flow", flow)]
    _, out, _ = dbox(*CHOICE, *words)
    assert "…" not in out
    lines = out.splitlines()
    waters = 1 + (len(flows) > 1)
    (heads,) = (line for line in lines if line.startswith("  opening") and "a lip off" in line)
    assert heads.count("water at") == waters
    first = lines[lines.index(heads) + 2]
    assert first.startswith("  notch 60 deg")
    # what a lip off moves a share by, in per cent, ends where its heading ends
    assert first[: heads.index("a lip off") + len("a lip off")].endswith("%")


CHOICE = ("teach", "compare", "--opening", "circle 2 in", "--opening", "notch 60 deg")


def test_openings_are_chosen_by_numbers_of_ones_own(dbox):
    own = ("--flow", "0.5 gpm", "--flow", "30 gpm", "--offset", "1/2 in", "--tolerance", "10 %")
    choice = json.loads(dbox(*CHOICE, *own, "--json")[1])["choice"]
    assert [flow["inflow_m3_s"] for flow in choice["flows"]] == pytest.approx(
        [0.5 * 6.30902e-5, 30 * 6.30902e-5], rel=1e-4
    )
    hole, notch = choice["kinds"]
    assert (hole["cures_m"], notch["cures_m"]) == (pytest.approx(0.0254), None)
    assert hole["share_error"] > notch["share_error"] > 0
    assert 0 < hole["settles_m"] < notch["settles_m"]
    _, out, _ = dbox(*CHOICE, *own)
    assert "How they clog (common practice, no source):" in out
    assert max(map(len, out.splitlines())) <= 72
    bare = json.loads(dbox(*CHOICE, "--json")[1])["choice"]
    assert (bare["tolerance"], bare["kinds"][0]["settles_m"]) == (None, None)
    assert "choice" not in json.loads(dbox("teach", "compare", "--json")[1])


def test_a_choice_takes_box_flows_and_tolerance_from_a_file(dbox):
    choice = json.loads(dbox(*CHOICE, "off-level", "--json")[1])["choice"]
    assert choice["tolerance"] == 0.1
    assert choice["spread_m"] == pytest.approx(0.0254 / 32)
    assert [flow["name"] for flow in choice["flows"]] == ["trickle", "dose"]
    assert choice["kinds"][0]["cures_m"] == pytest.approx(0.0254)
    code, _, err = dbox(*CHOICE, "off-level", "--outlets", "4")
    assert code == 2
    assert "--outlets is for use without FILE" in err
