/* What a page computes with: the water, the readings and the advice, as the library has them. twin:
   names where a piece stands in Python; the two are held to each other by the tests.

   Five chapters make one script, in one closure: units.js, this one (openings, split), lips.js,
   shares.js and advice.js.

   All is SI and plain: numbers, arrays over outlets, objects. null: not known. Infinity: the lip of
   a capped outlet. Nothing is random. A RangeError says what is wrong with what was given.

   site   as `dbox.drawings.phone_page.site_data` writes it:
          {title, units, mark, spread, tolerance, inlet, inside, rim, holdBack: [low, high],
           handError, coefficientSpread, samples, flows: [{name, inflow}],
           outlets: [{label, at: [along, across], opening, point, turns, offset, clock, capped,
                      readings, target}]}
          opening: {kind: 'circle', diameter}, {kind: 'notch', angle}, {kind: 'slot', width, height}
          or {kind: 'pipe', diameter, entranceLoss}, with a coefficient where one is typed; point:
          height of what is read over the lip; turns: whether the insert can be turned, and offset
          null where nobody knows how far its hole is off; target: its share, or a weight
   known  what all fillings tell of the lips: begin, then read, turned, read, turned ... What was
          read once more with nothing turned is read again.

   dbox.split({inflow, lips, openings, tailwater, holdBack, rising, rim})
          {level, head, flow, share, overflow}; tailwater null at outlets that have none
   dbox.begin(site)                   known, of which nothing is read
   dbox.read(site, known, readings)   known; for each outlet the heights of its point over still
                                      water, null where capped
   dbox.turned(site, known, angles)   known; where each hole stands now
   dbox.doubt(site, known, readings, outlet)
          what is odd about the readings of an outlet: null, or {why, amount, other}
   dbox.level(site, known)
          {verdict, next, conclusion, goal, turns, every, offset, wellSet, worst, order, stillLevel,
           plane, lift, notes: [{what, outlets}], before, after,
           outlets: [{label, lip, error, move, turn, angleBefore, angleAfter, clockBefore,
                      clockAfter, lipAfter, overWater, ruleShows, reachable}]}
          as `dbox level --json`, by the lips alone; order: places of outlets; conclusion: how a
          set-up stands after this pass, `inlet` where no more than a jet could be in the way
   dbox.assess(site, known)           `before` of that
          {tolerance, target, height, error, spread, spreadFrom, mark, repeats, notes,
           flows: [{name, inflow, level, head, flow, share, overflow, low, high, target, verdict,
                    withinProbability, worst, settlingSpread, settlingRepeats, finerRule}]}
          the last three are found when they are looked at, and take a while
   dbox.pour(site, known, {inflow, catches, error})
          {outlets: [{label, flow, low, high, caught, stands, held}], odd,
           balance: {verdict, caught, missing, missingLow, missingHigh, notCaught}}
   dbox.warm(site)                    for a quiet moment: what is asked after it comes at once
   dbox.clock.parse(text)             angle from straight down; dbox.clock.text(angle)
   dbox.length.parse(text, unit)      metres; dbox.length.text(metres, {metric, mark, signed})
                                      and dbox.length.both, in both units
   dbox.parts                         pieces that the tests hold to the library one by one
*/

const GRAVITY = 9.80665;
const CAPILLARY_HEAD = 0.005;
const SAMPLES = 4000;
const SURE = 0.95;
const ROUNDING = 1e-9;

const sum = (values) => values.reduce((total, each) => total + each, 0);
const mean = (values) => sum(values) / values.length;
const clip = (value, low, high) => Math.min(Math.max(value, low), high);
const square = (value) => value * value;
const range = (count) => Array.from({ length: count }, (_, i) => i);
const orNull = (value) => (Number.isFinite(value) ? value : null);
const orNaN = (value) => (value === null || value === undefined ? NaN : value);
const ordered = (values) => [...new Set(values)].sort((a, b) => a - b);
const span = (values) => Math.max(...values) - Math.min(...values);

// The place of the largest value; the first of them.
const largest = (values) => values.reduce((best, v, i) => (v > values[best] ? i : best), 0);

