"""What was seen, asked in the order of a visit: from typed answers to tables of a scenario.

Every question may be left out. An answer is text, checked at once by the reader of the scenario
itself and kept as typed. What is asked of every outlet is answered in one line:

    dry                     all outlets the same
    4 full, others dry      by label
    dry, dry, -, full       one for each, in the order of the file; - not looked at
"""

import copy
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from dbox.errors import ScenarioError, any_of, show
from dbox.fieldwork.evidence import KINDS, PARTS, POURS, REST
from dbox.files.scenario import loads
from dbox.files.toml_file import toml_text

Document = dict[str, Any]

NOT_LOOKED = "-"
"""Typed in place of an answer: not looked at; it takes an earlier answer out."""

_OTHERS = {
    "reading": "fill until it just spills, let it go still: every lip over the water, as 1/8 in",
    "flow": "what was poured, as 5 gal in 60 s; Enter: no pour, or no more",
    "order": "which outlets started, the first one first, as 4, 1, 2",
    "catch": "what was caught at each, as 4 1.2 L in 30 s, 1 dry",
}
"""Questions whose answers are no evidence but stand elsewhere in a scenario."""

_KINDS = {("each" if kind.of_outlet else "whole", kind.name): kind for kind in KINDS}


@dataclass(frozen=True)
class Query:
    """One question."""

    part: str  # Part of the visit.
    kind: str  # `whole` system, `each` outlet's evidence, `outlet` for a key of it, or `pour`.
    key: str  # Key of the scenario.
    pour: int = -1  # Which pour, counted from 0.

    @property
    def text(self) -> str:
        """What is asked."""
        asked = _KINDS.get((self.kind, self.key))
        return (asked.ask or asked.look) if asked else _OTHERS[self.key]

    @property
    def words(self) -> tuple[str, ...]:
        """The words that answer it; none where it takes a quantity."""
        asked = _KINDS.get((self.kind, self.key))
        return asked.choices if asked else ()

    @property
    def of_outlets(self) -> bool:
        """Whether every outlet has an answer of its own."""
        return self.kind in ("each", "outlet") or self.key == "catch"


def queries(document: Document, pours_before: int) -> Iterator[Query]:
    """Questions in the order of a visit."""
    visit = sorted(_KINDS.items(), key=lambda item: item[1].place)
    for part in PARTS:
        yield from (Query(part, *place) for place, kind in visit if kind.part == part)
        if part == REST:
            yield Query(part, "outlet", "reading")
        if part == POURS:
            made = len(document.get("pour", ()))
            for pour in range(pours_before, made):
                yield from (Query(part, "pour", key, pour) for key in ("flow", "order", "catch"))
            yield Query(part, "pour", "flow", made)


def answered(document: Document, query: Query, typed: str) -> Document:
    """The scenario with an answer in it."""
    told = copy.deepcopy(document)
    if query.of_outlets:
        for index, text in enumerate(_by_outlet(labels_of(told), _capped(told), typed)):
            if text is not None:
                _put(_holder(told, query, index), _key(told, query, index), _value(query, text))
    else:
        _put(_holder(told, query, 0), query.key, _value(query, typed.strip()))
    try:
        loads(toml_text(told), "")
    except ScenarioError as error:
        raise ScenarioError(*(fault.removeprefix(": ") for fault in error.faults)) from error
    return told


def said(document: Document, query: Query) -> str:
    """What the scenario says under a question; nothing where it says nothing."""
    if not query.of_outlets:
        if query.kind == "pour" and query.pour >= len(document.get("pour", ())):
            return ""
        return _shown(_holder(copy.deepcopy(document), query, 0).get(query.key))
    labels, found = labels_of(document), []
    for index, label in enumerate(labels):
        holder = _holder(copy.deepcopy(document), query, index)
        text = _shown(holder.get(_key(document, query, index)))
        found += [f"{label} {text}"] if text else []
    return ", ".join(found)


def labels_of(document: Document) -> list[str]:
    """What the outlets are called."""
    return [str(o.get("label", i)) for i, o in enumerate(document["outlet"], start=1)]


def _capped(document: Document) -> set[int]:
    return {i for i, o in enumerate(document["outlet"]) if o.get("state") == "capped"}


def _by_outlet(labels: list[str], capped: set[int], typed: str) -> list[str | None]:
    """An answer for each outlet; None where it has none."""
    parts = [part.strip() for part in re.split(r"[,;]", typed)]
    named = [_labelled(labels, part) for part in parts]
    uncapped = [i for i in range(len(labels)) if i not in capped]
    if all(name is None for name, _ in named):
        if len(parts) not in (1, len(uncapped)):
            raise ScenarioError(
                f"is {show(typed)}; write one answer for all, one for each of the "
                f"{len(uncapped)} outlets, or labels, as {labels[0]} ..., others ..."
            )
        each = dict(zip(uncapped, parts * (len(uncapped) if len(parts) == 1 else 1), strict=True))
        return [each.get(i) for i in range(len(labels))]
    for name, text in named:
        if name is None:
            raise ScenarioError(
                f"is {show(text)} in one part; begin it with {any_of([*labels, 'others'])}"
            )
    own = dict(named)
    others = next((text for name, text in named if name == -1), None)
    return [own.get(i, others if i in uncapped else None) for i in range(len(labels))]


def _labelled(labels: list[str], part: str) -> tuple[int | None, str]:
    """Outlet that a part begins with, -1 for the others, None for no label; and the rest."""
    heads = [*((label.lower(), i) for i, label in enumerate(labels)), ("others", -1), ("all", -1)]
    for head, index in sorted(heads, key=lambda item: -len(item[0])):
        rest = part[len(head) :]
        if part.lower().startswith(head) and rest[:1] in (" ", ":", "=") and rest.strip(" :="):
            return index, rest.strip(" :=")
    return None, part


def _holder(document: Document, query: Query, index: int) -> Document:
    """The table that an answer stands in, made where it is not there."""
    if query.kind == "whole":
        holder: Document = document.setdefault("evidence", {})
    elif query.kind == "pour":
        pours = document.setdefault("pour", [])
        if query.pour == len(pours):
            pours.append({"name": f"seen {query.pour + 1}"})
        holder = pours[query.pour]
        holder = holder.setdefault("catch", {}) if query.key == "catch" else holder
    else:
        holder = document["outlet"][index]
        holder = holder.setdefault("evidence", {}) if query.kind == "each" else holder
    return holder


def _key(document: Document, query: Query, index: int) -> str:
    return labels_of(document)[index] if query.key == "catch" else query.key


def _put(holder: Document, key: str, value: object) -> None:
    if value == NOT_LOOKED:
        holder.pop(key, None)
    else:
        holder[key] = value


def _value(query: Query, text: str) -> object:
    """An answer as it stands in a scenario."""
    if text == NOT_LOOKED:
        return text
    if query.key in ("order", "photos", "rim_slope"):
        return [part.strip() for part in text.split(",")]
    several = [part.strip() for part in re.split(r"\s+and\s+", text)]
    if query.key == "ground":
        return [] if several in (["none"], ["dry"]) else several
    if query.key in ("port_water", "reading") and len(several) > 1:
        return several
    return text


def _shown(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, list):
        return " and ".join(map(str, value)) or "none"
    return str(value)
