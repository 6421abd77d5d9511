"""The causes that are weighed, how common each is, what it does and what to do about it.

Two causes are often at work at once: any two that fit together make a pair, as common as its two
causes are, more where one commonly brings the other. `pairs` lists them; none is declared.

THE WEIGHTS HERE ARE JUDGEMENT, not counts: a guess at how often each is behind a call about a wet
line. They matter while little was seen and fade with every look; a scenario changes any of them
under `[priors]`. A cause that sits at one outlet may sit at each of them, its weight shared. The
sizes are judgement too: what a fault of the kind commonly measures where it is found.

What is seen of each cause stands with the kinds of evidence in `fieldwork.evidence`; what hangs on
its water is computed in `worlds` and `visible`. Of the advice the first lines disturb nothing and
can be taken back; the last need a permit in most places.
"""

from dataclasses import dataclass, replace
from functools import cache
from types import MappingProxyType

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, ArrayLike, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.evidence import Kind
from dbox.fieldwork.site import Site
from dbox.units import INCH

OWN_SCATTER = 0.0007
"""Standard deviation of a sound lip about the plane of its box. [m] (about 1/32 in: judgement)"""

STEPPED_SCATTER = 0.012
"""The same where outlets are set apart on purpose, to serve one after the other. [m] (judgement)"""


@dataclass(frozen=True)
class Fault:
    """How far a lip is off, or seems to be: a normal size, cut off at its ends."""

    mean: float  # Mean size, before it is cut off. [m]
    spread: float  # Standard deviation of the size, before it is cut off. [m]
    least: float  # Smallest size; below it there would be no fault, or another. [m]
    most: float = np.inf  # Largest size; above it there would be another fault. [m]
    read: int = 0  # What a ruler sees of it: +1 a higher lip, -1 a lower one, 0 nothing.
    felt: int = 0  # What the water feels of it, in the same way.


@dataclass(frozen=True, kw_only=True)
class Cause:
    """One cause, or two at once."""

    key: str  # Its name in `[priors]`; of two, their keys joined by "+".
    name: str  # What it is called.
    weight: float  # How common it is taken to be, over those of all causes. [-]
    advice: tuple[str, ...]  # What to do about it, the least drastic first.
    of_outlet: bool = False  # Whether it sits at one outlet.
    named: bool = True  # Whether it is told with that outlet.
    normal: bool = False  # Whether it is no fault.
    alone: bool = False  # Whether it leaves nothing of another cause to be seen.
    tilted: bool = False  # Whether the box leans.
    fault: Fault | None = None  # What it does to the lip of its outlet.
    scatter: float = OWN_SCATTER  # Least standard deviation of every lip about the plane. [m]
    # What it does to the line of its outlet: `blocked`, `crushed`, `belly`, `full`, `deep`,
    # `soaked`, `capped`.
    line: str = ""
    leaks: bool = False  # Whether the box may lose water through its walls.
    starved: bool = False  # Whether no water reaches the box.
    mute: bool = False  # Whether a catch tells nothing of the lip that it sits at, or of any.
    reach: float = 2.0  # How far a rod goes, about, before it stops. [m] (judgement)
    load: tuple[float, float] = (1.0, 1.0)  # Factor on the load of every line, least and most. [-]
    own_load: tuple[float, float] = (1.0, 1.0)  # Factor on the load of its own line. [-]
    # Whether it is a line in water that people call about: then boxes in which none stands in water
    # are not among those asked about.
    wets: bool = False
    seals: bool = False  # Whether it commonly fills a trench in the end.


PERMIT = "ask the local authority first: this may need a permit and a licensed installer"
GAS = "never lean into the box or the tank: sewer gas kills"
TRENCH = "have utilities marked, keep out of a trench that may cave in"

