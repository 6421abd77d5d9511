"""What went over in a run, and where is its model weak? In sentences, for people."""

import numpy as np

from dbox.fieldwork.inlet import NOTICED, jet_sentence, strike
from dbox.fieldwork.site import Site
from dbox.fieldwork.targets import target_shares
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.pipes import CAPACITY
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.run import Surge

_MUCH = 0.05


def run_warnings(site: Site, found: Surge) -> tuple[str, ...]:
    """Sentences on one run.

    Parameters
    ----------
    site : Site
        The site.
    found : Surge
        The run.

    Returns
    -------
    tuple of str
        Empty where nothing went over and the model holds.
    """
    return (
        *_struck(site, found),
        *_parts_left_out(site, found),
        *_gone_over(site, found),
        *_capillary(found),
    )


def _struck(site: Site, found: Surge) -> list[str]:
    """What the jet does at the strongest inflow of the run."""
    system = found.system
    if system.jet is None:
        return []
    peak, target = np.array([found.inflow.max()]), target_shares(site)
    without = split(peak, system.lips, system.openings, rim=system.rim).share
    strongest = strike(site, (system.jet,), system.lips, peak, without, target)
    if not strongest.changes(site.tolerance.share if site.tolerance else NOTICED).any():
        return []
    return [f"at {1000 * 60 * peak[0]:.3g} L/min {jet_sentence(site, strongest)}"]


def _parts_left_out(site: Site, found: Surge) -> list[str]:
    works, entry = site.works, found.event.entry
    said = []
    if entry == "house" and works.tank is None:
        said.append(
            "[tank] is not given: the water comes as it leaves the house, not smoothed by a tank"
        )
    if entry != "box" and works.supply is None:
        said.append("[supply] is not given: the water comes to the box without delay")
    if not any(works.trenches):
        said.append("[trench] is not given: every line takes what it gets, none can pond")
    return said


def _gone_over(site: Site, found: Surge) -> list[str]:
    said, system = [], found.system
    labels = [outlet.label for outlet in site.outlets]
    if found.spilled[-1] > 0:
        said.append(f"the box overtops at its rim: {1000 * found.spilled[-1]:.3g} L are spilled")
    drop = site.box.inlet_drop
    if drop is not None and found.peak_level > system.still_level + drop:
        said.append(
            "the water in the box rises over the inlet's invert and backs up toward the tank; "
            "that it then comes more slowly is not computed"
        )
    pipe = system.supply
    piped = pipe is not None and found.event.entry != "box"
    if piped and pipe and found.inflow.max() > CAPACITY * pipe.full:
        said.append("the supply pipe runs full: what flows is then decided by its head")
    drowned = np.any(found.trench_level > system.lips, axis=0)
    if np.any(drowned):
        named = ", ".join(labels[i] for i in np.flatnonzero(drowned))
        said.append(f"the trench of outlet {named} stands over its lip and drowns it")
    for i in np.flatnonzero(found.surfaced[-1] > 0).tolist():
        said.append(
            f"the trench of outlet {labels[i]} is full: {1000 * found.surfaced[-1, i]:.3g} L "
            "come to the surface"
        )
    return said


def _capillary(found: Surge) -> list[str]:
    """How much of the water passed at heads where surface tension decides."""
    passed = np.diff(found.volume.sum(-1))
    if not passed.sum() > 0:
        return []
    head = 0.5 * (found.level[1:] + found.level[:-1]) - found.system.still_level
    part = float(passed[head < CAPILLARY_HEAD].sum() / passed.sum())
    if part < _MUCH:
        return []
    return [
        f"{100 * part:.0f} % of the water passed at heads below {1000 * CAPILLARY_HEAD:.0f} mm, "
        "where surface tension decides and weir formulas are out of their range"
    ]
