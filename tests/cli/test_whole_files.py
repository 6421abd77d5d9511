"""Files that commands write are whole or not there, and none is another of the same command."""

import gc
import os
import re
import warnings
from collections.abc import Callable
from io import StringIO
from pathlib import Path

import pytest

from dbox.drawings.phone_page import MADE_BY
from tests.cli.test_grades import ANSWERS

resource = pytest.importorskip("resource", reason="it makes the disk full")

TIME = re.compile(rb"\d{4}-\d\d-\d\dT[\d:]+[+-]\d\d:\d\d")
OPTIONS = ("--opening", "circle 2 in", "--tolerance", "10 %", "--quick")
TILT = ("--outlets", "3", "--flow", "2 gpm")
SHORT = ("surge", "off-level", "--dose", "2 gal at 5 gpm")

EVERYDAY = {
    "new": ("new", "FILE.toml"),
    "split": ("split", "off-level", "--picture", "FILE.png"),
    "sheet": ("sheet", "off-level", "--kind", "field", "--out", "FILE.pdf"),
    "surge": (*SHORT, "--out", "FILE.png"),
    "teach live": ("teach", "live", "--out", "FILE.html"),
    "teach sweep": ("teach", "sweep", *TILT, "--csv", "FILE.csv"),
}
MORE = {
    "level": ("level", "off-level", "--picture", "FILE.svg"),
    "grades": ("grades", "full-job", "--picture", "FILE.pdf"),
    "surge film": (*SHORT, "--out", "FILE.gif"),
    "surge page": (*SHORT, "--out", "FILE.html"),
    "teach handout": ("teach", "handout", "--out", "FILE.pdf"),
    "teach case": ("teach", "case", "--seed", "3", "--out", "FILE.pdf"),
    "teach case text": ("teach", "case", "--seed", "3", "--groups", "9", "--out", "FILE.txt"),
    "teach compare": ("teach", "compare", "--picture", "FILE.png"),
    "teach sweep picture": ("teach", "sweep", *TILT, "--picture", "FILE.png"),
    "check": ("check", "LONG.toml", "--write-csv", "FILE.csv"),
    "pour": ("pour", "LONG.toml", "--write-csv", "FILE.csv"),
    "split page": ("split", "off-level", "--picture", "FILE.pdf"),
    "surge drawing": (*SHORT, "--out", "FILE.svg"),
    "sheet set-up": ("sheet", "off-level", "--kind", "setup", "--out", "FILE.pdf"),
    "sheet inspection": ("sheet", "off-level", "--kind", "inspection", "--out", "FILE.pdf"),
    "sheet owner": ("sheet", "full-job", "--kind", "owner", "--out", "FILE.pdf"),
    "batch picture": ("batch", "LIST", "--out", "r.csv", *OPTIONS, "--processes", "1",
                      "--picture", "FILE.png"),
}  # fmt: skip
ASKED = {
    "pour": (("pour", "box.toml", "--flow", "5 gal in 120 s", "--jug", "1 gal", "--catch",
              "50 s", "--samples", "100"), ()),
    "grades": (("grades", "box.toml", "--ask"), tuple(ANSWERS.splitlines())),
    "diagnose": (("diagnose", "box.toml", "--ask", "--draws", "20"), ("serial", "pump")),
    "setup": (("setup", "new.toml"), ("in", "by hand (invented)", "2")),
}  # fmt: skip
"""Commands that put into a scenario what is typed, or make one, and what is typed."""
NEW_ONLY = ("new", "check", "pour")
"""Commands that never replace a file."""

LONG = 'title = "Long names (invented)"\ninsert = {kind = "circle", diameter = "2 in"}\n' + "".join(
    f'[[outlet]]\nlabel = "{i:02}{"x" * 38}"\nreading = "0 in"\n' for i in range(100)
)


SMALL = (
    'insert = {kind = "circle", diameter = "2 in"}\n'
    'outlet = [{reading = "0 in"}, {reading = "0 in"}]\n'
)
LIST = "box,outlet 1,outlet 2\n" + "".join(f"box {i},0,{i % 7}/64\n" for i in range(20))


GOOD = b"a good one, " + MADE_BY.encode()
"""What is replaced, a page of ours among it."""


@pytest.fixture
def full(dbox, tmp_path: Path, monkeypatch) -> Callable[..., tuple[int, str]]:
    """Run a command where no file can grow beyond so many bytes; give exit code and stderr."""
    monkeypatch.chdir(tmp_path)

    def run(*arguments: str, most: int = 8192) -> tuple[int, str]:
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))
        try:
            code, _, err = dbox(*arguments)
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        with warnings.catch_warnings(action="ignore", category=ResourceWarning):
            # matplotlib leaves the folder of an unfinished page to the collector
            gc.collect()
        return code, err

    return run


def content(folder: Path) -> dict[str, bytes]:
    """Every file of a folder, without the times in it."""
    return {path.name: TIME.sub(b"", path.read_bytes()) for path in folder.iterdir()}


@pytest.mark.everyday(1)
@pytest.mark.parametrize("command", EVERYDAY.values(), ids=EVERYDAY)
def test_a_full_disk_leaves_what_was_there_and_nothing_else(full, tmp_path, command):
    (tmp_path / "LONG.toml").write_text(LONG)
    place = Path(command[-1])
    replaces = command[0] not in NEW_ONLY
    if replaces:
        (tmp_path / place.name).write_bytes(GOOD)
    before = content(tmp_path)
    code, err = full(*command, *["--overwrite"] * replaces)
    assert code == 2, err
    assert f"{place}: cannot be written (File too large); make room" in err
    assert content(tmp_path) == before


