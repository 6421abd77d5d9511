"""Invented jobs to try a diagnosis on: faults, their water, and a person who looks and errs.

This is no part of dbox and uses none of its diagnosis: faults have other sizes and other shapes of
distribution, water runs by `job_water`, trenches fill or are wet by a rule of thumb, people misread
by their own rates, and what they look at is drawn here. What a fault shows follows practice alone
(common practice, no source). Written before the diagnosis was tried on it and not fitted to it;
changed since only where it went against practice:

- a fault that wets a line has that line wet when someone is called, a jet the far line too;
- a trickle-only imbalance is not fed by a pump, and stains its lip, though in a box of four that
  takes but 35 to 47 % of the flow: a lip that takes a third more than its fair share is stained;
- hardly anything runs back over its lip from a header that is blocked and falls away;
- a trench out of level surfaces at its far end: dry, it would be the same to the last drop as a
  line in poorer soil.

Depths in ports and how far a rod went came later, as part of what a visit brings. So did settings
of `job_world` other than the first, two faults at a time and a look that was written down wrong.
"""

from dataclasses import dataclass, fields, replace

import numpy as np

from dbox import Circle
from dbox.fieldwork.evidence import OUTLET_WORDS, WORDS, Evidence, OutletEvidence
from dbox.fieldwork.site import Box, Flow, Outlet, Pour, Site
from tests.fieldwork.job_world import INCH, LPM, NOWHERE, OWN, PIPE_HEIGHT, SURFACE, Setting, World


@dataclass
class Job:
    """A job: what is wrong, and everything that a look would show."""

    truth: str
    outlet: int | None
    site: Site
    everything: Evidence
    readings: tuple
    slow: Pour
    fast: Pour


REACH = {"blocked": (0.2, 2.5), "crushed": (1.5, 7.0), "capped": (0.02, 0.25),
         "deep_block": (4.0, 15.0)}  # fmt: skip
"""How far from the box a rod stops: near it, where wheels cross, at the cap, in the line. [m]"""

SOUND = {
    "system": ("distribution box", "alternating", 0.0), "season": ("all year", "wet season", 0.12),
    "rain": ("no matter", "only after rain", 0.1), "meter": ("still", "turning", 0.0),
    "inflow": ("none", "stops with the house valve", 0.0), "tank_level": ("normal", "high", 0.0),
    "tank_outlet": ("sound", "failed", 0.0), "baffle": ("in place", "missing", 0.2),
    "inlet_mouth": ("clear", "in water", 0.0), "stain": ("none", "high", 0.08),
    "sludge": ("none", "sludge", 0.1), "cracks": ("none", "above the lips", 0.0),
    "ice": ("none", "ice", 0.0), "ground_at_box": ("dry", "wet", 0.0),
    "plugged": ("holds", "falls", 0.0),
}  # fmt: skip
"""What a system shows that has no fault: the usual word, the other, how often that is seen."""

SHOWS = {
    "serial": {"system": ("serial", 0.5, "drop box")},
    "capped": {"system": ("alternating", 0.3)},
    "all_full": {"season": ("wet season", 0.65), "rain": ("only after rain", 0.6),
                 "stain": ("high", 0.8), "tank_level": ("high", 0.6),
                 "inlet_mouth": ("in water", 0.6)},
    "overload": {"meter": ("turning", 0.6), "inflow": ("stops with the house valve", 0.75)},
    "infiltration": {"rain": ("only after rain", 0.9), "season": ("wet season", 0.7),
                     "inflow": ("runs with the house shut", 0.6),
                     "cracks": ("above the lips", 0.4)},
    "leak": {"cracks": ("below the lips", 0.75), "ground_at_box": ("wet", 0.75)},
    "broken": {"cracks": ("broken through", 0.8, "above the lips"), "ground_at_box": ("wet", 0.7),
               "rain": ("only after rain", 0.3)},
    "jet": {"baffle": ("missing", 1.0)},
    "inlet_drop": {"inlet_mouth": ("in water", 0.9), "tank_level": ("high", 0.75)},
    "solids": {"tank_outlet": ("failed", 0.85), "sludge": ("sludge", 0.9)},
    "frozen": {"season": ("winter", 1.0), "ice": ("ice", 0.85), "tank_level": ("high", 0.6)},
    "full": {"stain": ("high", 0.4)},
    "supply_blocked": {"tank_level": ("high", 0.9), "tank_outlet": ("failed", 0.5)},
    "no_dose": {"tank_level": ("high", 0.9)},
    "surface_water": {"rain": ("only after rain", 0.85), "season": ("wet season", 0.7)},
}  # fmt: skip
"""What each fault shows of the system instead, how often, and what else it then shows."""

