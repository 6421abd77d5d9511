"""How small a head is small, and how high water stands on a dry edge: the capillary length.

No published measurement of the level at which water starts to run over a dry lip of a box, or over
the crest of a dry weir, was found: what a dry lip holds back rests on how high a puddle stands.
"""

import numpy as np
import pytest

from dbox import Notch, Slot
from dbox.fieldwork.readings import CLINGING_WATER
from dbox.fieldwork.site import DEFAULT_HOLD_BACK
from dbox.hydraulics.openings.base import CAPILLARY_HEAD

from .thin_plate import GRAVITY

DENSITY = 998.2
"""Water at 20 C. [kg/m3] (any handbook, from memory)"""

SOAPY = (0.025, 0.045)
"""Surface tension of soapy water. [N/m] (from memory)"""


def surface_tension(celsius: float) -> float:
    """Ordinary water against its vapour. [N/m]

    IAPWS R1-76(2014), Revised Release on Surface Tension of Ordinary Water Substance: B, mu, b and
    the critical temperature seen in public programs that quote it.
    """
    part = 1.0 - (273.15 + celsius) / 647.096
    return float(0.2358 * part**1.256 * (1.0 - 0.625 * part))


def capillary_length(tension: float) -> float:
    return float(np.sqrt(tension / (DENSITY * GRAVITY)))


SURFACE_TENSION = surface_tension(20.0)
CAPILLARY_LENGTH = capillary_length(SURFACE_TENSION)


def puddle(theta: float, tension: float = SURFACE_TENSION) -> float:
    """Height of a wide puddle, 2 a sin(theta/2); theta [rad] -> [m].

    P.-G. de Gennes, F. Brochard-Wyart, D. Quere (2004), Capillarity and Wetting Phenomena, chapter
    2: seen on public pages that quote it.
    """
    return 2.0 * capillary_length(tension) * np.sin(0.5 * theta)


def test_surface_tension_is_that_of_any_handbook():
    """0.0728 N/m at 20 C (seen on several public pages)."""
    assert pytest.approx(0.0728, abs=1e-4) == SURFACE_TENSION


def test_the_capillary_length_of_water():
    """The same book: water at clean glass climbs sqrt(2) a, 4 mm (seen); that is a = 2.7 mm."""
    assert pytest.approx(2.7e-3, abs=0.05e-3) == CAPILLARY_LENGTH
    assert np.sqrt(2.0) * CAPILLARY_LENGTH == pytest.approx(4e-3, abs=0.5e-3)


def test_a_puddle_stands_as_high_as_the_balance_of_forces_says():
    """Two ways: on a cut of a wide puddle, the push of its water, rho g e^2 / 2, is sigma
    (1 - cos theta), the surface's pull at its top and at its foot."""
    for theta in np.radians([10, 45, 90, 110, 180]):
        push = 0.5 * DENSITY * GRAVITY * puddle(theta) ** 2
        assert push == pytest.approx(SURFACE_TENSION * (1.0 - np.cos(theta)))


def test_the_hold_back_taken_is_what_puddles_of_clean_water_stand_at():
    """1 to 4 mm from 21 to 95 degrees (the angles are judgement); soapy water stands lower."""
    least, most = DEFAULT_HOLD_BACK
    assert puddle(np.radians(21)) == pytest.approx(least, abs=0.05e-3)
    assert puddle(np.radians(95)) == pytest.approx(most, abs=0.05e-3)
    for tension in SOAPY:
        assert least < puddle(np.radians(60), tension) < 0.6 * most
    # even water that wets nothing stands no higher than twice a
    assert most < 2.0 * CAPILLARY_LENGTH


def test_water_that_clings_to_a_lip_stands_about_as_high():
    assert pytest.approx(CAPILLARY_LENGTH, rel=0.15) == CLINGING_WATER


def test_the_warning_head_is_about_twice_that():
    """sqrt(s / (rho g)) = 2.7 mm (computed)."""
    ratio = CAPILLARY_HEAD / CAPILLARY_LENGTH
    assert ratio == pytest.approx(2.0, abs=0.25)


@pytest.mark.parametrize("opening", [Notch(np.pi / 2), Slot(0.05)])
def test_weir_laws_begin_far_above_it(opening):
    """0.06 m and 0.03 m (sources in test_notch and test_slot): ten capillary lengths or more."""
    assert opening.measured_heads[0] > 10.0 * CAPILLARY_LENGTH
