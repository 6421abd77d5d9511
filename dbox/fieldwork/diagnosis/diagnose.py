"""One line is wet, the others are dry: which causes fit, how well, and what to look at next?

The causes are ranked, none is announced. `diagnose` puts together what the other modules of this
package work out from one set of drawn boxes: the weights (`weigh`), what speaks for and against
(`fit`), the next look (`next_look`), what may be normal (`normal`) and the lines in numbers
(`overload`).
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.causes import CAUSES, Cause
from dbox.fieldwork.diagnosis.fit import SURPRISED, Contradiction, Finding, Fit, fit_of
from dbox.fieldwork.diagnosis.next_look import Look, next_looks
from dbox.fieldwork.diagnosis.normal import Normal, normal_things
from dbox.fieldwork.diagnosis.overload import Overload, overload_of
from dbox.fieldwork.diagnosis.places import outlet_places
from dbox.fieldwork.diagnosis.weigh import Weighing, pours_done, weigh
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.site import Site

DRAWS = 400
"""Boxes drawn for each cause at each outlet."""

MOST_ROWS = 60_000
"""Boxes drawn at most in all: many outlets get fewer each."""

_LEAST_DRAWS = 60
_FEW = 12.0
_SPILT = 1.15
_NOT_TAKEN = "placeholders stand for readings: the readings of the file are taken as not made"


@dataclass(frozen=True, kw_only=True)
class Size:
    """What was fitted to a cause, with its 5 to 95 per cent band.

    Parameters
    ----------
    kind : str
        `drop` across the outlets of a leaning box [m], `fault` of a lip [m], or `leak` [m3/s].
    low, middle, high : float
        Its band and its median. [m, or m3/s for a leak]
    """

    kind: str
    low: float
    middle: float
    high: float


@dataclass(frozen=True, kw_only=True)
class Answer:
    """One cause, how probable it is and why.

    Parameters
    ----------
    cause : Cause
        The cause.
    outlet : int
        Outlet it sits at, or that a leaning box leans toward; -1 for none.
    probability : float
        Given all that was seen. [-]
    findings : tuple of Finding
        What speaks for it and against it, the loudest first.
    surprise : float
        How much more it is surprised than chance would have it, in standard deviations. [-]
    size : Size or None
        What was fitted.
    """

    cause: Cause
    outlet: int
    probability: float
    findings: tuple[Finding, ...]
    surprise: float
    size: Size | None

    @property
    def fits(self) -> bool:
        """Whether what was seen is no great surprise under it."""
        return self.surprise < SURPRISED

    @property
    def speaks_for(self) -> tuple[Finding, ...]:
        """What it expected more than the others did."""
        return tuple(f for f in self.findings if f.support > 0 and not f.fits_badly)

    @property
    def speaks_against(self) -> tuple[Finding, ...]:
        """What it expected less than the others did."""
        return tuple(f for f in self.findings if f.support <= 0 and not f.fits_badly)

    @property
    def fits_badly(self) -> tuple[Finding, ...]:
        """What it hardly expected at all."""
        return tuple(f for f in self.findings if f.fits_badly)


@dataclass(frozen=True, kw_only=True)
class Diagnosis:
    """Ranked causes and what to do next.

    Parameters
    ----------
    site : Site
        What was asked about.
    answers : tuple of Answer
        Every cause at every outlet, the most probable first.
    looks : tuple of Look
        Looks not yet made, the one most worth making first.
    normal : tuple of Normal
        What may be normal, asked or answered.
    contradictions : tuple of Contradiction
        Observations that no single cause shows together.
    overload : Overload or None
        The lines in numbers.
    warnings : tuple of str
        Where the evidence or the drawing is weak.
    """

    site: Site
    answers: tuple[Answer, ...]
    looks: tuple[Look, ...]
    normal: tuple[Normal, ...]
    contradictions: tuple[Contradiction, ...]
    overload: Overload | None
    warnings: tuple[str, ...]

    @property
    def fits_well(self) -> bool:
        """Whether the leading cause fits; else none of these is said to fit well."""
        return self.answers[0].fits


def diagnose(site: Site, *, seed: int = 0, draws: int = DRAWS) -> Diagnosis:
    """Rank the causes of a system in trouble by what was seen of it.

    Parameters
    ----------
    site : Site
        The box, its readings, pours and `evidence`; anything may be missing.
    seed : int
        Same site and seed, same answer.
    draws : int
        Boxes drawn for each cause at each outlet, at least 20; fewer for very many outlets. [-]

    Returns
    -------
    Diagnosis
        With the next look.

    Raises
    ------
    DomainError
        Where every outlet is capped, no cause has a prior above 0, or draws are too few.
    """
    if draws < 20:
        raise DomainError(f"draws [-] is {draws}; take 20 or more")
    if all(outlet.capped for outlet in site.outlets):
        raise DomainError("every outlet is capped; leave at least one open")
    asked, site = site, without_placeholders(site)
    many = MOST_ROWS // (20 * len(site.outlets))
    weighing = weigh(site, draws=min(draws, max(many, _LEAST_DRAWS)), seed=seed)
    fit = fit_of(weighing)
    order = np.argsort(-weighing.probability, kind="stable")
    return Diagnosis(
        site=site,
        answers=tuple(_answer(weighing, fit, int(place)) for place in order),
        looks=next_looks(weighing, seed=seed),
        normal=normal_things(site),
        contradictions=fit.contradictions(),
        overload=overload_of(weighing),
        warnings=(*([_NOT_TAKEN] if asked.placeholder else []), *_warnings(weighing)),
    )


def _answer(weighing: Weighing, fit: Fit, answer: int) -> Answer:
    cause, outlet = weighing.hypotheses.answers[answer]
    rows = np.flatnonzero(weighing.answer_of_row == answer)
    log_weight = weighing.log_weight[rows]
    usable = bool(np.isfinite(log_weight.max()))
    weight = np.exp(log_weight - log_weight.max()) if usable else np.zeros(rows.size)
    if usable and CAUSES[cause].tilted and outlet < 0:
        outlet = _toward(weighing, rows, weight)
    return Answer(
        cause=CAUSES[cause],
        outlet=outlet,
        probability=float(weighing.probability[answer]),
        findings=fit.findings(answer),
        surprise=float(fit.surprise[answer]),
        size=_size(CAUSES[cause], weighing.states.size[rows], weight) if usable else None,
    )


def _toward(weighing: Weighing, rows: npt.NDArray[np.intp], weight: Array) -> int:
    """The outlet that a leaning box most probably has lowest."""
    plane = weighing.drawn.plane.reshape(weighing.base.size, -1)[rows]
    return int(np.bincount(plane.argmin(-1), weight, plane.shape[-1]).argmax())


def _size(cause: Cause, size: Array, weight: Array) -> Size | None:
    if cause.key in ("leak", "broken"):
        kind = "leak"
    elif cause.tilted:
        kind = "drop"
    elif cause.fault:
        kind = "fault"
    else:
        return None
    if kind == "leak":
        weight = np.where(size > 0, weight, 0.0)
    if not weight.sum() > 0:
        return None
    order = np.argsort(size, kind="stable")
    reached = np.cumsum(weight[order]) / weight.sum()
    low, middle, high = size[order][[int((reached >= q).argmax()) for q in (0.05, 0.5, 0.95)]]
    return Size(kind=kind, low=float(low), middle=float(middle), high=float(high))


def _warnings(weighing: Weighing) -> tuple[str, ...]:
    site, told = weighing.site, []
    if not outlet_places(site)[1]:
        told.append(
            "places of outlets are not all given: they are taken to lie evenly around the box, "
            "clockwise from the inlet"
        )
    for pour in pours_done(site):
        caught = sum(c for c in pour.catches if c is not None)
        if caught > _SPILT * pour.inflow:
            told.append(
                f"pour {pour.name}: {100 * caught / pour.inflow:.0f} % of what was poured was "
                "caught; a volume or a time is wrong"
            )
    lead = weighing.answer_of_row == int(np.argmax(weighing.probability))
    weight = weighing.weight[lead]
    if not weight.sum() ** 2 > _FEW * (weight**2).sum():
        told.append("few of the drawn boxes fit: the probabilities are rough; take more --draws")
    return tuple(told)
