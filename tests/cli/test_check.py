"""`dbox check`: what it says of a scenario that is in order."""

import json
from pathlib import Path

BOX = """
insert = {kind = "circle", diameter = "2 in"}
outlet = [{reading = "0 in"}, {label = "north"}, {label = "shut", state = "capped"}]
flows = {bucket = "5 gpm"}
"""


def test_json_names_open_outlets_that_are_not_measured(dbox, tmp_path: Path):
    """A capped outlet needs no reading."""
    file = tmp_path / "gap.toml"
    file.write_text(BOX)
    code, out, err = dbox("check", str(file), "--json")
    assert (code, err) == (0, "")
    assert json.loads(out) == {"file": str(file), "outlets": 3, "not_measured": ["north"],
                               "placeholder": False}  # fmt: skip


def test_text_says_the_same(dbox, tmp_path: Path):
    file = tmp_path / "gap.toml"
    file.write_text(BOX)
    _, out, _ = dbox("check", str(file))
    assert out == f"{file}: in order; 3 outlets, 1 flow\nnot measured yet: outlet north\n"


def test_a_table_to_fill_in_is_written_and_with_json_named_on_stderr(dbox, tmp_path: Path):
    file, table = tmp_path / "gap.toml", tmp_path / "readings.csv"
    file.write_text(BOX)
    code, out, err = dbox("check", str(file), "--json", "--write-csv", str(table))
    assert code == 0
    assert json.loads(out)["outlets"] == 3
    assert err == f"wrote {table}\n"
    assert table.exists()
