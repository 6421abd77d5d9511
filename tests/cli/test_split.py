"""`dbox split` as its users type it."""

import json
from pathlib import Path

import pytest

from dbox import assess, load

EXAMPLE = ("--heights", "0, 3/32, -5/32, 0, 3/32", "--opening", "circle 1-3/4 in")
"""Five holes and their lips; the shares below are from an independent root search of the thin-plate
integral (see tests/published/test_split_values.py), to the 0.1 % they are given with."""


def test_heights_without_a_file_give_the_known_shares(dbox):
    code, out, _ = dbox("split", *EXAMPLE, "--coefficient", "0.6", "--flow", "0.5 gpm",
                        "--flow", "25 gpm", "--json")  # fmt: skip
    answer = json.loads(out)
    shares = [[round(100 * o["share"], 1) for o in case["outlets"]] for case in answer["cases"]]
    assert code == 0
    assert shares[0] == [14.3, 1.0, 69.3, 14.3, 1.0]
    assert shares[1] == [20.1, 17.4, 24.9, 20.1, 17.4]
    assert answer["cases"][0]["within_model_range"] is False
    assert any("surface tension" in warning for warning in answer["warnings"])


def test_text_leads_with_the_contrast_of_trickle_and_dose(dbox):
    _, out, _ = dbox("split", *EXAMPLE, "--coefficient", "0.6", "--flow", "0.5 gpm")
    lead = " ".join(out.split("\n\n")[0].split())
    assert "Outlet 3 gets 69.3 % at 0.5 gpm and 24.2 %" in lead
    assert "(30 gpm)" in lead
    assert "3.8 mm" in out
    assert "surface tension" in out


def test_no_tolerance_means_no_verdict(dbox):
    _, out, _ = dbox("split", *EXAMPLE, "--json")
    answer = json.loads(out)
    assert answer["tolerance"] is None
    assert {case["verdict"] for case in answer["cases"]} == {"cannot tell"}
    assert {case["within_probability"] for case in answer["cases"]} == {None}


def test_same_seed_same_answer(dbox):
    first = dbox("split", "off-level", "--json", "--seed", "7")
    assert dbox("split", "off-level", "--json", "--seed", "7") == first
    assert dbox("split", "off-level", "--json", "--seed", "8")[1] != first[1]


def test_gate_exits_with_1_only_when_outside(dbox):
    assert dbox("split", "off-level", "--gate")[0] == 1
    assert dbox("split", "off-level")[0] == 0
    level_box = ("split", "--heights", "0, 0, 0", "--opening", "circle 2 in", "--gate",
                 "--tolerance", "50 %", "--spread", "0.1 mm", "--flow", "20 gpm")  # fmt: skip
    assert dbox(*level_box)[0] == 0


def test_all_faults_of_the_arguments_at_once(dbox):
    code, out, err = dbox("split", "--heights", "0, x", "--opening", "circle", "--flow", "5")
    assert (code, out) == (2, "")
    assert "--heights" in err
    assert '"x"' in err
    assert "--opening" in err
    assert 'give its unit, as "5 gpm"' in err


def test_an_open_outlet_without_a_reading_is_named(dbox, tmp_path: Path):
    file = tmp_path / "gap.toml"
    file.write_text(
        'insert = {kind = "circle", diameter = "2 in"}\n'
        'outlet = [{reading = "0 in"}, {label = "north"}]\n'
    )
    code, _, err = dbox("split", str(file))
    assert code == 2
    assert str(file) in err
    assert "north" in err
    assert dbox("check", str(file))[1].endswith("not measured yet: outlet north\n")


def test_picture_is_written_named_and_never_overwritten_unasked(dbox, tmp_path: Path):
    picture = tmp_path / "split.png"
    code, out, _ = dbox("split", "off-level", "--picture", str(picture))
    assert code == 0
    assert f"wrote {picture}" in out
    assert picture.read_bytes()[:4] == b"\x89PNG"
    before = picture.read_bytes()
    code, _, err = dbox("split", "off-level", "--picture", str(picture))
    assert code == 2
    assert str(picture) in err
    assert picture.read_bytes() == before
    assert dbox("split", "off-level", "--picture", str(picture), "--overwrite")[0] == 0
    code, out, err = dbox("split", "off-level", "--json", "--picture", str(tmp_path / "a.svg"))
    assert json.loads(out)
    assert "a.svg" in err


def test_a_flow_just_at_its_limit_is_settled_by_no_reading(dbox):
    """Exact: the tolerance typed is the very amount by which the box is off."""
    box = ("split", "--heights", "0, 1/16", "--opening", "circle 2 in", "--flow", "2 gpm")
    worst = json.loads(dbox(*box, "--json")[1])["cases"][0]["worst_over_target"]
    limit = ("--tolerance", f"{100 * (worst - 1):.9f} %")
    case = json.loads(dbox(*box, *limit, "--json")[1])["cases"][0]
    assert (case["verdict"], case["settling_spread_m"]) == ("cannot tell", None)
    out = " ".join(dbox(*box, *limit)[1].split())
    assert "no reading would settle it, this flow is too near the limit" in out


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="a device is needed")
def test_a_device_is_no_picture_to_replace(dbox, tmp_path: Path):
    picture = tmp_path / "split.png"
    picture.symlink_to("/dev/full")
    code, _, err = dbox("split", "off-level", "--picture", str(picture), "--overwrite")
    assert code == 2
    assert f"{picture}: is no file that may be replaced" in err
    assert Path("/dev/full").is_char_device()


def test_boxes_in_series_are_told_through_to_every_line(dbox):
    code, out, _ = dbox("split", "first-of-two", "--json", "--samples", "200")
    assert code == 0
    answer = json.loads(out)
    assert answer == assess(load("first-of-two"), samples=200).to_dict()
    for case in answer["cases"]:
        lines = case["lines"]
        assert [line["label"] for line in lines] == ["1", "2", "3", "4/A", "4/B", "4/C"]
        assert sum(line["share"] for line in lines) == pytest.approx(1.0)
        assert all(line["share_low"] < line["share"] < line["share_high"] for line in lines)
    _, out, _ = dbox("split", "first-of-two", "--samples", "200")
    words = " ".join(out.split())
    assert "Outlet 4 feeds another box. Through to every line" in words
    assert max(map(len, out.splitlines())) <= 72


def test_a_line_that_feeds_another_box_keeps_its_name(dbox, tmp_path: Path):
    two = 'insert = {kind = "circle", diameter = "2 in"}\noutlet = [%s]\n'
    (tmp_path / "next.toml").write_text(two % "{reading = 0}, {reading = 0}")
    first = tmp_path / "first.toml"
    first.write_text(two % '{label = "North", reading = 0, feeds = "next.toml"}, {reading = 0}')
    assert "Outlet North feeds another box." in dbox("split", str(first), "--samples", "100")[1]
