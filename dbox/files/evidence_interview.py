"""What was seen, asked in the order of a visit: from typed answers to tables of a scenario.

Every question may be left out. An answer is text, checked at once by the reader of the scenario
itself and kept as typed. What is asked of every outlet is answered in one line:

    dry                     all outlets the same
    4 full, others dry      by label
    dry, dry, -, full       one for each, in the order of the file; - not looked at
"""

import copy
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, count
from typing import Any

from dbox.errors import ScenarioError, any_of, key_text, outlets_text, show
from dbox.fieldwork.evidence import KINDS, PARTS, POURS, REST, Evidence, Kind, OutletEvidence
from dbox.files.box_interview import WORDS
from dbox.files.scenario import read
from dbox.keys import Key, keys_of

Document = dict[str, Any]

NOT_LOOKED = "-"
"""Typed in place of an answer: not looked at; it takes an earlier answer out."""

_GLUE = dict.fromkeys(("order", "photos", "rim_slope"), ", ")
"""What stands between the parts of an answer that has several, where not `and`."""

_KINDS = {("each" if kind.of_outlet else "whole", kind.name): kind for kind in KINDS}


@dataclass(frozen=True)
class Query:
    """One question."""

    part: str  # Part of the visit.
    kind: str  # `whole` system, `each` outlet's evidence, `outlet` for a key of it, or `pour`.
    key: str  # Key of the scenario.
    pour: int = -1  # Which pour, counted from 0.

    @property
    def name(self) -> str:
        """What it is called, for people; no two questions are called the same."""
        key = f"pour {self.pour + 1} {self.key}" if self.kind == "pour" else self.key
        by_outlet = self.kind == "each" and ("whole", self.key) in _KINDS
        return key.replace("_", " ") + (" by outlet" if by_outlet else "")

    @property
    def _asked(self) -> Kind | None:
        """The kind of evidence that it asks for; none of readings and pours."""
        return _KINDS.get((self.kind, self.key))

    @property
    def _declared(self) -> Key:
        """What is declared of the key of that kind."""
        return keys_of(Evidence if self.kind == "whole" else OutletEvidence)[self.key]

    @property
    def text(self) -> str:
        """What is asked."""
        return (self._asked.ask or self._asked.look) if self._asked else WORDS["seen"][self.key]

    @property
    def help(self) -> str:
        """What it means and how to look."""
        if self._asked is None:
            return self.text
        return self._declared.about + (f" How: {self._asked.look}." if self._asked.look else "")

    @property
    def words(self) -> tuple[str, ...]:
        """The words that answer it; none where it takes a quantity."""
        return self._asked.choices if self._asked else ()

    @property
    def example(self) -> str:
        """An answer, where it takes a quantity of its own."""
        return str(self._declared.examples[0]) if self._asked and not self.words else ""

    @property
    def of_outlets(self) -> bool:
        """Whether every outlet has an answer of its own."""
        return self.kind in ("each", "outlet") or self.key == "catch"

    def place(self, index: int, label: str) -> str:
        """Where its answer stands in the file, as a fault names it; index, label: of the outlet."""
        outlet = f"outlet[{index + 1}]."
        tables = {"whole": "evidence.", "each": f"{outlet}evidence.", "outlet": outlet,
                  "pour": f"pour[{self.pour + 1}]."}  # fmt: skip
        return tables[self.kind] + self.key + (f".{key_text(label)}" if self.key == "catch" else "")


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
    if query.key == "flow" and typed.strip() == NOT_LOOKED:
        # a pour without what was poured is none
        del told.get("pour", [])[query.pour : query.pour + 1]
        return told
    each = by_outlet(told, typed) if query.of_outlets else [typed.strip()]
    for index, text in enumerate(each):
        if text is None:
            continue
        table, key = _place(told, query, index)
        if text == NOT_LOOKED:
            table.pop(key, None)
        else:
            table[key] = _value(query, text)
    try:
        read(told)
    except ScenarioError as error:
        raise ScenarioError(*_in_words(told, query, typed, error.faults)) from error
    return told


