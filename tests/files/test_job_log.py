"""The log of a job: no answer is lost, whatever happens to the process or the disk."""

import contextlib
import json
import os
import random
import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.files.job_log import MOST_BYTES, JobLog, log_path, read_log

ROOT = Path(__file__).parents[2]


def answer(number: int) -> dict:
    return {"event": "read", "at": "09:00", "outlet": str(number), "readings_m": [0.001 * number]}


def written(path: Path, count: int) -> None:
    with JobLog(path, "09:00") as log:
        for number in range(count):
            log.append(answer(number))


def answers(entries: list[dict]) -> list[dict]:
    return [entry for entry in entries if entry["event"] != "opened"]


def run(code: str, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-c", textwrap.dedent(code), *arguments],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip


def test_every_event_comes_back_in_order(tmp_path: Path):
    path = log_path(tmp_path / "box.toml")
    written(path, 3)
    assert answers(read_log(path)) == [answer(n) for n in range(3)]
    with JobLog(path, "10:00") as log:
        assert answers(log.entries) == [answer(n) for n in range(3)]
        assert log.torn is None
    assert all(json.loads(line) for line in path.read_text().splitlines())


def test_no_log_is_an_empty_one(tmp_path: Path):
    assert read_log(tmp_path / "none.log.jsonl") == []


def test_an_event_is_on_the_disk_before_append_returns(tmp_path: Path, monkeypatch):
    flushed: list[bytes] = []
    path = tmp_path / "log"
    fsync = os.fsync

    def spy(descriptor: int) -> None:
        fsync(descriptor)
        flushed.append(path.read_bytes())

    with JobLog(path, "09:00") as log:
        monkeypatch.setattr(os, "fsync", spy)
        log.append(answer(1))
        assert flushed[-1].splitlines()[-1] == json.dumps({"n": 2, **answer(1)}).encode()


@pytest.mark.parametrize("every", [9, pytest.param(1, marks=pytest.mark.slow)])
def test_cut_anywhere_it_goes_on_with_every_complete_event(tmp_path: Path, every: int):
    """A kill or a power cut can leave any part of the last line.

    Everyday the cuts beside each newline and one byte in nine, in the slow test every byte.
    """
    whole_path = tmp_path / "whole"
    written(whole_path, 3)
    whole = whole_path.read_bytes()
    ends = [i + beside for i, byte in enumerate(whole) if byte == 10 for beside in (-1, 0, 1, 2)]
    cuts = {*ends, *range(0, len(whole), every)}
    for cut in sorted(cut for cut in cuts if cut <= len(whole)):
        path = tmp_path / f"cut{cut}"
        path.write_bytes(whole[:cut])
        complete, _, rest = whole[:cut].rpartition(b"\n")
        lines = complete.splitlines()
        # the last line may be all there but for its newline
        if rest and whole[cut : cut + 1] == b"\n":
            lines, rest = [*lines, rest], b""
        numbered = [json.loads(line) for line in lines]
        assert [entry.pop("n") for entry in numbered] == [*range(1, len(numbered) + 1)]
        expected = numbered
        assert read_log(path) == expected
        with JobLog(path, "10:00") as log:
            assert log.entries[:-1] == expected
            log.append(answer(9))
            aside = log.torn
        assert (aside is None) == (rest == b"")
        if aside is not None:
            assert aside.read_bytes() == rest + b"\n"
        assert read_log(path)[:-2] == expected
        assert read_log(path)[-1] == answer(9)


def test_torn_pieces_are_all_kept(tmp_path: Path):
    path = tmp_path / "log"
    written(path, 1)
    for piece in (b'{"event": "re', b"\0\0\0\0", b'"'):
        with path.open("ab") as file:
            file.write(piece)
        with JobLog(path, "10:00") as log:
            aside = log.torn
    assert aside.read_bytes() == b'{"event": "re\n\0\0\0\0\n"\n'
    assert answers(read_log(path)) == [answer(0)]


@pytest.mark.parametrize(
    "line", [b"reading 1/8", b"[]", b"1", b'{"at": "09:00"}', b'{"event": 3}', b"{" * 5000,
             b'{"event": NaN}', b"\xff\xfe", b'{"event": "read"'],
    ids=lambda line: repr(line[:16]),
)  # fmt: skip
def test_a_complete_line_that_is_no_event_is_refused_by_its_number(tmp_path: Path, line):
    path = tmp_path / "log"
    written(path, 2)
    good = path.read_bytes()
    path.write_bytes(good + line + b"\n" + good)
    with pytest.raises(ScenarioError, match="line 4 is "):
        read_log(path)
    with pytest.raises(ScenarioError, match="line 4 is "):
        JobLog(path, "10:00")
    assert path.read_bytes() == good + line + b"\n" + good


def test_a_line_taken_out_doubled_or_moved_is_told_by_its_number(tmp_path: Path):
    """Exact: each way there is to do one of these to a log of five lines, but for its last one."""
    path = tmp_path / "log"
    written(path, 4)
    good = path.read_bytes().splitlines(keepends=True)
    hurt = {}
    for i in range(4):
        hurt["lost", i] = i, [*good[:i], *good[i + 1 :]]
    for i in range(5):
        hurt["doubled", i] = i + 1, [*good[: i + 1], *good[i:]]
        for j in range(i + 1, 5):
            swapped = [*good]
            swapped[i], swapped[j] = good[j], good[i]
            hurt["swapped", i, j] = i, swapped
    for what, (place, lines) in hurt.items():
        path.write_bytes(b"".join(lines))
        for opens in (read_log, lambda place: JobLog(place, "10:00")):
            with pytest.raises(ScenarioError, match=f"line {place + 1} is number"):
                opens(path)
        assert path.read_bytes() == b"".join(lines), what


def test_blank_lines_say_nothing_and_lines_of_earlier_versions_bear_no_number(tmp_path: Path):
    path = tmp_path / "log"
    path.write_text("".join(json.dumps(answer(n)) + "\n\n \n" for n in range(2)))
    with JobLog(path, "10:00") as log:
        log.append(answer(2))
    assert answers(read_log(path)) == [answer(n) for n in range(3)]
    numbers = [json.loads(line).get("n") for line in path.read_text().split("\n") if line.strip()]
    assert numbers == [None, None, 3, 4]


def test_a_damaged_log_is_read_or_refused_and_never_more(tmp_path: Path):
    path = tmp_path / "log"
    written(path, 4)
    good, rng = path.read_bytes(), random.Random(7)
    for _ in range(300):
        damaged = bytearray(good)
        for _ in range(rng.randint(1, 4)):
            damaged[rng.randrange(len(damaged))] = rng.randrange(256)
        path.write_bytes(damaged)
        with contextlib.suppress(ScenarioError), JobLog(path, "10:00") as log:
            assert all(isinstance(entry["event"], str) for entry in log.entries)


def test_a_second_job_is_refused_and_told_which_process_has_it(tmp_path: Path):
    path = tmp_path / "log"
    code = """
        import sys
        from pathlib import Path
        from dbox.files.job_log import JobLog
        JobLog(Path(sys.argv[1]), "10:00")
    """
    with JobLog(path, "09:00") as log:
        log.append(answer(1))
        other = run(code, str(path))
        assert f"process {os.getpid()} has this job open" in other.stderr
        with pytest.raises(ScenarioError, match="open"):
            JobLog(path, "10:00")
        log.append(answer(2))
    assert run(code, str(path)).returncode == 0
    assert answers(read_log(path)) == [answer(1), answer(2)]


def test_a_killed_process_leaves_the_log_free(tmp_path: Path):
    path = tmp_path / "log"
    code = """
        import os, signal, sys
        from pathlib import Path
        from dbox.files.job_log import JobLog
        log = JobLog(Path(sys.argv[1]), "10:00")
        log.append({"event": "kept"})
        os.kill(os.getpid(), signal.SIGKILL)
    """
    assert run(code, str(path)).returncode == -9
    with JobLog(path, "11:00") as log:
        assert answers(log.entries) == [{"event": "kept"}]


@pytest.mark.everyday(1)
@pytest.mark.skipif(sys.platform == "win32", reason="limits a file's size as POSIX does")
@pytest.mark.parametrize("room", [1, 40, 89])
def test_a_full_disk_loses_nothing_and_says_so(tmp_path: Path, room):
    """A limit on the size of a file fails a write half-way, as a full disk does."""
    path = tmp_path / "log"
    written(path, 2)
    before = path.read_bytes()
    code = """
        import resource, sys
        from pathlib import Path
        from dbox.errors import ScenarioError
        from dbox.files.job_log import JobLog
        path, room = Path(sys.argv[1]), int(sys.argv[2])
        log = JobLog(path, "10:00")
        size = path.stat().st_size
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + room, size + room))
        for _ in range(2):
            try:
                log.append({"event": "read", "typed": "x" * 100})
            except ScenarioError as error:
                print(error)
        assert path.stat().st_size == size
    """
    full = run(code, str(path), str(room))
    assert full.stderr == ""
    assert full.stdout.count("the last step cannot be kept (File too large)") == 2
    assert path.read_bytes().startswith(before)
    with JobLog(path, "11:00") as log:
        assert log.torn is None
        assert answers(log.entries) == [answer(0), answer(1)]


def test_a_log_that_cannot_be_written_says_where(tmp_path: Path):
    with pytest.raises(ScenarioError, match=r"cannot be written \(No such file"):
        JobLog(tmp_path / "nowhere" / "log", "09:00")
    (tmp_path / "folder").mkdir()
    with pytest.raises(ScenarioError, match="cannot be written"):
        JobLog(tmp_path / "folder", "09:00")


def test_a_huge_file_is_no_log(tmp_path: Path):
    path = tmp_path / "log"
    path.write_bytes(b"\n" * (MOST_BYTES + 1))
    with pytest.raises(ScenarioError, match="bigger"):
        read_log(path)
