"""Which insert to turn, how far and which way; or must the box be bedded again?

Every open outlet can bring its lip anywhere in an interval: one point where its insert cannot be
turned. A goal is a height that fixes where every lip ought to stand: all at the goal itself where
the targets are met by equal lips, else each at its own offset from it, which holds for one flow
only. The goal taken is the one that the most outlets can reach, with the least turning among
those; or, as practice has it, the highest lip. Turns are rounded to what a hand can do.
"""

from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.confidence import SAMPLES, Assessment, assess_lips
from dbox.fieldwork.insert import lip_rise
from dbox.fieldwork.offsets import lip_offsets
from dbox.fieldwork.reach import Goal, Reach
from dbox.fieldwork.readings import Lips, reduce_readings, require_all_measured
from dbox.fieldwork.rebed import Lift, lift_for
from dbox.fieldwork.site import Site
from dbox.fieldwork.tilt import Plane, fit_plane

HAND_STEP = float(np.radians(5.0))
"""Smallest turn that a hand can set. [rad] (common practice, no source)"""

_UNLIKELY = 0.05
_LEAST_MOVE = 1e-6


@dataclass(frozen=True, kw_only=True, eq=False)
class Levelling:
    """What to do at the box; arrays are read-only, one entry per outlet.

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
    move : ndarray, shape (n,)
        Wanted rise of each lip; 0 where capped. [m]
    turn : ndarray, shape (n,)
        Rounded turn, clockwise seen from inside the box; NaN where the clock is unknown. [rad]
    angle_before, angle_after : ndarray, shape (n,)
        Angle of the hole from straight down; NaN where unknown. [rad]
    lip_after : ndarray, shape (n,)
        Lip once turned; inf where capped. [m]
    reachable : ndarray, shape (n,)
        Whether the lip can be brought to its height; True where capped.
    plane : Plane or None
        Tilt of the box, the inserts' turns taken out where all clocks are known.
    lift : Lift or None
        How to re-bed; None unless the verdict is to re-bed and the tilt is known.
    order : tuple of int
        Outlets in the order of work.
    still_level : ndarray, shape (steps,)
        Where still water stands after each step, topped up until it just spills. [m]
    before, after : Assessment
        Shares as they are and as they would be.
    warnings : tuple of str
        What the reader should know.
    """

    site: Site
    verdict: str
    goal: Goal
    least_turning: Goal
    highest: Goal
    design_flow: str
    offset: Array
    move: Array
    turn: Array
    angle_before: Array
    angle_after: Array
    lip_after: Array
    reachable: BoolArray
    plane: Plane | None
    lift: Lift | None
    order: tuple[int, ...]
    still_level: Array
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
        Take the highest lip as the goal instead of the one with the least turning.
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
        Where an open outlet has no reading, or hand_step is not above 0.
    """
    if not hand_step > 0:
        raise DomainError(f"the step of a turn is {np.degrees(hand_step):g} deg; give one above 0")
    lips = reduce_readings(site)
    require_all_measured(site, lips)
    reach, offset = Reach.of(site, lips), lip_offsets(site, design_flow)
    least, highest = reach.least_turning(offset), reach.highest(offset)
    goal = highest if match_highest else least
    wanted = goal.height + offset
    reachable = reach.allows(wanted)
    drawn = lips.sample(samples, seed)
    before = assess_lips(site, lips, drawn)
    verdict = _verdict(before, lips, offset, bool(reachable.all()))
    turn = np.round(reach.turns(wanted) / hand_step) * hand_step
    if verdict == "nothing to do":
        turn = np.where(np.isnan(turn), np.nan, 0.0)
    lip_after = _lips_after(reach, turn, wanted, verdict)
    shifted = _drawn_after(reach, turn, lip_after, drawn, hand_step, seed)
    after = assess_lips(site, replace(lips, height=lip_after), shifted)
    order, still = _order(lips.height, lip_after)
    positions = np.array([o.position or (np.nan, np.nan) for o in site.outlets])
    plane, lift = _tilt(reach, positions), None
    if plane and verdict == "re-bed":
        lift = lift_for(plane, site.box, reach, positions, offset)
    move = np.where(reach.uncapped, wanted - reach.lip, 0.0)
    angle_after = (reach.angle + turn + np.pi) % (2.0 * np.pi) - np.pi
    freeze(offset, move, turn, reach.angle, angle_after, lip_after, reachable, still)
    return Levelling(
        site=site,
        verdict=verdict,
        goal=goal,
        least_turning=least,
        highest=highest,
        design_flow=site.flows[design_flow].name,
        offset=offset,
        move=move,
        turn=turn,
        angle_before=reach.angle,
        angle_after=angle_after,
        lip_after=lip_after,
        reachable=reachable,
        plane=plane,
        lift=lift,
        order=order,
        still_level=still,
        before=before,
        after=after,
        warnings=_warnings(site, reach, offset, verdict, plane, design_flow, after),
    )


def _verdict(before: Assessment, lips: Lips, offset: Array, all_reach: bool) -> str:
    if all(v == "within" for v in before.verdicts):
        return "nothing to do"
    if "outside" not in before.verdicts and _alike(lips, offset):
        return "nothing to do"
    return "adjust" if all_reach else "re-bed"


def _alike(lips: Lips, offset: Array) -> bool:
    """Whether the readings' errors alone would often scatter the lips as much as they are."""
    from scipy.special import fdtrc

    open_lips = lips.measured
    count = int(np.count_nonzero(open_lips)) - 1
    if count == 0:
        return True
    over, error = (lips.height - offset)[open_lips], lips.error[open_lips]
    mean = np.average(over, weights=error**-2)
    scatter = float((((over - mean) / error) ** 2).sum()) / count
    # F with unlimited freedom is chi-squared over its own
    return bool(fdtrc(count, min(lips.freedom, 1e9), scatter) > _UNLIKELY)