_FULL = {"mouth": ("full", 0.85, "part full"), "drain_back": ("long", 0.9, "small")}
_HOLDS = {"mouth": ("full", 0.85, "part full"), "drain_back": ("none", 0.85, "small")}
LINE_SHOWS = {
    "blocked": _HOLDS | {"rod": ("soft stop", 0.7, "hard stop")},
    "crushed": {"mouth": ("full", 0.7, "part full"), "drain_back": ("none", 0.6, "small"),
                "rod": ("hard stop", 0.85, "soft stop"), "traffic": ("ruts", 0.75)},
    "back_pitched": {"mouth": ("part full", 0.85, "full"), "drain_back": ("small", 0.92),
                     "rod": ("belly", 0.5)},
    "deposit": {"lip": ("deposit", 0.9), "wiped": ("better", 0.9)},
    "capped": {"cap": ("capped", 1.0), "rod": ("hard stop", 0.4)},
    "no_insert": {"hole": ("larger", 0.95)},
    "deep_block": {"rod": ("soft stop", 0.6)},
}  # fmt: skip
"""What each fault shows at its own outlet."""

EVERYWHERE = {
    "solids": {"lip": ("deposit", 0.5), "mouth": ("part full", 0.25)},
    "frozen": {"rod": ("hard stop", 0.6)},
    "overload": {"mouth": ("part full", 0.6)},
    "infiltration": {"mouth": ("part full", 0.24)},
}
"""What each fault shows at every outlet."""