// A rating returns a flow and leaves its slope here, a coefficient its change with the head.
// (In arrays, since a number that is written to a variable thousands of times is thrown away as
// often.)
const slope = new Float64Array(1);
const change = new Float64Array(1);

// twin: dbox.hydraulics.openings.plates.circle_integral, for n <= 1
function circleBelow(n) {
  const root = Math.sqrt(Math.max(1 - n, 1e-30));
  let average = 0.5 * (1 + root);
  let geometric = Math.sqrt(root);
  let scaled = 0.5 / (1 + root);
  let difference = n * scaled;
  let rest = scaled * scaled;
  let weight = 1;
  while (difference > 1e-4) {
    const product = average * geometric;
    average = 0.5 * (average + geometric);
    geometric = Math.sqrt(product);
    const part = (0.25 * difference) / average;
    scaled *= part;
    difference *= part;
    weight *= 2;
    rest += weight * scaled * scaled;
  }
  const shrink = (0.25 * difference) / average;
  scaled *= shrink;
  rest += 2 * weight * scaled * scaled;
  const quarter = (0.5 * Math.PI) / (average - difference * shrink);
  slope[0] = n * (2 / 3) * quarter * (1.5 - n + (1 - 2 * n) * n * rest);
  return n * n * (4 / 15) * quarter * (2 - n - 2 * (1 + n * (n - 1)) * rest);
}

// f(n) = n^2.5 f(1/n) over the crown
const circleLaw = (below) => (n) => {
  if (n <= 1) return below(n);
  const value = below(1 / n) * n * n;
  const root = Math.sqrt(n);
  slope[0] = (2.5 * value - slope[0] * n) / root;
  return root * value;
};

// twin: dbox.hydraulics.openings.pipe_end._excess
function excess(p) {
  const root = Math.sqrt(p);
  if (p >= 1 / 64) return ((1 + p) * Math.atan(root)) / root - 1;
  let total = 1 / 195 - p / 255;
  for (const divisor of [143, 99, 63, 35, 15, 3]) total = 1 / divisor - p * total;
  return 2 * p * total;
}

// twin: dbox.hydraulics.openings.pipe_end._mouth: water depth over air gap
function mouth(ratio, resistance) {
  const low = ratio / (1 + resistance / 3);
  let p = low * (1 + low) + square((16 / (Math.PI * resistance)) * Math.max(ratio - 1, 0));
  const part = 1 + resistance / 4;
  for (let step = 0; step < 20; step += 1) {
    const more = excess(p);
    const air = 1 / (1 + p);
    const missing = part * p * air + (resistance / 8) * more - ratio;
    const rise = part * air * air + (resistance / 8) * ((1 + more) * air - more / (2 * p));
    p -= missing / rise;
    if (Math.abs(missing / rise) <= 1e-8 * p) return p;
  }
  throw new RangeError(`no critical depth for a head of ${ratio} diameters`);
}

// twin: dbox.hydraulics.openings.pipe_end.PipeEnd._critical, of a pipe of diameter 1
const mouthLaw = (loss) => (ratio) => {
  const resistance = 1 + loss;
  const p = mouth(clip(ratio, 1e-300, 1e6), resistance);
  const water = p / (1 + p);
  const depth = 2 * water + excess(p);
  const speedHead = ratio - water;
  const flow = (Math.sqrt(p) / (2 + 2 * p)) * depth * Math.sqrt(speedHead);
  slope[0] = ((resistance / 2) * flow) / speedHead;
  if (loss) {
    const bend = depth * (1 - p);
    slope[0] *= (24 * water - bend) / ((16 + 8 * resistance) * water - resistance * bend);
  }
  return flow;
};

