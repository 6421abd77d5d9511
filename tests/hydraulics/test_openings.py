"""Thin-plate openings: what must always hold, and the slope against the discharge."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from dbox import Circle, DomainError, Notch, Opening, PipeEnd, Slot
from dbox.hydraulics.openings.plates import SHEN_HEADS
from dbox.report.wording import sentences

from .boxes import openings, plates

heads = st.floats(1e-9, 10.0)
fractions = st.floats(0.0, 0.999)


def kinks(opening: Opening, tail: float) -> list[float]:
    """Heads at which the slope itself may jump or bend sharply."""
    low, high = opening.measured_heads
    return [low, high, opening.top, tail]


@given(plates, heads, st.floats(0, 0.98) | st.just(-1.0))
def test_the_slope_is_the_derivative_of_the_discharge(opening, head, tail_over_head):
    """Fourth-order central difference, well away from kinks: good to about 1e-10."""
    tail = tail_over_head * head
    gap = min(abs(head - k) for k in [*kinks(opening, tail), 0.0])
    assume(gap > 0.01 * head)
    step = 0.002 * gap
    at = opening.discharge(head + step * np.array([-2, -1, 1, 2]), tail)
    numeric = (at[0] - 8 * at[1] + 8 * at[2] - at[3]) / (12 * step)
    # slots and notches that hold a small flow in a deep head keep fewer digits of the difference
    noise = 1e-13 * float(opening.discharge(head, tail)) / step
    assert float(opening.slope(head, tail)) == pytest.approx(numeric, rel=2e-9, abs=noise)


@given(openings, heads, heads, fractions)
def test_more_head_never_gives_less_flow(opening, head, more, tail_over_head):
    low, high = sorted([head, more])
    tail = tail_over_head * low
    for t in (None, tail):
        # by no more than the rounding of nearly equal heads
        assert opening.discharge(high, t) >= opening.discharge(low, t) * (1 - 1e-13)
        assert opening.slope(low, t) >= 0


@given(openings, heads, st.floats(-0.1, 4.0), st.floats(-0.1, 4.0))
def test_more_tailwater_never_gives_more_flow(opening, head, tail, more):
    low, high = sorted([tail, more])
    free = opening.discharge(head)
    drowned = opening.discharge(head, [low, high])
    assert drowned[1] <= drowned[0] * (1 + 1e-12)
    assert drowned[0] <= free * (1 + 1e-12)


@given(openings, heads, st.floats(-5.0, 0.0) | st.just(-np.inf))
def test_tailwater_below_the_lip_does_nothing(opening, head, tail):
    # numpy raises single numbers and arrays to a power by different routines
    assert opening.discharge(head, tail) == pytest.approx(opening.discharge(head), rel=1e-15)
    assert opening.slope(head, tail) == pytest.approx(opening.slope(head), rel=1e-15)


@given(openings, heads, st.floats(0.0, 1.0))
def test_nothing_flows_where_the_tailwater_stands_as_high(opening, head, more):
    assert opening.discharge(head, head + more) == 0
    assert opening.slope(head, head + more) == 0


@given(openings, st.floats(-1e6, 0.0) | st.just(-np.inf), st.none() | st.floats(-1, 1))
def test_nothing_flows_over_a_dry_lip(opening, head, tail):
    assert opening.discharge(head, tail) == 0
    assert opening.slope(head, tail) == 0


@given(openings, heads)
def test_drowning_begins_without_a_step(opening, head):
    """A tailwater of h/10,000 over the lip takes off at most a few ten-thousandths."""
    free, drowned = opening.discharge(head, [0.0, 1e-4 * head])
    assert drowned == pytest.approx(free, rel=1e-3)


@given(openings, st.floats(-1e6, 1e6), st.none() | st.floats(-1e6, 1e6))
def test_never_negative_never_nan(opening, head, tail):
    for value in (opening.discharge(head, tail), opening.slope(head, tail)):
        assert np.isfinite(value)
        assert value >= 0


TINY_AND_HUGE = [5e-324, 1e-310, 1e-200, 1e-30, 1e-9, 1e3, 1e6]


@pytest.mark.parametrize(
    "opening",
    [Circle(0.05), Circle(0.05, coefficient=0.6), Slot(0.02), Slot(0.02, 0.01), Notch(1.0)],
    ids=repr,
)
def test_finite_from_the_least_number_to_a_thousand_kilometres(opening):
    for head in TINY_AND_HUGE:
        tails = [-1.0, 0.0, 0.5 * head, head * (1 - 1e-15), head, 2 * head]
        values = [opening.discharge(head, tails), opening.slope(head, tails)]
        assert np.all(np.isfinite(values))
        assert np.all(np.asarray(values) >= 0)


@pytest.mark.parametrize(
    ("opening", "law", "ends"),
    [
        (Circle(0.05), Circle(0.05, coefficient=1.0), (0.005, 0.05)),
        (Notch(1.0), Notch(1.0, coefficient=1.0), SHEN_HEADS),
        (Slot(0.2), Slot(0.2, coefficient=1.0), (0.03, np.inf)),
    ],
    ids=repr,
)
def test_coefficients_are_held_at_the_ends_of_their_range(opening, law, ends):
    def coefficient(head):
        return float(opening.discharge(head) / law.discharge(head))

    low, high = ends
    assert coefficient(0.01 * low) == pytest.approx(coefficient(low), rel=1e-13)
    assert coefficient(1.1 * low) != pytest.approx(coefficient(low), rel=1e-5)
    if high < np.inf:
        assert coefficient(20 * high) == pytest.approx(coefficient(high), rel=1e-13)
        assert coefficient(0.9 * high) != pytest.approx(coefficient(high), rel=1e-5)
    assert opening.measured_heads == pytest.approx(ends)


@given(openings, st.floats(0.3, 0.9), heads, st.none() | fractions)
def test_the_users_coefficient_is_a_factor(opening, coefficient, head, part):
    typed, unit = (replace(opening, coefficient=value) for value in (coefficient, 1.0))
    tail = None if part is None else part * head
    for ask in ("discharge", "slope"):
        whole = getattr(unit, ask)(head, tail)
        assert getattr(typed, ask)(head, tail) == pytest.approx(coefficient * whole, rel=1e-14)


@given(plates)
def test_the_users_coefficient_holds_at_any_head(opening):
    typed = replace(opening, coefficient=0.6)
    assert typed.measured_heads == (0.0, np.inf)
    assert typed.cautions == ()


@given(openings, st.lists(st.floats(-0.1, 0.5), min_size=1, max_size=8), fractions)
def test_any_shape_equals_one_by_one(opening, many, tail_over_head):
    column, tails = np.array(many)[:, None], np.array([-1.0, 0.01, tail_over_head])
    for ask in (opening.discharge, opening.slope):
        table = ask(column, tails)
        assert table.shape == (len(many), 3)
        one_by_one = [[float(ask(h, t)) for t in tails] for h in many]
        np.testing.assert_allclose(table, one_by_one, rtol=1e-14)
        assert ask(column).shape == column.shape
        assert ask([]).shape == (0,)
        assert np.shape(ask(0.1)) == np.shape(ask(0.1, 0.05)) == ()


@given(openings, st.floats(0, 0.5), st.floats(0.001, 0.499))
def test_input_is_left_alone(opening, head, tail):
    heads_, tails = np.array([head, -0.1]), np.array([tail, tail])
    before = heads_.copy(), tails.copy()
    opening.discharge(heads_, tails)
    opening.slope(heads_, tails)
    np.testing.assert_array_equal((heads_, tails), before)


@pytest.mark.parametrize("ask", ["discharge", "slope"])
@pytest.mark.parametrize(
    ("head", "tail", "message"),
    [
        (np.nan, None, "a head is not a number"),
        ([0.1, np.inf], None, "a head is not a number or is infinite"),
        (np.nan, 0.0, "a head is not a number"),
        (0.1, np.nan, "a tailwater is not a number"),
        (0.1, [0.0, np.inf], "a tailwater is not a number"),
    ],
)
def test_not_a_number_is_refused(ask, head, tail, message):
    for opening in (Circle(0.05), Slot(0.02), Notch(1.0), PipeEnd(0.1)):
        with pytest.raises(DomainError, match=message):
            getattr(opening, ask)(head, tail)


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Circle(0.0), r"diameter \[m\] is 0.0"),
        (lambda: Circle(np.nan), "diameter"),
        (lambda: Circle(np.inf), "diameter"),
        (lambda: Circle(0.05, coefficient=0.0), r"coefficient \[-\] is 0.0"),
        (lambda: Circle(0.05, coefficient=-0.6), "coefficient"),
        (lambda: Circle(0.05, coefficient=np.nan), "coefficient"),
        (lambda: Notch(0.0), "notch angle is 0.0 rad"),
        (lambda: Notch(np.pi), "between 0 and pi"),
        (lambda: Notch(np.nan), "notch angle"),
        (lambda: Notch(1.0, coefficient=np.inf), "coefficient"),
        (lambda: Slot(-0.01), r"slot width \[m\] is -0.01"),
        (lambda: Slot(0.01, 0.0), r"slot height \[m\] is 0.0"),
        (lambda: Slot(0.01, np.nan), "slot height"),
        (lambda: Slot(0.01, coefficient=0.0), "coefficient"),
    ],
)
def test_impossible_openings_are_refused(make, message):
    with pytest.raises(DomainError, match=message):
        make()


def test_openings_are_values():
    assert Circle(0.05) == Circle(0.05) != Circle(0.05, coefficient=0.6)
    assert hash(Slot(0.02)) == hash(Slot(0.02))
    with pytest.raises(AttributeError):
        Circle(0.05).diameter = 0.06


def test_cautions_name_the_size_that_is_out_of_range():
    (notch,) = sentences(Notch(np.radians(120)).cautions)
    assert "120 deg is outside the 25 to 100 deg" in notch
    (slot,) = sentences(Slot(0.02).cautions)
    assert "20 mm wide is narrower than the 150 mm" in slot
    assert Notch(np.radians(60)).cautions == Slot(0.15).cautions == Circle(0.05).cautions == ()


def test_an_opening_without_an_outline_is_not_drawn_as_another():
    """A shape of somebody's own, such as a part of a circle, is refused by its name."""

    class Gap(Circle):
        outline = Opening.outline
        widened = Opening.widened

    with pytest.raises(NotImplementedError, match="Gap has no outline"):
        Gap(0.05).outline(0.1)
    with pytest.raises(NotImplementedError, match="Gap is not made wider"):
        Gap(0.05).widened(1.1)
