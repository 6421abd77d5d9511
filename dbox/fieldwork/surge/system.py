"""How does a site become a system that water can run through? Its heights, areas, jet and headers.

Heights are over the still water that the readings were taken from. The bottom of a trench lies
under the lip of its outlet by the fall of the header and the height of its pipe; what the lip
stands over the pipe's invert is left out.
"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.inlet import jet_from, mouths, placed, pumped_mouth
from dbox.fieldwork.readings import measured_lips
from dbox.fieldwork.site import Box, Site
from dbox.hydraulics.jet import Jet
from dbox.hydraulics.surge.inflow import Inflow
from dbox.hydraulics.surge.system import System

TRICKLE = 2.5e-3 / 60
"""What comes to a box on an ordinary day. [m3/s] (1 to 4 L/min: Water Science and Technology
51(10), 2005, p. 39)"""

BEHIND_TANK, WITHOUT_TANK = 3 * 3600.0, 1800.0
"""How long a run goes on after its inflow has ended. [s]"""


@dataclass(frozen=True, kw_only=True)
class Prepared:
    """A system, and what the reader should know of it."""

    system: System
    warnings: tuple[str, ...]


def prepare(
    site: Site, line_flow: float, lips: Array | None = None, *, pumped: bool = False
) -> Prepared:
    """Make the system of a site.

    Parameters
    ----------
    site : Site
        The site; the inside of its box and all open lips must be measured.
    line_flow : float
        Flow of one line for which its header's travel time is taken, above 0. [m3/s]
    lips : ndarray, shape (n,), optional
        Lips in place of those measured; trenches stay where they are. [m]
    pumped : bool
        Whether a pump's pressure pipe brings the water.

    Returns
    -------
    Prepared
        The system with its warnings.

    Raises
    ------
    DomainError
        Where the box's inside or a lip is not measured, or all outlets are capped.
    """
    measured = measured_lips(site)
    heights, n = measured.height, len(site.outlets)
    works = site.works
    headers = works.headers or (None,) * n
    trenches = tuple(
        None if outlet.capped else trench
        for outlet, trench in zip(site.outlets, works.trenches or (None,) * n, strict=True)
    )
    drops = [pipe.fall * pipe.length if pipe else 0.0 for pipe in headers]
    bottoms = np.array(
        [
            lip - drop - line.pipe_height if line else -np.inf
            for lip, drop, line in zip(heights, drops, trenches, strict=True)
        ]
    )
    area, rim_length = plan(site.box)
    jet, jet_warnings = _jet(site, pumped=pumped)
    return Prepared(
        system=System(
            area=area,
            lips=np.array(heights if lips is None else lips),
            openings=tuple(outlet.opening for outlet in site.outlets),
            rim=site.box.rim,
            rim_length=rim_length,
            tank=works.tank,
            supply=works.supply,
            jet=jet,
            delays=np.array([pipe.delay(line_flow) if pipe else 0.0 for pipe in headers]),
            trenches=trenches,
            bottoms=bottoms,
        ),
        warnings=(*measured.warnings, *jet_warnings, *_soil_warnings(site)),
    )


def line_flow(site: Site, event: Inflow) -> float:
    """Flow of one line that is typical of an event, for the travel time in its header.

    Parameters
    ----------
    site : Site
        The site.
    event : Inflow
        What runs in; behind a tank it comes as on an ordinary day. [m3/s]

    Returns
    -------
    float
        Above 0. [m3/s]
    """
    lines = sum(not outlet.capped for outlet in site.outlets)
    total = TRICKLE
    if event.entry != "house" or site.works.tank is None:
        total = max(float(event.first.max()), float(event.last.max()), 1e-6)
    return total / max(lines, 1)


def natural_end(site: Site, event: Inflow) -> float:
    """When most of an event has passed. [s]

    Parameters
    ----------
    site : Site
        The site.
    event : Inflow
        What runs in; it is over when its last piece begins. [m3/s]
    """
    tank = event.entry == "house" and site.works.tank is not None
    return event.end + (BEHIND_TANK if tank else WITHOUT_TANK)


def plan(box: Box) -> tuple[float, float]:
    """Plan area and length of the rim of a box.

    Parameters
    ----------
    box : Box
        The box.

    Returns
    -------
    area, rim_length : float
        [m2, m]

    Raises
    ------
    DomainError
        Where its inside was not measured.

    >>> plan(Box(inside=(0.4, 0.5)))
    (0.2, 1.8)
    """
    if not box.inside:
        raise DomainError(
            'the inside of the box is not measured; add inside = ["16 in", "20 in"] under [box]'
        )
    if box.shape == "round":
        diameter = box.inside[0]
        return np.pi / 4 * diameter**2, np.pi * diameter
    along, across = box.inside
    return along * across, 2 * (along + across)


def _jet(site: Site, *, pumped: bool) -> tuple[Jet | None, tuple[str, ...]]:
    """The jet of a straight inlet, from the pipe that the water comes through."""
    if site.box.inlet != "straight":
        return None, ()
    if not placed(site):
        return None, (
            "the inlet is straight, but its jet is not computed: places of outlets are not given",
        )
    mouth = pumped_mouth(site) if pumped else mouths(site)[0]
    return jet_from(site, mouth), (mouth.taken,) if mouth.taken else ()


def _soil_warnings(site: Site) -> tuple[str, ...]:
    states = {line.soil for line in site.works.trenches if line} - {"biomat"}
    if not states:
        return ()
    return (
        f"soil is {' and '.join(sorted(states))}: how that changes the long-term acceptance rate "
        "is invented, not measured",
    )
