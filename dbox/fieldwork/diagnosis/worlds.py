"""Boxes and lines drawn for each cause, and the water in them.

Every draw is a box with its lips (`cause_lips`), what its headers and trenches do, and a flow of an
ordinary day. The split gives the share of every line; share over length, times how hard the whole
field is worked, is the load of a line over what its trench takes. Where that passes 1 the trench
ponds. At rest water stands at the lowest way out: a lip, or the tailwater of a full trench where
that is higher. All sizes that are drawn are judgement, no source.

Places that were not measured are taken to lie evenly around the box, clockwise from the inlet: near
enough to tell a side that is low from an outlet that is.
"""

from dataclasses import dataclass, fields, replace

import numpy as np
import numpy.typing as npt

from dbox.arrays import Array, ArrayLike, BoolArray
from dbox.fieldwork.diagnosis.cause_lips import Drawn
from dbox.fieldwork.diagnosis.causes import (
    CAUSES,
    KEYS,
    Hypotheses,
    feed_is_strong,
    index_of,
)
from dbox.fieldwork.shares import SIDE_95
from dbox.fieldwork.site import Box, Site
from dbox.hydraulics.pipes import Jet
from dbox.hydraulics.split import split
from dbox.hydraulics.surge.parts import SupplyPipe
from dbox.units import DOSE, LITRE, MINUTE, TRICKLE, TRICKLE_LEAST, TRICKLE_MOST

USUAL_INSIDE = (0.40, 0.50)
"""Inside length and width of a box that was not measured. [m] (common practice, no source)"""

FAST = 20.0 * LITRE / MINUTE
"""Flow of a fast pour. [m3/s] (judgement)"""

_POOL = 10.0 * LITRE / MINUTE
"""Flow that half falls into the pool: less than about this throws little. [m3/s] (judgement)"""

_PIPE = SupplyPipe(length=10.0, diameter=0.102, fall=0.125 / 12)
"""A 4 in pipe at 1/8 in per foot, from the tank. [m] (common practice, no source)"""

_FLOWS = np.concatenate([[0.0], np.geomspace(1e-6, 1e-2, 60)])
"""Inflows at which jets are worked out. [m3/s] (numerical)"""

_AIM_SPREAD = np.radians(8.0)
"""Standard deviation of an inlet's way off the middle line of its box. [rad] (judgement)"""

_AIMS = np.radians(np.linspace(-24.0, 24.0, 17))
"""Ways that an inlet may point. [rad] (numerical)"""

_DAY_SPREAD = np.log(TRICKLE_MOST / TRICKLE_LEAST) / (2.0 * SIDE_95)
"""Spread of the logarithm of an ordinary day's flow: 9 in 10 lie within its range. [-] (judgement);
that of a dose or a surge is taken to be the same."""

USUAL_SURGE = 10.0 * LITRE / MINUTE
"""Flow of a bath or a washer let go, at which a jet does what it does to a gravity-fed box. [m3/s]
(common practice, no source)"""

USUAL_MARGIN = 0.55
"""Load of a line over what it takes, in a field that is asked about and splits evenly. [-]
(judgement)"""

FULL_LOAD = 4.0
"""Load at which a trench that is full is counted. [-] (judgement)"""

MODEL_ERROR = 0.0004
"""What surface tension and a rough lip amount to, as a height of the lip. [m] (judgement)"""

JET = 0.005
"""Head that a jet gives the outlet it strikes at a fast pour, where it is the trouble. [m]
(judgement: between the 12 mm that it has in a pipe at 1 in 100 and the 2 mm that a free jet would
have left across a box)"""

STARVED = tuple(cause.key for cause in CAUSES if cause.starved)
"""Causes under which no water reaches the box."""

HEADS = np.concatenate([[0.0], np.geomspace(1e-4, 0.5, 120)])
"""Heads at which openings are rated, to turn flows into heads. [m] (numerical)"""

