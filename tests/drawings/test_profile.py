"""The profile of the pipes: what is drawn is what was read, with units."""

import numpy as np
import pytest

from dbox.drawings.answers import grades_figure
from dbox.fieldwork.grades import grade
from dbox.files.scenario import load, resolve
from tests.drawings import paper


@pytest.fixture(scope="module")
def drawn():
    site = load(resolve("full-job"))
    grading = grade(site)
    return grading, grades_figure(site.title, grading)


def test_every_run_has_a_panel_with_its_heights_in_inches(drawn):
    grading, figure = drawn
    assert len(figure.axes[1:]) == len(grading.runs)
    for axes, found in zip(figure.axes[1:], grading.runs, strict=True):
        at, height = axes.lines[0].get_data()
        assert at == pytest.approx((found.at - found.at[0]) / 0.3048)
        assert height == pytest.approx((found.height - found.height[0]) / 0.0254)
        sign, word = {"within": ("=", "enough"), "cannot tell": ("?", "cannot tell")}[found.verdict]
        assert f"{sign} {found.run.name}: {word}" in paper.texts(figure)
    assert any("in over its start, against ft along it" in text for text in paper.texts(figure))


def test_the_dashed_line_falls_as_the_limit_asks(drawn):
    grading, figure = drawn
    for axes, found in zip(figure.axes[1:], grading.runs, strict=True):
        dashed = [line for line in axes.lines if line.is_dashed()]
        assert len(dashed) == 1
        at, height = (np.asarray(values) for values in dashed[0].get_data())
        # a fall of 1 in in 100 in is 0.12 in per ft
        assert height == pytest.approx(-12 * found.limit.value * at)


def test_what_sags_has_a_ring(drawn):
    grading, figure = drawn
    for axes, found in zip(figure.axes[1:], grading.runs, strict=True):
        rings = [line for line in axes.lines if line.get_fillstyle() == "none"]
        assert len(rings) == int(found.belly.any())
    supply = figure.axes[2]
    (ring,) = (line for line in supply.lines if line.get_fillstyle() == "none")
    assert ring.get_xdata() == pytest.approx([18])


def test_it_can_be_read_and_says_that_it_is_invented(drawn):
    _, figure = drawn
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []
    assert paper.smallest(figure) >= 8.0
    assert any("invented" in text for text in paper.texts(figure))