// A law read off cubics through its values and slopes; good to 1e-8 of its value at `most`.
function tabled(law, most, cells) {
  const step = most / cells;
  const places = cells / most;
  const value = new Float64Array(cells + 1);
  const rise = new Float64Array(cells + 1);
  for (let i = 1; i <= cells; i += 1) {
    value[i] = law(i * step);
    rise[i] = slope[0] * step;
  }
  return (x) => {
    if (x >= most) return law(x);
    const place = x * places;
    const i = Math.floor(place);
    const t = place - i;
    const from = rise[i];
    const apart = value[i + 1] - value[i];
    const second = 3 * apart - 2 * from - rise[i + 1];
    const third = from + rise[i + 1] - 2 * apart;
    slope[0] = (from + t * (2 * second + 3 * t * third)) * places;
    return value[i] + t * (from + t * (second + t * third));
  };
}

// The laws of round openings: exact ones, and those for thousands of drawn boxes.
const EXACT = { circle: circleLaw(circleBelow), mouth: mouthLaw };
const mouths = new Map();
let quickLaws = null;
function quick() {
  quickLaws = quickLaws || {
    circle: circleLaw(tabled(circleBelow, 1, 4096)),
    mouth(loss) {
      if (!mouths.has(loss)) mouths.set(loss, tabled(mouthLaw(loss), 4, 4096));
      return mouths.get(loss);
    },
  };
  return quickLaws;
}

const fixed = (coefficient) => () => {
  change[0] = 0;
  return coefficient;
};

// twin: dbox.hydraulics.openings.plates.staus
const staus = (diameter) => (head) => {
  const ratio = head / diameter;
  const held = clip(ratio, 0.1, 1);
  const inverse = 1 / 110 / held;
  change[0] = ratio === held ? (0.041 - inverse / held) / diameter : 0;
  return 0.555 + inverse + 0.041 * held;
};

// twin: dbox.hydraulics.openings.plates._shifted
const shifted = (effective, shift, power, low, high) => {
  const lowest = effective * (1 + shift / low) ** power;
  return (head) => {
    change[0] = 0;
    if (head < low) return lowest;
    const held = Math.min(head, high);
    const stretch = 1 + shift / held;
    const coefficient = effective * stretch ** power;
    if (head <= high) change[0] = (-coefficient * power * shift) / (held * held * stretch);
    return coefficient;
  };
};

// twin: dbox.hydraulics.openings.plates.kindsvater_shen
function kindsvaterShen(angle) {
  const degrees = (clip(angle, (25 * Math.PI) / 180, (100 * Math.PI) / 180) * 180) / Math.PI;
  const effective = 0.607165052 - 8.74466963e-4 * degrees + 6.10393334e-6 * degrees ** 2;
  const shift = 0.0144902648 - 3.3955535e-4 * degrees + 3.29819003e-6 * degrees ** 2
    - 1.06215442e-8 * degrees ** 3;
  return shifted(effective, 0.3048 * shift, 2.5, 0.06, 0.38);
}

// twin: dbox.hydraulics.openings.plates.kindsvater_carter
const kindsvaterCarter = (width) =>
  shifted(0.587 * (1 + 0.0024 / width), 0.001, 1.5, 0.03, Infinity);

// twin: dbox.hydraulics.pipes.area, of a pipe of diameter 1; a series where the rest would cancel
function roundArea(depth) {
  const water = clip(depth, 0, 1);
  const full = 4 * Math.atan2(Math.sqrt(water), Math.sqrt(1 - water));
  if (full >= 0.5) return (full - Math.sin(full)) / 8;
  const small = full * full;
  let series = 1 - (small / 110) * (1 - small / 156);
  for (const divisor of [72, 42, 20]) series = 1 - (small / divisor) * series;
  return ((full * small) / 48) * series;
}

// Gauss's points on 0 to 1 and their weights, by Newton on Legendre's polynomial.
let gauss = null;
function gaussPoints() {
  if (gauss) return gauss;
  const count = 32;
  gauss = range(count).map((i) => {
    let x = Math.cos((Math.PI * (i + 0.75)) / (count + 0.5));
    let derivative = 1;
    for (let step = 0; step < 20; step += 1) {
      let [now, before] = [1, 0];
      for (let k = 1; k <= count; k += 1) {
        [now, before] = [((2 * k - 1) * x * now - (k - 1) * before) / k, now];
      }
      derivative = (count * (before - x * now)) / (1 - x * x);
      x -= now / derivative;
      if (Math.abs(now / derivative) < 1e-15) break;
    }
    return [0.5 * (1 + x), 1 / ((1 - x * x) * derivative * derivative)];
  });
  return gauss;
}

