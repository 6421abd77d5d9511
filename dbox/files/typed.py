"""What is typed on a command line: boxes, openings, heights, pours, lessons, doses and times.

Every option is read by the reader of the key that it stands for. Heights come in any notation,
several at once: `1/8 3/16`, `+3 mm; -1 mm`, `1 1/16 in`. A whole number before a fraction is a
mixed number, so `1 1/16` is one height and `1, 1/16` are two; nothing is mixed with 0, so `0 1/16`
are two. One unit at the end goes for all.
"""

import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any, TypeVar

from dbox import keys, units
from dbox.errors import ScenarioError, any_of, at_place, did_you_mean, show
from dbox.fieldwork.lesson_cases import DIFFICULTIES, TOPICS
from dbox.fieldwork.lessons import LESSON_KINDS, LESSON_TOLERANCE, Kind, lesson_site
from dbox.fieldwork.site import (
    DEFAULT_SPREAD,
    INLETS,
    ORDINARY_FLOWS,
    Box,
    Flow,
    Outlet,
    Pour,
    Site,
    Tolerance,
    Works,
)
from dbox.fieldwork.ties import SIDES
from dbox.files import toml_file
from dbox.files.pour_keys import catch_error, jug_volume, poured
from dbox.files.scenario import read
from dbox.files.scenario_tables import UNITS, some_volume
from dbox.files.write_file import write_file
from dbox.hydraulics.openings import KINDS, Opening
from dbox.hydraulics.surge.inflow import Inflow, steady
from dbox.units import clean

_T = TypeVar("_T")


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


class Words:
    """Words of a command line on their way to values; leaving it tells all that is wrong at once.

    unit: Unit of bare lengths.
    faults: What was wrong so far.
    """

    def __init__(self, unit: str = "in") -> None:
        self.faults: list[str] = []
        self.unit = unit
        if unit not in UNITS:
            self.unit = "in"
            self.faults.append(f"--units is {show(unit)}; write {any_of(UNITS)}")

    def __enter__(self) -> "Words":
        return self

    def __exit__(self, kind: object, *_: object) -> None:
        if self.faults and kind is None:
            raise ScenarioError(*self.faults)

    def read(self, option: str, word: str | None, read: Callable[[str, str], _T]) -> _T | None:
        """Read the word of an option; None where it was left out, or has a fault."""
        try:
            return None if word is None else read(word, self.unit)
        except ScenarioError as error:
            self.faults += [at_place(option, fault) for fault in error.faults]
            return None

    def opening(self, word: str | None, coefficient: float | None = None) -> Opening | None:
        """Read an opening; coefficient [-]."""
        return self.read(
            "--opening", word, lambda text, unit: opening_from_text(text, coefficient, unit)
        )

    def inlet(self, word: str | None) -> str | None:
        """Read how an inlet ends."""
        return self.read("--inlet", word, lambda text, _: keys.choice(text, INLETS))

    def tolerance(self, word: str | None) -> Tolerance | None:
        """Read how far a share may be from its target."""
        share = self.read("--tolerance", word, keys.tolerance)
        return None if share is None else Tolerance(share=share, source="--tolerance")

    def flows(self, words: Sequence[str]) -> tuple[Flow, ...]:
        """Read the flows to compute, each named by what was typed; none for the default ones."""
        read = [(word, self.read("--flow", word, keys.flow_rate)) for word in words]
        flows = tuple(Flow(name=word, inflow=flow) for word, flow in read if flow is not None)
        return flows or ORDINARY_FLOWS


def typed(option: str, word: str, read: Callable[[str, str], _T], units: str | None = None) -> _T:
    """Read the word of one option.

    >>> typed("--volume", "20 L", some_volume)
    0.02
    """
    with Words(units or "in") as words:
        value = words.read(option, word, read)
    assert value is not None
    return value


def typed_flows(flows: Sequence[str]) -> tuple[Flow, ...]:
    """Read the flows of a command line alone."""
    with Words() as words:
        return words.flows(flows)


def typed_site(
    *,
    heights: str,
    opening: str,
    coefficient: float | None = None,
    spread: str | None = None,
    tolerance: str | None = None,
    inlet: str | None = None,
    units: str = "in",
    flows: Sequence[str] = (),
) -> Site:
    """A box by the words of a command line.

    `heights`: lips over still water, clockwise from the inlet; `opening`: that of every outlet;
    coefficient [-]; `units`: of bare lengths.
    """
    with Words(units) as words:
        lips = words.read("--heights", heights, heights_from_text) or ()
        hole = words.opening(opening, coefficient)
        deviation = words.read("--spread", spread, keys.spread)
        limit, inflows = words.tolerance(tolerance), words.flows(flows)
        end = words.inlet(inlet)
    assert hole is not None
    return Site(
        box=Box(inlet=end),
        outlets=tuple(
            Outlet(label=str(i), opening=hole, readings=(lip,)) for i, lip in enumerate(lips, 1)
        ),
        flows=inflows,
        spread=deviation,
        metric=units in ("mm", "cm"),
        tolerance=limit,
    )


