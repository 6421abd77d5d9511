"""Mystery cases from a seed: what each cause does to a box and what it shows.

A recipe follows one row of what practice takes to separate the causes (common practice, no source):
what it does to lips and lines, and what is seen of it.

A case is a made-up box, of any shape and with any opening, with the cause of one recipe. Its
readings are lips of an otherwise level box with the error of a ruler; its catches are splits of the
same box with the error of a timed catch. The one look that settles it is kept for the key; all else
is shown to the class, or less of it in a hard case.

What a look cannot tell, the key does not tell either. Leave one lip out: where the others lie on
one plane to the error of a ruler, that one alone may be off. Of two or three lips any may be; of
four too, for each is as far off the plane of the three others; and of two lips in a level box
nobody can say which one moved. A box whose own readings do not bear its cause out is drawn again.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dbox.arrays import Array, ArrayLike, BoolArray
from dbox.errors import DomainError, any_of
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS
from dbox.fieldwork.evidence import WORDS, Evidence, OutletEvidence
from dbox.fieldwork.lessons import Kind, leaning_lips, lesson_site
from dbox.fieldwork.site import Box, Pour, Site
from dbox.hydraulics.openings import Circle, Notch, PipeEnd, Slot
from dbox.hydraulics.split import split
from dbox.units import GALLON, INCH, LITRE_PER_MINUTE, MINUTE

_SEEN: dict[str, Any] = {
    "mouth": "dry", "lip": "clean", "port": "dry", "rod": "clear", "trace": "as the others",
    "ground": (), "cap": "none", "drain_back": "none", "traffic": "none",
}  # fmt: skip
_DAMP: dict[str, Any] = {"port": "below the pipe"}
_WET: dict[str, Any] = {**_DAMP, "trace": "stained", "ground": ("middle",)}
_WHOLE: dict[str, Any] = {
    "system": "distribution box", "feed": "gravity", "meter": "still", "inflow": "none",
    "tank_level": "normal", "sludge": "none", "cracks": "none", "rain": "no matter",
    "season": "all year", "stain": "none", "inlet_mouth": "clear", "ground_at_box": "dry",
    "tank_outlet": "sound", "rim": "level", "at_rest": "at the lowest lip",
}  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Recipe:
    """One cause as it may be met."""

    cause: str  # Key of the diagnosis cause.
    topic: str  # What it is asked for by.
    # How far the lip of its outlet is off, from little to much; + is high. [m]
    lip: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)  # How far the box leans to one side, likewise. [m]
    takes: str = "all"  # What the line of its outlet does with water: `all`, `little`, or `none`.
    tail: float | None = None  # Water that the line holds against its outlet, over its lip. [m]
    # Whether a ruler does not see what is off at the lip: it stands on the lip.
    unread: bool = False
    lost: float = 0.0  # Part of a slow pour that leaves by the wall. [-]
    # What is seen otherwise than in a sound system: of the whole, as in `Evidence`; of its outlet,
    # and of every other, as in `OutletEvidence`. Where a lip can be read to be off, ports, traces
    # and ground follow the water.
    whole: dict[str, Any] = field(default_factory=dict)
    own: dict[str, Any] = field(default_factory=dict)
    others: dict[str, Any] = field(default_factory=lambda: _DAMP)
    look: str  # The one look that settles it, as named in `Evidence` or `OutletEvidence`.
    # The reasoning of the key besides its numbers: each sentence with the looks that it rests on.
    why: tuple[tuple[str, ...], ...] = ()
    hidden: tuple[str, ...] = ()  # What else is kept from the class, since it says nearly the same.
    hard: tuple[str, ...] = ()  # What else nobody looked at in a hard case.

    @property
    def water(self) -> str:
        """How its water gives it away: `height`, `felt`, `stops`, `loses` or `even`."""
        if self.takes != "all" or self.tail is not None:
            return "stops"
        if self.lost:
            return "loses"
        off = any((*self.lip, *self.lean))
        return "even" if not off else "felt" if self.unread else "height"

    @property
    def seen_of_whole(self) -> dict[str, Any]:
        """Words of what is seen of the whole system."""
        return {**_WHOLE, **self.whole}

    def seen(self, *, own: bool) -> dict[str, Any]:
        """Words of what is seen of its outlet, or of another."""
        return {**_SEEN, **(self.own if own else self.others)}


RECIPES = (
    Recipe(
        cause="tilt", topic="tilted box", lean=(0.35 * INCH, 0.6 * INCH),
        whole={"rim": "out of level"}, look="rim", hard=("ground", "trace", "port"),
        why=(("No mouth holds water and the rod runs clear: nothing is in the way.", "mouth",
              "rod"),),
    ),
    Recipe(
        cause="low", topic="low lip", lip=(-0.22 * INCH, -0.35 * INCH), look="rim",
        hard=("ground", "trace", "port"),
        why=(("No mouth holds water and the rod runs clear: nothing is in the way.", "mouth",
              "rod"),),
    ),
    Recipe(
        cause="high", topic="high lip", lip=(0.25 * INCH, 0.4 * INCH), look="rod",
        hard=("ground", "trace", "port"),
        why=(("The rod runs clear: height alone explains it, nothing is in the way.", "rod"),),
    ),
    Recipe(
        cause="deposit", topic="deposit on a lip", lip=(0.16 * INCH, 0.28 * INCH), unread=True,
        own={"lip": "deposit", "wiped": "better"}, look="wiped", hard=("lip",),
        why=(("Something lies on its lip, and a ruler set beside it does not see that.", "lip"),
             ("Once the lip is wiped it runs as the others do.", "wiped"),
             ("Its mouth is dry at rest: no water stands in the pipe, as it would behind a pipe "
              "that rises.", "mouth")),
    ),
    Recipe(
        cause="blocked", topic="blocked pipe", takes="little",
        own={"mouth": "full", "rod": "soft stop", "rod_distance": 0.8}, look="rod",
        hidden=("rod_distance",), hard=("port",),
        why=(("The mouth stands full while the port of that line is dry: the water does not get "
              "that far. A full trench would show in the port.", "mouth", "port"),
             ("Little runs back, the box bailed: what stands in the pipe is not a full trench.",
              "drain_back"),
             ("The rod stops softly within reach of the box, and no wheel crossed the line.",
              "rod", "traffic")),
    ),
    Recipe(
        cause="crushed", topic="crushed pipe", takes="little", look="rod", hidden=("rod_distance",),
        hard=("ground",),
        own={"mouth": "full", "rod": "hard stop", "rod_distance": 3.0, "traffic": "ruts",
             "ground": ("over the pipe",)},
        why=(("The mouth stands full while the port is dry: the water does not get that far.",
              "mouth", "port"),
             ("The ground is wet over the pipe, not over the trench.", "ground"),
             ("Ruts cross the line, and the rod stops hard under them.", "traffic", "rod")),
    ),
    Recipe(
        cause="back_pitched", topic="back pitched pipe", lip=(0.3 * INCH, 0.6 * INCH), unread=True,
        own={"mouth": "part full", "rod": "belly", "drain_back": "small"}, look="drain_back",
        hidden=("rod",), hard=("port",),
        why=(("Its mouth is part full at rest and its lip is no lower than the others: water "
              "stands in the pipe, in front of a rise.", "mouth"),
             ("The port is dry: the trench is not full.", "port"),
             ("A little runs back and then no more: what stood before the rise.", "drain_back")),
    ),
    Recipe(
        cause="full", topic="full trench", tail=0.06, look="drain_back", hard=("port", "ground"),
        own={"mouth": "full", "port": "to the pipe", "drain_back": "long", "ground": ("head",)},
        why=(("The mouth stands full AND the port is wet to the pipe: the trench itself is full.",
              "mouth", "port"),
             ("The rod runs clear: nothing is in the way.", "rod"),
             ("Water runs back long after the box is bailed: there is a whole trench of it.",
              "drain_back")),
    ),
    Recipe(
        cause="leak", topic="leaking box", lost=0.55, others={}, look="plugged", hidden=("cracks",),
        hard=("ground_at_box",),
        whole={"at_rest": "below the lowest lip", "ground_at_box": "wet",
               "cracks": "below the lips", "plugged": "falls"},
        why=(("Water at rest stands BELOW the lowest lip: it found another way out.", "at_rest"),
             ("The ground by the box is wet.", "ground_at_box"),
             ("With every outlet plugged the level falls: it is the box, not a line.", "plugged")),
    ),
    Recipe(
        cause="overload", topic="overload", look="meter", hard=("inflow",),
        whole={"inflow": "stops with the house valve", "meter": "turning"},
        own={**_WET, "trace": "as the others", "mouth": "part full", "port": "to the pipe"},
        why=(("All lines are wet alike: not one line is at fault.", "port"),
             ("Water runs into the box with nobody at home, and stops with the house valve.",
              "inflow"),
             ("The meter turns with every tap shut: it comes by the meter.", "meter")),
    ),
    Recipe(
        cause="infiltration", topic="ground water", own=_DAMP, look="inflow", hard=("cracks",),
        whole={"rain": "only after rain", "season": "wet season", "cracks": "above the lips",
               "inflow": "runs with the house shut"},
        why=(("The trouble comes with rain and goes with it.", "rain"),
             ("The meter stands still: it is no water of the house.", "meter"),
             ("A joint over the lips is open.", "cracks"),
             ("Water runs in with the house valve shut.", "inflow")),
    ),
    Recipe(
        cause="solids", topic="solids", whole={"sludge": "sludge", "tank_outlet": "failed"},
        own={**_DAMP, "lip": "deposit", "ground": ("head",), "wiped": "better"},
        look="tank_outlet", hidden=("wiped",), hard=("sludge",),
        why=(("Every lip carries a deposit, and every trench is wet at its head: it comes to all "
              "of them by the box.", "lip", "ground"),
             ("Sludge lies in the box: what should stay in the tank comes over.", "sludge"),
             ("The tee or filter at the tank's outlet has failed.", "tank_outlet")),
    ),
    Recipe(
        cause="capped", topic="capped outlet", takes="none", own={"cap": "capped",
        "trace": "dusty"}, look="cap", hard=("trace",),
        why=(("Its mouth is dry: nothing stands in it, as it would before a stoppage.", "mouth"),
             ("It is capped: ask who did it and why before calling it a fault.", "cap")),
    ),
)  # fmt: skip
"""How each cause is met: lips and leans [m], what a leak loses [-], what is seen (invented)."""

TOPICS = tuple(recipe.topic for recipe in RECIPES)
"""What cases may be asked by."""

DIFFICULTIES = {"easy": (0.5, 1.0), "usual": (0.0, 1.0), "hard": (0.0, 0.35)}
"""How difficult a case may be, and what part of the range of sizes its fault is from. [-]"""

_HOLES = {
    False: (
        Kind("2 in round hole", Circle(2 * INCH)), Kind("3 in round hole", Circle(3 * INCH)),
        Kind("90 degree notch", Notch(np.pi / 2)), Kind("60 degree notch", Notch(np.pi / 3)),
        Kind("1 in slot open on top", Slot(INCH)), Kind("bare 4 in pipe end", PipeEnd(4 * INCH)),
    ),
    True: (
        Kind("50 mm round hole", Circle(0.05)), Kind("80 mm round hole", Circle(0.08)),
        Kind("90 degree notch", Notch(np.pi / 2)), Kind("60 degree notch", Notch(np.pi / 3)),
        Kind("25 mm slot open on top", Slot(0.025)), Kind("bare 100 mm pipe end", PipeEnd(0.1)),
    ),
}  # fmt: skip
"""Openings of a case's box, in inches and metric. [m], [rad] (invented)"""

