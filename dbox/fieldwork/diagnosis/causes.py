"""Which causes are weighed, and how common is each before anything is seen?

THE WEIGHTS HERE ARE JUDGEMENT, not counts: a guess at how often each is behind a call about a wet
line. They matter while little was seen and fade with every look; a scenario changes any of them
under `[priors]`. A cause that sits at one outlet may sit at each of them, its weight shared. The
sizes are judgement too: what a fault of the kind commonly measures where it is found.

What each cause shows is said in `signs` (words) and computed in `forward` (water).
"""

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.records.evidence import Prior
from dbox.fieldwork.site import Site

INCH = 0.0254


@dataclass(frozen=True)
class Fault:
    """How far a lip is off, or seems to be: a normal size, cut off at its ends.

    Parameters
    ----------
    mean, spread : float
        Of the size before it is cut off. [m]
    least, most : float
        Beyond these it would be another cause, or none. [m]
    read : int
        What a ruler sees of it: +1 a higher lip, -1 a lower one, 0 nothing.
    felt : int
        What the water feels of it, in the same way.
    """

    mean: float
    spread: float
    least: float
    most: float = np.inf
    read: int = 0
    felt: int = 0


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause, or a pair that often comes together.

    Parameters
    ----------
    key : str
        Its name in `[priors]`.
    name : str
        What it is called.
    weight : float
        How common it is taken to be, over those of all causes. [-]
    of_outlet : bool
        Whether it sits at one outlet.
    normal : bool
        Whether it is no fault.
    tilted : bool
        Whether the box leans.
    fault : Fault or None
        What it does to the lip of its outlet.
    line : str
        What it does to the line of its outlet: `blocked`, `crushed`, `belly`, `full`, `capped`.
    load : tuple of float
        Factor on the load of every line, least and most. [-]
    own_load : tuple of float
        Factor on the load of its own line. [-]
    wets : bool
        Whether it is a line in water that people call about: then boxes in which none stands in
        water are not among those asked about.
    """

    key: str
    name: str
    weight: float
    of_outlet: bool = False
    normal: bool = False
    tilted: bool = False
    fault: Fault | None = None
    line: str = ""
    load: tuple[float, float] = (1.0, 1.0)
    own_load: tuple[float, float] = (1.0, 1.0)
    wets: bool = False


_DROPPED = Fault(0.25 * INCH, 0.12 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1)

CAUSES = (
    Cause(key="tilt", name="box tilted", weight=14, wets=True, tilted=True),
    Cause(key="low", name="one insert or pipe dropped", weight=8, wets=True, of_outlet=True,
          fault=_DROPPED),
    Cause(key="high", name="one outlet high", weight=6, of_outlet=True,
          fault=Fault(0.3 * INCH, 0.18 * INCH, 3.0 / 32 * INCH, read=1, felt=1)),
    Cause(key="deposit", name="deposit or root on a lip", weight=6, of_outlet=True,
          fault=Fault(0.2 * INCH, 0.1 * INCH, 1.0 / 16 * INCH, felt=1)),
    Cause(key="blocked", name="header blocked near the box", weight=8, of_outlet=True,
          line="blocked"),
    Cause(key="crushed", name="header crushed", weight=3, of_outlet=True, line="crushed"),
    Cause(key="back_pitched", name="header back-pitched", weight=5, of_outlet=True, line="belly",
          fault=Fault(0.5 * INCH, 0.3 * INCH, 1.0 / 8 * INCH, felt=1)),
    Cause(key="full", name="that trench full", weight=10, of_outlet=True, line="full"),
    Cause(key="all_full", name="all trenches full, or water table", weight=7),
    Cause(key="overload", name="overload or leaking fixture", weight=5, wets=True, load=(1.6, 4.0)),
    Cause(key="infiltration", name="groundwater or roof water in", weight=4, load=(1.2, 3.0)),
    Cause(key="leak", name="box leaks", weight=3),
    Cause(key="jet", name="jet straight across", weight=3, wets=True),
    Cause(key="inlet_drop", name="too little inlet drop", weight=2),
    Cause(key="trickle", name="trickle-only imbalance", weight=6, wets=True, of_outlet=True,
          fault=Fault(0.06 * INCH, 0.02 * INCH, 0.03 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1),
          own_load=(1.0, 1.4)),
    Cause(key="unequal", name="unequal length or soil of a line", weight=5, wets=True,
          of_outlet=True, own_load=(1.6, 4.0)),
    Cause(key="trench_slope", name="trench not level", weight=4, of_outlet=True,
          own_load=(1.0, 2.0)),
    Cause(key="solids", name="solids carry-over", weight=5, wets=True, load=(1.1, 2.5)),
    Cause(key="capped", name="outlet capped or rested on purpose", weight=2, of_outlet=True,
          normal=True, line="capped"),
    Cause(key="serial", name="serial or drop box by design", weight=3, of_outlet=True, normal=True,
          fault=Fault(1.0 * INCH, 0.5 * INCH, 0.3 * INCH, read=-1, felt=-1)),
    Cause(key="frozen", name="frozen", weight=1),
    Cause(key="holes", name="inserts of different holes", weight=2, of_outlet=True),
    Cause(key="broken", name="lid, wall or pipe broken", weight=2),
    Cause(key="tilt_full", name="box tilted, then the favoured trench sealed", weight=6,
          of_outlet=True, tilted=True, line="full"),
    Cause(key="low_full", name="insert or pipe dropped, then its trench sealed", weight=3,
          of_outlet=True, fault=_DROPPED, line="full"),
    Cause(key="solids_full", name="solids carry-over, then one trench sealed", weight=3,
          of_outlet=True, line="full", load=(1.0, 1.8)),
)  # fmt: skip

KEYS = tuple(cause.key for cause in CAUSES)
NAMELESS = ("serial",)
"""Causes told without their outlet, although one line shows them."""


def index_of(*keys: str) -> list[int]:
    """Places of causes in the table, by key."""
    return [KEYS.index(key) for key in keys]


@dataclass(frozen=True, kw_only=True, eq=False)
class Hypotheses:
    """Every cause at every outlet where it may sit; arrays are read-only.

    Parameters
    ----------
    cause : ndarray of int, shape (h,)
        Place in `CAUSES`.
    outlet : ndarray of int, shape (h,)
        Outlet it sits at; -1 for none.
    prior : ndarray, shape (h,)
        Probability before anything is seen. [-]
    group : ndarray of int, shape (h,)
        Which answer it counts for: hypotheses that are told alike are added up.
    answers : tuple of (int, int)
        Cause and outlet of each answer.
    """

    cause: npt.NDArray[np.int64]
    outlet: npt.NDArray[np.int64]
    prior: Array
    group: npt.NDArray[np.int64]
    answers: tuple[tuple[int, int], ...] = field(default=())


def hypotheses(site: Site) -> Hypotheses:
    """List what may be wrong at a site.

    Parameters
    ----------
    site : Site
        The box; causes are not put at an outlet that the file says is capped.

    Returns
    -------
    Hypotheses
        With priors that add up to 1.

    Raises
    ------
    DomainError
        Where the priors of the site leave nothing.
    """
    open_outlets = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    weights = _weights(site.priors)
    rows = [
        (c, i, weight / (len(open_outlets) if cause.of_outlet else 1))
        for c, (cause, weight) in enumerate(zip(CAUSES, weights, strict=True))
        for i in (open_outlets if cause.of_outlet else (-1,))
    ]
    causes, outlets, prior = (np.array(column) for column in zip(*rows, strict=True))
    prior = prior * np.array([_context(site, CAUSES[c].key, i) for c, i, _ in rows])
    if not prior.sum() > 0:
        raise DomainError("every cause has a prior of 0; leave at least one above 0")
    told = [(c, -1 if CAUSES[c].key in NAMELESS else i) for c, i, _ in rows]
    answers = tuple(dict.fromkeys(told))
    group = np.array([answers.index(answer) for answer in told])
    prior = prior / prior.sum()
    freeze(causes, outlets, prior, group)
    return Hypotheses(cause=causes, outlet=outlets, prior=prior, group=group, answers=answers)


def _weights(priors: Sequence[Prior]) -> list[float]:
    typed = {prior.cause: prior.weight for prior in priors}
    unknown = set(typed) - set(KEYS)
    if unknown:
        raise DomainError(f"no cause is called {', '.join(sorted(unknown))}; see CAUSES")
    return [typed.get(cause.key, cause.weight) for cause in CAUSES]


def _context(site: Site, key: str, outlet: int) -> float:
    """Factor on a prior from what the site is known to be. [-] (judgement)"""
    if key == "jet":
        return _jet_context(site)
    if key == "inlet_drop" and site.box.inlet_drop is not None:
        return 0.1 if site.box.inlet_drop >= 0.75 * INCH else 4.0
    if key == "trickle" and feed_is_strong(site):
        return 0.2
    if key == "unequal":
        return _length_context(site, outlet)
    if key == "holes" and len({o.opening for o in site.outlets if not o.capped}) > 1:
        return 5.0
    return 1.0


def _jet_context(site: Site) -> float:
    factor = 3.0 if feed_is_strong(site) else 1.0
    return factor if site.box.inlet in (None, "straight") else 0.05 * factor


def _length_context(site: Site, outlet: int) -> float:
    lengths = [o.line_length for o in site.outlets if not o.capped and o.line_length is not None]
    own = site.outlets[outlet].line_length
    if own is None or len(lengths) < 2:
        return 1.0
    # where a line is known to be short an equal split must overload it
    short = site.target.by == "equal" and own < 0.75 * float(np.mean(lengths))
    return 4.0 if short else 0.7


def feed_is_strong(site: Site) -> bool:
    """Whether the box is fed in doses, so that an ordinary day is no trickle."""
    dosed = site.works.pump is not None or site.works.siphon is not None
    return site.evidence.feed in ("pump", "siphon") or (dosed and site.evidence.feed is None)
