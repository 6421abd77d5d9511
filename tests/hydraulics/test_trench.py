"""Trenches: what they store, lose, and bring to the surface."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from dbox.errors import DomainError
from dbox.hydraulics.surge.parts import SOIL_STATES, WETTING_DEPTH, Trench, TrenchLine
from tests.hydraulics.surges import trenches

PLAIN = {"length": 18.0, "width": 0.9, "depth": 0.5, "pipe_height": 0.3, "acceptance": 2e-7}


@given(trenches(), st.lists(st.tuples(st.floats(0, 10), st.floats(0.1, 1e5)), min_size=1))
def test_what_came_is_stored_infiltrated_or_surfaced(trench: Trench, steps) -> None:
    line = TrenchLine(trench)
    start, came = line.volume, 0.0
    for volume, seconds in steps:
        line.step(volume, seconds)
        came += volume
        assert 0 <= line.depth <= trench.depth * (1 + 1e-12)
        assert min(line.infiltrated, line.surfaced) >= 0
    assert start + came == pytest.approx(line.volume + line.infiltrated + line.surfaced, rel=1e-12)


def test_filling_and_draining_against_scipy() -> None:
    trench = Trench(**PLAIN)

    def change(_, depth, inflow):
        wet = max(float(depth[0]), 0.0)
        bottom = trench.length * trench.width * min(wet / WETTING_DEPTH, 1.0)
        lost = trench.rate * (bottom + 2 * (trench.width + trench.length) * wet)
        return [(inflow - lost) / trench.storage_area]

    line, depth = TrenchLine(trench), 0.0
    for inflow, hours in ((3e-5, 6), (0.0, 10), (1e-6, 5)):
        for _ in range(hours * 60):
            line.step(inflow * 60, 60.0)
        plain = solve_ivp(
            change, (0, hours * 3600), [depth], args=(inflow,), rtol=1e-9, atol=1e-12, max_step=60
        )
        depth = float(plain.y[0, -1])
        assert line.depth == pytest.approx(depth, abs=1e-5)


def test_steady_depth_where_losses_equal_inflow() -> None:
    """Exact: bottom and walls together take the inflow."""
    trench = Trench(**PLAIN)
    line = TrenchLine(trench)
    wanted = 0.2
    inflow = trench.rate * (18.0 * 0.9 + 2 * (18.0 + 0.9) * wanted)
    for _ in range(4000):
        line.step(inflow * 3600, 3600.0)
    assert line.depth == pytest.approx(wanted, rel=1e-6)
    assert line.takes(line.depth) == pytest.approx(inflow, rel=1e-6)


def test_capacity_is_bottom_and_walls_up_to_the_pipe() -> None:
    assert Trench(**PLAIN).capacity == pytest.approx(2e-7 * (16.2 + 2 * 18.9 * 0.3))


@pytest.mark.parametrize("soil", sorted(SOIL_STATES))
def test_soil_states_multiply_the_long_term_rate(soil: str) -> None:
    assert Trench(**PLAIN, soil=soil).rate == pytest.approx(2e-7 * SOIL_STATES[soil])
    assert SOIL_STATES["biomat"] == 1.0


def test_groundwater_stops_the_bottom_and_the_wall_below_it() -> None:
    line = TrenchLine(Trench(**PLAIN, water_table=0.1))
    assert line.depth == pytest.approx(0.1)
    assert line.takes(0.1) == 0.0
    assert line.takes(0.3) == pytest.approx(2e-7 * 2 * 18.9 * 0.2)
    line.step(0.0, 1e9)
    assert line.depth == pytest.approx(0.1)


@pytest.mark.parametrize("water_table", [-np.inf, 0.1])
@pytest.mark.parametrize("seconds", [1.0, 3600.0, 1e6])
def test_a_trench_at_its_brim_takes_what_is_wet_and_the_rest_surfaces(
    seconds: float, water_table: float
) -> None:
    """Exact: bottom and walls up to the brim, for as long as it stands there; nothing above it."""
    line = TrenchLine(Trench(**PLAIN, ponding=0.5, water_table=water_table))
    wet = 2 * 18.9 * 0.4 if water_table > 0 else 16.2 + 2 * 18.9 * 0.5
    came = 3.0 * 2e-7 * wet * seconds
    line.step(came, seconds)
    assert line.depth == pytest.approx(0.5, rel=1e-12)
    assert line.infiltrated == pytest.approx(came / 3, rel=1e-9)
    assert line.surfaced == pytest.approx(came * 2 / 3, rel=1e-9)


@pytest.mark.parametrize("parts", [1, 7, 500])
def test_from_empty_over_the_brim_and_down_again(parts: int) -> None:
    """Exact, in one step or in many: an exponential up to the wetting depth, another above it.

    With s the storage area, b the bottom's loss and w that of the walls per depth: s dd/dt =
    q - (b / wetting + w) d below the wetting depth, q - b - w d above it, and at the brim the
    difference surfaces.
    """
    trench = Trench(**PLAIN)
    s, b, w, brim = 16.2 * 0.35, 16.2 * 2e-7, 2 * 18.9 * 2e-7, 0.5
    q, steep = 4 * b, b / WETTING_DEPTH + w
    wets = -s / steep * np.log(1 - WETTING_DEPTH * steep / q)
    high = (q - b) / w
    fills = wets + s / w * np.log((high - WETTING_DEPTH) / (high - brim))
    spilled = (q - b - w * brim) * 0.5 * fills
    line = TrenchLine(trench)
    for _ in range(parts):
        line.step(1.5 * fills * q / parts, 1.5 * fills / parts)
    assert line.depth == pytest.approx(brim, rel=1e-12)
    assert line.surfaced == pytest.approx(spilled, rel=1e-9)
    assert line.infiltrated == pytest.approx(1.5 * fills * q - spilled - s * brim, rel=1e-9)
    dries = s / w * np.log((brim + b / w) / (WETTING_DEPTH + b / w))
    rest = 0.5 * s / steep
    for _ in range(parts):
        line.step(0.0, (dries + rest) / parts)
    assert line.depth == pytest.approx(WETTING_DEPTH * np.exp(-0.5), rel=1e-9)
    assert line.surfaced == pytest.approx(spilled, rel=1e-9)


@pytest.mark.parametrize(
    "odd",
    [
        {"length": 0.0},
        {"voids": 1.1},
        {"pipe_height": 0.6},
        {"soil": "mud"},
        {"ponding": 0.7},
        {"water_table": 0.5},
        {"acceptance": np.nan},
    ],
)
def test_a_trench_that_cannot_be_is_refused(odd) -> None:
    with pytest.raises(DomainError):
        Trench(**{**PLAIN, **odd})