// twin: dbox.hydraulics.openings.plates._drowned
function circleDrowned(ratio, fall) {
  const tail = ratio - fall;
  const root = Math.sqrt(fall);
  const below = roundArea(Math.min(tail, 1));
  const top = Math.min(ratio, 1);
  let integral = below * root;
  let derivative = (0.5 * below) / root;
  if (tail < 0.5 * top) {
    integral += EXACT.circle(ratio);
    derivative += slope[0];
    for (const [x, part] of gaussPoints()) {
      const z = tail * x * x;
      const weight = tail ** 1.5 * part * x * x * Math.sqrt(1 - z);
      integral -= 4 * weight * Math.sqrt(ratio - z);
      derivative -= (2 * weight) / Math.sqrt(ratio - z);
    }
  } else if (tail < 1) {
    const reach = top - tail;
    const gap = Math.abs(1 - ratio);
    for (const [x, part] of gaussPoints()) {
      const x4 = reach * x ** 4;
      const width = Math.sqrt(top - x4);
      const far = Math.sqrt(gap + x4);
      const weight = 4 * reach ** 1.5 * part * x ** 5 * width;
      integral += 2 * weight * far;
      derivative += ratio > 1
        ? weight / far
        : 4 * Math.sqrt(reach) * part * x * width * far;
    }
  }
  slope[0] = derivative;
  return integral;
}

// twin: dbox.hydraulics.openings.plates.Slot._above
function slotAbove(head, depth, top) {
  const over = Math.min(Math.max(head - top, 0), depth);
  const root = Math.sqrt(depth);
  const rootOver = Math.sqrt(over);
  const total = Math.max(root + rootOver, 1e-300);
  slope[0] = (depth - over) / total;
  return ((depth - over) * (depth + root * rootOver + over)) / (1.5 * total);
}

// The integral of each kind where nothing stands outside, and where water stands `fall` below
// the level: of head [m], fall [m], with what it is multiplied by besides the coefficient.
const KINDS = {
  __proto__: null,
  circle({ diameter: d }, laws) {
    return {
      top: d,
      scale: d ** 2.5,
      unit: d,
      free: laws.circle,
      drowned: circleDrowned,
      law: () => staus(d),
    };
  },
  notch({ angle }) {
    return {
      top: Infinity,
      scale: Math.tan(0.5 * angle),
      unit: 1,
      free(head) {
        const power = head * Math.sqrt(head);
        slope[0] = (4 / 3) * power;
        return (8 / 15) * power * head;
      },
      drowned(head, fall) {
        const tail = head - fall;
        const root = Math.sqrt(fall);
        slope[0] = (0.5 * tail * tail) / root + root * (2 * head - fall / 1.5);
        return root * (tail * tail + fall * ((4 / 3) * head - 0.8 * fall));
      },
      law: () => kindsvaterShen(angle),
    };
  },
  slot({ width, height = null }) {
    const top = height === null ? Infinity : height;
    return {
      top,
      scale: width,
      unit: 1,
      free: (head) => slotAbove(head, head, top),
      drowned(head, fall) {
        const open = Math.min(head - fall, top);
        const root = Math.sqrt(fall);
        const above = slotAbove(head, fall, top);
        slope[0] += (0.5 * open) / root;
        return above + open * root;
      },
      law: () => kindsvaterCarter(width),
    };
  },
  pipe({ diameter: d, entranceLoss: loss = 0 }, laws) {
    const free = laws.mouth(loss);
    return {
      top: d,
      scale: d ** 2.5 / Math.sqrt(1 + loss),
      unit: d,
      free,
      drowned(head, fall) {
        const p = mouth(clip(head, 1e-300, 1e6), 1 + loss);
        const flow = free(head);
        const tail = head - fall;
        const under = roundArea(tail) * Math.sqrt(fall);
        if (tail <= p / (1 + p) || under >= flow) return flow;
        slope[0] = under / (2 * fall);
        return under;
      },
      law: () => fixed(1),
    };
  },
};

