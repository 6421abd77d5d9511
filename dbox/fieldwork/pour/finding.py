"""Do ruler and water agree; if not, where, by how much and why; and what would settle it?

One thing is said only where it is much more probable than all others together. Otherwise the
answer is "cannot tell", with what would tell: a second pour at the flow at which the two best
explanations differ most, or more readings of the outlet in doubt. That they agree is said only
where a blockage of half an outlet would have shown.

The difference of two explanations at a flow is counted in standard deviations,
d^2 = D^T V^-1 D, with D the difference of the flows that they give and V the covariance of a
catch's error and of what either leaves open.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.pour.fit import Explanation
from dbox.fieldwork.pour.predict import Expectation
from dbox.fieldwork.readings import MOST_READINGS
from dbox.hydraulics.openings.base import CAPILLARY_HEAD

AGREE = 0.65
"""Probability at which ruler and water are said to agree. [-] (assumed)"""

LEFT_OPEN = 0.02
"""Probability from which an explanation counts as left open. [-] (assumed)"""

BLIND = 0.5
"""Blockage which a test that says "agree" must be able to rule out. [-] (assumed)"""

SURE = 0.9
"""Probability at which an outlet, or a kind, is named. [-] (assumed)"""

NO_FIT = 1e-3
"""Probability of the misfit below which no explanation with one fault is believed. [-]"""

_TELLS = 1.0
_STANDS_OUT = 4.0
_FLOWS = 25


@dataclass(frozen=True, kw_only=True)
class SecondPour:
    """The further pour that tells most about two explanations.

    Parameters
    ----------
    inflow : float
        What to pour. [m3/s]
    outlet : int
        The outlet to catch, where the two differ most.
    flow, rival_flow : float
        What it gives if the best explanation, or its rival, is right. [m3/s]
    """

    inflow: float
    outlet: int
    flow: float
    rival_flow: float


@dataclass(frozen=True, kw_only=True, eq=False)
class Finding:
    """What the pour test says.

    Parameters
    ----------
    verdict : str
        `agree`, `disagree`, `cannot tell`, or `none fits` where one fault does not explain it.
    outlet : int or None
        The outlet on which ruler and water disagree.
    kind : str or None
        `height` or `blockage`; None where that cannot be told.
    probability : float
        Of what is said: of agreement, or of this outlet and, where told, this kind. [-]
    best, rival : Explanation
        The most probable explanation, and the one that stands most against it.
    second_pour : SecondPour or None
        What would tell most about the two; None where nothing is open or no pour tells much.
    readings : int or None
        Readings in all of the outlet in doubt that would tell a wrong height from a right one;
        None where nothing is open or no number of readings would.
    dry : tuple of int
        Outlets that stay dry in these pours, of which nothing is said.
    """

    verdict: str
    outlet: int | None
    kind: str | None
    probability: float
    best: Explanation
    rival: Explanation
    second_pour: SecondPour | None
    readings: int | None
    dry: tuple[int, ...]


def judge(expectation: Expectation, explanations: tuple[Explanation, ...]) -> Finding:
    """Say what the catches tell, and no more.

    Parameters
    ----------
    expectation : Expectation
        The pours and what the readings say of them.
    explanations : tuple of Explanation
        From `explain`, the most probable one first.

    Returns
    -------
    Finding
        The answer.
    """
    best, rival = explanations[0], explanations[1]
    verdict, outlet, kind, probability = _verdict(explanations)
    if verdict == "disagree":
        rival = next((e for e in explanations[1:] if e.outlet == outlet), rival)
    elif verdict == "cannot tell" and best.kind == "agree":
        rival = next(iter(_unseen(explanations)), rival)
    settled = kind is not None or verdict in ("agree", "none fits")
    return Finding(
        verdict=verdict,
        outlet=outlet,
        kind=kind,
        probability=probability,
        best=best,
        rival=rival,
        second_pour=None if settled else _second_pour(expectation, best, rival),
        readings=None if settled else _readings(expectation, best, rival),
        dry=tuple(sorted(_outlets(explanations, "height") - _outlets(explanations, "blockage"))),
    )


def _outlets(explanations: tuple[Explanation, ...], kind: str) -> set[int]:
    return {e.outlet for e in explanations if e.kind == kind and e.outlet is not None}


def _verdict(explanations: tuple[Explanation, ...]) -> tuple[str, int | None, str | None, float]:
    """Verdict, outlet, kind and its probability."""
    best = explanations[0]
    if best.chance < NO_FIT:
        return "none fits", None, None, best.chance
    by_outlet: dict[int, float] = {}
    for each in explanations:
        if each.outlet is None:
            if each.probability >= AGREE and not _unseen(explanations):
                return "agree", None, None, each.probability
        else:
            by_outlet[each.outlet] = by_outlet.get(each.outlet, 0.0) + each.probability
    outlet = max(by_outlet, key=lambda k: by_outlet[k])
    chance = by_outlet[outlet]
    if chance < SURE:
        return "cannot tell", None, None, best.probability
    named = next(e for e in explanations if e.outlet == outlet)
    if named.probability < SURE:
        return "disagree", outlet, None, chance
    return "disagree", outlet, named.kind, named.probability


def _unseen(explanations: tuple[Explanation, ...]) -> list[Explanation]:
    """Blockages that these pours could not have shown, the most probable one first."""
    return [
        e
        for e in explanations
        if e.kind == "blockage" and e.probability >= LEFT_OPEN and e.high >= BLIND
    ]


def _readings(expectation: Expectation, best: Explanation, rival: Explanation) -> int | None:
    """Readings of the outlet, in all, by which its lip would stand out from its first ones."""
    height = next((e for e in (best, rival) if e.kind == "height"), None)
    if height is None or best.kind == rival.kind:
        return None
    # of a lip that is hardly off no number of readings tells that it is
    size = max(abs(height.size), _STANDS_OUT * expectation.lips.spread / MOST_READINGS)
    needed = int(np.ceil((_STANDS_OUT * expectation.lips.spread / size) ** 2))
    needed = max(needed, int(expectation.lips.repeats[height.outlet]) + 1)
    return needed if needed <= MOST_READINGS else None


def _second_pour(
    expectation: Expectation, best: Explanation, rival: Explanation
) -> SecondPour | None:
    """The flow at which two explanations differ most, if they then differ enough."""
    openings = [
        o for o, h in zip(best.model.openings, best.model.height, strict=True) if np.isfinite(h)
    ]
    slowest = float(sum(o.discharge(1.2 * CAPILLARY_HEAD) for o in openings))
    done = [p for p in expectation.pours if p.done]
    fastest = max(2.0 * max(p.inflow for p in done), 4.0 * slowest)
    error = max(p.error for p in done)
    inflows = np.geomspace(slowest, fastest, _FLOWS)
    apart = [_apart(best, rival, float(q), error) for q in inflows]
    inflow = float(inflows[int(np.argmax(apart))])
    if max(apart) < _TELLS:
        return None
    flow, other = (_predicted(e, inflow, error)[0] for e in (best, rival))
    outlet = int(np.argmax(np.abs(flow - other)))
    return SecondPour(
        inflow=inflow, outlet=outlet, flow=float(flow[outlet]), rival_flow=float(other[outlet])
    )


def _apart(best: Explanation, rival: Explanation, inflow: float, error: float) -> float:
    """Standard deviations between two explanations at an inflow. [-]"""
    (flow, spread), (other, other_spread) = (_predicted(e, inflow, error) for e in (best, rival))
    noise = np.diag((error * np.maximum(flow, other)) ** 2 + (0.01 * inflow) ** 2)
    variance = noise + 0.5 * (spread + other_spread)
    difference = flow - other
    return float(np.sqrt(difference @ np.linalg.solve(variance, difference)))


def _predicted(explanation: Explanation, inflow: float, error: float) -> tuple[Array, Array]:
    """Flows of all outlets in another pour, shape (n,), and their covariance, (n, n)."""
    model = explanation.model.at_inflow(inflow, error)
    old = explanation.model.inflow.size
    count = explanation.state.size - old - (explanation.kind == "blockage")
    kept = np.r_[0:count, count + old : explanation.state.size]
    state = np.insert(explanation.state[kept], count, 0.0)
    covariance = np.zeros((state.size, state.size))
    covariance[count, count] = 1.0
    others = np.delete(np.arange(state.size), count)
    covariance[np.ix_(others, others)] = explanation.covariance[np.ix_(kept, kept)]
    flow, slope = (rated[0] for rated in model.rating(state))
    return flow, slope @ covariance @ slope.T
