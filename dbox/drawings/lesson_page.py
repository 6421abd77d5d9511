"""One page that needs no network, to play with a box.

Every setting that the page offers was split beforehand (`bench.frames`); the page holds the levels
and shares as numbers, and a few lines of its own that look one up and move the drawing. It asks for
nothing from outside, and forbids itself to.
"""

import base64
import html
import json
from pathlib import Path
from string import Template
from typing import Any

import numpy as np

from dbox.drawings.lesson_view import HIGH, LOW, column_scale, inside_of, outline_in, way_out
from dbox.errors import ScenarioError
from dbox.fieldwork.lesson_bench import FILLED, Frames
from dbox.fieldwork.shares import target_shares
from dbox.files.write_file import write_file
from dbox.hydraulics.openings import Opening
from dbox.report.cautions import LESSON
from dbox.units import INCH, gpm_litres, inches, millimetres

PAGE = Template("""<!DOCTYPE html>
<html lang="en">
<head>
<meta charset="utf-8">
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta http-equiv="Content-Security-Policy"
 content="default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:">
<link rel="icon" href="data:,">
<title>$title</title>
<style>$style</style>
</head>
<body>
<h1>$title: lean it, and watch the water</h1>
<p id="words" role="status"></p>
<div class="bench">
<div>
$drawing
</div>
<div>
<form>
$sliders
<label for="kind">opening of every outlet</label>
<select id="kind">$kinds</select>
<label class="tick"><input type="checkbox" id="trench"> the trench of line $wrong has filled</label>
</form>
$plan
</div>
</div>
<p>${invented}All lips are level before the box leans. The dashed line is the fair share; dots are
water that a filled trench holds against its outlet. Below 5 mm of head surface tension decides and
the formulas are out of their range. Heights are stretched against widths where a wide opening
asks for it; a notch is drawn as far as it fits.</p>
<p>$caution</p>
<script>"use strict";
const data = $data;
$script
</script>
</body>
</html>
""")

STYLE = """
body { font-family: system-ui, sans-serif; margin: 0 auto; max-width: 52rem; padding: 0.8rem;
 color: #000; background: #fff; line-height: 1.35; }
h1 { font-size: 1.25rem; margin: 0 0 0.3rem; }
#words { font-size: 1.1rem; font-weight: bold; min-height: 1.4em; margin: 0 0 0.4rem; }
svg { width: 100%; height: auto; display: block; }
svg text { font-size: 18px; } .end { text-anchor: end; } .mid { text-anchor: middle; }
.big { font-size: 21px; font-weight: bold; }
#water { fill: #c8c8c8; } #level { stroke: #000; stroke-width: 2; }
.hole { fill: none; stroke: #000; stroke-width: 1.3; } .lip { stroke: #000; stroke-width: 4; }
.grid { stroke: #ddd; } .bar { fill: #c8c8c8; stroke: #000; } .foot { stroke: #000; }
.fair { stroke: #000; stroke-dasharray: 7 5; }
#plan { max-width: 24rem; margin: 0.5rem auto 0; } #plan text { font-size: 14px; }
.wall { fill: none; stroke: #000; stroke-width: 2; } .run { stroke: #000; }
.arrow { stroke: #000; stroke-width: 2; fill: none; }
#low circle { fill: #fff; stroke: #000; stroke-width: 2; stroke-dasharray: 3 2; }
form { display: grid; gap: 0.15rem; margin: 0.6rem 0; }
label { font-weight: bold; margin-top: 0.4rem; } output { font-weight: normal; }
input[type=range] { width: 100%; height: 2.2rem; accent-color: #444; margin: 0; }
select { font-size: 1.05rem; padding: 0.35rem; max-width: 20rem; }
@media (min-width: 62rem) { body { max-width: 84rem; } #plan { max-width: 17rem; }
 .bench { display: grid; grid-template-columns: 3fr 2fr; gap: 2rem; align-items: start; }
 form { margin-top: 0; } input[type=range] { height: 1.6rem; } }
.tick input { width: 1.4rem; height: 1.4rem; vertical-align: middle; }
"""