_SIDES = {False: np.arange(14, 25, 2) * INCH, True: np.arange(0.35, 0.61, 0.05)}
"""Inside sizes of a case's box, likewise. [m] (invented)"""

OUTLETS = (2, 8)
"""Fewest and most outlets of a case's box. [-] (judgement)"""

MARKS = {False: INCH / 32, True: 0.001}
"""Standard deviation of a reading, and what it is rounded to, likewise. [m] (1/32 in at best:
common practice, no source)"""

LEAK_FALL = 0.6 * INCH
"""How far water stands below the lowest lip of a box that leaks. [m] (invented)"""

SCATTER = INCH / 64
"""How far the lips of a well-set box are from level. [m] (judgement)"""

CATCH_ERROR = 0.05
"""Relative error of a timed catch. [-] (5 to 10 %: common practice, no source)"""

POURS = {
    False: (("slow pour", GALLON / MINUTE), ("bucket", 5.0 * GALLON / MINUTE)),
    True: (("slow pour", 4.0 * LITRE_PER_MINUTE), ("bucket", 20.0 * LITRE_PER_MINUTE)),
}
"""Pours of a case, likewise: the most of an ordinary day, and a bucket. [m3/s] (judgement)"""

LITTLE = 0.05 * LITRE_PER_MINUTE
"""What a blocked line still takes. [m3/s] (judgement)"""

