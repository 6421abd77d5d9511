"""Mystery cases from a seed: what each cause does to a box and what it shows.

A recipe follows one row of what practice takes to separate the causes (common practice, no source):
what it does to lips and lines, and what is seen of it.

A case is a made-up box with the cause of one recipe. Its readings are lips of an otherwise level
box with the error of a ruler; its catches are splits of the same box with the error of a timed
catch. The one look that settles it is kept for the key; all else is shown to the class.
"""

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from dbox.arrays import Array, BoolArray
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS
from dbox.fieldwork.evidence import WORDS, Evidence, OutletEvidence
from dbox.fieldwork.lessons import leaning_lips, lesson_site
from dbox.fieldwork.site import Pour, Site
from dbox.hydraulics.openings import Circle
from dbox.hydraulics.split import split
from dbox.units import INCH, LITRE_PER_MINUTE

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
    # How far the lip of its outlet is off, least and most; + is high. [m]
    lip: tuple[float, float] = (0.0, 0.0)
    lean: tuple[float, float] = (0.0, 0.0)  # How far the box leans to one side, least and most. [m]
    takes: str = "all"  # What the line of its outlet does with water: `all`, `little`, or `none`.
    tail: float | None = None  # Water that the line holds against its outlet, over its lip. [m]
    # Whether a ruler does not see what is off at the lip: it stands on the lip.
    unread: bool = False
    lost: float = 0.0  # Part of a slow pour that leaves by the wall. [-]
    # What is seen otherwise than in a sound system: of the whole, as in `Evidence`; of its outlet,
    # and of every other, as in `OutletEvidence`.
    whole: dict[str, Any] = field(default_factory=dict)
    own: dict[str, Any] = field(default_factory=dict)
    others: dict[str, Any] = field(default_factory=lambda: _DAMP)
    look: str  # The one look that settles it, as named in `Evidence` or `OutletEvidence`.
    why: tuple[str, ...]  # The reasoning of the key.
    hidden: tuple[str, ...] = ()  # What else is kept from the class, since it says nearly the same.

    @property
    def seen_of_whole(self) -> dict[str, Any]:
        """Words of what is seen of the whole system."""
        return {**_WHOLE, **self.whole}

    def seen(self, *, own: bool) -> dict[str, Any]:
        """Words of what is seen of its outlet, or of another."""
        return {**_SEEN, **(self.own if own else self.others)}


