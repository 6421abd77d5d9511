"""How good are the shares of a surge? What `surge` claims of itself, against scipy.

Sites are drawn (invented: 2 to 6 equal lines, lips with 2 mm of spread, one use of the house or one
dose of up to 2 L/s for up to 10 minutes); `plain_surge` integrates the same equations step by step.
"""

from dataclasses import replace

import numpy as np
import pytest

from dbox import Circle
from dbox.arrays import Array
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Inflow, household_day, steady, to_inflow
from dbox.hydraulics.surge.stepper import surge
from dbox.units import DAY
from tests.hydraulics.plain_surge import plain_surge
from tests.hydraulics.test_surge import family

FREE, DROWNED, LONG = 3e-4, 5e-3, 2e-3
"""Shares are good to this: `surge`, its notes, and `LONG_MAX_CHANGE`. [-]"""


def drawn(rng: np.random.Generator, over: tuple[float, float]) -> System:
    """A site whose trenches stand this much over their own lips, from least to most. [m]"""
    n = int(rng.integers(2, 7))
    lips = rng.normal(0.0, 0.002, n)
    trench = family().trenches[0]
    assert trench is not None
    slow = trench.acceptance * 10 ** rng.uniform(-2, 0)
    ponded = 0.28 + rng.uniform(*over, n)
    lines = tuple(replace(trench, acceptance=slow, ponding=float(depth)) for depth in ponded)
    hole = Circle(float(rng.choice([0.03, 0.05, 0.08])))
    parts = {
        "lips": lips, "bottoms": lips - 0.28, "trenches": lines, "openings": (hole,) * n,
        "delays": np.zeros(n),
    }  # fmt: skip
    return replace(family(), **parts)


def dose(rng: np.random.Generator) -> tuple[Inflow, float]:
    """One inflow and how long to look on. [s]"""
    seconds = float(rng.uniform(60, 600))
    return steady(10 ** rng.uniform(-4.3, -2.7), seconds), seconds + float(rng.uniform(300, 3000))


def error(system: System, event: Inflow, seconds: float) -> float:
    plain = plain_surge(system, event, seconds, method="LSODA", rtol=1e-8, atol=1e-12)
    share: Array = surge(system, event, seconds=seconds).share
    return float(np.abs(share - plain.share).max())


def test_a_small_dose_into_nearly_full_trenches() -> None:
    """8 litres over five lips, one drowned by 3 mm: the worst of 60 drawn sites, 3e-3 off."""
    lips = np.array([1.0, -2.0, 0.0, 2.0, -1.0]) * 1e-3
    trench = family().trenches[0]
    assert trench is not None
    over = np.array([-2.8, -3.5, 2.8, -1.2, -2.8]) * 1e-3
    lines = tuple(replace(trench, ponding=0.28 + float(part)) for part in over)
    parts = {"lips": lips, "bottoms": lips - 0.28, "trenches": lines, "delays": np.zeros(5)}
    system = replace(family(), **parts, openings=(Circle(0.05),) * 5)
    assert error(system, steady(1.2e-4, 66.0), 1500.0) < DROWNED


@pytest.mark.slow
@pytest.mark.parametrize(
    ("over", "bound"),
    [((-0.28, -0.08), FREE), ((-0.01, 0.004), DROWNED)],
    ids=["free", "nearly full"],
)
def test_drawn_sites(over: tuple[float, float], bound: float) -> None:
    rng = np.random.default_rng(7)
    errors = [error(drawn(rng, over), *dose(rng)) for _ in range(12)]
    assert max(errors) < bound
    assert np.median(errors) < bound / 5


@pytest.mark.slow
def test_days_of_a_house() -> None:
    """Free outlets only: where trenches stand level with the box scipy takes minutes a day."""
    rng = np.random.default_rng(3)
    for _ in range(2):
        days = [household_day(int(rng.integers(1, 6)), int(rng.integers(1000))) for _ in range(3)]
        uses = [(name, at + day * DAY) for day, uses in enumerate(days) for name, at in uses]
        assert error(drawn(rng, (-0.28, -0.08)), to_inflow(uses), 3 * DAY) < LONG
