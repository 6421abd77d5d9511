"""Pages that hold all they need: one html text with its script, its style and its data inside.

A page is put together from parts (page/NAME.js) that share `units.js` and `shell.js`. It asks for
nothing: its content policy lets run only the scripts and the style that it was written with, by
their hashes, and load nothing else. What people typed stands in the data alone, and the scripts
make text of it.

A site goes into the data in SI, in the names of `page/water.js`; a box to lean by its openings and
flows, heights over where the lips of the level box are: `page/lean.js` splits the flow itself.
"""

import base64
import hashlib
import html
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.drawings.style import PALETTE
from dbox.errors import ScenarioError
from dbox.fieldwork.lessons import (
    FILLED,
    LESSON_FLOWS,
    LESSON_TOLERANCE,
    MOST_OUTLETS,
    Bench,
    lesson_site,
)
from dbox.fieldwork.readings import without_placeholders
from dbox.fieldwork.shares import SAMPLES, target_shares
from dbox.fieldwork.site import ORDINARY_FLOWS, Flow, Outlet, Site
from dbox.files.page_file import KIND, VERSION
from dbox.files.write_file import check_place, write_file
from dbox.hydraulics.openings import Circle, Opening
from dbox.hydraulics.openings.base import CAPILLARY_HEAD
from dbox.keys import LONGEST_NAME
from dbox.report.cautions import FOOT, LESSON, LONG
from dbox.report.encode import Json, encode
from dbox.report.wording import WORDS
from dbox.units import BUCKET, DOSE, INCH, LITRE_PER_MINUTE, TRICKLE

MADE_BY = '<meta name="generator" content="dbox">'
"""What tells a page of ours from any other file."""

_UNSAFE = {ord(sign): f"\\u{ord(sign):04x}" for sign in "<>&"}


def page_html(parts: Iterable[str], data: Mapping[str, Any], title: str) -> str:
    """Write a page of these parts, in their order; data: what they find as `dbox.shell.data`."""
    first = "engine" if "engine" in parts else "units"
    scripts = list(map(script, dict.fromkeys([first, "shell", *parts])))
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


ENGINE = ("units", "water", "lips", "shares", "advice")
"""Chapters of what a page computes with, in their order."""


def script(name: str) -> str:
    """A part of a page; `engine` is its chapters in one closure, `units` the first of them."""
    chapters = {"engine": ENGINE, "units": ENGINE[:1]}.get(name)
    if chapters is None:
        return _part(f"{name}.js")
    told = "\n".join(_part(f"{each}.js") for each in chapters)
    return f"(() => {{\n'use strict';\n\n{told}}})();\n"


AT_BOX = ("engine", "job", "say", "views", "typing", "record", "box_form", "desk")
"""Parts of the page at the box, in their order."""

LEAN = ("engine", "scene", "lean")
"""Parts of a box to lean, in their order."""


_TOLD = "level: (?!highest)|readings: .*still water|tilt: in one line"

_NOTES = {
    what: re.sub(r"{(over|under):[^}]*}", "{}", words)
    for what, words in WORDS.items()
    if isinstance(words, str) and re.match(_TOLD, what)
}
"""What a person at the box should know, by the kind of note; {}: for a height that the page has."""


def box_page(start: Site | None, known: Mapping[str, Any] | None) -> str:
    """Write the page for the box; start, known: the job that it can begin with (`page_start`)."""
    job = None if start is None else {**(known or {}), "site": site_data(start)}
    nothing = Site(outlets=(Outlet(label="1", opening=Circle(INCH)),), flows=ORDINARY_FLOWS)
    data = {
        "cautions": LONG,
        "foot": FOOT,
        "notes": _NOTES,
        "kind": KIND,
        "version": VERSION,
        "longestLabel": LONGEST_NAME,
        "blank": site_data(nothing),
        "job": job,
        "lean": lean_data(bench_of(start)),
    }  # fmt: skip
    return page_html((*AT_BOX, *LEAN), data, (start and start.title) or "A distribution box")


def lesson_page(bench: Bench) -> str:
    """Write the page of a box to lean."""
    data = lean_data(bench)
    return page_html(LEAN, {"lean": data}, data["title"])


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


def site_data(site: Site, *, samples: int = SAMPLES) -> dict[str, Any]:
    """What the page knows of a site; None: not known."""
    site = without_placeholders(site)
    return {
        "title": site.title,
        "units": "mm" if site.metric else "in",
        "mark": site.mark,
        "spread": site.spread,
        "tolerance": site.allowed,
        "toleranceSource": site.tolerance and site.tolerance.source,
        "targetOpen": site.target_open,
        "inlet": site.box.inlet,
        "inside": list(site.box.inside),
        "rim": site.box.rim,
        "holdBack": list(site.hold_back),
        "handError": site.hand,
        "coefficientSpread": site.coefficient_spread,
        "samples": samples,
        "flows": [
            {"name": flow.name.removesuffix(" (default)"), "inflow": flow.inflow}
            for flow in site.flows
        ],
        "outlets": [
            _outlet(outlet, share)
            for outlet, share in zip(site.outlets, target_shares(site).tolist(), strict=True)
        ],
    }


def _outlet(outlet: Outlet, target: float) -> dict[str, Any]:
    offset = outlet.hole_offset or 0.0
    return {
        "label": outlet.label,
        "at": outlet.position and list(outlet.position),
        "opening": opening_data(outlet.opening),
        "point": outlet.point_over_lip,
        "turns": offset > 0,
        # JSON knows no infinity, which stands for an offset that nobody knows
        "offset": offset if 0 < offset < float("inf") else None,
        "clock": outlet.clock,
        "capped": outlet.capped,
        "readings": list(outlet.readings),
        "target": target,
    }


