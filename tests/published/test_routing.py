"""Level-pool routing against published examples and exact drawdowns."""

import numpy as np
import pytest

from dbox.hydraulics.surge.level_pool import Pool, RatingTable
from tests.hydraulics.surges import route

# V. T. Chow, D. R. Maidment, L. W. Mays (1988), Applied Hydrology, problem 8.2.2, as a published
# solution works it: storage [1e6 m3] and outflow [m3/s] of the reservoir; inflow every 2 h; the
# outflows it finds. It feeds the last inflow once more.
CHOW_STORAGE = np.array([75.0, 81.0, 87.5, 100.0, 110.2]) * 1e6
CHOW_RATING = np.array([57.0, 227.0, 519.0, 1330.0, 2270.0])
CHOW_INFLOW = [60, 100, 232, 300, 520, 1310, 1930, 1460, 930, 650]
CHOW_OUTFLOW = [57.0, 61.3, 80.6, 115.0, 169.6, 348.2, 768.3, 1119.2, 1147.9, 1012.3]

# San Diego State University, onlinecalc.sdsu.edu, "onlinerouting01: Linear reservoir routing" and
# "onlinerouting02: Storage-indication reservoir routing (linear)", the sample that both print (seen
# in stored copies; the pages name no author; the site is V. M. Ponce's, from memory): S = K O,
# K = 2 h, steps of 1 h, first outflow 100.
LINEAR_INFLOW = [100, 150, 250, 400, 800, 1000, 900, 700, 550, 400, 300]
LINEAR_OUTFLOW = [
    100, 110, 146, 217.6, 370.56, 582.336, 729.402, 757.641, 704.585, 612.751, 507.65,
]  # fmt: skip


def chow_reservoir() -> Pool:
    table = RatingTable(CHOW_STORAGE, CHOW_RATING)
    return Pool(1.0, table, float(CHOW_STORAGE[0]), float(CHOW_STORAGE[0]))


def test_chow_maidment_mays_1988_problem_8_2_2() -> None:
    # the solution rounds its intermediate columns, so its last printed digit may be one off
    outflow, _ = route(CHOW_INFLOW, 7200.0, chow_reservoir(), weight=0.5)
    assert outflow == pytest.approx(CHOW_OUTFLOW, abs=0.11)


def test_chow_maximum_outflow_is_1148() -> None:
    outflow, _ = route(CHOW_INFLOW, 7200.0, chow_reservoir(), weight=0.5)
    assert round(float(outflow.max())) == 1148


def test_san_diego_state_university_linear_reservoir() -> None:
    store = Pool(1.0, lambda volume: (volume / 2, 0.5), 200.0)
    outflow, _ = route(LINEAR_INFLOW, 1.0, store, weight=0.5)
    assert outflow == pytest.approx(LINEAR_OUTFLOW, abs=6e-4)


# Drawdowns of a tank of plan area A from h0, in closed form (separation of the variables of
# A dh/dt = -Q; any text on hydraulics): the time at which it stands at h.
AREA = 0.2
FROM, TO = 0.1, 0.02


def drawdown(factor: float, power: float, steps: int) -> float:
    """Level after the exact time from FROM to TO, by the fitted step. [m]"""
    rest = 1 - power
    seconds = AREA / factor * (FROM**rest - TO**rest) / rest
    pool = Pool(AREA, lambda h: (factor * h**power, factor * power * h ** (power - 1)), FROM)
    return float(route(np.zeros(steps + 1), seconds / steps, pool)[1][-1])


@pytest.mark.parametrize(
    ("factor", "power"), [(0.05, 1.5), (0.5, 2.5), (2e-3, 0.5)], ids=["slot", "notch", "orifice"]
)
def test_drawdown_of_slot_notch_and_deep_orifice(factor: float, power: float) -> None:
    """Exact: t = 2A/k (h^-1/2 - h0^-1/2), 2A/3k (h^-1.5 - h0^-1.5), 2A/k (sqrt h0 - sqrt h)."""
    assert drawdown(factor, power, 400) == pytest.approx(TO, rel=1e-4)
    # twice the steps, a quarter of the error
    errors = [abs(drawdown(factor, power, steps) / TO - 1) for steps in (50, 100)]
    assert errors[1] < 0.3 * errors[0]


def test_filling_of_a_tank_with_a_square_rating() -> None:
    """Exact: from empty, h = hs tanh(t / tau), hs = sqrt(I / k), tau = A / sqrt(I k)."""
    inflow, factor = 3e-4, 1.5
    highest, tau = np.sqrt(inflow / factor), AREA / np.sqrt(inflow * factor)
    seconds = np.linspace(0, 3 * tau, 601)
    pool = Pool(AREA, lambda h: (factor * h * abs(h), 2 * factor * abs(h)), 0.0)
    _, level = route(np.full(601, inflow), float(seconds[1]), pool)
    assert level == pytest.approx(highest * np.tanh(seconds / tau), abs=2e-5 * highest)