function kindOf(opening, laws) {
  if (!KINDS[opening.kind]) throw new RangeError(`${opening.kind} is no opening known here`);
  return KINDS[opening.kind](opening, laws);
}

const topOf = (opening) => kindOf(opening, EXACT).top;

// twin: dbox.hydraulics.openings.base.Opening.rating. Heads above 0; where the fall is less than
// the head the opening is drowned.
function rating(opening, laws) {
  const { free, drowned, scale, unit, law } = kindOf(opening, laws);
  const given = opening.coefficient;
  const coefficientAt = given === null || given === undefined ? law() : fixed(given);
  const factor = Math.sqrt(2 * GRAVITY) * scale;
  return (head, fall) => {
    if (fall <= 0) {
      slope[0] = 0;
      return 0;
    }
    const integral = fall < head ? drowned(head / unit, fall / unit) : free(head / unit);
    const derivative = slope[0] / unit;
    const coefficient = coefficientAt(head);
    slope[0] = factor * (coefficient * derivative + change[0] * integral);
    return factor * coefficient * integral;
  };
}

const AIM = 1e-12;
const BALANCE = 1e-10;
const TOGETHER = 1e-12;
const FAINT = 3e-29;

// twin: dbox.hydraulics.split.split. Solves one box after the other and keeps the last answer:
// `flow` and, over the datum of its lips, what it returns. aim: residual at which the search
// stops, over the inflow; the rest is made up along the slopes.
class Solver {
  constructor(rates, aim) {
    const n = rates.length;
    Object.assign(this, { rates, aim, n, overflow: 0 });
    for (const name of ['flow', 'slopes', 'lips', 'tails', 'thresholds']) {
      this[name] = new Float64Array(n);
    }
    this.steps = new Float64Array(n + 1);
  }

  solve(inflow, lips, { near = NaN, rim = Infinity, holds = null, tails = null } = {}) {
    const n = this.n;
    this.drowned = tails !== null;
    let still = rim;
    for (let i = 0; i < n; i += 1) {
      still = Math.min(still, tails ? Math.max(lips[i], tails[i]) : lips[i]);
    }
    if (still === Infinity) throw new RangeError('every outlet is capped and there is no rim');
    for (let i = 0; i < n; i += 1) {
      this.lips[i] = lips[i] - still;
      if (tails) this.tails[i] = tails[i] - still;
      if (holds) this.thresholds[i] = this.lips[i] + holds[i];
    }
    this.overflow = 0;
    this.flow.fill(0);
    if (!(inflow > 0)) return still;
    const asked = Math.max(inflow, FAINT);
    const top = rim - still;
    if (holds) this.start(asked, top);
    const height = this.findHeight(asked, near - still > 1e-10 ? near - still : 1e-3, top);
    if (asked > inflow) {
      for (let i = 0; i < n; i += 1) this.flow[i] *= inflow / asked;
      this.overflow *= inflow / asked;
    }
    return still + height;
  }

  // Flows at a height, and their slopes; [m] -> [m3/s].
  evaluate(height) {
    const { flow, slopes, lips, tails, rates, drowned, n } = this;
    let total = 0;
    for (let i = 0; i < n; i += 1) {
      const head = height - lips[i];
      slope[0] = 0;
      flow[i] = head > 0 ? rates[i](head, drowned ? height - tails[i] : head) : 0;
      slopes[i] = slope[0];
      total += flow[i];
    }
    return total;
  }

  get rise() {
    let total = 0;
    for (let i = 0; i < this.n; i += 1) total += this.slopes[i];
    return total;
  }