MOST_GROUPS = len(RECIPES)
"""Groups that get a cause each; as many as may be asked for. [-]"""

_SURE = 3.0
"""Standard errors by which a lip is surely off. [-] (judgement)"""

_OFF_SHARE = 0.25
"""Part of a fair share by which a line whose water is off gets less at the slow pour. [-]
(judgement)"""

_RUNS = 0.1
"""Part of what its lip as read would give that a line gives or not, where it is said. [-]
(judgement)"""

_MOST_DRAWS = 200
"""Boxes that are drawn for one case. [-] (numerical)"""

Answer = tuple[str, int]
"""Key of a cause, and the outlet it sits at; -1 for the whole box."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One mystery case."""

    seed: int  # What it was made from.
    group: int  # Which of the groups it is for, from 0.
    difficulty: str  # A key of `DIFFICULTIES`.
    recipe: Recipe  # The cause as it is met here.
    site: Site  # The box with everything that can be seen of it.
    shown: Site  # The same without the look that settles it.
    outlet: int  # Place of the outlet it sits at; -1 for the whole box.

    @property
    def cause(self) -> str:
        """What is wrong: a key of the diagnosis causes."""
        return self.recipe.cause

    @property
    def look(self) -> str:
        """The look that settles it, a name of `Evidence` or `OutletEvidence`."""
        return self.recipe.look

    @property
    def why(self) -> tuple[str, ...]:
        """The reasoning that rests on what is shown and on the look that settles it."""
        return tuple(
            sentence
            for sentence, *looks in self.recipe.why
            if all(look == self.look or self._is_shown(look) for look in looks)
        )

    def _is_shown(self, look: str) -> bool:
        seen = self.shown.evidence
        return getattr(seen if look in WORDS else seen.of_outlet(0), look) is not None

    @property
    def hole(self) -> str:
        """What its openings are called."""
        opening = self.site.outlets[0].opening
        return next(kind.name for kind in _HOLES[self.site.metric] if kind.opening == opening)

    @property
    def lips(self) -> Array:
        """Lips as read, over still water. [m] (n,)"""
        return np.array([np.mean(outlet.readings) for outlet in self.site.outlets])

    @property
    def as_read(self) -> Array:
        """Share of each line at each pour, were the lips as read all there is. [-] (pours, n)"""
        inflow = [pour.inflow for pour in self.site.pours]
        return split(inflow, self.lips, self.site.outlets[0].opening).share

    @property
    def caught(self) -> Array:
        """What each line gave of each pour. [-] (pours, n)"""
        flow = np.array([pour.catches for pour in self.site.pours], np.float64)
        return np.asarray(flow / [[pour.inflow] for pour in self.site.pours])

    @property
    def by_lips(self) -> tuple[int, ...]:
        """Outlets of which, by their lips, any one alone may be off in a box that may lean."""
        return off_alone(self.lips, self.places, lip_error(self.site))

    @property
    def places(self) -> list[tuple[float, float] | None]:
        """Where the outlets are, as in `Outlet`."""
        return [outlet.position for outlet in self.site.outlets]

    @property
    def answers(self) -> tuple[Answer, ...]:
        """What may be wrong by all that was seen, the look that settles it too; no other is told.

        More than one where no look tells them apart.
        """
        if self.recipe.water != "height" or self.site.evidence.rim != "level":
            return ((self.cause, self.outlet),)
        off = off_alone(self.lips, None, lip_error(self.site))
        over = [self.lips[i] - np.delete(self.lips, i).mean() for i in off]
        return tuple(("high" if h > 0 else "low", i) for i, h in zip(off, over, strict=True))

    @property
    def cause_name(self) -> str:
        """What the cause is called."""
        return CAUSES[KEYS.index(self.cause)].name

    @property
    def look_of_outlet(self) -> bool:
        """Whether the look that settles it is at one outlet."""
        return self.look not in WORDS

    @property
    def look_shows(self) -> str:
        """The word that the look that settles it gives."""
        evidence = self.site.evidence
        seen = evidence.of_outlet(self.outlet) if self.look_of_outlet else evidence
        return str(getattr(seen, self.look))


