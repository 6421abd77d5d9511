"""Where do the formulas leave the range they were measured in? In sentences, for people."""

from collections.abc import Sequence

import numpy as np

from dbox.arrays import Array
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.hydraulics.split import Split, split


def range_warnings(result: Split, names: Sequence[str]) -> tuple[str, ...]:
    """Sentences on every case whose running heads are outside the formulas' range.

    Parameters
    ----------
    result : Split
        With one leading axis, the cases.
    names : sequence of str
        Name of each case.

    Returns
    -------
    tuple of str
        Empty where everything is inside.
    """
    uncapped = np.flatnonzero(result.head[0] > -np.inf)
    kinds = dict.fromkeys(result.openings[i] for i in uncapped)
    sentences = [caution for kind in kinds for caution in kind.cautions]
    lips = np.where(result.head[0] > -np.inf, 0.0, np.inf)
    level_heads = np.full(len(names), np.nan)
    if uncapped.size:
        level_heads = split(result.inflow, lips, result.openings).level
    for case, name in enumerate(names):
        running = result.head[case][result.flow[case] > 0]
        if running.size and not result.within_model_range[case]:
            sentences.append(f"{name}: {_out_of_range(running, level_heads[case])}")
        if result.overflow[case] > 0:
            sentences.append(
                f"{name}: the outlets cannot take the inflow; the box overtops at its rim by "
                f"{1000 * result.overflow[case]:.2g} L/s"
            )
    return tuple(sentences)


def _out_of_range(running: Array, level_head: float) -> str:
    heads = f"heads of {_span(running)} (all lips level: {1000 * level_head:.1f} mm)"
    if running.min() < CAPILLARY_HEAD:
        return (
            f"{heads}; below {1000 * CAPILLARY_HEAD:.0f} mm surface tension decides and weir "
            f"formulas are out of their range"
        )
    return f"{heads}; outside the heads at which the discharge coefficient was measured"


def _span(heads: Array) -> str:
    low, high = 1000 * heads.min(), 1000 * heads.max()
    return f"{low:.1f} mm" if high - low < 0.05 else f"{low:.1f} to {high:.1f} mm"
