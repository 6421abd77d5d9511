"""How is a scenario written back as a file? TOML from its tables, keeping every value as typed.

Only what a scenario can hold is written: text, numbers, true and false, dates, lists, tables and
lists of tables. Comments are not kept.
"""

import datetime
import json
from collections.abc import Mapping
from typing import Any

Document = Mapping[str, Any]


def toml_text(document: Document) -> str:
    """Write the tables of a document.

    Parameters
    ----------
    document : mapping
        As `tomllib` reads it.

    Returns
    -------
    str
        TOML that is read back as the same document.

    >>> print(toml_text({"title": "Two lines", "outlet": [{"reading": "1/8 in"}, {}]}))
    title = "Two lines"
    <BLANKLINE>
    [[outlet]]
    reading = "1/8 in"
    <BLANKLINE>
    [[outlet]]
    <BLANKLINE>
    """
    return "\n".join(_lines(document, "")).lstrip("\n") + "\n"


def _lines(table: Document, place: str) -> list[str]:
    """Lines of one table: its values first, then the tables in it under their own heads."""
    inner = {key: value for key, value in table.items() if _is_table(value) or _are_tables(value)}
    lines = [f"{_key(k)} = {_value(v)}" for k, v in table.items() if k not in inner]
    for key, value in inner.items():
        head = f"{place}{_key(key)}"
        for each in value if isinstance(value, list) else [value]:
            lines += ["", f"[[{head}]]" if isinstance(value, list) else f"[{head}]"]
            lines += _lines(each, f"{head}.")
    return lines


def _is_table(value: object) -> bool:
    return isinstance(value, Mapping)


def _are_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(map(_is_table, value))


def _key(key: str) -> str:
    plain = key.isascii() and key.replace("_", "").replace("-", "").isalnum()
    return key if plain else _quoted(key)


def _value(value: object) -> str:
    if isinstance(value, str):
        return _quoted(value)
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, list | tuple):
        return f"[{', '.join(map(_value, value))}]"
    if isinstance(value, datetime.date | datetime.time):
        return value.isoformat()
    if isinstance(value, int | float):
        return repr(value)
    raise TypeError(f"a scenario cannot hold {type(value).__name__}")


def _quoted(text: str) -> str:
    # TOML spells what cannot be printed as JSON does, but for DEL
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
