"""A box or a lesson as typed on a command line, without a scenario file.

In any notation, several at once: `1/8 3/16`, `+3 mm; -1 mm`, `1 1/16 in`. A whole number before a
fraction is a mixed number, so `1 1/16` is one height and `1, 1/16` are two; nothing is mixed with
0, so `0 1/16` are two. One unit at the end goes for all.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from functools import partial
from typing import TypeVar

from dbox import keys
from dbox.errors import ScenarioError, any_of, at_place, did_you_mean, show
from dbox.fieldwork.lessons import LESSON_KINDS, LESSON_TOLERANCE, Kind, lesson_site, with_opening
from dbox.fieldwork.site import ORDINARY_FLOWS, Flow, Outlet, Site, Tolerance
from dbox.files.scenario_tables import UNITS
from dbox.hydraulics.openings import KINDS, Opening
from dbox.units import clean


def opening_from_text(
    text: str, coefficient: float | None = None, bare_unit: str | None = None
) -> Opening:
    """Read an opening: its kind, then its sizes; coefficient [-].

    >>> opening_from_text("circle 2 in").top
    0.0508
    """
    kind, _, rest = text.strip().lower().partition(" ")
    if kind not in KINDS:
        examples = any_of(show(each.example) for each in KINDS.values())
        raise ScenarioError(f"is {show(text)}; {did_you_mean(kind, KINDS)}, as {examples}")
    names = KINDS[kind].sizes()
    parts = rest.replace("×", "x").split("x")
    if len(parts) > len(names) or not rest.strip():
        raise ScenarioError(f"is {show(text)}; write it as {show(KINDS[kind].example)}")
    sizes: dict[str, float] = {}
    for name, part in zip(names, parts, strict=False):
        try:
            sizes[name] = keys.notch_angle(part) if name == "angle" else keys.size(part, bare_unit)
        except ScenarioError as error:
            fault = at_place(f"its {name}", str(error))
            raise ScenarioError(f"is {show(text)}: {fault}") from error
    if coefficient is not None:
        coefficient = keys.coefficient(coefficient)
    return KINDS[kind](**sizes, coefficient=coefficient)


def heights_from_text(text: str, bare_unit: str | None = None) -> tuple[float, ...]:
    """Read heights parted by commas, or by semicolons. [m]

    >>> heights_from_text("1/8, 0, -1/16", "in")
    (0.003175, 0.0, -0.0015875)
    """
    parts = [part.strip() for part in text.split(";" if ";" in text else ",")]
    return keys.each(parts, partial(keys.reading, bare_unit=bare_unit))


_PIECE = re.compile(
    r"\s*(?P<height>[+-]?"
    r"(?:[1-9][0-9]*(?:-|\s+)[0-9]+\s*/\s*[0-9]+|[0-9]+\s*/\s*[0-9]+|[0-9]+\.?[0-9]*|\.[0-9]+))"
    r"\s*(?P<unit>[a-z]+|[\"'])?\s*(?:[,;]|(?=\s|$))"
)
_DECIMAL_COMMA = re.compile(r"(?<![/0-9])[0-9]+,[0-9]+(?![0-9]*\s*/)")


def read_heights(text: str, bare_unit: str | None) -> tuple[float, ...]:
    """Read one or more heights from a line. [m]

    >>> read_heights("3 -1.5 mm", "in"), read_heights("1 3/16", "in")
    ((0.003, -0.0015), (0.0301625,))
    """
    plain = clean(text)
    if _DECIMAL_COMMA.search(plain):
        raise ScenarioError(
            f"is {show(text)}; decimals take a point, and readings a space between them"
        )
    pieces = _pieces(plain)
    if len(pieces) < 2:
        return (keys.reading(text, bare_unit),)
    named = [unit for _, unit in pieces]
    last = named[-1]
    if last and not any(named[:-1]):
        bare_unit, named = last, [None] * len(named)
    elif any(named) and not all(named):
        raise ScenarioError(f"is {show(text)}; give each reading its unit, or one at the end")
    return tuple(
        keys.reading(f"{height} {unit or ''}", bare_unit)
        for (height, _), unit in zip(pieces, named, strict=True)
    )


def _pieces(plain: str) -> list[tuple[str, str | None]]:
    """Heights and their units; none where the line is not made of such."""
    pieces, place = [], 0
    while piece := _PIECE.match(plain, place):
        pieces.append((piece["height"], piece["unit"]))
        place = piece.end()
    return pieces if place == len(plain) else []


_T = TypeVar("_T")


class Words:
    """Words of a command line on their way to values; what is wrong is told all at once.

    faults: What was wrong so far.
    """

    def __init__(self) -> None:
        self.faults: list[str] = []

    def read(self, option: str, word: str | None, read: Callable[[str], _T]) -> _T | None:
        """Read the word of an option; None where it was left out, or has a fault."""
        try:
            return None if word is None else read(word)
        except ScenarioError as error:
            self.faults += [at_place(option, fault) for fault in error.faults]
            return None

    def unit(self, word: str) -> str:
        """Read the unit of bare lengths."""
        if word not in UNITS:
            self.faults.append(f"--units is {show(word)}; write {any_of(UNITS)}")
            return "in"
        return word

    def flows(self, words: Sequence[str]) -> tuple[Flow, ...]:
        """Read the flows to compute, each named by what was typed; none for the default ones."""
        read = [(word, self.read("--flow", word, keys.flow_rate)) for word in words]
        flows = tuple(Flow(name=word, inflow=flow) for word, flow in read if flow is not None)
        return flows or ORDINARY_FLOWS

    def end(self) -> None:
        """Raise ScenarioError with all faults, if there are any."""
        if self.faults:
            raise ScenarioError(*self.faults)


def typed_flows(words: Sequence[str]) -> tuple[Flow, ...]:
    """Read the flows of a command line alone."""
    typed = Words()
    flows = typed.flows(words)
    typed.end()
    return flows


def typed_site(
    *,
    heights: str,
    opening: str,
    coefficient: float | None = None,
    spread: str | None = None,
    tolerance: str | None = None,
    units: str = "in",
    flows: Sequence[str] = (),
) -> Site:
    """A box by the words of a command line.

    `heights`: lips over still water, clockwise from the inlet; `opening`: that of every outlet;
    coefficient [-]; `units`: of bare lengths.
    """
    typed = Words()
    unit = typed.unit(units)
    lips = typed.read("--heights", heights, partial(heights_from_text, bare_unit=unit))
    kind = typed.read("--opening", opening, lambda word: opening_from_text(word, coefficient, unit))
    deviation = typed.read("--spread", spread, partial(keys.spread, bare_unit=unit))
    share = typed.read("--tolerance", tolerance, keys.tolerance)
    inflows = typed.flows(flows)
    typed.end()
    assert lips is not None
    assert kind is not None
    return Site(
        outlets=tuple(
            Outlet(label=str(i), opening=kind, readings=(lip,)) for i, lip in enumerate(lips, 1)
        ),
        flows=inflows,
        spread=deviation,
        tolerance=None if share is None else Tolerance(share=share, source="--tolerance"),
    )


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
    inflows = words.flows(flows) if flows else ()
    words.end()
    site = own or lesson_site(4 if outlets is None else outlets)
    typed = None if share is None else Tolerance(share=share, source="--tolerance")
    return replace(
        site if hole is None else with_opening(site, hole),
        flows=inflows or site.flows,
        tolerance=typed or site.tolerance or LESSON_TOLERANCE,
    )


def lesson_kinds(typed: Sequence[str]) -> tuple[Kind, ...]:
    """Read the openings to compare; the usual ones where none was typed."""
    words, read = Words(), partial(opening_from_text, bare_unit="in")
    holes = [(word, words.read("--opening", word, read)) for word in typed]
    words.end()
    return tuple(Kind(word, hole) for word, hole in holes if hole) or LESSON_KINDS


def lesson_height(option: str, word: str) -> float:
    """Read a height of a lesson. [m]

    >>> lesson_height("--error", "-1/8")
    -0.003175
    """
    words = Words()
    height = words.read(option, word, partial(keys.reading, bare_unit="in"))
    if height == 0:
        words.faults.append(f"{option} is {show(word)}; give a height that is not nought")
    words.end()
    assert height is not None
    return height


def lesson_outlet(site: Site, label: str | None) -> int:
    """Find the outlet that a lesson is about; the first open one where none is named."""
    labels = [outlet.label for outlet in site.outlets if not outlet.capped]
    if label is None and labels:
        label = labels[0]
    if label not in labels:
        raise ScenarioError(f"--outlet is {show(label)}; the open ones are {', '.join(labels)}")
    return [outlet.label for outlet in site.outlets].index(label)
