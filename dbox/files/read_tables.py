"""From the tables of a TOML file to the dataclasses that declare their keys, and their JSON Schema.

Every key is read on its own, and what cannot be adds its fault to one list, so that a person learns
of all of them at once. A key that was refused is never asked for again. Outlets are counted from 1
in faults, as people count them:

    outlet[3].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16
    unknown key outlet[2].diamter; did you mean diameter?
"""

import inspect
import re
from collections.abc import Callable, Iterable, Mapping
from typing import Any, TypeVar

from dbox.errors import DomainError, ScenarioError, at_place, did_you_mean, key_text, show
from dbox.keys import Key, Reader, keys_of

S = TypeVar("S")
T = TypeVar("T")

MOST_FAULTS = 50
"""Faults told at once; the rest are counted."""


class Faults:
    """What is wrong with a file, each fault once, and which keys were refused."""

    def __init__(self, homes: Mapping[str, type]) -> None:
        self.told: dict[str, None] = {}
        self._homes = homes  # Tables that a key which stands elsewhere may belong to, by name.
        self._untold = 0
        self._refused: set[str] = set()

    def tell(self, fault: str) -> None:
        """Add a fault."""
        self.told[fault] = None

    def refuse(self, place: str, fault: str) -> None:
        """Add a fault of a key's value; the key will not be asked for again."""
        self._refused.add(place)
        self.tell(at_place(place, fault))

    def unknown(self, place: str, name: str, known: Iterable[str]) -> None:
        """Add a key that is not declared, and which key or table was meant."""
        if len(self.told) >= MOST_FAULTS:  # finding what may have been meant takes time
            self._untold += 1
            return
        homes = [
            home
            for home, table in self._homes.items()
            if name in {key.name for key in keys_of(table).values()}
        ]
        meant = f"it belongs under [{homes[0]}]" if homes else did_you_mean(name, known)
        self.tell(f"unknown key {place}; {meant}")

    def refused(self, place: str) -> bool:
        """Tell whether a key, or a table that it stands in, was refused."""
        parts = re.split(r"(?=[.\[])", place)
        return any("".join(parts[:n]) in self._refused for n in range(1, len(parts) + 1))

    def complete(self, table: object, *places: str) -> bool:
        """Tell whether a table has every key that it needs; what is missing is a fault.

        places: Where the keys may stand; the first is named.
        """
        keys = keys_of(type(table)).items()
        missing = [k for field, k in keys if k.needed and getattr(table, field) in (None, "")]
        for key in missing:
            if not any(self.refused(f"{place}.{key.name}") for place in places):
                self.tell(f"{places[0]} has no {key.name}; {key.mend}")
        return not missing

    def names(self, kind: str, names: Mapping[int, str], key: str = "name") -> None:
        """Refuse a name that another table of a list has, whatever its case."""
        first: dict[str, int] = {}
        for index, name in names.items():
            earlier = first.setdefault(name.lower(), index)
            if earlier != index:
                self.tell(
                    f"{kind}[{index + 1}].{key} is {show(name)}, which {kind}[{earlier + 1}] has "
                    "too; give each its own"
                )

    def made(self, table: S | None, make: Callable[[S], T], *places: str) -> T | None:
        """What a table makes once it has all that it needs; why it cannot is a fault."""
        if table is None or not self.complete(table, *places):
            return None
        try:
            return make(table)
        except DomainError as error:
            self.tell(f"{places[0]}: {error}")
            return None

    def error(self, file: str) -> ScenarioError:
        """All faults of a file, the first fifty told and the rest counted."""
        told, more = list(self.told), max(len(self.told) - MOST_FAULTS, 0) + self._untold
        told = told[:MOST_FAULTS] + ([f"and {more} more faults"] if more else [])
        return ScenarioError(*(f"{file}: {fault}" if file else fault for fault in told))


def read_table(
    table: type[T], written: Mapping[str, Any], place: str, bare_unit: str | None, faults: Faults,
    common: Mapping[str, Any] | None = None,
) -> T:  # fmt: skip
    """Read a table key by key; what is refused or missing is left at its default, or None.

    common: Values of fields that the table takes where it has none.
    """
    keys = keys_of(table)
    found = {field: None for field, key in keys.items() if key.needed} | dict(common or {})
    for field, key in keys.items():
        if key.name in written:
            here = f"{place}.{key.name}".removeprefix(".")
            shared = {name: found[name] for name in key.common if name in found}
            value = _read_value(key, written[key.name], here, bare_unit, faults, shared)
            found |= {} if value is None else {field: value}
    known = [key.name for key in keys.values()]
    for name in written:
        if name not in known:
            faults.unknown(f"{place}.{key_text(name)}".removeprefix("."), name, known)
    return table(**found)


def _read_value(
    key: Key, written: Any, place: str, bare_unit: str | None, faults: Faults,
    common: Mapping[str, Any],
) -> Any:  # fmt: skip
    """Value of a key; None where it is refused."""
    if isinstance(key.reader, Reader):
        try:
            return key.reader(written, bare_unit)
        except ScenarioError as error:
            for fault in error.faults:
                faults.refuse(place, fault)
            return None
    heading = re.sub(r"\[[0-9]+\]", "", place)
    if key.many and not isinstance(written, list):
        faults.refuse(
            place, f"is {show(written)}; head each with [[{heading}]], in double brackets"
        )
        return None
    head = f"[[{heading}]]" if key.many else f"[{heading}]"
    found: list[Any] = []
    for index, each in enumerate(written if key.many else [written], start=1):
        here = f"{place}[{index}]" if key.many else place
        sound = isinstance(each, Mapping)
        if not sound:
            mend = f"it is a table, write {head} and its keys under it"
            faults.refuse(here, f"is {show(each)}; {mend}")
        # what is no table stays as an empty one, so that the others keep their numbers
        tables = each if sound else {}
        found.append(read_table(key.reader, tables, here, bare_unit, faults, common))
    return tuple(found) if key.many else found[0]


_SCHEMA_NAMES = {"JobRecord": "RecordTable", "Survey": "GradesTable"}
"""Names that the schema of version 0.1 gave to tables whose class is called otherwise."""


def schema_of(table: type, tables: dict[str, Any]) -> dict[str, Any]:
    """JSON Schema of a table; those in it go into `tables` by their name."""
    properties = {}
    for key in keys_of(table).values():
        said: dict[str, Any] = {"description": key.about}
        if key.examples:
            said["examples"] = list(key.examples)
        if isinstance(key.reader, Reader):
            properties[key.name] = said | dict(key.reader.schema)
            continue
        own = key.reader.__name__.removesuffix("Table") + "Table"
        name = _SCHEMA_NAMES.get(key.reader.__name__, own)
        if name not in tables:
            tables[name] = schema_of(key.reader, tables)
        there = {"$ref": f"#/$defs/{name}"}
        properties[key.name] = said | ({"items": there, "type": "array"} if key.many else there)
    about = (inspect.getdoc(table) or "").partition("\n\n")[0]
    return {
        "additionalProperties": False,
        "description": about.replace("\n", " "),
        "properties": properties,
        "type": "object",
    }