HOLE_FACTORS = (0.7, 1.4)
"""Size of a hole that differs, over the others'. [-] (judgement)"""

_SEEPS = {"blocked": (0.05 * LITRE / MINUTE, 0.8), "crushed": (0.6 * LITRE / MINUTE, 0.7)}
"""Flow that a closed line still takes [m3/s] and the spread of its logarithm [-]. (judgement)"""

_LEAK = (0.3 * LITRE / MINUTE, 0.9)
"""Flow that a box loses [m3/s] and the spread of its logarithm [-]. (judgement)"""


def outlet_places(site: Site) -> tuple[Array, bool]:
    """Place of every outlet. [m]"""
    known = [outlet.position for outlet in site.outlets if outlet.position is not None]
    if len(known) == len(site.outlets):
        return np.array(known, np.float64), True
    along, across = _inside(site.box)
    n = len(site.outlets)
    # clockwise from the inlet, which is at the start and at the end of the turn
    turn = 2.0 * np.pi * (np.arange(n) + 1.0) / (n + 1.0)
    return np.stack(
        [0.5 * along * (1.0 - np.cos(turn)), 0.5 * across * (1.0 - np.sin(turn))], -1
    ), False


@dataclass(frozen=True, eq=False)
class Jets:
    """Where the jet of a straight inlet strikes, for every way that it may point."""

    # (a, k, n) Velocity head at each outlet at k inflows, over that of the outlet struck most at a
    # fast pour. [-]
    pattern: Array
    # (a,) Chance of each way, given that the jet is what sends a line too much: one that strikes no
    # outlet is not asked about. [-]
    chance: Array

    @classmethod
    def of(cls, site: Site, places: Array) -> "Jets":
        """The jets of a site with outlets at n places. [m] (n, 2)."""
        along, across = _inside(site.box)
        out = places - np.array([0.5 * along, 0.5 * across])
        out = out / np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-6)[:, None]
        from_inlet = places - np.array([0.0, 0.5 * across])
        ahead = np.stack([np.cos(_AIMS), np.sin(_AIMS)], -1)[:, None]
        aside = np.stack([-np.sin(_AIMS), np.cos(_AIMS)], -1)[:, None]
        jet = Jet(
            pipe=_PIPE,
            distance=np.maximum((from_inlet * ahead).sum(-1), 1e-3).ravel(),
            offset=(from_inlet * aside).sum(-1).ravel(),
            facing=(out * ahead).sum(-1).ravel(),
        )
        pattern = jet.heads(_FLOWS).reshape(len(_FLOWS), len(_AIMS), -1).swapaxes(0, 1)
        struck = np.array([np.interp(FAST, _FLOWS, heads.max(-1)) for heads in pattern])
        pattern = pattern / np.maximum(struck, 1e-9)[:, None, None]
        chance = np.exp(-0.5 * (_AIMS / _AIM_SPREAD) ** 2) * (struck >= 0.5 * struck.max())
        return cls(pattern, chance / chance.sum())

    def heads(self, strength: Array, aim: npt.NDArray[np.int64], inflow: Array) -> Array:
        """Extra head at the outlets; a trickle falls into the pool and throws little.

        strength [m], inflow [m3/s] -> [m].
        """
        thrown = np.zeros((strength.size, self.pattern.shape[-1]))
        rows = np.flatnonzero(strength > 0)
        flow, way = inflow[rows], aim[rows]
        over = np.clip(np.searchsorted(_FLOWS, flow), 1, len(_FLOWS) - 1)
        part = (flow - _FLOWS[over - 1]) / (_FLOWS[over] - _FLOWS[over - 1])
        part = np.clip(part, 0.0, 1.0)[:, None]
        each = (1.0 - part) * self.pattern[way, over - 1] + part * self.pattern[way, over]
        carried = strength[rows] * flow * (FAST + _POOL) / FAST / (flow + _POOL)
        thrown[rows] = each * carried[:, None]
        return thrown


