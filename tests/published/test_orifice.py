"""A small hole far under water is the orifice of the pressure-distribution guides."""

import numpy as np
import pytest

from dbox import Circle

from .thin_plate import FOOT, GPM, GRAVITY, INCH

US_FACTOR = 0.25 * np.pi * INCH**2 * np.sqrt(2.0 * GRAVITY * FOOT) / GPM
"""gpm of a 1 in hole under 1 ft with C = 1, from the definitions of the units."""

GUIDE_COEFFICIENT = 0.60039
"""C that makes Q [gpm] = 11.79 d[in]^2 sqrt(h[ft])."""

# University of Minnesota OSTP / Minnesota Pollution Control Agency, Pressure Distribution Design
# Worksheet, table "Perforation Discharge (GPM)": diameter in inches by head in feet. Read in two
# scanned design files that hold the worksheet. Printed to 0.01 gpm, some entries cut, not rounded.
MINNESOTA_HEADS = np.array([1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0])
MINNESOTA = {
    1 / 8: [0.18, 0.22, 0.26, 0.29, 0.32, 0.37, 0.41],
    3 / 16: [0.41, 0.51, 0.59, 0.65, 0.72, 0.83, 0.93],
    7 / 32: [0.56, 0.69, 0.80, 0.89, 0.98, 1.13, 1.26],
    1 / 4: [0.74, 0.90, 1.04, 1.17, 1.28, 1.47, 1.65],
}

# N.J.A.C. 7:9A-9.7, Design procedure for pressure dosing systems, hole discharge rates (gpm), rows
# 3, 4 and 5 ft (seen). Its half-foot rows stand 1.3 to 1.7 % above the square-root law that the
# whole-foot rows follow, and are left out as misprints or another coefficient.
NEW_JERSEY_HEADS = np.array([3.0, 4.0, 5.0])
NEW_JERSEY = {
    1 / 4: [1.28, 1.47, 1.65],
    5 / 16: [1.99, 2.30, 2.57],
    3 / 8: [2.87, 3.31, 3.71],
    7 / 16: [3.91, 4.51, 5.04],
    1 / 2: [5.10, 5.89, 6.59],
}


def gallons_a_minute(inches, feet):
    """Flow with the tabulated head taken over the centre of the hole. [gpm]"""
    diameter = inches * INCH
    hole = Circle(diameter, coefficient=GUIDE_COEFFICIENT)
    return hole.discharge(feet * FOOT + 0.5 * diameter) / GPM


def test_factor_of_the_us_form():
    """Q[gpm] = 19.637140715404 C d^2 sqrt(h) (computed): C = 0.60039 makes it the guides' 11.79.

    A hole of 1/100 in under 1 ft, where the integral differs from the law by less than 1e-8.
    """
    hole = Circle(0.01 * INCH, coefficient=1.0)
    flow = float(hole.discharge(FOOT + 0.005 * INCH)) / GPM
    assert flow / 0.01**2 == pytest.approx(19.637140715404, rel=1e-8)
    assert gallons_a_minute(0.01, 1.0) / 0.01**2 == pytest.approx(11.79, abs=1e-4)


def test_small_hole_follows_the_us_form():
    """Q[gpm] = 11.79 d^2 sqrt(h): common in pressure-distribution guides (from memory).

    The integral is lower than the centre-head orifice by (d/h)^2 / 128, under 4e-6 here.
    """
    for inches in (1 / 8, 3 / 16, 1 / 4):
        feet = np.array([1.0, 2.0, 5.0])
        expected = US_FACTOR * GUIDE_COEFFICIENT * inches**2 * np.sqrt(feet)
        np.testing.assert_allclose(gallons_a_minute(inches, feet), expected, rtol=4e-6)


@pytest.mark.parametrize("inches", [7 / 32, 1 / 4])
def test_minnesota_columns_to_their_rounding(inches):
    flow = gallons_a_minute(inches, MINNESOTA_HEADS)
    np.testing.assert_allclose(flow, MINNESOTA[inches], rtol=0.0, atol=0.005)


@pytest.mark.parametrize("inches", [1 / 8, 3 / 16])
def test_minnesota_columns_with_cut_entries(inches):
    """0.22 at 1/8 in and 1.5 ft, 0.65 at 3/16 in and 2.5 ft are cut from 0.2256 and 0.6554."""
    flow = gallons_a_minute(inches, MINNESOTA_HEADS)
    np.testing.assert_allclose(flow, MINNESOTA[inches], rtol=0.0, atol=0.01)


@pytest.mark.parametrize("inches", NEW_JERSEY)
def test_new_jersey_rows_with_cut_entries(inches):
    flow = gallons_a_minute(inches, NEW_JERSEY_HEADS)
    np.testing.assert_allclose(flow, NEW_JERSEY[inches], rtol=0.0, atol=0.01)
