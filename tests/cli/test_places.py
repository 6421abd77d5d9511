"""Other clocks, a home that cannot be written to, and a folder that is none to write in."""

import json
import os
import re
import subprocess
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.terminal import ROOT
from tests.cli.test_fuzz import BOX

LOG = "BOX.log.jsonl"
TIME = re.compile(r"\d{4}-\d\d-\d\dT[\d:]+[+-]\d\d:\d\d")


@pytest.fixture
def job(tmp_path, monkeypatch) -> Path:
    """A folder with a box and answers for it, the one worked in."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "BOX").write_text(BOX)
    (tmp_path / "ANSWERS").write_text("\n0 0\n1/8 1/8\n0 0\n0 0\n")
    return tmp_path


@pytest.mark.skipif(not hasattr(time, "tzset"), reason="zones are set otherwise there")
@pytest.mark.parametrize(
    ("zone", "ahead"),
    [("NST3:30", -210), pytest.param("IST-5:30", 330, marks=pytest.mark.slow)],
    ids=["St Johns", "Kolkata"],
)
def test_a_log_tells_the_time_and_the_zone_it_was_read_in(dbox, job, monkeypatch, zone, ahead):
    """Exact: zones as POSIX writes them (IEEE Std 1003.1, TZ), minutes ahead of UTC by hand."""
    monkeypatch.setenv("TZ", zone)
    time.tzset()
    try:
        assert dbox("setup", "BOX", "--answers", "ANSWERS")[0] == 0
    finally:
        monkeypatch.delenv("TZ")
        time.tzset()
    for line in (job / LOG).read_text().splitlines():
        at = datetime.fromisoformat(json.loads(line)["at"])
        assert at.utcoffset() == timedelta(minutes=ahead)
        assert abs(at - datetime.now(UTC)) < timedelta(minutes=1)


def test_a_night_in_which_an_hour_comes_twice_loses_nothing(dbox, job):
    """Exact: answers are in the order of their lines, whatever the clock was set to."""
    assert dbox("setup", "BOX", "--answers", "ANSWERS")[0] == 0
    plain = dbox("setup", "BOX", "--json")[1]
    lines = (job / LOG).read_text().splitlines()
    # daylight saving ends at 2:00, so that 1:00 to 2:00 comes twice
    night = [f"2025-11-02T01:{59 - n % 2 * 58:02}:00-0{4 + n % 2}:00" for n in range(len(lines))]
    told = [re.sub(r'"at": "[^"]+"', f'"at": "{at}"', line)
            for line, at in zip(lines, night, strict=True)]  # fmt: skip
    (job / LOG).write_text("\n".join([*told, ""]))
    found = dbox("setup", "BOX", "--json")[1]
    assert {*TIME.findall(found)} <= {*night}
    assert TIME.sub("", found) == TIME.sub("", plain)


@pytest.mark.skipif(os.name == "nt", reason="of other systems")
@pytest.mark.slow
@pytest.mark.parametrize(
    "command",
    [
        ("split", "off-level", "--samples", "100", "--picture", "{out}/a.png"),
        ("sheet", "off-level", "--kind", "field", "--out", "{out}/a.pdf"),
        ("batch", "forty-boxes", "--quick", "--processes", "2", "--out", "{out}/a.csv"),
    ],
    ids=["picture", "sheet", "list"],
)
def test_neither_home_nor_the_folder_worked_in_need_be_writable(tmp_path, command):
    """Exact: /dev and below it no folder can be made; the answer is written where it is wanted."""
    home = {"HOME": "/dev/null/none", "XDG_CONFIG_HOME": "", "XDG_CACHE_HOME": ""}
    words = [word.replace("{out}", str(tmp_path)) for word in command]
    done = subprocess.run(
        [sys.executable, "-m", "dbox", *words], cwd="/proc" if Path("/proc").is_dir() else "/",
        capture_output=True, text=True, check=False,
        env={**{k: v for k, v in os.environ.items() if k != "MPLCONFIGDIR"}, **home,
             "TMPDIR": str(tmp_path), "PYTHONPATH": f"{ROOT}:{ROOT / 'cli'}"},
    )  # fmt: skip
    assert (done.returncode, done.stderr) == (0, "")
    assert Path(words[-1]).exists()


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="a folder in which no file can be made")
@pytest.mark.parametrize(
    "command", [("new", "a.toml"), ("setup", "a.toml", "--answers", "{out}/ANSWERS"),
                ("batch", "forty-boxes", "--out", "a.csv", "--quick", "--processes", "1"),
                ("check", "off-level", "--write-csv", "a.csv")], ids=" ".join,
)  # fmt: skip
def test_a_folder_that_takes_no_file_is_told_by_name(dbox, job, monkeypatch, command):
    monkeypatch.chdir("/proc")
    code, _, err = dbox(*(word.replace("{out}", str(job)) for word in command))
    assert code == 2
    assert re.search(r"dbox: error: \S*a\.(toml|png|csv)\S*: .*; ", err)