def _inside(box: Box) -> tuple[float, float]:
    sizes = box.inside * 2 if len(box.inside) == 1 else box.inside
    return (sizes[0], sizes[1]) if sizes else USUAL_INSIDE


@dataclass(frozen=True, kw_only=True, eq=False)
class States:
    """Boxes drawn, one a row, with the cause that each stands for."""

    # (r, 2) Causes and outlets of the row as in `causes.Hypotheses`; (r,) its hypothesis.
    cause: npt.NDArray[np.int64]
    outlet: npt.NDArray[np.int64]
    hypothesis: npt.NDArray[np.int64]
    slopes: Array  # (r, 2) Slopes of the box. [-]
    plane: Array  # (r, n) What they make of the lips, over the middle of the box. [m]
    # (r, n) Lips as in `cause_lips.Drawn`, inf where the file says that the outlet is capped. [m]
    smooth: Array
    read: Array
    felt: Array
    tail: Array  # (r, n) Level standing in the line against its outlet; -inf for none. [m]
    closed: BoolArray  # (r, n) Whether the line takes no more than it seeps.
    seep: Array  # (r, n) What a closed line takes. [m3/s]
    leak: Array  # (r,) What the box loses through its walls. [m3/s]
    crack: Array  # (r,) How far below the lowest lip that loss lets the level fall. [m]
    jet: Array  # (r,) Head that the jet gives the outlet it strikes, at a fast pour. [m]
    aim: npt.NDArray[np.int64]  # (r,) Which way it points, a row of `Jets`.
    hole: npt.NDArray[np.int64]  # (r,) Which factor the hole of the outlet differs by; -1 for none.
    load: Array  # (r, n) Load of each line over what it takes. [-]
    day: Array  # (r,) Flow of an ordinary day. [m3/s]
    day_share: Array  # (r, n) Share of each line on an ordinary day. [-]
    still: Array  # (r,) Level at rest over the lowest lip that a ruler finds. [m]
    # (r,) What is fitted: the drop across a leaning box, the fault of a lip, or the leak. [m, or
    # m3/s for a leak]
    size: Array

    def take(self, rows: npt.NDArray[np.int64]) -> "States":
        """Some of the rows, in the order given, of shape (k,)."""
        return States(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})

    def then(self, more: "States") -> "States":
        """These rows and more."""
        names = [f.name for f in fields(self)]
        return States(**{n: np.concatenate([getattr(self, n), getattr(more, n)]) for n in names})

    @property
    def own(self) -> BoolArray:
        """Whether an outlet is one that a cause of the row sits at. (r, n)."""
        return self.sits(np.ones(len(CAUSES), bool))

    def sits(self, mask: ArrayLike) -> BoolArray:
        """Where a cause for which a mask holds, (causes,), sits at an outlet. (r, n)"""
        return sits(self.cause, self.outlet, mask, self.felt.shape[1])

    def has(self, *keys: str) -> BoolArray:
        """Whether a cause of the row is one of these. (r,)"""
        return np.asarray(np.isin(self.cause, index_of(*keys)).any(-1))


def sits(
    cause: npt.NDArray[np.int64], outlet: npt.NDArray[np.int64], mask: ArrayLike, n: int
) -> BoolArray:
    """Where a cause for which a mask holds, (causes,), sits at one of n outlets. (k, n)"""
    at = np.where(np.append(mask, False)[cause], outlet, -1)
    return np.asarray((at[..., None] == np.arange(n)).any(-2))


