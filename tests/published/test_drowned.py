"""Openings with water standing outside: exact against the integral, in size against Villemonte.

The two rules are different physics. Largest difference of the drowned-to-free ratio for h2/h1
from 0.01 to 0.99, two-part integral less Villemonte, as a fraction of the free flow (computed
with mpmath from the two formulas):

    slot     (n = 1.5)  +0.039 at 0.51, -0.049 at 0.99
    notch    (n = 2.5)  +0.026 at 0.62, -0.055 at 0.99
    circle   (n = 2)    +0.029 at 0.56, -0.053 at 0.99   (head a tenth of the diameter)

so they agree to 0.06 of the free flow; up to h2/h1 = 0.9 they agree to 5 % of the flow itself.
Nearer to level water the relative difference grows without limit (-25 % at 0.99), since the
integral dies as the 0.5 power of the fall and Villemonte as its 0.385 power.
"""

import mpmath as mp
import numpy as np
import pytest

from dbox import Circle, Notch, Slot

from .thin_plate import GRAVITY, circle_width, ideal_rating

SUBMERGENCE = np.linspace(0.01, 0.99, 99)

# J. R. Villemonte (1947), Submerged weir discharge studies, Engineering News-Record:
# Q/Q1 = [1 - (h2/h1)^n]^0.385 with n the power of head in free flow. The paper was not seen; the
# rule is as the Cassiopée documentation and a summary of the EPA SWMM Reference Manual, volume II,
# eq. 6-26, quote it. Its place is quoted in three ways: "866, 54-57" (Cassiopée), 139, 866-869 and
# 139(26), 54-56 (reference lists of public repositories); which is right is not known here.
CASES = {
    "slot": (Slot(0.05, coefficient=0.6), 0.02, 1.5, (-0.049, 0.039)),
    "notch": (Notch(np.pi / 2, coefficient=0.6), 0.02, 2.5, (-0.055, 0.026)),
    "circle": (Circle(0.1, coefficient=0.6), 0.01, 2.0, (-0.053, 0.029)),
}


def villemonte(submergence, power):
    return (1.0 - submergence**power) ** 0.385


# At h2/h1 = 1/2 Villemonte's rule gives 0.8454, 0.8952, 0.9278 for n = 1.5, 2, 2.5. The integral in
# closed form, with x = 1/2: slot (1 + x/2) sqrt(1 - x) = 5/4 sqrt(1/2); notch, its two parts worked
# out by hand, (15/8) (x^2 + (4/3) (1 - x) - (4/5) (1 - x)^2) sqrt(1 - x) = 43/32 sqrt(1/2).
@pytest.mark.parametrize(
    ("shape", "exact", "rule"),
    [("slot", 1.25 * 0.5**0.5, 0.845386045586), ("notch", 43 / 32 * 0.5**0.5, 0.927842577209)],
)
def test_half_drowned_in_closed_form_and_by_villemonte(shape, exact, rule):
    opening, head, power, _ = CASES[shape]
    ratio = float(opening.discharge(head, head / 2) / opening.discharge(head))
    assert ratio == pytest.approx(exact, rel=1e-12)
    assert ratio == pytest.approx(rule, abs=0.04)
    assert villemonte(0.5, power) == pytest.approx(rule, rel=1e-11)


@pytest.mark.parametrize("shape", CASES)
def test_size_against_villemonte(shape):
    opening, head, power, found = CASES[shape]
    ratio = opening.discharge(head, head * SUBMERGENCE) / opening.discharge(head)
    difference = ratio - villemonte(SUBMERGENCE, power)
    assert (difference.min(), difference.max()) == pytest.approx(found, abs=5e-4)
    assert np.abs(difference).max() < 0.06
    upto = SUBMERGENCE <= 0.9
    np.testing.assert_allclose(ratio[upto], villemonte(SUBMERGENCE[upto], power), rtol=0.05)


def test_partly_drowned_circle():
    """D 50 mm, h1 40 mm, h2 20 mm, C 0.6: 5.1850037331023e-4 m3/s (computed with mpmath)."""
    flow = float(Circle(0.05, coefficient=0.6).discharge(0.04, 0.02))
    assert flow == pytest.approx(5.1850037331023e-4, rel=1e-12)


HEADS = [0.001, 0.01, 0.03, 0.0475, 0.04999, 0.05, 0.05000005, 0.05001, 0.06, 0.1, 2.5]
PARTS = [1e-4, 0.05, 0.4, 0.7, 0.95, 0.9999]


def assert_is_the_integral(opening, width, top):
    """Compare with quadrature over all heads and submergences, flow 1e-9 and slope 1e-9."""
    with mp.workdps(17):
        pairs = [(h, part * h) for h in HEADS for part in PARTS]
        expected = np.array([ideal_rating(width, top, h, t) for h, t in pairs])
    heads, tails = np.array(pairs).T
    np.testing.assert_allclose(opening.discharge(heads, tails), expected[:, 0], rtol=1e-9)
    np.testing.assert_allclose(opening.slope(heads, tails), expected[:, 1], rtol=1e-9)


def test_drowned_circle_is_the_integral():
    assert_is_the_integral(Circle(0.05, coefficient=1.0), circle_width(0.05), 0.05)


def test_drowned_notch_is_the_integral():
    slant = mp.tan(mp.mpf(np.radians(60.0)) / 2)
    assert_is_the_integral(
        Notch(np.radians(60.0), coefficient=1.0), lambda z: 2 * slant * z, np.inf
    )


@pytest.mark.parametrize("top", [0.05, np.inf])
def test_drowned_slot_is_the_integral(top):
    height = None if np.isinf(top) else top
    assert_is_the_integral(Slot(0.03, height, coefficient=1.0), lambda _: mp.mpf(0.03), top)


def test_fully_drowned_hole_is_an_orifice_under_the_fall():
    """Q = C A sqrt(2 g (h1 - h2)) once the tailwater stands over the top: the integral itself."""
    tails = np.array([0.05, 0.06, 1.0])
    fall = np.array([1e-3, 0.02, 0.3])
    area = 0.25 * np.pi * 0.05**2
    flow = Circle(0.05, coefficient=0.61).discharge(tails + fall, tails)
    np.testing.assert_allclose(flow, 0.61 * area * np.sqrt(2.0 * GRAVITY * fall), rtol=1e-12)


@pytest.mark.parametrize("shape", CASES)
def test_no_flow_where_both_sides_stand_level(shape):
    opening, head, _, _ = CASES[shape]
    assert opening.discharge([head, head], [head, 2.0 * head]).tolist() == [0.0, 0.0]
