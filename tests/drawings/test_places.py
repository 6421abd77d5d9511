"""Cards keep their distance, their order round the box, and the page."""

from itertools import combinations, pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.drawings.level_picture import shared_out
from dbox.drawings.style import spread_out, text_width, wrap
from dbox.errors import DomainError
from tests.drawings import paper
from tests.drawings.cases import NAMES, level_drawn, sites

WISHES = st.lists(st.floats(-5, 15), min_size=1, max_size=20)
TEXTS = st.text(st.characters(min_codepoint=32, max_codepoint=126), max_size=60)


@given(WISHES)
def test_spread_out_keeps_distance_order_and_limits(wishes):
    placed = spread_out(wishes, 0.5, 0.0, 10.0)
    assert min(placed) >= -1e-12
    assert max(placed) <= 10.0 + 1e-12
    in_order = [placed[i] for i in np.argsort(wishes, kind="stable")]
    assert all(np.diff(in_order) >= 0.5 - 1e-9)


@given(st.lists(st.integers(0, 19), min_size=1, max_size=9, unique=True))
def test_what_has_room_is_not_moved(steps):
    wishes = [float(step) for step in steps]
    assert spread_out(wishes, 0.5, 0.0, 20.0) == wishes


@given(st.lists(st.integers(0, 12), min_size=3, max_size=3),
       st.lists(st.integers(0, 12), min_size=3, max_size=3))  # fmt: skip
def test_cards_are_shared_out_without_loss(counts, room):
    if sum(counts) > sum(room):
        with pytest.raises(DomainError, match="room for"):
            shared_out(counts, room)
        return
    shared = shared_out(counts, room)
    assert sum(shared) == sum(counts)
    assert all(s <= r for s, r in zip(shared, room, strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_leaders_do_not_cross(name):
    _, figure = level_drawn(name)
    leaders = [ln for ln in paper.lines(figure) if str(ln.get_label()).startswith("leader ")]
    assert len(leaders) == len(sites()[name].outlets)
    pieces = []
    for leader in leaders:
        points = leader.get_xydata()
        # the last piece lies under a face and is not seen
        pieces += [(leader.get_label(), *ends) for ends in pairwise(points[:-1])]
    crossing = {
        (one, other)
        for (one, a, b), (other, c, d) in combinations(pieces, 2)
        if one != other and crosses(a, b, c, d)
    }
    assert crossing == set()


def crosses(a, b, c, d):
    """Whether the pieces a-b and c-d cross."""

    def side(p, q, r):
        return np.sign((q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0]))

    return side(a, b, c) * side(a, b, d) < 0 and side(c, d, a) * side(c, d, b) < 0


@given(TEXTS, st.floats(0.3, 5.0))
def test_wrapped_lines_fit_and_lose_no_letter(text, width):
    lines = wrap(text, width, 8.0)
    assert all(text_width(line, 8.0) <= width for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@given(TEXTS, st.integers(1, 3))
def test_what_is_cut_says_so(text, most):
    lines = wrap(text, 0.8, 8.0, most=most)
    assert len(lines) <= most
    assert all(text_width(line, 8.0) <= 0.8 for line in lines)
    lost = "".join("".join(lines).split()) != "".join(text.split())
    assert lost == any("…" in line for line in lines)


@pytest.mark.parametrize("weight", ["normal", "bold"])
@pytest.mark.parametrize("text", ["+1-3/16 in", "counterclockwise", "WWW", "ditch side, 2nd line"])
def test_a_text_is_no_wider_than_measured(text, weight):
    from matplotlib.figure import Figure

    figure = Figure(figsize=(6, 2), dpi=100)
    figure.text(0.1, 0.5, text, fontsize=8.0, weight=weight, family=["DejaVu Sans"])
    (box,) = paper.words(figure).values()
    width = box.width / figure.dpi
    assert width <= text_width(text, 8.0, weight) + 0.02
    assert width >= 0.9 * text_width(text, 8.0, weight)
