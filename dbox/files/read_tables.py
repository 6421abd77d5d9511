"""From the tables of a TOML file to the dataclasses that declare their keys, and their JSON Schema.

Of each dataclass a pydantic model is made, once. It validates the whole document, so that a person
learns of every fault at once; what was refused is then left out, and never asked for again. Outlets
are counted from 1 in faults, as people count them:

    outlet[3].reading is "13/16/2 in"; write a fraction as 13/16 or 1-3/16
    unknown key outlet[2].diamter; did you mean diameter?
"""

import dataclasses
import inspect
import os
import re
import unicodedata
from collections.abc import Callable, Iterable, Mapping, Sequence
from functools import cache
from pathlib import Path
from typing import Annotated, Any, TypeVar

from pydantic import BaseModel, Field, PlainValidator, ValidationError, create_model
from pydantic.json_schema import GenerateJsonSchema, WithJsonSchema
from pydantic_core import ErrorDetails

from dbox.errors import DomainError, ScenarioError, at_place, did_you_mean, key_text, shorten, show
from dbox.keys import Key, Reader, keys_of

S = TypeVar("S")
T = TypeVar("T")
Way = tuple[int | str, ...]
"""Names of keys, and places in lists from 0, that lead to a value."""

MOST_FAULTS = 50
"""Faults told at once; the rest are counted."""


class Faults:
    """What is wrong with a file, each fault once, and which keys were refused."""

    def __init__(self, homes: Mapping[str, type]) -> None:
        self.told: dict[str, None] = {}
        self._homes = homes  # Tables that a key which stands elsewhere may belong to, by name.
        self._untold = 0
        self._refused: set[str] = set()

    def tell(self, fault: str, *unless: str) -> None:
        """Add a fault, unless one of these keys was refused already."""
        if not any(map(self.refused, unless)):
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
            at = (f"{place}.{key.name}" for place in places)
            self.tell(f"{places[0]} has no {key.name}; {key.mend}", *at)
        return not missing

    def names(self, kind: str, names: Mapping[int, str], key: str = "name") -> None:
        """Refuse a name that another table of a list has, or one that looks the same."""
        first: dict[str, int] = {}
        for index, name in names.items():
            # alike on paper: 1 and a wide 1, either case
            alike = unicodedata.normalize("NFKC", name).casefold()
            earlier = first.setdefault(alike, index)
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
    table: type[T], written: Mapping[str, Any], bare_unit: str | None, faults: Faults
) -> T:
    """Read a document; what is refused or missing is left at its default, or None."""
    model = _model_of(table)  # type: ignore[arg-type]  # a class is hashable
    try:
        return _made(table, model.model_validate(written, context=bare_unit))
    except ValidationError as error:
        refused = error.errors(include_url=False)
    kinds = {each["loc"][:n]: "" for each in refused for n in range(len(each["loc"]))}
    for each in refused:
        kinds[each["loc"]] = each["type"]
        _tell(each, table, faults)
    return _made(table, model.model_validate(_rest(written, kinds), context=bare_unit))


def _rest(written: Any, kinds: Mapping[Way, str], way: Way = ()) -> Any:
    """Copy of what is written without what was refused.

    kinds: Of the errors, by the way to each; empty for what an error stands in.
    """
    if way not in kinds:
        return written
    if kinds[way] == "model_type":
        return {}  # so that the other tables of a list keep their numbers
    if isinstance(written, list):
        return [_rest(each, kinds, (*way, index)) for index, each in enumerate(written)]
    return {
        name: _rest(each, kinds, (*way, name))
        for name, each in written.items()
        if kinds.get((*way, name), "") in ("", "model_type")
    }


def _made(table: type[T], model: BaseModel, common: Mapping[str, Any] = {}) -> T:
    """Make a table of the values that were written, with the common ones where it has none."""
    keys = keys_of(table)
    written = {field: getattr(model, field) for field in model.model_fields_set}
    found: dict[str, Any] = {field: None for field, key in keys.items() if key.needed}
    found |= {**common, **written}
    for field, value in written.items():
        reader: Any = keys[field].reader
        if keys[field].many:
            shared = {name: found[name] for name in keys[field].common if name in found}
            found[field] = tuple(_made(reader, each, shared) for each in value)
        elif not isinstance(reader, Reader):
            found[field] = _made(reader, value)
    return table(**found)