_LEVEL = (
    "set the inserts: dbox level says which way and how far",
    "where inserts cannot reach, bed the box again on firm ground",
)
_REST = (
    "use less water; send the others more, or cap this line to rest it for months, if they can "
    "take it (see its load)",
    "a biomat thins while its line rests; soil smeared or compacted when it was dug does not",
    f"replace or add a line only when rest has failed; {PERMIT}",
)
_ROD = (
    "rod or jet it from the box, gently; note how far the rod goes",
    f"dig where the rod stops; {TRENCH}",
)

CAUSES = (
    Cause(key="tilt", name="box tilted", weight=14, wets=True, tilted=True, seals=True,
          advice=_LEVEL),
    Cause(key="low", name="one insert or pipe dropped", weight=8, wets=True, of_outlet=True,
          fault=Fault(0.28 * INCH, 0.15 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1), seals=True,
          advice=("raise that insert, or seat it again: dbox level says how far",
                  "look whether its pipe has sunk; bed and seal it again")),
    Cause(key="high", name="one outlet high", weight=6, of_outlet=True,
          fault=Fault(0.3 * INCH, 0.18 * INCH, 3.0 / 32 * INCH, read=1, felt=1),
          advice=("lower that insert: dbox level says how far",
                  "look whether its pipe was pushed up; set and seal it again")),
    Cause(key="deposit", name="deposit or root on a lip", weight=6, of_outlet=True,
          fault=Fault(0.2 * INCH, 0.1 * INCH, 1.0 / 16 * INCH, felt=1),
          advice=("wipe the lip, take the deposit or root out, pour again",
                  "look at the tank's outlet tee or filter: where did it come from?")),
    Cause(key="blocked", name="header blocked near the box", weight=8, of_outlet=True,
          line="blocked", mute=True, reach=0.8, advice=_ROD),
    Cause(key="crushed", name="header crushed (traffic)", weight=3, of_outlet=True, line="crushed",
          mute=True, reach=3.0,
          advice=("keep wheels off", *_ROD, f"replace the crushed length; {PERMIT}")),
    Cause(key="back_pitched", name="header back-pitched", weight=5, of_outlet=True, line="belly",
          fault=Fault(0.5 * INCH, 0.3 * INCH, 1.0 / 8 * INCH, felt=1),
          advice=("read the fall of the header with a rod: dbox grades FILE",
                  f"dig up and bed the header so that it falls away; {TRENCH}; {PERMIT}")),
    Cause(key="full", name="trench full (biomat, or smeared or compacted soil)", weight=10,
          of_outlet=True, line="full", mute=True, advice=_REST),
    Cause(key="deep_block", name="line blocked further out, in the trench", weight=3,
          of_outlet=True, line="deep", mute=True, reach=8.0, own_load=(1.0, 2.5),
          advice=("rod it from the box or a clean-out; note how far the rod goes: roots, solids or "
                  "a broken pipe", f"dig where the rod stops; {TRENCH}")),
    Cause(key="all_full", name="all trenches full, or water table", weight=7, mute=True,
          advice=("wait for the ground to dry and look again; use less water",
                  "look where rain and roof water go, and lead them away",
                  f"have the field judged as a whole; {PERMIT}")),
    Cause(key="overload", name="overload or leaking fixture", weight=5, wets=True, load=(1.6, 4.0),
          advice=("close the house valve: does it stop? Find and mend the running fixture",
                  "read the water meter for a week; use less water")),
    Cause(key="infiltration", name="groundwater or roof water in", weight=4, load=(1.2, 3.0),
          advice=("lead roof and surface water away from tank, box and field",
                  "seal lids, joints and cracks; look at the tank after rain")),
    Cause(key="leak", name="box leaks", weight=3, leaks=True,
          advice=("plug the outlets, fill with clean water, mark where the level stops falling",
                  "seal the crack there, or replace the box")),
    Cause(key="jet", name="jet straight across", weight=3, wets=True, mute=True, seals=True,
          advice=("turn the inlet down, or fit a tee or baffle, then pour slow and fast again",)),
    Cause(key="inlet_drop", name="too little inlet drop", weight=2,
          advice=("measure the inlet's invert against the outlets'",
                  f"set the inlet pipe higher or the box lower; {PERMIT}")),
    Cause(key="trickle", name="trickle-only imbalance", weight=6, wets=True, of_outlet=True,
          fault=Fault(0.06 * INCH, 0.02 * INCH, 0.03 * INCH, 3.0 / 32 * INCH, read=-1, felt=-1),
          own_load=(1.0, 1.4), seals=True,
          advice=("set the lips alike as finely as a hand can: dbox level",
                  "a ruler cannot prove equal shares at a trickle; a dosed feed hides such "
                  f"differences; {PERMIT}")),
    Cause(key="unequal", name="unequal length or soil of a line (smeared, compacted)", weight=5,
          wets=True, of_outlet=True, own_load=(1.6, 4.0), seals=True,
          advice=("send each line a share by its length: dbox level with [target] by length",
                  f"give the short or slow line less, or lengthen it; {PERMIT}")),
    Cause(key="trench_slope", name="trench not level", weight=4, of_outlet=True,
          own_load=(1.0, 2.0),
          advice=("rest the line", f"relay it level along the contour; {PERMIT}")),
    Cause(key="solids", name="solids carry-over", weight=5, wets=True, load=(1.1, 2.5), seals=True,
          advice=("have the tank pumped, mend its outlet tee or filter",
                  "clean the box, wipe every lip, pour again",
                  "flush headers only where what comes out is caught")),
    Cause(key="capped", name="outlet capped or rested on purpose", weight=2, of_outlet=True,
          normal=True, line="capped", mute=True, reach=0.1,
          advice=("ask who capped it and when; if it has rested for long enough, open it and "
                  "watch",)),
    Cause(key="serial", name="serial or drop box by design", weight=3, of_outlet=True, normal=True,
          alone=True,
          fault=Fault(1.0 * INCH, 0.5 * INCH, 0.3 * INCH, read=-1, felt=-1),
          named=False, scatter=STEPPED_SCATTER,
          advice=("nothing: look at the last line, only if that is full is the field full",)),
    Cause(key="frozen", name="frozen", weight=1, mute=True, alone=True,
          advice=("use warm water steadily; cover the ground with straw or snow",
                  "do not thaw with salt, chemicals or flame")),
    Cause(key="holes", name="inserts of different holes", weight=2, of_outlet=True, mute=True,
          advice=("fit inserts with holes alike, then level",)),
    Cause(key="no_insert", name="an insert is missing", weight=2, wets=True, of_outlet=True,
          mute=True, fault=Fault(0.8 * INCH, 0.35 * INCH, 0.25 * INCH, read=-1, felt=-1),
          advice=("fit an insert like the others, then level: dbox level",)),
    Cause(key="broken", name="lid, wall or pipe broken", weight=2, leaks=True,
          advice=(f"close the ground around it off; {GAS}",
                  "replace lid, pipe or box; seal and level it again")),
    Cause(key="surface_water", name="surface or roof water on one line only", weight=1.5,
          of_outlet=True, line="soaked", mute=True, own_load=(1.5, 3.5),
          advice=("look where roof, drive and slope send their water; lead it away from that line",
                  "fill and crown the ground over the trench, so that rain runs off")),
    Cause(key="supply_blocked", name="tank's filter plugged, or supply pipe blocked", weight=2,
          starved=True,
          advice=("clean the filter at the tank's outlet, the house shut; catch what comes off",
                  f"rod the supply pipe from the tank toward the box; {GAS}",
                  f"dig where the rod stops; {TRENCH}")),
    Cause(key="no_dose", name="pump, float or siphon failed", weight=2, starved=True,
          advice=("look whether the pump has power, its float hangs free, its alarm works",
                  f"have an electrician and a pump man see to it; {GAS}",
                  "of a siphon: look whether it trickles through, and refill its bell with air")),
    Cause(key="other", name="something that is not on this list", weight=2, alone=True,
          scatter=3.0 * OWN_SCATTER, load=(0.3, 3.0),
          advice=("write down what does not fit, look at it again, and ask someone who digs",)),
)  # fmt: skip