def lip_error(site: Site) -> float:
    """Standard error of a lip as read twice in a case, about a level box. [m]"""
    mark = MARKS[site.metric]
    return float(np.sqrt(SCATTER**2 + (mark**2 + mark**2 / 12) / 2))


def off_alone(
    heights: ArrayLike, places: Sequence[tuple[float, float] | None] | None, error: float
) -> tuple[int, ...]:
    """Outlets of which any one alone may be off, the others being as a sound box has them.

    heights [m]; places [m], None where the box is known to be level; error [m].

    >>> corners = [(0, 0), (1, 0), (1, 1), (0, 1)]
    >>> off_alone([-6, 0, 0, 0], corners, 0.5), off_alone([-6, 0, 0, 0], None, 0.5)
    ((0, 1, 2, 3), (0,))
    """
    height = np.asarray(heights, np.float64)
    return tuple(
        i
        for i in range(height.size)
        if alike(np.delete(height, i), places and [*places[:i], *places[i + 1 :]], error)
    )


def alike(
    heights: ArrayLike, places: Sequence[tuple[float, float] | None] | None, error: float
) -> bool:
    """Whether lips lie on one plane to the error of a ruler, or level; as for `off_alone`."""
    height = np.asarray(heights, np.float64)
    ways = np.ones((height.size, 1))
    if places is not None:
        ways = np.column_stack([ways, np.array(places, np.float64)])
    hat = ways @ np.linalg.pinv(ways)
    # what is left over scatters the less, the more the fit follows its own lip
    spread = error * np.sqrt(np.clip(1.0 - np.diag(hat), 0.0, None))
    return bool((np.abs(height - hat @ height) <= _SURE * spread + 1e-9).all())


