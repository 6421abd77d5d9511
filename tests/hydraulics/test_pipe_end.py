"""A bare pipe end against 30-digit arithmetic, a plain slow reference and what must always hold."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq, minimize_scalar

from dbox.arrays import GRAVITY
from dbox.errors import DomainError, SolveError
from dbox.hydraulics.openings import pipe_end
from dbox.hydraulics.openings.pipe_end import PipeEnd
from dbox.hydraulics.pipes import area
from tests.hydraulics.boxes import pipe_width

DIAMETER = 0.1022604
MOUTH = PipeEnd(DIAMETER)
LOSSES = [0.0, 0.2, 0.5, 2.0]
GPM = 231 * 0.0254**3 / 60

losses = st.sampled_from(LOSSES)


def exact(head: float, diameter: float, loss: float) -> tuple[mpmath.mpf, mpmath.mpf]:
    """Flow and slope to 30 digits: the half-angle by bisection, the slope by its definition."""
    size, g, resistance = mpmath.mpf(diameter), mpmath.mpf(GRAVITY), 1 + mpmath.mpf(loss)

    def elements(phi: mpmath.mpf) -> tuple[mpmath.mpf, mpmath.mpf, mpmath.mpf]:
        water = size * mpmath.sin(phi / 2) ** 2
        wet = size**2 / 4 * (phi - mpmath.sin(phi) * mpmath.cos(phi))
        return water, wet, size * mpmath.sin(phi)

    def head_at(phi: mpmath.mpf) -> mpmath.mpf:
        water, wet, width = elements(phi)
        return water + resistance * wet / (2 * width)

    def flow_at(phi: mpmath.mpf) -> mpmath.mpf:
        _, wet, width = elements(phi)
        return mpmath.sqrt(g * wet**3 / width)

    with mpmath.workdps(60):
        low, high = mpmath.mpf("1e-8"), mpmath.pi - mpmath.mpf("1e-8")
        phi = mpmath.findroot(
            lambda x: head_at(x) - head, (low, high), solver="anderson", tol=1e-80
        )
        return flow_at(phi), mpmath.diff(flow_at, phi) / mpmath.diff(head_at, phi)


@pytest.mark.parametrize("loss", LOSSES)
def test_flow_and_slope_to_twelve_digits(loss: float) -> None:
    many = DIAMETER * np.array([1e-8, 1e-5, 1e-3, 0.02, 0.03, 0.05, 0.3, 0.7, 1, 1.3, 3, 20, 100])
    flow, slope = np.array([exact(head, DIAMETER, loss) for head in many], dtype=float).T
    mouth = PipeEnd(DIAMETER, entrance_loss=loss)
    np.testing.assert_allclose(mouth.discharge(many), flow, rtol=1e-13)
    np.testing.assert_allclose(mouth.slope(many), slope, rtol=1e-12)


def test_excess_on_both_sides_of_its_series() -> None:
    many = np.array([*np.geomspace(1e-12, 1e12, 49), 1 / 64, np.nextafter(1 / 64, 0)])
    with mpmath.workdps(40):
        roots = [mpmath.sqrt(mpmath.mpf(p)) for p in many]
        true = [float((1 + root**2) * mpmath.atan(root) / root - 1) for root in roots]
    # the difference on the upper side of 1/64 costs two digits, which the head hardly feels
    np.testing.assert_allclose(pipe_end._excess(many), true, rtol=5e-14)


def test_one_nanometre_of_head() -> None:
    low_head_law = math.sqrt(6) / 4 * math.sqrt(GRAVITY * DIAMETER) * 1e-9**2
    # the next term of the series is a few tenths of head over diameter
    assert float(MOUTH.discharge(1e-9)) == pytest.approx(low_head_law, rel=1e-8)


def test_far_over_the_crown_it_is_a_jet_of_the_pipes_width() -> None:
    head = 1e4 * DIAMETER
    jet = np.pi / 4 * DIAMETER**2 * np.sqrt(2 * GRAVITY * (head - DIAMETER))
    assert float(MOUTH.discharge(head)) == pytest.approx(jet, rel=1e-8)
    assert np.all(np.isfinite(MOUTH.discharge([1e9, 1e100, 1e300])))


def test_a_flow_worked_by_hand() -> None:
    # mouth half full: A = pi D^2/8, T = D, so h = D/2 + pi D/16 and Q = sqrt(g A^3 / D)
    head = DIAMETER / 2 + np.pi * DIAMETER / 16
    flow = math.sqrt(GRAVITY * (math.pi / 8) ** 3 * DIAMETER**5)
    assert float(MOUTH.discharge(head)) == pytest.approx(flow, rel=1e-14)
    lossy = PipeEnd(DIAMETER, entrance_loss=0.5)
    assert float(lossy.discharge(head + np.pi * DIAMETER / 32)) == pytest.approx(flow, rel=1e-14)


def test_description() -> None:
    assert MOUTH.top == DIAMETER
    assert MOUTH.measured_heads == (0.0, DIAMETER)
    assert PipeEnd(0.1) == PipeEnd(0.1)
    assert PipeEnd(0.1) != PipeEnd(0.1, entrance_loss=0.5)


@pytest.mark.parametrize("bad", [0.0, -1.0, np.nan, np.inf])
def test_impossible_pipes_are_refused(bad: float) -> None:
    with pytest.raises(DomainError, match="diameter"):
        PipeEnd(bad)
    with pytest.raises(DomainError, match="coefficient"):
        PipeEnd(0.1, coefficient=bad)
    if bad != 0:
        with pytest.raises(DomainError, match="entrance_loss"):
            PipeEnd(0.1, entrance_loss=bad)


def test_search_cut_short_is_an_error(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pipe_end, "_MOST_STEPS", 1)
    with pytest.raises(SolveError, match=r"head of 1\.5 diameters"):
        MOUTH.discharge(1.5 * DIAMETER)


def reference(head: float, tailwater: float, diameter: float, loss: float) -> float:
    """Critical depth by bracketing in depth, then the two equations as they are written."""

    def head_at(depth: float) -> float:
        wet, width = float(area(depth, diameter)), float(pipe_width(depth, diameter))
        return depth + (1 + loss) * wet / (2 * width)

    if tailwater >= head:
        return 0.0
    depth = brentq(lambda y: head_at(y) - head, 1e-12, diameter * (1 - 1e-12), xtol=1e-17)
    free = math.sqrt(
        GRAVITY * float(area(depth, diameter)) ** 3 / float(pipe_width(depth, diameter))
    )
    if tailwater <= depth:
        return free
    wet = float(area(tailwater, diameter))
    return min(free, wet * math.sqrt(2 * GRAVITY * (head - tailwater) / (1 + loss)))


@given(
    head=st.floats(1e-4, 2.0),
    part=st.floats(-0.5, 1.2),
    diameter=st.floats(0.03, 0.3),
    loss=st.floats(0.0, 2.0),
)
def test_free_and_drowned(head: float, part: float, diameter: float, loss: float) -> None:
    mouth = PipeEnd(diameter, entrance_loss=loss)
    found = float(mouth.discharge(head, part * head))
    # brentq finds depth to 1e-15 m or so; flow is 1.5 to 4 times as sensitive
    assert found == pytest.approx(reference(head, part * head, diameter, loss), rel=1e-8, abs=1e-18)


@given(head=st.floats(1e-3, 0.5))
def test_without_loss_it_is_the_greatest_flow_for_the_head(head: float) -> None:
    def flow(depth: float) -> float:
        return float(area(depth, DIAMETER)) * math.sqrt(2 * GRAVITY * max(head - depth, 0.0))

    most = min(head, DIAMETER)
    best = minimize_scalar(
        lambda y: -flow(y), bounds=(0, most), method="bounded", options={"xatol": 1e-9 * most}
    )
    assert float(MOUTH.discharge(head)) == pytest.approx(-best.fun, rel=1e-9)


@given(head=st.floats(1e-4, 1.0), part=st.floats(-0.5, 0.99), loss=losses)
def test_slope_is_the_difference_quotient(head: float, part: float, loss: float) -> None:
    mouth = PipeEnd(DIAMETER, entrance_loss=loss)
    tailwater = part * head
    step = 1e-5 * (head - max(tailwater, 0.0))
    behind, here, ahead = mouth.discharge([head - step, head, head + step], tailwater)
    slope = float(mouth.slope(head, tailwater))
    left, right = (here - behind) / step, (ahead - here) / step
    # a kink where the tailwater takes over may lie between the three heads
    assert min(left, right) * (1 - 1e-4) <= slope <= max(left, right) * (1 + 1e-4)


def test_with_a_loss_the_flow_is_held_at_the_free_one() -> None:
    # at 0.7 h the drowned equation alone gives more than the free flow, at 0.95 h less
    mouth = PipeEnd(DIAMETER, entrance_loss=2.0)
    free, held, drowned = mouth.discharge(0.05, [-1.0, 0.7 * 0.05, 0.95 * 0.05])
    assert held == free
    wet = float(area(0.95 * 0.05, DIAMETER))
    assert drowned == pytest.approx(wet * math.sqrt(2 * GRAVITY * 0.0025 / 3), rel=1e-12)
    assert drowned < free


@given(head=st.floats(1e-6, 1.0), loss=losses)
def test_no_step_where_the_tailwater_takes_over(head: float, loss: float) -> None:
    mouth = PipeEnd(DIAMETER, entrance_loss=loss)
    tailwater = np.linspace(0.0, head, 4001)
    flow = mouth.discharge(head, tailwater)
    # between neighbours no larger a step than at the far end, where it falls as a square root
    assert np.max(-np.diff(flow)) <= 1.01 * flow[-2]


@given(fall=st.floats(1e-9, 1.0), loss=losses)
def test_deep_under_water_only_the_fall_counts(fall: float, loss: float) -> None:
    flow = np.pi / 4 * DIAMETER**2 * math.sqrt(2 * GRAVITY * fall / (1 + loss))
    mouth = PipeEnd(DIAMETER, entrance_loss=loss)
    found, slope = mouth.rating(np.array([2.0 + fall]), np.array([fall]))
    assert found[0] == pytest.approx(flow, rel=1e-13)
    assert slope[0] == pytest.approx(flow / (2 * fall), rel=1e-13)


def test_thirty_digit_values_at_half_inch_to_two_inches() -> None:
    # computed apart from this code with mpmath from the equations, inside diameter 4.026 in
    found = PipeEnd(4.026 * 0.0254).discharge(np.array([0.5, 1.0, 2.0]) * 0.0254) / GPM
    assert found == pytest.approx([1.52329326, 5.90994683, 22.1018002], rel=3e-9)
