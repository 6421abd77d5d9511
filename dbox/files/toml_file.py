"""TOML documents: read from a disk, written back, and how a fault in one is worded.

Everything that can be wrong before a single key is looked at is told here: no such file, a folder,
too big, not text, not TOML. The limits keep any file, however damaged, quick to refuse.

Only what a scenario can hold is written: text, numbers, true and false, dates, lists, tables and
lists of tables. Comments are not kept.
"""

import datetime
import json
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from dbox.errors import LONGEST_SHOWN, ScenarioError, shorten

MOST_BYTES = 200_000
"""A scenario of a hundred outlets, each with a page of comments, is smaller."""

MOST_DOTS = 200
"""Dots in one line. More cannot be a scenario, and keys of very many parts take the parser long."""


def read_text(
    path: Path, *, most_bytes: int = MOST_BYTES, limit: str = "a scenario is a short text"
) -> str:
    """Read a text file, refusing what no scenario can be."""
    try:
        with path.open("rb") as file:
            content = file.read(most_bytes + 1)
    except FileNotFoundError as error:
        raise ScenarioError(f"{path}: there is no such file; check the name") from error
    except IsADirectoryError as error:
        raise ScenarioError(f"{path}: is a folder; name a file in it") from error
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or error
        raise ScenarioError(
            f"{shorten(str(path))}: cannot be read ({reason}); name another file"
        ) from error
    if len(content) > most_bytes:
        raise ScenarioError(f"{path}: is bigger than {most_bytes} bytes; {limit}, check the name")
    return _decode(content, path)


def _decode(content: bytes, path: Path) -> str:
    """Turn bytes into text, naming the line that is no UTF-8."""
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise ScenarioError(
            f"{path}: line {line} holds byte 0x{content[error.start]:02x}, which is not UTF-8; "
            "save the file as plain text in UTF-8"
        ) from error


def parse(text: str, name: str) -> dict[str, Any]:
    """Read the tables of a TOML document."""
    for number, line in enumerate(text.split("\n"), start=1):
        if line.count(".") > MOST_DOTS:
            raise ScenarioError(f"{name}: line {number} has more than {MOST_DOTS} dots; shorten it")
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise ScenarioError(
            f"{name}: lists or tables are nested too deep; a scenario has two levels"
        ) from error
    except tomllib.TOMLDecodeError as error:
        raise ScenarioError(f"{name}: {_where(str(error), text)}") from error
    except ValueError as error:
        # Python refuses to read numbers of thousands of digits, before TOML comes to judge them.
        raise ScenarioError(
            f"{name}: holds a number that cannot be read ({shorten(str(error))}); shorten it"
        ) from error


def _where(message: str, text: str) -> str:
    """Word the parser's complaint: the line, what stands there, and the usual mend."""
    complaint, _, place = message.rstrip(")").partition(" (at ")
    what = complaint[:1].lower() + shorten(complaint[1:], 2 * LONGEST_SHOWN)
    line = ""
    if place.startswith("line "):
        number = int(place.removeprefix("line ").partition(",")[0])
        line = f": {shorten(text.split(chr(10))[number - 1].strip())}"
    if what.startswith(("cannot overwrite", "cannot declare")):
        return f"a key or a table is there twice, at {place}{line}; keep one of them"
    if not line:
        return f"not TOML: {what}, at {place}; a quote or a bracket may be open"
    return (
        f"not TOML at {place}: {what}{line}; "
        'write it as key = value, with text and units in quotes, as "1/8 in"'
    )


Document = Mapping[str, Any]


def toml_text(document: Document) -> str:
    """Write the tables of a document.

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
