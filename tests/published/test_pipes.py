"""Pipe sizes, Manning's flow, critical depth and the bare pipe end against outside sources."""

import math

import numpy as np
import pytest
from fluids.geometry import A_partial_circle
from fluids.open_flow import V_Manning

from dbox.arrays import GRAVITY, Array
from dbox.hydraulics.openings.pipe_end import PipeEnd
from dbox.hydraulics.pipes import (
    CAPACITY,
    PLASTIC_ROUGHNESS,
    area,
    critical_depth,
    full_flow,
    normal_depth,
    normal_velocity,
)

FOOT = 0.3048
GPM = 231 * 0.0254**3 / 60
NPS_4 = 4.026 * 0.0254
FILLS = np.arange(0.02, 1.0, 0.02)

# US EPA, Storm Water Management Model 5.2, source file xsect.dat (L. Rossman, 2021): a circle's
# area and width over those of the full pipe at depths of 0.00, 0.02 ... 1.00 diameters; then
# A R^(2/3) over that of the full pipe at areas of 0.00, 0.02 ... 1.00 of the full pipe's.
SWMM_AREA = """
    0.0 .00471 .0134 .024446 .0374 .05208 .0680 .08505 .1033 .12236 .1423 .16310 .1845 .20665 .2292
    .25236 .2759 .29985 .3242 .34874 .3736 .39878 .4237 .44907 .4745 .500 .5255 .55093 .5763 .60135
    .6264 .65126 .6758 .70015 .7241 .74764 .7708 .79335 .8154 .83690 .8576 .87764 .8967 .91495
    .9320 .94792 .9626 .97555 .9866 .99516 1.000"""
SWMM_FLOW = """
    0.0 0.00529 0.01432 0.02559 0.03859 0.05304 0.06877 0.08551 0.10326 0.12195 0.14144 0.16162
    0.18251 0.2041 0.22636 0.24918 0.27246 0.29614 0.32027 0.34485 0.36989 0.39531 0.42105 0.44704
    0.47329 0.4998 0.52658 0.55354 0.58064 0.60777 0.63499 0.66232 0.68995 0.7177 0.74538 0.77275
    0.79979 0.82658 0.8532 0.87954 0.90546 0.93095 0.95577 0.97976 1.00291"""


def table(text: str) -> Array:
    return np.array(text.split(), dtype=float)


def test_roughness_of_smooth_plastic() -> None:
    # City of Austin, Drainage Criteria Manual, section 5.3.4, table 5-2
    assert PLASTIC_ROUGHNESS == 0.010


def test_area_agrees_with_fluids() -> None:
    for fill in FILLS:
        other = A_partial_circle(NPS_4, fill * NPS_4)
        assert float(area(fill * NPS_4, NPS_4)) == pytest.approx(other, rel=1e-13)


def test_full_flow_agrees_with_fluids_and_is_115_gpm_at_an_eighth_inch_per_foot() -> None:
    for slope, gpm in ((1 / 96, 115.30258), (1 / 48, 163.062472)):
        other = np.pi / 4 * NPS_4**2 * V_Manning(NPS_4 / 4, slope, 0.010)
        found = float(full_flow(NPS_4, slope, roughness=0.010))
        assert found == pytest.approx(other, rel=1e-14)
        # computed apart from this code to the digits given
        assert found / GPM == pytest.approx(gpm, rel=1e-8)


def test_uniform_velocity_agrees_with_fluids() -> None:
    flow = 0.3 * full_flow(NPS_4, 1 / 96)
    depth = float(normal_depth(flow, NPS_4, 1 / 96))
    wetted = NPS_4 * math.acos(1 - 2 * depth / NPS_4)
    radius = A_partial_circle(NPS_4, depth) / wetted
    other = V_Manning(radius, 1 / 96, 0.010)
    assert float(normal_velocity(flow, NPS_4, 1 / 96)) == pytest.approx(other, rel=1e-12)


def test_lindeburg_24_inch_pipe_flowing_full() -> None:
    # M. R. Lindeburg, Practice Problems for the Civil Engineering PE Exam, chapter 19, problem 4,
    # as the tests of the public code pyflo quote it: n 0.013, slope 0.001 give 7.2 cfs and 2.3 ft/s
    flow = float(full_flow(2 * FOOT, 0.001, roughness=0.013))
    assert flow / FOOT**3 == pytest.approx(7.2, abs=0.05)
    assert flow / (np.pi * FOOT**2) / FOOT == pytest.approx(2.3, abs=0.05)


