"""Staus's coefficient of circular weirs, against his table as later works print it."""

import numpy as np
import pytest

from dbox import Circle

# A. Staus (1931), Der Beiwert kreisrunder Überfälle, Wasserkraft und Wasserwirtschaft 25(11),
# 122-123: so cited in the reference list of "Modified theoretical stage-discharge relation for
# circular sharp-crested weirs", Water Science and Engineering 5(1), 2012, 26-33 (seen). The table
# was read in public code, which calls it "Staus 1936" as given by Irzooki (2014), doi
# 10.1007/s13369-014-1360-8; which of the two years it is from is not known here, and neither
# Staus's paper nor Irzooki's was seen. Rows: h/D, then C to three decimals.
LOWEST_ROW = (0.05, 0.750)
TABLE = np.array(
    [
        [0.10, 0.650],
        [0.15, 0.623],
        [0.20, 0.610],
        [0.25, 0.604],
        [0.30, 0.600],
        [0.35, 0.597],
        [0.40, 0.595],
        [0.45, 0.594],
        [0.50, 0.593],
        [0.55, 0.593],
        [0.60, 0.594],
        [0.65, 0.595],
        [0.70, 0.596],
        [0.75, 0.597],
        [0.80, 0.599],
        [0.85, 0.600],
        [0.90, 0.602],
        [0.95, 0.604],
        [1.00, 0.606],
    ]
)


def coefficient(ratio, diameter=0.05):
    head = np.asarray(ratio) * diameter
    return Circle(diameter).discharge(head) / Circle(diameter, coefficient=1.0).discharge(head)


def test_follows_the_printed_table():
    """Largest difference 0.0024 at h/D = 0.25: less than the 2 to 5 % between authors."""
    np.testing.assert_allclose(coefficient(TABLE[:, 0]), TABLE[:, 1], rtol=0.0, atol=0.0025)


@pytest.mark.parametrize("ratio", [0.1, 0.25, 0.5, 0.75, 1.0])
def test_is_the_formula(ratio):
    """C = 0.555 + 1/(110 n) + 0.041 n (from memory)."""
    formula = 0.555 + 1.0 / (110.0 * ratio) + 0.041 * ratio
    assert float(coefficient(ratio)) == pytest.approx(formula, rel=1e-12)


def test_lowest_row_of_the_table_lies_above_the_held_coefficient():
    """At h/D = 0.05 the table has 0.750, the formula 0.739 (computed), and what is held 0.650."""
    ratio, printed = LOWEST_ROW
    held = float(coefficient(ratio))
    assert held == pytest.approx(0.650, abs=5e-4)
    assert held / printed == pytest.approx(0.87, abs=0.005)
    assert not Circle(0.05).measured_heads[0] <= ratio * 0.05


def test_is_held_outside_the_range_of_the_formula():
    """Left to itself the formula runs away: 1.01 at h/D = 0.02 (computed)."""
    low, high = 0.555 + 1.0 / 11.0 + 0.0041, 0.555 + 1.0 / 110.0 + 0.041
    np.testing.assert_allclose(coefficient([1e-4, 0.02, 0.099]), low, rtol=1e-12)
    np.testing.assert_allclose(coefficient([1.001, 3.0, 80.0]), high, rtol=1e-12)


def test_does_not_depend_on_the_size():
    np.testing.assert_allclose(coefficient(TABLE[:, 0], 0.01), coefficient(TABLE[:, 0], 0.1))


def test_says_where_it_was_measured():
    assert Circle(0.05).measured_heads == pytest.approx((0.005, 0.05))


def test_slope_carries_the_change_of_the_coefficient():
    """Central difference of the discharge; 1e-6 is what a step of 1e-5 of the head allows."""
    hole = Circle(0.05)
    head = np.array([0.002, 0.008, 0.02, 0.04, 0.07])
    step = 1e-5 * head
    difference = (hole.discharge(head + step) - hole.discharge(head - step)) / (2.0 * step)
    np.testing.assert_allclose(hole.slope(head), difference, rtol=1e-6)
