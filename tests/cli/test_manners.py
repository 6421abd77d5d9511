"""What every command promises: streams, exit codes, help, version, schema, damaged files."""

import json
import os
import re
import shlex
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.files.damage import SCENARIOS, damaged


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


@pytest.mark.parametrize("columns", ["60", "72", "80", "100"])
@pytest.mark.parametrize("command", [(), ("level",), ("grades",), ("teach",), ("teach", "live")])
def test_help_cuts_no_sentence_and_no_name(dbox, monkeypatch, columns, command):
    monkeypatch.setenv("COLUMNS", columns)
    usage, *lines = dbox(*command, "--help")[1].splitlines()
    assert usage.startswith("Usage: ")
    assert [line for line in lines if line.endswith(("-", "...")) or len(line) > int(columns)] == []


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


@pytest.mark.everyday(2)
@pytest.mark.parametrize(
    ("line", "code", "told"),
    [
        ("{ dbox schema; echo $? >&2; } | true", 0, "^0\n$"),
        ("dbox no-such 2>&- | wc -c >&2; exit ${PIPESTATUS[0]}", 2, "^ *0\n$"),
        ("dbox --help > /dev/full", 2, "the output cannot be written .*; make room"),
        ("ln -s loop.toml loop.toml; dbox setup loop.toml", 2, "loop.toml: .*; take another name"),
        ("dbox check off-level 2> /dev/full", 0, "^$"),
        ("dbox split no-such 2> /dev/full", 2, "^$"),
        ("dbox check off-level >&-", 0, "^$"),
        ("dbox schema > /dev/full", 2, "the output cannot be written .*; make room"),
        ("{ dbox setup new.toml --answers /dev/null; echo $? >&2; } | true", 0, "^0\n$"),
        ("dbox setup new.toml <&- >/dev/null", 0, "^$"),
        ("MPLBACKEND=odd dbox split off-level --picture a.png >&2", 2, 'MPLBACKEND is "odd".*; un'),
        ("ln -s a.png a.png; dbox split off-level --overwrite --picture a.png", 2, "a.png: .*;"),
        ("dbox setup $(printf %0241d 0).toml", 2, "00...: cannot be used.*; take another name"),
        ("dbox setup $(printf %0999d 0).toml", 2, "00...: cannot be used.*; take another name"),
        ("dbox batch forty-boxes --out $(printf %0240d 0).csv", 2, "0...: .* .bad.csv.part added"),
        ("cp $SHIPPED/wet-line.toml $(printf %0245d 0).toml; dbox diagnose 0*.toml --ask", 2,
         r"0...: cannot be used, alone or with -99.toml added.*; take another name"),
        ("dbox new a.$(printf %0250d 0)", 0, "^$"),
    ],
)  # fmt: skip
def test_plain_situations_are_no_bugs(tmp_path, line, code, told):
    """A reader that has gone is none; errors go to stderr or nowhere; nothing waits or is 70."""
    result = subprocess.run(
        ["bash", "-c", f'dbox() {{ "{sys.executable}" -m dbox "$@"; }}\n{line}'],
        cwd=tmp_path, capture_output=True, text=True, check=False, stdin=subprocess.DEVNULL,
        env={**os.environ, "SHIPPED": str(SCENARIOS)},
    )  # fmt: skip
    assert re.search(told, result.stderr), result.stderr
    assert result.returncode == code
    assert "Traceback" not in result.stderr


@pytest.mark.slow
def test_no_colour_where_output_is_not_a_terminal():
    assert "\x1b" not in python("-m", "dbox", "split", "off-level", "--samples", "100").stdout
    assert "\x1b" not in python("-m", "dbox", "split").stderr


@pytest.mark.parametrize("count", [60, pytest.param(1000, marks=pytest.mark.slow)])
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


@pytest.mark.everyday(2)
@pytest.mark.parametrize(
    "words",
    ["split off-level", "level off-level", "diagnose wet-line", "surge family-of-four --day"],
)
def test_the_same_seed_gives_the_same_bytes_another_another_answer(dbox, words):
    one, same, other = (dbox(*words.split(), "--json", "--seed", seed) for seed in "778")
    assert one == same
    assert other[1] != one[1]


SITES = ("off-level", "tilted-curable", "tilted-rebed", "unequal-lines")
LINES = [
    *(f"{command} {site}" for command in ("split", "level") for site in SITES),
    *(f"surge {site} --dose '60 gal at 30 gpm'" for site in SITES[::3]),
    *(f"surge {site} --contrast" for site in ("family-of-four", *SITES[::3])),
    *(f"surge family-of-four {asked}" for asked in
      ("--event shower --event toilet", "--day", "--days 40", "--dose siphon")),
    "teach sweep", "teach sweep off-level --toward far",
    "teach sweep unequal-lines --flow '0.5 gpm' --tolerance '5 %'",
    "teach sweep --outlets 7" + "".join(f" --flow '{flow} gpm'" for flow in range(1, 8)),
    "teach compare", "teach case --seed 4 --groups 13 --key",
    "teach compare --opening 'circle 1-3/4 in' --opening 'notch 60 deg' --error 1/16",
]  # fmt: skip


@pytest.mark.everyday(8)
@pytest.mark.parametrize("words", LINES)
def test_every_line_fits_72_columns_and_holds_numbers(dbox, words):
    code, out, err = dbox(*shlex.split(words))
    assert (code, err) == (0, "")
    assert max(map(len, out.splitlines())) <= 72
    assert not {"nan", "inf"} & set(out.split())
