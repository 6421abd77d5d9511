"""Boxes, openings and errors that the words of `dbox teach` describe."""

from collections.abc import Sequence
from dataclasses import replace

from dbox import keys
from dbox.errors import ScenarioError, show
from dbox.fieldwork.lesson_box import KINDS, LESSON_TOLERANCE, Kind, lesson_site, with_opening
from dbox.fieldwork.site import Site, Tolerance
from dbox.files.typed_box import Words, opening_from_text, typed_flows


def lesson_box(
    own: Site | None = None,
    *,
    outlets: int | None = None,
    opening: str | None = None,
    coefficient: float | None = None,
    flows: Sequence[str] = (),
    tolerance: str | None = None,
) -> Site:
    """The box of a lesson: made up, or that of a scenario, with what was typed in its place.

    coefficient [-].
    """
    words = Words()
    if coefficient is not None and opening is None:
        words.faults.append("--coefficient needs --opening; name the opening it is of")
    hole = words.read("--opening", opening, lambda text: opening_from_text(text, coefficient, "in"))
    share = words.read("--tolerance", tolerance, keys.tolerance)
    try:
        inflows = typed_flows(flows) if flows else ()
    except ScenarioError as error:
        words.faults += error.faults
    if words.faults:
        raise ScenarioError(*words.faults)
    site = own or lesson_site(4 if outlets is None else outlets)
    typed = None if share is None else Tolerance(share=share, source="--tolerance")
    return replace(
        site if hole is None else with_opening(site, hole),
        flows=inflows or site.flows,
        tolerance=typed or site.tolerance or LESSON_TOLERANCE,
    )


def lesson_kinds(typed: Sequence[str]) -> tuple[Kind, ...]:
    """Read the openings to compare; the usual ones where none was typed."""
    words = Words()
    kinds = []
    for word in typed:
        opening = words.read("--opening", word, lambda text: opening_from_text(text, None, "in"))
        if opening is not None:
            kinds.append(Kind(word, opening))
    if words.faults:
        raise ScenarioError(*words.faults)
    return tuple(kinds) or KINDS


def lesson_height(option: str, word: str) -> float:
    """Read a height of a lesson. [m]

    >>> lesson_height("--error", "-1/8")
    -0.003175
    """
    words = Words()
    height = words.read(option, word, lambda text: keys.reading(text, "in"))
    if height == 0:
        words.faults.append(f"{option} is {show(word)}; give a height that is not nought")
    if words.faults or height is None:
        raise ScenarioError(*words.faults)
    return height


def lesson_outlet(site: Site, label: str | None) -> int:
    """Find the outlet that a lesson is about; the first open one where none is named."""
    labels = [outlet.label for outlet in site.outlets if not outlet.capped]
    if label is None and labels:
        label = labels[0]
    if label not in labels:
        raise ScenarioError(f"--outlet is {show(label)}; the open ones are {', '.join(labels)}")
    return [outlet.label for outlet in site.outlets].index(label)
