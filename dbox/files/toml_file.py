"""TOML documents: read from a disk, written back, and how a fault in one is worded.

Everything that can be wrong before a single key is looked at is told here: no such file, a folder,
too big, not text, not TOML. The limits keep any file, however damaged, quick to refuse.

What is written back keeps the comments and the layout of the text that it began with.
"""

import itertools
import tomllib
from collections.abc import Mapping, Sequence
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
    content = read_bytes(path, most_bytes=most_bytes, limit=limit)
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise ScenarioError(
            f"{path}: line {line} holds byte 0x{content[error.start]:02x}, which is not UTF-8; "
            "save the file as plain text in UTF-8"
        ) from error


def read_bytes(path: Path, *, most_bytes: int, limit: str) -> bytes:
    """Read a file that may be endless, and refuse it where it is bigger than it may be."""
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
        raise ScenarioError(f"{path}: is bigger than {most_bytes:,} bytes; {limit}, check the name")
    return content


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
    import tomlkit  # only where something is written: reading stays quick

    return tomlkit.dumps(document)


def with_values(text: str, document: Document) -> str:
    """The text of a document with the values of another, its comments and layout kept.

    >>> print(with_values("a = 1  # first\\nb = 2\\n", {"a": 3, "c": "new"}))
    a = 3  # first
    c = "new"
    <BLANKLINE>
    """
    import tomlkit

    written = tomlkit.parse(text)
    _update(written, document)
    return tomlkit.dumps(written)


def _update(table: Any, wanted: Document) -> None:
    """Give a table of a text other values; what has not changed is not touched."""
    for key in [key for key in table if key not in wanted]:
        del table[key]
    for key, value in wanted.items():
        if key not in table:
            _add(table, key, value)
            continue
        old = table[key]
        if isinstance(old, Mapping) and isinstance(value, Mapping):
            _update(old, value)
        elif _are_tables(old) and _are_tables(value):
            _make_room(old, value)
            for before, after in zip(old, value, strict=False):
                _update(before, after)
            for after in value[len(old) :]:
                old.append(after)
            del old[len(value) :]
        elif old != value:
            table[key] = value


def _make_room(old: Any, wanted: Sequence[Document]) -> None:
    """Put in or take out tables in the midst of others, so that each keeps its comments."""
    from tomlkit.items import Whitespace

    more = len(wanted) - len(old)
    pairs = zip(old, wanted, strict=False)
    same = sum(1 for _ in itertools.takewhile(lambda pair: pair[0] == pair[1], pairs))
    if old[same + max(-more, 0) :] == wanted[same + max(more, 0) :]:
        for i in range(same, same + more):
            tail = _tail(old[i - 1]) if i else []
            old.insert(i, wanted[i])
            if tail:
                # a blank line before the new table, and the comments before the next one
                old[i - 1].value.body.append((None, Whitespace("\n")))
                old[i].value.body.extend(tail)
        for _ in range(-more):
            tail = _tail(old[same])
            del old[same]
            if same and tail:
                body = old[same - 1].value.body
                if isinstance(body[-1][1], Whitespace):
                    body.pop()
                body.extend(tail)


def _are_tables(value: object) -> bool:
    return isinstance(value, list) and bool(value) and all(isinstance(v, Mapping) for v in value)


def _tail(table: Any) -> list[Any]:
    """Take off what stands after the last key of a table: comments that lead on to the next."""
    from tomlkit.items import Table

    body = table.value.body if isinstance(table, Table) else []
    keys = sum(1 for _ in itertools.dropwhile(lambda part: part[0] is None, reversed(body)))
    after = body[keys:]
    del body[keys:]
    return list(after)


def _add(table: Any, key: str, value: object) -> None:
    """Add a key after the last one, before the comments that lead on to the next table."""
    after = _tail(table)
    table[key] = value
    if after:
        table.value.body.extend(after)