def with_typed_pours(
    site: Site, flows: Sequence[str], jug: str | None = None, error: str | None = None
) -> Site:
    """Give a site the pours that a command line asks for."""

    def pour(word: str, _: str) -> Pour:
        """A pour named by what was typed; `5 gal in 60 s` tells its volume too."""
        inflow = keys.flow_rate(word)
        volume, given, _ = word.rpartition(" in ")
        return Pour(name=word, inflow=inflow, volume=poured(volume) if given else None)

    with Words() as words:
        asked = [words.read("--flow", word, pour) for word in flows]
        said = {
            "jug": words.read("--jug", jug, jug_volume),
            "error": words.read("--error", error, catch_error),
        }
    pours = tuple(filter(None, asked)) or site.pours
    pours = pours or tuple(Pour(name=flow.name, inflow=flow.inflow) for flow in site.flows)
    given: dict[str, Any] = {name: value for name, value in said.items() if value is not None}
    return replace(site, pours=tuple(replace(each, **given) for each in pours))


def lesson_box(
    own: Site | None = None,
    *,
    outlets: int | None = None,
    opening: str | None = None,
    coefficient: float | None = None,
    flows: Sequence[str] = (),
    tolerance: str | None = None,
    units: str | None = None,
) -> Site:
    """The box of a lesson: made up, or that of a scenario, with what was typed in its place.

    coefficient [-]; units: of bare lengths of the made-up box, and of what is shown.
    """
    with Words(units or "in") as words:
        if coefficient is not None and opening is None:
            words.faults.append("--coefficient needs --opening; give both")
        hole, limit = words.opening(opening, coefficient), words.tolerance(tolerance)
        inflows = words.flows(flows) if flows else ()
    site = own or lesson_site(4 if outlets is None else outlets)
    return replace(
        site,
        outlets=tuple(replace(o, opening=hole or o.opening) for o in site.outlets),
        flows=inflows or site.flows,
        tolerance=limit or site.tolerance or LESSON_TOLERANCE,
        metric=site.metric if own else units in ("mm", "cm"),
    )


def choice_box(
    own: Site | None,
    *,
    outlets: int | None,
    flows: Sequence[str],
    tolerance: str | None,
    offset: str | None,
    spread: str | None,
    units: str | None,
) -> tuple[Site, float]:
    """The box that openings are chosen for, and what a lip may be off in it. [m]

    Nothing is assumed for a tolerance or an offset that nobody gave.
    """
    hole = None if offset is None else typed("--offset", offset, keys.offset, units)
    off = None if spread is None else typed("--spread", spread, keys.spread, units)
    site = lesson_box(own, outlets=outlets, flows=flows, tolerance=tolerance, units=units)
    if tolerance is None and (own is None or own.tolerance is None):
        site = replace(site, tolerance=None)
    if hole is not None:
        turned = (replace(outlet, hole_offset=hole or None) for outlet in site.outlets)
        site = replace(site, outlets=tuple(turned))
    return site, off or site.spread or DEFAULT_SPREAD


def lesson_kinds(openings: Sequence[str], units: str | None = None) -> tuple[Kind, ...]:
    """Read the openings to compare; the usual ones where none was typed."""
    with Words(units or "in") as words:
        found = [(word, words.opening(word)) for word in openings]
    return tuple(Kind(word, hole) for word, hole in found if hole) or LESSON_KINDS


def lesson_height(option: str, word: str, units: str | None = None) -> float:
    """Read a height of a lesson. [m]

    >>> lesson_height("--error", "-1/8"), lesson_height("--error", "-3", "mm")
    (-0.003175, -0.003)
    """
    height = typed(option, word, keys.reading, units)
    if height == 0:
        raise ScenarioError(f"{option} is {show(word)}; give a height other than 0")
    return height


def lesson_topics(topics: Sequence[str], difficulty: str) -> tuple[tuple[str, ...], str]:
    """Read what cases are asked for by.

    >>> lesson_topics(["full-trench"], "Hard")
    (('full trench',), 'hard')
    """
    with Words() as words:
        asked = [words.read("--topic", word, lambda w, _: _listed(w, TOPICS)) for word in topics]
        level = words.read("--difficulty", difficulty, lambda w, _: _listed(w, DIFFICULTIES))
    assert level is not None
    return tuple(filter(None, asked)), level


