"""Section, uniform and critical flow of pipes: 30-digit arithmetic and plain slow references."""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from dbox.arrays import GRAVITY
from dbox.errors import DomainError, SolveError
from dbox.hydraulics import pipes
from dbox.hydraulics.openings.pipe_end import PipeEnd
from dbox.hydraulics.pipes import (
    CAPACITY,
    area,
    critical_depth,
    find_half_angle,
    full_flow,
    header_check,
    normal_depth,
    normal_velocity,
    segment,
)
from tests.hydraulics.boxes import pipe_width

DIAMETER = 0.1022604
SLOPE = 1 / 96

diameters = st.floats(0.03, 0.5)
slopes = st.floats(1e-4, 0.3)
parts = st.floats(1e-8, 1.07)


def test_segment_on_both_sides_of_its_series() -> None:
    phis = [*np.geomspace(1e-9, np.pi, 101), 0.25, np.nextafter(0.25, 0.0)]
    with mpmath.workdps(60):
        true = [float(mpmath.mpf(phi) - mpmath.sin(phi) * mpmath.cos(phi)) for phi in phis]
    np.testing.assert_allclose(segment(phis), true, rtol=1e-14)


def test_area_keeps_twelve_digits_from_a_film_to_full() -> None:
    for fill in (*np.geomspace(1e-6, 1.0, 61), 0.4999, 0.9, 0.999, 1 - 1e-6, 1 - 1e-9):
        with mpmath.workdps(30):
            size = mpmath.mpf(DIAMETER)
            phi = mpmath.acos(1 - 2 * mpmath.mpf(DIAMETER * fill) / size)
            true = size**2 / 4 * (phi - mpmath.sin(phi) * mpmath.cos(phi))
        assert abs(float(area(DIAMETER * fill, DIAMETER)) - true) <= 1e-12 * true


def test_area_outside_the_pipe_is_that_of_a_dry_or_a_full_one() -> None:
    assert area([-np.inf, -0.01, 0.0], DIAMETER).tolist() == [0.0, 0.0, 0.0]
    assert area([1.0, np.inf], DIAMETER) == pytest.approx([np.pi / 4 * DIAMETER**2] * 2)
    assert area([[0.02], [0.03]], [0.1, 0.2, 0.3]).shape == (2, 3)
    assert area(np.zeros((0, 4)), 0.1).shape == (0, 4)


@given(fill=st.floats(1e-5, 1.0), diameter=st.floats(0.01, 2.0))
def test_area_is_the_integral_of_the_width(fill: float, diameter: float) -> None:
    depth = fill * diameter
    # with z = depth x^2 the integrand is smooth at the invert
    value, _ = quad(lambda x: 2 * depth * x * float(pipe_width(depth * x * x, diameter)), 0, 1)
    assert area(depth, diameter) == pytest.approx(value, rel=1e-7)


@given(st.lists(st.floats(-0.1, 0.2), min_size=2, max_size=20))
def test_deeper_water_is_never_less(depths: list[float]) -> None:
    found = area(np.sort(depths), DIAMETER)
    assert np.all(np.diff(found) >= -1e-15 * found[1:])
    assert np.all(found >= 0)


def test_an_area_that_cannot_be_is_refused() -> None:
    with pytest.raises(DomainError, match="depth"):
        area([0.01, np.nan], DIAMETER)
    for diameter in (0.0, -0.1, np.inf, np.nan):
        with pytest.raises(DomainError, match="diameter"):
            area(0.01, diameter)


def test_half_angle_of_a_plain_power() -> None:
    targets = np.array([[1e-100, 1e-3], [1.0, 9.0]])
    found = find_half_angle(lambda a: (a**2, np.full_like(a, 2.0)), targets, np.pi)
    assert found == pytest.approx(np.sqrt(targets), rel=1e-14)


def test_unreachable_target_is_an_error_that_gives_its_bracket() -> None:
    for target in (np.array([1.0]), np.array(1.0)):
        with pytest.raises(SolveError, match=r"between 0 and .* missed by"):
            find_half_angle(lambda a: (a * 0 + 2, a * 0 + 1), target, np.pi)