def make_cases(
    seed: int, groups: int = 1, topics: Sequence[str] = (), difficulty: str = "usual"
) -> tuple[Case, ...]:
    """Make one case for each group, no two with the same cause unless few topics are asked for."""
    if seed < 0:
        raise DomainError(f"the seed is {seed}; give 0 or more")
    if not 1 <= groups <= MOST_GROUPS:
        raise DomainError(f"{groups} groups; there are cases for 1 to {MOST_GROUPS}")
    if unknown := {*topics} - {*TOPICS}:
        raise DomainError(f"no topic is called {', '.join(unknown)}; use {any_of(TOPICS)}")
    if difficulty not in DIFFICULTIES:
        raise DomainError(f"no case is {difficulty}; it is {any_of(DIFFICULTIES)}")
    recipes = [recipe for recipe in RECIPES if not topics or recipe.topic in topics]
    order = np.random.default_rng(seed).permutation(len(recipes))
    return tuple(
        _case(seed, group, recipes[order[group % len(recipes)]], difficulty)
        for group in range(groups)
    )


def _case(seed: int, group: int, recipe: Recipe, difficulty: str) -> Case:
    """The first box drawn whose own readings and catches bear its cause out."""
    rng = np.random.default_rng([seed, group])
    for _ in range(_MOST_DRAWS):
        case = _drawn(seed, group, recipe, difficulty, rng)
        if _sound(case):
            return case
    raise DomainError(f"no {difficulty} case of {recipe.topic} comes of seed {seed}; take another")


