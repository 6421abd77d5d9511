"""One page that needs no network, to play with a box.

Every setting that the page offers was split beforehand (`lesson_box.frames`); the page holds the
levels and shares as numbers, and a few lines of its own that look one up and move the drawing. It
asks for nothing from outside, and forbids itself to. The page itself is `player.html`; here it gets
its numbers and words.
"""

import base64
import json
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np

from dbox.arrays import Array
from dbox.drawings.lesson_view import HIGH, LOW, column_scale, inside_of, outline_in, way_out
from dbox.errors import ScenarioError
from dbox.fieldwork.lesson_box import FILLED, Frames
from dbox.fieldwork.shares import target_shares
from dbox.files.write_file import write_file
from dbox.report.cautions import LESSON
from dbox.report.encode import encode
from dbox.units import INCH, gpm_litres, inches, millimetres

LEVEL_STEP, SHARE_STEP, LEVEL_ZERO = 1e-5, 1e-4, 20_000
"""What one count stands for, of a level [m] and of a share [-], and the count of a level of 0."""

WIDTH, SECTION = 560, 260
"""Width of all columns and height of the section, in units of the drawing."""


def player_html(frames: Frames) -> str:
    """Write the page."""
    page = files("dbox.drawings").joinpath("player.html").read_text(encoding="utf-8")
    page = page.replace("CAUTION", LESSON)
    data = json.dumps(encode(_data(frames)), allow_nan=False, ensure_ascii=False)
    # No text in the data can end the script that they stand in.
    return page.replace('"DATA"', data.replace("<", "\\u003c"))


def save_html(text: str, path: Path | str, *, overwrite: bool = False) -> None:
    """Write a page to a file."""
    path = Path(path)
    if path.suffix.lower() != ".html":
        raise ScenarioError(f"{path}: a page to play with ends in .html; name one so")
    write_file(path, text, overwrite=overwrite)


def numbers(frames: Frames) -> str:
    """All levels and shares as the page holds them: counts of two bytes, written as base64."""
    level = np.rint(frames.level / LEVEL_STEP) + LEVEL_ZERO
    share = np.rint(frames.share / SHARE_STEP)
    counts = np.concatenate([np.clip(level, 0, 65535)[..., None], share], axis=-1)
    return base64.b64encode(counts.astype("<u2").tobytes()).decode("ascii")


def _data(frames: Frames) -> dict[str, Any]:
    bench = frames.bench
    site = bench.site
    length, across = inside_of(bench)
    lean = bench.lips(np.array([1.0, 0.0]), np.array([0.0, 1.0]), np.zeros(2))
    lean_far, lean_right = np.where(np.isfinite(lean), lean, 0.0)

    per_metre, column = SECTION / (HIGH - LOW), WIDTH / len(site.outlets)
    scale = np.array([min(per_metre, column * column_scale(bench)), -per_metre])
    corners = [outline_in(kind.opening, 0.84 * column / scale[0]) * scale for kind in bench.kinds]
    marks = INCH / 2 * np.arange(-1, 6)
    return {
        "title": site.title or "A box to play with",
        "invented": site.record.invented,
        "labels": [outlet.label for outlet in site.outlets],
        "open": [not outlet.capped for outlet in site.outlets],
        "wrong": bench.outlet,
        "fair": (100 * target_shares(site)).round(1),
        "length": length,
        "across": across,
        "round": site.box.shape == "round",
        "ways": [
            [*place, *way]
            for place, way in (way_out(o.position or (0, 0), length, across) for o in site.outlets)
        ],
        "filled": FILLED,
        "leanFar": lean_far,
        "leanRight": lean_right,
        "far": frames.far_low,
        "right": frames.right_low,
        "lip": frames.lip,
        "sliders": {
            "right": _slider("right side lower than the left", _heights(frames.right_low)),
            "far": _slider("far side lower than the inlet side", _heights(frames.far_low)),
            "lip": _slider(
                f"lip of outlet {site.outlets[bench.outlet].label} alone", _heights(frames.lip)
            ),
            "flow": {**_slider("flow into the box", [gpm_litres(q) for q in frames.inflow]),
                     "start": 0},
        },
        "kinds": [
            (kind.name, " ".join(f"{x:.1f},{y:.1f}" for x, y in points))
            for kind, points in zip(bench.kinds, corners, strict=True)
        ],
        "width": WIDTH,
        "section": SECTION,
        "perMetre": per_metre,
        "low": LOW,
        "high": HIGH,
        "scale": [(mark, inches(mark) if mark else "level lip") for mark in marks],
        "zero": LEVEL_ZERO,
        "levelStep": LEVEL_STEP,
        "shareStep": SHARE_STEP,
        "counts": numbers(frames),
    }  # fmt: skip


def _slider(label: str, words: list[str]) -> dict[str, Any]:
    """A slider that begins in the middle."""
    return {"label": label, "words": words, "start": len(words) // 2}


def _heights(values: Array) -> list[str]:
    return [
        f"{inches(v, signed=True)} ({millimetres(v, signed=True)})" if v else "level"
        for v in values
    ]
