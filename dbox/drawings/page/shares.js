// The share of each line at each flow, by drawn lips: bands, verdicts, and what would settle them.

// twin: dbox.fieldwork.shares.target_shares
function targetOf(site) {
  const weights = site.outlets.map((o) => {
    if (o.capped) return 0;
    return o.target === null || o.target === undefined ? 1 : o.target;
  });
  const all = sum(weights);
  if (!(all > 0)) throw new RangeError('no open outlet has a target above 0');
  return weights.map((weight) => weight / all);
}

const overTarget = (share, target) =>
  share.map((each, i) => (target[i] > 0 ? each / target[i] : 1));
const rimOf = (rim) => (typeof rim === 'number' ? rim : Infinity);
const openingsOf = (site) => site.outlets.map((outlet) => outlet.opening);

// How far the coefficients of each drawn box are off; twin: dbox.fieldwork.shares
// .coefficient_doubts
function coefficientDoubts(site, count) {
  const words = openingsOf(site).map((opening) => JSON.stringify(opening));
  const kinds = [...new Set(words)];
  const [n, width] = [words.length, words.length + kinds.length];
  const points = normalPoints(count, width);
  const columns = words.map((word) => n + kinds.indexOf(word));
  return Float64Array.from({ length: count * n }, (_, k) =>
    points[Math.floor(k / n) * width + columns[k % n]]);
}

// Shares of drawn boxes at a flow, or their flows, every lip wet.
// twin: dbox.fieldwork.shares._drawn_shares
class Draws {
  constructor(site, rim, count, { flows = false } = {}) {
    this.n = site.outlets.length;
    this.flows = flows;
    this.count = count;
    this.rim = rimOf(rim);
    this.spread = site.coefficientSpread || 0;
    this.solver = solverOf(openingsOf(site), quick(), 1e-4);
    this.doubts = this.spread ? coefficientDoubts(site, count) : null;
    this.out = new Float64Array(count * this.n);
  }

  // drawn: lips, box after box; near: the box that they are drawn about, where it is split. What
  // it gives holds until the next call.
  shares(inflow, drawn, near) {
    const { n, count, solver, out } = this;
    const lips = new Float64Array(n);
    const options = { near: 0, rim: this.rim };
    for (let d = 0, at = 0; d < count; d += 1, at += n) {
      let level = near.level;
      for (let i = 0; i < n; i += 1) {
        lips[i] = drawn[at + i];
        if (lips[i] < Infinity) level += near.weight[i] * (lips[i] - near.lips[i]);
      }
      options.near = level;
      this.write(at, inflow, lips, solver.solve(inflow, lips, options), options);
    }
    return out;
  }

  // twin: dbox.fieldwork.shares._doubted
  write(at, inflow, lips, level, options) {
    const { n, solver, out } = this;
    const { flow } = solver;
    if (this.doubts) {
      const wanted = flow.reduce((a, b) => a + b, 0);
      const total = this.pass(at, lips, level);
      const scale = total > 0 ? wanted / total : 1;
      this.pass(at, lips, solver.solve(inflow * scale, lips, options));
    }
    let total = 0;
    for (let i = 0; i < n; i += 1) total += flow[i];
    if (this.flows) total = 1;
    for (let i = 0; i < n; i += 1) out[at + i] = total > 0 ? flow[i] / total : 0;
  }

  // What passes where coefficients are off, in place of the flows.
  pass(at, lips, level) {
    const { flow } = this.solver;
    for (let i = 0; i < this.n; i += 1) {
      const low = 2 / (1 + Math.max(level - lips[i], 0) / CAPILLARY_HEAD);
      if (flow[i] > 0) flow[i] *= Math.exp(this.spread * low * this.doubts[at + i]);
    }
    return flow.reduce((a, b) => a + b, 0);
  }
}

// The box that others are drawn about, and by how much its level rises with each lip.
function nearOf({ slopes, rise }, level, lips) {
  return { level, lips, weight: [...slopes].map((each) => (rise > 0 ? each / rise : 0)) };
}

// 5 and 95 per cent of each outlet's draws, in one line between two of them, as numpy has it.
function bandsOf(shares, n) {
  const count = shares.length / n;
  const own = new Float64Array(count);
  const ends = range(n).map((i) => {
    for (let d = 0; d < count; d += 1) own[d] = shares[d * n + i];
    own.sort();
    return [0.05, 0.95].map((part) => {
      const place = part * (count - 1);
      const k = Math.floor(place);
      return own[k] + (place - k) * (own[Math.min(k + 1, count - 1)] - own[k]);
    });
  });
  return { low: ends.map(([low]) => low), high: ends.map(([, high]) => high) };
}

