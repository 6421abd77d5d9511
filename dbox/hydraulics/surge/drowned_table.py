"""How much less flows where water stands outside? The drowned flow as a factor on the free one.

With r the tailwater over the head, the factor

    f(head, r) = drowned flow / (free flow sqrt(1 - r))

is 1 at r = 0 and smooth up to r = 1, where flow itself ends in a square root. It is taken once from
the opening's exact drowned flow on a grid and read between its lines.
"""

from bisect import bisect_right
from math import log, sqrt

import numpy as np

from dbox.hydraulics.openings import Opening

_RATIOS = np.linspace(0.0, 1.0, 65)
_HEADS = np.geomspace(5e-4, 2.0, 60)


class DrownedTable:
    """What is left of an opening's free flow under a tailwater.

    Parameters
    ----------
    opening : Opening
        Any opening.

    Notes
    -----
    Beyond heads of 0.5 mm and 2 m the factor at these is used. Between the lines of the grid it is
    mostly good to 0.01 per cent; where water stands near the top of the opening, on either side, to
    1 per cent for a round hole and to 3 per cent for a slot that is closed on top.

    >>> from dbox import Circle
    >>> hole = Circle(0.05, coefficient=0.6)
    >>> free, slope = (float(part) for part in hole.rating(0.04))
    >>> flow, *_ = DrownedTable(hole)(free, slope, 0.04, 0.02)
    >>> bool(abs(flow / 5.1850037331023e-4 - 1) < 2e-3)
    True
    """

    __slots__ = ("_rows", "_starts")

    def __init__(self, opening: Opening):
        head = np.repeat(_HEADS[:, None], _RATIOS.size, axis=1)
        # at r = 1 nothing flows; the factor is taken just before it
        fall = head * np.maximum(1.0 - _RATIOS, 1e-6)
        free, _ = opening.rating(head)
        drowned, _ = opening.rating(head.ravel(), fall.ravel())
        factor = drowned.reshape(head.shape) / (free * np.sqrt(fall / head))
        self._rows: list[list[float]] = factor.tolist()
        self._starts: list[float] = np.log(_HEADS).tolist()

    def __call__(
        self, flow: float, slope: float, head: float, tailwater: float
    ) -> tuple[float, float, float]:
        """Drowned flow from the free one at a head, and how it changes.

        Parameters
        ----------
        flow, slope : float
            Free flow and its derivative at the head. [m3/s, m2/s]
        head : float
            Water level over the lip, above 0. [m]
        tailwater : float
            Level outside over the lip, above 0. [m]

        Returns
        -------
        flow, by_head, by_tail : float
            Flow [m3/s] and its derivatives with respect to head and to tailwater [m2/s].
        """
        ratio = tailwater / head
        if ratio >= 1.0:
            return 0.0, 0.0, 0.0
        root = sqrt(1.0 - ratio)
        factor, by_log_head, by_ratio = self._factor(log(head), ratio)
        drowned = root * factor * flow
        by_tail = (root * by_ratio * flow - 0.5 * drowned / (root * root)) / head
        by_head = root * (factor * slope + flow * by_log_head / head) - ratio * by_tail
        return drowned, by_head, by_tail

    def _factor(self, log_head: float, ratio: float) -> tuple[float, float, float]:
        """Factor, and its derivatives with respect to log of head and to ratio."""
        starts, rows = self._starts, self._rows
        row = min(max(bisect_right(starts, log_head) - 1, 0), len(starts) - 2)
        width = starts[row + 1] - starts[row]
        across = min(max((log_head - starts[row]) / width, 0.0), 1.0)
        place = ratio * (_RATIOS.size - 1)
        column = min(int(place), _RATIOS.size - 2)
        along = place - column
        low, high = rows[row], rows[row + 1]
        rise_low, rise_high = low[column + 1] - low[column], high[column + 1] - high[column]
        below, above = low[column] + along * rise_low, high[column] + along * rise_high
        by_ratio = (rise_low + across * (rise_high - rise_low)) * (_RATIOS.size - 1)
        return below + across * (above - below), (above - below) / width, by_ratio
