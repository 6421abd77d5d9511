// What readings tell of the lips, and which inserts are worth turning.

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
