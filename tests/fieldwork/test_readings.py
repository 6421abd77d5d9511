"""Readings become lips with honest errors, and a plane through them is the tilt."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg, stats

from dbox import Circle, DomainError, Slot
from dbox.fieldwork.estimate import Estimate
from dbox.fieldwork.readings import BEST_SPREAD, fit_plane, measured_lips, reduce_readings
from dbox.fieldwork.site import DEFAULT_SPREAD, Outlet, Site
from dbox.report.wording import sentences

from .sites import INCH, arrays, box

repeats = st.lists(st.floats(-0.02, 0.02), min_size=1, max_size=5)


def test_lip_is_the_reading_less_the_height_of_the_point():
    """Lip, centre and top of holes of two sizes, all with their lips 3 mm over still water."""
    holes = [(Circle(0.05), 0.0), (Circle(0.05), 0.025), (Circle(0.03), 0.03), (Slot(0.02), 0.0)]
    outlets = [
        Outlet(label=str(i), opening=hole, readings=(0.003 + point,), point_over_lip=point)
        for i, (hole, point) in enumerate(holes)
    ]
    lips = reduce_readings(Site(outlets=tuple(outlets), flows=()))
    np.testing.assert_allclose(lips.height, 0.003, rtol=1e-14)


def test_missing_is_not_measured_and_never_zero():
    lips = reduce_readings(box([0.0, None, 0.002, None], capped=[2, 3]))
    assert lips.height[0] == 0
    assert np.isnan(lips.height[1])
    assert np.all(lips.height[2:] == np.inf)
    assert lips.measured.tolist() == [True, False, False, False]
    assert lips.error.tolist() == [DEFAULT_SPREAD, 0, 0, 0]
    assert lips.repeats.tolist() == [1, 0, 0, 0]


@pytest.mark.parametrize("spread", [0.0, -0.001, np.nan])
def test_a_spread_of_nothing_is_refused(spread):
    with pytest.raises(DomainError, match=r"spread of a reading is .*; it must be above 0"):
        reduce_readings(box([0.0, 0.001], spread=spread))


def test_every_open_outlet_without_a_reading_is_named():
    site = box([0.0, None, None, None], capped=[3])
    with pytest.raises(DomainError, match=r"no reading for open outlet 2, 3: .*capped"):
        measured_lips(site)
    complete = box([0.0, 0.001, None], capped=[2])
    measured_lips(complete)


@given(st.lists(repeats, min_size=1, max_size=6), st.floats(1e-5, 0.01))
def test_means_and_errors_of_repeats(readings, spread):
    lips = reduce_readings(box(readings, spread=spread))
    np.testing.assert_allclose(lips.height, [np.mean(r) for r in readings], atol=1e-17)
    np.testing.assert_allclose(lips.error, [spread / len(r) ** 0.5 for r in readings], rtol=1e-14)
    assert lips.repeats.tolist() == [len(r) for r in readings]
    assert (lips.spread, lips.spread_from, lips.mark) == (spread, "stated", 0.0)


def test_pooled_spread_against_scipy():
    """Pooled variance is the mean of the sample variances weighted by their freedoms."""
    readings = [(0.001, 0.004, 0.002), (-0.003, 0.001), (0.0,), (0.006, 0.002, 0.003, 0.009)]
    lips = reduce_readings(box(readings))
    many = [r for r in readings if len(r) > 1]
    freedoms = [len(r) - 1 for r in many]
    variance = np.average([stats.tvar(r) for r in many], weights=freedoms)
    assert lips.spread == pytest.approx(variance**0.5, rel=1e-13)
    assert lips.spread_from == "repeats"
    assert lips.warnings == ()
    # few differences tell a spread poorly: errors are those of Student's t, at 95 per cent
    wider = stats.t.ppf(0.95, sum(freedoms)) / stats.norm.ppf(0.95)
    wanted = [wider * lips.spread / len(r) ** 0.5 for r in readings]
    np.testing.assert_allclose(lips.error, wanted, rtol=1e-10)


def test_pooled_spread_of_equal_repeats_is_the_within_group_mean_square():
    """F of a one-way analysis of variance is between over within: that gives within."""
    readings = [(0.001, 0.004), (-0.003, 0.001), (0.006, 0.003), (0.0, 0.0025)]
    between = 2 * np.var([np.mean(r) for r in readings], ddof=1)
    within = between / stats.f_oneway(*readings).statistic
    assert reduce_readings(box(readings)).spread == pytest.approx(within**0.5, rel=1e-12)


def test_point_over_lip_does_not_enter_the_spread():
    readings = [(0.001, 0.004, 0.002), (0.003, 0.001)]
    site = box(readings)
    shifted = tuple(replace(o, point_over_lip=0.01 * i) for i, o in enumerate(site.outlets))
    assert reduce_readings(replace(site, outlets=shifted)).spread == reduce_readings(site).spread


@pytest.mark.parametrize("readings", [[0.0, 0.001], [(0.0, 0.004), (0.001, 0.009)]])
def test_too_few_repeats_leave_the_default(readings):
    """1/16 in (common practice, no source), and it says that it was assumed."""
    lips = reduce_readings(box(readings))
    assert lips.spread == INCH / 16
    assert lips.spread_from == "default"
    assert "no spread stated and too few repeats" in sentences(lips.warnings)[0]
    assert "1/16 in, common practice" in sentences(lips.warnings)[0]


def test_repeats_that_agree_too_well_are_not_believed():
    """1/32 in at best (common practice, no source)."""
    lips = reduce_readings(box([(0.001, 0.0011), (0.002, 0.002), (0.0, 0.0001)]))
    assert lips.spread == BEST_SPREAD == INCH / 32
    assert lips.spread_from == "repeats"
    assert "a ruler is not believed better than 0.8 mm" in sentences(lips.warnings)[0]


@pytest.mark.parametrize(("times", "told"), [(1.99, False), (2.01, True)])
def test_repeats_wider_than_stated_are_told(times, told):
    scatter = np.array([-1, 1, -1, 1]) / 3**0.5  # sample standard deviation times 3/2 is 1
    readings = [tuple(times * 0.001 * 1.5 * scatter)]
    spread = 0.001 * float(np.std(1.5 * scatter, ddof=1))
    warnings = sentences(reduce_readings(box(readings, spread=spread)).warnings)
    assert bool(warnings) == told
    if told:
        assert "read again, or state a wider one" in warnings[0]


def test_twice_the_stated_spread_is_rarer_than_one_in_a_hundred():
    assert stats.chi2.sf(3 * 2**2, 3) < 0.01


def test_draws_scatter_as_the_means_do():
    lips = reduce_readings(box([0.0, (0.001, 0.002, 0.0015), 0.003, 0.0], capped=[3], spread=1e-3))
    drawn = lips.sample(4000, seed=5)
    assert np.all(drawn[:, 3] == np.inf)
    standard = (drawn[:, :3] - lips.height[:3]) / lips.error[:3]
    for i in range(3):
        # evenly over a normal curve: nearer to it than chance would be
        assert stats.kstest(standard[:, i], stats.norm.cdf).statistic < 0.005
    assert np.abs(np.corrcoef(standard.T)[np.triu_indices(3, 1)]).max() < 0.02


def test_draws_of_what_all_fillings_tell_keep_its_covariance():
    lips = reduce_readings(box([0.0, 0.001, 0.002, 0.0], capped=[3], spread=1e-3))
    covariance = 1e-6 * np.array([[2.0, 0.5, 0, 0], [0.5, 1.0, 0.3, 0], [0, 0.3, 1.0, 0], [0] * 4])
    known = lips.known(Estimate(height=lips.height + 0.001, covariance=covariance))
    drawn = known.sample(4000, seed=0)[:, :3]
    np.testing.assert_allclose(drawn.mean(0), lips.height[:3] + 0.001, atol=1e-9)
    np.testing.assert_allclose(np.cov(drawn.T), covariance[:3, :3], atol=2e-8)


def test_same_seed_same_draws():
    lips = reduce_readings(box([0.0, (0.001, 0.005, 0.003, 0.0), 0.003]))
    assert lips.sample(50, 3).tobytes() == lips.sample(50, 3).tobytes()
    assert lips.sample(50, 3).tobytes() != lips.sample(50, 4).tobytes()
    assert lips.sample(50, 3).shape == (50, 3)


def said(*heights: float) -> list[str]:
    """What is said of the water line; one reading is good to 1 mm."""
    warnings = sentences(reduce_readings(box(list(heights), spread=0.001)).warnings)
    return [w for w in warnings if "still water" in w]


def test_lips_that_cannot_be_over_still_water_are_pointed_out():
    """Water that just spilled stands at the lowest lip, or clings up to 3 mm over it."""
    assert said(0.0, 0.004) == []
    assert said(0.0029, 0.004) == []
    assert said(-0.0059, 0.004) == []
    assert "by 3.1 mm" in said(0.0031, 0.004)[0]
    assert "leaks" in said(0.0031, 0.004)[0]
    assert "6.1 mm under" in said(-0.0061, 0.004)[0]


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


@given(st.integers(4, 9), st.integers(0, 2**32 - 1), st.floats(0.0, 0.05))
def test_a_fall_is_told_where_the_f_test_of_scipy_tells_it(count, seed, slope):
    rng = np.random.default_rng(seed)
    places, scatter = rng.uniform(0.0, 0.6, (count, 2)), rng.normal(0.0, 0.002, count)
    plane = fit_plane(scatter + places @ [slope, 0.0], places)
    fitted = (places - places.mean(0)) @ [plane.slope_x, plane.slope_y]
    ratio = (fitted @ fitted / 2) / (plane.residual @ plane.residual / (count - 3))
    assert plane.told == (stats.f.sf(ratio, 2, count - 3) < 0.05)


def test_three_outlets_or_a_row_never_tell_which_way_a_box_falls():
    assert not fit_plane([0.0, 0.01, 0.02], RING[:3]).told
    assert not fit_plane([0.0, 0.01, 0.02, 0.03], [[x, 0.3] for x in (0.0, 0.1, 0.2, 0.3)]).told


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
    assert "one that moved looks like a lean" in sentences(plane.warnings)[0]


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


def test_lips_and_plane_are_read_only():
    for name, array in arrays(reduce_readings(box([0.0, 0.001]))):
        assert not array.flags.writeable, name
    assert not fit_plane([0.0, 0.003, -0.001], RING[:3]).residual.flags.writeable
