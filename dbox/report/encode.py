"""The one encoder of results for machines: SI, the unit in the key, null for what is not known.

A field whose metadata names a unit gets it in its key: `flow` in m3/s becomes `flow_m3_s`. One that
counts outlets is told by their labels.
"""

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

Json = dict[str, Any]


def keyed(record: Any, *names: str, labels: Sequence[str] = ()) -> Json:
    """Fields of a dataclass by their keys, the unit in each: those that are named, else all.

    labels: Of the outlets.
    """
    found = {}
    for f in fields(record):
        value, unit = getattr(record, f.name), f.metadata.get("unit", "").replace("/", "_")
        if f.name not in (names or [f.name]) or f.metadata.get("hidden"):
            continue
        if f.metadata.get("outlets") and value is not None:
            value = labels[value] if isinstance(value, int) else [labels[i] for i in value]
        found[f"{f.name}_{unit}" if unit else f.name] = value
    return found


def encode(value: Any, labels: Sequence[str] = ()) -> Any:
    """A value as JSON: arrays and tuples as lists, a dataclass by its fields, NaN and inf as null.

    labels: Of the outlets.

    >>> encode({"a": (1, float("nan")), "b": np.array([True, False])})
    {'a': [1, None], 'b': [True, False]}
    """
    if is_dataclass(value) and not isinstance(value, type):
        value = keyed(value, labels=labels)
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: encode(each, labels) for key, each in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [encode(each, labels) for each in value]
    return value


def rows(**columns: Any) -> list[Json]:
    """One object for each place of columns that are equally long; one that is None has nulls.

    >>> rows(label=("a", "b"), lip_m=np.array([0.0, np.inf]))
    [{'label': 'a', 'lip_m': 0.0}, {'label': 'b', 'lip_m': None}]
    """
    places = max(len(column) for column in columns.values() if column is not None)
    encoded = [encode([None] * places if c is None else c) for c in columns.values()]
    return [dict(zip(columns, each, strict=True)) for each in zip(*encoded, strict=True)]