KEYS = tuple(cause.key for cause in CAUSES)

TWO_CAUSES = 0.11
"""How common two causes at once are taken to be, over all single causes. [-] (judgement)"""

_BRINGS = 40.0
"""How many times as common two causes are where one commonly brings the other. [-] (judgement)"""

OLD_PAIRS = MappingProxyType(
    {"tilt_full": "tilt+full", "low_full": "low+full", "solids_full": "solids+full"}
)
"""Pairs that had keys of their own, by these."""

PRIOR_KEYS = (*KEYS, *OLD_PAIRS, "two_causes")
"""What may be typed under `[priors]`."""

Part = tuple[int, int]
"""A cause, by its place in `CAUSES`, and the outlet it sits at; -1 for none."""


def index_of(*keys: str) -> list[int]:
    """Places of causes in the table, by key."""
    return [KEYS.index(key) for key in keys]


def both(one: Cause, other: Cause) -> Cause:
    """Two causes at once, as they are told."""
    return replace(
        one,
        key=f"{one.key}+{other.key}",
        name=f"{one.name}, and {other.name}",
        advice=tuple(dict.fromkeys((*one.advice, *other.advice))),
        tilted=one.tilted or other.tilted,
        fault=one.fault or other.fault,
        leaks=one.leaks or other.leaks,
    )


