"""Systems and inflows, plain ones and drawn, and what must hold of any run through them."""

from itertools import pairwise

import numpy as np
from hypothesis import strategies as st

from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Siphon, measured, pulses
from dbox.hydraulics.surge.level_pool import Pool
from dbox.hydraulics.surge.parts import SOIL_STATES, SupplyPipe, Tank, Trench
from dbox.hydraulics.surge.stepper import Surge
from tests.hydraulics.boxes import openings

BALANCE = 1e-9


def powers(low: float, high: float) -> st.SearchStrategy[float]:
    """Numbers between two bounds, each power of ten as likely."""
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


pipes = st.builds(
    SupplyPipe, length=st.floats(0.5, 60), diameter=st.floats(0.05, 0.2), fall=powers(1e-3, 0.2)
)
tanks = st.builds(
    Tank,
    area=powers(0.2, 10),
    outlet=st.floats(0.05, 0.2),
    filter_loss=st.floats(0, 10),
    clogged=st.floats(0, 0.95),
)


@st.composite
def trenches(draw):
    """Trenches, some ponded, some in groundwater."""
    depth = draw(st.floats(0.1, 1.0))
    part = st.floats(0, 1)
    return Trench(
        length=draw(st.floats(1, 60)),
        width=draw(st.floats(0.2, 2)),
        depth=depth,
        pipe_height=depth * draw(part),
        voids=draw(st.floats(0.1, 1)),
        acceptance=draw(powers(1e-9, 1e-5)),
        soil=draw(st.sampled_from(sorted(SOIL_STATES))),
        water_table=draw(st.sampled_from([-np.inf, -0.5, 0.0, 0.5 * depth])),
        ponding=depth * draw(part),
    )


@st.composite
def inflows(draw):
    """Pulses, a siphon or a measured series, from a drip to far too much."""
    kind = draw(st.sampled_from(["pulses", "siphon", "measured"]))
    if kind == "siphon":
        low = draw(st.floats(0.05, 0.5))
        high = low + draw(st.floats(0.01, 0.5))
        area, diameter = draw(powers(0.1, 5)), draw(st.floats(0.03, 0.1))
        return Siphon(area=area, diameter=diameter, high=high, low=low).dose()
    count = draw(st.integers(2, 5))
    rates = draw(st.lists(powers(1e-7, 0.03), min_size=count, max_size=count))
    spans = draw(st.lists(powers(0.1, 2000), min_size=count, max_size=count))
    if kind == "measured":
        return measured(np.cumsum(spans), rates)
    begin = draw(st.lists(st.floats(0, 2000), min_size=count, max_size=count))
    return pulses(begin, spans, rates, entry=draw(st.sampled_from(["house", "supply", "box"])))


@st.composite
def systems(draw):
    """One to eight outlets, with and without what may stand before and behind them."""
    n = draw(st.integers(1, 8))
    kinds = draw(st.lists(openings, min_size=1, max_size=3))
    lips = np.array(draw(st.lists(st.floats(-0.03, 0.03), min_size=n, max_size=n)))
    for i in range(1, n):
        lips[i] = np.inf if draw(st.integers(0, 6)) == 0 else lips[i]
    lines = [draw(st.none() | trenches()) for _ in range(n)]
    falls = draw(st.lists(st.floats(-0.05, 0.3), min_size=n, max_size=n))
    bottoms = [
        lip - fall - line.pipe_height if line and lip < np.inf else -np.inf
        for lip, fall, line in zip(lips, falls, lines, strict=True)
    ]
    pipe = draw(st.none() | pipes)
    places = st.lists(st.floats(0, 0.5), min_size=n, max_size=n)
    jet = None
    if pipe is not None and draw(st.booleans()):
        jet = Jet(pipe=pipe, **{
            part: np.array(draw(places)) for part in ("distance", "offset", "facing")
        })  # fmt: skip
    return System(
        area=draw(powers(0.01, 1)),
        lips=lips,
        openings=tuple(draw(st.sampled_from(kinds)) for _ in range(n)),
        rim=draw(st.none() | st.floats(0.05, 0.3)),
        rim_length=1.5,
        tank=draw(st.none() | tanks),
        supply=pipe,
        jet=jet,
        delays=np.array(draw(st.lists(st.just(0.0) | st.floats(0, 300), min_size=n, max_size=n))),
        trenches=tuple(lines),
        bottoms=np.array(bottoms),
    )


def assert_physical(run: Surge) -> None:
    """Volumes add up, nothing is negative, nothing is not a number."""
    system = run.system
    assert run.balance_error <= BALANCE
    for part in (run.inflow, run.flow, run.volume, run.overflow, run.spilled, run.surfaced):
        assert np.all(np.isfinite(part))
        assert np.all(part >= 0)
    for part in (run.volume, run.spilled, run.surfaced):
        assert np.all(np.diff(part, axis=0) >= 0)
    assert np.all(np.isfinite(run.level))
    assert np.all(np.diff(run.time) > 0)
    has_trench = np.array([line is not None for line in system.trenches])
    assert np.array_equal(np.isnan(run.depth), np.broadcast_to(~has_trench, run.depth.shape))
    assert np.all(run.depth[:, has_trench] >= 0)
    full = np.array([line.depth if line else np.inf for line in system.trenches])
    assert np.all((run.depth <= full * (1 + 1e-12)) | np.isnan(run.depth))
    if not np.all(np.isnan(run.tank_level)):
        assert np.all(run.tank_level >= 0)
    if system.jet is None:
        assert np.all(run.level >= system.still_level - 1e-12)


def box_alone(lips, openings, **parts) -> System:
    """A box of 0.2 m2 with nothing before it and lines that drain freely; lips [m]."""
    n = len(openings)
    return System(
        area=0.2, lips=np.array(lips, np.float64), openings=tuple(openings), delays=np.zeros(n),
        trenches=(None,) * n, bottoms=np.full(n, -np.inf), **parts,
    )  # fmt: skip


def route(inflow, seconds: float, pool: Pool, weight: float | None = None):
    """Outflow [m3/s] and level [m] of a pool that a series of inflows runs through."""
    rows = [(pool.flow, pool.level)]
    for first, last in pairwise(inflow):
        pool.step(float(first), float(last), seconds, weight)
        pool.accept()
        rows.append((pool.flow, pool.level))
    return np.transpose(rows)
