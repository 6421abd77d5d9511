"""Two visits to a box held against each other: what moved, and what each line gets since.

The water of every visit has a height that nobody knows, so only differences between lips can be
compared: what moved all alike is not seen. With old lips x, new lips y and their covariances, the
contrasts z = Q (y - x), Q orthonormal rows across 1, have S = Q (V_x + V_y) Q' and, if nothing
moved, are normal about 0. A lean of the box shows as a plane over the places of the outlets,

    z = Q X s,    T = z' S^-1 A (A' S^-1 A)^-1 A' S^-1 z,    A = Q X,

chi-square with as many degrees as the places span; one outlet i as A = Q e_i, with one degree.
Moved is what one of these tests would not show by errors alone once in twenty boxes, each half of
it kept for the box and for all outlets together (Bonferroni). Which it was goes by how likely the
contrasts are under each explanation, with moves that are normal about 0 (`_USUAL`). A plane that
leaves no contrast over explains everything, so there it cannot be parted from single outlets.
"""

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from dbox.arrays import Array, BoolArray, Result
from dbox.fieldwork.estimate import ANYWHERE, Estimate, normal_points
from dbox.fieldwork.readings import root_of
from dbox.fieldwork.shares import BAND, drawn_shares
from dbox.fieldwork.site import Outlet, Site
from dbox.keys import said

FALSE_ALARM = 0.05
"""Chance that a box which did not move is said to have. [-] (judgement)"""

SEEN = 0.9
"""Chance with which the least movement that is told would be found. [-] (judgement)"""

NAMED = 0.8
"""Chance from which the box or an outlet is named as what moved. [-] (judgement)"""

_USUAL = 0.005
"""One standard deviation of a lean over the outlets, and of one that moved. [m] (judgement)"""

_BOTH, _TWO = 0.1, 0.1
"""Chances that box and an outlet moved, and that two outlets did on their own, where something
moved; the rest is halved. [-] (judgement)"""

_FLAT = 1e-6
"""Part of the widest extent of places under which they have none. [-] (numerical)"""

_WAYS = 36
"""Directions in which the least lean is looked for. [-] (numerical)"""


@dataclass(frozen=True, kw_only=True, eq=False)
class Standing:
    """A box and what is known of its lips."""

    site: Site
    lips: Estimate  # One height for each outlet of the site.

    def lip_of(self, outlet: Outlet) -> int | None:
        """Where the lip of an outlet of another visit is known here; None: it is another, or not.

        An outlet goes by its label, its hole and the point that is read.
        """
        for i, own in enumerate(self.site.outlets):
            same = (own.label, own.opening, own.point_over_lip) == (
                outlet.label, outlet.opening, outlet.point_over_lip)  # fmt: skip
            if same and not (own.capped or outlet.capped):
                return i if self.lips.followed[i] else None
        return None

    def shared(self, site: Site) -> tuple[list[int], list[int]]:
        """Outlets of another site whose lips are known here, and which they are here."""
        places = {i: self.lip_of(outlet) for i, outlet in enumerate(site.outlets)}
        own = {i: place for i, place in places.items() if place is not None}
        return list(own), list(own.values())

    def carried_to(self, site: Site) -> Estimate:
        """The same lips in the order of another site, over the water that then stands in it."""
        n, (known, own) = len(site.outlets), self.shared(site)
        height = np.array([np.inf if o.capped else 0.0 for o in site.outlets])
        height[known] = self.lips.height[own]
        # what is not known may lie anywhere
        covariance = np.diag([0.0 if o.capped else ANYWHERE**2 for o in site.outlets])
        covariance[np.ix_(known, range(n))] = 0.0
        covariance[np.ix_(known, known)] = self.lips.covariance[np.ix_(own, own)]
        # water that was topped up until it spills stands at the lowest lip, which may be another
        before = self.lips.height[self.lips.followed]
        if known and before.size:
            height[known] -= height[known].min() - before.min()
        return Estimate(height=height, covariance=covariance, started=self.lips.started)


