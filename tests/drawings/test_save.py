"""A picture is written whole, the same on any day, and never over another unasked."""

import pytest

from dbox.drawings.level_picture import level_figure
from dbox.drawings.split_picture import split_figure
from dbox.drawings.style import SUFFIXES, check_picture, save
from dbox.errors import ScenarioError
from dbox.fieldwork.levelling import level
from dbox.fieldwork.shares import assess
from tests.drawings.cases import box

BEGINS = {".png": b"\x89PNG\r\n", ".pdf": b"%PDF-", ".svg": b"<?xml"}


@pytest.fixture(scope="module")
def figure():
    return split_figure(box(3), assess(box(3), samples=50))


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_the_suffix_says_the_kind(figure, tmp_path, suffix):
    path = tmp_path / f"split{suffix.upper()}"
    save(figure, path)
    assert path.read_bytes().startswith(BEGINS[suffix])


@pytest.mark.parametrize("kind", ["split", "level"])
def test_the_same_box_gives_the_same_bytes(kind, tmp_path, monkeypatch):
    for day in ("1000000000", "1700000000"):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", day)
        if kind == "split":
            figure = split_figure(box(3), assess(box(3), samples=50))
        else:
            figure = level_figure(level(box(3), samples=50))
        for suffix in SUFFIXES:
            save(figure, tmp_path / f"{day}{suffix}")
    for suffix in SUFFIXES:
        one, other = ((tmp_path / f"{day}{suffix}").read_bytes()
                      for day in ("1000000000", "1700000000"))  # fmt: skip
        assert one == other
        assert b"2001" not in one[:2000]
        assert b"CreationDate" not in one


@pytest.mark.parametrize("name", ["split.jpg", "split", "split.png.txt", ".png"])
def test_other_kinds_are_refused_by_name(figure, tmp_path, name):
    with pytest.raises(ScenarioError, match=r"write \.png, \.pdf or \.svg"):
        save(figure, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_nothing_is_replaced_unless_told(figure, tmp_path):
    path = tmp_path / "split.png"
    path.write_text("a photograph")
    with pytest.raises(ScenarioError, match="is there already"):
        save(figure, path)
    assert path.read_text() == "a photograph"
    save(figure, path, overwrite=True)
    assert path.read_bytes().startswith(BEGINS[".png"])


def test_a_folder_is_no_picture(figure, tmp_path):
    folder = tmp_path / "x.png"
    folder.mkdir()
    with pytest.raises(ScenarioError, match="is a folder"):
        save(figure, folder, overwrite=True)
    with pytest.raises(ScenarioError, match="there is no folder"):
        save(figure, tmp_path / "none" / "x.png")


def test_a_picture_can_be_refused_before_it_is_computed(tmp_path):
    assert check_picture(tmp_path / "new.svg") == tmp_path / "new.svg"
    with pytest.raises(ScenarioError):
        check_picture(tmp_path / "new.gif")


def test_a_failed_drawing_leaves_no_file(figure, tmp_path, monkeypatch):
    def fail(*_args, **_kwargs):
        raise RuntimeError("no more paper")

    monkeypatch.setattr(figure, "savefig", fail)
    with pytest.raises(RuntimeError, match="no more paper"):
        save(figure, tmp_path / "half.png")
    assert list(tmp_path.iterdir()) == []


def test_a_reader_s_own_settings_change_nothing(tmp_path):
    import matplotlib

    save(split_figure(box(3), assess(box(3), samples=50)), tmp_path / "plain.png")
    theirs = {"font.size": 20, "font.family": ["serif"], "axes.grid": True, "lines.linewidth": 5}
    with matplotlib.rc_context(theirs):
        save(split_figure(box(3), assess(box(3), samples=50)), tmp_path / "theirs.png")
    assert (tmp_path / "plain.png").read_bytes() == (tmp_path / "theirs.png").read_bytes()
