"""What is asked about as soon as it is typed; each case is built so that its answer is known."""

import numpy as np
import pytest

from dbox.fieldwork.setup import Read, Still, begin, replay
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from tests.fieldwork.sites import HOLE, INCH, box

SPREAD = INCH / 32


def why(heights, *before, outlet=0, **site):
    """What is odd about heights of one outlet after others were read."""
    place = box([None] * 4, **{"clocks": 0.0, "spread": SPREAD, **site})
    events = [Still(method="ruler"), *(Read(outlet=i, heights=(h,)) for i, h in before)]
    odd = replay(begin(place), events).now.doubt(outlet, tuple(heights))
    return None if odd is None else (odd.why, odd.other)


def test_ordinary_readings_are_not_asked_about():
    assert why([0.0]) is None
    assert why([INCH / 8, INCH / 16]) is None
    assert why([INCH / 2], (1, 0.0), (2, INCH / 8)) is None
    assert why([-INCH / 8]) is None


def test_repeats_further_apart_than_four_spreads():
    assert why([0.0, 4.1 * SPREAD]) == ("apart", None)
    assert why([0.0, 3.9 * SPREAD]) is None


def test_a_lip_deep_under_still_water_would_still_run():
    assert why([-CAPILLARY_HEAD - 1e-6]) == ("under water", None)
    assert why([-CAPILLARY_HEAD + 1e-6]) is None


def test_more_than_a_full_travel_over_the_lowest_lip():
    assert why([INCH + 1.1 * SPREAD]) == ("reach", None)
    assert why([INCH + 0.9 * SPREAD]) is None


def test_two_inserts_that_cannot_meet():
    # this hole is down and only goes up, the other is up and only goes down
    clocks = [0.0, np.pi, 0.0, 0.0]
    assert why([0.5 * INCH], (1, 0.0), clocks=clocks) == ("reach", 1)
    assert why([0.5 * INCH], (1, 0.5 * INCH), clocks=clocks) is None


@pytest.mark.parametrize("point_over_lip", [HOLE.top / 2, HOLE.top])
def test_the_lip_counts_whichever_point_was_read(point_over_lip):
    from dataclasses import replace

    place = box([None] * 4, clocks=0.0, spread=SPREAD)
    read_higher = replace(
        place,
        outlets=tuple(replace(o, point_over_lip=point_over_lip) for o in place.outlets),
    )
    now = begin(read_higher).now
    assert now.doubt(0, (point_over_lip + INCH / 8,)) is None
    assert now.doubt(0, (INCH / 8,)).why == "under water"


def test_a_fixed_insert_higher_than_its_hole():
    assert why([HOLE.top + 1e-6], offset=None) == ("high", None)
    assert why([HOLE.top - 1e-6], offset=None) is None
