/* What a page computes with: the water, the readings and the advice, as the library has them. twin:
   names where a piece stands in Python; the two are held to each other by the tests.

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
   dbox.parts                         pieces that the tests hold to the library one by one
*/
(() => {
  'use strict';

  const GRAVITY = 9.80665;
  const INCH = 0.0254;
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
  const modulo = (value, by) => value - by * Math.floor(value / by);
  const ordered = (values) => [...new Set(values)].sort((a, b) => a - b);
  const span = (values) => Math.max(...values) - Math.min(...values);

  // The place of the largest value; the first of them.
  const largest = (values) => values.reduce((best, v, i) => (v > values[best] ? i : best), 0);

  // To the nearest whole number, halves to the even one, as Python rounds.
  function roundEven(value) {
    const below = Math.floor(value);
    const rest = value - below;
    if (rest === 0.5) return below % 2 ? below + 1 : below;
    return rest < 0.5 ? below : below + 1;
  }

  // A rating returns a flow and leaves its slope here, a coefficient its change with the head.
  // (In arrays, since a number that is written to a variable thousands of times is thrown away as
  // often.)
  const slope = new Float64Array(1);
  const change = new Float64Array(1);

  // twin: dbox.hydraulics.openings.circle.circle_integral, for n <= 1
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

  // twin: dbox.hydraulics.openings.laws.staus
  const staus = (diameter) => (head) => {
    const ratio = head / diameter;
    const held = clip(ratio, 0.1, 1);
    const inverse = 1 / 110 / held;
    change[0] = ratio === held ? (0.041 - inverse / held) / diameter : 0;
    return 0.555 + inverse + 0.041 * held;
  };

  // twin: dbox.hydraulics.openings.laws._shifted
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

  // twin: dbox.hydraulics.openings.laws.kindsvater_shen
  function kindsvaterShen(angle) {
    const degrees = (clip(angle, (25 * Math.PI) / 180, (100 * Math.PI) / 180) * 180) / Math.PI;
    const effective = 0.607165052 - 8.74466963e-4 * degrees + 6.10393334e-6 * degrees ** 2;
    const shift = 0.0144902648 - 3.3955535e-4 * degrees + 3.29819003e-6 * degrees ** 2
      - 1.06215442e-8 * degrees ** 3;
    return shifted(effective, 0.3048 * shift, 2.5, 0.06, 0.38);
  }

  // twin: dbox.hydraulics.openings.laws.kindsvater_carter
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

  // twin: dbox.hydraulics.openings.circle._drowned
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

  // P. J. Wichura (1988), algorithm AS 241; twin: statistics.NormalDist().inv_cdf
  const polynomial = (factors, x) => factors.reduce((total, each) => total * x + each, 0);
  const CENTRE = [
    [2.5090809287301226727e+3, 3.3430575583588128105e+4, 6.7265770927008700853e+4,
      4.5921953931549871457e+4, 1.3731693765509461125e+4, 1.9715909503065514427e+3,
      1.3314166789178437745e+2, 3.3871328727963666080e+0],
    [5.2264952788528545610e+3, 2.8729085735721942674e+4, 3.9307895800092710610e+4,
      2.1213794301586595867e+4, 5.3941960214247511077e+3, 6.8718700749205790830e+2,
      4.2313330701600911252e+1, 1.0],
  ];
  const NEAR = [
    [7.74545014278341407640e-4, 2.27238449892691845833e-2, 2.41780725177450611770e-1,
      1.27045825245236838258e+0, 3.64784832476320460504e+0, 5.76949722146069140550e+0,
      4.63033784615654529590e+0, 1.42343711074968357734e+0],
    [1.05075007164441684324e-9, 5.47593808499534494600e-4, 1.51986665636164571966e-2,
      1.48103976427480074590e-1, 6.89767334985100004550e-1, 1.67638483018380384940e+0,
      2.05319162663775882187e+0, 1.0],
  ];
  const FAR = [
    [2.01033439929228813265e-7, 2.71155556874348757815e-5, 1.24266094738807843860e-3,
      2.65321895265761230930e-2, 2.96560571828504891230e-1, 1.78482653991729133580e+0,
      5.46378491116411436990e+0, 6.65790464350110377720e+0],
    [2.04426310338993978564e-15, 1.42151175831644588870e-7, 1.84631831751005468180e-5,
      7.86869131145613259100e-4, 1.48753612908506148525e-2, 1.36929880922735805310e-1,
      5.99832206555887937690e-1, 1.0],
  ];
  function normalQuantile(chance) {
    const q = chance - 0.5;
    const fraction = ([above, below], x) => polynomial(above, x) / polynomial(below, x);
    if (Math.abs(q) <= 0.425) return q * fraction(CENTRE, 0.180625 - q * q);
    const r = Math.sqrt(-Math.log(q <= 0 ? chance : 1 - chance));
    const x = r <= 5 ? fraction(NEAR, r - 1.6) : fraction(FAR, r - 5);
    return q < 0 ? -x : x;
  }

  // Chance of more than x by the chi-square law: a series, or Lentz's continued fraction beyond its
  // hump; twin: scipy.special.chdtrc
  function chiSquareBeyond(freedom, x) {
    const [a, z] = [freedom / 2, x / 2];
    if (!(z > 0)) return 1;
    let factor = freedom % 2 ? Math.sqrt(Math.PI) : 1;
    for (let k = freedom % 2 ? 0.5 : 1; k < a; k += 1) factor *= k;
    const front = Math.exp(-z + a * Math.log(z)) / factor;
    if (z < a + 1) {
      let term = 1 / a;
      let total = term;
      for (let k = a + 1; term > total * 1e-17; k += 1) {
        term *= z / k;
        total += term;
      }
      return 1 - front * total;
    }
    let b = z + 1 - a;
    let c = 1e300;
    let d = 1 / b;
    let h = d;
    for (let k = 1; k < 1000; k += 1) {
      b += 2;
      d = 1 / (b - k * (k - a) * d);
      c = b - (k * (k - a)) / c;
      h *= c * d;
      if (Math.abs(c * d - 1) < 1e-16) break;
    }
    return front * h;
  }

  // Student's t beyond which a twentieth lies (Abramowitz and Stegun 26.7.3 and 26.7.4);
  // twin: scipy.special.stdtrit at 0.95
  function studentSide(freedom) {
    const within = (t) => {
      const angle = Math.atan(t / Math.sqrt(freedom));
      const cosine = Math.cos(angle);
      const odd = freedom % 2 === 1;
      let [term, total] = odd ? [cosine, freedom > 1 ? cosine : 0] : [1, 1];
      for (let k = odd ? 3 : 2; k < freedom; k += 2) {
        term *= ((k - 1) / k) * square(cosine);
        total += term;
      }
      return odd ? (2 / Math.PI) * (angle + Math.sin(angle) * total) : Math.sin(angle) * total;
    };
    let [low, high] = [1, 10];
    for (let step = 0; step < 60; step += 1) {
      const middle = 0.5 * (low + high);
      if (within(middle) < 0.9) low = middle;
      else high = middle;
    }
    return low;
  }

  // twin: dbox.fieldwork.estimate.normal_points; one row after the other
  const pointTables = new Map();
  function normalPoints(count, outlets) {
    const name = `${count} ${outlets}`;
    if (pointTables.has(name)) return pointTables.get(name);
    const half = Math.floor((count + 1) / 2);
    const points = new Float64Array(2 * half * outlets);
    const bases = [];
    for (let number = 2; bases.length < outlets; number += 1) {
      if (bases.every((base) => number % base)) bases.push(number);
    }
    bases.forEach((base, column) => {
      for (let i = 0; i < half; i += 1) {
        let [left, digit, part] = [i + 1, 1, 0];
        while (left) {
          digit /= base;
          part += digit * (left % base);
          left = Math.floor(left / base);
        }
        const point = normalQuantile(clip(part, 1e-12, 1 - 1e-12));
        points[i * outlets + column] = point;
        points[(half + i) * outlets + column] = -point;
      }
    });
    const found = points.subarray(0, count * outlets);
    pointTables.set(name, found);
    return found;
  }

  // Inverse of a matrix, by Gauss and Jordan with the largest pivots.
  function inverse(matrix) {
    const n = matrix.length;
    const rows = matrix.map((row, i) => [...row, ...range(n).map((j) => (i === j ? 1 : 0))]);
    for (let k = 0; k < n; k += 1) {
      const best = k + largest(range(n - k).map((i) => Math.abs(rows[k + i][k])));
      [rows[k], rows[best]] = [rows[best], rows[k]];
      const pivot = rows[k][k];
      rows[k] = rows[k].map((each) => each / pivot);
      for (let i = 0; i < n; i += 1) {
        const part = rows[i][k];
        if (i !== k && part) rows[i] = rows[i].map((each, j) => each - part * rows[k][j]);
      }
    }
    return rows.map((row) => row.slice(n));
  }

  // Lower triangle whose square is a covariance; rows of no variance are 0.
  function cholesky(matrix) {
    const n = matrix.length;
    const root = matrix.map(() => new Array(n).fill(0));
    for (let i = 0; i < n; i += 1) {
      for (let j = 0; j <= i && matrix[i][i] > 0; j += 1) {
        let left = matrix[i][j];
        for (let k = 0; k < j; k += 1) left -= root[i][k] * root[j][k];
        if (i === j) root[i][i] = Math.sqrt(left);
        else if (root[j][j]) root[i][j] = left / root[j][j];
      }
    }
    return root;
  }

  const times = (matrix, vector) => matrix.map((row) => sum(row.map((v, j) => v * vector[j])));
  const product = (a, b) => {
    const columns = b[0].map((_, j) => b.map((row) => row[j]));
    return a.map((row) => columns.map((column) => sum(row.map((v, k) => v * column[k]))));
  };
  const diagonal = (values) => values.map((v, i) => values.map((_, j) => (i === j ? v : 0)));
  const variances = (covariance) => covariance.map((row, i) => row[i]);

  // Lips drawn over a set of points; twin: dbox.fieldwork.readings.Lips.sample
  function sample(height, covariance, count) {
    const n = height.length;
    const [points, root] = [normalPoints(count, n), cholesky(covariance)];
    const drawn = new Float64Array(count * n);
    for (let d = 0, at = 0; d < count; d += 1, at += n) {
      for (let i = 0; i < n; i += 1) {
        let lip = height[i];
        for (let k = 0; k <= i; k += 1) lip += root[i][k] * points[at + k];
        drawn[at + i] = lip;
      }
    }
    return drawn;
  }

  // twin: dbox.fieldwork.readings.mark_variance
  function markVariance(jitter, mark) {
    if (!(mark > 0)) return 0;
    const fall = square((2 * Math.PI * jitter) / mark);
    const terms = fall < 0.25
      ? Math.PI ** 2 / 6 - Math.sqrt(Math.PI * fall) + 0.5 * fall
      : sum(range(12).map((i) => Math.exp(-square(i + 1) * fall) / square(i + 1)));
    return (square(mark) / (2 * Math.PI ** 2)) * terms;
  }

  // twin: dbox.fieldwork.readings.reading_variance
  function readingVariance(jitter, mark, repeats) {
    const stays = markVariance(jitter, mark);
    return (square(jitter) + square(mark) / 12 - stays) / repeats + stays;
  }

  const DEFAULT_SPREAD = INCH / 16;
  const BEST_SPREAD = INCH / 32;
  const LEAST_FREEDOM = 3;

  // twin: dbox.fieldwork.readings._jitter
  function jitterOf(pooled, mark) {
    const most = Math.max(pooled, mark);
    const scatter = (fine) =>
      Math.sqrt(Math.max(readingVariance(fine, mark, 1) - markVariance(fine, mark), 0));
    let [below, now] = [0, scatter(0)];
    if (pooled <= now) return 0;
    for (let i = 1; i <= 512; i += 1) {
      [below, now] = [now, scatter((most * i) / 512)];
      if (pooled <= now) return (most * (i - 1 + (pooled - below) / (now - below))) / 512;
    }
    return most;
  }

  // twin: dbox.fieldwork.readings._spread
  function spreadOf(site, readings) {
    const mark = site.mark || 0;
    let [freedom, squares] = [0, 0];
    for (const heights of readings.filter((each) => each && each.length)) {
      freedom += heights.length - 1;
      squares += sum(heights.map((height) => square(height - mean(heights))));
    }
    const pooled = Math.sqrt(squares / Math.max(freedom, 1));
    const seen = freedom >= LEAST_FREEDOM ? jitterOf(pooled, mark) : Infinity;
    const found = (spread, from, note = null, doubt = 1) =>
      ({ spread, from, doubt, seen, notes: note ? [{ what: `readings: ${note}` }] : [] });
    if (typeof site.spread === 'number') {
      const wide = freedom >= LEAST_FREEDOM && pooled > 2 * site.spread * (1 + SAME);
      return found(site.spread, 'stated', wide ? 'wider than stated' : null);
    }
    if (freedom >= LEAST_FREEDOM && pooled >= BEST_SPREAD * (1 - SAME)) {
      return found(seen, 'repeats', null, studentSide(freedom) / SIDE_95);
    }
    return freedom >= LEAST_FREEDOM
      ? found(BEST_SPREAD, 'repeats', 'finer than a ruler')
      : found(DEFAULT_SPREAD, 'default', 'spread not known');
  }

  const SIDE_95 = 1.6448536269514722;

  // What the readings of one filling tell alone; twin: dbox.fieldwork.readings.reduce_readings
  function reduceReadings(site, readings) {
    const found = spreadOf(site, readings);
    const mark = site.mark || 0;
    const more = markVariance(Math.min(found.spread, found.seen), mark)
      - markVariance(found.spread, mark);
    const told = (i) => readings[i] && readings[i].length;
    const height = site.outlets.map((o, i) => {
      if (o.capped) return Infinity;
      return meanOf(readings[i]) - o.point;
    });
    const repeats = site.outlets.map((o, i) => (o.capped || !told(i) ? 0 : readings[i].length));
    const variance = height.map((each, i) => (Number.isFinite(each)
      ? square(found.doubt) * (readingVariance(found.spread, mark, Math.max(repeats[i], 1)) + more)
      : 0));
    const notes = [...found.notes, ...notAtTheLip(height, variance)];
    return { ...found, notes, mark, height, repeats, variance, covariance: diagonal(variance) };
  }

  // Still water that just spilled stands at the lowest open lip;
  // twin: dbox.fieldwork.readings._not_at_the_lip
  function notAtTheLip(height, variance) {
    const lips = height.map((lip) => (Number.isFinite(lip) ? lip : Infinity));
    const over = Math.min(...lips);
    const doubt = 3 * Math.sqrt(variance[lips.indexOf(over)]);
    if (over < Infinity && over > doubt) return [{ what: 'readings: all over still water', over }];
    return over < -(doubt + CLINGING_WATER)
      ? [{ what: 'readings: under still water', under: -over }]
      : [];
  }

  const CLINGING_WATER = 0.003;

  const ANYWHERE = 0.05;
  const SLIPPED = 3.7;
  const PLAIN_MISS = 3;
  const HAND_ERROR = (3 * Math.PI) / 180;
  const handOf = (site) => (typeof site.handError === 'number' ? site.handError : HAND_ERROR);

  // twin: dbox.fieldwork.estimate._pull
  function pullOf(covariance, variance, told) {
    const places = range(told.length).filter((i) => told[i]);
    const part = inverse(places.map((i) => places.map((j) =>
      covariance[i][j] + (i === j ? variance[i] : 0))));
    const weights = part.map(sum);
    const all = sum(weights);
    const pull = told.map(() => told.map(() => 0));
    const weight = told.map(() => 0);
    places.forEach((i, a) => {
      weight[i] = weights[a];
      places.forEach((j, b) => {
        pull[i][j] = part[a][b] - (weights[a] * weights[b]) / all;
      });
    });
    return { pull, weight };
  }

  // Lips of which something is known; twin: dbox.fieldwork.estimate.Estimate.followed
  const followedOf = ({ height, covariance }) =>
    height.map((each, i) => Number.isFinite(each) && covariance[i][i] < ANYWHERE ** 2);

  // twin: dbox.fieldwork.estimate.Estimate.read
  function readMore(known, means, variance) {
    const told = means.map(Number.isFinite);
    const n = means.length;
    const fillings = known.fillings + 1;
    if (!told.some(Boolean)) return { ...known, fillings, slipped: [], asked: null };
    const over = means.map((each, i) => (told[i] ? each - known.height[i] : 0));
    const drift = known.drift ? known.drift.map((row) => [...row]) : [over.map(() => 0),
      over.map(() => 0)];
    let { covariance } = known;
    const slipped = [];
    let [pull, weight] = [null, null];
    for (;;) {
      ({ pull, weight } = pullOf(covariance, variance, told));
      if (told.filter(Boolean).length < 3) break;
      const off = times(pull, over).map((each, i) => each / Math.sqrt(told[i] ? pull[i][i] : 1));
      if (!slipped.length) {
        drift[0] = drift[0].map((each, i) => each + (drift[1][i] > 0 ? off[i] : 0));
      }
      const most = off.map((each, i) => {
        const again = drift[1][i] > 1 ? drift[0][i] / Math.sqrt(drift[1][i]) : 0;
        return Math.abs(Math.abs(again) > Math.abs(each) ? again : each);
      });
      const worst = most.findIndex((each) => each >= Math.max(...most) * (1 - SAME));
      if (most[worst] <= SLIPPED || slipped.includes(worst)) break;
      slipped.push(worst);
      drift[0][worst] = 0;
      drift[1][worst] = 0;
      covariance = covariance.map((row, i) => row.map((each, j) =>
        each + (i === worst && j === worst ? ANYWHERE ** 2 : 0)));
    }
    const still = sum(weight.map((each, i) => each * over[i])) / sum(weight);
    const rise = times(covariance, times(pull, over));
    const height = known.height.map((each, i) => each + rise[i] + still);
    const less = product(product(covariance, pull), covariance);
    const short = shortOf(known, height.map((each) => each - still), variance);
    const joined = (places, way) =>
      ordered([...places, ...range(n).filter((i) => short[i] === way)]);
    return {
      ...known,
      height,
      covariance: covariance.map((row, i) => row.map((each, j) =>
        0.5 * (each - less[i][j] + covariance[j][i] - less[j][i]))),
      fillings,
      drift,
      slipped,
      asked: null,
      suspects: ordered([...known.suspects, ...slipped]),
      lowest: joined(known.lowest, -1),
      highest: joined(known.highest, 1),
    };
  }

  // twin: dbox.fieldwork.estimate.Estimate._short
  function shortOf(known, height, variance) {
    const { asked } = known;
    const followed = followedOf(known);
    if (!asked || !asked.some((each, i) => Number.isNaN(each) && followed[i])) {
      return height.map(() => 0);
    }
    return asked.map((wanted, i) => {
      const went = height[i] - (known.height[i] - wanted);
      const most = Math.max(PLAIN_MISS * Math.sqrt(variance[i]), 0.5 * Math.abs(wanted));
      const less = Math.abs(wanted - went) > most && wanted * went < wanted * wanted;
      return Number.isFinite(wanted) && less ? Math.sign(wanted) : 0;
    });
  }

  // twin: dbox.fieldwork.turning.lip_rise
  const lipRise = (angle, offset) => -offset * Math.cos(angle);

  // twin: dbox.fieldwork.estimate.turn_variance
  const turnVariance = (angle, after, offset, hand) =>
    square(offset * hand) * (square(Math.sin(angle)) + square(Math.sin(after)));

  // twin: dbox.fieldwork.estimate.Estimate.turned
  function moved(known, rise, variance, asked) {
    const spoiled = rise.map((each, i) => (Number.isFinite(each) ? variance[i] : ANYWHERE ** 2));
    const [sums, turns] = known.drift || [rise.map(() => 0), rise.map(() => 0)];
    return {
      ...known,
      height: known.height.map((each, i) => each + (Number.isFinite(rise[i]) ? rise[i] : 0)),
      covariance: known.covariance.map((row, i) =>
        row.map((each, j) => each + (i === j ? spoiled[i] : 0))),
      asked,
      drift: [[...sums], turns.map((each, i) =>
        each + (Number.isFinite(rise[i]) && variance[i] > 0 ? 1 : 0))],
      started: known.started || spoiled.some((each) => each > 0),
    };
  }

  // twin: dbox.fieldwork.estimate.Estimate.set_to
  function setTo(known, told, { before, after, offset, hand, byRule }) {
    const unknown = offset.map((each, i) => each === Infinity || known.suspects.includes(i));
    const angle = (angles, i) => (unknown[i] ? NaN : angles[i]);
    const rise = [];
    const variance = [];
    const asked = [];
    told.forEach((wanted, i) => {
      const [from, to, hole] = [angle(before, i), angle(after, i), unknown[i] ? 1 : offset[i]];
      const same = from === to || (Number.isNaN(from) && Number.isNaN(to));
      const turns = hole > 0 && !same;
      const blind = Number.isFinite(wanted) && Number.isNaN(from);
      asked.push(blind ? wanted - known.height[i] : NaN);
      rise.push(blind ? asked[i] : turns ? lipRise(to, hole) - lipRise(from, hole) : 0);
      variance.push(blind ? byRule : turns ? turnVariance(from, to, hole, hand) : 0);
    });
    return moved(known, rise, variance, asked);
  }

  const USUAL_OFFSET = 0.0127;

  // twin: dbox.fieldwork.turning.Reach.of_lips; holes: offset of each hole, 0 where it cannot be
  // turned, Infinity where nobody knows
  function reachOf(height, holes, clocks) {
    const uncapped = height.map((each) => each < Infinity);
    const lip = height.map((each, i) => (uncapped[i] ? each : 0));
    const offset = holes.map((each, i) => {
      if (!uncapped[i]) return 0;
      return each === Infinity ? USUAL_OFFSET : each;
    });
    const angles = clocks.map((each) =>
      (Math.abs(each) > Math.PI ? modulo(each + Math.PI, 2 * Math.PI) - Math.PI : each));
    const travel = (way) => angles.map((each, i) => {
      if (Number.isNaN(each)) return 2 * offset[i];
      return offset[i] + way * lipRise(each, offset[i]);
    });
    const [up, down] = [travel(-1), travel(1)];
    return {
      uncapped,
      lip,
      offset,
      low: lip.map((each, i) => (uncapped[i] ? each - down[i] : -Infinity)),
      high: lip.map((each, i) => (uncapped[i] ? each + up[i] : Infinity)),
      angle: angles.map((each, i) => (holes[i] === Infinity ? NaN : each)),
    };
  }

  const allows = (reach, i, height) =>
    height >= reach.low[i] - ROUNDING && height <= reach.high[i] + ROUNDING;
  const brought = (reach, i, height) => clip(height, reach.low[i], reach.high[i]);

  const WORTH = 1.35;
  const PRICE = 0.6;
  const READABLE = 1.5;
  const FINEST = 0.0009;
  const LOST = 0.005;
  const CHANCE = 0.015;
  const CHANCE_ONE = 0.03;
  const CHANCE_STARTED = 0.65;
  const PLAIN = 3;
  const GOALS = 121;

  // twin: dbox.fieldwork.estimate.decide
  function decide(reach, covariance, offset, {
    hand = HAND_ERROR, byRule = 0, started = false,
  } = {}) {
    const all = range(offset.length);
    const uncapped = all.filter((i) => reach.uncapped[i]);
    const lip = all.map((i) => reach.lip[i] - offset[i]);
    const error = variances(covariance).map(Math.sqrt);
    const spoil = all.map((i) => {
      if (!(reach.offset[i] > 0)) return 0;
      return Number.isNaN(reach.angle[i]) ? Math.sqrt(byRule) : reach.offset[i] * hand;
    });
    const least = all.map((i) => Math.max(WORTH * spoil[i], Math.min(FINEST, READABLE * error[i])));
    const apart = isApart(uncapped, lip, covariance, least, started);
    const weigh = (goal) => worthOf(goal, reach, offset, spoil, least);
    let goal = bestGoal(uncapped, lip, weigh);
    let turn = weigh(goal).turn.map((each) => each && apart);
    const stay = uncapped.filter((i) => !turn[i] && Math.abs(lip[i] - goal) < LOST);
    const middle = sum(stay.map((i) => lip[i])) / Math.max(stay.length, 1);
    const reached = all.every((i) => !turn[i] || allows(reach, i, middle + offset[i]));
    if (stay.length && reached) goal = middle;
    const target = all.map((i) => (turn[i] ? brought(reach, i, goal + offset[i]) : reach.lip[i]));
    turn = turn.map((each, i) => each && Math.abs(target[i] - reach.lip[i]) >= least[i]);
    const wanted = all.map((i) => (turn[i] ? target[i] : reach.lip[i]));
    const off = all.map((i) => {
      const missed = reach.uncapped[i] ? Math.abs(wanted[i] - offset[i] - goal) : 0;
      return apart && missed > Math.max(READABLE * error[i], least[i])
        && !allows(reach, i, goal + offset[i]);
    });
    return { goal, turn, wanted, apart, off };
  }

  // twin: dbox.fieldwork.estimate._apart
  function isApart(uncapped, lip, covariance, least, started) {
    const n = uncapped.length;
    if (n < 2) return false;
    const joint = uncapped.map((i) => uncapped.map((j) => covariance[i][j]));
    const height = uncapped.map((i) => lip[i]);
    const inverted = inverse(joint);
    const all = sum(inverted.map(sum));
    const pulled = times(inverted, height);
    const middle = sum(inverted.map((row, i) => sum(row) * height[i])) / all;
    const scatter = sum(pulled.map((each, i) => each * height[i])) - square(middle) * all;
    const chance = chiSquareBeyond(n - 1, Math.max(scatter, 0));
    if (chance < (started ? CHANCE_STARTED : CHANCE)) return true;
    const doubt = Math.min(PLAIN, normalQuantile(1 - (0.5 * CHANCE_ONE) / n));
    return uncapped.some((place, i) => {
      const against = height.map((_, j) => (i === j ? 1 : -1 / (n - 1)));
      const difference = sum(against.map((each, j) => each * height[j]));
      const error = Math.sqrt(sum(times(joint, against).map((each, j) => each * against[j])));
      return Math.abs(difference) > Math.max(doubt * error, least[place]);
    });
  }

  // twin: dbox.fieldwork.estimate._worth
  function worthOf(goal, reach, offset, spoil, least) {
    let left = 0;
    const turn = offset.map((over, i) => {
      if (!reach.uncapped[i]) return false;
      const height = goal + over;
      const there = brought(reach, i, height);
      const move = there - reach.lip[i];
      const angle = reach.angle[i];
      let ends = 1;
      if (!Number.isNaN(angle)) {
        const hole = reach.offset[i] > 0 ? reach.offset[i] : 1;
        const cosine = clip(Math.cos(angle) - move / hole, -1, 1);
        ends = square(Math.sin(angle)) + 1 - square(cosine);
      }
      const kept = Math.min(square(height - reach.lip[i]), LOST ** 2);
      const turned = Math.min(square(height - there), LOST ** 2)
        + square(spoil[i]) * (ends + PRICE ** 2);
      const worth = reach.offset[i] > 0 && Math.abs(move) >= least[i] && turned < kept;
      left += worth ? turned : kept;
      return worth;
    });
    return { turn, left };
  }

  // twin: dbox.fieldwork.estimate._best_goal
  function bestGoal(uncapped, lip, weigh) {
    const heights = uncapped.map((i) => lip[i]);
    const low = Math.min(...heights) - FINEST;
    const high = Math.max(...heights) + FINEST;
    const goals = range(GOALS).map((k) => low + (k * (high - low)) / (GOALS - 1));
    const left = goals.map((goal) => weigh(goal).left);
    const least = Math.min(...left) * (1 + SAME);
    return goals[left.findIndex((each) => each <= least)];
  }

  const SAME = 1e-9;

  const GOOD_SPAN = 0.002;
  const SET_WELL = 0.8;
  const CHANCE_POINTS = 256;

  // twin: dbox.fieldwork.estimate.level_chance
  function levelChance(lip, covariance, uncapped) {
    const n = lip.length;
    const joint = covariance.map((row, i) => row.map((each, j) =>
      (uncapped[i] && uncapped[j] ? each : 0) + (i === j ? 1e-16 : 0)));
    const drawn = sample(lip, joint, CHANCE_POINTS);
    const places = range(n).filter((i) => uncapped[i]);
    const good = range(CHANCE_POINTS).filter((d) =>
      span(places.map((i) => drawn[d * n + i])) <= GOOD_SPAN);
    return good.length / CHANCE_POINTS;
  }

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

  // The k-th smallest value from `from` on, moved to its place; those before it are no larger.
  function select(values, k, from) {
    let [low, high] = [from, values.length - 1];
    while (low < high) {
      const pivot = values[k];
      let [i, j] = [low, high];
      do {
        while (values[i] < pivot) i += 1;
        while (pivot < values[j]) j -= 1;
        if (i <= j) {
          const kept = values[i];
          values[i] = values[j];
          values[j] = kept;
          i += 1;
          j -= 1;
        }
      } while (i <= j);
      if (j < k) low = i;
      if (k < i) high = j;
    }
    return values[k];
  }

  // 5 and 95 per cent of each outlet's draws, in one line between two of them, as numpy has it.
  function bandsOf(shares, n) {
    const count = shares.length / n;
    const own = new Float64Array(count);
    const ends = range(n).map((i) => {
      for (let d = 0; d < count; d += 1) own[d] = shares[d * n + i];
      return [0.05, 0.95].map((part) => {
        const place = part * (count - 1);
        const k = Math.floor(place);
        const below = select(own, k, 0);
        let above = Infinity;
        for (let d = k + 1; d < count; d += 1) if (own[d] < above) above = own[d];
        return k + 1 < count ? below + (place - k) * (above - below) : below;
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

  // twin: dbox.fieldwork.levelling.lip_offsets
  function lipOffsets(site) {
    const target = targetOf(site);
    const openings = openingsOf(site);
    const open = range(target.length).filter((i) => !site.outlets[i].capped);
    const each = openings.map((opening) => solverOf([opening], EXACT, AIM));
    // twin: dbox.fieldwork.levelling.offsets_of
    const offsetsAt = (inflow) => {
      const heads = openings.map((_, i) => each[i].solve(target[i] * inflow, [0]));
      const deepest = Math.max(...open.map((i) => heads[i]));
      return heads.map((head, i) => (site.outlets[i].capped ? 0 : deepest - head));
    };
    const kinds = new Set(open.map((i) => JSON.stringify(openings[i])));
    if (kinds.size === 1 && !span(open.map((i) => target[i]))) return target.map(() => 0);
    // twin: dbox.fieldwork.levelling.offsets_for_all
    const inflow = site.flows.map((flow) => flow.inflow);
    const solver = solverOf(openings, EXACT, AIM);
    let [low, high] = [Math.min(...inflow), Math.max(...inflow)];
    for (;;) {
      const tried = range(41).map((k) => low * (high / low) ** (k / 40));
      const offset = tried.map(offsetsAt);
      if (!offset.some((row) => row.some(Boolean)) || low === high) return offset[0];
      const miss = offset.map((row) => {
        const lips = row.map((lip, i) => (site.outlets[i].capped ? Infinity : lip));
        return Math.max(...inflow.map((q) => {
          const { share } = answerOf(solver, solver.solve(q, lips), lips);
          return Math.max(...overTarget(share, target).map((over) => Math.abs(over - 1)));
        }));
      });
      const least = Math.min(...miss) * (1 + SAME);
      const best = miss.findIndex((each) => each <= least);
      if (high / low < 1 + 1e-4) return offset[best];
      [low, high] = [tried[Math.max(best - 1, 0)], tried[Math.min(best + 1, 40)]];
    }
  }

  const HAND_STEP = (2.5 * Math.PI) / 180;
  const LEAST_MOVE = 1e-6;

  // twin: dbox.fieldwork.turning.angle_for_move
  function angleForMove(angle, offset, move) {
    const cosine = Math.cos(angle) - move / offset;
    if (!(Math.abs(cosine) <= 1 + 1e-9)) return NaN;
    const target = Math.acos(clip(cosine, -1, 1));
    return angle < 0 ? -target : target;
  }

  // twin: dbox.fieldwork.turning.turn_to, hand_turns and _order
  function turnTo(reach, wanted, step, hold) {
    const n = wanted.length;
    const turn = [];
    const lipAfter = [];
    for (let i = 0; i < n; i += 1) {
      const [angle, offset] = [reach.angle[i], reach.offset[i]];
      const move = brought(reach, i, wanted[i]) - reach.lip[i];
      const exact = offset > 0 ? angleForMove(angle, offset, move) - angle : 0;
      const told = roundEven(exact / step) * step + 0;
      turn.push(hold[i] && !Number.isNaN(told) ? 0 : told);
      let after = reach.lip[i];
      if (offset > 0 && !Number.isNaN(angle)) {
        after += lipRise(angle + turn[i], offset) - lipRise(angle, offset);
      } else if (offset > 0 && !hold[i]) after = brought(reach, i, wanted[i]);
      lipAfter.push(reach.uncapped[i] ? after : Infinity);
    }
    const lips = reach.lip.map((lip, i) => (reach.uncapped[i] ? lip : Infinity));
    const change = lipAfter.map((lip, i) => (reach.uncapped[i] ? lip - reach.lip[i] : 0));
    const even = lips.map((lip) => roundEven(lip * 1e9));
    const rising = range(n).sort((a, b) => (even[a] === even[b] ? a - b : even[a] - even[b]));
    const order = [...rising.filter((i) => change[i] > LEAST_MOVE),
      ...rising.reverse().filter((i) => change[i] < -LEAST_MOVE)];
    let water = Math.min(...lips);
    const overWater = new Array(n).fill(null);
    const stillLevel = order.map((i) => {
      overWater[i] = lipAfter[i] - water;
      lips[i] = lipAfter[i];
      water = Math.min(water, ...lips);
      return Math.min(...lips);
    });
    return {
      turn,
      lipAfter,
      order,
      stillLevel,
      overWater,
      move: wanted.map((lip, i) => (reach.uncapped[i] ? lip - reach.lip[i] : 0)),
      angleAfter: turn.map((each, i) =>
        modulo(reach.angle[i] + each + Math.PI, 2 * Math.PI) - Math.PI),
    };
  }

  // Eigenvalues of a symmetric matrix of two rows, and the direction of the larger one.
  function mainAxis(a, b, c) {
    const half = Math.hypot(0.5 * (a - c), b);
    const angle = 0.5 * Math.atan2(2 * b, a - c);
    return { most: 0.5 * (a + c) + half, least: 0.5 * (a + c) - half,
      along: [Math.cos(angle), Math.sin(angle)] };
  }

  // twin: dbox.fieldwork.readings.fit_plane
  function fitPlane(heights, places) {
    const part = range(heights.length).filter((i) => Number.isFinite(heights[i]) && places[i]);
    if (part.length < 3) return null;
    const middle = [0, 1].map((axis) => mean(part.map((i) => places[i][axis])));
    const level = mean(part.map((i) => heights[i]));
    const runs = part.map((i) => [places[i][0] - middle[0], places[i][1] - middle[1]]);
    const rises = part.map((i) => heights[i] - level);
    const dot = (a, b) => sum(runs.map((run, k) => a(run, k) * b(run, k)));
    const [x, y, z] = [(run) => run[0], (run) => run[1], (_, k) => rises[k]];
    const [xx, xy, yy, xz, yz] = [dot(x, x), dot(x, y), dot(y, y), dot(x, z), dot(y, z)];
    const { most, least, along } = mainAxis(xx, xy, yy);
    const inLine = !(least > 1e-14 * most);
    let slopes = [0, 0];
    if (!inLine) {
      const whole = xx * yy - xy * xy;
      slopes = [(yy * xz - xy * yz) / whole, (xx * yz - xy * xz) / whole];
    } else if (most > 0) {
      const rise = (along[0] * xz + along[1] * yz) / most;
      slopes = [along[0] * rise, along[1] * rise];
    }
    const residual = new Array(heights.length).fill(null);
    const fitted = runs.map((run) => run[0] * slopes[0] + run[1] * slopes[1]);
    part.forEach((i, k) => {
      residual[i] = rises[k] - fitted[k];
    });
    const about = sum(part.map((i) => square(residual[i])));
    const odds = part.length > 3 && !inLine
      ? (1 + sum(fitted.map(square)) / Math.max(about, 1e-30)) ** (-0.5 * (part.length - 3))
      : 1;
    const few = { 3: 'tilt: three outlets', 4: 'tilt: four outlets' };
    const what = inLine ? 'tilt: in one line' : few[part.length];
    return { slopeX: slopes[0], slopeY: slopes[1], residual, told: odds < 0.05,
      notes: what ? [{ what }] : [] };
  }

  // The plane of the pipes where all clocks are known, else of the lips, and how far to lift the
  // sides of the box; twins: dbox.fieldwork.levelling._bedding and lift_for
  function bedding(site, reach, verdict) {
    const turns = reach.offset.map((each) => each > 0);
    const clear = turns.every((each, i) => !each || !Number.isNaN(reach.angle[i]));
    const heights = reach.lip.map((lip, i) => {
      if (!reach.uncapped[i]) return NaN;
      if (!clear) return lip;
      const top = topOf(site.outlets[i].opening);
      const rise = turns[i] ? lipRise(reach.angle[i], reach.offset[i]) : 0;
      return lip - rise + (top < Infinity ? 0.5 * top : 0);
    });
    const places = site.outlets.map((outlet) => outlet.at || null);
    const plane = fitPlane(heights, places);
    const inside = site.inside || [];
    if (!plane || verdict !== 're-bed' || !inside.length) return { plane, lift: null };
    const [along, across] = inside.length === 1 ? [inside[0], inside[0]] : inside;
    return { plane, lift: { farEnd: -plane.slopeX * along, rightSide: -plane.slopeY * across } };
  }

  const FILLINGS = [3, 4];
  const ENDED = ['turned down', 'tee', 'baffle'];
  const clockOrNull = (angle) => (Number.isNaN(angle) ? null : clockText(angle));

  // twin: dbox.fieldwork.levelling._next_step
  function nextStep(verdict, before, wellSet, known) {
    const verdicts = before.flows.map((flow) => flow.verdict);
    if (verdicts.every((each) => each === 'within')) return 'stop';
    if (verdict !== 'nothing to do') return verdict === 'adjust' ? 'turn' : 're-bed';
    const unsure = before.flows.filter((flow) => flow.verdict === 'cannot tell');
    const good = wellSet >= SET_WELL;
    if (good && (before.tolerance === null || verdicts.includes('outside'))) return 'stop';
    const readable = known.fillings < FILLINGS[known.started ? 1 : 0];
    if (readable && (!good || (before.tolerance !== null
      && unsure.every((flow) => flow.settlingRepeats !== null)))) return 'read again';
    if (verdicts.includes('outside')) return 'stop';
    return unsure.some((flow) => flow.finerRule !== null) ? 'finer rule' : 'pour';
  }

  // How a set-up stands after a pass; twin: dbox.fieldwork.setup.Pass.conclusion. The jet of an
  // inlet that is not known to be ended is not computed here, so it is to be seen to.
  function conclusionOf(site, before, step) {
    const verdicts = before.flows.map((flow) => flow.verdict);
    if (verdicts.every((each) => each === 'within')) {
      return ENDED.includes(site.inlet) ? 'within' : 'inlet';
    }
    const following = { turn: 'adjust', 're-bed': 're-bed', 'read again': 'again' }[step];
    if (following) return following;
    if (before.tolerance === null) return step === 'stop' ? 'level' : 'ruler';
    return verdicts.includes('outside') ? 'hand' : 'ruler';
  }

  // Offset of each hole: 0 where it cannot be turned, Infinity where nobody knows.
  const holesOf = (site, unknown) => site.outlets.map(({ turns, offset }) => {
    if (!turns) return 0;
    return typeof offset === 'number' ? offset : unknown;
  });

  // The lips of a box as they are known, and what its inserts can make of them.
  function present(site, known) {
    if (!known.read) throw new RangeError('no filling is read since the last turning');
    const holes = holesOf(site, known.holeOffset);
    const reach = reachOf(known.height, holes, known.angles);
    known.lowest.forEach((i) => { reach.low[i] = Math.max(reach.low[i], reach.lip[i]); });
    known.highest.forEach((i) => { reach.high[i] = Math.min(reach.high[i], reach.lip[i]); });
    const lips = { ...known.read, height: known.height, covariance: known.covariance };
    return { reach, lips, holes };
  }

  const levellings = new WeakMap();

  // twin: dbox.fieldwork.levelling.level, by the lips alone
  function level(site, known) {
    const kept = levellings.get(known);
    if (kept && kept.site === site) return kept.found;
    const { reach, lips, holes } = present(site, known);
    const all = range(site.outlets.length);
    const { covariance } = lips;
    const offset = lipOffsets(site);
    const options = {
      hand: handOf(site),
      byRule: Math.max(...known.read.variance),
      started: known.started || offset.some(Boolean),
    };
    const decision = decide(reach, covariance, offset, options);
    const before = assessLips(site, lips, known.rim);
    const within = before.flows.every((flow) => flow.verdict === 'within');
    const hold = decision.turn.map((turn) => !turn || within);
    const work = turnTo(reach, decision.wanted, HAND_STEP, hold);
    const off = decision.off.map((each) => each && !within);
    const spoiled = all.map((i) => {
      if (work.turn[i]) {
        const after = reach.angle[i] + work.turn[i];
        return turnVariance(reach.angle[i], after, reach.offset[i], options.hand);
      }
      return decision.turn[i] && Number.isNaN(reach.angle[i]) && !within ? options.byRule : 0;
    });
    const left = work.lipAfter.every((lip, i) => lip === lips.height[i]) && !spoiled.some(Boolean);
    const after = left ? before : assessLips(site, {
      ...lips,
      height: work.lipAfter,
      covariance: covariance.map((row, i) => row.map((v, j) => v + (i === j ? spoiled[i] : 0))),
    }, known.rim);
    let verdict = work.order.length ? 'adjust' : 'nothing to do';
    if (off.some(Boolean) && stillOutside(after, offset)) verdict = 're-bed';
    const { plane, lift } = bedding(site, reach, verdict);
    const wellSet = levelChance(reach.lip.map((lip, i) => lip - offset[i]), covariance,
      reach.uncapped);
    const everywhere = all.map((i) =>
      (reach.uncapped[i] ? brought(reach, i, decision.goal + offset[i]) : Infinity));
    const turnsTo = (wanted) => all.filter((i) =>
      reach.uncapped[i] && Math.abs(wanted[i] - reach.lip[i]) > LEAST_MOVE).length;
    const inflow = site.flows.map((flow) => flow.inflow);
    const at = inflow.indexOf(Math.min(...inflow));
    const best = split({ inflow: inflow[at], lips: everywhere, openings: openingsOf(site) });
    const bestOver = overTarget(best.share, before.target).filter((_, i) => before.target[i] > 0);
    const step = nextStep(verdict, before, wellSet, known);
    const found = {
      verdict,
      next: step,
      conclusion: conclusionOf(site, before, step),
      goal: decision.goal,
      turns: turnsTo(decision.wanted),
      every: { height: decision.goal, turns: turnsTo(everywhere) },
      offset,
      wellSet,
      worst: [before.flows[at].worst, after.flows[at].worst, Math.max(...bestOver)],
      order: work.order,
      stillLevel: work.stillLevel,
      outlets: site.outlets.map((outlet, i) => ({
        label: outlet.label,
        lip: reach.uncapped[i] ? reach.lip[i] : null,
        error: before.error[i],
        move: work.move[i],
        turn: orNull(work.turn[i]),
        angleBefore: orNull(reach.angle[i]),
        angleAfter: orNull(work.angleAfter[i]),
        clockBefore: clockOrNull(reach.angle[i]),
        clockAfter: clockOrNull(work.angleAfter[i]),
        lipAfter: orNull(work.lipAfter[i]),
        overWater: work.overWater[i],
        ruleShows: work.overWater[i] === null ? null : work.overWater[i] + outlet.point,
        reachable: !off[i],
      })),
      plane,
      lift,
      before,
      after,
      notes: notesOf(decision, work, within, verdict, plane, holes, reach, known),
    };
    levellings.set(known, { site, found });
    return found;
  }

  // twin: dbox.fieldwork.levelling.still_outside
  function stillOutside(after, offset) {
    if (after.tolerance !== null) return after.flows.some((flow) => flow.verdict === 'outside');
    const lips = after.height.map((lip, i) => lip - offset[i]).filter(Number.isFinite);
    return span(lips) > GOOD_SPAN;
  }

  // What a person should know, as {what, outlets}: the notes of dbox.fieldwork.levelling.level
  function notesOf(decision, work, within, verdict, plane, holes, reach, known) {
    const notes = [];
    const outlets = (test) => range(holes.length).filter(test);
    if (decision.turn.some(Boolean) && !work.order.length && !within) {
      notes.push({ what: 'level: finer than a hand' });
    } else if (plane) notes.push(...plane.notes);
    else if (verdict === 're-bed') notes.push({ what: 'level: places not known' });
    const unknown = outlets((i) => reach.offset[i] > 0 && Number.isNaN(reach.angle[i]));
    if (holes.some((each, i) => each === Infinity && reach.uncapped[i])) {
      notes.push({ what: 'level: offset not known' });
    } else if (unknown.length) notes.push({ what: 'level: clock not known', outlets: unknown });
    if (known.suspects.length) notes.push({ what: 'level: slipped', outlets: known.suspects });
    if (known.lowest.length) notes.push({ what: 'level: goes no lower', outlets: known.lowest });
    if (known.highest.length) notes.push({ what: 'level: goes no higher', outlets: known.highest });
    return [...notes, ...known.read.notes];
  }

  // A box before its first filling is read.
  function begin(site) {
    return {
      height: null, covariance: null, fillings: 0, started: false, slipped: [], suspects: [],
      drift: null, asked: null, lowest: [], highest: [], read: null, was: null,
      angles: site.outlets.map((outlet) => orNaN(outlet.clock)),
      holeOffset: Infinity,
      rim: typeof site.rim === 'number' ? site.rim : null,
    };
  }

  const meanOf = (heights) => (heights && heights.length ? mean(heights) : NaN);

  // What was read is left behind once the box is filled anew, turned or not.
  const topped = (site, known) => (known.read ? turned(site, known, known.angles) : known);

  // twin: dbox.fieldwork.setup.Pass.known
  function read(site, known, readings) {
    const missing = site.outlets.filter((outlet, i) =>
      !outlet.capped && !(readings[i] && readings[i].length));
    if (missing.length) {
      throw new RangeError(`no reading for outlet ${missing.map((o) => o.label).join(', ')}`);
    }
    const before = topped(site, known);
    const found = reduceReadings(site, readings);
    const holeOffset = holeOffsetOf(site, before, readings);
    const now = { ...before, read: found, means: readings.map(meanOf), holeOffset };
    if (!before.fillings) {
      return { ...now, height: found.height, covariance: found.covariance, fillings: 1 };
    }
    const rise = riseTo(before, found);
    now.rim = rise === null || before.rim === null ? null : before.rim - rise;
    return readMore(now, found.height, found.variance);
  }

  // twin: dbox.fieldwork.estimate.Estimate.rise_to
  function riseTo(known, found) {
    const followed = followedOf(known);
    const places = range(followed.length).filter((i) =>
      followed[i] && Number.isFinite(found.height[i]));
    if (!places.length) return null;
    const weights = places.map((i) => 1 / (known.covariance[i][i] + found.variance[i]));
    const rises = places.map((i) => known.height[i] - found.height[i]);
    return sum(rises.map((rise, k) => rise * weights[k])) / sum(weights);
  }

  // Offset of the holes that nobody measured, by what their turns did; Infinity: not told yet.
  // twins: dbox.fieldwork.setup.Pass.offset and dbox.fieldwork.turning.learned_offset
  function holeOffsetOf(site, known, readings) {
    if (known.holeOffset < Infinity || !known.was) return known.holeOffset;
    const rise = readings.map((each, i) => meanOf(each) - known.was.means[i]);
    const places = range(rise.length).filter((i) => Number.isFinite(rise[i]));
    const still = places.filter((i) => known.was.angles[i] === known.angles[i]);
    const fall = rise.map((_, i) => Math.cos(known.was.angles[i]) - Math.cos(known.angles[i]));
    const told = places.filter((i) => Math.abs(fall[i]) > 0.2 && site.outlets[i].turns
      && typeof site.outlets[i].offset !== 'number');
    if (!still.length || !told.length) return Infinity;
    const common = mean(still.map((i) => rise[i]));
    const each = told.map((i) => (rise[i] - common) / fall[i]).sort((a, b) => a - b);
    const half = each.length / 2;
    const learned = 0.5 * (each[Math.ceil(half) - 1] + each[Math.floor(half)]);
    return learned > 0 ? learned : Infinity;
  }

  // twin: dbox.fieldwork.setup.Pass.known_after
  function turned(site, known, angles) {
    const found = level(site, known);
    const { holes } = present(site, known);
    const after = angles.map(orNaN);
    const adjusts = found.conclusion === 'adjust';
    const told = found.outlets.map((outlet, i) =>
      (adjusts && found.order.includes(i) ? outlet.lipAfter : NaN));
    const set = setTo(known, told, {
      before: known.angles,
      after,
      offset: holes,
      hand: handOf(site),
      byRule: 2 * Math.max(...known.read.variance),
    });
    const was = { angles: known.angles, means: known.means };
    return { ...set, angles: after, was, read: null, means: null };
  }

  function assess(site, known) {
    const kept = levellings.get(known);
    if (kept && kept.site === site) return kept.found.before;
    return assessLips(site, present(site, known).lips, known.rim);
  }

  // twin: dbox.fieldwork.readings.doubt; readings: those of this filling so far
  function doubt(site, known, readings, outlet) {
    const heights = readings[outlet];
    const spread = site.spread || DEFAULT_SPREAD;
    const { point, turns, offset, opening } = site.outlets[outlet];
    const about = (why, amount, other = null) => ({ why, amount, other });
    if (span(heights) > 4 * spread) return about('apart', span(heights));
    const lip = mean(heights) - point;
    if (lip < -CAPILLARY_HEAD) return about('under water', -lip);
    if (!turns || offset === 0) {
      return lip > Math.min(topOf(opening), 0.1) ? about('high', lip) : null;
    }
    const travel = typeof offset === 'number' ? 2 * offset : Infinity;
    if (lip > travel + spread) return about('reach', lip - travel);
    const now = topped(site, known);
    const holes = holesOf(site, holeOffsetOf(site, now, readings));
    const { height } = reduceReadings(site, readings);
    const reach = reachOf(height, holes, now.angles);
    const gaps = height.map((_, i) => {
      const gap = Math.max(reach.low[i] - reach.high[outlet], reach.low[outlet] - reach.high[i]);
      return reach.offset[i] > 0 && Number.isFinite(gap) ? gap : -Infinity;
    });
    const other = largest(gaps);
    return gaps[other] > 2 * spread ? about('reach', gaps[other], other) : null;
  }

  // What each outlet should give in a pour, with bands, against what was caught; twins:
  // dbox.fieldwork.pour.expect, stands and balance. odd: the one outlet that explains it: the
  // others agree with the readings once what it gave is taken off the pour.
  function pour(site, known, { inflow, catches = [], error = 0.05 }) {
    const { lips } = present(site, known);
    const all = range(lips.height.length);
    const caught = all.map((i) => orNaN(catches[i]));
    const expected = expectPour(site, lips, known.rim, inflow);
    const standsIn = (each, i) => {
      if (Number.isNaN(caught[i])) return null;
      const slack = SIDE_95 * error * caught[i];
      return Number(caught[i] - slack > each.high[i]) - Number(caught[i] + slack < each.low[i]);
    };
    const held = heldBack(site, lips, known.rim, inflow, caught);
    const outlets = all.map((i) => ({
      label: site.outlets[i].label,
      flow: expected.flow[i],
      low: expected.low[i],
      high: expected.high[i],
      caught: orNull(caught[i]),
      stands: standsIn(expected, i),
      held: held[i],
    }));
    const off = all.filter((i) => outlets[i].stands && !held[i]);
    const alone = off.filter((i) => {
      const left = inflow - caught[i];
      const others = all.filter((j) => j !== i && lips.height[j] < Infinity);
      if (!(left > 0) || !others.some((j) => Number.isFinite(caught[j]))) return false;
      const height = lips.height.map((lip, j) => (j === i ? Infinity : lip));
      const rest = expectPour(site, { ...lips, height }, known.rim, left);
      return others.every((j) => !standsIn(rest, j));
    });
    return { outlets, balance: balanceOf(expected, lips, inflow, caught, error),
      odd: alone.length === 1 ? alone[0] : null };
  }

  // Flows of a pour at the best estimate of the lips, and the bands of drawn ones.
  function expectPour(site, lips, rim, inflow) {
    const solver = solverOf(openingsOf(site), EXACT, AIM);
    const level = solver.solve(inflow, lips.height, { rim: rimOf(rim) });
    const near = nearOf(solver, level, lips.height);
    const count = site.samples || SAMPLES;
    const drawn = sample(lips.height, lips.covariance, count);
    const draws = new Draws({ ...site, coefficientSpread: 0 }, rim, count, { flows: true });
    const flows = draws.shares(inflow, drawn, near);
    return { flow: [...solver.flow], ...bandsOf(flows, lips.height.length) };
  }

  // Outlets that gave nothing though no more water should have stood over their lips than dry ones
  // may hold back; twin: dbox.fieldwork.pour.water_over_dry
  function heldBack(site, lips, rim, inflow, caught) {
    const dry = caught.map((each, i) => each === 0 && lips.height[i] < Infinity);
    const running = lips.height.map((lip, i) => (dry[i] ? Infinity : lip));
    if (!dry.some(Boolean) || !running.some((lip) => lip < Infinity)) return dry.map(() => false);
    const { level: water } = split({ inflow, lips: running, openings: openingsOf(site), rim });
    const most = (site.holdBack || [0, 0])[1];
    return dry.map((each, i) =>
      each && water > lips.height[i] && water - lips.height[i] <= most);
  }

  // twin: dbox.fieldwork.pour.balance
  function balanceOf(expected, lips, inflow, caught, error) {
    const measured = caught.filter(Number.isFinite);
    const uncaught = range(caught.length).filter((i) =>
      Number.isNaN(caught[i]) && lips.height[i] < Infinity);
    const total = sum(measured);
    const slack = SIDE_95 * error * Math.sqrt(square(inflow) + sum(measured.map(square)));
    let missing = inflow - total;
    let verdict = uncaught.length ? 'open' : 'balanced';
    const beyond = missing - sum(uncaught.map((i) => expected.high[i]));
    if (beyond > slack) [missing, verdict] = [beyond, 'less'];
    else if (missing < -slack) verdict = 'more';
    return { verdict, caught: total, missing, missingLow: missing - slack,
      missingHigh: missing + slack, notCaught: uncaught };
  }

  // twin: dbox.units.clean
  const PLAIN_SIGNS = [[/[−‐‑‒–﹣]/g, '-'], [/[”“″„]/g, '"'], [/[’‘′]/g, "'"], [/[⁄∕]/g, '/'],
    [/''/g, '"']];
  function clean(text) {
    let plain = '';
    for (const sign of text) {
      const spelled = sign.normalize('NFKC');
      const fraction = [...spelled].length > 1 && spelled.includes('⁄');
      plain += fraction ? (/[0-9]$/.test(plain) ? ' ' : '') + spelled : sign;
    }
    return PLAIN_SIGNS.reduce((made, [from, to]) => made.replace(from, to), plain)
      .trim().toLowerCase();
  }

  const NUMBER = '[0-9]+(?:-|\\s+)[0-9]+\\s*/\\s*[0-9]+|[0-9]+\\s*/\\s*[0-9]+'
    + '|(?:[0-9]+\\.?[0-9]*|\\.[0-9]+)(?:e[+-]?[0-9]+)?';
  const TERM = new RegExp(`(${NUMBER})\\s*([a-z]+|["'])?\\s*`, 'y');
  const LENGTH_UNITS = new Map([
    [['in', 'inch', 'inches', '"'], INCH], [['ft', 'foot', 'feet', "'"], 12 * INCH],
    [['mm'], 1e-3], [['cm'], 1e-2], [['m'], 1],
  ].flatMap(([names, size]) => names.map((name) => [name, size])));
  const LONGEST_LENGTH = 10000;

  // twin: dbox.units.read_number
  function readNumber(text) {
    const parts = /^(?:([0-9]+)[-\s]\s*)?([0-9]+)\s*\/\s*([0-9]+)$/.exec(text);
    if (!parts) return Number(text);
    const [whole, top, bottom] = parts.slice(1).map((part) => Number(part || 0));
    if (bottom === 0) throw new RangeError('a fraction cannot have 0 below the line');
    if (parts[1] !== undefined && top >= bottom) {
      throw new RangeError(
        'the fraction after a whole number must be less than 1, as in 1-3/16');
    }
    return whole + top / bottom;
  }

  // A length as people write it, in metres: `1-3/16 in`, `-3/32`, `4,5 mm`, `5 ft 3 in`. unit: that
  // of a number without one. A RangeError says what to write instead.
  // twins: dbox.units.said_number, length, read_sum and read_terms
  function parseLength(said, unit = null) {
    const comma = /(^|[^\d/.,])(0(?=,)|\d+(?=,\d{1,2}(?!\d))),(\d+)(?!\d|,\d|\s*\/)/g;
    const text = clean(String(said)).replace(comma, '$1$2.$3');
    const sign = text.startsWith('-') ? -1 : 1;
    const unsigned = text.replace(/^[+-]/, '').trim();
    if (unsigned === '0' || unsigned === '0.0') return 0;
    let [place, total, last, terms] = [0, 0, Infinity, 0];
    TERM.lastIndex = 0;
    for (let term = TERM.exec(unsigned); term; term = TERM.exec(unsigned)) {
      place = TERM.lastIndex;
      const name = term[2] || unit;
      const size = LENGTH_UNITS.get(name);
      if (!term[2] && (terms || place < unsigned.length)) break;
      if (!name) throw new RangeError('give its unit, as 1-3/16 in');
      if (!size) throw new RangeError(`the unit ${name} is not known here; write in, ft, mm or cm`);
      if (size >= last) {
        throw new RangeError('write the larger unit first, each once, as in 5 ft 3 in');
      }
      last = size;
      terms += 1;
      total += readNumber(term[1]) * size;
      if (place === unsigned.length) {
        if (total > LONGEST_LENGTH) throw new RangeError('this is above 10 km; check the unit');
        return total ? sign * total : 0;
      }
    }
    if (/[0-9]\s*\/\s*[0-9]/.test(unsigned)) {
      throw new RangeError('write a fraction as 13/16 or 1-3/16');
    }
    if (unsigned.includes(',')) {
      throw new RangeError('leave the comma out; decimals take a point');
    }
    throw new RangeError('write one number and its unit, as 1-3/16 in');
  }

  const divisor = (a, b) => (b ? divisor(b, a % b) : a);

  // twins: dbox.units.inches and millimetres; metric: in millimetres. Inches go to a 64th where the
  // mark of the rule is as fine, else to a 32nd (dbox.lengths.Lengths.of).
  function lengthText(metres, { metric = false, mark = null, signed = false } = {}) {
    if (metric) {
      const value = metres * 1000;
      // halves of a tenth go to the even one, as Python writes them
      const tie = Number.isInteger(value * 4) && value * 4 % 2 !== 0;
      const text = tie ? (roundEven(value * 10) / 10).toFixed(1) : Math.abs(value).toFixed(1);
      const amount = text.replace('-', '');
      const minus = value < 0 && Number(amount) !== 0;
      return `${minus ? '-' : signed && Number(amount) ? '+' : ''}${amount} mm`;
    }
    const parts = mark !== null && mark < (1.5 * INCH) / 64 ? 64 : 32;
    const count = roundEven((metres / INCH) * parts);
    const sign = count < 0 ? '-' : signed && count ? '+' : '';
    const whole = Math.floor(Math.abs(count) / parts);
    const rest = Math.abs(count) % parts;
    if (!rest) return `${sign}${whole} in`;
    const shared = divisor(rest, parts);
    const fraction = `${rest / shared}/${parts / shared}`;
    return `${sign}${whole ? `${whole}-` : ''}${fraction} in`;
  }

  // A clock position as people say it, as its angle from straight down; 7:30, 7.30, 7 o'clock.
  // twins: dbox.units.said_clock and clock
  function parseClock(said) {
    const parts = /^([0-9]{1,2})(?:[:.]([0-9]{2}))?\s*(?:o'?\s*clock)?$/.exec(clean(String(said)));
    const [hour, minute] = parts ? [Number(parts[1]), Number(parts[2] || 0)] : [0, 0];
    if (!parts || hour < 1 || hour > 12 || minute > 59) {
      throw new RangeError('write a clock position from 1:00 to 12:59, 6:00 straight down');
    }
    const past = (hour % 12) * 60 + minute - 360;
    return (Math.PI * (past > -360 ? past : 360)) / 360;
  }

  // twin: dbox.units.clock_text
  function clockText(angle) {
    const minutes = modulo(roundEven((angle / (2 * Math.PI)) * 720) + 360, 720);
    return `${Math.floor(minutes / 60) || 12}:${String(minutes % 60).padStart(2, '0')}`;
  }

  // Everything once, of a level box: a browser is five times as fast at what it has done before.
  function warm(site) {
    level(site, read(site, begin(site), site.outlets.map(({ point }) => [point])));
  }

  globalThis.dbox = Object.assign(globalThis.dbox || {}, {
    split, begin, read, turned, doubt, assess, level, pour, warm,
    clock: { parse: parseClock, text: clockText },
    length: { parse: parseLength, text: lengthText },
    parts: { chiSquareBeyond, decide, levelChance, markVariance, moved, normalPoints, normalQuantile,
      reachOf, readMore, readingVariance, studentSide, turnVariance },
  });
})();