@dataclass(frozen=True, kw_only=True, eq=False)
class Movement(Result):
    """Old lips against new ones; arrays are read-only, one entry for each outlet compared."""

    labels: tuple[str, ...]  # Outlets that were read at both visits, with the same hole.
    old: Array = said("m")  # (m,) Lip as it was left, over the mean of those compared. [m]
    new: Array = said("m")  # (m,) Lip as it was found, over the mean of those compared. [m]
    moved: Array = said("m")  # (m,) New less old. [m]
    error: Array = said("m")  # (m,) Standard deviation of that. [m]
    # (2,) Lean between the visits, as rise per run along the inlet direction and across it, and its
    # standard deviation; None where places do not tell. [-]
    slope: Array | None
    slope_error: Array | None
    box: Array | None = said("m")  # (m,) What the lean moved each lip by. [m]
    own: Array | None = said("m")  # (m,) What is left over, each outlet's own. [m]
    own_error: Array | None = said(
        "m"
    )  # (m,) Standard deviation of that; 0 where nothing can be left. [m]
    lean: float | None = said("m")  # How much the lean moved two outlets apart at most. [m]
    lean_error: float | None = said("m")  # Its standard deviation. [m]
    toward: str | None  # Outlet that the box leaned to.
    # How often errors alone would show as much in a box that did not move. [-]
    chance: float
    # Chances, given that something moved, that the box leaned, and that each outlet moved on its
    # own (m,); None where the two cannot be parted. [-]
    box_chance: float | None
    outlet_chance: Array | None
    # (m,) Move of each outlet against the others, as if it alone had moved, and its error. [m]
    alone: Array = said("m")
    alone_error: Array = said("m")
    least_lean: float | None = said("m")  # Lean that would have been found nine times in ten. [m]
    least_move: float = said("m")  # Move of any one outlet that would have. [m]

    @property
    def has_moved(self) -> bool:
        """Whether errors alone would hardly show as much."""
        return self.chance < FALSE_ALARM

    @property
    def box_named(self) -> bool:
        """Whether the box is said to have leaned."""
        return self.has_moved and self.box_chance is not None and self.box_chance >= NAMED

    @property
    def outlets_named(self) -> tuple[int, ...]:
        """Outlets that are said to have moved on their own, as places among those compared."""
        if not self.has_moved or self.outlet_chance is None:
            return ()
        return tuple(np.flatnonzero(self.outlet_chance >= NAMED).tolist())

    @property
    def verdict(self) -> str:
        """`box`, `outlet`, `both`, `cannot part` or `cannot tell`."""
        if not self.has_moved:
            return "cannot tell"
        if self.box_named:
            return "both" if self.outlets_named else "box"
        return "outlet" if self.outlets_named else "cannot part"


def movement(before: Standing, now: Standing) -> Movement | None:
    """What moved between two visits; None where fewer than two lips can be compared."""
    pairs = zip(*before.shared(now.site), strict=True)
    both = {new: old for new, old in pairs if now.lips.followed[new]}
    if len(both) < 2:
        return None
    first, second = list(both.values()), list(both)
    covariance = before.lips.covariance[np.ix_(first, first)]
    covariance = covariance + now.lips.covariance[np.ix_(second, second)]
    old, new = before.lips.height[first], now.lips.height[second]
    old, new = old - old.mean(), new - new.mean()
    m, moved = len(both), new - old
    across = np.eye(m) - 1.0 / m
    error = _errors(across, covariance)
    rows = np.linalg.svd(np.ones((1, m)))[2][1:]
    z, inverse = rows @ moved, np.linalg.inv(rows @ covariance @ rows.T)
    # one outlet alone
    strength = np.einsum("ik,ij,jk->k", rows, inverse, rows)
    alone, alone_error = (rows.T @ inverse @ z) / strength, 1.0 / np.sqrt(strength)
    places = _places([now.site.outlets[i] for i in second])
    x = np.zeros((m, 0)) if places is None else places
    rank = int(np.linalg.matrix_rank(x, tol=_FLAT * max(np.abs(x).max(initial=0.0), _FLAT)))
    lean = rows @ x
    info = lean.T @ inverse @ lean
    spread = np.linalg.pinv(info, rcond=_FLAT, hermitian=True) if rank else info
    slope = spread @ lean.T @ inverse @ z
    told = z @ inverse @ lean @ slope if rank else z @ inverse @ z
    chance, least = _chance(told, rank or m - 1, (alone / alone_error) ** 2)
    box = x @ slope
    low, high = int(box.argmin()), int(box.argmax())
    apart = x[high] - x[low]
    leaves = across - x @ spread @ lean.T @ inverse @ rows
    parted = bool(rank) and m - 1 > rank
    own_error = _errors(leaves, covariance) if parted else np.zeros(m)
    box_chance, outlet_chance = (
        _explained(z, rows, covariance, x) if parted and chance < FALSE_ALARM else (None, None)
    )
    return Movement(
        labels=tuple(now.site.outlets[i].label for i in second),
        old=old, new=new, moved=moved, error=error,
        slope=slope if rank else None,
        slope_error=np.sqrt(np.diag(spread)) if rank else None,
        box=box if rank else None,
        own=moved - box if rank else None,
        own_error=own_error if rank else None,
        lean=float(np.ptp(box)) if rank else None,
        lean_error=float(np.sqrt(apart @ spread @ apart)) if rank else None,
        toward=now.site.outlets[second[low]].label if rank else None,
        chance=chance,
        box_chance=box_chance,
        outlet_chance=outlet_chance,
        alone=alone,
        alone_error=alone_error,
        least_lean=_least_lean(x, info, least[0]) if rank else None,
        least_move=float(np.sqrt(least[1]) * alone_error.max()),
    )  # fmt: skip


