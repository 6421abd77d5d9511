"""How is a scenario written back as a file? TOML from its tables, keeping every value as typed.

Only what a scenario can hold is written: text, numbers, true and false, dates, lists, tables and
lists of tables. Comments are not kept.
"""

import datetime
import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dbox.errors import ScenarioError
from dbox.files.faults import shorten

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


def write_text_new(path: Path, text: str) -> None:
    """Write text into a new file, down to the disk.

    Parameters
    ----------
    path : Path
        The file to make; one that is there is left as it is.
    text : str
        Its content.

    Raises
    ------
    ScenarioError
        Where something stands there already, or it cannot be written.
    """
    try:
        with path.open("x", encoding="utf-8", newline="\n") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise ScenarioError(f"{path}: exists already and is left alone; name a new file") from error
    except (OSError, ValueError) as error:
        raise _cannot(path, error) from error


def finish_text(path: Path, text: str) -> None:
    """Write text into a new file, or finish one that was torn off while it was being written.

    Parameters
    ----------
    path : Path
        The file.
    text : str
        Its content.

    Raises
    ------
    ScenarioError
        Where something else stands there, which is left as it is, or it cannot be written.
    """
    try:
        begun = path.read_bytes()
    except FileNotFoundError:
        write_text_new(path, text)
        return
    except OSError as error:
        raise _cannot(path, error) from error
    content = text.encode()
    if not content.startswith(begun):
        raise ScenarioError(f"{path}: exists already and is left alone; name a new file")
    try:
        with path.open("ab") as file:
            file.write(content[len(begun) :])
            file.flush()
            os.fsync(file.fileno())
    except OSError as error:
        raise _cannot(path, error) from error


def _cannot(path: Path, error: OSError | ValueError) -> ScenarioError:
    # a path with a NUL in it is a ValueError, which has no strerror
    reason = getattr(error, "strerror", None) or error
    return ScenarioError(f"{shorten(str(path))}: cannot be written ({reason}); name another place")


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
