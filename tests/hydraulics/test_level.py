"""The search for the water level: what it reports, and that it does not give up or pretend."""

from dataclasses import dataclass

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import Circle, Notch, Opening, PipeEnd, Slot, SolveError, split
from dbox.hydraulics import split as level
from dbox.hydraulics.split import OutletSet, find_height

from .boxes import inflows, openings

HOLE = Circle(0.0508, coefficient=0.6)
KINDS = (HOLE, Slot(0.02), HOLE, Notch(1.0), PipeEnd(0.1), Slot(0.02))


@given(st.lists(st.floats(-0.05, 0.2), min_size=6, max_size=6), st.floats(-0.05, 0.2))
def test_outlets_rated_together_or_one_by_one(heads, tail):
    head = np.array(heads)[:, None]
    fall = np.where(head > 0, head - np.maximum(tail, 0.0), head)
    for falls in (None, fall):
        flow, slope = OutletSet(KINDS).rating(head, falls)
        for i, kind in enumerate(KINDS):
            single = kind.rating(head[i], None if falls is None else falls[i])
            # how far the elliptic integrals are carried depends on their company
            np.testing.assert_allclose((flow[i], slope[i]), single, rtol=2e-14)


@given(st.lists(openings, min_size=1, max_size=4), inflows)
def test_find_height_from_still_water(kinds, inflow):
    lips = np.linspace(0.0, 0.01, len(kinds))
    height, flow = find_height(np.array([inflow]), lips[:, None], None, OutletSet(tuple(kinds)))
    by_hand = [float(k.discharge(height[0] - lip)) for k, lip in zip(kinds, lips, strict=True)]
    np.testing.assert_allclose(flow[:, 0], by_hand, rtol=1e-14)
    assert sum(by_hand) == pytest.approx(inflow, rel=1e-10)


def test_the_guess_for_slots_of_one_height_is_near():
    """Not its answer but its quality: within a tenth of the head over level lips."""
    slots = OutletSet((Slot(0.02, coefficient=0.6),) * 4)
    inflow = np.geomspace(1e-7, 1e-2, 9)
    exact = (inflow / slots.rating(np.ones((4, 1)), None)[0].sum()) ** (2 / 3)
    guess = slots.guess(inflow, np.zeros((4, 9)))
    np.testing.assert_allclose(guess, exact, rtol=0.1)


def test_too_few_steps_raise_with_bracket_and_residual(monkeypatch):
    monkeypatch.setattr(level, "_MOST_STEPS", 1)
    with pytest.raises(SolveError, match=r"in 1 steps: inflow 0.0001 m3/s, bracket .* residual"):
        split(1e-4, [0.0, 0.002], [HOLE, Slot(0.02)])


def test_no_height_that_balances_raises(monkeypatch):
    """With a balance asked for that no float can give, the search says so and does not pretend."""
    monkeypatch.setattr(level, "AIM", -1.0)
    monkeypatch.setattr(level, "BALANCE", -1.0)
    with pytest.raises(SolveError, match=r"no water level balances: inflow 0.0001 m3/s, bracket"):
        split(1e-4, [0.0, 0.002], HOLE)


@dataclass(frozen=True)
class Jump(Opening):
    """A square law that is ten times as much from a head of 10 mm on."""

    most: float
    top = np.inf
    measured_heads = (0.0, np.inf)

    def _free_rating(self, head):
        scale = np.where(head < 0.01, 0.1, 1.0) * self.most / 0.01**2
        return scale * head**2, 2 * scale * head

    def _drowned_rating(self, head, fall):
        raise NotImplementedError


@pytest.mark.parametrize("most", [1e-3, 1e-8, 1e-13])
def test_an_inflow_that_a_flow_jumps_over_is_refused_however_small(most):
    """At 10 mm the flow goes from a tenth of `most` to all of it: half of it has no level."""
    with pytest.raises(SolveError, match=r"no water level balances: .* bracket 0\.0?[01]"):
        split(0.5 * most, [0.0], Jump(most))
    assert split(0.05 * most, [0.0], Jump(most)).level == pytest.approx(0.01 * np.sqrt(0.5))
    assert split(2.0 * most, [0.0], Jump(most)).level == pytest.approx(0.01 * np.sqrt(2.0))


@pytest.mark.parametrize("inflow", [1e-300, 1e-100, 1e-30, 1e-12, 1.0, 1e3])
@pytest.mark.parametrize("tailwater", [None, [0.03, 0.04], [0.02, -np.inf]])
def test_absurd_flows_balance_or_are_refused(inflow, tailwater):
    for kind in set(KINDS):
        try:
            result = split(inflow, [0.0, 0.001], kind, tailwater)
        except SolveError as error:
            if inflow > 1e-100 or "bracket" not in str(error):
                raise  # only what is no flow at all may go unanswered
        else:
            assert result.imbalance <= 1e-10