@dataclass(frozen=True, kw_only=True, eq=False)
class Parts:
    """One cause or two at once in each of k rows."""

    cause: npt.NDArray[np.int64]  # (k, 2) Places in `CAUSES`; the second -1 where there is one.
    outlet: npt.NDArray[np.int64]  # (k, 2) Outlets they sit at; -1 for none.

    def any_of(self, mask: ArrayLike) -> BoolArray:
        """Whether a part is a cause for which a mask holds, (causes,). (k,)"""
        return np.asarray(np.append(mask, False)[self.cause].any(-1))

    def has(self, *keys: str) -> BoolArray:
        """Whether a part is one of these causes. (k,)"""
        return self.any_of(np.isin(KEYS, keys))

    def at(self, mask: ArrayLike, n: int) -> BoolArray:
        """Where a cause for which a mask holds, (causes,), sits at one of n outlets. (k, n)"""
        at = np.where(np.append(mask, False)[self.cause], self.outlet, -1)
        return np.asarray((at[..., None] == np.arange(n)).any(-2))


@dataclass(frozen=True, kw_only=True, eq=False)
class Hypotheses(Parts):
    """Causes at the outlets where they may sit; arrays are read-only."""

    prior: Array  # (h,) Probability before anything is seen. [-]
    # (h,) Which answer it counts for: hypotheses that are told alike are added up.
    group: npt.NDArray[np.int64]
    answers: tuple[tuple[Part, ...], ...]  # One or two parts of each answer.

    def __post_init__(self) -> None:
        freeze(self.cause, self.outlet, self.prior, self.group)

    def take(self, rows: npt.NDArray[np.int64]) -> "Hypotheses":
        """Some of them, their answers left as they are."""
        arrays = ("cause", "outlet", "prior", "group")
        return replace(self, **{name: getattr(self, name)[rows] for name in arrays})


def hypotheses(site: Site) -> Hypotheses:
    """List the single causes that may be wrong at a site; two at once keep their part."""
    open_outlets = [i for i, outlet in enumerate(site.outlets) if not outlet.capped]
    rows = [
        (c, i, weight / (len(open_outlets) if cause.of_outlet else 1))
        for c, (cause, weight) in enumerate(zip(CAUSES, _weights(site), strict=True))
        for i in (open_outlets if cause.of_outlet else (-1,))
    ]
    causes, outlets, prior = (np.array(column) for column in zip(*rows, strict=True))
    prior = prior * np.array([_context(site, CAUSES[c].key, i) for c, i, _ in rows])
    if not prior.sum() > 0:
        raise DomainError("every cause has a prior of 0; leave at least one above 0")
    told = [((c, i if CAUSES[c].named else -1),) for c, i, _ in rows]
    answers = tuple(dict.fromkeys(told))
    group = np.array([answers.index(answer) for answer in told])
    nothing = np.full(len(rows), -1)
    return Hypotheses(
        cause=np.stack([causes, nothing], -1),
        outlet=np.stack([outlets, nothing], -1),
        prior=prior,
        group=group,
        answers=answers,
    )