def _errors(leaves: Array, covariance: Array) -> Array:
    """Standard deviations of what a matrix leaves of errors. [m]"""
    return np.sqrt(np.maximum(np.diag(leaves @ covariance @ leaves.T), 0.0))


def _places(outlets: list[Outlet]) -> Array | None:
    """Places of outlets about their middle; None where one is not known. [m] (m, 2)"""
    if any(outlet.position is None for outlet in outlets):
        return None
    places = np.array([outlet.position for outlet in outlets])
    result: Array = places - places.mean(0)
    return result


def _chance(told: float, degrees: int, singles: Array) -> tuple[float, tuple[float, float]]:
    """How often errors alone would show as much, and what is needed to be seen: [-].

    told: Chi-square of the box, or of all contrasts; singles: those of each outlet.
    """
    from scipy.special import chdtrc, chdtri, chndtrinc

    tests = 1 if singles.size == 2 else 2
    chances = [chdtrc(degrees, told), singles.size * chdtrc(1, singles.max())]
    at = FALSE_ALARM / tests
    limits = chdtri(degrees, at), chdtri(1, at if tests == 1 else at / singles.size)
    needed = [chndtrinc(x, d, 1.0 - SEEN) for x, d in zip(limits, (degrees, 1), strict=True)]
    return min(1.0, tests * float(min(chances[:tests]))), (float(needed[0]), float(needed[1]))


def _explained(z: Array, rows: Array, covariance: Array, x: Array) -> tuple[float, Array]:
    """Chances that the box leaned and that each outlet moved, given that something did. [-]"""
    m = rows.shape[1]
    widest = np.linalg.norm(x[:, None] - x[None], axis=-1).max()
    lean = (_USUAL / widest) ** 2 * x @ x.T
    one = [_USUAL**2 * np.outer(e, e) for e in np.eye(m)]
    half, two = 0.5 * (1.0 - _BOTH - _TWO), list(combinations(range(m), 2))
    likely = [half, *[half / m] * m, *[_BOTH / m] * m, *[_TWO / len(two)] * len(two)]
    apart = [one[i] + one[k] for i, k in two]
    logs = []
    for spread in (lean, *one, *(lean + each for each in one), *apart):
        whole = rows @ (covariance + spread) @ rows.T
        logs.append(-0.5 * (z @ np.linalg.solve(whole, z) + np.linalg.slogdet(whole)[1]))
    weight = np.array(likely) * np.exp(np.array(logs) - max(logs))
    weight /= weight.sum()
    with_box, of_two = weight[m + 1 : 2 * m + 1], weight[2 * m + 1 :]
    outlets: Array = weight[1 : m + 1] + with_box
    outlets += np.bincount(np.ravel(two), np.repeat(of_two, 2), m)
    return float(weight[0] + with_box.sum()), outlets


def _least_lean(x: Array, info: Array, needed: float) -> float:
    """Lean over the outlets that would be found whichever way it went. [m]"""
    angles = np.arange(_WAYS) * np.pi / _WAYS
    ways = np.stack([np.cos(angles), np.sin(angles)])
    wide, seen = np.ptp(x @ ways, axis=0), np.einsum("ik,ij,jk->k", ways, info, ways)
    some = wide > 1e-3 * wide.max()
    return float((wide[some] * np.sqrt(needed / seen[some])).max())


