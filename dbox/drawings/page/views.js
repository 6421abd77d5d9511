// What is drawn at the box: the plan to tap, lips against water, a clock face, shares with bands.
(() => {
  'use strict';
  const { make, draw } = dbox.shell;

  const { INCH, percent } = dbox.words;
  const round1 = (value) => Math.round(value * 10) / 10;

  // Which wall each outlet leaves by, seen with the inlet at the bottom: left, far, right, near.
  function walls(outlets) {
    const n = outlets.length;
    const placed = outlets.map((each) => each.at).filter(Boolean);
    if (placed.length < n) {
      // nobody measured: as most boxes have them, clockwise along three walls
      return outlets.map((_, i) => ['left', 'far', 'right'][Math.floor(((i + 0.5) / n) * 3)]);
    }
    const along = Math.max(...placed.map((at) => at[0])) / 2 || 1;
    const sides = placed.map((at) => at[1]);
    const middle = (Math.max(...sides) + Math.min(...sides)) / 2;
    const half = (Math.max(...sides) - Math.min(...sides)) / 2 || 1;
    return placed.map((at) => {
      const ahead = at[0] / along - 1;
      const aside = (at[1] - middle) / half;
      if (ahead >= Math.abs(aside) - 1e-9) return 'far';
      if (-ahead > Math.abs(aside)) return 'near';
      return aside < 0 ? 'left' : 'right';
    });
  }

  const [WIDTH, TAP, REACH, RADIUS] = [320, 54, 31, 25]; // [css px on a phone of 360]
  const ABREAST = 5; // what has room to be tapped side by side

  // The box from above, each outlet to be tapped. says(i): { href, mark, state, words } of one.
  function plan(outlets, says) {
    const wall = walls(outlets);
    const on = (name) => outlets.map((_, i) => i).filter((i) => wall[i] === name);
    const sides = { left: on('left'), far: on('far'), right: on('right'), near: on('near') };
    const rowsOf = (list) => Math.ceil(list.length / ABREAST);
    const tall = Math.max(sides.left.length, sides.right.length, 2) * TAP + 8;
    const [x0, x1] = [TAP + 10, WIDTH - TAP - 10];
    const y0 = Math.max(rowsOf(sides.far), 0.2) * TAP + 10;
    const y1 = y0 + tall;
    const height = y1 + 40 + rowsOf(sides.near) * TAP;
    const middle = WIDTH / 2;
    // where each mouth is, and where it can be tapped
    const spots = outlets.map(() => null);
    const beside = (list, x, way, up) => list.forEach((outlet, k) => {
      const y = up ? y1 - ((y1 - y0) * (k + 0.5)) / list.length
        : y0 + ((y1 - y0) * (k + 0.5)) / list.length;
      spots[outlet] = [x, y, x + way * REACH, y];
    });
    // more than have room side by side stand in rows, one behind the other
    const along = (list, y, way, [from, to]) => list.forEach((outlet, k) => {
      const part = list.length < 4 ? (k + 0.5) / list.length : k / (list.length - 1);
      const [a, b] = list.length < 4 ? [from, to] : [Math.sign(to - from), Math.sign(from - to)]
        .map((side) => middle - side * (middle - RADIUS - 2));
      spots[outlet] = [from + (to - from) * ((k + 0.5) / list.length), y, a + (b - a) * part,
        y + way * (REACH + (k % rowsOf(list)) * TAP)];
    });
    beside(sides.left, x0, -1, true);
    along(sides.far, y0, -1, [x0, x1]);
    beside(sides.right, x1, 1, false);
    // round the inlet
    along(sides.near, y1, 1, [x1, x0]);
    const stubs = spots.map(([x, y, cx, cy]) =>
      draw('line', { x1: x, y1: y, x2: cx, y2: cy, class: 'stub' }));
    const mouths = outlets.map((outlet, i) => {
      const [, , cx, cy] = spots[i];
      const { href, mark, state, words } = says(i);
      return draw('a', { href, class: `mouth ${state}`, 'aria-label': words },
        draw('circle', { cx, cy, r: RADIUS }),
        draw('text', { x: cx, y: mark ? cy - 1 : cy + 6,
          class: outlet.label.length > 3 ? 'label long' : 'label' }, short(outlet.label, 5)),
        draw('text', { x: cx, y: cy + 14, class: 'mark' }, mark));
    });
    return draw('svg', { viewBox: `0 0 ${WIDTH} ${height}`, class: 'plan', role: 'group',
      'aria-label': 'The box from above, the inlet at the bottom' },
    stubs,
    draw('rect', { x: x0, y: y0, width: x1 - x0, height: y1 - y0, rx: 6, class: 'wall' }),
    draw('path', { d: `M${middle} ${height - 6}V${y1 - 18}m-8 10l8 -10l8 10`, class: 'inlet' }),
    draw('text', { x: middle + 14, y: height - 10, class: 'quiet' }, 'inlet'),
    mouths);
  }

  // A label cut where it has no room; the whole one stands in what is read aloud.
  function short(label, most) {
    const letters = Array.from(label);
    return letters.length > most ? `${letters.slice(0, most - 1).join('')}…` : label;
  }

  const STEPS = { in: [1 / 32, 1 / 16, 1 / 8, 1 / 4, 1 / 2, 1, 2, 4].map((k) => k * INCH),
    mm: [0.001, 0.002, 0.005, 0.01, 0.02, 0.05, 0.1] };
  const STRIP = 10; // outlets in one row of a strip

  // Lips against the water, stretched. lips: { label, height, error } with null where not read [m];
  // level: the water over the still one [m]; flows: what leaves by each, over the most, or null.
  function strip(lips, level, metric, words, flows) {
    const known = lips.filter((each) => Number.isFinite(each.height));
    const ends = known.flatMap(({ height, error }) => [height - 2 * error, height + 2 * error]);
    const high = Math.max(...ends, level, 0.004);
    const low = Math.min(...ends, 0);
    const margin = Math.max(0.15 * (high - low), 0.0015);
    const [top, bottom] = [high + 1.3 * margin, low - margin];
    const step = STEPS[metric ? 'mm' : 'in'].find((s) => (top - bottom) / s <= 7) || 0.2;
    const rows = [];
    for (let first = 0; first < lips.length; first += STRIP) {
      rows.push(lips.slice(first, first + STRIP).map((each, k) => ({ ...each, i: first + k })));
    }
    const [width, tall, foot, left] = [320, 150, 20, 4];
    const scale = tall / (top - bottom);
    const drawn = rows.map((row, r) => {
      const base = r * (tall + foot + 8);
      const y = (height) => round1(base + (top - height) * scale);
      const column = (width - left) / row.length;
      const lines = [];
      for (let k = Math.ceil(bottom / step); k * step < top; k += 1) {
        lines.push(draw('line', { x1: 0, x2: width, y1: y(k * step), y2: y(k * step),
          class: 'grid' }));
      }
      const holes = row.map((each, k) => {
        const x = left + column * (k + 0.5);
        const half = Math.min(0.36 * column, 24);
        const name = draw('text', { x, y: base + tall + 15, class: 'label' },
          short(each.label, Math.max(2, Math.floor(column / 9))));
        if (each.capped) return [name, draw('text', { x, y: y(0) - 6, class: 'quiet mid' }, 'cap')];
        if (!Number.isFinite(each.height)) {
          return [name, draw('text', { x, y: y(0) - 6, class: 'quiet mid' }, '?')];
        }
        const at = y(each.height);
        const part = flows ? flows[each.i] : 0;
        return [
          part > 0 && draw('rect', { x: round1(x - half * part), width: round1(2 * half * part),
            y: y(level), height: round1(base + tall - y(level)), class: 'stream' }),
          each.error > 0 && draw('line', { x1: x, x2: x, y1: y(each.height + 2 * each.error),
            y2: y(each.height - 2 * each.error), class: 'error' }),
          draw('path', { d: `M${x - half} ${at - 10}V${at}H${x + half}V${at - 10}`, class: 'lip' }),
          name,
        ];
      });
      return [
        draw('rect', { x: 0, width, y: y(level), height: round1(base + tall - y(level)),
          class: 'water' }),
        lines, holes,
        draw('line', { x1: 0, x2: width, y1: y(level), y2: y(level), class: 'surface' }),
      ];
    });
    const height = rows.length * (tall + foot + 8);
    return make('figure', { class: 'strip' },
      draw('svg', { viewBox: `0 0 ${width} ${height}`, role: 'img', 'aria-label': words }, drawn),
      make('figcaption', {}, 'Heights stretched: lines ',
        dbox.length.text(step, { metric }).replace('.0', ''), ' apart.'));
  }

  // Where a hole stands on a face; angle from straight down, clockwise from inside the box [rad]
  const onFace = (angle, radius) => [round1(-radius * Math.sin(angle)),
    round1(radius * Math.cos(angle))];

  // A clock face with the hole where it is, and where it is to go; either may be null.
  function face(before, to, words) {
    const hours = [12, 3, 6, 9].map((hour) => {
      const [x, y] = onFace(((hour - 6) * Math.PI) / 6, 84);
      return draw('text', { x, y: y + 6, class: 'hour' }, hour);
    });
    const ticks = Array.from({ length: 12 }, (_, k) => {
      const [[ax, ay], [bx, by]] = [onFace((k * Math.PI) / 6, 66), onFace((k * Math.PI) / 6, 72)];
      return draw('line', { x1: ax, y1: ay, x2: bx, y2: by, class: 'tick' });
    });
    const hole = (angle, kind) => {
      if (angle === null) return null;
      const [x, y] = onFace(angle, 34);
      return draw('circle', { cx: x, cy: y, r: 22, class: kind });
    };
    let arc = null;
    if (before !== null && to !== null && Math.abs(to - before) > 1e-9) {
      const turn = ((to - before + 3 * Math.PI) % (2 * Math.PI)) - Math.PI;
      const [ax, ay] = onFace(before, 60);
      const [bx, by] = onFace(to, 60);
      // two strokes of the arrow's head, on the side that it comes from
      const back = to - Math.sign(turn) * 0.22;
      const [[cx, cy], [ex, ey]] = [onFace(back, 52), onFace(back, 68)];
      arc = draw('path', { class: 'way', d: `M${ax} ${ay}A60 60 0 0 ${turn > 0 ? 1 : 0} ${bx} ${by}`
        + `M${cx} ${cy}L${bx} ${by}L${ex} ${ey}` });
    }
    return draw('svg', { viewBox: '-100 -100 200 200', class: 'face', role: 'img',
      'aria-label': words },
    draw('circle', { r: 74, class: 'rim' }), ticks, hours,
    hole(before, to === null ? 'hole' : 'hole before'), hole(to, 'hole'), arc);
  }

  // Shares of the lines at one flow: bar, band, target.
  function shares(outlets, flow, targets, allowed) {
    const most = Math.max(...flow.high.filter(Number.isFinite), ...targets, 0.01) * 1.05;
    const x = (share) => round1((100 * share) / most);
    const rows = outlets.map((outlet, i) => {
      if (outlet.capped) {
        return make('tr', {}, make('th', { scope: 'row' }, outlet.label),
          make('td', { colspan: 2 }, 'capped'));
      }
      const [share, low, high] = [flow.share[i], flow.low[i], flow.high[i]];
      const over = targets[i] > 0 && allowed !== null && share > targets[i] * (1 + allowed);
      const under = targets[i] > 0 && allowed !== null && share < targets[i] * (1 - allowed);
      const bar = draw('svg', { viewBox: '0 0 100 14', preserveAspectRatio: 'none',
        'aria-hidden': 'true' },
      draw('rect', { x: 0, y: 2, width: x(share), height: 10,
        class: over ? 'bar over' : under ? 'bar under' : 'bar' }),
      draw('line', { x1: x(low), x2: x(high), y1: 7, y2: 7, class: 'band' }),
      draw('line', { x1: x(targets[i]), x2: x(targets[i]), y1: 0, y2: 14, class: 'fair' }));
      return make('tr', {},
        make('th', { scope: 'row' }, outlet.label),
        make('td', { class: 'bars' }, bar),
        make('td', { class: 'figure' },
          make('b', {}, `${over ? '▲ ' : under ? '▼ ' : ''}${percent(share)}`),
          make('small', {}, `${Math.round(100 * low)} to ${Math.round(100 * high)}`)));
    });
    return make('table', { class: 'shares' },
      make('caption', {}, 'Share of each line, with its 5 to 95 % band; the upright line is its ',
        'target.'),
      make('tbody', {}, rows));
  }

  dbox.views = { plan, strip, face, shares, short };
})();
