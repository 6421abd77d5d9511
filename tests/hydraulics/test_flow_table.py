"""Tables of flows, and boxes split by them, against the openings themselves."""

import numpy as np
import pytest

from dbox import Circle, Notch, PipeEnd, Slot, split
from dbox.hydraulics.flow_table import flow_table, split_by_tables, split_near

INCH, GPM = 0.0254, 3.785411784e-3 / 60.0
HOLES = (Circle(1.75 * INCH),) * 5
MIXED = (Circle(2 * INCH, coefficient=0.6), Circle(1.5 * INCH), Notch(1.5), PipeEnd(4 * INCH),
         Slot(INCH))  # fmt: skip


@pytest.mark.parametrize(("kind", "off"), [(np.float64, 5e-8), (np.float32, 3e-7)])
@pytest.mark.parametrize("opening", [*MIXED, Slot(INCH, INCH), Notch(0.5)])
def test_tables_are_true_to_a_part_of_a_micrometre(opening, kind, off):
    """Against the opening's own rating, half-way between nodes and everywhere else."""
    table = flow_table(opening, kind)
    head = np.random.default_rng(1).uniform(0.0, 0.3, 4000) ** 2 * 10
    flow, slope = opening.rating(head, None)
    found, rate = np.zeros_like(head, kind), np.zeros_like(head, kind)
    table.add(head.astype(kind), found, rate)
    assert np.max(np.abs(found - flow) / slope) < off
    np.testing.assert_allclose(table.head(flow), head, rtol=0, atol=off)
    np.testing.assert_allclose(rate, slope, rtol=0.05, atol=1e-4 * slope.max())


def some_lips(count):
    """Lips within some millimetres, the third outlet of every other box capped. [m]"""
    lips = np.random.default_rng(7).normal(0.02, 1.5e-3, (count, 5))
    lips[::2, 2] = np.inf
    return lips


@pytest.mark.parametrize("openings", [HOLES, MIXED])
def test_boxes_split_by_tables_are_split_to_a_billionth(openings):
    """Trickle to dose, and an inflow that stands higher than the tables go."""
    lips, inflow = some_lips(500), np.array([0.05 * GPM, 0.5 * GPM, 5 * GPM, 30 * GPM, 0.2])
    found, slope = split_by_tables(inflow, lips, openings)
    exact = split(inflow[:, None], lips, openings)
    each = inflow[:, None, None]
    np.testing.assert_allclose(found.flow / each, exact.flow / each, rtol=0, atol=1e-9)
    np.testing.assert_allclose(found.level, exact.level, rtol=0, atol=1e-9)
    for i, opening in enumerate(openings):
        rate = opening.slope(np.maximum(exact.head[..., i], 0.0))
        np.testing.assert_allclose(slope[i], rate, rtol=1e-3, atol=1e-4 * np.max(rate), strict=True)


@pytest.mark.parametrize("openings", [HOLES, MIXED])
@pytest.mark.parametrize("inflow", [0.5 * GPM, 30 * GPM, 0.2])
def test_struck_boxes_are_split_by_tables_as_by_the_openings(openings, inflow):
    """Two ways; the last inflow stands higher than the tables go, and is split exactly."""
    lips = some_lips(30)
    flow, level = np.full(30, inflow), split(inflow, lips, openings).level
    lips[:, 0] -= 0.003
    near, exact = split_near(flow, lips, openings, level), split(inflow, lips, openings)
    np.testing.assert_allclose(near.share, exact.share, rtol=0, atol=1e-5)
    np.testing.assert_allclose(near.level, exact.level, rtol=0, atol=1e-6)
