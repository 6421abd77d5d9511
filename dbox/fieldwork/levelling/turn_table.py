"""Where does the lip stand at each clock position of an insert? The table to take to the box."""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, freeze
from dbox.errors import DomainError
from dbox.fieldwork.levelling.insert import lip_rise
from dbox.fieldwork.site import Site

QUARTER_HOUR = float(np.pi / 24)
"""A quarter of an hour on the clock face. [rad]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class TurnTable:
    """Lip heights of inserts that are alike; arrays are read-only.

    Parameters
    ----------
    labels : tuple of str
        Outlets that have such an insert.
    offset : float
        Hole centre from pipe centre. [m]
    angle : ndarray, shape (steps,)
        From straight down to straight up; either way round is the same. [rad]
    rise : ndarray, shape (steps,)
        Lip over its lowest place. [m]
    """

    labels: tuple[str, ...]
    offset: float
    angle: Array
    rise: Array


def turn_tables(site: Site, *, step: float = QUARTER_HOUR) -> tuple[TurnTable, ...]:
    """Tables for every insert of a site that can be turned.

    Parameters
    ----------
    site : Site
        The box; capped outlets and those that cannot be turned are left out.
    step : float
        Between two rows, at most half a turn. [rad]

    Returns
    -------
    tuple of TurnTable
        One for each offset, in the order of the outlets; empty where nothing turns.

    Raises
    ------
    DomainError
        Where step is not above 0, or more than half a turn.
    """
    if not 0 < step <= np.pi:
        raise DomainError(f"the step of a turn table is {np.degrees(step):g} deg; give 1 to 180")
    alike: dict[float, list[str]] = {}
    for outlet in site.outlets:
        if outlet.hole_offset and not outlet.capped:
            alike.setdefault(outlet.hole_offset, []).append(outlet.label)
    tables = []
    for offset, labels in alike.items():
        angle = np.append(np.arange(0.0, np.pi - 1e-9, step), np.pi)
        rise = offset + lip_rise(angle, offset)
        freeze(angle, rise)
        tables.append(TurnTable(labels=tuple(labels), offset=offset, angle=angle, rise=rise))
    return tuple(tables)
