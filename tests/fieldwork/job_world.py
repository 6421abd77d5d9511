"""The made-up systems that jobs are drawn from: faults, lips, water and trenches.

Part of `jobs`, whose first lines say what this may and may not use. A `Setting` is what one who
makes jobs up takes for granted: how uneven a sound box is, how common each fault, how sure each
sign. All of it is invented (judgement).
"""

import zlib
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from tests.fieldwork.job_water import G, plain_split, ponding

INCH = 0.0254
LPM = 1e-3 / 60
OWN_PRIORS = {
    "tilt": 10, "low": 8, "high": 6, "deposit": 6, "blocked": 7, "crushed": 4, "back_pitched": 6,
    "full": 9, "all_full": 6, "overload": 5, "infiltration": 4, "leak": 4, "jet": 3,
    "inlet_drop": 3, "trickle": 5, "unequal": 5, "trench_slope": 4, "solids": 5, "capped": 3,
    "serial": 3, "frozen": 2, "holes": 3, "broken": 3, "tilt+full": 5, "low+full": 3,
    "full+solids": 2, "supply_blocked": 4, "surface_water": 3, "no_insert": 2, "deep_block": 3,
    "no_dose": 2,
}  # fmt: skip
"""How often each is drawn in the first setting: its maker's own guess."""

SINGLE = tuple(key for key in OWN_PRIORS if "+" not in key)
TRADE_PRIORS = dict.fromkeys(SINGLE, 3.0) | {
    "tilt": 16, "full": 16, "all_full": 12, "solids": 9, "overload": 9, "blocked": 8, "low": 7,
    "supply_blocked": 7, "infiltration": 5, "deposit": 5, "crushed": 4, "no_dose": 4, "serial": 2,
    "capped": 2, "frozen": 1, "holes": 1, "inlet_drop": 1, "trickle": 2, "no_insert": 2,
}  # fmt: skip
"""As one would guess who is called to fields that fail more than to boxes that are off."""

NOWHERE = ("tilt", "all_full", "overload", "infiltration", "leak", "jet", "inlet_drop", "solids",
           "serial", "frozen", "broken", "supply_blocked", "no_dose")  # fmt: skip
"""Faults of the whole system."""

_ALONE = ("serial", "capped", "frozen", "supply_blocked", "no_dose")
_CLASHES = (
    {"trickle", "unequal", "tilt", "low", "high", "no_insert"},
    {"full", "all_full", "deep_block", "surface_water"},
    {"blocked", "crushed", "back_pitched", "deep_block"},
    {"leak", "broken"},
    {"overload", "infiltration"},
)
"""Faults that nobody would tell from one another once both are there."""

_FOLLOWS = ("full", "deep_block")
_FAVOURS = ("tilt", "low", "no_insert")
PIPE_HEIGHT, SURFACE = 0.30, 0.45


@dataclass(frozen=True)
class Setting:
    """What one who makes jobs up takes for granted."""

    name: str
    priors: Mapping[str, float]
    slope: tuple[float, float]  # Standard deviation of a sound box's slopes, by box. [-]
    scatter: tuple[float, float]  # The same of sound lips, by box. [m]
    slip: tuple[float, float]  # How often a person writes a wrong word. [-]
    # How many cases the rates of signs are worth: each is drawn once from a Beta around the rate
    # that is written. 0: as written. [-]
    cases: float = 0.0
    swaps: float = 0.0  # How often a kind of look is written down one outlet on. [-]
    by_rule: bool = False  # Whether trenches are wet by a rule of thumb and not by their water.
    absent: tuple[str, ...] = ()  # Looks that nobody makes.

    def rate(self, about: object, chance: float) -> float:
        """How often a sign shows, by whoever made the setting up. [-]"""
        if not self.cases:
            return chance
        rng = np.random.default_rng([zlib.crc32(repr((self.name, about, chance)).encode())])
        mean = min(max(chance, 0.04), 0.96)
        return float(rng.beta(mean * self.cases, (1 - mean) * self.cases))

    def truth(self, rng: np.random.Generator, faults: int) -> str:
        """What is wrong: by the priors, or two faults that fit together."""
        names, weights = list(self.priors), np.array(list(self.priors.values()), float)
        if faults == 1:
            return str(rng.choice(names, p=weights / weights.sum()))
        while True:
            one, other = sorted(rng.choice(names, 2, replace=False, p=weights / weights.sum()))
            both, written = {one, other}, f"{one}{other}"
            apart = not any(len(both & clash) > 1 for clash in _CLASHES)
            if apart and "+" not in written and not both & {*_ALONE}:
                return f"{one}+{other}"


