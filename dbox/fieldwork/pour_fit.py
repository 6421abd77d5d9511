"""What explains the catches of a pour best: the ruler, one lip off, or an outlet partly blocked.

The unknowns are standard normal numbers z: one for each open lip over its reading, one for each
inflow, ln(inflow / poured), and one for the blockage where there is one. With the level y at which
the outlets pass the inflow Q, s_i = dq_i/dh and S = sum of s_i, the derivatives are exact:

    dq_i / d lip_j = s_i s_j / S - s_i [i = j],    dq_i / d ln Q = Q s_i / S,
    dq_i / d b     = q_k / (1 - b) (s_i / S - [i = k])    for a blockage b of outlet k.

The candidates are

    agree        every lip stands where it was read, within the error of its readings
    height k     so do all but lip k, which stands off its reading by x, x ~ N(0, LIP_SPREAD)
    blockage k   outlet k passes only 1 - b of what its lip would let through, whatever the flow,
                 b between LEAST_BLOCKAGE and 1, all values alike

Each is fitted to the readings and to all catches of all pours at once. Its unknowns are written as
standard normal numbers z (b through the normal distribution function), so that with the residuals
d of the catches, each over its error, the misfit S = |z|^2 + |d|^2 holds readings, priors and
catches alike. scipy.optimize.least_squares finds its minimum, and Laplace's approximation gives
the evidence of the candidate,

    ln evidence = - S / 2 - ln det(I + G^T G) / 2,     G = dd/dz at the minimum,

which charges a candidate for what it leaves free (R. E. Kass and A. E. Raftery 1995, Bayes
factors, J. American Statistical Association 90, 773-795: from memory). Evidence times the
probability before the pour, `PRIOR`, scaled to add up to one, is the probability after it.

A height error fades as the flow grows and a blockage does not: two pours of different flow tell
them apart, one alone hardly can.

Where an outlet gave nothing that a dry lip may have held back (`pour.water_over_dry`), that catch
speaks neither for a height nor for a blockage: in that pour the outlet is taken as closed.

One thing is said only where it is much more probable than all others together. Otherwise the
answer is "cannot tell", with what would tell: a second pour at the flow at which the two best
explanations differ most, or more readings of the outlet in doubt. That they agree is said only
where a blockage of half an outlet would have shown.

The difference of two explanations at a flow is counted in standard deviations,
d^2 = D^T V^-1 D, with D the difference of the flows that they give and V the covariance of a
catch's error and of what either leaves open.
"""

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, BoolArray, Result
from dbox.errors import DomainError, SolveError
from dbox.fieldwork.inlet import CURE, known_jet
from dbox.fieldwork.pour import Expectation
from dbox.fieldwork.readings import MOST_READINGS
from dbox.fieldwork.shares import SIDE_95
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.split import Split, split
from dbox.keys import said
from dbox.units import INCH

PRIOR = {"agree": 0.5, "height": 0.25, "blockage": 0.25}
"""Probability of each kind before anything is caught; equal among the outlets. [-] (judgement)"""

LIP_SPREAD = INCH / 8
"""Standard deviation of a lip that stands off its reading. [m] (1/8 in: judgement)"""

LEAST_BLOCKAGE = 0.1
"""Least part of its flow that a blocked outlet loses; less is not called one. [-] (judgement)"""

DRIBBLE = 0.005
"""Least error of a catch, over the inflow: no one can time a dribble better. [-] (judgement)"""

FREE_INFLOW = 0.5
"""Spread of ln(inflow) where every outlet was caught: the catches themselves then tell what came
in, so that a leak cannot pass for a blockage. [-] (judgement)"""

AGREE = 0.65
"""Probability at which ruler and water are said to agree. [-] (judgement)"""

LEFT_OPEN = 0.02
"""Probability from which an explanation counts as left open. [-] (judgement)"""

BLIND = 0.5
"""Blockage which a test that says "agree" must be able to rule out. [-] (judgement)"""

SURE = 0.9
"""Probability at which an outlet, or a kind, is named. [-] (judgement)"""

NO_FIT = 1e-3
"""Probability of the misfit below which no explanation with one fault is believed. [-]
(judgement)"""

_HOPELESS = 25.0
"""Misfit for each catch, five standard deviations squared, above which a fit that does not settle
is laid on the catches and not on the search. [-] (judgement)"""

_TELLS = 1.0
"""Standard deviations between two explanations from which a further pour is worth it. [-]
(judgement)"""

