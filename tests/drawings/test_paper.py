"""Every sheet can be read: no text on another, none off the page, none too small."""

import pytest

from tests.drawings import paper
from tests.drawings.cases import NAMES, level_drawn, split_drawn

LETTER, A4 = (8.5, 11.0), (8.27, 11.69)


def figure_of(kind, name):
    return (split_drawn if kind == "split" else level_drawn)(name)[1]


@pytest.mark.everyday(1)
@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("kind", ["split", "level"])
def test_every_word_can_be_read(kind, name):
    figure = figure_of(kind, name)
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.struck_through(figure) == []
    assert paper.smallest(figure) >= 8.0


@pytest.mark.everyday(1)
@pytest.mark.parametrize("kind", ["split", "level"])
def test_a_sheet_fits_letter_and_a4_unscaled(kind):
    sides = sorted(figure_of(kind, "two").get_size_inches())
    for sheet in (LETTER, A4):
        assert sides[0] <= sheet[0]
        assert sides[1] <= sheet[1]


@pytest.mark.parametrize("kind", ["split", "level"])
def test_colours_are_those_of_the_palette_and_letters_are_black_or_grey(kind):
    from matplotlib.colors import to_rgba
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch
    from matplotlib.text import Text

    from dbox.drawings.style import PALETTE

    figure = figure_of(kind, "twelve, two capped")
    colours = {to_rgba(line.get_color()) for line in figure.findobj(Line2D)}
    letters = {to_rgba(text.get_color()) for text in figure.findobj(Text)}
    for patch in figure.findobj(Patch):
        colours |= {to_rgba(patch.get_facecolor()), to_rgba(patch.get_edgecolor())}
    assert len(colours) > 2
    assert all(red == green == blue for red, green, blue, _ in letters)
    palette = {to_rgba(role.colour)[:3] for role in PALETTE}
    assert all(len({*colour[:3]}) == 1 or colour[:3] in palette for colour in colours)


def test_the_check_itself_finds_faults():
    """A page with one text on another, one off it, one struck through and one too small."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(4, 4))
    axes = figure.add_axes((0, 0, 1, 1))
    axes.set_axis_off()
    axes.text(0.2, 0.5, "under", fontsize=12)
    axes.text(0.22, 0.5, "over", fontsize=12)
    axes.text(0.9, 0.8, "over the edge of the page", fontsize=12)
    axes.text(0.2, 0.2, "tiny", fontsize=4)
    axes.plot([0.1, 0.9], [0.21, 0.21], label="leader 1")
    axes.set(xlim=(0, 1), ylim=(0, 1))
    assert paper.overlaps(figure) == [("under", "over")]
    assert paper.off_page(figure) == ["over the edge of the page"]
    assert paper.struck_through(figure) == [("leader 1", "tiny")]
    assert paper.smallest(figure) == 4.0