def _sound(case: Case) -> bool:
    """Whether a case shows what its key will tell."""
    error, answers = lip_error(case.site), case.answers
    if (case.cause, case.outlet) not in answers or (case.difficulty == "easy" and answers[1:]):
        return False
    water, lips, i = case.recipe.water, case.lips, case.outlet
    fair = 1.0 / lips.size
    slow, fast = case.caught
    if water == "height":
        # it is off by more than a ruler errs, a box that leans keeps its lips on a plane, and what
        # it does fades as the flow rises
        plain = case.cause != "tilt" or alike(lips, case.places, error)
        fades = np.abs(slow - fair).max() > np.abs(fast - fair).max()
        return bool(plain and fades and np.ptp(lips) > 2 * _SURE * error)
    if float(np.abs(lips - lips.mean()).max()) > _SURE * error:
        return False
    if water in ("felt", "stops"):
        would = case.as_read
        less = would[0, i] - slow[i] > _OFF_SHARE * fair
        part, rest = slow[i] / would[0, i], fast[i] / would[1, i]
        return bool(less and (rest > part + _RUNS if water == "felt" else rest < _RUNS))
    return True


def _box(rng: np.random.Generator) -> Site:
    """A box of any make: its unit, size, shape, openings and outlets."""
    metric = bool(rng.integers(2))
    opening = _HOLES[metric][rng.integers(len(_HOLES[metric]))].opening
    n = int(rng.integers(OUTLETS[0], OUTLETS[1] + 1))
    site = lesson_site(n, opening, flows=())
    along, across = np.sort(rng.choice(_SIDES[metric], 2)).tolist()
    if rng.random() < 0.35:
        # evenly round it, a sixth of the way left free on either side of the inlet
        way = 2 * np.pi * (1 + 4 * (np.arange(n) + 0.5) / n) / 6
        places = 0.5 * across * np.column_stack([1 - np.cos(way), 1 - np.sin(way)])
        box = Box(shape="round", inside=(across,), inlet="turned down")
    else:
        grown = np.array([along, across]) / site.box.inside
        places = np.array([outlet.position for outlet in site.outlets]) * grown
        box = Box(inside=(along, across), inlet="turned down")
    spots = [(float(x), float(y)) for x, y in places]
    outlets = tuple(replace(o, position=p) for o, p in zip(site.outlets, spots, strict=True))
    return replace(site, box=box, outlets=outlets, metric=metric, tolerance=None)


