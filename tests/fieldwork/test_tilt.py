"""The least-squares plane, against general-purpose fits and planted tilts."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg, stats

from dbox.fieldwork.readings import fit_plane
from dbox.report.wording import sentences

slopes = st.floats(-0.05, 0.05)
RECTANGLE = np.array([[0.1, 0.0], [0.3, 0.0], [0.3, 0.5], [0.1, 0.5]])
RING = np.array([[0.1, 0.0], [0.3, 0.0], [0.4, 0.1], [0.4, 0.4], [0.3, 0.5], [0.1, 0.5]])


@given(slopes, slopes, st.floats(-0.1, 0.1))
def test_a_planted_tilt_is_found_with_no_residual(slope_x, slope_y, height):
    plane = fit_plane(height + RING @ [slope_x, slope_y], RING)
    assert plane.slope_x == pytest.approx(slope_x, abs=1e-15)
    assert plane.slope_y == pytest.approx(slope_y, abs=1e-15)
    np.testing.assert_allclose(plane.residual, 0, atol=1e-15)
    assert plane.warnings == ()


@given(st.lists(st.floats(-0.02, 0.02), min_size=6, max_size=6))
def test_against_scipy_lstsq(heights):
    plane = fit_plane(heights, RING)
    design = np.column_stack([np.ones(6), RING])
    (height, *slope), *_ = linalg.lstsq(design, heights)
    assert [plane.slope_x, plane.slope_y] == pytest.approx(slope, abs=1e-15)
    fitted = design @ [height, *slope]
    np.testing.assert_allclose(plane.residual, np.array(heights) - fitted, atol=1e-15)


@given(st.lists(st.floats(-0.02, 0.02), min_size=3, max_size=8))
def test_outlets_in_a_row_against_linregress(heights):
    """Along the row the slope is that of a straight line; across it none can be seen."""
    along = np.linspace(0.05, 0.6, len(heights))
    plane = fit_plane(heights, np.column_stack([along, np.full(len(heights), 0.3)]))
    line = stats.linregress(along, heights)
    assert plane.slope_x == pytest.approx(line.slope, abs=1e-14)
    assert plane.slope_y == pytest.approx(0, abs=1e-15)
    off = np.array(heights) - line.intercept - line.slope * along
    np.testing.assert_allclose(plane.residual, off, atol=1e-14)
    assert "tilt across that line cannot be seen" in sentences(plane.warnings)[0]


def test_a_slanting_row_shows_tilt_along_itself_only():
    along = np.linspace(0, 0.5, 4)[:, None] * np.array([[0.6, 0.8]])
    plane = fit_plane(along @ [0.01, 0.02], along)
    steepest = 0.01 * 0.6 + 0.02 * 0.8
    assert plane.slope_x == pytest.approx(0.6 * steepest)
    assert plane.slope_y == pytest.approx(0.8 * steepest)
    np.testing.assert_allclose(plane.residual, 0, atol=1e-16)


def test_a_moved_insert_stands_out_from_the_tilt():
    heights = 0.01 + RING @ [0.02, -0.01]
    heights[2] -= 0.006
    plane = fit_plane(heights, RING)
    assert np.argmax(np.abs(plane.residual)) == 2
    assert plane.residual[2] < 0
    assert plane.residual.sum() == pytest.approx(0, abs=1e-15)
    np.testing.assert_allclose(RING.T @ plane.residual, 0, atol=1e-15)


def test_four_corners_cannot_tell_which_insert_moved_and_say_so():
    """Four at the corners leave one freedom: the residuals are equal but for their sign."""
    for moved in range(4):
        heights = np.zeros(4)
        heights[moved] = 0.004
        plane = fit_plane(heights, RECTANGLE)
        np.testing.assert_allclose(np.abs(plane.residual), 0.001, rtol=1e-12)
        assert plane.warnings, "nothing tells the reader that the residuals point at no outlet"


def test_three_outlets_fit_any_plane_and_say_so():
    plane = fit_plane([0.0, 0.003, -0.001], RING[[0, 2, 4]])
    np.testing.assert_allclose(plane.residual, 0, atol=1e-15)
    assert "a moved insert cannot be told apart" in sentences(plane.warnings)[0]


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_give_no_plane(count):
    heights = np.full(6, np.nan)
    heights[:count] = 0.001
    assert fit_plane(heights, RING) is None


def test_what_was_not_measured_takes_no_part():
    heights, places = 0.01 + RING @ [0.02, -0.01], RING.copy()
    heights[1], heights[3] = np.nan, np.inf
    places[4, 0] = np.nan
    plane = fit_plane(heights, places)
    assert np.isnan(plane.residual).tolist() == [False, True, False, True, True, False]
    assert plane.slope_x == pytest.approx(0.02)
    assert plane.slope_y == pytest.approx(-0.01)


@given(st.lists(st.floats(-0.02, 0.02), min_size=6, max_size=6))
def test_a_mirrored_box_tilts_the_other_way(heights):
    plane = fit_plane(heights, RING)
    mirrored = fit_plane(heights, RING * [1, -1] + [0, 0.5])
    assert mirrored.slope_x == pytest.approx(plane.slope_x, abs=1e-15)
    assert mirrored.slope_y == pytest.approx(-plane.slope_y, abs=1e-15)
    np.testing.assert_allclose(mirrored.residual, plane.residual, atol=1e-15)


def test_read_only():
    assert not fit_plane([0.0, 0.003, -0.001], RING[:3]).residual.flags.writeable
