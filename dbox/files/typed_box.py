"""A box, its openings and heights as typed on a command line, without a scenario file.

In any notation, several at once: `1/8 3/16`, `+3 mm; -1 mm`, `1 1/16 in`. A whole number before a
fraction is a mixed number, so `1 1/16` is one height and `1, 1/16` are two; nothing is mixed with
0, so `0 1/16` are two. One unit at the end goes for all.
"""

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from typing import TypeVar

from dbox import keys
from dbox.errors import ScenarioError, any_of, at_place, did_you_mean, show
from dbox.fieldwork.site import Flow, Outlet, Site, Tolerance
from dbox.files import scenario_tables
from dbox.files.scenario import DEFAULT_FLOWS
from dbox.files.scenario_tables import UNITS
from dbox.hydraulics.openings import Opening
from dbox.units import clean

_EXAMPLES = {
    "circle": "circle 2 in",
    "notch": "notch 90 deg",
    "slot": "slot 1 in x 2 in",
    "pipe": "pipe 4.026 in",
}


def opening_from_text(
    text: str, coefficient: float | None = None, bare_unit: str | None = None
) -> Opening:
    """Read an opening: its kind, then its sizes; coefficient [-].

    >>> opening_from_text("circle 2 in").top
    0.0508
    """
    kind, _, rest = text.strip().lower().partition(" ")
    if kind not in scenario_tables.KINDS:
        examples = any_of(map(show, _EXAMPLES.values()))
        raise ScenarioError(
            f"is {show(text)}; {did_you_mean(kind, scenario_tables.KINDS)}, as {examples}"
        )
    names = scenario_tables.KINDS[kind].sizes
    parts = rest.replace("×", "x").split("x")
    if len(parts) > len(names) or not rest.strip():
        raise ScenarioError(f"is {show(text)}; write it as {show(_EXAMPLES[kind])}")
    sizes: dict[str, float] = {}
    for name, part in zip(names, parts, strict=False):
        try:
            sizes[name] = keys.notch_angle(part) if name == "angle" else keys.size(part, bare_unit)
        except ScenarioError as error:
            fault = at_place(f"its {name}", str(error))
            raise ScenarioError(f"is {show(text)}: {fault}") from error
    if coefficient is not None:
        coefficient = keys.coefficient(coefficient)
    return scenario_tables.build(kind, sizes, coefficient)


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


@dataclass(frozen=True, kw_only=True)
class TypedBox:
    """The words of a command line, as they were typed; None where left out."""

    heights: str  # Lips over still water, clockwise from the inlet; the opening of every outlet.
    opening: str  # Lips over still water, clockwise from the inlet; the opening of every outlet.
    coefficient: float | None = None  # Discharge coefficient. [-]
    # Spread of one reading; allowed difference of a share from its target.
    spread: str | None = None
    # Spread of one reading; allowed difference of a share from its target.
    tolerance: str | None = None
    units: str = "in"  # Unit of a bare length.
    flows: Sequence[str] = ()  # Flows to compute; none for the default ones.

    def site(self) -> Site:
        """Read all words."""
        faults: list[str] = []
        units = typed_unit(faults, self.units)
        lips = _read(faults, "--heights", lambda: heights_from_text(self.heights, units))
        opening = _read(
            faults, "--opening", lambda: opening_from_text(self.opening, self.coefficient, units)
        )
        spread = optional(faults, "--spread", self.spread, lambda s: keys.spread(s, units))
        share = optional(faults, "--tolerance", self.tolerance, keys.tolerance)
        flows = _flows(faults, self.flows)
        if faults or lips is None or opening is None:
            raise ScenarioError(*faults)
        return Site(
            outlets=tuple(
                Outlet(label=str(i), opening=opening, readings=(lip,))
                for i, lip in enumerate(lips, start=1)
            ),
            flows=flows,
            spread=spread,
            tolerance=None if share is None else Tolerance(share=share, source="--tolerance"),
        )


def typed_unit(faults: list[str], word: str) -> str:
    """Read the unit of bare lengths."""
    if word in UNITS:
        return word
    faults.append(f"--units is {show(word)}; write {any_of(UNITS)}")
    return "in"


def typed_flows(words: Sequence[str]) -> tuple[Flow, ...]:
    """Read the flows of a command line, each named by what was typed."""
    faults: list[str] = []
    flows = _flows(faults, words)
    if faults:
        raise ScenarioError(*faults)
    return flows


def _flows(faults: list[str], words: Sequence[str]) -> tuple[Flow, ...]:
    flows = []
    for word in words:
        inflow = _read(faults, "--flow", partial(keys.flow_rate, word))
        if inflow is not None:
            flows.append(Flow(name=word, inflow=inflow))
    return tuple(flows) or DEFAULT_FLOWS


def _read(faults: list[str], option: str, read: Callable[[], _T]) -> _T | None:
    """What was read, or None with its faults kept."""
    try:
        return read()
    except ScenarioError as error:
        faults += [at_place(option, fault) for fault in error.faults]
        return None


def optional(
    faults: list[str], option: str, word: str | None, read: Callable[[str], _T]
) -> _T | None:
    """Read a word of an option that may be left out."""
    return None if word is None else _read(faults, option, lambda: read(word))
