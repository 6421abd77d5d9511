"""What every command promises: streams, exit codes, help, version, schema, damaged files."""

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.files.damage import damaged


def python(*arguments: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, *arguments],
        capture_output=True,
        text=True,
        env={**os.environ, **environment},
        check=False,
    )


def test_python_m_dbox_is_the_command():
    assert python("-m", "dbox", "--version").stdout.startswith("dbox ")
    assert python("-m", "dbox_cli", "--version").stdout.startswith("dbox ")


def test_help_names_every_command(dbox):
    _, out, _ = dbox("--help")
    for command in ("new", "check", "split", "level", "setup", "grades", "sheet", "pour", "batch",
                    "diagnose", "teach", "surge", "schema"):  # fmt: skip
        assert f"  {command} " in out


def test_schema_is_json_and_names_every_table(dbox):
    _, out, _ = dbox("schema")
    assert {"box", "insert", "readings", "outlet", "flows", "target", "tolerance"} <= set(
        json.loads(out)["properties"]
    )


def test_new_writes_a_file_that_checks_and_never_overwrites(dbox, tmp_path: Path):
    file = tmp_path / "job.toml"
    assert dbox("new", str(file))[0] == 0
    assert dbox("check", str(file))[0] == 0
    file.write_text("kept")
    code, _, err = dbox("new", str(file))
    assert code == 2
    assert str(file) in err
    assert file.read_text() == "kept"


def test_new_takes_no_name_of_a_shipped_scenario(dbox, tmp_path: Path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = dbox("new", "off-level")
    assert (code, out) == (2, "")
    assert "name another file, as job.toml" in " ".join(err.split())
    assert list(tmp_path.iterdir()) == []


def test_check_tells_every_fault_at_once(dbox, tmp_path: Path):
    file = tmp_path / "five.toml"
    file.write_text(
        'insert = {kind = "circle", diameter = "2 in"}\n'
        'outlet = [{reading = "0 in"}, {diamter = "2 in"}, {reading = "13/16/2 in"}]\n'
    )
    code, out, err = dbox("check", str(file))
    assert (code, out) == (2, "")
    assert f"{file}: unknown key outlet[2].diamter; did you mean diameter?" in err
    assert 'outlet[3].reading is "13/16/2 in"; write a fraction as 13/16' in err
    assert all(line.startswith("dbox: error: ") for line in err.splitlines())


def test_a_bug_gets_a_short_line_and_70(dbox, monkeypatch: pytest.MonkeyPatch):
    def broken(*_: object, **__: object) -> None:
        raise KeyError("planted")

    monkeypatch.setattr("dbox.fieldwork.shares.assess", broken)
    monkeypatch.delenv("DBOX_TRACEBACK", raising=False)
    code, out, err = dbox("split", "off-level")
    assert (code, out) == (70, "")
    assert "planted" in err
    assert "Traceback" not in err


def test_a_closed_pipe_is_no_error():
    line = f"{sys.executable} -m dbox schema | head -1"
    result = subprocess.run(line, shell=True, capture_output=True, text=True, check=False)
    assert result.stdout == "{\n"
    assert result.stderr == ""


def test_no_colour_where_output_is_not_a_terminal():
    assert "\x1b" not in python("-m", "dbox", "split", "off-level").stdout
    assert "\x1b" not in python("-m", "dbox", "split").stderr


@pytest.mark.parametrize("count", [150, pytest.param(1000, marks=pytest.mark.slow)])
def test_damaged_files_give_a_fault_and_no_traceback(dbox, tmp_path: Path, count):
    file = tmp_path / "damaged.toml"
    refused = 0
    for content in damaged(count, seed=20):
        file.write_bytes(content)
        start = time.perf_counter()
        code, out, err = dbox("check", str(file))
        assert time.perf_counter() - start < 2.0, content
        assert code in (0, 2), (content, err)
        if code == 2:
            refused += 1
            assert out == ""
            assert str(file) in err, (content, err)
            assert "Traceback" not in err
    assert refused > 0.8 * count
