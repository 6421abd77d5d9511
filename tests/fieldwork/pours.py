"""Pours simulated without dbox: the integral by Gauss, the level by brentq, noise on top."""

from collections import Counter

import numpy as np
from scipy.optimize import brentq

from dbox import Circle
from dbox.fieldwork.pour import expect
from dbox.fieldwork.pour_fit import Finding, explain, judge
from dbox.fieldwork.site import Flow, Outlet, Pour, Site

INCH = 0.0254
GPM = 231 * INCH**3 / 60
DIAMETER = 2 * INCH
COEFFICIENT = 0.6
SLOW, FAST = 1.25 * GPM, 6 * GPM
"""A hose turned down, and buckets: heads of about 6 and 14 mm over five holes of 2 in."""


NODES, WEIGHTS = np.polynomial.legendre.leggauss(24)
TURN = np.pi / 4 * (NODES + 1)


def hole_flow(head: np.ndarray, coefficient: float) -> np.ndarray:
    """Q = C sqrt(2 g) times the integral of b(z) sqrt(h - z) over the wetted hole. [m3/s]

    With z = top sin(t)^2 the integrand has no root left at either end, so 24 points are plenty.
    """
    head = np.maximum(head, 0.0)[:, None]
    top = np.minimum(head, DIAMETER)
    z = top * np.sin(TURN) ** 2
    strip = 2 * np.sqrt(z * (DIAMETER - z)) * np.sqrt(head - z)
    integral = (strip * top * np.sin(2 * TURN)) @ WEIGHTS * np.pi / 4
    return coefficient * np.sqrt(2 * 9.80665) * integral


def simulate(
    lips: np.ndarray, passing: np.ndarray, inflow: float, coefficient: float = COEFFICIENT
) -> np.ndarray:
    """Flow of each outlet, `passing` being the part of its flow that each lets through. [m3/s]"""

    def flows(level: float) -> np.ndarray:
        return passing * hole_flow(level - lips, coefficient)

    level = brentq(lambda y: flows(y).sum() - inflow, lips.min(), lips.max() + 0.2, xtol=1e-9)
    return flows(level)


def drawn_box(
    kind: str,
    inflows: tuple[float, ...],
    seed: int,
    *,
    outlets: int = 5,
    readings: int = 2,
    spread: float = INCH / 32,
    error: float = 0.05,
    coefficient: float = COEFFICIENT,
) -> tuple[Site, int]:
    """A box set within about 1/16 in, one outlet of it off, and what was read and caught there.

    `blockage`: 40 % of the outlet's flow is lost. `higher`, `lower`: its lip stands 1/8 in off the
    mean of its readings. `agree`: nothing is off.
    """
    draw = np.random.default_rng(seed)
    lips = draw.normal(0.0, INCH / 32, outlets)
    off = int(draw.integers(outlets))
    read = lips[:, None] + draw.normal(0.0, spread, (outlets, readings))
    passing = np.ones(outlets)
    if kind == "blockage":
        passing[off] = 0.6
    elif kind != "agree":
        lips[off] = read[off].mean() + (INCH / 8 if kind == "higher" else -INCH / 8)
    pours = []
    for i, inflow in enumerate(inflows):
        flow = simulate(lips, passing, inflow, coefficient)
        caught = flow * (1 + error * draw.standard_normal(outlets))
        pours.append(Pour(name=str(i), inflow=inflow, error=error, catches=tuple(caught)))
    site = Site(
        outlets=tuple(
            Outlet(
                label=str(i + 1),
                opening=Circle(DIAMETER, coefficient=COEFFICIENT),
                readings=tuple(r),
            )
            for i, r in enumerate(read)
        ),
        flows=(Flow(name="pour", inflow=inflows[0]),),
        spread=spread,
        pours=tuple(pours),
    )
    return site, off


def find(site: Site) -> Finding:
    """What dbox says of a site's pours."""
    expectation = expect(site, site.pours, samples=100)
    return judge(expectation, explain(expectation))


def answer(finding: Finding, kind: str, off: int) -> str:
    """How a finding stands to the truth.

    `right`; `outlet`: the outlet but not why; `cannot tell`; `agree` where it does not; `none
    fits`; `wrong`: another outlet or the other kind.
    """
    if kind == "agree":
        return "right" if finding.verdict == "agree" else finding.verdict
    if finding.verdict != "disagree":
        return finding.verdict
    wanted = "blockage" if kind == "blockage" else "height"
    way = {"higher": 1.0, "lower": -1.0}.get(kind, 0.0)
    if finding.outlet != off:
        return "wrong"
    if finding.kind is None:
        return "outlet"
    return "right" if finding.kind == wanted and finding.best.size * way >= 0 else "wrong"


def rates(kind: str, inflows: tuple[float, ...], seeds: int, **box: object) -> Counter[str]:
    """Answers over seeds."""
    boxes = (drawn_box(kind, inflows, seed, **box) for seed in range(seeds))  # type: ignore[arg-type]
    return Counter(answer(find(site), kind, off) for site, off in boxes)
