"""Files that commands write are whole or not there, and none is another of the same command."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

resource = pytest.importorskip("resource", reason="it makes the disk full")

OPTIONS = ("--opening", "circle 2 in", "--tolerance", "10 %", "--quick")
TILT = ("--outlets", "3", "--flow", "2 gpm")
SHORT = ("surge", "off-level", "--dose", "2 gal at 5 gpm")

EVERYDAY = {
    "new": ("new", "FILE.toml"),
    "split": ("split", "off-level", "--samples", "100", "--picture", "FILE.png"),
    "sheet": ("sheet", "off-level", "--kind", "field", "--out", "FILE.pdf"),
    "surge": (*SHORT, "--out", "FILE.png"),
    "teach live": ("teach", "live", "--out", "FILE.html"),
    "teach sweep": ("teach", "sweep", *TILT, "--csv", "FILE.csv"),
}
MORE = {
    "level": ("level", "off-level", "--samples", "100", "--picture", "FILE.svg"),
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


def dbox(*arguments: str, folder: Path, most: int = -1) -> subprocess.CompletedProcess[str]:
    """Run a command where no file can grow beyond so many bytes."""

    def full() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    return subprocess.run(
        [sys.executable, "-m", "dbox_cli", *arguments],
        cwd=folder, preexec_fn=full, capture_output=True, text=True, check=False,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )  # fmt: skip


def content(folder: Path) -> dict[str, bytes]:
    return {path.name: path.read_bytes() for path in folder.iterdir()}


@pytest.mark.parametrize(("command", "most"), CASES)
def test_a_full_disk_leaves_what_was_there_and_nothing_else(tmp_path, command, most):
    (tmp_path / "LONG.toml").write_text(LONG)
    place = Path(command[-1])
    old = {} if command[0] in NEW_ONLY else {place.name: b"a good one"}
    for name, mine in old.items():
        (tmp_path / name).write_bytes(mine)
    before = content(tmp_path)
    run = dbox(*command, *(["--overwrite"] if old else []), folder=tmp_path, most=most)
    assert run.returncode == 2, run.stderr
    assert f"{place}: cannot be written (File too large); make room" in run.stderr
    assert content(tmp_path) == before


def test_a_full_disk_leaves_no_box_as_last_read(tmp_path):
    (tmp_path / "box.toml").write_text(LONG)
    (tmp_path / "typed.txt").write_text("\n" + "0 in\n\n" * LONG.count("label"))
    paused = dbox("setup", "box.toml", "--answers", "typed.txt", folder=tmp_path)
    assert paused.returncode == 0, paused.stderr
    before = content(tmp_path)
    run = dbox("setup", "box.toml", "--json", "--write-after", folder=tmp_path, most=8192)
    assert run.returncode == 2, run.stderr
    assert "box-after.toml: cannot be written (File too large)" in run.stderr
    assert content(tmp_path) == before
    assert dbox("setup", "box.toml", "--json", "--write-after", folder=tmp_path).returncode == 0
    assert (tmp_path / "box-after.toml").stat().st_size > 8192


@pytest.mark.slow
def test_a_run_over_a_list_goes_on_when_there_is_room_again(tmp_path):
    """What it appends is the exception; its picture is none."""
    rows = "".join(f"box {i},0,{i % 7}/64\n" for i in range(400))
    (tmp_path / "list.csv").write_text("box,outlet 1,outlet 2\n" + rows)
    command = ("batch", "list.csv", *OPTIONS, "--out", "r.csv", "--picture", "r.png")
    for most in (8192, 30_000):
        run = dbox(*command, folder=tmp_path, most=most)
        assert run.returncode == 2, run.stderr
        assert "cannot be written (File too large); make room" in run.stderr
        assert not (tmp_path / "r.png").exists()
        assert (tmp_path / "r.csv.state").exists()
    run = dbox(*command, folder=tmp_path)
    assert run.returncode == 0, run.stderr
    assert len((tmp_path / "r.csv").read_text().splitlines()) == 401
    assert {*content(tmp_path)} == {"list.csv", "r.csv", "r.png"}


@pytest.mark.slow
@pytest.mark.parametrize(
    "ffmpeg",
    [
        'for out; do :; done; head -c 99999 /dev/zero > "$out"',
        pytest.param("exit 1", marks=pytest.mark.slow),
    ],
)
def test_a_film_that_ffmpeg_does_not_finish_is_told(tmp_path, monkeypatch, ffmpeg):
    """The program is a stand-in, so that none need be installed."""
    tools, folder = tmp_path / "tools", tmp_path / "films"
    folder.mkdir()
    tools.mkdir()
    (tools / "ffmpeg").write_text(f"#!/bin/sh\ncat > /dev/null\n{ffmpeg}\n")
    (tools / "ffmpeg").chmod(0o755)
    monkeypatch.setenv("PATH", f"{tools}{os.pathsep}{os.environ['PATH']}")
    (folder / "a.mp4").write_text("a good one")
    run = dbox(*SHORT, "--out", "a.mp4", "--overwrite", folder=folder, most=8192)
    assert run.returncode == 2, run.stderr
    assert "a.mp4: " in run.stderr
    assert "make room" in run.stderr
    assert content(folder) == {"a.mp4": b"a good one"}