def _lips_after(reach: Reach, turn: Array, wanted: Array, verdict: str) -> Array:
    """Lips once turned; set by the ruler, not by the clock, where the clock is unknown."""
    by_ruler = reach.lip if verdict == "nothing to do" else reach.brought(wanted)
    known = reach.adjustable & ~np.isnan(reach.angle)
    after = np.where(known, reach.turned(turn), np.where(reach.adjustable, by_ruler, reach.lip))
    return np.where(reach.uncapped, after, np.inf)


def _drawn_after(
    reach: Reach, turn: Array, lip_after: Array, drawn: Array, hand_step: float, seed: int
) -> Array:
    """Drawn lips moved along with the measured ones, each turn missing by up to half a step."""
    before = np.where(reach.uncapped, drawn - reach.lip, 0.0)
    moved = np.abs(np.nan_to_num(turn)) > 0
    miss = np.random.default_rng([seed, 1]).uniform(-0.5, 0.5, drawn.shape) * hand_step
    shift = np.where(moved, reach.turned(turn + miss) - reach.turned(turn), 0.0)
    return lip_after + before + shift


def _order(before: Array, after: Array) -> tuple[tuple[int, ...], Array]:
    """Raise the lowest first, then lower the highest first; still water after each step."""
    change = np.where(np.isfinite(before), after, 0.0) - np.where(np.isfinite(before), before, 0.0)
    up = [i for i in np.argsort(before, kind="stable") if change[i] > _LEAST_MOVE]
    down = [i for i in np.argsort(-before, kind="stable") if change[i] < -_LEAST_MOVE]
    order, lips, still = tuple(int(i) for i in up + down), before.copy(), []
    for outlet in order:
        lips[outlet] = after[outlet]
        still.append(lips.min())
    return order, np.array(still)


def _tilt(reach: Reach, positions: Array) -> Plane | None:
    """The plane of the pipes where all clocks are known, else of the lips."""
    unturned = reach.adjustable & ~np.isnan(reach.angle)
    heights = reach.lip
    if np.array_equal(unturned, reach.adjustable):
        rise = lip_rise(np.nan_to_num(reach.angle), reach.offset)
        heights = heights - np.where(unturned, rise, 0.0)
    return fit_plane(np.where(reach.uncapped, heights, np.nan), positions)


def _warnings(
    site: Site,
    reach: Reach,
    offset: Array,
    verdict: str,
    plane: Plane | None,
    design_flow: int,
    after: Assessment,
) -> tuple[str, ...]:
    sentences = list(plane.warnings) if plane else []
    unknown = reach.adjustable & np.isnan(reach.angle)
    if unknown.any():
        labels = ", ".join(site.outlets[i].label for i in np.flatnonzero(unknown))
        sentences.append(
            f"outlet {labels}: the clock position of the hole is not given, so its turn is "
            f"unknown; turn it until the ruler shows the lip at its height"
        )
    if plane is None and verdict == "re-bed":
        sentences.append("positions of three outlets are needed to tell which side to lift")
    if offset.any():
        name = site.flows[design_flow].name
        off = np.abs(after.over_target - 1.0).max(-1)
        others = [
            f"{flow} {100 * miss:.0f} %"
            for i, (flow, miss) in enumerate(zip(after.names, off, strict=True))
            if i != design_flow
        ]
        sentences.append(
            f"unequal lips meet these targets at one flow only ({name}); worst line off its own "
            f"target at the others: {', '.join(others) or 'none computed'}"
        )
    return tuple(sentences)
