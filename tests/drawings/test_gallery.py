"""Every picture, page and film of every command can be read: six boxes, all that they draw."""

import pytest
from matplotlib.figure import Figure

from tests.drawings import gallery, paper

POINTS, DOTS = 8.0, 14.0
"""Least size of letters on paper [pt] and in films [dots]. (judgement)"""


@pytest.fixture(scope="module", params=gallery.BOXES)
def bench(request, tmp_path_factory) -> tuple[str, gallery.Bench]:
    """The files of one box."""
    return request.param, gallery.Bench(request.param, tmp_path_factory.mktemp("gallery"))


def faults(figure: Figure, name: str) -> list[str]:
    """What cannot be read."""
    found = [f"{one!r} lies on {other!r}" for one, other in paper.overlaps(figure)]
    found += [f"{text!r} leaves the page" for text in paper.off_page(figure)]
    least, unit = (DOTS, figure.dpi / 72) if name in gallery.FILMS else (POINTS, 1.0)
    size = unit * paper.smallest(figure)
    if size < least - 1e-9:
        found.append(f"letters of {size:.1f}, under {least:g}")
    return found


def says_invented(figure: Figure) -> bool:
    """Whether it says that its data are invented."""
    return any("invented" in text.lower() for text in paper.texts(figure))


@pytest.mark.slow
@pytest.mark.parametrize("name", gallery.NAMES)
def test_all_that_is_drawn_can_be_read(bench, name):
    box, files = bench
    if (box, name) not in gallery.wanted():
        pytest.skip("hangs on no box, and is looked at with the first")
    told, invented = {}, []
    for page, figure in enumerate(files.figures(name), start=1):
        paper.words.cache_clear()
        if found := faults(figure, name):
            told[page] = found
        invented.append(says_invented(figure))
    assert told == {}
    if name not in gallery.NO_DATA:
        # a film says it once, a page or picture each for itself
        assert any(invented) if name in gallery.FILMS else all(invented)


def test_every_command_that_draws_is_in_the_gallery():
    from typer.main import get_command

    from dbox_cli.main import app

    drawn = set()
    ahead = [((), get_command(app))]
    while ahead:
        path, command = ahead.pop()
        for name, each in getattr(command, "commands", {}).items():
            ahead.append(((*path, name), each))
        options = {option for p in command.params for option in p.opts}
        if "--picture" in options or (path and path[0] in ("sheet", "surge")):
            drawn.add(" ".join(path))
    lines = [words.split() for words in gallery.COMMANDS.values()]
    assert drawn
    assert all(any(line[: len(d.split())] == d.split() for line in lines) for d in drawn)
