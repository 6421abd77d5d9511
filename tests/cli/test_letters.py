"""Letters that no font here has are told of on stderr and in JSON; nothing of matplotlib's is."""

import json

import pytest

PRIVATE = "\ue000"
"""For private use, so that no font is asked for it (The Unicode Standard, chapter 23)."""

BOX = f"""
title = "Box {PRIVATE}"
units = "in"
insert = {{kind = "circle", diameter = "2", offset = "1/2"}}
readings = {{spread = "1/32"}}
outlet = [{{label = "1", reading = "0"}}, {{label = "{PRIVATE}", reading = "1/8"}}]
flows = {{dose = "5 gpm"}}
"""


@pytest.mark.slow
def test_a_picture_is_written_and_its_missing_letter_told_of(dbox, tmp_path):
    (tmp_path / "box.toml").write_text(BOX, encoding="utf-8")
    out = tmp_path / "split.svg"
    code, said, told = dbox(
        "split", str(tmp_path / "box.toml"), "--picture", str(out), "--samples", "100"
    )
    assert code == 0
    assert f"wrote {out}" in said
    (line,) = told.splitlines()
    assert line.startswith("dbox: warning: no font here has")
    assert "U+E000" in line
    assert out.stat().st_size > 1000


@pytest.mark.slow
def test_a_sheet_warns_in_its_json_too(dbox, tmp_path):
    (tmp_path / "box.toml").write_text(BOX, encoding="utf-8")
    code, said, told = dbox("sheet", str(tmp_path / "box.toml"), "--kind", "field",
                            "--out", str(tmp_path / "f.pdf"), "--json")  # fmt: skip
    assert code == 0
    (warning,) = json.loads(said)["warnings"]
    assert "U+E000" in warning
    assert told == f"dbox: warning: {warning}\n"
