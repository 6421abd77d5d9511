"""What to turn, how far and which way, or how to bed the box again; and what to do next.

At one flow each outlet needs the head at which its own opening passes its own target; its lip
stands that much under the water. Heads do not keep their proportion as the flow changes, so
unequal lips meet unequal targets at one flow only: the lips taken are those of the flow between the
weakest and the strongest at which the worst miss over all flows is least.

Every open outlet can bring its lip anywhere in an interval: one point where its insert cannot be
turned. A goal is a height that fixes where every lip is to stand: all at the goal itself where the
targets are met by equal lips, else each at its own offset from it. Which goal, and which inserts
are worth turning, is decided in `estimate`. Turns are rounded to what a clock face shows.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.errors import DomainError
from dbox.fieldwork.estimate import (
    GOOD_SPAN,
    HAND_ERROR,
    SAME,
    SET_WELL,
    Decision,
    Estimate,
    decide,
    level_chance,
)
from dbox.fieldwork.inlet import ways
from dbox.fieldwork.readings import Plane, fit_plane, measured_lips
from dbox.fieldwork.shares import SAMPLES, Assessment, assess_lips, over_target, target_shares
from dbox.fieldwork.site import Box, Site
from dbox.fieldwork.turning import LEAST_MOVE, Reach, Turning, lip_rise, turn_to
from dbox.hydraulics.openings import Opening
from dbox.hydraulics.split import split
from dbox.notes import Note

_FLOWS = 41
"""Flows tried between two others. [-] (numerical)"""

_SAME_FLOW = 1e-8
"""Two flows so near each other are one: their lips differ by less than 1e-10 m. [-] (numerical)"""


def lip_offsets(site: Site, flow: int | None = None) -> Array:
    """Wanted height of each lip over the lowest wanted lip, to meet one flow or all. [m]"""
    uncapped = np.array([not o.capped for o in site.outlets])
    openings, target = [o.opening for o in site.outlets], target_shares(site)
    if flow is not None:
        return offsets_of(openings, target * site.flows[flow].inflow, uncapped)
    inflow = np.array([each.inflow for each in site.flows])
    return offsets_for_all(inflow, openings, target, uncapped)


def offsets_for_all(
    inflow: Array, openings: Sequence[Opening], target: Array, uncapped: BoolArray
) -> Array:
    """The offsets that make the worst miss over all flows least. [m]; inflow [m3/s], target [-]."""
    if len({o for o, runs in zip(openings, uncapped, strict=True) if runs}) == 1 and not np.ptp(
        target[uncapped]
    ):
        return np.zeros(target.shape)
    low, high = float(inflow.min()), float(inflow.max())
    while True:
        tried = np.geomspace(low, high, _FLOWS)
        offset = offsets_of(openings, target * tried[:, None], uncapped)
        if not offset.any() or low == high:
            return np.asarray(offset[0])
        lips = np.where(uncapped, offset, np.inf)
        share = split(inflow[:, None], lips, openings).share
        miss = np.abs(over_target(share, target) - 1.0).max(-1).max(0)
        # the first of those that are as good but for rounding: many, where one line gets nothing
        best = int(np.argmax(miss <= miss.min() * (1.0 + SAME)))
        if high / low < 1.0 + _SAME_FLOW:
            return np.asarray(offset[best])
        low, high = tried[max(best - 1, 0)], tried[min(best + 1, _FLOWS - 1)]


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
    # Outlets that could not be brought to a common height even in the levelled box, by more than
    # their readings may err: their own pipe or insert has to be set anew.
    still_short: tuple[int, ...]


def lift_for(
    plane: Plane, box: Box, reach: Reach, positions: Array, wanted: Array, covariance: Array
) -> Lift:
    """The lift that makes a plane level; positions [m], wanted [m], covariance [m2]."""
    slopes = np.array([plane.slope_x, plane.slope_y])
    fall = np.nan_to_num(-(positions - np.nanmean(positions, axis=0)) @ slopes)
    level = replace(reach, lip=reach.lip + fall, low=reach.low + fall, high=reach.high + fall)
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return Lift(
        far_end=-plane.slope_x * sizes[0] if sizes else None,
        right_side=-plane.slope_y * sizes[1] if sizes else None,
        slope_along=-plane.slope_x,
        slope_across=-plane.slope_y,
        still_short=tuple(np.flatnonzero(decide(level, covariance, wanted).off).tolist()),
    )


HAND_STEP = float(np.radians(2.5))
"""What turns are rounded to: five minutes on the face of a clock. [rad] (judgement)"""


@dataclass(frozen=True, kw_only=True)
class Goal:
    """A height for the lips and what it asks for."""

    height: float  # Height over still water that the wanted offsets are counted from. [m]
    turns: int  # Inserts that are to be turned for it.


STEPS = ("inlet", "turn", "read again", "finer rule", "pour", "stop", "re-bed")
"""What may come next; all but the first go by the lips alone."""


@dataclass(frozen=True, kw_only=True, eq=False)
class Levelling(Turning):
    """What to do at the box and what it gives; the work itself is described at `Turning`.

    No turn cures the jet of an inlet: what is to be turned goes by the lips alone, and the inlet is
    seen to first.
    """

    site: Site  # The box that was asked about.
    verdict: str  # `nothing to do`, `adjust` or `re-bed`.
    next_step: str  # One of `STEPS`.
    lips_step: str  # The same by the lips alone.
    goal: Goal  # The goal taken.
    highest: Goal  # The highest lip, as practice has it.
    every: Goal  # The same height as the goal, every insert turned to it.
    # Name of the flow at which unequal lips meet their targets; None where all flows have a say.
    design_flow: str | None
    # (n,) Wanted height of each lip over the goal; all 0 where equal lips meet the targets. [m]
    offset: Array
    well_set: float  # Chance that the lips as they are span no more than `GOOD_SPAN`. [-]
    stuck: tuple[int, ...]  # Outlets whose inserts did not go where they were turned.
    plane: Plane | None  # Tilt of the box, the inserts' turns taken out where all clocks are known.
    lift: Lift | None  # How to re-bed; None unless the verdict is to re-bed and the tilt is known.
    before: Assessment  # Shares as they are.
    after: Assessment  # Shares as they would be.
    # Worst share over target at the design flow, else at the weakest: as it is, turned as told, and
    # with every insert brought to the goal. [-]
    worst: tuple[float, float, float]
    warnings: tuple[Note, ...]  # What the reader should know.


def level(
    site: Site,
    *,
    match_highest: bool = False,
    design_flow: int | None = None,
    hand_step: float = HAND_STEP,
    seed: int = 0,
    samples: int = SAMPLES,
    known: Estimate | None = None,
) -> Levelling:
    """Work out what to turn, or that the box must be bedded again; hand_step [rad].

    known: What all fillings together tell of the lips; left out, the readings of the site alone.
    """
    if not 0 < hand_step <= np.pi / 4:
        said = f"the step of a turn is {np.degrees(hand_step):g} deg"
        raise DomainError(f"{said}; give one above 0 and up to 45")
    if design_flow is not None and not 0 <= design_flow < len(site.flows):
        told = f"design_flow is {design_flow}; the site has {len(site.flows)} flows"
        raise DomainError(f"{told}, counted from 0")
    lips = measured_lips(site)
    known = known or Estimate(height=lips.height, covariance=lips.covariance)
    by_rule = float(np.diag(lips.covariance).max())
    lips = lips.known(known)
    reach, offset = Reach.of(site, lips.height), lip_offsets(site, design_flow)
    reach = _as_found(reach, known)
    hand = HAND_ERROR if site.hand is None else site.hand
    # nobody sets lips to unequal heights by chance
    started = known.started or bool(offset.any())

    def decided(*, highest: bool) -> Decision:
        return decide(reach, lips.covariance, offset, hand=hand, by_rule=by_rule,
                      started=started, highest=highest)  # fmt: skip

    decision, practice = decided(highest=match_highest), decided(highest=True)
    before = assess_lips(site, lips, lips.sample(samples, seed))
    within = all(v == "within" for v in before.lip_verdicts)
    work = turn_to(reach, decision.wanted, hand_step, hold=~decision.turn | within)
    off = decision.off & ~np.bool_(within)
    brought = (not within) * decision.spoiled(reach, work.turn, hand, by_rule)
    lips_after = replace(lips, height=work.lip_after, covariance=lips.covariance + np.diag(brought))
    after = assess_lips(site, lips_after, lips_after.sample(samples, seed))
    verdict = "adjust" if work.order else "nothing to do"
    if off.any() and still_outside(after, offset):
        verdict = "re-bed"
    plane, lift = _bedding(site, reach, offset, verdict, lips.covariance)
    well_set = float(level_chance(reach.lip - offset, lips.covariance, reach.uncapped))
    goal = float(decision.goal)
    everywhere = np.where(reach.uncapped, reach.brought(goal + offset), np.inf)
    notes = _goal_notes(site, reach, offset, practice) if match_highest else []
    if decision.turn.any() and not work.order and not within:
        notes.append(Note(what="level: finer than a hand"))
    elif plane is not None:
        notes += plane.warnings
    elif verdict == "re-bed":
        notes.append(Note(what="level: places not known"))
    holes = [o.hole_offset == np.inf and not o.capped for o in site.outlets]
    if any(holes):
        notes.append(Note(what="level: offset not known"))
    elif unknown := np.flatnonzero(reach.adjustable & np.isnan(reach.angle)).tolist():
        labels = ", ".join(site.outlets[i].label for i in unknown)
        notes.append(Note(what="level: clock not known", where=f"outlet {labels}"))
    found = {
        "level: slipped": known.suspects,
        "level: goes no lower": known.lowest,
        "level: goes no higher": known.highest,
    }
    notes += [
        Note(what=what, where=f"outlet {site.outlets[i].label}")
        for what, outlets in found.items()
        for i in outlets
    ]
    if offset.any():
        notes.append(_one_flow_only(site, design_flow, after))
    values = vars(work) | {"reachable": ~off}
    lips_step = _next_step(verdict, before, well_set, known)
    return Levelling(
        **values,
        site=site,
        verdict=verdict,
        next_step="inlet" if _inlet_first(before) else lips_step,
        lips_step=lips_step,
        goal=_goal(goal, reach, decision.wanted),
        highest=_goal(float(practice.goal), reach, practice.wanted),
        every=_goal(goal, reach, everywhere),
        design_flow=None if design_flow is None else site.flows[design_flow].name,
        offset=offset,
        well_set=well_set,
        stuck=tuple(sorted({*known.suspects, *known.lowest, *known.highest})),
        plane=plane,
        lift=lift,
        before=before,
        after=after,
        worst=_worst(site, design_flow, before, after, everywhere),
        warnings=tuple(notes),
    )


def _as_found(reach: Reach, known: Estimate) -> Reach:
    """What inserts can make, by the ends of their travel that were met."""
    n = np.arange(reach.lip.size)
    return replace(
        reach,
        low=np.where(np.isin(n, known.lowest), np.maximum(reach.low, reach.lip), reach.low),
        high=np.where(np.isin(n, known.highest), np.minimum(reach.high, reach.lip), reach.high),
    )


def _goal(height: float, reach: Reach, wanted: Array) -> Goal:
    moved = reach.uncapped & (np.abs(wanted - reach.lip) > LEAST_MOVE)
    return Goal(height=height, turns=int(moved.sum()))


def _worst(
    site: Site, flow: int | None, before: Assessment, after: Assessment, everywhere: Array
) -> tuple[float, float, float]:
    """Worst share over target at a flow: now, turned as told, all turned to the goal.

    flow: index of the flow that unequal lips are to meet; None: the weakest.
    """
    if flow is None:
        flow = int(np.argmin([each.inflow for each in site.flows]))
    inflow = np.array([site.flows[flow].inflow])
    struck = everywhere - ways(site, inflow).taken
    best = split(inflow, struck, [o.opening for o in site.outlets])
    over = over_target(best.share[0], before.target)[before.target > 0]
    return (float(before.worst_over_target[flow]), float(after.worst_over_target[flow]),
            float(over.max()))  # fmt: skip


def still_outside(after: Assessment, offset: Array) -> bool:
    """Whether what turning leaves is really worse than asked, or than a good hand leaves it."""
    if after.tolerance is not None:
        return "outside" in after.lip_verdicts
    lips = (after.lips.height - offset)[after.lips.measured]
    return bool(np.ptp(lips) > GOOD_SPAN)


def _inlet_first(before: Assessment) -> bool:
    """Whether the inlet is to be seen to before anything else."""
    level_lips = all(v == "within" for v in before.lip_verdicts)
    if level_lips:
        return any(v != "within" for v in before.verdicts)
    return before.straight_decides


def _next_step(verdict: str, before: Assessment, well_set: float, known: Estimate) -> str:
    """What is worth doing next by the lips alone."""
    if all(v == "within" for v in before.lip_verdicts):
        return "stop"
    if verdict != "nothing to do":
        return "turn" if verdict == "adjust" else "re-bed"
    unsure = np.array(before.lip_verdicts) == "cannot tell"
    good = well_set >= SET_WELL
    if good and (before.tolerance is None or "outside" in before.lip_verdicts):
        return "stop"
    settles = before.tolerance is not None and np.isfinite(before.settling_repeats[unsure]).all()
    if known.readable and (settles or not good):
        return "read again"
    if "outside" in before.lip_verdicts:
        return "stop"
    return "finer rule" if np.isfinite(before.finer_rules[unsure]).any() else "pour"


def _goal_notes(site: Site, reach: Reach, offset: Array, practice: Decision) -> list[Note]:
    """That the highest lip is out of reach of some, and what is taken for it."""
    top = float((reach.lip - offset)[reach.uncapped].max())
    short = ~reach.allows(top + offset)
    if not short.any() or abs(top - float(practice.goal)) < LEAST_MOVE:
        return []
    values = {
        "outlets": tuple(site.outlets[i].label for i in np.flatnonzero(short)),
        "highest": top,
        "taken": float(practice.goal),
    }
    return [Note(what="level: highest out of reach", values=values)]


def _bedding(
    site: Site, reach: Reach, offset: Array, verdict: str, covariance: Array
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
    return plane, lift_for(plane, site.box, reach, positions, offset, covariance)


def _one_flow_only(site: Site, flow: int | None, after: Assessment) -> Note:
    """How far off the flows are, and what to meet the weakest or the strongest alone would give."""
    inflow = np.array([each.inflow for each in site.flows])
    openings, target = [o.opening for o in site.outlets], target_shares(site)
    uncapped, struck = np.array([not o.capped for o in site.outlets]), ways(site, inflow).taken

    def misses(at: int) -> tuple[float, ...]:
        lips = np.where(uncapped, lip_offsets(site, at), np.inf)
        over = over_target(split(inflow, lips - struck, openings).share, target)
        return tuple(np.abs(over - 1.0).max(-1).tolist())

    weak, strong = int(inflow.argmin()), int(inflow.argmax())
    off = np.abs(after.over_target - 1.0).max(-1)
    values = {
        "flow": None if flow is None else after.names[flow],
        "names": after.names,
        "misses": tuple(off.tolist()),
        "weak": after.names[weak],
        "weak_misses": misses(weak),
        "strong": after.names[strong],
        "strong_misses": misses(strong),
    }
    return Note(what="level: one flow only", values=values)