def test_swmm_area_of_a_part_full_circle() -> None:
    # off by one in the fourth decimal printed, two in every second row, which is printed to five
    # but was interpolated
    depth = np.linspace(0, 1, 51)
    whole = np.pi / 4
    assert area(depth, 1.0)[::2] / whole == pytest.approx(table(SWMM_AREA)[::2], abs=1.5e-4)
    assert area(depth, 1.0)[1::2] / whole == pytest.approx(table(SWMM_AREA)[1::2], abs=2.5e-4)


def test_swmm_uniform_flow_of_a_part_full_circle() -> None:
    # differs by up to 5e-4 of the full pipe; the rows near the greatest flow, where depth answers
    # wildly to flow and the table's 1.082 overshoots the exact maximum of 1.076, are left out
    flow = table(SWMM_FLOW) * full_flow(1.0, 0.01)
    filled = area(normal_depth(flow, 1.0, 0.01), 1.0) / (np.pi / 4)
    assert filled == pytest.approx(np.linspace(0, 0.88, 45), abs=6e-4)


def test_greatest_uniform_flow_is_7_6_per_cent_over_full() -> None:
    # V. T. Chow, Open-Channel Hydraulics (1959), section 6-4: 0.938 D, 1.08 Q full (from memory)
    assert pytest.approx(1.08, abs=0.005) == CAPACITY
    deepest = float(normal_depth(CAPACITY * full_flow(1.0, 0.01), 1.0, 0.01))
    assert deepest == pytest.approx(0.938, abs=0.0005)


def test_boyd_critical_depth_in_a_pipe() -> None:
    # M. J. Boyd (1987), Generalised head-discharge equations for culverts, 4th National Local
    # Government Engineering Conference, Perth, equations 4a and 4b, as a public code (boyd87.c)
    # quotes them: dc/D = (Q / (sqrt(g) D^2.5) / 0.95)^(1/1.95) below 0.85, and with 1.26 and 3.75
    # above. The code multiplies by D^2.5 where the units ask for division; D is 1 m here. They are
    # fits: 1 % of the depth is what they reach.
    part = np.linspace(0.012, 0.6, 50)
    fit = (part / 0.95) ** (1 / 1.95)
    assert critical_depth(part * math.sqrt(GRAVITY), 1.0) == pytest.approx(fit, rel=0.01)
    part = np.linspace(0.72, 1.05, 20)
    fit = (part / 1.26) ** (1 / 3.75)
    assert critical_depth(part * math.sqrt(GRAVITY), 1.0) == pytest.approx(fit, rel=0.01)


def test_boyd_pipe_culvert_under_inlet_control_is_the_bare_pipe_end() -> None:
    # The same source, equation 10a, square edge in a headwall, h/D below 1.2:
    # Q = 0.421 sqrt(g) D^0.87 h^1.63, a fit to measured culverts. From half the diameter up it lies
    # between 8 % under and 1 % over theory without loss; a single power of h cannot follow a circle
    # further down.
    head = np.linspace(0.5, 1.2, 15)
    ratio = 0.421 * math.sqrt(GRAVITY) * head**1.63 / PipeEnd(1.0).discharge(head)
    assert ratio.min() > 0.92
    assert ratio.max() < 1.01


def test_california_pipe_end_depth_is_three_quarters_of_critical() -> None:
    # Vanleer's California pipe method, as the Engineering ToolBox quotes it: a level pipe of 3 to
    # 10 in leaves Q[cfs] = 8.69 (1 - a/d)^1.88 d[ft]^2.48 at an end depth of d - a. The flow passes
    # critical depth a little upstream and drops to 0.7-0.75 of it (from memory) at the end.
    end = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
    flow = 8.69 * end**1.88 * (NPS_4 / FOOT) ** 2.48 * FOOT**3
    ratio = end * NPS_4 / critical_depth(flow, NPS_4)
    assert ratio == pytest.approx(np.full(5, 0.73), abs=0.03)


def test_a_four_inch_header_at_an_eighth_inch_per_foot_is_steep_all_day() -> None:
    # common practice, no source: effluent lines fall at least 1/8 in per ft. From 1 L/min to a
    # pumped dose of 100 L/min on one outlet they are steep, which is what makes a bare pipe end
    # and a free spill valid in the first place.
    flow = np.geomspace(1, 100, 30) / 60e3
    assert np.all(normal_depth(flow, NPS_4, 1 / 96) < critical_depth(flow, NPS_4))
