"""The one encoder of results for machines: SI, the unit in the key, null for what is not known.

A field whose metadata names a unit gets it in its key: `level` in m3/s becomes `level_m3_s`.
"""

from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass
from typing import Any

import numpy as np

Json = dict[str, Any]


def encode(value: Any) -> Any:
    """A value as JSON: arrays and tuples as lists, a dataclass by its fields, NaN and inf as null.

    >>> encode({"a": (1, float("nan")), "b": np.array([True, False])})
    {'a': [1, None], 'b': [True, False]}
    """
    if is_dataclass(value) and not isinstance(value, type):
        return {
            _key(f.name, f.metadata.get("unit", "")): encode(getattr(value, f.name))
            for f in fields(value)
        }
    if isinstance(value, np.ndarray | np.generic):
        value = value.tolist()
    if isinstance(value, float):
        return value if np.isfinite(value) else None
    if isinstance(value, Mapping):
        return {key: encode(each) for key, each in value.items()}
    if isinstance(value, Sequence) and not isinstance(value, str):
        return [encode(each) for each in value]
    return value


def rows(**columns: Any) -> list[Json]:
    """One object for each place of columns that are equally long.

    >>> rows(label=("a", "b"), lip_m=np.array([0.0, np.inf]))
    [{'label': 'a', 'lip_m': 0.0}, {'label': 'b', 'lip_m': None}]
    """
    encoded = [encode(column) for column in columns.values()]
    return [dict(zip(columns, each, strict=True)) for each in zip(*encoded, strict=True)]


def _key(name: str, unit: str) -> str:
    return f"{name}_{unit.replace('/', '_')}" if unit else name