def _listed(word: str, known: Iterable[str]) -> str:
    """Read one of a few words; where it is none of them, name them all."""
    try:
        return keys.choice(word, known)
    except ScenarioError:
        told = any_of(each.replace(" ", "-") for each in known)
        raise ScenarioError(f"is {show(word)}; it may be {told}") from None


def lesson_outlet(site: Site, label: str | None) -> int:
    """Find the outlet that a lesson is about; the first open one where none is named."""
    labels = [outlet.label for outlet in site.outlets if not outlet.capped]
    if label is None and labels:
        label = labels[0]
    if label not in labels:
        raise ScenarioError(f"--outlet is {show(label)}; the open ones are {', '.join(labels)}")
    return [outlet.label for outlet in site.outlets].index(label)


run_time = keys.limited(
    units.duration, 1.0, 31 * units.DAY, "an event is followed for 1 s to 31 days"
)


film_seconds = keys.limited(units.number, 8.0, 30.0, "a film lasts 8 to 30 seconds")
film_speed = keys.limited(
    units.number, 0.01, 1e6, "a film runs 0.01 to 1,000,000 times as fast as the water"
)

_SIZE = re.compile(r"\s*([0-9]{1,5})\s*[x×*]\s*([0-9]{1,5})\s*", re.IGNORECASE)
_SMALLEST, _LARGEST = (640, 360), (1920, 1080)
_SQUAREST, _WIDEST = 1.3, 2.4


def film_size(text: str) -> tuple[int, int]:
    """Read the width and height of a film. [dots]

    >>> film_size("800x450")
    (800, 450)
    """
    match = _SIZE.fullmatch(text)
    size = width, height = (int(match[1]), int(match[2])) if match else (0, 0)
    fits = all(low <= x <= high for low, x, high in zip(_SMALLEST, size, _LARGEST, strict=True))
    if not fits or width % 2 or height % 2 or not _SQUAREST < width / height < _WIDEST:
        raise ScenarioError(
            f"is {show(text)}; write width x height in dots, such as 1280x720: even numbers from "
            "640x360 to 1920x1080, between 4:3 and 21:9"
        )
    return width, height


def typed_dose(works: Works, text: str) -> Inflow:
    """Read a dose: that of the site's pump or siphon, or a volume at a rate.

    >>> round(typed_dose(Works(), "60 gal at 30 gpm").end, 6)
    120.0
    """
    word = text.strip().lower()
    if word in ("pump", "siphon"):
        part = works.pump if word == "pump" else works.siphon
        if part is None:
            raise ScenarioError(
                f'--dose is {word}, but the scenario has no [{word}]; add it, or write "60 gal at '
                '30 gpm"'
            )
        return part.dose()
    volume, at, rate = text.partition(" at ")
    if not at:
        raise ScenarioError(
            f"--dose is {show(text)}; write pump, siphon, or a volume at a rate, as "
            '"60 gal at 30 gpm"'
        )
    inflow = typed("--dose", rate, keys.flow_rate)
    amount = typed("--dose", volume, some_volume)
    return steady(inflow, amount / inflow, name=f"dose of {text}")


_TAPED = ("distance", "from_first", "from_second")


def typed_ties(ties: Sequence[str], side: str | None) -> dict[str, Any]:
    """The table of ties that were typed, each as its name and what was taped, parted by `;`.

    >>> typed_ties(["oak; 27 ft", "well; 30 ft; 12 ft"], None)["point"][1]
    {'name': 'well', 'distance': '30 ft', 'from_first': '12 ft'}
    """
    points = []
    for text in ties:
        name, *taped = (part.strip() for part in text.split(";"))
        lies = {"side": taped.pop().lower()} if taped and taped[-1].lower() in SIDES else {}
        if not 1 <= len(taped) <= len(_TAPED):
            raise ScenarioError(
                f"--tie is {show(text)}; write what it is and what was taped, as "
                '"oak; 27 ft; 30 ft": to the box, then from the first and from the second point'
            )
        points.append({"name": name, **dict(zip(_TAPED, taped, strict=False)), **lies})
    return {"side": side, "point": points}


def put_into(file: Path, tables: Mapping[str, Mapping[str, Any]], *, overwrite: bool) -> None:
    """Write values into the tables of a scenario, None taking a key out.

    Its comments and all else stay as they are.
    """
    text = toml_file.read_text(file)
    document = toml_file.parse(text, str(file))
    there = [f"{n}.{k}" for n, values in tables.items() for k in values if k in document.get(n, {})]
    if there and not overwrite:
        raise ScenarioError(
            f"{file}: holds {' and '.join(there)} already; add --overwrite to replace them"
        )
    for name, values in tables.items():
        merged = {**document.get(name, {}), **values}
        document[name] = {key: value for key, value in merged.items() if value is not None}
    read(document, str(file))
    written = toml_file.with_values(text, document).rstrip()
    write_file(file, f"{written}\n", overwrite=True)