def plain_elements(depth: float, diameter: float) -> tuple[float, float, float]:
    """Area, wetted perimeter and width from the arc cosine, apart from `pipes`."""
    phi = math.acos(1 - 2 * depth / diameter)
    wet = diameter**2 / 4 * (phi - math.sin(phi) * math.cos(phi))
    return wet, diameter * phi, diameter * math.sin(phi)


def plain_uniform_flow(depth: float, diameter: float, slope: float, roughness: float) -> float:
    wet, perimeter, _ = plain_elements(depth, diameter)
    return float(wet * (wet / perimeter) ** (2 / 3) * math.sqrt(slope) / roughness)


def test_capacity_is_the_maximum_to_fifteen_digits() -> None:
    with mpmath.workdps(30):
        phi = mpmath.findroot(
            lambda x: 5 * x * mpmath.sin(x) ** 2 - x + mpmath.sin(x) * mpmath.cos(x), 2.6
        )
        filled = phi - mpmath.sin(phi) * mpmath.cos(phi)
        capacity = (filled**5 / phi**2) ** (mpmath.mpf(1) / 3) / mpmath.pi
    assert float(capacity) == pytest.approx(CAPACITY, rel=1e-15)
    assert float(phi) == pytest.approx(pipes._FULLEST, rel=1e-15)


def test_shapes_broadcast() -> None:
    flow = np.full((2, 1), 1e-4)
    for found in (
        normal_depth(flow, DIAMETER, [0.01, 0.02, 0.03]),
        normal_velocity(flow, [0.1, 0.2, 0.3], SLOPE),
        critical_depth(flow, [0.1, 0.2, 0.3]),
        header_check(flow, DIAMETER, [0.01, 0.02, 0.0]).normal_depth,
    ):
        assert found.shape == (2, 3)
    assert normal_depth(1e-4, DIAMETER, SLOPE).shape == ()
    assert critical_depth([], DIAMETER).shape == (0,)


@given(part=parts, diameter=diameters, slope=slopes)
def test_uniform_flow_at_the_depth_found_is_the_flow(
    part: float, diameter: float, slope: float
) -> None:
    flow = part * float(full_flow(diameter, slope))
    depth = normal_depth(flow, diameter, slope)
    wet = area(depth, diameter)
    perimeter = diameter * 2 * np.arcsin(np.sqrt(depth / diameter))
    back = wet * (wet / perimeter) ** (2 / 3) * np.sqrt(slope) / 0.010
    assert back == pytest.approx(flow, rel=1e-12)
    assert normal_velocity(flow, diameter, slope) * wet == pytest.approx(flow, rel=1e-14)


@given(flow=st.floats(1e-7, 1.0), diameter=diameters)
def test_critical_depth_has_the_least_energy(flow: float, diameter: float) -> None:
    def energy(depth: float) -> float:
        return depth + (flow / float(area(depth, diameter))) ** 2 / (2 * GRAVITY)

    found = float(critical_depth(flow, diameter))
    least = minimize_scalar(
        energy, bounds=(found / 3, min(3 * found, diameter)), method="bounded"
    ).fun
    assert energy(found) <= least * (1 + 1e-12)


@given(fill=st.floats(1e-6, 0.999), diameter=diameters)
def test_critical_depth_of_the_flow_that_is_critical_there(fill: float, diameter: float) -> None:
    depth = fill * diameter
    flow = np.sqrt(GRAVITY * area(depth, diameter) ** 3 / pipe_width(depth, diameter))
    assert critical_depth(flow, diameter) == pytest.approx(depth, rel=1e-13)


@given(fill=st.floats(1e-6, 0.99), loss=st.floats(0.0, 2.0))
def test_a_pipe_end_passes_the_flow_whose_critical_head_it_has(fill: float, loss: float) -> None:
    depth = fill * DIAMETER
    head = depth + (1 + loss) * area(depth, DIAMETER) / (2 * pipe_width(depth, DIAMETER))
    passed = PipeEnd(DIAMETER, entrance_loss=loss).discharge(head)
    assert critical_depth(passed, DIAMETER) == pytest.approx(depth, rel=1e-12)


