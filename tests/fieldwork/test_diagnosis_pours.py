"""What the order of starting says of lips, by the normal law of two heights seen with error."""

from types import SimpleNamespace

import numpy as np
import pytest
from scipy import stats

from dbox.fieldwork.diagnosis.visible import MISTAKE, START_ERROR, pour_chance
from dbox.fieldwork.site import Pour


def chance_of(order, lips, tails=None):
    """Log chance that outlets with these ways out are seen to start in an order."""
    n, inflow = len(lips), 1e-3
    rows = SimpleNamespace(
        felt=np.array([lips]),
        tail=np.array([[-np.inf] * n if tails is None else tails]),
        closed=np.zeros((1, n), bool),
        seep=np.zeros((1, n)),
        read=np.array([lips]),
    )
    water = SimpleNamespace(flows=lambda *_: np.full((1, n), inflow / n))
    pour = Pour(name="pour", inflow=inflow, order=order)
    return float(pour_chance(water, rows, pour, np.zeros(1))[0])


@pytest.mark.parametrize("errors", [0.5, 1.0, 2.0])
@pytest.mark.parametrize("by", ["lip", "tail"])
def test_the_lower_way_out_starts_first(errors, by):
    """Water that rises meets the lower way first: P = Phi(gap / error of its height), mistakes
    apart. A line that holds water against its outlet starts at that water."""
    gap = errors * START_ERROR
    ways = ([0.0, gap],) if by == "lip" else ([0.0, 0.0], [-0.01, gap])
    right, wrong = (
        (1 - MISTAKE) * stats.norm.cdf(side * errors) + MISTAKE / 2 for side in (1.0, -1.0)
    )
    odds = np.exp(chance_of((0, 1), *ways) - chance_of((1, 0), *ways))
    # the curve used for Phi is within 0.01 of it
    assert odds == pytest.approx(right / wrong, rel=0.01 / wrong + 0.02)
    assert odds > 1.5
