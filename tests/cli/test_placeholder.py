"""Readings that only show where readings go are never taken for measured, whatever is asked."""

import json
import re
from pathlib import Path

import pytest

TITLE = "PLACEHOLDER readings, not measured: put in your own"
"""What a starter of version 0.1 says of itself, and all it says."""

ASKED = (
    ("split",),
    ("level",),
    ("level", "--goal", "highest"),
    ("pour", "--flow", "5 gal in 60 s"),
    ("surge", "--event", "bath"),
    ("surge", "--contrast"),
    ("sheet", "--kind", "setup", "--out", "paper.pdf"),
)


@pytest.fixture
def new(dbox, tmp_path: Path, monkeypatch) -> Path:
    monkeypatch.chdir(tmp_path)
    assert dbox("new", "new.toml")[0] == 0
    return tmp_path / "new.toml"


@pytest.fixture
def old(new: Path) -> Path:
    """The same as version 0.1 wrote it."""
    text = new.read_text().replace("placeholder = true\n", "")
    new.write_text(re.sub("(?m)^title = .*$", f'title = "{TITLE}"', text))
    return new


def refused(dbox, *arguments: str) -> str:
    code, out, err = dbox(*arguments)
    assert (code, out) == (2, "")
    return " ".join(err.split())


@pytest.mark.parametrize("asked", ASKED, ids=" ".join)
@pytest.mark.parametrize("starter", ["new", "old"])
def test_nothing_is_computed_from_placeholders(dbox, starter: str, asked, request):
    """Exact: no share, no turn, no sheet; one sentence, with the file and what to do."""
    file = request.getfixturevalue(starter)
    said = refused(dbox, asked[0], file.name, *asked[1:])
    assert "new.toml: the readings are placeholders, not measured: write your own" in said
    assert "placeholder = true" in said
    assert [path.name for path in file.parent.iterdir()] == ["new.toml"]


def test_own_readings_without_the_line_are_computed_with(dbox, new: Path):
    """Exact: what the sentence says to do is all there is to do."""
    new.write_text(new.read_text().replace("placeholder = true\n", ""))
    assert dbox("level", "new.toml")[0] == 0


def test_rod_readings_of_the_starter_are_placeholders_of_their_own(dbox, new: Path):
    """Exact: the block as it stands is refused; with its line taken out, and only then, graded."""
    text = new.read_text()
    block = text[text.index("# [grades]") : text.index("# What the paper of the job says")]
    new.write_text(text.replace(block, re.sub("(?m)^# ", "", block)))
    assert "the readings are placeholders" in refused(dbox, "grades", "new.toml")
    new.write_text(re.sub("(?m)^placeholder = true +#.*$", "", new.read_text()))
    assert dbox("grades", "new.toml")[0] == 0
    assert "the readings are placeholders" in refused(dbox, "level", "new.toml")


def test_a_table_of_readings_takes_the_place_of_placeholders(dbox, new: Path):
    """Exact: shares of the table's lips, whatever stood in the file; and a table made of it is
    empty, so that placeholders come back from nowhere."""
    assert dbox("check", "new.toml", "--write-csv", "blank.csv")[0] == 0
    rows = (new.parent / "blank.csv").read_text().split()
    assert [row.strip(",") for row in rows[-4:]] == ["1", "2", "3", "4"]
    assert "no outlet is read yet" in refused(dbox, "split", "new.toml", "--readings", "blank.csv")
    Path("read.csv").write_text("outlet,reading (mm)\n1,0\n2,0\n3,0\n4,0\n")
    code, out, _ = dbox("split", "new.toml", "--readings", "read.csv", "--json")
    assert code == 0
    shares = [o["share"] for o in json.loads(out)["cases"][0]["outlets"]]
    assert shares == pytest.approx([0.25] * 4)


@pytest.mark.usefixtures("new")
def test_check_says_so_for_people_and_machines(dbox):
    said = dbox("check", "new.toml")[1]
    assert "its readings are placeholders" in said
    assert "not measured yet: outlets 1, 2, 3 and 4" in said
    assert json.loads(dbox("check", "new.toml", "--json")[1])["placeholder"] is True
    assert json.loads(dbox("check", "off-level", "--json")[1])["placeholder"] is False


@pytest.mark.slow
@pytest.mark.parametrize("starter", ["new", "old"])
def test_a_box_read_in_a_set_up_is_no_placeholder_any_more(dbox, starter: str, request):
    """Exact: level lips as read, so equal shares from the file that the set-up writes."""
    request.getfixturevalue(starter)
    Path("answers.txt").write_text("\n" + "0 in\n\n" * 4 + "\n")
    assert dbox("setup", "new.toml", "--answers", "answers.txt", "--write-after")[0] == 0
    code, out, _ = dbox("split", "new-after.toml", "--json")
    assert code == 0
    shares = [o["share"] for o in json.loads(out)["cases"][0]["outlets"]]
    assert shares == pytest.approx([0.25] * 4)
    assert dbox("sheet", "new.toml", "--kind", "setup", "--out", "paper.pdf")[0] == 0