@dataclass(frozen=True, kw_only=True, eq=False)
class ShareChange(Result):
    """What each line gets before and after; arrays are read-only, flows by lines."""

    names: tuple[str, ...]  # Name of each flow.
    labels: tuple[str, ...]  # Lines of now, then those that are gone.
    capped: BoolArray  # (2, n) Whether each line was capped as it was left, and is now.
    before: Array  # Share; 0 where capped, NaN where there was no such line. [-]
    after: Array  # The same now. [-]
    low: Array  # Lower end of the 5 to 95 per cent band of the change. [-]
    high: Array  # Upper end of it. [-]
    lengths: Array  # (n,) Length of each line; NaN where not known. [m]


def share_change(
    before: Standing, now: Standing, *, samples: int, carried: bool = False
) -> ShareChange:
    """What each line gets by the lips of two visits.

    carried: Whether the lips of now are those of before, but for what is new.
    """
    count, n = len(before.site.outlets), len(now.site.outlets)
    points = normal_points(samples, count + n)
    old = before.lips.height + points[:, :count] @ root_of(before.lips.covariance)
    new = _drawn(before, now, old, points[:, count:]) if carried else (
        now.lips.height + points[:, count:] @ root_of(now.lips.covariance))  # fmt: skip
    labels = [outlet.label for outlet in now.site.outlets]
    labels += [o.label for o in before.site.outlets if o.label not in labels]
    both, capped = [], []
    for standing, drawn in ((before, old), (now, new)):
        own = [outlet.label for outlet in standing.site.outlets]
        columns = [own.index(label) if label in own else -1 for label in labels]
        capped.append([i >= 0 and standing.site.outlets[i].capped for i in columns])
        lips = np.concatenate([standing.lips.height[None], drawn])
        shares = drawn_shares(standing.site, lips)
        # a column for lines that are not there
        shares = np.concatenate([shares, np.full((*shares.shape[:-1], 1), np.nan)], axis=-1)
        both.append(shares[..., columns])
    was, is_now = both
    # the first of the drawn boxes is the one that is most likely
    change = is_now[:, 1:] - was[:, 1:]
    low, high = np.percentile(change, BAND, axis=1)
    known = {o.label: o.line_length for o in (*before.site.outlets, *now.site.outlets)}
    lengths = np.array([known[label] or np.nan for label in labels])
    names, shut = tuple(f.name for f in now.site.flows), np.array(capped)
    first, second = was[:, 0], is_now[:, 0]
    return ShareChange(names=names, labels=tuple(labels), capped=shut, before=first, after=second,
                       low=low, high=high, lengths=lengths)  # fmt: skip


def _drawn(before: Standing, now: Standing, old: Array, points: Array) -> Array:
    """Lips of now that go with drawn lips of before, which they are but for what is new. [m]"""
    kept, own = before.shared(now.site)
    rest = [i for i, o in enumerate(now.site.outlets) if i not in kept and not o.capped]
    height, covariance = now.lips.height, now.lips.covariance
    drawn = np.tile(height, (old.shape[0], 1))
    drawn[:, kept] = old[:, own] - np.mean(before.lips.height[own] - height[kept])
    pull = covariance[np.ix_(rest, kept)] @ np.linalg.pinv(covariance[np.ix_(kept, kept)])
    left = covariance[np.ix_(rest, rest)] - pull @ covariance[np.ix_(kept, rest)]
    drawn[:, rest] += (drawn[:, kept] - height[kept]) @ pull.T + points[:, rest] @ root_of(left)
    return drawn


@dataclass(frozen=True, kw_only=True, eq=False)
class Recheck:
    """One visit held against the one before it."""

    before: Standing  # The box as it was left.
    now: Standing  # The box as it was found.
    carried: bool  # Whether lips were taken over and not read again.
    samples: int  # Points over which the bands are taken. [-]

    @cached_property
    def movement(self) -> Movement | None:
        """What moved; None where the lips were not read again, or too few of them."""
        return None if self.carried else movement(self.before, self.now)

    @cached_property
    def shares(self) -> ShareChange:
        """What each line gets before and after."""
        return share_change(self.before, self.now, samples=self.samples, carried=self.carried)
