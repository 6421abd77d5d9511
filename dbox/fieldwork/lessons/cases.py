"""What is wrong with this box? Mystery cases from a seed: same seed, same case.

A case is a made-up box with one cause (`recipes`). Its readings are lips of an otherwise level box
with the error of a ruler; its catches are splits of the same box with the error of a timed catch.
Everything but the one look that settles it is shown to the class.
"""

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.errors import DomainError
from dbox.fieldwork.diagnosis.causes import CAUSES, KEYS
from dbox.fieldwork.lessons.bench_box import INCH, LITRE_PER_MINUTE, leaning_lips, lesson_site
from dbox.fieldwork.lessons.recipes import RECIPES, Recipe
from dbox.fieldwork.records.evidence import WORDS, Evidence, OutletEvidence
from dbox.fieldwork.records.poured import Pour
from dbox.fieldwork.site import Site
from dbox.hydraulics.openings import Circle
from dbox.hydraulics.split import split

OUTLETS = 4
READING_ERROR, READ_TO = INCH / 32, INCH / 32

LEAK_FALL = 0.6 * INCH
"""How far water stands below the lowest lip of a box that leaks. [m] (invented)"""
"""Standard deviation of a reading, and what it is rounded to. [m]"""

SCATTER = INCH / 64
"""How far the lips of a well-set box are from level. [m]"""

CATCH_ERROR = 0.05
"""Relative error of a timed catch. [-] (5 to 10 %: common practice, no source)"""

POURS = (("slow pour", 4.0 * LITRE_PER_MINUTE), ("bucket", 20.0 * LITRE_PER_MINUTE))
"""Pours of a case. [m3/s]"""

LITTLE = 0.05 * LITRE_PER_MINUTE
"""What a blocked line still takes. [m3/s] (judgement)"""

MOST_GROUPS = len(RECIPES)


@dataclass(frozen=True, kw_only=True)
class Case:
    """One mystery case.

    Parameters
    ----------
    seed : int
        What it was made from.
    group : int
        Which of the groups it is for, from 0.
    site : Site
        The box with everything that can be seen of it.
    shown : Site
        The same without the look that settles it.
    cause : str
        What is wrong: a key of the diagnosis causes.
    outlet : int
        Place of the outlet it sits at; -1 for the whole box.
    look : str
        The look that settles it, a name of `Evidence` or `OutletEvidence`.
    why : tuple of str
        The reasoning.
    """

    seed: int
    group: int
    site: Site
    shown: Site
    cause: str
    outlet: int
    look: str
    why: tuple[str, ...]

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
    """Make one case for each group, no two with the same cause.

    Parameters
    ----------
    seed : int
        Same seed, same cases; the case of a group hangs on the seed and the group alone.
    groups : int
        How many.

    Returns
    -------
    tuple of Case
        One for each group.

    Raises
    ------
    DomainError
        Where the seed is negative, or there are more groups than causes.
    """
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
    felt, read = _lips(box, recipe, outlet, rng)
    evidence = Evidence(**recipe.whole, outlets=_seen(recipe, read, outlet, whole=whole))
    still = float(read.min()) - (LEAK_FALL if recipe.lost else 0.0)
    readings = np.round((read - still + rng.normal(0, READING_ERROR, (2, OUTLETS))) / READ_TO)
    site = replace(
        box,
        title=f"Mystery case {seed}-{group + 1}",
        outlets=tuple(
            replace(o, readings=tuple(float(r) * READ_TO + 0.0 for r in readings[:, i]))
            for i, o in enumerate(box.outlets)
        ),
        spread=READING_ERROR,
        tolerance=None,
        pours=tuple(_pour(name, q, felt, recipe, outlet, rng) for name, q in POURS),
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


def _lips(box: Site, recipe: Recipe, outlet: int, rng: np.random.Generator) -> tuple[Array, Array]:
    """Lips as the water feels them, and as a ruler finds them. [m]"""
    toward = rng.uniform(0.0, 2.0 * np.pi)
    lean = rng.uniform(*recipe.lean)
    level = leaning_lips(box, lean * np.cos(toward), lean * np.sin(toward))
    level = level + rng.normal(0.0, SCATTER, OUTLETS)
    off = np.where(np.arange(OUTLETS) == outlet, rng.uniform(*recipe.lip), 0.0)
    return level + off, level if recipe.unread else level + off


def _pour(
    name: str, inflow: float, lips: Array, recipe: Recipe, outlet: int, rng: np.random.Generator
) -> Pour:
    """What is caught of a pour, and which outlets are seen to start."""
    own = np.arange(OUTLETS) == outlet
    shut = own & (recipe.takes != "all")
    little = LITTLE if recipe.takes == "little" else 0.0
    # a crack takes about the same at any pour
    lost = recipe.lost * POURS[0][1]
    tail = np.where(own & (recipe.tail is not None), lips + (recipe.tail or 0.0), -np.inf)
    flow = split(
        inflow - little - lost, np.where(shut, np.inf, lips), Circle(2 * INCH), tail
    ).flow + np.where(shut, little, 0.0)
    ways = np.where(shut & (little == 0), np.inf, np.maximum(lips, tail))
    caught = flow * np.exp(rng.normal(0.0, CATCH_ERROR, OUTLETS))
    starts = [int(i) for i in np.argsort(ways) if flow[i] > 0]
    return Pour(
        name=name, inflow=inflow, error=CATCH_ERROR, catches=tuple(caught.tolist()),
        order=tuple(starts),
    )  # fmt: skip


def _seen(recipe: Recipe, lips: Array, outlet: int, *, whole: bool) -> tuple[OutletEvidence, ...]:
    """What is seen of each outlet; of a cause of the whole box, the low outlets are its own."""
    low = lips < lips.mean() if recipe.cause == "tilt" else np.full(OUTLETS, whole)
    own = low if whole else np.arange(OUTLETS) == outlet
    return tuple(OutletEvidence(**(recipe.own if mine else recipe.others)) for mine in own)


def _without(evidence: Evidence, *looks: str) -> Evidence:
    """The same, some looks not yet taken."""
    whole: dict[str, Any] = {look: None for look in looks if look in WORDS}
    each: dict[str, Any] = {look: None for look in looks if look not in WORDS}
    outlets = tuple(replace(outlet, **each) for outlet in evidence.outlets)
    return replace(evidence, **whole, outlets=outlets)
