"""The septic tank: what it holds back, and its filter."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from dbox import PipeEnd
from dbox.errors import DomainError
from dbox.hydraulics.surge.parts import Tank
from tests.hydraulics.surges import route


def test_filter_loss_grows_with_the_square_of_the_velocity_in_its_open_slots() -> None:
    """Half of the slots open: twice the velocity, four times the loss."""
    clean = Tank(area=3.0, outlet=0.1, filter_loss=2.0)
    assert clean.opening() == PipeEnd(0.1, entrance_loss=2.0)
    half = Tank(area=3.0, outlet=0.1, filter_loss=2.0, clogged=0.5)
    assert half.opening().entrance_loss == pytest.approx(4 * 2.0)


def test_a_clogged_filter_stands_the_tank_higher_and_lets_less_out() -> None:
    peaks, flows = [], []
    for clogged in (0.0, 0.5, 0.9):
        pool = Tank(area=3.0, outlet=0.1, filter_loss=2.0, clogged=clogged).pool()
        outflow, level = route(np.append(np.full(31, 3e-4), np.zeros(30)), 10.0, pool)
        peaks.append(level.max())
        flows.append(outflow.max())
    assert peaks == sorted(peaks)
    assert flows == sorted(flows, reverse=True)


def test_a_flush_through_the_tank() -> None:
    """Against scipy on the exact rating."""
    tank = Tank(area=3.7, outlet=0.1022604)
    inflow, seconds = 1.9e-4, 86.0

    def change(_, level):
        return (inflow - tank.opening().discharge(np.maximum(level, 0.0))) / tank.area

    plain = solve_ivp(change, (0, seconds), [0.0], rtol=1e-10, atol=1e-14).y[0, -1]
    _, level = route(np.full(101, inflow), seconds / 100, tank.pool())
    assert level[-1] == pytest.approx(plain, rel=1e-5)


@pytest.mark.parametrize(
    "sizes",
    [
        {"area": 0.0, "outlet": 0.1},
        {"area": 3.0, "outlet": -0.1},
        {"area": 3.0, "outlet": 0.1, "clogged": 1.0},
        {"area": 3.0, "outlet": 0.1, "filter_loss": -1.0},
    ],
)
def test_a_tank_that_cannot_be_is_refused(sizes) -> None:
    with pytest.raises(DomainError):
        Tank(**sizes)
