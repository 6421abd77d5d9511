"""Pictures of a pour and of a diagnosis: bars are the numbers, catches look as they were judged."""

from functools import cache

import numpy as np
import pytest
from matplotlib.patches import Rectangle

import dbox
from dbox.drawings.style import OVER, UNDER, WITHIN
from dbox.report.text import chance_text
from dbox.units import GALLON, MINUTE
from tests.drawings import paper


@cache
def pour():
    answer = dbox.pour(dbox.load("pour-test"))
    return answer, answer.plot()


def test_bars_and_catches_are_those_of_the_pour_in_the_unit_of_the_job():
    answer, figure = pour()
    found, scale = answer.result, GALLON / MINUTE
    for case, axes in enumerate(figure.axes[1:]):
        bars = [bar.get_height() for bar in axes.patches if isinstance(bar, Rectangle)]
        assert bars == pytest.approx(found.result.flow[case] / scale)
        for i, outlet in enumerate(found.site.outlets):
            (mark,) = (m for m in axes.lines if m.get_label() == f"caught {outlet.label}")
            assert mark.get_ydata()[0] == pytest.approx(found.caught[case, i] / scale)
            # below, within and above the band, told by shape as well as by colour
            low, high = found.low[case, i], found.high[case, i]
            role, shape = {-1: (UNDER, "v"), 0: (WITHIN, "D"), 1: (OVER, "^")}[
                int(found.stands[case, i])
            ]
            assert (mark.get_color(), mark.get_marker()) == (role.colour, shape)
            if role is not WITHIN:
                assert not low <= found.caught[case, i] <= high


def test_the_finding_of_a_pour_is_its_title():
    answer, figure = pour()
    words = " ".join(" ".join(paper.texts(figure)).split())
    assert answer.headline.split(". ")[0] in words
    assert answer.site.title in words
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.smallest(figure) >= 8.0


def test_a_diagnosis_draws_its_leading_causes_and_says_what_the_others_come_to():
    answer = dbox.diagnose(dbox.load("wet-line"), draws=20)
    figure = answer.plot()
    bars = [b for axes in figure.axes[1:] for b in axes.patches if isinstance(b, Rectangle)]
    chances = np.array([bar.get_width() / 100 for bar in bars])
    assert np.all(np.diff(chances) <= 0)
    words = paper.texts(figure)
    assert {chance_text(float(chance)) for chance in chances} <= set(words)
    rest = chance_text(max(1.0 - float(chances.sum()), 0.0))
    assert any(f"all other causes together: {rest}" in text for text in words)
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