SCRIPT = """
const byId = (id) => document.getElementById(id);
const bytes = Uint8Array.from(atob(data.counts), (c) => c.charCodeAt(0));
const view = new DataView(bytes.buffer);
const n = data.labels.length;
const names = ["right", "far", "lip", "flow"];

// where the numbers of a setting begin: kind, trench, flow, far, right, lip, then level and shares
function place(s) {
  let at = s.kind * 2 + s.trench;
  at = at * data.flows + s.flow;
  at = at * data.far.length + s.far;
  at = at * data.right.length + s.right;
  return (at * data.lip.length + s.lip) * (n + 1);
}

function read() {
  const s = { kind: +byId("kind").value, trench: byId("trench").checked ? 1 : 0 };
  for (const name of names) s[name] = +byId(name).value;
  return s;
}

function y(height) {
  const inside = Math.min(Math.max(height, data.low), data.high);
  return (data.high - inside) * data.perMetre;
}

function show() {
  const s = read(), at = place(s);
  const count = (i) => view.getUint16(2 * (at + i), true);
  const level = (count(0) - data.zero) * data.levelStep;
  const water = byId("water"), line = byId("level"), bottom = y(data.low);
  water.setAttribute("y", y(level).toFixed(2));
  water.setAttribute("height", (bottom - y(level)).toFixed(2));
  line.setAttribute("y1", y(level).toFixed(2));
  line.setAttribute("y2", y(level).toFixed(2));
  byId("tail").style.display = s.trench ? "" : "none";
  let most = 0;
  for (let i = 0; i < n; i++) {
    const share = count(i + 1) * data.shareStep * 100, tall = share / 100 * data.bars;
    let lip = data.leanFar[i] * data.far[s.far] + data.leanRight[i] * data.right[s.right];
    if (i === data.wrong) lip += data.lip[s.lip];
    const group = byId("outlet" + i), x = +byId("share" + i).getAttribute("x");
    const lipY = ((data.high - lip) * data.perMetre).toFixed(2);
    group.setAttribute("transform", `translate(${x} ${lipY})`);
    group.style.display = data.open[i] ? "" : "none";
    group.firstChild.setAttribute("points", data.kinds[s.kind]);
    byId("bar" + i).setAttribute("y", (data.barsTop + data.bars - tall).toFixed(2));
    byId("bar" + i).setAttribute("height", tall.toFixed(2));
    byId("share" + i).textContent = data.open[i] ? share.toFixed(0) + " %" : "capped";
    byId("line" + i).setAttribute("stroke-width", (share * 0.4).toFixed(2));
    byId("planShare" + i).textContent = `${data.labels[i]}: ${share.toFixed(0)} %`;
    if (count(i + 1) > count(most + 1)) most = i;
  }
  showLow(data.right[s.right], data.far[s.far]);
  for (const name of names)
    byId(name + "Words").textContent = JSON.parse(byId(name).dataset.words)[s[name]];
  byId("words").textContent = `Outlet ${data.labels[most]} gets ` +
    `${(count(most + 1) * data.shareStep * 100).toFixed(0)} %; fair is ${data.fair[most]} %.`;
}

// where the box is lowest, on the plan
function showLow(right, far) {
  const plan = byId("plan").dataset, most = Math.max(Math.abs(right), Math.abs(far));
  const x = +plan.left + plan.across * (0.5 + 0.38 * right / (most || 1));
  const y = +plan.top + plan.along * (0.5 - 0.38 * far / (most || 1));
  byId("low").setAttribute("transform", `translate(${x} ${y})`);
  byId("low").style.display = most ? "" : "none";
}

// page.html#right=8&flow=2&kind=1&trench=1 opens at a setting
function fromAddress() {
  const asked = new URLSearchParams(location.hash.slice(1));
  for (const name of [...names, "kind"]) if (asked.has(name)) byId(name).value = asked.get(name);
  if (asked.has("trench")) byId("trench").checked = asked.get("trench") === "1";
  show();
}

document.querySelector("form").addEventListener("input", show);
document.querySelector("form").addEventListener("submit", (event) => event.preventDefault());
window.addEventListener("hashchange", fromAddress);
fromAddress();
"""


LEVEL_STEP, SHARE_STEP, LEVEL_ZERO = 1e-5, 1e-4, 20_000
"""What one count stands for, of a level [m] and of a share [-], and the count of a level of 0."""

WIDTH, SECTION, LEFT = 560, 260, 96
"""Width of all columns, height of the section and room for its scale, in units of the drawing."""

_BARS, _FOOT = 110, 26
_PLAN, _AROUND = 200, 90


