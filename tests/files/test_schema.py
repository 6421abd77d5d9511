"""The JSON Schema of the scenario file describes what the file may hold."""

import json
from collections.abc import Iterator
from typing import Any

import pytest

from dbox.files.scenario_tables import ScenarioFile, schema
from dbox.keys import Key, Reader, keys_of


def keys() -> list[tuple[str, dict[str, Any]]]:
    """Every key of every table, with what the schema says of it."""
    described = schema()
    tables = [described, *described["$defs"].values()]
    return [(key, said) for table in tables for key, said in table["properties"].items()]


def test_every_key_has_a_description_and_every_value_an_example() -> None:
    """Exact: a key without either helps nobody."""
    for key, said in keys():
        assert said.get("description"), key
        assert said.get("examples") or "$ref" in said or "items" in said, key


def test_the_schema_is_json_without_null() -> None:
    """Exact: TOML has no null, and a missing key has no default to show."""
    assert "null" not in json.dumps(schema(), allow_nan=False)


def test_unknown_keys_are_refused_by_the_schema_too() -> None:
    """Exact: every table says so."""
    described = schema()
    for table in (described, *described["$defs"].values()):
        assert table["additionalProperties"] is False


def declared(table: type, place: str = "") -> Iterator[tuple[str, Key]]:
    """Every key whose value is no table, by its place."""
    for key in keys_of(table).values():
        here = f"{place}.{key.name}".removeprefix(".")
        value = isinstance(key.reader, Reader)
        yield from [(here, key)] if value else declared(key.reader, here)


DECLARED = dict(declared(ScenarioFile))


@pytest.mark.parametrize("place", DECLARED)
def test_the_examples_of_a_key_can_be_read(place):
    key = DECLARED[place]
    assert key.examples
    for example in key.examples:
        assert key.reader(example, "in") is not None
