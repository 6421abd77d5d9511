"""Files that commands write are whole or not there, and none is another of the same command."""

import gc
import os
import warnings
from collections.abc import Callable
from pathlib import Path

import pytest

resource = pytest.importorskip("resource", reason="it makes the disk full")

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
    "teach sweep": ("teach", "sweep", *TILT, "--picture", "FILE.png"),
    "check": ("check", "LONG.toml", "--write-csv", "FILE.csv"),
    "pour": ("pour", "LONG.toml", "--write-csv", "FILE.csv"),
}
NEW_ONLY = ("new", "check", "pour")
"""Commands that never replace a file."""

CASES = [
    *(pytest.param(command, 8192, id=f"{name} 8192") for name, command in EVERYDAY.items()),
    *(
        pytest.param(command, size, id=f"{name} {size}", marks=pytest.mark.slow)
        for name, command in {**MORE, **EVERYDAY}.items()
        for size in (1, 4000)
    ),
]

LONG = 'title = "Long names (invented)"\ninsert = {kind = "circle", diameter = "2 in"}\n' + "".join(
    f'[[outlet]]\nlabel = "{i:02}{"x" * 38}"\nreading = "0 in"\n' for i in range(100)
)


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
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.everyday(1)
@pytest.mark.parametrize(("command", "most"), CASES)
def test_a_full_disk_leaves_what_was_there_and_nothing_else(full, tmp_path, command, most):
    (tmp_path / "LONG.toml").write_text(LONG)
    place = Path(command[-1])
    replaces = command[0] not in NEW_ONLY
    if replaces:
        (tmp_path / place.name).write_bytes(b"a good one")
    before = content(tmp_path)
    code, err = full(*command, *["--overwrite"] * replaces, most=most)
    assert code == 2, err
    assert f"{place}: cannot be written (File too large); make room" in err
    assert content(tmp_path) == before


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
    for most in (8192, 30_000):
        code, err = full(*command, most=most)
        assert code == 2, err
        assert "cannot be written (File too large); make room" in err
        assert not (tmp_path / "r.png").exists()
        assert (tmp_path / "r.csv.state").exists()
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
