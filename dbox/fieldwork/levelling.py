"""What to turn, how far and which way, or how to bed the box again.

At one flow each outlet needs the head at which its own opening passes its own target; its lip
stands that much under the water. Heads do not keep their proportion as the flow changes, so
unequal lips meet unequal targets at one flow only.

Every open outlet can bring its lip anywhere in an interval: one point where its insert cannot be
turned. A goal is a height that fixes where every lip ought to stand: all at the goal itself where
the targets are met by equal lips, else each at its own offset from it, which holds for one flow
only. The goal taken is the one that the most outlets can reach, with the least turning among
those; or, as practice has it, the highest lip and, where that is out of some insert's reach, the
highest height that all can reach. Turns are rounded to what a hand can do.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.errors import DomainError
from dbox.fieldwork.readings import Lips, Plane, fit_plane, measured_lips
from dbox.fieldwork.shares import SAMPLES, Assessment, assess_lips, target_shares
from dbox.fieldwork.site import Box, Site
from dbox.fieldwork.turning import Goal, Reach, Turning, drawn_after, lip_rise, turn_to
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import split
from dbox.notes import Note


def lip_offsets(site: Site, flow: int) -> Array:
    """Wanted height of each lip over the lowest wanted lip. [m]"""
    uncapped = np.array([not o.capped for o in site.outlets])
    wanted = target_shares(site) * site.flows[flow].inflow
    offset = offsets_of([o.opening for o in site.outlets], wanted, uncapped)
    freeze(offset)
    return offset


def offsets_of(openings: Sequence[Opening], wanted: Array, uncapped: BoolArray) -> Array:
    """The same for flows that are wanted of openings, of one box or of many.

    wanted [m3/s] -> [m].
    """
    lip = np.zeros((*wanted.shape[:-1], 1))
    heads = np.concatenate(
        [split(wanted[..., i], lip, opening).head for i, opening in enumerate(openings)], axis=-1
    )
    deepest = np.where(uncapped, heads, -np.inf).max(-1, keepdims=True)
    return np.where(uncapped, deepest - heads, 0.0)


@dataclass(frozen=True, kw_only=True)
class Lift:
    """What takes the tilt out of a box."""

    # How much to lift the end opposite the inlet; negative: lift the inlet end. None where the
    # inside size is not known. [m]
    far_end: float | None
    # How much to lift the side on the right of one who looks from the inlet into the box; negative:
    # lift the left side. None where the inside size is not known. [m]
    right_side: float | None
    slope_along: float  # `far_end` as rise per run, known whatever the size. [-]
    slope_across: float  # `right_side` as rise per run. [-]
    # Outlets that could not reach a common height even in the levelled box: their own pipe or
    # insert has to be set anew.
    still_short: tuple[int, ...]


def lift_for(plane: Plane, box: Box, reach: Reach, positions: Array, wanted: Array) -> Lift:
    """The lift that makes a plane level; positions [m], wanted [m]."""
    slopes = np.array([plane.slope_x, plane.slope_y])
    fall = np.nan_to_num(-(positions - np.nanmean(positions, axis=0)) @ slopes)
    level = replace(reach, lip=reach.lip + fall, low=reach.low + fall, high=reach.high + fall)
    reached = level.allows(level.least_turning(wanted).height + wanted)
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return Lift(
        far_end=-plane.slope_x * sizes[0] if sizes else None,
        right_side=-plane.slope_y * sizes[1] if sizes else None,
        slope_along=-plane.slope_x,
        slope_across=-plane.slope_y,
        still_short=tuple(np.flatnonzero(~reached).tolist()),
    )


HAND_STEP = float(np.radians(5.0))
"""Smallest turn that a hand can set. [rad] (common practice, no source)"""

_UNLIKELY = 0.05
"""Chance under which scatter is not put down to the readings. [-] (judgement)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Levelling(Turning):
    """What to do at the box and what it gives; the work itself is described at `Turning`.

    No turn cures the jet of an inlet: what is to be turned goes by the lips alone.
    """

    site: Site  # The box that was asked about.
    verdict: str  # `nothing to do`, `adjust` or `re-bed`.
    goal: Goal  # The goal taken.
    least_turning: Goal  # The one with the least turning.
    highest: Goal  # The highest lip, as practice has it.
    design_flow: str  # Name of the flow at which unequal lips meet their targets.
    # (n,) Wanted height of each lip over the goal; all 0 where equal lips meet the targets. [m]
    offset: Array
    plane: Plane | None  # Tilt of the box, the inserts' turns taken out where all clocks are known.
    lift: Lift | None  # How to re-bed; None unless the verdict is to re-bed and the tilt is known.
    before: Assessment  # Shares as they are.
    after: Assessment  # Shares as they would be.
    warnings: tuple[Note, ...]  # What the reader should know.