RECIPES = (
    Recipe(
        cause="tilt", lean=(0.35 * INCH, 0.6 * INCH), whole={"rim": "out of level"}, own=_WET,
        others={}, look="rim",
        why=("The lips fall evenly from one side of the box to the other: they fit one plane, as a "
             "box that leans would have it.",
             "The lines on the low side run first, and the gap closes as the flow rises.",
             "No pipe holds water, and the rod runs clear: nothing is in the way."),
    ),
    Recipe(
        cause="low", lip=(-0.35 * INCH, -0.22 * INCH), own=_WET, others={}, look="rim",
        why=("One lip stands off the plane of the others: that insert or pipe dropped.",
             "Its line runs first and is the wet one; the others are even among themselves."),
    ),
    Recipe(
        cause="high", lip=(0.25 * INCH, 0.4 * INCH), own={"trace": "dusty"}, others=_WET,
        look="rod",
        why=("One lip stands over the others by more than the water of a slow pour; height alone "
             "explains that its line gets nothing.",
             "Its pipe is clean and dusty, and under the bucket it does run."),
    ),
    Recipe(
        cause="deposit", lip=(0.16 * INCH, 0.28 * INCH), unread=True,
        own={"lip": "deposit", "wiped": "better"}, look="wiped",
        why=("By the ruler all lips are alike, and yet one line gets less at a slow pour.",
             "Something lies on its lip. The bucket runs over it."),
    ),
    Recipe(
        cause="blocked", takes="little", own={"mouth": "full", "rod": "soft stop"}, look="rod",
        why=("The mouth stands full while the port of that line is DRY: the water does not get "
             "that far.",
             "It takes a little and then no more; a full trench would show in the port."),
    ),
    Recipe(
        cause="crushed", takes="little", look="rod",
        own={"mouth": "full", "rod": "hard stop", "traffic": "ruts", "ground": ("over the pipe",)},
        why=("The mouth stands full, the port is dry, and the ground is wet over the pipe, not "
             "over the trench.", "Ruts cross the line: something heavy went over it."),
    ),
    Recipe(
        cause="back_pitched", lip=(0.3 * INCH, 0.6 * INCH), unread=True, look="drain_back",
        own={"mouth": "part full", "rod": "belly", "drain_back": "small"}, hidden=("rod",),
        why=("The mouth is part full at rest and the lip is no lower than the others.",
             "That line joins late, and its port is dry: water stands in the pipe, not in the "
             "trench."),
    ),
    Recipe(
        cause="full", tail=0.06, look="drain_back",
        own={"mouth": "full", "port": "to the pipe", "drain_back": "long", "ground": ("head",)},
        why=("The mouth stands full AND the port is wet to the pipe: the trench itself is full.",
             "It takes nothing at the pour; the rod runs clear, so nothing is in the way."),
    ),
    Recipe(
        cause="leak", lost=0.55, others={}, look="plugged", hidden=("cracks",),
        whole={"at_rest": "below the lowest lip", "ground_at_box": "wet",
               "cracks": "below the lips", "plugged": "falls"},
        why=("Water at rest stands BELOW the lowest lip: it found another way out.",
             "Less is caught at the slow pour than was poured, and the ground by the box is wet."),
    ),
    Recipe(
        cause="overload", whole={"inflow": "stops with the house valve", "meter": "turning"},
        own={**_WET, "trace": "as the others", "mouth": "part full", "port": "to the pipe"},
        others={**_WET, "trace": "as the others", "mouth": "part full"}, look="meter",
        why=("The split is even, and all lines are wet alike.",
             "Water runs into the box with nobody at home, and stops with the house valve: it "
             "comes by the meter."),
    ),
    Recipe(
        cause="infiltration", own=_DAMP, look="inflow",
        whole={"rain": "only after rain", "season": "wet season", "cracks": "above the lips",
               "inflow": "runs with the house shut"},
        why=("The split is even; the trouble comes with rain and goes with it.",
             "The meter stands still and a joint over the lips is open."),
    ),
    Recipe(
        cause="solids", whole={"sludge": "sludge", "tank_outlet": "failed"},
        own={**_DAMP, "lip": "deposit", "ground": ("head",), "wiped": "better"},
        others={**_DAMP, "lip": "deposit", "ground": ("head",)},
        look="tank_outlet", hidden=("wiped",),
        why=("All lips carry a deposit and sludge lies in the box: what should stay in the tank "
             "comes over.", "All trenches are wet at their heads, none more than the others."),
    ),
    Recipe(
        cause="capped", takes="none", own={"cap": "capped", "trace": "dusty"}, look="cap",
        why=("One line gets nothing at any flow, although its lip stands as low as the others.",
             "Its mouth is dry: nothing stands in it, as it would before a stoppage."),
    ),
)  # fmt: skip
"""How each cause is met: lips and leans [m], what a leak loses [-], what is seen (invented)."""

OUTLETS = 4
"""Outlets of a case's box. [-] (judgement)"""

READING_ERROR = INCH / 32
"""Standard deviation of a reading, and what it is rounded to. [m] (common practice, no source)"""

LEAK_FALL = 0.6 * INCH
"""How far water stands below the lowest lip of a box that leaks. [m] (invented)"""

SCATTER = INCH / 64
"""How far the lips of a well-set box are from level. [m] (judgement)"""

CATCH_ERROR = 0.05
"""Relative error of a timed catch. [-] (5 to 10 %: common practice, no source)"""

POURS = (("slow pour", 4.0 * LITRE_PER_MINUTE), ("bucket", 20.0 * LITRE_PER_MINUTE))
"""Pours of a case: the most of an ordinary day, and a bucket, as in `LESSON_FLOWS`. [m3/s]
(judgement)"""

LITTLE = 0.05 * LITRE_PER_MINUTE
"""What a blocked line still takes. [m3/s] (judgement)"""

