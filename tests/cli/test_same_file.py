"""No command takes one file for two of its arguments, however that file is named."""

import os
from pathlib import Path

import pytest

BATCH = ("batch", "LIST", "--opening", "circle 2 in", "--tolerance", "10 %", "--quick")
PAIRS = {
    "batch out picture": (*BATCH, "--out", "ONE", "--picture", "TWO"),
    "batch list out": ("batch", "ONE", *BATCH[2:], "--out", "TWO"),
    "batch list picture": ("batch", "ONE", *BATCH[2:], "--out", "r.csv", "--picture", "TWO"),
    "split file picture": ("split", "ONE", "--picture", "TWO"),
    "split readings picture": ("split", "off-level", "--readings", "ONE", "--picture", "TWO"),
    "level file picture": ("level", "ONE", "--picture", "TWO"),
    "level readings picture": ("level", "off-level", "--readings", "ONE", "--picture", "TWO"),
    "grades file picture": ("grades", "ONE", "--picture", "TWO"),
    "sheet file out": ("sheet", "ONE", "--kind", "field", "--out", "TWO"),
    "surge file out": ("surge", "ONE", "--out", "TWO"),
    "surge inflow out": ("surge", "off-level", "--inflow", "ONE", "--out", "TWO"),
    "surge file inflow": ("surge", "ONE", "--inflow", "TWO"),
    "check file csv": ("check", "ONE", "--write-csv", "TWO"),
    "check readings csv": ("check", "off-level", "--readings", "ONE", "--write-csv", "TWO"),
    "pour catches csv": ("pour", "off-level", "--catches", "ONE", "--write-csv", "TWO"),
    "pour readings csv": ("pour", "off-level", "--readings", "ONE", "--write-csv", "TWO"),
    "sweep csv picture": ("teach", "sweep", "--csv", "ONE", "--picture", "TWO"),
    "sweep file csv": ("teach", "sweep", "ONE", "--csv", "TWO"),
    "compare csv picture": ("teach", "compare", "--csv", "ONE", "--picture", "TWO"),
    "live file out": ("teach", "live", "ONE", "--out", "TWO"),
    "setup file answers": ("setup", "ONE", "--answers", "TWO"),
}  # fmt: skip
REPLACES = ("--picture", "--out")


def spelled(kind: str, folder: Path) -> tuple[str, str]:
    """Two names of one file."""
    one, two = folder / "same.png", folder / "other.png"
    one.write_text("mine")
    if kind == "same":
        return str(one), str(one)
    if kind == "relative":
        return str(one), os.path.join("sub", "..", "same.png")
    if kind == "symlink":
        two.symlink_to(one)
    elif kind == "hard link":
        os.link(one, two)
    else:
        # neither is there yet, and they are in one folder that has two names
        one.unlink()
        (folder / "alias").symlink_to(folder)
        return str(one), str(folder / "alias" / "same.png")
    return str(one), str(two)


KINDS = [
    *((kind, pair) for kind in ("hard link", "not there") for pair in PAIRS),
    *((kind, "split file picture") for kind in ("same", "relative", "symlink")),
]
"""One place compares names for all commands; each has to ask it, before it does anything."""


@pytest.mark.everyday(15)
@pytest.mark.parametrize(("kind", "pair"), KINDS)
def test_one_file_under_two_names_is_refused(dbox, tmp_path, monkeypatch, pair, kind):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "sub").mkdir()
    (tmp_path / "LIST").write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    one, two = spelled(kind, tmp_path)
    command = [{"ONE": one, "TWO": two}.get(word, word) for word in PAIRS[pair]]
    replaces = any(word in command for word in REPLACES)
    before = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    code, out, err = dbox(*command, *(["--overwrite"] if replaces else []))
    assert (code, out) == (2, "")
    assert "name two files" in err
    after = {path.name: path.read_bytes() for path in tmp_path.iterdir() if path.is_file()}
    assert after == before


def test_results_and_picture_of_one_name_lose_nothing(dbox, tmp_path):
    """The second go would have put the picture where the results are."""
    source, out = tmp_path / "list.csv", tmp_path / "r.png"
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    command = (BATCH[0], str(source), *BATCH[2:], "--out", str(out))
    for _ in range(2):
        assert dbox(*command, "--picture", str(out))[0] == 2
        assert [*tmp_path.iterdir()] == [source]


@pytest.mark.parametrize("command", [("teach", "handout"), ("teach", "case", "--seed", "1")])
def test_a_key_is_a_file_of_its_own(dbox, tmp_path, command):
    out, key = tmp_path / "h.pdf", tmp_path / "h-key.pdf"
    out.write_text("mine")
    key.symlink_to(out)
    code, _, err = dbox(*command, "--out", str(out), "--overwrite")
    assert code == 2
    assert "name two files" in err
    assert out.read_text() == "mine"


@pytest.mark.slow
def test_a_picture_that_a_killed_run_has_made_is_its_own_and_no_other(dbox, tmp_path, monkeypatch):
    """Killed between its picture and its end; then somebody else's picture is there instead."""
    source, out, picture = (tmp_path / name for name in ("list.csv", "r.csv", "r.png"))
    source.write_text("box,outlet 1,outlet 2\nA,0,1/8\n")
    command = (BATCH[0], str(source), *BATCH[2:], "--out", str(out), "--picture", str(picture))
    with monkeypatch.context() as kill:
        kill.setattr("dbox.files.list_run.Progress.end", lambda _: 1 / 0)
        assert dbox(*command)[0] == 70
    made = picture.read_bytes()
    assert out.with_name("r.csv.state").exists()
    picture.write_text("a photograph")
    code, _, err = dbox(*command)
    assert (code, picture.read_text()) == (2, "a photograph")
    assert "r.png: is there already" in err
    picture.write_bytes(made)
    assert dbox(*command)[0] == 0
    assert {path.name for path in tmp_path.iterdir()} == {"list.csv", "r.csv", "r.png"}