_STANDS_OUT = 4.0
"""Standard deviations by which a lip stands out from its first readings: those of both means, each
at two. [-] (judgement)"""

_SLOWEST_HEAD = 1.2 * CAPILLARY_HEAD
"""Head of the slowest pour that is proposed: clear of where surface tension decides. [m]
(judgement)"""

_TIMES_POURED = 2.0
"""Fastest pour that is proposed, over the fastest one done. [-] (judgement)"""

_TIMES_SLOWEST = 4.0
"""It is at least so many times the slowest one. [-] (judgement)"""

_UNSEEN_FLOW = 0.01
"""Error of a catch in a further pour, over its inflow, besides that of its time. [-] (judgement)"""

_FLOWS = 25
"""Pours between the slowest and the fastest that are tried. [-] (numerical)"""

_HEADS = np.geomspace(1e-5, 1.0, 300)
"""Heads at which a catch is turned back into one, to begin a search from. [m] (numerical)"""

_LEAST_PASSING = 1e-9
"""Part of its flow that an outlet blocked for good passes, so that its rating has a slope. [-]
(numerical)"""

_FARTHEST = 7.0
"""Most that ln(inflow) is moved by in a search: no inflow is a thousand times what was poured. [-]
(numerical)"""

_MOST_STEPS = 300
"""Steps of a search. [-] (numerical)"""


@dataclass(frozen=True)
class PartlyBlocked(Opening):
    """An opening that passes a part of what it would pass free, whatever the head."""

    opening: Opening  # The opening without what blocks it.
    passing: float  # Part of its flow that is left. [-]

    @property
    def top(self) -> float:
        """Height of the opening's highest point over its lip. [m]"""
        return self.opening.top

    @property
    def measured_heads(self) -> tuple[float, float]:
        """Heads between which the coefficient of the free opening was measured. [m]"""
        return self.opening.measured_heads

    def _free_rating(self, head: Array) -> tuple[Array, Array]:
        flow, slope = self.opening.rating(head)
        return self.passing * flow, self.passing * slope

    def _drowned_rating(self, head: Array, fall: Array) -> tuple[Array, Array]:
        flow, slope = self.opening.rating(head, fall)
        return self.passing * flow, self.passing * slope


