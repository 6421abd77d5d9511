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


@pytest.mark.everyday(1)
@pytest.mark.parametrize("suffix", SUFFIXES)
def test_the_suffix_says_the_kind(figure, tmp_path, suffix):
    path = tmp_path / f"split{suffix.upper()}"
    save(figure, path)
    assert path.read_bytes().startswith(BEGINS[suffix])


@pytest.mark.slow
def test_the_same_box_gives_the_same_bytes_on_any_day(tmp_path, monkeypatch):
    for day in ("1000000000", "1700000000"):
        monkeypatch.setenv("SOURCE_DATE_EPOCH", day)
        save(level_figure(level(box(3), samples=50)), tmp_path / f"{day}-level.svg")
        figure = split_figure(box(3), assess(box(3), samples=50))
        for suffix in SUFFIXES:
            save(figure, tmp_path / f"{day}{suffix}")
    for name in ("-level.svg", *SUFFIXES):
        one, other = (
            (tmp_path / f"{day}{name}").read_bytes() for day in ("1000000000", "1700000000")
        )
        assert one == other
        assert b"2001" not in one[:2000]
        assert b"CreationDate" not in one


@pytest.mark.parametrize("name", ["split.jpg", "split", "split.png.txt", ".png"])
def test_other_kinds_are_refused_by_name(figure, tmp_path, name):
    with pytest.raises(ScenarioError, match=r"write \.png, \.pdf or \.svg"):
        save(figure, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_a_picture_can_be_refused_before_it_is_computed(tmp_path):
    path, folder = tmp_path / "split.png", tmp_path / "x.png"
    assert check_picture(tmp_path / "new.svg") == tmp_path / "new.svg"
    path.write_text("a photograph")
    folder.mkdir()
    for refused, words in (
        (path, "is there already"),
        (folder, "is a folder"),
        (tmp_path / "none" / "x.png", "there is no folder"),
    ):
        with pytest.raises(ScenarioError, match=words):
            check_picture(refused)
    assert path.read_text() == "a photograph"


def test_a_failed_drawing_leaves_no_file(figure, tmp_path, monkeypatch):
    def fail(*_args, **_kwargs):
        raise RuntimeError("no more paper")

    monkeypatch.setattr(figure, "savefig", fail)
    with pytest.raises(RuntimeError, match="no more paper"):
        save(figure, tmp_path / "half.png")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.slow
def test_a_reader_s_own_settings_change_nothing(tmp_path):
    import matplotlib

    save(split_figure(box(3), assess(box(3), samples=50)), tmp_path / "plain.png")
    theirs = {"font.size": 20, "font.family": ["serif"], "axes.grid": True, "lines.linewidth": 5}
    with matplotlib.rc_context(theirs):
        save(split_figure(box(3), assess(box(3), samples=50)), tmp_path / "theirs.png")
    assert (tmp_path / "plain.png").read_bytes() == (tmp_path / "theirs.png").read_bytes()
