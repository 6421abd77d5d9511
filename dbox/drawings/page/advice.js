// What to do: how to turn, when to stop or to bed again; a set-up filling by filling; a pour.

const SAME_FLOW = 1e-8; // [-]

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
    if (high / low < 1 + SAME_FLOW) return offset[best];
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
  return { slopeX: slopes[0], slopeY: slopes[1], inLine };
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
  } else if (verdict === 're-bed' && (!plane || plane.inLine)) {
    notes.push({ what: plane ? 'tilt: in one line' : 'level: places not known' });
  }
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

// Everything once, of a level box: a browser is five times as fast at what it has done before.
function warm(site) {
  level(site, read(site, begin(site), site.outlets.map(({ point }) => [point])));
}

Object.assign(globalThis.dbox, {
  split, begin, read, turned, doubt, assess, level, pour, warm,
  parts: { chiSquareBeyond, decide, levelChance, markVariance, moved, normalPoints, normalQuantile,
    reachOf, readMore, readingVariance, studentSide, turnVariance },
});
