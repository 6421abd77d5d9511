// A run of the box as a film, drawn from its numbers. Nothing of the water is computed here.
(() => {
  'use strict';
  const dbox = globalThis.dbox = globalThis.dbox || {};
  const HOLD = 2.5, STEP = 0.4, SPEEDS = [0.25, 0.5, 1, 2, 4];
  const TRENCH_PART = 0.8, BAR_PART = 0.56;

  // Where a value lies among rising ones: the place before it, and how far it is to the next.
  function between(values, value) {
    let low = 0, high = values.length - 1;
    if (value <= values[0]) return [0, 0];
    if (value >= values[high]) return [Math.max(high - 1, 0), 1];
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (values[middle] <= value) low = middle; else high = middle;
    }
    return [low, (value - values[low]) / (values[high] - values[low])];
  }

  // One column of pairs at a value of the other, straight between them.
  function across(pairs, value, from, to) {
    const [place, part] = between(pairs.map((pair) => pair[from]), value);
    const next = pairs[Math.min(place + 1, pairs.length - 1)][to];
    return pairs[place][to] + part * (next - pairs[place][to]);
  }

  const timeAt = (pace, played) => across(pace, played, 1, 0);
  const playedAt = (pace, time) => across(pace, time, 0, 1);

  // The series of a run as numbers in SI; a list of columns where there is one for each outlet.
  function read(run) {
    const values = (text, step) => text.split(' ').map((count) => Number(count) * step);
    const found = { ...run };
    for (const [name, step] of Object.entries(run.steps)) {
      found[name] = Array.isArray(run[name]) ? run[name].map((column) => values(column, step))
        : values(run[name], step);
    }
    return found;
  }

  // twin: dbox.hydraulics.surge.stepper.Surge.at
  function moment(run, time) {
    const [row, part] = between(run.time, time);
    const at = (column) => column[row] + part * (column[row + 1] - column[row]);
    const volume = run.volume.map(at);
    const total = volume.reduce((sum, each) => sum + each, 0);
    const gone = Math.min(Math.max(time / run.seconds, 0), 1);
    return {
      level: at(run.level), inflow: at(run.inflow), overflow: at(run.overflow),
      flow: run.flow.map(at), depth: run.depth.map(at), volume,
      passed: total > 0, share: volume.map((each) => (total > 0 ? each / total : 0)),
      lips: run.lips.map((lip, i) => lip === null ? null
        : lip + gone * (run.lipsEnd[i] - lip)),
    };
  }

  // twin: dbox.report.surge_report.clock
  function clock(seconds) {
    const whole = Math.round(seconds), day = Math.max(Math.ceil(whole / 86400), 1);
    const rest = whole - (day - 1) * 86400;
    const two = (count) => String(count).padStart(2, '0');
    const minutes = `${Math.floor(rest / 3600)}:${two(Math.floor(rest % 3600 / 60))}`;
    return day > 1 ? `day ${day}, ${minutes}` : `${minutes}:${two(rest % 60)}`;
  }

  // twin: dbox.report.split_report.share_text
  function shareText(share) {
    return share >= 0.0005 && share < 0.0995 ? (100 * share).toFixed(1)
      : `${Math.round(100 * share)}`;
  }

  dbox.film = { between, timeAt, playedAt, read, moment, clock, shareText };
  if (!dbox.shell) return;

  const { data: { film }, make, draw, door } = dbox.shell;
  const { flow, duration } = dbox.words;
  const { INLET_WIDTH, shortLabels, textWidth, set, standing, section, sized, fullScreen } =
    dbox.scene;
  const runs = film.runs.map(read);
  const strongest = runs.map((run) => Math.max(...run.inflow));
  const end = film.pace[film.pace.length - 1][1];
  const n = film.outlets.length;
  const several = runs.length > 1;

  // A box with its water, streams, trenches and shares; what it returns moves them to a moment.
  // place: { left, right, top, bottom, size, ticks } in dots; names: { labels, widest }.
  function panel(svg, place, names) {
    const { left, right, top, bottom, size } = place;
    const column = (right - left) / (n + INLET_WIDTH);
    const narrow = column < 3.4 * size, turned = column < 1.5 * size;
    const large = column > 6.2 * size ? 1.35 * size : size;
    const trenches = film.outlets.some((outlet) => outlet.trench !== null);
    // from the foot up: numbers, bars, labels, trenches, the fall, the box
    const numbers = turned ? 1.7 * size : 1.25 * large;
    const room = bottom - top - numbers - 2.5 * size;
    const barsFoot = bottom - numbers, barsTop = barsFoot - room * 0.3;
    const labels = barsTop - size, trenchFoot = labels - 1.6 * size;
    const trenchTop = trenchFoot - (trenches ? room * 0.14 : 0);
    const foot = trenchTop - Math.max(room * 0.07, 1.5 * size);
    const add = (tag, attributes, ...words) => {
      const node = draw(tag, attributes, ...words);
      svg.append(node);
      return node;
    };
    if (trenches) {
      const ground = { x: left, y: trenchTop, width: right - left,
        height: trenchFoot - trenchTop + 12 };
      add('rect', { class: 'w-ground', ...ground });
      add('rect', { fill: 'url(#soil)', ...ground });
    }
    const wall = section(draw, svg, film.outlets, { left, right, top, foot, size,
      low: film.low, high: film.high, zero: film.still, metric: film.metric, rim: film.rim,
      ticks: place.ticks });
    wall.outline(film.outlets.map((outlet) => film.outlines[outlet.form]));
    const { middle } = wall;

    const tanks = [], bars = [], shares = [];
    film.outlets.forEach((outlet, i) => {
      const x = middle(i), half = 0.5 * TRENCH_PART * column, wide = BAR_PART * column;
      let tank = null;
      if (outlet.trench !== null && !outlet.capped) {
        const pipe = trenchFoot - outlet.pipe / film.deepest * (trenchFoot - trenchTop);
        add('rect', { class: 'w-trench', x: x - half, y: trenchTop, width: 2 * half,
          height: trenchFoot - trenchTop });
        tank = {
          water: add('rect', { class: 'w-ponded', x: x - half, width: 2 * half }),
          soak: add('line', { class: 'w-soak', x1: x - half, x2: x + half, y1: trenchFoot + 4,
            y2: trenchFoot + 4 }),
        };
        add('line', { class: 'w-pipe', x1: x - half, x2: x + half, y1: pipe, y2: pipe });
      }
      tanks.push(tank);
      bars.push(add('rect', { class: 'w-bar', x: x - wide / 2, width: wide }));
      const word = add('text', { class: 'w-label', x, y: labels }, names.labels[i]);
      if (names.widest > column) {
        set(word, { transform: `rotate(-90 ${x} ${labels - 0.35 * size})` });
      }
      const share = add('text', { class: 'w-number', x, y: barsFoot + large, 'font-size': large },
        outlet.capped ? (turned || column > 2.2 * size ? 'cap' : '–') : '');
      if (turned) {
        const start = barsFoot + 3;
        set(share, { class: 'w-number w-turned', y: start + 0.35 * size,
          transform: `rotate(-90 ${x} ${start})` });
      }
      shares.push(share);
      if (!outlet.capped) {
        const up = barsFoot - outlet.target / film.wholeShare * (barsFoot - barsTop);
        add('line', { class: 'w-wanted', x1: x - 0.42 * column, x2: x + 0.42 * column, y1: up,
          y2: up });
      }
    });
    add('line', { class: 'w-scale', x1: middle(-0.5), x2: right, y1: barsFoot, y2: barsFoot });
    if (!several) {
      const aside = middle(-0.6);
      const note = (at, words) => column > 2.2 * size &&
        add('text', { class: 'w-aside', x: aside, y: at }, words);
      add('text', { class: 'w-label', x: wall.inletAt, y: foot + 1.15 * size }, 'inlet');
      if (trenches) note((trenchTop + trenchFoot) / 2 + 0.35 * size, 'trenches');
      note((barsTop + barsFoot) / 2 - 0.2 * size, 'share so far,');
      note((barsTop + barsFoot) / 2 + size, 'dashed: target');
    }
    if (narrow) add('text', { class: 'w-aside', x: middle(-0.6), y: barsFoot + size }, '%');

    return (now) => {
      const wide = (flow) => flow > film.leastFlow ? flow * film.perFlow * column : 0;
      const landing = film.outlets.map((outlet, i) => {
        if (!tanks[i]) return trenchTop - 2;
        const tall = Math.min(now.depth[i] / film.deepest, 1) * (trenchFoot - trenchTop);
        set(tanks[i].water, { y: trenchFoot - tall, height: tall });
        tanks[i].soak.setAttribute('visibility', now.depth[i] > 1e-4 ? 'visible' : 'hidden');
        return trenchFoot - tall;
      });
      wall.move({ level: now.level, lips: now.lips, inlet: wide(now.inflow),
        streams: now.flow.map(wide), landing });
      film.outlets.forEach((outlet, i) => {
        if (outlet.capped) return;
        const tall = Math.min(now.share[i] / film.wholeShare, 1) * (barsFoot - barsTop);
        const way = standing(now.share[i], outlet.target, film.allowed);
        set(bars[i], { y: barsFoot - tall, height: tall, class: `w-bar w-${way.name}` });
        const sign = column > 4.9 * size ? `${way.sign} ` : '';
        shares[i].textContent = now.passed
          ? `${sign}${shareText(now.share[i])}${narrow ? '' : ' %'}` : '';
      });
    };
  }

  // Water and inflow against the film's clock, over the slider that runs with it.
  function chart(svg, width, tall, size, inset) {
    const highest = Math.max(...runs.flatMap((run) => run.level)) - film.still;
    const x = (time) => inset + playedAt(film.pace, time) / end * (width - 2 * inset);
    const foot = tall - 1.6 * size;
    const y = (z) => foot - Math.max((z - film.still) / (highest || 1), 0) * (foot - 4);
    runs.forEach((run, i) => {
      const points = run.time.map((time, row) =>
        `${x(time).toFixed(1)} ${y(run.level[row]).toFixed(1)}`);
      if (!several) {
        svg.append(draw('path', { class: 'w-past', d: `M${x(0)} ${foot}L${points.join('L')}` +
          `L${x(run.seconds).toFixed(1)} ${foot}Z` }));
      }
      svg.append(draw('path', { class: `w-curve w-curve-${i % 4}`, d: `M${points.join('L')}` }));
    });
    svg.append(draw('line',
      { class: 'w-scale', x1: inset, x2: width - inset, y1: foot, y2: foot }));
    const whole = Math.max(...runs.map((run) => run.seconds));
    const steps = [10, 30, 60, 300, 600, 1800, 3600, 10800, 21600, 86400, 604800, 2592000, 7776000];
    const step = steps.find((each) => whole / each <= 9) || 31536000;
    let last = -1e9;
    for (let time = 0; time <= whole; time += step) {
      const at = x(time);
      if (at - last < 3.6 * size || at > width - inset - size) continue;
      last = at;
      const words = step >= 86400 ? `day ${Math.round(time / 86400) + (film.ofDay ? 1 : 0)}`
        : film.ofDay ? `${Math.floor(time / 3600)}:00` : duration(time);
      svg.append(draw('line', { class: 'w-scale', x1: at, x2: at, y1: foot, y2: foot + 4 }),
        draw('text', { class: 'w-when', x: Math.max(at, 1.3 * size), y: foot + 1.15 * size },
          words));
    }
    const now = draw('line', { class: 'w-now', y1: 0, y2: foot });
    svg.append(now);
    return (played) => {
      const at = inset + played / end * (width - 2 * inset);
      set(now, { x1: at, x2: at });
    };
  }

  function screen() {
    const calm = matchMedia('(prefers-reduced-motion: reduce)');
    const words = make('p', { class: 'w-words', role: 'status' });
    const time = make('strong', { class: 'w-time' });
    const pace = make('span', {});
    const state = make('p', { class: 'w-state' });
    const scene = draw('svg', { class: 'w-scene', role: 'img' });
    const graph = draw('svg', { class: 'w-graph', 'aria-hidden': 'true' });
    const slider = make('input', { type: 'range', class: 'w-range w-scrub', min: 0, max: 1000,
      step: 1, value: 0, 'aria-label': 'Moment of the run' });
    const play = make('button', { type: 'button', class: 'main-step' });
    const back = make('button', { type: 'button' }, 'Step back');
    const step = make('button', { type: 'button' }, 'Step on');
    const speed = make('select', { 'aria-label': 'Speed' }, SPEEDS.map((each) =>
      make('option', { value: each, selected: each === 1 },
        each === 1 ? 'Usual speed' : each < 1 ? `1/${1 / each} of the speed` : `${each} times`)));
    const stage = make('div', { class: 'w-stage' }, scene);
    const root = make('section', { class: 'w-film w-wide' });
    let played = 0, playing = !calm.matches, hold = HOLD, last = 0;
    let shows = [], mark = () => {};

    function build(width) {
      // on a phone letters of 12 dots, on a wall as large as the width lets them be
      const full = document.fullscreenElement === root;
      const size = Math.min(Math.max(width / 68, 12), 30);
      const room = globalThis.innerHeight - (full ? 330 : 345);
      const gutter = 3.9 * size;
      const per = !several ? 1
        : Math.max(1, Math.min(runs.length,
          Math.floor((width - gutter) / ((n + 2) * 1.05 * size))));
      const lines = Math.ceil(runs.length / per);
      const head = several ? 4.2 * size : 1.6 * size;
      const tall = Math.max(lines > 1 ? 0 : Math.min(room, 48 * size), 22 * size + head);
      const each = (width - gutter) / per;
      scene.replaceChildren(
        draw('defs', {}, draw('pattern', { id: 'soil', width: 7, height: 7,
          patternUnits: 'userSpaceOnUse' },
        draw('circle', { class: 'w-grain', cx: 2, cy: 2, r: 1 }),
        draw('circle', { class: 'w-grain', cx: 5.5, cy: 5.5, r: 0.7 }))));
      set(scene, { viewBox: `0 0 ${width} ${lines * tall}`, 'font-size': size });
      const gap = several ? 0.9 * size : 3;
      const column = (each - gap) / (n + INLET_WIDTH);
      const labels = shortLabels(film.outlets.map((outlet) => outlet.label), column - 3, size);
      const widest = Math.max(...labels.map((label) => textWidth(label, size)));
      names.hidden = labels.every((label, i) => label === film.outlets[i].label);
      shows = runs.map((run, i) => {
        const left = gutter + (i % per) * each, top = Math.floor(i / per) * tall;
        const heads = several ? [draw('text', { class: 'w-name', x: left, y: top + 1.2 * size },
          run.name), draw('text', { class: 'w-about', x: left, y: top + 2.5 * size })] : [];
        if (several) {
          scene.append(...heads, draw('line', { class: `w-curve w-curve-${i % 4}`, x1: left,
            x2: left + Math.min(each - size, 7 * size), y1: top + 1.6 * size,
            y2: top + 1.6 * size }));
        }
        const show = panel(scene, { left, right: left + each - gap, top: top + head,
          bottom: top + tall - 2, size, ticks: i % per === 0 }, { labels, widest });
        return (now) => {
          show(moment(run, now));
          if (several) {
            const comes = moment(run, now).inflow > film.leastFlow;
            const words = now > run.until ? ', through' : comes || !now ? '' : ', runs out';
            heads[1].textContent = flow(strongest[i], film.metric) +
              (each > 11 * size ? words : '');
          }
        };
      });
      const inset = 14, graphTall = (several ? 4.5 : 4) * size;
      graph.replaceChildren();
      set(graph, { viewBox: `0 0 ${width} ${graphTall}`,
        'font-size': Math.max(0.85 * size, 11) });
      mark = chart(graph, width, graphTall, Math.max(0.85 * size, 11), inset);
      show();
    }

    function say(text) {
      if (words.textContent !== text) words.textContent = text;
    }

    function show() {
      const now = timeAt(film.pace, played), ended = played >= end;
      shows.forEach((each) => each(now));
      mark(played);
      slider.value = Math.round(1000 * played / end);
      const when = ended ? `After ${duration(now)}` : film.means
        ? `Day ${Math.floor(now / 86400) + 1}` : film.ofDay ? clock(now)
        : `${clock(now)} after it starts`;
      slider.setAttribute('aria-valuetext', when);
      time.textContent = when;
      const rate = (timeAt(film.pace, Math.min(played + 0.01, end)) -
        timeAt(film.pace, Math.max(Math.min(played + 0.01, end) - 0.02, 0))) / 0.02;
      const shown = Number((rate * speed.value).toPrecision(2));
      pace.textContent = ended ? '' : `1 s shows ${duration(shown)}`;
      say(ended ? film.finding : film.opening);
      root.classList.toggle('w-playing', playing);
      play.textContent = playing ? 'Pause' : ended ? 'Play again' : 'Play';
      if (ended) {
        state.textContent = film.result;
      } else if (several) {
        state.textContent = '';
      } else {
        const at = moment(runs[0], now);
        state.textContent = `${film.means ? 'Mean of the day: ' : ''}` +
          `${flow(at.inflow, film.metric)} comes in; water ` +
          `${dbox.length.both(at.level - film.still, film)} over the lowest lip` +
          (at.overflow > 0 ? `; OVER THE RIM ${flow(at.overflow, film.metric)}` : '');
      }
    }

    function go(where, keep) {
      played = Math.min(Math.max(where, 0), end);
      hold = 0;
      if (!keep || played >= end) playing = false;
      show();
    }

    function frame(at) {
      if (!root.isConnected) return;
      const gone = Math.min((at - last) / 1000, 0.1);
      last = at;
      if (playing && hold > 0) hold -= gone;
      else if (playing) go(played + gone * speed.value, true);
      requestAnimationFrame(frame);
    }

    play.addEventListener('click', () => {
      playing = !playing;
      if (playing && played >= end) [played, hold] = [0, HOLD];
      show();
    });
    back.addEventListener('click', () => go(played - STEP));
    step.addEventListener('click', () => go(played + STEP));
    slider.addEventListener('input', () => go(slider.value / 1000 * end));
    speed.addEventListener('change', show);
    root.addEventListener('fullscreenchange', () => build(stage.clientWidth));

    const names = make('ol', { class: 'w-names' }, film.outlets.map((outlet) =>
      make('li', {}, make('bdi', {}, outlet.label))));
    const about = several ? 'The box at each flow' : 'The box, its trenches and each line\'s share';
    scene.setAttribute('aria-label', `${about}: ${film.finding}`);
    root.append(
      make('h1', { dir: 'auto' }, film.title),
      ...film.planned.map((each) => make('p', { class: 'notice' }, each)),
      words,
      make('p', { class: 'w-clock' }, time, ' ', pace),
      state,
      stage,
      make('div', { class: 'w-track' }, graph, slider),
      make('div', { class: 'w-controls' }, play, back, step, speed, fullScreen(make)),
      names,
      make('div', { class: 'w-small' },
        make('p', {}, film.invented ? 'The box is invented. ' : '',
          'Heights are over still water. Streams are as wide as their flow, all to one scale. ' +
          'Bars are the shares so far; dashed is the target. ',
          several ? 'One clock for all: it goes faster once a run is through.'
            : film.means ? 'Water and streams are means of each day.'
              : 'The clock hurries over quiet times.'),
        film.notes.map((note) => make('p', {}, note))),
    );
    sized(stage, build);
    requestAnimationFrame((at) => { last = at; frame(at); });
    return root;
  }

  door('film', 'The film', 'Water through the box and its trenches, from start to end.', screen);
})();