def player_html(frames: Frames) -> str:
    """Write the page."""
    bench = frames.bench
    labels = [html.escape(outlet.label) for outlet in bench.site.outlets]
    wrong = labels[bench.outlet]
    return PAGE.substitute(
        title=html.escape(bench.site.title or "A box to play with"),
        style=STYLE,
        script=SCRIPT,
        drawing=_drawing(frames, labels),
        plan=_plan(frames),
        sliders="\n".join([
            _slider("right", "right side lower than the left", _heights(frames.right_low)),
            _slider("far", "far side lower than the inlet side", _heights(frames.far_low)),
            _slider("lip", f"lip of outlet {wrong} alone", _heights(frames.lip)),
            _slider("flow", "flow into the box", [gpm_litres(q) for q in frames.inflow], start=0),
        ]),
        kinds="".join(
            f'<option value="{i}">{html.escape(kind.name)}</option>'
            for i, kind in enumerate(bench.kinds)
        ),
        wrong=wrong,
        caution=LESSON,
        invented="Invented box. " if bench.site.record.invented else "",
        data=_script_safe(_data(frames)),
    )  # fmt: skip


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


def height_to_y(height: float) -> float:
    """Where a height over the level lips stands on the drawing, from above in its units. [-]

    height [m].
    """
    return (HIGH - height) / (HIGH - LOW) * SECTION


def _data(frames: Frames) -> dict[str, Any]:
    bench = frames.bench
    per_metre = SECTION / (HIGH - LOW)
    column = WIDTH / len(bench.site.outlets)
    across = min(per_metre, column * column_scale(bench))
    lean = bench.lips(np.array([1.0, 0.0, 0.0]), np.array([0.0, 1.0, 0.0]), np.zeros(3))
    lean = np.where(np.isfinite(lean), lean, 0.0)
    return {
        "labels": [outlet.label for outlet in bench.site.outlets],
        "open": [not outlet.capped for outlet in bench.site.outlets],
        "wrong": bench.outlet,
        "fair": [round(100 * float(t), 1) for t in target_shares(bench.site)],
        "leanFar": lean[0].tolist(),
        "leanRight": lean[1].tolist(),
        "far": frames.far_low.tolist(),
        "right": frames.right_low.tolist(),
        "lip": frames.lip.tolist(),
        "flows": frames.inflow.size,
        "zero": LEVEL_ZERO,
        "levelStep": LEVEL_STEP,
        "shareStep": SHARE_STEP,
        "perMetre": per_metre,
        "low": LOW,
        "high": HIGH,
        "bars": _BARS,
        "barsTop": SECTION + 2 * _FOOT,
        "kinds": [
            _points(kind.opening, 0.84 * column, (across, per_metre)) for kind in bench.kinds
        ],
        "counts": numbers(frames),
    }


def _points(opening: Opening, room: float, scale: tuple[float, float]) -> str:
    """Corners of an opening over its lip, as the drawing wants them."""
    corners = outline_in(opening, room / scale[0]) * scale
    return " ".join(f"{x:.1f},{-y:.1f}" for x, y in corners)


def _drawing(frames: Frames, labels: list[str]) -> str:
    """The section over the bars of the shares, as they stand before anything is set."""
    n = len(labels)
    width, bars, column = LEFT + WIDTH, SECTION + 2 * _FOOT, WIDTH / n
    parts = [f'<svg id="drawing" viewBox="0 -12 {width} {bars + _BARS + _FOOT + 12}" role="img" '
             'aria-label="The box in section over the share of every outlet">',
             '<defs><pattern id="full" width="8" height="8" patternUnits="userSpaceOnUse">'
             '<circle cx="4" cy="4" r="1.5"/></pattern>'
             f'<clipPath id="inside"><rect x="{LEFT}" y="0" width="{WIDTH}" '
             f'height="{SECTION}"/></clipPath></defs>',
             f'<rect id="water" x="{LEFT}" y="0" width="{WIDTH}" height="0"/>']  # fmt: skip
    for part in np.arange(-1, 6):
        y = height_to_y(part * INCH / 2)
        name = inches(part * INCH / 2) if part else "level lip"
        parts.append(f'<line class="grid" x1="{LEFT}" x2="{width}" y1="{y:.1f}" y2="{y:.1f}"/>'
                     f'<text x="{LEFT - 6}" y="{y + 5:.1f}" class="end">{name}</text>')  # fmt: skip
    parts.append(f'<text x="{LEFT - 6}" y="{SECTION + 19}" class="end">outlet</text>')
    parts.append('<g clip-path="url(#inside)">')
    tail = height_to_y(FILLED)
    left = LEFT + (frames.bench.outlet + 0.08) * column
    parts.append(f'<rect id="tail" x="{left:.1f}" y="{tail:.1f}" width="{0.84 * column:.1f}" '
                 f'height="{SECTION - tail:.1f}" fill="url(#full)"/>')  # fmt: skip
    half = 0.42 * column
    for i in range(n):
        parts.append(f'<g id="outlet{i}"><polygon class="hole"/><line class="lip" x1="{-half}" '
                     f'x2="{half}" y1="0" y2="0"/></g>')  # fmt: skip
    parts.append(f'<line id="level" x1="{LEFT}" x2="{width}" y1="0" y2="0"/></g>')
    for i, target in enumerate(target_shares(frames.bench.site)):
        parts.append(_bar(i, labels[i], (bars, column), 100 * float(target)))
    return "\n".join([*parts, "</svg>"])


