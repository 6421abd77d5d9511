"""The supply pipe and the headers: what they hold, and how late they deliver."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from dbox.errors import DomainError
from dbox.hydraulics.pipes import area, normal_depth
from dbox.hydraulics.surge.parts import Delay, SupplyPipe
from tests.hydraulics.surges import pipes


@given(pipes, st.floats(-5, -0.2).map(lambda x: 10.0**x))
def test_steady_flow_stands_at_normal_depth(pipe: SupplyPipe, part: float) -> None:
    """What the reaches hold in steady flow is length times the area at normal depth."""
    flow, held = part * pipe.full, 0.0
    for pool in pipe.pools():
        for _ in range(40):
            pool.step(flow, flow, 1e6)
            pool.accept()
        assert pool.flow == pytest.approx(flow, rel=1e-6)
        held += pool.level
    depth = normal_depth(flow, pipe.diameter, pipe.fall)
    assert held == pytest.approx(pipe.length * float(area(depth, pipe.diameter)), rel=1e-4)


def test_mean_delay_of_a_small_change_is_storage_over_flow() -> None:
    """Exact: the mean lateness of a step up is the volume held back over the step's size."""
    pipe, low, high = SupplyPipe(length=9.0, diameter=0.1, fall=0.01), 1e-4, 1.1e-4
    pools = pipe.pools()
    before = 0.0
    for pool in pools:
        for _ in range(40):
            pool.step(low, low, 1e6)
            pool.accept()
        before += pool.level
    late, seconds = 0.0, 0.2
    for _ in range(3000):
        first = last = high
        for pool in pools:
            mean = pool.step(first, last, seconds)
            last = min(pool.next_flow, 2 * mean)
            first = 2 * mean - last
            pool.accept()
        late += (high - mean) * seconds
    held = sum(pool.level for pool in pools) - before
    assert late == pytest.approx(held, rel=1e-6)
    assert pools[-1].flow == pytest.approx(high, rel=1e-6)


@given(st.lists(st.tuples(st.floats(0.01, 100), st.floats(0, 1)), min_size=1), st.floats(0, 500))
def test_a_delay_keeps_volume(steps, seconds: float) -> None:
    delay, time, passed = Delay(seconds), 0.0, 0.0
    for span, volume in steps:
        time += span
        part = delay.push(time, volume)
        assert part >= 0
        passed += part
    given_ = sum(volume for _, volume in steps)
    assert delay.given == pytest.approx(given_)
    assert passed == pytest.approx(delay.passed)
    assert passed <= given_ * (1 + 1e-12)
    rest = delay.push(time + seconds + 1.0, 0.0)
    assert passed + rest == pytest.approx(given_, abs=1e-12)


def test_a_delay_is_a_shift_in_time() -> None:
    delay = Delay(30.0)
    passed = np.cumsum([delay.push(t, 1.0) for t in np.arange(1.0, 101.0)])
    assert passed == pytest.approx(np.maximum(np.arange(1.0, 101.0) - 30.0, 0.0))


def test_a_long_delay_forgets_what_is_long_past() -> None:
    delay = Delay(5.0)
    for step in range(1, 20_001):
        delay.push(float(step), 1.0)
    assert len(delay._times) < 3000
    assert delay.given - delay.passed == pytest.approx(5.0)


@pytest.mark.parametrize("part", ["length", "diameter", "fall"])
def test_a_pipe_that_cannot_be_is_refused(part: str) -> None:
    sizes = {"length": 9.0, "diameter": 0.1, "fall": 0.01, part: 0.0}
    with pytest.raises(DomainError):
        SupplyPipe(**sizes)


def test_an_overfull_pipe_runs_as_fast_as_its_section_lets_it() -> None:
    """Exact: continuity in the full section."""
    pipe = SupplyPipe(length=9.0, diameter=0.1, fall=0.01)
    flow = 3 * pipe.full
    assert float(pipe.velocity(np.array(flow))) == pytest.approx(flow / (np.pi / 4 * 0.01))