def opening_data(opening: Opening) -> dict[str, Any]:
    """An opening by its kind and its sizes in SI."""
    sizes = {
        re.sub("_(.)", lambda letter: letter[1].upper(), name): value
        for name, value in asdict(opening).items()
    }
    return {"kind": opening.kind, **sizes}


LOW, HIGH = -0.75 * INCH, 2.5 * INCH
"""Heights that the strip of wall shows. [m] (judgement)"""

FLOWS = (1.0, 120.0)
"""Least and most flow of the slider, where those of the box are not beyond. [L/min] (judgement)"""

_INSIDE = (0.4, 0.5)
"""Inside of a box that was not measured, along and across. [m] (judgement)"""

_WIDEST = 4 * INCH
"""How wide an opening that widens without end is drawn at most. [m] (judgement)"""

USUAL_FLOWS = (
    Flow(name="trickle", inflow=TRICKLE),
    Flow(name="bucket", inflow=BUCKET),
    Flow(name="dose", inflow=DOSE),
)
"""Flows that the page marks for a box of no file. [m3/s] (as `dbox.units` has them)"""

_SUMP, _RIM = 4 * INCH, 6 * INCH
"""How far floor and rim of a box are drawn under and over its lips where nobody measured them. [m]
(judgement)"""


def bench_of(site: Site | None) -> Bench:
    """A site's box to lean; a made-up one where there is none, or its outlets' places lack."""
    uncapped = [i for i, o in enumerate(site.outlets) if not o.capped] if site else []
    if site is None or len(site.outlets) > MOST_OUTLETS or not uncapped:
        return Bench(site=lesson_site())
    placed = all(site.outlets[i].position for i in uncapped)
    return Bench(site=site, outlet=uncapped[0]) if placed else Bench(site=lesson_site())


def lean_data(bench: Bench) -> Json:
    """What `page/lean.js` needs of a bench, in SI: it splits the flow itself."""
    site = bench.site
    inside = site.box.inside or _INSIDE
    length, across = inside[0], inside[-1]
    is_round = site.box.shape == "round"
    far, right = (
        np.where(np.isfinite(lean), lean, 0.0)
        for lean in (bench.lips(1.0, 0.0, 0.0), bench.lips(0.0, 1.0, 0.0))
    )
    flows = USUAL_FLOWS if site.flows == LESSON_FLOWS else site.flows
    inflows = [flow.inflow for flow in flows]
    kinds = _kinds(bench)
    forms = list(dict.fromkeys(opening for _, openings in kinds for opening in openings))
    allowed = LESSON_TOLERANCE.share if site.allowed is None else site.allowed
    data: Json = encode({
        "title": site.title or "A box",
        "metric": site.metric,
        "round": is_round,
        "along": length,
        "across": across,
        "floor": -(site.box.sump or _SUMP),
        "top": site.box.rim or _RIM,
        "low": LOW,
        "high": HIGH,
        "filled": FILLED,
        "capillary": CAPILLARY_HEAD,
        "outlet": bench.outlet,
        "allowed": allowed,
        "outlets": [
            {
                "label": outlet.label,
                "capped": outlet.capped,
                "target": target,
                "leanFar": far[i],
                "leanRight": right[i],
                **_leaves(outlet.position or (0.0, 0.0), length, across, is_round),
            }
            for i, (outlet, target) in enumerate(
                zip(site.outlets, target_shares(site), strict=True)
            )
        ],
        "kinds": [
            {"name": name, "forms": [forms.index(opening) for opening in openings]}
            for name, openings in kinds
        ],
        "forms": [
            {"opening": opening_data(form), "outline": _outline(form)}
            for form in forms
        ],
        "flows": [{"name": flow.name, "inflow": flow.inflow} for flow in flows],
        "leastFlow": min(FLOWS[0] * LITRE_PER_MINUTE, *inflows),
        "mostFlow": max(FLOWS[1] * LITRE_PER_MINUTE, *inflows),
        "notes": [
            *["Invented box."] * site.record.invented,
            "All lips are level before the box leans.",
            LESSON,
        ],
    })  # fmt: skip
    return data


def _outline(opening: Opening) -> Array:
    """Corners of an opening as high as the strip; a notch as far as it is drawn. [m]"""
    corners = opening.outline(HIGH - LOW).round(4)
    wide = float(np.ptp(corners[:, 0]))
    return corners * min(1.0, _WIDEST / wide) if opening.widens else corners


def _leaves(
    position: tuple[float, float], length: float, width: float, is_round: bool
) -> dict[str, float]:
    """Where an outlet leaves the box, and which way: out of the nearest wall. [m], [-]"""
    y, x = position
    walls = [(length - y, (0.0, 1.0)), (x, (-1.0, 0.0)), (width - x, (1.0, 0.0))]
    across, along = min(walls, key=lambda wall: wall[0])[1]
    if is_round:
        away = (x - width / 2, y - length / 2)
        across, along = (part / (np.hypot(*away) or 1.0) for part in away)
    return {"x": x, "y": y, "across": across, "along": along}


def _kinds(bench: Bench) -> list[tuple[str, list[Opening]]]:
    """Openings to choose from, those of a file's box first."""
    own = [o.opening for o in bench.site.outlets]
    kinds = [(kind.name, [kind.opening] * len(own)) for kind in bench.kinds]
    return kinds if bench.site.flows == LESSON_FLOWS else [("as in this box", own), *kinds]