def typed_priors(site: Site) -> dict[str, float]:
    """Weights that the user typed, by keys; those of pairs by the two keys that they join. [-]"""
    typed = {OLD_PAIRS.get(prior.cause, prior.cause): prior.weight for prior in site.priors}
    if unknown := set(typed) - {*KEYS, *OLD_PAIRS.values(), "two_causes"}:
        raise DomainError(f"no cause is called {', '.join(sorted(unknown))}; see CAUSES")
    return typed


def _weights(site: Site) -> list[float]:
    """Weights of the single causes, as typed or as the table has them. [-]

    Where most of the table is typed its scale is the user's own, and the rest follow it.
    """
    typed, table = typed_priors(site), {cause.key: cause.weight for cause in CAUSES}
    same = sum(table[key] for key in typed if key in table)
    most = 2.0 * same > sum(table.values())
    scale = sum(typed[key] for key in typed if key in table) / same if most else 1.0
    return [typed.get(key, weight * scale) for key, weight in table.items()]


def pair_priors(site: Site, single: Hypotheses) -> Array:
    """How common every two of h single causes are at once, the first above the diagonal. [-] (h, h)

    On the scale of the single causes' own weights.
    """
    cause, outlet, prior = single.cause[:, 0], single.outlet[:, 0], single.prior
    of = {
        name: np.array([bool(getattr(each, name)) for each in CAUSES])[cause]
        for name in ("alone", "line", "fault", "starved", "seals", "of_outlet")
    }
    floods = cause == KEYS.index("all_full")
    full = cause == KEYS.index("full")
    line, stops = of["line"], of["starved"] | floods
    here = (outlet[:, None] == outlet) & (outlet >= 0)
    apart = np.triu(~(of["alone"][:, None] | of["alone"]), 1)
    apart &= (cause[:, None] != cause) | (outlet[:, None] != outlet)
    apart &= ~(here & ((line[:, None] & line) | (of["fault"][:, None] & of["fault"])))
    apart &= ~((stops[:, None] & (line | stops)) | (line[:, None] & stops))
    brings = (of["seals"][:, None] & full) | (full[:, None] & of["seals"])
    both_at = of["of_outlet"][:, None] & of["of_outlet"]
    brings &= here | ~both_at
    # what comes of a cause at an outlet comes there, and at no other
    times = np.where(brings, _BRINGS * np.where(both_at, len(set(outlet.tolist()) - {-1}), 1), 1.0)
    weight = np.where(apart, prior[:, None] * prior * times, 0.0)
    typed = typed_priors(site)
    total = typed.get("two_causes", TWO_CAUSES * float(prior.sum()))
    weight = weight * total / max(float(weight.sum()), 1e-300)
    for key, value in typed.items():
        if "+" in key:
            one, other = (cause == KEYS.index(part) for part in key.split("+"))
            chosen = apart & brings & ((one[:, None] & other) | (other[:, None] & one))
            weight = np.where(chosen, value / max(int(chosen.sum()), 1), weight)
    return np.asarray(weight)


def pairs(single: Hypotheses, prior: Array, chosen: npt.NDArray[np.int64]) -> Hypotheses:
    """Some pairs of h single causes, by places in the table of their priors. (h, h), (k,)"""
    one, other = np.divmod(chosen, len(single.prior))
    # what commonly comes of another is told after it
    line = np.array([bool(cause.line) for cause in CAUSES])[single.cause[:, 0]]
    one, other = np.where(line[one] & ~line[other], (other, one), (one, other))
    cause = np.stack([single.cause[one, 0], single.cause[other, 0]], -1)
    outlet = np.stack([single.outlet[one, 0], single.outlet[other, 0]], -1)
    answers = tuple(
        tuple(zip(c, o, strict=True)) for c, o in zip(cause.tolist(), outlet.tolist(), strict=True)
    )
    return Hypotheses(
        cause=cause,
        outlet=outlet,
        prior=prior.ravel()[chosen],
        group=np.arange(len(answers)),
        answers=answers,
    )


