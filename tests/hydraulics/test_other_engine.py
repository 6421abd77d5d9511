"""Tank, box and weirs through a storm-sewer engine that shares nothing with ours.

SWMM 5 (L. A. Rossman, US Environmental Protection Agency), by the package swmm-toolkit, routes the
same water by dynamic wave. Both know tank and box as plan areas, the lines as sharp weirs (90
degree notches and slots, C = 0.6) that fall free, and the tank's outlet as critical depth at a
pipe's end, which is typed there as a table made here. A jump of the inflow is a ramp of a second in
both. Its steps are 1 s, a quarter second for the closer look, of one length; least surface area
1e-6 m2, head tolerance 1e-7 m, at most 50 trials.

Promised are shares within 0.1 points and the peak level within 2 %; found were 0.01 points and
0.4 % at steps of 1 s.
"""

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from dbox import Notch, Slot
from dbox.arrays import GRAVITY, Array
from dbox.hydraulics.surge.box_pool import System
from dbox.hydraulics.surge.inflow import Inflow, household_day, measured, pulses, to_inflow
from dbox.hydraulics.surge.parts import Tank
from dbox.hydraulics.surge.stepper import surge

COEFFICIENT = 0.6
LIPS = np.array([0.0, 0.003, 0.0015, 0.0])
SLOT = 0.05
OPENINGS = (Notch(np.pi / 2, coefficient=COEFFICIENT),) * 2 + (
    Slot(SLOT, coefficient=COEFFICIENT),
) * 2
AREA, TANK = 0.2064, Tank(area=3.7, outlet=0.1022604)
FLOOR = 0.1
"""How far the box's floor lies under the datum of the lips. [m]"""

Knots = list[tuple[float, float]]


def ramps(event: Inflow) -> Knots:
    """Times and rates with a second's ramp in place of each jump; [s], [m3/s]."""
    knots, before = [(0.0, 0.0)], 0.0
    for time, rate in zip(event.begin.tolist(), event.first.tolist(), strict=True):
        if rate != before:
            knots += [(time, before)] * (time > knots[-1][0]) + [(time + 1.0, rate)]
        before = rate
    assert all(a < b for (a, _), (b, _) in pairwise(knots))
    return knots


def pipe_end(diameter: float) -> list[str]:
    """Rating of a pipe's end at critical depth: Q^2 T = g A^3, head y + A / (2 T)."""
    half = np.linspace(0.02, 2.4, 400)
    area = diameter**2 / 4 * (half - np.sin(half) * np.cos(half))
    width, depth = diameter * np.sin(half), diameter / 2 * (1 - np.cos(half))
    flow, head = np.sqrt(GRAVITY * area**3 / width), depth + area / (2 * width)
    return [f"MOUTH {h:.12f} {q:.12e}" for h, q in zip(head, flow, strict=True)]