MOST_GROUPS = len(RECIPES)
"""Groups that get a cause each. [-]"""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One mystery case."""

    seed: int  # What it was made from.
    group: int  # Which of the groups it is for, from 0.
    site: Site  # The box with everything that can be seen of it.
    shown: Site  # The same without the look that settles it.
    cause: str  # What is wrong: a key of the diagnosis causes.
    outlet: int  # Place of the outlet it sits at; -1 for the whole box.
    look: str  # The look that settles it, a name of `Evidence` or `OutletEvidence`.
    why: tuple[str, ...]  # The reasoning.

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


def make_cases(seed: int, groups: int = 1) -> tuple[Case, ...]:
    """Make one case for each group, no two with the same cause."""
    if seed < 0:
        raise DomainError(f"the seed is {seed}; give 0 or more")
    if not 1 <= groups <= MOST_GROUPS:
        raise DomainError(f"{groups} groups; there are cases for 1 to {MOST_GROUPS}")
    order = np.random.default_rng(seed).permutation(len(RECIPES))
    return tuple(_case(seed, group, RECIPES[order[group]]) for group in range(groups))


def _case(seed: int, group: int, recipe: Recipe) -> Case:
    rng = np.random.default_rng([seed, group])
    box = lesson_site(OUTLETS, Circle(2 * INCH), flows=())
    whole = not CAUSES[KEYS.index(recipe.cause)].of_outlet
    outlet = int(rng.integers(OUTLETS))
    at_outlet = np.arange(OUTLETS) == outlet

    toward, lean = rng.uniform(0.0, 2.0 * np.pi), rng.uniform(*recipe.lean)
    level = leaning_lips(box, lean * np.cos(toward), lean * np.sin(toward))
    level = level + rng.normal(0.0, SCATTER, OUTLETS)
    # Lips as the water feels them, and as a ruler finds them.
    felt = level + np.where(at_outlet, rng.uniform(*recipe.lip), 0.0)
    read = level if recipe.unread else felt

    # Of a box that leans the low outlets are its own, of any other trouble of the whole all are.
    own = read < read.mean() if recipe.cause == "tilt" else at_outlet | whole
    evidence = Evidence(
        **recipe.seen_of_whole,
        outlets=tuple(OutletEvidence(**recipe.seen(own=bool(mine))) for mine in own),
    )
    still = read.min() - (LEAK_FALL if recipe.lost else 0.0)
    marks = np.round((read - still + rng.normal(0, READING_ERROR, (2, OUTLETS))) / READING_ERROR)
    readings = (marks * READING_ERROR + 0.0).T.tolist()
    site = replace(
        box,
        title=f"Mystery case {seed}-{group + 1}",
        outlets=tuple(
            replace(o, readings=tuple(heights))
            for o, heights in zip(box.outlets, readings, strict=True)
        ),
        spread=READING_ERROR,
        tolerance=None,
        pours=tuple(_pour(name, q, felt, recipe, at_outlet, rng) for name, q in POURS),
        evidence=evidence,
    )
    return Case(
        seed=seed,
        group=group,
        site=site,
        shown=replace(site, evidence=_without(evidence, recipe.look, *recipe.hidden)),
        cause=recipe.cause,
        outlet=-1 if whole else outlet,
        look=recipe.look,
        why=recipe.why,
    )


def _pour(
    name: str, inflow: float, lips: Array, recipe: Recipe, own: BoolArray, rng: np.random.Generator
) -> Pour:
    """What is caught of a pour, and which outlets are seen to start."""
    shut = own & (recipe.takes != "all")
    little = LITTLE if recipe.takes == "little" else 0.0
    # A crack takes about the same at any pour.
    lost = recipe.lost * POURS[0][1]
    tail = np.where(own & (recipe.tail is not None), lips + (recipe.tail or 0.0), -np.inf)
    runs = split(inflow - little - lost, np.where(shut, np.inf, lips), Circle(2 * INCH), tail)
    flow = runs.flow + np.where(shut, little, 0.0)
    ways = np.where(shut & (little == 0), np.inf, np.maximum(lips, tail))
    caught = flow * np.exp(rng.normal(0.0, CATCH_ERROR, OUTLETS))
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
