"""The straight grade and the capacity of a 4 in pipe against outside sources."""

import numpy as np
import pytest
from scipy.optimize import curve_fit

from dbox.fieldwork.grades import fit_line
from dbox.fieldwork.survey import Limits
from dbox.hydraulics.pipes import area, full_flow, normal_depth, normal_velocity

INCH = 0.0254

# NIST Statistical Reference Datasets, linear regression, "Norris", as the tests of scipy quote it
NORRIS_X = """
    0.2 337.4 118.2 884.6 10.1 226.5 666.3 996.3 448.6 777.0 558.2 0.4 0.6 775.5 666.9 338.0 447.5
    11.6 556.0 228.1 995.8 887.6 120.2 0.3 0.3 556.8 339.1 887.2 999.0 779.0 11.1 118.3 229.2 669.1
    448.9 0.5"""
NORRIS_Y = """
    0.1 338.8 118.1 888.0 9.2 228.1 668.5 998.5 449.1 778.9 559.2 0.3 0.1 778.1 668.8 339.3 448.9
    10.8 557.7 228.3 998.0 888.8 119.6 0.3 0.6 557.6 339.3 888.0 998.5 778.9 10.2 117.6 228.9 668.4
    449.2 0.2"""


def table(text):
    return np.array(text.split(), dtype=float)


def test_nist_norris_slope_and_its_error():
    # slope 1.00211681802045, its standard deviation 0.000429796848, residual standard deviation
    # from the same fit
    x, y = table(NORRIS_X), table(NORRIS_Y)
    unit = fit_line(x, y, np.ones_like(x))
    scatter = float(np.sqrt((unit.residual**2).sum() / (x.size - 2)))
    line = fit_line(x, y, np.full_like(x, scatter))
    assert -line.slope == pytest.approx(1.00211681802045, rel=1e-13)
    assert line.slope_error == pytest.approx(0.0004297968482, rel=1e-9)


def test_scipy_curve_fit_with_unequal_errors():
    rng = np.random.default_rng(8)
    at, error = np.arange(8.0), rng.uniform(0.001, 0.004, 8)
    height = -0.015 * at + rng.normal(0, error)
    found, covariance = curve_fit(
        lambda x, a, b: a + b * x, at, height, sigma=error, absolute_sigma=True
    )
    line = fit_line(at, height, error)
    assert -line.slope == pytest.approx(found[1], rel=1e-6)
    assert line.slope_error == pytest.approx(np.sqrt(covariance[1, 1]), rel=1e-5)


def test_national_standard_plumbing_code_part_full_factors_of_a_sloping_drain():
    # National Standard Plumbing Code (2009), appendix K: of the flow and velocity half full, full
    # has 2.00 and 1.00, a quarter full 0.274 and 0.701, three quarters full 1.82 and 1.13; by
    # Manning, so at any slope and roughness. Here for a 4 in pipe at 1/8 and 1/4 in per ft.
    inside = 4.026 * INCH
    for slope in (1 / 96, 1 / 48):
        full = float(full_flow(inside, slope))
        half_speed = float(normal_velocity(full / 2, inside, slope))
        assert full / float(area(inside, inside)) / half_speed == pytest.approx(1.00, abs=0.005)
        for fill, flow, speed in ((0.25, 0.274, 0.701), (0.5, 1.0, 1.0), (0.75, 1.82, 1.13)):
            passed = flow * full / 2
            assert float(normal_depth(passed, inside, slope)) == pytest.approx(
                fill * inside, rel=0.005
            )
            found = float(normal_velocity(passed, inside, slope)) / half_speed
            assert found == pytest.approx(speed, abs=0.005)


def test_the_default_limits_and_their_sources():
    limits = Limits()
    # Minn. R. 7080.2050, subp. 2 C: one percent, there called 1/8 inch per linear foot
    assert limits.supply_pipe.value == 0.01
    assert limits.supply_pipe.source == "Minn. R. 7080.2050"
    assert 12 * limits.supply_pipe.value == pytest.approx(1 / 8, abs=0.006)
    # 25 Pa. Code 73.42 and N.J.A.C. 7:9A-9.4: the inlet 1 in over the outlets
    assert limits.inlet_drop.value == pytest.approx(INCH)
    assert limits.inlet_drop.source == "25 Pa. Code 73.42; N.J.A.C. 7:9A-9.4"
    # Uniform Plumbing Code 708.0, as a public forum quotes it (seen there, not in the code): one
    # fourth inch per foot, or two percent; common practice says the same
    assert 12 * limits.house_sewer.value == pytest.approx(1 / 4)
    assert limits.house_sewer.value == pytest.approx(0.02, abs=0.001)
    assert limits.house_sewer.source == "Uniform Plumbing Code 708.0, as quoted; common practice"
    # no rule was found on how far apart the rod may stand
    assert limits.spacing is None
    every = (limits.house_sewer, limits.supply_pipe, limits.header, limits.inlet_drop)
    assert all(limit.default for limit in every)
    assert "common practice, no source" in limits.header.source