def as_its_input(knots: Knots, seconds: int, step: float, *, tank: bool) -> str:
    """The engine's input file, lengths in metres and flows in m3/s."""
    day, rest = divmod(seconds, 86400)
    notch, slot = (COEFFICIENT * k * np.sqrt(2 * GRAVITY) for k in (8 / 15, 2 / 3))
    kinds = [("V-NOTCH", notch, "TRIANGULAR 1 2")] * 2
    kinds += [("TRANSVERSE", slot, f"RECT_OPEN 1 {SLOT}")] * 2
    lines = [
        "[OPTIONS]", "FLOW_UNITS CMS", "FLOW_ROUTING DYNWAVE", "LINK_OFFSETS DEPTH",
        "START_DATE 01/01/2026", "START_TIME 00:00:00",
        "REPORT_START_DATE 01/01/2026", "REPORT_START_TIME 00:00:00",
        f"END_DATE 01/{1 + day:02d}/2026",
        f"END_TIME {rest // 3600:02d}:{rest % 3600 // 60:02d}:{rest % 60:02d}",
        "REPORT_STEP 00:01:00", "WET_STEP 00:01:00", "DRY_STEP 00:01:00",
        f"ROUTING_STEP {step}", "VARIABLE_STEP 0", "MINIMUM_STEP 0.01", "MIN_SURFAREA 0.000001",
        "MAX_TRIALS 50", "HEAD_TOLERANCE 0.0000001", "SKIP_STEADY_STATE NO", "THREADS 1",
        "[OUTFALLS]", *[f"O{i} -10 FREE NO" for i in range(len(LIPS))],
        "[STORAGE]", f"BOX 0 5 {FLOOR + LIPS.min()} FUNCTIONAL 0 0 {AREA} 0 0",
        *[f"TANK 10 5 0 FUNCTIONAL 0 0 {TANK.area} 0 0"] * tank,
        "[WEIRS]",
        *[f"W{i} BOX O{i} {kind} {FLOOR + LIPS[i]:.9f} {c:.9f} NO 0 0 NO"
          for i, (kind, c, _) in enumerate(kinds)],
        *["[OUTLETS]", "PIPE TANK BOX 0 TABULAR/DEPTH MOUTH NO"] * tank,
        "[XSECTIONS]", *[f"W{i} {section} 0 0" for i, (*_, section) in enumerate(kinds)],
        *["[CURVES]", "MOUTH RATING 0 0", *pipe_end(TANK.outlet)] * tank,
        "[INFLOWS]", f"{'TANK' if tank else 'BOX'} FLOW IN FLOW 1.0 1.0",
        "[TIMESERIES]", *[f"IN {t / 3600:.10f} {q:.12e}" for t, q in knots],
        f"IN 100000 {knots[-1][1]:.12e}", "[REPORT]", "NODES NONE", "LINKS NONE",
    ]  # fmt: skip
    return "\n".join(lines) + "\n"


def routed(text: str, folder: Path) -> tuple[Array, float]:
    """Volume of each line [m3] and peak level over the datum of the lips [m]."""
    from swmm.toolkit import solver
    from swmm.toolkit.shared_enum import NodeResult, ObjectType

    (folder / "box.inp").write_text(text)
    solver.swmm_open(*(str(folder / f"box.{end}") for end in ("inp", "rpt", "out")))
    try:
        solver.swmm_start(False)
        count = solver.project_get_count(ObjectType.NODE)
        nodes = {solver.project_get_id(ObjectType.NODE, i): i for i in range(count)}
        peak = 0.0
        while solver.swmm_step() > 0.0:
            peak = max(peak, solver.node_get_result(nodes["BOX"], NodeResult.DEPTH))
        volumes = [solver.node_get_total_inflow(nodes[f"O{i}"]) for i in range(len(LIPS))]
        solver.swmm_end()
    finally:
        solver.swmm_close()
    return np.array(volumes), peak - FLOOR


EVENTS = {
    "shower": (to_inflow([("shower", 0.0)]), 3 * 3600, True),
    "dose": (pulses([0.0], [90.0], [1.9e-3]), 1800, False),
    "day": (to_inflow(household_day(4, 0, 0)), 86400, True),
}


@pytest.mark.slow
@pytest.mark.filterwarnings("ignore:builtin type:DeprecationWarning")
@pytest.mark.parametrize("name", EVENTS)
@pytest.mark.parametrize(("step", "points"), [(1.0, 0.02), (0.25, 0.005)])
def test_another_engine_sends_the_same_water_down_each_line(name, step, points, tmp_path):
    event, seconds, tank = EVENTS[name]
    knots = ramps(event)
    inflow = replace(measured(*zip(*knots, strict=True)), entry="house" if tank else "box")
    n = len(LIPS)
    system = System(
        area=AREA, lips=LIPS.copy(), openings=OPENINGS, tank=TANK if tank else None,
        delays=np.zeros(n), trenches=(None,) * n, bottoms=np.full(n, -np.inf),
    )  # fmt: skip
    ours = surge(system, inflow, seconds=float(seconds), max_change=0.1)
    volumes, peak = routed(as_its_input(knots, seconds, step, tank=tank), tmp_path)
    assert 100 * ours.share == pytest.approx(100 * volumes / volumes.sum(), abs=points)
    assert ours.volume[-1].sum() == pytest.approx(volumes.sum(), rel=1e-4)
    assert ours.peak_level == pytest.approx(peak, rel=0.005)
