"""Which insert to turn, how far and which way; or must the box be bedded again?

Every open outlet can bring its lip anywhere in an interval: one point where its insert cannot be
turned. A goal is a height that fixes where every lip ought to stand: all at the goal itself where
the targets are met by equal lips, else each at its own offset from it, which holds for one flow
only. The goal taken is the one that the most outlets can reach, with the least turning among
those; or, as practice has it, the highest lip and, where that is out of some insert's reach, the
highest height that all can reach. Turns are rounded to what a hand can do.
"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.errors import DomainError
from dbox.fieldwork.confidence import SAMPLES, Assessment, assess_lips
from dbox.fieldwork.levelling.insert import lip_rise
from dbox.fieldwork.levelling.offsets import lip_offsets
from dbox.fieldwork.levelling.reach import Goal, Reach
from dbox.fieldwork.levelling.rebed import Lift, lift_for
from dbox.fieldwork.levelling.turning import Turning, drawn_after, turn_to
from dbox.fieldwork.readings import Lips, measured_lips
from dbox.fieldwork.site import Site
from dbox.fieldwork.tilt import Plane, fit_plane

HAND_STEP = float(np.radians(5.0))
"""Smallest turn that a hand can set. [rad] (common practice, no source)"""

_UNLIKELY = 0.05
_TOO_FINE = "the lips differ by less than one step of a hand turns them"
_NO_PLACES = "positions of three outlets are needed to tell which side to lift"


@dataclass(frozen=True, kw_only=True, eq=False)
class Levelling(Turning):
    """What to do at the box and what it gives; the work itself is described at `Turning`.

    Parameters
    ----------
    site : Site
        The box that was asked about.
    verdict : str
        `nothing to do`, `adjust` or `re-bed`.
    goal, least_turning, highest : Goal
        The goal taken, the one with the least turning, and the highest lip of practice.
    design_flow : str
        Name of the flow at which unequal lips meet their targets.
    offset : ndarray, shape (n,)
        Wanted height of each lip over the goal; all 0 where equal lips meet the targets. [m]
    plane : Plane or None
        Tilt of the box, the inserts' turns taken out where all clocks are known.
    lift : Lift or None
        How to re-bed; None unless the verdict is to re-bed and the tilt is known.
    before, after : Assessment
        Shares as they are and as they would be.
    warnings : tuple of str
        What the reader should know.

    No turn cures the jet of an inlet: what is to be turned goes by the lips alone.
    """

    site: Site
    verdict: str
    goal: Goal
    least_turning: Goal
    highest: Goal
    design_flow: str
    offset: Array
    plane: Plane | None
    lift: Lift | None
    before: Assessment
    after: Assessment
    warnings: tuple[str, ...]


def level(
    site: Site,
    *,
    match_highest: bool = False,
    design_flow: int = 0,
    hand_step: float = HAND_STEP,
    seed: int = 0,
    samples: int = SAMPLES,
) -> Levelling:
    """Work out what to turn, or that the box must be bedded again.

    Parameters
    ----------
    site : Site
        The box as measured; every open outlet needs a reading.
    match_highest : bool
        Take the highest lip as the goal instead of the one with the least turning; where not all
        can reach it, the highest height that all can.
    design_flow : int
        Index of the flow at which unequal targets, or unequal holes, are to be met.
    hand_step : float
        Turns are rounded to multiples of this. [rad]
    seed, samples : int
        For the bands, as in `confidence.assess`.

    Returns
    -------
    Levelling
        With the shares before and after.

    Raises
    ------
    DomainError
        Where an open outlet has no reading, there is no such flow, or hand_step is not above 0.
    """
    lips = _checked_lips(site, design_flow, hand_step)
    reach, offset = Reach.of(site, lips), lip_offsets(site, design_flow)
    goals = reach.least_turning(offset), reach.highest(offset)
    goal, short = _as_high_as_all_reach(reach, offset, goals[1], site, asked=match_highest)
    goal, drawn = goal or goals[0], lips.sample(samples, seed)
    wanted, before = goal.height + offset, assess_lips(site, lips, drawn)
    verdict = _verdict(before, lips, offset, bool(reach.allows(wanted).all()))
    work = turn_to(reach, wanted, hand_step, hold=verdict == "nothing to do")
    lips_after = replace(lips, height=work.lip_after)
    after = assess_lips(site, lips_after, drawn_after(reach, work, drawn, hand_step, seed))
    too_fine = verdict == "adjust" and not work.order
    plane, lift = _bedding(site, reach, offset, verdict)
    return Levelling(
        **vars(work),
        site=site,
        verdict="nothing to do" if too_fine else verdict,
        goal=goal,
        least_turning=goals[0],
        highest=goals[1],
        design_flow=site.flows[design_flow].name,
        offset=offset,
        plane=plane,
        lift=lift,
        before=before,
        after=after,
        warnings=(
            *(short + ([_TOO_FINE] if too_fine else _about_tilt(plane, verdict))),
            *_unknown_clocks(site, reach),
            *_one_flow_only(design_flow, offset, after),
        ),
    )


def _checked_lips(site: Site, design_flow: int, hand_step: float) -> Lips:
    if not hand_step > 0:
        raise DomainError(f"the step of a turn is {np.degrees(hand_step):g} deg; give one above 0")
    if not 0 <= design_flow < len(site.flows):
        raise DomainError(f"design_flow is {design_flow}; the site has {len(site.flows)} flows")
    return measured_lips(site)


def _as_high_as_all_reach(
    reach: Reach, offset: Array, highest: Goal, site: Site, *, asked: bool
) -> tuple[Goal | None, list[str]]:
    """The highest lip or, where an insert ends below it, the highest height for all; and why."""
    if not asked:
        return None, []
    short = ~reach.allows(highest.height + offset)
    common = reach.highest_for_all(offset) if short.any() else None
    if common is None:
        return highest, []
    labels = ", ".join(site.outlets[i].label for i in np.flatnonzero(short))
    return common, [
        f"the highest lip asks for {1000 * highest.height:+.1f} mm, which outlet {labels} cannot "
        f"reach; the goal taken is {1000 * common.height:+.1f} mm, the highest that all can reach. "
        f"The goal with the least turning would do too"
    ]


def _verdict(before: Assessment, lips: Lips, offset: Array, all_reach: bool) -> str:
    if all(v == "within" for v in before.lip_verdicts):
        return "nothing to do"
    if "outside" not in before.lip_verdicts and lips_alike(lips, offset):
        return "nothing to do"
    return "adjust" if all_reach else "re-bed"


def lips_alike(lips: Lips, offset: Array) -> bool:
    """Whether the readings' errors alone would often scatter the lips as much as they are.

    Parameters
    ----------
    lips : Lips
        The lips with their errors; capped ones take no part.
    offset : ndarray, shape (n,)
        Wanted height of each lip over a common one. [m]
    """
    open_lips = lips.measured
    over = np.where(open_lips, lips.height, 0.0) - offset
    return bool(alike(over, np.where(open_lips, lips.error, np.inf), lips.freedom))


def alike(over: Array, error: Array, freedom: float = np.inf) -> BoolArray:
    """Whether errors of this size would often scatter heights as much as these are scattered.

    Parameters
    ----------
    over : ndarray, shape (..., n)
        Heights over where they ought to be. [m]
    error : ndarray, shape (..., n)
        Standard deviation of each, above 0; inf where it takes no part. [m]
    freedom : float
        Degrees of freedom behind the errors. [-]

    Returns
    -------
    ndarray of bool, shape (...)
        True where fewer than two take part.
    """
    from scipy.special import fdtrc

    weight = error**-2
    count = np.count_nonzero(weight > 0, axis=-1) - 1
    mean = (over * weight).sum(-1, keepdims=True) / weight.sum(-1, keepdims=True)
    scatter = ((over - mean) ** 2 * weight).sum(-1) / np.maximum(count, 1)
    # F with unlimited freedom is chi-squared over its own
    often = fdtrc(np.maximum(count, 1), min(freedom, 1e9), scatter) > _UNLIKELY
    result: BoolArray = often | (count < 1)
    return result


def _bedding(
    site: Site, reach: Reach, offset: Array, verdict: str
) -> tuple[Plane | None, Lift | None]:
    """The plane of the pipes where all clocks are known, else of the lips; and its cure."""
    unturned = reach.adjustable & ~np.isnan(reach.angle)
    heights = reach.lip
    if np.array_equal(unturned, reach.adjustable):
        rise = lip_rise(np.nan_to_num(reach.angle), reach.offset)
        tops = np.array([o.opening.top for o in site.outlets])
        radii = np.where(tops < np.inf, 0.5 * tops, 0.0)
        heights = heights - np.where(unturned, rise, 0.0) + radii
    positions = np.array([o.position or (np.nan, np.nan) for o in site.outlets])
    plane = fit_plane(np.where(reach.uncapped, heights, np.nan), positions)
    if plane is None or verdict != "re-bed":
        return plane, None
    return plane, lift_for(plane, site.box, reach, positions, offset)


def _about_tilt(plane: Plane | None, verdict: str) -> list[str]:
    if plane is None:
        return [_NO_PLACES] if verdict == "re-bed" else []
    return list(plane.warnings)


def _unknown_clocks(site: Site, reach: Reach) -> list[str]:
    unknown = np.flatnonzero(reach.adjustable & np.isnan(reach.angle))
    if not unknown.size:
        return []
    labels = ", ".join(site.outlets[i].label for i in unknown)
    return [
        f"outlet {labels}: the clock position of the hole is not given, so its turn is unknown; "
        f"turn it until the ruler shows the lip at its height"
    ]


def _one_flow_only(design_flow: int, offset: Array, after: Assessment) -> list[str]:
    if not offset.any():
        return []
    off = np.abs(after.over_target - 1.0).max(-1)
    others = [
        f"{name} {100 * miss:.0f} %"
        for i, (name, miss) in enumerate(zip(after.names, off, strict=True))
        if i != design_flow
    ]
    return [
        f"unequal lips meet these targets at one flow only ({after.names[design_flow]}); worst "
        f"line off its own target at the others: {', '.join(others) or 'none computed'}"
    ]
