"""Boxes, openings and errors that the words of `dbox teach` describe."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from dbox import keys
from dbox.errors import ScenarioError, at_place, show
from dbox.fieldwork.lesson_box import (
    LESSON_FLOWS,
    LESSON_HOLE,
    LESSON_TOLERANCE,
    lesson_site,
    with_opening,
)
from dbox.fieldwork.lesson_sweeps import KINDS, Kind
from dbox.fieldwork.site import Flow, Site, Tolerance
from dbox.files.typed_box import opening_from_text, typed_flows
from dbox.hydraulics.openings import Opening

_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class LessonWords:
    """The words of a lesson as they were typed; None, or no flow, where left out."""

    outlets: int | None = None  # How many outlets the made-up box has.
    opening: str | None = None  # Opening of every outlet.
    coefficient: float | None = None  # Its discharge coefficient. [-]
    flows: Sequence[str] = ()  # Flows to compute.
    tolerance: str | None = None  # Allowed difference of a share from its target.

    def site(self, own: Site | None = None) -> Site:
        """The box of the lesson: made up, or that of a scenario with what was typed."""
        faults: list[str] = []
        opening = self._opening(faults)
        flows = _kept(faults, lambda: typed_flows(self.flows)) if self.flows else None
        share = None
        if self.tolerance is not None:
            share = _kept(faults, partial(keys.tolerance, self.tolerance), "--tolerance")
        if faults:
            raise ScenarioError(*faults)
        tolerance = Tolerance(share=share, source="--tolerance") if share else None
        if own is None:
            return lesson_site(
                4 if self.outlets is None else self.outlets,
                opening or LESSON_HOLE,
                flows=flows or LESSON_FLOWS,
                tolerance=tolerance or LESSON_TOLERANCE,
            )
        site = own if opening is None else with_opening(own, opening)
        return replace(
            site,
            flows=flows or site.flows,
            tolerance=tolerance or site.tolerance or LESSON_TOLERANCE,
        )

    def _opening(self, faults: list[str]) -> Opening | None:
        if self.opening is None:
            if self.coefficient is not None:
                faults.append("--coefficient needs --opening; name the opening it is of")
            return None
        read = partial(opening_from_text, self.opening, self.coefficient, "in")
        return _kept(faults, read, "--opening")


def lesson_flows(words: Sequence[str]) -> tuple[Flow, ...]:
    """Read the flows of a lesson; the usual ones where none was typed."""
    return typed_flows(words) if words else LESSON_FLOWS


def lesson_kinds(words: Sequence[str]) -> tuple[Kind, ...]:
    """Read the openings to compare; the usual ones where none was typed."""
    faults: list[str] = []
    read = [
        (word, _kept(faults, partial(opening_from_text, word, None, "in"), "--opening"))
        for word in words
    ]
    if faults:
        raise ScenarioError(*faults)
    return tuple(Kind(word, opening) for word, opening in read if opening is not None) or KINDS


def lesson_height(option: str, word: str) -> float:
    """Read a height of a lesson. [m]

    >>> lesson_height("--error", "-1/8")
    -0.003175
    """
    try:
        height = keys.reading(word, "in")
    except ScenarioError as error:
        raise ScenarioError(*(at_place(option, fault) for fault in error.faults)) from error
    if height == 0:
        raise ScenarioError(f"{option} is {show(word)}; give a height that is not nought")
    return height


def lesson_outlet(site: Site, label: str | None) -> int:
    """Find the outlet that a lesson is about; the first open one where none is named."""
    labels = [outlet.label for outlet in site.outlets if not outlet.capped]
    if label is None and labels:
        label = labels[0]
    if label not in labels:
        raise ScenarioError(f"--outlet is {show(label)}; the open ones are {', '.join(labels)}")
    return [outlet.label for outlet in site.outlets].index(label)


def _kept(faults: list[str], read: Callable[[], _T], option: str = "") -> _T | None:
    """What was read, or None with its faults kept."""
    try:
        return read()
    except ScenarioError as error:
        faults += [at_place(option, fault) if option else fault for fault in error.faults]
        return None
