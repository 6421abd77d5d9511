"""What explains the catches of a pour best: the ruler, one lip off, or one outlet partly blocked?

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
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError, SolveError
from dbox.fieldwork.inlet import CURE
from dbox.fieldwork.pour.model import Candidate, PourModel
from dbox.fieldwork.pour.predict import SIDE_95, Expectation

PRIOR = {"agree": 0.5, "height": 0.25, "blockage": 0.25}
"""Probability of each kind before anything is caught; equal among the outlets. [-] (assumed)"""

LIP_SPREAD = 0.125 * 0.0254
"""Standard deviation of a lip that stands off its reading. [m] (1/8 in: assumed)"""

LEAST_BLOCKAGE = 0.1
"""Least part of its flow that a blocked outlet loses; less is not called one. [-] (assumed)"""

DRIBBLE = 0.005
"""Least error of a catch, over the inflow: no one can time a dribble better. [-] (assumed)"""

FREE_INFLOW = 0.5
"""Spread of ln(inflow) where every outlet was caught: the catches themselves then tell what came
in, so that a leak cannot pass for a blockage. [-]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Explanation:
    """One way to explain the catches; arrays are read-only.

    Parameters
    ----------
    kind : str
        `agree`, `height` or `blockage`.
    outlet : int or None
        The outlet that is off; None for `agree`.
    probability : float
        Among all candidates. [-]
    size, low, high : float
        `height`: lip over its reading [m]; `blockage`: part of the flow that is lost [-]; with the
        ends of its 5 to 95 per cent band. NaN for `agree`.
    lip, lip_error : ndarray, shape (n,)
        Lips that explain readings and catches together, and their errors; inf and 0 where
        capped. [m]
    flow : ndarray, shape (pours, n)
        Flows that it gives, for the pours that were weighed. [m3/s]
    chance : float
        Probability of a misfit at least as large, if it were true and the outlet as far off. [-]
    model : PourModel
        What was fitted.
    state : ndarray, shape (k,)
        Its unknowns at the best fit. [-]
    covariance : ndarray, shape (k, k)
        Of the unknowns. [-]
    """

    kind: str
    outlet: int | None
    probability: float
    size: float
    low: float
    high: float
    lip: Array
    lip_error: Array
    flow: Array
    chance: float
    model: PourModel
    state: Array
    covariance: Array


def explain(expectation: Expectation) -> tuple[Explanation, ...]:
    """Weigh every explanation of what was caught.

    Parameters
    ----------
    expectation : Expectation
        The pours, and what the readings say of them; at least one can be weighed.

    Returns
    -------
    tuple of Explanation
        The most probable one first. An outlet whose lip was read above the water of every pour is
        not weighed for a blockage: of that these pours cannot say anything.

    Raises
    ------
    DomainError
        Where nothing that can be weighed was caught, or the catches are far from all that the
        box could give.
    SolveError
        Where a fit does not converge.

    Notes
    -----
    At most one thing is taken to be wrong. Where that does not hold, `chance` of the best
    explanation is small.
    """
    if not any(pour.done for pour in expectation.pours):
        raise DomainError("nothing was caught at any outlet; add a catch for each to a pour")
    if not expectation.weighed:
        raise DomainError(
            "the jet of the straight inlet decides in every pour with catches, so they cannot be "
            f"held against the ruler; {CURE}"
        )
    uncapped = np.flatnonzero(np.isfinite(expectation.lips.height))
    fits = [_Fit(expectation, Candidate("agree", None))]
    for kind, outlets in (("height", uncapped), ("blockage", _running(expectation))):
        fits += [_Fit(expectation, Candidate(kind, int(k)), fits[0].state) for k in outlets]
    share = np.array([PRIOR[f.kind] / (1 if f.kind == "agree" else uncapped.size) for f in fits])
    evidence = np.array([f.log_evidence for f in fits]) + np.log(share)
    weight = np.exp(evidence - evidence.max())
    weight /= weight.sum()
    order = np.argsort(-weight, kind="stable")
    return tuple(fits[i].explanation(float(weight[i])) for i in order)


def _running(expectation: Expectation) -> npt.NDArray[np.intp]:
    """Outlets that by their readings may give more than a dribble in a pour with catches."""
    inflow = np.array([pour.inflow for pour in expectation.pours])[:, None]
    runs = expectation.high > DRIBBLE * inflow
    return np.flatnonzero(runs[list(expectation.weighed)].sum(0))