@dataclass(frozen=True, eq=False)
class Water:
    """Splits the drawn boxes of one site."""

    site: Site  # The box.
    places: Array  # (n, 2) Places of its outlets. [m]
    jets: Jets  # What a straight inlet may throw at them.

    def flows(
        self,
        states: States,
        inflow: Array,
        hold_back: ArrayLike = 0.0,
        shut: BoolArray | bool = False,
    ) -> Array:
        """Flow of every outlet of boxes that fill from rest; inflow [m3/s] -> [m3/s].

        hold_back: How far water stands over a dry lip before it starts to run, of shape (r,); with
        none, and where a full line keeps its outlet wet, every lip under the level runs. [m];
        shut: Outlets that do not run, (n,).
        """
        seep = np.minimum(states.seep, 0.3 * inflow[:, None])
        inside = np.maximum(inflow - seep.sum(-1) - states.leak, 0.02 * inflow)
        thrown = self.jets.heads(states.jet, states.aim, inflow)
        lips = np.where(states.closed | shut, np.inf, states.felt - thrown)
        stopped: BoolArray = np.all(np.isinf(lips), axis=-1)
        lips = np.where(
            stopped[:, None], np.where(np.isinf(states.read), np.inf, states.felt), lips
        )
        openings = [o.opening for o in self.site.outlets]
        # a full trench rises with what it is given, so its water acts as a higher lip and not as a
        # level outside that stays where it is
        held = np.where(states.tail < lips, np.atleast_1d(hold_back)[:, None], 0.0)
        ways = np.maximum(lips, states.tail)
        flow = split(inside, ways, openings, hold_back=held, rising=True).flow.copy()
        odd = np.flatnonzero(states.hole >= 0)
        if odd.size:
            flow[odd] = self._odd_holes(states.take(odd), lips[odd], inside[odd], held[odd])
        flow[stopped] = 0.0
        return np.asarray(flow + np.where(states.closed, seep, 0.0))

    def blur(self, flow: Array) -> Array:
        """Standard deviation of a flow by what the model of the opening leaves out.

        flow [m3/s] -> [m3/s].
        """
        blur = np.empty_like(flow)
        for i, outlet in enumerate(self.site.outlets):
            rated = outlet.opening.discharge(HEADS)
            slopes = outlet.opening.slope(HEADS)
            blur[..., i] = MODEL_ERROR * np.interp(flow[..., i], rated, slopes)
        return blur

    def _odd_holes(self, states: States, lips: Array, inflow: Array, held: Array) -> Array:
        """Split boxes in which one hole differs: all sizes side by side, those unused capped."""
        openings = [o.opening for o in self.site.outlets]
        sizes = [openings, *([o.widened(f) for o in openings] for f in HOLE_FACTORS)]
        own = states.sits(np.isin(KEYS, ("holes", "no_insert")))
        chosen = [~own, *(own & (states.hole == k)[:, None] for k in range(len(HOLE_FACTORS)))]
        wide = np.concatenate([np.where(mask, lips, np.inf) for mask in chosen], -1)
        every = [o for row in sizes for o in row]
        dry = np.tile(held, len(sizes))
        flow = split(inflow, wide, every, hold_back=dry, rising=True).flow
        return np.asarray(flow.reshape(len(inflow), len(sizes), -1).sum(1))