  // twin: dbox.hydraulics.split.find_height: Newton on the root of the total flow in a bracket
  findHeight(inflow, start, rim) {
    let height = start;
    let low = 0;
    let high = Infinity;
    let base = 0;
    if (rim < Infinity) {
      const total = this.evaluate(rim);
      if (inflow - total > 0) {
        this.overflow = inflow - total;
        return rim;
      }
    }
    for (let step = 0; step < 200; step += 1) {
      const total = this.evaluate(height);
      const over = total - inflow;
      if (Math.abs(over) <= this.aim * inflow) {
        return base + (this.aim > AIM ? this.makeUp(height, over) : height);
      }
      if (over < 0) low = height;
      else high = height;
      const middle = high < Infinity ? 0.5 * (low + high) : 2 * height + 1e-7;
      if (middle <= low || middle >= high) {
        if (Math.abs(over) <= BALANCE * inflow) return base + height;
        const rise = this.moveBase(low);
        height = Math.max(low - rise, 1e-60 * (high - rise));
        low = 0;
        high = 2 * (high - rise);
        base += rise;
      } else {
        const newton = height
          + (2 * (Math.sqrt(inflow * total) - total)) / Math.max(this.rise, 1e-300);
        height = newton > low && newton < high ? newton : middle;
      }
    }
    throw new RangeError(`no water level found for an inflow of ${inflow} m3/s`);
  }

  makeUp(height, over) {
    const rise = -over / this.rise;
    for (let i = 0; i < this.n; i += 1) {
      this.flow[i] = Math.max(this.flow[i] + this.slopes[i] * rise, 0);
    }
    return height + rise;
  }

  // twin: dbox.hydraulics.split._Search._move_base
  moveBase(low) {
    let rise = 0;
    for (const kink of [...this.lips, ...(this.drowned ? this.tails : [])]) {
      if (kink <= low && kink > rise) rise = kink;
    }
    if (!(rise > 0)) throw new RangeError('no water level balances');
    for (let i = 0; i < this.n; i += 1) {
      this.lips[i] -= rise;
      this.tails[i] -= rise;
    }
    return rise;
  }

  // twin: dbox.hydraulics.split._started: closes the lips that do not run once it has risen
  start(inflow, rim) {
    const { thresholds, lips, rates, steps, n } = this;
    steps.set(thresholds);
    steps[n] = Infinity;
    steps.sort();
    let passed = 1;
    let held = n;
    while (passed < held) {
      const middle = Math.floor((passed + held) / 2);
      const level = steps[middle];
      let total = level < Infinity ? 0 : Infinity;
      for (let i = 0; i < n && level < Infinity; i += 1) {
        const head = level - lips[i];
        if (thresholds[i] < level - TOGETHER && head > 0) {
          total += rates[i](head, this.drowned ? level - this.tails[i] : head);
        }
      }
      if (total >= inflow) held = middle;
      else passed = middle + 1;
    }
    const level = Math.min(steps[held], rim) - TOGETHER;
    for (let i = 0; i < n; i += 1) if (!(thresholds[i] < level)) lips[i] = Infinity;
  }
}

const solverOf = (openings, laws, aim) =>
  new Solver(openings.map((opening) => rating(opening, laws)), aim);

// twin: dbox.hydraulics.split.split
function split({
  inflow, lips, openings, tailwater = null, holdBack = 0, rising = false, rim = null,
}) {
  if (lips.some((lip) => Number.isNaN(orNaN(lip)))) throw new RangeError('a lip is not known');
  const holds = lips.map((_, i) => (Array.isArray(holdBack) ? holdBack[i] : holdBack));
  const solver = solverOf(openings, EXACT, AIM);
  const level = solver.solve(inflow, lips, {
    rim: rim === null ? Infinity : rim,
    holds: rising && holds.some((hold) => hold > 0) ? holds : null,
    tails: tailwater && tailwater.map((tail) => (tail === null ? -Infinity : tail)),
  });
  return answerOf(solver, level, lips);
}

function answerOf(solver, level, lips) {
  const flow = [...solver.flow];
  const total = sum(flow);
  return {
    level,
    head: lips.map((lip) => level - lip),
    flow,
    share: flow.map((each) => (total > 0 ? each / total : 0)),
    overflow: solver.overflow,
  };
}
