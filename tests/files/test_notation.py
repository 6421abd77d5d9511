"""What is printed is what is read: words out of `notation` come back through `units`."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox import units
from dbox import units as notation
from dbox.lengths import PLAIN

metres = st.floats(-1.0, 1.0)


@pytest.mark.parametrize(
    ("sixteenths", "text"),
    [
        (0, "0 in"), (1, "1/16 in"), (2, "1/8 in"), (4, "1/4 in"), (8, "1/2 in"), (16, "1 in"),
        (19, "1-3/16 in"), (-1, "-1/16 in"), (-19, "-1-3/16 in"), (-32, "-2 in"),
    ],
)  # fmt: skip
def test_inches_in_lowest_terms(sixteenths: int, text: str) -> None:
    """Exact: by hand."""
    assert notation.inches(sixteenths * 0.0254 / 16) == text


def test_signs_are_given_where_asked_for() -> None:
    """Exact: by hand."""
    assert PLAIN.both(0.0047625, signed=True) == "+3/16 in (+4.8 mm)"
    assert PLAIN.both(-0.0047625) == "-3/16 in (-4.8 mm)"
    assert PLAIN.both(0.0, signed=True) == "0 in (0.0 mm)"
    assert PLAIN.both(-0.00001) == "0 in (0.0 mm)"


@given(metres)
def test_inches_come_back_within_half_a_sixteenth(value: float) -> None:
    """Exact: the nearest sixteenth is at most 1/32 in away."""
    back = units.length(notation.inches(value))
    assert abs(back - value) <= 0.0254 / 32 * (1 + 1e-9)


@given(metres)
def test_millimetres_come_back_within_half_a_tenth(value: float) -> None:
    """Exact: by rounding."""
    assert abs(units.length(notation.millimetres(value)) - value) <= 0.00005001


@given(st.integers(-800, 800))
def test_sixteenths_come_back_whole(sixteenths: int) -> None:
    """Exact: a ruler's mark is printed without loss."""
    value = sixteenths * 0.0254 / 16
    assert units.length(notation.inches(value)) == pytest.approx(value, abs=1e-15)


@given(st.floats(1e-8, 0.9))
def test_flows_come_back_to_three_digits(inflow: float) -> None:
    """Exact: three digits are within 1 in 200."""
    assert units.flow(notation.gpm(inflow)) == pytest.approx(inflow, rel=0.00501)
    assert units.flow(notation.litres_per_min(inflow)) == pytest.approx(inflow, rel=0.00501)


@pytest.mark.parametrize(
    ("inflow", "text"), [("30 gpm", "30 gpm"), ("0.5 gpm", "0.5 gpm"), ("0 gpm", "0 gpm")]
)
def test_flows_without_idle_zeros(inflow: str, text: str) -> None:
    """Exact: by hand."""
    assert notation.gpm(units.flow(inflow)) == text


@given(st.integers(1, 12), st.integers(0, 59))
def test_clock_positions_come_back(hour: int, minute: int) -> None:
    """Exact: every minute of the face."""
    text = f"{hour}:{minute:02d}"
    assert notation.clock_text(units.clock(text)) == text


@given(st.floats(-20.0, 20.0))
def test_any_angle_has_a_clock_position(angle: float) -> None:
    """Exact: within half a minute of the face, whole turns aside."""
    back = units.clock(notation.clock_text(angle))
    assert abs(math.remainder(back - angle, math.tau)) <= math.pi / 720 + 1e-9
