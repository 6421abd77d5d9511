"""What box, openings and errors do the words of `dbox teach` describe?"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from dbox.errors import ScenarioError
from dbox.fieldwork.lessons.bench_box import (
    LESSON_FLOWS,
    LESSON_HOLE,
    LESSON_TOLERANCE,
    lesson_site,
    with_opening,
)
from dbox.fieldwork.lessons.compare import KINDS, Kind
from dbox.fieldwork.site import Flow, Site, Tolerance
from dbox.files import measures
from dbox.files.faults import at_place, show
from dbox.files.phrases import opening_from_text
from dbox.files.typed import typed_flows
from dbox.hydraulics.openings import Opening

_T = TypeVar("_T")


@dataclass(frozen=True, kw_only=True)
class LessonWords:
    """The words of a lesson as they were typed; None, or no flow, where left out.

    Parameters
    ----------
    outlets : int or None
        How many outlets the made-up box has.
    opening : str or None
        Opening of every outlet.
    coefficient : float or None
        Its discharge coefficient. [-]
    flows : sequence of str
        Flows to compute.
    tolerance : str or None
        Allowed difference of a share from its target.
    """

    outlets: int | None = None
    opening: str | None = None
    coefficient: float | None = None
    flows: Sequence[str] = ()
    tolerance: str | None = None

    def site(self, own: Site | None = None) -> Site:
        """The box of the lesson: made up, or that of a scenario with what was typed in its place.

        Parameters
        ----------
        own : Site, optional
            The box of a scenario.

        Returns
        -------
        Site
            In SI.

        Raises
        ------
        ScenarioError
            With every word that cannot be read, each named by its option.
        """
        faults: list[str] = []
        opening = self._opening(faults)
        flows = _kept(faults, lambda: typed_flows(self.flows)) if self.flows else None
        share = None
        if self.tolerance is not None:
            share = _kept(faults, partial(measures.tolerance, self.tolerance), "--tolerance")
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
    """Read the flows of a lesson; the usual ones where none was typed.

    Parameters
    ----------
    words : sequence of str
        Such as `4 L/min`.
    """
    return typed_flows(words) if words else LESSON_FLOWS


def lesson_kinds(words: Sequence[str]) -> tuple[Kind, ...]:
    """Read the openings to compare; the usual ones where none was typed.

    Parameters
    ----------
    words : sequence of str
        Such as `circle 2 in`; each kind is called what was typed.

    Raises
    ------
    ScenarioError
        With every opening that cannot be read.
    """
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

    Parameters
    ----------
    option : str
        What was asked for, such as `--error`.
    word : str
        Such as `-1/8 in`; a bare number is in inches.

    Raises
    ------
    ScenarioError
        Where it cannot be read, or is nought.

    >>> lesson_height("--error", "-1/8")
    -0.003175
    """
    try:
        height = measures.reading(word, "in")
    except ScenarioError as error:
        raise ScenarioError(*(at_place(option, fault) for fault in error.faults)) from error
    if height == 0:
        raise ScenarioError(f"{option} is {show(word)}; give a height that is not nought")
    return height


def lesson_outlet(site: Site, label: str | None) -> int:
    """Find the outlet that a lesson is about; the first open one where none is named.

    Parameters
    ----------
    site : Site
        The box.
    label : str or None
        Label of an outlet.

    Returns
    -------
    int
        Its place.

    Raises
    ------
    ScenarioError
        Where there is none such, or it is capped.
    """
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
