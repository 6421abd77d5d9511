"""The files of boxes in series: found beside the first, and every fault named where it stands."""

import pytest

from dbox.errors import ScenarioError
from dbox.fieldwork.shares import target_shares
from dbox.files.scenario import load, loads

HEAD = 'insert = {kind = "circle", diameter = "2 in"}\n'
LINES = '[[outlet]]\nreading = "0 in"\nline_length = "40 ft"\n' * 2


def feeding(*files):
    """A scenario whose first outlets feed the boxes of some files; its last one a line."""
    fed = "".join(f'[[outlet]]\nreading = "0 in"\nfeeds = "{file}"\n' for file in files)
    return f'{HEAD}{fed}[[outlet]]\nreading = "0 in"\nline_length = "80 ft"\n'


@pytest.fixture
def folder(tmp_path):
    """Writes scenario files by name, and gives the path of the first."""

    def write(**texts):
        for name, text in texts.items():
            (tmp_path / f"{name}.toml").write_text(text)
        return tmp_path / f"{next(iter(texts))}.toml"

    return write


def faults(path):
    with pytest.raises(ScenarioError) as caught:
        load(path)
    return caught.value.faults


def test_a_fed_box_is_found_beside_its_file(folder, tmp_path, monkeypatch):
    path = folder(top=feeding("under/next.toml"))
    (tmp_path / "under").mkdir()
    (tmp_path / "under/next.toml").write_text(f'title = "Next"\n{HEAD}{LINES}')
    monkeypatch.chdir("/")
    outlet, line = load(path).outlets
    assert outlet.feeds.title == "Next"
    assert line.feeds is None


def test_lines_behind_add_up_to_the_length_of_what_feeds_them(folder):
    """Exact: 40 + 40 ft behind, so targets by length are half and half."""
    path = folder(top=f'{feeding("next.toml")}[target]\nby = "length"\n', next=HEAD + LINES)
    site = load(path)
    assert site.outlets[0].line_length == pytest.approx(80 * 0.3048)
    assert target_shares(site) == pytest.approx([0.5, 0.5])


def test_water_comes_through_the_header_of_the_outlet(folder):
    header = '[header]\nlength = "12 ft"\ndiameter = "3 in"\n'
    site = load(folder(top=feeding("next.toml") + header, next=HEAD + LINES))
    assert site.outlets[0].feeds.works.supply == site.works.headers[0]


@pytest.mark.parametrize(
    ("texts", "said"),
    [
        ({"top": feeding("none.toml")}, 'outlet[1].feeds is "none.toml"; there is no file '),
        ({"top": feeding("top.toml")}, 'outlet[1].feeds is "top.toml", this file itself; '),
        ({"top": feeding("next.toml"), "next": feeding("top.toml")},
         'next.toml: outlet[1].feeds is "top.toml", a box that this one is fed by; '),
        ({"top": feeding("next.toml", "next.toml"), "next": HEAD + LINES},
         'outlet[2].feeds is "next.toml", which outlet[1].feeds of top.toml feeds too; '),
        ({"top": feeding("a.toml", "b.toml"), "a": feeding("b.toml"), "b": HEAD + LINES},
         'outlet[2].feeds is "b.toml", which outlet[1].feeds of a.toml feeds too; '),
        ({"top": feeding("a.toml"), "a": feeding("b.toml"), "b": feeding("c.toml"),
          "c": feeding("d.toml"), "d": HEAD + LINES},
         'c.toml: outlet[1].feeds is "d.toml", box 5 of a row; at most 4 may stand '),
        ({"top": feeding("next.toml"), "next": HEAD + LINES.replace("0 in", "x in")},
         'next.toml: outlet[2].reading is "x in"; '),
        ({"top": feeding("next.toml") + "[trench]\n", "next": HEAD}, "there are no outlets; "),
        ({"top": feeding("next.toml").replace("feeds", 'trench = {width = "2 ft"}\nfeeds', 1),
          "next": HEAD + LINES}, "outlet[1].trench is of an outlet that feeds another box; "),
        ({"top": feeding(".")}, "is a folder; "),
        ({"top": feeding("\\u0000")}, "outlet[1].feeds is "),
        ({"top": feeding("x" * 190)}, "there is no file "),
    ],
    ids=["missing", "itself", "ring", "twice", "twice, below", "deep", "faults", "empty", "trench",
         "folder", "no path", "long"],
)  # fmt: skip
def test_what_cannot_be_is_named(folder, texts, said):
    path = folder(**texts)
    told = faults(path)
    assert any(said in each for each in told)
    assert all(each.startswith(f"{path}: ") for each in told)


def test_a_row_of_four_is_none_too_many(folder):
    path = folder(top=feeding("a.toml"), a=feeding("b.toml"), b=feeding("c.toml"), c=HEAD + LINES)
    third = load(path).outlets[0].feeds.outlets[0].feeds
    assert third.outlets[0].feeds.outlets[0].feeds is None


def test_a_text_without_a_file_looks_in_the_present_folder(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "next.toml").write_text(HEAD + LINES)
    assert len(loads(feeding("next.toml")).outlets[0].feeds.outlets) == 2


def test_a_label_that_a_line_behind_another_outlet_has_is_a_fault(folder):
    path = folder(top=feeding("next.toml") + '[[outlet]]\nlabel = "1/2"\nreading = 0\n',
                  next=HEAD + LINES)  # fmt: skip
    (fault,) = faults(path)
    assert 'outlet[3].label is "1/2", as a line of a box behind is called' in fault
