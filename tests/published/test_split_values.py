"""Splits of whole boxes, each worked out again here by quadrature and bracketing."""

import numpy as np
import pytest
from scipy.optimize import brentq

from dbox import Circle, PipeEnd, split

from .thin_plate import (
    GPM,
    GRAVITY,
    INCH,
    LITRE_PER_MINUTE,
    hole_flow,
    split_by_bracketing,
)


def both_ways(diameter, inflow, lips):
    """Level and shares of the package and of the slow route, C = 0.6, after comparing them."""
    result = split(inflow, lips, Circle(diameter, coefficient=0.6))
    level, share = split_by_bracketing(lambda h: hole_flow(h, diameter, 0.6), inflow, lips)
    assert float(result.level) == pytest.approx(level, abs=1e-11)
    np.testing.assert_allclose(result.share, share, rtol=1e-8, atol=1e-12)
    return result.level, share


def test_three_holes():
    """Lips 0, +1/8, -1/8 in, 6 gpm, 1 in holes, C 0.6: 33.53, 26.58, 39.89 % (computed)."""
    _, share = both_ways(INCH, 6.0 * GPM, [0.0, INCH / 8, -INCH / 8])
    np.testing.assert_allclose(100.0 * share, [33.53, 26.58, 39.89], atol=0.005)


FIVE_LIPS = [INCH * height for height in (0.0, 3 / 32, -5 / 32, 0.0, 3 / 32)]


@pytest.mark.parametrize(
    ("gpm", "shares"),
    [
        (0.5, [14.3, 1.0, 69.3, 14.3, 1.0]),
        (25.0, [20.1, 17.4, 24.9, 20.1, 17.4]),
    ],
)
def test_five_holes_at_a_trickle_and_at_a_dose(gpm, shares):
    """1-3/4 in holes, C 0.6, lips 0, 3/32, -5/32, 0, 3/32 in (computed from the integral)."""
    _, share = both_ways(1.75 * INCH, gpm * GPM, FIVE_LIPS)
    np.testing.assert_allclose(100.0 * share, shares, atol=0.05)


def test_head_of_the_trickle():
    """About 3.8 mm at 0.5 gpm were the five lips level: below any weir formula (computed)."""
    level, share = both_ways(1.75 * INCH, 0.5 * GPM, [0.0] * 5)
    assert float(level) == pytest.approx(3.8e-3, abs=0.05e-3)
    np.testing.assert_allclose(share, 1.0 / 5.0, rtol=1e-12)


def bare_pipe_flow(head, diameter):
    """Critical depth y at the mouth, head = y + A/(2 T), Q^2 T = g A^3, by bracketing y."""
    if head <= 0.0:
        return 0.0

    def section(y):
        half = np.arccos(1.0 - 2.0 * y / diameter)
        area = 0.25 * diameter**2 * (half - np.sin(half) * np.cos(half))
        return area, diameter * np.sin(half)

    def surplus(y):
        area, width = section(y)
        return y + area / (2.0 * width) - head

    depth = brentq(surplus, 1e-3 * head, min(head, 0.999 * diameter), xtol=1e-17, rtol=1e-14)
    area, width = section(depth)
    return float(np.sqrt(GRAVITY * area**3 / width))


@pytest.mark.parametrize(
    ("gpm", "shares"), [(6.0, [32.35, 19.78, 47.87]), (1.0, [27.03, 4.39, 68.58])]
)
def test_three_bare_pipe_ends(gpm, shares):
    """Lips 0, +1/8, -1/8 in, inside 4.026 in (NPS 4 schedule 40) (computed by two routes)."""
    lips, diameter = [0.0, INCH / 8, -INCH / 8], 4.026 * INCH
    _, share = split_by_bracketing(lambda h: bare_pipe_flow(h, diameter), gpm * GPM, lips)
    np.testing.assert_allclose(100.0 * share, shares, atol=0.005)
    np.testing.assert_allclose(split(gpm * GPM, lips, PipeEnd(diameter)).share, share, rtol=1e-7)


# Four outlets with 2 in holes, one lip wrong by that many inches: its share in per cent, computed
# with the ideal thin-plate integral and C 0.6, and worked out again below
ONE_LIP_WRONG = {-1 / 32: 0, -1 / 16: 1, -1 / 8: 2, -1 / 4: 3, 1 / 8: 4}
HOW_MUCH_AN_ERROR_MATTERS = {
    1.0: (0.12, [35, 47, 70, 100, 0]),
    4.0: (0.24, [30, 35, 46, 69, 9]),
    20.0: (0.54, [27, 29, 34, 43, 17]),
    120.0: (1.44, [26, 26, 28, 31, 22]),
}


@pytest.mark.parametrize("flow", HOW_MUCH_AN_ERROR_MATTERS)
@pytest.mark.parametrize("error", ONE_LIP_WRONG)
def test_share_of_one_wrong_lip(flow, error):
    printed = HOW_MUCH_AN_ERROR_MATTERS[flow][1][ONE_LIP_WRONG[error]]
    _, share = both_ways(2.0 * INCH, flow * LITRE_PER_MINUTE, [error * INCH, 0.0, 0.0, 0.0])
    assert 100.0 * share[0] == pytest.approx(printed, abs=0.5)


@pytest.mark.parametrize("flow", HOW_MUCH_AN_ERROR_MATTERS)
def test_head_of_four_level_lips(flow):
    level, share = both_ways(2.0 * INCH, flow * LITRE_PER_MINUTE, [0.0, 0.0, 0.0, 0.0])
    assert float(level) / INCH == pytest.approx(HOW_MUCH_AN_ERROR_MATTERS[flow][0], abs=0.005)
    np.testing.assert_allclose(share, 0.25, rtol=1e-12)