@given(st.lists(st.floats(0.0, 1.0), min_size=2, max_size=30), diameters, slopes)
def test_more_flow_is_never_shallower(shares: list[float], diameter: float, slope: float) -> None:
    flow = np.sort(shares) * CAPACITY * float(full_flow(diameter, slope)) * (1 - 1e-12)
    for depth in (normal_depth(flow, diameter, slope), critical_depth(flow, diameter)):
        assert np.all(np.isfinite(depth) & (depth >= 0) & (depth <= diameter))
        assert np.all(np.diff(depth) >= -1e-12 * diameter)


def test_between_full_and_capacity_the_lower_depth_is_given() -> None:
    flow = float(full_flow(DIAMETER, SLOPE)) * np.array([1.0, 1.03, 1.07, CAPACITY])
    depths = normal_depth(flow, DIAMETER, SLOPE)
    back = [plain_uniform_flow(depth, DIAMETER, SLOPE, 0.010) for depth in depths]
    assert back == pytest.approx(flow, rel=1e-12)
    assert np.all(np.diff(depths) > 0)
    assert np.all(depths < 0.9382 * DIAMETER)


def test_above_capacity_the_error_names_the_flow_and_the_capacity() -> None:
    with pytest.raises(DomainError, match=r"flow\[1, 0\] is 0\.1 m3/s; .* at most 0\.00782"):
        normal_depth([[1e-4, 1e-3], [0.1, 0.2]], DIAMETER, SLOPE)
    with pytest.raises(DomainError, match=r"flow is 0\.1 m3/s"):
        normal_depth(0.1, DIAMETER, SLOPE)


@pytest.mark.parametrize("bad", [-1.0, np.nan, np.inf])
def test_impossible_input_is_refused(bad: float) -> None:
    for call in (
        lambda: normal_depth(bad, DIAMETER, SLOPE),
        lambda: critical_depth(bad, DIAMETER),
        lambda: header_check(bad, DIAMETER, SLOPE),
    ):
        with pytest.raises(DomainError, match="flow"):
            call()
    with pytest.raises(DomainError, match="diameter"):
        critical_depth(1e-4, bad)
    with pytest.raises(DomainError, match="slope"):
        normal_depth(1e-4, DIAMETER, bad)
    with pytest.raises(DomainError, match="roughness"):
        full_flow(DIAMETER, SLOPE, roughness=bad)


def test_slope_that_is_no_number_is_refused() -> None:
    for bad in (np.nan, np.inf):
        with pytest.raises(DomainError, match="slope"):
            header_check(1e-4, DIAMETER, bad)
    with pytest.raises(DomainError, match="slope"):
        normal_depth(1e-4, DIAMETER, 0.0)


@given(part=st.floats(1e-6, 1.07), diameter=diameters, slope=slopes)
def test_steep_is_a_froude_number_of_at_least_one(
    part: float, diameter: float, slope: float
) -> None:
    flow = part * float(full_flow(diameter, slope))
    check = header_check(flow, diameter, slope)
    wet, _, width = plain_elements(float(check.normal_depth), diameter)
    froude = flow / wet / math.sqrt(GRAVITY * wet / width)
    assume(abs(froude - 1) > 1e-6)
    assert bool(check.steep) == (froude > 1)


def test_headers_that_cannot_be_steep_run_full() -> None:
    check = header_check([1e-4, 1e-4, 0.1, 0.0], DIAMETER, [0.0, -0.01, SLOPE, -0.01])
    assert check.normal_depth.tolist() == [DIAMETER, DIAMETER, DIAMETER, 0.0]
    assert check.steep.tolist() == [False, False, False, True]


def test_a_header_runs_full_only_over_its_greatest_free_flow() -> None:
    """A free surface carries up to 1.0757 times the full flow, and on a steep slope is steep."""
    flow = float(full_flow(DIAMETER, 0.05)) * np.array([0.99, 1.01, 1.07, 1.08])
    check = header_check(flow, DIAMETER, 0.05)
    back = [plain_uniform_flow(d, DIAMETER, 0.05, 0.010) for d in check.normal_depth[:3]]
    assert back == pytest.approx(flow[:3], rel=1e-12)
    assert check.normal_depth[3] == DIAMETER
    assert check.steep.tolist() == [True, True, True, False]


def test_result_is_read_only() -> None:
    check = header_check([3e-4, 1e-4], DIAMETER, SLOPE)
    for array in (check.normal_depth, check.critical_depth, check.steep):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