@dataclass(frozen=True, kw_only=True, eq=False)
class PourModel:
    """A box, its readings and its pours, under one candidate."""

    kind: str  # What is taken to be wrong: `agree` nothing, or `height` or `blockage` of an outlet.
    outlet: int | None  # The outlet that is off, counted among all.
    openings: tuple[Opening, ...]  # The openings, free.
    height: Array  # (n,) Lips as read; inf where capped. [m]
    error: Array  # (n,) Errors of the readings. [m]
    inflow: Array  # (p,) Poured. [m3/s]
    inflow_error: Array  # (p,) Spread of ln(inflow). [-]
    held: BoolArray  # (p, n) Outlets that a dry lip kept closed in a pour.
    jet: Jet | None = None  # What a straight inlet throws at the outlets, at what is poured.

    @cached_property
    def _uncapped(self) -> npt.NDArray[np.intp]:
        return np.flatnonzero(np.isfinite(self.height))

    @cached_property
    def _off(self) -> int:
        """The outlet that is off, counted among the open ones; -1 where none is."""
        return int(np.searchsorted(self._uncapped, self._at)) if self._at >= 0 else -1

    @property
    def _at(self) -> int:
        """The outlet that is off, counted among all; -1 where none is."""
        return -1 if self.outlet is None else self.outlet

    @cached_property
    def _spread(self) -> Array:
        """Spread of each open lip; that of the lip which is off is wider. [m] (open,)."""
        spread: Array = self.error[self._uncapped].copy()
        if self.kind == "height":
            spread[self._off] = np.hypot(spread[self._off], LIP_SPREAD)
        return spread

    @property
    def unknowns(self) -> int:
        """How many unknowns there are."""
        return self._uncapped.size + self.inflow.size + (self.kind == "blockage")

    @property
    def fault(self) -> int | None:
        """Which unknown says how far the outlet is off; None where nothing is."""
        return {"agree": None, "height": self._off}.get(self.kind, self.unknowns - 1)

    def lips(self, state: Array) -> Array:
        """Lips at a state of shape (k,); inf where capped. [m] (n,)."""
        lips = self.height.copy()
        lips[self._uncapped] += self._spread * state[: self._uncapped.size]
        return lips

    def lip_errors(self, error: Array) -> Array:
        """Errors of the lips from those of the state, shape (k,); 0 where capped. [m] (n,)."""
        errors = np.zeros_like(self.height)
        errors[self._uncapped] = self._spread * error[: self._uncapped.size]
        return errors

    def size(self, state: Array) -> float:
        """Lip over its reading [m], part lost [-], or NaN, at a state of shape (k,). [-]"""
        if self.kind == "agree":
            return float("nan")
        if self.kind == "height":
            return float(self._spread[self._off] * state[self._off])
        from scipy.special import ndtr

        return LEAST_BLOCKAGE + (1.0 - LEAST_BLOCKAGE) * float(ndtr(state[-1]))

    def rating(self, state: Array) -> tuple[Array, Array]:
        """Flows at a state of shape (k,), and their derivatives with respect to it.

        state [-] -> [m3/s].
        """
        result, count = self._split(state), self._uncapped.size
        steep = np.stack(
            [o.rating(result.head[:, i])[1] for i, o in enumerate(result.openings)], axis=-1
        )
        part = steep / steep.sum(-1, keepdims=True)
        slope = np.zeros((*steep.shape, self.unknowns))
        slope[:, :, :count] = part[:, :, None] * (steep[:, self._uncapped] * self._spread)[:, None]
        slope[:, self._uncapped, np.arange(count)] -= steep[:, self._uncapped] * self._spread
        case = np.arange(self.inflow.size)
        slope[case, :, count + case] = part * (result.inflow * self.inflow_error)[:, None]
        if self.kind == "blockage":
            lost = result.flow[:, self._at] / self._passing(state)
            change = (1.0 - LEAST_BLOCKAGE) * np.exp(-0.5 * state[-1] ** 2) / np.sqrt(2 * np.pi)
            slope[:, :, -1] = change * lost[:, None] * part
            slope[:, self._at, -1] -= change * lost
        return result.flow, slope

    def starts(self, caught: Array, near: Array | None) -> list[Array]:
        """States to begin the search from; caught [m3/s], near [-] -> [-]."""
        first = np.zeros(self.unknowns)
        if near is not None:
            first[: near.size] = near
        if self.kind != "height":
            return [first]
        first[self._off] *= self.error[self._at] / self._spread[self._off]
        second = np.zeros(self.unknowns)
        strongest = int(np.argmax(np.where(np.isnan(caught[:, self._at]), -1.0, self.inflow)))
        free = self.openings[self._at].rating(_HEADS)[0]
        head = float(np.interp(np.nan_to_num(caught[strongest, self._at]), free, _HEADS))
        level = float(self._split(first).level[strongest])
        lip = level + self._thrown[strongest, self._at] - head
        second[self._off] = (lip - self.height[self._at]) / self._spread[self._off]
        return [first, second]

    @property
    def _thrown(self) -> Array:
        """Extra head of the jet at each outlet. [m] (p, n)"""
        return np.zeros(self.held.shape) if self.jet is None else self.jet.heads(self.inflow)

    def _passing(self, state: Array) -> float:
        return max(1.0 - self.size(state), _LEAST_PASSING)

    def _split(self, state: Array) -> Split:
        openings = list(self.openings)
        if self.kind == "blockage":
            openings[self._at] = PartlyBlocked(openings[self._at], self._passing(state))
        count = self._uncapped.size
        more = self.inflow_error * state[count : count + self.inflow.size]
        inflow = self.inflow * np.exp(np.clip(more, -_FARTHEST, _FARTHEST))
        lips = self.lips(state) - self._thrown
        return split(inflow, np.where(self.held, np.inf, lips), openings)


@dataclass(frozen=True, kw_only=True, eq=False)
class Explanation(Result):
    """One way to explain the catches; arrays are read-only."""

    kind: str  # `agree`, `height` or `blockage`.
    outlet: int | None  # The outlet that is off; None for `agree`.
    label: str  # Its label; empty for `agree`.
    probability: float  # Among all candidates. [-]
    # `height`: lip over its reading [m]; `blockage`: part of the flow that is lost [-]; NaN for
    # `agree`.
    size: float
    low: float  # 5 per cent end of its band.
    high: float  # Its 95 per cent end.
    lip: Array  # (n,) Lips that explain readings and catches together; inf where capped. [m]
    lip_error: Array  # (n,) Their errors; 0 where capped. [m]
    flow: Array  # (pours, n) Flows that it gives, for the pours that were weighed. [m3/s]
    # Probability of a misfit at least as large, if it were true and the outlet as far off. [-]
    chance: float
    model: PourModel  # What was fitted.
    state: Array  # (k,) Its unknowns at the best fit. [-]
    covariance: Array  # (k, k) Of the unknowns. [-]
    log_evidence: float  # Natural logarithm, up to what all explanations share. [-]


