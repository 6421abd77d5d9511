"""The search for the water level: what it reports, and that it does not give up or pretend."""

from dataclasses import dataclass

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mpmath import mp

from dbox import Circle, Notch, Opening, PipeEnd, Slot, SolveError, split
from dbox.arrays import GRAVITY
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


def test_a_trickle_over_a_notch_beside_a_drowned_hole():
    """The level is 7e-11 m over the hole's tailwater; one rounding of it is 8e-10 of the inflow.

    By hand: at its tailwater the hole passes nothing; the notch passes what it does at that level
    (the hair more is 3e-7 of it), the hole the rest.
    """
    inflow, tail, lip, notch = 4.131253627777264e-08, 0.033203125, 0.032633189671182214, Notch(1.0)
    result = split(inflow, [0.0, lip], [Circle(0.0625), notch], [tail, -np.inf])
    assert result.imbalance <= 1e-10
    by_notch = float(notch.discharge(tail - lip))
    assert result.flow.tolist() == pytest.approx([inflow - by_notch, by_notch], rel=1e-6)
    assert float(result.level) == pytest.approx(tail, rel=1e-8)
    assert result.level > tail


def exact_flow(kind, head, tail):
    """C sqrt(2 g) times the integral of b(z) sqrt(h - max(z, t)), in closed form, to mp.dps digits.

    A round hole only where it is wholly drowned, C A sqrt(2 g fall).
    """
    if head <= max(tail, 0):
        return mpmath.mpf(0)
    tail = max(tail, mpmath.mpf(0))
    fall = head - tail
    root = mpmath.sqrt(fall)
    if isinstance(kind, Circle):
        assert tail >= kind.diameter
        integral = mpmath.pi / 4 * mpmath.mpf(kind.diameter) ** 2 * root
    elif isinstance(kind, Slot):
        integral = mpmath.mpf(kind.width) * (tail + 2 * fall / 3) * root
    else:
        above = 2 * (head * fall * 2 / 3 - fall**2 * 2 / 5)
        integral = mpmath.tan(mpmath.mpf(kind.angle) / 2) * (tail**2 + above) * root
    return mpmath.mpf(kind.coefficient) * mpmath.sqrt(2 * mpmath.mpf(GRAVITY)) * integral


def exact_split(inflow, lips, kinds, tails):
    """Level and flows by halving, to mp.dps digits."""

    def flows(level):
        return [
            exact_flow(kind, level - lip, mpmath.mpf(tail) - lip if tail > -np.inf else -1)
            for kind, lip, tail in zip(kinds, lips, tails, strict=True)
        ]

    low = mpmath.mpf(min(max(lip, tail) for lip, tail in zip(lips, tails, strict=True)))
    high = low + 1
    for _ in range(205):  # 2^-205 m is 2e-62 m
        middle = (low + high) / 2
        low, high = (middle, high) if sum(flows(middle)) < inflow else (low, middle)
    return low, [float(q) for q in flows(low)]


# sums of few powers of two: neither these nor their differences round
far = st.integers(0, 2**16).map(lambda k: k / 2**20)
hair = st.integers(0, 3).map(lambda k: k / 2**52)
near = st.builds(lambda rough, fine: rough + fine, st.sampled_from([0.03125, 0.0625]) | far, hair)
free_ways = st.tuples(
    st.builds(Notch, st.floats(0.2, 2.6), coefficient=st.floats(0.3, 0.9))
    | st.builds(Slot, st.floats(1e-4, 0.2), coefficient=st.floats(0.3, 0.9)),
    near,
    st.just(-np.inf),
)
drowned_ways = st.tuples(
    st.builds(Notch, st.floats(0.2, 2.6), coefficient=st.floats(0.3, 0.9))
    | st.builds(Slot, st.floats(1e-4, 0.2), coefficient=st.floats(0.3, 0.9)),
    near,
    near,
) | st.tuples(
    st.builds(Circle, st.floats(0.01, 0.03), coefficient=st.floats(0.3, 0.9)),
    near.map(lambda h: h - 0.0625),
    near.map(lambda h: h + 0.03125),
)


@pytest.mark.slow
@given(
    st.lists(free_ways, min_size=1, max_size=2),
    st.lists(drowned_ways, min_size=1, max_size=2),
    st.floats(-14, 0),
    st.booleans(),
)
def test_faint_flows_past_drowned_and_free_outlets_to_60_digits(free, drowned, power, over_tail):
    """The inflow is faint, or by a faint part more than what runs at the highest tailwater."""
    kinds, lips, tails = (list(each) for each in zip(*free, *drowned, strict=True))
    inflow = 1e-5 * 10.0**power
    if over_tail:
        at = max(tails)
        runs = [k.discharge(at - z, t - z) for k, z, t in zip(kinds, lips, tails, strict=True)]
        inflow = float(sum(runs)) * (1 + 10.0**power)
    inflow = max(inflow, 1e-20)  # falls go with its square: 60 digits resolve no less
    result = split(inflow, lips, kinds, tails)
    with mp.workdps(60):
        height, flows = exact_split(mpmath.mpf(inflow), lips, kinds, tails)
        still = min(max(lip, tail) for lip, tail in zip(lips, tails, strict=True))
        off, over = float(float(result.level) - height), float(height - still)
    assert abs(off) <= 1e-10 * over + 1e-16  # heights are written to a rounding of a decimetre
    assert result.imbalance <= 1e-10
    # all outlets err to one side together, so none by more than the balance
    np.testing.assert_allclose(result.flow, flows, rtol=1e-12, atol=1.001e-10 * inflow)