def _tell(error: ErrorDetails, table: Any, faults: Faults) -> None:
    """Tell what pydantic refused, in the words of this file and of the readers of keys."""
    loc, value = error["loc"], show(error["input"])
    steps = (f"[{step + 1}]" if isinstance(step, int) else f".{key_text(step)}" for step in loc)
    place = "".join(steps).removeprefix(".")
    heading = re.sub(r"\[[0-9]+\]", "", place)
    match error["type"]:
        case "extra_forbidden":
            for step in loc[:-1]:
                if isinstance(step, str):
                    table = next(k.reader for k in keys_of(table).values() if k.name == step)
            faults.unknown(place, str(loc[-1]), [key.name for key in keys_of(table).values()])
        case "tuple_type":
            faults.refuse(place, f"is {value}; write each under [[{heading}]], in double brackets")
        case "model_type":
            head = f"[[{heading}]]" if isinstance(loc[-1], int) else f"[{heading}]"
            faults.refuse(place, f"is {value}; it is a table, write {head} and its keys under it")
        case _:
            for fault in error["ctx"]["error"].faults:
                faults.refuse(place, fault)


@cache
def _model_of(table: Any) -> type[BaseModel]:
    """Model of a table, each of its keys optional."""
    name = _SCHEMA_NAMES.get(table.__name__, table.__name__.removesuffix("Table") + "Table")
    about = (inspect.getdoc(table) or "").partition("\n\n")[0].replace("\n", " ")
    fields: Any = {
        field: (_validated(key), Field(None, alias=key.name, description=key.about,
                                       examples=list(key.examples) or None))
        for field, key in keys_of(table).items()
    }  # fmt: skip
    config: Any = {"extra": "forbid", "defer_build": True, "json_schema_extra": _as_in_toml}
    return create_model(name, __config__=config, __doc__=about, **fields)


def _validated(key: Key) -> Any:
    """Type of a key's value, as pydantic takes it."""
    reader = key.reader
    if not isinstance(reader, Reader):
        model: Any = _model_of(reader)
        return tuple[model, ...] if key.many else model
    read = PlainValidator(lambda written, info: reader(written, info.context))
    return Annotated[Any, read, WithJsonSchema(dict(reader.schema))]


_SCHEMA_NAMES = {"JobRecord": "RecordTable", "Survey": "GradesTable"}
"""Names that the schema of version 0.1 gave to tables whose class is called otherwise."""


def schema_of(table: type) -> dict[str, Any]:
    """JSON Schema of a table."""
    return _model_of(table).model_json_schema(schema_generator=_Schema)


class _Schema(GenerateJsonSchema):
    """Keeps what a key is for where its table says the same."""

    def handle_ref_overrides(self, json_schema: dict[str, Any]) -> dict[str, Any]:
        """Leave what stands beside a reference there."""
        return json_schema


def _as_in_toml(schema: dict[str, Any]) -> None:
    """Take out the null of a missing key, which TOML has not, and titles, which repeat names."""
    for said in (schema, *schema["properties"].values()):
        said.pop("title", None)
        said.pop("default", None)


MOST_IN_SERIES = 4
"""Boxes one behind the other, the first one counted. (judgement)"""

_LONGEST_PATH = 120


@dataclasses.dataclass(frozen=True)
class Place:
    """Where a file stands among boxes in series."""

    path: Path
    above: tuple[Path, ...] = ()  # The files that lead to it, from the first box on.
    fed: dict[Path, str] = dataclasses.field(
        default_factory=dict
    )  # What feeds each box behind the first.


def fed_boxes(
    feeds: Sequence[str | None], place: Place, faults: Faults, read: Callable[[Path, Place], T]
) -> list[T | None]:
    """What is read of the box that each outlet feeds; None where it feeds a line, or cannot be.

    A box has one inlet here: files that lead to one another in a ring, a box that is fed twice, and
    a row of too many are faults of the key that names them.
    """
    boxes: list[T | None] = [None] * len(feeds)
    here = (*place.above, place.path.resolve())
    for index, file in enumerate(feeds):
        if file is None:
            continue
        key, path = f"outlet[{index + 1}].feeds", place.path.parent / file
        said = f"{key} is {show(file)}"
        if not os.path.exists(path):
            faults.tell(
                f"{said}; there is no file {shorten(str(path), _LONGEST_PATH)}, write its path "
                "from the folder of this file"
            )
        elif (real := path.resolve()) in here:
            which = "this file itself" if real == here[-1] else "a box that this one is fed by"
            faults.tell(f"{said}, {which}; water cannot run in a ring, name another file")
        elif real in place.fed:
            faults.tell(
                f"{said}, which {place.fed[real]} feeds too; a box has one inlet here, give each "
                "its own file"
            )
        elif len(here) >= MOST_IN_SERIES:
            faults.tell(
                f"{said}, box {len(here) + 1} of a row; at most {MOST_IN_SERIES} may stand one "
                "behind the other, leave the key out"
            )
        else:
            place.fed[real] = f"{key} of {place.path.name}"
            try:
                boxes[index] = read(path, Place(path, here, place.fed))
            except ScenarioError as error:
                for fault in error.faults:
                    faults.tell(f"{key}: {fault}")
    return boxes
