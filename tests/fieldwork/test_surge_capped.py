"""A capped outlet takes no part in a discharge, and heights count from the lips alone."""

import pytest

from dbox.fieldwork.site import Box, Site, Works
from dbox.fieldwork.surge import line_flow, run, run_days
from dbox.hydraulics.surge.inflow import steady
from dbox.hydraulics.surge.parts import Trench
from dbox.report.wording import sentences
from tests.fieldwork.sites import INCH, box

TRENCH = Trench(length=6.0, width=0.6, depth=0.6, pipe_height=0.2, acceptance=1.5e-7)


def site(readings: tuple[float | None, ...], capped: tuple[int, ...] = (), **measures) -> Site:
    return box(
        readings,
        capped=capped,
        box=Box(inside=(16 * INCH, 20 * INCH), rim=0.3, inlet="tee", **measures),
        works=Works(people=4, trenches=(TRENCH,) * len(readings)),
    )


def test_a_capped_outlet_is_as_one_that_is_not_there() -> None:
    """In the run, and in the level box that it is held against."""
    readings = (0.0, INCH / 16, INCH / 8)
    three = run_days(site(readings), 2)
    four = run_days(site((*readings, 0.0), capped=(3,)), 2)
    assert three.ponding is not None
    assert four.ponding is not None
    assert three.ponding.level_line is not None
    assert four.ponding.line == three.ponding.line
    assert four.ponding.time == pytest.approx(three.ponding.time, rel=1e-6)
    assert four.ponding.level_time == pytest.approx(three.ponding.level_time, rel=1e-6)


def test_the_open_lines_carry_what_is_poured() -> None:
    poured = steady(3e-4, 60.0)
    assert line_flow(site((0.0,) * 4, capped=(1,)), poured) == pytest.approx(1e-4)
    assert line_flow(site((0.0,) * 4), poured) == pytest.approx(0.75e-4)


@pytest.mark.parametrize("up", [-0.1, 0.0, 0.1])
def test_where_the_readings_count_from_does_not_back_the_inlet_up(up: float) -> None:
    """60 mm of inlet drop over lips that a steady 15 L/min stands some 15 mm above."""
    poured = steady(2.5e-4, 300.0)
    for drop, backs_up in ((0.06, False), (0.002, True)):
        said = sentences(run(site((up,) * 4, inlet_drop=drop), poured).warnings)
        assert any("backs up toward the tank" in warning for warning in said) is backs_up