def level(
    site: Site,
    *,
    match_highest: bool = False,
    design_flow: int = 0,
    hand_step: float = HAND_STEP,
    seed: int = 0,
    samples: int = SAMPLES,
) -> Levelling:
    """Work out what to turn, or that the box must be bedded again; hand_step [rad]."""
    if not hand_step > 0:
        raise DomainError(f"the step of a turn is {np.degrees(hand_step):g} deg; give one above 0")
    if not 0 <= design_flow < len(site.flows):
        raise DomainError(f"design_flow is {design_flow}; the site has {len(site.flows)} flows")
    lips = measured_lips(site)
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
    notes = short
    if too_fine:
        notes.append(Note(what="level: finer than a hand"))
    elif plane is not None:
        notes += plane.warnings
    elif verdict == "re-bed":
        notes.append(Note(what="level: places not known"))
    if unknown := np.flatnonzero(reach.adjustable & np.isnan(reach.angle)).tolist():
        labels = ", ".join(site.outlets[i].label for i in unknown)
        notes.append(Note(what="level: clock not known", where=f"outlet {labels}"))
    if offset.any():
        notes.append(_one_flow_only(design_flow, after))
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
        warnings=tuple(notes),
    )


def _as_high_as_all_reach(
    reach: Reach, offset: Array, highest: Goal, site: Site, *, asked: bool
) -> tuple[Goal | None, list[Note]]:
    """The highest lip or, where an insert ends below it, the highest height for all; and why."""
    if not asked:
        return None, []
    short = ~reach.allows(highest.height + offset)
    common = reach.highest_for_all(offset) if short.any() else None
    if common is None:
        return highest, []
    values = {
        "outlets": tuple(site.outlets[i].label for i in np.flatnonzero(short)),
        "highest": highest.height,
        "taken": common.height,
    }
    return common, [Note(what="level: highest out of reach", values=values)]


def _verdict(before: Assessment, lips: Lips, offset: Array, all_reach: bool) -> str:
    if all(v == "within" for v in before.lip_verdicts):
        return "nothing to do"
    if "outside" not in before.lip_verdicts and lips_alike(lips, offset):
        return "nothing to do"
    return "adjust" if all_reach else "re-bed"


def lips_alike(lips: Lips, offset: Array) -> bool:
    """Whether the readings' errors alone would often scatter the lips as much as they are.

    offset [m].
    """
    open_lips = lips.measured
    over = np.where(open_lips, lips.height, 0.0) - offset
    return bool(alike(over, np.where(open_lips, lips.error, np.inf), lips.freedom))


def alike(over: Array, error: Array, freedom: float = np.inf) -> BoolArray:
    """Whether errors of this size would often scatter heights as much as these are scattered.

    over [m], error [m], freedom [-].
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


def _one_flow_only(design_flow: int, after: Assessment) -> Note:
    off = np.abs(after.over_target - 1.0).max(-1)
    others = [i for i in range(off.size) if i != design_flow]
    values = {
        "flow": after.names[design_flow],
        "others": tuple(after.names[i] for i in others),
        "misses": tuple(float(off[i]) for i in others),
    }
    return Note(what="level: one flow only", values=values)
