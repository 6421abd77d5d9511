"""Which side to lift: the lift takes the planted tilt out again."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.fieldwork.levelling import Lift, lift_for
from dbox.fieldwork.readings import fit_plane, reduce_readings
from dbox.fieldwork.site import Box
from dbox.fieldwork.turning import Reach

from .sites import box

RING = np.array([[0.0, 0.1], [0.0, 0.4], [0.2, 0.5], [0.4, 0.4], [0.4, 0.1], [0.2, 0.0]])
NO_TURN = np.zeros(6)
slopes = st.floats(-0.05, 0.05)


def lift_of(pipes: np.ndarray, size: Box, *, lips: np.ndarray | None = None) -> Lift:
    """The lift for pipes that stand at these heights, their inserts all at 9:00."""
    site = box(list(pipes if lips is None else lips), clocks=np.pi / 2, offset=0.0127)
    reach = Reach.of(site, reduce_readings(site))
    return lift_for(fit_plane(pipes, RING), size, reach, RING, NO_TURN)


@given(slopes, slopes)
def test_lifting_takes_the_tilt_out(slope_x, slope_y):
    """Far end and right side turned about the inlet wall's left corner."""
    heights = RING @ [slope_x, slope_y]
    lift = lift_of(heights, Box(inside=(0.4, 0.5)))
    lifted = heights + RING @ [lift.far_end / 0.4, lift.right_side / 0.5]
    np.testing.assert_allclose(lifted, 0, atol=1e-15)
    assert lift.slope_along == pytest.approx(-slope_x, abs=1e-15)
    assert lift.slope_across == pytest.approx(-slope_y, abs=1e-15)
    assert lift.still_short == ()


def test_a_round_box_lifts_over_its_diameter():
    lift = lift_of(RING @ [0.01, -0.02], Box(shape="round", inside=(0.6,)))
    assert lift.far_end == pytest.approx(-0.006)
    assert lift.right_side == pytest.approx(0.012)


def test_without_a_size_only_the_slopes_are_told():
    lift = lift_of(RING @ [0.01, -0.02], Box())
    assert lift.far_end is None
    assert lift.right_side is None
    assert lift.slope_along == pytest.approx(-0.01)
    assert lift.slope_across == pytest.approx(0.02)


def test_a_pipe_out_of_its_place_stays_short_in_the_levelled_box():
    """Inserts lift 12.7 mm either way; one pipe stands 40 mm over the others' plane."""
    plane = RING @ [0.02, -0.01]
    up = np.eye(6)[2]
    assert lift_of(plane, Box(), lips=plane + 0.04 * up).still_short == (2,)
    assert lift_of(plane, Box(), lips=plane + 0.02 * up).still_short == ()