def explain(expectation: Expectation) -> tuple[Explanation, ...]:
    """Weigh every explanation of what was caught.

    Notes
    -----
    At most one thing is taken to be wrong. Where that does not hold, `chance` of the best
    explanation is small.
    """
    if not any(pour.done for pour in expectation.pours):
        raise DomainError("nothing was caught at any outlet; add a catch for each to a pour")
    if not expectation.weighed:
        raise DomainError(
            "the jet of the straight inlet decides in every pour with catches, and how it strikes "
            f"is not known, so they cannot be held against the ruler; {CURE}"
        )
    uncapped = np.flatnonzero(np.isfinite(expectation.lips.height))
    # only an outlet that by its reading may give more than a dribble can show a blockage
    inflow = np.array([pour.inflow for pour in expectation.pours])[:, None]
    shows = (expectation.high > DRIBBLE * inflow) & ~expectation.held
    runs = shows[list(expectation.weighed)].any(0)
    fits = [_fit(expectation, "agree", None)]
    for kind, outlets in (("height", uncapped), ("blockage", np.flatnonzero(runs))):
        fits += [_fit(expectation, kind, int(k), fits[0].state) for k in outlets]
    share = np.array([PRIOR[f.kind] / (1 if f.kind == "agree" else uncapped.size) for f in fits])
    evidence = np.array([f.log_evidence for f in fits]) + np.log(share)
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    order = np.argsort(-weight, kind="stable")
    return tuple(replace(fits[i], probability=float(weight[i])) for i in order)


def _fit(
    expectation: Expectation, kind: str, outlet: int | None, near: Array | None = None
) -> Explanation:
    """The best fit of one candidate, its probability not yet known; near: a state close to it."""
    from scipy.optimize import least_squares
    from scipy.special import chdtrc

    weighed = list(expectation.weighed)
    label = "" if outlet is None else expectation.site.outlets[outlet].label
    pours = [expectation.pours[case] for case in weighed]
    all_caught = expectation.caught[weighed]
    inflow = np.array([p.inflow for p in pours])
    error = np.array([p.error for p in pours])
    complete = ~np.isnan(all_caught[:, np.isfinite(expectation.lips.height)]).any(-1)
    model = PourModel(
        kind=kind,
        outlet=outlet,
        openings=expectation.result.openings,
        height=expectation.lips.height,
        error=expectation.lips.error,
        inflow=inflow,
        inflow_error=np.where(complete, FREE_INFLOW, error),
        held=expectation.held[weighed],
        jet=known_jet(expectation.site),
    )
    known = ~np.isnan(all_caught) & ~model.held
    caught = all_caught[known]
    slack = np.hypot(error[:, None] * all_caught, DRIBBLE * inflow[:, None])[known]
    last: tuple[Array, Array, Array] | None = None

    def rating(state: Array) -> tuple[Array, Array]:
        """Flows and slopes; the search asks for both of them at one state after another."""
        nonlocal last
        if last is None or not np.array_equal(last[0], state):
            last = (state.copy(), *model.rating(state))
        return last[1:]

    def residual(state: Array) -> Array:
        return np.concatenate([state, (rating(state)[0][known] - caught) / slack])

    def slope(state: Array) -> Array:
        return np.concatenate([np.eye(state.size), rating(state)[1][known] / slack[:, None]])

    starts = model.starts(all_caught, near)
    solved = [least_squares(residual, z, slope, max_nfev=_MOST_STEPS) for z in starts]
    best = min(solved, key=lambda solution: float(solution.cost))
    misfit = 2.0 * float(best.cost)
    if not best.success and misfit > _HOPELESS * caught.size:
        raise DomainError(
            "the catches are so far from all that this box could give that no explanation can "
            "be fitted; check volumes, times, labels and readings"
        )
    if not best.success:
        where = f" at outlet {label}" if label else ""
        said = f"the fit of {kind}{where} stops at misfit {misfit:g}"
        raise SolveError(f"{said}: {best.message}")
    state: Array = best.x
    steep = slope(state)
    precision = steep.T @ steep
    covariance = np.asarray(np.linalg.inv(precision), np.float64)
    spread = np.sqrt(covariance.diagonal())
    size, low, high = (model.size(state + side * SIDE_95 * spread) for side in (0.0, -1.0, 1.0))
    lip, lip_error, flow = model.lips(state), model.lip_errors(spread), rating(state)[0]
    # how surprising the fault is in itself is no fault of the fit
    own = 0.0 if model.fault is None else float(state[model.fault]) ** 2
    freedom = caught.size - int(complete.sum()) - (model.fault is not None)
    return Explanation(
        kind=kind,
        outlet=outlet,
        label=label,
        probability=float("nan"),
        size=size,
        low=low,
        high=high,
        lip=lip,
        lip_error=lip_error,
        flow=flow,
        chance=float(chdtrc(freedom, misfit - own)) if freedom > 0 else 1.0,
        model=model,
        state=state,
        covariance=covariance,
        log_evidence=-0.5 * misfit - 0.5 * float(np.linalg.slogdet(precision)[1]),
    )


