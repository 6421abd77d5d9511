"""Whole files: all of it or nothing, and nothing of anybody else lost."""

import os
import stat
from pathlib import Path

import pytest

from dbox.errors import ScenarioError
from dbox.files.write_file import is_begun, put, write_file


class StoppedError(Exception):
    """Stands for whatever goes wrong."""


@pytest.fixture
def file(tmp_path: Path) -> Path:
    path = tmp_path / "box.toml"
    path.write_text("mine")
    return path


def test_nothing_is_replaced_unasked(file: Path):
    with pytest.raises(ScenarioError, match="is there already"):
        write_file(file, "yours")
    assert file.read_text() == "mine"
    write_file(file, "yours", overwrite=True)
    assert file.read_text() == "yours"
    assert [*file.parent.iterdir()] == [file]


@pytest.mark.parametrize(
    "content", [b"a\r\n\xff", "in \u00bd\n", lambda path: path.write_text("x")]
)
def test_the_bytes_are_those_given(tmp_path: Path, content):
    path = tmp_path / "f.txt"
    write_file(path, content)
    wanted = b"x" if callable(content) else content
    assert path.read_bytes() == (wanted.encode() if isinstance(wanted, str) else wanted)


@pytest.mark.parametrize("overwrite", [False, True])
@pytest.mark.parametrize("error", [StoppedError, OSError(28, "No space left"), KeyboardInterrupt])
def test_what_fails_half_way_leaves_all_as_it_was(file: Path, overwrite, error):
    path = file if overwrite else file.with_name("new.toml")

    def half(aside: Path) -> None:
        assert aside.suffix == path.suffix
        assert aside.parent == path.parent
        aside.write_text("half of")
        raise error

    with pytest.raises(ScenarioError if isinstance(error, OSError) else error):
        write_file(path, half, overwrite=overwrite)
    assert [*file.parent.iterdir()] == [file]
    assert file.read_text() == "mine"


def test_what_comes_while_it_is_written_stays(tmp_path: Path):
    path = tmp_path / "new.toml"
    with pytest.raises(ScenarioError, match="is there already"):
        write_file(path, lambda _: path.write_text("theirs"))
    assert path.read_text() == "theirs"
    assert [*tmp_path.iterdir()] == [path]


@pytest.mark.parametrize("aim", ["box.toml", "not there"])
def test_a_link_is_something_that_is_there(file: Path, aim):
    link = file.with_name("link.toml")
    link.symlink_to(file.with_name(aim))
    with pytest.raises(ScenarioError, match="is there already"):
        write_file(link, "yours")
    write_file(link, "yours", overwrite=True)
    assert link.is_symlink()
    assert file.with_name(aim).read_text() == "yours"


@pytest.mark.skipif(os.name == "nt", reason="of other systems")
def test_a_file_has_the_rights_that_it_had_or_that_new_ones_get(file: Path):
    file.chmod(0o640)
    write_file(file, "yours", overwrite=True)
    assert stat.S_IMODE(file.stat().st_mode) == 0o640
    before = os.umask(0o027)
    try:
        write_file(file.with_name("new"), "")
    finally:
        os.umask(before)
    assert stat.S_IMODE(file.with_name("new").stat().st_mode) == 0o640


@pytest.mark.skipif(os.name == "nt", reason="of other systems")
def test_what_is_no_file_is_not_replaced(tmp_path: Path):
    pipe = tmp_path / "pipe.png"
    os.mkfifo(pipe)
    with pytest.raises(ScenarioError, match="is no file that may be replaced"):
        write_file(pipe, b"", overwrite=True)
    assert stat.S_ISFIFO(pipe.stat().st_mode)


@pytest.mark.parametrize("links", [True, False])
def test_new_files_replace_none_where_files_have_one_name_too(tmp_path, monkeypatch, links):
    """A memory stick knows no second names for a file."""

    def no_links(*_: object) -> None:
        raise PermissionError(1, "Operation not permitted")

    if not links:
        monkeypatch.setattr("os.link", no_links)
    path = tmp_path / "new"
    write_file(path, "one")
    aside = tmp_path / "aside"
    aside.write_text("two")
    with pytest.raises(FileExistsError):
        put(aside, path)
    assert (path.read_text(), aside.read_text()) == ("one", "two")


def test_a_step_cut_short_by_a_kill_is_finished(tmp_path: Path):
    """A kill between the two halves of it leaves one file under both names."""
    aside, path = tmp_path / "aside", tmp_path / "new"
    aside.write_text("one")
    os.link(aside, path)
    put(aside, path)
    assert [*tmp_path.iterdir()] == [path]
    assert path.read_text() == "one"


@pytest.mark.parametrize(
    ("there", "begun"),
    [("", True), ("ab", True), ("abc", True), ("abd", False), ("abcd", False)],
)
def test_what_a_kill_has_left_is_the_beginning(tmp_path: Path, there, begun):
    path = tmp_path / "f"
    path.write_text(there)
    assert is_begun(path, b"abc") is begun
    assert not is_begun(tmp_path / "none", b"abc")
