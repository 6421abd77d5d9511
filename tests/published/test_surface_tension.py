"""How small a head is small: the capillary length of water."""

import numpy as np
import pytest

from dbox import Notch, Slot
from dbox.hydraulics.openings.base import CAPILLARY_HEAD

from .thin_plate import GRAVITY

SURFACE_TENSION = 0.0728
"""Water against air at 20 C. [N/m] (any handbook; seen on several public pages)"""

DENSITY = 998.2
"""Water at 20 C. [kg/m3] (any handbook, from memory)"""

CAPILLARY_LENGTH = np.sqrt(SURFACE_TENSION / (DENSITY * GRAVITY))


def test_the_warning_head_is_about_twice_that():
    """sqrt(s / (rho g)) = 2.7 mm (computed)."""
    ratio = CAPILLARY_HEAD / CAPILLARY_LENGTH
    assert ratio == pytest.approx(2.0, abs=0.25)


@pytest.mark.parametrize("opening", [Notch(np.pi / 2), Slot(0.05)])
def test_weir_laws_begin_far_above_it(opening):
    """0.06 m and 0.03 m (sources in test_notch and test_slot): ten capillary lengths or more."""
    assert opening.measured_heads[0] > 10.0 * CAPILLARY_LENGTH
