"""What is the page itself? Its frame, its look and the few lines that move it."""

from string import Template

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
<p>Sewer gas kills: never enter, or lean into, a tank or a box. Keep children from an open lid. Test
with clean water only. Local code, the permit and licensed practice decide.</p>
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
