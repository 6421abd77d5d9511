"""The summary of a list: bars that add up, words apart, and nothing off the paper."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.patches import Rectangle

from dbox.drawings.batch_picture import batch_figure, whole_percents
from dbox.drawings.style import MOST_FLOWS
from dbox.fieldwork.many_boxes import EDGES, Tally
from dbox.fieldwork.site import Flow
from tests.drawings import paper


def tally_of(verdicts, flows, refused=0):
    """A tally with these verdicts at every flow, the worst lines spread over all bins."""
    counts = np.array(verdicts)
    worst = np.zeros((flows, EDGES.size - 1), np.int64)
    worst[:] = np.random.default_rng(0).multinomial(
        counts.sum(), np.full(len(EDGES) - 1, 1 / (len(EDGES) - 1))
    )
    return Tally(
        verdicts=counts,
        by_flow=np.tile(counts, (flows, 1)),
        worst=worst,
        work=np.zeros(5, np.int64),
        inlet=np.zeros(1, np.int64),
        refused=np.array([refused]),
    )


def flows(count, name="a flow with quite a long name {}"):
    return tuple(Flow(name=name.format(i), inflow=1e-4 * (i + 1)) for i in range(count))


CASES = {
    "three flows": (flows(3, "flow {}"), tally_of([1000, 500, 20], 3, refused=12)),
    "more flows than are drawn": (flows(8), tally_of([1, 1, 1], 8)),
    "all outside": (flows(1), tally_of([0, 999_999, 1], 1)),
    "no box at all": (flows(2), tally_of([0, 0, 0], 2, refused=3)),
}


@pytest.mark.everyday(1)
@pytest.mark.parametrize("case", CASES)
def test_words_lie_apart_and_on_the_page(case):
    figure = batch_figure(*CASES[case])
    assert paper.overlaps(figure) == []
    assert paper.off_page(figure) == []


@pytest.mark.slow
def test_bars_are_parts_of_the_boxes():
    figure = batch_figure(*CASES["three flows"])
    bars = next(axes for axes in figure.axes if len(axes.patches) == 12)
    widths = [bar.get_width() for bar in bars.patches if isinstance(bar, Rectangle)]
    np.testing.assert_allclose(widths, np.tile(np.array([1000, 500, 20]) / 1520, 4))


@given(st.lists(st.integers(0, 10**6), min_size=3, max_size=3).filter(sum))
def test_percentages_add_up_and_none_is_a_whole_one_off(counts):
    parts = np.array(whole_percents(np.array(counts)))
    assert parts.sum() == 100
    assert np.all(np.abs(parts - 100 * np.array(counts) / sum(counts)) < 1.0)


def test_counts_stand_beside_percentages():
    said = paper.texts(batch_figure(*CASES["three flows"]))
    assert {"1,000 (66 %)", "500 (33 %)"} <= set(said)
    assert any(text.startswith("500 of 1,520 boxes outside tolerance") for text in said)


@pytest.mark.slow
def test_flows_beyond_those_drawn_are_named():
    figure = batch_figure(*CASES["more flows than are drawn"])
    said = " ".join(text.get_text() for text in paper.words(figure))
    assert f"{8 - MOST_FLOWS} more flows are in the results only" in said
