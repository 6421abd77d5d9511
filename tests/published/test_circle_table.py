"""The round hole against its defining integral, from a film of water to a hundred diameters."""

import mpmath as mp
import numpy as np
import pytest

from dbox import Circle

from .thin_plate import (
    GPM,
    GRAVITY,
    INCH,
    circle_closed_form,
    circle_derivative,
    circle_integral,
)

# f = Q / (C sqrt(2 g) D^2.5) at n = h/D; computed with mpmath, 30 digits, from the closed form
# f = 4/15 [2 (1 - n + n^2) E(n) - (2 - 3 n + n^2) K(n)] and f(n) = n^2.5 f(1/n), m = n; the form
# is Stevens (1957), J. Hydraulics Division ASCE 83(6), Flow through circular weirs (from memory)
TABLE = {
    0.01: 7.83431589238901e-5,
    0.05: 0.00193875653182861,
    0.1: 0.0076544514246277,
    0.25: 0.0458876665293432,
    0.5: 0.169442616958796,
    0.75: 0.345081307988029,
    0.9: 0.460559968280831,
    1.0: 8.0 / 15.0,
    1.1: 0.593237854160913,
    1.5: 0.779000354135856,
    2.0: 0.958512187788474,
    5.0: 1.66543707862869,
    20.0: 3.4681531175924,
}

NEAR_ONE = [side * 10.0**-k for k in range(3, 10) for side in (-1.0, 1.0)]
RATIOS = np.concatenate(
    [np.geomspace(1e-6, 100.0, 41), [0.3, 0.6, 0.97, 1.0, 1.03], 1.0 + np.array(NEAR_ONE)]
)

IDEAL = Circle(1.0, coefficient=1.0)
SCALE = np.sqrt(2.0 * GRAVITY)


def test_table_of_the_closed_form():
    with mp.workdps(30):
        for ratio, printed in TABLE.items():
            if ratio != 1.0:
                assert float(circle_closed_form(ratio)) == pytest.approx(printed, rel=2e-14)
    flow = IDEAL.discharge(list(TABLE)) / SCALE
    np.testing.assert_allclose(flow, list(TABLE.values()), rtol=5e-14)


@pytest.mark.parametrize(
    ("ask", "integral", "rtol"),
    [(IDEAL.discharge, circle_integral, 1e-12), (IDEAL.slope, circle_derivative, 1e-11)],
    ids=["flow", "slope"],
)
def test_flow_and_slope_are_the_defining_integral_and_its_derivative(ask, integral, rtol):
    with mp.workdps(20):
        scale = mp.sqrt(2 * mp.mpf(GRAVITY))
        expected = [float(integral(ratio) * scale) for ratio in RATIOS]
    np.testing.assert_allclose(ask(RATIOS), expected, rtol=rtol)


def test_slope_at_a_hole_just_full():
    """d ln Q / d ln h = 5/4 exactly at h = D (computed by hand from f(n) = n^2.5 f(1/n))."""
    assert float(IDEAL.slope(1.0) / IDEAL.discharge(1.0)) == pytest.approx(1.25, rel=1e-12)


def test_low_head_series():
    """f = (pi/4) n^2 (1 - n/4 - 5 n^2/128 ...): computed by expanding the integral."""
    n = np.array([1e-6, 1e-5, 1e-4])
    series = 0.25 * np.pi * n**2 * (1.0 - n / 4.0 - 5.0 * n**2 / 128.0)
    np.testing.assert_allclose(IDEAL.discharge(n) / SCALE, series, rtol=1e-13)


def test_deep_hole_is_an_orifice_under_its_centre():
    """f -> (pi/4) sqrt(n - 1/2); the next term of the expansion is -1/(128 (n - 1/2)^2)."""
    n = np.array([10.0, 30.0, 100.0])
    orifice = 0.25 * np.pi * np.sqrt(n - 0.5)
    shortfall = 1.0 - IDEAL.discharge(n) / SCALE / orifice
    np.testing.assert_allclose(shortfall, 1.0 / (128.0 * (n - 0.5) ** 2), rtol=2e-3)


def test_one_inch_hole_just_full():
    """D = h = 1 in, C = 0.6: 2.3096582613 gpm (computed with mpmath from 8/15)."""
    flow = float(Circle(INCH, coefficient=0.6).discharge(INCH))
    assert flow / GPM == pytest.approx(2.3096582613, abs=5e-11)


def test_real_sizes_scale_with_the_five_halves_power():
    heads = np.array([0.002, 0.0254, 0.05, 0.3])
    small = Circle(0.0254, coefficient=0.6)
    expected = 0.6 * 0.0254**2.5 * IDEAL.discharge(heads / 0.0254)
    np.testing.assert_allclose(small.discharge(heads), expected, rtol=1e-13)
