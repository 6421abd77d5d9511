"""Tabulated ratings against the openings they were taken from, free and drowned."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import Circle, Notch, PipeEnd, Slot
from dbox.errors import DomainError
from dbox.hydraulics.surge.box_pool import DrownedTable
from dbox.hydraulics.surge.level_pool import RatingTable, opening_table
from tests.hydraulics.boxes import openings

KINDS = (
    Circle(0.05),
    Circle(0.05, coefficient=0.6),
    Notch(1.5),
    Slot(0.03, 0.05),
    Slot(0.03),
    PipeEnd(0.1),
)


@given(openings, st.floats(-5, 1).map(lambda x: 10.0**x))
def test_table_and_opening(opening, head: float) -> None:
    flow, slope = opening_table(opening)(head)
    assert flow == pytest.approx(float(opening.discharge(head)), rel=3e-5)
    assert slope == pytest.approx(float(opening.slope(head)), rel=2e-2)


@pytest.mark.parametrize("opening", KINDS)
def test_nothing_flows_below_the_lip(opening) -> None:
    table = opening_table(opening)
    assert table(-1.0) == (0.0, 0.0)
    assert table(0.0)[0] == 0.0


@pytest.mark.parametrize("opening", KINDS)
def test_a_table_rises_everywhere(opening) -> None:
    levels = np.geomspace(1e-7, 200.0, 20_001)
    table = opening_table(opening)
    assert np.all(np.diff([table(float(h))[0] for h in levels]) > 0)


@pytest.mark.parametrize(
    ("levels", "flows"),
    [
        ([0.0], [0.0]),
        ([0, 0], [0, 1]),
        ([0, 1], [1, 0]),
        ([0, 1], [0, np.nan]),
        ([0, 1], [0, np.inf]),
    ],
)
def test_a_rating_that_cannot_be_is_refused(levels, flows) -> None:
    with pytest.raises(DomainError):
        RatingTable(levels, flows)


@pytest.mark.parametrize("opening", KINDS)
def test_drowned_table_and_opening(opening) -> None:
    """Within 0.5 % below the top of the hole, within 2 % around it, and mostly 0.02 %."""
    rng = np.random.default_rng(5)
    head = 10 ** rng.uniform(-3.2, 0.0, 2000)
    tail = head * rng.uniform(0.0, 0.999, 2000)
    free, slope = opening.rating(head)
    table = DrownedTable(opening)
    found = np.array(
        [table(*map(float, four))[0] for four in zip(free, slope, head, tail, strict=True)]
    )
    error = np.abs(found / opening.discharge(head, tail) - 1)
    assert error.max() < 0.02
    assert error[head < 0.8 * min(opening.top, 1.0)].max() < 5e-3
    assert np.median(error) < 2e-4


@pytest.mark.parametrize(
    ("opening", "bound"),
    [(Circle(0.03), 0.01), (Circle(0.05), 0.01), (Slot(0.02, 0.1), 0.03), (PipeEnd(0.1), 0.03)],
)
def test_drowned_table_near_the_top_of_an_opening(opening, bound: float) -> None:
    """Both levels within a twentieth of the top, down to a millionth of it between them."""
    rng = np.random.default_rng(6)
    head = opening.top * rng.uniform(0.95, 1.05, 3000)
    tail = head * (1 - 10 ** rng.uniform(-6, -1, 3000))
    free, slope = opening.rating(head)
    table = DrownedTable(opening)
    found = [table(*map(float, four))[0] for four in zip(free, slope, head, tail, strict=True)]
    error = np.abs(np.array(found) / opening.discharge(head, tail) - 1)
    assert bound / 20 < error.max() < bound


def test_a_drowned_table_gives_its_own_slopes() -> None:
    """Two ways: the slopes against differences of the table's own flow."""
    opening = Circle(0.05)
    table, step = DrownedTable(opening), 1e-7

    def at(head: float, tail: float) -> tuple[float, float, float]:
        free, slope = (float(part) for part in opening.rating(np.array(head)))
        return table(free, slope, head, tail)

    for head, tail in ((0.0123, 0.004), (0.031, 0.025), (0.07, 0.0601)):
        _, by_head, by_tail = at(head, tail)
        change = (at(head + step, tail)[0] - at(head - step, tail)[0]) / (2 * step)
        assert by_head == pytest.approx(change, rel=1e-4)
        change = (at(head, tail + step)[0] - at(head, tail - step)[0]) / (2 * step)
        assert by_tail == pytest.approx(change, rel=1e-4)


def test_no_fall_no_flow() -> None:
    assert DrownedTable(Circle(0.05))(1e-4, 1e-2, 0.02, 0.02) == (0.0, 0.0, 0.0)