OWN = Setting("own", OWN_PRIORS, (0.001, 0.001), (0.0002, 0.00075), (0.01, 0.07))
"""As the tool was first tried: sound boxes more level than it takes them to be."""

OLD = Setting("old", TRADE_PRIORS, (0.0015, 0.0045), (0.0007, 0.0021), (0.02, 0.08),
              cases=10.0, swaps=0.02)  # fmt: skip
"""Old boxes, 1 to 3 times as uneven as the tool has them; signs at other rates."""

ROUGH = Setting("rough", dict.fromkeys(SINGLE, 1.0), (0.002, 0.0045), (0.001, 0.0021), (0.03, 0.10),
                cases=6.0, swaps=0.04, by_rule=True, absent=("rod", "wiped", "plugged"),
                )  # fmt: skip
"""The same by another who has no rod and wipes no lip, counts every fault alike and wets trenches
by a rule of thumb; its signs are looser yet."""

SETTINGS = {setting.name: setting for setting in (OWN, OLD, ROUGH)}


class World:
    """One system with its faults, and the water in it."""

    def __init__(self, truth: str, rng: np.random.Generator, setting: Setting = OWN):
        self.setting, self.rng = setting, rng
        self.n = n = int(rng.choice([3, 4, 5, 6, 7], p=[0.2, 0.3, 0.25, 0.2, 0.05]))
        self.faults = self._places_of(truth.split("+"))
        self.diameter = float(rng.choice([1.5, 1.75, 2.0])) * INCH
        self.diameters = np.full(n, self.diameter)
        self.along, self.across = rng.uniform(0.32, 0.45), rng.uniform(0.40, 0.60)
        self.places = self._places()
        self.lengths = np.full(n, rng.uniform(12, 30))
        self.feed = str(rng.choice(["gravity", "gravity", "gravity", "pump"]))
        self.slopes = rng.normal(0, rng.uniform(*setting.slope), 2)
        self.own = rng.standard_normal(n) * rng.uniform(*setting.scatter)
        self.felt = np.zeros(n)
        self.tails = np.full(n, -np.inf)
        self.shut = np.zeros(n, bool)
        self.leak = 0.0
        self.worked = rng.uniform(0.35, 0.85)
        self.soil = np.exp(rng.normal(0, 0.12, n))
        for fault, j in self.faults.items():
            self.break_it(fault, j)
        self.lips = (self.places - self.places.mean(0)) @ self.slopes + self.own
        self._trenches()

    def _places_of(self, faults):
        """The outlet that each fault sits at; a trench that fills is the one that gets most."""
        j, other = self.rng.choice(self.n, 2, replace=False).tolist()
        if len(faults) == 2 and {*faults} & {*_FAVOURS} and {*faults} & {*_FOLLOWS}:
            other = j
        return dict(zip(faults, (j, other), strict=False))

    def at(self, i, *faults) -> bool:
        """Whether one of some faults sits at an outlet."""
        return any(self.faults.get(fault) == i for fault in faults if fault not in NOWHERE)

    def has(self, *faults) -> bool:
        return any(fault in self.faults for fault in faults)

    def _places(self):
        """On three walls, clockwise from the inlet."""
        spots = []
        for k in range(self.n):
            t = (k + 0.7) / (self.n + 0.4) * (2 * self.along + self.across)
            if t < self.along:
                spots.append((t, 0.0))
            elif t < self.along + self.across:
                spots.append((self.along, t - self.along))
            else:
                spots.append((2 * self.along + self.across - t, self.across))
        return np.array(spots)

    def lean(self, toward):
        """Tilt the box by 1/8 to 3/4 in across the outlets, toward one of them if it can be."""
        drop = self.rng.uniform(0.125, 0.75) * INCH
        for _ in range(200):
            turn = self.rng.uniform(0, 2 * np.pi)
            slopes = np.array([np.cos(turn), np.sin(turn)])
            heights = (self.places - self.places.mean(0)) @ slopes
            if toward is None or heights.argmin() == toward:
                break
        else:
            self.faults = {k: int(heights.argmin()) if k in _FOLLOWS else j
                           for k, j in self.faults.items()}  # fmt: skip
        self.slopes = slopes * drop / np.ptp(heights)

    def break_it(self, t, j):
        rng = self.rng
        if t == "tilt":
            self.lean(j if self.has(*_FOLLOWS) else None)
        if t == "low":
            self.own[j] -= rng.uniform(0.125, 0.5) * INCH
        if t == "high":
            self.own[j] += rng.uniform(0.125, 0.6) * INCH
        if t == "no_insert":
            self.own[j] -= rng.uniform(0.4, 1.0) * INCH
            self.diameters[j] = 4 * INCH
        if t == "deposit":
            self.felt[j] += rng.uniform(0.08, 0.35) * INCH
        if t == "back_pitched":
            self.felt[j] += rng.uniform(0.2, 1.0) * INCH
        if t in ("blocked", "crushed", "capped"):
            self.shut[j] = True
        if t == "trickle":
            if self.setting is OWN:
                self.own = rng.uniform(-0.3, 0.3, self.n) * 1e-3
            self.own[j] -= rng.uniform(0.9, 1.7) * 1e-3
            self.worked = rng.uniform(0.6, 0.9)
        if t == "serial":
            steps = np.arange(self.n) * rng.uniform(0.8, 1.6) * INCH
            self.own = self.own + np.roll(steps, j)
        if t == "holes":
            self.diameters[j] *= float(rng.choice([0.7, 0.75, 1.3, 1.4]))
        if t in ("overload", "infiltration"):
            self.worked *= rng.uniform(1.8, 3.5)
        if t == "unequal":
            if rng.random() < 0.5:
                self.lengths[j] *= rng.uniform(0.3, 0.55)
            else:
                self.soil[j] *= rng.uniform(0.25, 0.5)
        if t == "solids":
            self.soil *= rng.uniform(0.4, 0.8)
        if t in ("leak", "broken"):
            self.leak = rng.uniform(0.1, 1.0) * LPM * (1 if t == "leak" else rng.choice([0, 1]))
        if t == "jet" and rng.random() < 0.5:
            self.feed = "pump"
        if t == "no_dose":
            self.feed = str(rng.choice(["pump", "pump", "siphon"]))
        if t == "trickle":
            self.feed = "gravity"

    @property
    def dosed(self) -> bool:
        return self.feed != "gravity"

    def jet_heads(self, inflow):
        """Velocity head of a straight inlet on what faces it; stronger as the flow grows."""
        if not self.has("jet"):
            return np.zeros(self.n)
        speed = 0.35 * (inflow / (10 * LPM)) ** 0.3
        facing = np.exp(-(((self.places[:, 1] - self.across / 2) / 0.07) ** 2))
        facing = facing * (self.places[:, 0] > 0.9 * self.along)
        if not facing.max() > 0.2:
            facing = (np.arange(self.n) == np.argmax(self.places[:, 0])).astype(float)
        return speed**2 / (2 * G) * facing * min(1.0, inflow / (8 * LPM))

    def flows(self, inflow):
        if self.has("frozen"):
            return np.zeros(self.n)
        lips = np.where(self.shut, np.inf, self.lips + self.felt)
        got = plain_split(inflow - min(self.leak, 0.9 * inflow), lips, self.diameters, self.tails,
                          self.jet_heads(inflow))  # fmt: skip
        if self.has("crushed"):
            some = min(0.15 * inflow, 0.8 * LPM)
            got = got * (1 - some / inflow)
            got[self.faults["crushed"]] = some
        return got

    def _trenches(self):
        """Fill the trenches; those that a fault says are full are."""
        rng, n = self.rng, self.n
        length = self.lengths.mean()
        daily = rng.uniform(0.5, 1.4)
        day = self.flows((90 if self.dosed else rng.uniform(1, 4)) * LPM)
        event = self.flows((90 if self.dosed else 10) * LPM)
        each = [f / f.sum() if f.sum() > 0 else f for f in (day, event)]
        self.share = 0.75 * each[0] + 0.25 * each[1]
        if self.setting.by_rule:
            self._wet_by_rule()
        else:
            self._pond(daily, length)
        for j in (self.faults[k] for k in _FOLLOWS if k in self.faults):
            stands = self.has("full") or rng.random() < 0.6
            self.tails[j] = self.lips[j] + rng.uniform(0, 2.5) * INCH if stands else -np.inf
            self.depth[j] = rng.uniform(0.30, 0.55)
        if self.has("surface_water"):
            j = self.faults["surface_water"]
            self.depth[j] = rng.uniform(0.2, 0.58)
            if self.depth[j] > 0.4:
                self.tails[j] = self.lips[j] + rng.uniform(0, 1.5) * INCH
        if self.has("all_full"):
            self.tails[:] = self.lips.max() + rng.uniform(0.002, 0.08)
            self.depth[:] = rng.uniform(0.31, 0.55, n)
        if self.has("trench_slope"):
            j = self.faults["trench_slope"]
            self.depth[j] = max(self.depth[j], rng.uniform(0.05, 0.35))
        if self.has("supply_blocked", "no_dose"):
            self.share = np.zeros(n)
            self.depth = np.zeros(n)

    def _pond(self, daily, length):
        while True:
            acceptance = 0.8 * daily / self.n / (length * 0.9) / self.worked
            self.depth = ponding(daily * self.share, self.lengths, acceptance * self.soil)
            # nobody is called before the line it favours stands in water; an even split would not
            # do that
            at_one = [self.faults[k] for k in ("low", "trickle", "unequal") if self.has(k)]
            wet = self.depth[at_one or self.share.argmax()].max() > 0.15 or self.worked > 0.9
            if wet or not self.has("tilt", "low", "trickle", "unequal", "jet", "no_insert"):
                return
            self.worked *= 1.1

    def _wet_by_rule(self):
        """Lines that get a third more than their part are mostly wet, the others seldom."""
        rng, n = self.rng, self.n
        part = self.share * n * np.median(self.lengths) / self.lengths / self.soil
        all_wet = self.has("overload", "infiltration", "solids")
        wet = rng.random(n) < np.where(part > 1.35, 0.75, 0.5 if all_wet else 0.15)
        self.depth = np.where(wet, rng.uniform(0.05, 0.55, n), 0.0)

    def still(self):
        """Level at rest over the lowest lip that a ruler finds. [m]"""
        lowest = self.lips.min()
        if self.leak > 0:
            return -self.rng.uniform(0.004, 0.07)
        if self.has("supply_blocked", "no_dose"):
            return -self.rng.uniform(0.0, 0.012)
        if self.has("frozen"):
            return self.rng.uniform(0.01, 0.06)
        lips = np.where(self.shut, np.inf, self.lips + self.felt)
        return float(np.maximum(lips, self.tails).min() - lowest)