def twenty(size: int) -> list[int]:
    """Sizes at which a disk is full before, at and after the end of a file. [bytes]"""
    return sorted({0, 1, 2, size - 1, size, size + 1, *(size * k // 14 for k in range(1, 14))})


def replace_all(folder: Path, files: dict[str, bytes]) -> None:
    for path in folder.iterdir():
        path.unlink()
    for name, each in files.items():
        (folder / name).write_bytes(each)


@pytest.mark.slow
@pytest.mark.parametrize("name", [*EVERYDAY, *MORE])
def test_a_disk_full_at_any_byte_leaves_the_old_file_or_the_new_one(full, tmp_path, name):
    """Exact: 20 sizes; what is written into the folder is the whole of one or of the other."""
    command = {**EVERYDAY, **MORE}[name]
    place, replaces = command[-1], command[0] not in NEW_ONLY
    old = {"LONG.toml": LONG.encode(), "LIST": LIST.encode()}
    if replaces:
        old[place] = GOOD
    command = (*command, *["--overwrite"] * replaces)
    replace_all(tmp_path, old)
    assert full(*command, most=resource.RLIM_INFINITY)[0] == 0
    new = content(tmp_path)
    done = 0
    for most in twenty(len(new[place])):
        replace_all(tmp_path, old)
        code, err = full(*command, most=most)
        assert code == (0 if content(tmp_path) == new else 2), (most, err)
        left = {each: text for each, text in content(tmp_path).items() if "r.csv" not in each}
        whole = {each: text for each, text in new.items() if "r.csv" not in each}
        assert left in (old, whole), most
        assert code == 0 or "cannot be written (File too large); make room" in err
        done += code == 0
    assert done >= 1


@pytest.mark.slow
@pytest.mark.parametrize("name", ASKED)
def test_what_is_typed_is_in_the_file_whole_or_not_at_all(full, tmp_path, monkeypatch, name):
    """Exact: 20 sizes; the scenario is the old one or the new one."""
    command, typed = ASKED[name]

    old = {"box.toml": SMALL.encode()}

    def run(most: int) -> tuple[int, str]:
        replace_all(tmp_path, old)
        monkeypatch.setattr("sys.stdin", StringIO("".join(f"{line}\n" for line in typed)))
        return full(*command, most=most)

    assert run(resource.RLIM_INFINITY)[0] == 0
    new = content(tmp_path)
    assert new != old
    written = max(len(each) for where, each in new.items() if each != old.get(where))
    for most in twenty(written):
        code, err = run(most)
        assert code in (0, 2), err
        assert content(tmp_path) == new or code == 2, most
        for where, each in content(tmp_path).items():
            assert each in (new[where], old.get(where)) or new[where].startswith(each), most
            assert each.endswith(b"\n") or not each, most


@pytest.mark.slow
def test_a_full_disk_leaves_no_box_as_last_read(dbox, full, tmp_path):
    (tmp_path / "box.toml").write_text(LONG)
    (tmp_path / "typed.txt").write_text("\n" + "0 in\n\n" * LONG.count("label"))
    assert dbox("setup", "box.toml", "--answers", "typed.txt")[0] == 0
    before = content(tmp_path)
    code, err = full("setup", "box.toml", "--json", "--write-after")
    assert code == 2, err
    assert "box-after.toml: cannot be written (File too large)" in err
    assert content(tmp_path) == before
    assert dbox("setup", "box.toml", "--json", "--write-after")[0] == 0
    assert (tmp_path / "box-after.toml").stat().st_size > 8192


@pytest.mark.slow
def test_a_run_over_a_list_goes_on_when_there_is_room_again(dbox, full, tmp_path):
    """What it appends is the exception; its picture is none."""
    rows = "".join(f"box {i},0,{i % 7}/64\n" for i in range(400))
    (tmp_path / "list.csv").write_text("box,outlet 1,outlet 2\n" + rows)
    command = ("batch", "list.csv", *OPTIONS, "--out", "r.csv", "--picture", "r.png")
    for most in (0, 1, 100, *range(2500, 22_500, 1250)):
        code, err = full(*command, most=most)
        assert code == 2, (most, err)
        assert "cannot be written (File too large); make room" in err
        assert not (tmp_path / "r.png").exists()
        # with room for it, what was done is kept
        assert most < 2500 or (tmp_path / "r.csv.state").exists()
    assert dbox(*command)[0] == 0
    assert len((tmp_path / "r.csv").read_text().splitlines()) == 401
    assert {*content(tmp_path)} == {"list.csv", "r.csv", "r.png"}


@pytest.mark.slow
@pytest.mark.parametrize(
    "ffmpeg", ['for out; do :; done; head -c 99999 /dev/zero > "$out"', "exit 1"]
)
def test_a_film_that_ffmpeg_does_not_finish_is_told(full, tmp_path, monkeypatch, ffmpeg):
    """The program is a stand-in, so that none need be installed."""
    tools = tmp_path / "tools"
    tools.mkdir()
    (tools / "ffmpeg").write_text(f"#!/bin/sh\ncat > /dev/null\n{ffmpeg}\n")
    (tools / "ffmpeg").chmod(0o755)
    monkeypatch.setenv("PATH", f"{tools}{os.pathsep}{os.environ['PATH']}")
    (tmp_path / "a.mp4").write_text("a good one")
    code, err = full(*SHORT, "--out", "a.mp4", "--overwrite")
    assert code == 2, err
    assert "a.mp4: " in err
    assert "make room" in err
    assert (tmp_path / "a.mp4").read_bytes() == b"a good one"
    assert {path.name for path in tmp_path.iterdir()} == {"tools", "a.mp4"}
