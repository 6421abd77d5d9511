"""Geometry of a part-full pipe against 30-digit arithmetic, integration and its own symmetry."""

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from dbox.errors import DomainError, SolveError
from dbox.hydraulics import pipes

DIAMETER = 0.1022604
FILLS = [*np.geomspace(1e-6, 1.0, 61), 0.4999, 0.9, 0.999, 1 - 1e-6, 1 - 1e-9]
FUNCTIONS = ["area", "top_width", "wetted_perimeter", "hydraulic_radius"]


def exact(depth: float, diameter: float) -> dict[str, mpmath.mpf]:
    with mpmath.workdps(30):
        size = mpmath.mpf(diameter)
        phi = mpmath.acos(1 - 2 * mpmath.mpf(depth) / size)
        area = size**2 / 4 * (phi - mpmath.sin(phi) * mpmath.cos(phi))
        return {
            "area": area,
            "top_width": size * mpmath.sin(phi),
            "wetted_perimeter": size * phi,
            "hydraulic_radius": area / (size * phi),
        }


@pytest.mark.parametrize("name", FUNCTIONS)
def test_elements_keep_twelve_digits_from_a_film_to_full(name: str) -> None:
    depths = [DIAMETER * fill for fill in FILLS[:-1]]
    found = getattr(pipes, name)(depths, DIAMETER)
    for depth, value in zip(depths, found, strict=True):
        true = exact(depth, DIAMETER)[name]
        assert abs(value - true) <= 1e-12 * abs(true) + 1e-30


@pytest.mark.parametrize("phi", [*np.geomspace(1e-9, np.pi, 101), 0.25, np.nextafter(0.25, 0.0)])
def test_segment_on_both_sides_of_its_series(phi: float) -> None:
    with mpmath.workdps(60):
        true = mpmath.mpf(phi) - mpmath.sin(phi) * mpmath.cos(phi)
    assert abs(float(pipes.segment(phi)) - true) <= 1e-14 * true


def test_half_full_pipe() -> None:
    half = DIAMETER / 2
    assert pipes.half_angle(half, DIAMETER) == pytest.approx(np.pi / 2, rel=1e-15)
    assert pipes.area(half, DIAMETER) == pytest.approx(np.pi * DIAMETER**2 / 8, rel=1e-15)
    assert pipes.top_width(half, DIAMETER) == pytest.approx(DIAMETER, rel=1e-15)
    assert pipes.hydraulic_radius(half, DIAMETER) == pytest.approx(DIAMETER / 4, rel=1e-15)


@pytest.mark.parametrize("name", FUNCTIONS)
def test_outside_the_pipe_is_dry_or_full(name: str) -> None:
    function = getattr(pipes, name)
    assert function([-np.inf, -0.01, 0.0], DIAMETER).tolist() == [0.0, 0.0, 0.0]
    assert function([1.0, np.inf], DIAMETER).tolist() == [function(DIAMETER, DIAMETER)] * 2


def test_shapes_broadcast() -> None:
    assert pipes.area(0.02, 0.1).shape == ()
    assert pipes.area([[0.02], [0.03]], [0.1, 0.2, 0.3]).shape == (2, 3)
    assert pipes.area(np.zeros((0, 4)), 0.1).shape == (0, 4)


@given(fill=st.floats(1e-5, 1.0), diameter=st.floats(0.01, 2.0))
def test_area_is_the_integral_of_the_width(fill: float, diameter: float) -> None:
    depth = fill * diameter
    # with z = depth x^2 the integrand is smooth at the invert
    value, _ = quad(lambda x: 2 * depth * x * float(pipes.top_width(depth * x * x, diameter)), 0, 1)
    assert pipes.area(depth, diameter) == pytest.approx(value, rel=1e-7)


@given(fill=st.floats(0.0, 1.0), diameter=st.floats(1e-3, 10.0))
def test_water_and_air_make_up_the_pipe(fill: float, diameter: float) -> None:
    depth = fill * diameter
    both = pipes.area(depth, diameter) + pipes.area(diameter - depth, diameter)
    assert both == pytest.approx(np.pi / 4 * diameter**2, rel=1e-14)


@given(st.lists(st.floats(-0.1, 0.2), min_size=2, max_size=20))
def test_deeper_water_is_never_less(depths: list[float]) -> None:
    rising = np.sort(depths)
    for name in ("area", "wetted_perimeter"):
        found = getattr(pipes, name)(rising, DIAMETER)
        assert np.all(np.diff(found) >= -1e-15 * found[1:])
        assert np.all(found >= 0)


@pytest.mark.parametrize("name", ["half_angle", *FUNCTIONS])
def test_impossible_input_is_refused(name: str) -> None:
    function = getattr(pipes, name)
    with pytest.raises(DomainError, match="depth"):
        function([0.01, np.nan], DIAMETER)
    for diameter in (0.0, -0.1, np.inf, np.nan):
        with pytest.raises(DomainError, match="diameter"):
            function(0.01, diameter)


def test_half_angle_of_a_plain_power() -> None:
    targets = np.array([[1e-100, 1e-3], [1.0, 9.0]])
    found = pipes.find_half_angle(lambda a: (a**2, np.full_like(a, 2.0)), targets, np.pi)
    assert found == pytest.approx(np.sqrt(targets), rel=1e-14)


def test_unreachable_target_is_an_error_that_gives_its_bracket() -> None:
    with pytest.raises(SolveError, match=r"between 0 and .* missed by"):
        pipes.find_half_angle(lambda a: (a * 0 + 2, a * 0 + 1), np.array([1.0]), np.pi)
