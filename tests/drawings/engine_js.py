"""The engine of the pages in an embedded JavaScript engine, and what tests ask it to do."""

import json

from py_mini_racer import MiniRacer

from dbox.drawings.phone_page import script

DRIVER = """
  const back = (_, value) => (value === 'inf' ? Infinity : value);
  const out = (_, value) => (value === Infinity ? 'inf' : value === -Infinity ? '-inf'
    : Number.isNaN(value) ? null : value);
  function each(text, work) {
    return JSON.stringify(JSON.parse(text, back).map((given) => {
      try { return work(given); } catch (error) { return { error: error.message }; }
    }), out);
  }
  function job({ site, steps, pour }) {
    let known = dbox.begin(site);
    const found = [];
    for (const { readings, angles, doubts } of steps) {
      const odd = doubts.map(([before, outlet]) => dbox.doubt(site, known, before, outlet));
      known = dbox.read(site, known, readings);
      found.push({ known, odd, ...dbox.level(site, known) });
      if (angles) known = dbox.turned(site, known, angles);
    }
    return { passes: found, pour: pour && dbox.pour(site, known, pour) };
  }
  function vector(given) {
    const { parts } = dbox;
    const n = given.offset_m.length;
    const variance = given.repeats.map((k) =>
      parts.readingVariance(given.jitter_m, given.mark_m, k));
    const diagonal = variance.map((v, i) => variance.map((_, j) => (i === j ? v : 0)));
    let known = { height: given.means_m[0], covariance: diagonal, fillings: 1, started: false,
      slipped: [], suspects: [], drift: null, asked: null, lowest: [], highest: [] };
    let clock = given.clock_rad;
    given.told_rad.forEach((told, k) => {
      const moved = told.map((angle, i) => angle !== clock[i] && given.offset_m[i] > 0);
      const rise = moved.map((yes, i) =>
        (yes ? given.offset_m[i] * (Math.cos(clock[i]) - Math.cos(told[i])) : 0));
      const spoiled = moved.map((yes, i) =>
        (yes ? parts.turnVariance(clock[i], told[i], given.offset_m[i], given.hand_rad) : 0));
      known = parts.moved(known, rise, spoiled, null);
      known = parts.readMore(known, given.means_m[k + 1], variance);
      clock = told;
    });
    const made = parts.decide(parts.reachOf(known.height, given.offset_m, clock),
      known.covariance, given.wanted_m, { hand: given.hand_rad, started: known.started,
        byRule: Math.max(...variance) });
    const site = { flows: [{ name: '', inflow: given.inflow_m3_s }], outlets: clock.map(() =>
      ({ opening: { kind: 'circle', diameter: given.diameter_m }, turns: false })) };
    const read = { spread: 1, mark: 0, repeats: [1], notes: [] };
    const { low, high } = dbox.assess(site, { ...known, angles: clock, read }).flows[0];
    const points = parts.normalPoints(4000, n);
    return {
      mark_variance_m2: parts.markVariance(given.jitter_m, given.mark_m),
      variance_m2: variance, height_m: known.height, covariance_m2: known.covariance,
      slipped: known.slipped, goal_m: made.goal, turn: made.turn, to_m: made.wanted,
      apart: made.apart, off: made.off,
      level_chance: parts.levelChance(known.height.map((h, i) => h - given.wanted_m[i]),
        known.covariance, clock.map(() => true)),
      share_low: low, share_high: high,
      points: [0, 1, 2].map((k) => [...points.subarray(k * n, k * n + n)]),
    };
  }
"""


def engine():
    """The engine, loaded; to be closed, since its threads would outlive the tests."""
    js = MiniRacer()
    js.eval(f"{script('engine')}\n{DRIVER}")
    return js


def asked(js, work, given):
    """What a piece of JavaScript makes of each of many things, in one call."""
    told = json.dumps(given, allow_nan=True).replace("Infinity", '"inf"')
    found = json.loads(js.eval(f"each({json.dumps(told)}, {work})"))
    assert [each["error"] for each in found if isinstance(each, dict) and "error" in each] == []
    return found
