"""Pages that hold all they need: one html text with its script, its style and its data inside.

A page is put together from parts (page/NAME.js) that share `shell.js`. It asks for nothing: its
content policy lets run only the scripts and the style that it was written with, by their hashes,
and load nothing else. What people typed stands in the data alone, and the scripts make text of it.
"""

import base64
import hashlib
import html
import json
from collections.abc import Iterable, Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

from dbox.drawings.lesson_data import bench_of, lean_data
from dbox.drawings.page_data import site_data
from dbox.drawings.style import PALETTE
from dbox.errors import ScenarioError
from dbox.fieldwork.lessons import Bench
from dbox.fieldwork.site import ORDINARY_FLOWS, Outlet, Site
from dbox.files.page_file import KIND, VERSION
from dbox.files.write_file import check_place, write_file
from dbox.hydraulics.openings import Circle
from dbox.keys import LONGEST_NAME
from dbox.report.cautions import FOOT, LONG
from dbox.report.wording import WORDS
from dbox.units import INCH

MADE_BY = '<meta name="generator" content="dbox">'
"""What tells a page of ours from any other file."""

_UNSAFE = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&"}


def page_html(parts: Iterable[str], data: Mapping[str, Any], title: str) -> str:
    """Write a page of these parts, in their order; data: what they find as `dbox.shell.data`."""
    names = [*(["engine"] if "engine" in parts else []), "shell", *parts]
    scripts = [_part(f"{name}.js") for name in dict.fromkeys(names)]
    style = f":root {{ {_colours()} }}\n{_part('page.css')}"
    policy = "; ".join([
        "default-src 'none'",
        f"script-src {' '.join(map(_hash, scripts))}",
        f"style-src {_hash(style)}",
        "img-src data:",
        "base-uri 'none'",
        "form-action 'none'",
    ])  # fmt: skip
    # all but ASCII is escaped, the line separators too; so no text can end the element it is in
    told = json.dumps(data, allow_nan=False).translate(_UNSAFE)
    filled = {
        "POLICY": policy,
        "MADE_BY": MADE_BY,
        "TITLE": html.escape(title),
        "STYLE": style,
        "DATA": told,
        "SCRIPTS": "\n".join(f"<script>{script}</script>" for script in scripts),
    }
    pieces = _part("page.html").split("%%")
    return "".join(filled[p] if i % 2 else p for i, p in enumerate(pieces))


AT_BOX = ("engine", "job", "say", "views", "typing", "record", "box_form", "desk")
"""Parts of the page at the box, in their order."""

LESSON = ("engine", "scene", "lean")
"""Parts of a box to lean, in their order."""


def box_page(start: Site | None, known: Mapping[str, Any] | None) -> str:
    """Write the page for the box; start, known: the job that it can begin with (`page_start`)."""
    job = None if start is None else {**(known or {}), "site": site_data(start)}
    nothing = Site(outlets=(Outlet(label="1", opening=Circle(INCH)),), flows=ORDINARY_FLOWS)
    data = {
        "cautions": LONG,
        "foot": FOOT,
        "notes": {what: words for what, words in WORDS.items() if what.startswith("level: ")
                  and isinstance(words, str) and "{" not in words},
        "kind": KIND,
        "version": VERSION,
        "longestLabel": LONGEST_NAME,
        "blank": site_data(nothing),
        "job": job,
        "lean": lean_data(bench_of(start)),
    }  # fmt: skip
    return page_html((*AT_BOX, *LESSON), data, (start and start.title) or "A distribution box")


def lesson_page(bench: Bench) -> str:
    """Write the page of a box to lean."""
    data = lean_data(bench)
    return page_html(LESSON, {"lean": data}, data["title"])


def save_page(text: str, path: Path, *, overwrite: bool = False) -> None:
    """Write a page to a file; only a page of ours is ever replaced."""
    check_page(path, overwrite=overwrite)
    write_file(path, text, overwrite=overwrite)


def check_page(path: Path, *, overwrite: bool) -> None:
    """Refuse a place where no page can go, or where something else stands."""
    if path.suffix.lower() != ".html":
        raise ScenarioError(f"{path}: a page ends in .html; name one so")
    check_place(path, overwrite=overwrite)
    if path.exists() and MADE_BY.encode() not in path.read_bytes():
        raise ScenarioError(f"{path}: is no page of dbox and is not replaced; name another file")


def _part(name: str) -> str:
    return files("dbox.drawings").joinpath("page", name).read_text(encoding="utf-8")


def _colours() -> str:
    return " ".join(f"--{role.word.partition(' ')[0]}: {role.colour};" for role in PALETTE)


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode()).digest()
    return f"'sha256-{base64.b64encode(digest).decode('ascii')}'"
