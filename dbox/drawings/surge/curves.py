"""Axes against time that every picture of a run shares."""

from matplotlib.axes import Axes

from dbox.drawings.style import HAIR, SMALL


def dress(axes: Axes, until: float, low: float, high: float, *, count: int = 5) -> None:
    """Set what axes show, with ticks at left and below, none of them outside.

    Parameters
    ----------
    axes : Axes
        The axes.
    until : float
        Where time ends, from 0, in the unit of the axis. [s, min, h or days]
    low, high : float
        What is shown upward, in the unit of the axis. [in or gpm]
    count : int
        About how many steps upward.
    """
    axes.set(xlim=(0.0, until), ylim=(low, high))
    axes.locator_params(axis="x", nbins=6)
    axes.locator_params(axis="y", nbins=count)
    axes.set_xticks([t for t in axes.get_xticks() if 0.0 <= t <= until])
    axes.set_yticks([t for t in axes.get_yticks() if max(low, 0.0) <= t <= high])
    for side in ("right", "top"):
        axes.spines[side].set_visible(False)
    axes.tick_params(labelsize=SMALL, length=3, width=HAIR)
