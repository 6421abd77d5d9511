// A box to lean: what its water does as it leans, as one lip is wrong, at any flow.
(() => {
  'use strict';
  const dbox = globalThis.dbox = globalThis.dbox || {};
  const { INCH, LITRE, MINUTE, flow, percent } = dbox.words;
  const STEP = INCH / 32, LITRE_PER_MINUTE = LITRE / MINUTE;
  const MOST_LEAN = 16, MOST_LIP = 8;  // thirty-seconds of an inch

  const clip = (value, low, high) => Math.min(Math.max(value, low), high);

  // Lean and lip in thirty-seconds of an inch, flow in m3/s, the rest by place.
  const start = (box) => ({ right: 0, far: 0, lip: 0, outlet: box.outlet, kind: 0, trench: false,
    flow: box.flows[0].inflow });

  // twin: dbox.fieldwork.lessons.Bench.lips
  const lipsAt = (box, now) => box.outlets.map((outlet, i) => outlet.capped ? Infinity
    : STEP * (now.far * outlet.leanFar + now.right * outlet.leanRight +
      (i === now.outlet ? now.lip : 0)));

  // The water in the box; a filled trench holds its water against its outlet.
  function waterAt(box, now, inflow = now.flow) {
    const lips = lipsAt(box, now);
    const tailwater = now.trench
      ? lips.map((_, i) => (i === now.outlet ? box.filled : null)) : null;
    return { lips, ...dbox.split({ inflow, lips, tailwater,
      openings: box.kinds[now.kind].forms.map((form) => box.forms[form].opening) }) };
  }

  // The line that gets the most for its target, and how much.
  function worstOf(box, share) {
    const over = share.map((each, i) => (box.outlets[i].target > 0 ? each / box.outlets[i].target
      : 0));
    const place = over.indexOf(Math.max(...over));
    return { place, share: share[place], target: box.outlets[place].target };
  }

  // Flows lie on the slider by their logarithm; its places go from 0 to 1.
  const flowAt = (box, place) => box.leastFlow * (box.mostFlow / box.leastFlow) ** place;
  const placeOf = (box, flow) => Math.log(flow / box.leastFlow) /
    Math.log(box.mostFlow / box.leastFlow);

  // The pairs of an address.
  const read = (address) => new Map(address.split('&').map((pair) => pair.split('=')));

  // A setting as the end of an address, and back; what is not understood is left as it was.
  function addressOf(now) {
    return [`right=${now.right}`, `far=${now.far}`, `lip=${now.lip}`, `outlet=${now.outlet + 1}`,
      `litres=${Number((now.flow / LITRE_PER_MINUTE).toPrecision(4))}`, `opening=${now.kind + 1}`,
      `trench=${now.trench ? 1 : 0}`].join('&');
  }

  function settingOf(box, address) {
    const now = start(box), asked = read(address);
    const number = (name) => (/^-?\d+(\.\d+)?$/.test(asked.get(name) || '')
      ? Number(asked.get(name)) : null);
    const place = (name, count) => {
      const asked = number(name);
      return Number.isInteger(asked) && asked >= 1 && asked <= count ? asked - 1 : null;
    };
    for (const [name, most] of [['right', MOST_LEAN], ['far', MOST_LEAN], ['lip', MOST_LIP]]) {
      if (number(name) !== null) now[name] = clip(Math.round(number(name)), -most, most);
    }
    if (number('litres') > 0) {
      now.flow = clip(number('litres') * LITRE_PER_MINUTE, box.leastFlow, box.mostFlow);
    }
    const outlet = place('outlet', box.outlets.length), kind = place('opening', box.kinds.length);
    if (outlet !== null && !box.outlets[outlet].capped) now.outlet = outlet;
    if (kind !== null) now.kind = kind;
    now.trench = asked.get('trench') === '1';
    return now;
  }

  // Full scale of the bars: the least of a few that holds every share that is shown.
  const fullScale = (shares) => [0.1, 0.2, 0.5, 1].find((each) => Math.max(...shares) <= each) || 1;

  dbox.lean = { start, lipsAt, waterAt, worstOf, flowAt, placeOf, addressOf, settingOf, fullScale };
  if (!dbox.shell) return;

  const { data: { lean: box }, make, draw, door, others } = dbox.shell;
  const { shortLabels, textWidth, set, standing, stream, section, sized, fullScreen } = dbox.scene;
  const height = (metres) => dbox.length.both(metres, box);
  const n = box.outlets.length;
  const labels = box.outlets.map((outlet) => outlet.label);
  const isOpen = (i) => !box.outlets[i].capped;

  // The wall at the lips, enlarged: what it returns moves it to a setting.
  function strip(svg, width, tall, size) {
    const gutter = 3.9 * size, top = 1.7 * size, foot = tall - 2.6 * size;
    const hatch = draw('pattern', { id: 'tail', width: 8, height: 8,
      patternUnits: 'userSpaceOnUse' },
    draw('circle', { class: 'w-grain-water', cx: 4, cy: 4, r: 2 }));
    svg.replaceChildren(draw('defs', {}, hatch));
    set(svg, { viewBox: `0 0 ${width} ${tall}`, 'font-size': size });
    const tail = draw('rect', { fill: 'url(#tail)', class: 'w-tail' });
    const wall = section(draw, svg, box.outlets, { left: gutter, right: width - 3, top, foot, size,
      low: box.low, high: box.high, zero: 0, metric: box.metric, rim: null, ticks: true });
    svg.append(tail);
    const shown = shortLabels(labels, wall.column - 3, size);
    const turned = Math.max(...shown.map((each) => textWidth(each, size))) > wall.column;
    shown.forEach((label, i) => {
      const x = wall.middle(i), y = foot + 2.3 * size;
      svg.append(draw('text', { class: 'w-label', x, y: turned ? y - 0.3 * size : y,
        transform: turned ? `rotate(-90 ${x} ${y - 0.5 * size})` : null }, label));
    });
    svg.append(draw('text', { class: 'w-label', x: wall.inletAt, y: foot + 2.3 * size },
      wall.column > 2 * size ? 'inlet' : 'in'));
    let kind = null;
    const move = (now, water, hidden) => {
      if (kind !== now.kind) {
        kind = now.kind;
        wall.outline(box.kinds[kind].forms.map((form) => box.forms[form].outline));
      }
      const whole = 0.6 * wall.column;
      wall.move({
        level: hidden ? box.low : water.level,
        lips: water.lips,
        inlet: hidden ? 0 : whole,
        streams: water.share.map((each) => (hidden || each < 1e-4 ? 0 : each * whole)),
        landing: water.lips.map(() => foot + 1.1 * size),
      });
      const up = wall.y(box.filled), x = wall.middle(now.outlet);
      set(tail, { x: x - 0.45 * wall.column, width: 0.9 * wall.column, y: up, height: foot - up,
        visibility: now.trench ? 'visible' : 'hidden' });
    };
    return { move, perMetre: wall.perMetre, shown };
  }

  // The box in true proportion, from above and from two sides, all to one scale.
  function views(svg, width, size, short) {
    const across = box.across, along = box.along, tallness = box.top - box.floor;
    const margin = 4.2 * size, gap = 2 * size, below = 2.4 * size;
    // all in one row, or the plan over the sides where there is no room
    const row = width > 42 * size;
    const perMetre = row
      ? Math.min((width - 2 * margin - 2 * gap - size) / (2 * across + along),
        18 * size / Math.max(along, tallness))
      : Math.min((width - 2 * margin) / across, (width - gap - 2 * size) / (across + along),
        16 * size / along);
    const planTop = margin, planLeft = row ? margin : (width - across * perMetre) / 2;
    const planFoot = planTop + along * perMetre;
    const sideTop = row ? planFoot - tallness * perMetre : planFoot + margin + 2.2 * size;
    const sideFoot = sideTop + tallness * perMetre;
    const frontLeft = row ? planLeft + across * perMetre + margin + gap / 2 : size;
    const sideLeft = frontLeft + across * perMetre + gap;
    svg.replaceChildren();
    set(svg, { viewBox: `0 0 ${width} ${Math.max(planFoot + margin * 0.8, sideFoot) + below}`,
      'font-size': size });
    const add = (tag, attributes, ...words) => {
      const node = draw(tag, attributes, ...words);
      svg.append(node);
      return node;
    };

    if (box.round) {
      add('circle', { class: 'w-wall', cx: planLeft + across * perMetre / 2,
        cy: planTop + along * perMetre / 2, r: across * perMetre / 2 });
    } else {
      add('rect', { class: 'w-wall', x: planLeft, y: planTop, width: across * perMetre,
        height: along * perMetre });
    }
    const middle = planLeft + across * perMetre / 2, centre = (planTop + planFoot) / 2;
    add('path', { class: 'w-way', d: `M${middle} ${planFoot + 2.6 * size}V${planFoot - size}` +
      `m${-0.5 * size} ${0.8 * size}l${0.5 * size} ${-0.8 * size}l${0.5 * size} ${0.8 * size}` });
    add('text', { class: 'w-when', x: middle + 2.2 * size, y: planFoot + 2.2 * size }, 'inlet');
    const reach = 2.4 * size, whole = 2.4 * size;
    const streams = box.outlets.map((outlet, i) => {
      const x = planLeft + outlet.x * perMetre, y = planFoot - outlet.y * perMetre;
      const turn = Math.atan2(-outlet.across, -outlet.along) * 180 / Math.PI;
      const falls = stream(draw, outlet.label);
      add('g', { transform: `translate(${x} ${y}) rotate(${turn})` }, falls.node);
      add('text', { class: 'w-label', x: x + outlet.across * (reach + 0.9 * size),
        y: y - outlet.along * (reach + 0.7 * size) + 0.35 * size }, short[i]);
      return falls;
    });
    const lowArrow = draw('path', { class: 'w-way' });
    const lowWord = draw('text', { class: 'w-when' }, 'low');
    const low = add('g', {}, lowArrow, lowWord);
    add('text', { class: 'w-caption', x: planLeft - margin + 4, y: planFoot + 3.6 * size },
      'from above');

    // seen from the inlet, and from the right; a hole in the wall that faces is drawn as it is, one
    // in another as a mark
    const faces = (outlet) => Math.abs(outlet.along) >= Math.abs(outlet.across);
    const sides = [
      { left: frontLeft, size: across, words: 'from the inlet', name: 'right',
        at: (outlet) => outlet.x, faces },
      { left: sideLeft, size: along, words: 'from the right', name: 'far', at: (outlet) => outlet.y,
        faces: (outlet) => !faces(outlet) },
    ].map((side) => {
      const wide = side.size * perMetre, lipAt = sideTop + box.top * perMetre;
      const body = add('g', {},
        draw('path', { class: 'w-wall',
          d: `M${side.left} ${sideTop}V${sideFoot}h${wide}V${sideTop}` }),
        draw('rect', { class: 'w-band', x: side.left, width: wide, y: lipAt - box.high * perMetre,
          height: (box.high - box.low) * perMetre }));
      const holes = box.outlets.map((outlet) => !outlet.capped && draw('polygon', { class: 'w-hole',
        transform: `translate(${side.left + side.at(outlet) * perMetre} ${lipAt})` }));
      body.append(...holes.filter(Boolean));
      const surface = add('line', { class: 'w-surface', x1: side.left, x2: side.left + wide });
      add('text', { class: 'w-caption', x: side.left, y: sideFoot + 1.4 * size }, side.words);
      return { ...side, wide, lipAt, body, holes, surface };
    });

    let kind = null;
    const move = (now, water, hidden) => {
      if (kind !== now.kind) {
        kind = now.kind;
        for (const side of sides) {
          box.outlets.forEach((outlet, i) => isOpen(i) && side.holes[i].setAttribute('points',
            box.forms[box.kinds[kind].forms[i]].outline.map(([x, up]) =>
              `${((side.faces(outlet) ? x : 0) * perMetre).toFixed(1)},` +
              `${(-up * perMetre).toFixed(1)}`).join(' ')));
        }
      }
      streams.forEach((each, i) => each.move(0, 2, isOpen(i) ? reach : 0,
        hidden || water.share[i] < 1e-4 ? 0 : water.share[i] * whole));
      const most = Math.max(Math.abs(now.right), Math.abs(now.far));
      set(low, { visibility: most ? 'visible' : 'hidden' });
      if (most) {
        const u = now.right / most, v = -now.far / most, long = 0.3 * perMetre *
          Math.min(across, along);
        const turn = Math.atan2(v, u) * 180 / Math.PI;
        const length = long * Math.hypot(u, v);
        set(lowArrow, { d: `M0 0H${length.toFixed(1)}m${-0.7 * size} ${-0.45 * size}` +
          `l${0.7 * size} ${0.45 * size}l${-0.7 * size} ${0.45 * size}`,
        transform: `translate(${middle} ${centre}) rotate(${turn})` });
        set(lowWord, { x: middle + u * long * 0.5 - (v ? 1.6 * size : 0),
          y: centre + v * long * 0.5 - (v ? 0 : 0.6 * size) });
      }
      for (const side of sides) {
        // a box that leans to the right turns clockwise, seen from the inlet; far is to the right
        // of who looks from the right
        const lean = Math.atan2(now[side.name] * STEP, side.size) * 180 / Math.PI;
        set(side.body, { transform:
          `rotate(${lean.toFixed(3)} ${side.left + side.wide / 2} ${side.lipAt})` });
        const up = side.lipAt - water.level * perMetre;
        set(side.surface, { y1: up, y2: up, visibility: hidden ? 'hidden' : 'visible' });
      }
    };
    return { move, perMetre };
  }

  // One row for each line: its name, a bar against its target, the last flow as a ghost, its share.
  function bars() {
    const part = (name) => make('span', { class: `w-${name}` });
    const rows = box.outlets.map((outlet) => {
      const [bar, ghost, wanted] = ['bar-now', 'bar-ghost', 'bar-wanted'].map(part);
      const number = part('share');
      const place = make('span', { hidden: true });
      const row = make('li', {}, make('span', { class: 'w-who' }, place,
        make('bdi', {}, outlet.label)),
      make('span', { class: 'w-bar-track', 'aria-hidden': 'true' }, bar, ghost, wanted), number);
      return { row, place, bar, ghost, wanted, number };
    });
    const note = make('p', { class: 'w-small' });
    const longest = Math.max(...labels.map((label) => label.length));
    const sort = [n > 8 && 'w-many', longest > 12 && 'w-long'].filter(Boolean).join(' ');
    const list = make('ul', { class: `w-shares ${sort}`, 'aria-label': 'Share of each line' },
      rows.map((each) => each.row));
    list.style.setProperty('--who', `${longest + 1}ch`);
    const move = (now, share, last, hidden) => {
      const whole = hidden ? 1 : fullScale([...share, ...(last ? last.share : []),
        ...box.outlets.map((outlet) => Math.min(1, 2 * outlet.target))]);
      rows.forEach(({ bar, ghost, wanted, number }, i) => {
        const outlet = box.outlets[i], way = standing(share[i], outlet.target, box.allowed);
        bar.className = `w-bar-now w-${way.name}`;
        bar.style.width = hidden ? '0' : `${100 * share[i] / whole}%`;
        ghost.style.width = last && !hidden ? `${100 * last.share[i] / whole}%` : '0';
        ghost.hidden = !last || hidden;
        wanted.style.left = `${100 * outlet.target / whole}%`;
        wanted.hidden = outlet.capped || hidden;
        number.classList.toggle('w-capped', outlet.capped);
        number.textContent = outlet.capped ? 'capped' : hidden ? '?'
          : `${way.sign} ${percent(share[i])}`;
      });
      note.textContent = hidden ? ''
        : `A full bar is ${percent(whole)}; the upright line is the target.` +
        (last ? ` Dashed outline: at ${flow(last.inflow, box.metric)}.` : '');
    };
    // where a drawing has numbers for labels, so have the rows
    const number = (numbered) => rows.forEach(({ place }, i) => {
      place.hidden = !numbered;
      place.textContent = `${i + 1}: `;
    });
    return { node: make('div', { class: 'w-line-shares' }, list, note), move, number };
  }

  function slider(words, range, write) {
    const output = make('output', {});
    const input = make('input', { type: 'range', class: 'w-range', ...range, 'aria-label': words });
    const show = (text) => {
      output.textContent = text;
      input.setAttribute('aria-valuetext', text);
    };
    input.addEventListener('input', () => write(Number(input.value)));
    return { input, show, output };
  }

  function screen(address) {
    let now = settingOf(box, address), settled = now.flow, last = null;
    let guessing = read(address).get('guess') === '1', guess = null, asking = guessing;
    let moveStrip = null, moveViews = null, keeping = 0;

    const words = make('p', { class: 'w-words', role: 'status' });
    const state = make('p', { class: 'w-state' });
    const stripSvg = draw('svg', { class: 'w-scene', role: 'img',
      'aria-label': 'The wall of the box at the lips, enlarged' });
    const viewSvg = draw('svg', { class: 'w-scene', role: 'img',
      'aria-label': 'The box in true proportion, from above and from two sides' });
    const scaleNote = make('p', { class: 'w-small' });
    const shares = bars();

    const change = (changed) => {
      now = { ...now, ...changed };
      [guess, asking, copied.textContent] = [null, guessing, ''];
      show();
    };
    const range = (most) => ({ min: -most, max: most, step: 1 });
    const right = slider('Right side lower, or left', range(MOST_LEAN),
      (right) => change({ right }));
    const far = slider('Far side lower, or inlet side', range(MOST_LEAN), (far) => change({ far }));
    const lip = slider('That lip higher or lower', range(MOST_LIP), (lip) => change({ lip }));
    const rate = slider('Flow into the box', { min: 0, max: 1000, step: 1 },
      (place) => change({ flow: flowAt(box, place / 1000) }));
    const settle = (inflow) => {
      if (inflow === settled) return;
      [last, settled] = [settled, inflow];
      show();
    };
    rate.input.addEventListener('change', () => settle(now.flow));
    const marks = box.flows.map((each) => ({ ...each, button: make('button', { type: 'button',
      on: { click: () => { change({ flow: each.inflow }); settle(each.inflow); } } },
    make('bdi', {}, each.name), make('br'), flow(each.inflow, box.metric)) }));
    const ticks = make('div', { class: 'w-marks', 'aria-hidden': 'true' }, box.flows.map((each) => {
      const tick = make('span', {});
      tick.style.left = `${100 * placeOf(box, each.inflow)}%`;
      return tick;
    }));
    const option = (name, value) => make('option', { value }, name);
    const one = make('select', { 'aria-label': 'The one line',
      on: { change: () => change({ outlet: Number(one.value) }) } },
    labels.map((label, i) => isOpen(i) && option(label, i)));
    const kinds = make('select', { id: 'opening',
      on: { change: () => change({ kind: Number(kinds.value) }) } },
    box.kinds.map((kind, i) => option(kind.name, i)));
    const trench = make('input', { type: 'checkbox', id: 'trench',
      on: { change: () => change({ trench: trench.checked }) } });

    const answer = make('input', { id: 'guess', inputmode: 'decimal', autocomplete: 'off', size: 4,
      'aria-describedby': 'guess-fault' });
    const fault = make('p', { id: 'guess-fault', class: 'w-fault', role: 'alert' });
    const asks = make('form', { class: 'w-guess', on: { submit: (event) => {
      event.preventDefault();
      const text = answer.value.trim().replace(',', '.').replace(/\s*%$/, '');
      const typed = /^\d+(\.\d+)?$/.test(text) ? Number(text) : NaN;
      if (!(typed <= 100)) {
        fault.textContent = 'Write a number from 0 to 100.';
        answer.focus();
        return;
      }
      [guess, asking] = [typed, false];
      show();
    } } },
    make('label', { for: 'guess' }, 'What does the worst line get? '), answer, ' % ',
    make('button', { class: 'main-step' }, 'Show it'), fault);
    const guessFirst = make('button', { type: 'button', on: { click: () => {
      [guessing, guess] = [!guessing, null];
      asking = guessing;
      show();
      if (asking) answer.focus();
    } } });
    const copied = make('p', { class: 'w-small', role: 'status' });
    const copy = make('button', { type: 'button', on: { click: async () => {
      const text = `${globalThis.location.href.split('#')[0]}#${here()}`;
      try {
        await navigator.clipboard.writeText(text);
        copied.textContent = 'The address of this setting is copied.';
      } catch {
        // a phone may not lend its clipboard to a file
        copied.replaceChildren('Copy this address: ', make('code', {}, text));
      }
    } } }, 'Copy this setting');
    const here = () => `lean/${addressOf(now)}${guessing ? '&guess=1' : ''}`;
    const level = make('button', { type: 'button',
      on: { click: () => change({ right: 0, far: 0, lip: 0, trench: false }) } }, 'Level it again');

    // level, or which side is how much lower
    const lean = (count, high, low) => count === 0 ? 'level'
      : `${count > 0 ? high : low} ${height(Math.abs(count) * STEP)}`;

    function show() {
      const water = waterAt(box, now);
      const worst = worstOf(box, water.share), name = labels[worst.place];
      // how the same box split the flow that was set before
      const ghost = last && last !== now.flow
        ? { inflow: last, share: waterAt(box, now, last).share } : null;
      root.classList.toggle('w-asking', asking);
      asks.hidden = !asking;
      if (!asking) [answer.value, fault.textContent] = ['', ''];
      const gets = `Line ${name} gets ${percent(worst.share)}; its fair share is ` +
        `${percent(worst.target)}.`;
      const even = worst.share / worst.target - 1 <= 0.02
        ? `Every line gets its fair share.` : gets;
      words.textContent = asking ? 'Guess first, then see.'
        : guess === null ? even : `You said ${Number(guess.toFixed(1))} %. ${gets}`;
      const lowest = Math.min(...water.lips), head = water.level - lowest;
      state.textContent = asking ? 'The water is hidden till you have guessed.'
        : `Water stands ${height(head)} over the lowest lip.` +
          (water.level > box.high ? ' That is higher than the strip shows.' : '') +
          (head < box.capillary ? ' So thin a sheet is out of the range of the formulas: surface' +
            ' tension decides.' : '');
      right.input.value = now.right;
      right.show(lean(now.right, 'right side low', 'left side low'));
      far.input.value = now.far;
      far.show(lean(now.far, 'far side low', 'inlet side low'));
      lip.input.value = now.lip;
      lip.show(lean(now.lip, 'high', 'low'));
      rate.input.value = Math.round(1000 * placeOf(box, now.flow));
      rate.show(`${flow(now.flow, box.metric)} (${flow(now.flow, !box.metric)})`);
      marks.forEach(({ inflow, button }) =>
        button.setAttribute('aria-pressed', Math.abs(inflow / now.flow - 1) < 0.003));
      [one.value, kinds.value, trench.checked] = [now.outlet, now.kind, now.trench];
      guessFirst.textContent = guessing ? 'No more guessing' : 'Guess first';
      shares.move(now, water.share, ghost, asking);
      if (moveStrip) moveStrip.move(now, water, asking);
      if (moveViews) moveViews.move(now, water, asking);
      if (moveStrip && moveViews) {
        const tall = box.high - box.low, times = moveStrip.perMetre / moveViews.perMetre;
        const words = dbox.length.text(tall, box);
        scaleNote.textContent = `${words} of wall at the lips, drawn ${times.toFixed(0)} times ` +
          'as high as in the box in true proportion; holes as wide as there is room. Streams are ' +
          'as wide as their part of the flow.';
      }
      // browsers refuse an address that changes with every move of a slider
      clearTimeout(keeping);
      keeping = setTimeout(() => root.isConnected &&
        globalThis.history.replaceState(null, '', `#${here()}`), 400);
    }

    const upper = make('div', { class: 'w-strip' }, stripSvg, scaleNote);
    const lower = make('div', { class: 'w-views' }, viewSvg);
    const row = (words, control, ...more) => make('div', { class: 'w-row' },
      make('div', {}, make('strong', {}, words, ' '), control.output), control.input, more);
    const root = make('section', { class: 'w-lean w-wide w-flowing' },
      make('h1', { dir: 'auto' }, `${box.title}: lean it, and watch the water`),
      words, asks, state,
      make('div', { class: n > 8 ? 'w-bench w-many' : 'w-bench' }, upper, shares.node,
        make('div', { class: 'w-set' },
          row('Flow:', rate, ticks, make('div', { class: 'w-flows' }, marks.map((m) => m.button))),
          row('Lean across:', right), row('Lean along:', far),
          make('div', { class: 'w-row' },
            make('div', {}, make('strong', {}, 'Lip of line '), one, ' ', lip.output), lip.input),
          make('div', { class: 'w-row w-pair' },
            make('label', { for: 'opening' }, 'Opening '), kinds,
            make('label', { for: 'trench', class: 'w-tick-box' }, trench,
              ' the trench of that line has filled')),
          make('div', { class: 'w-controls' }, level, guessFirst, copy, fullScreen(make)),
          copied),
        lower),
      others('lean'),
      make('div', { class: 'w-small' }, box.notes.map((note) => make('p', {}, note))));

    const tallRoom = (least, part) => Math.max(least, globalThis.innerHeight * part);
    const size = (width) => clip(width / 42, 12, 26);
    const short = { strip: labels, views: labels };
    const numbered = () => shares.number(short.strip !== labels || short.views !== labels);
    function buildStrip(width) {
      moveStrip = strip(stripSvg, width, tallRoom(240, 0.42), size(width));
      short.strip = moveStrip.shown;
      numbered();
      show();
    }
    function buildViews(width) {
      const letters = clip(width / 46, 12, 20);
      short.views = shortLabels(labels, 3.2 * letters, letters);
      moveViews = views(viewSvg, width, letters, short.views);
      numbered();
      show();
    }
    sized(upper, buildStrip);
    sized(lower, buildViews);
    show();
    return root;
  }

  door('lean', 'A box to lean', 'What a lean of 1/8 in does to every line: for a class, or to ' +
    'see it for yourself.', screen);
})();
