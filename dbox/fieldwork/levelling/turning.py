"""What does turning the inserts towards a goal do: turns of the hand, lips after, order, water?"""

from dataclasses import dataclass

import numpy as np

from dbox.arrays import Array, BoolArray, freeze
from dbox.fieldwork.levelling.reach import Reach

LEAST_MOVE = 1e-6
"""What counts as a move of a lip. [m]"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Turning:
    """The work at the inserts; arrays are read-only, one entry per outlet.

    Parameters
    ----------
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
    order : tuple of int
        Outlets in the order of work.
    still_level : ndarray, shape (steps,)
        Where still water stands after each step, topped up until it just spills. [m]
    """

    move: Array
    turn: Array
    angle_before: Array
    angle_after: Array
    lip_after: Array
    reachable: BoolArray
    order: tuple[int, ...]
    still_level: Array


def turn_to(reach: Reach, wanted: Array, hand_step: float, *, hold: bool) -> Turning:
    """Turn every insert as near to its wanted lip as reach and hand allow.

    Parameters
    ----------
    reach : Reach
        Where the lips stand and could be brought.
    wanted : ndarray, shape (n,)
        Wanted lips over still water. [m]
    hand_step : float
        Turns are rounded to multiples of this. [rad]
    hold : bool
        Leave every insert as it is; the wanted moves are kept for the record.

    Returns
    -------
    Turning
        Raising the lowest lips first, then lowering the highest.
    """
    turn, lip_after = hand_turns(reach, wanted, hand_step, hold=hold)
    order, still = _order(reach, lip_after)
    move = np.where(reach.uncapped, wanted - reach.lip, 0.0)
    reachable, angle = reach.allows(wanted), reach.angle
    angle_after = (angle + turn + np.pi) % (2.0 * np.pi) - np.pi
    freeze(move, turn, angle, angle_after, lip_after, reachable, still)
    return Turning(
        move=move,
        turn=turn,
        angle_before=angle,
        angle_after=angle_after,
        lip_after=lip_after,
        reachable=reachable,
        order=order,
        still_level=still,
    )


def hand_turns(
    reach: Reach, wanted: Array, hand_step: float, *, hold: bool | BoolArray
) -> tuple[Array, Array]:
    """Turns that a hand can set towards wanted lips, and the lips that they give.

    Parameters
    ----------
    reach : Reach
        Where the lips stand and could be brought.
    wanted : ndarray, shape (..., n)
        Wanted lips over still water. [m]
    hand_step : float
        Turns are rounded to multiples of this. [rad]
    hold : bool or ndarray of bool, shape (..., 1)
        Where every insert is left as it is.

    Returns
    -------
    turn : ndarray, shape (..., n)
        NaN where the clock is unknown. [rad]
    lip_after : ndarray, shape (..., n)
        inf where capped. [m]
    """
    turn = np.round(reach.turns(wanted) / hand_step) * hand_step + 0.0
    turn = np.where(np.asarray(hold) & ~np.isnan(turn), 0.0, turn)
    by_ruler = np.where(hold, reach.lip, reach.brought(wanted))
    known = reach.adjustable & ~np.isnan(reach.angle)
    # where the clock is unknown the lip is set by the ruler, not by the clock
    after = np.where(known, reach.turned(turn), np.where(reach.adjustable, by_ruler, reach.lip))
    return turn, np.where(reach.uncapped, after, np.inf)


def drawn_after(reach: Reach, work: Turning, drawn: Array, hand_step: float, seed: int) -> Array:
    """Drawn lips moved along with the measured ones, each turn missing by up to half a step.

    Parameters
    ----------
    reach : Reach
        Where the lips stood.
    work : Turning
        What was turned.
    drawn : ndarray, shape (samples, n)
        Lips drawn before turning. [m]
    hand_step : float
        Smallest turn that a hand can set. [rad]
    seed : int
        Same seed, same misses.

    Returns
    -------
    ndarray, shape (samples, n)
        Lips after turning. [m]
    """
    before = np.where(reach.uncapped, drawn, 0.0) - reach.lip
    moved = np.abs(np.nan_to_num(work.turn)) > 0
    miss = np.random.default_rng([seed, 1]).uniform(-0.5, 0.5, drawn.shape) * hand_step
    shift = np.where(moved, reach.turned(work.turn + miss) - reach.turned(work.turn), 0.0)
    return work.lip_after + np.where(reach.uncapped, before, 0.0) + shift


def _order(reach: Reach, lip_after: Array) -> tuple[tuple[int, ...], Array]:
    """Raise the lowest first, then lower the highest first; still water after each step."""
    lips = np.where(reach.uncapped, reach.lip, np.inf)
    change = np.where(reach.uncapped, lip_after, 0.0) - reach.lip
    rising = np.argsort(lips, kind="stable")
    up = [int(i) for i in rising if change[i] > LEAST_MOVE]
    down = [int(i) for i in rising[::-1] if change[i] < -LEAST_MOVE]
    order, still = (*up, *down), []
    for outlet in order:
        lips[outlet] = lip_after[outlet]
        still.append(lips.min())
    return order, np.array(still)