def draw_states(
    site: Site, water: Water, hypotheses: Hypotheses, drawn: Drawn, rng: np.random.Generator
) -> States:
    """Draw what else is unknown, and let the water of an ordinary day run."""
    h, d, n = drawn.felt.shape
    dice = _Dice(rng, h, d)

    def has(*keys: str) -> BoolArray:
        return np.repeat(hypotheses.any_of(np.isin(KEYS, keys)), d)

    def line(name: str) -> BoolArray:
        """Where a cause acts on the line of its outlet in a way. (r, n)"""
        mask = [cause.line == name for cause in CAUSES]
        return np.repeat(sits(hypotheses.cause, hypotheses.outlet, mask, n), d, axis=0)

    leaks = has("leak") | (has("broken") & (dice.even() < 0.4))
    felt = drawn.felt.reshape(-1, n)
    capped = np.array([outlet.capped for outlet in site.outlets])
    seep = np.zeros((h * d, n))
    for name, (middle, sigma) in _SEEPS.items():
        seep = np.where(line(name), dice.flow(middle, sigma)[:, None], seep)
    over = 0.07 * dice.even()[:, None]
    highest = np.where(np.isfinite(felt), felt, -np.inf).max(-1, keepdims=True)
    # a trench that is blocked further out mostly backs up to the box, one that rain runs into less
    part = dice.even()[:, None]
    backs = line("full") | (line("deep") & (part < 0.7)) | (line("soaked") & (part < 0.4))
    tail = np.where(backs, felt + over, -np.inf)
    tail = np.where(has("all_full")[:, None], highest + 0.002 + over, tail)
    closed = line("blocked") | line("crushed") | line("capped")
    hole = np.where(has("holes"), (dice.even() < 0.5).astype(int), -1)
    rows = np.repeat(np.arange(h), d)
    state = States(
        cause=hypotheses.cause[rows],
        outlet=hypotheses.outlet[rows],
        hypothesis=rows,
        slopes=drawn.slopes.reshape(-1, 2),
        plane=drawn.plane.reshape(-1, n),
        smooth=np.where(capped, np.inf, drawn.smooth.reshape(-1, n)),
        read=np.where(capped, np.inf, drawn.read.reshape(-1, n)),
        felt=np.where(capped, np.inf, felt),
        tail=tail,
        closed=closed | has("frozen")[:, None],
        seep=seep,
        leak=np.where(leaks, dice.flow(*_LEAK), 0.0),
        crack=np.where(leaks, 0.004 + 0.05 * dice.even(), 0.0),
        jet=np.where(has("jet"), JET * np.exp(0.5 * dice.normal()), 0.0),
        aim=np.searchsorted(np.cumsum(water.jets.chance), dice.even()).clip(max=len(_AIMS) - 1),
        hole=np.where(has("no_insert"), HOLE_FACTORS.index(max(HOLE_FACTORS)), hole),
        load=np.zeros((h * d, n)),
        day=np.zeros(h * d),
        day_share=np.zeros((h * d, n)),
        still=np.zeros(h * d),
        size=np.zeros(h * d),
    )
    return _with_day(site, water, state, drawn, dice, starved=has(*STARVED))


@dataclass(frozen=True, eq=False)
class _Dice:
    """Numbers for d draws, the same for each of h hypotheses."""

    rng: np.random.Generator
    h: int
    d: int

    def even(self) -> Array:
        return np.tile(self.rng.random(self.d), self.h)

    def steps(self) -> Array:
        """The same, in even steps."""
        return np.tile((np.arange(self.d) + 0.5) / self.d, self.h)

    def normal(self) -> Array:
        return np.tile(self.rng.standard_normal(self.d), self.h)

    def flow(self, middle: float, sigma: float) -> Array:
        """A flow that may be some times more or less. [m3/s]"""
        return np.asarray(middle * np.exp(sigma * self.normal()))


def _with_day(
    site: Site, water: Water, state: States, drawn: Drawn, dice: _Dice, starved: BoolArray
) -> States:
    """The same states, with the shares and loads of an ordinary day and the level at rest."""
    usual = DOSE if feed_is_strong(site) else np.where(state.jet > 0, USUAL_SURGE, TRICKLE)
    inflow = usual * np.exp(_DAY_SPREAD * dice.normal())
    part = _part_of_field(site)
    in_turn = np.flatnonzero(state.has("serial"))
    state.tail[in_turn] = _filled_in_turn(state.felt[in_turn], part, dice.steps()[in_turn] ** 2)
    share = day_shares(water, state, inflow)
    load = share / part * _margins(state, dice, part)
    load = np.where(starved[:, None], 0.1 * load, load)
    lowest = state.read.min(-1)
    ways = np.maximum(np.where(state.closed, np.inf, state.felt), state.tail).min(-1)
    # where every way is shut, ice holds the level as it found it, over the lips
    still = np.where(np.isfinite(ways), ways, lowest + 0.01 + 0.05 * dice.even())
    # what no water reaches dries up by evaporation
    crack = np.maximum(state.crack, np.where(starved, 0.02 * dice.even(), 0.0))
    tilted = np.append([cause.tilted for cause in CAUSES], False)[state.cause].any(-1)
    drop = np.ptp(drawn.plane, axis=-1).reshape(-1)
    size = np.where(tilted, drop, drawn.fault.reshape(-1))
    return replace(
        state,
        load=np.where(np.isfinite(state.tail), np.maximum(load, FULL_LOAD), load),
        day=inflow,
        day_share=share,
        still=np.where(crack > 0, -crack, still - lowest),
        size=np.where(state.leak > 0, state.leak, size),
    )


