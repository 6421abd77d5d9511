"""What does one pass over the box hold, and what follows from it?

A pass is one filling of the box: still water, the readings of every open outlet over it, and the
turning that they ask for. Shares and turns come from `levelling`; how the job stands after it is

    within    every flow is within the tolerance
    inlet     so it is by the lips, but at some flow the jet of the inlet decides
    ruler     the readings cannot tell the lips apart any better
    hand      every turn that is left is smaller than a hand can set
    re-bed    no common height can be reached
    adjust    there is something to turn

The first pass turns what `levelling` asks for. From the second on, lips that differ no more than
reading errors alone often make them are left: turning them would only follow the ruler's errors.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from dbox.arrays import Array
from dbox.fieldwork.levelling.insert import lip_rise
from dbox.fieldwork.levelling.plan import HAND_STEP, Levelling, level, lips_alike
from dbox.fieldwork.readings import reduce_readings
from dbox.fieldwork.site import Site


@dataclass(frozen=True, kw_only=True)
class Rules:
    """How turns are worked out; fields as the keywords of `levelling.level`.

    Parameters
    ----------
    match_highest : bool
        Whether the highest lip is the goal.
    design_flow : int
        Index of the flow at which unequal targets are met.
    hand_step : float
        Turns are rounded to multiples of this. [rad]
    """

    match_highest: bool = False
    design_flow: int = 0
    hand_step: float = HAND_STEP


@dataclass(frozen=True, kw_only=True)
class Pass:
    """One pass; every tuple has one entry per outlet.

    Parameters
    ----------
    number : int
        From 1.
    angles : tuple of float or None
        Where each hole stands while it is read; None where unknown. [rad]
    readings : tuple of tuple of float
        Heights of each reading point over still water; empty where not measured. [m]
    settled : tuple of bool
        Whether the readings of that outlet are complete.
    read_at : tuple of str
        When each outlet was last read.
    method : str or None
        How heights are read; None until the water stands still.
    still_at, done_at : str
        When the water was called still, and when turning was done.
    doubtful : tuple of (int, tuple of float, bool), or None
        An outlet and its heights, waiting to be confirmed, and whether they are all. [m]
    correcting : int or None
        Outlet that is to be read anew.
    skipped : tuple of int
        Outlets put off, in the order in which they are asked for again.
    left : tuple of (int, float or None)
        Outlets whose hole was left elsewhere than told, and where. [rad]
    turned : tuple of float or None, or None
        Where each hole stands after the turning; None while it is not done. [rad]
    rim : float or None
        Lowest place where water could leave other than by the outlets, over the still water of
        the pass before. [m]
    expected : tuple of float
        Lips over that same water, once turned; NaN where unknown; empty for the first pass. [m]
    """

    number: int
    angles: tuple[float | None, ...]
    readings: tuple[tuple[float, ...], ...]
    settled: tuple[bool, ...]
    read_at: tuple[str, ...]
    method: str | None = None
    still_at: str = ""
    done_at: str = ""
    doubtful: tuple[int, tuple[float, ...], bool] | None = None
    correcting: int | None = None
    skipped: tuple[int, ...] = ()
    left: tuple[tuple[int, float | None], ...] = ()
    turned: tuple[float | None, ...] | None = None
    rim: float | None = None
    expected: tuple[float, ...] = ()

    def complete(self, site: Site) -> bool:
        """Whether every open outlet is read and nothing waits to be answered."""
        all_read = all(s or o.capped for s, o in zip(self.settled, site.outlets, strict=True))
        return all_read and self.doubtful is None and self.correcting is None

    def as_read(self, site: Site) -> Site:
        """The box with the readings, the clock positions and the rim of this pass.

        Parameters
        ----------
        site : Site
            The box as the scenario gives it.

        Returns
        -------
        Site
            Heights over the still water of this pass.
        """
        outlets = tuple(
            replace(outlet, readings=heights, clock=angle)
            for outlet, heights, angle in zip(site.outlets, self.readings, self.angles, strict=True)
        )
        read = replace(site, outlets=outlets, box=replace(site.box, rim=self.rim))
        if self.rim is None or not self.expected:
            return read
        # the water rose with the lowest lip: the lips that were expected tell by how much
        expected, lips = np.array(self.expected), reduce_readings(read).height
        known = np.isfinite(expected) & np.isfinite(lips)
        risen = expected[known] - lips[known]
        rim = self.rim - float(risen.mean()) if risen.size else None
        return replace(read, box=replace(site.box, rim=rim))


def first_pass(site: Site, angles: tuple[float | None, ...]) -> Pass:
    """The pass that a job begins with.

    Parameters
    ----------
    site : Site
        The box.
    angles : tuple of float or None
        Where each hole stands. [rad]
    """
    n = len(site.outlets)
    return Pass(
        number=1,
        angles=angles,
        readings=((),) * n,
        settled=(False,) * n,
        read_at=("",) * n,
        rim=site.box.rim,
    )


def next_pass(site: Site, done: Pass, turned: tuple[float | None, ...]) -> Pass:
    """The pass that follows one whose turning is done.

    Parameters
    ----------
    site : Site
        The box as the scenario gives it.
    done : Pass
        The pass before.
    turned : tuple of float or None
        Where each hole stands now. [rad]
    """
    read = done.as_read(site)
    return replace(
        first_pass(site, turned),
        number=done.number + 1,
        rim=read.box.rim,
        expected=tuple(_expected(read, turned).tolist()),
    )


def _expected(read: Site, turned: tuple[float | None, ...]) -> Array:
    """Lips after turning, over the water they were read from; NaN where a clock is unknown."""
    before = np.array([o.clock if o.clock is not None else np.nan for o in read.outlets])
    after = np.array([np.nan if angle is None else angle for angle in turned])
    offset = np.array([o.hole_offset or 0.0 for o in read.outlets])
    rise = np.where(offset > 0, lip_rise(after, offset) - lip_rise(before, offset), 0.0)
    expected: Array = reduce_readings(read).height + rise
    return expected


@lru_cache(maxsize=64)
def levelled(read: Site, rules: Rules) -> Levelling:
    """What the readings of a pass ask for; the same pass is worked out once.

    Parameters
    ----------
    read : Site
        The box as read, every open outlet measured.
    rules : Rules
        How turns are worked out.

    Raises
    ------
    DomainError
        As `levelling.level`.
    """
    return level(
        read,
        match_highest=rules.match_highest,
        design_flow=rules.design_flow,
        hand_step=rules.hand_step,
    )


def conclude(levelling: Levelling, number: int) -> str:
    """How the job stands after a pass.

    Parameters
    ----------
    levelling : Levelling
        What its readings ask for.
    number : int
        Number of the pass, from 1.

    Returns
    -------
    str
        `within`, `inlet`, `ruler`, `hand`, `re-bed` or `adjust`.
    """
    before = levelling.before
    if all(verdict == "within" for verdict in before.verdicts):
        return "within"
    if all(verdict == "within" for verdict in before.lip_verdicts):
        return "inlet"
    settled = levelling.verdict == "nothing to do"
    if (settled or number > 1) and lips_alike(before.lips, levelling.offset):
        return "ruler"
    return "hand" if settled else levelling.verdict