def _bar(i: int, label: str, place: tuple[float, float], fair: float) -> str:
    top, column = place
    middle, foot = LEFT + (i + 0.5) * column, top + _BARS
    y = foot - fair / 100 * _BARS
    half = 0.42 * column
    return (
        f'<text x="{middle}" y="{SECTION + 19}" class="mid">{label}</text>'
        f'<rect id="bar{i}" class="bar" x="{middle - 0.3 * column}" y="{foot}" '
        f'width="{0.6 * column}" height="0"/>'
        f'<line class="fair" x1="{middle - half}" x2="{middle + half}" y1="{y:.1f}" y2="{y:.1f}"/>'
        f'<line class="foot" x1="{middle - half}" x2="{middle + half}" y1="{foot}" y2="{foot}"/>'
        f'<text id="share{i}" x="{middle}" y="{foot + 20}" class="mid big"></text>'
    )


def _plan(frames: Frames) -> str:
    """The box from above, the inlet at the bottom; the script sets how wide each line is."""
    bench = frames.bench
    length, width = inside_of(bench)
    scale = _PLAN / max(length, width)
    across, along = width * scale, length * scale
    left, top, reach = _AROUND, 0.85 * _AROUND, 0.55 * _AROUND
    parts = [f'<svg id="plan" viewBox="0 0 {across + 2 * left:.0f} {along + top + 60:.0f}" '
             f'data-left="{left}" data-top="{top}" data-across="{across}" data-along="{along}" '
             'role="img" aria-label="The box from above, the inlet at the bottom">',
             _walls(bench.site.box.shape, (left, top), (across, along))]  # fmt: skip
    for i, outlet in enumerate(bench.site.outlets):
        (x, y), (u, v) = way_out(outlet.position or (0.0, 0.0), length, width)
        x, y = left + x * scale, top + along - y * scale
        word_x, word_y = x + u * 0.5 * _AROUND, y - v * reach - 8 - 16 * abs(u)
        parts.append(
            f'<line id="line{i}" class="run" x1="{x:.1f}" y1="{y:.1f}" '
            f'x2="{x + u * reach:.1f}" y2="{y - v * reach:.1f}"/>'
            f'<text id="planShare{i}" class="mid" x="{word_x:.1f}" y="{word_y:.1f}"></text>'
        )
    middle, foot = left + across / 2, top + along
    parts.append(
        f'<path class="arrow" d="M{middle} {foot + 30} V{foot - 30} m-6 12 l6 -12 l6 12"/>'
        f'<text class="mid" x="{middle}" y="{foot + 48}">inlet</text>'
        '<g id="low"><circle r="9"/><text class="mid" y="26">low</text></g></svg>'
    )
    return "\n".join(parts)


def _walls(shape: str, corner: tuple[float, float], size: tuple[float, float]) -> str:
    (x, y), (across, along) = corner, size
    if shape == "round":
        return f'<circle class="wall" cx="{x + across / 2}" cy="{y + along / 2}" r="{across / 2}"/>'
    return f'<rect class="wall" x="{x}" y="{y}" width="{across}" height="{along}"/>'


def _slider(name: str, label: str, words: list[str], start: int | None = None) -> str:
    first = len(words) // 2 if start is None else start
    told = html.escape(json.dumps(words), quote=True)
    return (
        f'<label for="{name}">{label}: <output id="{name}Words"></output></label>'
        f'<input type="range" id="{name}" min="0" max="{len(words) - 1}" value="{first}" step="1" '
        f'data-words="{told}">'
    )


def _heights(values: Any) -> list[str]:
    return [
        f"{inches(v, signed=True)} ({millimetres(v, signed=True)})" if v else "level"
        for v in values
    ]


def _script_safe(data: dict[str, Any]) -> str:
    """JSON that cannot end the script it stands in."""
    return json.dumps(data, allow_nan=False).replace("<", "\\u003c")
