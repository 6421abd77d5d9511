"""The made-up systems that jobs are drawn from: a fault, its lips, its water and its trenches.

Part of `jobs`, whose first lines say what this may and may not use.
"""

import numpy as np

from tests.fieldwork.job_water import plain_split, ponding

INCH = 0.0254
LPM = 1e-3 / 60
SHARES = {
    "tilt": 10, "low": 8, "high": 6, "deposit": 6, "blocked": 7, "crushed": 4, "back_pitched": 6,
    "full": 9, "all_full": 6, "overload": 5, "infiltration": 4, "leak": 4, "jet": 3,
    "inlet_drop": 3, "trickle": 5, "unequal": 5, "trench_slope": 4, "solids": 5, "capped": 3,
    "serial": 3, "frozen": 2, "holes": 3, "broken": 3, "tilt_full": 5, "low_full": 3,
    "solids_full": 2,
}  # fmt: skip
"""How often each is drawn: this helper's own guess."""

NOWHERE = ("tilt", "all_full", "overload", "infiltration", "leak", "jet", "inlet_drop", "solids",
           "serial", "frozen", "broken")  # fmt: skip
PIPE_HEIGHT, SURFACE = 0.30, 0.45


class World:
    """One system with its fault, and the water in it."""

    def __init__(self, truth: str, rng: np.random.Generator):
        self.truth, self.rng = truth, rng
        self.n = n = int(rng.choice([3, 4, 5, 6, 7], p=[0.2, 0.3, 0.25, 0.2, 0.05]))
        self.j = int(rng.integers(n))
        self.diameter = float(rng.choice([1.5, 1.75, 2.0])) * INCH
        self.diameters = np.full(n, self.diameter)
        self.along, self.across = rng.uniform(0.32, 0.45), rng.uniform(0.40, 0.60)
        self.places = self._places()
        self.lengths = np.full(n, rng.uniform(12, 30))
        self.feed = str(rng.choice(["gravity", "gravity", "gravity", "pump"]))
        self.plane = np.zeros(n)
        self.slopes = rng.normal(0, 0.001, 2)
        # a set box: a few tenths of a millimetre to about a millimetre
        self.own = rng.uniform(-1, 1, n) * rng.uniform(0.3, 1.3) * 1e-3
        self.felt = np.zeros(n)
        self.tails = np.full(n, -np.inf)
        self.shut = np.zeros(n, bool)
        self.extra = np.zeros(n)
        self.leak = 0.0
        self.worked = rng.uniform(0.35, 0.85)
        self.soil = np.exp(rng.normal(0, 0.12, n))
        self.break_it()
        self.plane = (self.places - self.places.mean(0)) @ self.slopes
        self.lips = self.plane + self.own
        self._trenches()

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

    def lean(self, toward=None):
        """Tilt the box by 1/8 to 3/4 in across the outlets."""
        drop = self.rng.uniform(0.125, 0.75) * INCH
        for _ in range(200):
            turn = self.rng.uniform(0, 2 * np.pi)
            slopes = np.array([np.cos(turn), np.sin(turn)])
            heights = (self.places - self.places.mean(0)) @ slopes
            if toward is None or heights.argmin() == toward:
                break
        else:
            self.j = int(heights.argmin())
        self.slopes = slopes * drop / np.ptp(heights)

    def break_it(self):
        t, j, rng = self.truth, self.j, self.rng
        if t in ("tilt", "tilt_full"):
            self.lean(j if t == "tilt_full" else None)
        if t in ("low", "low_full"):
            self.own[j] -= rng.uniform(0.125, 0.5) * INCH
        if t == "high":
            self.own[j] += rng.uniform(0.125, 0.6) * INCH
        if t == "deposit":
            self.felt[j] += rng.uniform(0.08, 0.35) * INCH
        if t == "back_pitched":
            self.felt[j] += rng.uniform(0.2, 1.0) * INCH
        if t in ("blocked", "crushed", "capped"):
            self.shut[j] = True
        if t == "trickle":
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
        if t in ("solids", "solids_full"):
            self.soil *= rng.uniform(0.4, 0.8)
        if t in ("leak", "broken"):
            self.leak = rng.uniform(0.1, 1.0) * LPM * (1 if t == "leak" else rng.choice([0, 1]))
        self.feed = "pump" if t == "jet" and rng.random() < 0.5 else self.feed
        if t == "trickle":
            self.feed = "gravity"

    def jet_heads(self, inflow):
        """Velocity head of a straight inlet on what faces it; stronger as the flow grows."""
        if self.truth != "jet":
            return np.zeros(self.n)
        speed = 0.35 * (inflow / (10 * LPM)) ** 0.3
        facing = np.exp(-(((self.places[:, 1] - self.across / 2) / 0.07) ** 2))
        facing = facing * (self.places[:, 0] > 0.9 * self.along)
        if not facing.max() > 0.2:
            facing = (np.arange(self.n) == np.argmax(self.places[:, 0])).astype(float)
        return speed**2 / (2 * G) * facing * min(1.0, inflow / (8 * LPM))

    def flows(self, inflow):
        lips = np.where(self.shut, np.inf, self.lips + self.felt)
        got = plain_split(inflow - min(self.leak, 0.9 * inflow), lips, self.diameters, self.tails,
                          self.jet_heads(inflow))  # fmt: skip
        if self.truth == "crushed":
            some = min(0.15 * inflow, 0.8 * LPM)
            got = got * (1 - some / inflow)
            got[self.j] = some
        return np.zeros(self.n) if self.truth == "frozen" else got

    def _trenches(self):
        """Fill the trenches; those that a fault says are full are."""
        rng, n = self.rng, self.n
        length = self.lengths.mean()
        daily = rng.uniform(0.5, 1.4)
        day = self.flows((90 if self.feed == "pump" else rng.uniform(1, 4)) * LPM)
        event = self.flows((90 if self.feed == "pump" else 10) * LPM)
        each = [f / f.sum() if f.sum() > 0 else f for f in (day, event)]
        self.share = 0.75 * each[0] + 0.25 * each[1]
        while True:
            acceptance = 0.8 * daily / n / (length * 0.9) / self.worked
            lines = zip(self.share, self.lengths, self.soil, strict=True)
            depth = [ponding(daily * s, L, acceptance * k) for s, L, k in lines]
            self.depth = np.array(depth)
            # nobody is called before the line it favours stands in water; an even split would not
            # do that
            own = self.j if self.truth in ("low", "trickle", "unequal") else self.share.argmax()
            wet = self.depth[own] > 0.15 or self.worked > 0.9
            if wet or self.truth not in ("tilt", "low", "trickle", "unequal", "jet"):
                break
            self.worked *= 1.1
        over = rng.uniform(0.0, 2.5) * INCH
        if self.truth in ("full", "tilt_full", "low_full", "solids_full"):
            self.tails[self.j] = self.lips[self.j] + over
            self.depth[self.j] = rng.uniform(0.30, 0.55)
        if self.truth == "all_full":
            self.tails[:] = self.lips.max() + rng.uniform(0.002, 0.08)
            self.depth[:] = rng.uniform(0.31, 0.55, n)
        if self.truth == "trench_slope":
            self.depth[self.j] = max(self.depth[self.j], rng.uniform(0.05, 0.35))

    def still(self):
        """Level at rest over the lowest lip that a ruler finds. [m]"""
        lowest = self.lips.min()
        if self.leak > 0:
            return -self.rng.uniform(0.004, 0.07)
        if self.truth == "frozen":
            return self.rng.uniform(0.01, 0.06)
        lips = np.where(self.shut, np.inf, self.lips + self.felt)
        return float(np.maximum(lips, self.tails).min() - lowest)


G = 9.81