class Person:
    """One who looks: errs at a rate of his own."""

    def __init__(self, world: World, rng: np.random.Generator):
        self.w, self.rng = world, rng
        self.slip = rng.uniform(*world.setting.slip)
        self.dips, self.paces = rng.random() < 0.6, rng.random() < 0.6
        self.swapped = {kind for kind in OUTLET_WORDS if rng.random() < world.setting.swaps}

    def says(self, words, word):
        if self.rng.random() < self.slip:
            return str(self.rng.choice([w for w in words if w != word]))
        return word

    def shows(self, about, chance, yes, no):
        return yes if self.rng.random() < self.w.setting.rate(about, chance) else no

    def sign(self, sees, fault, signs):
        """Let a fault show its signs, over what was there."""
        for kind, (word, chance, *other) in signs.items():
            sees[kind] = self.shows((fault, kind), chance, word, other[0] if other else sees[kind])

    def system(self) -> Evidence:
        w, rng = self.w, self.rng
        sees = {kind: self.shows(kind, chance, odd, usual)
                for kind, (usual, odd, chance) in SOUND.items()}  # fmt: skip
        for fault in w.faults:
            self.sign(sees, fault, SHOWS.get(fault, {}))
        if w.leak:
            sees["plugged"] = "falls"
        lean = float(np.hypot(*(w.slopes + rng.normal(0, 0.002, 2))))
        sees["rim"] = "out of level" if lean > rng.uniform(0.004, 0.009) else "level"
        sees["at_rest"] = self.at_rest_word()
        return Evidence(**{k: self.says(WORDS[k], v) for k, v in sees.items()},
                        feed=w.feed, since_use=float(rng.uniform(4, 12)) * 3600)  # fmt: skip

    def at_rest_word(self):
        w = self.w
        level = w.still() + self.rng.normal(0, 0.0012)
        if level < -0.003:
            return "below the lowest lip"
        if level < 0.003:
            return "at the lowest lip"
        return "above all lips" if level > np.ptp(w.lips) + 0.003 else "above some lips"

    def outlet(self, i) -> OutletEvidence:
        w = self.w
        sees = {"cap": "none", "mouth": "dry", "rod": "clear", "hole": "alike",
                "lip": self.shows("lip", 0.1, "deposit", "clean"),
                "drain_back": self.shows("drain_back", 0.08, "small", "none"),
                "traffic": self.shows("traffic", 0.0, "ruts", "none"),
                "wiped": self.shows("wiped", 0.0, "better", "no change"),
                "trace": self.trace(i)}  # fmt: skip
        if w.at(i, "holes"):
            wide = w.diameters[i] > w.diameter
            sees["hole"] = self.shows("hole", 0.9, "larger" if wide else "smaller", "alike")
        depth = w.depth[i]
        sees["port"] = "dry" if depth < 0.01 else "below the pipe" if depth < PIPE_HEIGHT - 0.01 \
            else "to the pipe"  # fmt: skip
        if np.isfinite(w.tails[i]):
            self.sign(sees, "full", _FULL)
            sees["port"] = "to the pipe"
        for fault in w.faults:
            if w.at(i, fault):
                self.sign(sees, fault, LINE_SHOWS.get(fault, {}))
            self.sign(sees, fault, EVERYWHERE.get(fault, {}))
        if w.at(i, "blocked") or w.has("frozen"):
            sees["port"] = "dry"
        if w.has("frozen"):
            sees["mouth"] = str(self.rng.choice(["dry", "part full", "full"]))
        told = {k: self.says(OUTLET_WORDS[k], v) for k, v in sees.items()}
        return OutletEvidence(**told, **self.lengths(i, sees, told), ground=self.ground(i, depth))

    def outlets(self) -> tuple[OutletEvidence, ...]:
        """Of every outlet; some kinds may be written down one outlet on."""
        seen = [self.outlet(i) for i in range(self.w.n)]
        moved = [{kind: getattr(other, kind) for kind in sorted(self.swapped)}
                 for other in (*seen[1:], seen[0])]  # fmt: skip
        return tuple(replace(own, **words) for own, words in zip(seen, moved, strict=True))

    def lengths(self, i, sees, told):
        """A stick dipped into the port, the way that the rod went: six in ten people measure."""
        w, rng, found = self.w, self.rng, {}
        water = w.depth[i] + rng.normal(0, 0.01) - PIPE_HEIGHT
        right = told["port"] == sees["port"] == ("below the pipe" if water < 0 else "to the pipe")
        if self.dips and right and "port" not in self.swapped and water > 0.003 - PIPE_HEIGHT:
            found["port_water"] = float(water)
        own = [REACH[fault] for fault in w.faults if fault in REACH and w.at(i, fault)]
        reach = float(rng.uniform(*(own or [(0.3, 8.0)])[0]))
        if self.paces and told["rod"] in ("soft stop", "hard stop") and "rod" not in self.swapped:
            found["rod_distance"] = reach
        return found

    def trace(self, i):
        """What two in three people notice: a lip used a third more than fair, or hardly at all."""
        over = self.w.share[i] * self.w.n
        word = "stained" if over > 1.35 else "dusty" if over < 0.12 else "as the others"
        return self.shows("trace", 0.67, word, "as the others")

    def ground(self, i, depth):
        w, rng = self.w, self.rng
        if rng.random() < self.slip / 2:
            return (str(rng.choice(["head", "end"])),)
        if w.at(i, "crushed") and rng.random() < 0.5:
            return ("over the pipe",)
        if w.at(i, "trench_slope"):
            return self.shows("end", 0.9, ("end",), ())
        if depth < SURFACE and rng.random() > (0.4 if depth > PIPE_HEIGHT else 0.0):
            return ()
        if w.has("solids") or w.at(i, "deep_block"):
            return ("head",)
        return (str(rng.choice(["head", "head", "middle", "end"])),)

    def pour(self, name, inflow) -> Pour:
        w, rng = self.w, self.rng
        flow = w.flows(inflow * np.exp(rng.normal(0, 0.03)))
        error = rng.uniform(0.04, 0.10)
        caught = [max(q * (1 + rng.normal(0, error)) + rng.normal(0, 0.01) * inflow, 0.0)
                  if q > 0.01 * inflow else 0.0 for q in flow]  # fmt: skip
        ways = np.maximum(w.lips + w.felt, w.tails) + rng.normal(0, 0.001, w.n)
        order = [int(i) for i in np.argsort(ways) if caught[i] > 0]
        return Pour(name=name, inflow=inflow, catches=tuple(caught), order=tuple(order), error=0.07)

    def readings(self, spread):
        w, rng = self.w, self.rng
        level = w.lips.min() + min(w.still(), 0.0)
        mark = spread
        scatter = spread * rng.uniform(0.6, 1.3)
        heights = w.lips - level + rng.normal(0, scatter, w.n)
        return tuple((float(np.round(h / mark) * mark),) for h in heights)


def make_job(
    rng: np.random.Generator, truth: str = "", setting: Setting = OWN, faults: int = 1
) -> Job:
    """Draw a job; everything about it is fixed, whatever is looked at later."""
    truth = truth or setting.truth(rng, faults)
    w = World(truth, rng, setting)
    p = Person(w, rng)
    spread = float(rng.choice([1 / 32, 1 / 16])) * INCH
    placed, measured = rng.random() < 0.8, rng.random() < 0.6
    site = Site(
        box=Box(inside=(w.along, w.across)) if placed else Box(),
        outlets=tuple(
            Outlet(
                label=str(i + 1),
                opening=Circle(w.diameter),
                position=tuple(w.places[i]) if placed else None,
                line_length=float(w.lengths[i]) if measured else None,
            )
            for i in range(w.n)
        ),
        flows=(Flow(name="day", inflow=2 * LPM),),
        spread=spread,
        evidence=Evidence(feed=w.feed),
    )
    sits = [j for fault, j in w.faults.items() if fault not in NOWHERE]
    return Job(
        truth=truth,
        outlet=sits[-1] if sits else None,
        site=site,
        everything=replace(p.system(), outlets=p.outlets()),
        readings=p.readings(spread),
        slow=p.pour("slow", 2 * LPM),
        fast=p.pour("fast", 19 * LPM),
    )


