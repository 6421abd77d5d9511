// Heights by big keys, and clock positions on a face.
(() => {
  'use strict';
  const { make, show } = dbox.shell;
  const { now, question, replay, happen } = dbox.job;
  const { say } = dbox;
  const { button, visit } = say;

  const { INCH } = dbox.words;
  const PART = INCH / 64; // [m]

  // What is typed and not yet taken: outlet, unit, below, whole, part (of 64), digits.
  function draftOf(job, outlet) {
    const { draft } = job;
    if (draft && draft.outlet === outlet) return draft;
    return { outlet, unit: draft ? draft.unit : say.metric(job.site) ? 'mm' : 'in', below: false,
      whole: 0, part: null, digits: '' };
  }

  const empty = (draft) => (draft.unit === 'in' ? draft.part === null : !/\d/.test(draft.digits));

  // The draft as a person would write it, as `+1-3/16 in`.
  function textOf(draft) {
    if (draft.unit === 'mm') return `${draft.below ? '-' : '+'}${draft.digits} mm`;
    const height = draft.whole * INCH + draft.part * PART;
    return dbox.length.text(draft.below ? -height : height, { mark: PART, signed: true });
  }

  function read(job, outlet) {
    const state = replay(job);
    const pass = now(state);
    const { site } = state;
    const { label, capped } = site.outlets[outlet];
    const not = [
      [capped, 'It is capped: no water leaves there.'],
      [state.closed, 'The job has ended. Undo, on the screen before, takes that back.'],
      [pass.method === null, 'Fill the box first: nothing is read before the water lies still.'],
      [pass.doubtful, 'Answer first, on the screen before: is the last reading right?'],
    ].find(([holds]) => holds);
    if (not) return say.behind(job, `Outlet ${label}`, make('p', {}, not[1]));
    const draft = draftOf(job, outlet);
    const shown = make('p', { class: 'typed', 'aria-live': 'polite', id: 'typed' });
    const pressed = [];
    const press = (node, test) => {
      pressed.push([node, test]);
      return node;
    };
    const change = (values) => {
      Object.assign(draft, values);
      job.draft = draft;
      dbox.job.keep(job);
      refresh();
    };
    const next = button('', () => take(true), { class: 'main-step wide', id: 'take' });
    const again = button('Read once more', () => take(false), { id: 'again' });
    const kept = pass.readings[outlet];
    // what the file holds is of the first filling
    const offered = pass.number > 1 || kept.length ? [] : site.outlets[outlet].readings;

    function refresh() {
      const typed = !empty(draft);
      shown.replaceChildren(make('b', {}, typed ? textOf(draft) : '–'),
        make('span', {}, typed ? other(draft) : 'nothing typed yet'));
      pressed.forEach(([node, test]) => node.setAttribute('aria-pressed', String(test())));
      again.disabled = !typed;
      next.disabled = !typed && !kept.length;
      next.textContent = typed || !kept.length ? 'Take it, next outlet' : 'Done, next outlet';
    }

    function take(settles) {
      if (!empty(draft)) {
        const text = textOf(draft);
        const height = dbox.length.parse(text, draft.unit);
        const all = [...(pass.correcting === outlet ? [] : kept), height];
        const doubtful = dbox.job.doubt(state, outlet, all) !== null;
        job.draft = { ...draftOf(job, null), unit: draft.unit };
        happen(job, 'read', { outlet: label, readings_m: [height], doubtful }, text);
        if (doubtful) {
          visit(job);
          return;
        }
      }
      if (!settles) {
        say.tell(`Kept. Lift the rule off and read outlet ${label} again.`);
        show();
        return;
      }
      settle();
    }

    function settle() {
      const before = now(replay(job)).settled[outlet] && now(replay(job)).correcting === null;
      const after = before ? replay(job) : happen(job, 'settled', { outlet: label });
      const asked = question(after);
      if (asked.kind === 'reading') visit(job, 'read', asked.outlet);
      else visit(job);
    }

    const keys = draft.unit === 'in' ? inchKeys(site, draft, change, press)
      : digitKeys(draft, change);
    refresh();
    const settled = pass.settled[outlet] && pass.correcting !== outlet;
    return say.behind(job, `Outlet ${label}`,
      kept.length > 0 && make('p', {}, `Read so far: ${kept.map((each) =>
        say.one(site, each, true)).join(', ')}${pass.correcting === outlet
        ? '. What you type now takes its place.' : ''}`),
      settled ? button('Read it again', () => {
        happen(job, 'correcting', { outlet: label });
        show();
      }, { class: 'main-step wide', id: 'anew' }) : [
        shown,
        make('div', { class: 'pair', role: 'group', 'aria-label': 'Side of the water' },
          press(button('+ above', () => change({ below: false })), () => !draft.below),
          press(button('− below', () => change({ below: true })), () => draft.below)),
        keys,
        next,
        offered.length > 0 && button(`As in the file: ${offered.map((each) =>
          say.one(site, each, true)).join(', ')}`, () => {
          const doubtful = dbox.job.doubt(state, outlet, offered) !== null;
          happen(job, 'read', { outlet: label, readings_m: offered, doubtful }, 'same');
          if (doubtful) visit(job);
          else settle();
        }, { class: 'wide', id: 'same' }),
        make('div', { class: 'pair' }, again,
          button(draft.unit === 'in' ? 'In millimetres' : 'In inches', () => {
            change({ unit: draft.unit === 'in' ? 'mm' : 'in', part: null, digits: '', whole: 0 });
            show();
          })),
        !kept.length && button('Not now: the others first', () => {
          happen(job, 'skipped', { outlet: label });
          visit(job);
        }, { class: 'plain wide', disabled: pass.skipped.includes(outlet) }),
      ]);
  }

  // The same height in the other unit.
  function other(draft) {
    const metres = dbox.length.parse(textOf(draft), draft.unit);
    return draft.unit === 'in' ? `${(1000 * metres).toFixed(1)} mm`
      : `${(metres / INCH).toFixed(3)} in`;
  }

  const SIXTEENTH = 4; // [64ths of an inch]

  // Whole inches, the sixteenths, and what lies between them by the mark of the rule.
  function inchKeys(site, draft, change, press) {
    const name = (part) => dbox.length.text(part * PART, { mark: PART }).replace(' in', '');
    const rest = () => (draft.part === null ? 0 : draft.part % SIXTEENTH);
    const sixteenths = Array.from({ length: 16 }, (_, k) => press(
      button(name(k * SIXTEENTH), () => change({ part: k * SIXTEENTH + rest() }),
        { class: 'key', id: `key-${k}` }),
      () => draft.part !== null && Math.floor(draft.part / SIXTEENTH) === k));
    const fine = site.mark !== null && site.mark < 0.75 * (INCH / 32) ? [1, 2, 3] : [2];
    const finer = fine.map((part) => press(button(`and ${name(part)}`, () =>
      change({ part: (draft.part || 0) - rest() + (rest() === part ? 0 : part) }),
    { id: `finer-${part}` }), () => rest() === part));
    const whole = make('output', {}, `${draft.whole} in`);
    const step = (by) => () => {
      change({ whole: Math.max(0, draft.whole + by), part: draft.part || 0 });
      whole.textContent = `${draft.whole} in`;
    };
    return [
      make('div', { class: 'whole', role: 'group', 'aria-label': 'Whole inches' },
        button('− 1', step(-1), { 'aria-label': 'one inch less' }), whole,
        button('+ 1', step(1), { 'aria-label': 'one inch more', id: 'inch-more' })),
      make('div', { class: 'keys', role: 'group', 'aria-label': 'Sixteenths of an inch' },
        sixteenths),
      make('div', { class: 'finer' }, finer),
    ];
  }

  function digitKeys(draft, change) {
    const add = (sign) => () => {
      if (draft.digits.length < 6 && !(sign === '.' && draft.digits.includes('.'))) {
        change({ digits: draft.digits + sign });
      }
    };
    const keys = ['7', '8', '9', '4', '5', '6', '1', '2', '3', '.', '0'].map((sign) =>
      button(sign, add(sign), { class: 'key', id: sign === '.' ? 'key-point' : `key-${sign}`,
        'aria-label': sign === '.' ? 'decimal point' : sign }));
    const back = button('⌫', () => change({ digits: draft.digits.slice(0, -1) }),
      { class: 'key', 'aria-label': 'take the last digit back' });
    return make('div', { class: 'keys three', role: 'group', 'aria-label': 'Millimetres' },
      keys, back);
  }

  const STEP = Math.PI / 72; // five minutes on the face [rad]
  const QUARTER = Math.PI / 24; // a quarter of an hour [rad]

  // A clock position to set, and what to do with it.
  function setter(job, outlet, title, words, start, take, ...more) {
    const dial = job.dial && job.dial.outlet === outlet ? job.dial : { outlet, angle: start };
    const holder = make('div', { class: 'dial' });
    const text = make('p', { class: 'typed', 'aria-live': 'polite', id: 'typed' });
    const set = (angle) => {
      dial.angle = ((angle + 3 * Math.PI) % (2 * Math.PI)) - Math.PI;
      job.dial = dial;
      dbox.job.keep(job);
      refresh();
    };
    function refresh() {
      const clock = say.clock(dial.angle);
      text.replaceChildren(make('b', {}, clock));
      const drawn = dbox.views.face(start === dial.angle ? null : start, dial.angle,
        `The hole at ${clock}`);
      drawn.addEventListener('click', (event) => {
        const place = drawn.getBoundingClientRect();
        const x = event.clientX - place.left - place.width / 2;
        const y = event.clientY - place.top - place.height / 2;
        set(Math.round(Math.atan2(-x, y) / QUARTER) * QUARTER);
      });
      holder.replaceChildren(drawn);
    }
    refresh();
    return say.behind(job, title, make('p', {}, words), text, holder,
      make('p', { class: 'quiet' }, 'Tap the face for the quarter of an hour; five minutes more ',
        'or less by the keys.'),
      make('div', { class: 'whole', role: 'group', 'aria-label': 'Hours and minutes' },
        button('− 5 min', () => set(dial.angle - STEP)),
        button('+ 5 min', () => set(dial.angle + STEP)),
        button('− 1 h', () => set(dial.angle - 12 * STEP)),
        button('+ 1 h', () => set(dial.angle + 12 * STEP), { id: 'hour-more' })),
      button('It stands there', () => {
        delete job.dial;
        take(dbox.clock.parse(say.clock(dial.angle)));
      }, { class: 'main-step wide', id: 'set' }),
      more);
  }

  function clock(job, outlet) {
    const { label } = job.site.outlets[outlet];
    const take = (angle) => {
      const typed = angle === null ? 'skip' : say.clock(angle);
      const asked = question(happen(job, 'clock', { outlet: label, angle_rad: angle }, typed));
      if (asked.kind === 'clock') visit(job, 'clock', asked.outlet);
      else visit(job);
    };
    return setter(job, outlet, `Outlet ${label}: where is its hole?`,
      'As on a clock face seen from inside the box; 6:00 is straight down.', 0, take,
      button('Not known', () => take(null), { class: 'plain wide' }));
  }

  // Where a hole was left that was not turned as told.
  function left(job, outlet) {
    const state = replay(job);
    const { label } = job.site.outlets[outlet];
    const before = now(state).angles[outlet];
    const take = (angle) => {
      happen(job, 'left', { outlet: label, angle_rad: angle },
        angle === null ? undefined : `${label} ${say.clock(angle)}`);
      dbox.job.tick(job, [...dbox.job.ticked(job), label]);
      visit(job);
    };
    return setter(job, outlet, `Outlet ${label}: where does its hole stand now?`,
      'As on a clock face seen from inside the box; 6:00 is straight down.',
      before === null ? 0 : before, take,
      button('It was not turned', () => take(before), { class: 'wide' }),
      button('Turned, but I do not know where it stands', () => take(null),
        { class: 'plain wide' }));
  }

  dbox.typing = { read, clock, left };
})();
