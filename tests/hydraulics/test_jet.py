"""The inlet jet: its laws at known places, and what takes part in it."""

from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle
from dbox.arrays import GRAVITY
from dbox.errors import DomainError
from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.parts import SupplyPipe
from dbox.hydraulics.surge.stepper import surge
from tests.hydraulics.surges import box_alone

PIPE = SupplyPipe(length=9.0, diameter=0.1, fall=0.01)


def jet(distance, offset=(0.0,), facing=(1.0,)) -> Jet:
    parts = np.broadcast_arrays(
        np.array(distance, float), np.array(offset, float), np.array(facing, float)
    )
    return Jet(pipe=PIPE, distance=parts[0], offset=parts[1], facing=parts[2])


def start(flow: float) -> tuple[float, float]:
    """Velocity in the pipe, and diameter of a circle as large as the flow's area."""
    velocity = float(PIPE.velocity(np.array(flow)))
    return velocity, float(np.sqrt(4 / np.pi * flow / velocity))


def test_core_then_decay_with_distance() -> None:
    """Exact: U0 in the core, 6.2 D / x of it beyond."""
    flow = 3e-4
    velocity, size = start(flow)
    heads = jet([3 * size, 12.4 * size]).heads(flow)
    assert heads == pytest.approx(np.array([1.0, 0.25]) * velocity**2 / (2 * GRAVITY))


def test_half_the_velocity_at_the_half_width() -> None:
    flow = 3e-4
    velocity, size = start(flow)
    far = 12.4 * size
    head = jet([far], [0.1 * far]).heads(flow)
    assert head == pytest.approx((0.25 * velocity) ** 2 / (2 * GRAVITY))


def test_before_it_widens_its_half_width_is_half_its_diameter() -> None:
    """At three diameters a tenth of the distance is less than what the jet has from the pipe."""
    flow = 3e-4
    velocity, size = start(flow)
    head = jet([3 * size], [size / 2]).heads(flow)
    assert head == pytest.approx((0.5 * velocity) ** 2 / (2 * GRAVITY))


def test_nothing_where_nothing_flows_or_nothing_faces_it() -> None:
    assert jet([0.3, 0.4]).heads(0.0).tolist() == [0.0, 0.0]
    assert jet([0.3, 0.3], facing=[0.0, -1.0]).heads(1e-3).tolist() == [0.0, 0.0]


def test_more_flow_is_more_head_everywhere() -> None:
    heads = jet([0.2, 0.4], [0.0, 0.03]).heads(np.geomspace(1e-6, 1e-2, 40))
    assert np.all(np.diff(heads, axis=0) > 0)


def test_a_jet_favours_what_it_strikes_and_the_more_so_the_stronger_it_is() -> None:
    """Exact: the struck outlet's share grows with flow; without a jet it is a third."""
    box = box_alone([0.0] * 3, [Circle(0.05)] * 3)
    struck = replace(box, jet=jet([0.4] * 3, [0.2, 0.0, 0.2]))
    shares = [
        surge(struck, steady(flow, 600.0), seconds=900.0).share for flow in (5e-5, 3e-4, 1.5e-3)
    ]
    assert np.all(np.diff([share[1] for share in shares]) > 0)
    assert shares[0][1] > 1 / 3
    assert surge(box, steady(3e-4, 600.0), seconds=900.0).share == pytest.approx([1 / 3] * 3)


def test_a_jet_that_cannot_be_is_refused() -> None:
    with pytest.raises(DomainError):
        Jet(pipe=PIPE, distance=np.zeros(2), offset=np.zeros(3), facing=np.zeros(2))
