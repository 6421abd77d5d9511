// Pour test, the record for the inspector, and files of a job.
(() => {
  'use strict';
  const { make, show } = dbox.shell;
  const { now, complete, replay, told } = dbox.job;
  const { say } = dbox;
  const { button, link, at } = say;

  // The last pass in which every open outlet was read.
  const lastComplete = (state) =>
    [...state.passes].reverse().find((pass) => complete(state.site, pass));

  // A field whose value stands in its holder as it is typed; kept: what follows then.
  function field(holder, name, words, kept, more, help) {
    const id = more.id || `field-${name}`;
    const input = make(more.rows ? 'textarea' : 'input', { id, autocomplete: 'off', ...more,
      on: { input: () => {
        holder[name] = input.value;
        kept();
      } } });
    input.value = holder[name] || '';
    return make('div', { class: 'field' }, make('label', { for: id }, words), input,
      help && make('small', {}, help));
  }

  // A number as people type it; null where it is none.
  const numberOf = (text) => (/^\s*(\d+[.,]?\d*|[.,]\d+)\s*$/.test(text || '')
    ? Number(text.trim().replace(',', '.')) : null);

  const { LITRE, GALLON } = dbox.words;
  const units = (metric) => (metric ? { pail: 'L', jug: 'L', size: LITRE, jugSize: LITRE }
    : { pail: 'gal', jug: 'qt', size: GALLON, jugSize: GALLON / 4 });

  const blankPour = () => ({ volume: '', time: '', jug: '', way: 'jug', seconds: '', catches: {} });

  // Inflow and what was caught at each outlet, as far as they are typed; [m3/s]
  function flowsOf(site, pour) {
    const { size, jugSize } = units(say.metric(site));
    const [volume, time, jug, seconds] = ['volume', 'time', 'jug', 'seconds']
      .map((name) => numberOf(pour[name]));
    const inflow = volume > 0 && time > 0 ? (volume * size) / time : null;
    const catches = site.outlets.map((outlet) => {
      const typed = pour.catches[outlet.label];
      if (typed === 'dry') return 0;
      const value = numberOf(typed);
      if (value === null) return null;
      if (pour.way === 'jug') return jug > 0 && value > 0 ? (jug * jugSize) / value : null;
      return seconds > 0 ? (value * jugSize) / seconds : null;
    });
    return { inflow, catches };
  }

  function pourScreen(job) {
    const state = replay(job);
    const { site } = state;
    if (!job.pours.length) job.pours.push(blankPour());
    const pour = job.pours[job.pours.length - 1];
    const { pail, jug } = units(say.metric(site));
    const result = make('div', { 'aria-live': 'polite' });
    const refresh = () => result.replaceChildren(...pourResult(state, pour));
    const kept = () => {
      dbox.job.keep(job);
      refresh();
    };
    const typed = (holder, name, words) =>
      field(holder, name, words, kept, { inputmode: 'decimal', maxlength: 10 });
    const way = (value, words) => button(words, () => {
      pour.way = value;
      dbox.job.keep(job);
      show();
    }, { 'aria-pressed': String(pour.way === value) });
    refresh();
    return say.behind(job, 'Pour test',
      make('p', {}, 'Pour clean water at one steady flow. Once every outlet runs steadily, catch ',
        'what each gives, and time it.'),
      make('div', { class: 'pair' },
        typed(pour, 'volume', `Poured in all [${pail}]`), typed(pour, 'time', 'in [seconds]')),
      make('div', { class: 'pair', role: 'group', 'aria-label': 'How it is caught' },
        way('jug', 'Seconds to fill a jug'), way('volume', 'Volume in a time')),
      pour.way === 'jug' ? typed(pour, 'jug', `The jug holds [${jug}]`)
        : typed(pour, 'seconds', 'Each caught for [seconds]'),
      make('h2', {}, pour.way === 'jug' ? 'Seconds until the jug is full'
        : `Caught at each [${jug}]`),
      site.outlets.filter((each) => !each.capped).map((outlet) => {
        const dry = pour.catches[outlet.label] === 'dry';
        return make('div', { class: 'catch' },
          dry ? make('p', {}, `Outlet ${outlet.label}: dry`)
            : typed(pour.catches, outlet.label, `Outlet ${outlet.label}`),
          button(dry ? 'It ran' : 'Dry', () => {
            if (dry) delete pour.catches[outlet.label];
            else pour.catches[outlet.label] = 'dry';
            dbox.job.keep(job);
            show();
          }, { 'aria-label': `Outlet ${outlet.label} ${dry ? 'ran' : 'stayed dry'}` }));
      }),
      result,
      button('Another pour', () => {
        job.pours.push(blankPour());
        dbox.job.keep(job);
        show();
      }, { class: 'wide', disabled: !Object.keys(pour.catches).length }));
  }

  // What is typed and is no number, told where it stands.
  function badWords(pour) {
    const typed = [pour.volume, pour.time, pour.jug, pour.seconds,
      ...Object.values(pour.catches).filter((each) => each !== 'dry')];
    const bad = typed.filter((text) => text.trim() && numberOf(text) === null);
    return bad.length ? [make('p', { class: 'fault' },
      `${say.listed(bad.map((text) => `"${text}"`))}: write numbers only, as 12 or 12.5.`)] : [];
  }

  // What the catches show beside what was to be expected.
  const pourResult = (state, pour) => [...badWords(pour), ...comparison(state, pour)];

  function comparison(state, pour) {
    const { site } = state;
    const { inflow, catches } = flowsOf(site, pour);
    const pass = lastComplete(state);
    if (inflow === null) return [make('p', {}, 'Type what was poured, and in how many seconds.')];
    const caught = catches.filter((each) => each !== null);
    const all = caught.reduce((sum, each) => sum + each, 0);
    if (!pass) {
      return [make('p', {}, 'Without readings of every outlet there is nothing to hold the ',
        'catches against; they are kept.')];
    }
    const { site: read, known } = told(site, pass);
    const found = dbox.pour(read, known, { inflow, catches });
    const part = (flow) => say.percent(flow / inflow);
    const words = [];
    if (found.odd !== null) {
      const odd = found.outlets[found.odd];
      words.push(make('p', { class: 'finding' }, make('strong', {}, `Outlet ${odd.label} is odd: `),
        `it gives ${odd.stands > 0 ? 'more' : 'less'} than its lip says; what was caught at the `
        + 'others agrees with their readings. Look there: a deposit, another hole, a pipe that '
        + 'holds back.'));
    } else if (found.outlets.some((each) => each.stands && !each.held)) {
      words.push(make('p', { class: 'finding' }, 'Readings and catches disagree at ',
        say.outlets(found.outlets.filter((each) => each.stands && !each.held)
          .map((each) => each.label)), '. Read the box once more, then pour again.'));
    } else if (caught.length) {
      words.push(make('p', { class: 'finding' }, 'What was caught agrees with the readings.'));
    }
    const { verdict } = found.balance;
    if (verdict === 'less') {
      words.push(make('p', {}, `${part(found.balance.missing)} of what was poured was not caught: `,
        'a leak, a spill, or a wrong volume or time.'));
    } else if (verdict === 'more') {
      words.push(make('p', {}, 'More was caught than poured: a volume or a time is wrong.'));
    }
    return [...words, make('table', { class: 'pour' },
      make('caption', {}, `${say.flow(site, inflow)} poured, `,
        `${say.flow(site, all)} caught`),
      make('thead', {}, make('tr', {}, ['outlet', 'expected', 'caught'].map((each) =>
        make('th', { scope: 'col' }, each)))),
      make('tbody', {}, found.outlets.filter((_, i) => !site.outlets[i].capped).map((each) =>
        make('tr', {}, make('th', { scope: 'row' }, each.label),
          make('td', {}, `${part(each.flow)} (${Math.round((100 * each.low) / inflow)} to ${
            Math.round((100 * each.high) / inflow)})`),
          make('td', {}, each.caught === null ? '–' : `${each.stands > 0 ? '▲ '
            : each.stands < 0 ? '▼ ' : ''}${part(each.caught)}`)))))];
  }

  // A pass as a table: readings, clocks, what was turned.
  function passTable(site, pass) {
    return make('table', { class: 'pass' },
      make('caption', {}, `Pass ${pass.number}, ${pass.stillAt.slice(0, 16).replace('T', ' ')}, `,
        pass.method || ''),
      make('thead', {}, make('tr', {}, ['outlet', 'read', 'hole at', 'turned to'].map((each) =>
        make('th', { scope: 'col' }, each)))),
      make('tbody', {}, site.outlets.map((outlet, i) => make('tr', {},
        make('th', { scope: 'row' }, outlet.label),
        make('td', {}, outlet.capped ? 'capped' : pass.readings[i].map((each) =>
          say.one(site, each, true)).join(', ') || '–'),
        make('td', {}, outlet.turns ? say.clock(pass.angles[i]) : '–'),
        make('td', {}, outlet.turns && pass.turned && (pass.turned[i] === null
          || pass.turned[i] !== pass.angles[i]) ? say.clock(pass.turned[i]) : '–')))));
  }

  const ENDS = { within: 'within tolerance at every flow',
    level: 'level, as well as a hand sets it',
    inlet: 'lips within tolerance; the inlet is to be seen to',
    ruler: 'as level as this rule can tell', hand: 'as level as a hand can set it',
    're-bed': 'to be bedded again', adjust: 'ended with something left to turn',
    again: 'ended before another reading was taken' };

  function record(job) {
    const state = replay(job);
    const { site } = state;
    const last = lastComplete(state);
    const found = last && told(site, last);
    const typed = (name, words, more) =>
      field(job.record, name, words, () => dbox.job.keep(job), more);
    const rows = [
      ['Tolerance', site.tolerance === null ? 'none named'
        : [say.percent(site.tolerance), site.toleranceSource].filter(Boolean).join(', ')],
      ['Inlet', site.inlet || 'not known'],
      ['State', state.closed && found ? ENDS[found.level.conclusion] : 'not ended'],
    ];
    return say.behind(job, job.name || 'Box without a name',
      make('div', { class: 'record' },
        [['permit', 'Permit'], ['address', 'Address'], ['who', 'Work done by']]
          .map(([name, words]) => typed(name, words, { maxlength: 200 })),
        make('dl', {}, rows.map(([name, value]) =>
          [make('dt', {}, name), make('dd', {}, value)])),
        found && found.assess.flows.map((flow) => make('section', {},
          make('h2', {}, `${flow.name}, ${say.flow(site, flow.inflow)}`,
            site.tolerance !== null && `: ${flow.verdict}`),
          dbox.views.shares(site.outlets, flow, found.assess.target, found.assess.tolerance))),
        state.passes.filter((pass) => pass.method !== null).map((pass) => passTable(site, pass)),
        job.pours.filter((pour) => Object.keys(pour.catches).length).map((pour, k) =>
          make('section', {}, make('h2', {}, `Pour ${k + 1}`), pourResult(state, pour))),
        typed('notes', 'Notes', { rows: 2, maxlength: 600 }),
        make('p', { class: 'sign' }, 'Installer'), make('p', { class: 'sign' }, 'Inspector'),
        make('p', { class: 'quiet' }, dbox.shell.data.foot)),
      make('div', { class: 'choices' },
        button('Print', () => globalThis.print(), { class: 'main-step' }),
        link('Save or send', at(job, 'save'))));
  }

  // The job as a file, and as a text to copy where a phone saves none.
  function save(job) {
    const text = dbox.job.fileText(job);
    const box = make('textarea', { id: 'text', rows: 6, readonly: true });
    box.value = text;
    const done = make('p', { class: 'said', role: 'status' });
    const plain = job.name.match(/[\p{L}\p{N}]+/gu) || ['box'];
    const name = `${plain.join('-').slice(0, 40)}.dbox.json`;
    const file = () => {
      const address = URL.createObjectURL(new Blob([text], { type: 'application/json' }));
      make('a', { href: address, download: name }).click();
      globalThis.setTimeout(() => URL.revokeObjectURL(address), 60000);
      done.textContent = `Given to the phone to save: ${name}`;
    };
    const copy = () => {
      box.select();
      const taken = document.execCommand('copy');
      done.textContent = taken ? 'Copied: paste it into a message or a note.'
        : 'This phone copies nothing by itself: the text is marked, copy it by hand.';
    };
    return say.behind(job, 'Save or send',
      make('p', {}, 'The file holds the whole job. Open it on such a page again, here or on ',
        'another phone. On a computer, this takes it in:'),
      make('p', { class: 'command' }, `dbox setup ${job.file || 'job.toml'} --from ${name}`),
      make('div', { class: 'stack' },
        button('Save a file', file, { class: 'main-step', id: 'save' }),
        button('Copy the text', copy, { id: 'copy' })),
      done,
      make('label', { for: 'text' }, 'The same as text'), box);
  }

  // A saved file, or its text, becomes a job of this phone.
  function open() {
    const fault = say.faultLine();
    const take = (text) => {
      try {
        say.visit(dbox.job.begun(dbox.job.fromFile(text)));
      } catch (error) {
        fault.textContent = error.message;
      }
    };
    const file = make('input', { type: 'file', id: 'file',
      on: { change: () => file.files.length && file.files[0].text().then(take) } });
    const text = make('textarea', { id: 'pasted', rows: 6 });
    return [
      make('nav', { class: 'bar', 'aria-label': 'Page' },
        link('‹ Jobs', '#box', { class: 'button plain' })),
      make('h1', {}, 'Open a saved job'),
      make('label', { for: 'file' }, 'A file that this page saved'), file,
      make('label', { for: 'pasted' }, 'or its text, pasted here'), text,
      button('Open the pasted text', () => take(text.value), { class: 'wide', id: 'open' }),
      fault,
    ];
  }

  dbox.record = { screen: record, passTable };
  dbox.files = { save, open };
  dbox.pourScreen = pourScreen;
  dbox.field = field;
})();
