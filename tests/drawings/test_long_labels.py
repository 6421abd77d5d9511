"""Labels that are long, many or of other scripts: within their room on paper, never two alike."""

import json

import pytest
from matplotlib.text import Text

from dbox.drawings.level_picture import level_figure
from dbox.drawings.paper_parts import outlet_texts
from dbox.drawings.split_picture import split_figure
from dbox.drawings.style import SMALL, short_labels, text_width
from dbox.fieldwork.levelling import level
from dbox.fieldwork.shares import assess
from dbox.files.scenario import loads
from tests.report.test_shortened import NAMES


def twelve(names: list[str]):
    """A box of lines with such names; its sizes are invented."""
    outlets = ",\n".join(
        f"{{label = {json.dumps(name[:40], ensure_ascii=False)}, clock = '6:00', "
        f"reading = '{i % 5}/16 in', at = ['{4 + 6 * (i % 6)} in', '{20 * (i > 5)} in']}}"
        for i, name in enumerate(names)
    )
    return loads(
        "box = {inside = ['40 in', '20 in'], inlet = 'tee'}\n"
        "insert = {kind = 'circle', diameter = '2 in', offset = '1/2 in'}\n"
        "tolerance = {share = '10 %'}\nreadings = {spread = '1/32 in'}\n"
        f"outlet = [{outlets}]\nflows = {{trickle = '0.5 gpm', dose = '30 gpm'}}"
    )


@pytest.mark.everyday(8)
@pytest.mark.parametrize("kind", [k for k in NAMES if k != "joined"])
@pytest.mark.parametrize(("width", "most"), [(0.35, 1), (0.6, 2), (1.1, 1), (1.6, 2)])
def test_labels_keep_to_their_room_and_apart(kind, width, most):
    """Exact: what is to hold of them."""
    texts = short_labels(NAMES[kind], width, SMALL, "bold", most)
    assert len({*texts}) == len(NAMES[kind])
    lines = [line for text in texts for line in text.split("\n")]
    assert max(text_width(line, SMALL, "bold") for line in lines) <= width
    assert max(text.count("\n") for text in texts) < most


@pytest.mark.slow
@pytest.mark.parametrize("kind", ["many", "one word"])
def test_pictures_and_forms_name_twelve_outlets_apart(kind):
    """Exact: twelve names in each."""
    site = twelve(NAMES[kind])
    assert len({*outlet_texts(site)}) == 12
    levelling = level(site, samples=100)
    for figure in (split_figure(site, assess(site, samples=100)), level_figure(levelling)):
        words = [t.get_text() for t in figure.findobj(Text) if t.get_fontweight() == "bold"]
        named = [word for word in words if word.startswith(("north-west", "xxx", "…"))]
        assert len({*named}) == len(named) == 12