def _filled_in_turn(felt: Array, part: Array, used: Array) -> Array:
    """Level in lines that fill one after the other: what is full stands up to the next lip.

    felt [m] (r, n), part: of the field that each line is (n,), used: of the field so far (r,) [-];
    -inf where a line has room. [m] (r, n)
    """
    order = np.argsort(felt, axis=-1)
    full = np.empty(felt.shape, bool)
    np.put_along_axis(full, order, np.cumsum(part[order], -1) <= used[:, None], -1)
    return np.where(full, np.where(full, np.inf, felt).min(-1, keepdims=True), -np.inf)


def day_shares(water: Water, state: States, inflow: Array, hold_back: ArrayLike = 0.0) -> Array:
    """Shares of a flow of an ordinary day, as in `Water.flows`; inflow [m3/s] -> [-]. (r, n)"""
    # water that leaves by a box's wall never reaches a line, yet a day's flow is not lost in it
    running = replace(state, leak=np.minimum(state.leak, 0.5 * inflow))
    flow = water.flows(running, inflow, hold_back)
    return np.asarray(flow / np.maximum(flow.sum(-1, keepdims=True), 1e-12))


def _part_of_field(site: Site) -> Array:
    """Part of the field that each line is, by area, by length or evenly; 1 where capped. (n,)"""
    used = np.array([not outlet.capped for outlet in site.outlets])
    part = used.astype(np.float64)
    for name in ("line_length", "line_area"):
        values = [getattr(outlet, name) for outlet in site.outlets]
        if all(value is not None for value, open_ in zip(values, used, strict=True) if open_):
            part = np.array([v if o else 0.0 for v, o in zip(values, used, strict=True)])
    return np.asarray(np.where(used, part / part.sum(), 1.0))


def middle(values: Array) -> Array:
    """The median along the first axis, the upper of two; numpy's own imports for 0.03 s more."""
    return np.asarray(np.sort(values, axis=0)[len(values) // 2])


def _margins(state: States, dice: _Dice, part: Array) -> Array:
    """Load of each line over what it takes, were the split even. (r, n)"""
    (low, high), (own_low, own_high) = (
        np.array([*(getattr(cause, name) for cause in CAUSES), (1.0, 1.0)]).T
        for name in ("load", "own_load")
    )
    cause, dealt = state.cause, (dice.even()[:, None], dice.even()[:, None])
    everywhere = (low[cause] + (high - low)[cause] * dealt[0]).prod(-1)
    own = own_low[cause] + (own_high - own_low)[cause] * dealt[1]
    margin = USUAL_MARGIN * np.exp(0.35 * dice.normal()) * everywhere
    # what a line's known shortness explains need not be its soil too: how many times more that
    # loads a line than its neighbours
    used = part < 1.0 if np.any(part < 1.0) else np.ones(part.size, bool)
    short = np.maximum(middle(part[used]) / part, 1.0)
    more = np.ones((len(margin), part.size))
    for k in range(2):
        mine = state.outlet[:, k, None] == np.arange(part.size)
        more *= np.where(mine, np.maximum(own[:, k, None] / short, 1.0), 1.0)
    return np.asarray(margin[:, None] * more)