def joined(single: Hypotheses, pair: Hypotheses) -> Hypotheses:
    """Single causes and pairs; priors add up to 1."""
    prior = np.concatenate([single.prior, pair.prior])
    return Hypotheses(
        cause=np.concatenate([single.cause, pair.cause]),
        outlet=np.concatenate([single.outlet, pair.outlet]),
        prior=prior / prior.sum(),
        group=np.concatenate([single.group, pair.group + len(single.answers)]),
        answers=(*single.answers, *pair.answers),
    )


def _context(site: Site, key: str, outlet: int) -> float:
    """Factor on a prior from what the site is known to be. [-] (judgement)"""
    strong, box = feed_is_strong(site), site.box
    if key == "jet":
        return (3.0 if strong else 1.0) * (1.0 if box.inlet in (None, "straight") else 0.05)
    if key == "inlet_drop" and box.inlet_drop is not None:
        return 0.1 if box.inlet_drop >= 0.75 * INCH else 4.0
    if key == "trickle" and strong:
        return 0.2
    if key == "no_dose":
        # a weight is over all systems, of which about one in three is dosed
        return 3.0 if strong else 0.05
    if key == "holes" and len({o.opening for o in site.outlets if not o.capped}) > 1:
        return 5.0
    if key == "unequal":
        known = [o.line_length for o in site.outlets if not o.capped and o.line_length is not None]
        own = site.outlets[outlet].line_length
        if own is not None and len(known) > 1:
            # where a line is known to be short an equal split must overload it
            short = site.target.by == "equal" and own < 0.75 * float(np.mean(known))
            return 4.0 if short else 0.7
    return 1.0


def feed_is_strong(site: Site) -> bool:
    """Whether the box is fed in doses, so that an ordinary day is no trickle."""
    dosed = site.works.pump is not None or site.works.siphon is not None
    return site.evidence.feed in ("pump", "siphon") or (dosed and site.evidence.feed is None)


_ALIKE = 0.1
"""How far the outlets of one box go together in what a cause of the whole box does to each. [-]
(judgement)"""


@cache
def _over_usual(kind: Kind, n: int) -> tuple[Array, Array, Array]:
    """Usual chances of the words of a kind, and by cause over these: where it sits, elsewhere.

    (words); (causes + 1, words) each, the last for no cause. [-]
    """
    usual = np.array(kind.usual)
    elsewhere = np.array([*(kind.everywhere.get(key, usual) for key in KEYS), usual]) / usual
    if kind.of_outlet:
        elsewhere **= 1.0 / (1.0 + _ALIKE * (n - 1))
    own = np.array([*(kind.under.get(key, usual) for key in KEYS), usual]) / usual
    spoken = np.array([*(key in kind.under for key in KEYS), False])
    return usual, np.where(spoken[:, None], own, elsewhere), elsewhere


def chances(
    kind: Kind, cause: npt.NDArray[np.int64], outlet: npt.NDArray[np.int64], n: int
) -> Array:
    """Chance of each word of a kind under k causes or pairs, (k, 2) each, in a box of n outlets.

    What two causes do to a word multiplies, over what is usual. [-] (k, words), (k, n, words) of
    outlets.
    """
    usual, own, elsewhere = _over_usual(kind, n)
    if not kind.of_outlet:
        each = usual * own[cause].prod(-2)
    else:
        sits = (outlet[..., None] == np.arange(n))[..., None]
        each = usual * np.where(sits, own[cause][:, :, None], elsewhere[cause][:, :, None]).prod(1)
    return np.asarray(each / each.sum(-1, keepdims=True))