OUTSIDE = {
    "system": 0.8, "season": 0.7, "rain": 0.7, "meter": 0.5, "since_use": 0.8, "tank_level": 0.6,
    "tank_outlet": 0.5, "ground_at_box": 0.8,
    "cap": 0.8, "port": 0.7, "ground": 0.9, "traffic": 0.5,
}  # fmt: skip
INSIDE = {
    "inflow": 0.8, "at_rest": 0.8, "rim": 0.4, "baffle": 0.8, "inlet_mouth": 0.8, "stain": 0.7,
    "sludge": 0.8, "cracks": 0.7, "ice": 0.5, "plugged": 0.2, "hole": 0.7, "trace": 0.7,
    "mouth": 0.9, "lip": 0.7, "drain_back": 0.6, "rod": 0.4, "wiped": 0.25,
    "readings": 0.75, "slow": 0.35, "fast": 0.45,
}  # fmt: skip
"""How often each look is made at a first visit, from outside and where the box was opened."""

MOST = 99
"""Looks of one who makes nearly all that there are."""

_LEFT = 0.25
"""Part of the looks left out at a first visit that are still left out after the later ones."""


def looks_made(rng: np.random.Generator, count: int, setting: Setting = OWN) -> set[str]:
    """Which looks a person makes: some few, those that most make sooner, or nearly all.

    One box in ten stays shut at a first visit; later ones leave less unseen.
    """
    opened = rng.random() < 1 - 0.1 * (_LEFT if count == MOST else 1.0)
    chances = {k: p for k, p in (OUTSIDE | (INSIDE if opened else {})).items()
               if k not in setting.absent}  # fmt: skip
    if count == MOST:
        return {k for k, p in chances.items() if rng.random() > (1 - p) * _LEFT}
    names = [k for k in chances if k != "since_use"]
    odds = np.array([chances[k] / (1 - chances[k]) for k in names])
    made = rng.choice(names, count, replace=False, p=odds / odds.sum()).tolist()
    return {*made, "since_use"} if "at_rest" in made else {*made}


MEASURED_WITH = {"port_water": "port", "rod_distance": "rod"}


def revealed(job: Job, looks: set) -> Site:
    """The site with what some looks showed; `port 2` is a look at one outlet, `port` at all."""
    site, seen = job.site, job.everything
    shown = {f.name: getattr(seen, f.name) for f in fields(Evidence) if f.name in looks}
    outlets = tuple(
        OutletEvidence(
            **{
                f.name: getattr(o, f.name)
                for f in fields(OutletEvidence)
                if (look := MEASURED_WITH.get(f.name, f.name)) in looks or f"{look} {i}" in looks
            }
        )
        for i, o in enumerate(seen.outlets)
    )
    pours = tuple(pour for name, pour in (("slow", job.slow), ("fast", job.fast)) if name in looks)
    if "readings" in looks:
        site = replace(
            site,
            outlets=tuple(
                replace(o, readings=r) for o, r in zip(site.outlets, job.readings, strict=True)
            ),
        )
    return replace(
        site, evidence=Evidence(**{"feed": seen.feed, **shown}, outlets=outlets), pours=pours
    )


def with_one_wrong(site: Site, rng: np.random.Generator) -> Site:
    """The same visit with one word written down wrong."""
    seen = site.evidence
    told = [(None, k) for k in WORDS if k != "feed" and getattr(seen, k) is not None]
    told += [(i, kind) for i, outlet in enumerate(seen.outlets) for kind in OUTLET_WORDS
             if getattr(outlet, kind) is not None]  # fmt: skip
    i, kind = told[int(rng.integers(len(told)))]
    holder = seen if i is None else seen.outlets[i]
    words = (WORDS if i is None else OUTLET_WORDS)[kind]
    wrong = str(rng.choice([word for word in words if word != getattr(holder, kind)]))
    measured = {key: None for key, look in MEASURED_WITH.items() if look == kind}
    holder = replace(holder, **{kind: wrong}, **measured)
    if i is not None:
        holder = replace(seen, outlets=(*seen.outlets[:i], holder, *seen.outlets[i + 1 :]))
    return replace(site, evidence=holder)