// twin: dbox.fieldwork.shares.chances
function chancesOf(shares, target, tolerance) {
  if (tolerance === null) return { within: NaN, beyond: NaN };
  const n = target.length;
  const count = shares.length / n;
  const room = target.map((each) => tolerance * each + 1e-12);
  const sides = new Float64Array(2 * n);
  let within = 0;
  for (let at = 0; at < shares.length; at += n) {
    let good = true;
    for (let i = 0; i < n; i += 1) {
      const over = shares[at + i] - target[i];
      if (over > room[i]) sides[i] += 1;
      if (over < -room[i]) sides[n + i] += 1;
      good = good && Math.abs(over) <= room[i];
    }
    if (good) within += 1;
  }
  return { within: within / count, beyond: Math.max(...sides) / count };
}

// twin: dbox.fieldwork.shares.verdict_codes
function verdictOf({ within, beyond }) {
  if (within >= SURE) return 'within';
  return beyond >= SURE ? 'outside' : 'cannot tell';
}

const RULES = [INCH / 16, INCH / 32, INCH / 64];
const FEW_READINGS = 4;
const MOST_READINGS = 10;
const toleranceOf = (site) => (typeof site.tolerance === 'number' ? site.tolerance : null);

// Shares with bands and verdicts, by the lips alone; twin: dbox.fieldwork.shares.assess_lips
function assessLips(site, lips, rim) {
  const n = site.outlets.length;
  const target = targetOf(site);
  const tolerance = toleranceOf(site);
  const count = site.samples || SAMPLES;
  const drawn = sample(lips.height, lips.covariance, count);
  const draws = new Draws(site, rim, count);
  const solver = solverOf(openingsOf(site), EXACT, AIM);
  const flows = site.flows.map(({ name, inflow }) => {
    const level = solver.solve(inflow, lips.height, { rim: rimOf(rim) });
    const found = answerOf(solver, level, lips.height);
    const near = nearOf(solver, level, lips.height);
    const shares = draws.shares(inflow, drawn, near);
    const chance = chancesOf(shares, target, tolerance);
    const verdict = verdictOf(chance);
    const over = overTarget(found.share, target).filter((_, i) => target[i] > 0);
    return Object.assign(settling(site, lips, rim, near, verdict, inflow), {
      name,
      inflow,
      ...found,
      ...bandsOf(shares, n),
      target,
      verdict,
      withinProbability: orNull(chance.within),
      worst: Math.max(...over),
    });
  });
  const { spread, from: spreadFrom, mark, repeats, notes } = lips;
  const error = variances(lips.covariance).map(Math.sqrt);
  return { tolerance, target, height: lips.height, error, spread, spreadFrom, mark, repeats,
    notes, flows };
}

// What would settle a verdict, found where it is asked for; twins:
// dbox.fieldwork.shares._settling_spread, Assessment.settling_repeats, Assessment.finer_rules
function settling(site, lips, rim, near, verdict, inflow) {
  const [target, tolerance, count] = [targetOf(site), toleranceOf(site), site.samples || SAMPLES];
  const taken = Math.max(...lips.repeats, 1);
  const single = (repeats) => Math.sqrt(readingVariance(lips.spread, lips.mark, repeats));
  const settled = (scale) => {
    const scatter = lips.covariance.map((row) => row.map((each) => each * scale * scale));
    const nearer = sample(lips.height, scatter, count);
    const shares = new Draws(site, rim, count).shares(inflow, nearer, near);
    const { within, beyond } = chancesOf(shares, target, tolerance);
    return Math.max(within, beyond) >= SURE;
  };
  // the smaller the scatter, the surer the verdict
  const found = () => {
    if (tolerance === null) return NaN;
    if (verdict !== 'cannot tell') return lips.spread;
    let [low, high] = [0, 8];
    while (low < high) {
      const middle = Math.floor((low + high) / 2);
      if (settled(0.5 ** (0.5 * (middle + 1)))) high = middle;
      else low = middle + 1;
    }
    return low < 8 ? lips.spread * 0.5 ** (0.5 * (low + 1)) : NaN;
  };
  let kept;
  const spread = () => {
    if (kept === undefined) kept = found();
    return kept;
  };
  // answers that are found when they are looked at, so not to be spread into another object
  return {
    get settlingSpread() {
      return orNull(spread());
    },
    get settlingRepeats() {
      const most = spread() / lips.spread + 1e-9;
      for (let count = taken; count <= Math.max(MOST_READINGS, taken); count += 1) {
        if (single(count) / single(taken) <= most) return count;
      }
      return null;
    },
    get finerRule() {
      if (verdict !== 'cannot tell') return null;
      const least = (spread() / lips.spread) * single(taken);
      const finer = RULES.filter((mark) => mark < 0.99 * (lips.mark || lips.spread));
      const rule = finer.find((mark) => {
        const variance = readingVariance(mark, mark, FEW_READINGS);
        if (tolerance !== null) return variance <= square(least);
        const uncapped = lips.height.map((each) => each < Infinity);
        const joint = diagonal(lips.height.map(() => variance));
        return levelChance(lips.height.map(() => 0), joint, uncapped) >= SET_WELL;
      });
      return rule === undefined ? null : rule;
    },
  };
}