@dataclass(frozen=True, kw_only=True)
class SecondPour:
    """The further pour that tells most about two explanations."""

    inflow: float = said("m3/s")  # What to pour.
    outlet: int = said(outlets=True)  # The outlet to catch, where the two differ most.
    flow: float = said("m3/s")  # What it gives if the best explanation is right.
    rival_flow: float = said("m3/s")  # What it gives if its rival is.


@dataclass(frozen=True, kw_only=True, eq=False)
class Finding:
    """What the pour test says."""

    # `agree`, `disagree`, `cannot tell`, or `none fits` where one fault does not explain it.
    verdict: str
    outlet: int | None = said(outlets=True)  # The outlet on which ruler and water disagree.
    kind: str | None  # `height` or `blockage`; None where that cannot be told.
    # Of what is said: of agreement, or of this outlet and, where told, this kind. [-]
    probability: float
    best: Explanation = said(hidden=True)  # The most probable explanation.
    rival: Explanation = said(hidden=True)  # The one that stands most against it.
    # What would tell most about the two; None where nothing is open or no pour tells much.
    second_pour: SecondPour | None
    # Readings in all of the outlet in doubt that would tell a wrong height from a right one; None
    # where nothing is open or no number of readings would.
    readings_needed: int | None
    # Outlets that stay dry in these pours, of which nothing is said.
    dry: tuple[int, ...] = said(outlets=True)


def judge(expectation: Expectation, explanations: tuple[Explanation, ...]) -> Finding:
    """Say what the catches tell, and no more."""
    best, rival = explanations[0], explanations[1]
    verdict, outlet, kind, probability = _verdict(explanations)
    if verdict == "disagree":
        rival = next((e for e in explanations[1:] if e.outlet == outlet), rival)
    elif verdict == "cannot tell" and best.kind == "agree":
        rival = next(iter(_unseen(explanations)), rival)
    outlets = {
        one: {e.outlet for e in explanations if e.kind == one and e.outlet is not None}
        for one in ("height", "blockage")
    }
    settled = kind is not None or verdict in ("agree", "none fits")
    return Finding(
        verdict=verdict,
        outlet=outlet,
        kind=kind,
        probability=probability,
        best=best,
        rival=rival,
        second_pour=None if settled else _second_pour(expectation, best, rival),
        readings_needed=None if settled else _readings(expectation, best, rival),
        dry=tuple(sorted(outlets["height"] - outlets["blockage"])),
    )


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
    slowest = float(sum(o.discharge(_SLOWEST_HEAD) for o in openings))
    done = [p for p in expectation.pours if p.done]
    fastest = max(_TIMES_POURED * max(p.inflow for p in done), _TIMES_SLOWEST * slowest)
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
    noise = np.diag((error * np.maximum(flow, other)) ** 2 + (_UNSEEN_FLOW * inflow) ** 2)
    variance = noise + 0.5 * (spread + other_spread)
    difference = flow - other
    return float(np.sqrt(difference @ np.linalg.solve(variance, difference)))


def _predicted(explanation: Explanation, inflow: float, error: float) -> tuple[Array, Array]:
    """Flows of all outlets in another pour, shape (n,), and their covariance, (n, n)."""
    model = replace(
        explanation.model,
        inflow=np.array([inflow]),
        inflow_error=np.array([error]),
        held=np.zeros((1, explanation.model.height.size), np.bool_),
    )
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