_MOST_STEPS = 300
_HOPELESS = 25.0


class _Fit:
    """The best fit of one candidate."""

    def __init__(
        self, expectation: Expectation, candidate: Candidate, near: Array | None = None
    ) -> None:
        self.kind = candidate.kind
        weighed = list(expectation.weighed)
        pours = [expectation.pours[case] for case in weighed]
        caught = expectation.caught[weighed]
        inflow = np.array([p.inflow for p in pours])
        error = np.array([p.error for p in pours])
        uncapped = np.isfinite(expectation.lips.height)
        complete = np.isnan(caught[:, uncapped]).sum(-1) == 0
        self.model = PourModel(
            candidate=candidate,
            openings=expectation.result.openings,
            height=expectation.lips.height,
            error=expectation.lips.error,
            inflow=inflow,
            inflow_error=np.where(complete, FREE_INFLOW, error),
            lip_spread=LIP_SPREAD,
            least_blockage=LEAST_BLOCKAGE,
        )
        self.known = ~np.isnan(caught)
        self.caught = caught[self.known]
        slack = np.hypot(error[:, None] * caught, DRIBBLE * inflow[:, None])
        self.slack = slack[self.known]
        self.free = int(complete.sum())
        self._last: tuple[Array, Array, Array] | None = None
        self._solve(caught, near)

    def _solve(self, caught: Array, near: Array | None) -> None:
        from scipy.optimize import least_squares

        starts = self.model.starts(caught, near)
        solved = [
            least_squares(self._residual, z, self._slope, max_nfev=_MOST_STEPS) for z in starts
        ]
        best = min(solved, key=lambda solution: float(solution.cost))
        if not best.success:
            self._refuse(2.0 * float(best.cost), str(best.message))
        self.state: Array = best.x
        self.misfit = 2.0 * float(best.cost)
        steep = self._slope(self.state)
        precision = steep.T @ steep
        self.covariance = np.asarray(np.linalg.inv(precision), np.float64)
        self.log_evidence = -0.5 * self.misfit - 0.5 * float(np.linalg.slogdet(precision)[1])

    def _refuse(self, misfit: float, message: str) -> None:
        if misfit > _HOPELESS * self.caught.size:
            raise DomainError(
                "the catches are so far from all that this box could give that no explanation can "
                "be fitted; check volumes, times, labels and readings"
            )
        raise SolveError(f"fit of {self.model.candidate} stops at misfit {misfit:g}: {message}")

    def _rating(self, state: Array) -> tuple[Array, Array]:
        """Flows and slopes; the search asks for both of them at one state after another."""
        if self._last is None or not np.array_equal(self._last[0], state):
            self._last = (state.copy(), *self.model.rating(state))
        return self._last[1:]

    def _residual(self, state: Array) -> Array:
        off = (self._rating(state)[0][self.known] - self.caught) / self.slack
        return np.concatenate([state, off])

    def _slope(self, state: Array) -> Array:
        steep = self._rating(state)[1][self.known] / self.slack[:, None]
        return np.concatenate([np.eye(state.size), steep])

    def explanation(self, probability: float) -> Explanation:
        """What was found, in units."""
        from scipy.special import chdtrc

        error = np.sqrt(self.covariance.diagonal())
        ends = (self.model.size(self.state + side * SIDE_95 * error) for side in (0.0, -1.0, 1.0))
        size, low, high = ends
        lip, lip_error = self.model.lips(self.state), self.model.lip_errors(error)
        flow = self._rating(self.state)[0]
        freeze(lip, lip_error, flow, self.state, self.covariance)
        # how surprising the fault is in itself is no fault of the fit
        fault = self.model.fault
        own = 0.0 if fault is None else float(self.state[fault]) ** 2
        freedom = self.caught.size - self.free - (fault is not None)
        return Explanation(
            kind=self.kind,
            outlet=self.model.candidate.outlet,
            probability=probability,
            size=size,
            low=low,
            high=high,
            lip=lip,
            lip_error=lip_error,
            flow=flow,
            chance=float(chdtrc(freedom, self.misfit - own)) if freedom > 0 else 1.0,
            model=self.model,
            state=self.state,
            covariance=self.covariance,
        )