def _in_words(document: Document, query: Query, typed: str, faults: Sequence[str]) -> Iterator[str]:
    """Faults by the names of questions and outlets; what is the same at several is told once."""
    labels, names = labels_of(document), dict[str, tuple[str, str]]()
    for each in queries(document, 0):
        for index, label in enumerate(labels if each.of_outlets else [""]):
            names[each.place(index, label)] = each.name, label
    alike = dict[str, list[str]]()
    for fault in faults:
        place = max(filter(fault.startswith, names), key=len, default="")
        name, label = names.get(place, ("", ""))
        words = re.sub(r"^(\[\d+\])+", "", fault[len(place) :])
        words = re.sub(r"^ is a list( of \d+)?", lambda _: f" is {show(typed)}", words)
        words = re.sub(r'\["(.*)", "(.*)"\]', rf"\1{_GLUE.get(query.key, ' and ')}\2", words)
        if query.example:
            words = re.sub(r'as "[^"]*"$', f'as "{query.example}"', words)
        alike.setdefault(name + words.replace("port_water", "port water"), []).append(label)
    for words, at in alike.items():
        where = outlets_text(at) if at[0] and len(at) < len(labels) else ""
        yield f"{where}, {words}" if where else words


def with_pour(
    document: Document, flow: str, caught: str, jug: str | None, error: str | None
) -> Document:
    """The scenario with a pour that was done; caught: an answer for each outlet."""
    told = copy.deepcopy(document)
    pours = told.setdefault("pour", [])
    names = {str(pour.get("name", i)) for i, pour in enumerate(pours, start=1)}
    again = (f"{flow}, {number}" for number in count(2))
    volume, given, time = flow.rpartition(" in ")
    parts = zip(labels_of(told), by_outlet(told, caught), strict=True)
    pour = {
        "name": next(name for name in chain([flow], again) if name not in names),
        **({"volume": volume, "time": time} if given else {"flow": flow}),
        "jug": jug,
        "error": error,
        "catch": {label: text for label, text in parts if text not in (None, NOT_LOOKED)},
    }
    pours.append({key: value for key, value in pour.items() if value is not None})
    read(told)
    return told


def said(document: Document, query: Query) -> str:
    """What the scenario says under a question; nothing where it says nothing."""
    told, labels = copy.deepcopy(document), labels_of(document)
    places = [_place(told, query, i) for i in range(len(labels) if query.of_outlets else 1)]
    found = [_shown(table.get(key)) for table, key in places]
    if not query.of_outlets:
        return found[0]
    return ", ".join(f"{label} {text}" for label, text in zip(labels, found, strict=True) if text)


def labels_of(document: Document) -> list[str]:
    """What the outlets are called."""
    return [str(o.get("label", i)) for i, o in enumerate(document["outlet"], start=1)]


def by_outlet(document: Document, typed: str) -> list[str | None]:
    """An answer for each outlet; None where it has none."""
    labels = labels_of(document)
    parts = [part.strip() for part in re.split(r"[,;]", typed)]
    named = [_labelled(labels, part) for part in parts]
    uncapped = [i for i, o in enumerate(document["outlet"]) if o.get("state") != "capped"]
    if all(name is None for name, _ in named):
        if len(parts) not in (1, len(uncapped)):
            raise ScenarioError(
                f"is {show(typed)}; write one answer for all, one for each of the "
                f"{len(uncapped)} outlets, or labels, as {labels[0]} ..., others ..."
            )
        told = parts * (len(uncapped) if len(parts) == 1 else 1)
        of_each = dict(zip(uncapped, told, strict=True))
        return [of_each.get(i) for i in range(len(labels))]
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


def _place(document: Document, query: Query, index: int) -> tuple[Document, str]:
    """The table and the key that an answer stands in, the table made where it is not there."""
    if query.kind == "whole":
        return document.setdefault("evidence", {}), query.key
    if query.kind == "pour":
        pours = document.setdefault("pour", [])
        if query.pour == len(pours):
            pours.append({"name": f"seen {query.pour + 1}"})
        pour = pours[query.pour]
        if query.key != "catch":
            return pour, query.key
        return pour.setdefault("catch", {}), labels_of(document)[index]
    outlet = document["outlet"][index]
    return outlet.setdefault("evidence", {}) if query.kind == "each" else outlet, query.key


def _value(query: Query, text: str) -> object:
    """An answer as it stands in a scenario."""
    if query.key in _GLUE:
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