def _drawn(
    seed: int, group: int, recipe: Recipe, difficulty: str, rng: np.random.Generator
) -> Case:
    box = _box(rng)
    n, mark = len(box.outlets), MARKS[box.metric]
    whole = not CAUSES[KEYS.index(recipe.cause)].of_outlet
    outlet = int(rng.integers(n))
    at_outlet = np.arange(n) == outlet
    size = rng.uniform(*DIFFICULTIES[difficulty])
    lean, off = (low + size * (high - low) for low, high in (recipe.lean, recipe.lip))

    # It leans towards that outlet, more or less.
    middle = np.resize(box.box.inside, 2) / 2
    far, right = np.array(box.outlets[outlet].position) - middle
    toward = np.arctan2(right, far) + rng.uniform(-0.35, 0.35)
    level = leaning_lips(box, lean * np.cos(toward), lean * np.sin(toward))
    level = level + rng.normal(0.0, SCATTER, n)
    # Lips as the water feels them, and as a ruler finds them.
    felt = level + np.where(at_outlet, off, 0.0)
    read = level if recipe.unread else felt

    own = at_outlet | whole
    words = [recipe.seen(own=bool(mine)) for mine in own]
    if recipe.water == "height":
        share = n * split(POURS[box.metric][0][1], felt, box.outlets[0].opening).share
        words = [{**_SEEN, **_worn(float(over))} for over in share]
    evidence = Evidence(
        **recipe.seen_of_whole, outlets=tuple(OutletEvidence(**each) for each in words)
    )
    still = read.min() - (LEAK_FALL if recipe.lost else 0.0)
    marks = np.round((read - still + rng.normal(0, mark, (2, n))) / mark)
    readings = (marks * mark + 0.0).T.tolist()
    site = replace(
        box,
        title=f"Mystery case {seed}-{group + 1}",
        outlets=tuple(
            replace(o, readings=tuple(heights))
            for o, heights in zip(box.outlets, readings, strict=True)
        ),
        spread=mark,
        mark=mark,
        pours=tuple(
            _pour(name, q, felt, recipe, at_outlet, box, rng) for name, q in POURS[box.metric]
        ),
        evidence=evidence,
    )
    kept = (recipe.look, *recipe.hidden, *(recipe.hard if difficulty == "hard" else ()))
    return Case(
        seed=seed,
        group=group,
        difficulty=difficulty,
        recipe=recipe,
        site=site,
        shown=replace(site, evidence=_without(evidence, *kept)),
        outlet=-1 if whole else outlet,
    )


def _worn(over: float) -> dict[str, Any]:
    """What a line shows that gets so much of a slow pour over a fair share. (judgement)"""
    if over >= 1.4:
        return _WET
    if over >= 0.5:
        return _DAMP
    return {} if over >= 0.05 else {"trace": "dusty"}


def _pour(
    name: str,
    inflow: float,
    lips: Array,
    recipe: Recipe,
    own: BoolArray,
    box: Site,
    rng: np.random.Generator,
) -> Pour:
    """What is caught of a pour, and which outlets are seen to start."""
    shut = own & (recipe.takes != "all")
    little = LITTLE if recipe.takes == "little" else 0.0
    # A crack takes about the same at any pour.
    lost = recipe.lost * POURS[box.metric][0][1]
    opening = box.outlets[0].opening
    tail = np.where(own & (recipe.tail is not None), lips + (recipe.tail or 0.0), -np.inf)
    runs = split(inflow - little - lost, np.where(shut, np.inf, lips), opening, tail)
    flow = runs.flow + np.where(shut, little, 0.0)
    ways = np.where(shut & (little == 0), np.inf, np.maximum(lips, tail))
    caught = flow * np.exp(rng.normal(0.0, CATCH_ERROR, lips.size))
    starts = tuple(int(i) for i in np.argsort(ways) if flow[i] > 0)
    return Pour(
        name=name, inflow=inflow, error=CATCH_ERROR, catches=tuple(caught.tolist()), order=starts
    )


def _without(evidence: Evidence, *looks: str) -> Evidence:
    """The same, some looks not yet taken."""
    whole: dict[str, Any] = {look: None for look in looks if look in WORDS}
    each: dict[str, Any] = {look: None for look in looks if look not in WORDS}
    outlets = tuple(replace(outlet, **each) for outlet in evidence.outlets)
    return replace(evidence, **whole, outlets=outlets)
